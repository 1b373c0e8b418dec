//! A file → [`Recording`]: one look through all of it, then blocks at 16 kHz.

use std::path::Path;

use super::{
    RATE_HZ, Samples, aiff, au, caf,
    choose::{self, Choice, Part},
    error::Error,
    input::Input,
    look::Look,
    matroska, mp4, mpeg,
    report::{ChannelLevel, Report, Track},
    resample::Resampler,
    sniff::{self, Found},
    source::{MOST_CHANNELS, Piece, RATES_HZ, Source, counted, frames, seconds},
    stream, wav,
};

/// A forward jump of the file's clock by more is a gap in the sound, in seconds.
const GAP_S: f64 = 0.06;
/// A longer gap is a broken clock, in seconds.
const MOST_GAP_S: f64 = 3600.0;
/// Where more than this share of all pieces jumps, the clock is broken, not the sound.
const MOST_JUMPS: f64 = 0.2;
/// A declared length that is missed by more is told, in seconds.
const SHORT_S: f64 = 0.5;
/// The same where the header counts every sample, as FLAC's does, in seconds.
const SHORT_BY_COUNT_S: f64 = 0.02;
/// Silence for a gap is given in pieces of this many frames.
const SILENCE: u64 = 1 << 14;

/// What the user may choose.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Which track to take, from 1; absent: the one with speech.
    pub track: Option<usize>,
}

/// A recording that was looked through and can now be listened to.
pub struct Recording {
    source: Box<dyn Source>,
    report: Report,
    track: usize,
    parts: Vec<Part>,
    gain: f32,
    /// Follow the file's clock over gaps.
    clock: bool,
    resampler: Resampler,
    /// When the next piece starts, in seconds of the recording.
    now_s: f64,
    /// Silence that is still to be given for a gap, in frames at `rate_hz`.
    gap: u64,
    rate_hz: u32,
    /// Samples given so far, at 16 kHz, from the start of the recording.
    given: u64,
    /// Samples to leave out before the next block starts: a jump lands a little early.
    leave_out: u64,
    piece: Piece,
    mono: Vec<f32>,
    state: State,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// The piece in hand has not been given yet.
    Held,
    Reading,
    Done,
}

