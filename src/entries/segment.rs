//! Cuts treatment speech into stretches, each of one kind: the cut whose readings together explain most.

use std::ops::Range;

use super::{
    fill::{self, Filled, Stretch},
    hits::{self, Hit, Of},
    sentence::{self, Sentence, Speech, cue},
    tears, texts,
};
use crate::{
    kinds::{Kind, Kinds, TakesTo},
    words::line::{Line, What},
};

/// At most this many boundaries in one stretch: keeps the work linear in the length of the speech.
const REACH: usize = 16;
/// At most this many items in one stretch, likewise. Only a text may be longer; its fields are then sought in this part.
pub const LONGEST: usize = 150;
/// How far from a place words that take something back are sought.
const NEAR: usize = 40;
/// What a reading must explain before it counts.
const THRESHOLD: f32 = 0.55;
/// What a further entry costs, so that one step is not cut into two. Higher costs gave a better F1 on the development
/// sessions (1.8: 0.857 against 0.855) but more numbers silently wrong (20 against 17) and entries lost (19 against 17).
const ENTRY: f32 = 1.4;

/// What an entry must explain beyond that where the sentence holds words of everyday life or of opinion.
const DOUBTFUL: f32 = 2.0;
/// Likewise for what is kept as said: people tell of their lives.
const TOLD_DOUBTFUL: f32 = 0.8;

/// A tooth that only "number" announces is none in talk ("number four's the one with the dog").
const NUMBER_SIGN: f32 = 1.55;
/// Words of a rule of at least this weight say what was not done without what the rule needs.
pub(super) const SURE: f32 = 1.4;
/// What a value costs that stands before an "and" that opens the step.
const OF_BEFORE: f32 = 1.0;
/// What "…, same in the distal" costs inside of another step.
const SAME_AGAIN: f32 = 1.5;
/// So far before a rule's words a "no" may stand that denies them ("at no point was EDTA used").
const NEAR_NO: usize = 4;
/// What it costs where ", and" and the name of such a step stand behind the step's own words: enough to turn a balance.
const ANEW: f32 = 0.2;
/// What a value costs that stands in the clause of another step.
const OF_ANOTHER: f32 = 1.5;
/// What a number costs that stands before what is denied.
const OF_DENIED: f32 = 1.0;
/// A rule of at least this weight is the step's own name.
const NAMED: f32 = 2.0;
/// What it explains that a tool of the named step stands beside the value told of it.
const USED: f32 = 0.9;
/// What a plain word costs that nothing explains.
const STRANGE: f32 = 0.1;

/// A stretch and what it was read as.
#[derive(Debug, Clone)]
pub struct Segment {
    pub items: Range<usize>,
    pub read: Option<Reading>,
}

#[derive(Debug, Clone)]
pub struct Reading {
    pub kind: usize,
    pub rule: usize,
    /// Where the rule was heard.
    pub rule_items: Range<usize>,
    pub filled: Filled,
    /// Items that a text rule took as its text.
    pub text: Option<Range<usize>>,
    /// By how much it explains more than an entry costs.
    pub margin: f32,
}

/// What was heard in a line, for cutting it.
#[derive(Debug, Clone, Copy)]
pub struct Heard<'a> {
    /// By first item.
    pub hits: &'a [Hit],
    /// For each kind which of them are its fields.
    pub fields: &'a [Vec<u32>],
    /// Items where nothing may start.
    pub inside: &'a [bool],
    /// Items that no stretch reaches over, in order.
    pub must: &'a [usize],
}

