//! List items, and which attributes and canals belong to which.

use super::{
    canals::{Mention, by_clause, group, merge, pair_canals, share_canals},
    fill::{Draft, Piece},
};
use crate::{
    kinds::{Kind, Place},
    log::Value,
    words::{Decimal, line::Line},
};

/// List items, and which attributes and canals belong to which.
pub(super) fn drafts(line: &Line, k: &Kind, pieces: Vec<Piece>, mentions: Vec<Mention>) -> Vec<Draft> {
    let mut leads: Vec<usize> = pieces.iter().filter(|p| p.lead).map(|p| p.items.start).collect();
    leads.dedup();
    let mut pieces = pieces;
    let mut groups = group(line, &mentions, &leads);
    let alone = mentions.iter().all(|m| m.names.len() == 1);
    if k.each_in_its_canal && leads.len() > groups.len().max(1) && !(alone && mentions.len() == leads.len()) {
        one_of(&mut pieces, &leads);
        leads.truncate(1);
        groups = group(line, &mentions, &leads);
    }
    if leads.len() < 2 {
        let canal = merge(&groups);
        return vec![Draft { pieces, canal }];
    }
    let first_lead = leads.first().copied().unwrap_or(0);
    let last_lead = leads.last().copied().unwrap_or(0);
    let between = pieces.iter().any(|p| !p.lead && p.items.start > first_lead && p.items.start < last_lead);
    // "tried the thirty, loose, the thirty five has tug-back": something is told of the one before.
    let tells = |i: usize| {
        super::sentence::cue(line, i, "negation")
            || line.is_one_of(i, &["but", "loose", "stuck", "tight", "refused", "failed"])
    };
    let between = between || (first_lead + 1..last_lead).any(tells);
    let between_numbers = |pieces: &[Piece]| {
        let within = first_lead + 1..last_lead;
        let number = |x: &Piece| x.items.clone().any(|i| line.atom(i).is_some());
        pieces.iter().any(|x| !x.lead && within.contains(&x.items.start) && number(x))
    };
    let mut out: Vec<Draft> = leads.iter().map(|_| Draft::default()).collect();
    let again = told_again(line, &pieces, &leads);
    for p in &pieces {
        let at = p.items.start;
        if let Some((_, of)) = again.filter(|(n, _)| leads.get(*n).is_some_and(|l| *l < at)) {
            if let Some(draft) = out.get_mut(of).filter(|_| !p.lead) {
                draft.pieces.push(p.clone());
            }
            continue;
        }
        if let Some(n) = ahead(&pieces, &leads, p) {
            if let Some(draft) = out.get_mut(n) {
                draft.pieces.push(p.clone());
            }
            continue;
        }
        // "tender to percussion": what stands before "to" belongs to what stands behind it.
        let next = p.items.end + usize::from(line.is_word(p.items.end + 1, "the")) + 1;
        // "cold, um, nothing, electric also nothing"
        let own = (0..p.items.start).rev().find(|&i| line.term(i, "fillers").is_none()).map_or(0, |i| i + 1);
        let beside = leads.contains(&p.items.end) && !pieces.iter().any(|x| x.lead && x.items.end == own);
        let to_next = line.is_word(p.items.end, "to") || line.is_word(p.items.end, "on");
        // "tender to percussion" may be heard whole.
        let within = |l: usize| p.items.contains(&l) && l > at;
        let of_next = leads
            .iter()
            .position(|l| to_next && *l == next || within(*l) || beside && *l == p.items.end)
            .filter(|_| !p.lead);
        // "gates two and three", "K-file eight, ten": said once, with the first of the list, it is said of all.
        let word = p.value.as_ref().is_some_and(|v| v.text().is_some());
        let once = word
            && !p.lead
            && (at == first_lead
                || beside && p.items.end == first_lead
                || pieces.iter().any(|x| {
                    let number = x.value.as_ref().is_some_and(|v| v.number().is_some());
                    x.lead
                        && number
                        && x.items.start == first_lead
                        && (x.items.end == at || x.items.contains(&at))
                }))
            && pieces.iter().filter(|x| x.field == p.field).count() == 1;
        let own = of_next.or_else(|| leads.iter().rposition(|l| *l <= at)).filter(|_| !once);
        // "…, last one a half short"
        let last_only = (at.saturating_sub(3)..at).any(|i| line.holds(i, "last"));
        let spread = (p.items.start.saturating_sub(2)..p.items.start)
            .any(|i| i < line.items.len() && matches!(line.term(i, "canals"), Some("all?" | "all")));
        // "ten K file, fifteen K file, to length": what has a clause of its own behind the list is said of all of it.
        // Nothing but "and" and the names of the instruments stands within the list.
        let plain = |i: usize| {
            let small = line.is_one_of(i, &["and", "a", "an", "the", "size", "number"]);
            small || line.term(i, "fillers").is_some() || pieces.iter().any(|x| x.items.contains(&i))
        };
        let one_list = || (first_lead..last_lead).all(plain) && !between_numbers(&pieces);
        let of_all = !p.lead
            && (line.clause_start(at) > last_lead
                || line.clause_start(first_lead) == line.clause_start(at) && one_list())
            && at > last_lead
            && p.value.as_ref().and_then(Value::number).is_none_or(|n| n == Decimal::ZERO)
            && p.items.clone().all(|i| line.atom(i).is_none())
            && pieces.iter().filter(|x| x.field == p.field).count() == 1;
        let of_list = k.fields.get(&p.field).is_some_and(|f| f.of_list)
            && at > last_lead
            && pieces.iter().filter(|x| x.field == p.field).count() == 1;
        // "MB and ML 19.5, distal 20.5 off the distobuccal cusp": of the canal that it lies at.
        let of_last_canal = at > last_lead && own_reference(line, p, &mentions, last_lead);
        let of_all = (of_all || of_list) && !of_last_canal;
        for (n, draft) in out.iter_mut().enumerate() {
            let takes = if last_only || of_last_canal {
                own == Some(n)
            } else if of_all {
                true
            } else if p.lead {
                own == Some(n)
            } else if own.is_none() || spread {
                true
            } else if own == Some(leads.len() - 1) {
                own == Some(n) || !between
            } else {
                own == Some(n)
            };
            if takes && !(own != Some(n) && draft.pieces.iter().any(|x| x.field == p.field)) {
                draft.pieces.push(p.clone());
            }
        }
    }
    if let Some((n, _)) = again {
        leads.truncate(n);
        out.truncate(n);
    }
    if k.place != Place::Tooth
        && !by_clause(line, &mentions, &leads, &mut out)
        && !pair_canals(line, k, &mentions, &leads, &mut out)
    {
        share_canals(&groups, &leads, &mut out);
    }
    out
}

