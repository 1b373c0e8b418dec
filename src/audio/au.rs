//! AU (Sun, `NeXT`) → where the samples lie and how they are written.

use super::{
    blocks::{Blocks, Code, Layout},
    error::Error,
    input::Input,
    pcm::{Coding, Format},
    source::{MOST_CHANNELS, Place, Source},
};

/// Opens the AU file that starts at `start`.
pub(super) fn open(mut input: Input, start: u64, mut repairs: Vec<String>) -> Result<Box<dyn Source>, Error> {
    let container = "AU";
    let Some(head) = input.array::<24>(start)? else {
        let what = "its header breaks off".into();
        return Err(Error::Damaged { path: input.path(), container: container.into(), what });
    };
    let mut words = head.chunks_exact(4).filter_map(|b| b.first_chunk::<4>()).map(|b| u32::from_be_bytes(*b));
    let mut word = || words.next().unwrap_or(0);
    let (_, offset, told, coding, rate_hz, found) = (word(), word(), word(), word(), word(), word());
    let (coding, bytes) = match coding {
        1 => (Coding::MuLaw, 1),
        2..=5 => (Coding::Signed, coding as usize - 1),
        6 => (Coding::Float, 4),
        7 => (Coding::Float, 8),
        27 => (Coding::ALaw, 1),
        other => {
            let codec = match other {
                23 => "G.721 ADPCM".into(),
                24 => "G.722 ADPCM".into(),
                25 | 26 => "G.723 ADPCM".into(),
                other => format!("of an unknown kind ({other})"),
            };
            return Err(Error::Codec { path: input.path(), container: container.into(), codec });
        }
    };
    let channels = found as usize;
    if channels > MOST_CHANNELS {
        return Err(Error::Channels {
            path: input.path(),
            container: container.into(),
            found,
            most: MOST_CHANNELS,
        });
    }
    let first = start + u64::from(offset.max(24));
    let left = input.len().saturating_sub(first);
    let told = u64::from(told);
    let known = told > 0 && told < u64::from(u32::MAX);
    if known && told > left {
        repairs.push(format!(
            "header repaired: of the {told} bytes of sound that the header promises only {left} are there"
        ));
    }
    let layout = Layout {
        container: container.into(),
        code: Code::Pcm(Format { coding, bytes, big_endian: true }),
        rate_hz,
        places: Place::usual(channels),
        block: bytes * channels,
        spans: vec![(first, if known { told.min(left) } else { left })],
        declared: known.then_some(told),
        repairs,
    };
    Blocks::open(input, layout)
}
