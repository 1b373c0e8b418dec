//! One recording, breath by breath: what carries, what is struck, what a later breath completes.

use std::ops::Range;

use super::{
    Extracted, Extractor, amend, beside, completes, controls, doubts,
    fill::{self, Draft, Filled, Stretch},
    goes_on,
    hits::{self, Hit, Of, PatternId},
    parted,
    segment::{self, Reading, Segment},
    sentence::{self, Sentence, Speech, cue},
    status::{self, Manner, Told},
    steps,
    why::{From, Spoken, Why},
};
pub(super) use super::{
    breath::At,
    entry::{blank, numbers, push_doubt},
    texts::tidy,
};
use crate::{
    kinds::{Place, pattern::Candidates},
    listen::heard::Breath,
    log::{Canal, Entry, Review, Status, Unplaced, Value},
    words::line::{Line, What},
};

/// How many items of its sentence around a step are looked at: more than a sentence has, so that speech without a full stop
/// stays linear.
pub(super) const NEAR: usize = 120;
/// A rule of this weight says what is told, whenever it was.
pub(super) const SURE: f32 = 3.0;
/// So short is what only completes the entry of the breath before.
const BARE: usize = 8;
/// So many items before a tooth's own words its status is told.
const NEAR_TOOTH: usize = 6;
/// How many entries back an earlier value is looked for: more than a visit has, so that long recordings stay linear.
pub(super) const FAR_BACK: usize = 400;

pub(super) struct Session<'a> {
    pub(super) x: &'a Extractor,
    pub(super) lecture: bool,
    pub(super) entries: Vec<Entry>,
    /// For each entry: its breath, and why it is as it is.
    pub(super) notes: Vec<Note>,
    /// Those that are not struck.
    live: Vec<usize>,
    unplaced: Vec<Unplaced>,
    pub(super) teeth: Vec<String>,
    pub(super) tooth: Option<String>,
    /// The lecturer works on something: a block, an extracted tooth.
    shows: bool,
    pub(super) canal: Option<Canal>,
    /// The breath that named it.
    pub(super) canal_from: usize,
    /// What named the tooth and the canal at work.
    pub(super) tooth_said: Spoken,
    pub(super) canal_said: Spoken,
    /// The last breath ended with "no, hang on": the next one corrects.
    correcting: bool,
    /// A kind that was named without a value, and in which breath: "working lengths", then one by one.
    pub(super) announced: Option<(usize, usize)>,
    /// The entry that was struck right before, and in which breath: a bare number that follows takes its number's place.
    pub(super) struck: Option<(usize, usize)>,
    /// Room for looking for hits.
    near: Candidates<PatternId>,
    /// The breath whose last words of treatment found no place: a strike that follows means these.
    pub(super) unheeded: Option<usize>,
    /// The breath in which the work in a canal of this tooth began.
    pub(super) began: Option<(usize, Option<String>)>,
    /// A tooth that was named and not taken for the one at work, and in which breath.
    pub(super) refused: Option<(usize, String)>,
}

#[derive(Debug, Clone, Default)]
pub(super) struct Note {
    pub(super) breath: usize,
    /// The items of that breath that it was made of.
    pub(super) items: Range<usize>,
    pub(super) kind: usize,
    pub(super) why: Why,
    /// Fields whose numbers were said, the last first: a bare number that corrects means one of these.
    pub(super) numbers: Vec<String>,
}

impl<'a> Session<'a> {
    pub(super) fn new(x: &'a Extractor, lecture: bool) -> Self {
        Self {
            x,
            lecture,
            entries: vec![],
            notes: vec![],
            live: vec![],
            unplaced: vec![],
            teeth: vec![],
            tooth: None,
            shows: false,
            canal: None,
            canal_from: 0,
            tooth_said: Spoken::default(),
            canal_said: Spoken::default(),
            correcting: false,
            announced: None,
            struck: None,
            near: Candidates::default(),
            unheeded: None,
            began: None,
            refused: None,
        }
    }

    /// A lecturer speaks of how things are done until a tooth is named or work is shown; then a case is at hand.
    pub(super) fn manner(&self) -> Manner {
        match self.lecture {
            false => Manner::Record,
            true if self.tooth.is_some() || self.shows => Manner::Case,
            true => Manner::Theory,
        }
    }

