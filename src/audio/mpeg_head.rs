//! The head of one frame of MPEG audio or ADTS.

use super::aac;

/// The head of one frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Head {
    pub(super) kind: Kind,
    pub(super) rate_hz: u32,
    pub(super) channels: u32,
    /// Of the whole frame, in bytes.
    pub(super) size: usize,
    /// Where the decoder's packet starts in it (ADTS).
    pub(super) packet: usize,
    pub(super) frames: usize,
    /// Of the Xing header behind the frame head and side information.
    pub(super) side: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Layer1,
    Layer2,
    Layer3,
    /// With the profile: 1 is low complexity.
    Adts(u8),
}

impl Kind {
    /// Frames at the start that no encoder or decoder can do without (M: ISO/IEC 13818-7 overlap of 1024; MP3 decoder
    /// 529 and the usual encoder's 576; the filter bank of layers 1 and 2). At low rates they are a tenth of a second.
    pub(super) const fn run_up(self) -> usize {
        match self {
            Self::Layer1 | Self::Layer2 => 481,
            Self::Layer3 => 529 + 576,
            Self::Adts(_) => 1024,
        }
    }

    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Layer1 => "MP1",
            Self::Layer2 => "MP2",
            Self::Layer3 => "MP3",
            Self::Adts(_) => "AAC",
        }
    }
}

/// Bit rates in kbit/s (P: ISO/IEC 11172-3, 2.4.2.3 and 13818-3): MPEG-1 layer 1, 2, 3, then MPEG-2 layer 1, 2 and 3.
#[rustfmt::skip]
const BIT_RATES: [[usize; 14]; 5] = [
    [32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448],
    [32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384],
    [32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320],
    [32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256],
    [8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160],
];

impl Head {
    /// The head at the start of `bytes`, if it is one.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let &[a, b, c, d] = bytes.first_chunk::<4>()?;
        if a != 0xff || b & 0xe0 != 0xe0 {
            return None;
        }
        // Layer 0 with a sync word of 12 bits is ADTS.
        if b & 0xf6 == 0xf0 {
            return Self::read_adts(bytes);
        }
        let version = b >> 3 & 3;
        let layer = b >> 1 & 3;
        let (kind, row) = match (layer, version) {
            (_, 1) | (0, _) => return None,
            (3, 3) => (Kind::Layer1, 0),
            (2, 3) => (Kind::Layer2, 1),
            (_, 3) => (Kind::Layer3, 2),
            (3, _) => (Kind::Layer1, 3),
            (2, _) => (Kind::Layer2, 4),
            _ => (Kind::Layer3, 4),
        };
        let rate_hz = [44_100, 48_000, 32_000].get(usize::from(c >> 2 & 3)).copied()?;
        let rate_hz: u32 = match version {
            3 => rate_hz,
            2 => rate_hz / 2,
            _ => rate_hz / 4,
        };
        let bits = BIT_RATES.get::<usize>(row)?.get(usize::from(c >> 4).checked_sub(1)?)? * 1000;
        let pad = usize::from(c >> 1 & 1);
        let rate = usize::try_from(rate_hz).ok()?;
        let (frames, size) = match kind {
            Kind::Layer1 => (384, (12 * bits / rate + pad) * 4),
            Kind::Layer2 => (1152, 144 * bits / rate + pad),
            _ if version == 3 => (1152, 144 * bits / rate + pad),
            _ => (576, 72 * bits / rate + pad),
        };
        // An emphasis of 2 is reserved: a sign that this is no head.
        if d & 3 == 2 {
            return None;
        }
        let channels = if d >> 6 == 3 { 1 } else { 2 };
        let information = match (version, channels) {
            (3, 2) => 32,
            (3, _) | (_, 2) => 17,
            _ => 9,
        };
        Some(Self { kind, rate_hz, channels, size, packet: 0, frames, side: 4 + information })
    }

    fn read_adts(bytes: &[u8]) -> Option<Self> {
        let bits = bytes.first_chunk::<8>().map(|b| u64::from_be_bytes(*b))?;
        // So many bits, so many from the end of the first 56.
        let field =
            |from: u32, count: u32| u32::try_from(bits >> (64 - from - count) & ((1 << count) - 1)).ok();
        let (no_check, profile) = (field(15, 1)?, field(16, 2)?);
        let rate_hz = aac::rate_hz(field(18, 4)?)?;
        let channels = field(23, 3)?;
        let size = field(30, 13)? as usize;
        let packet = if no_check == 1 { 7 } else { 9 };
        // Several blocks in one frame are allowed and not seen in practice.
        (size > packet && field(54, 2) == Some(0)).then_some(Self {
            kind: Kind::Adts(u8::try_from(profile).ok()?),
            rate_hz,
            channels,
            size,
            packet,
            frames: 1024,
            side: 0,
        })
    }

    /// Whether another head belongs to the same stream.
    pub(super) fn like(&self, other: &Self) -> bool {
        self.kind == other.kind && self.rate_hz == other.rate_hz
    }
}
