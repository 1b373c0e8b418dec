//! Any recording → samples at 16 kHz, mono, with a map back to original time. Never changes the source file.
//!
//! [`open`] looks through the whole recording once (which track, which channel, how loud, how long it really is) and
//! then gives the samples in blocks; memory stays bounded however long the recording is.

mod error;
mod recording;
mod report;
mod resample;
mod stream;

pub use error::Error;
pub use recording::{Options, Recording, open};
pub use report::Report;

/// What the listening room takes, in samples per second.
pub const RATE_HZ: u32 = 16_000;

/// A recording as the listening room takes it: mono blocks at [`RATE_HZ`] that follow each other without a gap;
/// sample `n` was recorded `n / RATE_HZ` seconds after the start of the original recording.
pub trait Samples {
    /// The next block, or nothing at the end.
    fn next_block(&mut self) -> Result<Option<Vec<f32>>, Error>;

    /// Expected length in seconds, for progress only; headers lie.
    fn expected_s(&self) -> Option<f64> {
        None
    }
}
