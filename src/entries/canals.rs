//! Canals named in a stretch, and which of them each value of a list belongs to.

use std::ops::Range;

use super::{
    fill::{Draft, Named, Piece, Stretch, repaired},
    sentence::cue,
};
use crate::{
    kinds::{Is, Kind, Place},
    log::{Canal, Value},
    words::{
        Decimal,
        line::{Line, What},
        slot::Slot,
    },
};

/// "both": the canals of the list just named, else all.
pub(super) const BOTH: &str = "both";
/// "the other three"; the names that stand with it are those that are not meant.
pub(super) const OTHERS: &str = "others";
/// So far behind a list "respectively" and "in that order" are looked for.
const NEAR: usize = 12;

/// A named canal in the line.
#[derive(Debug, Clone)]
pub(super) struct Mention {
    pub(super) items: Range<usize>,
    pub(super) names: Vec<String>,
}

pub(super) fn mentions(s: &Stretch<'_>, kind: usize, pieces: &[Piece]) -> Vec<Mention> {
    let line = s.line;
    let mut out: Vec<Mention> = Vec::new();
    for i in s.items.clone() {
        let Some(value) = line.term(i, "canals").filter(|_| !is_side(line, i)) else { continue };
        let fluids =
            s.kinds.all.get(kind).is_some_and(|k| k.fields.values().any(|f| f.is == Is::Number(Slot::Ml)));
        let unit = line.unit(i).is_some_and(|u| u != "ml" || fluids);
        // "ML same as MB": whose values are meant.
        let small = usize::from(i > 0 && line.is_word(i - 1, "the"));
        let compared =
            i > 1 + small && line.is_word(i - 1 - small, "as") && line.term(i - 2 - small, "same").is_some();
        if compared {
            continue;
        }
        // "another ml"
        if unit && i > 0 && (line.atom(i - 1).is_some() || cue(line, i - 1, "again")) {
            continue;
        }
        let names_canals = s.kinds.all.get(kind).is_some_and(|k| k.place == Place::NamesCanals);
        // "each canal" says how an amount is meant, and which canals; "buccal" in "buccal cusp" names none.
        let number = |p: &Piece| p.value.as_ref().is_some_and(|v| v.number().is_some());
        let part = |p: &Piece| p.items.contains(&i) && p.items != (i..i + 1) && !number(p);
        if !names_canals && pieces.iter().any(part) {
            continue;
        }
        let names: Vec<String> = match value {
            "all?" => {
                // "both to length" after a list means its items; "both", "in all" alone mean the canals.
                let before = i.checked_sub(1).map(|b| line.text(b)).unwrap_or_default();
                let after = line.text(i + 1);
                let alone = i + 1 >= s.items.end
                    || line.items.get(i + 1).is_some_and(|it| it.what == What::Mark)
                    || matches!(before, "in" | "into" | "to" | "for" | "with" | "of" | "on")
                    || matches!(
                        after,
                        "with" | "at" | "dried" | "patent" | "obturated" | "filled" | "were" | "are" | "to"
                    );
                // "apex locator and radiograph, both": the two that were just named.
                let of_two = |p: &Piece| {
                    p.items.end <= i
                        && (p.items.end..i).all(|k| line.is_mark(k, ","))
                        && !number(p)
                        && (p.items.clone().any(|k| line.is_word(k, "and"))
                            || p.items.start > 1 && line.is_word(p.items.start - 1, "and")
                            || line.spoken(p.items.start, p.items.end).contains(" and "))
                };
                if pieces.iter().any(of_two) {
                    continue;
                }
                let mut leads = pieces.iter().filter(|p| p.lead).map(|p| p.items.start);
                let first = leads.next();
                let in_list = leads.any(|l| Some(l) != first) || !out.is_empty();
                // "five mils in all": altogether.
                let altogether = before == "in"
                    && i > 1
                    && (line.unit(i - 2).is_some() || line.term(i - 2, "counted").is_some())
                    && line.text(i) == "all";
                if !alone || in_list || altogether {
                    continue;
                }
                vec![BOTH.to_owned()]
            }
            // "everything except the distal", "the other three": which these are the session knows.
            "others?" => {
                let excepted = line
                    .term(i + 1, "canals")
                    .or_else(|| line.term(i + 2, "canals").filter(|_| line.is_word(i + 1, "the")));
                let of = excepted.into_iter().flat_map(|c| c.split('+')).filter(|c| !c.ends_with('?'));
                std::iter::once(OTHERS.to_owned()).chain(of.map(str::to_owned)).collect()
            }
            "all" if names_canals && line.items.get(i).is_some_and(|it| it.end == it.first + 1) => continue,
            v => v.split('+').map(str::to_owned).collect(),
        };
        // "all of them with a ten except the distal"
        if is_excepted(line, i) && names.iter().all(|n| n != OTHERS && n != "all" && n != BOTH) {
            let wide = |m: &Mention| m.names.iter().all(|n| n == "all" || n == BOTH);
            let others = std::iter::once(OTHERS.to_owned()).chain(names);
            match out.last_mut() {
                Some(last) if last.names.first().is_some_and(|n| n == OTHERS) => {
                    last.names.extend(others.skip(1));
                }
                Some(last) if wide(last) => {
                    *last = Mention { items: last.items.clone(), names: others.collect() }
                }
                _ => out.push(Mention { items: i..i + 1, names: others.collect() }),
            }
            continue;
        }
        // "mesiobuccal, mesiolingual and distal canals": the word counts them all.
        let listed = out.len() > 1
            && names == ["DB", "DL"]
            && line.holds(i, "canals")
            && out.iter().all(|m| m.names.len() == 1)
            && line.is_word(i - 1, "and");
        let names = if listed { vec!["D".to_owned()] } else { names };
        // What is excepted is no canal of its own.
        let of_others = |m: &Mention| m.names.first().is_some_and(|n| n == OTHERS) && m.items.end + 1 >= i;
        if names.iter().all(|n| n != OTHERS) && out.last().is_some_and(|m| of_others(m) && m.names.len() > 1)
        {
            continue;
        }
        out.push(Mention { items: i..i + 1, names });
    }
    // "not the mesiobuccal, the distobuccal": the later stands.
    let denied = |m: &Mention| {
        let at = m.items.start;
        at > 0 && line.is_word(at - 1, "not")
            || at > 1 && line.is_word(at - 2, "not") && line.is_word(at - 1, "the")
    };
    if out.len() > 1 && out.iter().any(|m| !denied(m)) {
        out.retain(|m| !denied(m));
    }
    // "mesiobuccal, no, mesiolingual": the later stands.
    let mut i = 0;
    while i + 1 < out.len() {
        let gap = out.get(i).map_or(0, |m| m.items.end)..out.get(i + 1).map_or(0, |m| m.items.start);
        let number_between = gap.clone().any(|x| line.atom(x).is_some());
        if !number_between && repaired(line, gap) {
            out.remove(i);
        } else {
            i += 1;
        }
    }
    out
}