/// Cuts one run of treatment sentences.
pub fn cut(line: &Line, kinds: &Kinds, heard: Heard<'_>, run: &[Sentence]) -> Vec<Segment> {
    let Heard { hits, fields, inside, must } = heard;
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return vec![] };
    let whole = first.items.start..last.items.end;
    let first = must.partition_point(|m| *m < whole.start);
    let last = must.partition_point(|m| *m < whole.end);
    let must = must.get(first..last).unwrap_or_default();
    let mut marks = boundaries(line, kinds, hits, &whole, run);
    marks.extend(must);
    marks.sort_unstable();
    marks.dedup();
    let marks: Vec<usize> = marks
        .into_iter()
        .filter(|m| inside.get(*m) != Some(&true) && !takes_back(line, hits, &whole, *m))
        .filter(|m| !in_phrase(line, kinds, hits, *m))
        .collect();
    let n = marks.len();
    let mut best: Vec<f32> = vec![f32::NEG_INFINITY; n];
    let mut from: Vec<Option<(usize, Option<Reading>)>> = vec![None; n];
    if let Some(b) = best.first_mut() {
        *b = 0.0;
    }
    for j in 1..n {
        let inside = match marks.get(j) {
            Some(&b) if b < whole.end => tears::cost(line, kinds, hits, b),
            _ => 0.0,
        };
        for i in j.saturating_sub(REACH)..j {
            let (Some(&a), Some(&b), Some(&base)) = (marks.get(i), marks.get(j), best.get(i)) else {
                continue;
            };
            let next = must.get(must.partition_point(|m| *m <= a));
            if next.is_some_and(|m| *m < b) {
                continue;
            }
            let (score, read) = score(line, kinds, hits, fields, a..b, run);
            // Fewer cuts are better: an entry must explain more than it costs.
            let total = base + score - inside - if read.is_some() { ENTRY } else { left_out(line, a..b) };
            if best.get(j).is_some_and(|x| total > *x) {
                if let (Some(x), Some(f)) = (best.get_mut(j), from.get_mut(j)) {
                    *x = total;
                    *f = Some((i, read));
                }
            }
        }
    }
    let mut out = Vec::new();
    let mut j = n.saturating_sub(1);
    while j > 0 {
        let Some((i, read)) = from.get_mut(j).and_then(Option::take) else { break };
        if let (Some(&a), Some(&b)) = (marks.get(i), marks.get(j)) {
            out.push(Segment { items: a..b, read });
        }
        j = i;
    }
    out.reverse();
    texts::whole_texts(line, kinds, run, join(line, kinds, heard, run, out))
}

/// What it costs to leave a stretch without an entry: more where it names numbers or canals.
fn left_out(line: &Line, items: Range<usize>) -> f32 {
    items.fold(0.01, |cost, i| {
        cost + if line.atom(i).is_some() {
            0.25
        } else if line.term(i, "canals").is_some() {
            0.1
        } else {
            0.0
        }
    })
}

/// Neighbours of one kind that together say no field twice are one entry.
fn join(
    line: &Line,
    kinds: &Kinds,
    heard: Heard<'_>,
    run: &[Sentence],
    segments: Vec<Segment>,
) -> Vec<Segment> {
    let Heard { hits, fields, must, .. } = heard;
    // "I find the buccal. I find the palatal. Two canals.": what is counted together is one find.
    let status = |r: &Reading| kinds.all.get(r.kind).and_then(|k| k.rules.get(r.rule)).and_then(|r| r.status);
    let counts = |f: &Filled| f.drafts.iter().all(|d| d.canal.is_none() && !d.pieces.is_empty());
    let names =
        |r: &Reading| kinds.all.get(r.kind).is_some_and(|k| k.place == crate::kinds::Place::NamesCanals);
    let counted = segments.iter().any(|s| s.read.as_ref().is_some_and(|r| names(r) && counts(&r.filled)));
    let mut out: Vec<Segment> = Vec::new();
    for s in segments {
        if let (Some(last), Some(read)) = (out.last(), &s.read)
            && let Some(before) = &last.read
            && before.kind == read.kind
            && must.binary_search(&s.items.start).is_err()
            && status(before) == status(read)
            && before.text.is_none()
            && read.text.is_none()
            && (!says_twice(kinds, &before.filled, &read.filled)
                || lists(line, kinds, &before.filled, &read.filled, last.items.start..s.items.end))
            && !denies(line, s.items.clone(), &read.filled)
            && (counted || !finds_anew(line, kinds, before, read, last.items.start..s.items.end))
            && let (_, Some(joined)) = score(line, kinds, hits, fields, last.items.start..s.items.end, run)
            && joined.kind == read.kind
        {
            let items = last.items.start..s.items.end;
            out.pop();
            out.push(Segment { items, read: Some(joined) });
            continue;
        }
        out.push(s);
    }
    out
}

