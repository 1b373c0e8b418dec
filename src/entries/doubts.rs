//! Why a person must look: what the words, the bounds, the series and the listener say against a value.

use std::ops::Range;

use super::{
    fill::Draft,
    hits,
    segment::Reading,
    sentence::{self, cue},
    session::{At, Note, Session, push_doubt},
    status,
};
use crate::{
    kinds::{Field, Is, Kinds, Place, pattern::Candidates},
    log::{Entry, Review, Status, Value},
    tables,
    words::{
        Decimal,
        line::{Line, What},
        slot::{self, Slot},
    },
};

/// Why what comes with "I think" is doubted.
const NOT_SURE: &str = "the speaker was not sure";
/// So many entries of a breath back an earlier one is looked for: long breaths stay linear.
const FEW: usize = 12;

/// Adds the doubts of the fields that were found in `items`.
pub(super) fn add(
    s: &Session<'_>,
    at: &At<'_>,
    items: &Range<usize>,
    kind: usize,
    entry: &mut Entry,
    found: &[(String, Range<usize>)],
) {
    let Some(k) = s.x.kinds.all.get(kind) else { return };
    for (field, place) in found {
        if let Some(f) = k.fields.get(field) {
            heard_to(f, &at.line, field, place, entry);
            too_fine(f, field, entry);
            bounds(f, field, entry);
            cues(&at.line, items, field, place, f, entry);
        }
        listener(s, at, field, place, kind, entry);
    }
    jump(s, entry, kind);
}

/// "to one point five" where twenty-one and a half would fit and one and a half would not: "to" is half of "twenty-two", or
/// a "twenty" that was not heard. The number said stays beside it.
fn heard_to(f: &Field, line: &Line, field: &str, place: &Range<usize>, entry: &mut Entry) {
    let Some((low, high)) = f.plausible else { return };
    let Some(n) = entry.values.get(field).and_then(Value::number).filter(|n| *n < low) else { return };
    let first = place.clone().find(|&i| line.atom(i).is_some()).unwrap_or(place.start);
    let to = first.checked_sub(1).is_some_and(|b| line.is_word(b, "to"));
    // "a half to one millimetre"
    if first.checked_sub(2).is_some_and(|b| line.atom(b).is_some() || line.unit(b).is_some()) {
        return;
    }
    let whole = n.saturating_add(Decimal::whole(20));
    if to && n >= Decimal::whole(1) && n < Decimal::whole(10) && whole >= low && whole <= high {
        entry.values.insert(field.to_owned(), Value::Number(whole));
        push_doubt(entry, field, "\"to\" may be the twenty of this number", &[Value::Number(n)]);
    }
}

/// Lengths are told in tenths or quarters of a millimetre; "twenty five point one five" may be a size and its taper.
fn too_fine(f: &Field, field: &str, entry: &mut Entry) {
    if !matches!(f.is, Is::Number(Slot::Mm)) {
        return;
    }
    let Some(n) = entry.values.get(field).and_then(Value::number) else { return };
    if entry.doubts.iter().any(|d| d.field == field) {
        return;
    }
    if !n.saturating_times(10).is_whole() && !n.saturating_times(4).is_whole() {
        push_doubt(entry, field, &format!("{n} mm is finer than lengths are told"), &[]);
    }
}

/// Outside the field's plausible bounds: kept, with a doubt and the swapped teen or ten where it would fit.
fn bounds(f: &Field, field: &str, entry: &mut Entry) {
    let Some(n) = entry.values.get(field).and_then(Value::number) else { return };
    let window = || {
        let (table, by) = f.windows.as_ref()?;
        let what = entry.values.get(by).and_then(Value::text)?;
        let (low, high) = tables::rows(table).find(|r| r.key() == what)?.window_pct()?;
        Some((low, high, format!(" for {what}")))
    };
    let Some((low, high, of)) = window().or_else(|| f.plausible.map(|(a, b)| (a, b, String::new()))) else {
        return;
    };
    if n >= low && n <= high {
        return;
    }
    let other: Vec<Value> = slot::swapped(n)
        .into_iter()
        .chain(n.shift(1))
        .filter(|v| *v >= low && *v <= high)
        .map(Value::Number)
        .collect();
    push_doubt(entry, field, &format!("{n} is outside the usual {low} to {high}{of}"), &other);
}

