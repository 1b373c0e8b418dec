//! A stretch of items read as one kind: which words fill which field, and how many entries that makes.

use std::ops::Range;

use super::{
    canals::{Mention, group, mentions, put_same, take_same},
    clauses::{explained, rest_of_clauses, without_ruled_out},
    hits::{self, Hit, Of},
    in_order, lists,
    sentence::{self, cue},
};
use crate::{
    kinds::{Kind, Kinds, Place},
    log::{Canal, Value},
    words::{
        Decimal,
        line::{Line, What},
    },
};

/// A field's value with the words it came from.
#[derive(Debug, Clone)]
pub struct Piece {
    pub field: String,
    pub value: Option<Value>,
    /// Copied from an earlier entry ("same reference").
    pub same: bool,
    pub items: Range<usize>,
    pub doubts: Vec<(String, Vec<Value>)>,
    pub weight: usize,
    pub lead: bool,
}

/// What one entry will hold.
#[derive(Debug, Clone, Default)]
pub struct Draft {
    pub pieces: Vec<Piece>,
    pub canal: Option<Named>,
}

/// Canals named in the words.
#[derive(Debug, Clone)]
pub struct Named {
    pub canal: Canal,
    pub items: Range<usize>,
    pub unsure: bool,
}

/// A reading of a stretch as one kind.
#[derive(Debug, Clone)]
pub struct Filled {
    pub kind: usize,
    pub drafts: Vec<Draft>,
    pub score: f32,
    /// Numbers that found no field.
    pub leftover: Vec<Range<usize>>,
    /// Some canals had "the same".
    pub same: bool,
}

/// Everything that `fill` looks at.
pub struct Stretch<'a> {
    pub line: &'a Line,
    pub kinds: &'a Kinds,
    /// All hits of the line, by first item.
    pub hits: &'a [Hit],
    /// For each kind, which of them are its fields.
    pub fields: &'a [Vec<u32>],
    pub items: Range<usize>,
}

impl<'a> Stretch<'a> {
    /// Hits wholly inside the stretch.
    pub fn inside(&self) -> impl Iterator<Item = &'a Hit> + use<'a> {
        let range = self.items.clone();
        hits::within(self.hits, &range)
            .filter(move |h| h.found.reach.start >= range.start && h.found.reach.end <= range.end)
    }
}

impl Stretch<'_> {
    /// Is a field of the kind heard inside?
    pub fn has_fields(&self, kind: usize) -> bool {
        self.inside().any(|h| h.kind == kind && matches!(h.of, Of::Field(..)))
    }
}

/// For each kind the hits of its fields, in their order.
pub fn fields_by_kind(kinds: &Kinds, hits: &[Hit]) -> Vec<Vec<u32>> {
    let mut out = vec![Vec::new(); kinds.all.len()];
    for (at, hit) in (0_u32..).zip(hits) {
        if let (Of::Field(..), Some(of_kind)) = (hit.of, out.get_mut(hit.kind)) {
            of_kind.push(at);
        }
    }
    out
}

