//! WAV in all its kinds (RIFF, RIFX, RF64, BW64, W64) → where the samples lie and how they are written.
//!
//! The header is believed only where it agrees with the file; what was wrong is told. Sizes are never trusted for
//! memory. A file without a single sample, without channels or without a rate is an error, never an empty success.

use super::{
    error::Error,
    input::Input,
    source::Source,
    wav_format::{Header, Spans},
};

/// A recorder that streams writes the largest number it has, or nearly, because it does not know the size yet.
const PLACEHOLDER: u64 = 0x7fff_0000;
/// Chunks that are looked at; more are not real.
const MOST_CHUNKS: usize = 4096;
/// How far a lost chunk is searched for, in bytes.
const SEARCH: usize = 1 << 16;

/// What kind of RIFF.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// `RIFF`, `RF64`, `BW64`: little-endian.
    Riff,
    /// `RIFX`: big-endian.
    Rifx,
    /// W64: 16-byte names, 64-bit sizes that count the chunk's head.
    W64,
}

/// Opens the WAV file that starts at `start`.
pub(super) fn open(
    mut input: Input,
    start: u64,
    kind: Kind,
    repairs: Vec<String>,
) -> Result<Box<dyn Source>, Error> {
    let mut walk =
        Walk { kind, data: Vec::new(), beyond: None, format: None, declared: None, sizes64: None, repairs };
    walk.run(&mut input, start)?;
    let container = match kind {
        Kind::Riff if walk.sizes64.is_some() => "WAV (64 bit)",
        Kind::Riff => "WAV",
        Kind::Rifx => "WAV (big-endian)",
        Kind::W64 => "WAV (W64)",
    };
    let damaged = |input: &Input, what: &str| Error::Damaged {
        path: input.path(),
        container: container.into(),
        what: what.into(),
    };
    let Some(format) = walk.format else {
        return Err(damaged(
            &input,
            "its header ends before it says how the samples are written (no `fmt ` chunk)",
        ));
    };
    let Some(header) = Header::read(&format, kind == Kind::Rifx) else {
        return Err(damaged(&input, "its header breaks off inside the `fmt ` chunk"));
    };
    if walk.data.is_empty() {
        let why = "only a header, no samples follow it".into();
        return Err(Error::NoSamples { path: input.path(), container: container.into(), why });
    }
    let Walk { data, beyond, declared, repairs, .. } = walk;
    header.open(input, container, Spans { data, beyond, declared, repairs })
}

/// Where there is another `fmt ` chunk that says something else.
const SECOND_FORMAT: &str = "the header contradicts itself: a second `fmt ` chunk says something else; the first was taken, so check one time in the log";

/// The way through the chunks.
struct Walk {
    kind: Kind,
    /// Where samples lie.
    data: Vec<(u64, u64)>,
    /// What follows the last sample without a heading: perhaps more sound.
    beyond: Option<(u64, u64)>,
    /// The first `fmt ` chunk.
    format: Option<Vec<u8>>,
    declared: Option<u64>,
    /// From `ds64`: of the `data` chunk.
    sizes64: Option<u64>,
    repairs: Vec<String>,
}

struct Chunk {
    name: [u8; 4],
    /// Of what follows the head, as written.
    size: u64,
    /// Where it starts, behind the head.
    body: u64,
}

impl Walk {
    fn run(&mut self, input: &mut Input, start: u64) -> Result<(), Error> {
        let end = input.len();
        let mut at = start + if self.kind == Kind::W64 { 40 } else { 12 };
        for _ in 0..MOST_CHUNKS {
            let Some(chunk) = self.chunk(input, at)? else { break };
            let left = end - chunk.body;
            if &chunk.name == b"data" {
                at = self.take_data(input, &chunk)?;
                continue;
            }
            if &chunk.name == b"fmt " {
                let size = usize::try_from(chunk.size.min(left)).unwrap_or(0).min(1024);
                let format = input.bytes(chunk.body, size)?;
                match &self.format {
                    None => self.format = Some(format.to_vec()),
                    Some(first) if first != format && !self.repairs.iter().any(|r| r == SECOND_FORMAT) => {
                        self.repairs.push(SECOND_FORMAT.to_owned());
                    }
                    Some(_) => {}
                }
            }
            if &chunk.name == b"ds64"
                && let Some(size) = input.array::<8>(chunk.body + 8)?
            {
                self.sizes64 = Some(u64::from_le_bytes(size));
            }
            if &chunk.name == b"wavl" || &chunk.name == b"LIST" && input.bytes(chunk.body, 4)? == b"wavl" {
                // A list of data chunks: walk into it.
                at = chunk.body + 4;
                continue;
            }
            match self.after(input, &chunk)? {
                Some(next) => at = next,
                None => break,
            }
        }
        self.riff_size(input, start)
    }

