//! The way through the room with a voice detector and listeners that need no model: loud samples are speech, and a
//! listener hears one word a span, which says how long it was.

#![expect(clippy::cast_precision_loss, reason = "test recordings are short")]

use super::super::listener::{Listener, Listening, RawWord};
use super::*;
use crate::audio;

/// Loud windows are speech.
pub(super) struct Loudness;

impl SpeechDetector for Loudness {
    fn probabilities(&mut self, samples: &[f32]) -> Result<Vec<f32>, Error> {
        let loud = |window: &[f32]| window.iter().any(|s| s.abs() > 0.5);
        Ok(samples.chunks(WINDOW).map(|w| if loud(w) { 0.99 } else { 0.01 }).collect())
    }
}

/// Hears one word for the loud samples of a span; fails at the word `fails_at`.
pub(super) struct Counter {
    pub(super) fails_at: Option<usize>,
}

impl Listener for Counter {
    fn name(&self) -> &'static str {
        "counter"
    }
    fn hear(&mut self, samples: &[f32], _: bool) -> Result<Listening, Error> {
        let loud = samples.iter().filter(|s| s.abs() > 0.5).count();
        if self.fails_at == Some(loud / 1600) {
            return Err(Error::Recogniser { at_s: 0.0, reason: "no memory".to_owned() });
        }
        let from_s = samples.iter().position(|s| s.abs() > 0.5).unwrap_or(0) as f64 / 16_000.0;
        let word = RawWord { text: format!("{}", loud / 1600), from_s, to_s: from_s + 0.1, p: 0.9 };
        Ok(Listening { words: vec![word], ..Listening::default() })
    }
}

/// A recording of tenths of seconds of silence and speech, in blocks of any size, that is made while it is read.
pub(super) struct Made {
    /// (tenths of silence, tenths of speech), again and again until the end.
    pattern: Vec<(u64, u64)>,
    at: u64,
    end: u64,
    block: usize,
}

impl Made {
    pub(super) fn new(pattern: &[(u64, u64)], seconds: u64, block: usize) -> Self {
        Self { pattern: pattern.to_vec(), at: 0, end: seconds * 16_000, block }
    }

    fn sample(&self, at: u64) -> f32 {
        let turn: u64 = self.pattern.iter().map(|(a, b)| (a + b) * 1600).sum();
        let mut left = at % turn;
        for (silence, speech) in &self.pattern {
            if left < silence * 1600 {
                return 0.0;
            }
            left -= silence * 1600;
            if left < speech * 1600 {
                return if at.is_multiple_of(2) { 0.9 } else { -0.9 };
            }
            left -= speech * 1600;
        }
        0.0
    }
}

impl Samples for Made {
    fn next_block(&mut self) -> Result<Option<Vec<f32>>, audio::Error> {
        let to = self.end.min(self.at + self.block as u64);
        let block: Vec<f32> = (self.at..to).map(|at| self.sample(at)).collect();
        self.at = to;
        Ok((!block.is_empty()).then_some(block))
    }
}

/// What is heard: `from:word` for every span, and the end.
fn hear(made: &mut Made, workers: usize, start_s: f64, fails_at: Option<usize>) -> Result<String, Error> {
    let gate = Gate::open();
    let how = How { workers, gate: &gate, start_s, live: false, tape: false, stop: None };
    let make_ears =
        || Ok(Ears { first: Box::new(Counter { fails_at }), second: hear::Second::Nobody, sparing: false });
    let finish = |span: HeardSpan| {
        let word = span.heard.merged.words.first()?;
        Some(format!("{:.1}:{}", span.first_s + word.raw.from_s, word.raw.text))
    };
    let mut heard = Vec::new();
    let mut last_s = 0.0;
    let done = run(made, &mut Loudness, &make_ears, &how, &finish, &mut |step| match step {
        Step::Item(item) => heard.push(item),
        Step::Progress(progress) => {
            assert!(progress.done_s >= last_s, "progress goes forward");
            last_s = progress.done_s;
        }
    })?;
    Ok(format!("{} | {:.0}", heard.join(" "), done.done_s))
}

const PATTERN: [(u64, u64); 3] = [(30, 20), (10, 5), (100, 40)];
const EXPECT: &str = "3.0:20 6.0:5 16.5:40 23.5:20 26.5:5 | 35";

#[test]
fn spans_are_heard_in_order_whatever_the_blocks_and_workers() {
    for block in [160, 1000, 16_000, 1_000_000] {
        for workers in [1, 3] {
            let heard = hear(&mut Made::new(&PATTERN, 35, block), workers, 0.0, None).unwrap();
            assert_eq!(heard, EXPECT, "blocks of {block}, {workers} workers");
        }
    }
}