/// Reads the stretch as `kind`; the score leaves out what opened it.
pub fn fill(s: &Stretch<'_>, kind: usize) -> Option<Filled> {
    let k = s.kinds.all.get(kind)?;
    let mut pieces = choose(s, kind, k);
    let mut score = 0.0;
    pieces.sort_by_key(|p| p.items.start);
    lead_else(k, &mut pieces);
    let in_order = in_order::take(s, k, &mut pieces);
    listed_numbers(s, &mut pieces);
    bare_repairs(s, k, &mut pieces);
    misplaced_repairs(s.line, k, &mut pieces);
    let conflicts = settle(s.line, k, &mut pieces);
    rest_of_clauses(s, k, &mut pieces);
    #[expect(clippy::cast_precision_loss, reason = "a handful")]
    {
        score -= 0.9 * conflicts as f32;
    }
    for p in pieces.iter().chain(&in_order) {
        score += if !p.lead && !is_plausible(k, p) {
            0.0
        } else if p.value.is_some() || p.same {
            0.8 + 0.1 * f32::from(u8::try_from(p.weight.min(6)).unwrap_or(6))
        } else {
            0.0
        };
    }
    let mentions = mentions(s, kind, &pieces);
    if k.place == Place::Tooth {
        // "in three weeks for the lateral, and the canine in a year": two things are told.
        let either = pieces.iter().filter(|p| k.either.contains(&p.field)).count();
        score -= f32::from(u8::try_from(either.saturating_sub(1)).unwrap_or(u8::MAX));
        score -= 0.2 * f32::from(u8::from(!mentions.is_empty()));
    } else {
        // A list that names canals is worth more whole than cut.
        let more = f32::from(u8::try_from(mentions.len().saturating_sub(1).min(6)).unwrap_or(6));
        let each = if k.place == Place::NamesCanals { 0.3 } else { 0.1 };
        score += 0.3 * f32::from(u8::from(!mentions.is_empty())) + each * more;
    }
    let explained = explained(s, k, &pieces);
    score += 0.8 * f32::from(u8::try_from(explained.len().min(6)).unwrap_or(6));
    let known: Vec<Range<usize>> =
        explained.into_iter().chain(in_order.iter().map(|p| p.items.clone())).collect();
    let leftover = leftover(s, &pieces, &mentions, &known, k.place == Place::NamesCanals);
    #[expect(clippy::cast_precision_loss, reason = "a handful")]
    {
        score -= 0.7 * leftover.len() as f32;
    }
    score -= breaks(s, &pieces);
    #[expect(clippy::cast_precision_loss, reason = "a handful")]
    {
        score -= 0.8 * pieces.iter().filter(|p| p.lead && !is_plausible(k, p)).count() as f32;
    }
    if k.each_in_its_canal {
        // Numbers without a canal of their own stand against each other.
        let mut leads: Vec<usize> = pieces.iter().filter(|p| p.lead).map(|p| p.items.start).collect();
        leads.dedup();
        let more = leads.len().saturating_sub(group(s.line, &mentions, &leads).len().max(1));
        score -= 0.9 * f32::from(u8::try_from(more).unwrap_or(u8::MAX));
    }
    without_ruled_out(s.line, k, &mut pieces);
    let mut mentions = mentions;
    let same = take_same(s, &mut mentions, &pieces);
    let pieces_start = pieces.iter().filter(|p| p.value.is_some()).map(|p| p.items.start).min();
    let named = if in_order.is_empty() { vec![] } else { mentions.clone() };
    let mut drafts = lists::drafts(s.line, k, pieces, mentions);
    in_order::put(&mut drafts, &named, in_order, s.line);
    if k.place == Place::Tooth {
        // "tapping on it, percussion I should say, tender": told once.
        let values = |d: &Draft| -> Vec<(String, Option<Value>)> {
            let mut of: Vec<_> = d.pieces.iter().map(|p| (p.field.clone(), p.value.clone())).collect();
            of.sort_by(|a, b| a.0.cmp(&b.0));
            of
        };
        let all: Vec<_> = drafts.iter().map(values).collect();
        let mut seen = all.iter().enumerate().map(|(i, v)| all.iter().take(i).any(|o| o == v));
        drafts.retain(|_| !seen.next().unwrap_or(false));
    }
    let has_same = !same.is_empty();
    // "same in ML, D forty": what stands before is meant, and not here.
    let before = pieces_start.is_some_and(|p| same.iter().any(|m| m.items.end <= p));
    score -= f32::from(u8::from(before));
    put_same(&mut drafts, same);
    Some(Filled { kind, drafts, score, leftover, same: has_same })
}