/// "up to", "I think", "two or three" beside the value.
fn cues(line: &Line, items: &Range<usize>, field: &str, place: &Range<usize>, f: &Field, entry: &mut Entry) {
    let is_number = matches!(f.is, Is::Number(s) if s != Slot::Tooth);
    let before = place.start.saturating_sub(4).max(items.start)..place.start;
    if is_number
        && entry.status == Status::Done
        && (before.clone().any(|i| cue(line, i, "limit")) || place.clone().any(|i| cue(line, i, "limit")))
    {
        push_doubt(entry, field, "a limit was said, not an amount", &[]);
    }
    if before.clone().chain(place.clone()).any(|i| cue(line, i, "unsure"))
        || (place.end..(place.end + 3).min(items.end)).any(|i| cue(line, i, "unsure-after"))
    {
        push_doubt(entry, field, NOT_SURE, &[]);
    }
    // "20 to 21 mm", but "one to eighty thousand"
    if is_number && f.is != Is::Number(Slot::Ratio) {
        let atoms: Vec<usize> = place.clone().filter(|&i| line.atom(i).is_some()).collect();
        let pair = atoms.windows(2).find_map(|w| match w {
            [a, b] if *b == *a + 2 && line.is_word(a + 1, "to") => line.atom(*b).map(|n| n.value),
            _ => None,
        });
        if let Some(other) = pair {
            push_doubt(entry, field, "two numbers were said", &[Value::Number(other)]);
        }
    }
    // "from fifteen to thirty", "between three and five"
    if is_number && let Some(second) = place.clone().find(|&i| line.atom(i).is_some()).filter(|&i| i >= 3) {
        let pair =
            |joins: &str, opens: &str| line.is_word(second - 1, joins) && line.is_word(second - 3, opens);
        // "K files eight to twenty": a series, or a depth.
        let files = (items.start.max(second.saturating_sub(6))..second - 2)
            .any(|i| line.holds_one_of(i, &["files", "instruments"]));
        let is_size = line.atom(second).is_some_and(|a| slot::is_standard_size(a.value));
        let sizes = field == "size" || files && is_size && line.unit(second + 1).is_none();
        let series = line.is_word(second - 1, "to") && sizes;
        let ranges = pair("to", "from") || pair("and", "between") || series;
        if let Some(other) = line.atom(second - 2).filter(|_| ranges) {
            push_doubt(entry, field, "two numbers were said", &[Value::Number(other.value)]);
        }
    }
    // "two or three", "three weeks, maybe four"
    if is_number && let Some(first) = place.clone().find(|&i| line.atom(i).is_some()) {
        let last = place.clone().rev().find(|&i| line.atom(i).is_some()).unwrap_or(first);
        if line.is_word(last + 1, "or") && line.atom(last + 2).is_some()
            || first >= 2
                && line.is_word(first - 1, "or")
                && line.atom(first - 2).is_some()
                && first - 2 >= items.start
        {
            let at = if line.is_word(last + 1, "or") { last + 2 } else { first - 2 };
            let other = line.atom(at).map(|a| Value::Number(a.value));
            push_doubt(entry, field, "two numbers were said", other.as_slice());
        }
    }
}

