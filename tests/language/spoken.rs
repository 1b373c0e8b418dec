//! Dictation by the hour, for measuring and for mutation: the examples and silent cases of the kinds, and the lines of
//! `tests/data/language/cases.tsv`.

use tugback::{kinds, listen::heard::Breath};

/// So many words are spoken in an hour of treatment.
#[allow(dead_code, reason = "the bench's measure")]
pub(crate) const HOUR: usize = 9000;

/// All lines, each a breath or several, apart by ` // `.
pub(crate) fn lines() -> Vec<String> {
    let kinds = kinds::BUILT_IN.all.iter();
    let own = kinds.flat_map(|k| k.examples.iter().map(|x| &x.said).chain(k.silent.iter().map(|x| &x.said)));
    let cases = include_str!("../data/language/cases.tsv").lines().filter_map(|row| {
        match row.trim_start_matches("#todo ").split('\t').collect::<Vec<_>>().as_slice() {
            [_, "log", said, _] => Some((*said).to_owned()),
            _ => None,
        }
    });
    own.cloned().chain(cases).collect()
}

/// At least so many words of dictation, breath after breath.
pub(crate) fn dictation(words: usize) -> Vec<Breath> {
    let lines = lines();
    let breaths = lines.iter().flat_map(|l| l.split(" // ")).cycle();
    let (mut at_s, mut seen) = (0.0, 0);
    breaths
        .map(|said| {
            let breath = Breath::from_text(at_s, at_s + 3.5, said);
            at_s += 4.0;
            breath
        })
        .take_while(|b| {
            let goes_on = seen < words;
            seen += b.words.len();
            goes_on
        })
        .collect()
}
