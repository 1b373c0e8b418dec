//! What stands in a clause beside the known values: the rest of it as a text, what it rules out, what it explains.

use std::ops::Range;

use super::{
    fill::{Piece, Stretch},
    sentence::cue,
};
use crate::{
    kinds::Kind,
    log::Value,
    words::line::{Line, What},
};

/// What the kind explains without a field for it, beside what has one.
pub(super) fn explained(s: &Stretch<'_>, k: &Kind, pieces: &[Piece]) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    let ruled_out = || k.each.iter().filter_map(|f| k.fields.get(f)).flat_map(|f| &f.but_not);
    if k.explains.is_empty() && ruled_out().next().is_none() {
        return out;
    }
    for i in s.items.clone() {
        let free = |m: &Range<usize>| {
            m.end <= s.items.end
                && out.last().is_none_or(|o| o.end <= m.start)
                && pieces.iter().all(|p| p.items.end <= m.start || m.end <= p.items.start)
        };
        let found =
            k.explains.iter().chain(ruled_out()).filter_map(|p| p.at(s.line, i)).map(|m| m.start..m.end);
        out.extend(found.filter(|m| m.start >= s.items.start && free(m)).max_by_key(|m| m.end));
    }
    out
}

/// "thirty goes past, thirty five too, forty binds": what was tried and is not meant goes, where something else is meant; and
/// what is said twice is one.
pub(super) fn without_ruled_out(line: &Line, k: &Kind, pieces: &mut Vec<Piece>) {
    if k.fields.values().all(|f| f.but_not.is_empty()) {
        return;
    }
    let ruled_out = |p: &Piece| {
        let not = k.fields.get(&p.field).into_iter().flat_map(|f| &f.but_not);
        p.lead && not.into_iter().any(|n| n.at(line, p.items.end).is_some())
    };
    // "by paper point, the apex locator was unreliable"
    let beside = |p: &Piece| {
        let not = k.fields.get(&p.field).into_iter().flat_map(|f| &f.but_not);
        !p.lead && not.into_iter().any(|n| n.at(line, p.items.end).is_some())
    };
    pieces.retain(|p| !beside(p));
    let out: Vec<bool> = pieces.iter().map(ruled_out).collect();
    let meant = pieces.iter().zip(&out).any(|(p, out)| p.lead && !out);
    if !meant || !out.contains(&true) {
        return;
    }
    let mut seen: Vec<Option<Value>> = vec![];
    let mut n = 0;
    pieces.retain(|p| {
        let is_out = out.get(n) == Some(&true);
        n += 1;
        let again = p.lead && !is_out && seen.contains(&p.value);
        if p.lead && !is_out {
            seen.push(p.value.clone());
        }
        !is_out && !again
    });
}

/// No result is longer.
const LONGEST_REST: usize = 12;
/// Words that belong to no result at its ends.
const SMALL: &[&str] = &[
    "is", "was", "were", "are", "and", "the", "test", "testing", "s", "on", "it", "him", "her", "then",
    "but", "also", "too",
];
/// "cold packs for six hours", "she got to eighty": told of something else.
const OF_OTHERS: &[&str] =
    &["he", "she", "they", "packs", "pack", "compress", "drinks", "food", "things", "water"];

/// "palpation a bit iffy over the apex": where a clause begins with what leads an entry and holds nothing else that is known,
/// the rest of it is the value of the field that takes the rest.
pub(super) fn rest_of_clauses(s: &Stretch<'_>, k: &Kind, pieces: &mut Vec<Piece>) {
    let Some(field) = &k.rest else { return };
    let line = s.line;
    let small = |i: usize| {
        line.items.get(i).is_some_and(|it| it.what == What::Mark)
            || line.term(i, "fillers").is_some()
            || line.is_one_of(i, SMALL)
    };
    let ends = |i: usize| [",", ".", ";"].iter().any(|m| line.is_mark(i, m)) || line.ends_sentence(i);
    let leads: Vec<Range<usize>> = pieces.iter().filter(|p| p.lead).map(|p| p.items.clone()).collect();
    let mut more = Vec::new();
    for (n, lead) in leads.iter().enumerate() {
        let next = leads.get(n + 1).map_or(s.items.end, |l| l.start);
        let sentence = line.sentence_start(lead.start).max(lead.start.saturating_sub(2 * LONGEST_REST));
        let from = (sentence..lead.start).rev().find(|&i| ends(i)).map_or(sentence, |i| i + 1);
        let opens = (from..lead.start).all(small);
        let end = (lead.end..next).find(|&i| i > lead.end && ends(i)).unwrap_or(next);
        let Some(first) = (lead.end..end).find(|&i| !small(i)) else { continue };
        let last = (first..end).rev().find(|&i| !small(i)).unwrap_or(first);
        let taken = pieces.iter().any(|p| !p.lead && p.items.start < end && p.items.end > from);
        let other = |i: usize| {
            line.is_one_of(i, OF_OTHERS)
                || cue(line, i, "repair")
                || cue(line, i, "repair-after")
                || cue(line, i, "negation-after")
                || cue(line, i, "plan-after")
        };
        // "heat test on the seven": a tooth, no result.
        let pointed =
            first == last && line.atom(first).is_some() && first > 0 && line.is_word(first - 1, "the");
        let denied = (first..=last).any(other) || pointed;
        if opens && !taken && !denied && last - first < LONGEST_REST {
            let said = line.spoken(first, last + 1);
            more.push(Piece {
                field: field.clone(),
                value: Some(Value::Text(said)),
                same: false,
                items: first..last + 1,
                doubts: vec![],
                weight: 1,
                lead: false,
            });
        }
    }
    pieces.extend(more);
    pieces.sort_by_key(|p| p.items.start);
}
