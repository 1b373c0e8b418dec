//! Required fields, codes and units as in FHIR R4 4.0.1 (StructureDefinitions of the release) and UCUM.

use serde_json::{Value as Json, json};

use super::*;
use crate::export::table::tests::log_of;
use crate::export::tests::{decide, sign};

const NOW: &str = "2026-02-03T12:00:00Z";

fn entry(more: Json) -> Json {
    let mut entry = json!({ "id": "e1", "from_s": 60.5, "to_s": 62, "kind": "irrigation", "status": "done", "tooth": "36", "canal": "MB",
        "values": { "agent": "edta", "volume_ml": 2.625, "concentration_pct": 17, "gauge": 30 }, "said": "", "rule": "r", "review": "unseen" });
    for (key, value) in more.as_object().into_iter().flatten() {
        entry[key] = value.clone();
    }
    entry
}

fn made(log: &Log) -> Json {
    serde_json::from_str(&bundle(log, NOW).unwrap()).unwrap()
}

fn of_type<'b>(bundle: &'b Json, kind: &str) -> Vec<&'b Json> {
    let entries = bundle["entry"].as_array().unwrap();
    entries.iter().map(|e| &e["resource"]).filter(|r| r["resourceType"] == kind).collect()
}

fn component<'o>(observation: &'o Json, field: &str) -> &'o Json {
    let all = observation["component"].as_array().unwrap();
    all.iter().find(|c| c["code"]["coding"][0]["code"] == field).unwrap()
}

#[test]
fn numbers_are_exact_and_have_ucum_units() {
    let bundle = bundle(&log_of(vec![entry(json!({}))]), NOW).unwrap();
    assert!(bundle.contains("\"value\": 2.625,"), "{bundle}");
    let log = log_of(vec![
        entry(json!({})),
        entry(
            json!({ "id": "e2", "kind": "instrumentation", "values": { "size": 25, "taper": 0.06, "speed_rpm": 300,
            "torque_ncm": 2.5, "depth_mm": 19.5 } }),
        ),
        entry(
            json!({ "id": "e3", "kind": "anaesthesia", "values": { "cartridges": 0.25, "volume_ml": 1.8 } }),
        ),
        entry(json!({ "id": "e4", "kind": "prescription", "values": { "dose_mg": 400 } })),
    ]);
    let bundle = made(&log);
    let observations = of_type(&bundle, "Observation");
    let quantity = |n: usize, field: &str| {
        let q = &component(observations[n], field)["valueQuantity"];
        assert_eq!(q["system"], "http://unitsofmeasure.org");
        format!("{} {}", q["value"], q["code"].as_str().unwrap())
    };
    // Units: UCUM, sections on metric units and on the percent.
    assert_eq!(quantity(0, "volume_ml"), "2.625 mL");
    assert_eq!(quantity(0, "concentration_pct"), "17 %");
    assert_eq!(quantity(1, "taper"), "0.06 mm/mm");
    assert_eq!(quantity(1, "speed_rpm"), "300 /min");
    assert_eq!(quantity(1, "torque_ncm"), "2.5 N.cm");
    assert_eq!(quantity(1, "depth_mm"), "19.5 mm");
    assert_eq!(quantity(2, "cartridges"), "0.25 1");
    assert_eq!(quantity(3, "dose_mg"), "400 mg");
    assert_eq!(quantity(0, "from_s"), "60.5 s");
    assert_eq!(component(observations[1], "size")["valueInteger"], 25);
    assert_eq!(component(observations[0], "gauge")["valueInteger"], 30);
    assert_eq!(component(observations[0], "agent")["valueString"], "EDTA");
}

proptest::proptest! {
    /// A double keeps 15 decimal digits (IEEE 754), and up to there the JSON number is the number that was said.
    #[test]
    fn any_number_is_written_as_it_is(n in -(EXACT_DIGITS)..EXACT_DIGITS) {
        let n = crate::words::Decimal::thousandths(n);
        proptest::prop_assert_eq!(serde_json::to_string(&n).unwrap(), n.to_string());
    }
}
const EXACT_DIGITS: i64 = 1_000_000_000_000_000;

#[test]
fn a_doubtful_number_is_no_number_for_a_machine() {
    let doubts = json!([{ "field": "volume_ml", "reason": "heard as three or eight", "alternatives": [8] }, { "field": "canal", "reason": "r" }]);
    let bundle =
        made(&log_of(vec![entry(json!({ "values": { "volume_ml": 3, "gauge": 30 }, "doubts": doubts }))]));
    let observation = of_type(&bundle, "Observation")[0];
    assert_eq!(component(observation, "volume_ml")["valueString"], "3 mL [?]");
    assert_eq!(component(observation, "gauge")["valueInteger"], 30);
    assert_eq!(
        observation["note"][0]["text"],
        "DOUBTFUL, not settled: volume: heard as three or eight; may be 8 mL"
    );
    assert_eq!(observation["bodySite"], json!({ "text": "Tooth 36 (ISO 3950), canal MB [?]" }));
    let length = json!({ "kind": "working-length", "values": { "length_mm": 19.5 },
        "doubts": [{ "field": "length_mm", "reason": "r" }] });
    let bundle = made(&log_of(vec![entry(length)]));
    assert_eq!(of_type(&bundle, "Observation")[0].get("valueQuantity"), None);
}