    /// Tells of a first size that leaves sound out or goes beyond the file, where nothing else was told.
    fn riff_size(&mut self, input: &mut Input, start: u64) -> Result<(), Error> {
        let Some(&(last, len)) = self.data.last() else { return Ok(()) };
        let there = input.len() - start;
        let told = match (self.kind, input.array::<4>(start + 4)?) {
            (Kind::Riff, Some(size)) => u64::from(u32::from_le_bytes(size)) + 8,
            (Kind::Rifx, Some(size)) => u64::from(u32::from_be_bytes(size)) + 8,
            _ => return Ok(()),
        };
        // A size of 0 was never filled in, and nothing depends on it.
        let fits = told == 8 || told >= last + len - start && told <= there + 1;
        if !fits && self.repairs.is_empty() && self.sizes64.is_none() {
            self.repairs
                .push(format!("header repaired: its first size says {told} bytes, the file has {there}"));
        }
        Ok(())
    }

    /// The chunk head at a place.
    fn chunk(&self, input: &mut Input, at: u64) -> Result<Option<Chunk>, Error> {
        if self.kind == Kind::W64 {
            let (Some(name), Some(size)) = (input.array::<4>(at)?, input.array::<8>(at + 16)?) else {
                return Ok(None);
            };
            let size = u64::from_le_bytes(size).saturating_sub(24);
            return Ok(Some(Chunk { name, size, body: at + 24 }));
        }
        let Some([a, b, c, d, size @ ..]) = input.array::<8>(at)? else { return Ok(None) };
        let size = if self.kind == Kind::Rifx { u32::from_be_bytes(size) } else { u32::from_le_bytes(size) };
        Ok(Some(Chunk { name: [a, b, c, d], size: size.into(), body: at + 8 }))
    }

    /// Whether a chunk could start there: a name of letters and a size that fits, or a name that is known.
    fn plausible(&self, input: &mut Input, at: u64) -> Result<bool, Error> {
        let end = input.len();
        Ok(self.chunk(input, at)?.is_some_and(|chunk| {
            let known = matches!(
                &chunk.name,
                b"fmt "
                    | b"data"
                    | b"LIST"
                    | b"fact"
                    | b"JUNK"
                    | b"junk"
                    | b"bext"
                    | b"id3 "
                    | b"ID3 "
                    | b"cue "
                    | b"PEAK"
                    | b"FLLR"
                    | b"PAD "
                    | b"iXML"
                    | b"ds64"
                    | b"smpl"
                    | b"inst"
                    | b"axml"
                    | b"chna"
                    | b"_PMX"
                    | b"DISP"
                    | b"umid"
                    | b"minf"
                    | b"elm1"
                    | b"regn"
                    | b"levl"
                    | b"slnt"
                    | b"wavl"
            );
            let letters = chunk.name.iter().all(|c| c.is_ascii_alphanumeric() || *c == b' ' || *c == b'_');
            known || letters && chunk.name != *b"    " && chunk.size <= end - chunk.body
        }))
    }

    /// Where the chunk after this one starts: with the pad byte that belongs there, without it, or found again.
    fn after(&mut self, input: &mut Input, chunk: &Chunk) -> Result<Option<u64>, Error> {
        let end = input.len();
        let name = String::from_utf8_lossy(&chunk.name).into_owned();
        let next = chunk.body.saturating_add(chunk.size);
        let padded = match self.kind {
            Kind::W64 => next.saturating_add(7) / 8 * 8,
            _ => next.saturating_add(chunk.size & 1),
        };
        if padded >= end && next >= end && (self.format.is_some() && !self.data.is_empty() || next == end) {
            return Ok(None);
        }
        if padded < end && self.plausible(input, padded)? {
            return Ok(Some(padded));
        }
        if next != padded && self.plausible(input, next)? {
            self.repairs.push(format!(
                "header repaired: the `{name}` chunk has an odd size and the filling byte behind it is missing"
            ));
            return Ok(Some(next));
        }
        if self.format.is_some() && !self.data.is_empty() {
            return Ok(None);
        }
        // The size is wrong. What is still missing is searched for from the chunk's head on.
        let bytes = input.bytes(chunk.body, SEARCH)?;
        let found = bytes.windows(4).position(|w| w == b"data" || w == b"fmt " && self.format.is_none());
        if let Some(found) = found {
            self.repairs.push(format!(
                "header repaired: the `{name}` chunk claims {} bytes, but the next chunk starts after {found}",
                chunk.size
            ));
        }
        Ok(found.map(|found| chunk.body + found as u64))
    }

