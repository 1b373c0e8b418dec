//! CAF → where the samples lie and how they are written, for what lies in equal blocks; the rest goes to `stream`.

use super::{
    adpcm,
    blocks::{Blocks, Code, Layout},
    error::Error,
    input::Input,
    pcm::{Coding, Format},
    source::{MOST_CHANNELS, Place, Source},
    stream,
};

/// Chunks that are looked at; more are not real.
const MOST_CHUNKS: usize = 4096;

/// Opens the CAF file that starts at `start`.
pub(super) fn open(mut input: Input, start: u64, mut repairs: Vec<String>) -> Result<Box<dyn Source>, Error> {
    let container = "CAF";
    let (mut about, mut sound) = (None, None);
    let mut at = start + 8;
    for _ in 0..MOST_CHUNKS {
        let Some([a, b, c, d, size @ ..]) = input.array::<12>(at)? else { break };
        let (name, size) = ([a, b, c, d], u64::from_be_bytes(size));
        let body = at + 12;
        match &name {
            b"desc" if about.is_none() => about = input.array::<32>(body)?,
            b"data" if sound.is_none() => sound = Some((body + 4, size.saturating_sub(4), size == u64::MAX)),
            _ => {}
        }
        at = body.saturating_add(size);
    }
    let Some(about) = about else {
        let what = "its header ends before it says how the samples are written (no `desc` chunk)".into();
        return Err(Error::Damaged { path: input.path(), container: container.into(), what });
    };
    let (rate, rest) = about.split_first_chunk::<8>().unwrap_or((&[0; 8], &[]));
    let rate = f64::from_be_bytes(*rate).round();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates")]
    let rate_hz = rate as u32;
    let (code, rest) = rest.split_first_chunk::<4>().unwrap_or((&[0; 4], &[]));
    let mut words = rest.chunks_exact(4).filter_map(|b| b.first_chunk::<4>()).map(|b| u32::from_be_bytes(*b));
    let mut word = || words.next().unwrap_or(0);
    let (flags, packet, _, found, bits) = (word(), word(), word(), word(), word());
    let channels = found as usize;
    if channels == 0 || channels > MOST_CHANNELS {
        return Err(Error::Channels {
            path: input.path(),
            container: container.into(),
            found,
            most: MOST_CHANNELS,
        });
    }
    // Bytes of a sample by the packet, which holds one frame; by the bits where that is missing.
    let bytes = match packet as usize / channels {
        0 => bits.div_ceil(8) as usize,
        bytes => bytes,
    };
    let pcm = |coding, bytes, big_endian| Code::Pcm(Format { coding, bytes, big_endian });
    let code = match code {
        b"lpcm" => {
            let coding = if flags & 1 == 0 { Coding::Signed } else { Coding::Float };
            pcm(coding, bytes, flags & 2 == 0)
        }
        b"alaw" => pcm(Coding::ALaw, 1, true),
        b"ulaw" => pcm(Coding::MuLaw, 1, true),
        b"ima4" => Code::Adpcm(adpcm::Code::ImaQuickTime),
        _ => return stream::open(input, start, container, stream::Kind::Caf, repairs),
    };
    let block = match &code {
        Code::Pcm(format) if !format.is_possible() => {
            let what = format!("samples of {bits} bits in {packet} bytes do not exist");
            return Err(Error::Damaged { path: input.path(), container: container.into(), what });
        }
        Code::Pcm(format) => format.bytes * channels,
        Code::Adpcm(_) => 34 * channels,
    };
    let Some((first, told, open)) = sound else {
        let why = "only a header, no samples follow it".into();
        return Err(Error::NoSamples { path: input.path(), container: container.into(), why });
    };
    let left = input.len().saturating_sub(first);
    let mut declared = None;
    let size = if open {
        // Written while recording: the size is not known, and that is allowed.
        left
    } else if told == 0 {
        repairs.push(format!(
            "header repaired: the recorder left the size of the sound at 0; {left} bytes up to the end of the file were taken"
        ));
        left
    } else {
        declared = Some(told);
        if told > left {
            repairs.push(format!(
                "header repaired: of the {told} bytes of sound that the header promises only {left} are there"
            ));
        }
        told.min(left)
    };
    let layout = Layout {
        container: container.into(),
        code,
        rate_hz,
        places: Place::usual(channels),
        block,
        spans: vec![(first, size)],
        declared,
        repairs,
    };
    Blocks::open(input, layout)
}
