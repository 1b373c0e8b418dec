//! Whisper (whisper.cpp through whisper-rs) as a listener, and the voice detector that whisper.cpp runs.
//! Language English, no timestamps, no prompt, no earlier text, greedy; each span alone.

mod processor;
mod shorter;
mod times;
mod tokens;
mod weights;

use std::{
    path::Path,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Instant,
};

use whisper_rs::{
    FullParams, SamplingStrategy, WhisperContext, WhisperError, WhisperState, WhisperVadContext,
    WhisperVadContextParams,
};

use super::{
    Error, Heard, Second, Settings,
    hear::{self, Ears},
    listener::{Listener, Listening, SpeechDetector},
    model::{self, Kind, ModelInfo},
    run::How,
    threads,
};
use crate::audio::RATE_HZ;
use tokens::{Chosen, Continue, NearMisses, Token};
use weights::Weights;

/// Encoder frames a second of audio: two log-mel frames of 10 ms make one.
const FRAMES_PER_S: usize = 50;
/// Frames that the tuned model wants beyond the audio.
const TUNED_MARGIN: usize = 24;
/// Windows are whole multiples of this: only then are the products of the attention computed in blocks (ggml's tinyBLAS).
const WINDOW_STEP: usize = 32;
/// Stock models loop under this window.
const STOCK_LEAST: usize = 512;
/// The whole window of 30 s.
const WHOLE: usize = 1500;

/// Makes the ears of one worker.
pub(super) type MakeEars<'a> = dyn Fn() -> Result<Ears<'a>, Error> + Sync + 'a;

/// A way to listen with what was loaded.
pub(super) type Go<'w> = dyn for<'a> FnMut(&mut dyn SpeechDetector, &MakeEars<'a>, &How<'_>, &ModelInfo) -> Result<Heard, Error>
    + 'w;

/// Loads the models that the settings name, and listens with them.
pub(super) fn with_models(settings: &Settings, go: &mut Go<'_>) -> Result<Heard, Error> {
    processor::check()?;
    let watching = settings.workers.is_none() && !settings.live;
    let gate = if watching { threads::Gate::watching() } else { threads::Gate::open() };
    whisper_rs::install_logging_hooks();
    let Some(vad) = &settings.vad else {
        return Err(Error::NoVoiceDetector { wanted: model::DEFAULT_VAD.to_owned() });
    };
    let info = model::check(&settings.recogniser, Kind::Recogniser)?;
    model::check(vad, Kind::VoiceDetector)?;
    let other = match &settings.second {
        Second::Other(path) => Some(model::check(path, Kind::Recogniser)?),
        Second::Off | Second::SameModel => None,
    };
    let mut detector = Silero::load(vad)?;
    // Live, somebody would wait while the model is loaded again.
    let whole = settings.live;
    let weights = Weights::load(info.clone(), whole)?;
    let other_weights = other.clone().map(|info| Weights::load(info, whole)).transpose()?;
    let make_ears = || {
        let second = match (&other_weights, &settings.second) {
            (Some(weights), _) => hear::Second::Other(Box::new(Whisper::new(weights)?)),
            (None, Second::SameModel) => hear::Second::SameModel,
            (None, _) => hear::Second::Nobody,
        };
        Ok(Ears { first: Box::new(Whisper::new(&weights)?), second, sparing: info.tuned })
    };
    gate.first_look();
    let workers = settings.workers.unwrap_or_else(threads::most).max(1);
    let stop = settings.stop.as_deref();
    let how = How { workers, gate: &gate, start_s: settings.start_s, live: settings.live, tape: false, stop };
    let heard = go(&mut detector, &make_ears, &how, &info)?;
    Ok(Heard { models: std::iter::once(info).chain(other).collect(), ..heard })
}

/// Hears with a loaded model.
struct Whisper<'a> {
    name: String,
    weights: &'a Weights,
    /// Raised where nobody wants to know any more.
    given_up: Option<Arc<AtomicBool>>,
}

impl<'a> Whisper<'a> {
    fn new(weights: &'a Weights) -> Result<Self, Error> {
        // A state is made before the first span comes.
        weights.hear(1, |_, _| Ok(()))?;
        Ok(Self { name: weights.info.name(), weights, given_up: None })
    }

