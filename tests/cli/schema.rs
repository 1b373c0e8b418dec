//! The JSON Schema that `tugback schema` prints, judged by a validator of others: it is a schema, the logs of the
//! program and of the examples in its kinds follow it, and a log with a wrong type does not.

use jsonschema::Validator;
use serde_json::{Value as Json, json};
use tugback::{
    entries::{Extractor, Settings},
    kinds,
    listen::heard::Breath,
    log::{MadeBy, Source, file},
};

use crate::{Place, source_tree};

fn schema() -> Json {
    let ran = Place::new().run(["schema"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    serde_json::from_str(&ran.out).expect("JSON")
}

fn validator() -> Validator {
    jsonschema::draft202012::new(&schema()).expect("a schema")
}

/// What the validator says against a log.
fn complaints(validator: &Validator, log: &Json) -> Vec<String> {
    validator.iter_errors(log).map(|e| format!("{}: {e}", e.instance_path())).collect()
}

#[track_caller]
fn check(validator: &Validator, what: &str, log: &Json) {
    let complaints = complaints(validator, log);
    assert!(complaints.is_empty(), "{what}:\n{}", complaints.join("\n"));
}

#[test]
fn it_is_a_schema_of_2020_12() {
    let schema = schema();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    jsonschema::draft202012::meta::validate(&schema).expect("a schema");
}

/// Every kind, and every field of each, with its type and the unit that its name says.
#[test]
fn every_kind_with_its_fields() {
    let schema = schema();
    let kinds = schema["$defs"]["Entry"]["allOf"].as_array().expect("the kinds");
    assert_eq!(kinds.len(), kinds::BUILT_IN.all.len());
    for (shape, kind) in kinds.iter().zip(&kinds::BUILT_IN.all) {
        assert_eq!(shape["if"]["properties"]["kind"]["const"], kind.name.as_str());
        assert_eq!(shape["then"]["description"], kind.about.as_str());
        let fields = shape["then"]["properties"]["values"]["properties"].as_object().expect("fields");
        assert!(fields.keys().eq(kind.fields.keys()), "{}: {fields:?}", kind.name);
        for (name, field) in fields {
            // The endings that DEVELOPERS.md gives.
            let unit = [
                ("_mm", "mm"),
                ("_ml", "mL"),
                ("_s", "s"),
                ("_pct", "%"),
                ("_mg", "mg"),
                ("_rpm", "/min"),
                ("_ncm", "N·cm"),
            ]
            .into_iter()
            .find(|(ending, _)| name.ends_with(ending));
            let is = field["type"].as_str().expect("a type");
            assert_eq!(field["x-unit"].as_str(), unit.map(|(_, unit)| unit), "{}.{name}", kind.name);
            assert!(unit.is_none() || ["number", "integer"].contains(&is), "{}.{name} is a {is}", kind.name);
        }
    }
    let fields = |kind: &str| {
        let at = kinds::BUILT_IN.index(kind).expect("a kind");
        kinds[at]["then"]["properties"]["values"]["properties"].clone()
    };
    assert_eq!(fields("anaesthesia")["vasoconstrictor"]["type"], "string");
    assert_eq!(fields("tooth")["tooth"]["type"], "string");
    assert_eq!(fields("drying")["count"]["type"], "integer");
    assert_eq!(fields("irrigation")["concentration_pct"]["type"], "number");
    let agents = fields("irrigation")["agent"]["examples"].to_string();
    assert!(agents.contains("\"sodium-hypochlorite\"") && agents.contains("\"edta\""), "{agents}");
    assert!(fields("irrigation")["each"]["examples"].to_string().contains("\"canal\""));
}

#[test]
fn stored_logs_follow_it() {
    let validator = validator();
    for name in ["minimal", "full", "unknown-field"] {
        let text =
            std::fs::read_to_string(source_tree(&format!("tests/logs/v1/{name}.json"))).expect("a log");
        check(&validator, name, &serde_json::from_str(&text).expect("JSON"));
    }
}

#[test]
fn logs_of_transcripts_follow_it() {
    let validator = validator();
    for name in [
        "audio-samples/incisor",
        "audio-samples/after-visit",
        "audio-samples/lecture",
        "tests/data/transcripts/molar",
    ] {
        let source = source_tree(&format!("{name}.vtt"));
        let ran = Place::new().run(["log".as_ref(), source.as_os_str(), "-o".as_ref(), "-".as_ref()]);
        assert_eq!(ran.code, 0, "{ran:?}");
        check(&validator, name, &serde_json::from_str(&ran.out).expect("JSON"));
    }
}

/// Whatever a kind's own examples give.
#[test]
fn the_examples_of_the_kinds_follow_it() {
    let validator = validator();
    let extractor = Extractor::new(Settings::default());
    let mut seen = 0;
    for kind in &kinds::BUILT_IN.all {
        for said in kind.examples.iter().map(|e| &e.said) {
            let breaths = [Breath::from_text(0.0, 9.0, said)];
            let log = tugback::log_of(&breaths, &extractor, Source::default(), MadeBy::default());
            let text = file::to_json(&log).expect("a log");
            check(&validator, said, &serde_json::from_str(&text).expect("JSON"));
            seen += 1;
        }
    }
    assert!(seen >= kinds::BUILT_IN.all.len(), "{seen} examples");
}

#[test]
fn a_wrong_log_does_not() {
    let validator = validator();
    let text = std::fs::read_to_string(source_tree("tests/logs/v1/full.json")).expect("a log");
    let good: Json = serde_json::from_str(&text).expect("JSON");
    let at = good["entries"].as_array().expect("entries").iter().position(|e| e["kind"] == "irrigation");
    let entry = format!("/entries/{}", at.expect("an irrigation"));
    for (place, key, value) in [
        ("", "version", json!(2)),
        ("", "format", json!("another-log")),
        ("", "entries", json!({})),
        ("/source", "kind", json!("gramophone")),
        (&entry, "status", json!("perhaps")),
        (&entry, "from_s", json!("41.2")),
        (&entry, "canal", json!(5)),
        (&format!("{entry}/values"), "volume_ml", json!("3 ml")),
        (&format!("{entry}/values"), "gauge", json!(27.5)),
        (&format!("{entry}/values"), "agent", json!(3)),
        (&format!("{entry}/values"), "anything", json!([1])),
    ] {
        let mut log = good.clone();
        log.pointer_mut(place).expect("a place")[key] = value.clone();
        assert!(!complaints(&validator, &log).is_empty(), "{place}/{key} may be {value}");
    }
    for key in ["format", "version", "entries", "unplaced"] {
        let mut log = good.clone();
        log.as_object_mut().expect("an object").remove(key);
        assert!(!complaints(&validator, &log).is_empty(), "{key} may be missing");
    }
}
