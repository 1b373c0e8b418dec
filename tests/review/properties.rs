//! Whatever is decided, in whatever order.

use proptest::prelude::*;
use serde_json::Value as Json;
use tugback::checks::Settings;
use tugback::{
    log::{Log, Status, file},
    review::{Decision, Words, decide, history, seal},
};

use crate::common::{accept, by, correct_in, draft};

/// One random decision, by numbers that are folded onto what the log holds.
fn decision() -> impl Strategy<Value = (u8, usize, usize, i64)> {
    (0..12_u8, 0..80_usize, 0..12_usize, 0..200_000_i64)
}

fn made((what, entry, field, number): (u8, usize, usize, i64), log: &Log) -> Decision {
    let entry = &log.entries[entry % log.entries.len()];
    let id = entry.id.clone();
    let names: Vec<&String> = entry.values.keys().collect();
    let text = format!("{}.{:03}", number / 1000, number % 1000);
    match what {
        0 | 1 => accept(&id),
        2..=4 if !names.is_empty() => correct_in(&id, names[field % names.len()], &text),
        5 => Decision::Correct {
            entry: id,
            field: ["tooth", "canal"][field % 2].into(),
            to: [None, Some("36".into()), Some("MB".into()), Some("ML, D".into())][field % 4].clone(),
        },
        6 => Decision::Strike { entry: id },
        7 => Decision::Restore { entry: id },
        8 => Decision::CannotTell { entry: id, field: None },
        9 if !log.unplaced.is_empty() => Decision::Make {
            from: Words::Unplaced(field % log.unplaced.len()),
            kind: "irrigation".into(),
            status: Status::Done,
            tooth: None,
            canal: Some("all".into()),
            values: [("volume_ml".to_owned(), text)].into_iter().collect(),
        },
        10 => Decision::LookedAt { finding: format!("speech/{field}") },
        _ => Decision::Undo,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// One decision, whatever came before it, then undo: the log says what it said before. Redo: what it said after.
    #[test]
    fn undo_restores_and_redo_repeats(steps in prop::collection::vec(decision(), 1..14)) {
        let mut log = draft("after-visit.vtt");
        for step in steps {
            let before = seal::content(&log);
            let taking_back = matches!(made(step, &log), Decision::Undo);
            let decided = made(step, &log);
            let was = log.clone();
            match decide(&mut log, &by("A"), &decided, None, &Settings::default()) {
                Err(_) => prop_assert_eq!(&log, &was, "refused, so nothing changed"),
                Ok(()) if taking_back => {}
                Ok(()) => {
                    let after = seal::content(&log);
                    prop_assert_ne!(&before, &after);
                    decide(&mut log, &by("B"), &Decision::Undo, None, &Settings::default()).unwrap();
                    prop_assert_eq!(&seal::content(&log), &before);
                    decide(&mut log, &by("C"), &Decision::Redo, None, &Settings::default()).unwrap();
                    prop_assert_eq!(&seal::content(&log), &after);
                }
            }
            prop_assert_eq!(history::broken(&log), None);
        }
    }

    /// Taking back until nothing is left gives the draft, and so does going back along the history; nothing heard is lost on
    /// the way, and the file holds it all.
    #[test]
    fn all_of_it_can_be_taken_back(steps in prop::collection::vec(decision(), 1..20)) {
        let first = draft("incisor.vtt");
        let mut log = first.clone();
        for step in steps {
            let decided = made(step, &log);
            let _ = decide(&mut log, &by("A"), &decided, None, &Settings::default());
            for e in &first.entries {
                prop_assert!(log.entries.iter().any(|n| n.said == e.said && n.id == e.id), "{} vanished", e.id);
            }
            prop_assert_eq!(log.unplaced.len(), first.unplaced.len());
        }
        let text = file::to_json(&log).unwrap();
        let read = file::parse(text.as_bytes(), std::path::Path::new("a")).unwrap();
        prop_assert_eq!(&read, &log);
        prop_assert_eq!(history::broken(&read), None);
        prop_assert_eq!(history::before(&log, 0).unwrap(), first.clone());
        while decide(&mut log, &by("A"), &Decision::Undo, None, &Settings::default()).is_ok() {}
        prop_assert_eq!(seal::content(&log), seal::content(&first));
    }

    /// A change of any place of the file, however small, is seen.
    #[test]
    fn tampering_shows(steps in prop::collection::vec(decision(), 3..10), at in 0..10_000_usize) {
        let mut log = draft("incisor.vtt");
        decide(&mut log, &by("A"), &accept("e1"), None, &Settings::default()).unwrap();
        for step in steps {
            let decided = made(step, &log);
            let _ = decide(&mut log, &by("A"), &decided, None, &Settings::default());
        }
        let whole = serde_json::to_value(&log).unwrap();
        let mut leaves = Vec::new();
        pointers(&whole, String::new(), &mut leaves);
        let place = &leaves[at % leaves.len()];
        let mut changed = whole.clone();
        let leaf = changed.pointer_mut(place).unwrap();
        *leaf = match leaf.take() {
            Json::String(s) => Json::String(format!("{s}x")),
            Json::Number(n) => serde_json::json!(n.as_f64().unwrap_or(0.0) + 1.0),
            Json::Bool(b) => Json::Bool(!b),
            other => other,
        };
        // Some places cannot hold the changed value at all; then the reader refuses the file.
        if changed != whole && let Ok(changed) = serde_json::from_value::<Log>(changed) {
            prop_assert!(history::broken(&changed).is_some(), "{} was changed unseen", place);
        }
    }
}

/// Where each text, number and switch stands.
fn pointers(json: &Json, at: String, leaves: &mut Vec<String>) {
    match json {
        Json::Object(map) => {
            for (k, v) in map {
                pointers(v, format!("{at}/{}", k.replace('~', "~0").replace('/', "~1")), leaves);
            }
        }
        Json::Array(items) => {
            for (i, v) in items.iter().enumerate() {
                pointers(v, format!("{at}/{i}"), leaves);
            }
        }
        _ => leaves.push(at),
    }
}
