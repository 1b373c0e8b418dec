//! What every container reader gives: its tracks, and their sound piece by piece in the order of the file.

use std::fmt;

use super::error::Error;

/// More channels than this are taken for a damaged header.
pub(super) const MOST_CHANNELS: usize = 64;

/// Rates outside are taken for a damaged header, in samples per second.
pub(super) const RATES_HZ: std::ops::RangeInclusive<u32> = 1_000..=768_000;

/// A file that was taken apart.
pub(super) trait Source: Send {
    /// What kind of file it is, by its content.
    fn container(&self) -> &str;

    /// Its sound tracks.
    fn tracks(&self) -> &[Track];

    /// Decodes the next piece into `piece`, of one track or of any; false at the end.
    fn next(&mut self, only: Option<usize>, piece: &mut Piece) -> Result<bool, Error>;

    /// Goes on to shortly before `to_s` without decoding, if it can, and says where the next piece starts.
    fn skip(&mut self, _track: usize, _to_s: f64) -> Result<Option<f64>, Error> {
        Ok(None)
    }

    /// When the recording was started, RFC 3339, if the file says so believably.
    fn started(&self) -> Option<String> {
        None
    }

    /// What was wrong with the file and what was assumed, as far as it was read.
    fn repairs(&self) -> Vec<String>;
}

/// One sound track as its header tells it.
#[derive(Debug, Clone, Default)]
pub(super) struct Track {
    pub(super) codec: String,
    /// False where there is no decoder.
    pub(super) readable: bool,
    /// What the file calls it.
    pub(super) name: Option<String>,
    /// Samples per second; decoding may show another.
    pub(super) rate_hz: Option<u32>,
    /// Where each channel stands; empty if the header does not say.
    pub(super) places: Vec<Place>,
    /// Seconds that the header promises.
    pub(super) declared_s: Option<f64>,
}

/// A piece of decoded sound of one track.
#[derive(Debug, Clone, Default)]
pub(super) struct Piece {
    pub(super) track: usize,
    pub(super) rate_hz: u32,
    /// When it starts by the file's own clock, in seconds; absent where the file has no clock.
    pub(super) at_s: Option<f64>,
    /// Silence in the place of something that could not be decoded.
    pub(super) is_filler: bool,
    /// One vector per channel, all equally long.
    pub(super) planes: Vec<Vec<f32>>,
}

impl Piece {
    pub(super) fn frames(&self) -> usize {
        self.planes.first().map_or(0, Vec::len)
    }

    /// Makes it empty with so many channels, keeping the memory.
    pub(super) fn clear(&mut self, channels: usize) {
        self.is_filler = false;
        self.planes.resize_with(channels, Vec::new);
        self.planes.iter_mut().for_each(Vec::clear);
    }

    /// Takes frames away at the front.
    pub(super) fn trim_start(&mut self, frames: usize) {
        for plane in &mut self.planes {
            plane.drain(..frames.min(plane.len()));
        }
    }
}

/// Where a channel stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    Only,
    Left,
    Right,
    Centre,
    /// The low-frequency effects channel: never speech.
    Low,
    Other,
}

impl Place {
    /// Bits of a WAVE channel mask: `SPEAKER_FRONT_LEFT` 1, `_RIGHT` 2, `_CENTER` 4, `LOW_FREQUENCY` 8 (P: Microsoft,
    /// "WAVEFORMATEXTENSIBLE structure").
    const fn of_mask_bit(bit: u32) -> Self {
        match bit {
            0 => Self::Left,
            1 => Self::Right,
            2 => Self::Centre,
            3 => Self::Low,
            _ => Self::Other,
        }
    }

    /// The places of a WAVE channel mask, as many as there are channels.
    pub(super) fn of_mask(mask: u32, channels: usize) -> Vec<Self> {
        let named = (0..32).filter(|bit| mask >> bit & 1 == 1).map(Self::of_mask_bit);
        let places: Vec<Self> = named.chain(std::iter::repeat(Self::Other)).take(channels).collect();
        if mask == 0 || channels == 1 { Self::usual(channels) } else { places }
    }

    /// The usual order where the file does not say.
    pub(super) fn usual(channels: usize) -> Vec<Self> {
        match channels {
            1 => vec![Self::Only],
            2 => vec![Self::Left, Self::Right],
            6 | 8 => Self::of_mask(if channels == 6 { 0x3f } else { 0x63f }, channels),
            _ => vec![Self::Other; channels],
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Only => "only",
            Self::Left => "left",
            Self::Right => "right",
            Self::Centre => "centre",
            Self::Low => "low-frequency",
            Self::Other => "other",
        })
    }
}

/// A number of things: "1 byte", "2 bytes".
pub(super) fn counted(n: u64, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// Frames at a rate as seconds.
#[expect(clippy::cast_precision_loss, reason = "exact below 2^53 frames, which is thousands of years")]
pub(super) fn seconds(frames: u64, rate_hz: u32) -> f64 {
    frames as f64 / f64::from(rate_hz.max(1))
}

/// Seconds as frames at a rate, the nearest.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "negative times are the start; the cast saturates"
)]
pub(super) fn frames(seconds: f64, rate_hz: u32) -> u64 {
    (seconds * f64::from(rate_hz)).round().max(0.0) as u64
}
