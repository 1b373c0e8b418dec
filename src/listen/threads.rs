//! How many spans are heard at the same time. Each worker computes on one thread only: two ggml threads wait for each
//! other by spinning, and with another program busy on one of two processors that cost 1.79 instead of 0.039 of the
//! audio's time. One thread a span never waits for anybody, and gives the same bytes at any number of workers.

use std::{fs, thread, time::Duration};

/// More workers cost memory (a state each) and bring little: spans come no faster than the file is read.
pub(super) const MOST: usize = 4;

/// Live, somebody waits for the words: all processors may be used, whoever else is busy. One span is heard for the first
/// time while another is heard again.
pub(super) fn live() -> usize {
    thread::available_parallelism().map_or(1, usize::from).min(MOST)
}

/// Processors that are free now, at least one.
pub(super) fn free() -> usize {
    let all = thread::available_parallelism().map_or(1, usize::from);
    let busy = busy_processors().unwrap_or(0.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and the processors"
    )]
    let busy = busy.round() as usize;
    all.saturating_sub(busy).clamp(1, MOST)
}

/// Processors' worth of work by everybody, measured over a tenth of a second (Linux only).
fn busy_processors() -> Option<f64> {
    let before = ticks()?;
    thread::sleep(Duration::from_millis(100));
    let after = ticks()?;
    let (all, idle) = (after.0.checked_sub(before.0)?, after.1.checked_sub(before.1)?);
    #[expect(clippy::cast_precision_loss, reason = "ticks of a tenth of a second")]
    let busy = (all.saturating_sub(idle)) as f64 / all.max(1) as f64;
    let processors = thread::available_parallelism().map_or(1, usize::from);
    #[expect(clippy::cast_precision_loss, reason = "processors are few")]
    Some(busy * processors as f64)
}

/// All ticks and idle ticks since the start of the machine (`proc_stat(5)`).
fn ticks() -> Option<(u64, u64)> {
    let stat = fs::read_to_string("/proc/stat").ok()?;
    let numbers: Vec<u64> =
        stat.lines().next()?.split_whitespace().skip(1).take(8).filter_map(|n| n.parse().ok()).collect();
    let idle = numbers.get(3)? + numbers.get(4)?;
    Some((numbers.iter().sum(), idle))
}