/// Non-overlapping field hits, the longest and surest first.
fn choose(s: &Stretch<'_>, kind: usize, k: &Kind) -> Vec<Piece> {
    let of_kind = s.fields.get(kind).map_or(&[][..], Vec::as_slice);
    let hit = |at: &u32| s.hits.get(usize::try_from(*at).unwrap_or(usize::MAX));
    let first = of_kind.partition_point(|at| hit(at).is_some_and(|h| h.first < s.items.start));
    let mut found: Vec<(&Hit, usize, bool)> = of_kind
        .iter()
        .skip(first)
        .filter_map(hit)
        .take_while(|h| h.first < s.items.end)
        .filter(|h| h.found.reach.start >= s.items.start && h.found.reach.end <= s.items.end)
        .filter(|h| !is_far_off(k, h) && !is_short_of(s.line, k, h))
        .map(|h| (h, h.found.weight * 4 + (h.end - h.first).min(6), is_out_of_bounds(k, h)))
        .collect();
    // A reading that its field can hold comes before a longer one that it cannot.
    found.sort_by_key(|(h, w, out)| (*out, std::cmp::Reverse(*w), h.first));
    let mut used: Vec<(Range<usize>, usize)> = Vec::new();
    let mut pieces = Vec::new();
    for (hit, weight, _) in found {
        let Of::Field(f, h) = hit.of else { continue };
        let Some((name, field)) = k.fields.get_index(f) else { continue };
        let Some(heard) = field.hear.get(h) else { continue };
        // A number has one meaning; a word may serve two fields ("three pecks" is a count and a motion), one field once.
        let clash = used.iter().any(|(taken, by)| {
            let mut both = taken.start.max(hit.first)..taken.end.min(hit.end);
            !both.is_empty() && (*by == f || both.any(|i| s.line.atom(i).is_some()))
        });
        // "eighteen, not nineteen": what was denied is no value.
        let number = (hit.first..hit.end).find(|&i| s.line.atom(i).is_some());
        let denied = number.is_some_and(|i| i > s.items.start && s.line.is_denied(i));
        if clash || denied || field.as_done && is_to_come(s.line, hit.first) {
            continue;
        }
        used.push((hit.first..hit.end, f));
        let mut doubts: Vec<(String, Vec<Value>)> = Vec::new();
        if let Some(d) = &heard.doubt {
            doubts.push((d.clone(), vec![]));
        }
        let mut taper = None;
        for (_, r) in &hit.found.readings {
            for d in r.doubts.iter().filter(|d| !d.of_taper) {
                doubts.push((d.reason.clone(), d.alternatives.iter().map(|v| Value::Number(*v)).collect()));
            }
            if let Some(t) = r.taper {
                let d: Vec<_> = r
                    .doubts
                    .iter()
                    .filter(|d| d.of_taper)
                    .map(|d| (d.reason.clone(), d.alternatives.iter().map(|v| Value::Number(*v)).collect()))
                    .collect();
                taper = Some((t, d));
            }
        }
        let items = hit.first..hit.end;
        let lead = k.each.contains(name);
        if let Some((t, doubts)) = taper.filter(|_| k.fields.contains_key("taper") && name != "taper") {
            pieces.push(Piece {
                field: "taper".to_owned(),
                value: Some(Value::Number(t)),
                same: false,
                items: items.clone(),
                doubts,
                weight: 1,
                lead,
            });
        }
        pieces.push(Piece {
            field: name.clone(),
            value: if heard.same { None } else { hits::value(hit, s.kinds) },
            same: heard.same,
            items,
            doubts,
            weight: weight / 4,
            lead,
        });
    }
    pieces
}

/// "paper points, thirty in the mesials, forty in the distal": without counts the sizes make the list.
fn lead_else(k: &Kind, pieces: &mut [Piece]) {
    if pieces.iter().any(|p| p.lead) {
        return;
    }
    let said = |f: &String| pieces.iter().filter(|p| p.field == *f).count() > 1;
    let Some(field) = k.else_each.iter().find(|f| said(f)) else { return };
    for p in pieces.iter_mut().filter(|p| p.field == *field) {
        p.lead = true;
    }
}