    fn window(&self, samples: usize) -> usize {
        let frames = (samples * FRAMES_PER_S).div_ceil(RATE_HZ as usize);
        let window = if self.weights.info.tuned { frames + TUNED_MARGIN } else { frames.max(STOCK_LEAST) };
        window.next_multiple_of(WINDOW_STEP).min(WHOLE)
    }
}

fn given_up(raised: Option<&Arc<AtomicBool>>) -> bool {
    raised.is_some_and(|raised| raised.load(Ordering::Relaxed))
}

impl Listener for Whisper<'_> {
    fn name(&self) -> &str {
        &self.name
    }

    fn hear(&mut self, samples: &[f32], runners_up: bool) -> Result<Listening, Error> {
        let given_up = self.given_up.as_ref();
        if samples.len() < LEAST_SAMPLES || self::given_up(given_up) {
            return Ok(Listening::default());
        }
        let window = self.window(samples.len());
        self.weights.hear(window, |context, state| {
            Hearing { context, state, decoded: Vec::new(), given_up }.hear(samples, window, runners_up)
        })
    }

    fn give_up_on(&mut self, raised: Arc<AtomicBool>) {
        self.given_up = Some(raised);
    }
}

fn failed(e: WhisperError) -> Error {
    Error::Recogniser { at_s: 0.0, reason: e.to_string() }
}

/// Fewer samples hold no word, and whisper.cpp does not take them: 0.1 s.
const LEAST_SAMPLES: usize = RATE_HZ as usize / 10;

/// A state that hears one span.
struct Hearing<'h> {
    context: &'h WhisperContext,
    state: &'h mut WhisperState,
    /// Tokens of this span that the decoder keeps since runners-up are followed.
    decoded: Vec<i32>,
    given_up: Option<&'h Arc<AtomicBool>>,
}

impl Hearing<'_> {
    fn hear(&mut self, samples: &[f32], window: usize, runners_up: bool) -> Result<Listening, WhisperError> {
        let begun = Instant::now();
        self.encode(samples, window)?;
        let encoded = begun.elapsed();
        let most_tokens = 20 + 8 * (samples.len() / RATE_HZ as usize);
        let mut chosen = Chosen::default();
        let mut ids = Vec::new();
        let mut endless = false;
        loop {
            let logits = self.logits(&ids)?;
            let near = near_misses(logits);
            let Some((id, p)) = near.first().copied() else { break };
            if runners_up {
                chosen.near.push(near);
            }
            if self.is_end(id) {
                break;
            }
            endless = ids.len() >= most_tokens;
            if endless || given_up(self.given_up) {
                break;
            }
            ids.push(id);
            chosen.tokens.push(Token { id, bytes: self.bytes(id), p, end_s: 0.0 });
        }
        let decoded = begun.elapsed();
        times::share(&mut chosen.tokens, samples);
        let words = tokens::words(&chosen.tokens);
        let runners_up = if endless || !runners_up { Vec::new() } else { tokens::runners_up(&chosen, self) };
        tracing::debug!(
            audio_ms = samples.len() * 1000 / RATE_HZ as usize,
            encoded_ms = encoded.as_millis(),
            decoded_ms = decoded.saturating_sub(encoded).as_millis(),
            tokens = ids.len(),
            followed_ms = begun.elapsed().saturating_sub(decoded).as_millis(),
            "heard a span"
        );
        Ok(Listening { words, runners_up, endless })
    }

    /// Lets the encoder hear the samples. `whisper_full` makes the spectrogram and sets the window, which nothing else
    /// sets; it is stopped there. What it does next, token by token, is done here: its search for the times of words
    /// takes a third of the work, and four threads that wait for each other by spinning.
    fn encode(&mut self, samples: &[f32], window: usize) -> Result<(), WhisperError> {
        let mut params = FullParams::new(SamplingStrategy::Greedy { best_of: 1 });
        params.set_n_threads(1);
        params.set_language(Some("en"));
        params.set_no_context(true);
        params.set_print_progress(false);
        params.set_print_realtime(false);
        params.set_audio_ctx(i32::try_from(window).unwrap_or(0));
        prepare_only(&mut params);
        self.state.full(params, samples)?;
        self.state.encode(0, 1)
    }

    /// What comes before the text: the model is told language and task, and that no timestamps are wanted.
    fn prompt(&self) -> Vec<i32> {
        let context = self.context;
        let mut prompt = vec![context.token_sot()];
        if context.is_multilingual() {
            prompt.extend([context.token_lang(ENGLISH), context.token_transcribe()]);
        }
        prompt.push(context.token_not());
        prompt
    }
}

