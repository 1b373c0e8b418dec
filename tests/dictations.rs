//! Spoken lines and what the log must hold; one line, one case. The lines are invented.

use tugback::{
    entries::{Extractor, Settings},
    kinds,
    listen::heard::Breath,
    log::Review,
};

fn show(said: &[&str]) -> String {
    let breaths: Vec<Breath> = said
        .iter()
        .zip(0_u8..)
        .map(|(t, n)| Breath::from_text(f64::from(n) * 5.0, f64::from(n) * 5.0 + 4.0, t))
        .collect();
    let found = Extractor::new(Settings::default()).extract(&breaths);
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

/// Nothing vanishes: every breath's words stand in an entry or in the unplaced speech.
#[test]
fn nothing_vanishes() {
    let said =
        ["is it still raining", "irrigate two mils of saline", "no perforation", "lovely, nearly done"];
    let breaths: Vec<Breath> = said.iter().map(|t| Breath::from_text(0.0, 4.0, t)).collect();
    let found = Extractor::new(Settings::default()).extract(&breaths);
    let kept: String = found
        .entries
        .iter()
        .map(|e| e.said.clone())
        .chain(found.unplaced.iter().map(|u| u.said.clone()))
        .collect::<Vec<_>>()
        .join(" ");
    for word in said.iter().flat_map(|s| s.split_whitespace()) {
        assert!(kept.contains(word), "{word} is lost from: {kept}");
    }
}