#[test]
fn a_length_is_the_value_of_its_observation() {
    let bundle = made(&log_of(vec![entry(
        json!({ "kind": "working-length", "values": { "length_mm": 19.5, "reference": "incisal-edge" } }),
    )]));
    let observation = of_type(&bundle, "Observation")[0];
    assert_eq!(
        observation["valueQuantity"],
        json!({ "value": 19.5, "unit": "mm", "system": "http://unitsofmeasure.org", "code": "mm" })
    );
    // obs-7: no value where a component repeats the same code.
    let codes: Vec<&Json> = observation["component"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| &c["code"]["coding"][0]["code"])
        .collect();
    assert!(!codes.contains(&&json!("length_mm")) && codes.contains(&&json!("reference")), "{codes:?}");
}

#[test]
fn only_what_was_done_is_data() {
    let with = |id: &str, status: &str| {
        entry(json!({ "id": id, "status": status, "said": format!("words of {id}") }))
    };
    let log = log_of(vec![
        with("e1", "planned"),
        with("e2", "not-done"),
        with("e3", "conditional"),
        with("e4", "general"),
    ]);
    let bundle = made(&log);
    assert_eq!(of_type(&bundle, "Observation").len(), 0);
    let notes = of_type(&bundle, "Procedure")[0]["note"].to_string();
    for words in [
        "Planned: Irrigation, MB",
        "NOT done: Irrigation, MB",
        "words of e3",
        "words of e4",
        "Draft from dictation",
    ] {
        assert!(notes.contains(words), "{words}: {notes}");
    }
}

/// Status codes: R4 value sets observation-status and event-status.
#[test]
fn from_draft_to_amended() {
    let with = |id: &str, review: &str| entry(json!({ "id": id, "review": review }));
    let mut log = log_of(vec![
        with("e1", "confirmed"),
        with("e2", "unseen"),
        with("e3", "struck"),
        with("e4", "amended"),
    ]);
    let statuses = |log: &Log| {
        let bundle = made(log);
        let of = |kind| {
            of_type(&bundle, kind)
                .iter()
                .map(|r| r["status"].as_str().unwrap().to_owned())
                .collect::<Vec<_>>()
        };
        let provenance = of_type(&bundle, "Provenance")[0];
        let signed = standing(log).state == "signed";
        let recorded = if signed { "2026-02-03T10:00:00Z" } else { NOW };
        assert_eq!(provenance["recorded"], recorded, "what was amended later was recorded later");
        let agents = provenance["agent"].as_array().unwrap().len();
        (of("Procedure"), of("Observation"), agents)
    };
    let texts = |t: &[&str]| t.iter().map(|t| (*t).to_owned()).collect::<Vec<_>>();
    let draft = ["preliminary", "preliminary", "entered-in-error", "preliminary"];
    assert_eq!(statuses(&log), (texts(&["unknown"]), texts(&draft), 1));
    sign(&mut log, "N");
    let signed = ["final", "preliminary", "entered-in-error", "final"];
    assert_eq!(statuses(&log), (texts(&["completed"]), texts(&signed), 2));
    let fits = log.clone();
    decide(&mut log, json!({ "do": "correct", "entry": "e4", "field": "volume_ml", "to": "3" }));
    let amended = ["final", "preliminary", "entered-in-error", "amended"];
    assert_eq!(statuses(&log), (texts(&["completed"]), texts(&amended), 2));
    // What was changed past the review is not signed.
    let mut log = fits;
    log.entries[0]
        .values
        .insert("volume_ml".to_owned(), crate::log::Value::Number(crate::words::Decimal::whole(9)));
    assert_eq!(statuses(&log), (texts(&["unknown"]), texts(&draft), 1));
}

#[test]
fn addresses_and_times() {
    let mut log = log_of(vec![entry(json!({})), entry(json!({ "id": "e2" }))]);
    log.source.recording_start = Some("2026-02-03T09:12:00+01:00".to_owned());
    let bundle = made(&log);
    let urls: Vec<&str> =
        bundle["entry"].as_array().unwrap().iter().map(|e| e["fullUrl"].as_str().unwrap()).collect();
    let form = regex::Regex::new("^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-8[0-9a-f]{3}-[0-9a-f]{12}$")
        .unwrap();
    assert!(urls.iter().all(|u| form.is_match(u)), "{urls:?}");
    let unique: std::collections::BTreeSet<_> = urls.iter().collect();
    assert_eq!(unique.len(), urls.len(), "bdl-7: each address once");
    let observation = of_type(&bundle, "Observation")[0];
    assert_eq!(
        observation["effectivePeriod"],
        json!({ "start": "2026-02-03T09:13:00.500+01:00", "end": "2026-02-03T09:13:02.000+01:00" })
    );
    assert_eq!(observation["partOf"][0]["reference"], urls[0]);
    let targets = of_type(&bundle, "Provenance")[0]["target"].as_array().unwrap().len();
    assert_eq!(targets, urls.len() - 1, "where everything else comes from");
    log.source.recording_start = Some("yesterday".to_owned());
    assert_eq!(of_type(&made(&log), "Observation")[0].get("effectivePeriod"), None);
}
