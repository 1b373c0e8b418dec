//! What one decision does to a log, as lines: decision → entry and history.

use serde_json::json;

use super::{By, Decision, ReviewError, decide, history, patch, state};
use crate::checks::Settings;
use crate::log::{Log, file};

fn by() -> By {
    By { who: "A. Reader".into(), at: "2026-01-02T10:00:00Z".into() }
}

/// Two entries, the first with two doubts, and one stretch of other speech.
fn log() -> Log {
    let text = json!({
        "format": "tugback-log", "version": 1,
        "source": { "file": "a.vtt", "sha256": "0", "duration_s": 9.0, "kind": "transcript" },
        "made_by": { "program": "tugback", "program_version": "0", "rules_sha256": "0" },
        "case": { "teeth": ["36"], "notation": "iso3950" },
        "entries": [
            { "id": "e1", "from_s": 1.0, "to_s": 2.0, "kind": "irrigation", "status": "done", "tooth": "36", "canal": "MB",
              "values": { "agent": "saline", "volume_ml": 3 }, "said": "three mils saline", "rule": "irrigation.agent",
              "doubts": [ { "field": "volume_ml", "reason": "three or eight", "alternatives": [8] },
                          { "field": "canal", "reason": "carried over a question" } ],
              "carried": ["tooth", "canal"], "review": "unseen" },
            { "id": "e2", "from_s": 4.0, "to_s": 5.0, "kind": "drying", "status": "done", "tooth": "36", "values": {},
              "said": "dry", "rule": "drying.act", "doubts": [], "carried": [], "review": "unseen" }
        ],
        "unplaced": [ { "from_s": 2.5, "to_s": 3.5, "said": "and recapitulate with a ten" } ]
    });
    file::parse(text.to_string().as_bytes(), std::path::Path::new("a.log.json")).unwrap()
}

/// Carries out decisions; then a field of an entry is this.
#[track_caller]
fn check(decisions: &[serde_json::Value], entry: &str, field: &str, expect: serde_json::Value) -> Log {
    let mut log = log();
    for d in decisions {
        let decision: Decision = serde_json::from_value(d.clone()).unwrap();
        decide(&mut log, &by(), &decision, None, &Settings::default()).unwrap_or_else(|e| panic!("{d}: {e}"));
    }
    assert_eq!(patch::get(&log, Some(entry), field).unwrap(), expect, "{decisions:?}");
    assert_eq!(history::broken(&log), None);
    log
}

/// The decision is refused with these words, and nothing changes.
#[track_caller]
fn refused(decision: serde_json::Value, words: &str) {
    let mut log = log();
    let decision: Decision = serde_json::from_value(decision).unwrap();
    let said = decide(&mut log, &by(), &decision, None, &Settings::default()).unwrap_err().to_string();
    assert!(said.contains(words), "`{words}` is not in: {said}");
    assert_eq!(log, self::log());
}

fn correct(field: &str, to: &str) -> serde_json::Value {
    json!({ "do": "correct", "entry": "e1", "field": field, "to": to })
}

#[test]
fn accepting_settles_doubts() {
    let accept = json!({ "do": "accept", "entries": ["e1", "e2"] });
    check(std::slice::from_ref(&accept), "e1", "review", json!("confirmed"));
    check(std::slice::from_ref(&accept), "e1", "doubts", json!([]));
    let log = check(&[accept], "e2", "review", json!("confirmed"));
    assert_eq!(log.history.len(), 2, "one change per entry");
    assert_eq!(log.history[0].field, "review");
}

#[test]
fn correcting_keeps_what_was_heard() {
    check(&[correct("volume_ml", "8")], "e1", "values.volume_ml", json!(8));
    check(&[correct("volume_ml", "8")], "e1", "heard.volume_ml", json!([3]));
    check(&[correct("volume_ml", "8"), correct("volume_ml", "5")], "e1", "heard.volume_ml", json!([3]));
    check(&[correct("volume_ml", "8")], "e1", "review", json!("amended"));
    // The other doubt stands.
    let left = json!([{ "field": "canal", "reason": "carried over a question" }]);
    check(&[correct("volume_ml", "8")], "e1", "doubts", left);
    // Carried no longer: somebody said so.
    check(&[correct("canal", "ml, d")], "e1", "canal", json!(["ML", "D"]));
    check(&[correct("canal", "ml")], "e1", "carried", json!(["tooth"]));
    // A field that was not said at all.
    check(&[correct("concentration_pct", "5.25")], "e1", "values.concentration_pct", json!(5.25));
    check(&[correct("concentration_pct", "5.25")], "e1", "heard.concentration_pct", json!([]));
    check(&[correct("volume_ml", "")], "e1", "values.volume_ml", json!(null));
    check(&[correct("status", "planned")], "e1", "status", json!("planned"));
}

#[test]
fn the_same_value_again_confirms_it() {
    check(&[correct("volume_ml", "3"), correct("canal", "MB")], "e1", "review", json!("confirmed"));
    check(&[correct("volume_ml", "3")], "e1", "review", json!("unseen"));
    check(&[correct("volume_ml", "3")], "e1", "heard.volume_ml", json!(null));
}

#[test]
fn what_cannot_be_told_stays_marked() {
    let cannot = json!({ "do": "cannot-tell", "entry": "e2", "field": null });
    check(std::slice::from_ref(&cannot), "e2", "review", json!("unseen"));
    let log = check(std::slice::from_ref(&cannot), "e2", "cannot_tell", json!(true));
    assert_eq!(log.entries[1].doubts.len(), 1);
    check(&[cannot, json!({ "do": "accept", "entries": ["e2"] })], "e2", "cannot_tell", json!(null));
}