/// "all but the ML", "everything except the distal", "apart from MB": is the canal at `i` the one that is not meant?
pub(super) fn is_excepted(line: &Line, i: usize) -> bool {
    const NEAR: usize = 8;
    let first = (i.saturating_sub(2)..i).find(|&k| (k..i).all(|b| line.is_word(b, "the"))).unwrap_or(i);
    let word = |back: usize, w: &str| first.checked_sub(back).is_some_and(|k| line.holds(k, w));
    let pairs =
        [("apart", "from"), ("other", "than"), ("exception", "of"), ("except", "for"), ("but", "for")];
    let all = |back: usize| {
        ["all", "everything", "everywhere"].iter().any(|w| word(back, w))
            || first.checked_sub(back).is_some_and(|k| matches!(line.term(k, "canals"), Some("all" | "all?")))
    };
    let ends = line.items.get(i + 1).is_none_or(|it| it.what == What::Mark);
    ["except", "excepting", "excluding", "bar", "barring", "save"].iter().any(|w| word(1, w))
        || pairs.iter().any(|(a, b)| word(1, b) && (word(2, a) || word(1, a)))
        || word(1, "but")
            && (all(2)
                || ends && (3..NEAR).take_while(|&k| first >= k && !line.is_mark(first - k, ",")).any(all))
}

/// "palatal access", "a millimetre palatal to the line": a side of the tooth, no canal.
pub(super) fn is_side(line: &Line, i: usize) -> bool {
    const OF_SIDE: &[&str] = &[
        "access", "approach", "wall", "walls", "aspect", "surface", "gingiva", "mucosa", "gum", "swelling",
        "sulcus", "side", "plate", "bone", "flap", "groove", "ridge", "margin", "contact", "caries",
        "filling", "box", "cusp", "tissue",
    ];
    let place = ["line", "main", "first", "other", "groove", "mesiobuccal"];
    let further = ["further", "more", "slightly", "towards", "toward", "bit"];
    line.is_one_of(i + 1, OF_SIDE)
        || i > 2
            && line.is_word(i - 1, "the")
            && line.is_word(i - 2, "to")
            && line.is_one_of(i - 3, &["over", "way", "close", "up", "across", "near", "far"])
        || i > 0 && line.is_one_of(i - 1, &further)
        || line.is_word(i + 1, "to")
            && line.is_word(i + 2, "the")
            && (line.is_one_of(i + 3, &place) || line.term(i + 3, "canals").is_some())
}

