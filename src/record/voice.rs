//! Entries → words that are read aloud, numbers digit by digit, and their sound: clips of a voice, made by
//! `models/recipe/clips.py` and embedded.

use std::{collections::HashMap, io::Write as _, ops::Range, path::Path, sync::LazyLock};

use crate::{
    audio::{self, RATE_HZ, Samples as _},
    log::{Canal, Entry, Review, Value},
};

static SOUND: &[u8] = include_bytes!("voice.flac");
static TABLE: &str = include_str!("voice.tsv");

/// Silence between two words, in samples.
const BETWEEN: usize = RATE_HZ as usize / 25;
/// Silence between two things that are read.
const PAUSE: usize = RATE_HZ as usize / 3;

/// Where each word lies in the sound.
static PLACES: LazyLock<HashMap<&str, Range<usize>>> = LazyLock::new(|| {
    let row = |line: &'static str| {
        let mut fields = line.split('\t');
        let word = fields.next()?;
        Some((word, fields.next()?.parse().ok()?..fields.next()?.parse().ok()?))
    };
    TABLE.lines().filter(|l| !l.starts_with('#')).filter_map(row).collect()
});

/// What stands before a number, and behind it.
const AROUND: &[(&str, &str, &str)] = &[
    ("size", "size", ""),
    ("taper", "taper", ""),
    ("length_mm", "length", ""),
    ("short_mm", "short", ""),
    ("beyond_mm", "", "millimetres"),
    ("depth_mm", "", "millimetres"),
    ("volume_ml", "", "millilitres"),
    ("concentration_pct", "", "percent"),
    ("duration_s", "", "seconds"),
    ("gauge", "gauge", ""),
];

/// What is read of an entry: its canals, its numbers, whether it is in doubt; nothing of an entry without numbers.
pub fn of_entry(entry: &Entry) -> Vec<&'static str> {
    let mut all: Vec<&str> = Vec::new();
    let mut values: Vec<(&String, &Value)> = entry.values.iter().collect();
    values.sort_by_key(|(field, _)| AROUND.iter().position(|(f, ..)| f == field).unwrap_or(AROUND.len()));
    for (field, value) in values {
        let (before, behind) = AROUND
            .iter()
            .find(|(f, ..)| f == field)
            .map_or(("", ""), |(_, before, behind)| (*before, *behind));
        let text = match value {
            Value::Number(n) => n.to_string(),
            Value::Text(text) if field == "tooth" => text.clone(),
            Value::Text(_) => continue,
        };
        let number = digits(&text);
        all.extend(Some(before).into_iter().chain(number).chain([behind]).filter(|w| !w.is_empty()));
    }
    if all.is_empty() {
        return all;
    }
    let canals = entry.canal.iter().flat_map(Canal::names).filter_map(|c| word(c));
    let mut words: Vec<&str> = canals.chain(all).collect();
    if entry.review == Review::Struck {
        words.push("struck");
    } else if !entry.doubts.is_empty() {
        words.push("doubt");
    }
    words
}

/// What is read where there is nothing to read.
pub const NOTHING: &str = "nothing";

/// A number digit by digit: "21.5" is two, one, point, five.
fn digits(number: &str) -> impl Iterator<Item = &'static str> {
    const NAMES: [&str; 10] =
        ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    number.chars().filter_map(|c| match c {
        '.' => Some("point"),
        c => NAMES.get(usize::try_from(c.to_digit(10)?).ok()?).copied(),
    })
}

/// The word as the table has it.
fn word(name: &str) -> Option<&'static str> {
    PLACES.get_key_value(name).map(|(word, _)| *word)
}

/// The clips, decoded.
#[derive(Debug, Clone)]
pub struct Voice {
    samples: Vec<f32>,
}

