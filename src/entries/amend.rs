//! What later words do to earlier entries: strike, correct, complete, continue.

use std::ops::Range;

use super::{
    controls::Control,
    fill::{Draft, Filled, Piece},
    segment::Segment,
    sentence::cue,
    session::{At, FAR_BACK, Note, Session, blank, push_doubt},
    why::{Did, From, Later, Spoken, Why},
};
use crate::{
    kinds::{Is, Kind, Place},
    log::{Canal, Entry, Status, Value},
    words::{line::What, slot::Slot},
};

/// How many live entries back a completion looks.
pub(super) const LOOK_BACK: usize = 6;
/// So many breaths apart two entries of a list may stand.
pub(super) const APART: usize = 4;

impl Session<'_> {
    /// Carries out a spoken control and notes its words.
    pub(super) fn control(&mut self, at: &mut At<'_>, control: &Control) {
        let (said, from, to) = at.said(&control.items);
        let last = self.live().next();
        let by = Spoken { words: said.clone(), at_s: from };
        match (control.what.as_str(), last) {
            ("strike", Some(i)) if self.unheeded_before(at, control) => {
                if let Some(e) = self.entries.get_mut(i) {
                    push_doubt(
                        e,
                        "entry",
                        "words that found no place were struck; perhaps this was meant",
                        &[],
                    );
                }
            }
            ("strike", Some(i)) => {
                let breath = |k: Option<usize>| self.notes.get(k?).map(|n| n.breath);
                let own = breath(Some(i));
                let siblings = breath(i.checked_sub(1)) == own || breath(Some(i + 1)) == own;
                self.tell(i, Later { by, did: Did::Struck });
                self.struck = Some((i, at.n));
                if let Some(e) = self.strike(from)
                    && siblings
                {
                    push_doubt(e, "entry", "its breath held several entries; only the last was struck", &[]);
                }
            }
            ("flag", Some(i)) => {
                self.tell(i, Later { by, did: Did::Flagged });
                if let Some(e) = self.entries.get_mut(i) {
                    push_doubt(e, "entry", "flagged by the speaker", &[]);
                }
            }
            _ => {}
        }
        at.place(control.items.clone());
        self.leave(from, to, said, Some(format!("spoken control: {}", control.what)));
    }

    /// "palatal twenty, hm … scratch that": was what is struck left without a place?
    fn unheeded_before(&self, at: &At<'_>, control: &Control) -> bool {
        let entered = self.notes.last().is_some_and(|n| n.breath == at.n);
        let before = 0..control.items.start;
        let in_breath = before.clone().any(|i| at.line.atom(i).is_some());
        if in_breath {
            at.leaves_treatment(control.items.start)
        } else {
            !entered && self.unheeded.is_some_and(|n| n + 1 == at.n)
        }
    }

    fn tell(&mut self, entry: usize, later: Later) {
        if let Some(note) = self.notes.get_mut(entry) {
            note.why.later.push(later);
        }
    }

    /// "correction, needle two short": a correction whose words name their kind.
    pub(super) fn correct(&mut self, at: &At<'_>, segment: &Segment, filled: &Filled) -> bool {
        let [draft] = filled.drafts.as_slice() else { return false };
        let kind = filled.kind;
        let target = self.target(kind, draft);
        let Some(target) = target else { return false };
        self.change(at, &segment.items, target, draft, true);
        true
    }

    /// "so I keep twenty one and a half": the length that was told a little before, where there is one.
    pub(super) fn settles(&mut self, at: &At<'_>, segment: &Segment, filled: &Filled) -> bool {
        const NEAR: usize = 4;
        let [draft] = filled.drafts.as_slice() else { return false };
        let near = |i: &usize| {
            let old = self.entries.get(*i).filter(|e| e.tooth == self.tooth);
            let other = |p: &Piece| p.lead && old.is_some_and(|e| e.values.get(&p.field) != p.value.as_ref());
            old.is_some()
                && self.notes.get(*i).is_some_and(|n| n.breath + NEAR >= at.n)
                && draft.pieces.iter().any(other)
        };
        let Some(target) = self.target(filled.kind, draft).filter(near) else { return false };
        self.change(at, &segment.items, target, draft, true);
        true
    }

    /// "actually the thirty was one short": said anew of an entry that holds the same size in the same canal. What is
    /// said of it and is no different makes no second entry.
    pub(super) fn says_better(
        &mut self,
        at: &At<'_>,
        segment: &Segment,
        kind: usize,
        draft: &Draft,
        correcting: bool,
    ) -> bool {
        let line = &at.line;
        let Some(first) = draft.pieces.iter().filter(|p| p.lead).map(|p| p.items.start).min() else {
            return false;
        };
        let end = draft.pieces.iter().filter(|p| p.lead).map(|p| p.items.end).max().unwrap_or(first);
        let the = first.checked_sub(1).is_some_and(|b| line.is_one_of(b, &["the", "that"]));
        let was = ["was", "were", "wasn't"].iter().any(|w| (end..end + 2).any(|i| line.is_word(i, w)));
        if !(the && was || correcting && the) {
            return false;
        }
        let fixed =
            |p: &&Piece| p.lead || p.field == "taper" || p.value.as_ref().is_some_and(|v| v.text().is_some());
        let same = |i: &usize| {
            let (Some(old), Some(note)) = (self.entries.get(*i), self.notes.get(*i)) else { return false };
            note.kind == kind
                && note.breath < at.n
                && old.tooth == self.tooth
                && draft.canal.as_ref().is_none_or(|c| old.canal.as_ref() == Some(&c.canal))
                && draft.pieces.iter().filter(fixed).all(|p| old.values.get(&p.field) == p.value.as_ref())
        };
        let found = self.live().take(2 * LOOK_BACK).find(same);
        let Some(target) = found else { return false };
        let pieces: Vec<Piece> = draft.pieces.iter().filter(|p| !fixed(p)).cloned().collect();
        let better = Draft { pieces, canal: None };
        self.change(at, &segment.items, target, &better, true);
        true
    }

    /// "chlorhexidine, not hypochlorite": what this breath has just replaced is not told once more as not done.
    pub(super) fn was_taken_back(&mut self, at: &At<'_>, items: &Range<usize>, filled: &Filled) -> bool {
        let Some(last) = self.live().next() else { return false };
        let (Some(entry), Some(note)) = (self.entries.get(last), self.notes.get(last)) else { return false };
        let now = |by: &Later| at.breath.from_s <= by.by.at_s && matches!(by.did, Did::Changed { .. });
        let old = |p: &Piece| {
            let was = entry.heard.get(&p.field);
            let same = was == p.value.as_ref().and_then(|v| serde_json::to_value(v).ok()).as_ref();
            was.is_some() && same && entry.values.get(&p.field) != p.value.as_ref()
        };
        let mut pieces = filled.drafts.iter().flat_map(|d| &d.pieces).peekable();
        let replaced = note.kind == filled.kind && note.why.later.iter().any(now);
        let taken = replaced && pieces.peek().is_some() && pieces.all(old);
        let words = at.said(items).0;
        if taken && let Some(entry) = self.entries.get_mut(last) {
            entry.said.push_str(" … ");
            entry.said.push_str(&words);
        }
        taken
    }

    /// "buccal nineteen … buccal is eighteen and a half": of two values of one canal, nobody said which stands. Both carry a
    /// doubt.
    pub(super) fn told_otherwise(&mut self, k: usize, kind: &Kind, entry: &mut Entry) {
        let Some((field, value)) =
            kind.each.iter().find_map(|f| Some((f.clone(), entry.values.get(f).cloned()?)))
        else {
            return;
        };
        // An estimate is no measurement.
        let guess = |e: &Entry| ["estimat", "provisional"].iter().any(|w| e.said.contains(w));
        if entry.status != Status::Done || guess(entry) {
            return;
        }
        let shares = |e: &Entry| match (&e.canal, &entry.canal) {
            (Some(a), Some(b)) => {
                a.names().iter().any(|n| *n == "all" || b.names().contains(n))
                    || b.names().iter().any(|n| *n == "all")
            }
            (a, b) => a == b,
        };
        let other = |i: &usize| {
            let old = self.entries.get(*i);
            self.notes.get(*i).is_some_and(|n| n.kind == k)
                && old.is_some_and(|e| {
                    e.status == Status::Done
                        && e.tooth == entry.tooth
                        && shares(e)
                        && !guess(e)
                        && e.values.get(&field).is_some_and(|v| *v != value)
                })
        };
        let Some(old) = self.live().take(FAR_BACK).find(other) else { return };
        let Some(before) = self.entries.get_mut(old) else { return };
        let was = before.values.get(&field).cloned();
        push_doubt(before, &field, "another value was told later for this canal", &[value]);
        push_doubt(entry, &field, "another value was told before for this canal", was.as_slice());
    }

    /// "the perforation": named with its article after an entry that tells of it.
    pub(super) fn is_recalled(&self, at: &At<'_>, reading: &super::segment::Reading) -> bool {
        let [draft] = reading.filled.drafts.as_slice() else { return false };
        let first = reading.rule_items.start;
        // "in all three canals", "three canals, what a morning": the number of canals is told once.
        let counted = draft.canal.is_none()
            && self.x.kinds.all.get(reading.kind).is_some_and(|k| k.place == Place::NamesCanals);
        // "the locator says twenty two … working length twenty two": one length, told twice.
        let twice = self.x.kinds.all.get(reading.kind).is_some_and(|k| k.each_in_its_canal);
        let near = |i: usize| !twice || self.notes.get(i).is_some_and(|n| n.breath + 2 >= at.n);
        let canal = |e: &Entry| draft.canal.as_ref().is_none_or(|c| e.canal.as_ref() == Some(&c.canal));
        let known = twice || counted || first > 0 && at.line.is_one_of(first - 1, &["the", "that", "this"]);
        let same = |e: &Entry| {
            draft.pieces.iter().all(|p| p.value.is_some() && e.values.get(&p.field) == p.value.as_ref())
        };
        let told = |i: usize| {
            let of_kind = self.notes.get(i).is_some_and(|n| n.kind == reading.kind);
            of_kind
                && near(i)
                && self
                    .entries
                    .get(i)
                    .is_some_and(|e| e.tooth == self.tooth && same(e) && (!twice || canal(e)))
        };
        let whole = draft.pieces.iter().all(|p| p.items.start >= first);
        known && whole && !draft.pieces.is_empty() && self.live().take(super::session::FAR_BACK).any(told)
    }

    /// The last live entry of a kind that a draft corrects: of the canal that is named, where there is one.
    /// "the hypo was five percent, my mistake", behind an EDTA: of the one that holds the same name.
    pub(super) fn same_name(&self, kind: usize, draft: &Draft) -> Option<usize> {
        let name = draft.pieces.iter().find(|p| p.value.as_ref().is_some_and(|v| v.text().is_some()))?;
        let holds = |i: &usize| {
            let same_kind = self.notes.get(*i).is_some_and(|n| n.kind == kind);
            same_kind && self.entries.get(*i).and_then(|e| e.values.get(&name.field)) == name.value.as_ref()
        };
        let found = self.live().take(2 * LOOK_BACK).find(holds);
        found.filter(|&i| draft.pieces.len() > 1 && draft.canal.is_none() && same_tooth(self, i))
    }

    fn target(&self, kind: usize, draft: &Draft) -> Option<usize> {
        let of_kind: Vec<usize> = self
            .live()
            .take(12)
            .filter(|&i| self.notes.get(i).is_some_and(|n| n.kind == kind))
            .filter(|&i| {
                self.entries.get(i).is_some_and(|e| matches!(e.status, Status::Done | Status::Planned))
            })
            .collect();
        let last = of_kind.first().copied()?;
        let named_same = self.same_name(kind, draft);
        if named_same.is_some() {
            return named_same;
        }
        let Some(named) = &draft.canal else { return Some(last) };
        let same = of_kind
            .iter()
            .copied()
            .find(|&i| self.entries.get(i).is_some_and(|e| e.canal.as_ref() == Some(&named.canal)));
        match same {
            Some(i) => Some(i),
            None if draft.pieces.is_empty() => Some(last),
            // Another canal with values of its own: the last entry named the wrong canal only if nothing else stands there.
            None => None,
        }
    }

    /// A correction in bare words: "no, make that twenty", "sorry, distal".
    pub(super) fn correct_bare(&mut self, at: &At<'_>, items: &Range<usize>) -> bool {
        if self.correct_number(at, items) {
            return true;
        }
        let candidates: Vec<usize> = self.live().take(LOOK_BACK).collect();
        for &i in &candidates {
            let Some(kind) = self.notes.get(i).map(|n| n.kind) else { continue };
            // A tooth is corrected as a tooth, with its notation.
            if self.x.kinds.all.get(kind).is_none_or(|k| k.place == Place::NamesTeeth) {
                continue;
            }
            let Some(filled) = self.reading_of(at, items, kind) else { continue };
            let [draft] = filled.drafts.as_slice() else { continue };
            if draft.pieces.is_empty() && draft.canal.is_none() || !filled.leftover.is_empty() {
                continue;
            }
            let Some(k) = self.x.kinds.all.get(kind) else { continue };
            // "no, I mean the buccal cusp, I'm looking at the mirror backwards": the rest is talk.
            let end = draft.pieces.iter().map(|p| p.items.end).max().unwrap_or(items.end);
            let clause = items.start..at.line.next_comma(end.saturating_sub(1)).min(items.end).max(end);
            let near = if draft.pieces.is_empty() { items.clone() } else { clause };
            if !draft.pieces.iter().all(|p| fits(k, p)) || strange_words(at, &near, &draft.pieces) > 1 {
                continue;
            }
            if draft.pieces.is_empty() && self.x.kinds.all.get(kind).is_none_or(|k| k.place == Place::Tooth) {
                continue;
            }
            let named = draft.canal.as_ref().map(|c| &c.canal);
            // "Recap with a ten. Mesial, I mean. To length.": the last one's canal was only carried.
            let carried = candidates.first() == Some(&i)
                && self.notes.get(i).is_some_and(|n| n.breath == at.n)
                && self.entries.get(i).is_some_and(|e| e.carried.iter().any(|c| c == "canal"));
            let target = if draft.pieces.is_empty() || carried {
                Some(i)
            } else if let Some(named) = self.same_name(kind, draft) {
                Some(named)
            } else {
                candidates.iter().copied().find(|&t| {
                    self.notes.get(t).is_some_and(|n| n.kind == kind)
                        && named
                            .is_none_or(|c| self.entries.get(t).is_some_and(|e| e.canal.as_ref() == Some(c)))
                })
            };
            let Some(target) = target else { continue };
            let draft = draft.clone();
            self.change(at, items, target, &draft, true);
            return true;
        }
        false
    }

    /// "Length twenty two, scratch that, twenty one.": a number alone behind a strike is the same step with this number.
    pub(super) fn instead(&mut self, at: &At<'_>, items: &Range<usize>, struck: usize) -> bool {
        let Some(piece) = self.new_number(at, items, struck) else { return false };
        let (Some(old), Some(note)) = (self.entries.get(struck), self.notes.get(struck).cloned()) else {
            return false;
        };
        let (said, from_s, to_s) = at.said(items);
        let mut entry = blank(old.kind.clone(), old.status, old.rule.clone(), said, from_s, to_s);
        let mut why = Why { goes_on_with: Some(old.id.clone()), ..note.why.clone() };
        why.later.clear();
        why.values.clear();
        entry.tooth.clone_from(&old.tooth);
        entry.canal.clone_from(&old.canal);
        entry.carried.clone_from(&old.carried);
        if entry.canal.is_some() && !entry.carried.iter().any(|c| c == "canal") {
            entry.carried.push("canal".to_owned());
        }
        // What was said in words holds for the new number, too; another number does not.
        for (field, value) in old.values.iter().filter(|(_, v)| v.number().is_none()) {
            entry.values.insert(field.clone(), value.clone());
            entry.carried.push(field.clone());
            why.values.push((field.clone(), From::Same(old.id.clone())));
        }
        let value = piece.value.clone();
        entry.values.extend(value.map(|v| (piece.field.clone(), v)));
        why.values.push((piece.field.clone(), From::Said(at.said(&piece.items).0)));
        for (reason, alternatives) in &piece.doubts {
            push_doubt(&mut entry, &piece.field, reason, alternatives);
        }
        let found = [(piece.field.clone(), piece.items.clone())];
        super::doubts::add(self, at, items, note.kind, &mut entry, &found);
        self.push(
            entry,
            Note { breath: at.n, items: items.clone(), kind: note.kind, why, numbers: vec![piece.field] },
        );
        true
    }

    /// "pardon, distolingual, it's twenty and a half, I read it upside down": the first part with a number is plain, where
    /// nothing else was told before it.
    pub(super) fn corrects_in_part(&mut self, at: &At<'_>, items: &Range<usize>) -> Option<Range<usize>> {
        let number = |part: &Range<usize>| part.clone().any(|i| at.line.atom(i).is_some());
        let plain = |part: &Range<usize>| strange_words(at, part, &[]) == 0;
        let mut parts = super::goes_on::parts(&at.line, items).into_iter();
        let part = parts.find(|part| number(part) || !plain(part)).filter(number)?;
        self.correct_bare(at, &part).then_some(part)
    }

    /// "oh, it says three on the syringe, I mean three mils": what stands behind the words of correction.
    pub(super) fn turns_to_a_correction(
        &mut self,
        at: &At<'_>,
        items: &Range<usize>,
    ) -> Option<Range<usize>> {
        let of_breath = self.notes.last().is_none_or(|n| n.breath == at.n || n.breath + 2 < at.n);
        let turn = items.clone().rev().find(|&i| {
            cue(&at.line, i, "repair")
                && super::sentence::takes_back(&at.line, i)
                && !at.line.is_word(i, "no")
        });
        let turn = turn.filter(|&i| i > items.start && i + 1 < items.end && !of_breath)?;
        let behind = turn + 1..items.end;
        self.correct_bare(at, &behind).then_some(behind)
    }

    /// "No, twenty five.": a number alone corrects the number that was said last.
    fn correct_number(&mut self, at: &At<'_>, items: &Range<usize>) -> bool {
        let Some(target) = self.live().next() else { return false };
        let Some(piece) = self.new_number(at, items, target) else { return false };
        self.change(at, items, target, &Draft { pieces: vec![piece], canal: None }, true);
        true
    }

    /// A number alone, as the number of an entry that it most likely takes the place of.
    fn new_number(&self, at: &At<'_>, items: &Range<usize>, target: usize) -> Option<Piece> {
        let note = self.notes.get(target)?;
        let (of, fields) = (note.kind, note.numbers.clone());
        let kind = self.x.kinds.all.get(of)?;
        let old =
            |field: &str| self.entries.get(target).and_then(|e| e.values.get(field)).and_then(Value::number);
        let mut fitting: Vec<Piece> =
            fields.iter().filter_map(|field| number_piece(at, items, kind, field, old(field))).collect();
        // "52.5 percent … 5.25": the same digits, or the number said last; where others fit as well, with a doubt.
        let alike = |p: &Piece| {
            let old = self.entries.get(target).and_then(|e| e.values.get(&p.field)).map(digits);
            old.is_some() && old == p.value.as_ref().map(digits)
        };
        let several = fitting.len() > 1;
        let same = fitting.iter().position(alike);
        let mut piece = (!fitting.is_empty()).then(|| fitting.swap_remove(same.unwrap_or(0)))?;
        if several && same.is_none() {
            piece.doubts.push(("the correction may mean another number".to_owned(), vec![]));
        }
        // "twenty one … three mils … correction, twenty one and a half": of the number before the last, perhaps.
        let (was, is) = (old(&piece.field), piece.value.as_ref().and_then(Value::number));
        if let (Some(was), Some(is), None) = (was, is, same) {
            const FAR: i64 = 3;
            let (a, b) = (was.as_thousandths(), is.as_thousandths());
            if a.saturating_mul(FAR) < b || b.saturating_mul(FAR) < a {
                piece
                    .doubts
                    .push(("the correction is far from this number".to_owned(), vec![Value::Number(was)]));
            }
        }
        Some(piece)
    }

    /// Writes a draft's values into an entry; what was heard first is kept beside.
    pub(super) fn change(
        &mut self,
        at: &At<'_>,
        items: &Range<usize>,
        target: usize,
        draft: &Draft,
        replaces: bool,
    ) {
        let by = at.spoken(items);
        if draft.canal.is_some() && draft.pieces.is_empty() || replaces {
            self.change_canal(at, &by, target, draft);
        }
        let (Some(entry), Some(note)) = (self.entries.get_mut(target), self.notes.get_mut(target)) else {
            return;
        };
        let mut found = Vec::new();
        let among = told_among_others(at, items, &draft.pieces);
        // "in ten days. Correction, one week": of these fields there is one.
        let either = self.x.kinds.all.get(note.kind).map_or(&[][..], |k| &k.either);
        for p in draft.pieces.iter().filter(|p| replaces && either.contains(&p.field)) {
            for other in either.iter().filter(|f| **f != p.field) {
                if let Some(old) = entry.values.shift_remove(other) {
                    let old = serde_json::to_value(old).unwrap_or(serde_json::Value::Null);
                    entry.heard.entry(other.clone()).or_insert(old);
                    entry.doubts.retain(|d| d.field != *other);
                }
            }
        }
        for p in &draft.pieces {
            let Some(value) = &p.value else { continue };
            let old = entry.values.insert(p.field.clone(), value.clone());
            let (from, to, words) = (old.clone(), value.clone(), at.said(&p.items).0);
            let did = Did::Changed { field: p.field.clone(), from, to, words };
            note.why.later.push(Later { by: by.clone(), did });
            // "sorry, 22 is the next patient", "no, it's 21 Tuesday": perhaps of something else.
            let was = old.clone().filter(|o| replaces && value.number().is_some() && o != value);
            let number = p.items.clone().rev().find(|&i| at.line.atom(i).is_some());
            let aside = was.filter(|_| goes_on_with_talk(at, items, number.map_or(p.items.end, |i| i + 1)));
            // "wait, phone. Two minutes.", "back in five minutes".
            let among = among && old.is_none() && value.number().is_some();
            let old = old.and_then(|v| serde_json::to_value(v).ok()).unwrap_or(serde_json::Value::Null);
            entry.heard.entry(p.field.clone()).or_insert(old);
            entry.doubts.retain(|d| d.field != p.field);
            if among {
                push_doubt(entry, &p.field, "told among words of something else", &[]);
            }
            if let Some(was) = aside {
                push_doubt(entry, &p.field, "other words follow this correction", &[was]);
            }
            for (reason, alternatives) in &p.doubts {
                push_doubt(entry, &p.field, reason, alternatives);
            }
            found.push((p.field.clone(), p.items.clone()));
        }
        // What was said grows with each correction; it is not copied each time.
        let mut whole = std::mem::take(&mut entry.said);
        whole.push_str(" … ");
        whole.push_str(&by.words);
        let (kind, mut changed) = (note.kind, entry.clone());
        super::doubts::add(self, at, items, kind, &mut changed, &found);
        changed.said = whole;
        if let Some(e) = self.entries.get_mut(target) {
            *e = changed;
        }
    }

    fn change_canal(&mut self, at: &At<'_>, by: &Spoken, target: usize, draft: &Draft) {
        let Some(named) = &draft.canal else { return };
        let canal = self.meant(&named.canal, usize::MAX - 1);
        let Some(entry) = self.entries.get_mut(target) else { return };
        if entry.canal.as_ref() == Some(&canal) {
            return;
        }
        let shown = |c: &Canal| Value::Text(c.names().join(", "));
        let (from, to) = (entry.canal.as_ref().map(shown), shown(&canal));
        let old = entry
            .canal
            .as_ref()
            .and_then(|c| serde_json::to_value(c).ok())
            .unwrap_or(serde_json::Value::Null);
        entry.heard.entry("canal".to_owned()).or_insert(old);
        entry.canal = Some(canal.clone());
        entry.carried.retain(|c| c != "canal");
        self.canal = Some(canal);
        self.canal_said = at.spoken(&named.items);
        let did = Did::Changed { field: "canal".to_owned(), from, to, words: self.canal_said.words.clone() };
        self.tell(target, Later { by: by.clone(), did });
    }
}