/// Is this a reference that lies at the last canal of a list, and at none of the others?
fn own_reference(line: &Line, piece: &Piece, mentions: &[Mention], last_lead: usize) -> bool {
    let value = piece
        .value
        .as_ref()
        .and_then(Value::text)
        .filter(|_| line.term(piece.items.end - 1, "references").is_some());
    let Some(first) = value.and_then(|v| v.chars().next()) else { return false };
    let at = |m: &Mention| m.names.iter().all(|n| n.to_lowercase().starts_with(first));
    let behind = (last_lead..piece.items.start)
        .all(|i| !line.is_mark(i, ",") && !matches!(line.term(i, "canals"), Some("all" | "all?")));
    let last = mentions.iter().rfind(|m| m.items.start < piece.items.start);
    let near = last.is_some_and(|m| m.items.end + 4 >= last_lead && at(m));
    behind && near && mentions.len() > 1 && !mentions.iter().take(mentions.len() - 1).any(at)
}

/// "30/04, 40/04. 40 is half a millimetre short.": what is told of an item of the list, once more. Which item tells it, and
/// of which.
fn told_again(line: &Line, pieces: &[Piece], leads: &[usize]) -> Option<(usize, usize)> {
    let n = leads.len().checked_sub(1)?;
    let lead = |at: usize| pieces.iter().find(|p| p.lead && p.items.start == at && p.field != "taper");
    let last = lead(*leads.last()?)?;
    let is = line.is_one_of(last.items.end, &["is", "was", "goes", "went"]);
    let same = |at: &usize| lead(*at).is_some_and(|p| p.field == last.field && p.value == last.value);
    let of = leads.get(..n)?.iter().rposition(same).filter(|_| is)?;
    Some((n, of))
}

/// "tender to percussion, not tender to palpation": each list item has its value of this field before it. Gives the list
/// item that the piece belongs to.
fn ahead(pieces: &[Piece], leads: &[usize], piece: &Piece) -> Option<usize> {
    let of_field: Vec<usize> =
        pieces.iter().filter(|p| p.field == piece.field && !p.lead).map(|p| p.items.start).collect();
    let each_before = of_field.len() == leads.len()
        && of_field.iter().zip(leads).all(|(field, lead)| field < lead)
        && of_field.iter().skip(1).zip(leads).all(|(field, lead)| field > lead);
    if !each_before {
        return None;
    }
    of_field.iter().position(|f| *f == piece.items.start)
}

/// Several numbers for one thing ("twenty four, um, twenty four and a half"): the last stands, with a doubt.
fn one_of(pieces: &mut Vec<Piece>, leads: &[usize]) {
    let Some(last) = leads.last() else { return };
    let others: Vec<Value> =
        pieces.iter().filter(|p| p.lead && p.items.start != *last).filter_map(|p| p.value.clone()).collect();
    pieces.retain(|p| !p.lead || p.items.start == *last);
    for p in pieces.iter_mut().filter(|p| p.lead) {
        let others = others.iter().filter(|o| p.value.as_ref() != Some(o)).cloned().collect();
        p.doubts.push(("several numbers were said".to_owned(), others));
    }
}
