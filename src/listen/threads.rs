//! How many spans are heard at the same time. Each worker computes on one thread only: two ggml threads wait for each
//! other by spinning, and with another program busy on one of two processors that cost 1.79 instead of 0.039 of the
//! audio's time. One thread a span never waits for anybody, and gives the same bytes at any number of workers.
//! A [`Gate`] looks again and again how many processors others leave: workers step back from one that another program
//! begins to use, and come again when it is free.

use std::{
    fs,
    sync::{
        Mutex, MutexGuard, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

/// More workers cost memory (a state each) and bring little: spans come no faster than the file is read.
const MOST: usize = 4;

/// Workers that this machine has processors for. Live, somebody waits for the words: all of them may be used, whoever else
/// is busy. One span is heard for the first time while another is heard again.
pub(super) fn most() -> usize {
    processors().min(MOST)
}

fn processors() -> usize {
    thread::available_parallelism().map_or(1, usize::from)
}

/// The first look is at so much time at least; the later ones at what happened since the last, at least so long ago.
const FIRST_LOOK: Duration = Duration::from_millis(100);
const LOOK_AGAIN: Duration = Duration::from_millis(500);
/// A worker that stands back asks this often.
const ASK: Duration = Duration::from_millis(100);

/// Lets as many workers take a span as processors are not used by others. The first worker always goes.
pub(super) struct Gate {
    /// Nothing is measured: everybody goes.
    open: AtomicBool,
    seen: Mutex<Seen>,
    measure: fn() -> Option<Work>,
    /// Waiting and looking take real time; tests do without.
    patience: Duration,
}

struct Seen {
    last: Option<(Instant, Work)>,
    /// Workers that may go.
    free: usize,
}

impl Gate {
    /// Everybody goes, whoever else is busy.
    pub(super) fn open() -> Self {
        Self { open: true.into(), ..Self::measured(|| None, Duration::ZERO) }
    }

    /// Looks at the machine from now on.
    pub(super) fn watching() -> Self {
        Self::measured(work, LOOK_AGAIN)
    }

    /// The first look: what others did since the gate was made.
    pub(super) fn first_look(&self) {
        let since = self.seen().last.map_or(FIRST_LOOK, |(when, _)| when.elapsed());
        thread::sleep(FIRST_LOOK.saturating_sub(since));
        self.look(Duration::ZERO);
    }

    fn seen(&self) -> MutexGuard<'_, Seen> {
        self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn measured(measure: fn() -> Option<Work>, patience: Duration) -> Self {
        let last = measure().map(|work| (Instant::now(), work));
        Self { open: false.into(), seen: Mutex::new(Seen { last, free: MOST }), measure, patience }
    }

    /// Returns when worker `number` (from 0) may take a span. Of those that stand back, all go on when one left: either
    /// nothing is left to do, or it failed.
    pub(super) fn pass(&self, number: usize) {
        while number > 0 && !self.open.load(Ordering::Relaxed) && number >= self.look(self.patience) {
            thread::sleep(ASK.min(self.patience));
        }
    }

    /// Opens the gate when it is dropped, which a worker does that leaves.
    pub(super) fn leave(&self) -> Leaving<'_> {
        Leaving(self)
    }

    /// Workers that may go. What was measured less than `patience` ago still holds.
    fn look(&self, patience: Duration) -> usize {
        let mut seen = self.seen();
        let Some((when, before)) = &seen.last else { return MOST };
        if when.elapsed() < patience {
            return seen.free;
        }
        let Some(now) = (self.measure)() else { return MOST };
        let free = now.free_since(before, processors());
        if free != seen.free {
            tracing::debug!(free, "processors that others leave");
        }
        (seen.free, seen.last) = (free, Some((Instant::now(), now)));
        free
    }
}

/// See [`Gate::leave`].
pub(super) struct Leaving<'g>(&'g Gate);

impl Drop for Leaving<'_> {
    fn drop(&mut self) {
        self.0.open.store(true, Ordering::Relaxed);
    }
}

/// Ticks since the start of the machine, of all processors, and those that this process took.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Work {
    all: u64,
    idle: u64,
    ours: u64,
}

