//! Lists that go on: after their kind was named, after an entry of it, part by part.

use std::ops::Range;

use super::{
    amend::{LOOK_BACK, fits, same_tooth, strange_words},
    fill::{Draft, Filled, Piece},
    hits::{self, Hit, Of},
    sentence::cue,
    session::{At, NEAR, Note, Session, blank, push_doubt},
    status::{self, Manner},
    why::{From, Why},
};
use crate::{kinds::Place, log::Entry, words::line::Line};

impl Session<'_> {
    /// "working lengths", "cones": a kind of which lists are made, named alone.
    pub(super) fn announce(&mut self, at: &At<'_>, items: &Range<usize>) {
        let number = items.clone().any(|i| at.line.atom(i).is_some());
        let listed = |h: &&Hit| {
            let kind = self.x.kinds.all.get(h.kind).filter(|k| k.goes_on && !k.each.is_empty());
            matches!(h.of, Of::Rule(_)) && kind.is_some() && h.end <= items.end
        };
        // "no cones today", "the cones come next": nothing begins there.
        let put_off = ["no", "negation", "negation-after", "plan", "plan-after", "condition", "general"];
        let is_put_off = items.clone().any(|i| put_off.iter().any(|class| cue(&at.line, i, class)));
        if number || is_put_off || items.len() > 8 {
            return;
        }
        let mut hits: Vec<&Hit> = hits::within(&at.hits, items).filter(listed).collect();
        hits.dedup_by_key(|h| h.kind);
        if let [hit] = hits.as_slice() {
            self.announced = Some((hit.kind, at.n));
        }
    }
}

/// A canal and its value after their kind was announced.
pub(super) fn as_announced(
    s: &mut Session<'_>,
    at: &mut At<'_>,
    items: &Range<usize>,
    sentence: &Range<usize>,
) -> bool {
    const LATER: usize = 3;
    // In the breath that announced it a list may have a few words more ("…, and nothing for the MM").
    const ASIDE: usize = 3;
    let Some((kind, breath)) = s.announced.filter(|(_, breath)| breath + LATER >= at.n) else { return false };
    let since = s.notes.last().is_some_and(|n| n.breath > breath && n.kind != kind);
    let Some(k) = s.x.kinds.all.get(kind).filter(|_| !since) else { return false };
    let Some(filled) = s.reading_of(at, items, kind) else { return false };
    let pieces: Vec<Piece> = filled.drafts.iter().flat_map(|d| d.pieces.clone()).collect();
    let named = filled.drafts.iter().all(|d| d.canal.is_some() && d.pieces.iter().any(|p| p.lead));
    if !named
        || !filled.leftover.is_empty()
        || !pieces.iter().all(|p| fits(k, p))
        || strange_words(at, items, &pieces) > if breath == at.n { ASIDE } else { 0 }
    {
        return false;
    }
    let valued = |i: usize| pieces.iter().any(|p| p.items.contains(&i));
    let Some(told) = status::of(&at.line, sentence, items, items.start, s.manner(), false, &valued) else {
        return false;
    };
    let rule = k.rules.first().map(|r| r.id.clone()).unwrap_or_default();
    let (said, from_s, to_s) = at.said(items);
    for draft in &filled.drafts {
        let mut entry = blank(k.name.clone(), told.status, rule.clone(), said.clone(), from_s, to_s);
        let status_by = told.by.map(|i| at.said(&(i..i + 1)).0);
        let mut why = Why { status_by, ..Why::default() };
        let found = write_pieces(at, draft, &mut entry, &mut why);
        s.locate(at, &mut entry, &mut why, k.place, draft.canal.as_ref());
        super::doubts::add(s, at, items, kind, &mut entry, &found);
        let numbers = super::session::numbers(&at.line, &draft.pieces);
        s.push(entry, Note { breath: at.n, items: items.clone(), kind, why, numbers });
    }
    s.announced = Some((kind, at.n));
    true
}