    pub(super) fn take(&mut self, n: usize, breath: &Breath, line: Line) {
        let mut line = line;
        let (mut hits, mut inside) = self.heard(&line);
        let beside = self.beside(&line, &hits);
        if !beside.is_empty() {
            line.hide(beside.iter().map(|b| b.items.clone()));
            (hits, inside) = self.heard(&line);
        }
        self.shows |= self.lecture && (0..line.items.len()).any(|i| cue(&line, i, "shows"));
        let placed = vec![false; line.items.len()];
        let held = hits.iter().filter(|h| h.found.readings.iter().any(|(_, r)| !r.doubts.is_empty()));
        let sentences = sentence::sentences(&line, held.map(|h| h.first..h.end), self.lecture);
        let fields = fill::fields_by_kind(&self.x.kinds, &hits);
        let mut at = At { n, breath, line, hits, fields, sentences, inside, beside, must: vec![], placed };
        at.must = parted::merged(beside::cuts(&at), parted::cuts(&at));
        let mut start = 0;
        for control in controls::controls(&at.line) {
            self.stretch(&mut at, start..control.items.start);
            self.control(&mut at, &control);
            start = control.items.end;
        }
        let end = at.line.items.len();
        self.stretch(&mut at, start..end);
        doubts::astray(self, &at);
        doubts::denied_after(self, &at);
        doubts::denied_next(self, &at);
        doubts::of_two(self, &at);
        self.points_elsewhere(&at);
        self.retracted(&at);
        self.unheeded = at.leaves_treatment(end).then_some(n);
        self.rest(&at);
        for remark in &breath.remarks {
            if breath.words.is_empty() {
                self.leave(breath.from_s, breath.to_s, String::new(), Some(remark.clone()));
            }
            for (entry, note) in self.entries.iter_mut().zip(&self.notes).rev() {
                if note.breath < n {
                    break;
                }
                if note.breath == n {
                    push_doubt(entry, "entry", remark, &[]);
                }
            }
        }
    }

    /// What is heard in a line and means something here, and the items where nothing may start.
    fn heard(&mut self, line: &Line) -> (Vec<Hit>, Vec<bool>) {
        let mut hits = hits::find(line, &self.x.kinds, &self.x.index, &mut self.near);
        let inside = hits::insides(line);
        hits.retain(|h| {
            inside.get(h.first) != Some(&true)
                && self.is_real(h, line)
                && controls::is_sign(&self.x.kinds, h, line)
                && !self.is_vague(h)
                && !controls::in_passing(&self.x.kinds, h, line)
                && !self.is_ruled_out(h, line)
        });
        (hits, inside)
    }

    /// "got all that" finds no canals.
    fn is_vague(&self, hit: &Hit) -> bool {
        let names = self.x.kinds.all.get(hit.kind).is_some_and(|k| k.place == Place::NamesCanals);
        let mut canals = hit.found.terms.iter().filter(|t| &*t.vocabulary == "canals").peekable();
        names
            && matches!(hit.of, Of::Rule(_))
            && canals.peek().is_some()
            && canals.all(|t| t.value.ends_with('?'))
    }

    /// Stand words beside a rule's words that rule its kind out ("penicillin allergy" prescribes nothing)?
    fn is_ruled_out(&self, hit: &Hit, line: &Line) -> bool {
        let Some(kind) = self.x.kinds.all.get(hit.kind) else { return false };
        // In its clause: "rubber dam on, crown is off".
        let near =
            hit.first.saturating_sub(3).max(line.sentence_start(hit.first)).max(line.clause_start(hit.first))
                ..(hit.end + 3).min(line.sentence_end(hit.end)).min(line.next_comma(hit.end));
        let sentence = line.sentence_start(hit.first).max(hit.first.saturating_sub(NEAR))..hit.first;
        let among = |v: &String| sentence.clone().any(|i| line.term(i, v).is_some());
        let denies = cue(line, hit.first, "no");
        if matches!(hit.of, Of::Rule(_)) && denies && kind.not_among.iter().any(among) {
            return true;
        }
        matches!(hit.of, Of::Rule(_))
            && near.into_iter().any(|i| kind.not_with.iter().any(|class| cue(line, i, class)))
    }