/// "3 ml each in MB and ML and 6 ml in D": a value between the canals of one step may be of some of them.
pub(super) fn of_several(
    at: &At<'_>,
    items: &Range<usize>,
    reading: &Reading,
    draft: &Draft,
    entry: &mut Entry,
) {
    // "chloroform 1 ml": no canal, perhaps.
    let unit = |&i: &usize| {
        i > 0 && at.line.atom(i - 1).is_some() && at.line.term(i, "canals") == Some("ML") && {
            let said = at.said(&(i..i + 1)).0;
            said.starts_with("ml") || said.starts_with("mL")
        }
    };
    if draft.canal.as_ref().is_some_and(|n| n.items.clone().any(|i| unit(&i))) {
        push_doubt(entry, "canal", "\"ml\" behind a number may be millilitres", &[]);
    }
    let Some(named) = draft.canal.as_ref().filter(|n| matches!(n.canal, crate::log::Canal::Many(_))) else {
        return;
    };
    let of = |i: &usize| {
        let mut names = at.line.term(*i, "canals").into_iter().flat_map(|c| c.split('+'));
        names.any(|c| named.canal.names().iter().any(|n| n == c))
    };
    let first = items.clone().find(of).unwrap_or(items.end);
    let last = items.clone().rev().find(of).unwrap_or(items.start);
    let is_value = |i: usize| at.line.atom(i).is_some() && at.line.term(i, "canals").is_none();
    let pieces = || reading.filled.drafts.iter().flat_map(|d| &d.pieces).filter(|p| p.value.is_some());
    let valued = |p: &super::fill::Piece| p.items.clone().any(is_value);
    // "fifteen in the mesial and the distal went to twenty"
    let parted = super::tears::tells_of_it(&at.line, last + 1)
        && !at.line.is_word(last + 1, "to")
        && pieces().any(|p| valued(p) && p.items.end <= first)
        && pieces().any(|p| valued(p) && p.items.start > last);
    if parted {
        push_doubt(entry, "canal", "what follows may be told of the last of these canals alone", &[]);
    }
    let between = |p: &super::fill::Piece| p.items.clone().any(|i| i > first && i < last && is_value(i));
    if reading.filled.drafts.iter().flat_map(|d| &d.pieces).any(between) {
        push_doubt(
            entry,
            "canal",
            "a number stands between these canals; perhaps it is of some of them",
            &[],
        );
    }
}

/// "skipped the 20, took a 25": one was left out, another was done.
pub(super) fn left_and_done(at: &At<'_>, items: &Range<usize>, told: super::status::Told, entry: &mut Entry) {
    let deeds = ["took", "used", "went", "finished", "got", "gave", "give", "instead"];
    let does = |i: usize| at.line.is_one_of(i, &deeds);
    if told.status == Status::NotDone
        && told.by.is_some_and(|by| (by + 1..items.end.saturating_sub(1)).any(does))
    {
        push_doubt(entry, "entry", "something that was done was told beside it", &[]);
    }
}

/// "tried to get the dam on", "might obturate today", "possible perforation": told as done, beside words that say it may not
/// be so.
pub(super) fn wary(kinds: &Kinds, at: &At<'_>, items: &Range<usize>, reading: &Reading, entry: &mut Entry) {
    const NEAR: usize = 8;
    let line = &at.line;
    let Some(kind) = kinds.all.get(reading.kind) else { return };
    let numbers = entry.values.values().filter(|v| v.number().is_some()).count();
    if entry.status != Status::Done || reading.text.is_some() || kind.wary.is_empty() || numbers > 1 {
        return;
    }
    let rule = &reading.rule_items;
    let from = line.clause_start(rule.start).max(rule.start.saturating_sub(NEAR));
    let to = line.next_comma(rule.end).min(rule.end + NEAR).min(items.end.max(rule.end) + NEAR);
    let beside = |i: usize| kind.wary.iter().any(|class| cue(line, i, class));
    let after = |i: usize| cue(line, i, "attempt");
    if (from..rule.end).any(beside) || (rule.end..to).any(|i| beside(i) && (after(i) || kind.wary.len() == 1))
    {
        push_doubt(entry, "entry", "the words beside it say that it may not be so", &[]);
    }
}