fn is_out_of_bounds(k: &Kind, hit: &Hit) -> bool {
    let Of::Field(f, _) = hit.of else { return false };
    let bounds = k.fields.get_index(f).and_then(|(_, field)| field.plausible);
    bounds.is_some_and(|(low, high)| hit.found.readings.iter().any(|(_, r)| r.value < low || r.value > high))
}

/// "not confirmed by film", "to be confirmed with a film", "will check it on the film"
fn is_to_come(line: &Line, first: usize) -> bool {
    const NEAR: usize = 6;
    let from = line.clause_start(first).max(first.saturating_sub(NEAR));
    (from..first).any(|i| {
        let to_be = line.is_word(i, "be") && i > 0 && line.is_word(i - 1, "to");
        to_be || cue(line, i, "plan") || cue(line, i, "negation") && !sentence::takes_back(line, i)
    })
}

/// "correction, ML half a millimetre short": no length of a canal, whatever stands before it.
fn is_short_of(line: &Line, k: &Kind, hit: &Hit) -> bool {
    let Of::Field(f, _) = hit.of else { return false };
    let Some((low, _)) = k.fields.get_index(f).and_then(|(_, field)| field.plausible) else { return false };
    let below = hit.found.readings.iter().any(|(_, r)| r.value.to_f64() < low.to_f64() / 2.0);
    below && line.is_one_of(hit.end, &["short", "shy", "beyond", "past"])
}

/// Is a small whole number without a unit far from what its field may hold ("the two agree" is no length)?
fn is_far_off(k: &Kind, hit: &Hit) -> bool {
    const TIMES: f64 = 2.0;
    let Of::Field(f, _) = hit.of else { return false };
    let Some((low, _)) = k.fields.get_index(f).and_then(|(_, field)| field.plausible) else { return false };
    hit.found.readings.iter().any(|(_, r)| {
        let counts = r.value.to_whole().is_some() && !r.has_unit && r.doubts.is_empty();
        counts && r.value.to_f64() < low.to_f64() / TIMES
    })
}

/// Does a self-correction stand between two places ("twenty, no, twenty one")?
pub fn repaired(line: &Line, between: Range<usize>) -> bool {
    let mut seen = false;
    for i in between {
        if sentence::takes_back(line, i) {
            seen = true;
        } else if line.atom(i).is_some() {
            seen = false;
        }
    }
    seen
}

/// "gates two and three": a small number behind a list item that is one goes on with the list.
fn listed_numbers(s: &Stretch<'_>, pieces: &mut Vec<Piece>) {
    const LARGEST: i64 = 6; // Gates-Glidden numbers end there; sizes of the standard series begin there.
    let small = |n: Decimal| n.to_whole().is_some_and(|n| (1..=LARGEST).contains(&n));
    let mut i = 0;
    while let Some(p) = pieces.get(i) {
        i += 1;
        if !p.lead || !p.value.as_ref().and_then(Value::number).is_some_and(small) {
            continue;
        }
        let joined = |n: usize| s.line.is_mark(n, ",") || s.line.is_word(n, "and") || cue(s.line, n, "then");
        // "two in the mesials and three in the distal"
        let of_canal = |n: usize| {
            s.line.term(n, "canals").is_some() || s.line.is_word(n, "in") || s.line.is_word(n, "the")
        };
        let at = (p.items.end..s.items.end).find(|&n| !joined(n) && !of_canal(n)).unwrap_or(s.items.end);
        let parted = (p.items.end..at).any(joined);
        let free = parted && at < s.items.end && !pieces.iter().any(|x| x.items.contains(&at));
        let Some(atom) = s.line.atom(at).filter(|a| free && small(a.value) && s.line.unit(at + 1).is_none())
        else {
            continue;
        };
        let short = s.line.is_one_of(at + 1, &["short", "beyond", "past"]);
        if !short && s.line.term(at + 1, "counted").is_none() {
            let value = Some(Value::Number(atom.value));
            let next = Piece { value, items: at..at + 1, doubts: vec![], ..p.clone() };
            pieces.insert(i, next);
        }
    }
}

