//! The same way for samples that come as they are spoken: each breath is heard once, at once, and handed over; the further
//! listenings follow while a worker is free, the newest breath first, and hand it over again.

use std::{
    collections::VecDeque,
    sync::{Condvar, Mutex, MutexGuard, PoisonError, atomic::Ordering},
    thread,
};

use super::{Error, Feeder, Heard, HeardSpan, How, Job, RATE_HZ, Samples, SpeechDetector, at, hear, seconds};
use crate::listen::{Turn, hear::Ears, heard::Breath, listener::Listening};

/// Breaths that may wait to be heard once; then the samples wait where they come from.
const MOST_FIRST: usize = 4;
/// Breaths that may wait to be heard again; the oldest is left out. The pass over the finished recording hears all.
const MOST_AGAIN: usize = 8;

#[derive(Default)]
struct Jobs {
    first: VecDeque<Job>,
    again: VecDeque<(Job, Listening)>,
    /// Workers that listen again.
    busy_again: usize,
    over: bool,
    failed: Option<Error>,
}

impl Jobs {
    /// What is to be done next: a first listening before all. One worker stays free for the next breath.
    fn next(&mut self, workers: usize) -> Option<(Job, Option<Listening>)> {
        if let Some(job) = self.first.pop_front() {
            return Some((job, None));
        }
        if self.over || self.busy_again >= workers.saturating_sub(1).max(1) {
            return None;
        }
        let (job, listening) = self.again.pop_back()?;
        self.busy_again += 1;
        Some((job, Some(listening)))
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
        jobs.first.push_back(job);
        self.changed.notify_all();
        true
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
    loop {
        let (job, listening) = {
            let mut jobs = board.lock();
            loop {
                if let Some(next) = jobs.next(workers) {
                    break next;
                }
                if jobs.over {
                    return Ok(());
                }
                jobs = board.wait(jobs);
            }
        };
        board.changed.notify_all();
        let speech_s = seconds(job.span.to) - seconds(job.span.from);
        let failed = |e| at(e, seconds(job.span.from));
        let (names, sparing) = (ears.names(), ears.sparing);
        let finished = |heard| {
            #[expect(clippy::cast_precision_loss, reason = "a recording has less than 2^53 samples")]
            let first_s = job.first as f64 / f64::from(RATE_HZ);
            let takes = hear::Takes::new();
            finish(HeardSpan { span: job.span, first_s, heard, takes, sparing, names: names.clone() })
        };
        if let Some(listening) = listening {
            let heard = ears.again(listening, &job.samples, speech_s).map_err(failed);
            board.lock().busy_again -= 1;
            board.changed.notify_all();
            if let Some(breath) = finished(heard?) {
                give(Turn::Again(breath));
            }
            continue;
        }
        let first = ears.once(&job.samples).map_err(failed)?;
        let Some(heard) = hear::alone(&first, speech_s) else {
            // A loop, or said twice: what it is shows only after it was listened to again.
            if let Some(breath) = finished(ears.again(first, &job.samples, speech_s).map_err(failed)?) {
                give(Turn::First(breath));
            }
            continue;
        };
        let breath = finished(heard);
        // Where nothing was heard, and nobody spoke, there is nothing to hear again.
        if let Some(breath) = breath {
            give(Turn::First(breath));
            let mut jobs = board.lock();
            if jobs.again.len() >= MOST_AGAIN {
                jobs.again.pop_front();
            }
            jobs.again.push_back((job, first));
            board.changed.notify_all();
        }
    }
}