/// "MB, ML, distal, nineteen, eighteen and a half, twenty": as many canals as values, first all of these and then all of
/// those.
pub(super) fn pair_canals(
    line: &Line,
    k: &Kind,
    mentions: &[Mention],
    leads: &[usize],
    out: &mut [Draft],
) -> bool {
    let (Some(first), Some(last)) = (leads.first(), leads.last()) else { return false };
    let before = mentions.iter().filter(|m| m.items.end <= *first).count();
    let after = mentions.iter().filter(|m| m.items.start > *last).count();
    if mentions.len() != leads.len() || mentions.len() < 2 {
        return false;
    }
    let near = *first..line.sentence_end(*last).min(*last + NEAR);
    let in_order = near.into_iter().any(|i| {
        line.is_word(i, "respectively") || line.is_word(i, "order") && i > 0 && !line.is_word(i - 1, "in")
    });
    let alone = mentions.iter().all(|m| m.names.len() == 1);
    let side = before == mentions.len() || after == mentions.len();
    if !(alone && side && (in_order || k.each_in_its_canal)) {
        return false;
    }
    for (m, draft) in mentions.iter().zip(out) {
        draft.canal = Some(Named { canal: canal(m.names.clone()), items: m.items.clone(), unsure: false });
    }
    true
}

/// "twenty five oh four MB, D forty oh four": each clause between commas has one value and its own canal.
pub(super) fn by_clause(line: &Line, mentions: &[Mention], leads: &[usize], out: &mut [Draft]) -> bool {
    let clause = |i: usize| line.clause_start(i);
    let one_each = leads.windows(2).all(|w| matches!(w, [a, b] if clause(*a) != clause(*b)));
    let of = |lead: usize| mentions.iter().filter(move |m| clause(m.items.start) == clause(lead));
    let covered = mentions.iter().all(|m| leads.iter().any(|l| clause(*l) == clause(m.items.start)));
    if !one_each || !covered || leads.iter().any(|l| of(*l).count() != 1) {
        return false;
    }
    for (lead, draft) in leads.iter().zip(out) {
        if let Some(m) = of(*lead).next() {
            draft.canal =
                Some(Named { canal: canal(m.names.clone()), items: m.items.clone(), unsure: false });
        }
    }
    true
}

/// Canal mentions that stand together with no list item between.
pub(super) fn group(line: &Line, mentions: &[Mention], leads: &[usize]) -> Vec<Named> {
    let mut out: Vec<(Vec<String>, Range<usize>)> = Vec::new();
    for m in mentions {
        match out.last_mut() {
            Some((names, items)) if !leads.iter().any(|l| *l >= items.end && *l < m.items.start) => {
                for n in &m.names {
                    if !names.contains(n) {
                        names.push(n.clone());
                    }
                }
                items.end = m.items.end;
            }
            _ => out.push((m.names.clone(), m.items.clone())),
        }
    }
    out.into_iter()
        .map(|(names, items)| {
            let unsure = items.clone().any(|i| cue(line, i, "unsure"));
            Named { canal: canal(names), items, unsure }
        })
        .collect()
}

pub(super) fn merge(groups: &[Named]) -> Option<Named> {
    let first = groups.first()?;
    let mut names: Vec<String> = Vec::new();
    for g in groups {
        for n in g.canal.names() {
            if !names.contains(n) {
                names.push(n.clone());
            }
        }
    }
    // "three canals: …, all patent": the names say more than "all".
    if names.len() > 1 {
        names.retain(|n| n != "all" && n != BOTH);
    }
    let end = groups.last().map_or(first.items.end, |g| g.items.end);
    Some(Named {
        canal: canal(names),
        items: first.items.start..end,
        unsure: groups.iter().any(|g| g.unsure),
    })
}

pub(super) fn share_canals(groups: &[Named], leads: &[usize], out: &mut [Draft]) {
    let (Some(first_group), Some(first_lead)) = (groups.first(), leads.first()) else { return };
    let before = first_group.items.start < *first_lead;
    for (n, draft) in out.iter_mut().enumerate() {
        let Some(lead) = leads.get(n) else { continue };
        draft.canal = if before {
            groups.iter().rev().find(|g| g.items.start < *lead).cloned()
        } else {
            // "three in the buccal, two in the palatal"; one group after the whole list is for all of it.
            groups.iter().find(|g| g.items.start > *lead).or_else(|| groups.last()).cloned()
        };
    }
}