    /// A part of a breath without controls.
    fn stretch(&mut self, at: &mut At<'_>, items: Range<usize>) {
        if items.is_empty() {
            return;
        }
        let first = at.sentences.partition_point(|s| s.items.end <= items.start);
        let sentences: Vec<Sentence> = at
            .sentences
            .iter()
            .skip(first)
            .take_while(|s| s.items.start < items.end)
            .map(|s| {
                let items = s.items.start.max(items.start)..s.items.end.min(items.end);
                Sentence { items, ..s.clone() }
            })
            .filter(|s| !s.items.is_empty())
            .collect();
        let mut i = 0;
        while i < sentences.len() {
            let Some(s) = sentences.get(i) else { break };
            match s.speech {
                Speech::Treatment | Speech::Doubtful => {
                    let run: Vec<Sentence> = sentences
                        .iter()
                        .skip(i)
                        .take_while(|s| matches!(s.speech, Speech::Treatment | Speech::Doubtful))
                        .enumerate()
                        .take_while(|(k, s)| *k == 0 || !controls::starts_correction(&at.line, &s.items))
                        .map(|(_, s)| s.clone())
                        .collect();
                    let condition = i.checked_sub(1).and_then(|b| sentences.get(b));
                    let condition = condition.filter(|c| c.speech == Speech::Talk("condition"));
                    i += run.len();
                    let before = self.entries.len();
                    self.treatment(at, &run);
                    if let (Some(c), Some(last), true) = (condition, run.last(), before == self.entries.len())
                    {
                        self.under_a_condition(at, &c.items, c.items.start..last.items.end);
                    }
                }
                Speech::Past if self.opens_a_text(at, &s.items) => {
                    self.treatment(at, &[Sentence { speech: Speech::Treatment, ..s.clone() }]);
                    i += 1;
                }
                Speech::Past => {
                    let front = self.tooth_in_front(at, &s.items);
                    let rest = front.as_ref().map_or(s.items.start, |f| f.end)..s.items.end;
                    let front = front.or_else(|| self.first_tooth(at, &s.items));
                    if let Some(items) = front {
                        self.treatment(at, &[Sentence { items, speech: Speech::Treatment, ..s.clone() }]);
                    }
                    self.past(at, &rest);
                    i += 1;
                }
                Speech::Talk(_) => {
                    // "the upper right four this morning, please": until one is named, a tooth counts in any talk.
                    if self.tooth.is_none() && self.names_a_tooth(at, &s.items) {
                        self.treatment(at, std::slice::from_ref(s));
                    } else if let Some(items) = self.tooth_in_front(at, &s.items) {
                        self.treatment(at, &[Sentence { items, speech: Speech::Treatment, ..s.clone() }]);
                    }
                    i += 1;
                }
            }
        }
        self.correcting = controls::dangling(&at.line, &items);
    }

    fn treatment(&mut self, at: &mut At<'_>, run: &[Sentence]) {
        let correcting =
            self.correcting || run.first().is_some_and(|s| controls::starts_correction(&at.line, &s.items));
        self.correcting = false;
        let segments = segment::cut(
            &at.line,
            &self.x.kinds,
            segment::Heard { hits: &at.hits, fields: &at.fields, inside: &at.inside, must: &at.must },
            run,
        );
        let mut correcting = correcting;
        for mut segment in segments {
            let anchor = segment.read.as_ref().map_or(segment.items.start, |r| r.rule_items.start);
            let around = sentence::of_item(run, anchor);
            let near = segment.items.start.saturating_sub(NEAR)..segment.items.end + NEAR;
            let sentence = around
                .map_or(segment.items.clone(), |s| s.items.start.max(near.start)..s.items.end.min(near.end));
            let doubtful =
                sentence::of_item(run, segment.items.start).is_some_and(|s| s.speech == Speech::Doubtful);
            let conditional = around.is_some_and(|s| s.conditional);
            let used = match segment.read.take() {
                Some(reading) => self.read(at, &segment, reading, &sentence, conditional, correcting),
                None if doubtful && !correcting => false,
                None => {
                    let whole = self.goes_on(at, &segment.items, &sentence, correcting);
                    let in_part = if whole {
                        None
                    } else if correcting {
                        self.corrects_in_part(at, &segment.items)
                    } else {
                        self.turns_to_a_correction(at, &segment.items)
                    };
                    if let Some(part) = in_part {
                        at.place(part);
                        correcting = false;
                        continue;
                    }
                    // "…, two mil MB, four mil distal": what is not understood together may be part by part.
                    if !whole && !correcting {
                        for part in goes_on::parts(&at.line, &segment.items) {
                            // After words that say something else a value may mean anything.
                            if !self.goes_on(at, &part, &sentence, false) {
                                break;
                            }
                            at.place(part);
                        }
                    }
                    whole
                }
            };
            if used {
                at.place(segment.items.clone());
                correcting = false;
            }
        }
        // "no, two was … it": a correction that was not understood still says that something is wrong.
        let numbers = run.iter().flat_map(|s| s.items.clone()).any(|i| at.line.atom(i).is_some());
        let last = self.live().next().filter(|&i| self.notes.get(i).is_some_and(|n| n.breath + 2 >= at.n));
        if correcting
            && numbers
            && let Some(entry) = last.and_then(|i| self.entries.get_mut(i))
        {
            push_doubt(entry, "entry", "a correction followed that was not understood", &[]);
        }
    }