/// "rubber dam, it wouldn't stay on", "post op film, no, didn't take one": told as done, and a "not" behind it in its sentence
/// that belongs to no value of it and to no other step.
pub(super) fn denied_beside(
    s: &Session<'_>,
    at: &At<'_>,
    items: &Range<usize>,
    reading: &Reading,
    entry: &mut Entry,
) {
    const NEAR: usize = 12;
    let line = &at.line;
    let numbers = entry.values.values().any(|v| v.number().is_some());
    let tells_all = reading.text.is_some() || entry.values.contains_key("result");
    if entry.status != Status::Done || tells_all || numbers {
        return;
    }
    let from = reading.rule_items.end;
    let end = line.sentence_end(from.saturating_sub(1)).min(items.end.max(from) + NEAR);
    let pieces = || reading.filled.drafts.iter().flat_map(|d| &d.pieces);
    let of_value = |i: usize| pieces().any(|p| p.items.contains(&i));
    let says_no = |i: usize| {
        (cue(line, i, "negation") || cue(line, i, "negation-after") || cue(line, i, "drops"))
            && !cue(line, i, "repair")
            && !sentence::takes_back(line, i)
    };
    let step = |i: usize| {
        hits::within(&at.hits, &(i..i + 1)).any(|h| {
            let sure = |r: usize| {
                let rule = s.x.kinds.all.get(h.kind).and_then(|k| k.rules.get(r));
                rule.is_some_and(|r| r.weight >= 1.0)
            };
            matches!(h.of, hits::Of::Rule(r) if sure(r))
        })
    };
    // "because it wasn't dry", "he didn't want white": why, and what people say.
    let else_told =
        |i: usize| cue(line, i, "reason") || line.is_one_of(i, &["he", "she", "i", "we", "they", "that"]);
    let of_another = |i: usize| status::is_but_not(line, i) || status::contrasts(line, i);
    let denied = (from..end)
        .take_while(|&i| (i < items.end || !step(i)) && !else_told(i) && !of_another(i))
        .find(|&i| says_no(i) && !of_value(i));
    if denied.is_some() {
        push_doubt(entry, "entry", "a \"not\" stands behind it", &[]);
    }
}

/// "palatal as well", behind a file in the buccal: an injection, or the canal.
pub(super) fn canal_perhaps(s: &Session<'_>, at: &At<'_>, reading: &Reading, entry: &mut Entry) {
    let named = at.line.term(reading.rule_items.start, "canals").is_some();
    let tooth = s.x.kinds.all.get(reading.kind).is_some_and(|k| k.place == Place::Tooth);
    let last =
        s.live().next().and_then(|i| s.entries.get(i)).filter(|e| e.canal.is_some() && e.tooth == s.tooth);
    if tooth && named && entry.values.len() == 1 && last.is_some() {
        push_doubt(entry, "entry", "a canal may be meant", &[]);
    }
}

/// "hypo and EDTA, 3 ml and 2 ml": amounts behind two that were named together.
pub(super) fn of_two(s: &mut Session<'_>, at: &At<'_>) {
    let line = &at.line;
    let agent = |i: usize| line.term(i, "irrigants").is_some() || line.term(i, "anaesthetics").is_some();
    for i in 0..line.items.len() {
        if !(agent(i) && line.is_word(i + 1, "and") && agent(i + 2)) {
            continue;
        }
        let end = line.sentence_end(i).min(i + 2 + SENTENCE);
        let measured = |k: &usize| line.atom(*k).is_some() && line.unit(*k + 1).is_some();
        if (i + 3..end).filter(measured).count() < 2 {
            continue;
        }
        let of_these = |n: &Note| n.breath == at.n && n.items.start <= i + 2 && n.items.end > i;
        for (_, entry) in s.notes.iter().zip(&mut s.entries).rev().take(FEW).filter(|(n, _)| of_these(n)) {
            let numbers = entry.values.iter().filter(|(_, v)| v.number().is_some());
            for field in numbers.map(|(f, _)| f.clone()).collect::<Vec<_>>() {
                push_doubt(entry, &field, "two were named before these amounts", &[]);
            }
        }
    }
}

/// "temp on both", with two teeth at work.
pub(super) fn of_two_teeth(
    s: &Session<'_>,
    at: &At<'_>,
    items: &Range<usize>,
    place: Place,
    entry: &mut Entry,
) {
    let end = at.line.sentence_end(items.end.saturating_sub(1)).min(items.end + 2);
    let both = (items.start..end).any(|i| at.line.text(i) == "both");
    let other = s.teeth.iter().rev().find(|t| Some(*t) != entry.tooth.as_ref());
    if let Some(other) = other.filter(|_| both && place == Place::Tooth && entry.status == Status::Done) {
        push_doubt(entry, "tooth", "\"both\" may be two teeth", &[Value::Text(other.clone())]);
    }
}

