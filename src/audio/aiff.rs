//! AIFF and AIFF-C → where the samples lie and how they are written.

use super::{
    adpcm,
    blocks::{Blocks, Code, Layout},
    error::Error,
    input::Input,
    pcm::{Coding, Format},
    source::{Place, Source},
};

/// Chunks that are looked at; more are not real.
const MOST_CHUNKS: usize = 4096;

/// Opens the AIFF file that starts at `start`.
pub(super) fn open(mut input: Input, start: u64, mut repairs: Vec<String>) -> Result<Box<dyn Source>, Error> {
    let end = input.len();
    let compressed = input.array::<4>(start + 8)? == Some(*b"AIFC");
    let container = if compressed { "AIFF-C" } else { "AIFF" };
    let damaged = |input: &Input, what: &str| Error::Damaged {
        path: input.path(),
        container: container.into(),
        what: what.into(),
    };
    let (mut common, mut sound) = (None, None);
    let mut at = start + 12;
    for _ in 0..MOST_CHUNKS {
        let Some([a, b, c, d, size @ ..]) = input.array::<8>(at)? else { break };
        let (name, size) = ([a, b, c, d], u64::from(u32::from_be_bytes(size)));
        let body = at + 8;
        match &name {
            b"COMM" if common.is_none() => common = Some(input.bytes(body, 64)?.to_vec()),
            b"SSND" if sound.is_none() => {
                let offset = input.array::<4>(body)?.map_or(0, |b| u64::from(u32::from_be_bytes(b)));
                let first = body + 8;
                let left = end.saturating_sub(first);
                sound = Some((first, offset.min(left), size.saturating_sub(8), left));
                // A size that was never filled in: the sound goes on to the end.
                if size <= 8 || body + size > end {
                    break;
                }
            }
            _ => {}
        }
        at = body.saturating_add(size).saturating_add(size & 1);
    }
    let Some(common) = common.as_deref().and_then(|b| Common::read(b, compressed)) else {
        return Err(damaged(
            &input,
            "its header ends before it says how the samples are written (no `COMM` chunk)",
        ));
    };
    let Some((first, offset, told, left)) = sound else {
        let why = "only a header, no samples follow it".into();
        return Err(Error::NoSamples { path: input.path(), container: container.into(), why });
    };
    let bytes = usize::from(common.bits).div_ceil(8).max(1);
    let code = |coding, bytes, big_endian| Code::Pcm(Format { coding, bytes, big_endian });
    let code = match &common.compression {
        b"NONE" | b"twos" | b"in24" | b"in32" => code(Coding::Signed, bytes, true),
        b"sowt" | b"42ni" | b"23ni" => code(Coding::Signed, bytes, false),
        b"raw " => code(Coding::Unsigned, bytes, true),
        b"fl32" | b"FL32" => code(Coding::Float, 4, true),
        b"fl64" | b"FL64" => code(Coding::Float, 8, true),
        b"alaw" | b"ALAW" => code(Coding::ALaw, 1, true),
        b"ulaw" | b"ULAW" => code(Coding::MuLaw, 1, true),
        b"ima4" => Code::Adpcm(adpcm::Code::ImaQuickTime),
        other => {
            let codec = format!("of the kind `{}`", String::from_utf8_lossy(other));
            return Err(Error::Codec { path: input.path(), container: container.into(), codec });
        }
    };
    let channels = usize::from(common.channels);
    let block = match &code {
        Code::Pcm(format) => format.bytes * channels,
        Code::Adpcm(_) => 34 * channels,
    };
    let left = left - offset;
    // Frames for PCM, packets of 64 frames for ima4.
    let counted = u64::from(common.frames) * block as u64;
    let mut size = told.saturating_sub(offset).min(left);
    let mut declared = Some(told.saturating_sub(offset)).filter(|told| *told > 0 && *told < 0x7fff_0000);
    if told == 0 && left > 0 {
        repairs.push(format!(
            "header repaired: the recorder left the size of the sound at 0; {left} bytes up to the end of the file were taken"
        ));
        size = left;
        declared = Some(counted).filter(|n| *n > 0);
    } else if told.saturating_sub(offset) > left {
        repairs.push(format!(
            "header repaired: of the {told} bytes of sound that the header promises only {left} are there"
        ));
    }
    let layout = Layout {
        container: container.into(),
        code,
        rate_hz: common.rate_hz,
        places: Place::usual(channels),
        block,
        spans: vec![(first + offset, size)],
        declared,
        repairs,
    };
    Blocks::open(input, layout)
}

/// The `COMM` chunk.
struct Common {
    channels: u16,
    frames: u32,
    bits: u16,
    rate_hz: u32,
    compression: [u8; 4],
}

impl Common {
    fn read(bytes: &[u8], compressed: bool) -> Option<Self> {
        let (channels, rest) = bytes.split_first_chunk::<2>()?;
        let (frames, rest) = rest.split_first_chunk::<4>()?;
        let (bits, rest) = rest.split_first_chunk::<2>()?;
        let (rate, rest) = rest.split_first_chunk::<10>()?;
        Some(Self {
            channels: u16::from_be_bytes(*channels),
            frames: u32::from_be_bytes(*frames),
            bits: u16::from_be_bytes(*bits),
            rate_hz: extended(*rate),
            compression: rest.first_chunk::<4>().copied().filter(|_| compressed).unwrap_or(*b"NONE"),
        })
    }
}

/// An 80-bit float as a whole number of samples per second; 0 for what is none.
fn extended(bytes: [u8; 10]) -> u32 {
    let [a, b, mantissa @ ..] = bytes;
    let exponent = i32::from(u16::from_be_bytes([a & 0x7f, b])) - 16_383;
    let mantissa = u64::from_be_bytes(mantissa);
    match u32::try_from(63 - exponent) {
        Ok(shift @ 1..=63) if a & 0x80 == 0 => {
            // To the nearest whole number.
            u32::try_from((mantissa >> (shift - 1)).div_ceil(2)).unwrap_or(0)
        }
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(bytes: [u8; 10], expect: u32) {
        assert_eq!(extended(bytes), expect, "{bytes:02x?}");
    }

    #[test]
    fn rates() {
        check([0x40, 0x0e, 0xac, 0x44, 0, 0, 0, 0, 0, 0], 44_100);
        check([0x40, 0x0c, 0xfa, 0, 0, 0, 0, 0, 0, 0], 16_000);
        check([0x40, 0x0d, 0xad, 0x9c, 0x8c, 0xcc, 0, 0, 0, 0], 22_222);
        check([0; 10], 0);
        check([0xff; 10], 0);
    }
}
