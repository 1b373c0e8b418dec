//! What is written is read back by the reader of transcripts.

use proptest::prelude::*;
use serde_json::{Value as Json, json};

use super::*;
use crate::export::table::tests::log_of;
use crate::words::transcript;

fn entry(from: f64, to: f64, said: &str, values: Json) -> Json {
    json!({ "id": format!("e{from}{}", values["size"]), "from_s": from, "to_s": to, "kind": "instrumentation", "status": "done",
        "tooth": "36", "canal": "MB", "values": values, "said": said, "rule": "r", "review": "unseen" })
}

fn unplaced(log: &mut Log, from: f64, to: f64, said: &str) {
    log.unplaced.push(serde_json::from_value(json!({ "from_s": from, "to_s": to, "said": said })).unwrap());
}

/// From, to, words of each cue, as the reader gives them.
fn read(text: &str) -> Vec<(String, String)> {
    let t = transcript::read(text.as_bytes()).unwrap();
    assert_eq!((t.format, t.repairs.as_slice()), ("webvtt", &[][..]), "{text}");
    t.breaths.iter().map(|b| (format!("{:.2} {:.2}", b.from_s, b.to_s), b.text())).collect()
}

#[track_caller]
fn check(log: &Log, expect: &[(&str, &str)]) {
    let expect: Vec<_> = expect.iter().map(|(t, w)| ((*t).to_owned(), (*w).to_owned())).collect();
    assert_eq!(read(&of_words(log)), expect);
}

#[test]
fn each_stretch_of_speech_once_in_the_order_of_time() {
    let said = "fifteen, twenty to length";
    let mut log = log_of(vec![
        entry(5.0, 7.5, said, json!({ "size": 15 })),
        entry(5.0, 7.5, &format!("{said} … twenty was loose"), json!({ "size": 20 })),
    ]);
    unplaced(&mut log, 1.0, 2.0, "open a little");
    unplaced(&mut log, 3.0, 4.0, "");
    check(
        &log,
        &[("1.00 2.00", "open a little"), ("5.00 7.50", "fifteen, twenty to length … twenty was loose")],
    );
    assert!(
        of_words(&log).contains("NOTE 00:00:03.000 --&gt; 00:00:04.000 could not be made out"),
        "{}",
        of_words(&log)
    );
}

/// The texts of case O02.
#[test]
fn markup_and_arrows_are_words() {
    let said = [
        "size <20",
        "R&D",
        "A --> B",
        "<img src=x onerror=1>",
        "&lt;",
        "NOTE this",
        "one two",
        "WEBVTT",
        "7",
    ];
    let mut log = log_of(vec![]);
    for (n, said) in said.iter().enumerate() {
        let at = f64::from(u8::try_from(n).unwrap()) * 2.0;
        unplaced(&mut log, at, at + 1.0, said);
    }
    unplaced(&mut log, 30.0, 31.0, "one\n\ntwo\r\n\r\n00:00:01.000 --> 00:00:02.000\nthree");
    let text = of_words(&log);
    assert!(text.starts_with("WEBVTT\n\nNOTE Words heard in &lt;b&gt;x&lt;/b&gt;.wav\n\n"), "{text}");
    let words: Vec<String> = read(&text).into_iter().map(|(_, w)| w).collect();
    assert_eq!(&words[..said.len()], said);
    assert_eq!(words[said.len()], "one two 00:00:01.000 --> 00:00:02.000 three");
    assert_eq!(text.matches(" --> ").count(), said.len() + 1, "only timing lines hold arrows: {text}");
    assert!(!text.replace(" --> ", "").contains(['<', '>']), "no tag: {text}");
}

#[test]
fn a_cue_ends_after_its_start() {
    let mut log = log_of(vec![]);
    unplaced(&mut log, 3661.5, 3661.5, "tap");
    assert!(of_words(&log).contains("\n01:01:01.500 --> 01:01:01.510\ntap\n"), "{}", of_words(&log));
}

#[test]
fn entries_as_captions() {
    let doubted = json!({ "id": "e9", "from_s": 8, "to_s": 9, "kind": "irrigation", "status": "not-done", "values": { "volume_ml": 3 },
        "said": "", "rule": "r", "review": "unseen", "doubts": [{ "field": "volume_ml", "reason": "r" }] });
    let log = log_of(vec![
        entry(5.0, 7.5, "a", json!({ "size": 15 })),
        entry(5.0, 7.5, "a", json!({ "size": 20, "short_mm": 0 })),
        doubted,
    ]);
    let words: Vec<String> = read(&of_entries(&log)).into_iter().map(|(_, w)| w).collect();
    let expect = [
        "36 MB · Instrumentation: size 15 36 MB · Instrumentation: size 20, to length",
        "Irrigation NOT done: 3 mL [?]",
    ];
    assert_eq!(words, expect);
    assert!(of_entries(&log).contains(crate::export::CAUTION));
}

proptest! {
    /// Any words at any times; the reader joins words by single blanks, and so does a cue.
    #[test]
    fn words_that_are_written_are_read(said in prop::collection::vec("[a-z0-9<>&;.'\"-]{1,6}( [a-z<>&-]{1,5}){0,4}", 1..8)) {
        let mut log = log_of(vec![]);
        for (n, said) in said.iter().enumerate() {
            let at = f64::from(u8::try_from(n).unwrap()) * 1.25;
            unplaced(&mut log, at, at + 0.75, said);
        }
        let words: Vec<String> = read(&of_words(&log)).into_iter().map(|(_, w)| w).collect();
        prop_assert_eq!(words, said);
    }
}
