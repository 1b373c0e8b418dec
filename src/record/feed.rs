//! What is recorded → what is listened to meanwhile: one channel at 16 kHz, through a queue that never grows beyond
//! [`MOST_S`]. Where the listener falls farther behind, it hears silence for what did not fit; the file has all.

use std::{
    collections::VecDeque,
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use super::capture::Format;
use crate::audio::{self, RATE_HZ, Resampler, Samples};

/// The most that waits to be listened to, in seconds: 38 MB.
pub const MOST_S: f64 = 600.0;
/// Samples of one block for the listener: as many as the voice detector takes at once, 32 ms.
const BLOCK: usize = crate::listen::listener::WINDOW;
/// The listener looks up this often where no sound comes, so that it can hand over what it has heard.
const PATIENCE: Duration = Duration::from_millis(100);

#[derive(Debug, Default)]
struct Queue {
    sound: VecDeque<f32>,
    /// Samples of silence that follow the sound, for what did not fit.
    silence: u64,
    /// All that ever did not fit.
    left_out: u64,
    closed: bool,
}

#[derive(Debug, Default)]
struct Shared {
    queue: Mutex<Queue>,
    more: Condvar,
}

impl Shared {
    /// Samples are whole whatever happened to another thread.
    fn lock(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The end that is fed.
pub struct Feed {
    shared: Arc<Shared>,
    resampler: Option<(Format, Resampler)>,
    most: usize,
    mono: Vec<f32>,
    ready: Vec<f32>,
}

/// The end that is listened to.
#[derive(Debug)]
pub struct Listened {
    shared: Arc<Shared>,
}

/// How far behind the listener is.
#[derive(Debug, Clone)]
pub struct Backlog(Arc<Shared>);

impl Backlog {
    /// Seconds of sound that wait, and seconds that did not fit.
    #[expect(clippy::cast_precision_loss, reason = "less than 2^53 samples")]
    pub fn seconds(&self) -> (f64, f64) {
        let queue = self.0.lock();
        let s = |n: u64| n as f64 / f64::from(RATE_HZ);
        (s(queue.sound.len() as u64 + queue.silence), s(queue.left_out))
    }
}

/// A queue that holds so many seconds at most.
pub fn queue(most_s: f64) -> (Feed, Listened) {
    let shared = Arc::new(Shared::default());
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "minutes of samples")]
    let most = (most_s * f64::from(RATE_HZ)) as usize;
    let feed =
        Feed { shared: Arc::clone(&shared), resampler: None, most, mono: Vec::new(), ready: Vec::new() };
    (feed, Listened { shared })
}

impl Feed {
    pub fn backlog(&self) -> Backlog {
        Backlog(Arc::clone(&self.shared))
    }

    /// Takes what was recorded, in the format of the device.
    pub fn push(&mut self, samples: &[f32], format: Format) {
        if self.resampler.as_ref().is_none_or(|(now, _)| *now != format) {
            self.flush();
            self.resampler = Some((format, Resampler::new(format.rate_hz)));
        }
        let channels = usize::from(format.channels).max(1);
        self.mono.clear();
        self.mono.extend(
            samples.chunks_exact(channels).map(|c| c.iter().sum::<f32>() / f32::from(format.channels)),
        );
        if let Some((_, resampler)) = &mut self.resampler {
            resampler.push(&self.mono, &mut self.ready);
        }
        self.hand_over();
    }

    fn flush(&mut self) {
        if let Some((_, mut old)) = self.resampler.take() {
            old.finish(&mut self.ready);
            self.hand_over();
        }
    }

    fn hand_over(&mut self) {
        let mut queue = self.shared.lock();
        // Once something did not fit, nothing does until the queue is empty: the order must stay.
        if queue.silence > 0 || queue.sound.len() + self.ready.len() > self.most {
            queue.silence += self.ready.len() as u64;
            queue.left_out += self.ready.len() as u64;
        } else {
            queue.sound.extend(&self.ready);
        }
        self.ready.clear();
        self.shared.more.notify_one();
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.flush();
        self.shared.lock().closed = true;
        self.shared.more.notify_one();
    }
}

impl Samples for Listened {
    /// The next block; an empty block where none has come yet.
    fn next_block(&mut self) -> Result<Option<Vec<f32>>, audio::Error> {
        let queue = self.shared.lock();
        let waits = |q: &mut Queue| q.sound.len() < BLOCK && q.silence == 0 && !q.closed;
        let (mut queue, _) = self
            .shared
            .more
            .wait_timeout_while(queue, PATIENCE, waits)
            .unwrap_or_else(PoisonError::into_inner);
        if queue.sound.is_empty() && queue.silence > 0 {
            let n = usize::try_from(queue.silence).unwrap_or(BLOCK).min(BLOCK);
            queue.silence -= n as u64;
            return Ok(Some(vec![0.0; n]));
        }
        if queue.sound.is_empty() && queue.closed {
            return Ok(None);
        }
        let n = if queue.closed || queue.silence > 0 || queue.sound.len() >= BLOCK {
            queue.sound.len().min(BLOCK)
        } else {
            0
        };
        Ok(Some(queue.sound.drain(..n).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MONO: Format = Format { rate_hz: 16_000, channels: 1, bits: 16 };

    fn all(mut end: Listened) -> Vec<f32> {
        let mut got = Vec::new();
        while let Some(block) = end.next_block().unwrap() {
            got.extend(block);
        }
        got
    }

    #[test]
    fn what_goes_in_comes_out_in_one_channel() {
        let (mut feed, end) = queue(10.0);
        feed.push(&[0.5, 0.1, 0.2, 0.4], Format { channels: 2, ..MONO });
        drop(feed);
        let got = all(end);
        assert!(got.iter().zip([0.3, 0.3]).all(|(g, e)| (g - e).abs() < 1e-6), "{got:?}");
        let (mut feed, end) = queue(10.0);
        feed.push(&vec![0.25; 48_000], Format { rate_hz: 48_000, ..MONO });
        feed.push(&vec![0.25; 44_100], Format { rate_hz: 44_100, ..MONO });
        drop(feed);
        assert_eq!(all(end).len(), 32_000, "two seconds at two rates");
    }

    #[test]
    fn a_listener_that_falls_behind_costs_no_memory_and_no_time() {
        let (mut feed, end) = queue(1.0);
        for _ in 0..50 {
            feed.push(&[0.5; 1600], MONO);
        }
        let (waits, left_out) = feed.backlog().seconds();
        assert!((waits - 5.0).abs() < 1e-9 && (left_out - 4.0).abs() < 1e-9, "{waits} {left_out}");
        drop(feed);
        let got = all(end);
        assert_eq!(got.len(), 80_000, "times stay");
        assert!(got[..16_000].iter().all(|s| *s > 0.4) && got[16_000..].iter().all(|s| *s < 0.1));
    }
}
