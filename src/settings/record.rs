//! Section `[record]`: how the program behaves at the chair.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::words::{Decimal, token};

/// How the program behaves while it records.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Record {
    /// How loud its tones and its voice are, from 0 (none) to 1.
    pub volume: Decimal,
    /// A part of the microphone's name; the system's own where none is named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub microphone: Option<String>,
    /// When numbers are read aloud.
    pub read_back: ReadBack,
    pub keys: Keys,
    pub words: Words,
}

/// When the program reads numbers aloud, digit by digit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ReadBack {
    #[default]
    Never,
    /// When somebody says "read back".
    Asked,
    /// And each entry with a number as soon as it is taken.
    Always,
}

/// Keys of a keyboard or a pedal, for each thing that a key does: `Space`, `s`, `F5`, `PageDown`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Keys {
    /// Pauses, and goes on.
    pub pause: Vec<String>,
    pub strike: Vec<String>,
    pub flag: Vec<String>,
    pub end: Vec<String>,
}

/// Further words for what can be asked by voice; those of the program stay.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Words {
    pub strike: Vec<String>,
    pub flag: Vec<String>,
    pub read_back: Vec<String>,
    pub read_lengths: Vec<String>,
    pub pause: Vec<String>,
    pub end: Vec<String>,
    /// What stands before a length of time: "ultrasound on, twenty seconds".
    pub time: Vec<String>,
}

impl Default for Record {
    fn default() -> Self {
        Self {
            volume: Decimal::thousandths(500),
            microphone: None,
            read_back: ReadBack::default(),
            keys: Keys::default(),
            words: Words::default(),
        }
    }
}

impl Default for Keys {
    fn default() -> Self {
        let keys = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect();
        Self { pause: keys(&["Space"]), strike: keys(&["s"]), flag: keys(&["f"]), end: keys(&["Ctrl+d"]) }
    }
}

impl Keys {
    /// Each list with its name.
    pub fn all(&self) -> [(&'static str, &[String]); 4] {
        [("pause", &self.pause), ("strike", &self.strike), ("flag", &self.flag), ("end", &self.end)]
    }
}

impl Words {
    /// Each list with its name here and its name in the vocabulary of controls; that of `time` is none of these.
    fn all(&self) -> [(&'static str, &'static str, &[String]); 7] {
        [
            ("strike", "strike", &self.strike),
            ("flag", "flag", &self.flag),
            ("read_back", "read-back", &self.read_back),
            ("read_lengths", "read-lengths", &self.read_lengths),
            ("pause", "pause", &self.pause),
            ("end", "end", &self.end),
            ("time", "time", &self.time),
        ]
    }

    /// What is said, and what it asks for.
    pub fn said(&self) -> Vec<(String, &'static str)> {
        let all = self.all().into_iter();
        all.flat_map(|(_, what, said)| said.iter().map(move |s| (s.clone(), what))).collect()
    }
}

/// Keys with a name; all others are one sign.
const NAMED: [&str; 14] = [
    "Space",
    "Enter",
    "Tab",
    "Backspace",
    "Escape",
    "ArrowUp",
    "ArrowDown",
    "ArrowLeft",
    "ArrowRight",
    "PageUp",
    "PageDown",
    "Home",
    "End",
    "Insert",
];

fn is_key(name: &str) -> bool {
    let bare = name.strip_prefix("Ctrl+").unwrap_or(name);
    let function =
        bare.strip_prefix('F').and_then(|n| n.parse::<u8>().ok()).is_some_and(|n| (1..=20).contains(&n));
    let sign = bare.chars().count() == 1 && bare.chars().all(|c| !c.is_whitespace() && !c.is_uppercase());
    sign || (bare == name && (function || NAMED.contains(&name)))
}

impl Record {
    /// What is wrong with it: the place and the cure.
    pub(super) fn wrong(&self) -> Option<(String, String)> {
        let fits = (Decimal::ZERO..=Decimal::whole(1)).contains(&self.volume);
        if !fits {
            let what = format!("{} is no volume; a number from 0 (no tones) to 1 is expected", self.volume);
            return Some(("record.volume".to_owned(), what));
        }
        self.keys_wrong().or_else(|| self.words_wrong())
    }

    fn keys_wrong(&self) -> Option<(String, String)> {
        let mut used = BTreeMap::new();
        for (what, keys) in self.keys.all() {
            for key in keys {
                let place = format!("record.keys.{what}");
                if !is_key(key) {
                    let what = format!(
                        "`{key}` is no key; one small letter or sign, `Ctrl+` and a letter, F1 to F20, or one of {} is expected",
                        NAMED.join(", ")
                    );
                    return Some((place, what));
                }
                if let Some(before) = used.insert(key.clone(), what) {
                    let what = format!("the key `{key}` cannot do two things: {before} and {what}");
                    return Some((place, what));
                }
            }
        }
        None
    }

    fn words_wrong(&self) -> Option<(String, String)> {
        let mut used: BTreeMap<String, &str> = BTreeMap::new();
        for (name, _, all) in self.words.all() {
            for said in all {
                let place = format!("record.words.{name}");
                let words = token::plain(said);
                if words.len() < 2 {
                    let what = format!("`{said}` is said too easily; two words at least are expected");
                    return Some((place, what));
                }
                if let Some(before) = used.insert(words.join(" "), name) {
                    let what = format!("`{said}` cannot ask for two things: {before} and {name}");
                    return Some((place, what));
                }
            }
        }
        None
    }

    /// Takes from the nearer file what it names.
    pub(super) fn add(&mut self, near: Self, named: impl Fn(&str) -> bool) {
        let is = |key: &str| named(&format!("record.{key}"));
        let take = |key: &str, mine: &mut Vec<String>, new: Vec<String>| {
            if is(key) {
                *mine = new;
            }
        };
        if is("volume") {
            self.volume = near.volume;
        }
        if is("microphone") {
            self.microphone = near.microphone;
        }
        if is("read_back") {
            self.read_back = near.read_back;
        }
        let (keys, words) = (near.keys, near.words);
        take("keys.pause", &mut self.keys.pause, keys.pause);
        take("keys.strike", &mut self.keys.strike, keys.strike);
        take("keys.flag", &mut self.keys.flag, keys.flag);
        take("keys.end", &mut self.keys.end, keys.end);
        take("words.strike", &mut self.words.strike, words.strike);
        take("words.flag", &mut self.words.flag, words.flag);
        take("words.read_back", &mut self.words.read_back, words.read_back);
        take("words.read_lengths", &mut self.words.read_lengths, words.read_lengths);
        take("words.pause", &mut self.words.pause, words.pause);
        take("words.end", &mut self.words.end, words.end);
        take("words.time", &mut self.words.time, words.time);
    }

    /// A sentence for each key, for the file that `tugback settings` shows.
    pub(super) fn about(key: &str) -> Option<&'static str> {
        Some(match key {
            "volume" => "How loud tones and voice are while it records, from 0 (none) to 1.",
            "microphone" => "A part of the microphone's name; `tugback microphones` lists them.",
            "read_back" => {
                "Numbers are read aloud, digit by digit: never, asked (after \"read back\"), always (each entry)."
            }
            "keys" => "Keys or pedals: Space, s, Ctrl+d, F5, PageDown …; several are possible.",
            "words" => "Your own words for what can be asked by voice, as whole utterances.",
            _ => return None,
        })
    }
}
