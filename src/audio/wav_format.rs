//! The `fmt ` chunk of a WAV file: how the samples are written, where its fields may contradict each other.

use super::{
    adpcm,
    blocks::{Blocks, Code, Layout},
    error::Error,
    input::Input,
    mpeg,
    pcm::{Coding, Format},
    source::{MOST_CHANNELS, Place, Source, counted},
};

/// The `fmt ` chunk.
pub(super) struct Header {
    tag: u16,
    channels: u16,
    rate_hz: u32,
    bytes_per_s: u32,
    block: u16,
    bits: u16,
    /// Where the channels stand, of `WAVE_FORMAT_EXTENSIBLE`.
    mask: u32,
    /// An extensible header without its sub format: 32 bits may be whole numbers or floats.
    vague: bool,
    big_endian: bool,
    /// What stands behind the first 18 bytes.
    extra: Vec<u8>,
}

/// Where the sound lies.
pub(super) struct Spans {
    pub(super) data: Vec<(u64, u64)>,
    /// What follows the last sample without a heading: perhaps more sound.
    pub(super) beyond: Option<(u64, u64)>,
    pub(super) declared: Option<u64>,
    pub(super) repairs: Vec<String>,
}

impl Spans {
    /// What follows the declared end is sound too.
    fn take_too(&mut self, start: u64, len: u64) {
        self.repairs.push(format!(
            "header repaired: behind the sound that the header promises, {len} more bytes follow without a heading; they were taken as sound too"
        ));
        if let Some(last) = self.data.last_mut() {
            last.1 = start + len - last.0;
        }
    }
}

impl Header {
    pub(super) fn read(bytes: &[u8], big_endian: bool) -> Option<Self> {
        let short = |at: usize| {
            let bytes = bytes.get(at..)?.first_chunk::<2>()?;
            Some(if big_endian { u16::from_be_bytes(*bytes) } else { u16::from_le_bytes(*bytes) })
        };
        let long = |at: usize| {
            let bytes = bytes.get(at..)?.first_chunk::<4>()?;
            Some(if big_endian { u32::from_be_bytes(*bytes) } else { u32::from_le_bytes(*bytes) })
        };
        let mut tag = short(0)?;
        let channels = short(2)?;
        let block = short(12)?;
        // The oldest headers have 14 bytes and no word for the bits.
        let bits = short(14).unwrap_or_else(|| (block / channels.max(1)).saturating_mul(8));
        let (mut mask, mut vague) = (0, false);
        // WAVE_FORMAT_EXTENSIBLE: the real tag is the start of the sub format, if that is there.
        if tag == 0xfffe {
            mask = long(20).unwrap_or(0);
            let sub = short(24).filter(|tag| *tag != 0);
            vague = sub.is_none();
            tag = sub.unwrap_or(1);
        }
        let extra = bytes.get(18..).unwrap_or_default().to_vec();
        let (rate_hz, bytes_per_s) = (long(4)?, long(8)?);
        Some(Self { tag, channels, rate_hz, bytes_per_s, block, bits, mask, vague, big_endian, extra })
    }

    pub(super) fn open(
        self,
        mut input: Input,
        container: &str,
        mut spans: Spans,
    ) -> Result<Box<dyn Source>, Error> {
        let mut channels = usize::from(self.channels);
        let mut block = usize::from(self.block);
        let code = match self.tag {
            1 | 3 | 6 | 7 => {
                let sample = middle(&mut input, &spans.data)?;
                let Some((format, real)) = self.pcm(&sample, &mut spans.repairs) else {
                    let (path, container) = (input.path(), container.to_owned());
                    let found = self.channels.into();
                    return Err(Error::Channels { path, container, found, most: MOST_CHANNELS });
                };
                channels = real;
                block = format.bytes * channels;
                if let Some((start, len)) = spans.beyond.take() {
                    beyond(&mut input, (format, channels), &sample, (start, len), &mut spans)?;
                }
                Code::Pcm(format)
            }
            0x11 | 0x02 => {
                if let Some((start, len)) = spans.beyond.take() {
                    spans.take_too(start, len);
                }
                Code::Adpcm(match self.tag {
                    0x11 => adpcm::Code::ImaWav,
                    _ => adpcm::Code::Microsoft { coefficients: self.coefficients() },
                })
            }
            // MPEG audio and ADTS in a WAV: the sound finds its own frames.
            0x50 | 0x55 | 0xff | 0x1600 | 0x1610 => {
                let (start, _) = spans.data.first().copied().unwrap_or_default();
                // Whatever follows without a heading: frames are known by themselves.
                let (last, len) = spans.beyond.or(spans.data.last().copied()).unwrap_or_default();
                return match mpeg::open(input, start, last + len, container, spans.repairs)? {
                    Ok(source) => Ok(source),
                    Err(input) => Err(self.unreadable(&input, container)),
                };
            }
            _ => return Err(self.unreadable(&input, container)),
        };
        let layout = Layout {
            container: container.into(),
            code,
            rate_hz: self.rate_hz,
            places: Place::of_mask(self.mask, channels),
            block,
            spans: spans.data,
            declared: spans.declared,
            repairs: spans.repairs,
        };
        Blocks::open(input, layout)
    }

