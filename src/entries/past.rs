//! What is told of earlier visits and other dentists.

use std::ops::Range;

use super::{
    hits::{self, Hit, Of},
    segment::{Reading, Segment},
    sentence::cue,
    session::{At, Note, SURE, Session, blank, push_doubt, tidy},
    status::Manner,
    why::Why,
};
use crate::{
    kinds::Place,
    log::{Entry, Status, Value},
};

impl Session<'_> {
    /// "if the needle binds, pull it back a little", in a lecture: what is spoken of stands in the condition.
    pub(super) fn under_a_condition(
        &mut self,
        at: &mut At<'_>,
        condition: &Range<usize>,
        items: Range<usize>,
    ) {
        const CLEAR: f32 = 1.3;
        if !self.lecture {
            return;
        }
        let rule = |h: &Hit| match h.of {
            Of::Rule(r) => {
                let kind = self.x.kinds.all.get(h.kind)?;
                let rule = kind.rules.get(r)?;
                let fits = kind.place == Place::Canal
                    && rule.takes.is_none()
                    && !kind.never.contains(&Status::Conditional);
                (fits && rule.weight >= CLEAR).then_some((h.kind, r, rule.weight))
            }
            Of::Field(..) => None,
        };
        let best = hits::within(&at.hits, condition).filter_map(rule).max_by(|a, b| a.2.total_cmp(&b.2));
        let Some((k, r, _)) = best else { return };
        let Some((kind, rule)) = self.x.kinds.all.get(k).and_then(|kind| Some((kind, kind.rules.get(r)?)))
        else {
            return;
        };
        let (said, from_s, to_s) = at.said(&items);
        let mut entry = blank(kind.name.clone(), Status::Conditional, rule.id.clone(), said, from_s, to_s);
        let mut why = Why { opened_by: at.said(condition).0, ..Why::default() };
        self.locate(at, &mut entry, &mut why, kind.place, None);
        self.push(entry, Note { breath: at.n, items: items.clone(), kind: k, why, numbers: vec![] });
        at.place(items);
    }

    /// "I explained it stays inside, and she accepted": words that make a text one of another kind.
    pub(super) fn turned(&self, at: &At<'_>, segment: &Segment, reading: Reading) -> Reading {
        let kinds = &self.x.kinds.all;
        let rule = kinds.get(reading.kind).and_then(|k| k.rules.get(reading.rule));
        let Some((class, id)) = rule.and_then(|r| r.turns.as_ref()) else { return reading };
        let holds = segment.items.clone().any(|i| cue(&at.line, i, class));
        let other = kinds
            .iter()
            .enumerate()
            .find_map(|(k, kind)| Some((k, kind.rules.iter().position(|r| r.id == *id)?)));
        match other.filter(|_| holds) {
            Some((kind, rule)) => Reading { kind, rule, text: Some(segment.items.clone()), ..reading },
            None => reading,
        }
    }

    /// A sentence about an earlier visit.
    pub(super) fn past(&mut self, at: &mut At<'_>, items: &Range<usize>) {
        // "six percent of the blocks last year had a ledge": nobody's history.
        if self.manner() == Manner::Theory {
            return;
        }
        // "I skipped that on his wife last year": nothing of this tooth.
        if items.clone().any(|i| cue(&at.line, i, "elsewhere")) {
            return;
        }
        let trade = hits::within(&at.hits, items).any(|h| matches!(h.of, Of::Rule(_)))
            || items.clone().any(|i| at.line.term(i, "trade").is_some());
        let Some((k, r)) = self
            .x
            .kinds
            .all
            .iter()
            .enumerate()
            .find_map(|(k, kind)| kind.rules.iter().position(|r| r.past).map(|r| (k, r)))
            .filter(|_| trade)
        else {
            return;
        };
        // "Complaint: hit two weeks ago": a sure word of the same kind says what is told.
        let sure = hits::within(&at.hits, items).find_map(|h| match h.of {
            Of::Rule(other) if h.kind == k => {
                let rule = self.x.kinds.all.get(k)?.rules.get(other)?;
                (rule.takes.is_some() && rule.weight >= SURE).then_some(other)
            }
            _ => None,
        });
        let r = sure.unwrap_or(r);
        let Some(rule) = self.x.kinds.all.get(k).and_then(|kind| kind.rules.get(r)) else { return };
        let (said, from_s, to_s) = at.said(items);
        let Some(name) = self.x.kinds.all.get(k).map(|k| k.name.clone()) else { return };
        let mut entry = blank(name, Status::Done, rule.id.clone(), said.clone(), from_s, to_s);
        entry.values.extend(rule.sets.clone());
        if let Some(takes) = &rule.takes {
            entry.values.insert(takes.field.clone(), Value::Text(tidy(&said, at, items)));
        }
        let mut why = Why { opened_by: said, ..Why::default() };
        self.locate(at, &mut entry, &mut why, Place::Tooth, None);
        self.late(at.n, &mut entry);
        let measured =
            |i: usize| at.line.atom(i).is_some() && matches!(at.line.unit(i + 1), Some("mm" | "mil"));
        if items.clone().any(measured) {
            push_doubt(&mut entry, "entry", "a measure was told with it; it may be of today", &[]);
        }
        self.push(entry, Note { breath: at.n, items: items.clone(), kind: k, why, numbers: vec![] });
        at.place(items.clone());
    }

    /// "Remark: the referring dentist wants the film": words that surely open a text of another kind than the past.
    pub(super) fn opens_a_text(&self, at: &At<'_>, items: &Range<usize>) -> bool {
        let opens = |h: &Hit| {
            let kind = self.x.kinds.all.get(h.kind);
            match h.of {
                Of::Rule(r) => kind.is_some_and(|k| {
                    k.rules.iter().all(|r| !r.past)
                        && k.rules.get(r).is_some_and(|r| r.takes.is_some() && r.weight >= SURE)
                }),
                Of::Field(..) => false,
            }
        };
        hits::within(&at.hits, &(items.start..items.start + 1)).any(opens)
    }
    /// What a patient came with is told before the work: behind it, it may be something else.
    pub(super) fn late(&self, breath: usize, entry: &mut Entry) {
        let begun = self.began.as_ref().is_some_and(|(at, tooth)| *at < breath && *tooth == self.tooth);
        if begun {
            push_doubt(entry, "entry", "told after the work in the canals had begun", &[]);
        }
    }
}
