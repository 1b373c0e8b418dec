//! How likely it is that a step is none: what speaks for it and against it, weighed by a fitted table.

use std::{collections::HashMap, ops::Range, sync::LazyLock};

use super::{fill::Draft, segment::Reading, sentence::cue, session::At};
use crate::{
    kinds::Place,
    log::{Entry, Status},
    words::{line::What, vocabulary::rows},
};

/// A step of which more than this share of its like were none is shown with a doubt.
const FROM: f64 = 0.12;

/// Words of these classes are of talk rather than of work.
const TALK: &[&str] = &[
    "day", "fact", "talk", "audience", "question", "you", "patient", "restate", "general", "reason",
    "beside", "existing", "removal", "request", "unsure",
];

static WEIGHTS: LazyLock<HashMap<&'static str, f64>> = LazyLock::new(|| {
    rows(include_str!("steps.tsv"))
        .into_iter()
        .filter_map(|row| match row.as_slice() {
            [sign, weight, ..] => Some((*sign, weight.parse().ok()?)),
            _ => None,
        })
        .collect()
});

/// Is it likely enough that nobody meant this step? `told` are the plain words around it that belong to nothing.
pub(super) fn is_unlikely(
    at: &At<'_>,
    items: &Range<usize>,
    reading: &Reading,
    draft: &Draft,
    entry: &Entry,
    told: usize,
    place: Place,
) -> bool {
    // "no perforation": said outright, and nothing else.
    let denied = entry.status == Status::NotDone && cue(&at.line, items.start, "no");
    if denied && items.clone().all(|i| i == items.start || reading.rule_items.contains(&i)) {
        return false;
    }
    let signs = signs(at, items, reading, draft, entry, told, place);
    let weight = |sign: &str| WEIGHTS.get(sign).copied().unwrap_or_default();
    let sum: f64 = weight("always")
        + weight(&entry.kind)
        + signs.iter().filter(|(_, n)| *n > 0.0).map(|(sign, n)| weight(sign) * n).sum::<f64>();
    let share = 1.0 / (1.0 + (-sum).exp());
    tracing::trace!(said = entry.said, kind = entry.kind, share, ?signs);
    share >= FROM
}

#[expect(clippy::cast_precision_loss, reason = "counts of words")]
fn signs(
    at: &At<'_>,
    items: &Range<usize>,
    reading: &Reading,
    draft: &Draft,
    entry: &Entry,
    told: usize,
    place: Place,
) -> [(&'static str, f64); 16] {
    let line = &at.line;
    let is_word = |i: &usize| line.items.get(*i).is_some_and(|it| it.what != What::Mark);
    let sentence = line.sentence_start(items.start).max(items.start.saturating_sub(super::session::NEAR))
        ..line.sentence_end(items.end.saturating_sub(1)).min(items.end + super::session::NEAR);
    // What the step, its list, its text and whatever was placed before it explain is not left out.
    let mut explained = vec![false; sentence.len()];
    let mut explain = |items: &Range<usize>| {
        let own = items.start.max(sentence.start) - sentence.start
            ..items.end.min(sentence.end).max(sentence.start) - sentence.start;
        explained.get_mut(own).unwrap_or_default().fill(true);
    };
    explain(&reading.rule_items);
    reading.text.iter().for_each(&mut explain);
    for draft in &reading.filled.drafts {
        draft.pieces.iter().map(|p| &p.items).for_each(&mut explain);
        draft.canal.iter().map(|c| &c.items).for_each(&mut explain);
    }
    let placed = |i: usize| at.placed.get(i) == Some(&true);
    let covered = sentence
        .clone()
        .zip(explained)
        .filter(|(i, explained)| is_word(i) && (*explained || placed(*i)))
        .count();
    let words = sentence.clone().filter(is_word).count().max(1);
    let talk = sentence.clone().filter(|&i| TALK.iter().any(|class| cue(line, i, class))).count();
    let numbers = entry.values.values().filter(|v| v.number().is_some()).count();
    let (values, text) = (draft.pieces.len(), reading.text.as_ref().map(Range::len));
    let heard = at.breath.words.get(line.heard(items.start, items.end)).unwrap_or_default();
    let in_doubt = heard.iter().map(|w| f64::from(w.p_wrong)).sum::<f64>() / heard.len().max(1) as f64;
    let yes = |x: bool| f64::from(u8::from(x));
    [
        ("margin", f64::from((3.0 - reading.margin).clamp(0.0, 3.0))),
        ("left-out", words.saturating_sub(covered) as f64 / words as f64),
        ("told", told.min(6) as f64),
        ("pieces", values.min(4) as f64),
        ("numbers", numbers.min(3) as f64),
        ("no-value", yes(values == 0 && text.is_none())),
        ("text", yes(text.is_some())),
        ("text-words", text.unwrap_or(0).min(20) as f64),
        ("carried", yes(entry.carried.iter().any(|c| c == "canal"))),
        ("then", yes(sentence.clone().any(|i| cue(line, i, "then")))),
        ("starts", yes(reading.rule_items.start == sentence.start)),
        ("talk", talk.min(4) as f64),
        ("short", yes(items.clone().filter(is_word).count() <= 2)),
        ("not-done", yes(entry.status == Status::NotDone)),
        ("of-tooth", yes(place == Place::Tooth)),
        ("heard", in_doubt),
    ]
}