/// "access, well, sort of", "I think I also did saline": no value is in doubt, but the step.
pub(super) fn unsure(at: &At<'_>, items: &Range<usize>, reading: &Reading, entry: &mut Entry, draft: &Draft) {
    const NEAR: usize = 6;
    let line = &at.line;
    let free = entry.doubts.iter().all(|d| d.reason == NOT_SURE);
    let said = reading.text.is_none() && entry.status == Status::Done && free;
    let start = line.sentence_start(reading.rule_items.start).max(items.start.saturating_sub(NEAR));
    let opens = (start..reading.rule_items.start).any(|i| {
        cue(line, i, "unsure") && ["i", "we"].iter().any(|w| line.is_word(i + 1, w) || line.is_word(i + 2, w))
    });
    let end = line.sentence_end(reading.rule_items.end.saturating_sub(1)).min(reading.rule_items.end + NEAR);
    let after = draft.pieces.is_empty() && (reading.rule_items.end..end).any(|i| cue(line, i, "unsure"));
    if said && (opens || after) {
        push_doubt(entry, "entry", NOT_SURE, &[]);
    }
}

/// What the listener was not sure of, and what else it may have heard.
fn listener(s: &Session<'_>, at: &At<'_>, field: &str, place: &Range<usize>, kind: usize, entry: &mut Entry) {
    let heard = at.line.heard(place.start, place.end);
    let Some(value) = entry.values.get(field).cloned() else { return };
    if value.number().is_none() && field != "tooth" && field != "vasoconstrictor" {
        return;
    }
    // Only numbers: what else may be wrong counts where it would change the value.
    let worst = at
        .breath
        .words
        .get(heard.clone())
        .unwrap_or_default()
        .iter()
        .filter(|w| w.p_wrong > 0.0 && w.is_number())
        .map(|w| w.p_wrong)
        .fold(0.0_f32, f32::max);
    let mut others: Vec<Value> = Vec::new();
    let mut likely = 0.0_f32;
    for o in at.breath.others.iter().filter(|o| {
        o.first < heard.end && o.end > heard.start || o.first == o.end && heard.contains(&o.first)
    }) {
        let Some(other) = reread(s, at, o, field, kind) else {
            likely = likely.max(o.p);
            continue;
        };
        if other != value {
            likely = likely.max(o.p);
            if !others.contains(&other) {
                others.push(other);
            }
        }
    }
    if worst >= s.x.settings.doubt_from || likely >= s.x.settings.doubt_from {
        let reason = if others.is_empty() { "not heard clearly" } else { "a second listening differs" };
        push_doubt(entry, field, reason, &others);
    }
}

/// The field's value where the other reading is put in place of the words.
fn reread(
    s: &Session<'_>,
    at: &At<'_>,
    o: &crate::listen::heard::OtherReading,
    field: &str,
    kind: usize,
) -> Option<Value> {
    let mut text: Vec<&str> = at.breath.words.iter().take(o.first).map(|w| w.text.as_str()).collect();
    text.push(&o.text);
    text.extend(at.breath.words.iter().skip(o.end).map(|w| w.text.as_str()));
    let breath = crate::listen::heard::Breath::from_text(at.breath.from_s, at.breath.to_s, &text.join(" "));
    let line = Line::new(&breath, &s.x.vocabulary);
    let hits = super::hits::find(&line, &s.x.kinds, &s.x.index, &mut Candidates::default());
    let k = s.x.kinds.all.get(kind)?;
    let near = |h: &&super::hits::Hit| {
        h.kind == kind
            && matches!(h.of, super::hits::Of::Field(f, _) if k.fields.get_index(f).is_some_and(|(n, _)| n == field))
            && line.heard(h.first, h.end).end > o.first.saturating_sub(1)
    };
    let best = hits.iter().filter(near).max_by_key(|h| (h.found.weight, h.end - h.first))?;
    super::hits::value(best, &s.x.kinds)
}

/// A sentence is looked through so far.
const SENTENCE: usize = 16;
/// A breath of so many items says no more than a number.
const LITTLE: usize = 4;

