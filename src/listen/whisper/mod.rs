//! Whisper (whisper.cpp through whisper-rs) as a listener, and the voice detector that whisper.cpp runs.
//! Language English, no timestamps, no prompt, no earlier text, greedy; each span alone.

mod processor;
mod tokens;

use std::path::Path;

use whisper_rs::{
    DtwMode, DtwModelPreset, DtwParameters, FullParams, SamplingStrategy, WhisperContext,
    WhisperContextParameters, WhisperState, WhisperVadContext, WhisperVadContextParams,
};

use super::{
    Error, Heard, Second, Settings,
    hear::{self, Ears},
    listener::{Listener, Listening, SpeechDetector},
    model::{self, Kind, ModelInfo},
    run::{HeardSpan, How, Step, run},
    threads,
};
use crate::audio::{RATE_HZ, Samples};
use tokens::{Chosen, Continue, NearMisses, Token};

/// Encoder frames a second of audio: two log-mel frames of 10 ms make one.
const FRAMES_PER_S: usize = 50;
/// Frames that the tuned model wants beyond the audio.
const TUNED_MARGIN: usize = 24;
/// Stock models loop under this window.
const STOCK_LEAST: usize = 512;
/// The whole window of 30 s.
const WHOLE: usize = 1500;

/// Listens with the models that the settings name; `finish` makes of every span what `sink` gets.
pub(super) fn listen_each<T: Send>(
    samples: &mut dyn Samples,
    settings: &Settings,
    finish: &(dyn Fn(HeardSpan, &ModelInfo) -> Option<T> + Sync),
    sink: &mut dyn FnMut(Step<T>),
) -> Result<Heard, Error> {
    processor::check()?;
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
    let weights = Weights::load(info.clone())?;
    let other_weights = other.clone().map(Weights::load).transpose()?;
    let make_ears = || {
        let second = match (&other_weights, &settings.second) {
            (Some(weights), _) => hear::Second::Other(Box::new(weights.listener()?)),
            (None, Second::SameModel) => hear::Second::SameModel,
            (None, _) => hear::Second::Nobody,
        };
        Ok(Ears { first: Box::new(weights.listener()?), second })
    };
    let workers = settings.workers.unwrap_or_else(threads::free).max(1);
    let how = How { workers, start_s: settings.start_s, live: settings.live, stop: settings.stop.as_deref() };
    let finish = |span| finish(span, &info);
    let heard = run(samples, &mut detector, &make_ears, &how, &finish, sink)?;
    Ok(Heard { models: std::iter::once(info.clone()).chain(other).collect(), ..heard })
}

/// A loaded model; many listeners share it.
struct Weights {
    info: ModelInfo,
    context: WhisperContext,
}

impl Weights {
    fn load(info: ModelInfo) -> Result<Self, Error> {
        let mut parameters = WhisperContextParameters::default();
        // Word times come from dynamic time warping over the attention, which works without flash attention only.
        parameters
            .use_gpu(false)
            .flash_attn(false)
            .dtw_parameters(DtwParameters { mode: alignment_heads(&info), ..DtwParameters::default() });
        let context = WhisperContext::new_with_params(&info.path, parameters)
            .map_err(|e| Error::Load { path: info.path.clone(), reason: e.to_string() })?;
        Ok(Self { info, context })
    }

    fn listener(&self) -> Result<Whisper<'_>, Error> {
        let state = self
            .context
            .create_state()
            .map_err(|e| Error::Load { path: self.info.path.clone(), reason: e.to_string() })?;
        let vocabulary = usize::try_from(self.context.n_vocab()).unwrap_or(0);
        Ok(Whisper { name: self.info.name(), weights: self, state, vocabulary, decoded: Vec::new() })
    }
}

/// The attention heads that follow the audio best, as whisper.cpp lists them; the upper half of the layers for models
/// that it does not list.
fn alignment_heads(info: &ModelInfo) -> DtwMode<'static> {
    let preset = |model_preset| DtwMode::ModelPreset { model_preset };
    match (info.layers, info.english_only) {
        (4, true) => preset(DtwModelPreset::TinyEn),
        (4, false) => preset(DtwModelPreset::Tiny),
        (6, true) => preset(DtwModelPreset::BaseEn),
        (6, false) => preset(DtwModelPreset::Base),
        (12, true) => preset(DtwModelPreset::SmallEn),
        (12, false) => preset(DtwModelPreset::Small),
        (24, true) => preset(DtwModelPreset::MediumEn),
        (24, false) => preset(DtwModelPreset::Medium),
        _ => DtwMode::TopMost { n_top: 1 },
    }
}

/// One state of a loaded model.
struct Whisper<'a> {
    name: String,
    weights: &'a Weights,
    state: WhisperState,
    vocabulary: usize,
    /// Tokens of this span that the decoder keeps since runners-up are followed.
    decoded: Vec<i32>,
}

impl Whisper<'_> {
    fn window(&self, samples: usize) -> usize {
        let frames = (samples * FRAMES_PER_S).div_ceil(RATE_HZ as usize);
        let window = if self.weights.info.tuned { frames + TUNED_MARGIN } else { frames.max(STOCK_LEAST) };
        window.min(WHOLE)
    }
}

