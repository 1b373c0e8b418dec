//! `tugback log --explain`: for each entry the words, the rule, where tooth, canal, status and each value come from, what
//! later words did to it, and why each doubt is there.

use std::fmt::Write as _;

use super::table::{canal, clock};
use crate::{
    entries::why::{Did, From, Spoken, Why},
    log::{Doubt, Entry, Status, Value},
};

/// All entries, one paragraph each.
pub(super) fn of(entries: &[Entry], reasons: &[Why]) -> String {
    let mut out = String::new();
    for (e, why) in entries.iter().zip(reasons) {
        let _ = writeln!(out, "\n{}  {} at {}, {}", e.id, e.kind, clock(e.from_s), status(e.status, why));
        for (label, text) in lines(e, why) {
            let _ = writeln!(out, "    {label:<17} {text}");
        }
    }
    out
}

/// What stands before the text of each line, and the text.
fn lines(e: &Entry, why: &Why) -> Vec<(String, String)> {
    let mut out = Vec::new();
    let mut line = |label: &str, text: String| out.push((label.to_owned(), text));
    line("said", quoted(&e.said));
    line(
        "rule",
        match &why.goes_on_with {
            Some(with) => format!("{}, goes on with {with}", e.rule),
            None => format!("{}, opened by {}", e.rule, quoted(&why.opened_by)),
        },
    );
    if let Some(tooth) = e.tooth.as_ref().filter(|_| !e.values.contains_key("tooth")) {
        line("tooth", place(tooth, e, "tooth", why.tooth.as_ref()));
    }
    if e.canal.is_some() {
        line("canal", place(canal(e).trim_matches(['(', ')']), e, "canal", why.canal.as_ref()));
    }
    for (field, value) in &e.values {
        line(field, format!("{value:<8}  {}", from(field, why)).trim_end().to_owned());
    }
    for later in &why.later {
        let did = match &later.did {
            Did::Struck => "struck".to_owned(),
            Did::Flagged => "flagged".to_owned(),
            Did::Changed { field, from: Some(old), to, .. } => format!("{field} {old} became {to}"),
            Did::Changed { field, from: None, to, .. } => format!("{field} {to} was added"),
        };
        line(&format!("at {}", clock(later.by.at_s)), format!("{did}, by {}", quoted(&later.by.words)));
    }
    for d in &e.doubts {
        line(&format!("? {}", d.field), doubt(d));
    }
    out
}

fn quoted(words: &str) -> String {
    format!("\"{words}\"")
}

fn status(status: Status, why: &Why) -> String {
    let name = match status {
        Status::Done => "done",
        Status::Planned => "planned",
        Status::NotDone => "not done",
        Status::Conditional => "only under a condition",
        Status::General => "a rule of the craft",
    };
    match &why.status_by {
        Some(words) => format!("{name} because of {}", quoted(words)),
        None => name.to_owned(),
    }
}

fn place(name: &str, e: &Entry, field: &str, said: Option<&Spoken>) -> String {
    match said {
        Some(s) if e.carried.iter().any(|c| c == field) => {
            format!("{name:<8}  carried from {} at {}", quoted(&s.words), clock(s.at_s))
        }
        Some(s) => format!("{name:<8}  {}", quoted(&s.words)),
        None => name.to_owned(),
    }
}

/// The words of a value: the last that gave it.
fn from(field: &str, why: &Why) -> String {
    let later = why.later.iter().rev().find_map(|l| match &l.did {
        Did::Changed { field: f, words, .. } if f == field => Some(quoted(words)),
        _ => None,
    });
    let first = || {
        why.values.iter().find(|(f, _)| f == field).map(|(_, from)| match from {
            From::Said(words) => quoted(words),
            From::Meant => format!("meant by {}", quoted(&why.opened_by)),
            From::Same(entry) => format!("the same as in {entry}"),
        })
    };
    later.or_else(first).unwrap_or_default()
}

fn doubt(d: &Doubt) -> String {
    let others: Vec<String> = d.alternatives.iter().map(Value::to_string).collect();
    if others.is_empty() {
        d.reason.clone()
    } else {
        format!("{}; it may be {}", d.reason, others.join(" or "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        entries::{Extractor, Settings},
        listen::heard::Breath,
    };

    #[track_caller]
    fn check(said: &[&str], expect: &str) {
        let breaths: Vec<Breath> = said
            .iter()
            .zip(0_u8..)
            .map(|(t, n)| Breath::from_text(f64::from(n) * 10.0, f64::from(n) * 10.0 + 4.0, t))
            .collect();
        let found = Extractor::new(Settings::default()).extract(&breaths);
        assert_eq!(of(&found.entries, &found.reasons), expect, "said: {said:?}");
    }

    #[test]
    fn where_each_value_comes_from() {
        check(
            &["tooth thirty six", "working length mesiobuccal nineteen five to the buccal cusp"],
            r#"
e1  tooth at 0:00, done
    said              "tooth thirty six"
    rule              tooth.number, opened by "tooth thirty six"
    tooth             36        "tooth thirty six"
    said_as           iso3950

e2  working-length at 0:10, done
    said              "working length mesiobuccal nineteen five to the buccal cusp"
    rule              working-length.named, opened by "working length"
    tooth             36        carried from "tooth thirty six" at 0:00
    canal             MB        "mesiobuccal"
    length_mm         19.5      "nineteen five"
    reference         buccal-cusp  "to the buccal cusp"
    ? length_mm       "nineteen five" was said without "point"; it may be 19
"#,
        );
    }

    #[test]
    fn what_made_the_status() {
        check(
            &[
                "we will irrigate with EDTA next",
                "did not use the twenty five file",
                "you always irrigate with saline",
            ],
            r#"
e1  irrigation at 0:00, planned because of "we will"
    said              "we will irrigate with EDTA next"
    rule              irrigation.act, opened by "irrigate"
    agent             edta      "EDTA"

e2  instrumentation at 0:10, not done because of "did not"
    said              "did not use the twenty five file"
    rule              instrumentation.file, opened by "the twenty five file"
    size              25        "twenty five"

e3  irrigation at 0:20, a rule of the craft because of "you always"
    said              "you always irrigate with saline"
    rule              irrigation.act, opened by "irrigate"
    agent             saline    "saline"
"#,
        );
    }

    #[test]
    fn what_later_words_did() {
        check(
            &[
                "irrigate with saline",
                "three mils",
                "flag that",
                "rotary thirty oh four to length",
                "scratch that",
            ],
            r#"
e1  irrigation at 0:00, done
    said              "irrigate with saline … three mils"
    rule              irrigation.act, opened by "irrigate"
    agent             saline    "saline"
    volume_ml         3         "three mils"
    at 0:10           volume_ml 3 was added, by "three mils"
    at 0:20           flagged, by "flag that"
    ? entry           flagged by the speaker

e2  instrumentation at 0:30, done
    said              "rotary thirty oh four to length"
    rule              instrumentation.instrument, opened by "rotary thirty oh four"
    instrument        rotary    "rotary"
    taper             0.04      "thirty oh four"
    size              30        "thirty oh four"
    short_mm          0         "to length"
    at 0:40           struck, by "scratch that"
"#,
        );
    }
}