/// "intraosseous, no.": a sentence that ends so may take back what it said.
pub(super) fn denied_after(s: &mut Session<'_>, at: &At<'_>) {
    for sentence in &at.sentences {
        let said = |i: &usize| at.line.items.get(*i).is_some_and(|it| it.what != What::Mark);
        let Some(end) = sentence.items.clone().rev().find(said).filter(|&i| at.line.is_word(i, "no")) else {
            continue;
        };
        let made =
            |n: &Note| n.breath == at.n && n.items.start >= sentence.items.start && n.items.start < end;
        let last = s.notes.iter().zip(&mut s.entries).rev().take_while(|(n, _)| n.breath == at.n).take(FEW);
        if let Some((_, entry)) = last.into_iter().find(|(n, _)| made(n)) {
            push_doubt(entry, "entry", "\"no\" was said after it", &[]);
        }
    }
}

/// "post op film" – "not taken", "amoxicillin …" – "she can't take that": a breath that denies, and names nothing, may take
/// back what the breath before it told.
pub(super) fn denied_next(s: &mut Session<'_>, at: &At<'_>) {
    const SHORT: usize = 8;
    const NAME: usize = 4;
    let line = &at.line;
    let words: Vec<usize> = (0..line.items.len())
        .filter(|&i| {
            line.items.get(i).is_some_and(|it| it.what != What::Mark) && line.term(i, "fillers") != Some("-")
        })
        .collect();
    let (Some(&first), Some(&last)) = (words.first(), words.last()) else { return };
    let no = |i: usize| ["negation", "negation-after", "drops"].iter().any(|class| cue(line, i, class));
    let says = |i: usize| line.atom(i).is_some() || line.term(i, "canals").is_some();
    // "not taken", "no, not today"
    let after_no = words.iter().find(|&&i| !line.is_word(i, "no")).copied().unwrap_or(first);
    let denies = cue(line, after_no, "negation-after") && at.placed.iter().all(|p| !p);
    // "she can't take that", "he's allergic so don't give that"
    let points = line.is_one_of(last, &["that", "it", "them", "those"]);
    let gives = ["take", "give", "have"].iter().any(|w| last > 0 && line.holds(last - 1, w));
    let not_given = points && gives && words.iter().any(|&i| no(i) || cue(line, i, "allergy"));
    if words.len() > SHORT || words.iter().any(|&i| says(i)) || !denies && !not_given {
        return;
    }
    let before = s.notes.iter().zip(&mut s.entries).rev().take(FEW).find(|(n, _)| n.breath < at.n);
    let Some((_, entry)) = before.filter(|(n, e)| n.breath + 1 == at.n && e.status == Status::Done) else {
        return;
    };
    let named_only =
        entry.said.split(' ').count() <= NAME && entry.values.values().all(|v| v.number().is_none());
    if denies && named_only || not_given && (named_only || entry.values.contains_key("drug")) {
        push_doubt(entry, "entry", "what was said next may take it back", &[]);
    }
}

