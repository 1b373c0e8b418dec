//! A neighbour's tooth: where a test was made, not the tooth at work.

use std::ops::Range;

use super::{
    fill::Draft,
    goes_on::write_pieces,
    hits::{self, Hit, Of},
    sentence::cue,
    session::{self, At, Note, Session, blank},
    tooth,
    why::{From, Why},
};
use crate::{
    kinds::{Is, Place},
    log::{Entry, Status},
    words::{
        line::{Line, What},
        slot::Slot,
    },
};

/// So many items around a tooth its sentence is searched for a test.
const FAR: usize = 60;
/// So many small words may stand between a step and the tooth that it names.
const NEAR: usize = 3;
/// What turns to a tooth: it is at work from there on.
const TURNS: &[&str] = &[
    "now",
    "next",
    "moving",
    "onto",
    "over",
    "across",
    "back",
    "switching",
    "switch",
    "swapping",
    "turning",
    "turn",
    "start",
    "started",
    "look",
    "looked",
    "looking",
    "begin",
    "begun",
    "open",
    "starting",
    "treating",
    "treated",
    "doing",
    "second",
    "case",
    "another",
    "returned",
    "returning",
    "moved",
    "went",
    "same",
    "while",
    "take",
    "taking",
    "first",
];
/// What a tooth is told to be, or to have had: no work on it.
const STATES: &[&str] = &[
    "is",
    "was",
    "has",
    "had",
    "were",
    "are",
    "looks",
    "looked",
    "reacted",
    "responded",
    "feels",
    "felt",
    "seems",
    "will",
];

/// Words behind a tooth that is named alone.
const AFTER: &[&str] =
    &["first", "too", "also", "again", "now", "then", "today", "here", "next", "as", "well", "one"];
/// From this weight on a rule's words tell of work.
const WORK: f32 = 1.0;

/// Teeth named together ("the three five and the three seven"), and where.
#[derive(Debug, Clone)]
pub(super) struct Neighbour {
    pub(super) items: Range<usize>,
    pub(super) teeth: Vec<String>,
}

impl Session<'_> {
    /// The teeth of a line that are named only because something was done there too ("cold on the two one is normal"),
    /// while another tooth is at work. One that opens the breath, or that words turn to, is at work from now on.
    pub(super) fn beside(&self, line: &Line, found: &[Hit]) -> Vec<Neighbour> {
        let mut out: Vec<Neighbour> = Vec::new();
        let Some(at_work) = &self.tooth else { return out };
        for hit in found {
            let kind = self.x.kinds.all.get(hit.kind);
            if kind.is_none_or(|k| k.place != Place::NamesTeeth)
                || out.last().is_some_and(|b| b.items.end > hit.first)
            {
                continue;
            }
            let number = hit.found.readings.first().and_then(|(_, r)| r.text.clone());
            let said = tooth::from_terms(&hit.found.terms, number.as_deref()).or(number);
            let Some(named) = said.and_then(|s| tooth::named(&s, self.x.settings.notation)) else { continue };
            let sentence = line.sentence_start(hit.first).max(hit.first.saturating_sub(FAR))
                ..line.sentence_end(hit.end.saturating_sub(1)).min(hit.end + FAR);
            let first = (hit.first..hit.end).find(|&i| line.atom(i).is_some() || says_a_tooth(line, i));
            let first = first.unwrap_or(hit.first);
            let opens = (sentence.start..first).all(|i| is_small(line, i))
                && (line.items.get(hit.end).is_none_or(|it| it.what == What::Mark)
                    || sentence.start == 0 && hit.first == 0 && !is_told_of(line, hit.end));
            let tests = self.tells_a_test(line, &(sentence.start..first));
            let turns = turns_to(line, &sentence, first) && !tests;
            // "cold on eleven is positive, on twenty two positive, on twenty one nothing": the one at work among them.
            let among =
                out.last().is_some_and(|b| line.sentence_start(b.items.start) == line.sentence_start(first));
            if (named.iso != *at_work || among) && !opens && !turns && self.tells_a_test(line, &sentence) {
                match out.last_mut().filter(|b| (b.items.end..first).all(|i| is_small(line, i))) {
                    Some(group) => {
                        group.items.end = hit.end;
                        group.teeth.push(named.iso);
                    }
                    None => out.push(Neighbour { items: first..hit.end, teeth: vec![named.iso] }),
                }
            }
        }
        out
    }

    /// Stands a word there that only a kind says whose teeth may be neighbours?
    fn tells_a_test(&self, line: &Line, sentence: &Range<usize>) -> bool {
        let vocabularies = self.x.kinds.all.iter().filter(|k| k.beside).filter_map(|k| {
            let field = k.fields.get(k.each.first()?)?;
            match &field.is {
                Is::Term(vocabulary) => Some(vocabulary.as_str()),
                _ => None,
            }
        });
        vocabularies.into_iter().any(|v| sentence.clone().any(|i| line.term(i, v).is_some()))
    }
}

