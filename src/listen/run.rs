//! The way through the room: blocks of samples → spans of speech → workers that listen → breaths in order.
//! Keeps only the samples of spans that are open or being heard, so three hours need no more memory than three minutes.

use std::{
    collections::{BTreeMap, VecDeque},
    sync::{
        Arc, Mutex,
        atomic::{AtomicBool, Ordering},
        mpsc,
    },
    thread,
    time::Duration,
};

use super::{
    Error, Heard, Progress,
    hear::{self, Ears},
    listener::{SpeechDetector, WINDOW},
    spans::{PAD_S, Span, Spans},
    threads::Gate,
};
use crate::audio::{RATE_HZ, Samples};

/// Windows that the voice detector is given at once: 8 s.
const BLOCK: usize = 250 * WINDOW;
/// The most for samples that come as they are spoken: 0.26 s. Each block costs the detector its warming up, too.
const LIVE_WINDOWS: usize = 8;
/// Windows before a block that the detector hears to warm up; their probabilities are not used: 1.6 s.
const WARM_UP: usize = 50 * WINDOW;

/// What was heard in one span, and where it lies.
pub(super) struct HeardSpan {
    pub span: Span,
    /// Time of the recording at which the samples began that were listened to; word times count from there.
    pub first_s: f64,
    pub heard: hear::Heard,
    /// Every listening by itself, where they are taped; then nothing is made of them.
    pub takes: hear::Takes,
    /// See [`Ears::sparing`].
    pub sparing: bool,
    /// Who listened a second and a third time.
    pub names: (String, String),
}

/// What [`run`] hands over, in the order of the recording.
pub(super) enum Step<T> {
    Item(T),
    Progress(Progress),
}

/// What one worker is given.
struct Job {
    number: u64,
    span: Span,
    /// Padded samples; the first one was recorded at `first`, which may lie before the recording (then it is silence).
    samples: Vec<f32>,
    first: i64,
}

impl Job {
    fn speech_s(&self) -> f64 {
        seconds(self.span.to) - seconds(self.span.from)
    }
}

/// Listens with the given detector and ears. `make_ears` is called once in every worker; `finish` makes of every span
/// what is handed over, if anything.
pub(super) fn run<'a, T: Send>(
    samples: &mut dyn Samples,
    detector: &mut dyn SpeechDetector,
    make_ears: &(dyn Fn() -> Result<Ears<'a>, Error> + Sync),
    how: &How<'_>,
    finish: &(dyn Fn(HeardSpan) -> Option<T> + Sync),
    sink: &mut dyn FnMut(Step<T>),
) -> Result<Heard, Error> {
    let (jobs_in, jobs_out) = mpsc::sync_channel::<Job>(how.workers);
    // Owned by the workers alone, so that sending fails when none is left.
    let jobs_out = Arc::new(Mutex::new(Queue { jobs: jobs_out, put_off: VecDeque::new() }));
    let (breaths_in, breaths_out) = mpsc::channel();
    thread::scope(|scope| {
        for number in 0..how.workers {
            let (jobs, breaths) = (Arc::clone(&jobs_out), breaths_in.clone());
            scope.spawn(move || work((number, how.gate), &jobs, &breaths, make_ears, finish, how.tape));
        }
        drop((jobs_out, breaths_in));
        let mut feeder = Feeder::new(detector, samples.expected_s(), how);
        let mut order = Order { next: 0, waiting: BTreeMap::new() };
        let mut read = || -> Result<bool, Error> {
            while let Some(block) = samples.next_block()? {
                for job in feeder.take(&block)? {
                    order.take(breaths_out.try_iter(), sink, feeder.progress())?;
                    if jobs_in.send(job).is_err() {
                        // A worker that failed says why through the other channel.
                        return Ok(false);
                    }
                }
                order.take(breaths_out.try_iter(), sink, feeder.progress())?;
                if how.stop.is_some_and(|stop| stop.load(Ordering::Relaxed)) {
                    return Ok(true);
                }
            }
            for job in feeder.end()? {
                if jobs_in.send(job).is_err() {
                    return Ok(false);
                }
            }
            Ok(false)
        };
        let outcome = read();
        drop(jobs_in);
        order.take(breaths_out.iter(), sink, feeder.progress())?;
        let stopped = outcome?;
        let done_s = if stopped { seconds(feeder.heard_to()) } else { seconds(feeder.samples_read) };
        sink(Step::Progress(Progress { done_s, of_s: if stopped { feeder.of_s } else { Some(done_s) } }));
        Ok(Heard { done_s, stopped, ..Heard::default() })
    })
}