/// A bare canal and number goes on with the kind before it; "another two minutes", "again" and "same" make a new entry.
pub(super) fn continues(
    s: &mut Session<'_>,
    at: &mut At<'_>,
    items: &Range<usize>,
    sentence: &Range<usize>,
    instead_of: Option<(usize, usize)>,
) -> bool {
    let again = items.clone().any(|i| cue(&at.line, i, "again"));
    let same = items.clone().any(|i| at.line.term(i, "same") == Some("*"));
    // In the breath of an entry a value goes on with that entry's kind, not with one of an earlier breath.
    let here = |i: usize| s.notes.get(i).is_some_and(|n| n.breath == at.n);
    let begun = s.live().next().is_some_and(here);
    let near = s.live().take(if again { LOOK_BACK } else { 3 });
    let candidates: Vec<usize> = near.filter(|&i| !begun || again || here(i)).collect();
    let mut tried = Vec::new();
    for i in candidates {
        let Some(kind) = s.notes.get(i).map(|n| n.kind) else { continue };
        if tried.contains(&kind) {
            continue;
        }
        tried.push(kind);
        let Some(k) = s.x.kinds.all.get(kind) else { continue };
        // "same for the ML": no step of the whole tooth.
        let of_canal = same && items.clone().any(|i| at.line.term(i, "canals").is_some());
        if !k.goes_on || !same_tooth(s, i) || of_canal && k.place == Place::Tooth {
            continue;
        }
        // Instead of a weak reading of another kind only where it explains as much.
        let explains = instead_of.map_or(0, |(_, pieces)| pieces);
        if instead_of
            .is_some_and(|(own, _)| own == kind || s.notes.get(i).is_none_or(|n| n.breath + 1 < at.n))
        {
            return false;
        }
        let Some(filled) = s.reading_of(at, items, kind) else { continue };
        let pieces: Vec<Piece> = filled.drafts.iter().flat_map(|d| d.pieces.clone()).collect();
        let lead = pieces.iter().any(|p| p.lead);
        let canal = filled.drafts.iter().any(|d| d.canal.is_some());
        let then = items.clone().any(|i| cue(&at.line, i, "then"))
            || s.notes.get(i).is_some_and(|n| n.breath == at.n);
        let new = |p: &Piece| {
            k.either.contains(&p.field)
                && s.entries.get(i).is_some_and(|e| e.values.get(&p.field) != p.value.as_ref())
        };
        let one_more = then && !pieces.is_empty() && pieces.iter().all(new);
        // "hypochlorite, two mil MB, four mil distal": the same again with its own amount.
        let parallel = !lead && is_parallel(s, at, i, &filled);
        let fits = (lead && canal || again && !pieces.is_empty() || same && canal || one_more || parallel)
            && filled.leftover.is_empty()
            && strange_words(at, items, &pieces) == 0;
        if !fits || pieces.len() < explains {
            continue;
        }
        let valued = |i: usize| pieces.iter().any(|p| p.items.contains(&i));
        let told = status::of(&at.line, sentence, items, items.start, Manner::Record, false, &valued)
            .unwrap_or_default();
        let status = told.status;
        let with = s.entries.get(i).map(|e| e.id.clone());
        let rule = s.entries.get(i).map(|e| e.rule.clone()).unwrap_or_default();
        let (said, from_s, to_s) = at.said(items);
        for draft in &filled.drafts {
            let mut entry = blank(k.name.clone(), status, rule.clone(), said.clone(), from_s, to_s);
            let mut why = Why { goes_on_with: with.clone(), ..Why::default() };
            why.status_by = told.by.map(|i| at.said(&(i..i + 1)).0);
            let found = write_pieces(at, draft, &mut entry, &mut why);
            if parallel && let Some(old) = s.entries.get(i) {
                for (field, value) in old.values.iter().filter(|(_, v)| v.text().is_some()) {
                    if !entry.values.contains_key(field) {
                        entry.values.insert(field.clone(), value.clone());
                        why.values.push((field.clone(), From::Same(old.id.clone())));
                    }
                }
            }
            s.locate(at, &mut entry, &mut why, k.place, draft.canal.as_ref());
            s.same(at, items, kind, &mut entry, &mut why);
            super::doubts::add(s, at, items, kind, &mut entry, &found);
            let numbers = super::session::numbers(&at.line, &draft.pieces);
            s.push(entry, Note { breath: at.n, items: items.clone(), kind, why, numbers });
        }
        return true;
    }
    false
}

/// Writes what a draft holds into an entry; gives the fields with their places.
pub(super) fn write_pieces(
    at: &At<'_>,
    draft: &Draft,
    entry: &mut Entry,
    why: &mut Why,
) -> Vec<(String, Range<usize>)> {
    let mut found = Vec::new();
    for p in &draft.pieces {
        if let Some(v) = &p.value {
            entry.values.insert(p.field.clone(), v.clone());
            why.values.push((p.field.clone(), From::Said(at.said(&p.items).0)));
        }
        for (reason, alternatives) in &p.doubts {
            push_doubt(entry, &p.field, reason, alternatives);
        }
        found.push((p.field.clone(), p.items.clone()));
    }
    found
}

/// Are these values of another canal in the breath of an entry that has the same fields for its own?
fn is_parallel(s: &Session<'_>, at: &At<'_>, entry: usize, filled: &Filled) -> bool {
    let (Some(old), Some(note)) = (s.entries.get(entry), s.notes.get(entry)) else { return false };
    let [draft] = filled.drafts.as_slice() else { return false };
    let other = draft.canal.as_ref().is_some_and(|c| old.canal.as_ref().is_some_and(|o| *o != c.canal));
    let said = !old.carried.iter().any(|c| c == "canal");
    let own = |p: &Piece| old.values.contains_key(&p.field);
    other && said && note.breath == at.n && !draft.pieces.is_empty() && draft.pieces.iter().all(own)
}

/// The parts of a stretch between its commas; none where there is no comma.
pub(super) fn parts(line: &Line, items: &Range<usize>) -> Vec<Range<usize>> {
    let mut out = Vec::new();
    let mut start = items.start;
    // Each part looks at its sentence: a long stretch is left whole, so that the work stays linear.
    if items.len() > NEAR {
        return out;
    }
    for i in items.clone() {
        if line.is_mark(i, ",") || i + 1 == items.end {
            out.push(start..i + 1);
            start = i + 1;
        }
    }
    if out.len() < 2 { vec![] } else { out }
}
