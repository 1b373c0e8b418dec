//! AAC: what the decoder must be told. Only the low-complexity core is decoded; the extensions of HE-AAC add nothing
//! below the half of the core's rate, and speech lies there.

use symphonia::core::{
    audio::{Channels, Position},
    codecs::audio::{AudioCodecParameters, well_known::CODEC_ID_AAC},
};

use super::codec::Codec;

/// Sampling frequencies by index (P: ISO/IEC 14496-3, table 1.18).
const RATES_HZ: [u32; 13] =
    [96_000, 88_200, 64_000, 48_000, 44_100, 32_000, 24_000, 22_050, 16_000, 12_000, 11_025, 8_000, 7_350];

/// The rate at an index.
pub(super) fn rate_hz(index: u32) -> Option<u32> {
    usize::try_from(index).ok().and_then(|index| RATES_HZ.get(index)).copied()
}

/// What an `AudioSpecificConfig` says of the core.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Config {
    /// Audio object type: 2 is low complexity.
    pub(super) object: u32,
    pub(super) rate_hz: u32,
    /// 1 to 7; 0: told in the stream.
    pub(super) channels: u32,
    /// 960 instead of 1024 frames a packet.
    pub(super) short: bool,
    /// Frames at the start that are only the encoder's run-up. For low complexity the overlap that no encoder can do
    /// without; with the extensions what a common encoder was seen to add (S: 85 and 128 ms at a core of 24 kHz).
    pub(super) run_up: u32,
}

struct Bits<'a>(&'a [u8], usize);

impl Bits<'_> {
    fn take(&mut self, n: usize) -> Option<u32> {
        let mut value = 0;
        for _ in 0..n {
            let byte = *self.0.get(self.1 / 8)?;
            value = value << 1 | u32::from(byte >> (7 - self.1 % 8) & 1);
            self.1 += 1;
        }
        Some(value)
    }

    fn object(&mut self) -> Option<u32> {
        match self.take(5)? {
            31 => Some(32 + self.take(6)?),
            object => Some(object),
        }
    }

    fn rate(&mut self) -> Option<u32> {
        match self.take(4)? {
            15 => self.take(24),
            index => rate_hz(index),
        }
    }
}

impl Config {
    /// ISO/IEC 14496-3, 1.6.2.1 (M).
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let mut bits = Bits(bytes, 0);
        let mut object = bits.object()?;
        let rate_hz = bits.rate()?;
        let channels = bits.take(4)?;
        let run_up = match object {
            5 => 2048,
            29 => 3072,
            _ => 1024,
        };
        // Spectral band replication (5) and parametric stereo (29): the core follows.
        if object == 5 || object == 29 {
            bits.rate()?;
            object = bits.object()?;
        }
        let short = bits.take(1) == Some(1);
        Some(Self { object, rate_hz, channels, short, run_up })
    }

    /// Where the stream says nothing.
    pub(super) fn guess(rate_hz: u32, channels: usize) -> Self {
        let channels = u32::try_from(channels).unwrap_or(1);
        Self { object: 2, rate_hz, channels, short: false, run_up: 1024 }
    }

    /// How long the run-up is, in seconds.
    pub(super) fn run_up_s(self) -> f64 {
        f64::from(self.run_up) / f64::from(self.rate_hz.max(1))
    }

    /// A name for a message.
    pub(super) fn name(self) -> String {
        let kind = match self.object {
            1 => "AAC Main",
            2 => "AAC",
            3 => "AAC SSR",
            4 => "AAC LTP",
            23 => "AAC-LD",
            39 => "AAC-ELD",
            42 => "xHE-AAC",
            _ => "AAC of a rare kind",
        };
        match self.channels {
            0..=2 => kind.into(),
            7 => format!("{kind} with 8 channels"),
            n => format!("{kind} with {n} channels"),
        }
    }

    /// A decoder for the core, if there is one.
    pub(super) fn decoder(self) -> Option<Codec> {
        if self.object != 2 || self.short || self.channels > 2 {
            return None;
        }
        let places = if self.channels == 2 {
            Position::FRONT_LEFT | Position::FRONT_RIGHT
        } else {
            Position::FRONT_CENTER
        };
        // Without extra data the decoder takes the low-complexity core at this rate.
        let mut params = AudioCodecParameters::new();
        params
            .for_codec(CODEC_ID_AAC)
            .with_sample_rate(self.rate_hz)
            .with_channels(Channels::Positioned(places));
        Codec::symphonia(&params)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(bytes: &[u8], expect: Option<(u32, u32, u32)>) {
        let is = Config::read(bytes).map(|c| (c.object, c.rate_hz, c.channels));
        assert_eq!(is, expect, "{bytes:02x?}");
    }

    #[test]
    fn configs() {
        check(&[0x12, 0x10], Some((2, 44_100, 2)));
        check(&[0x14, 0x08], Some((2, 16_000, 1)));
        // HE-AAC: core 24 kHz, output 48 kHz; version 2: one channel.
        check(&[0x2b, 0x11, 0x88, 0x00], Some((2, 24_000, 2)));
        check(&[0xeb, 0x09, 0x88, 0x00], Some((2, 24_000, 1)));
        check(&[0x12], None);
        check(&[0x16, 0x90], None);
    }
}