/// How [`run`] works.
pub(super) struct How<'a> {
    pub workers: usize,
    /// Which of them may go on.
    pub gate: &'a Gate,
    pub start_s: f64,
    /// The samples come as they are spoken.
    pub live: bool,
    /// Every listening is wanted by itself.
    pub tape: bool,
    pub stop: Option<&'a AtomicBool>,
}

#[expect(clippy::cast_precision_loss, reason = "a recording has less than 2^53 samples")]
pub(super) fn seconds(samples: u64) -> f64 {
    samples as f64 / f64::from(RATE_HZ)
}

/// Takes blocks of any size and gives jobs.
struct Feeder<'d> {
    detector: &'d mut dyn SpeechDetector,
    spans: Spans,
    /// Samples from `first` on.
    kept: Vec<f32>,
    first: u64,
    /// The detector has been given everything before.
    detected: u64,
    samples_read: u64,
    of_s: Option<f64>,
    start_s: f64,
    live: bool,
    jobs: u64,
    /// Spans that are over, but whose padding has not been read yet.
    due: Vec<Span>,
    /// What the open breath was likely to be when somebody asked last.
    likely: Option<Span>,
}

impl<'d> Feeder<'d> {
    fn new(detector: &'d mut dyn SpeechDetector, of_s: Option<f64>, how: &How<'_>) -> Self {
        Self {
            detector,
            spans: Spans::default(),
            kept: Vec::new(),
            first: 0,
            detected: 0,
            samples_read: 0,
            of_s,
            start_s: how.start_s,
            live: how.live,
            jobs: 0,
            due: Vec::new(),
            likely: None,
        }
    }

    fn progress(&self) -> Progress {
        Progress { done_s: seconds(self.heard_to()), of_s: self.of_s }
    }

    /// The earliest sample of speech that is not in a job yet: of the open span, or of one whose padding is awaited.
    fn heard_to(&self) -> u64 {
        self.due.iter().map(|s| s.from).min().unwrap_or(u64::MAX).min(self.spans.keep_from())
    }

    fn take(&mut self, block: &[f32]) -> Result<Vec<Job>, Error> {
        self.kept.extend_from_slice(block);
        self.samples_read += block.len() as u64;
        let mut jobs = Vec::new();
        while self.samples_read - self.detected >= self.block() as u64 {
            self.detect(self.block())?;
            jobs.extend(self.due_jobs(false));
            self.forget();
        }
        Ok(jobs)
    }

    /// Samples that the detector is given next. Of what is being spoken never more than until the breath may be over, or
    /// is likely to be.
    fn block(&self) -> usize {
        if self.live { self.spans.until_likely().clamp(1, LIVE_WINDOWS) * WINDOW } else { BLOCK }
    }

    fn end(&mut self) -> Result<Vec<Job>, Error> {
        let rest = usize::try_from(self.samples_read - self.detected).unwrap_or(BLOCK);
        if rest > 0 {
            self.detect(rest)?;
        }
        self.due.extend(self.spans.end());
        Ok(self.due_jobs(true))
    }

    /// Lets the detector hear the next `n` samples.
    fn detect(&mut self, n: usize) -> Result<(), Error> {
        let at = self.index(self.detected);
        let from = at.saturating_sub(WARM_UP);
        let heard = self.kept.get(from..at + n).unwrap_or_default();
        let level = level(heard);
        let copy: Vec<f32> = heard.iter().map(|s| (s - level.mean) * level.gain).collect();
        let probabilities = self.detector.probabilities(&copy)?;
        for p in probabilities.into_iter().skip((at - from) / WINDOW) {
            self.due.extend(self.spans.push(p));
        }
        self.detected += n as u64;
        Ok(())
    }