/// Do two stretches together make one list ("buccal twenty one, palatal twenty, both by locator")?
fn lists(line: &Line, kinds: &Kinds, a: &Filled, b: &Filled, items: Range<usize>) -> bool {
    let has_lead = |f: &Filled| f.drafts.iter().any(|d| d.pieces.iter().any(|p| p.lead));
    let each = kinds.all.get(a.kind).is_some_and(|k| !k.each.is_empty());
    // What is said of all may follow in a sentence of its own ("… palatal 21. Apex locator, all of them").
    let leads = |f: &Filled| {
        let last = f.drafts.iter().flat_map(|d| &d.pieces).filter(|p| p.lead).map(|p| p.items.end).max();
        last.unwrap_or_default()
    };
    let mut inside = items.start..items.end.saturating_sub(1).min(leads(a).max(leads(b)));
    let pieces = || [a, b].into_iter().flat_map(|f| &f.drafts).flat_map(|d| &d.pieces);
    let of_value = |i: usize| pieces().any(|p| p.items.contains(&i));
    let ends = |i: usize| (line.is_mark(i, ".") || line.is_mark(i, ";")) && !of_value(i);
    each && has_lead(a) && has_lead(b) && !inside.any(ends)
}

/// "MB and ML located. Distal located, further lingual.": two finds, each in a sentence of its own.
fn finds_anew(line: &Line, kinds: &Kinds, a: &Reading, b: &Reading, items: Range<usize>) -> bool {
    let names = kinds.all.get(b.kind).is_some_and(|k| k.place == crate::kinds::Place::NamesCanals);
    let canals = |r: &Reading| r.filled.drafts.iter().any(|d| d.canal.is_some());
    let ends = |i: usize| line.ends_sentence(i);
    names && canals(a) && canals(b) && a.rule == b.rule && (items.start..b.rule_items.start).any(ends)
}

/// A stretch that denies or plans has a status of its own.
fn denies(line: &Line, items: Range<usize>, filled: &Filled) -> bool {
    let valued = |i: usize| filled.drafts.iter().flat_map(|d| &d.pieces).any(|p| p.items.contains(&i));
    items.into_iter().filter(|&i| !valued(i)).any(|i| {
        ["negation", "no", "plan", "condition", "negation-after"].iter().any(|c| cue(line, i, c))
            && !sentence::takes_back(line, i)
    })
}

fn says_twice(kinds: &Kinds, a: &Filled, b: &Filled) -> bool {
    let joins = |f: &String| kinds.all.get(a.kind).and_then(|k| k.fields.get(f)).is_some_and(|f| f.joins);
    let fields = |f: &Filled| -> Vec<String> {
        f.drafts.iter().flat_map(|d| d.pieces.iter().map(|p| p.field.clone())).collect()
    };
    let (fa, fb) = (fields(a), fields(b));
    // "final film taken, periapical, post op": the same in other words.
    let word = |f: &Filled, field: &String| {
        let pieces = f.drafts.iter().flat_map(|d| &d.pieces);
        let mut values = pieces.filter(|p| p.field == *field).map(|p| p.value.clone());
        let first = values.next().flatten().filter(|v| v.text().is_some())?;
        values.all(|v| v.as_ref() == Some(&first)).then_some(first)
    };
    let again = |f: &String| word(a, f).is_some_and(|v| word(b, f) == Some(v));
    let canals = |f: &Filled| f.drafts.iter().any(|d| d.canal.is_some());
    fa.iter().any(|f| fb.contains(f) && !joins(f) && !again(f)) || canals(a) && canals(b) && !fa.is_empty()
}

