//! Every place of a line where a rule or a field of any kind is heard.

use std::ops::Range;

use crate::{
    kinds::{
        Is, Kinds,
        pattern::{Candidates, Index, Match},
    },
    words::{line::Line, slot::Slot},
};

/// A pattern that was heard.
#[derive(Debug, Clone)]
pub struct Hit {
    /// Item range.
    pub first: usize,
    pub end: usize,
    pub kind: usize,
    pub of: Of,
    pub found: Match,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    Rule(usize),
    /// Field and which of its ways of being said.
    Field(usize, usize),
}

/// Where a pattern stands in the kinds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PatternId {
    kind: u16,
    of: Of,
    pattern: u16,
}

/// All patterns of all kinds, by what they start with.
pub fn index(kinds: &Kinds) -> Index<PatternId> {
    let mut index = Index::default();
    let small = |n: usize| u16::try_from(n).unwrap_or(u16::MAX);
    for (k, kind) in kinds.all.iter().enumerate() {
        for (r, rule) in kind.rules.iter().enumerate() {
            for (p, pattern) in rule.hear.iter().enumerate() {
                index.add(pattern, PatternId { kind: small(k), of: Of::Rule(r), pattern: small(p) });
            }
        }
        for (f, field) in kind.fields.values().enumerate() {
            for (h, heard) in field.hear.iter().enumerate() {
                index.add(&heard.pattern, PatternId { kind: small(k), of: Of::Field(f, h), pattern: 0 });
            }
        }
    }
    index
}

/// All hits, by their first item.
pub fn find(
    line: &Line,
    kinds: &Kinds,
    index: &Index<PatternId>,
    near: &mut Candidates<PatternId>,
) -> Vec<Hit> {
    let mut hits = Vec::with_capacity(4 * line.items.len());
    index.look_over(line, near);
    for i in 0..line.items.len() {
        index.candidates(line, i, near);
        for id in &near.ids {
            let kind = usize::from(id.kind);
            let Some(k) = kinds.all.get(kind) else { continue };
            let found = match id.of {
                Of::Rule(r) => k
                    .rules
                    .get(r)
                    .and_then(|rule| {
                        let m = rule.hear.get(usize::from(id.pattern))?.at(line, i)?;
                        (!rule.starts || line.opens_sentence(i)).then_some(m)
                    })
                    .filter(|m| {
                        k.rules.get(r).is_none_or(|rule| {
                            !rule.whole || line.opens_sentence(i) && line.closes_sentence(m.end)
                        })
                    }),
                Of::Field(f, h) => {
                    k.fields.get_index(f).and_then(|(_, field)| field.hear.get(h)?.pattern.at(line, i))
                }
            };
            if let Some(found) = found.filter(|m| m.end > m.start) {
                hits.push(Hit { first: found.start, end: found.end, kind, of: id.of, found });
            }
        }
    }
    hits.sort_by_key(|h| h.first);
    hits
}

/// Those of hits in their order that start within a range of items.
pub fn within<'h>(hits: &'h [Hit], items: &Range<usize>) -> impl Iterator<Item = &'h Hit> + use<'h> {
    let end = items.end;
    let first = hits.partition_point(|h| h.first < items.start);
    hits.iter().skip(first).take_while(move |h| h.first < end)
}

/// The value that a field hit gives: its fixed value, or what its own slot or vocabulary found.
pub fn value(hit: &Hit, kinds: &Kinds) -> Option<crate::log::Value> {
    use crate::log::Value;
    let Of::Field(f, h) = hit.of else { return None };
    let (_, field) = kinds.all.get(hit.kind)?.fields.get_index(f)?;
    if let Some(v) = &field.hear.get(h)?.gives {
        return Some(v.clone());
    }
    match &field.is {
        Is::Number(Slot::Tooth) => {
            let number = hit.found.readings.first().and_then(|(_, r)| r.text.as_deref());
            super::tooth::from_terms(&hit.found.terms, number)
                .or_else(|| number.map(str::to_owned))
                .map(Value::Text)
        }
        Is::Number(slot) => {
            let (_, reading) =
                hit.found.readings.iter().find(|(s, _)| s == slot).or_else(|| hit.found.readings.first())?;
            Some(reading.text.clone().map_or(Value::Number(reading.value), Value::Text))
        }
        Is::Term(vocabulary) => {
            let tag = hit.found.terms.iter().find(|t| *t.vocabulary == **vocabulary)?;
            Some(Value::Text(tag.value.as_ref().to_owned()))
        }
        Is::Text => {
            let (_, reading) = hit.found.readings.first()?;
            Some(Value::Text(reading.text.clone().unwrap_or_else(|| reading.value.to_string())))
        }
    }
}

/// Items inside a number that several atoms make together ("twenty five oh six"): nothing may start there.
pub(super) fn insides(line: &Line) -> Vec<bool> {
    let mut inside = vec![false; line.items.len()];
    let mut i = 0;
    while i < line.items.len() {
        let end = [Slot::Size, Slot::Mm, Slot::Ratio]
            .into_iter()
            .filter_map(|s| line.reading(s, i))
            .map(|r| r.end)
            .max();
        let atoms = |e: usize| (i..e).filter(|&k| line.atom(k).is_some()).count();
        match end.filter(|e| atoms(*e) > 1) {
            Some(end) => {
                for x in inside.get_mut(i + 1..end).into_iter().flatten() {
                    *x = true;
                }
                i = end;
            }
            None => i += 1,
        }
    }
    inside
}