    fn index(&self, sample: u64) -> usize {
        usize::try_from(sample.saturating_sub(self.first)).unwrap_or(usize::MAX).min(self.kept.len())
    }

    /// Makes jobs of the spans whose padding has been read.
    fn due_jobs(&mut self, last: bool) -> Vec<Job> {
        let pad = pad();
        let ready = |span: &Span| last || span.to + pad <= self.samples_read;
        let (ready, later): (Vec<Span>, Vec<Span>) =
            std::mem::take(&mut self.due).into_iter().partition(ready);
        self.due = later;
        let start_s = self.start_s;
        ready.into_iter().filter(|s| seconds(s.to) > start_s).map(|span| self.job(span)).collect()
    }

    /// Whether what the breath that is being spoken is, if it is over by now, has changed.
    fn likely_changed(&mut self) -> bool {
        let there = |s: &Span| s.to + pad() <= self.samples_read && seconds(s.to) > self.start_s;
        let likely = self.spans.likely().filter(there);
        likely != std::mem::replace(&mut self.likely, likely)
    }

    /// The breath that is being spoken, as it is if it is over by now.
    fn likely(&mut self) -> Option<Job> {
        self.likely.map(|span| self.job(span))
    }

    fn job(&mut self, span: Span) -> Job {
        let span = Span { to: span.to.min(self.samples_read), ..span };
        // A span that was split is not padded there: the words beyond belong to the next one.
        let before = if span.split_at_start { 0 } else { pad() };
        let after = if span.split_at_end { 0 } else { pad() };
        let missing = before.saturating_sub(span.from);
        let (from, to) = (self.index(span.from.saturating_sub(before)), self.index(span.to + after));
        let mut samples = vec![0.0; usize::try_from(missing).unwrap_or(0)];
        samples.extend_from_slice(self.kept.get(from..to).unwrap_or_default());
        self.jobs += 1;
        let first = span.from.cast_signed() - before.cast_signed();
        Job { number: self.jobs - 1, span, samples, first }
    }