/// Does item `at` replace what stands before it ("twenty, no, twenty one")? A cut there would leave the value that was
/// taken back standing, and without a doubt.
fn takes_back(line: &Line, hits: &[Hit], whole: &Range<usize>, at: usize) -> bool {
    let small = |i: usize| {
        line.items.get(i).is_some_and(|it| it.what == What::Mark) && !line.is_mark(i, ".")
            || line.term(i, "fillers").is_some()
    };
    let is_value = |i: usize| {
        line.items.get(i).is_some_and(|it| match &it.what {
            What::Number(_) => true,
            What::Term(tags, _) => {
                tags.iter().any(|t| !matches!(&*t.vocabulary, "fillers" | "cues" | "controls"))
            }
            _ => false,
        })
    };
    // The clause that is taken back, and what takes it back, hang together with what comes in its place.
    let near = whole.start.max(at.saturating_sub(NEAR))..whole.end.min(at + NEAR);
    let whole = &near;
    let Some(repair) = (at..whole.end)
        .take_while(|&i| !line.is_mark(i, ",") || i + 1 < whole.end && sentence::takes_back(line, i + 1))
        .find(|&i| sentence::takes_back(line, i))
        .or_else(|| {
            (whole.start..at)
                .rev()
                .take_while(|&i| small(i) || cue(line, i, "repair"))
                .find(|&i| sentence::takes_back(line, i))
        })
    else {
        return false;
    };
    let article = |i: usize| line.is_word(i, "a") || line.is_word(i, "an") || line.is_word(i, "the");
    let after = (repair..whole.end).find(|&i| !small(i) && !cue(line, i, "repair") && !article(i));
    let last = (whole.start..repair).rev().find(|&i| !small(i) && !cue(line, i, "repair"));
    let clause =
        (whole.start..last.unwrap_or(repair)).rev().find(|&i| line.is_mark(i, ",") || line.is_mark(i, "."));
    // "rotary twenty, mesiobuccal, or was that a twenty five": the number stands a clause before.
    let numbers = |mut r: Range<usize>| r.any(|i| line.atom(i).is_some());
    let before = clause.filter(|&c| {
        after.is_some_and(|a| line.atom(a).is_some()) && !numbers(c..repair) && numbers(whole.start..c)
    });
    let clause = match before {
        Some(c) => (whole.start..c).rev().find(|&i| line.is_mark(i, ",") || line.is_mark(i, ".")),
        None => clause,
    };
    let first = clause.map_or(whole.start, |c| c + 1);
    at > first
        && last.is_some_and(|b| {
            let field = |h: &Hit| h.end == b + 1 && matches!(h.of, Of::Field(..));
            let before = b.saturating_sub(NEAR)..b + 1;
            is_value(b) || line.unit(b).is_some() || hits::within(hits, &before).any(field)
        })
        && after.is_some_and(|a| {
            let field = |h: &Hit| matches!(h.of, Of::Field(..));
            at <= a && (is_value(a) || hits::within(hits, &(a..a + 1)).any(field))
        })
}

/// What is said of instructions, and is none.
const GIVEN: &[&str] = &["given", "over", "handed", "explained", "provided", "done", "out", "issued"];

/// Stands item `at` inside words that together are one value ("hypochlorite | extrusion")?
fn in_phrase(line: &Line, kinds: &Kinds, hits: &[Hit], at: usize) -> bool {
    const LONGEST: usize = 4;
    let whole = |h: &Hit| {
        (h.first..h.end)
            .all(|i| line.items.get(i).is_some_and(|it| matches!(it.what, What::Word | What::Term(..))))
    };
    let from = hits.partition_point(|h| h.first + LONGEST < at);
    hits.iter().skip(from).take_while(|h| h.first < at).any(|h| {
        h.end > at && h.end - h.first <= LONGEST && h.found.weight > 1 && is_fixed(kinds, h) && whole(h)
    })
}

