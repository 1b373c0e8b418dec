//! One spelling for words that the United Kingdom, the United States and recognisers write differently.

use std::{collections::HashMap, sync::LazyLock};

static ROWS: LazyLock<Spellings> = LazyLock::new(|| {
    let mut s = Spellings::default();
    for row in crate::words::vocabulary::rows(include_str!("../tables/speech/spellings.tsv")) {
        if let [from, to, ..] = row.as_slice() {
            match from.strip_suffix('*') {
                Some(stem) => s.stems.push((stem.to_owned(), to.trim_end_matches('*').to_owned())),
                None => drop(s.whole.insert((*from).to_owned(), (*to).to_owned())),
            }
        }
    }
    s
});

#[derive(Default)]
struct Spellings {
    whole: HashMap<String, String>,
    stems: Vec<(String, String)>,
}

/// The spelling that tables and kinds use. `word` is in lower case.
pub fn one(word: &str) -> String {
    if let Some(to) = ROWS.whole.get(word) {
        return to.clone();
    }
    for (from, to) in &ROWS.stems {
        if let Some(rest) = word.strip_prefix(from.as_str()) {
            return format!("{to}{rest}");
        }
    }
    word.to_owned()
}
