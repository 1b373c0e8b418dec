//! Words that take something back and were not understood: what they may mean carries a doubt.

use super::{
    breath::At,
    session::{Session, push_doubt},
};

/// What people say to take something back, beside the words of a strike.
const RETRACTS: &[&str] = &[
    "erase",
    "don't write that",
    "do not write that",
    "leave that out",
    "leave it out",
    "not that",
    "that didn't happen",
    "that did not happen",
    "ignore that",
    "ignore it",
    "disregard",
    "wrong canal",
    "wrong patient",
    "wrong tooth",
    "false alarm",
    "cancel",
    "cross out",
    "the other tooth",
    "minus half",
    "add half",
    "reduce by",
    "reduced by",
    "increase by",
    "increased by",
    "swap those",
    "swap them",
    "swap these",
    "scratch the",
    "strike the",
    "delete the",
    "forget the",
    "not a canal",
    "that's not",
    "that isn't",
    "that wasn't",
    "no i didn't",
    "no we didn't",
    "only used",
];
/// So many entries back the one that is meant is looked for.
const BACK: usize = 12;
/// Among so many first words it is heard even where the breath found a place.
const FIRST: usize = 3;
/// A word so long may name what is taken back.
const NAMES: usize = 4;

impl Session<'_> {
    /// "scratch the hypo", "wrong canal": the last entry, or the last that holds a word of the breath, carries a doubt.
    pub(super) fn retracted(&mut self, at: &At<'_>) {
        let said = at.said(&(0..at.placed.len())).0.to_lowercase();
        let plain: String =
            said.chars().map(|c| if matches!(c, ',' | '.' | ';') { ' ' } else { c }).collect();
        let words: Vec<&str> = plain.split_whitespace().collect();
        if words.len() > BACK {
            return;
        }
        let text = format!(" {} ", words.join(" "));
        let stands = |p: &&&str| text.contains(**p) && text.contains(&format!(" {p} "));
        let Some(phrase) = RETRACTS.iter().find(stands) else { return };
        let left = (0..at.placed.len()).any(|i| {
            at.placed.get(i) == Some(&false)
                && phrase.split(' ').any(|w| at.said(&(i..i + 1)).0.to_lowercase().contains(w))
        });
        let first = phrase.split(' ').next().unwrap_or_default();
        // "wrong canal, that was the palatal" that was understood is a correction.
        let opens = first != "wrong" && words.iter().take(FIRST).any(|w| *w == first);
        if !(left || opens) {
            return;
        }
        let near = |n: usize| n <= at.n && n + 3 >= at.n;
        let live: Vec<usize> = self.live().take(BACK).collect();
        let of = |i: &usize| self.notes.get(*i).is_some_and(|n| near(n.breath));
        let names = |i: &usize| {
            let said = self.entries.get(*i).map(|e| e.said.to_lowercase()).unwrap_or_default();
            words.iter().filter(|w| w.len() >= NAMES && !phrase.contains(**w)).any(|w| said.contains(w))
        };
        let mut meant: Vec<usize> = live.iter().copied().filter(of).take(1).collect();
        meant.extend(live.iter().copied().filter(names).take(2));
        for i in meant {
            if let Some(entry) = self.entries.get_mut(i) {
                push_doubt(entry, "entry", "words that take something back followed", &[]);
            }
        }
    }
}
