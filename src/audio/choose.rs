//! What was measured → which track and which channels are listened to, and how loud. Never averages blindly.

use super::{
    look::{Channel, FRAME_S, Look, Speech},
    report::{Level, Verdict},
    source::Place,
};

/// Two channels this unlike are one microphone wired the wrong way round.
const MIRRORED: f64 = -0.7;
/// A second voice of its own must speak alone for so long, in seconds, and for this share of its speech.
const ALONE_S: f64 = 2.0;
const ALONE_SHARE: f64 = 0.25;
/// Speech is brought to this level for the recogniser when it lies outside of what is usual, in dBFS.
const WANTED_DB: f64 = -26.0;
const USUAL_DB: std::ops::RangeInclusive<f64> = -38.0..=0.0;
/// The recogniser's copy is made louder by not more than this, in dB. Softer by whatever is needed: floats may hold whole
/// numbers, 90 dB too loud.
const MOST_GAIN_DB: f64 = 45.0;
/// Speech below is called very quiet, in dBFS.
const QUIET_DB: f32 = -48.0;
/// Speech nearer to the floor than this is called noisy, in dB.
const NOISY_DB: f32 = 13.0;
/// Sound without speech that is louder than this is told, in dBFS: speech of the usual level would be below it.
const LOUD_DB: f32 = -20.0;
/// A shorter piece shows no rise and fall, in seconds.
const SHORT_S: f64 = 0.3;
/// More cut-off samples than this share are called clipped.
const CLIPPED: f32 = 5e-4;
/// A constant is taken off if it is more than this of the sound, and told if it is more than that of full scale.
const DC_SHARE: f32 = 0.1;
const DC_TOLD: f64 = 0.01;

/// What is taken from the channels of a track.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mix {
    /// Channel, its constant part, and its weight.
    pub(super) parts: Vec<Part>,
    /// One sentence for the report.
    pub(super) says: String,
    /// From 0 to 40 dB: how well speech stands out, times how much there is.
    pub(super) score: f32,
    /// The channel that decided.
    pub(super) best: usize,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part {
    pub(super) channel: usize,
    pub(super) dc: f32,
    pub(super) weight: f32,
}

/// Everything about one track's sound.
pub(super) struct Choice {
    pub(super) mix: Mix,
    pub(super) levels: Vec<Level>,
}

/// Looks at the channels of one track.
pub(super) fn channels(look: &Look, places: &[Place]) -> Choice {
    let speech: Vec<Speech> = look.channels.iter().map(Channel::speech).collect();
    let place = |n: usize| places.get(n).copied().unwrap_or(Place::Other);
    let scores: Vec<f32> = speech
        .iter()
        .zip(&look.channels)
        .enumerate()
        .map(|(n, (s, c))| if place(n) == Place::Low { 0.0 } else { score(s, c) })
        .collect();
    let levels = look.channels.iter().zip(&speech).map(|(c, s)| level(c, s)).collect();
    let count = look.channels.len();
    let best = best(look, &scores, place);
    let part = |channel: usize, weight: f32| Part {
        channel,
        dc: look.channels.get(channel).map_or(0.0, constant),
        weight,
    };
    let top = scores.get(best).copied().unwrap_or(0.0);
    let name = |n: usize| match place(n) {
        Place::Only => "the only channel".to_owned(),
        Place::Other => format!("channel {}", n + 1),
        place => format!("the {place} channel"),
    };
    let mut parts = vec![part(best, 1.0)];
    let mut says = name(best);
    if count == 2 && look.likeness() < MIRRORED {
        // One microphone, wired the wrong way round on one side: their mean would be silence.
        parts = vec![part(0, 0.5), part(1, -0.5)];
        says = "both channels, the right one inverted: they are each other's mirror image".into();
    } else if count > 1 && top > 0.0 {
        let others = (0..count).filter(|n| *n != best).filter(|n| {
            let (Some(mine), Some(its)) = (speech.get(best), speech.get(*n)) else { return false };
            let good =
                scores.get(*n).is_some_and(|s| *s * 3.0 > top) && its.above_db() + 10.0 > mine.above_db();
            good && speaks_alone(mine, its)
        });
        let others: Vec<usize> = others.collect();
        if others.is_empty() {
            says.push_str(match (count, place(best)) {
                (2, _) if look.likeness() > 0.95 => "; the other is the same",
                (_, Place::Centre) => ": speech is clearest there",
                _ => ": speech is clearest there; the others were left out",
            });
        } else {
            // Different voices on different channels: both are needed, and they do not cancel each other.
            let names: Vec<String> = others.iter().map(|n| name(*n)).collect();
            says = format!("{says} and {} together: different voices speak on them", names.join(" and "));
            parts.extend(others.iter().map(|n| part(*n, 1.0)));
        }
    } else if count > 1 {
        says.push_str(if look.channels.iter().all(Channel::is_silent) {
            ": all are silent"
        } else {
            ": no channel has speech, this one is the loudest"
        });
    }
    Choice { mix: Mix { parts, says, score: top, best }, levels }
}