    /// A stretch that a rule opened.
    fn read(
        &mut self,
        at: &mut At<'_>,
        segment: &Segment,
        reading: Reading,
        sentence: &Range<usize>,
        conditional: bool,
        correcting: bool,
    ) -> bool {
        let reading = self.turned(at, segment, reading);
        let Some(kind) = self.x.kinds.all.get(reading.kind) else { return false };
        let Some(rule) = kind.rules.get(reading.rule) else { return false };
        let told = match rule.status {
            Some(status) => Some(status.into()),
            None if reading.text.is_some() && kind.place == Place::Tooth => {
                Some(status::of_text(&at.line, sentence, &segment.items, &reading.rule_items, conditional))
            }
            None => {
                let pieces = || reading.filled.drafts.iter().flat_map(|d| &d.pieces);
                let valued = |i: usize| pieces().any(|p| p.items.contains(&i));
                let names = kind.place == Place::NamesTeeth;
                let manner = if names { Manner::Record } else { self.manner() };
                // Only what stands right before a tooth says anything of it.
                let near =
                    reading.rule_items.start.saturating_sub(NEAR_TOOTH).max(sentence.start)..sentence.end;
                status::of(
                    &at.line,
                    if names { &near } else { sentence },
                    &segment.items,
                    reading.rule_items.start,
                    manner,
                    conditional,
                    &valued,
                )
            }
        };
        let Some(mut told) = told else { return false };
        if kind.foretells
            && told.status == Status::Planned
            && told.by.is_some_and(|i| reading.rule_items.contains(&i))
        {
            // "next visit in a fortnight": the words say when, not that something is planned; "will" does.
            let will =
                told.by.is_some_and(|i| ["will", "shall"].iter().any(|w| at.line.text(i).starts_with(w)));
            if !will {
                told = Status::Done.into();
            }
        }
        // "he is no diabetic" is a fact; "her pressure was not taken" is what was left out.
        let left_out = told.by.is_some_and(|i| cue(&at.line, i, "negation-after"));
        if kind.facts && matches!(told.status, Status::NotDone | Status::General) && !left_out {
            told = Status::Done.into();
        }
        let far = |p: &fill::Piece| {
            let n = p.value.as_ref().and_then(Value::number);
            kind.attempted.contains(&p.field) && n.is_some_and(|n| n != crate::words::Decimal::ZERO)
        };
        if told.status == Status::NotDone && reading.filled.drafts.iter().flat_map(|d| &d.pieces).any(far) {
            told = Status::Done.into();
        }
        let status = told.status;
        if kind.place == Place::NamesTeeth {
            return self.teeth(at, segment, &reading, status, correcting);
        }
        if kind.never.contains(&status)
            || kind
                .not_behind
                .iter()
                .any(|class| sentence::is_behind(&at.line, reading.rule_items.start, class))
            || rule.seeks && status == Status::Done
            || (segment.items.start.saturating_sub(3)..segment.items.end + 3)
                .filter(|i| sentence.contains(i))
                .filter(|&i| {
                    at.line.clause_start(i) <= reading.rule_items.start
                        && i <= at.line.next_comma(reading.rule_items.end)
                })
                .any(|i| kind.not_with.iter().any(|class| cue(&at.line, i, class)))
        {
            return false;
        }
        if correcting && reading.text.is_none() {
            let pieces = || reading.filled.drafts.iter().flat_map(|d| &d.pieces);
            let by_value = reading.rule_items.clone().all(|i| pieces().any(|p| p.items.contains(&i)));
            // "that should read forty oh four": values without a word of their kind mean the entry that was made last.
            if status == Status::Done
                && (by_value
                    && (self.correct_bare_tooth(at, &segment.items) || self.correct_bare(at, &segment.items))
                    || self.correct(at, segment, &reading.filled))
            {
                return true;
            }
        }
        if status == Status::NotDone && self.was_taken_back(at, &segment.items, &reading.filled) {
            return true;
        }
        if rule.yields && status == Status::Done {
            let own: usize = reading.filled.drafts.iter().map(|d| d.pieces.len()).sum();
            let instead = Some((reading.kind, own));
            let announced = self.announced.is_some_and(|(k, breath)| k != reading.kind && breath == at.n);
            if announced && goes_on::as_announced(self, at, &segment.items, sentence)
                || goes_on::continues(self, at, &segment.items, sentence, instead)
                || completes::completes(self, at, &segment.items)
            {
                return true;
            }
        }
        if reading.text.is_none() {
            // Only values, without a word of their kind ("size thirty", "glass ionomer"), complete an earlier breath.
            let pieces = || reading.filled.drafts.iter().flat_map(|d| &d.pieces);
            let by_value = reading.rule_items.clone().all(|i| pieces().any(|p| p.items.contains(&i)));
            let bare = by_value && segment.items.len() <= BARE;
            if completes::belongs(self, at, &segment.items, &reading.filled, status, bare) {
                return true;
            }
        }
        let anew = kind.each_in_its_canal
            && segment.items.clone().any(|i| cue(&at.line, i, "repair") && sentence::takes_back(&at.line, i))
            && reading.filled.drafts.iter().all(|d| d.canal.is_some());
        if (rule.amends || anew) && status == Status::Done && self.settles(at, segment, &reading.filled) {
            return true;
        }
        if kind.recalled && status == Status::Done && self.is_recalled(at, &reading) {
            return false;
        }
        // "complains of pain in tooth 36": the first tooth that is named is the one at work.
        if let Some(items) = self.first_tooth(at, &segment.items).filter(|_| reading.text.is_some()) {
            self.treatment(at, &[Sentence { items, speech: Speech::Treatment, conditional: false }]);
        }
        let drafts = reading.filled.drafts.clone();
        for draft in drafts {
            if status == Status::Done
                && (self.says_better(at, segment, reading.kind, &draft, correcting)
                    || self.says_what_lacked(at, segment, reading.kind, &draft)
                    || self.says_attributes(at, segment, reading.kind, &draft)
                    || self.says_of_named(at, segment, reading.kind, &draft))
            {
                continue;
            }
            self.enter(at, &segment.items, &reading, draft, told);
        }
        true
    }

