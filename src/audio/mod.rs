//! Any recording → samples at 16 kHz, mono, with a map back to original time. Never changes the source file.
//!
//! [`open()`] looks through the whole recording once (which track, which channel, how loud, how long it really is) and
//! then gives the samples in blocks; memory stays bounded however long the recording is.

mod aac;
mod adpcm;
mod aiff;
mod au;
mod blocks;
mod caf;
mod choose;
mod codec;
mod error;
mod input;
mod look;
mod matroska;
mod matroska_track;
mod mp4;
mod mp4_sound;
mod mp4_table;
mod mpeg;
mod mpeg_head;
mod opus;
mod pcm;
mod recording;
mod report;
mod resample;
mod sniff;
mod source;
mod stream;
mod wav;
mod wav_format;

pub use error::Error;
pub use recording::{Options, Recording, open};
pub use report::{ChannelLevel, Level, Report, Track, Verdict};
pub(crate) use resample::Resampler;

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
