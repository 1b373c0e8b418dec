//! What a recogniser must do, whichever engine it is. Tests use listeners that need no model.

use std::sync::{Arc, atomic::AtomicBool};

use serde::{Deserialize, Serialize};

use super::Error;

/// One word as one listener heard it. Times are seconds from the start of the samples that it was given.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct RawWord {
    pub text: String,
    pub from_s: f64,
    pub to_s: f64,
    /// The lowest probability that the recogniser gave to a token of this word, 0 to 1; overconfident.
    pub p: f32,
}

/// What the listener would have written next best in place of words `first..end` (between two words where they are
/// equal; nothing there where `text` is empty), with the probability that it gave to it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct RunnerUp {
    pub first: usize,
    pub end: usize,
    pub text: String,
    pub p: f32,
}

/// What one listener heard in one span.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Listening {
    pub words: Vec<RawWord>,
    pub runners_up: Vec<RunnerUp>,
    /// The listener did not come to an end.
    pub endless: bool,
}

impl Listening {
    /// The words with blanks between.
    pub fn text(&self) -> String {
        self.words.iter().map(|w| w.text.as_str()).collect::<Vec<_>>().join(" ")
    }
}

/// A recogniser: samples at 16 kHz in, words out. Keeps nothing from one span to the next, so that spans can be heard
/// in any order with the same result.
pub trait Listener: Send {
    /// Name of the model, as it is shown beside an other reading.
    fn name(&self) -> &str;

    /// Hears one span, and says what it nearly heard instead if `runners_up` are wanted. Fewer samples than 0.1 s give
    /// no words.
    fn hear(&mut self, samples: &[f32], runners_up: bool) -> Result<Listening, Error>;

    /// From now on, hearing ends early once this is raised; what it gives then is worth nothing. A listener that is quick
    /// need not look.
    fn give_up_on(&mut self, _raised: Arc<AtomicBool>) {}
}

/// A voice detector: samples at 16 kHz in, one probability for every [`WINDOW`] samples out.
pub trait SpeechDetector {
    /// Probabilities of speech, one a window; the last window may be partly empty. Keeps nothing between calls.
    fn probabilities(&mut self, samples: &[f32]) -> Result<Vec<f32>, Error>;
}

/// Samples for which a voice detector gives one probability: 32 ms.
pub const WINDOW: usize = 512;