#[test]
fn struck_entries_stay() {
    let strike = json!({ "do": "strike", "entry": "e1" });
    let log = check(std::slice::from_ref(&strike), "e1", "review", json!("struck"));
    assert_eq!(log.entries.len(), 2);
    check(&[strike, json!({ "do": "restore", "entry": "e1" })], "e1", "review", json!("unseen"));
}

#[test]
fn speech_without_a_place_becomes_an_entry() {
    let make = json!({ "do": "make", "from": { "unplaced": 0 }, "kind": "recapitulation", "status": "done", "tooth": "36",
        "canal": "MB", "values": { "size": "10" } });
    let log = check(std::slice::from_ref(&make), "e3", "values.size", json!(10));
    assert_eq!(log.entries[1].id, "e3", "in the order of time");
    assert_eq!(log.entries[1].said, "and recapitulate with a ten");
    assert_eq!(log.unplaced.len(), 1, "the words stay where they were, with a note");
    assert_eq!(log.unplaced[0].more["entries"], json!(["e3"]));
    // An id that was taken back is not given again.
    check(&[make.clone(), json!({ "do": "undo" }), make], "e4", "values.size", json!(10));
}

#[test]
fn what_is_refused() {
    refused(correct("volume_ml", "three"), "is no number in mL");
    refused(correct("volume_ml", "1,5"), "is no number");
    refused(correct("volume_ml", "0.12345"), "is no number");
    refused(correct("nonsense", "1"), "`nonsense` is no field");
    refused(correct("review", "confirmed"), "`review` is no field");
    refused(correct("tooth", "19"), "is no tooth of ISO 3950");
    refused(correct("canal", "XX"), "is no canal's name");
    refused(correct("agent", &"x".repeat(501)), "is longer than 500 letters");
    refused(json!({ "do": "accept", "entries": ["e9"] }), "there is no entry e9");
    refused(json!({ "do": "accept", "entries": ["e2", "e9"] }), "there is no entry e9");
    refused(json!({ "do": "undo" }), "nothing to take back");
    refused(json!({ "do": "redo" }), "nothing that was taken back");
    refused(json!({ "do": "restore", "entry": "e1" }), "decided already");
    refused(json!({ "do": "sign", "name": "A", "role": "dentist" }), "still need eyes");
    refused(
        json!({ "do": "sign", "name": " ", "role": "dentist", "not_verified": true }),
        "the name is empty",
    );
    refused(json!({ "do": "looked-at", "finding": "nonsense" }), "no such finding");
    refused(json!({ "do": "looked-at", "finding": "speech/7" }), "no such finding");
    refused(
        json!({ "do": "make", "from": { "unplaced": 7 }, "kind": "drying", "status": "done", "tooth": null, "canal": null,
            "values": {} }),
        "no such stretch",
    );
}

/// A finding that says something else than what was looked at is asked about again.
#[test]
fn a_finding_is_looked_at_as_it_stood() {
    let mut log = log();
    let asked = |log: &Log| {
        let report = crate::checks::check(log, &Settings::default());
        let open = super::open::worst(log, &report);
        open.into_iter().find_map(|o| match o {
            super::open::Open::Finding { id } => Some(id),
            _ => None,
        })
    };
    let first = asked(&log).expect("a finding");
    decide(&mut log, &by(), &Decision::LookedAt { finding: first.clone() }, None, &Settings::default())
        .unwrap();
    assert_ne!(asked(&log), Some(first.clone()));
    let said = log.more["looked_at"].as_object_mut().unwrap();
    said.insert(first.clone(), json!("something else"));
    assert_eq!(asked(&log), Some(first));
}

#[test]
fn a_signed_log_is_changed_with_a_reason_only() {
    let sign = json!({ "do": "sign", "name": "B. Signer", "role": "dentist", "not_verified": true });
    let mut log = check(&[sign], "e1", "review", json!("unseen"));
    let signed = log.clone();
    let Some(rest) = log.more["signature"]["not_verified"]["entries"].as_array() else { panic!("no rest") };
    assert_eq!(rest.len(), 2);
    let change: Decision = serde_json::from_value(correct("volume_ml", "8")).unwrap();
    assert_eq!(decide(&mut log, &by(), &change, None, &Settings::default()), Err(ReviewError::NeedsReason));
    assert_eq!(
        decide(&mut log, &by(), &Decision::Undo, None, &Settings::default()),
        Err(ReviewError::Signed)
    );
    decide(&mut log, &by(), &change, Some("heard again"), &Settings::default()).unwrap();
    assert!(matches!(state(&log), super::State::Amended { changes: 1, .. }), "{:?}", state(&log));
    let states = super::sign::signed_states(&log).unwrap();
    assert_eq!(states[0].1, signed, "the signed state can be read");
    decide(&mut log, &by(), &Decision::Undo, None, &Settings::default()).unwrap();
    assert!(matches!(state(&log), super::State::Signed { .. }), "taken back: as signed");
    decide(&mut log, &by(), &Decision::Redo, None, &Settings::default()).unwrap();
    let again = Decision::Sign { name: "B. Signer".into(), role: "dentist".into(), not_verified: true };
    decide(&mut log, &by(), &again, None, &Settings::default()).unwrap();
    assert_eq!(super::sign::signed_states(&log).unwrap().len(), 2);
    assert_eq!(history::broken(&log), None);
}