/// A number that found no place after an entry of its sentence may be what the entry's own should be: one with the same
/// unit ("two per cent, three per cent"), or a bare one where the words turn back ("two, well, one and a half really").
pub(super) fn astray(s: &mut Session<'_>, at: &At<'_>) {
    for i in 0..at.placed.len() {
        if at.placed.get(i) != Some(&false) || at.line.atom(i).is_none() {
            continue;
        }
        let start = at.line.sentence_start(i);
        let before = |n: &Note| n.breath == at.n && n.items.start >= start && n.items.end <= i;
        let last = s.notes.iter().rev().take_while(|n| n.breath == at.n).take(FEW).position(before);
        let last = last.map(|back| s.notes.len() - 1 - back);
        let of_breath = s.notes.last().is_some_and(|n| n.breath == at.n);
        let last = last
            .or_else(|| if of_breath { None } else { s.notes.iter().rposition(|n| n.breath + 2 >= at.n) });
        let Some((note, entry)) = last.and_then(|e| s.notes.get(e).zip(s.entries.get_mut(e))) else {
            continue;
        };
        let turns = |i: usize| {
            cue(&at.line, i, "repair") || cue(&at.line, i, "unsure") || at.line.is_one_of(i, &["well", "or"])
        };
        let from = if note.breath == at.n { note.items.start } else { 0 };
        let turns_back = note.breath == at.n && (from.max(i.saturating_sub(4))..i).any(turns);
        let Some(kind) = s.x.kinds.all.get(note.kind) else { continue };
        for (name, field) in kind.fields.iter().filter(|(name, _)| note.numbers.contains(name)) {
            let Is::Number(slot) = field.is else { continue };
            let Some(value) = entry.values.get(name).and_then(Value::number) else { continue };
            let ends = |o: &slot::Reading| {
                !at.line.items.get(o.end).is_some_and(|it| it.what == What::Word)
                    || at.line.is_one_of(o.end, &["really", "actually"])
            };
            let counts = |o: &slot::Reading| o.has_unit || turns_back && ends(o);
            // "working length is twenty" – "and a half"
            let part =
                at.line.atom(i).map(|a| a.value).filter(|v| *v > Decimal::ZERO && *v < Decimal::whole(1));
            let alone = at.placed.iter().all(|p| !p) && at.placed.len() <= LITTLE || note.breath == at.n;
            if let Some(part) =
                part.filter(|_| slot == Slot::Mm && value.is_whole() && alone && note.breath + 1 >= at.n)
            {
                let whole = Value::Number(value.saturating_add(part));
                push_doubt(entry, name, "a part of a number was said after it", &[whole]);
                continue;
            }
            // "25 06, sorry, not a 25, a 30"
            let denied = at.line.is_denied(i) && at.line.atom(i).is_some_and(|a| a.value == value);
            if denied && note.breath == at.n {
                push_doubt(entry, name, "this number was denied after it", &[]);
            }
            let other = slot::read(slot, &at.line, i).filter(counts);
            // "one minute or two": the unit is not said again.
            let measured = matches!(slot, Slot::Ml | Slot::Seconds | Slot::Pct | Slot::Mg);
            let either = i > 0 && at.line.is_one_of(i - 1, &["or", "maybe", "perhaps"]);
            let bare = slot::read(Slot::Bare, &at.line, i).is_some_and(|o| ends(&o));
            if other.is_none() && measured && either && turns_back && bare {
                push_doubt(entry, name, "another number was said after it, without a unit", &[]);
            }
            let Some(other) = other else { continue };
            let fits = field.plausible.is_none_or(|(low, high)| other.value >= low && other.value <= high);
            if other.value != value && fits {
                let reason = "another number that would fit was said after it";
                push_doubt(entry, name, reason, &[Value::Number(other.value)]);
            }
        }
    }
}

/// A teen and a ten swapped: a size that jumps far past the one before it in the same canal.
fn jump(s: &Session<'_>, entry: &mut Entry, kind: usize) {
    let Some(k) = s.x.kinds.all.get(kind) else { return };
    let Some(size) = entry.values.get("size").and_then(Value::number).and_then(Decimal::to_whole) else {
        return;
    };
    if !k.each.iter().any(|e| e == "size")
        || entry.status != Status::Done
        || entry.values.get("instrument").is_some_and(|i| i.text() == Some("gates-glidden"))
    {
        return;
    }
    let last = s
        .entries
        .iter()
        .zip(&s.notes)
        .rev()
        .take(super::session::FAR_BACK)
        .find(|(e, n)| {
            n.kind == kind
                && e.review != Review::Struck
                && e.tooth == entry.tooth
                && e.canal == entry.canal
                && e.values.contains_key("size")
        })
        .and_then(|(e, _)| e.values.get("size").and_then(Value::number))
        .and_then(Decimal::to_whole);
    let (Some(last), Some(other)) = (last, slot::swapped(Decimal::whole(size)).and_then(Decimal::to_whole))
    else {
        return;
    };
    // Only where the other reading is a size that would follow.
    if size >= last.saturating_mul(3)
        && size - last >= 25
        && slot::is_standard_size(Decimal::whole(other))
        && other >= last
    {
        push_doubt(
            entry,
            "size",
            &format!("a jump from {last} to {size}"),
            &[Value::Number(Decimal::whole(other))],
        );
    }
}