/// "three months, no, six": a bare number after a repair takes the place of the number before it.
fn bare_repairs(s: &Stretch<'_>, k: &Kind, pieces: &mut [Piece]) {
    if pieces.is_empty() {
        return;
    }
    for i in s.items.clone() {
        if !sentence::takes_back(s.line, i) {
            continue;
        }
        let small = |n: &usize| {
            cue(s.line, *n, "repair")
                || s.line.term(*n, "fillers").is_some()
                || s.line.items.get(*n).is_some_and(|it| it.what == What::Mark) && !s.line.is_mark(*n, ".")
        };
        let Some(at) = (i + 1..s.items.end).find(|n| !small(n)) else { continue };
        let Some(atom) = s.line.atom(at) else { continue };
        if pieces.iter().any(|p| p.items.contains(&at)) {
            continue;
        }
        let before = pieces
            .iter_mut()
            .filter(|p| p.items.end <= i && p.value.as_ref().is_some_and(|v| v.number().is_some()))
            .max_by_key(|p| p.items.end);
        let Some(piece) = before else { continue };
        let old = piece.value.as_ref().and_then(Value::number);
        let (n, assumed) = in_unit_of(k, &piece.field, atom.value, old);
        let mut changed = Piece { value: Some(Value::Number(n)), ..piece.clone() };
        changed.doubts.extend(assumed);
        if is_plausible(k, &changed) {
            changed.items.end = at + 1;
            *piece = changed;
        }
    }
}

/// A bare number in the unit that the value before it was said in ("two minutes, no, three" is 180 s), and the doubt that
/// this assumes.
pub fn in_unit_of(
    k: &Kind,
    field: &str,
    n: Decimal,
    old: Option<Decimal>,
) -> (Decimal, Option<(String, Vec<Value>)>) {
    use crate::{kinds::Is, words::slot::Slot};
    let units: &[i64] = match k.fields.get(field).map(|f| &f.is) {
        Some(Is::Number(Slot::Seconds)) => &[3600, 60],
        Some(Is::Number(Slot::Mg)) => &[1000],
        _ => &[],
    };
    let whole = old.and_then(Decimal::to_whole).filter(|o| *o > 0);
    match units.iter().find(|u| whole.is_some_and(|o| o % **u == 0)) {
        Some(u) => {
            let reason = "the unit was not said again".to_owned();
            (n.saturating_times(*u), Some((reason, vec![Value::Number(n)])))
        }
        None => (n, None),
    }
}

/// "size thirty, no, thirty five paper points": what the later number cannot be, it is of the field that it corrects.
fn misplaced_repairs(line: &Line, k: &Kind, pieces: &mut [Piece]) {
    for i in 1..pieces.len() {
        let (Some(p), Some(q)) = (pieces.get(i - 1), pieces.get(i)) else { continue };
        let moved = || Piece { field: p.field.clone(), ..q.clone() };
        let numbers = [p, q].iter().all(|x| x.value.as_ref().and_then(Value::number).is_some());
        if numbers
            && p.field != q.field
            && repaired(line, p.items.end..q.items.start)
            && !is_plausible(k, q)
            && let moved = moved()
            && is_plausible(k, &moved)
            && let Some(x) = pieces.get_mut(i)
        {
            *x = moved;
        }
    }
}