    /// Takes a data chunk, as long as it really is, and says where to go on.
    fn take_data(&mut self, input: &mut Input, chunk: &Chunk) -> Result<u64, Error> {
        let end = input.len();
        let left = end - chunk.body;
        let mut size = chunk.size;
        if size == 0xffff_ffff
            && let Some(large) = self.sizes64
        {
            size = large;
        }
        if size == 0 && left > 0 && !self.chain_to_end(input, chunk.body)? {
            self.repairs.push(format!(
                "header repaired: the recorder left the size of the sound at 0; {left} bytes up to the end of the file were taken"
            ));
            self.data.push((chunk.body, left));
            return Ok(end);
        }
        if size > left {
            if size >= PLACEHOLDER && left < PLACEHOLDER {
                self.repairs.push(format!(
                    "header repaired: the size of the sound was never filled in ({size:#x}); {left} bytes up to the end of the file were taken"
                ));
            } else {
                self.declared = Some(self.declared.unwrap_or(0).saturating_add(size));
                self.repairs.push(format!(
                    "header repaired: of the {size} bytes of sound that the header promises only {left} are there"
                ));
            }
            if left > 0 {
                self.data.push((chunk.body, left));
            }
            return Ok(end);
        }
        let next = chunk.body + size;
        let rest = end - next;
        let padded = next + (size & 1);
        // A recorder that died, or a size beyond 32 bits: the sound goes on behind its declared end.
        let goes_on = size > 0
            && rest > 1024
            && !self.plausible(input, padded)?
            && !self.plausible(input, next)?
            && !is_tail(input, next)?;
        if goes_on {
            self.beyond = Some((next, rest));
        }
        if size > 0 {
            if self.data.len() == 1 {
                self.repairs
                    .push("the sound lies in several data chunks; they were joined in their order".into());
            }
            self.data.push((chunk.body, size));
            self.declared = Some(self.declared.unwrap_or(0).saturating_add(size));
        }
        if goes_on {
            return Ok(end);
        }
        if size & 1 == 1
            && self.kind != Kind::W64
            && !self.plausible(input, padded)?
            && self.plausible(input, next)?
        {
            return Ok(next);
        }
        Ok(if self.kind == Kind::W64 { next.saturating_add(7) / 8 * 8 } else { padded })
    }

    /// Whether whole, named chunks lie from here to the end: then an empty data chunk really is empty.
    fn chain_to_end(&self, input: &mut Input, mut at: u64) -> Result<bool, Error> {
        for _ in 0..64 {
            if at >= input.len() {
                return Ok(true);
            }
            if !self.plausible(input, at)? {
                return Ok(false);
            }
            let Some(chunk) = self.chunk(input, at)? else { return Ok(false) };
            at = chunk.body.saturating_add(chunk.size).saturating_add(chunk.size & 1);
        }
        Ok(false)
    }
}

/// What other programs hang behind a file: tags, or an empty rest. Sound that begins with silence is no empty rest.
fn is_tail(input: &mut Input, from: u64) -> Result<bool, Error> {
    let bytes = input.bytes(from, 16)?;
    if bytes.starts_with(b"TAG") || bytes.starts_with(b"ID3") || bytes.starts_with(b"APETAGEX") {
        return Ok(true);
    }
    let mut at = from;
    loop {
        let bytes = input.bytes(at, 1 << 16)?;
        if bytes.is_empty() {
            return Ok(true);
        }
        if bytes.iter().any(|b| *b != 0) {
            return Ok(false);
        }
        at += bytes.len() as u64;
    }
}
