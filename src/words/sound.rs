//! Which trade term a misspelled word sounds like. Ordinary English words are never taken for a term.

use std::{collections::HashSet, sync::LazyLock};

use rphonetic::{DoubleMetaphone, Encoder};

/// Ordinary words that stand near a term in sound or letters.
static PLAIN: LazyLock<HashSet<&'static str>> = LazyLock::new(|| {
    crate::words::vocabulary::rows(include_str!("../tables/speech/plain_words.tsv"))
        .into_iter()
        .flat_map(|row| row.into_iter().next().unwrap_or_default().split(' '))
        .collect()
});

pub(crate) fn is_plain(word: &str) -> bool {
    PLAIN.contains(word)
}

/// How a word sounds, in letters.
pub(crate) fn key(word: &str) -> String {
    DoubleMetaphone::new(Some(12)).encode(word)
}

/// The cost of taking `word` for `term`: 0 sounds the same; nothing where they are too far apart. The first letters must
/// agree in sound, since recognisers rarely miss the start of a long word.
pub(crate) fn distance(word: &str, word_key: &str, term: &str, term_key: &str) -> Option<usize> {
    let lengths = word.len().abs_diff(term.len());
    if lengths > 3 || word_key.chars().next() != term_key.chars().next() {
        return None;
    }
    if word_key == term_key && word_key.len() >= 4 {
        return Some(0);
    }
    let edits = strsim::osa_distance(word, term);
    let sounds = strsim::osa_distance(word_key, term_key);
    let allowed =
        if term.len() >= 10 { 3 } else { usize::from(term.len() >= 7) + usize::from(term.len() >= 9) };
    (edits <= allowed && sounds <= 1).then_some(edits + sounds)
}