/// Plain words that belong neither to a field nor to the small words of speech: many of them mean talk.
pub(super) fn strange_words(at: &At<'_>, items: &Range<usize>, pieces: &[Piece]) -> usize {
    // "…, one short because it was grabbing": the reason is no sign of something else.
    let end = super::sentence::find_cue(&at.line, items.clone(), "reason").unwrap_or(items.end);
    (items.start..end)
        .filter(|i| !pieces.iter().any(|p| p.items.contains(i)))
        .filter(|&i| matches!(at.line.items.get(i).map(|it| &it.what), Some(What::Word)))
        .filter(|&i| !SMALL.contains(&at.line.text(i)))
        .count()
}

/// Words that may stand around a value without changing what is said.
pub(super) const SMALL: &[&str] = &[
    "everything",
    "the",
    "a",
    "an",
    "is",
    "was",
    "are",
    "were",
    "at",
    "in",
    "to",
    "for",
    "of",
    "on",
    "with",
    "and",
    "that's",
    "that",
    "it",
    "it's",
    "this",
    "these",
    "those",
    "them",
    "then",
    "also",
    "too",
    "as",
    "well",
    "same",
    "from",
    "by",
    "one",
    "ones",
    "canal",
    "canals",
    "here",
    "there",
    "now",
    "we",
    "i",
    "had",
    "have",
    "be",
    "went",
    "goes",
    "get",
    "gets",
    "both",
    "each",
    "all",
    "about",
    "used",
    "using",
    "off",
    "see",
    "look",
    "just",
    "down",
    "into",
];