    /// Lets go of samples that nothing can need any more.
    fn forget(&mut self) {
        let from = self.heard_to().saturating_sub(pad()).min(self.detected.saturating_sub(WARM_UP as u64));
        // Whole windows only, so that the detector hears the same windows whatever was forgotten.
        let from = from / WINDOW as u64 * WINDOW as u64;
        let n = self.index(from);
        self.kept.drain(..n);
        self.first += n as u64;
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small constant")]
fn pad() -> u64 {
    (PAD_S * f64::from(RATE_HZ)) as u64
}

/// What the detector's copy of a block needs: its mean taken away, quiet speech made louder. Words are heard in the
/// original samples.
struct Level {
    mean: f32,
    gain: f32,
}

/// Peak below which a block counts as quiet, and the most that it is made louder. Digital silence and faint noise stay
/// quiet, a microphone that delivers a hundredth of full scale is heard.
const QUIET_PEAK: f32 = 0.1;
const MOST_GAIN: f32 = 30.0;

#[expect(clippy::cast_precision_loss, reason = "a block has few samples")]
fn level(samples: &[f32]) -> Level {
    let n = samples.len().max(1) as f32;
    let mean = samples.iter().sum::<f32>() / n;
    let peak = samples.iter().map(|s| (s - mean).abs()).fold(0.0, f32::max);
    let gain = if peak < QUIET_PEAK { (QUIET_PEAK / peak.max(1e-6)).min(MOST_GAIN) } else { 1.0 };
    Level { mean, gain }
}

/// Speech that lasts longer takes much memory, which grows with its square, and which a worker that has heard it keeps.
const LONG_S: f64 = 8.5;
/// So much long speech may wait for the first worker; where more comes all hear it.
const MOST_PUT_OFF: usize = 4;
/// Another worker may look into the queue this often while nothing comes.
const LOOK: Duration = Duration::from_millis(20);

/// Jobs that wait. Long speech is left to the first worker, so that the others stay small.
struct Queue {
    jobs: mpsc::Receiver<Job>,
    put_off: VecDeque<Job>,
}

/// The next job for a worker; none when there are no more.
fn next(number: usize, queue: &Mutex<Queue>) -> Option<Job> {
    loop {
        let mut queue = queue.lock().ok()?;
        if number == 0
            && let Some(job) = queue.put_off.pop_front()
        {
            return Some(job);
        }
        match queue.jobs.recv_timeout(LOOK) {
            Ok(job) if number > 0 && job.speech_s() > LONG_S && queue.put_off.len() < MOST_PUT_OFF => {
                queue.put_off.push_back(job);
            }
            Ok(job) => return Some(job),
            Err(mpsc::RecvTimeoutError::Timeout) => {}
            Err(mpsc::RecvTimeoutError::Disconnected) => return None,
        }
        drop(queue);
        thread::yield_now();
    }
}

type Finished<T> = Result<(u64, f64, Option<T>), Error>;

/// One worker: hears jobs until there are no more.
fn work<'a, T>(
    (number, gate): (usize, &Gate),
    jobs: &Mutex<Queue>,
    finished: &mpsc::Sender<Finished<T>>,
    make_ears: &(dyn Fn() -> Result<Ears<'a>, Error> + Sync),
    finish: &(dyn Fn(HeardSpan) -> Option<T> + Sync),
    tape: bool,
) {
    let _leaving = gate.leave();
    gate.pass(number);
    let mut ears = match make_ears() {
        Ok(ears) => ears,
        Err(e) => {
            let _ = finished.send(Err(e));
            return;
        }
    };
    let names = ears.names();
    loop {
        gate.pass(number);
        let Some(job) = next(number, jobs) else { return };
        let (from_s, to_s) = (seconds(job.span.from), seconds(job.span.to));
        #[expect(clippy::cast_precision_loss, reason = "a recording has less than 2^53 samples")]
        let first_s = job.first as f64 / f64::from(RATE_HZ);
        let speech_s = to_s - from_s;
        let heard = if tape {
            ears.tape(&job.samples, speech_s).map(|takes| (hear::Heard::default(), takes))
        } else {
            ears.hear(&job.samples, speech_s).map(|heard| (heard, hear::Takes::new()))
        };
        let heard = heard.map_err(|e| at(e, from_s)).map(|(heard, takes)| {
            let span = HeardSpan {
                span: job.span,
                first_s,
                heard,
                takes,
                names: names.clone(),
                sparing: ears.sparing,
            };
            (job.number, to_s, finish(span))
        });
        let failed = heard.is_err();
        if finished.send(heard).is_err() || failed {
            return;
        }
    }
}

/// The time of the recording in place of the time in the span.
fn at(error: Error, from_s: f64) -> Error {
    match error {
        Error::Recogniser { reason, .. } => Error::Recogniser { at_s: from_s, reason },
        other => other,
    }
}

/// Puts finished spans into the order of the recording.
struct Order<T> {
    next: u64,
    waiting: BTreeMap<u64, (f64, Option<T>)>,
}

impl<T> Order<T> {
    fn take(
        &mut self,
        finished: impl Iterator<Item = Finished<T>>,
        sink: &mut dyn FnMut(Step<T>),
        progress: Progress,
    ) -> Result<(), Error> {
        for finished in finished {
            let (number, done_s, item) = finished?;
            self.waiting.insert(number, (done_s, item));
            while let Some((done_s, item)) = self.waiting.remove(&self.next) {
                self.next += 1;
                if let Some(item) = item {
                    sink(Step::Item(item));
                }
                sink(Step::Progress(Progress { done_s, ..progress }));
            }
        }
        Ok(())
    }
}

mod live;
pub(super) use live::run_live;

#[cfg(test)]
mod tests;