impl Session<'_> {
    /// One entry for each of the neighbours.
    pub(super) fn push_each(&mut self, mut entry: Entry, mut note: Note, at: &At<'_>, of: &Neighbour) {
        entry.carried.retain(|c| c != "tooth");
        note.why.tooth = Some(at.spoken(&of.items));
        for tooth in &of.teeth {
            entry.tooth = Some(tooth.clone());
            self.push(entry.clone(), note.clone());
        }
    }
}

/// Where a stretch must be cut: before a neighbour that begins a clause behind other words.
pub(super) fn cuts(at: &At<'_>) -> Vec<usize> {
    let line = &at.line;
    let joins = |i: usize| line.is_mark(i, ",") || line.is_word(i, "and") || line.is_word(i, "but");
    let small = |i: usize| line.is_one_of(i, &["the", "on", "in", "at", "of", "for"]);
    let first = |b: &Neighbour| {
        let mut start = b.items.start;
        while start > 0 && b.items.start - start < NEAR && small(start - 1) {
            start -= 1;
        }
        start.checked_sub(1).filter(|&i| joins(i)).map(|_| start)
    };
    at.beside.iter().filter_map(first).collect()
}

/// The neighbour that the words of an entry name, in their clause: among them, right behind them ("cold negative on the
/// two one"), or before ("the two one: cold normal").
pub(super) fn of_step<'n>(at: &'n At<'_>, items: &Range<usize>, draft: &Draft) -> Option<&'n Neighbour> {
    let line = &at.line;
    let linked = |i: usize| line.is_one_of(i, &["on", "in", "of", "for", "at", "with", "to"]);
    let first = draft.pieces.iter().map(|p| p.items.start).min().unwrap_or(items.start);
    let last = draft.pieces.iter().map(|p| p.items.end).max().unwrap_or(items.end);
    let apart = |mut range: Range<usize>| range.any(|i| line.is_mark(i, ",") || line.is_mark(i, ";"));
    at.beside.iter().find(|b| {
        let near = b.items.start <= items.end + NEAR && items.start <= b.items.end + NEAR;
        let before = b.items.end <= first && !apart(b.items.end..first);
        let among = b.items.start >= first && b.items.end <= last;
        let after = b.items.start >= last
            && !apart(last..b.items.start)
            && (last..b.items.start).rev().find(|&i| !line.is_word(i, "the")).is_some_and(linked);
        near && (before || among || after)
    })
}

