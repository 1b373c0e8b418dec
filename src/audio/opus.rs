//! Opus packets → samples at 48 kHz. The container gives the packets and the identification header.
//!
//! The decoder is `ropus`, chosen by trying three on voice notes of 6 to 96 kbit/s, one and two channels, 2.5 to 120 ms
//! frames (symphonia 0.6 has none of its own):
//!
//! | decoder | against libopus, largest difference | 6.8 s of voice at 24 kbit/s | not decoded |
//! | --- | --- | --- | --- |
//! | `ropus` 0.12 (pure Rust, BSD-3-Clause) | 0 to 2e-4 | 0.014 s | none |
//! | `opus-decoder` 0.1 (pure Rust, no unsafe) | 0 to 2e-5 | 0.23 s, stereo 1.7 s | 120 ms frames |
//! | `symphonia-adapter-libopus` 0.3 (C, cmake) | – | 0.010 s | two thirds of a WebM file, cut off as padding |

use ropus::{Channels, DecodeMode, Decoder, OpusMSDecoder};

use super::source::{Piece, Place};

/// Opus counts in this rate whatever was recorded.
pub(super) const RATE_HZ: u32 = 48_000;
/// The longest packet has 120 ms.
const MOST_FRAMES: usize = 5760;

/// The identification header (RFC 7845, section 5.1).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Head {
    pub(super) channels: u8,
    /// Frames at the start that are only the encoder's run-up.
    pub(super) pre_skip: u16,
    /// In 1/256 dB, to be applied always.
    gain: i16,
    streams: u8,
    coupled: u8,
    mapping: Vec<u8>,
}

impl Head {
    /// From `OpusHead` as in Ogg, Matroska and CAF.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let rest = bytes.strip_prefix(b"OpusHead")?;
        let (&[version, channels, skip_low, skip_high, _, _, _, _, gain_low, gain_high, family], rest) =
            rest.split_first_chunk::<11>()?;
        // A major version other than 0 is another format.
        if version > 15 {
            return None;
        }
        let pre_skip = u16::from_le_bytes([skip_low, skip_high]);
        let gain = i16::from_le_bytes([gain_low, gain_high]);
        Self::new(channels, pre_skip, gain, family, rest)
    }

    /// From `dOps` as in MP4: the same fields, the other byte order, version 0.
    pub(super) fn read_mp4(bytes: &[u8]) -> Option<Self> {
        let (&[_, channels, skip_high, skip_low, _, _, _, _, gain_high, gain_low, family], rest) =
            bytes.split_first_chunk::<11>()?;
        let pre_skip = u16::from_be_bytes([skip_high, skip_low]);
        let gain = i16::from_be_bytes([gain_high, gain_low]);
        Self::new(channels, pre_skip, gain, family, rest)
    }

    /// Where the header is missing.
    pub(super) fn guess(channels: usize) -> Option<Self> {
        Self::new(u8::try_from(channels).ok()?.clamp(1, 2), 312, 0, 0, &[])
    }

    fn new(channels: u8, pre_skip: u16, gain: i16, family: u8, rest: &[u8]) -> Option<Self> {
        let (streams, coupled, mapping) = match (family, channels) {
            (0, 1) => (1, 0, vec![0]),
            (0, 2) => (1, 1, vec![0, 1]),
            (0, _) | (_, 0) => return None,
            (_, channels) => {
                let (&[streams, coupled], map) = rest.split_first_chunk::<2>()?;
                (streams, coupled, map.get(..usize::from(channels))?.to_vec())
            }
        };
        (streams > 0 && coupled <= streams && u16::from(streams) + u16::from(coupled) <= 255)
            .then_some(Self { channels, pre_skip, gain, streams, coupled, mapping })
    }

    /// The Vorbis channel order, which Opus uses (RFC 7845, section 5.1.1.2).
    pub(super) fn places(&self) -> Vec<Place> {
        let [left, right, centre, low, other] =
            [Place::Left, Place::Right, Place::Centre, Place::Low, Place::Other];
        match self.channels {
            1 => vec![Place::Only],
            2 => vec![left, right],
            3 => vec![left, centre, right],
            5 => vec![left, centre, right, other, other],
            6 => vec![left, centre, right, other, other, low],
            7 => vec![left, centre, right, other, other, other, low],
            8 => vec![left, centre, right, other, other, other, other, low],
            n => vec![other; usize::from(n)],
        }
    }
}

/// A decoder and its state.
pub(super) struct Opus {
    head: Head,
    inner: Inner,
    /// Run-up that is still to be taken off.
    skip: usize,
    buffer: Vec<f32>,
    whole: Vec<i16>,
}

enum Inner {
    Plain(Box<Decoder>),
    Many(Box<OpusMSDecoder>),
}

impl Opus {
    pub(super) fn new(head: Head) -> Option<Self> {
        let inner = if head.streams == 1 && head.channels <= 2 && head.mapping.iter().all(|m| *m < 2) {
            let channels = if head.channels == 1 { Channels::Mono } else { Channels::Stereo };
            let mut decoder = Decoder::new(RATE_HZ, channels).ok()?;
            if head.gain != 0 {
                decoder.set_gain(head.gain.into()).ok()?;
            }
            Inner::Plain(Box::new(decoder))
        } else {
            let decoder = OpusMSDecoder::new(
                RATE_HZ.cast_signed(),
                head.channels.into(),
                head.streams.into(),
                head.coupled.into(),
                &head.mapping,
            );
            Inner::Many(Box::new(decoder.ok()?))
        };
        let skip = usize::from(head.pre_skip);
        Some(Self { head, inner, skip, buffer: Vec::new(), whole: Vec::new() })
    }

    /// Frames of run-up at the start of the stream.
    pub(super) fn pre_skip(&self) -> u64 {
        self.head.pre_skip.into()
    }

    /// One packet; false if it cannot be decoded.
    pub(super) fn decode(&mut self, packet: &[u8], piece: &mut Piece) -> bool {
        // To the decoder an empty packet is a lost one: it would invent sound.
        if packet.is_empty() {
            return false;
        }
        let channels = usize::from(self.head.channels);
        piece.rate_hz = RATE_HZ;
        piece.clear(channels);
        let made = match &mut self.inner {
            Inner::Plain(decoder) => {
                self.buffer.resize(MOST_FRAMES * channels, 0.0);
                decoder.decode_float(packet, &mut self.buffer, DecodeMode::Normal).ok()
            }
            Inner::Many(decoder) => {
                self.whole.resize(MOST_FRAMES * channels, 0);
                let most = i32::try_from(MOST_FRAMES).unwrap_or(i32::MAX);
                let len = i32::try_from(packet.len()).unwrap_or(i32::MAX);
                let made = decoder.decode(Some(packet), len, &mut self.whole, most, false);
                self.buffer.clear();
                self.buffer.extend(self.whole.iter().map(|s| f32::from(*s) / 32_768.0));
                made.ok().and_then(|n| usize::try_from(n).ok())
            }
        };
        let Some(made) = made else { return false };
        let interleaved = self.buffer.get(..made * channels).unwrap_or_default();
        for frame in interleaved.chunks_exact(channels) {
            for (plane, sample) in piece.planes.iter_mut().zip(frame) {
                plane.push(*sample);
            }
        }
        let skip = self.skip.min(made);
        self.skip -= skip;
        piece.trim_start(skip);
        true
    }

    /// Starts anew in the middle of a stream: nothing is to be taken off there.
    pub(super) fn reset(&mut self) {
        if let Some(fresh) = Self::new(self.head.clone()) {
            *self = fresh;
        }
        self.skip = 0;
    }
}