/// Two pieces for one field: a self-correction keeps the later, equal values keep one, joined fields join, lists stay.
/// Gives the number of true conflicts.
fn settle(line: &Line, k: &Kind, pieces: &mut Vec<Piece>) -> usize {
    let mut conflicts = 0;
    let mut i = 0;
    while i < pieces.len() {
        let Some(p) = pieces.get(i) else { break };
        let either = |q: &Piece| k.either.contains(&p.field) && k.either.contains(&q.field);
        let next = pieces
            .iter()
            .enumerate()
            .skip(i + 1)
            .find(|(_, q)| {
                // "in three weeks for the lateral, and the canine in a year": of these an entry of the tooth holds one.
                let alone = || k.place == Place::Tooth || repaired(line, p.items.end..q.items.start);
                q.field == p.field || either(q) && alone()
            })
            .map(|(j, q)| (j, p.clone(), q.clone()));
        let Some((j, p, q)) = next else {
            i += 1;
            continue;
        };
        if repaired(line, p.items.end..q.items.start) {
            // "twenty oh four, or was that a twenty five, no, twenty": as it was said first.
            let back = pieces.iter().skip(j + 1).find(|r| {
                r.field == p.field && r.value == p.value && repaired(line, q.items.end..r.items.start)
            });
            if let Some(back) = back.map(|r| r.items.clone()) {
                pieces.retain(|x| x.items != q.items && x.items != back);
                continue;
            }
            // A size that goes takes its taper along.
            // A word that goes takes along what was said of it ("chlorhexidine two percent, no, saline").
            let end = if matches!(p.value, Some(Value::Text(_))) { q.items.start } else { p.items.end };
            pieces.retain(|x| x.items != p.items && !(x.items.start >= p.items.end && x.items.end <= end));
            continue;
        }
        let joins = k.fields.get(&p.field).is_some_and(|f| f.joins);
        if p.lead {
            i += 1;
            continue;
        }
        let listed = leads_between(pieces, &p, &q)
            || (!k.each.is_empty() && pieces.iter().filter(|x| x.lead).count() > 1);
        let both = (p.items.end..q.items.start).all(|i| line.is_word(i, "and") || line.is_word(i, "a"));
        if let Some(both) = together(k, &p, &q).filter(|_| listed && both) {
            // "… by apex locator and radiograph": one value, said of the whole list.
            if let Some(x) = pieces.get_mut(i) {
                x.value = Some(Value::Text(both));
                x.items.end = q.items.end;
                x.weight += q.weight + 4;
                x.doubts.extend(q.doubts.clone());
            }
            pieces.remove(j);
        } else if listed && !joins {
            // Each belongs to a list item of its own.
            i += 1;
        } else if p.value == q.value && p.same == q.same {
            pieces.remove(j);
        } else if joins && !(of_list(k, &p) && !(p.items.end..q.items.start).all(|i| binds(line, i))) {
            let text = |v: &Option<Value>| v.as_ref().map(ToString::to_string).unwrap_or_default();
            let joined = format!("{}, {}", text(&p.value), text(&q.value));
            if let Some(x) = pieces.get_mut(i) {
                x.value = Some(Value::Text(joined));
            }
            pieces.remove(j);
        } else if let Some(both) = together(k, &p, &q) {
            if let Some(x) = pieces.get_mut(i) {
                x.value = Some(Value::Text(both));
                x.doubts.extend(q.doubts.clone());
            }
            pieces.remove(j);
        } else {
            conflicts += 1;
            let other = q.value.clone().into_iter().collect();
            if let Some(x) = pieces.get_mut(i) {
                x.doubts.push(("two values were said".to_owned(), other));
            }
            pieces.remove(j);
        }
    }
    conflicts
}

/// Words that make two materials one filling ("glass ionomer base and composite").
fn binds(line: &Line, i: usize) -> bool {
    line.is_one_of(i, &["and", "with", "base", "liner", "plus", "a", "core", "in", "of"])
}

/// Is a value one of a vocabulary? Two of these, with a comma between, are two things ("glass ionomer over that, composite").
fn of_list(k: &Kind, p: &Piece) -> bool {
    k.fields.get(&p.field).is_some_and(|f| matches!(f.is, crate::kinds::Is::Term(_)))
}

/// The value that two values of a field have together ("by locator and film").
fn together(k: &Kind, p: &Piece, q: &Piece) -> Option<String> {
    let (a, b) = (p.value.as_ref()?.text()?, q.value.as_ref()?.text()?);
    let rows = &k.fields.get(&p.field)?.together;
    rows.iter().find(|(x, y, _)| x == a && y == b || x == b && y == a).map(|(_, _, both)| both.clone())
}