impl Work {
    /// Of so many processors, those that others did not use since `before`, at least one.
    fn free_since(self, before: &Self, processors: usize) -> usize {
        let since = |now: u64, before: u64| now.saturating_sub(before);
        let all = since(self.all, before.all).max(1);
        let others =
            all.saturating_sub(since(self.idle, before.idle)).saturating_sub(since(self.ours, before.ours));
        #[expect(clippy::cast_precision_loss, reason = "ticks of a second, and processors are few")]
        let others = others as f64 / all as f64 * processors as f64;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between 0 and the processors"
        )]
        let others = others.round() as usize;
        processors.saturating_sub(others).clamp(1, MOST)
    }
}

/// Linux only (`proc_stat(5)`, `proc_pid_stat(5)`: both count in the same ticks).
fn work() -> Option<Work> {
    let stat = fs::read_to_string("/proc/stat").ok()?;
    let numbers: Vec<u64> =
        stat.lines().next()?.split_whitespace().skip(1).take(8).filter_map(|n| n.parse().ok()).collect();
    let idle = numbers.get(3)? + numbers.get(4)?;
    // The name of the program stands in brackets and may hold spaces; user and system time are fields 14 and 15.
    let own = fs::read_to_string("/proc/self/stat").ok()?;
    let ours = own.rsplit_once(')')?.1.split_whitespace().skip(11).take(2).map(str::parse::<u64>);
    Some(Work { all: numbers.iter().sum(), idle, ours: ours.sum::<Result<_, _>>().ok()? })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// On so many processors, in a second: ticks that others took, ticks that we took.
    #[track_caller]
    fn check(processors: usize, others: u64, ours: u64, expect: usize) {
        let before = Work { all: 5000, idle: 300, ours: 70 };
        let all = processors as u64 * 100;
        let now = Work { all: 5000 + all, idle: 300 + (all - others - ours), ours: 70 + ours };
        assert_eq!(now.free_since(&before, processors), expect, "{processors}: others {others}, ours {ours}");
    }

    #[test]
    fn what_others_leave_is_free() {
        check(2, 0, 0, 2);
        check(2, 0, 200, 2);
        // Another program has its turn on two processors with two of our threads, or with one.
        check(2, 66, 134, 1);
        check(2, 100, 100, 1);
        check(2, 200, 0, 1);
        check(2, 30, 170, 2);
        check(1, 50, 50, 1);
        check(16, 0, 400, 4);
        check(16, 1300, 300, 3);
    }

    #[test]
    fn this_machine_can_be_measured() {
        if cfg!(target_os = "linux") {
            let before = work().unwrap();
            let start = Instant::now();
            while start.elapsed() < Duration::from_millis(200) {
                std::hint::spin_loop();
            }
            let now = work().unwrap();
            assert!(now.ours > before.ours && now.all > before.all, "{before:?} {now:?}");
        }
    }

    /// Others use everything.
    #[expect(clippy::unnecessary_wraps, reason = "as a measure that may fail")]
    fn busy() -> Option<Work> {
        static AT: std::sync::atomic::AtomicU64 = std::sync::atomic::AtomicU64::new(0);
        Some(Work { all: AT.fetch_add(100, Ordering::Relaxed), idle: 0, ours: 0 })
    }

    #[test]
    fn one_worker_goes_where_others_are_busy_and_all_when_it_leaves() {
        let gate = Gate::measured(busy, Duration::ZERO);
        let second = AtomicBool::new(false);
        thread::scope(|scope| {
            scope.spawn(|| {
                gate.pass(1);
                second.store(true, Ordering::Relaxed);
            });
            gate.pass(0);
            thread::sleep(Duration::from_millis(50));
            assert!(!second.load(Ordering::Relaxed), "the second did not stand back");
            drop(gate.leave());
        });
        assert!(second.load(Ordering::Relaxed));
    }

    #[test]
    fn everybody_goes_where_nothing_can_be_measured() {
        Gate::measured(|| None, Duration::ZERO).pass(3);
        Gate::open().pass(3);
    }
}