    /// How PCM is written and in how many channels. Bits, channels and block size say the same thing twice; where they
    /// disagree, the reading that gives the smoothest sound is taken.
    fn pcm(&self, sample: &[u8], repairs: &mut Vec<String>) -> Option<(Format, usize)> {
        let told = usize::from(self.bits).div_ceil(8);
        let (channels, block) = (usize::from(self.channels), usize::from(self.block));
        let format = |coding: Option<Coding>, bytes: usize| Format {
            coding: coding.unwrap_or(match self.tag {
                3 => Coding::Float,
                6 => Coding::ALaw,
                7 => Coding::MuLaw,
                _ if bytes == 1 => Coding::Unsigned,
                _ => Coding::Signed,
            }),
            bytes,
            big_endian: self.big_endian,
        };
        let fits = told * channels == block && format(None, told).is_possible();
        // Legal: 17 to 24 valid bits in four bytes.
        let wide = told == 3 && block == 4 * channels && self.tag == 1;
        let mut readings = Vec::new();
        if fits && channels > 0 {
            readings.push((format(None, told), channels));
        } else if wide && channels > 0 {
            readings.push((format(None, 4), channels));
        } else {
            let fallback = if matches!(self.tag, 6 | 7) {
                1
            } else if self.tag == 3 {
                4
            } else {
                2
            };
            if channels > 0 {
                readings.push((format(None, told), channels));
            }
            if let (Some(fitting), Some(0)) = (block.checked_div(told), block.checked_rem(told)) {
                readings.push((format(None, told), fitting));
            }
            if let Some(held) = block.checked_div(channels) {
                readings.push((format(None, held), channels));
            }
            if channels > 0 && !readings.iter().any(|(f, _)| f.is_possible()) {
                readings.push((format(None, fallback), channels));
            }
        }
        if self.vague && told == 4 && channels > 0 && could_be_floats(sample, self.big_endian) {
            readings = vec![(format(Some(Coding::Float), 4), channels)];
        }
        readings.retain(|(f, channels)| f.is_possible() && (1..=MOST_CHANNELS).contains(channels));
        let rough = |(f, channels): &(Format, usize)| roughness(*f, *channels, sample);
        let least = readings.iter().map(rough).fold(f64::INFINITY, f64::min);
        // Nearly as smooth is as smooth; then the first.
        let near = readings.iter().find(|reading| rough(reading) <= least * 1.1);
        let (format, real) = near.or(readings.first()).copied()?;
        let bytes = format.bytes;
        if bytes * real != block || real != channels || bytes != told && !wide {
            repairs.push(format!(
                "header repaired: {channels} x {} bits in blocks of {block} bytes is a contradiction; {real} x {} was taken",
                self.bits,
                format.name()
            ));
        } else if self.vague && told == 4 {
            repairs.push(format!(
                "header repaired: it does not say whether its 32 bits are whole numbers or floats; {} was taken",
                format.name()
            ));
        }
        let per_frame = (bytes * real).max(1) as u64;
        if u64::from(self.rate_hz) * per_frame != u64::from(self.bytes_per_s)
            && self.bytes_per_s != 0
            && self.rate_hz != 0
        {
            let other = u64::from(self.bytes_per_s) / per_frame;
            repairs.push(format!(
                "the header contradicts itself: {0} samples per second, but bytes for {other}; {0} was taken, so check one time in the log",
                self.rate_hz
            ));
        }
        Some((format, real))
    }

    /// Predictor pairs of Microsoft ADPCM: frames per block, count, pairs.
    fn coefficients(&self) -> Vec<(i32, i32)> {
        let word = |b: &[u8]| b.first_chunk::<2>().map_or(0, |b| i32::from(i16::from_le_bytes(*b)));
        let pairs: Vec<(i32, i32)> = self
            .extra
            .get(4..)
            .unwrap_or_default()
            .chunks_exact(4)
            .map(|pair| pair.split_at(2))
            .map(|(a, b)| (word(a), word(b)))
            .take(256)
            .collect();
        if pairs.len() < 7 { adpcm::MICROSOFT_COEFFICIENTS.to_vec() } else { pairs }
    }

