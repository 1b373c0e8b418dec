//! Spoken lines and what the log must hold; one line, one case. The lines are invented.

use proptest::prelude::*;
use tugback::{
    entries::{Extractor, Settings},
    kinds,
    listen::heard::Breath,
    log::Review,
};

fn show(said: &[&str]) -> String {
    show_by(&Extractor::new(Settings::default()), said)
}

fn show_by(extractor: &Extractor, said: &[&str]) -> String {
    let breaths: Vec<Breath> = said
        .iter()
        .zip(0_u8..)
        .map(|(t, n)| Breath::from_text(f64::from(n) * 5.0, f64::from(n) * 5.0 + 4.0, t))
        .collect();
    let found = extractor.extract(&breaths);
    let mut out = Vec::new();
    for e in found.entries.iter().filter(|e| e.review != Review::Struck) {
        let mut values: Vec<String> = e.values.iter().map(|(k, v)| format!("{k}={v}")).collect();
        values.sort();
        let doubt = if e.doubts.is_empty() { "" } else { " ?" };
        out.push(format!("{} {}{doubt}", e.kind, values.join(" ")).trim().to_owned());
    }
    out.join(" | ")
}

#[track_caller]
fn check(said: &[&str], expect: &str) {
    assert_eq!(show(said), expect, "said: {said:?}");
}

#[test]
fn kinds_are_well_formed() {
    assert!(kinds::BUILT_IN.all.len() >= 28);
}

#[test]
fn sizes_and_lengths() {
    check(
        &["rotary twenty five oh six to length"],
        "instrumentation instrument=rotary short_mm=0 size=25 taper=0.06",
    );
    check(&["working length distal nineteen and a half"], "working-length length_mm=19.5");
    check(&["working length one nine five in the distal"], "working-length length_mm=19.5 ?");
    check(&["recap with a number ten to length"], "recapitulation short_mm=0 size=10");
}

#[test]
fn irrigants() {
    check(
        &["irrigate with three mils of hypochlorite five point two five percent"],
        "irrigation agent=sodium-hypochlorite concentration_pct=5.25 volume_ml=3",
    );
}

#[test]
fn corrections() {
    check(&["working length distal twenty", "no make that twenty one"], "working-length length_mm=21");
    // The bare number is in the unit that was said before; that is assumed, so it is doubted.
    check(&["irrigate with EDTA two minutes, no, three"], "irrigation agent=edta duration_s=180 ?");
    check(&["irrigate with EDTA for two minutes", "no, three"], "irrigation agent=edta duration_s=180 ?");
    check(&["rotary forty oh four to length", "scratch that"], "");
    check(&["working length distal twenty, no, twenty one"], "working-length length_mm=21");
    check(&["working length distal twenty no twenty one"], "working-length length_mm=21");
    check(&["working length distal twenty millimetres, sorry, twenty one"], "working-length length_mm=21");
    check(&["irrigate two mils, no, three mils of saline"], "irrigation agent=saline volume_ml=3");
    // A denial after a value is no correction of it.
    check(
        &["working length distal twenty, no perforation"],
        "working-length length_mm=20 | complication type=perforation",
    );
}

#[test]
fn talk_gives_nothing() {
    check(&["pass me the twenty five please"], "");
    check(&["how was the traffic, forty minutes, goodness"], "");
}

/// How often each word stands in the entries (each stretch of words once) and in the unplaced speech.
fn kept(found: &tugback::entries::Extracted) -> Vec<String> {
    let mut stretches: Vec<(u64, u64, &str)> = found
        .entries
        .iter()
        .map(|e| (e.from_s.to_bits(), e.to_s.to_bits(), e.said.as_str()))
        .chain(found.unplaced.iter().map(|u| (u.from_s.to_bits(), u.to_s.to_bits(), u.said.as_str())))
        .collect();
    stretches.sort_unstable();
    stretches.dedup();
    stretches.iter().flat_map(|(_, _, t)| t.split_whitespace().map(str::to_owned)).collect()
}