/// A value's digits without their point and without noughts at the ends.
fn digits(value: &Value) -> String {
    let text: String = value.to_string().chars().filter(char::is_ascii_digit).collect();
    text.trim_matches('0').to_owned()
}

/// A number alone, read for a field; nothing where it would be implausible there.
fn number_piece(
    at: &At<'_>,
    items: &Range<usize>,
    kind: &Kind,
    field: &str,
    old: Option<crate::words::Decimal>,
) -> Option<Piece> {
    let Is::Number(slot) = kind.fields.get(field).map(|f| &f.is)? else { return None };
    let first = items.clone().find(|&i| at.line.atom(i).is_some())?;
    let bare = |r: &crate::words::slot::Reading| !r.has_unit && r.taper.is_none();
    let reading = crate::words::slot::read(*slot, &at.line, first)
        .or_else(|| crate::words::slot::read(crate::words::slot::Slot::Bare, &at.line, first))
        .filter(bare)?;
    let number = first..reading.end;
    let alone = items.clone().filter(|i| !number.contains(i)).all(|i| {
        at.line.items.get(i).is_some_and(|it| it.what == What::Mark)
            || cue(&at.line, i, "repair")
            || at.line.term(i, "fillers").is_some()
            || SMALL.contains(&at.line.text(i)) && at.line.term(i, "canals").is_none()
    });
    let (value, assumed) = super::fill::in_unit_of(kind, field, reading.value, old);
    let doubts = reading
        .doubts
        .iter()
        .map(|d| (d.reason.clone(), d.alternatives.iter().map(|v| Value::Number(*v)).collect()));
    let piece = Piece {
        field: field.to_owned(),
        value: Some(Value::Number(value)),
        same: false,
        items: number,
        doubts: doubts.chain(assumed).collect(),
        weight: 1,
        lead: false,
    };
    (alone && fits(kind, &piece)).then_some(piece)
}