/// Looks through the recording and makes it ready to be listened to. Never changes it.
pub fn open(path: &Path, options: &Options) -> Result<Recording, Error> {
    let mut input = Input::open(path)?;
    let second = input.again()?;
    let sha256 = input.sha256()?;
    let mut source = take_apart(input)?;
    let container = source.container().to_owned();
    let headers = source.tracks().to_vec();
    if let Some(asked) = options.track.filter(|asked| *asked == 0 || *asked > headers.len()) {
        return Err(Error::Track { path: path.to_owned(), asked, found: headers.len() });
    }
    let looks = look_through(source.as_mut())?;
    let choices: Vec<Choice> = looks
        .iter()
        .zip(&headers)
        .map(|(look, header)| {
            let fits = header.places.len() == look.channels.len();
            let usual = super::source::Place::usual(look.channels.len());
            choose::channels(look, if fits { &header.places } else { &usual })
        })
        .collect();
    let (track, track_why) = choose_track(options, &headers, &looks, &choices);
    let (Some(look), Some(header), Some(choice)) = (looks.get(track), headers.get(track), choices.get(track))
    else {
        return Err(Error::NoSoundTrack { path: path.to_owned(), container });
    };
    let codec = header.codec.clone();
    if !header.readable {
        return Err(Error::Codec { path: path.to_owned(), container, codec });
    }
    if look.channels.is_empty() || look.real_s <= 0.0 {
        let why = source.repairs().pop().unwrap_or_else(|| format!("{codec} without content"));
        return Err(Error::NoSamples { path: path.to_owned(), container, why });
    }
    let (rate_hz, channels) = (look.rate_hz, look.channels.len());
    if !RATES_HZ.contains(&rate_hz) {
        return Err(Error::Rate { path: path.to_owned(), container, found: rate_hz });
    }
    if channels > MOST_CHANNELS {
        let found = u32::try_from(channels).unwrap_or(u32::MAX);
        return Err(Error::Channels { path: path.to_owned(), container, found, most: MOST_CHANNELS });
    }
    let mut repairs = source.repairs();
    let mut warnings = Vec::new();
    let clock = believe_clock(look, &mut repairs);
    let decoded_s = look.decoded_s + if clock { look.jumped_s } else { 0.0 };
    let short_s = if container == "FLAC" { SHORT_BY_COUNT_S } else { SHORT_S };
    if let Some(declared_s) = header.declared_s.filter(|declared| declared - decoded_s > short_s) {
        warnings.push(format!(
            "file cut short: its header promises {declared_s:.1} s, {decoded_s:.1} s could be read"
        ));
    }
    for (n, other) in choices.iter().enumerate().filter(|(n, c)| *n != track && c.mix.score > 3.0) {
        let _ = other;
        warnings.push(format!("track {} has speech too; `--track {}` listens to it instead", n + 1, n + 1));
    }
    let Some(level) = choice.levels.get(choice.mix.best).cloned() else {
        return Err(Error::NoSamples { path: path.to_owned(), container, why: "no channel".into() });
    };
    if choose::has_dc(&level) {
        repairs.push(format!("a constant of {:.1} % of full scale was taken off", level.dc * 100.0));
    }
    let gain_db = choose::gain_db(&level);
    let report = Report {
        sha256,
        container,
        codec,
        rate_hz,
        channels,
        track: track + 1,
        track_why,
        channel: choice.mix.says.clone(),
        decoded_s: hundredths(decoded_s),
        declared_s: header.declared_s.map(hundredths),
        verdict: level.verdict.iter().map(ToString::to_string).collect(),
        level,
        gain_db,
        tracks: tracks(&headers, &looks, &choices),
        recording_start: source.started(),
        repairs,
        warnings,
    };
    let parts = choice.mix.parts.clone();
    #[expect(clippy::cast_possible_truncation, reason = "a small factor")]
    let gain = 10_f64.powf(gain_db / 20.0) as f32;
    Ok(Recording {
        source: take_apart(second)?,
        report,
        track,
        parts,
        gain,
        clock,
        resampler: Resampler::new(rate_hz),
        now_s: 0.0,
        gap: 0,
        rate_hz,
        given: 0,
        leave_out: 0,
        piece: Piece::default(),
        mono: Vec::new(),
        state: State::Reading,
    })
}

/// Opens the file by its content.
fn take_apart(mut input: Input) -> Result<Box<dyn Source>, Error> {
    let (found, start, repairs) = sniff::sniff(&mut input)?;
    match found {
        Found::Wav(kind) => wav::open(input, start, kind, repairs),
        Found::Aiff => aiff::open(input, start, repairs),
        Found::Au => au::open(input, start, repairs),
        Found::Caf => caf::open(input, start, repairs),
        Found::Mp4 => mp4::open(input, start, repairs),
        Found::Ogg => stream::open(input, start, "Ogg", stream::Kind::Ogg, repairs),
        Found::Matroska => matroska::open(input, start, repairs),
        Found::Flac => stream::open(input, start, "FLAC", stream::Kind::Flac, repairs),
        Found::Frames => {
            let end = input.len();
            mpeg::open(input, start, end, "MPEG audio", repairs)?.map_err(|input| Error::NotSound {
                path: input.path(),
                found: "it has no frames of sound".into(),
            })
        }
        Found::Refused(container) => {
            Err(Error::Container { path: input.path(), container: container.into() })
        }
        Found::Headless(container) => Err(Error::CutOff {
            path: input.path(),
            container: container.into(),
            what: "its beginning, which tells how to decode it, is missing".into(),
        }),
        Found::NotSound(found) => Err(Error::NotSound { path: input.path(), found: found.into() }),
    }
}