    fn unreadable(&self, input: &Input, container: &str) -> Error {
        // M: WAVE format tags, as in RFC 2361.
        let codec = match self.tag {
            0x0031 | 0x0032 => "GSM 6.10".into(),
            0x0022 => "TrueSpeech".into(),
            0x0042 => "G.723.1".into(),
            0x0040 | 0x0045 | 0x0064 => "G.726 ADPCM".into(),
            0x0065 | 0x028f => "G.722 ADPCM".into(),
            0x0083 => "G.729".into(),
            0x0050 => "MPEG audio layer 2".into(),
            0x0055 => "MP3".into(),
            0x00ff | 0x1600 | 0x1610 => "AAC without frame heads".into(),
            0x0160..=0x0163 => "Windows Media Audio".into(),
            0x2000 => "AC-3".into(),
            0xa109 => "Speex".into(),
            tag => format!("of an unknown kind (format tag {tag:#06x})"),
        };
        Error::Codec { path: input.path(), container: container.into(), codec }
    }
}

/// Whether what follows the declared end is more of the same sound: then it is not lost.
fn beyond(
    input: &mut Input,
    (format, channels): (Format, usize),
    sample: &[u8],
    (start, len): (u64, u64),
    spans: &mut Spans,
) -> Result<(), Error> {
    let known = roughness(format, channels, sample);
    let block = (format.bytes * channels).max(1) as u64;
    let first = spans.data.last().map_or(start, |(first, _)| *first);
    // Where it is loud enough to tell: a pause in the middle is not the end. Blocks are counted from the first one.
    let mut quarters = Vec::new();
    for quarter in 0..4 {
        let at = first + (start + len / 4 * quarter - first).div_ceil(block) * block;
        quarters.push(roughness(format, channels, &middle(input, &[(at, len / 4)])?));
    }
    let rest = quarters.iter().copied().filter(|r| *r > 0.0).fold(f64::INFINITY, f64::min);
    let silent = quarters.iter().all(|r| *r == 0.0);
    if silent || rest < (1.5 * known).clamp(1.0, 1.25) {
        spans.take_too(start, len);
    } else {
        spans.repairs.push(format!("left out: {} behind the sound that are no sound", counted(len, "byte")));
    }
    Ok(())
}

/// Some bytes out of the middle of the sound, at a whole block of any size up to 16 bytes and many others.
fn middle(input: &mut Input, spans: &[(u64, u64)]) -> Result<Vec<u8>, Error> {
    let Some(&(start, len)) = spans.first() else { return Ok(Vec::new()) };
    let len = len.min(input.len().saturating_sub(start));
    let whole = 720_720;
    let at = if len > 4 * whole { len / 2 / whole * whole } else { 0 };
    let want = usize::try_from(len - at).unwrap_or(usize::MAX).min(1 << 18);
    Ok(input.bytes(start + at, want)?.to_vec())
}

/// Whether words of four bytes can be floats: whole numbers read so would be far too small or far too large.
fn could_be_floats(bytes: &[u8], big_endian: bool) -> bool {
    let format = Format { coding: Coding::Float, bytes: 4, big_endian };
    let mut planes = [Vec::new()];
    let strange = format.decode(bytes, &mut planes);
    let [plane] = planes;
    let fits = plane.iter().filter(|x| **x == 0.0 || (1e-9..16.0).contains(&x.abs())).count();
    strange < 16 && fits * 100 > plane.len() * 99
}

/// How much a sound jumps from sample to sample against how loud it is: far below 1 for any real sound read the right
/// way, above 1 for noise. Infinite for what cannot be sound.
fn roughness(format: Format, channels: usize, bytes: &[u8]) -> f64 {
    let mut planes = vec![Vec::new(); channels];
    let strange = format.decode(bytes, &mut planes);
    let (mut jumps, mut size) = (0.0, 0.0);
    for plane in &planes {
        if plane.iter().any(|x| x.abs() > 1e4) {
            return f64::INFINITY;
        }
        #[expect(clippy::cast_precision_loss, reason = "a quarter of a million samples at most")]
        let mean = plane.iter().map(|x| f64::from(*x)).sum::<f64>() / (plane.len().max(1) as f64);
        size += plane.iter().map(|x| (f64::from(*x) - mean).abs()).sum::<f64>();
        // Two equal channels read as one jump at every other sample only.
        let mut steps = [0.0, 0.0];
        for (n, (a, b)) in plane.iter().zip(plane.iter().skip(1)).enumerate() {
            if let Some(sum) = steps.get_mut(n & 1) {
                *sum += f64::from(b - a).abs();
            }
        }
        let [even, odd] = steps;
        let uneven = even.max(odd) > 2.0 * even.min(odd);
        jumps += (even + odd) * if uneven { 4.0 } else { 1.0 };
    }
    if strange > 16 {
        return f64::INFINITY;
    }
    if size > 0.0 { jumps / size } else { 0.0 }
}