/// Where a stretch may start: sentences, what opens an entry, canals, fields after a mark or joiner.
fn boundaries(
    line: &Line,
    kinds: &Kinds,
    hits: &[Hit],
    whole: &Range<usize>,
    run: &[Sentence],
) -> Vec<usize> {
    let mut out = vec![whole.start, whole.end];
    out.extend(run.iter().map(|s| s.items.start));
    let after_mark = |i: usize| {
        i > 0
            && (line.items.get(i - 1).is_some_and(|it| it.what == What::Mark)
                || line.term(i - 1, "cues").is_some()
                || matches!(line.text(i - 1), "and" | "with" | "then" | "the" | "to" | "in")
                || i > 1
                    && line.is_word(i - 1, "a")
                    && (line.is_word(i - 2, "and") || line.is_mark(i - 2, ",")))
    };
    for h in hits::within(hits, whole) {
        if let Of::Rule(r) = h.of
            && kinds
                .all
                .get(h.kind)
                .and_then(|k| k.rules.get(r)?.takes.as_ref())
                .is_some_and(|t| t.to == TakesTo::Next)
        {
            // The text ends at the next comma: something else may start there.
            out.extend(Some(line.next_comma(h.end)).filter(|i| *i < whole.end).map(|i| i + 1));
        }
        if matches!(h.of, Of::Rule(_)) || after_mark(h.first) {
            out.push(h.first);
        }
    }
    for i in whole.clone() {
        if line.term(i, "canals").is_some()
            || cue(line, i, "then")
            || i > whole.start && is_same_elsewhere(line, i)
            || i > whole.start
                && line.is_mark(i - 1, ",")
                && sentence::denies_from(line, i)
                && !is_denied_value(kinds, hits, i)
            || line.atom(i).is_some() && (i == whole.start || line.atom(i - 1).is_none())
        {
            out.push(i);
        }
    }
    out.sort_unstable();
    out.dedup();
    // A joiner or article goes with what follows it.
    for x in out.iter_mut().skip(1) {
        let mut i = *x;
        while i > whole.start + 1
            && i < whole.end
            && *x - i < 6
            && (cue(line, i - 1, "no") && !sentence::takes_back(line, i - 1)
                || matches!(
                    line.text(i - 1),
                    "the" | "a" | "an" | "with" | "and" | "in" | "to" | "size" | "number" | "of"
                ) && line.items.get(i - 1).is_some_and(|it| it.what == What::Word))
        {
            i -= 1;
        }
        *x = i;
    }
    out.sort_unstable();
    out.dedup();
    out
}