/// The first pass over all tracks.
fn look_through(source: &mut dyn Source) -> Result<Vec<Look>, Error> {
    let mut looks: Vec<Look> = source.tracks().iter().map(|_| Look::default()).collect();
    let mut piece = Piece::default();
    while source.next(None, &mut piece)? {
        let Some(look) = looks.get_mut(piece.track) else { continue };
        if let Some(at_s) = piece.at_s {
            let jump = at_s - look.decoded_s - look.jumped_s;
            if jump > GAP_S && jump < MOST_GAP_S {
                look.jumps += 1;
                look.jumped_s += jump;
            }
        }
        look.add(&piece);
    }
    Ok(looks)
}

/// Whether gaps in the file's clock are gaps in the sound.
fn believe_clock(look: &Look, repairs: &mut Vec<String>) -> bool {
    if look.jumps == 0 {
        return false;
    }
    #[expect(clippy::cast_precision_loss, reason = "a share")]
    let share = look.jumps as f64 / look.pieces.max(1) as f64;
    let believed = share <= MOST_JUMPS || look.jumps <= 2;
    repairs.push(if believed {
        format!(
            "{} in the sound by the file's clock, {:.2} s in all: filled with silence, so that times stay right",
            counted(look.jumps, "gap"),
            look.jumped_s
        )
    } else {
        "the file's clock jumps all the time and was not believed; times count the samples".into()
    });
    believed
}

fn choose_track(
    options: &Options,
    headers: &[super::source::Track],
    looks: &[Look],
    choices: &[Choice],
) -> (usize, String) {
    if let Some(asked) = options.track {
        return (asked - 1, "asked for".into());
    }
    if headers.len() == 1 {
        return (0, "the only one".into());
    }
    let score = |n: usize| choices.get(n).map_or(0.0, |c| c.mix.score);
    let first_best = |by: &dyn Fn(usize) -> f32| {
        (0..headers.len()).max_by(|a, b| by(*a).total_cmp(&by(*b)).then(b.cmp(a))).filter(|n| by(*n) > 0.0)
    };
    if let Some(best) = first_best(&score) {
        return (best, "speech is clearest there".into());
    }
    let loud = |n: usize| {
        looks
            .get(n)
            .map_or(0.0, |look| look.channels.iter().map(super::look::Channel::rms).fold(0.0, f32::max))
    };
    if let Some(loudest) = first_best(&loud) {
        return (loudest, "no track has speech, this one is the loudest".into());
    }
    let readable = headers.iter().position(|h| h.readable).unwrap_or(0);
    (readable, "no track has any sound, this is the first".into())
}

fn tracks(headers: &[super::source::Track], looks: &[Look], choices: &[Choice]) -> Vec<Track> {
    let all = headers.iter().zip(looks).zip(choices).enumerate();
    all.map(|(n, ((header, look), choice))| Track {
        track: n + 1,
        codec: header.codec.clone(),
        readable: header.readable,
        name: header.name.clone(),
        rate_hz: if look.rate_hz > 0 { Some(look.rate_hz) } else { header.rate_hz },
        decoded_s: hundredths(look.decoded_s),
        declared_s: header.declared_s.map(hundredths),
        channels: choice
            .levels
            .iter()
            .enumerate()
            .map(|(n, level)| ChannelLevel {
                place: header.places.get(n).map_or_else(|| (n + 1).to_string(), ToString::to_string),
                level: level.clone(),
            })
            .collect(),
    })
    .collect()
}

fn hundredths(seconds: f64) -> f64 {
    (seconds * 100.0).round() / 100.0
}

impl Recording {
    /// What was found and what was chosen.
    pub const fn report(&self) -> &Report {
        &self.report
    }