/// "…, the one three also normal": the test just told, at a neighbour.
pub(super) fn as_well(s: &mut Session<'_>, at: &mut At<'_>, items: &Range<usize>) -> bool {
    let Some(neighbour) = at.beside.iter().find(|b| items.contains(&b.items.start)).cloned() else {
        return false;
    };
    let Some(last) = s.live().next().filter(|&i| s.notes.get(i).is_some_and(|n| n.breath == at.n)) else {
        return false;
    };
    let Some(kind) = s.notes.get(last).map(|n| n.kind) else { return false };
    let Some(k) = s.x.kinds.all.get(kind).filter(|k| k.beside) else { return false };
    let Some(filled) = s.reading_of(at, items, kind) else { return false };
    let [draft] = filled.drafts.as_slice() else { return false };
    let known = draft.pieces.iter().all(|p| !k.each.contains(&p.field) && p.value.is_some());
    if draft.pieces.is_empty() || !known || !filled.leftover.is_empty() {
        return false;
    }
    let Some(old) = s.entries.get(last) else { return false };
    let (said, from_s, to_s) = at.said(items);
    let mut entry = blank(k.name.clone(), Status::Done, old.rule.clone(), said, from_s, to_s);
    let mut why = Why { goes_on_with: Some(old.id.clone()), ..Why::default() };
    for field in &k.each {
        if let Some(value) = old.values.get(field) {
            entry.values.insert(field.clone(), value.clone());
            entry.carried.push(field.clone());
            why.values.push((field.clone(), From::Same(old.id.clone())));
        }
    }
    write_pieces(at, draft, &mut entry, &mut why);
    let numbers = session::numbers(&at.line, &draft.pieces);
    s.push_each(entry, Note { breath: at.n, items: items.clone(), kind, why, numbers }, at, &neighbour);
    true
}

/// "contralateral tooth normal to cold"
pub(super) fn is_of_another(line: &Line, i: usize) -> bool {
    let words = [
        "contralateral",
        "neighbours",
        "neighbors",
        "neighbour",
        "neighbor",
        "neighbouring",
        "neighboring",
        "adjacent",
        "opposite",
        "control",
        "controls",
    ];
    line.holds_one_of(i, &words)
}

fn says_a_tooth(line: &Line, i: usize) -> bool {
    ["quadrants", "tooth_words", "tooth_names"].iter().any(|v| line.term(i, v).is_some())
}

/// Do words right before item `first`, or the first of its sentence, turn to the tooth that is named there? "next month" and
/// "back in June" turn to no tooth.
fn turns_to(line: &Line, sentence: &Range<usize>, first: usize) -> bool {
    let turn = |i: usize| {
        let word = line.holds_one_of(i, TURNS);
        let time = line.unit(i + 1).is_some()
            || line.is_one_of(i + 1, &["time", "visit", "appointment", "session", "in", "when"])
            || cue(line, i + 1, "day")
            || line.items.get(i).is_some_and(|it| it.end > it.first + 1)
                && line.term(i, "fillers").is_none()
                && cue(line, i, "plan")
            || cue(line, i, "past");
        // "same visit, lower left first premolar"
        word && (!time || line.is_word(i, "same"))
    };
    let opener = (sentence.start..first).find(|&i| !is_small(line, i));
    (first.saturating_sub(NEAR).max(sentence.start)..first).chain(opener).any(turn)
}

/// "the upper left one is perfectly happy"
fn is_told_of(line: &Line, end: usize) -> bool {
    (end..end + 2).any(|i| line.is_one_of(i, STATES))
}