#[track_caller]
fn nothing_vanishes(said: &str) {
    let found = Extractor::new(Settings::default()).extract(&[Breath::from_text(0.0, 9.0, said)]);
    let kept = kept(&found);
    for word in said.split_whitespace().filter(|w| w.chars().any(char::is_alphanumeric)) {
        let count = |words: &mut dyn Iterator<Item = &str>| words.filter(|w| *w == word).count();
        let (before, after) =
            (count(&mut said.split_whitespace()), count(&mut kept.iter().map(String::as_str)));
        assert!(after >= before, "{word:?} was said {before} times and kept {after} times: {said:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// Word for word, for any row of words of the trade, numbers, cues and marks; and no text panics.
    #[test]
    fn trade_words_do_not_vanish(words in prop::collection::vec(prop::sample::select(WORDS), 0..24)) {
        nothing_vanishes(&words.join(" "));
    }

    #[test]
    fn any_text_does_not_vanish(said in "\\PC{0,120}") {
        nothing_vanishes(&said);
    }
}

const WORDS: &[&str] = &[
    "rotary",
    "twenty",
    "five",
    "oh",
    "six",
    "point",
    "half",
    "and",
    "a",
    "to",
    "length",
    "distal",
    "mesiobuccal",
    "both",
    "irrigate",
    "hypochlorite",
    "mils",
    "percent",
    "no,",
    "no",
    "scratch",
    "that",
    "correction",
    "if",
    "always",
    "not",
    "will",
    "tooth",
    "36",
    "25/.06",
    "21.",
    "5",
    "1:100,000",
    "hundred",
    "thousand",
    "seconds",
    "same",
    "another",
    "last",
    "visit",
    "note",
    "please",
    "lot",
    "B",
    "7",
    "radiograph",
    "patent",
    "ten",
    "one",
    "short",
    "you",
    "?",
    ".",
    "is",
    "the",
    "minute",
];

/// What the listener remarked on a breath must reach the reader: a start that may be cut may have lost a "not".
#[test]
fn a_remark_on_a_breath_is_a_doubt() {
    let mut breath = Breath::from_text(0.0, 4.0, "irrigate two mils of saline");
    breath.remarks.push("start may be cut".to_owned());
    let found = Extractor::new(Settings::default()).extract(&[breath]);
    let reasons: Vec<&str> =
        found.entries.iter().flat_map(|e| e.doubts.iter().map(|d| d.reason.as_str())).collect();
    assert_eq!(reasons, ["start may be cut"]);
}

/// The examples and silent cases of every kind file.
#[test]
fn kinds_do_what_their_files_say() {
    let mut wrong = Vec::new();
    for kind in &kinds::BUILT_IN.all {
        for x in &kind.examples {
            let found = Extractor::new(Settings::default()).extract(&[Breath::from_text(0.0, 9.0, &x.said)]);
            let fits = found.entries.iter().any(|e| {
                let doubted: Vec<&str> = e.doubts.iter().map(|d| d.field.as_str()).collect();
                e.kind == kind.name
                    && e.status == x.status
                    && doubted == x.doubts
                    && x.gives.iter().all(|(f, v)| e.values.get(f) == Some(v))
            });
            if !fits {
                wrong.push(format!("{}: {:?} gave {}", kind.name, x.said, show(&[&x.said])));
            }
        }
        for x in &kind.silent {
            let got = show(&[&x.said]);
            if !got.is_empty() {
                wrong.push(format!("{}: {:?} must be silent ({}) and gave {got}", kind.name, x.said, x.why));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A practice's own instrument and phrase, and what they say about values that they do not have.
#[test]
fn own_instruments_and_phrases() {
    let text = r#"
[[instrument]]
name = "slim-shaper"
said = ["slim shaper", "the slim one"]
like = "rotary"
sizes = [20, 25]
tapers = [0.04]
colours = ["yellow", "red"]

[[phrase]]
said = ["the usual rinse"]
kind = "irrigation"
values = { agent = "sodium-hypochlorite", concentration_pct = 3, volume_ml = 5 }
"#;
    let chosen = tugback::settings::Settings::parse(text, std::path::Path::new("tugback.toml"), &[]).unwrap();
    let extractor = Extractor::for_practice(Settings::default(), chosen.instruments(), chosen.phrases());
    let check = |said: &str, expect: &str| assert_eq!(show_by(&extractor, &[said]), expect, "said: {said}");
    check(
        "slim shaper twenty five oh four to length",
        "instrumentation instrument=slim-shaper short_mm=0 size=25 taper=0.04",
    );
    check(
        "slim shaper thirty oh four to length",
        "instrumentation instrument=slim-shaper short_mm=0 size=30 taper=0.04 ?",
    );
    check(
        "the slim one, red file, to length",
        "instrumentation colour=red instrument=slim-shaper short_mm=0 size=25 ?",
    );
    check(
        "the usual rinse in the palatal",
        "irrigation agent=sodium-hypochlorite concentration_pct=3 volume_ml=5",
    );
}
