//! Samples at 16 kHz → heard words with times, doubts and other readings. The recogniser is behind one trait.
//!
//! Comes in: [`Samples`]. Goes out: [`heard::Breath`]s in the order of the recording, the same bytes for the same
//! audio, model and version at any number of workers. Never feeds a recogniser with earlier text or a prompt, never
//! listens to spans in which nobody speaks, never drops a span that could not be understood: it becomes a gap with a
//! remark.

use std::{
    path::PathBuf,
    sync::{Arc, atomic::AtomicBool},
};

use crate::audio::{self, Samples};

mod align;
mod breath;
pub mod calibration;
mod hear;
pub mod heard;
pub mod kept;
pub mod listener;
mod merge;
pub mod model;
mod plain;
mod repeats;
mod run;
pub mod spans;
pub mod tape;
mod threads;
#[cfg(feature = "whisper")]
mod whisper;

use heard::Breath;
use model::{ModelError, ModelInfo};

/// How to listen.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    pub recogniser: PathBuf,
    pub second: Second,
    /// The voice detector.
    pub vad: Option<PathBuf>,
    /// Spans that are heard at the same time; `None`: at any moment as many as there are processors that no other program
    /// uses, at most `threads::MOST`.
    pub workers: Option<usize>,
    /// Speech that ended before this time is left out (it was heard before).
    pub start_s: f64,
    /// The samples come as they are spoken: [`listen_live`] sees to it.
    pub live: bool,
    /// When this becomes true, listening ends after the spans that are being heard.
    pub stop: Option<Arc<AtomicBool>>,
}

/// Who listens a second time, so that what differs becomes a doubt.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Second {
    /// The same model at another tempo.
    #[default]
    SameModel,
    /// Another model.
    Other(PathBuf),
    /// Nobody: faster, but doubts come from the recogniser's own probabilities alone.
    Off,
}

impl From<model::Found> for Settings {
    fn from(found: model::Found) -> Self {
        Self { recogniser: found.recogniser, vad: found.vad, ..Self::default() }
    }
}

/// How far listening has come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Everything before this time of the recording is finished.
    pub done_s: f64,
    /// Length of the recording, if it is known.
    pub of_s: Option<f64>,
}

/// What was heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heard {
    pub breaths: Vec<Breath>,
    /// Everything before this time of the recording was listened to. With `stopped`, the place to go on from.
    pub done_s: f64,
    /// The user stopped before the end.
    pub stopped: bool,
    /// The models that listened: the recogniser, then the second listener.
    pub models: Vec<ModelInfo>,
}

/// What happens during listening, in the order of the recording.
#[derive(Debug)]
pub enum Event {
    /// A breath is finished; nothing about it will change.
    Breath(Breath),
    Progress(Progress),
}

/// Why listening failed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    #[error("cannot read the recording to its end")]
    Audio(#[from] audio::Error),
    #[error("cannot use the speech model")]
    Model(#[from] ModelError),
    #[error("the speech model `{path}` cannot be loaded ({reason}); check it with `tugback models`")]
    Load { path: PathBuf, reason: String },
    #[error(
        "there is no voice detector `{wanted}` beside the speech model; `tugback models` shows where it is sought"
    )]
    NoVoiceDetector { wanted: String },
    #[error("the recogniser failed at {at_s:.2} s of the recording ({reason})")]
    Recogniser { at_s: f64, reason: String },
    #[error(
        "this tugback's recogniser was built for processors with {missing}, which this one lacks; build tugback on this computer, or give a transcript"
    )]
    Processor { missing: String },
    #[error(
        "this tugback was built without the recogniser; build it with `--features whisper`, or give a transcript"
    )]
    NoRecogniser,
}

/// Listens to a whole recording.
pub fn listen(
    samples: &mut dyn Samples,
    settings: &Settings,
    progress: &dyn Fn(Progress),
) -> Result<Heard, Error> {
    let mut breaths = Vec::new();
    let heard = listen_each(samples, settings, &mut |event| match event {
        Event::Breath(breath) => breaths.push(breath),
        Event::Progress(p) => progress(p),
    })?;
    Ok(Heard { breaths, ..heard })
}

/// Listens and hands over every breath as soon as it and all before it are finished, so that it can be stored.
/// `breaths` of the result is empty.
#[cfg(feature = "whisper")]
pub fn listen_each(
    samples: &mut dyn Samples,
    settings: &Settings,
    sink: &mut dyn FnMut(Event),
) -> Result<Heard, Error> {
    whisper::with_models(settings, &mut |detector, make_ears, how, model| {
        let finish = |span| breath::breath(span, calibration::table(model));
        run::run(samples, detector, make_ears, how, &finish, &mut |step| {
            sink(match step {
                run::Step::Item(breath) => Event::Breath(breath),
                run::Step::Progress(progress) => Event::Progress(progress),
            });
        })
    })
}

/// What is heard of samples that come as they are spoken.
#[derive(Debug, Clone, PartialEq)]
pub enum Turn {
    /// A breath that was just over, heard once.
    First(Breath),
    /// The same breath, by its `from_s`, after it was listened to again. There may be none.
    Again(Breath),
}

/// Listens to samples while they are spoken: each breath is handed over as soon as it was heard once, and again where
/// there was time to listen again. A breath that is heard later can come before one that was spoken earlier.
#[cfg(feature = "whisper")]
pub fn listen_live(
    samples: &mut dyn Samples,
    settings: &Settings,
    sink: &mut (dyn FnMut(Turn) + Send),
) -> Result<Heard, Error> {
    let settings = Settings { live: true, ..settings.clone() };
    whisper::with_models(&settings, &mut |detector, make_ears, how, model| {
        let finish = |span| breath::breath(span, calibration::table(model));
        run::run_live(samples, detector, make_ears, how, &finish, sink)
    })
}

/// Without the recogniser there is nothing to listen with.
#[cfg(not(feature = "whisper"))]
pub fn listen_live(
    _samples: &mut dyn Samples,
    _settings: &Settings,
    _sink: &mut (dyn FnMut(Turn) + Send),
) -> Result<Heard, Error> {
    Err(Error::NoRecogniser)
}

/// Without the recogniser there is nothing to listen with.
#[cfg(not(feature = "whisper"))]
pub fn listen_each(
    _samples: &mut dyn Samples,
    _settings: &Settings,
    _sink: &mut dyn FnMut(Event),
) -> Result<Heard, Error> {
    Err(Error::NoRecogniser)
}
