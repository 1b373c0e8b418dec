//! Teeth that are named: which numbers are teeth at work, and what naming one does.

use std::ops::Range;

use indexmap::IndexMap;

use super::{
    doubts, fill,
    hits::{Hit, Of},
    segment::{Reading, Segment},
    sentence::cue,
    session::{At, Note, Session, blank, push_doubt},
    tooth,
    why::{From, Why},
};
use crate::{
    kinds::Place,
    log::{Status, Value},
    words::{
        Decimal,
        line::{Line, What},
        number::Form,
        slot::Slot,
    },
};

/// So many items around a number its sentence is searched for words of instruments.
const FAR: usize = 60;
/// In so many items from its start a sentence names its tooth.
const FRONT: usize = 5;
/// A breath of so many items says little more than a tooth's number.
const LITTLE: usize = 4;
/// A tooth may be named in other words while no more entries than this were made.
const OPENING: usize = 3;

impl Session<'_> {
    /// A tooth hit is real only if there is such a tooth, it is at work and not named in passing, and its number is no
    /// size, length or lot.
    pub(super) fn is_real(&self, hit: &Hit, line: &Line) -> bool {
        let Some(kind) = self.x.kinds.all.get(hit.kind) else { return false };
        if kind.place != Place::NamesTeeth {
            return true;
        }
        let number = hit.found.readings.first().and_then(|(_, r)| r.text.clone());
        let said = tooth::from_terms(&hit.found.terms, number.as_deref()).or(number);
        let Some(said) = said else { return true };
        let rule = match hit.of {
            Of::Rule(r) => kind.rules.get(r),
            Of::Field(f, h) => {
                let text = kind.fields.get_index(f).and_then(|(_, f)| f.hear.get(h)).map(|h| &h.pattern.text);
                kind.rules
                    .iter()
                    .find(|r| (r.turns_to || r.next) && r.hear.iter().any(|p| Some(&p.text) == text))
            }
        };
        let within = rule.filter(|r| r.turns_to || r.next).and_then(|_| self.in_quadrant(&said));
        let placed = within.is_some();
        let named = within.or_else(|| tooth::named(&said, self.x.settings.notation));
        let Some(named) = named else { return false };
        let before = |n: usize| hit.first.checked_sub(n);
        let denied = before(1).is_some_and(|b| cue(line, b, "negation") || cue(line, b, "no"));
        let goes_on = line.is_word(hit.end, "out")
            || line.is_word(hit.end, "file")
            || line.term(hit.end, "instruments").is_some()
            || line.items.get(hit.end).is_some_and(|it| it.what == What::Word)
                && line.text(hit.end).chars().count() == 1
                && line.atom(hit.end + 1).is_some();
        // "number fourteen, the one that hurts": a pronoun.
        let pointed =
            ["the", "this", "that", "which", "another", "each", "only", "other", "last", "first", "wrong"];
        let pronoun = hit
            .end
            .checked_sub(2)
            .is_some_and(|b| line.is_word(hit.end - 1, "one") && line.is_one_of(b, &pointed));
        // "teeth, one two three four": someone counts.
        let counted =
            ["things", "people", "patients", "others", "more", "times", "hours", "goes", "tries", "dentists"];
        let spelled_out = hit.end.checked_sub(3).is_some_and(|b| line.term(b, "tooth_words").is_some());
        // "for the two o'clock"
        if line.text(hit.end).starts_with("o'clock") || line.text(hit.end).starts_with("oclock") {
            return false;
        }
        // "two hundred and six teeth, one visit against two"
        let counts_visits = said.len() == 1 && line.term(hit.end, "counted").is_some();
        let counting = counts_visits
            || line.atom(hit.end).is_some() && line.unit(hit.end + 1).is_none() && !spelled_out
            || line.is_one_of(hit.end, &counted);
        // "twenty two years", "about three mil": a measure.
        let announced = hit.end.checked_sub(2).is_some_and(|b| line.term(b, "tooth_words").is_some());
        let unit = line.unit(hit.end);
        let measure =
            unit.is_some() && (line.term(hit.end, "canals").is_none() || unit == Some("mm")) && !announced;
        // "in baby teeth, mesials eleven, distal twelve": the number is the canal's.
        let of_canal = (hit.first..hit.end)
            .any(|i| line.term(i, "canals").is_some() && line.text(i).chars().count() > 1)
            && hit.found.terms.iter().all(|t| &*t.vocabulary != "quadrants");
        // "look at the twenty five", after a twenty five was used: an instrument.
        let value = hit.found.readings.first().map(|(_, r)| r.value);
        let spelled = (hit.first..hit.end).filter(|&i| line.atom(i).is_some()).count() > 1;
        let used = !announced
            && !spelled
            && hit.found.terms.iter().all(|t| !matches!(&*t.vocabulary, "quadrants" | "tooth_words"))
            && value.is_some_and(|v| self.has_used(v));
        // "mesial, number ten K file, can go to seventeen": a depth.
        let turns = matches!(hit.of, Of::Rule(r) if kind.rules.get(r).is_some_and(|r| r.turns_to));
        let from = line.sentence_start(hit.first).max(hit.first.saturating_sub(FAR));
        let at_work = |i: usize| {
            const MOVES: &[&str] = &[
                "magnification",
                "microscope",
                "scope",
                "power",
                "needle",
                "file",
                "files",
                "pulled",
                "stepped",
                "step",
                "went",
                "binds",
                "bound",
                "cone",
                "locator",
                "length",
                "pecks",
                "strokes",
            ];
            ["canals", "instruments", "motions"].iter().any(|v| line.term(i, v).is_some())
                || line.holds_one_of(i, MOVES)
        };
        // "now to 21 with the 15", "on to 25, 3 pecks"
        let next = hit.end + 1..hit.end + 4;
        let tool = next.clone().any(|i| line.atom(i).is_some() || at_work(i))
            && !next.clone().any(|i| line.is_mark(i, "."))
            && !(hit.end..hit.end + 2).any(|i| line.term(i, "canals").is_some());
        let depth = turns
            && self.tooth.is_some()
            && !announced
            && !spelled
            && ((from..hit.first).any(at_work) || tool && !self.teeth.contains(&named.iso));
        // "3.6" is a tooth only where words say so, or where a dictation begins.
        let dotted = (hit.first..hit.end).any(|i| line.atom(i).is_some_and(|a| a.form == Form::Fraction))
            && !announced
            && self.tooth.is_some();
        if used
            || depth
            || dotted
            || of_canal
            || pronoun
            || denied
            || goes_on
            || counting
            || measure
            || tooth::is_range(line, hit.end)
        {
            return false;
        }
        if placed {
            return true;
        }
        // "44, male, upper right first molar", "it's the 21st, tooth 36": an age, a date.
        let atoms = (hit.first..hit.end).filter(|&i| line.atom(i).is_some()).count();
        let named_so =
            |i: usize| line.term(i, "quadrants").is_some() || line.term(i, "tooth_words").is_some();
        let signed = (hit.first.saturating_sub(1)..hit.end).any(|i| {
            line.is_word(i, "number") || line.is_mark(i, "#") || named_so(i) || line.is_mark(i, "-")
        });
        if self.tooth.is_none() && atoms == 1 && !signed {
            const AGES: &[&str] =
                &["male", "female", "year", "years", "yr", "aged", "old", "mrs", "mr", "ms", "miss"];
            let near = hit.first.saturating_sub(3)..hit.end + 3;
            let aged = near.clone().any(|i| line.holds_one_of(i, AGES));
            // "two today, number four and number five", of universal numbers
            let numbered = |i: usize| {
                self.x.settings.notation == tooth::Notation::Universal
                    && (line.is_word(i, "number") || line.is_mark(i, "#"))
            };
            let better = (hit.end..line.items.len().min(hit.end + FAR)).any(|i| {
                let number = |k: usize| line.atom(k).is_some() || line.term(k, "tooth_names").is_some();
                named_so(i) && (i + 1..i + 3).any(number) || numbered(i) && line.atom(i + 1).is_some()
            });
            let ordinal = line.is_one_of(hit.end, &["st", "nd", "rd", "th"]);
            if aged || better || ordinal {
                return false;
            }
        }
        let universal = self.x.settings.notation == tooth::Notation::Universal;
        // "today is a three six": only before the work has begun.
        let opens = |text: &str| {
            kind.rules.iter().filter(|r| r.opening).any(|r| r.hear.iter().any(|p| p.text == text))
        };
        let opening = match hit.of {
            Of::Rule(r) => kind.rules.get(r).is_some_and(|r| r.opening),
            Of::Field(f, h) => kind
                .fields
                .get_index(f)
                .and_then(|(_, f)| f.hear.get(h))
                .is_some_and(|h| opens(&h.pattern.text)),
        };
        let known = match hit.of {
            Of::Rule(r) => kind.rules.get(r).is_some_and(|r| r.known),
            Of::Field(_, _) => false,
        };
        if known {
            let other = self.tooth.as_ref() != Some(&named.iso);
            return other && !named.other_notation && self.teeth.contains(&named.iso);
        }
        if opening {
            let counts = line.unit(hit.end).is_some() || line.term(hit.end, "counted").is_some();
            let begun = self.tooth.is_some() || self.entries.len() > OPENING;
            // "the length is twenty six"
            let measures =
                ["length", "lengths", "size", "sizes", "depth", "stop", "reading", "locator", "gauge"];
            let measured = (hit.first.saturating_sub(3)..hit.first).any(|i| line.holds_one_of(i, &measures));
            if measured {
                return false;
            }
            return !begun && !counts && !named.other_notation && (said.len() == 2 || universal);
        }
        if matches!(hit.of, Of::Field(..)) {
            let announced = line.term(hit.first, "tooth_words").is_some();
            return announced || !named.other_notation || !hit.found.terms.is_empty();
        }
        if !hit.found.terms.is_empty() {
            return true;
        }
        let signed = line.is_word(hit.first, "number") || line.is_mark(hit.first, "#");
        let alone = matches!(hit.of, Of::Rule(r) if kind.rules.get(r).is_some_and(|r| r.whole));
        // "MB working length / 21": a breath that is one number may complete the step before it.
        let length = line.atom(hit.first).is_some_and(|a| a.value <= Decimal::whole(30));
        if alone && !signed && self.tooth.is_some() && !self.teeth.contains(&named.iso) && length {
            return false;
        }
        if alone && !signed && universal && self.tooth.is_some() && self.entries.len() > OPENING {
            return false;
        }
        if signed && !universal && self.tooth.is_none() {
            return said.len() == 2 && !named.other_notation && self.is_tooth_number(hit, line, &said);
        }
        if signed {
            return universal && !named.other_notation && self.is_tooth_number(hit, line, &said);
        }
        // A bare number is a tooth only in the chosen notation.
        let after_slot = before(1).is_some_and(|b| {
            at_slot(line, b) || line.term(b, "canals").is_some() || line.term(b, "instruments").is_some()
        });
        !after_slot && !named.other_notation && (said.len() == 2 || universal)
    }

    /// "in 37 I made access": the number of another tooth that found no place. The steps told behind it may be of that tooth.
    pub(super) fn points_elsewhere(&mut self, at: &At<'_>) {
        let line = &at.line;
        let points = |i: usize| {
            let before = at.said(&(i.saturating_sub(1)..i)).0.to_lowercase();
            let last = before.rsplit(' ').next().unwrap_or_default();
            let two = at.said(&(i.saturating_sub(2)..i)).0.to_lowercase();
            let behind_the =
                ["in the", "on the", "for the", "now the", "next the"].iter().any(|w| two.ends_with(w));
            ["in", "on", "for", "to", "it's", "is", "tooth", "then", "do", "opened"].contains(&last)
                || behind_the
                || line.is_mark(i + 1, ":")
                || line.is_word(i + 1, "now")
                || line.opens_sentence(i)
        };
        let behind = |i: usize| i > 0 && line.is_one_of(i - 1, &["in", "on"]);
        let word = |k: &usize| line.items.get(*k).is_some_and(|it| it.what != What::Mark);
        let alone = (0..at.placed.len()).filter(word).count() == 1;
        let mut named_at: Vec<(usize, String)> = Vec::new();
        let mut named_behind: Vec<(usize, String)> = Vec::new();
        for i in 0..at.placed.len() {
            let Some(value) = line.atom(i).map(|a| a.value).filter(|_| at.placed.get(i) == Some(&false))
            else {
                continue;
            };
            let Some(read) = line.reading(Slot::Tooth, i) else { continue };
            let two = read.text.as_deref().filter(|t| t.len() == 2);
            let named = two.and_then(|t| tooth::named(t, self.x.settings.notation));
            let Some(named) = named.filter(|n| !n.other_notation) else { continue };
            let counts = line.unit(read.end).is_some()
                || line.atom(read.end).is_some()
                || line.term(read.end, "counted").is_some()
                || line.term(read.end, "canals").is_some()
                || crate::words::slot::is_standard_size(value) && !line.opens_sentence(i);
            if self.tooth.as_ref().is_none_or(|t| *t == named.iso) || counts || !points(i) {
                continue;
            }
            // A breath that says little more than the number: of what the next one tells.
            let little = at.placed.len() <= LITTLE && at.placed.iter().all(|p| !p);
            if alone || little {
                self.refused = Some((at.n + 1, named.iso.clone()));
            }
            if behind(i) {
                named_behind.push((i, named.iso.clone()));
            }
            named_at.push((i, named.iso));
        }
        for (entry, note) in self.entries.iter_mut().zip(&self.notes).rev() {
            if note.breath < at.n || named_at.is_empty() {
                break;
            }
            let before = named_at.partition_point(|(i, _)| *i <= note.items.start);
            let after = named_behind.partition_point(|(i, _)| *i < note.items.end);
            let near = |(i, _): &&(usize, String)| *i <= note.items.end + 2;
            let after = named_behind.get(after).filter(near);
            if let Some((_, iso)) = before.checked_sub(1).and_then(|i| named_at.get(i)).or(after) {
                let other = Value::Text(iso.clone());
                push_doubt(entry, "tooth", "another tooth was named right before", &[other]);
            }
        }
    }

    /// "correction, tooth 37", behind steps on another: those may have been of it.
    fn corrected_late(&mut self, at: &At<'_>, items: &Range<usize>, iso: &str) {
        const BACK: usize = 8;
        let line = &at.line;
        let from = line.sentence_start(items.start).max(items.start.saturating_sub(3));
        let corrects = |i: usize| cue(line, i, "repair") || line.is_one_of(i, &["change", "meant"]);
        if self.tooth.is_none() || !(from..items.end).any(corrects) {
            return;
        }
        let other = Value::Text(iso.to_owned());
        let last: Vec<usize> = self.live().take(BACK).collect();
        for i in last {
            let near = self.notes.get(i).is_some_and(|n| n.breath + BACK >= at.n);
            let step = |e: &&mut crate::log::Entry| e.tooth == self.tooth && !e.values.contains_key("tooth");
            if let Some(entry) = self.entries.get_mut(i).filter(|_| near).filter(step) {
                push_doubt(entry, "tooth", "the tooth was corrected later", std::slice::from_ref(&other));
            }
        }
    }

    /// Was a size like this told of the tooth at work?
    fn has_used(&self, size: Decimal) -> bool {
        const FAR: usize = 12;
        let is_size = crate::words::slot::is_standard_size(size);
        let told = |i: usize| {
            let entry = self.entries.get(i).filter(|e| e.tooth == self.tooth);
            entry.and_then(|e| e.values.get("size")).and_then(Value::number) == Some(size)
        };
        is_size && self.tooth.is_some() && self.live().take(FAR).any(told)
    }

    /// Is a tooth named with its quadrant, or in words that open a dictation ("right you lot, this one's a four six")?
    pub(super) fn names_a_tooth(&self, at: &At<'_>, items: &Range<usize>) -> bool {
        let names = |h: &Hit| self.x.kinds.all.get(h.kind).is_some_and(|k| k.place == Place::NamesTeeth);
        let quadrant = |h: &Hit| h.found.terms.iter().any(|t| &*t.vocabulary == "quadrants");
        let opens = |h: &Hit| match h.of {
            Of::Rule(r) => {
                let kind = self.x.kinds.all.get(h.kind);
                kind.and_then(|k| k.rules.get(r)).is_some_and(|r| r.opening)
            }
            Of::Field(..) => false,
        };
        let asks = at.line.is_mark(items.end.saturating_sub(1), "?");
        // "where are we, two seven, yeah"
        let parted = |i: usize| at.line.items.get(i).is_none_or(|it| it.what == What::Mark);
        let digits = |h: &Hit| {
            h.found.readings.iter().any(|(slot, _)| *slot == Slot::ToothDigits)
                && h.first.checked_sub(1).is_none_or(parted)
                && parted(h.end)
        };
        at.hits.iter().any(|h| {
            items.contains(&h.first) && names(h) && (quadrant(h) || (opens(h) || digits(h)) && !asks)
        })
    }

    /// The tooth with its quadrant that a sentence begins with, whatever the rest of it tells ("upper left seven, root filled
    /// abroad").
    pub(super) fn tooth_in_front(&self, at: &At<'_>, items: &Range<usize>) -> Option<Range<usize>> {
        let names = |h: &Hit| self.x.kinds.all.get(h.kind).is_some_and(|k| k.place == Place::NamesTeeth);
        let quadrant = |h: &Hit| h.found.terms.iter().any(|t| &*t.vocabulary == "quadrants");
        let asks = at.line.is_mark(items.end.saturating_sub(1), "?");
        let small = |i: usize| at.line.is_one_of(i, &["the", "on", "for", "so", "and"]);
        let start = (items.start..items.end).find(|&i| !small(i) && at.line.term(i, "fillers").is_none())?;
        let hit = at
            .hits
            .iter()
            .find(|h| h.first == start && matches!(h.of, Of::Rule(_)) && names(h) && quadrant(h))?;
        (!asks).then_some(items.start..hit.end)
    }

    /// The tooth that words about the past name, as long as none is at work ("an upper canine, one three, pulled last Friday").
    pub(super) fn first_tooth(&self, at: &At<'_>, items: &Range<usize>) -> Option<Range<usize>> {
        let names = |h: &&Hit| self.x.kinds.all.get(h.kind).is_some_and(|k| k.place == Place::NamesTeeth);
        let quadrant =
            |h: &&Hit| h.found.terms.iter().any(|t| matches!(&*t.vocabulary, "quadrants" | "tooth_words"));
        let digits = |h: &&Hit| h.found.readings.iter().any(|(slot, _)| *slot == Slot::ToothDigits);
        let parted = |h: &&Hit| at.line.items.get(h.end).is_none_or(|it| it.what == What::Mark);
        // "this is 17, sent in by a colleague"
        let opens = |h: &&Hit| match h.of {
            Of::Rule(r) => {
                let rule = self.x.kinds.all.get(h.kind).and_then(|k| k.rules.get(r));
                rule.is_some_and(|r| r.opening)
                    && at.line.is_mark(h.end, ",")
                    && h.first < items.start + FRONT
            }
            Of::Field(..) => false,
        };
        let mut hits = super::hits::within(&at.hits, items)
            .filter(|h| matches!(h.of, Of::Rule(_)))
            .filter(names)
            .filter(|h| quadrant(h) || (digits(h) || opens(h)) && parted(h));
        let hit = hits.next().filter(|_| self.tooth.is_none())?;
        Some(hit.first..hit.end)
    }

    /// "number eight": a tooth, where nothing around it speaks of instruments, and where it is no size or stands first.
    fn is_tooth_number(&self, hit: &Hit, line: &Line, said: &str) -> bool {
        let starts = line.sentence_start(hit.first).max(hit.first.saturating_sub(FAR));
        let end = line.sentence_end(hit.end).min(hit.end + FAR);
        let tool = |i: usize| {
            line.term(i, "instruments").is_some()
                || line.term(i, "colours").is_some()
                || line.is_one_of(
                    i,
                    &[
                        "file", "files", "length", "clamp", "size", "taper", "cone", "points", "gauge",
                        "bur", "burs", "round", "blade", "scalpel", "probe", "spreader", "plugger", "post",
                        "drill", "suture", "forceps",
                    ],
                )
        };
        let short = line.is_word(hit.end, "short") || line.is_word(hit.end + 1, "short");
        let size = said.parse().is_ok_and(|n| crate::words::slot::is_standard_size(Decimal::whole(n)));
        let of_canal = line.term(hit.end, "canals").is_some() && (size || self.tooth.is_some());
        if (starts..end).any(tool) || short || of_canal {
            return false;
        }
        let listed = hit.first > 1
            && (line.is_mark(hit.first - 1, ",") || line.is_word(hit.first - 1, "and"))
            && line.atom(hit.first - 2).is_some();
        !size
            || self.tooth.is_none()
            || line.opens_sentence(hit.first)
            || listed
            || tooth::named(said, self.x.settings.notation)
                .is_some_and(|n| Some(&n.iso) == self.tooth.as_ref())
    }

    /// "over to the seven", where teeth are named by quadrant and place: in the quadrant of the tooth at work.
    fn in_quadrant(&self, said: &str) -> Option<tooth::Named> {
        let place = said.parse::<u8>().ok().filter(|n| (1..=8).contains(n))?;
        let quadrant = self.tooth.as_ref().and_then(|t| t.chars().next())?;
        let iso = format!("{quadrant}{place}");
        let palmer = self.x.settings.notation == tooth::Notation::Palmer;
        (palmer && tooth::from_iso(&iso).is_some()).then_some(tooth::Named {
            iso,
            said_as: "palmer",
            other_notation: false,
        })
    }

    /// "no wait, make that nineteen" right after a tooth was named.
    pub(super) fn correct_bare_tooth(&mut self, at: &At<'_>, items: &Range<usize>) -> bool {
        const NEAR: usize = 8;
        let line = &at.line;
        let near = items.start..items.end.min(items.start + NEAR);
        let Some(first) = near.into_iter().find(|&i| line.atom(i).is_some()) else { return false };
        let Some(read) = line.reading(Slot::Tooth, first).cloned() else { return false };
        let measured = line.unit(read.end).is_some()
            || line.atom(read.end).is_some()
            || line.term(read.end, "counted").is_some()
            || line.term(read.end, "canals").is_some();
        let named = read.text.as_deref().and_then(|t| tooth::named(t, self.x.settings.notation));
        let Some(named) = named.filter(|n| !measured && !n.other_notation) else { return false };
        self.correct_tooth(at, items, &named, first..read.end)
    }

    /// Puts another tooth in the place of the one that was named last, where nothing was done on it yet.
    fn correct_tooth(
        &mut self,
        at: &At<'_>,
        items: &Range<usize>,
        named: &tooth::Named,
        words: Range<usize>,
    ) -> bool {
        let Some(last) = self.live().next() else { return false };
        let names = |n: &Note| {
            self.x.kinds.all.get(n.kind).is_some_and(|k| k.place == Place::NamesTeeth) && n.breath + 2 >= at.n
        };
        let is_tooth = self.notes.get(last).is_some_and(names);
        let old = self.entries.get(last).and_then(|e| e.tooth.clone());
        if !is_tooth || old.as_ref() == Some(&named.iso) {
            return false;
        }
        let piece = fill::Piece {
            field: "tooth".to_owned(),
            value: Some(Value::Text(named.iso.clone())),
            same: false,
            items: words.clone(),
            doubts: vec![],
            weight: 1,
            lead: true,
        };
        let draft = fill::Draft { pieces: vec![piece], canal: None };
        self.change(at, items, last, &draft, true);
        if let Some(entry) = self.entries.get_mut(last) {
            entry.tooth = Some(named.iso.clone());
        }
        self.teeth
            .retain(|t| Some(t) != old.as_ref() || self.entries.iter().any(|e| e.tooth.as_ref() == Some(t)));
        if !self.teeth.contains(&named.iso) {
            self.teeth.push(named.iso.clone());
        }
        self.tooth = Some(named.iso.clone());
        self.tooth_said = at.spoken(&words);
        true
    }

    /// Teeth named: an entry where the tooth is new, nothing where it is the one at work.
    pub(super) fn teeth(
        &mut self,
        at: &mut At<'_>,
        segment: &Segment,
        reading: &Reading,
        status: Status,
        correcting: bool,
    ) -> bool {
        let Some(kind) = self.x.kinds.all.get(reading.kind) else { return false };
        let Some(rule) = kind.rules.get(reading.rule) else { return false };
        if status != Status::Done && status != Status::Planned && (self.lecture || status != Status::General)
        {
            return false;
        }
        let mut pieces: Vec<&fill::Piece> =
            reading.filled.drafts.iter().flat_map(|d| &d.pieces).filter(|p| p.field == "tooth").collect();
        pieces.sort_by_key(|p| p.items.start);
        pieces.dedup_by_key(|p| p.items.start);
        if let ([p], true) = (pieces.as_slice(), correcting)
            && let Some(named) =
                p.value.as_ref().and_then(Value::text).and_then(|t| tooth::named(t, self.x.settings.notation))
            && self.correct_tooth(at, &segment.items, &named, p.items.clone())
        {
            return true;
        }
        let turns = rule.turns_to || rule.next;
        let mut any = false;
        let mut listed = None;
        for p in pieces {
            let Some(named) = p.value.as_ref().and_then(Value::text).and_then(|t| {
                let within = self.in_quadrant(t).filter(|_| turns);
                within.or_else(|| tooth::named(t, self.x.settings.notation))
            }) else {
                continue;
            };
            if self.tooth.as_deref() == Some(named.iso.as_str()) {
                listed = Some(p.items.end);
                continue;
            }
            let turned = rule.turns_to && p.items.start <= reading.rule_items.end;
            if !self.takes_over(at, &p.items, &named.iso, listed, turned) {
                // A breath that says little more than the number: of what the next one tells.
                let little = at.placed.len() <= LITTLE;
                self.refused = Some((at.n + usize::from(little), named.iso.clone()));
                continue;
            }
            listed = Some(p.items.end);
            any = true;
            self.corrected_late(at, &segment.items, &named.iso);
            let (said, from_s, to_s) = at.said(&segment.items);
            let mut entry = blank(kind.name.clone(), Status::Done, rule.id.clone(), said, from_s, to_s);
            entry.tooth = Some(named.iso.clone());
            entry.values = IndexMap::from([
                ("tooth".to_owned(), Value::Text(named.iso.clone())),
                ("said_as".to_owned(), Value::Text(named.said_as.to_owned())),
            ]);
            if named.other_notation {
                push_doubt(
                    &mut entry,
                    "tooth",
                    "there is no such tooth in the chosen notation; it was read in another",
                    &[],
                );
            }
            // "number eighteen": people who number the teeth from one on say so.
            let near = p.items.start.saturating_sub(1)..p.items.end;
            let signed = near.clone().any(|i| at.line.is_word(i, "number") || at.line.is_mark(i, "#"));
            let one = p.items.clone().filter(|&i| at.line.atom(i).is_some()).count() == 1;
            let counted = p.value.as_ref().and_then(Value::text).filter(|_| signed && one);
            let other = counted
                .and_then(|t| tooth::named(t, tooth::Notation::Universal))
                .filter(|n| !n.other_notation && n.iso != named.iso && named.said_as == "iso3950");
            if let Some(other) = other {
                let reason = "named with \"number\": it may be of the universal notation";
                push_doubt(&mut entry, "tooth", reason, &[Value::Text(other.iso)]);
            }
            if at.line.atom(p.items.end).is_some() && at.line.unit(p.items.end + 1).is_none() {
                push_doubt(&mut entry, "tooth", "a further number was heard after it", &[]);
            }
            let found = [("tooth".to_owned(), p.items.clone())];
            doubts::add(self, at, &segment.items, reading.kind, &mut entry, &found);
            self.tooth = Some(named.iso.clone());
            self.tooth_said = at.spoken(&p.items);
            self.canal = None;
            if !self.teeth.contains(&named.iso) {
                self.teeth.push(named.iso);
            }
            let words = at.said(&p.items).0;
            let values = vec![("tooth".to_owned(), From::Said(words.clone()))];
            let why = Why { opened_by: words, values, ..Why::default() };
            self.push(
                entry,
                Note { breath: at.n, items: segment.items.clone(), kind: reading.kind, why, numbers: vec![] },
            );
        }
        any
    }
}

/// Words after which a number is a size or a length, never a tooth.
fn at_slot(line: &Line, i: usize) -> bool {
    line.is_one_of(i, &["to", "at", "size", "file", "length", "stop", "past", "reads", "a", "an"])
}
