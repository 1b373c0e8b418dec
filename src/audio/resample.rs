//! One channel at any rate → 16 kHz, its delay taken off and its tail flushed, so that times stay exact.

use rubato::{Fft, FixedSync, Indexing, Resampler as _, audioadapter_buffers::direct::InterleavedSlice};

use super::RATE_HZ;

/// Converts one channel; sample `n` of what comes out was recorded `n / RATE_HZ` seconds after the first that went in.
pub(crate) struct Resampler {
    rate_hz: u32,
    /// Absent where the rate is right already.
    fft: Option<Fft<f32>>,
    waiting: Vec<f32>,
    out: Vec<f32>,
    /// Samples that came out before the first real one.
    delay: usize,
    taken: u64,
    given: u64,
}

impl Resampler {
    /// The rate must not be 0.
    pub(crate) fn new(rate_hz: u32) -> Self {
        let fft = (rate_hz != RATE_HZ)
            .then(|| Fft::new(rate_hz as usize, RATE_HZ as usize, 1024, 1, FixedSync::Both).ok())
            .flatten();
        let delay = fft.as_ref().map_or(0, rubato::Resampler::output_delay);
        let out = vec![0.0; fft.as_ref().map_or(0, rubato::Resampler::output_frames_max)];
        Self { rate_hz, fft, waiting: Vec::new(), out, delay, taken: 0, given: 0 }
    }

    /// Takes samples at the file's rate and appends to `to` what is ready at 16 kHz.
    pub(crate) fn push(&mut self, samples: &[f32], to: &mut Vec<f32>) {
        self.taken += samples.len() as u64;
        if self.fft.is_none() {
            self.given += samples.len() as u64;
            to.extend_from_slice(samples);
            return;
        }
        self.waiting.extend_from_slice(samples);
        self.run(to, false);
    }

    /// Gives what is still inside; afterwards the length is that of what went in, to half a sample.
    pub(crate) fn finish(&mut self, to: &mut Vec<f32>) {
        if self.fft.is_none() {
            return;
        }
        let whole = (u128::from(self.taken) * u128::from(RATE_HZ) + u128::from(self.rate_hz) / 2)
            / u128::from(self.rate_hz);
        let whole = u64::try_from(whole).unwrap_or(u64::MAX);
        while self.given < whole {
            let before = to.len();
            self.run(to, true);
            let over = usize::try_from(self.given.saturating_sub(whole)).unwrap_or(0);
            to.truncate(to.len().saturating_sub(over).max(before));
            self.given = self.given.min(whole);
        }
    }

    fn run(&mut self, to: &mut Vec<f32>, flush: bool) {
        let Some(fft) = &mut self.fft else { return };
        let mut used = 0;
        loop {
            let need = fft.input_frames_next();
            let have = self.waiting.len() - used;
            if have < need && !flush {
                break;
            }
            let part = have.min(need);
            let input = self.waiting.get(used..used + part).unwrap_or_default();
            let frames = self.out.len();
            let (Ok(input), Ok(mut output)) =
                (InterleavedSlice::new(input, 1, part), InterleavedSlice::new_mut(&mut self.out, 1, frames))
            else {
                break;
            };
            let indexing = Indexing::new().partial_len(part);
            let Ok((_, made)) = fft.process_into_buffer(&input, &mut output, Some(&indexing)) else { break };
            used += part;
            let skip = self.delay.min(made);
            self.delay -= skip;
            to.extend_from_slice(self.out.get(skip..made).unwrap_or_default());
            self.given += (made - skip) as u64;
            if flush {
                break;
            }
        }
        self.waiting.drain(..used);
    }
}