    /// When the next block starts, in seconds of the recording.
    pub fn position_s(&self) -> f64 {
        seconds(self.given + self.leave_out, RATE_HZ)
    }

    /// Goes forward so that the next block starts at `to_s`, without decoding more than needed. Does nothing where that
    /// lies behind; at the end nothing is left.
    pub fn skip_to(&mut self, to_s: f64) -> Result<(), Error> {
        let target = frames(to_s, RATE_HZ);
        if target <= self.given || self.state == State::Done || !to_s.is_finite() {
            return Ok(());
        }
        // A jump is worth it only over more than a few seconds; gaps in the clock are then passed by the clock.
        if to_s - self.position_s() > 5.0
            && self.gap == 0
            && self.state == State::Reading
            && let Some(at_s) = self.source.skip(self.track, to_s)?.filter(|at_s| *at_s <= to_s)
        {
            let at_s = at_s.max(self.now_s);
            self.resampler = Resampler::new(self.rate_hz);
            self.now_s = at_s;
            self.given = frames(at_s, RATE_HZ);
        }
        self.leave_out = target.saturating_sub(self.given);
        Ok(())
    }

    /// Puts what is ready at 16 kHz into `block`; false at the end.
    fn step(&mut self, block: &mut Vec<f32>) -> Result<bool, Error> {
        if self.gap > 0 {
            let now = self.gap.min(SILENCE);
            self.gap -= now;
            self.now_s += seconds(now, self.rate_hz);
            self.mono.clear();
            self.mono.resize(usize::try_from(now).unwrap_or(0), 0.0);
            self.resampler.push(&self.mono, block);
            return Ok(true);
        }
        if self.state == State::Reading {
            if !self.source.next(Some(self.track), &mut self.piece)? {
                self.resampler.finish(block);
                self.state = State::Done;
                return Ok(false);
            }
            self.state = State::Held;
            if self.piece.rate_hz != self.rate_hz && RATES_HZ.contains(&self.piece.rate_hz) {
                // A file of several joined ones: each at its own rate.
                self.resampler.finish(block);
                self.rate_hz = self.piece.rate_hz;
                self.resampler = Resampler::new(self.rate_hz);
            }
            if let Some(at_s) = self.piece.at_s.filter(|_| self.clock) {
                let jump = at_s - self.now_s;
                if jump > GAP_S && jump < MOST_GAP_S {
                    self.gap = frames(jump, self.rate_hz);
                    return Ok(true);
                }
            }
        }
        self.state = State::Reading;
        let count = self.piece.frames();
        self.now_s += seconds(count as u64, self.rate_hz);
        self.mono.clear();
        self.mono.resize(count, 0.0);
        for part in &self.parts {
            let Some(plane) = self.piece.planes.get(part.channel).or_else(|| self.piece.planes.first())
            else {
                continue;
            };
            let weight = part.weight * self.gain;
            for (to, from) in self.mono.iter_mut().zip(plane) {
                *to += (from - part.dc) * weight;
            }
        }
        self.resampler.push(&self.mono, block);
        Ok(true)
    }
}

impl Samples for Recording {
    fn next_block(&mut self) -> Result<Option<Vec<f32>>, Error> {
        let second = RATE_HZ as usize;
        let mut block = Vec::with_capacity(second + second / 4);
        while self.state != State::Done && block.len() < second {
            self.step(&mut block)?;
            if self.leave_out > 0 {
                let out = usize::try_from(self.leave_out).unwrap_or(usize::MAX).min(block.len());
                block.drain(..out);
                self.leave_out -= out as u64;
                self.given += out as u64;
            }
        }
        self.given += block.len() as u64;
        for sample in &mut block {
            *sample = sample.clamp(-1.0, 1.0);
        }
        Ok(Some(block).filter(|b| !b.is_empty()))
    }

    fn expected_s(&self) -> Option<f64> {
        Some(self.report.decoded_s)
    }
}