/// The channel with the clearest speech; the loudest where none has any.
fn best(look: &Look, scores: &[f32], place: impl Fn(usize) -> Place) -> usize {
    let top = scores.iter().copied().fold(0.0, f32::max);
    if top > 0.0 {
        // Nearly as good is as good; then the centre, then the first.
        let good = |n: &usize| scores.get(*n).is_some_and(|s| *s > 0.93 * top);
        let centre = (0..scores.len()).filter(good).find(|n| place(*n) == Place::Centre);
        return centre.or_else(|| (0..scores.len()).find(good)).unwrap_or(0);
    }
    let loud = |n: usize| look.channels.get(n).map_or(0.0, Channel::rms);
    (0..scores.len()).max_by(|a, b| loud(*a).total_cmp(&loud(*b)).then(b.cmp(a))).unwrap_or(0)
}

/// How well one would hear what is said.
fn score(speech: &Speech, channel: &Channel) -> f32 {
    let clipped = if channel.clipped() > 0.01 { 0.7 } else { 1.0 };
    // Below a fifth of the time more speech is better; above it is as good.
    speech.above_db() * (speech.share * 5.0).min(1.0).sqrt() * clipped
}

/// Whether one channel has speech of its own while the other has none.
fn speaks_alone(mine: &Speech, its: &Speech) -> bool {
    let frames = |n: usize| {
        #[expect(clippy::cast_precision_loss, reason = "a count of frames")]
        let n = n as f64;
        n
    };
    let all = its.active.iter().filter(|on| **on).count();
    // A pause inside a word is not silence of the other: half a second around counts.
    let near = 25;
    let mut last = None;
    let mut before = Vec::with_capacity(mine.active.len());
    for (n, on) in mine.active.iter().enumerate() {
        last = if *on { Some(n) } else { last };
        before.push(last.is_some_and(|last| n - last <= near));
    }
    let mut next = None;
    let mut alone = 0;
    for (n, on) in mine.active.iter().enumerate().rev() {
        next = if *on { Some(n) } else { next };
        let after = next.is_some_and(|next: usize| next - n <= near);
        let its = its.active.get(n).copied().unwrap_or(false);
        alone += usize::from(its && !after && !before.get(n).copied().unwrap_or(false));
    }
    frames(alone) * FRAME_S >= ALONE_S && frames(alone) >= ALONE_SHARE * frames(all)
}

/// A share of full scale in dB, to a tenth.
fn db(x: f32) -> f64 {
    round(20.0 * x.max(1e-7).log10(), 10.0)
}

/// For a person and for the log: no more digits than mean something.
fn round(x: f32, steps: f64) -> f64 {
    (f64::from(x) * steps).round() / steps
}

/// A channel's levels, and what they mean.
fn level(channel: &Channel, speech: &Speech) -> Level {
    let clipped = channel.clipped();
    let mut verdict = Vec::new();
    if channel.is_silent() {
        verdict.push(Verdict::NoSignal);
    } else if channel.length_s() < SHORT_S {
        verdict.push(Verdict::TooShort);
    } else if speech.share <= 0.0 {
        verdict.push(Verdict::NoSpeech);
        if 20.0 * channel.rms().max(1e-7).log10() > LOUD_DB {
            verdict.push(Verdict::LoudNoise);
        }
    } else {
        if speech.level_db < QUIET_DB {
            verdict.push(Verdict::VeryQuiet);
        }
        if speech.above_db() < NOISY_DB {
            verdict.push(Verdict::Noisy);
        }
    }
    if clipped > CLIPPED {
        verdict.push(Verdict::Clipped);
    }
    if verdict.is_empty() {
        verdict.push(Verdict::Good);
    }
    Level {
        peak_dbfs: db(channel.peak()),
        rms_dbfs: db(channel.rms()),
        speech_dbfs: (speech.share > 0.0).then(|| round(speech.level_db, 10.0)),
        floor_dbfs: round(speech.floor_db, 10.0),
        speech_share: round(speech.share, 1e3),
        clipped_share: round(clipped, 1e5),
        dc: round(channel.dc(), 1e4),
        verdict,
    }
}

/// By how much the recogniser's copy is made louder, in dB.
pub(super) fn gain_db(level: &Level) -> f64 {
    match level.speech_dbfs {
        Some(speech) if !USUAL_DB.contains(&speech) => (WANTED_DB - speech).min(MOST_GAIN_DB).round(),
        _ => 0.0,
    }
}

/// The constant that is taken off: none where it is lost in the sound, so that a good recording stays as it is.
fn constant(channel: &Channel) -> f32 {
    if channel.dc().abs() > DC_SHARE * channel.rms() { channel.dc() } else { 0.0 }
}

/// Whether a constant in the signal is worth telling.
pub(super) fn has_dc(level: &Level) -> bool {
    level.dc.abs() > DC_TOLD && level.dc.abs() > f64::from(DC_SHARE) * 10_f64.powf(level.rms_dbfs / 20.0)
}
