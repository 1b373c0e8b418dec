//! A practice's own instruments and phrases: what they add to the vocabulary and the kinds, and what an own instrument
//! has to say about an entry's size, taper and colour.

use std::sync::Arc;

use super::session::push_doubt;
use crate::{
    kinds::{Kinds, Rule, pattern::Pattern},
    log::{Entry, Value},
    settings::{Instrument, Phrase},
    words::{token, vocabulary::Vocabulary},
};

/// The vocabulary with the practice's instruments.
pub(super) fn vocabulary(base: &Arc<Vocabulary>, instruments: &[Instrument]) -> Arc<Vocabulary> {
    if instruments.is_empty() {
        return base.clone();
    }
    let mut v = Vocabulary::clone(base);
    for instrument in instruments {
        for said in &instrument.said {
            // Capitals would be spelled out; an own name is said as it stands.
            v.add("instruments", &token::plain(said).join(" "), &instrument.name);
        }
    }
    v.sort();
    Arc::new(v)
}

/// The vocabulary with the practice's words for spoken controls: what is said, and what it asks for.
pub(super) fn controls(base: &Arc<Vocabulary>, controls: &[(String, &'static str)]) -> Arc<Vocabulary> {
    let mut v = Vocabulary::clone(base);
    for (said, what) in controls {
        // What comes before a length of time is no control by itself.
        let vocabulary = if *what == "time" { "timers" } else { "controls" };
        v.add(vocabulary, &token::plain(said).join(" "), what);
    }
    v.sort();
    Arc::new(v)
}

/// The kinds with a rule for each of the practice's phrases, stronger than any other.
pub(super) fn kinds(base: &Arc<Kinds>, phrases: &[Phrase]) -> Arc<Kinds> {
    if phrases.is_empty() {
        return base.clone();
    }
    let mut kinds = Kinds::clone(base);
    for (n, phrase) in phrases.iter().enumerate() {
        let Some(kind) = kinds.all.iter_mut().find(|k| k.name == phrase.kind) else { continue };
        let hear: Vec<Pattern> = phrase
            .said
            .iter()
            .filter_map(|said| Pattern::parse(&token::plain(said).join("_")).ok())
            .collect();
        kind.rules.push(Rule {
            id: format!("own.{}.{}", phrase.kind, n + 1),
            hear,
            weight: OWN,
            sets: phrase.values.clone(),
            ..Rule::default()
        });
    }
    Arc::new(kinds)
}

/// Surer than every rule of the program.
const OWN: f32 = 4.0;

/// A size or taper that the instrument does not have is doubted; a colour alone gives the size that it has there, also
/// with a doubt: the colour was said, not the size.
pub(super) fn check(entry: &mut Entry, instruments: &[Instrument]) {
    let name = entry.values.get("instrument").and_then(Value::text);
    let Some(own) = instruments.iter().find(|i| Some(i.name.as_str()) == name) else { return };
    let said = own.said.first().map_or(own.name.as_str(), String::as_str).to_owned();
    if let (None, Some(colour)) = (entry.values.get("size"), entry.values.get("colour").and_then(Value::text))
        && let Some(at) = own.colours.iter().position(|c| c == colour)
        && let Some(size) = own.sizes.get(at)
    {
        let reason = format!("the size was taken from the colour of the {said}");
        entry.values.insert("size".to_owned(), Value::Number(*size));
        push_doubt(entry, "size", &reason, &[]);
    }
    for (field, there_are) in [("size", &own.sizes), ("taper", &own.tapers)] {
        let Some(n) = entry.values.get(field).and_then(Value::number) else { continue };
        if !there_are.is_empty() && !there_are.contains(&n) {
            let others: Vec<Value> = there_are.iter().map(|v| Value::Number(*v)).collect();
            push_doubt(entry, field, &format!("the {said} has no {field} {n}"), &others);
        }
    }
}