    /// Makes one entry of a draft.
    fn enter(&mut self, at: &At<'_>, items: &Range<usize>, reading: &Reading, draft: Draft, told: Told) {
        let status = told.status;
        let Some(kind) = self.x.kinds.all.get(reading.kind) else { return };
        let Some(rule) = kind.rules.get(reading.rule) else { return };
        let (said, from_s, to_s) = at.said(items);
        let mut entry = blank(kind.name.clone(), status, rule.id.clone(), said, from_s, to_s);
        let mut why = Why { opened_by: at.said(&reading.rule_items).0, ..Why::default() };
        why.status_by = told.by.map(|i| at.said(&(i..i + 1)).0);
        entry.values.extend(rule.sets.clone());
        why.values.extend(rule.sets.keys().map(|field| (field.clone(), From::Meant)));
        for p in &draft.pieces {
            if let Some(v) = &p.value {
                entry.values.insert(p.field.clone(), v.clone());
                why.values.retain(|(field, _)| *field != p.field);
                why.values.push((p.field.clone(), From::Said(at.said(&p.items).0)));
            }
            for (reason, alternatives) in &p.doubts {
                push_doubt(&mut entry, &p.field, reason, alternatives);
            }
        }
        if let Some(text) = &reading.text
            && let Some(takes) = &rule.takes
        {
            let text = tidy(&at.said(text).0, at, text);
            if !text.is_empty() {
                why.values.push((takes.field.clone(), From::Said(text.clone())));
                entry.values.insert(takes.field.clone(), Value::Text(text));
            }
        }
        for p in &draft.pieces {
            let only = kind.fields.get(&p.field).and_then(|f| f.only_with.as_ref());
            let Some((other, these)) = only else { continue };
            let holds = |v: &Value| v.text().is_some_and(|v| these.iter().any(|t| t == v));
            if entry.values.get(other).is_some_and(|v| !holds(v)) {
                entry.values.shift_remove(&p.field);
                why.values.retain(|(field, _)| *field != p.field);
                let said = at.said(&p.items).0;
                push_doubt(&mut entry, "entry", &format!("the number \"{said}\" found no place"), &[]);
            }
        }
        if let Some((field, reason)) = &rule.doubt
            && !draft.pieces.iter().any(|p| p.field == *field && !rule.sets.contains_key(field))
        {
            push_doubt(&mut entry, field, reason, &[]);
        }
        self.locate(at, &mut entry, &mut why, kind.place, draft.canal.as_ref());
        self.same(at, items, reading.kind, &mut entry, &mut why);
        let found: Vec<_> = draft.pieces.iter().map(|p| (p.field.clone(), p.items.clone())).collect();
        doubts::add(self, at, items, reading.kind, &mut entry, &found);
        let around = at.line.sentence_start(items.start).max(items.start.saturating_sub(NEAR))
            ..at.line.sentence_end(items.end.saturating_sub(1)).min(items.end + NEAR);
        let untold = around
            .clone()
            .filter(|i| !items.contains(i) || !draft.pieces.iter().any(|p| p.items.contains(i)))
            .filter(|&i| matches!(at.line.items.get(i).map(|it| &it.what), Some(What::Word)))
            .filter(|&i| at.placed.get(i) != Some(&true))
            .filter(|&i| !reading.rule_items.contains(&i) && !amend::SMALL.contains(&at.line.text(i)))
            .count();
        for (said, missing, doubt) in &kind.lacks {
            if entry.values.contains_key(said) && !entry.values.contains_key(missing) {
                push_doubt(&mut entry, missing, doubt, &[]);
            }
        }
        doubts::unsure(at, items, reading, &mut entry, &draft);
        doubts::of_several(at, items, reading, &draft, &mut entry);
        doubts::left_and_done(at, items, told, &mut entry);
        doubts::canal_perhaps(self, at, reading, &mut entry);
        doubts::of_two_teeth(self, at, items, kind.place, &mut entry);
        doubts::wary(&self.x.kinds, at, items, reading, &mut entry);
        doubts::denied_beside(self, at, items, reading, &mut entry);
        // "finds them": canals without a name or a number are told of by the way.
        if kind.place == Place::NamesCanals && entry.canal.is_none() && entry.values.is_empty() {
            push_doubt(&mut entry, "entry", "neither a canal nor a number was said", &[]);
        }
        if let Some(rest) =
            kind.rest.as_ref().filter(|f| status == Status::Done && !entry.values.contains_key(*f))
        {
            let more = entry.values.keys().any(|f| !kind.each.contains(f));
            if !more {
                push_doubt(&mut entry, rest, "it was named, and nothing was said of it", &[]);
            }
        }
        if kind.facts {
            self.late(at.n, &mut entry);
        }
        super::own::check(&mut entry, &self.x.own);
        if steps::is_unlikely(at, items, reading, &draft, &entry, untold, kind.place) {
            push_doubt(&mut entry, "entry", "few words speak for this step", &[]);
        }
        if !reading.filled.leftover.is_empty() && reading.text.is_none() {
            for n in &reading.filled.leftover {
                let said = at.said(n).0;
                push_doubt(&mut entry, "entry", &format!("the number \"{said}\" found no place"), &[]);
            }
        }
        // "no perforation, you see, no perforation"
        let again = |i: usize| {
            let same =
                |e: &Entry| e.status == entry.status && e.values == entry.values && e.canal == entry.canal;
            self.notes.get(i).is_some_and(|n| n.breath == at.n && n.kind == reading.kind)
                && self.entries.get(i).is_some_and(same)
        };
        if status == Status::NotDone && self.live().next().is_some_and(again) {
            let last = self.live().next();
            if let Some(last) = last.and_then(|i| self.entries.get_mut(i)) {
                last.said.push_str(" … ");
                last.said.push_str(&entry.said);
            }
            return;
        }
        let numbers = numbers(&at.line, &draft.pieces);
        if kind.beside && around.clone().any(|i| beside::is_of_another(&at.line, i)) {
            push_doubt(&mut entry, "tooth", "another tooth was spoken of", &[]);
        }
        let note = Note { breath: at.n, items: items.clone(), kind: reading.kind, why, numbers };
        match beside::of_step(at, items, &draft).filter(|_| kind.beside) {
            Some(neighbour) => self.push_each(entry, note, at, neighbour),
            None => self.push(entry, note),
        }
    }

