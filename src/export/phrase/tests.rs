//! Entries in words. The order of values is common practice, no source.

use serde_json::{Value as Json, json};

use super::*;

fn entry(kind: &str, values: Json, doubts: Json) -> Entry {
    serde_json::from_value(json!({ "id": "e1", "from_s": 0, "to_s": 1, "kind": kind, "status": "done",
        "values": values, "said": "", "rule": "", "doubts": doubts, "review": "unseen" }))
    .unwrap()
}

#[track_caller]
fn check(kind: &str, values: Json, expect: &str) {
    assert_eq!(phrase(&entry(kind, values, json!([]))), expect);
}

#[track_caller]
fn doubted(kind: &str, values: Json, field: &str, expect: &str) {
    assert_eq!(phrase(&entry(kind, values, json!([{ "field": field, "reason": "r" }]))), expect);
}

#[test]
fn values_stand_in_the_order_of_the_trade() {
    check(
        "irrigation",
        json!({ "agent": "sodium-hypochlorite", "concentration_pct": 5.25, "volume_ml": 3, "gauge": 30,
            "needle": "side-vented", "tip_short_mm": 2, "duration_s": 60 }),
        "3 mL sodium hypochlorite 5.25 %, 30 G side-vented needle, tip 2 mm short of WL, 60 s",
    );
    check("irrigation", json!({ "agent": "edta", "concentration_pct": 17 }), "EDTA 17 %");
    check(
        "irrigation",
        json!({ "volume_ml": 2, "agent": "saline", "each": "file" }),
        "2 mL saline after each file",
    );
    check("irrigation", json!({ "gauge": 30 }), "30 G needle");
    check(
        "working-length",
        json!({ "method": "apex-locator", "reference": "mesiobuccal-cusp", "length_mm": 19.5 }),
        "19.5 mm from mesiobuccal cusp, apex locator",
    );
    check(
        "instrumentation",
        json!({ "size": 25, "taper": 0.06, "instrument": "rotary", "short_mm": 0,
        "speed_rpm": 300, "torque_ncm": 2.5 }),
        "rotary 25/.06, to length, 300 /min, 2.5 N·cm",
    );
    check("instrumentation", json!({ "size": 15, "short_mm": 0.5 }), "size 15, 0.5 mm short of WL");
    check("instrumentation", json!({ "taper": 0.04 }), "taper 0.04");
    check("instrumentation", json!({ "instrument": "gates-glidden", "size": 3 }), "Gates-Glidden 3");
    check(
        "activation",
        json!({ "method": "ultrasonic", "cycles": 3, "duration_s": 20 }),
        "ultrasonic, 3 × 20 s",
    );
    check("activation", json!({ "method": "sonic", "duration_s": 30 }), "sonic, 30 s");
    check("drying", json!({ "count": 4, "size": 50, "method": "paper-points" }), "4 paper points size 50");
    check(
        "cone-fit",
        json!({ "taper": 0.02, "size": 50, "length_mm": 23.5, "result": "tug-back" }),
        "cone 50/.02, to 23.5 mm, tug-back",
    );
    check(
        "prescription",
        json!({ "drug": "amoxicillin", "dose_mg": 500, "times_per_day": 3, "days": 5 }),
        "amoxicillin 500 mg, 3 times a day, for 5 days",
    );
    check(
        "anaesthesia",
        json!({ "agent": "lidocaine", "concentration_pct": 2, "vasoconstrictor": "1:80000",
        "cartridges": 1, "volume_ml": 1.8, "technique": "inferior-alveolar-block" }),
        "inferior alveolar block, lidocaine 2 % with vasoconstrictor 1:80000, 1 cartridge, 1.8 mL",
    );
    check("test", json!({ "test": "probing", "depth_mm": 3 }), "probing 3 mm");
    check("test", json!({ "result": "no-response", "test": "electric" }), "electric no response");
    check("access", json!({}), "");
}

#[test]
fn a_doubtful_value_is_marked_where_it_stands() {
    let rinse = || json!({ "volume_ml": 3, "agent": "edta" });
    doubted("irrigation", rinse(), "volume_ml", "3 mL [?] EDTA");
    doubted("irrigation", rinse(), "entry", "3 mL EDTA [?]");
    doubted("irrigation", rinse(), "canal", "3 mL EDTA, canal [?]");
    doubted("instrumentation", json!({ "colour": "red" }), "size", "(red), size [?]");
    doubted("instrumentation", json!({ "size": 25, "taper": 0.06 }), "size", "25[?]/.06");
    doubted("instrumentation", json!({ "size": 25, "taper": 0.06 }), "taper", "25/.06 [?]");
    doubted("instrumentation", json!({ "size": 25, "short_mm": 0 }), "short_mm", "size 25, to length [?]");
}

#[test]
fn a_field_that_is_not_known_stands_at_the_end() {
    check(
        "irrigation",
        json!({ "agent": "saline", "warmed_to": 37, "flow_ml": 2 }),
        "saline, warmed to 37, flow 2 mL",
    );
    check("never-heard-of", json!({ "length_mm": 2.125, "text": "as said" }), "length 2.125 mm, as said");
}

/// No field of any kind is left out, whatever it is paired with.
#[test]
fn every_value_of_every_kind_is_in_the_words() {
    for kind in &crate::kinds::BUILT_IN.all {
        for one in kind.fields.keys().filter(|f| *f != "said_as") {
            for other in kind.fields.keys() {
                let value =
                    |f: &str, n: i64| if units::is_number(f) { json!(n) } else { json!(format!("word{n}")) };
                let mut values = json!({ one: value(one, 71) });
                if other != one {
                    values[other] = value(other, 83);
                }
                let words = phrase(&entry(&kind.name, values, json!([])));
                assert!(words.contains("71"), "{} {one}, {other}: {words}", kind.name);
                let words = phrase(&entry(
                    &kind.name,
                    json!({ one: value(one, 71) }),
                    json!([{"field": one, "reason": "r"}]),
                ));
                assert!(words.contains(MARK), "{} {one}: {words}", kind.name);
            }
        }
    }
}

#[test]
fn a_doubt_says_what_else() {
    let doubt = |d: Json| super::doubt(&serde_json::from_value(d).unwrap());
    assert_eq!(
        doubt(json!({ "field": "volume_ml", "reason": "heard as three or eight", "alternatives": [8] })),
        "volume: heard as three or eight; may be 8 mL"
    );
    assert_eq!(
        doubt(json!({ "field": "short_mm", "reason": "not heard clearly" })),
        "short of WL: not heard clearly"
    );
    assert_eq!(
        doubt(json!({ "field": "entry", "reason": "wanted by the speaker" })),
        "wanted by the speaker"
    );
}