/// Takes out the canals of which only "same" is said behind something that can be repeated ("ML twenty five, MB same, D forty").
pub(super) fn take_same(s: &Stretch<'_>, mentions: &mut Vec<Mention>, pieces: &[Piece]) -> Vec<Mention> {
    let line = s.line;
    let first = pieces.iter().filter(|p| p.value.is_some()).map(|p| p.items.end).min();
    if first.is_none() || pieces.iter().all(|p| !p.lead) && mentions.len() < 2 {
        return vec![];
    }
    let mut out = Vec::new();
    let starts: Vec<usize> = mentions.iter().map(|m| m.items.start).collect();
    let joins = |i: usize| line.is_mark(i, ",") || line.is_one_of(i, &["and", "the"]);
    mentions.retain(|m| {
        // "same in ML and D"
        if let Some(last) = out.last_mut().filter(|o: &&mut Mention| (o.items.end..m.items.start).all(joins))
            && !pieces
                .iter()
                .any(|p| p.lead && p.items.start >= m.items.end && p.items.start < m.items.end + 3)
        {
            last.names.extend(m.names.iter().cloned());
            last.items.end = m.items.end;
            return false;
        }
        let Some(same) = same_of(line, &m.items) else { return true };
        let from = same.min(m.items.start);
        let to = same.max(m.items.end);
        let next = starts.iter().copied().find(|n| *n >= to).unwrap_or(s.items.end);
        let end = (to..next).find(|&i| line.is_mark(i, ",") || line.ends_sentence(i)).unwrap_or(next);
        // "distal ditto, 25/04, 30/04": then said.
        let said = pieces.iter().any(|p| {
            p.lead
                && line.is_mark(end, ",")
                && p.items.start > end
                && p.items.start <= end + 2
                && p.items.start < next
        });
        let own =
            said || pieces.iter().any(|p| p.items.start >= from && p.items.end <= end && p.value.is_some());
        if !own {
            out.push(m.clone());
        }
        own
    });
    out
}

/// Where "same" stands right beside a canal: "MB same", "the same in the MB".
pub(super) fn same_of(line: &Line, canal: &Range<usize>) -> Option<usize> {
    let small = |i: usize| {
        let words =
            ["the", "for", "in", "is", "was", "gets", "got", "to", "on", "also", "went", "all", "with"];
        line.is_one_of(i, &words)
    };
    // "M L the same file"
    let same =
        |i: &usize| line.term(*i, "same").is_some_and(|fields| fields == "*" || fields.contains("size"));
    let after = (canal.end..canal.end + 3).take_while(|&i| i == canal.end || small(i - 1)).find(same);
    let before = || {
        (canal.start.saturating_sub(3)..canal.start)
            .rev()
            .take_while(|&i| i + 1 == canal.start || small(i + 1))
            .find(same)
    };
    after.or_else(before)
}

/// Puts for each such canal what was said right before it.
pub(super) fn put_same(drafts: &mut Vec<Draft>, same: Vec<Mention>) {
    let start = |d: &Draft| d.pieces.iter().filter(|p| p.lead).map(|p| p.items.start).max();
    for m in same.into_iter().rev() {
        let last = drafts.iter().rposition(|d| start(d).is_none_or(|s| s < m.items.start));
        let Some(last) = last else { continue };
        let of = |d: &Draft| d.canal.as_ref().map(|c| c.canal.clone());
        let own = drafts.get(last).and_then(of);
        let from = drafts.iter().take(last).rposition(|d| of(d) != own).map_or(0, |i| i + 1);
        let mut copies: Vec<Draft> = drafts.get(from..=last).unwrap_or_default().to_vec();
        // "MB 25/06, ML the same file, one short": the number is of the one that it stands behind.
        let behind = |p: &Piece| {
            let number = p.value.as_ref().and_then(Value::number);
            !p.lead && p.items.start >= m.items.end && number.is_some_and(|n| n != Decimal::ZERO)
        };
        for draft in drafts.get_mut(from..=last).into_iter().flatten() {
            draft.pieces.retain(|p| !behind(p));
        }
        for copy in &mut copies {
            copy.canal = Some(Named { canal: canal(m.names.clone()), items: m.items.clone(), unsure: false });
        }
        drafts.splice(last + 1..=last, copies);
    }
}

pub(super) fn canal(mut names: Vec<String>) -> Canal {
    // "three canals, mesiobuccal, …": names say more than "all".
    let wide = |n: &String| n == "all" || n == BOTH;
    if names.iter().any(|n| !wide(n)) {
        names.retain(|n| !wide(n));
    } else if names.len() > 1 {
        names.truncate(1);
    }
    if names.len() == 1 { Canal::One(names.swap_remove(0)) } else { Canal::Many(names) }
}