    pub(super) fn push(&mut self, mut entry: Entry, note: Note) {
        self.struck = None;
        let in_canal = self.x.kinds.all.get(note.kind).is_some_and(|k| k.place == Place::Canal);
        let new = self.began.as_ref().is_none_or(|(_, tooth)| *tooth != entry.tooth);
        if in_canal && new && entry.status == Status::Done {
            self.began = Some((note.breath, entry.tooth.clone()));
        }
        let kinds = self.x.kinds.clone();
        if let Some(kind) = kinds.all.get(note.kind).filter(|k| k.each_in_its_canal) {
            self.told_otherwise(note.kind, kind, &mut entry);
        }
        self.live.push(self.entries.len());
        entry.id = format!("e{}", self.entries.len() + 1);
        self.entries.push(entry);
        self.notes.push(note);
    }

    /// Entries that are not struck, the last first.
    pub(super) fn live(&self) -> impl Iterator<Item = usize> + '_ {
        self.live.iter().rev().copied()
    }

    /// The last entry that is not struck, which is from now on.
    pub(super) fn strike(&mut self, at_s: f64) -> Option<&mut Entry> {
        let entry = self.entries.get_mut(self.live.pop()?)?;
        entry.review = Review::Struck;
        entry.struck_at_s = Some(at_s);
        Some(entry)
    }

    /// Words without an opener of their own: they correct, complete or continue an earlier entry, or name a canal.
    fn goes_on(
        &mut self,
        at: &mut At<'_>,
        items: &Range<usize>,
        sentence: &Range<usize>,
        correcting: bool,
    ) -> bool {
        if let Some((struck, breath)) = self.struck.take()
            && breath + 1 >= at.n
            && self.instead(at, items, struck)
        {
            return true;
        }
        if correcting && (self.correct_bare_tooth(at, items) || self.correct_bare(at, items)) {
            return true;
        }
        if status::of(&at.line, sentence, items, items.start, self.manner(), false, &|_| false).is_none() {
            return false;
        }
        if goes_on::as_announced(self, at, items, sentence) || beside::as_well(self, at, items) {
            return true;
        }
        if goes_on::continues(self, at, items, sentence, None) || completes::completes(self, at, items) {
            return true;
        }
        self.announce(at, items);
        self.name_canal(at, items);
        false
    }

    /// Every item without a place becomes unplaced speech.
    fn rest(&mut self, at: &At<'_>) {
        let mut i = 0;
        while i < at.placed.len() {
            if at.placed.get(i) == Some(&true) {
                i += 1;
                continue;
            }
            let start = i;
            while i < at.placed.len() && at.placed.get(i) == Some(&false) {
                i += 1;
            }
            let (said, from, to) = at.said(&(start..i));
            // Letters and digits of any script are speech; only punctuation may go.
            if said.chars().any(char::is_alphanumeric) {
                self.leave(from, to, said, None);
            }
        }
    }

    pub(super) fn leave(&mut self, from_s: f64, to_s: f64, said: String, why: Option<String>) {
        self.unplaced.push(Unplaced { from_s, to_s, said, why, more: serde_json::Map::new() });
    }

    pub(super) fn finish(self) -> Extracted {
        Extracted {
            entries: self.entries,
            unplaced: self.unplaced,
            teeth: self.teeth,
            lecture: self.lecture,
            reasons: self.notes.into_iter().map(|n| n.why).collect(),
        }
    }

    pub(super) fn reading_of(&self, at: &At<'_>, items: &Range<usize>, kind: usize) -> Option<Filled> {
        if items.len() > segment::LONGEST {
            return None;
        }
        fill::fill(
            &Stretch {
                line: &at.line,
                kinds: &self.x.kinds,
                hits: &at.hits,
                fields: &at.fields,
                items: items.clone(),
            },
            kind,
        )
    }
}
