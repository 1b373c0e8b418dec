//! A neighbour's tooth: where a test was made, not the tooth at work.

use std::ops::Range;

use super::{
    fill::Draft,
    goes_on::write_pieces,
    hits::Hit,
    session::{self, At, Note, Session, blank},
    tooth,
    why::{From, Why},
};
use crate::{
    kinds::{Is, Place},
    log::{Entry, Status},
    words::line::{Line, What},
};

/// So many items around a tooth its sentence is searched for a test.
const FAR: usize = 60;
/// So many small words may stand between a step and the tooth that it names.
const NEAR: usize = 3;
/// What turns to a tooth: it is at work from there on.
const TURNS: [&str; 21] = [
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
    "look",
    "looking",
    "begin",
    "open",
    "starting",
    "treating",
    "doing",
    "second",
];

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
                    || sentence.start == 0 && hit.first == 0);
            let turns = (first.saturating_sub(NEAR).max(sentence.start)..first)
                .any(|i| TURNS.iter().any(|w| line.text(i).split(' ').any(|t| t == *w)));
            if named.iso != *at_work && !opens && !turns && self.tells_a_test(line, &sentence) {
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
    let first = |b: &Neighbour| {
        let before = b.items.start.checked_sub(1)?;
        let start = if line.is_word(before, "the") { before } else { b.items.start };
        start.checked_sub(1).filter(|&i| joins(i)).map(|_| start)
    };
    at.beside.iter().filter_map(first).collect()
}

/// The neighbour that the words of an entry name, in their clause: among them, right behind them ("cold negative on the
/// two one"), or before ("the two one: cold normal").
pub(super) fn of_step<'n>(at: &'n At<'_>, items: &Range<usize>, draft: &Draft) -> Option<&'n Neighbour> {
    let line = &at.line;
    let linked = |i: usize| ["on", "in", "of", "for", "at", "with", "to"].iter().any(|w| line.is_word(i, w));
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

fn says_a_tooth(line: &Line, i: usize) -> bool {
    ["quadrants", "tooth_words", "tooth_names"].iter().any(|v| line.term(i, v).is_some())
}

/// Marks, fillers and small words that say nothing of their own.
fn is_small(line: &Line, i: usize) -> bool {
    line.items.get(i).is_some_and(|it| it.what == What::Mark)
        || line.term(i, "fillers").is_some()
        || ["the", "on", "in", "of", "for", "at", "and", "but"].iter().any(|w| line.is_word(i, w))
}
