//! Short tones, made here, for ears while eyes and hands are busy. Four that differ in pitch, number and direction, so
//! that they are told apart on a poor loudspeaker.

use std::f32::consts::TAU;

/// What a tone says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// One short middle tone.
    Taken,
    /// Two tones that rise.
    Doubt,
    /// Two tones that fall.
    Struck,
    /// Three low, long tones.
    Warning,
    /// Two short high tones: the microphone hears.
    Ready,
    /// A high and a long low tone: the microphone is closed.
    Paused,
    /// Four very high tones: what was timed is over.
    TimeIsUp,
}

impl Tone {
    /// Pitches and lengths, in hertz and seconds.
    const fn notes(self) -> &'static [(f32, f32)] {
        match self {
            Self::Taken => &[(880.0, 0.08)],
            Self::Doubt => &[(660.0, 0.12), (990.0, 0.16)],
            Self::Struck => &[(660.0, 0.12), (440.0, 0.16)],
            Self::Warning => &[(330.0, 0.25), (330.0, 0.25), (330.0, 0.4)],
            Self::Ready => &[(1320.0, 0.06), (1320.0, 0.06)],
            Self::Paused => &[(1320.0, 0.06), (550.0, 0.3)],
            Self::TimeIsUp => &[(1760.0, 0.09), (1760.0, 0.09), (1760.0, 0.09), (1760.0, 0.09)],
        }
    }

    /// Samples from -1 to 1 in one channel; `volume` from 0 to 1.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a second of samples"
    )]
    pub fn samples(self, rate_hz: u32, volume: f32) -> Vec<f32> {
        let rate = rate_hz as f32;
        let mut all = Vec::new();
        for (pitch, length) in self.notes() {
            let n = (length * rate) as usize;
            let edge = (0.01 * rate).max(1.0);
            all.extend((0..n).map(|i| {
                let (at, left) = (i as f32, (n - i) as f32);
                // Without soft edges a tone clicks.
                let shape = (at / edge).min(left / edge).min(1.0);
                (at / rate * pitch * TAU).sin() * shape * volume.clamp(0.0, 1.0) * 0.5
            }));
            all.extend(std::iter::repeat_n(0.0, (0.06 * rate) as usize));
        }
        all
    }
}

/// What is played.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sound {
    Tone(Tone),
    /// Words of [`super::voice`].
    Words(Vec<&'static str>),
}

/// Plays tones and words through the default output, one after the other; silent where there is none.
#[derive(Debug, Clone, Default)]
pub struct Player {
    #[cfg(feature = "microphone")]
    sounds: Option<std::sync::mpsc::SyncSender<Sound>>,
}

impl Player {
    /// A player with this volume, from 0 (silent) to 1.
    #[cfg(feature = "microphone")]
    pub fn new(volume: f32) -> Self {
        if volume <= 0.0 {
            return Self::default();
        }
        let (sounds, due) = std::sync::mpsc::sync_channel(8);
        std::thread::spawn(move || {
            let mut voice = None;
            for sound in due {
                let played = match sound {
                    Sound::Tone(tone) => output::play(&|rate_hz| tone.samples(rate_hz, volume)),
                    Sound::Words(words) => {
                        // Decoded when it is needed first; most never need it.
                        let voice = voice.get_or_insert_with(|| super::voice::Voice::load().ok());
                        let Some(voice) = voice else { continue };
                        let said = voice.say(&words);
                        output::play(&|rate_hz| at_rate(&said, rate_hz, volume))
                    }
                };
                if let Err(e) = played {
                    tracing::debug!("no sound: {e}");
                }
            }
        });
        Self { sounds: Some(sounds) }
    }

    /// Without sound devices there is nothing to play on.
    #[cfg(not(feature = "microphone"))]
    pub fn new(_volume: f32) -> Self {
        Self::default()
    }

    /// Plays the tone; one that has to wait behind many others is left out.
    pub fn play(&self, tone: Tone) {
        self.give(Sound::Tone(tone));
    }

    /// Reads the words.
    pub fn say(&self, words: Vec<&'static str>) {
        self.give(Sound::Words(words));
    }

    #[cfg_attr(
        not(feature = "microphone"),
        expect(clippy::unused_self, reason = "nothing plays without a device")
    )]
    fn give(&self, sound: Sound) {
        #[cfg(feature = "microphone")]
        if let Some(sounds) = &self.sounds {
            let _ = sounds.try_send(sound);
        }
        #[cfg(not(feature = "microphone"))]
        let _ = sound;
    }
}

