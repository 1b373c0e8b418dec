//! The model that comes with the program, loaded whole and with a shorter reach.

use super::*;
use crate::audio;

fn repository(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// So many seconds of a recording, from its start.
fn samples(name: &str, seconds: usize) -> Vec<f32> {
    let mut recording = audio::open(&repository(name), &audio::Options::default()).unwrap();
    let mut all = Vec::new();
    let wanted = seconds * RATE_HZ as usize;
    while all.len() < wanted
        && let Some(block) = audio::Samples::next_block(&mut recording).unwrap()
    {
        all.extend_from_slice(&block);
    }
    all.truncate(wanted);
    all
}

/// What is heard does not depend on how much of the model is loaded, nor on what was heard before with the same state, and
/// what is too long for the shorter model is heard to its end.
#[test]
fn a_shorter_model_hears_the_same() {
    let info = model::check(&repository("models/ggml-base-treatment-q8_0.bin"), Kind::Recogniser).unwrap();
    let (whole, short) = (Weights::load(info.clone(), true).unwrap(), Weights::load(info, false).unwrap());
    let speech = samples("audio-samples/after-visit.flac", 27);
    let hear = |weights: &Weights, seconds: usize| {
        let part = speech.get(..seconds * RATE_HZ as usize).unwrap();
        let heard = Whisper::new(weights).unwrap().hear(part, true).unwrap();
        assert!(heard.words.len() > seconds, "{seconds} s: {}", heard.text());
        heard
    };
    for (seconds, reach) in [(6, 768), (18, 1024), (27, 1500)] {
        assert_eq!(hear(&short, seconds), hear(&whole, seconds), "{seconds} s");
        assert_eq!((short.reach(), whole.reach()), (reach, 1500), "{seconds} s");
    }
}