fn score(
    line: &Line,
    kinds: &Kinds,
    hits: &[Hit],
    fields: &[Vec<u32>],
    items: Range<usize>,
    run: &[Sentence],
) -> (f32, Option<Reading>) {
    let long = items.len() > LONGEST;
    let items_here = items.start..items.end.min(items.start + LONGEST);
    let stretch = Stretch { line, kinds, hits, fields, items: items_here };
    let rules: Vec<&Hit> = stretch.inside().filter(|h| matches!(h.of, Of::Rule(_))).collect();
    let weight = |h: &Hit| match h.of {
        Of::Rule(r) => kinds.all.get(h.kind).and_then(|k| k.rules.get(r)).map_or(0.0, |r| r.weight),
        Of::Field(..) => 0.0,
    };
    // "risks of file fracture, perforation and flare up explained": named among what was told.
    let named = |o: &Hit| {
        let classes = kinds.all.get(o.kind).map_or(&[][..], |k| &k.not_after);
        let from = line.sentence_start(o.first).max(o.first.saturating_sub(NEAR))..o.first;
        classes.iter().any(|class| from.clone().any(|i| cue(line, i, class)))
    };
    let mut best: (f32, Option<Reading>) = (0.0, None);
    let mut seen: Vec<usize> = Vec::new();
    for h in &rules {
        if named(h) {
            continue;
        }
        if seen.contains(&h.kind) {
            continue;
        }
        seen.push(h.kind);
        let Some(kind) = kinds.all.get(h.kind) else { continue };
        let mine = |h2: &&&Hit| h2.kind == h.kind;
        let Some(top) = rules.iter().filter(mine).max_by(|a, b| {
            let key = |h: &Hit| weight(h) + 0.05 * f32::from(u8::try_from(h.end - h.first).unwrap_or(9));
            key(a).total_cmp(&key(b)).then(b.first.cmp(&a.first))
        }) else {
            continue;
        };
        let Of::Rule(r) = top.of else { continue };
        let Some(rule) = kind.rules.get(r) else { continue };
        if long && rule.takes.is_none() {
            continue;
        }
        let doubtful = sentence::of_item(run, top.first).is_some_and(|s| s.speech == Speech::Doubtful);
        // A tooth is named in passing talk, too.
        let names = kind.place == crate::kinds::Place::NamesTeeth && weight(top) > NUMBER_SIGN;
        let cost = if rule.takes.is_some() { TOLD_DOUBTFUL } else { DOUBTFUL };
        let denied = is_denied(line, top);
        // "didn't use EDTA, we're out of it till Friday": what was not done is told.
        let from = line.clause_start(top.first).max(top.first.saturating_sub(LONGEST));
        let clause = from..top.end.max(line.next_comma(top.end).min(top.end + NEAR_NO));
        let negates = |i: usize| {
            cue(line, i, "negation-after") || cue(line, i, "negation") && !sentence::takes_back(line, i)
        };
        let costs = doubtful && !names && !denied && !clause.into_iter().any(negates);
        let mut score = weight(top) - if costs { cost } else { 0.0 };
        let mut text = None;
        if let Some(takes) = &rule.takes {
            let next = texts::next_told(kinds, hits, top);
            // "medical history no allergies": the "no" that a longer way of saying the rule ends with is of the text.
            let alike = rules.iter().filter(|h| h.kind == top.kind && h.of == top.of && h.first == top.first);
            let end = alike.map(|h| h.end).min().unwrap_or(top.end);
            let Some(range) =
                texts::text_range(line, takes.to, takes.with_rule, top.first..end, &items, run, next)
            else {
                continue;
            };
            // "post op instructions given": the rule's own words are all that was said.
            let bare = range.clone().all(|i| {
                line.items.get(i).is_some_and(|it| it.what == What::Mark) || line.is_one_of(i, GIVEN)
            });
            // "no history of bleeding": the "no" is of the text.
            let from = line.clause_start(top.first).max(items.start).max(top.first.saturating_sub(NEAR_NO));
            let no = (from..top.first).find(|&i| kind.facts && cue(line, i, "no"));
            text = Some(match (no, bare) {
                (Some(no), _) => no..range.end.max(items.end),
                (_, true) => top.first..items.end,
                _ => range,
            });
        } else if !(denied && rule.weight >= SURE)
            && kind.rest.is_none()
            && rule.needs.iter().any(|f| f.split('|').all(|f| f != "canal"))
            && !stretch.has_fields(h.kind)
        {
            continue;
        }
        if rule.takes.as_ref().is_some_and(|t| t.to == TakesTo::Sentence) {
            // The further it tells, the surer it is no step.
            score += 0.08 * f32::from(u8::try_from(items.len().min(20)).unwrap_or(20));
        }
        let loose = rule.takes.as_ref().is_some_and(|t| t.to == TakesTo::WholeSentence);
        if loose {
            score += 0.02 * f32::from(u8::try_from(items.len().min(60)).unwrap_or(60));
            for other in rules.iter().filter(|o| o.kind != h.kind && weight(o) >= 1.0 && !named(o)) {
                score -= 0.5 * weight(other).min(2.0);
            }
        }
        let counts = |score: f32| score > THRESHOLD && score > best.0;
        if text.is_some() && !counts(score) {
            continue;
        }
        let Some(filled) = fill::fill(&stretch, h.kind) else { continue };
        if text.is_none() {
            let has = |f: &String| {
                // "count|canal": one of these.
                f.split('|').any(|f| {
                    filled.drafts.iter().all(|d| d.pieces.iter().any(|p| p.field == f))
                        || f == "canal" && filled.drafts.iter().any(|d| d.canal.is_some())
                })
            };
            if !(denied && rule.weight >= SURE) && !rule.needs.iter().all(has) {
                continue;
            }
            score += filled.score;
            if rule.weight >= NAMED && uses_beside_its_lead(line, kind, &items, &filled) {
                score += USED;
            }
            score -= unexplained(line, kinds, &rules, top, &filled);
            score -= strange(line, &items, top, &filled);
            if !filled.same
                && (items.start + 1..items.end).any(|i| i > top.first && is_same_elsewhere(line, i))
            {
                score -= SAME_AGAIN;
            }
            if of_what_stood_before(line, &items, top, &filled) {
                score -= OF_BEFORE;
            }
            let before = |p: &fill::Piece| {
                kind.own_clause.contains(&p.field) && p.items.end <= line.clause_start(top.first)
            };
            if filled.drafts.iter().flat_map(|d| &d.pieces).any(before) {
                score -= OF_ANOTHER;
            }
            if begins_anew(line, &rules, top, &items) {
                score -= ANEW;
            }
            if of_what_is_denied(line, top, &filled) {
                score -= OF_DENIED;
            }
        }
        if counts(score) {
            let reading = Reading {
                kind: h.kind,
                rule: r,
                rule_items: top.first..top.end,
                filled,
                text,
                margin: score - ENTRY,
            };
            best = (score, Some(reading));
        }
    }
    best
}

