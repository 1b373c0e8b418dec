//! Words that sound like numbers ("won ml", "size for tea"): numbers only where a number must stand, and doubted.

use std::sync::LazyLock;

use super::{
    Decimal,
    number::{Atom, Form},
    token::{Shape, Token},
    vocabulary::rows,
};

/// Words, longest first, and the number that they sound like. The table is `src/tables/speech/homophones.tsv`.
static ROWS: LazyLock<Vec<(Vec<&'static str>, i64)>> = LazyLock::new(|| {
    let mut all: Vec<_> = rows(include_str!("../tables/speech/homophones.tsv"))
        .into_iter()
        .filter_map(|row| match row.as_slice() {
            [words, n, ..] => Some((words.split(' ').collect::<Vec<_>>(), n.parse().ok()?)),
            _ => None,
        })
        .collect();
    all.sort_by_key(|(words, _)| std::cmp::Reverse(words.len()));
    all
});

/// The number that the words at `i` sound like, where the words beside demand one. `is_unit` tells of tokens.
pub(super) fn atom(tokens: &[Token], i: usize, is_unit: &dyn Fn(usize) -> bool) -> Option<Atom> {
    let word = |k: usize| tokens.get(k).filter(|t| t.shape == Shape::Word).map(|t| t.text.as_str());
    let (words, n) =
        ROWS.iter().find(|(words, _)| words.iter().enumerate().all(|(k, w)| word(i + k) == Some(w)))?;
    let end = i + words.len();
    let small = matches!(words.as_slice(), ["to" | "for" | "too"]);
    let sized = i > 0
        && (word(i - 1) == Some("size")
            || !small && word(i - 1) == Some("number")
            || tokens.get(i - 1).is_some_and(|t| t.is_mark("#")));
    // "back to file …" says no ten.
    let tool = matches!(word(end), Some("file" | "reamer")) && !small;
    if !(is_unit(end) || sized || tool) {
        return None;
    }
    let form = match n {
        0..=9 => Form::Digit,
        10..=19 => Form::Teen,
        _ => Form::Ten,
    };
    let reason = format!("\"{}\" was heard, which sounds like {n}", words.join(" "));
    Some(Atom { value: Decimal::whole(*n), first: i, end, form, doubt: Some((reason, vec![])) })
}
