//! The vocabularies in `src/tables/words/*.tsv`: what is said, and the term of the contract that it stands for.
//!
//! A row is `spoken forms` TAB `value` TAB `note`. Forms are separated by `|`. A form in capitals is spelled ("EDTA" is
//! also heard as "e d t a" and "ed ta"). The value `=` is the form itself, as said ("grade one" → "grade-one"). A form that starts with `~` is also found by its sound. The file's name is the
//! vocabulary's name; a form may stand in several vocabularies.

use std::{
    collections::HashMap,
    sync::{Arc, LazyLock},
};

use include_dir::{Dir, include_dir};

static FILES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/src/tables/words");

/// The program's own vocabularies.
pub static BUILT_IN: LazyLock<Arc<Vocabulary>> = LazyLock::new(|| Arc::new(Vocabulary::built_in()));

/// Rows of a TSV text without comments and empty lines.
pub fn rows(text: &str) -> Vec<Vec<&str>> {
    text.lines()
        .filter(|l| !l.trim().is_empty() && !l.starts_with('#'))
        .map(|l| l.split('\t').map(str::trim).collect())
        .collect()
}

/// A term of a vocabulary: `irrigants`, `edta`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Tag {
    pub vocabulary: Arc<str>,
    pub value: Arc<str>,
}

/// All spoken forms, by their first word.
#[derive(Debug, Default, Clone)]
pub struct Vocabulary {
    forms: HashMap<String, Vec<Form>>,
    by_sound: Vec<Sounding>,
    names: HashMap<Arc<str>, Vec<Arc<str>>>,
}

#[derive(Debug, Clone)]
struct Form {
    words: Vec<String>,
    tags: Vec<Tag>,
}

#[derive(Debug, Clone)]
struct Sounding {
    word: String,
    key: String,
    tag: Tag,
}

/// A form that was found: how many words it took and what it may stand for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    pub len: usize,
    pub tags: Vec<Tag>,
    /// Found by its sound only.
    pub by_sound: bool,
}

impl Vocabulary {
    fn built_in() -> Self {
        let mut v = Self::default();
        let mut files: Vec<_> = FILES.files().collect();
        files.sort_by_key(|f| f.path().to_owned());
        for file in files {
            let name = file.path().file_stem().and_then(|s| s.to_str()).unwrap_or_default();
            for row in rows(file.contents_utf8().unwrap_or_default()) {
                if let [forms, value, ..] = row.as_slice() {
                    v.add(name, forms, value);
                }
            }
        }
        v.sort();
        v
    }

    /// Adds `forms` ("a|b|ABC|~d") of `vocabulary`, meaning `value`.
    pub fn add(&mut self, vocabulary: &str, forms: &str, value: &str) {
        let tag = Tag { vocabulary: vocabulary.into(), value: value.into() };
        let values = self.names.entry(tag.vocabulary.clone()).or_default();
        if value != "=" && !values.contains(&tag.value) {
            values.push(tag.value.clone());
        }
        for form in forms.split('|').map(str::trim).filter(|f| !f.is_empty()) {
            if value == "=" {
                self.add(vocabulary, form, &form.trim_start_matches('~').replace(' ', "-"));
                continue;
            }
            let (form, sounds) = form.strip_prefix('~').map_or((form, false), |f| (f, true));
            if sounds && !form.contains(' ') {
                self.by_sound.push(Sounding {
                    word: form.to_owned(),
                    key: crate::words::sound::key(form),
                    tag: tag.clone(),
                });
            }
            for words in spellings(form) {
                self.insert(words, &tag);
            }
        }
    }

    fn insert(&mut self, words: Vec<String>, tag: &Tag) {
        let Some(first) = words.first() else { return };
        let forms = self.forms.entry(first.clone()).or_default();
        match forms.iter_mut().find(|f| f.words == words) {
            Some(form) if form.tags.contains(tag) => {}
            Some(form) => form.tags.push(tag.clone()),
            None => forms.push(Form { words, tags: vec![tag.clone()] }),
        }
    }

    /// Longest first; call after the last `add`.
    pub fn sort(&mut self) {
        for forms in self.forms.values_mut() {
            forms.sort_by_key(|f| std::cmp::Reverse(f.words.len()));
        }
    }

    /// The values of a vocabulary, in the order of its rows.
    pub fn values(&self, vocabulary: &str) -> &[Arc<str>] {
        self.names.get(vocabulary).map_or(&[], Vec::as_slice)
    }

    /// The longest form that `word(0)`, `word(1)` … begin with. `ok(len)` may refuse a length.
    pub fn find<'w>(
        &self,
        word: impl Fn(usize) -> Option<&'w str>,
        ok: impl Fn(usize) -> bool,
    ) -> Option<Found> {
        let first = word(0)?;
        let forms = self.forms.get(first);
        let hit = forms.into_iter().flatten().find(|f| {
            f.words.iter().enumerate().all(|(i, w)| word(i) == Some(w.as_str())) && ok(f.words.len())
        });
        if let Some(form) = hit {
            return Some(Found { len: form.words.len(), tags: form.tags.clone(), by_sound: false });
        }
        None
    }

    /// A term that sounds like this single word.
    pub fn find_by_sound(&self, word: &str) -> Option<Found> {
        if word.len() < 6
            || !word.bytes().all(|b| b.is_ascii_lowercase())
            || self.forms.contains_key(word)
            || crate::words::sound::is_plain(word)
        {
            return None;
        }
        let key = crate::words::sound::key(word);
        let mut best: Option<(usize, &Sounding)> = None;
        for s in &self.by_sound {
            if let Some(cost) = crate::words::sound::distance(word, &key, &s.word, &s.key)
                && best.is_none_or(|(c, _)| cost < c)
            {
                best = Some((cost, s));
            }
        }
        best.map(|(_, s)| {
            let tags = self
                .forms
                .get(&s.word)
                .and_then(|f| f.iter().find(|f| f.words.len() == 1))
                .map_or_else(|| vec![s.tag.clone()], |f| f.tags.clone());
            Found { len: 1, tags, by_sound: true }
        })
    }
}

/// "rubber dam" → itself; "EDTA" → "edta", "e d t a", "ed ta", …; "MB two" → "mb two", "m b two".
fn spellings(form: &str) -> Vec<Vec<String>> {
    let mut all: Vec<Vec<String>> = vec![vec![]];
    for word in form.split([' ', '-']).filter(|w| !w.is_empty()) {
        let spelled = word.len() > 1 && word.len() < 6 && word.chars().all(|c| c.is_ascii_uppercase());
        let choices: Vec<Vec<String>> = if spelled {
            splits(&word.to_lowercase())
        } else {
            let word = word.to_lowercase();
            vec![vec![crate::words::spelling::one(super::token::without_ending(&word))]]
        };
        all = all
            .iter()
            .flat_map(|before| choices.iter().map(move |c| before.iter().chain(c).cloned().collect()))
            .collect();
    }
    all
}

fn splits(word: &str) -> Vec<Vec<String>> {
    let n = word.len();
    (0..1_u32 << (n - 1))
        .map(|cuts| {
            let mut parts = vec![String::new()];
            for (i, c) in word.chars().enumerate() {
                if i > 0 && cuts >> (i - 1) & 1 == 1 {
                    parts.push(String::new());
                }
                if let Some(last) = parts.last_mut() {
                    last.push(c);
                }
            }
            parts
        })
        .collect()
}

/// The texts of all vocabularies, for the rule set's checksum.
pub fn texts() -> impl Iterator<Item = &'static [u8]> {
    FILES.files().map(include_dir::File::contents)
}