/// "glide path, K file fifteen": what the named step uses, beside what is told of it, is of it.
fn uses_beside_its_lead(line: &Line, kind: &Kind, items: &Range<usize>, filled: &Filled) -> bool {
    let used = |i: usize| items.contains(&i) && kind.uses.iter().any(|v| line.term(i, v).is_some());
    let leads = filled.drafts.iter().flat_map(|d| &d.pieces).filter(|p| p.lead && p.value.is_some());
    leads.into_iter().any(|p| p.items.start.checked_sub(1).is_some_and(used) || used(p.items.end))
}

/// "no tug-back": a value with its "no", and no step that was left out.
fn is_denied_value(kinds: &Kinds, hits: &[Hit], i: usize) -> bool {
    hits::within(hits, &(i..i + 1)).any(|h| is_fixed(kinds, h))
}

/// Do a hit's words stand for one value, whatever stands around them?
fn is_fixed(kinds: &Kinds, hit: &Hit) -> bool {
    match hit.of {
        Of::Field(f, n) => kinds
            .all
            .get(hit.kind)
            .and_then(|k| k.fields.get_index(f)?.1.hear.get(n))
            .is_some_and(|heard| heard.gives.is_some()),
        Of::Rule(_) => false,
    }
}

/// ", same in the distal": the step before once more, in another canal.
fn is_same_elsewhere(line: &Line, i: usize) -> bool {
    i > 0
        && line.is_mark(i - 1, ",")
        && line.term(i, "same") == Some("*")
        && (i + 1..i + 4).any(|k| line.term(k, "canals").is_some())
}

/// "no working length today": right behind a "no" a rule's words alone say what was not done.
fn is_denied(line: &Line, top: &Hit) -> bool {
    let no = top.first.checked_sub(1).filter(|&i| cue(line, i, "no") && !sentence::takes_back(line, i));
    no.is_some_and(|no| {
        no == 0 || line.opens_sentence(no) || line.is_mark(no - 1, ",") || line.is_word(no - 1, "but")
    })
}

/// "… one minute, and hypochlorite two mils": what stands before the "and" is of the step before it.
fn of_what_stood_before(line: &Line, items: &Range<usize>, top: &Hit, filled: &Filled) -> bool {
    let joins = |i: usize| line.is_word(i, "and") || line.is_word(i, "then");
    // "for one minute and saline last"
    let measured = |i: usize| i > 0 && line.unit(i - 1).is_some() && i + 1 == top.first;
    // "to length and recap with the ten"
    let leads = |i: usize| line.is_word(i, "and") && i + 1 == top.first;
    let opens = |i: usize| line.is_mark(i, ",") && joins(i + 1) || joins(i) && (measured(i) || leads(i));
    let near = items.start.max(top.first.saturating_sub(NEAR_NO))..top.first;
    let pieces = || filled.drafts.iter().flat_map(|d| &d.pieces);
    near.rev().find(|&i| opens(i)).is_some_and(|at| {
        let number = |p: &fill::Piece| p.value.as_ref().is_some_and(|v| v.number().is_some());
        pieces().any(|p| !p.lead && p.items.end <= at && number(p))
            && !pieces().any(|p| p.lead && p.items.end <= at)
    })
}