impl Session<'_> {
    /// Is a tooth at work from here on, though another one was? Its number must open the sentence or stand behind words
    /// that turn to it, and work must be told of it, or nothing else. `listed`: where the tooth ends that was named before it.
    pub(super) fn takes_over(
        &self,
        at: &At<'_>,
        items: &Range<usize>,
        iso: &str,
        listed: Option<usize>,
        turned: bool,
    ) -> bool {
        let line = &at.line;
        // "we examined the one two, the one one and the two two": looked at, not worked on.
        let looked = |i: usize| line.is_one_of(i, &["examined", "compared", "checked", "assessed", "tested"]);
        let from = line.sentence_start(items.start).max(items.start.saturating_sub(FAR));
        let several = items.end..line.sentence_end(items.end.saturating_sub(1)).min(items.end + FAR);
        let lists = several.filter(|&i| line.reading(Slot::ToothDigits, i).is_some()).count() > 1;
        if (from..items.start).any(looked) && (lists || listed.is_some()) {
            return false;
        }
        if self.tooth.is_none() {
            return true;
        }
        // "two teeth today, 21 for retreatment, and 22"
        let teeth = |i: usize| line.holds(i, "teeth");
        if listed.is_some_and(|end| end <= items.start) && (from..items.start).any(teeth) {
            return true;
        }
        // "teeth 36 and 37", and nothing else
        let plain = |i: usize| is_small(line, i) || says_a_tooth(line, i) || line.atom(i).is_some();
        let sentence_end = line.sentence_end(items.end.saturating_sub(1)).min(items.end + FAR);
        if (from..items.end).any(teeth) && (from..items.start).chain(items.end..sentence_end).all(plain) {
            return true;
        }
        let joined = |end: usize| {
            (end..items.start)
                .all(|i| is_small(line, i) || cue(line, i, "then") || line.term(i, "tooth_words").is_some())
        };
        if listed.is_some_and(|end| end <= items.start && joined(end)) {
            return true;
        }
        let first = (items.start..items.end).find(|&i| line.atom(i).is_some() || says_a_tooth(line, i));
        let first = first.unwrap_or(items.start);
        let sentence = line.sentence_start(first).max(first.saturating_sub(FAR))
            ..line.sentence_end(items.end.saturating_sub(1)).min(items.end + FAR);
        let denied = |i: usize| cue(line, i, "negation") || cue(line, i, "no") || cue(line, i, "never");
        let clause = line.clause_start(first).max(sentence.start);
        if (clause..first).any(denied) {
            return false;
        }
        // "two teeth today, the one four and the one five … kicking off with the one four"
        let known = self.teeth.iter().any(|t| t == iso);
        let names = |n: &Note| self.x.kinds.all.get(n.kind).is_some_and(|k| k.place == Place::NamesTeeth);
        let begun = self.live().next().and_then(|i| self.notes.get(i)).is_none_or(|n| !names(n));
        let within =
            |word: &[&str], range: Range<usize>| range.into_iter().any(|i| line.holds_one_of(i, word));
        // "moved the clamp to tooth 37", "doing 37 another day", "a second opinion on 37"
        let other = within(
            &[
                "clamp",
                "opinion",
                "tilted",
                "problem",
                "control",
                "controls",
                "contralateral",
                "comparison",
                "decay",
                "asked",
                "upset",
                "complains",
                "complaining",
            ],
            sentence.clone(),
        ) || ["another day", "another time", "another visit"]
            .iter()
            .any(|w| at.said(&(items.end..items.end + 2)).0.starts_with(w))
            || has_something(line, items.end);
        if other {
            return false;
        }
        let strong = items.clone().any(|i| says_a_tooth(line, i));
        // "now, 25, to length in D": a size of the series, once files are at work, is no tooth unless it was named before.
        let value = (items.start..items.end).find_map(|i| line.atom(i)).map(|a| a.value);
        let atoms = (items.start..items.end).filter(|&i| line.atom(i).is_some()).count();
        let like_size = atoms == 1 && value.is_some_and(crate::words::slot::is_standard_size);
        let filing = self.began.as_ref().is_some_and(|(_, tooth)| *tooth == self.tooth);
        let of_canal = (items.end..items.end + 3).any(|i| line.term(i, "canals").is_some());
        let ends = (items.end..sentence.end).all(|i| is_small(line, i));
        let numbered = first > 0 && line.is_word(first - 1, "number") && ends;
        // "number ten to length … number fifteen next": a file, as it was one a moment ago.
        let last = self.live().next();
        let in_hand = last.is_some_and(|i| {
            let near = self.notes.get(i).is_some_and(|n| n.breath + 2 >= at.n);
            near && self.entries.get(i).is_some_and(|e| e.values.contains_key("size"))
        });
        // Has the work on this tooth come to an end?
        let closed = || {
            self.live().take(FAR).any(|i| {
                let ends = ["obturation", "medicament", "restoration", "review-visit", "advice"];
                self.entries.get(i).is_some_and(|e| e.tooth == self.tooth && ends.contains(&e.kind.as_str()))
            })
        };
        if !strong && !known && like_size && (filing && !closed() || of_canal) && (!numbered || in_hand) {
            return false;
        }
        // "starting with 15", before anything was finished here: a file, most likely.
        let iso = self.x.settings.notation == tooth::Notation::Iso3950;
        if !strong && !known && like_size && (in_hand || iso && !closed()) {
            return false;
        }
        // "it is tooth 37, not 36"
        if strong && (items.end..items.end + 2).any(|i| line.is_word(i, "not")) {
            return true;
        }
        // "oh sorry, tooth 37": said in place of the one before.
        let repaired = (sentence.start..first).any(|i| cue(line, i, "repair"));
        let works_here = || {
            let here = sentence.clone();
            hits::within(&at.hits, &here).any(|h| self.is_work(h) && !self.is_told(h))
        };
        if turned || turns_to(line, &sentence, first) || known && !begun || repaired || strong && works_here()
        {
            return true;
        }
        // "… and there was time, so the four six"
        let so = line.is_one_of(clause, &["so", "then", "now", "next", "on"]);
        let opener = (sentence.start..clause).find(|&i| !line.is_mark(i, ","));
        let then = opener.is_some_and(|i| cue(line, i, "then") || line.is_word(i, "then"));
        if then && ends && (clause..first).all(|i| is_small(line, i) || line.is_word(i, "number")) {
            return true;
        }
        if so && ends && (clause + 1..first).all(|i| is_small(line, i) || line.is_word(i, "number")) {
            return true;
        }
        let sign = |i: usize| line.is_word(i, "number") || line.is_mark(i, "#");
        let opens = (sentence.start..first).all(|i| is_small(line, i) || sign(i));
        let behind = items.end..sentence.end;
        let alone =
            behind.clone().all(|i| is_small(line, i) || says_a_tooth(line, i) || line.is_one_of(i, AFTER));
        let apart = line.items.get(items.end).is_none_or(|it| it.what == What::Mark)
            || line.is_one_of(items.end, AFTER);
        // "tooth 37 tender to percussion", while another is worked on: a test beside it.
        let works = hits::within(&at.hits, &behind)
            .any(|h| self.is_work(h) && (apart || !self.is_told(h) || closed()));
        // "the other tooth is 37"
        let last = strong && ends;
        last || opens && (alone || works && (apart || known || !is_told_of(line, items.end)))
    }

    /// Told of the patient, or a test: neither says which tooth is at work.
    fn is_told(&self, hit: &Hit) -> bool {
        self.x.kinds.all.get(hit.kind).is_some_and(|k| k.facts || k.beside)
    }

    /// A step of the work, or a finding on the tooth.
    fn is_work(&self, hit: &Hit) -> bool {
        let Some(kind) = self.x.kinds.all.get(hit.kind) else { return false };
        match hit.of {
            Of::Rule(r) => {
                let rule = kind.rules.get(r);
                kind.place != Place::NamesTeeth && rule.is_some_and(|r| r.takes.is_none() && r.weight >= WORK)
            }
            Of::Field(..) => false,
        }
    }
}

/// "… has a filling", "… also hurts a bit", "… needs a crown": told of a tooth that is not at work.
fn has_something(line: &Line, i: usize) -> bool {
    let at = i + usize::from(line.is_word(i, "also"));
    let has = line.is_one_of(at, &["has", "had", "needs", "hurts", "got"]);
    let what =
        ["filling", "crown", "restoration", "decay", "caries", "cavity", "been", "veneer", "bridge", "bit"];
    has && (at + 1..at + 6).any(|k| line.holds_one_of(k, &what)) || at > i && line.is_word(at, "hurts")
}

/// Marks, fillers and small words that say nothing of their own.
fn is_small(line: &Line, i: usize) -> bool {
    line.items.get(i).is_some_and(|it| it.what == What::Mark)
        || line.term(i, "fillers").is_some()
        || line.is_one_of(i, &["the", "on", "in", "of", "for", "at", "and", "but"])
}