fn leads_between(pieces: &[Piece], p: &Piece, q: &Piece) -> bool {
    pieces.iter().any(|x| x.lead && x.items.start >= p.items.end && x.items.end <= q.items.start)
}

/// Numbers that no piece, no canal and no repair explains.
fn leftover(
    s: &Stretch<'_>,
    pieces: &[Piece],
    mentions: &[Mention],
    explained: &[Range<usize>],
    names_canals: bool,
) -> Vec<Range<usize>> {
    let named = || pieces.iter().map(|p| &p.items).chain(mentions.iter().map(|m| &m.items));
    let taken = |i: usize| named().chain(explained).any(|items| items.contains(&i));
    let mut out = Vec::new();
    for i in s.items.clone() {
        if s.line.atom(i).is_none() || taken(i) {
            continue;
        }
        // "one mesial, one distal"
        let one = names_canals
            && s.line.atom(i).is_some_and(|a| a.value == Decimal::whole(1))
            && (i + 1..(i + 4).min(s.items.end))
                .take_while(|&k| !s.line.is_mark(k, ","))
                .any(|k| s.line.term(k, "canals").is_some());
        if one {
            continue;
        }
        // A number right before a self-correction was taken back.
        let taken_back =
            (i + 1..(i + 5).min(s.items.end)).any(|k| sentence::takes_back(s.line, k) && k + 1 < s.items.end);
        // "two was right, two weeks": said once more.
        let value = s.line.atom(i).map(|a| Value::Number(a.value));
        let restated = s.line.unit(i + 1).is_none() && pieces.iter().any(|p| p.value == value);
        if !taken_back && !restated && !(i > s.items.start && s.line.is_denied(i)) {
            out.push(i..i + 1);
        }
    }
    out
}

fn is_plausible(k: &Kind, p: &Piece) -> bool {
    let Some(n) = p.value.as_ref().and_then(Value::number) else { return true };
    let Some(field) = k.fields.get(&p.field) else { return true };
    let size = field.is == crate::kinds::Is::Number(crate::words::slot::Slot::Size);
    if size && !crate::words::slot::is_standard_size(n) {
        return false;
    }
    field.plausible.is_none_or(|(low, high)| n >= low && n <= high)
}

/// What stands inside a stretch that speaks against one entry: stops, "and then", a verb of its own.
fn breaks(s: &Stretch<'_>, pieces: &[Piece]) -> f32 {
    let mut cost = 0.0;
    for i in s.items.start..s.items.end.saturating_sub(1) {
        // ", no second one could be found": a clause that denies says something of its own.
        let opens = i > s.items.start
            && (s.line.is_mark(i - 1, ",") || s.line.is_word(i - 1, "and") || s.line.is_word(i - 1, "but"));
        if opens && sentence::denies_from(s.line, i) && !pieces.iter().any(|p| p.items.contains(&i)) {
            cost += 0.8;
        }
        if s.line.items.get(i).is_some_and(|it| it.what == What::Mark) {
            cost += match s.line.text(i) {
                "." | "?" | "!" | ";" if leads_apart(pieces, i) => 1.0,
                "." | "?" | "!" | ";" => 0.45,
                "," | ":" => 0.03,
                _ => 0.0,
            };
        } else if i > s.items.start && cue(s.line, i, "then") {
            cost += 0.35;
        }
    }
    cost
}

/// Do list items with values of their own stand on both sides of a stop ("30, 35, 40 to length. 45, 1 short.")?
fn leads_apart(pieces: &[Piece], stop: usize) -> bool {
    let own = |p: &&Piece| !p.lead && p.value.as_ref().and_then(Value::number).is_some();
    let before = |p: &&Piece| p.items.end <= stop;
    let after = |p: &&Piece| p.items.start > stop;
    let both = |side: &dyn Fn(&&Piece) -> bool| {
        pieces.iter().filter(|p| side(p)).any(|p| p.lead)
            && pieces.iter().filter(|p| side(p)).any(|p| own(&p))
    };
    both(&before) && both(&after)
}
