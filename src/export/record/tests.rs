//! Every live entry is in the record once.

use serde_json::{Value as Json, json};

use super::*;
use crate::export::table::tests::log_of;

fn entry(n: usize, kind: &str, canal: &Json, values: &Json, more: &Json) -> Json {
    let mut entry = json!({ "id": format!("e{n}"), "from_s": n * 60, "to_s": n * 60 + 1, "kind": kind, "status": "done",
        "tooth": "36", "values": values, "said": format!("words {n}"), "rule": "r", "review": "unseen" });
    if !canal.is_null() {
        entry["canal"] = canal.clone();
    }
    for (key, value) in more.as_object().into_iter().flatten() {
        entry[key] = value.clone();
    }
    entry
}

fn done(n: usize, kind: &str, canal: &str, values: Json) -> Json {
    entry(n, kind, &json!(canal), &values, &json!({}))
}

/// "Canal MB | Irrigation: a; b".
fn shown(record: &Record) -> Vec<String> {
    let mut out = Vec::new();
    let mut add = |place: &str, lines: &[Line]| {
        for line in lines {
            let items: Vec<String> = line.items.iter().map(|i| format!("{}{}", i.text, i.mark)).collect();
            out.push(format!("{place} | {}: {}", line.label, items.join("; ")));
        }
    };
    for tooth in &record.teeth {
        add("before", &tooth.before);
        for canal in &tooth.canals {
            add(&canal.name, &canal.lines);
        }
        add("after", &tooth.after);
    }
    out
}

#[track_caller]
fn check(entries: Vec<Json>, expect: &[&str]) {
    assert_eq!(shown(&record(&log_of(entries), false)), expect);
}

#[test]
fn sizes_after_each_other_are_a_list() {
    let file = |n, size, canal| {
        done(n, "instrumentation", canal, json!({ "instrument": "k-file", "size": size, "short_mm": 0 }))
    };
    check(
        vec![file(1, 15, "MB"), file(2, 20, "MB"), file(3, 25, "MB"), file(4, 15, "ML")],
        &[
            "Canal MB | Instruments: K-file 15, 20 and 25, to length",
            "Canal ML | Instruments: K-file 15, to length",
        ],
    );
    // What is doubtful, or differs in more than its size, stands alone.
    let doubted = entry(
        2,
        "instrumentation",
        &json!("MB"),
        &json!({ "instrument": "k-file", "size": 20, "short_mm": 0 }),
        &json!({ "doubts": [{ "field": "size", "reason": "r" }] }),
    );
    check(
        vec![
            file(1, 15, "MB"),
            doubted,
            done(3, "instrumentation", "MB", json!({ "instrument": "k-file", "size": 25, "short_mm": 1 })),
        ],
        &[
            "Canal MB | Instruments: K-file 15, to length; K-file 20 [?], to length; K-file 25, 1 mm short of WL",
        ],
    );
    let first = entry(
        1,
        "instrumentation",
        &json!("MB"),
        &json!({ "instrument": "k-file", "size": 15, "short_mm": 0 }),
        &json!({ "doubts": [{ "field": "size", "reason": "r" }] }),
    );
    check(
        vec![first, file(2, 20, "MB")],
        &["Canal MB | Instruments: K-file 15 [?], to length; K-file 20, to length"],
    );
    let bare = |n, size, taper| done(n, "instrumentation", "MB", json!({ "size": size, "taper": taper }));
    check(vec![bare(1, 20, 0.04), bare(2, 25, 0.06)], &["Canal MB | Instruments: sizes 20/.04 and 25/.06"]);
    // A number in an instrument's own name is not taken for its size.
    let own = |n, size| done(n, "instrumentation", "MB", json!({ "instrument": "shaper-15", "size": size }));
    check(vec![own(1, 15), own(2, 20)], &["Canal MB | Instruments: shaper 15 15 and 20"]);
}

#[test]
fn a_rinse_of_several_canals_stands_once() {
    let rinse = |n, canal: Json| {
        entry(n, "irrigation", &canal, &json!({ "volume_ml": 2, "agent": "saline" }), &json!({}))
    };
    check(
        vec![
            rinse(1, json!("all")),
            rinse(2, json!(["MB", "ML"])),
            rinse(3, json!("MB")),
            rinse(4, json!("MB")),
            rinse(5, json!(null)),
        ],
        &[
            "Canal MB | Irrigation: 2 mL saline (×2)",
            "Canals MB and ML | Irrigation: 2 mL saline",
            "All canals | Irrigation: 2 mL saline",
            "Canal not named | Irrigation: 2 mL saline",
        ],
    );
}

#[test]
fn what_nobody_verified_says_so_where_others_are() {
    let with = |n, review: &str| entry(n, "access", &json!(null), &json!({}), &json!({ "review": review }));
    check(vec![with(1, "unseen")], &["before | Access: done"]);
    check(vec![with(1, "confirmed"), with(2, "unseen")], &["before | Access: done; done (not verified)"]);
    check(vec![with(1, "struck"), with(2, "amended")], &["before | Access: done"]);
}

#[test]
fn only_what_was_done_is_told_as_done() {
    let with = |n, status: &str| {
        entry(n, "irrigation", &json!("MB"), &json!({ "agent": "edta" }), &json!({ "status": status }))
    };
    let record = record(
        &log_of(vec![with(1, "planned"), with(2, "not-done"), with(3, "conditional"), with(4, "general")]),
        false,
    );
    assert_eq!(shown(&record), Vec::<String>::new());
    let tooth = &record.teeth[0];
    let texts = |items: &[Item]| items.iter().map(|i| i.text.clone()).collect::<Vec<_>>();
    assert_eq!(texts(&tooth.planned), ["Irrigation, MB: EDTA"]);
    assert_eq!(texts(&tooth.not_done), ["Irrigation, MB: EDTA"]);
    assert_eq!(texts(&tooth.not_a_deed), ["“words 3”", "“words 4”"]);
}

#[test]
fn a_complication_stands_with_its_canal() {
    let values = json!({ "type": "ledge", "length_mm": 18 });
    check(vec![done(1, "complication", "ML", values.clone())], &["Canal ML | Complications: ledge, 18 mm"]);
    check(
        vec![entry(1, "complication", &json!(null), &values, &json!({}))],
        &["after | Complications: ledge, 18 mm"],
    );
}

#[test]
fn no_kind_is_forgotten() {
    for kind in crate::kinds::BUILT_IN.all.iter().map(|k| k.name.as_str()).chain(["of-a-later-version"]) {
        if kind == "tooth" {
            continue;
        }
        let record = record(&log_of(vec![done(1, kind, "MB", json!({ "text": "xyz" }))]), false);
        let shown = shown(&record);
        assert!(shown.len() == 1 && shown[0].contains("xyz"), "{kind}: {shown:?}");
    }
}

#[test]
fn doubts_are_told_with_what_else_it_may_be() {
    let doubted = entry(
        1,
        "irrigation",
        &json!("MB"),
        &json!({ "volume_ml": 3 }),
        &json!({ "doubts": [{ "field": "volume_ml", "reason": "heard as three or eight", "alternatives": [8] }] }),
    );
    let record = record(&log_of(vec![doubted]), false);
    let d = &record.doubts[0];
    assert_eq!(
        format!("{} {} {} {} {}", d.time, d.place, d.label, d.text, d.why),
        "1:00 36 MB Irrigation 3 mL [?] volume: heard as three or eight; may be 8 mL"
    );
}