impl Listener for Whisper<'_> {
    fn name(&self) -> &str {
        &self.name
    }

    fn hear(&mut self, samples: &[f32], runners_up: bool) -> Result<Listening, Error> {
        let seconds = samples.len() / RATE_HZ as usize;
        let most_tokens = 20 + 8 * seconds;
        let mut params = FullParams::new(SamplingStrategy::Greedy { best_of: 1 });
        params.set_n_threads(1);
        params.set_language(Some("en"));
        params.set_translate(false);
        params.set_no_context(true);
        params.set_no_timestamps(true);
        params.set_single_segment(true);
        // A span without speech stays empty: the model itself decides by ending at once.
        params.set_suppress_blank(false);
        params.set_no_speech_thold(1.0);
        params.set_logprob_thold(-100.0);
        params.set_temperature(0.0);
        params.set_temperature_inc(0.0);
        params.set_max_tokens(i32::try_from(most_tokens).unwrap_or(0));
        params.set_print_progress(false);
        params.set_print_special(false);
        params.set_print_realtime(false);
        params.set_print_timestamps(false);
        params.set_audio_ctx(i32::try_from(self.window(samples.len())).unwrap_or(0));
        self.decoded.clear();
        let mut watch = Watch { vocabulary: self.vocabulary, near: Vec::new() };
        watch.attach(&mut params);
        self.state
            .full(params, samples)
            .map_err(|e| Error::Recogniser { at_s: 0.0, reason: e.to_string() })?;
        let chosen = Chosen { tokens: self.tokens(), near: watch.near };
        let endless = chosen.tokens.len() >= most_tokens;
        let words = tokens::words(&chosen.tokens);
        let runners_up = if endless || !runners_up { Vec::new() } else { tokens::runners_up(&chosen, self) };
        Ok(Listening { words, runners_up, endless })
    }
}

impl Whisper<'_> {
    /// The tokens of the text that the last call of `full` chose.
    fn tokens(&self) -> Vec<Token> {
        let eot = self.weights.context.token_eot();
        let mut tokens = Vec::new();
        for segment in self.state.as_iter() {
            for token in (0..segment.n_tokens()).filter_map(|index| segment.get_token(index)) {
                let data = token.token_data();
                if data.id >= eot {
                    continue;
                }
                // whisper.cpp 1.8 stamps a token with the frame at which the next one begins.
                #[expect(clippy::cast_precision_loss, reason = "hundredths of seconds in 30 s")]
                let end_s = data.t_dtw.max(0) as f64 / 100.0;
                let bytes = token.to_bytes().unwrap_or_default().to_vec();
                tokens.push(Token { id: data.id, bytes, p: data.p, end_s });
            }
        }
        tokens
    }

    /// What comes before the text: the model is told language and task, and that no timestamps are wanted.
    fn prompt(&self) -> Vec<i32> {
        let context = &self.weights.context;
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

impl Continue for Whisper<'_> {
    fn next(&mut self, tokens: &[i32]) -> Option<i32> {
        let mut all = self.prompt();
        all.extend_from_slice(tokens);
        // The encoder's output of the span is still there, and what the decoder made of the tokens that were asked for
        // last. Only the logits of a lone token can be read: whisper.cpp leaves those of a row at another place.
        let (last, before) = all.split_last()?;
        let known = self.decoded.iter().zip(before).take_while(|(a, b)| a == b).count();
        let new = before.get(known..)?;
        if !new.is_empty() {
            self.state.decode(new, known, 1).ok()?;
        }
        self.state.decode(&[*last], before.len(), 1).ok()?;
        self.decoded.clone_from(&all);
        let logits = self.state.get_logits().ok()?;
        let eot = usize::try_from(self.weights.context.token_eot()).ok()?;
        let text = logits.get(..=eot)?;
        let best = text.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)))?.0;
        i32::try_from(best).ok()
    }

    fn bytes(&self, token: i32) -> Vec<u8> {
        self.weights.context.token_to_bytes(token).unwrap_or_default().to_vec()
    }

    fn is_end(&self, token: i32) -> bool {
        token >= self.weights.context.token_eot()
    }
}

/// Sees the logits before every token and keeps the near misses.
struct Watch {
    vocabulary: usize,
    near: Vec<NearMisses>,
}

/// Near misses that are kept at one place, and the least probability of one.
const MOST_NEAR: usize = 6;
const LEAST_NEAR: f32 = 0.01;

impl Watch {
    #[expect(unsafe_code, reason = "whisper-rs offers whisper.cpp's logits callback only as it is in C")]
    fn attach(&mut self, params: &mut FullParams) {
        // SAFETY: `self` outlives the call of `full` that `params` are for, whisper.cpp calls from that one call only
        // (one decoder), and nobody else uses `self` meanwhile.
        unsafe {
            params.set_filter_logits_callback(Some(watch_logits));
            params.set_filter_logits_callback_user_data(std::ptr::from_mut(self).cast());
        }
    }

    fn see(&mut self, logits: &[f32]) {
        let most = logits.iter().copied().fold(f32::MIN, f32::max);
        let sum: f32 = logits.iter().map(|l| (l - most).exp()).sum();
        let least = most + (LEAST_NEAR * sum).ln();
        let mut near: NearMisses = (0..)
            .zip(logits)
            .filter(|(_, l)| **l >= least)
            .map(|(id, l)| (id, (l - most).exp() / sum))
            .collect();
        near.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        near.truncate(MOST_NEAR);
        self.near.push(near);
    }
}

#[expect(unsafe_code, reason = "a callback of whisper.cpp")]
unsafe extern "C" fn watch_logits(
    _context: *mut whisper_rs_sys::whisper_context,
    _state: *mut whisper_rs_sys::whisper_state,
    _tokens: *const whisper_rs_sys::whisper_token_data,
    _n_tokens: std::ffi::c_int,
    logits: *mut f32,
    watch: *mut std::ffi::c_void,
) {
    // SAFETY: `watch` is what `attach` gave; whisper.cpp hands over as many logits as the vocabulary has tokens.
    unsafe {
        let watch = &mut *watch.cast::<Watch>();
        watch.see(std::slice::from_raw_parts(logits, watch.vocabulary));
    }
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
