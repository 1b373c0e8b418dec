//! A lecture as a checklist.

use serde_json::{Value as Json, json};

use super::*;
use crate::export::table::tests::log_of;

/// An entry of one breath at `n` × 10 s.
fn entry(n: u32, kind: &str, status: &str, values: Json, said: &str) -> Json {
    json!({ "id": format!("e{n}"), "from_s": n * 10, "to_s": n * 10 + 2, "kind": kind, "status": status, "values": values,
        "said": said, "rule": "r", "review": "unseen" })
}

fn done(n: u32, kind: &str, values: Json) -> Json {
    entry(n, kind, "done", values, &format!("words {n}"))
}

/// "Part | sign: text | words".
fn shown(list: &Checklist) -> Vec<String> {
    let line = |part: &Part, p: &Point| format!("{} | {}: {} | {}", part.name, p.sign, p.text, p.words);
    list.parts.iter().flat_map(|part| part.points.iter().map(move |p| line(part, p))).collect()
}

#[track_caller]
fn check(entries: Vec<Json>, other: Json, expect: &[&str]) {
    let mut log = log_of(entries);
    log.unplaced = serde_json::from_value(other).unwrap();
    assert_eq!(shown(&checklist(&log, None)), expect);
}

#[test]
fn theory_stands_in_the_order_of_the_work() {
    check(
        vec![
            entry(
                1,
                "obturation",
                "general",
                json!({ "technique": "single-cone" }),
                "single cone when the taper matches",
            ),
            entry(2, "isolation", "general", json!({ "method": "rubber-dam" }), "always rubber dam"),
        ],
        json!([]),
        &[
            "Anaesthesia, isolation, access | Rule: Isolation: rubber dam | always rubber dam",
            "Fitting, drying, filling | Rule: Obturation: single cone | single cone when the taper matches",
        ],
    );
}

#[test]
fn repeated_cycles_are_one_rule() {
    let file = |n, size: u32| {
        done(n, "instrumentation", json!({ "instrument": "rotary", "size": size, "taper": 0.04 }))
    };
    let rinse =
        |n, ml: f64| done(n, "irrigation", json!({ "agent": "sodium-hypochlorite", "volume_ml": ml }));
    let recap = |n| done(n, "recapitulation", json!({ "size": 10 }));
    check(
        vec![
            file(1, 20),
            rinse(2, 2.0),
            recap(3),
            rinse(4, 2.0),
            file(5, 25),
            rinse(6, 3.0),
            recap(7),
            rinse(8, 2.0),
            file(9, 30),
            rinse(10, 2.0),
            recap(11),
            rinse(12, 2.0),
            done(13, "irrigation", json!({ "agent": "edta" })),
        ],
        json!([]),
        &[
            "Shaping and rinsing | Step: Instrumentation: rotary 20/.04 | words 1",
            "Shaping and rinsing | Step: Instrumentation: rotary 25/.04 | words 5",
            "Shaping and rinsing | Step: Instrumentation: rotary 30/.04 | words 9",
            "Shaping and rinsing | Rule: After every engine-driven file, as shown 3 times: Irrigation (2 mL sodium hypochlorite; or 3 mL sodium hypochlorite), then Recapitulation (size 10), then Irrigation (2 mL sodium hypochlorite) | words 2 / words 3 / words 4 / words 6 / words 7 / words 8 / words 10 / words 11 / words 12",
            "Shaping and rinsing | Step: Irrigation: EDTA | words 13",
        ],
    );
    // Once is no rule, and another agent is another step.
    let edta = done(4, "irrigation", json!({ "agent": "edta" }));
    let steps = |log: Vec<Json>| {
        checklist(&log_of(log), None).parts[0].points.iter().filter(|p| p.sort == Sort::Rule).count()
    };
    assert_eq!(steps(vec![file(1, 20), rinse(2, 2.0), file(3, 25)]), 0);
    assert_eq!(steps(vec![file(1, 20), rinse(2, 2.0), file(3, 25), edta]), 0);
    assert_eq!(steps(vec![file(1, 20), rinse(2, 2.0), file(3, 25), rinse(4, 2.0)]), 1);
}

#[test]
fn conditions_and_cautions_also_where_the_log_has_no_entry() {
    let other = |n: u32, said: &str| json!({ "from_s": n * 10, "to_s": n * 10 + 2, "said": said });
    check(
        vec![entry(1, "irrigation", "general", json!({ "volume_ml": 2 }), "you rinse with two mils")],
        json!([
            other(2, "you never lock the needle in the canal"),
            other(3, "if the needle binds, pull it back one millimetre"),
            other(4, "coffee is outside"),
            other(5, "why do you never see that?"),
        ]),
        &[
            "Shaping and rinsing | Rule: Irrigation: 2 mL | you rinse with two mils",
            "Shaping and rinsing | Caution:  | you never lock the needle in the canal",
            "Shaping and rinsing | If:  | if the needle binds, pull it back one millimetre",
        ],
    );
}

