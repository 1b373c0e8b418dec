//! Sound that lies in the file as equal blocks (PCM, ADPCM) → pieces. The one path for WAV, AIFF, CAF and AU.

use super::{
    adpcm,
    error::Error,
    input::Input,
    pcm,
    source::{MOST_CHANNELS, Piece, Place, RATES_HZ, Source, Track, counted, frames, seconds},
};

/// How much is decoded at once, in bytes.
const PIECE: usize = 1 << 16;
/// A block larger than this is a damaged header; real ones have a few thousand bytes.
const MOST_BLOCK: usize = 1 << 20;

/// How the blocks are coded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Code {
    Pcm(pcm::Format),
    Adpcm(adpcm::Code),
}

/// What a header said, put right.
#[derive(Debug, Clone)]
pub(super) struct Layout {
    pub(super) container: String,
    pub(super) code: Code,
    pub(super) rate_hz: u32,
    pub(super) places: Vec<Place>,
    /// Bytes of one block: of one frame for PCM.
    pub(super) block: usize,
    /// Where the sound lies: first byte and how many, in order.
    pub(super) spans: Vec<(u64, u64)>,
    /// Bytes of sound that the header promises, where it does so believably.
    pub(super) declared: Option<u64>,
    pub(super) repairs: Vec<String>,
}

/// The blocks as a source of sound.
pub(super) struct Blocks {
    input: Input,
    layout: Layout,
    tracks: Vec<Track>,
    span: usize,
    /// Bytes into the span.
    at: u64,
    /// Samples that were not numbers.
    strange: u64,
    stray: u64,
}

impl Blocks {
    pub(super) fn open(input: Input, layout: Layout) -> Result<Box<dyn Source>, Error> {
        let channels = layout.places.len();
        let container = layout.container.clone();
        if channels == 0 || channels > MOST_CHANNELS {
            let found = u32::try_from(channels).unwrap_or(u32::MAX);
            return Err(Error::Channels { path: input.path(), container, found, most: MOST_CHANNELS });
        }
        if !RATES_HZ.contains(&layout.rate_hz) {
            return Err(Error::Rate { path: input.path(), container, found: layout.rate_hz });
        }
        if layout.block == 0 || layout.block > MOST_BLOCK || layout.frames_per_block() == 0 {
            let what = format!("blocks of {} bytes hold no sound in this code", layout.block);
            return Err(Error::Damaged { path: input.path(), container, what });
        }
        let total: u64 = layout.spans.iter().map(|(_, len)| len).sum();
        if total < layout.block as u64 && !matches!(layout.code, Code::Adpcm(_)) || total == 0 {
            let why = if total == 0 {
                "only a header, no samples follow it".into()
            } else {
                format!("{} only, which is less than one sample", counted(total, "byte"))
            };
            return Err(Error::NoSamples { path: input.path(), container, why });
        }
        let codec = match &layout.code {
            Code::Pcm(format) => format.name(),
            Code::Adpcm(code) => code.name().into(),
        };
        let tracks = vec![Track {
            codec,
            readable: true,
            name: None,
            rate_hz: Some(layout.rate_hz),
            places: layout.places.clone(),
            declared_s: layout.declared.map(|bytes| {
                let blocks = bytes.div_ceil(layout.block as u64);
                seconds(blocks.saturating_mul(layout.frames_per_block()), layout.rate_hz)
            }),
        }];
        Ok(Box::new(Self { input, layout, tracks, span: 0, at: 0, strange: 0, stray: 0 }))
    }
}

impl Layout {
    fn frames_per_block(&self) -> u64 {
        match &self.code {
            Code::Pcm(_) => 1,
            Code::Adpcm(code) => code.frames(self.block, self.places.len()) as u64,
        }
    }
}

impl Source for Blocks {
    fn container(&self) -> &str {
        &self.layout.container
    }

    fn tracks(&self) -> &[Track] {
        &self.tracks
    }

    fn next(&mut self, _only: Option<usize>, piece: &mut Piece) -> Result<bool, Error> {
        let block = self.layout.block;
        let channels = self.layout.places.len();
        loop {
            let Some(&(start, len)) = self.layout.spans.get(self.span) else { return Ok(false) };
            let left = usize::try_from(len - self.at).unwrap_or(usize::MAX);
            let want = (PIECE / block).max(1) * block;
            let bytes = self.input.bytes(start + self.at, want.min(left))?;
            piece.track = 0;
            piece.rate_hz = self.layout.rate_hz;
            piece.at_s = None;
            piece.clear(channels);
            match &self.layout.code {
                Code::Pcm(format) => self.strange += format.decode(bytes, &mut piece.planes) as u64,
                Code::Adpcm(code) => bytes.chunks(block).for_each(|b| code.decode(b, &mut piece.planes)),
            }
            self.at += bytes.len() as u64;
            if bytes.len() < want || self.at >= len {
                if matches!(self.layout.code, Code::Pcm(_)) {
                    self.stray += (bytes.len() % block) as u64;
                }
                self.span += 1;
                self.at = 0;
            }
            if piece.frames() > 0 {
                return Ok(true);
            }
        }
    }

    fn skip(&mut self, _track: usize, to_s: f64) -> Result<Option<f64>, Error> {
        let per_block = self.layout.frames_per_block();
        let block = self.layout.block as u64;
        // Not behind it, however times are rounded.
        let target = frames(to_s, self.layout.rate_hz).saturating_sub(1) / per_block;
        let mut blocks = target;
        self.span = 0;
        self.at = 0;
        while let Some(&(_, len)) = self.layout.spans.get(self.span) {
            let here = len / block;
            if blocks <= here {
                self.at = blocks * block;
                return Ok(Some(seconds(target * per_block, self.layout.rate_hz)));
            }
            blocks -= here;
            self.span += 1;
        }
        // Beyond the end: nothing is left.
        Ok(Some(seconds((target - blocks) * per_block, self.layout.rate_hz)))
    }

    fn repairs(&self) -> Vec<String> {
        let mut all = self.layout.repairs.clone();
        if self.stray > 0 {
            all.push(format!("left out: {} of an unfinished sample", counted(self.stray, "byte")));
        }
        if self.strange > 0 {
            all.push(format!(
                "taken as silence: {} whose value is no number",
                counted(self.strange, "sample")
            ));
        }
        all
    }
}