/// "one cartridge of lidocaine, and a long buccal, half a cartridge": does another step of the kind begin behind ", and"?
fn begins_anew(line: &Line, rules: &[&Hit], top: &Hit, items: &Range<usize>) -> bool {
    let anew = |h: &&&Hit| {
        let small = |i: usize| line.is_one_of(i, &["a", "the", "another", "then"]);
        let first = if h.first > 0 && small(h.first - 1) { h.first - 1 } else { h.first };
        h.kind == top.kind
            && h.first >= top.end
            && first > items.start + 1
            && line.is_word(first - 1, "and")
            && line.is_mark(first - 2, ",")
    };
    rules.iter().any(|h| anew(&h))
}

/// "saline two mil, no hypochlorite": what stands before the "no" is not of what is denied.
fn of_what_is_denied(line: &Line, top: &Hit, filled: &Filled) -> bool {
    let no = |i: usize| cue(line, i, "no") && !sentence::takes_back(line, i);
    let near = top.first.saturating_sub(NEAR_NO)..top.first;
    let mut pieces = filled.drafts.iter().flat_map(|d| &d.pieces);
    near.rev().find(|&i| no(i)).is_some_and(|no| {
        pieces.any(|p| p.items.end <= no && p.items.clone().any(|i| line.atom(i).is_some()))
    })
}

/// What plain words cost that neither the rule nor a field explains: many of them mean that something else is told.
fn strange(line: &Line, items: &Range<usize>, top: &Hit, filled: &Filled) -> f32 {
    let pieces = || filled.drafts.iter().flat_map(|d| &d.pieces);
    let strange = items
        .clone()
        .filter(|&i| matches!(line.items.get(i).map(|it| &it.what), Some(What::Word)))
        .filter(|&i| !(top.first..top.end).contains(&i) && !super::amend::SMALL.contains(&line.text(i)))
        .filter(|&i| !pieces().any(|p| p.items.contains(&i)))
        .count();
    STRANGE * f32::from(u8::try_from(strange.saturating_sub(1)).unwrap_or(u8::MAX))
}

/// What the sure signs of other kinds inside the stretch cost, where this reading leaves them without a place.
fn unexplained(line: &Line, kinds: &Kinds, rules: &[&Hit], top: &Hit, filled: &Filled) -> f32 {
    let pieces = || filled.drafts.iter().flat_map(|d| &d.pieces);
    let uses = kinds.all.get(top.kind).map_or(&[][..], |k| &k.uses);
    let taken = |i: usize| {
        pieces().any(|p| p.items.contains(&i))
            || (top.first..top.end).contains(&i)
            || uses.iter().any(|v| line.term(i, v).is_some())
    };
    let says = |i: usize| {
        line.items.get(i).is_some_and(|it| match &it.what {
            What::Number(_) => true,
            What::Term(tags, _) => {
                tags.iter().any(|t| !matches!(&*t.vocabulary, "fillers" | "cues" | "canals"))
            }
            _ => false,
        })
    };
    let mut worst: Vec<(usize, f32)> = Vec::new();
    for other in rules.iter().filter(|o| o.kind != top.kind) {
        let Of::Rule(r) = other.of else { continue };
        let weight = kinds.all.get(other.kind).and_then(|k| k.rules.get(r)).map_or(0.0, |r| r.weight);
        let explained = top.first <= other.first && top.end >= other.end
            || (other.first..other.end).any(says) && (other.first..other.end).filter(|&i| says(i)).all(taken)
            || pieces().any(|p| p.items.start <= other.first && p.items.end >= other.end);
        if weight < 1.0 || explained {
            continue;
        }
        match worst.iter_mut().find(|(k, _)| *k == other.kind) {
            Some((_, w)) => *w = w.max(weight),
            None => worst.push((other.kind, weight)),
        }
    }
    worst.iter().map(|(_, w)| 0.5 * w.min(2.0)).sum()
}