#[test]
fn a_later_start_gives_the_rest() {
    let heard = hear(&mut Made::new(&PATTERN, 35, 1600), 1, 21.0, None).unwrap();
    assert_eq!(heard, "23.5:20 26.5:5 | 35");
    // A span that the first run did not finish is heard whole.
    let heard = hear(&mut Made::new(&PATTERN, 35, 1600), 1, 18.0, None).unwrap();
    assert_eq!(heard, "16.5:40 23.5:20 26.5:5 | 35");
}

#[test]
fn speech_at_the_edges_is_whole() {
    let heard = hear(&mut Made::new(&[(0, 10), (20, 10)], 4, 1600), 1, 0.0, None).unwrap();
    assert_eq!(heard, "0.0:10 3.0:10 | 4");
}

#[test]
fn an_error_says_where_it_was() {
    for workers in [1, 3] {
        let error = hear(&mut Made::new(&PATTERN, 35, 1600), workers, 0.0, Some(40)).unwrap_err();
        let text = error.to_string();
        assert!(text.contains("at 16.") && text.contains("no memory"), "{text}");
    }
}

#[test]
fn stopping_keeps_what_was_heard_and_says_where_to_go_on() {
    let stop = AtomicBool::new(false);
    let gate = Gate::open();
    let how = How { workers: 1, gate: &gate, start_s: 0.0, live: false, tape: false, stop: Some(&stop) };
    let make_ears = || {
        Ok(Ears { first: Box::new(Counter { fails_at: None }), second: hear::Second::Nobody, sparing: false })
    };
    let finish = |span: HeardSpan| Some(seconds(span.span.to));
    let mut last_s = 0.0;
    let done =
        run(&mut Made::new(&PATTERN, 6000, 16_000), &mut Loudness, &make_ears, &how, &finish, &mut |step| {
            if let Step::Item(to_s) = step {
                last_s = to_s;
                stop.store(true, Ordering::Relaxed);
            }
        })
        .unwrap();
    assert!(done.stopped && done.done_s < 600.0 && done.done_s >= last_s, "{done:?} after {last_s}");
}

#[test]
fn three_hours_need_no_more_memory_than_three_minutes() {
    let gate = Gate::open();
    let how = How { workers: 1, gate: &gate, start_s: 0.0, live: false, tape: false, stop: None };
    let mut loudness = Loudness;
    let mut feeder = Feeder::new(&mut loudness, None, &how);
    let mut made = Made::new(&[(50, 20), (0, 400)], 10_800, 160_000);
    let (mut most, mut jobs) = (0, 0);
    while let Some(block) = made.next_block().unwrap() {
        jobs +=
            feeder.take(&block).unwrap().iter().inspect(|job| assert!(job.samples.len() < 480_000)).count();
        most = most.max(feeder.kept.len());
    }
    jobs += feeder.end().unwrap().len();
    assert!(most < 60 * 16_000, "{most} samples kept");
    assert!(jobs > 300, "{jobs} spans");
}

#[test]
fn quiet_speech_is_made_louder_for_the_detector_only() {
    let loud = level(&[0.3, -0.3, 0.2, -0.2]);
    let quiet = level(&[0.105, 0.095, 0.1]);
    let silent = level(&[0.0; 8]);
    assert!((loud.gain - 1.0).abs() < 1e-6 && loud.mean.abs() < 1e-6);
    assert!(quiet.gain > 15.0 && (quiet.mean - 0.1).abs() < 1e-6, "the mean is no sound");
    assert!(silent.gain <= MOST_GAIN);
}

/// The second worker leaves long speech to the first, but not more than may wait.
#[test]
fn long_speech_is_left_to_the_first_worker() {
    let (send, jobs) = mpsc::sync_channel(16);
    for (number, speech_s) in [1, 12, 2, 12, 12, 12, 12].into_iter().enumerate() {
        let to = speech_s * u64::from(RATE_HZ);
        let span = Span { from: 0, to, split_at_start: false, split_at_end: false, certain: 1 };
        send.send(Job { number: number as u64, span, samples: Vec::new(), first: 0 }).unwrap();
    }
    drop(send);
    let queue = Mutex::new(Queue { jobs, put_off: VecDeque::new() });
    let all =
        |worker| -> Vec<u64> { std::iter::from_fn(|| next(worker, &queue)).map(|job| job.number).collect() };
    assert_eq!(all(1), [0, 2, 6]);
    assert_eq!(all(0), [1, 3, 4, 5]);
}
