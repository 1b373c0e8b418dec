//! Entries, unplaced speech and readings on one line each, as the tables of cases have them.

use tugback::{
    entries::{Extracted, Extractor, Settings},
    listen::heard::Breath,
    log::{Canal, Doubt, Entry, Review, Status, Unplaced},
    words::{
        line::Line,
        slot::{self, Reading, Slot},
        vocabulary::BUILT_IN,
    },
};

/// `kind, status unless done, place, values | next entry :: unplaced / unplaced`. Breaths are separated by ` // `.
pub(crate) fn log(said: &str) -> String {
    let breaths: Vec<Breath> = said
        .split(" // ")
        .zip(0_u8..)
        .map(|(t, n)| Breath::from_text(f64::from(n) * 5.0, f64::from(n) * 5.0 + 4.0, t))
        .collect();
    whole(&Extractor::new(Settings::default()).extract(&breaths))
}

fn whole(found: &Extracted) -> String {
    let entries: Vec<String> = found.entries.iter().map(entry).collect();
    // A word with the stop of a spoken control stands in two stretches; the shorter one says nothing new.
    let mut unplaced: Vec<&Unplaced> = vec![];
    for u in &found.unplaced {
        if !unplaced.iter().any(|o| o.from_s <= u.from_s && u.to_s <= o.to_s) {
            unplaced.push(u);
        }
    }
    let unplaced: Vec<&str> = unplaced.iter().map(|u| u.said.as_str()).collect();
    format!("{} :: {}", entries.join(" | "), unplaced.join(" / ")).trim().to_owned()
}

fn entry(e: &Entry) -> String {
    let mut parts = vec![];
    if e.review == Review::Struck {
        parts.push("struck".to_owned());
    }
    parts.push(e.kind.clone());
    match e.status {
        Status::Done => {}
        Status::Planned => parts.push("planned".to_owned()),
        Status::NotDone => parts.push("not-done".to_owned()),
        Status::Conditional => parts.push("conditional".to_owned()),
        Status::General => parts.push("general".to_owned()),
    }
    parts.extend(e.canal.as_ref().map(|c| match c {
        Canal::One(one) => one.clone(),
        Canal::Many(many) => many.join("+"),
    }));
    // A tooth beside the one at work: "@35".
    if e.tooth.is_some() && !e.carried.iter().any(|c| c == "tooth") && !e.values.contains_key("tooth") {
        parts.extend(e.tooth.as_ref().map(|t| format!("@{t}")));
    }
    let mut values: Vec<String> = e.values.iter().map(|(k, v)| format!("{k}={v}")).collect();
    values.sort();
    parts.extend(values);
    parts.extend(e.doubts.iter().map(doubt));
    parts.join(" ")
}

/// `?field`, with the other values that it may have: `?length_mm[21,20.5]`.
fn doubt(d: &Doubt) -> String {
    let others: Vec<String> = d.alternatives.iter().map(ToString::to_string).collect();
    let others = if others.is_empty() { String::new() } else { format!("[{}]", others.join(",")) };
    format!("?{}{others}", d.field)
}

/// What a slot reads in the words, item by item: each place where a reading starts after the end of the one before.
pub(crate) fn slot(name: &str, said: &str) -> String {
    let slot = Slot::named(name).unwrap_or_else(|| panic!("there is no slot {{{name}}}"));
    let line = Line::new(&Breath::from_text(0.0, 4.0, said), &BUILT_IN);
    let (mut i, mut out) = (0, vec![]);
    while i < line.items.len() {
        match slot::read(slot, &line, i) {
            Some(r) => {
                i = r.end.max(i + 1);
                out.push(reading(&r));
            }
            None => i += 1,
        }
    }
    if out.is_empty() { "nothing".to_owned() } else { out.join(", ") }
}

fn reading(r: &Reading) -> String {
    let mut text = r.text.clone().unwrap_or_else(|| r.value.to_string());
    if let Some(taper) = r.taper {
        text = format!("{text}/{taper}");
    }
    for d in &r.doubts {
        let others: Vec<String> = d.alternatives.iter().map(ToString::to_string).collect();
        text = format!("{text} ?[{}]", others.join(","));
    }
    text
}
