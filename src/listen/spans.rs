//! Probabilities of speech → spans to listen to. A pause of [`PAUSE_S`] ends a breath; speech that goes on is split at
//! its best pause before [`LONGEST_S`]. Never drops speech: what is not in a span was below the threshold all along.

use serde::{Deserialize, Serialize};

use super::listener::WINDOW;
use crate::audio::RATE_HZ;

/// This much non-speech ends a breath. Pauses of 0.6 s are meant; the detector goes on for a window after the voice.
pub const PAUSE_S: f64 = 0.57;
/// After so much of that pause it is likely that the breath is over. No less than [`PAD_S`], which is heard with it.
pub const LIKELY_S: f64 = 0.32;
/// No span is longer: the recogniser's window is 30 s, and both ends are padded.
pub const LONGEST_S: f64 = 28.0;
/// Kept before and after the speech: detectors make up their mind late, and swallow first words.
pub const PAD_S: f64 = 0.3;

/// A window at or above begins speech.
const ON: f32 = 0.5;
/// A window below belongs to a pause. Higher than [`ON`], because under noise the detector stays above one half between
/// two breaths; what it cuts from the end of a word is in the padding. Measured on 924 breaths in noise: no breath lost,
/// 9 joined with the next, 1 split; with 0.35 for both 51 were joined.
const OFF: f32 = 0.6;
/// A breath reaches to its last window at or above.
const TAIL: f32 = 0.35;
/// A window at or above holds a voice as far as the detector can tell.
const CERTAIN: f32 = 0.9;
/// Fewer windows than these at or above [`ON`] are a click, not a word (0.1 s).
const LEAST_WINDOWS: usize = 3;

/// One stretch of speech, in samples of the recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Span {
    pub from: u64,
    pub to: u64,
    /// Speech that went on was split here; there was no pause.
    pub split_at_start: bool,
    pub split_at_end: bool,
    /// Windows in which the detector was nearly certain of a voice.
    pub certain: u32,
}

/// Takes one probability after the other and gives spans when they are over.
#[derive(Debug, Default)]
pub struct Spans {
    /// Windows taken so far.
    at: u64,
    /// Window at which the open span began, and the probabilities since.
    open: Option<(u64, Vec<f32>)>,
    split_at_start: bool,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "small constants"
)]
fn windows(seconds: f64) -> usize {
    (seconds * f64::from(RATE_HZ) / WINDOW as f64).round() as usize
}

impl Spans {
    /// The earliest sample that may still be needed for a span, before padding.
    pub fn keep_from(&self) -> u64 {
        self.open.as_ref().map_or(self.at, |(first, _)| *first) * WINDOW as u64
    }

    /// Windows that must come at least before the open breath can be likely to be over, or over; or before one that has
    /// not begun can.
    pub fn until_likely(&self) -> usize {
        let quiet = self.open.as_ref().map_or(0, |(_, open)| quiet(open));
        match windows(LIKELY_S).saturating_sub(quiet) {
            0 => windows(PAUSE_S).saturating_sub(quiet),
            n => n,
        }
    }

    /// The span that the open breath is if nobody goes on, once that is likely.
    pub fn likely(&self) -> Option<Span> {
        let (first, open) = self.open.as_ref()?;
        (quiet(open) >= windows(LIKELY_S)).then(|| closed(*first, open, self.split_at_start))?
    }

    /// Takes the probability of the next window.
    pub fn push(&mut self, p: f32) -> Option<Span> {
        self.at += 1;
        let Some((_, open)) = &mut self.open else {
            if p >= ON {
                self.open = Some((self.at - 1, vec![p]));
            }
            return None;
        };
        open.push(p);
        if quiet(open) >= windows(PAUSE_S) {
            return self.close();
        }
        if open.len() >= windows(LONGEST_S) {
            return self.split();
        }
        None
    }

    /// The recording is over.
    pub fn end(&mut self) -> Option<Span> {
        self.close()
    }

    fn close(&mut self) -> Option<Span> {
        let (first, open) = self.open.take()?;
        closed(first, &open, std::mem::take(&mut self.split_at_start))
    }

    /// Splits the open span in the middle of its longest pause, or at its least likely window, in its second half.
    fn split(&mut self) -> Option<Span> {
        let (first, open) = self.open.take()?;
        let half = open.len() / 2;
        let (_, second) = open.split_at(half);
        let (mut best, mut best_length, mut run) = (None, 0, 0);
        for (i, p) in second.iter().enumerate() {
            run = if *p < OFF { run + 1 } else { 0 };
            if run > best_length {
                (best_length, best) = (run, Some(i + 1 - run / 2 - run % 2));
            }
        }
        let lowest = || second.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)).map(|(i, _)| i);
        let cut = half + best.or_else(lowest).unwrap_or(0).max(1);
        let rest = open.get(cut..).unwrap_or_default().to_vec();
        let at = first + cut as u64;
        let certain = certain(open.get(..cut).unwrap_or_default());
        self.open = Some((at, rest));
        let split_at_start = std::mem::replace(&mut self.split_at_start, true);
        Some(span(first, at, (split_at_start, true), certain))
    }
}

