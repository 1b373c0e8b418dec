//! What a person sees, whole: the printed table and a log, from an invented visit (`tests/data/transcripts`).
//!
//! Accept a change with `INSTA_UPDATE=always cargo test --test cli snapshots`, read the difference, and say in the
//! commit why it moved.

use serde_json::Value as Json;

use crate::{Place, source_tree};

fn molar() -> Place {
    let place = Place::new();
    std::fs::copy(source_tree("tests/data/transcripts/molar.vtt"), place.path("molar.vtt")).expect("copied");
    place
}

#[test]
fn the_table() {
    let ran = molar().run(["log", "molar.vtt"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    for line in ran.out.lines() {
        assert!(line.chars().count() <= 100, "{} columns: {line}", line.chars().count());
    }
    insta::assert_snapshot!(ran.out);
}

/// Without what changes with each release or rule: version, checksums, checks. Times are those of the transcript and
/// stay.
#[test]
fn the_log() {
    let ran = molar().run(["log", "molar.vtt", "-o", "-"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let mut log: Json = serde_json::from_str(&ran.out).expect("JSON");
    for (pointer, digits) in [
        ("/made_by/program_version", None),
        ("/made_by/rules_sha256", Some(64)),
        ("/source/sha256", Some(64)),
    ] {
        let value = log.pointer_mut(pointer).expect(pointer);
        let text = value.as_str().expect("a text").to_owned();
        if let Some(digits) = digits {
            assert!(text.len() == digits && text.chars().all(|c| c.is_ascii_hexdigit()), "{pointer}: {text}");
        }
        *value = Json::from("[…]");
    }
    // What the checks compute is judged by the tests of the checks; here only that it is there.
    for checked in ["findings", "totals"] {
        let part = log.as_object_mut().expect("an object").get_mut(checked).expect(checked);
        assert!(
            part.as_array().is_some_and(|a| !a.is_empty()) || part.as_object().is_some_and(|o| !o.is_empty())
        );
        *part = Json::from("[…]");
    }
    insta::assert_snapshot!(format!("{log:#}"));
}