/// Number of English in whisper.cpp's table of languages.
const ENGLISH: i32 = 0;

impl Hearing<'_> {
    /// The logits of the next token after these tokens of the span: of all tokens of text and of the end. The others
    /// (times, languages, tasks) are never wanted.
    fn logits(&mut self, tokens: &[i32]) -> Result<&[f32], WhisperError> {
        let mut all = self.prompt();
        all.extend_from_slice(tokens);
        // The encoder's output of the span is still there, and what the decoder made of the tokens that were asked for
        // last. Only the logits of a lone token can be read: whisper.cpp leaves those of a row at another place.
        let before = all.get(..all.len() - 1).unwrap_or_default();
        let known = self.decoded.iter().zip(before).take_while(|(a, b)| a == b).count();
        let new = before.get(known..).unwrap_or_default();
        if !new.is_empty() {
            self.state.decode(new, known, 1)?;
        }
        self.state.decode(all.get(before.len()..).unwrap_or_default(), before.len(), 1)?;
        self.decoded = all;
        let end = usize::try_from(self.context.token_eot()).unwrap_or(0);
        Ok(self.state.get_logits()?.get(..=end).unwrap_or_default())
    }
}

impl Continue for Hearing<'_> {
    fn next(&mut self, tokens: &[i32]) -> Option<i32> {
        if given_up(self.given_up) {
            return None;
        }
        let logits = self.logits(tokens).ok()?;
        (0..).zip(logits).max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0))).map(|(token, _)| token)
    }

    fn bytes(&self, token: i32) -> Vec<u8> {
        self.context.token_to_bytes(token).unwrap_or_default().to_vec()
    }

    fn is_end(&self, token: i32) -> bool {
        token >= self.context.token_eot()
    }
}

/// Lets `full` make the spectrogram and set the window, and nothing more.
#[expect(unsafe_code, reason = "whisper-rs offers whisper.cpp's callback only as it is in C")]
fn prepare_only(params: &mut FullParams) {
    // SAFETY: the callback takes nothing from its arguments.
    unsafe { params.set_start_encoder_callback(Some(never)) }
}

#[expect(unsafe_code, reason = "a callback of whisper.cpp")]
unsafe extern "C" fn never(
    _context: *mut whisper_rs_sys::whisper_context,
    _state: *mut whisper_rs_sys::whisper_state,
    _user_data: *mut std::ffi::c_void,
) -> bool {
    false
}

/// Near misses that are kept at one place, and the least probability of one.
const MOST_NEAR: usize = 6;
const LEAST_NEAR: f32 = 0.01;

/// The likeliest tokens with their probabilities, the likeliest first; at least one.
fn near_misses(logits: &[f32]) -> NearMisses {
    let most = logits.iter().copied().fold(f32::MIN, f32::max);
    let sum: f32 = logits.iter().map(|l| (l - most).exp()).sum();
    let least = (most + (LEAST_NEAR * sum).ln()).min(most);
    let mut near: NearMisses =
        (0..).zip(logits).filter(|(_, l)| **l >= least).map(|(id, l)| (id, (l - most).exp() / sum)).collect();
    near.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    near.truncate(MOST_NEAR);
    near
}

/// Silero, as whisper.cpp runs it.
struct Silero {
    context: WhisperVadContext,
}

impl Silero {
    fn load(path: &Path) -> Result<Self, Error> {
        let load = |reason: String| Error::Load { path: path.to_owned(), reason };
        let text = path.to_str().ok_or_else(|| load("its path is not UTF-8".to_owned()))?;
        let mut params = WhisperVadContextParams::default();
        params.set_n_threads(1);
        params.set_use_gpu(false);
        let context = WhisperVadContext::new(text, params).map_err(|e| load(e.to_string()))?;
        Ok(Self { context })
    }
}

impl SpeechDetector for Silero {
    fn probabilities(&mut self, samples: &[f32]) -> Result<Vec<f32>, Error> {
        self.context
            .detect_speech(samples)
            .map_err(|e| Error::Recogniser { at_s: 0.0, reason: format!("voice detector: {e}") })?;
        Ok(self.context.probabilities().to_vec())
    }
}

#[cfg(test)]
mod tests;