/// Samples at 16 kHz at the rate of a loudspeaker, each between two others.
#[cfg(feature = "microphone")]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "seconds of samples"
)]
fn at_rate(samples: &[f32], rate_hz: u32, volume: f32) -> Vec<f32> {
    let step = f64::from(crate::audio::RATE_HZ) / f64::from(rate_hz.max(1));
    let count = (samples.len() as f64 / step) as usize;
    let gain = volume.clamp(0.0, 1.0) * VOICE_GAIN;
    (0..count)
        .map(|i| {
            let at = i as f64 * step;
            let (before, part) = (at as usize, at.fract() as f32);
            let a = samples.get(before).copied().unwrap_or(0.0);
            let b = samples.get(before + 1).copied().unwrap_or(a);
            ((a + (b - a) * part) * gain).clamp(-1.0, 1.0)
        })
        .collect()
}

/// So that words are as loud as tones.
#[cfg(feature = "microphone")]
const VOICE_GAIN: f32 = 1.8;

#[cfg(feature = "microphone")]
mod output {
    use cpal::{
        Device, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig,
        traits::{DeviceTrait as _, HostTrait as _, StreamTrait as _},
    };

    /// Plays samples, which are made for the rate that is asked for, and waits for their end.
    pub(super) fn play(samples: &dyn Fn(u32) -> Vec<f32>) -> Result<(), cpal::Error> {
        let device = cpal::default_host().default_output_device().ok_or(ErrorKind::DeviceNotAvailable)?;
        let config = device.default_output_config()?;
        let samples = samples(config.sample_rate());
        let kind = config.sample_format();
        let config = config.config();
        match kind {
            SampleFormat::I16 => on::<i16>(&device, config, samples),
            SampleFormat::I32 => on::<i32>(&device, config, samples),
            SampleFormat::U8 => on::<u8>(&device, config, samples),
            SampleFormat::U16 => on::<u16>(&device, config, samples),
            SampleFormat::F32 => on::<f32>(&device, config, samples),
            _ => Err(ErrorKind::UnsupportedConfig.into()),
        }
    }

    fn on<T>(device: &Device, config: StreamConfig, samples: Vec<f32>) -> Result<(), cpal::Error>
    where
        T: SizedSample + FromSample<f32>,
    {
        let channels = usize::from(config.channels).max(1);
        #[expect(clippy::cast_precision_loss, reason = "a second of samples")]
        let length_s = samples.len() as f64 / f64::from(config.sample_rate.max(1));
        let mut rest = samples.into_iter();
        let stream = device.build_output_stream(
            config,
            move |out: &mut [T], _: &_| {
                for frame in out.chunks_mut(channels) {
                    let value = T::from_sample_(rest.next().unwrap_or(0.0));
                    frame.fill(value);
                }
            },
            |_| {},
            None,
        )?;
        stream.play()?;
        std::thread::sleep(std::time::Duration::from_secs_f64(length_s + 0.15));
        Ok(())
    }
}

#[cfg(test)]
#[expect(clippy::cast_precision_loss, reason = "a second of samples")]
mod tests {
    use super::*;

    /// How often the wave goes up through zero in a second of its sounding parts: its pitch, by counting.
    fn pitch(samples: &[f32]) -> f32 {
        let ups = samples.windows(2).filter(|w| w[0] <= 0.0 && w[1] > 0.0).count();
        let sounding = samples.iter().filter(|s| **s != 0.0).count();
        ups as f32 * 48_000.0 / sounding as f32
    }

    #[test]
    fn tones_are_short_and_differ() {
        let all = [
            Tone::Taken,
            Tone::Doubt,
            Tone::Struck,
            Tone::Warning,
            Tone::Ready,
            Tone::Paused,
            Tone::TimeIsUp,
        ];
        for tone in all {
            let samples = tone.samples(48_000, 0.5);
            let seconds = samples.len() as f32 / 48_000.0;
            assert!((0.05..1.2).contains(&seconds), "{tone:?} lasts {seconds} s");
            let peak = samples.iter().fold(0.0_f32, |m, s| m.max(s.abs()));
            assert!((0.2..=0.25).contains(&peak), "{tone:?}: {peak}");
            let edges = samples.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f32::max);
            assert!(edges < 0.065, "{tone:?} clicks: {edges}");
        }
        let pitches = all.map(|t| pitch(&t.samples(48_000, 0.5)));
        assert!((pitches[0] - 880.0).abs() < 15.0 && (pitches[3] - 330.0).abs() < 6.0, "{pitches:?}");
        assert!(Tone::Taken.samples(48_000, 0.0).iter().all(|s| *s == 0.0));
    }
}