/// Is a piece's number one that its field may hold?
pub(super) fn fits(kind: &Kind, piece: &Piece) -> bool {
    let (Some(field), Some(n)) =
        (kind.fields.get(&piece.field), piece.value.as_ref().and_then(crate::log::Value::number))
    else {
        return true;
    };
    let there_is = match field.is {
        Is::Number(Slot::Size) => crate::words::slot::is_standard_size(n),
        Is::Number(Slot::Taper) => crate::words::slot::is_taper(n),
        _ => true,
    };
    there_is && field.plausible.is_none_or(|(low, high)| n >= low && n <= high)
}

pub(super) fn same_tooth(s: &Session<'_>, i: usize) -> bool {
    s.entries.get(i).is_some_and(|e| e.tooth == s.tooth)
}

/// "wait, phone. Two minutes", "back in five minutes": is a number told of something else, perhaps?
fn told_among_others(at: &At<'_>, items: &Range<usize>, pieces: &[Piece]) -> bool {
    let line = &at.line;
    let others = ["talk", "patient", "elsewhere", "others", "not-here"];
    let back = |p: &Piece| {
        let start = p.items.start;
        start >= 2 && line.is_word(start - 2, "back") && line.is_word(start - 1, "in")
    };
    // Minutes are told of all things; a size or a gauge is told of steps.
    let of_time = pieces.iter().any(|p| p.field == "duration_s");
    of_time && (strange_words(at, items, pieces) > 0 || pieces.iter().any(back))
        || items.clone().any(|i| others.iter().any(|class| cue(line, i, class)))
}

/// Is something told behind a corrected number that no step knows?
fn goes_on_with_talk(at: &At<'_>, items: &Range<usize>, from: usize) -> bool {
    let line = &at.line;
    let end = line.sentence_end(from.saturating_sub(1)).min(items.end.max(from) + LOOK_BACK);
    let small =
        ["not", "no", "mm", "it", "was", "is", "that", "point", "short", "instead", "actually", "please"];
    let talk = ["day", "talk", "fact", "patient", "elsewhere", "others", "audience"];
    let told = |i: usize| {
        if line.text(i).starts_with("o'") {
            return true;
        }
        let word = line.items.get(i).is_some_and(|it| it.what == What::Word);
        word && !SMALL.contains(&line.text(i)) && !small.contains(&line.text(i))
            || talk.iter().any(|class| cue(line, i, class))
    };
    (from..end).any(told)
}
