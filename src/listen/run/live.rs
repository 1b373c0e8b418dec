//! The same way for samples that come as they are spoken: each breath is heard once, at once, and handed over; the further
//! listenings follow where they are needed and a worker is free, the newest breath first, and hand it over again.
//!
//! Somebody waits for the first listening, so it begins before the breath is certainly over: at the pause after which it is
//! likely to be ([`LIKELY_S`](super::super::spans::LIKELY_S)). If the speaker goes on, what was heard is thrown away. And
//! where no worker is free for it, a further listening is given up, and begun again later.

use std::{
    collections::VecDeque,
    sync::{
        Arc, Condvar, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    thread,
};

use super::{
    Error, Feeder, Heard, HeardSpan, How, Job, RATE_HZ, Samples, Span, SpeechDetector, at, hear, seconds,
};
use crate::listen::{Turn, hear::Ears, heard::Breath, listener::Listening};

/// Breaths that may wait to be heard once; then the samples wait where they come from.
const MOST_FIRST: usize = 4;
/// Breaths that may wait to be heard again; the oldest is left out. The pass over the finished recording hears all.
const MOST_AGAIN: usize = 8;

/// A breath that is likely to be over.
enum Likely {
    Waits(Job),
    /// A worker hears the job of this number, and gives up when the last is raised.
    IsHeard(u64, Span, Arc<AtomicBool>),
    WasHeard(Job, Listening),
}

impl Likely {
    const fn span(&self) -> Span {
        match self {
            Self::Waits(job) | Self::WasHeard(job, _) => job.span,
            Self::IsHeard(_, span, _) => *span,
        }
    }
}

/// What a worker is to do.
enum Task {
    /// Hear it, and hand it over.
    First(Job),
    /// Hand over what was heard while the breath was only likely to be over.
    Hand(Job, Listening),
    /// Hear it; it may not be over yet.
    Likely(Job),
    Again(Job, Listening),
}

#[derive(Default)]
struct Jobs {
    first: VecDeque<Job>,
    /// Heard, and over.
    hand: VecDeque<(Job, Listening)>,
    likely: Option<Likely>,
    /// Jobs that are being heard since they were likely, and are over by now.
    certain: Vec<u64>,
    again: VecDeque<(Job, Listening)>,
    /// Workers that listen again, by what makes each give up.
    busy_again: Vec<Arc<AtomicBool>>,
    /// Workers that wait for something to do.
    idle: usize,
    over: bool,
    failed: Option<Error>,
}

impl Jobs {
    /// What is to be done next by a worker that gives up when `raised`: what somebody waits for before all. One worker
    /// stays free for the next breath.
    fn next(&mut self, workers: usize, raised: &Arc<AtomicBool>) -> Option<Task> {
        if let Some((job, listening)) = self.hand.pop_front() {
            return Some(Task::Hand(job, listening));
        }
        if let Some(job) = self.first.pop_front() {
            return Some(Task::First(job));
        }
        match self.likely.take() {
            Some(Likely::Waits(job)) if !self.over => {
                self.likely = Some(Likely::IsHeard(job.number, job.span, Arc::clone(raised)));
                return Some(Task::Likely(job));
            }
            other => self.likely = other,
        }
        if self.over || self.busy_again.len() >= workers.saturating_sub(1).max(1) {
            return None;
        }
        let (job, listening) = self.again.pop_back()?;
        self.busy_again.push(Arc::clone(raised));
        Some(Task::Again(job, listening))
    }

    /// A breath is over. Where it was heard already, or is being heard, nothing is heard twice.
    fn over(&mut self, job: Job) {
        match self.likely.take() {
            Some(likely) if likely.span() == job.span => match likely {
                Likely::Waits(job) => self.first.push_back(job),
                Likely::IsHeard(number, ..) => self.certain.push(number),
                Likely::WasHeard(job, listening) => self.hand.push_back((job, listening)),
            },
            other => {
                self.likely = other;
                self.not_over();
                self.first.push_back(job);
            }
        }
        self.make_room();
    }

    /// The speaker goes on.
    fn not_over(&mut self) {
        if let Some(Likely::IsHeard(_, _, raised)) = self.likely.take() {
            raised.store(true, Ordering::Relaxed);
        }
    }

    /// Lets a further listening go where somebody waits and no worker is free.
    fn make_room(&self) {
        let waits =
            self.first.len() + self.hand.len() + usize::from(matches!(self.likely, Some(Likely::Waits(_))));
        for raised in self.busy_again.iter().take(waits.saturating_sub(self.idle)) {
            raised.store(true, Ordering::Relaxed);
        }
    }

    /// What was heard of a breath that was likely to be over: whether it is over by now. If that is not known yet it is kept.
    fn was_heard(&mut self, job: Job, listening: Listening) -> Option<(Job, Listening)> {
        if let Some(at) = self.certain.iter().position(|n| *n == job.number) {
            self.certain.swap_remove(at);
            return Some((job, listening));
        }
        if matches!(&self.likely, Some(Likely::IsHeard(number, ..)) if *number == job.number) {
            self.likely = Some(Likely::WasHeard(job, listening));
        }
        None
    }

    fn hear_again(&mut self, job: Job, listening: Listening) {
        if self.again.len() >= MOST_AGAIN {
            self.again.pop_front();
        }
        self.again.push_back((job, listening));
    }
}

#[derive(Default)]
struct Board {
    jobs: Mutex<Jobs>,
    changed: Condvar,
}

impl Board {
    /// Jobs are whole whatever happened to another thread.
    fn lock(&self) -> MutexGuard<'_, Jobs> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wait<'a>(&self, jobs: MutexGuard<'a, Jobs>) -> MutexGuard<'a, Jobs> {
        self.changed.wait(jobs).unwrap_or_else(PoisonError::into_inner)
    }

    fn end(&self, failed: Option<Error>) {
        let mut jobs = self.lock();
        jobs.over = true;
        jobs.failed = jobs.failed.take().or(failed);
        jobs.not_over();
        for raised in &jobs.busy_again {
            raised.store(true, Ordering::Relaxed);
        }
        self.changed.notify_all();
    }

    /// Puts a job up, when there is room; false where nobody listens any more.
    fn put(&self, job: Job) -> bool {
        let mut jobs = self.lock();
        while jobs.first.len() >= MOST_FIRST && !jobs.over {
            jobs = self.wait(jobs);
        }
        if jobs.over {
            return false;
        }
        jobs.over(job);
        self.changed.notify_all();
        true
    }

    /// A breath is likely to be over, or the one that was is not.
    fn likely(&self, job: Option<Job>) {
        let mut jobs = self.lock();
        jobs.not_over();
        jobs.likely = job.map(Likely::Waits);
        jobs.make_room();
        self.changed.notify_all();
    }

    /// Waits for something to do; nothing where it is over.
    fn next(&self, workers: usize, raised: &Arc<AtomicBool>) -> Option<Task> {
        let mut jobs = self.lock();
        raised.store(false, Ordering::Relaxed);
        loop {
            if let Some(task) = jobs.next(workers, raised) {
                self.changed.notify_all();
                return Some(task);
            }
            if jobs.over {
                return None;
            }
            jobs.idle += 1;
            jobs = self.wait(jobs);
            jobs.idle -= 1;
        }
    }
}

/// Listens until the samples end. What was not yet heard again by then stays as it is.
pub(in crate::listen) fn run_live<'a>(
    samples: &mut dyn Samples,
    detector: &mut dyn SpeechDetector,
    make_ears: &(dyn Fn() -> Result<Ears<'a>, Error> + Sync + 'a),
    how: &How<'_>,
    finish: &(dyn Fn(HeardSpan) -> Option<Breath> + Sync),
    sink: &mut (dyn FnMut(Turn) + Send),
) -> Result<Heard, Error> {
    let board = Board::default();
    let sink = Mutex::new(sink);
    let give = |turn: Turn| (sink.lock().unwrap_or_else(PoisonError::into_inner))(turn);
    thread::scope(|scope| {
        let (board, give) = (&board, &give);
        for _ in 0..how.workers {
            scope.spawn(move || {
                if let Err(e) = work(board, make_ears, how.workers, finish, give) {
                    board.end(Some(e));
                }
            });
        }
        let mut feeder = Feeder::new(detector, samples.expected_s(), how);
        let mut read = || -> Result<bool, Error> {
            while let Some(block) = samples.next_block()? {
                for job in feeder.take(&block)? {
                    if !board.put(job) {
                        return Ok(false);
                    }
                }
                if feeder.likely_changed() {
                    board.likely(feeder.likely());
                }
                if how.stop.is_some_and(|stop| stop.load(Ordering::Relaxed)) {
                    return Ok(true);
                }
            }
            for job in feeder.end()? {
                if !board.put(job) {
                    break;
                }
            }
            Ok(false)
        };
        let outcome = read();
        board.end(None);
        let stopped = outcome?;
        let done_s = seconds(if stopped { feeder.heard_to() } else { feeder.samples_read });
        Ok(Heard { done_s, stopped, ..Heard::default() })
    })
    .and_then(|heard| match board.lock().failed.take() {
        Some(e) => Err(e),
        None => Ok(heard),
    })
}

/// One worker: hears until there is nothing to hear any more.
fn work<'a>(
    board: &Board,
    make_ears: &(dyn Fn() -> Result<Ears<'a>, Error> + Sync + 'a),
    workers: usize,
    finish: &(dyn Fn(HeardSpan) -> Option<Breath> + Sync),
    give: &dyn Fn(Turn),
) -> Result<(), Error> {
    let mut ears = make_ears()?;
    let raised = Arc::new(AtomicBool::new(false));
    ears.give_up_on(&raised);
    let (names, sparing) = (ears.names(), ears.sparing);
    let finished = |job: &Job, heard| {
        #[expect(clippy::cast_precision_loss, reason = "a recording has less than 2^53 samples")]
        let first_s = job.first as f64 / f64::from(RATE_HZ);
        let takes = hear::Takes::new();
        finish(HeardSpan { span: job.span, first_s, heard, takes, sparing, names: names.clone() })
    };
    while let Some(task) = board.next(workers, &raised) {
        let (job, first) = match task {
            Task::First(job) => {
                let first = ears.once(&job.samples).map_err(|e| failed(e, &job))?;
                (job, first)
            }
            Task::Hand(job, first) => (job, first),
            Task::Likely(job) => {
                let first = ears.once(&job.samples).map_err(|e| failed(e, &job))?;
                match board.lock().was_heard(job, first) {
                    Some(over) => over,
                    None => continue,
                }
            }
            Task::Again(job, first) => {
                let heard = ears.again(first.clone(), &job.samples, job.speech_s());
                let mut jobs = board.lock();
                jobs.busy_again.retain(|other| !Arc::ptr_eq(other, &raised));
                if raised.load(Ordering::Relaxed) {
                    jobs.hear_again(job, first);
                    continue;
                }
                drop(jobs);
                if let Some(breath) = finished(&job, heard.map_err(|e| failed(e, &job))?) {
                    give(Turn::Again(breath));
                }
                continue;
            }
        };
        let speech_s = job.speech_s();
        let Some(heard) = hear::alone(&first, speech_s) else {
            // A loop, or said twice: what it is shows only after it was listened to again.
            let heard = ears.again(first, &job.samples, speech_s).map_err(|e| failed(e, &job))?;
            if let Some(breath) = finished(&job, heard) {
                give(Turn::First(breath));
            }
            continue;
        };
        // Where nothing was heard, and nobody spoke, there is nothing to hear again.
        if let Some(breath) = finished(&job, heard) {
            give(Turn::First(breath));
            if ears.wants_again(&first, speech_s) {
                board.lock().hear_again(job, first);
                board.changed.notify_all();
            }
        }
    }
    Ok(())
}

fn failed(error: Error, job: &Job) -> Error {
    at(error, seconds(job.span.from))
}

#[cfg(test)]
mod tests;
