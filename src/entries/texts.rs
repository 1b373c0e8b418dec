//! What is kept as it was said: where such a text begins and ends.

use std::ops::Range;

use super::{
    breath::At,
    hits::{Hit, Of},
    segment::{Reading, Segment},
    sentence::{self, Sentence},
};
use crate::{
    kinds::{Kinds, TakesTo},
    words::line::{Line, What},
};

/// A text that may be a whole sentence takes in what stands beside it in its sentence: parts without an entry, and texts
/// of the same sort ("fit and well, no medication, …").
pub(super) fn whole_texts(
    line: &Line,
    kinds: &Kinds,
    run: &[Sentence],
    segments: Vec<Segment>,
) -> Vec<Segment> {
    let rule = |r: &Reading| kinds.all.get(r.kind).and_then(|k| k.rules.get(r.rule));
    let wide = |s: &Segment| {
        s.read.as_ref().is_some_and(|r| {
            r.text.is_some()
                && rule(r)
                    .is_some_and(|rule| rule.takes.as_ref().is_some_and(|t| t.to == TakesTo::WholeSentence))
        })
    };
    let same_sentence = |a: &Segment, b: &Segment| {
        sentence::of_item(run, a.items.start).is_some_and(|s| s.items.contains(&b.items.start))
    };
    let alike = |a: &Segment, b: &Segment| match (&a.read, &b.read) {
        (Some(x), Some(y)) => {
            x.kind == y.kind && rule(x).map(|r| &r.sets) == rule(y).map(|r| &r.sets) && wide(a) && wide(b)
        }
        _ => false,
    };
    let says =
        |s: &Segment| s.items.clone().any(|i| line.items.get(i).is_some_and(|it| it.what != What::Mark));
    let mut out: Vec<Segment> = Vec::new();
    for s in segments {
        let Some(last) = out.last_mut().filter(|l| same_sentence(l, &s)) else {
            out.push(s);
            continue;
        };
        let grown = last.items.start..s.items.end;
        let takes_next = wide(last) && (s.read.is_none() || alike(last, &s));
        let takes_last = wide(&s) && last.read.is_none() && says(last);
        if takes_next || takes_last {
            let mut read = if takes_next { last.read.take() } else { s.read };
            if let Some(r) = &mut read {
                r.text = Some(grown.clone());
            }
            *last = Segment { items: grown, read };
        } else {
            out.push(s);
        }
    }
    out
}

/// Where the next thing that is kept as said begins ("identity confirmed | medical history no changes").
pub(super) fn next_told(kinds: &Kinds, hits: &[Hit], rule: &Hit) -> Option<usize> {
    let from = hits.partition_point(|h| h.first < rule.end);
    let told = |h: &&Hit| match h.of {
        Of::Rule(r) => kinds
            .all
            .get(h.kind)
            .and_then(|k| k.rules.get(r))
            .is_some_and(|other| other.takes.is_some() && (h.kind != rule.kind || h.of != rule.of)),
        Of::Field(..) => false,
    };
    hits.iter().skip(from).find(told).map(|h| h.first)
}

/// The items that a text rule takes; nothing where the stretch is not the one it wants.
pub(super) fn text_range(
    line: &Line,
    to: TakesTo,
    with_rule: bool,
    rule: Range<usize>,
    items: &Range<usize>,
    run: &[Sentence],
    next: Option<usize>,
) -> Option<Range<usize>> {
    let sentence = sentence::of_item(run, rule.start)?;
    let breath_end = run.last()?.items.end;
    let end = match to {
        TakesTo::Breath => breath_end,
        TakesTo::Sentence | TakesTo::WholeSentence => sentence.items.end,
        TakesTo::Next => {
            let end = sentence.items.end.min(line.next_comma(rule.end) + 1);
            end.min(next.unwrap_or(end))
        }
    };
    // "identity was checked | and the consent form was signed": what joins the next text belongs to neither.
    let joins = |i: usize| line.is_one_of(i, &["the", "a", "an", "and"]);
    let joined = to == TakesTo::Next && next == Some(end) && items.end < end && (items.end..end).all(joins);
    if to != TakesTo::WholeSentence && items.end != end && !joined {
        return None;
    }
    let end = end.min(items.end);
    if to == TakesTo::WholeSentence {
        let clause = items.start > sentence.items.start
            && (line.is_mark(items.start - 1, ",")
                || line.is_word(items.start - 1, "and")
                || line.is_word(items.start, "and"));
        return (items.start == sentence.items.start || clause).then(|| items.clone());
    }
    // "it's weeping, so": it goes on elsewhere.
    let last = (rule.end..end).rev().find(|&i| line.items.get(i).is_some_and(|it| it.what != What::Mark));
    if last.is_some_and(|i| i > rule.end && line.is_one_of(i, &["so", "because", "but"])) {
        return None;
    }
    let start = if with_rule { rule.start } else { rule.end };
    Some(start..end)
}

/// A text without the fillers and marks at its ends.
pub(super) fn tidy(said: &str, at: &At<'_>, items: &Range<usize>) -> String {
    let mut start = items.start;
    while start < items.end
        && (at.line.term(start, "fillers").is_some()
            || at.line.items.get(start).is_some_and(|it| it.what == What::Mark))
    {
        start += 1;
    }
    let text = if start > items.start { at.said(&(start..items.end)).0 } else { said.to_owned() };
    text.trim_matches(|c: char| c.is_whitespace() || matches!(c, ',' | '.' | ':' | ';' | '-')).to_owned()
}
