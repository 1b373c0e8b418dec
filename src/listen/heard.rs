//! What the listening room hands on: breaths of heard words with times, doubts and other readings.
//! A transcript gives the same type, with nothing doubted.

use serde::{Deserialize, Serialize};

use super::plain::{is_number, plain};

/// One stretch of speech between pauses. Times are seconds of the original recording.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Breath {
    pub from_s: f64,
    pub to_s: f64,
    pub words: Vec<HeardWord>,
    /// Other readings of parts of this breath, by a second listening or from the recogniser's runners-up.
    pub others: Vec<OtherReading>,
    /// Something a person must know about the whole breath ("start may be cut", "unreadable, listen", "possible repeat").
    pub remarks: Vec<String>,
}

/// One heard word as the recogniser or the transcript wrote it (spelling, digits and punctuation kept).
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct HeardWord {
    pub text: String,
    pub from_s: f64,
    pub to_s: f64,
    /// Calibrated probability that this word is not what was said, 0 to 1. 0 for a transcript.
    pub p_wrong: f32,
}

impl HeardWord {
    /// Whether a part of a number is in it, in words or digits.
    pub fn is_number(&self) -> bool {
        plain(&self.text).iter().any(|word| is_number(word))
    }
}

/// Words `first..end` of the breath may have been `text` instead. An empty `text` says that a listener heard nothing
/// there; `first == end` says that it heard `text` between two words.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct OtherReading {
    pub first: usize,
    pub end: usize,
    pub text: String,
    /// Probability that this reading is the right one, 0 to 1.
    pub p: f32,
    /// Who heard it: the model's name, or "runner-up".
    pub by: String,
}

impl Breath {
    /// A breath of a transcript: words share the time evenly by length, nothing is doubted.
    #[expect(clippy::cast_precision_loss, reason = "word counts and lengths are small")]
    pub fn from_text(from_s: f64, to_s: f64, text: &str) -> Self {
        let total: usize = text.split_whitespace().map(|w| w.chars().count() + 1).sum();
        let per_char = (to_s - from_s).max(0.0) / total.max(1) as f64;
        let mut at = from_s;
        let words = text
            .split_whitespace()
            .map(|w| {
                let start = at;
                at += per_char * (w.chars().count() + 1) as f64;
                HeardWord { text: w.to_owned(), from_s: start, to_s: at, p_wrong: 0.0 }
            })
            .collect();
        Self { from_s, to_s, words, ..Self::default() }
    }

    /// The words with blanks between.
    pub fn text(&self) -> String {
        self.words.iter().map(|w| w.text.as_str()).collect::<Vec<_>>().join(" ")
    }
}
