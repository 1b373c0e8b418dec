//! A breath while it is worked on: its items, what was heard in them, which of them found a place.

use std::ops::Range;

use super::{
    beside::Neighbour,
    hits::{self, Hit, Of},
    sentence::{self, Sentence, Speech},
    why::Spoken,
};
use crate::{listen::heard::Breath, words::line::Line};

/// A breath while it is worked on.
pub(super) struct At<'b> {
    pub(super) n: usize,
    pub(super) breath: &'b Breath,
    pub(super) line: Line,
    pub(super) hits: Vec<Hit>,
    /// For each kind which of the hits are its fields.
    pub(super) fields: Vec<Vec<u32>>,
    pub(super) sentences: Vec<Sentence>,
    /// Items inside a number of several pieces: nothing may start there.
    pub(super) inside: Vec<bool>,
    /// Teeth named beside the one at work.
    pub(super) beside: Vec<Neighbour>,
    /// Where a stretch must be cut.
    pub(super) must: Vec<usize>,
    /// Items that found a place.
    pub(super) placed: Vec<bool>,
}

impl At<'_> {
    pub(super) fn place(&mut self, items: Range<usize>) {
        for p in self.placed.get_mut(items).into_iter().flatten() {
            *p = true;
        }
    }

    /// Words of an item range, and when they were said.
    pub(super) fn spoken(&self, items: &Range<usize>) -> Spoken {
        let (words, at_s, _) = self.said(items);
        Spoken { words, at_s }
    }

    /// Words and times of an item range.
    pub(super) fn said(&self, items: &Range<usize>) -> (String, f64, f64) {
        let heard = self.line.heard(items.start, items.end);
        let words = self.breath.words.get(heard).unwrap_or_default();
        let text = words.iter().map(|w| w.text.as_str()).collect::<Vec<_>>().join(" ");
        let from = words.first().map_or(self.breath.from_s, |w| w.from_s);
        let to = words.last().map_or(self.breath.to_s, |w| w.to_s);
        (text, from, to)
    }
}

impl At<'_> {
    /// Are the last words of treatment before item `end`, those with numbers, without a place?
    pub(super) fn leaves_treatment(&self, end: usize) -> bool {
        let says = |i: &usize| self.line.atom(*i).is_some() || self.placed.get(*i) == Some(&true);
        let treatment = |i: &usize| {
            // "Working length 35 in the ML?": said in a voice that rises, it may have been meant.
            let asked = |s: &Sentence| {
                s.speech == Speech::Talk("question")
                    && hits::within(&self.hits, &s.items).any(|h| matches!(h.of, Of::Rule(_)))
            };
            sentence::of_item(&self.sentences, *i).is_some_and(|s| s.speech == Speech::Treatment || asked(s))
        };
        let last = (0..end).rev().filter(treatment).find(says);
        last.is_some_and(|i| self.placed.get(i) == Some(&false))
    }
}