impl Voice {
    /// Decodes the clips, through a file that goes away.
    pub fn load() -> Result<Self, audio::Error> {
        let failed = |source| audio::Error::Read { path: "voice.flac".into(), source };
        let mut file = tempfile::NamedTempFile::new().map_err(failed)?;
        file.write_all(SOUND).map_err(failed)?;
        let path: &Path = file.path();
        let mut recording = audio::open(path, &audio::Options::default())?;
        let mut samples = Vec::new();
        while let Some(block) = recording.next_block()? {
            samples.extend(block);
        }
        Ok(Self { samples })
    }

    /// Samples at 16 kHz of these words; an empty word is a pause.
    pub fn say(&self, words: &[&str]) -> Vec<f32> {
        let mut all = Vec::new();
        for word in words {
            match PLACES.get(word) {
                Some(place) => {
                    all.extend_from_slice(self.samples.get(place.clone()).unwrap_or_default());
                    all.extend(std::iter::repeat_n(0.0, BETWEEN));
                }
                None => all.extend(std::iter::repeat_n(0.0, PAUSE)),
            }
        }
        all
    }
}

/// How long these words take, in seconds.
#[expect(clippy::cast_precision_loss, reason = "seconds of speech")]
pub fn length_s(words: &[&str]) -> f64 {
    let samples = |word: &&str| PLACES.get(word).map_or(PAUSE, |place| place.len() + BETWEEN);
    words.iter().map(samples).sum::<usize>() as f64 / f64::from(RATE_HZ)
}

#[cfg(test)]
#[expect(clippy::cast_precision_loss, reason = "seconds of samples")]
mod tests {
    use super::*;
    use crate::{
        entries::{Extractor, Settings},
        listen::heard::Breath,
    };

    /// What is read of the last entry of what was said.
    #[track_caller]
    fn check(said: &[&str], expect: &str) {
        let breaths: Vec<Breath> = (0_u32..)
            .zip(said)
            .map(|(n, s)| Breath::from_text(f64::from(n) * 3.0, f64::from(n) * 3.0 + 2.0, s))
            .collect();
        let entries = Extractor::new(Settings::default()).extract(&breaths).entries;
        assert_eq!(of_entry(entries.last().expect("an entry")).join(" "), expect, "said: {said:?}");
    }

    #[test]
    fn numbers_are_read_digit_by_digit() {
        let mb = ["tooth three six", "mesiobuccal"];
        let after = |said| [mb.as_slice(), &[said]].concat();
        check(&["tooth three six"], "three six");
        check(&after("working length twenty one point five"), "MB length two one point five");
        check(&after("irrigate with three mils of hypochlorite"), "MB three millilitres");
        check(&after("rotary file twenty five oh six"), "MB size two five taper zero point zero six");
        check(&["the rubber dam is on"], "");
    }

    #[test]
    fn every_word_has_a_sound() {
        let voice = Voice::load().expect("the clips are readable");
        let last = PLACES.values().map(|p| p.end).max().unwrap();
        assert_eq!(voice.samples.len(), last, "the table belongs to the sound");
        for (word, place) in PLACES.iter() {
            let clip = &voice.samples[place.clone()];
            let seconds = clip.len() as f64 / f64::from(RATE_HZ);
            let loud = (clip.iter().map(|s| f64::from(s * s)).sum::<f64>() / clip.len() as f64).sqrt();
            assert!((0.15..1.3).contains(&seconds), "{word} lasts {seconds} s");
            assert!((0.05..0.2).contains(&loud), "{word}: {loud}");
        }
        let words: Vec<&str> =
            digits("0123456789.").chain(AROUND.iter().flat_map(|(_, a, b)| [*a, *b])).collect();
        for word in words.into_iter().chain([NOTHING, "doubt", "struck"]).filter(|w| !w.is_empty()) {
            assert!(PLACES.contains_key(word), "{word} is not there");
        }
        let said = voice.say(&["two", "one", "", "MB"]);
        assert!((said.len() as f64 / f64::from(RATE_HZ) - length_s(&["two", "one", "", "MB"])).abs() < 1e-9);
        assert!(SOUND.len() < 400_000, "{} bytes", SOUND.len());
    }
}