/// An entry whose words hold a condition is no plain step, also where the log took it for a deed.
#[test]
fn a_condition_is_never_a_plain_step() {
    check(
        vec![
            entry(
                1,
                "instrumentation",
                "done",
                json!({ "motion": "brushing" }),
                "shaping matters … if the file resists, you brush",
            ),
            entry(2, "irrigation", "not-done", json!({ "agent": "edta" }), "when it bleeds no EDTA"),
        ],
        json!([]),
        &[
            "Shaping and rinsing | If: Instrumentation: brushing | shaping matters … if the file resists, you brush",
            "Shaping and rinsing | If: Irrigation: EDTA (not done) | when it bleeds no EDTA",
        ],
    );
}

#[test]
fn what_was_shown_between_files_stands_there() {
    check(
        vec![
            done(1, "patency", json!({ "size": 10 })),
            done(2, "instrumentation", json!({ "size": 20 })),
            done(3, "patency", json!({ "size": 10 })),
            entry(4, "irrigation", "not-done", json!({ "agent": "chlorhexidine" }), "no chlorhexidine"),
        ],
        json!([]),
        &[
            "Lengths and glide path | Step: Patency: size 10 | words 1",
            "Shaping and rinsing | Step: Instrumentation: size 20 | words 2",
            "Shaping and rinsing | Step: Patency: size 10 | words 3",
            "Shaping and rinsing | Not done: Irrigation: chlorhexidine | no chlorhexidine",
        ],
    );
}

#[test]
fn what_is_told_has_no_box() {
    let log = log_of(vec![done(1, "complication", json!({ "type": "ledge" })), done(2, "access", json!({}))]);
    let boxes: Vec<(&str, bool)> =
        checklist(&log, None).parts.iter().flat_map(|p| &p.points).map(|p| (p.sign, p.has_box)).collect();
    assert_eq!(boxes, [("Step", true), ("Note", false)]);
}

#[test]
fn a_number_keeps_its_doubt() {
    let mut doubted = done(1, "irrigation", json!({ "volume_ml": 3 }));
    doubted["doubts"] =
        json!([{ "field": "volume_ml", "reason": "heard as three or eight", "alternatives": [8] }]);
    let log = log_of(vec![doubted]);
    let list = checklist(&log, None);
    assert_eq!(list.parts[0].points[0].text, "Irrigation: 3 mL [?]");
    assert_eq!(list.parts[0].points[0].doubts, ["volume: heard as three or eight; may be 8 mL"]);
    let text = write(&log, &Options::default()).unwrap();
    assert!(text.contains("Irrigation: 3 mL \\[?\\]") && text.contains("may be 8 mL"), "{text}");
}

#[test]
fn links_play_the_place_and_lead_nowhere_else() {
    let link = |file: &str, media: Option<&str>| {
        let mut log = log_of(vec![entry(6, "remark", "done", json!({}), "x")]);
        log.entries[0].from_s = 65.2;
        log.source.file = file.to_owned();
        checklist(&log, media).parts[0].points[0].times[0].link.clone()
    };
    assert_eq!(link("lecture.flac", None), "lecture.flac#t=65.2");
    assert_eq!(link("javascript:alert(1)", None), "javascript%3Aalert%281%29#t=65.2");
    assert_eq!(link("//evil.example/a b.wav", None), "evil.examplea%20b.wav#t=65.2");
    assert_eq!(link("x", Some("media/a\"b.wav")), "media/a%22b.wav#t=65.2");
    assert_eq!(link("x", Some("//evil.example/b.wav")), "/evil.example/b.wav#t=65.2");
}

/// The texts of case O02, in what was said and in the file's name.
#[test]
fn what_was_said_is_no_markup() {
    let said = "<script>alert(1)</script><img src=x onerror=1> R&D \"size <20\" ](javascript:1)";
    let mut log = log_of(vec![entry(1, "remark", "done", json!({ "text": said }), said)]);
    log.source.file = "<b>x</b>.wav".to_owned();
    let html = write(&log, &Options { format: Format::Html, ..Options::default() }).unwrap();
    for tag in ["<script", "<img", "<b>", "R&D", "\"size"] {
        assert!(!html.contains(tag), "{tag} in {html}");
    }
    assert!(html.contains("<title>Checklist from &lt;b&gt;x&lt;/b&gt;.wav</title>"), "{html}");
    assert!(html.contains("default-src 'none'"), "{html}");
    assert!(html.contains("href=\"%3Cb%3Ex%3Cb%3E.wav#t=10\""), "{html}");
    let markdown = write(&log, &Options::default()).unwrap();
    assert!(!markdown.contains('<') && markdown.contains("\\](javascript"), "{markdown}");
}

/// No value of any live entry is lost, whatever is folded.
#[test]
fn every_value_is_in_the_list() {
    let log: Log = serde_json::from_str(include_str!("../../../tests/data/export/molar.json")).unwrap();
    let all = shown(&checklist(&log, None)).join("\n");
    for entry in log.entries.iter().filter(|e| e.review != Review::Struck) {
        assert!(all.contains(&phrase::phrase(entry)), "{}: {all}", entry.said);
        assert!(all.contains(entry.said.as_str()), "{}", entry.said);
    }
}
