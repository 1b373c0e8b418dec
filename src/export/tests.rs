//! What holds for every form, whatever the log says.

use proptest::prelude::*;

use super::note::{Options, Paper};
use super::{Format, captions, checklist, fhir, note, phrase, table};
use crate::checks::Settings;
use crate::checks::tests::{any_line, lines};
use crate::log::{Entry, Log, Review, Status, Value};
use crate::review::{self, By};
use crate::words::{Decimal, transcript};

/// Carries out a decision of a reviewer.
pub(super) fn decide(log: &mut Log, decision: serde_json::Value) {
    let by = By { who: "A. Reader".to_owned(), at: "2026-02-03T10:00:00Z".to_owned() };
    let decision = serde_json::from_value(decision).unwrap();
    review::decide(log, &by, &decision, Some("seen on the film"), &Settings::default()).unwrap();
}

/// Signs what is there.
pub(super) fn sign(log: &mut Log, name: &str) {
    decide(log, serde_json::json!({ "do": "sign", "name": name, "role": "dentist", "not_verified": true }));
}

const EVIL: &str =
    "<script>alert(1)</script> ]]> [x](javascript:1) & A --> B\r\n\r\n=1+1 \u{1b}[31m\u{202e}19";

/// Says and is called what could break out of a format.
fn evil(lines: &[String]) -> Log {
    let mut log = lines::log(&lines.join("\n")).unwrap();
    for entry in &mut log.entries {
        EVIL.clone_into(&mut entry.said);
    }
    EVIL.clone_into(&mut log.source.file);
    log.case.reference = Some(EVIL.to_owned());
    log
}

/// Values that stand in the words as they are ("to length" and "once a day" stand for a number).
fn told(entry: &Entry) -> Vec<String> {
    let plain = |f: &str, v: &Value| {
        let n = v.number();
        !(f == "said_as"
            || f == "short_mm" && n == Some(Decimal::ZERO)
            || f == "each"
            || f == "tooth"
            || f == "times_per_day" && n == Some(Decimal::whole(1)))
    };
    entry.values.iter().filter(|(f, v)| plain(f, v)).map(|(f, v)| phrase::written(f, v)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_log_is_handed_on(lines in prop::collection::vec(any_line(), 0..20)) {
        let log = evil(&lines);
        let live = || log.entries.iter().filter(|e| e.review != Review::Struck && e.kind != "tooth");
        for paper in [Paper::Note, Paper::Letter] {
            let text = note::write(&log, paper, &Options::default()).unwrap();
            prop_assert!(!text.contains(['\r', '\u{1b}', '\u{202e}']), "{}", text);
            let markdown = note::write(&log, paper, &Options { format: Format::Markdown, ..Options::default() }).unwrap();
            prop_assert!(!markdown.contains(['<', '\r', '\u{202e}']) && !markdown.contains("[x]("), "{}", markdown);
        }
        let html = note::note(&log, &Options { format: Format::Html, ..Options::default() }).unwrap();
        prop_assert!(!html.contains("<script") && !html.contains(['\u{1b}', '\u{202e}']), "{}", html);
        let text = note::write(&log, Paper::Note, &Options::default()).unwrap();
        for entry in live().filter(|e| !matches!(e.status, Status::General | Status::Conditional)) {
            for value in told(entry) {
                prop_assert!(text.contains(&value), "{} of {} {:?} in {}", value, entry.kind, entry.values, text);
            }
        }
        for format in [Format::Markdown, Format::Html] {
            let list = checklist::write(&log, &checklist::Options { format, ..checklist::Options::default() }).unwrap();
            prop_assert!(!list.contains("<script") && !list.contains(['\u{1b}', '\u{202e}']), "{}", list);
            for value in live().flat_map(told) {
                prop_assert!(list.contains(&value), "{} in {}", value, list);
            }
        }
        for vtt in [captions::of_words(&log), captions::of_entries(&log)] {
            prop_assert!(!vtt.contains('<') && !vtt.contains("A -->"), "{}", vtt);
            if !log.entries.is_empty() {
                prop_assert!(transcript::read(vtt.as_bytes()).is_ok_and(|t| t.repairs.is_empty()) || live().next().is_none(), "{}", vtt);
            }
        }
        let csv = table::csv(&log, false).unwrap();
        prop_assert_eq!(csv::Reader::from_reader(csv.as_bytes()).records().filter_map(Result::ok).count(), log.entries.len());
        let bundle = fhir::bundle(&log, "2026-02-03T12:00:00Z").unwrap();
        prop_assert!(!bundle.contains("\\u001b") && !bundle.contains("\\r") && !bundle.contains('\u{202e}'), "{}", bundle);
        for value in live().filter(|e| e.status == Status::Done).flat_map(|e| e.values.values().filter_map(Value::number).collect::<Vec<_>>()) {
            prop_assert!(bundle.contains(&value.to_string()), "{} in {}", value, bundle);
        }
    }
}