/// How many windows at the end belong to a pause.
fn quiet(open: &[f32]) -> usize {
    open.iter().rev().take_while(|p| **p < OFF).count()
}

/// The span of a breath that is over; none where it was a click.
fn closed(first: u64, open: &[f32], split_at_start: bool) -> Option<Span> {
    let speech = open.iter().rposition(|p| *p >= TAIL)? + 1;
    if open.iter().filter(|p| **p >= ON).count() < LEAST_WINDOWS && !split_at_start {
        return None;
    }
    let certain = certain(open.get(..speech).unwrap_or_default());
    Some(span(first, first + speech as u64, (split_at_start, false), certain))
}

fn certain(windows: &[f32]) -> u32 {
    u32::try_from(windows.iter().filter(|p| **p >= CERTAIN).count()).unwrap_or(u32::MAX)
}

fn span(first: u64, end: u64, (split_at_start, split_at_end): (bool, bool), certain: u32) -> Span {
    let window = WINDOW as u64;
    Span { from: first * window, to: end * window, split_at_start, split_at_end, certain }
}

#[cfg(test)]
#[expect(clippy::cast_precision_loss, reason = "test recordings are short")]
mod tests {
    use super::*;

    /// One character a 0.1 s: `#` speech, `-` perhaps, `.` none. Gives spans in tenths of seconds, `|` = split.
    fn hear(picture: &str) -> String {
        let mut spans = Spans::default();
        let mut found = Vec::new();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let sign_at = |window: usize| picture.chars().nth((window as f64 * 0.032 / 0.1) as usize);
        let mut window = 0;
        while let Some(sign) = sign_at(window) {
            found.extend(spans.push(match sign {
                '#' => 0.9,
                '-' => 0.4,
                _ => 0.1,
            }));
            window += 1;
        }
        found.extend(spans.end());
        let tenths = |sample: u64| sample as f64 / 1600.0;
        found
            .iter()
            .map(|s| {
                let (a, b) = (if s.split_at_start { "|" } else { "" }, if s.split_at_end { "|" } else { "" });
                format!("{a}{:.0}-{:.0}{b}", tenths(s.from), tenths(s.to))
            })
            .collect::<Vec<_>>()
            .join(" ")
    }

    #[track_caller]
    fn check(picture: &str, expect: &str) {
        assert_eq!(hear(picture), expect, "picture: {picture}");
    }

    #[test]
    fn pauses_end_breaths() {
        check("..........", "");
        check("..###.......", "2-5");
        check("..###...###....", "2-11");
        check("..###.......###....", "2-5 12-15");
        check("####", "0-4");
        check("..#.....", "2-3");
        check("..###--......", "2-7");
        check("..---......", "");
    }

    /// Once a breath is likely to be over it is told as it will be, unless somebody goes on.
    #[test]
    fn a_breath_that_is_likely_to_be_over() {
        let mut spans = Spans::default();
        let mut push = |ps: &[f32]| ps.iter().filter_map(|p| spans.push(*p)).last().or(spans.likely());
        assert_eq!(push(&[0.1; 20]), None, "nobody speaks");
        assert_eq!(push(&[0.9; 40]), None);
        assert_eq!(push(&[0.1; 9]), None);
        let likely = push(&[0.1]).expect("0.32 s of pause");
        assert_eq!((likely.from, likely.to), (20 * 512, 60 * 512));
        assert_eq!(push(&[0.9]), None, "somebody goes on");
        let likely = push(&[0.1; 12]).expect("a pause again");
        assert_eq!(likely.to, 71 * 512);
        assert_eq!(push(&[0.1; 6]), Some(likely), "it is over, and the same");
        assert_eq!(push(&[0.1; 40]), None);
    }

    #[test]
    fn long_speech_is_split_at_its_longest_pause() {
        let long = format!("{}..{}...{}.......", "#".repeat(170), "#".repeat(40), "#".repeat(100));
        check(&long, "0-213| |213-315");
        let without_pause = "#".repeat(300);
        let found = hear(&without_pause);
        assert!(found.split(' ').count() == 2 && found.ends_with("-300"), "{found}");
    }
}
