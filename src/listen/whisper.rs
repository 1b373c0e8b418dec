//! Whisper (whisper.cpp through whisper-rs) as a listener, and the voice detector that whisper.cpp runs.
//! Language English, no timestamps, no prompt, no earlier text, greedy; each span alone.

use std::path::Path;

use whisper_rs::{
    DtwMode, DtwModelPreset, DtwParameters, FullParams, SamplingStrategy, WhisperContext,
    WhisperContextParameters, WhisperState, WhisperVadContext, WhisperVadContextParams,
};

use super::{
    Error, Event, Heard, Settings,
    listener::{Listener, Listening, RawWord, SpeechDetector},
    model::{self, Kind, ModelInfo},
    run::{Ears, How, run},
    threads,
};
use crate::audio::{RATE_HZ, Samples};

/// Encoder frames a second of audio: two log-mel frames of 10 ms make one.
const FRAMES_PER_S: usize = 50;
/// Frames that the tuned model wants beyond the audio.
const TUNED_MARGIN: usize = 24;
/// Stock models loop under this window.
const STOCK_LEAST: usize = 512;
/// The whole window of 30 s.
const WHOLE: usize = 1500;

/// Listens with the models that the settings name.
pub(super) fn listen_each(
    samples: &mut dyn Samples,
    settings: &Settings,
    sink: &mut dyn FnMut(Event),
) -> Result<Heard, Error> {
    whisper_rs::install_logging_hooks();
    let Some(vad) = &settings.vad else {
        return Err(Error::NoVoiceDetector { wanted: model::DEFAULT_VAD.to_owned() });
    };
    let first = model::check(&settings.recogniser, Kind::Recogniser)?;
    model::check(vad, Kind::VoiceDetector)?;
    let mut detector = Silero::load(vad)?;
    let weights = Weights::load(first.clone())?;
    let workers = settings.workers.unwrap_or_else(threads::free).max(1);
    let how = How { workers, start_s: settings.start_s, stop: settings.stop.as_deref() };
    let make_ears = || Ok(Ears { first: Box::new(weights.listener()?) as Box<dyn Listener> });
    let heard = run(samples, &mut detector, &make_ears, &how, sink)?;
    Ok(Heard { models: vec![first], ..heard })
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
        Ok(Whisper { name: self.info.name(), weights: self, state })
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

    fn hear(&mut self, samples: &[f32]) -> Result<Listening, Error> {
        let mut params = FullParams::new(SamplingStrategy::Greedy { best_of: 1 });
        params.set_n_threads(1);
        params.set_language(Some("en"));
        params.set_translate(false);
        params.set_no_context(true);
        params.set_no_timestamps(true);
        params.set_single_segment(true);
        params.set_suppress_blank(false);
        params.set_temperature(0.0);
        params.set_temperature_inc(0.0);
        // A span without speech must stay empty, but the model itself decides by ending at once.
        params.set_no_speech_thold(1.0);
        params.set_logprob_thold(-100.0);
        params.set_print_progress(false);
        params.set_print_special(false);
        params.set_print_realtime(false);
        params.set_print_timestamps(false);
        params.set_audio_ctx(i32::try_from(self.window(samples.len())).unwrap_or(0));
        self.state
            .full(params, samples)
            .map_err(|e| Error::Recogniser { at_s: 0.0, reason: e.to_string() })?;
        Ok(self.listening())
    }
}

impl Whisper<'_> {
    /// Tokens → words: a token that begins with a blank begins a word; bytes are joined before they become text.
    fn listening(&self) -> Listening {
        let eot = self.weights.context.token_eot();
        let mut words: Vec<(Vec<u8>, RawWord)> = Vec::new();
        let mut last_s = 0.0;
        let mut tokens = 0;
        for segment in self.state.as_iter() {
            for index in 0..segment.n_tokens() {
                let Some(token) = segment.get_token(index).filter(|t| t.token_id() < eot) else { continue };
                tokens += 1;
                let bytes = token.to_bytes().unwrap_or_default();
                let data = token.token_data();
                // whisper.cpp 1.8 stamps a token with the frame at which the next one begins.
                #[expect(clippy::cast_precision_loss, reason = "hundredths of seconds in 30 s")]
                let end_s = (data.t_dtw.max(0) as f64 / 100.0).max(last_s);
                match words.last_mut() {
                    Some((word, raw)) if !bytes.starts_with(b" ") => {
                        word.extend_from_slice(bytes);
                        raw.to_s = end_s;
                        raw.p = raw.p.min(data.p);
                    }
                    _ => {
                        let raw = RawWord { from_s: last_s, to_s: end_s, p: data.p, ..RawWord::default() };
                        words.push((bytes.trim_ascii_start().to_vec(), raw));
                    }
                }
                last_s = end_s;
            }
        }
        let words: Vec<RawWord> = words
            .into_iter()
            .map(|(bytes, raw)| RawWord { text: String::from_utf8_lossy(&bytes).trim().to_owned(), ..raw })
            .filter(|word| !word.text.is_empty())
            .collect();
        Listening { words, looped: tokens > 200 }
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
