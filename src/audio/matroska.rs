//! Matroska and `WebM` → pieces.
//!
//! A reader of its own because symphonia's refuses a file that was cut anywhere, and gives up at the first damage. This
//! one walks element by element, needs no index, and finds the next cluster behind damage.

use std::collections::VecDeque;

use super::{
    codec::Codec,
    error::Error,
    input::Input,
    matroska_track::{Entry, Stripped},
    source::{Piece, Source, Track, counted, frames},
};

const CONTAINER: &str = "Matroska or WebM";
/// A header element larger than this is damaged (pictures are attached as large elements, but not read).
const MOST_HEADER: u64 = 16 << 20;
/// A block of sound larger than this is damaged.
const MOST_BLOCK: u64 = 4 << 20;
/// Elements before the first cluster.
const MOST_HEADERS: usize = 4096;
/// How much is searched at once for the next cluster, in bytes.
const STEP: usize = 1 << 16;
/// How much of damage is searched block by block, in bytes; behind that only for the next cluster.
const NEAR: u64 = 4 << 20;
/// Sound found behind damage may be so much later than the damage is long, in seconds.
const LATER_S: f64 = 5.0;
/// After a jump so much is decoded before the wanted time, because frames lean on those before them, in seconds.
const RUN_UP_S: f64 = 0.5;

/// Element names (P: RFC 9559).
mod id {
    pub(super) const SEGMENT: u32 = 0x1853_8067;
    pub(super) const INFO: u32 = 0x1549_a966;
    pub(super) const TRACKS: u32 = 0x1654_ae6b;
    pub(super) const CLUSTER: u32 = 0x1f43_b675;
    pub(super) const TIMESTAMP: u32 = 0xe7;
    pub(super) const SIMPLE_BLOCK: u32 = 0xa3;
    pub(super) const BLOCK_GROUP: u32 = 0xa0;
    pub(super) const BLOCK: u32 = 0xa1;
    pub(super) const TRACK_ENTRY: u32 = 0xae;
    pub(super) const TIMESTAMP_SCALE: u32 = 0x2a_d7b1;
    pub(super) const DURATION: u32 = 0x4489;
    pub(super) const DATE: u32 = 0x4461;
    /// The document's head, and elements that are passed over on the way: `SeekHead`, `Cues`, `Chapters`, `Tags`,
    /// `Attachments`, `Void`, `CRC-32`; of clusters and block groups.
    pub(super) const PASSED: [u32; 23] = [
        0x1a45_dfa3,
        0x114d_9b74,
        0x1c53_bb6b,
        0x1043_a770,
        0x1254_c367,
        0x1941_a469,
        0xec,
        0xbf,
        0xab,
        0xa7,
        0x5854,
        0xaf,
        0x9b,
        0xfb,
        0xfd,
        0xfa,
        0xa4,
        0x75a2,
        0x75a1,
        0x8e,
        0xf7,
        0xc8,
        0xa6,
    ];
}

/// An element's name, size (absent: unknown), and where its body starts.
#[derive(Debug, Clone, Copy)]
struct Element {
    id: u32,
    size: Option<u64>,
    body: u64,
}

/// A number of variable length: its value, its length, whether all its bits are set.
pub(super) fn vint(bytes: &[u8]) -> Option<(u64, usize, bool)> {
    let first = *bytes.first()?;
    let zeros = first.leading_zeros();
    let len = zeros as usize + 1;
    let rest = bytes.get(1..len)?;
    let mask = u8::MAX.checked_shr(zeros + 1).unwrap_or(0);
    let value = rest.iter().fold(u64::from(first & mask), |sum, byte| sum << 8 | u64::from(*byte));
    (len <= 8).then_some((value, len, value == (1 << (7 * len)) - 1))
}

/// The elements in a slice: name and body.
pub(super) fn elements(bytes: &[u8]) -> impl Iterator<Item = (u32, &[u8])> {
    let mut rest = bytes;
    std::iter::from_fn(move || {
        let (id, head) = name(rest)?;
        let (size, len, _) = vint(rest.get(head..)?)?;
        let body = rest.get(head + len..)?;
        let size = usize::try_from(size).unwrap_or(usize::MAX).min(body.len());
        let (body, after) = body.split_at(size);
        rest = after;
        Some((id, body))
    })
}

/// An element's name and its length.
fn name(bytes: &[u8]) -> Option<(u32, usize)> {
    let len = bytes.first()?.leading_zeros() as usize + 1;
    let name = bytes.get(..len).filter(|_| len <= 4)?;
    Some((name.iter().fold(0, |sum, byte| sum << 8 | u32::from(*byte)), len))
}

/// A whole number of up to eight bytes.
pub(super) fn whole(bytes: &[u8]) -> u64 {
    bytes.iter().take(8).fold(0, |sum, byte| sum << 8 | u64::from(*byte))
}

/// A float of four or eight bytes.
pub(super) fn float(bytes: &[u8]) -> Option<f64> {
    match bytes.len() {
        4 => bytes.first_chunk::<4>().map(|b| f32::from_be_bytes(*b).into()),
        8 => bytes.first_chunk::<8>().map(|b| f64::from_be_bytes(*b)),
        _ => None,
    }
}

struct Matroska {
    input: Input,
    tracks: Vec<Track>,
    inner: Vec<Inner>,
    at: u64,
    /// Nanoseconds of one tick.
    scale: u64,
    cluster_ticks: u64,
    /// Numbers of all tracks, pictures too.
    numbers: Vec<u64>,
    /// When the last block of sound started, and where it lay.
    last: (f64, u64),
    /// Packets of the block in hand: track, bytes, and when, for the first of a block.
    waiting: VecDeque<(usize, Vec<u8>, Option<f64>)>,
    repairs: Vec<String>,
    started: Option<String>,
    undecoded: u64,
    damage: u64,
    cut: bool,
}

struct Inner {
    number: u64,
    codec: Option<Codec>,
    delay_s: f64,
    stripped: Stripped,
}

/// Opens the Matroska file that starts at `start`.
pub(super) fn open(mut input: Input, start: u64, mut repairs: Vec<String>) -> Result<Box<dyn Source>, Error> {
    let (mut info, mut entries, mut at) = (None, None, start);
    for _ in 0..MOST_HEADERS {
        let Some(element) = element(&mut input, at)? else { break };
        let body = element.body;
        match element.id {
            id::SEGMENT => {
                at = body;
                continue;
            }
            id::CLUSTER => break,
            id::INFO | id::TRACKS => {
                let size = element.size.unwrap_or(0).min(MOST_HEADER);
                let bytes = input.bytes(body, usize::try_from(size).unwrap_or(0))?.to_vec();
                *(if element.id == id::INFO { &mut info } else { &mut entries }) = Some(bytes);
            }
            _ => {}
        }
        let Some(size) = element.size else { break };
        let left = input.len().saturating_sub(body);
        if element.id == id::TRACKS && size > left {
            // It claims more than there is: a lie where sound follows, else the file was cut here.
            let Some(cluster) = next_cluster(&mut input, body)? else {
                let what = "the file ends inside its list of tracks".into();
                return Err(Error::CutOff { path: input.path(), container: CONTAINER.into(), what });
            };
            repairs.push(format!(
                "header repaired: the list of tracks claims {size} bytes, {left} are left; it ends where the sound begins"
            ));
            entries = Some(input.bytes(body, usize::try_from(cluster - body).unwrap_or(0))?.to_vec());
            at = cluster;
            break;
        }
        at = body.saturating_add(size);
    }
    let Some(entries) = entries else {
        let what = "its list of tracks is missing".into();
        return Err(Error::CutOff { path: input.path(), container: CONTAINER.into(), what });
    };
    let info = info.unwrap_or_default();
    let about = |id: u32| elements(&info).find(|(is, _)| *is == id).map(|(_, body)| body);
    let scale = about(id::TIMESTAMP_SCALE).map_or(1_000_000, whole).clamp(1, 1_000_000_000);
    #[expect(clippy::cast_precision_loss, reason = "a length in seconds")]
    let declared_s = about(id::DURATION)
        .and_then(float)
        .map(|ticks| ticks * scale as f64 / 1e9)
        .filter(|s| s.is_finite() && *s > 0.0);
    let mut matroska = Matroska {
        input,
        tracks: Vec::new(),
        inner: Vec::new(),
        at,
        scale,
        cluster_ticks: 0,
        numbers: Vec::new(),
        last: (0.0, at),
        waiting: VecDeque::new(),
        repairs,
        started: about(id::DATE).and_then(created),
        undecoded: 0,
        damage: 0,
        cut: false,
    };
    for (_, entry) in elements(&entries).filter(|(id, _)| *id == id::TRACK_ENTRY).take(256) {
        // TrackNumber.
        matroska.numbers.extend(elements(entry).filter(|(id, _)| *id == 0xd7).map(|(_, body)| whole(body)));
        let Some(entry) = Entry::read(entry) else { continue };
        matroska.tracks.push(Track { declared_s, ..entry.track });
        matroska.inner.push(Inner {
            number: entry.number,
            codec: entry.codec,
            delay_s: entry.delay_s,
            stripped: entry.stripped,
        });
    }
    if matroska.tracks.is_empty() {
        return Err(Error::NoSoundTrack { path: matroska.input.path(), container: CONTAINER.into() });
    }
    Ok(Box::new(matroska))
}

/// Where the first cluster starts, within what a header may take.
fn next_cluster(input: &mut Input, from: u64) -> Result<Option<u64>, Error> {
    let bytes = input.bytes(from, usize::try_from(MOST_HEADER).unwrap_or(STEP))?;
    let found = bytes.windows(4).position(|w| w == id::CLUSTER.to_be_bytes());
    Ok(found.map(|n| from + n as u64))
}

/// Nanoseconds since 2001 as RFC 3339.
fn created(bytes: &[u8]) -> Option<String> {
    let since = i64::from_be_bytes(*bytes.first_chunk::<8>()?);
    let unix = since / 1_000_000_000 + 978_307_200;
    (since > 0).then(|| jiff::Timestamp::from_second(unix).ok()).flatten().map(|t| t.to_string())
}

/// The element at a place, if it can be one.
fn element(input: &mut Input, at: u64) -> Result<Option<Element>, Error> {
    let bytes = input.bytes(at, 12)?;
    let Some((id, head)) = name(bytes) else { return Ok(None) };
    let Some((size, len, unknown)) = bytes.get(head..).and_then(vint) else { return Ok(None) };
    Ok(Some(Element { id, size: (!unknown).then_some(size), body: at + (head + len) as u64 }))
}

impl Matroska {
    /// Reads on to the next block of a wanted track; false at the end.
    fn block(&mut self, only: Option<usize>) -> Result<bool, Error> {
        loop {
            if self.at >= self.input.len() {
                return Ok(false);
            }
            let Some(element) = element(&mut self.input, self.at)? else {
                self.resync()?;
                continue;
            };
            let left = self.input.len().saturating_sub(element.body);
            let size = element.size.unwrap_or(0);
            match element.id {
                id::SEGMENT | id::CLUSTER | id::BLOCK_GROUP => self.at = element.body,
                id::TIMESTAMP if size <= 8 => {
                    self.cluster_ticks =
                        whole(self.input.bytes(element.body, usize::try_from(size).unwrap_or(0))?);
                    self.at = element.body + size;
                }
                id::SIMPLE_BLOCK | id::BLOCK if size <= left => {
                    self.at = element.body + size;
                    if self.packets(element.body, size, only)? {
                        return Ok(true);
                    }
                }
                id::SIMPLE_BLOCK | id::BLOCK => {
                    // The last block of a file that was cut, or damage.
                    self.cut = true;
                    self.resync()?;
                }
                id::INFO | id::TRACKS => self.at = element.body.saturating_add(size),
                other if id::PASSED.contains(&other) && element.size.is_some() && size <= left => {
                    self.at = element.body + size;
                }
                _ => self.resync()?,
            }
        }
    }

    /// Goes on to the next cluster, or to the next block that belongs here.
    fn resync(&mut self) -> Result<(), Error> {
        let from = self.at;
        let mark = id::CLUSTER.to_be_bytes();
        self.at += 1;
        while self.at < self.input.len() {
            let bytes = self.input.bytes(self.at, STEP)?;
            let size = bytes.len();
            let cluster = bytes.windows(4).position(|w| w == mark);
            // Only where a block can be: its name is one byte.
            let near = self.at - from < NEAR;
            let until = cluster.unwrap_or(size);
            let blocks: Vec<usize> = bytes
                .iter()
                .take(until)
                .enumerate()
                .filter(|(_, byte)| near && (**byte == 0xa3 || **byte == 0xa0))
                .map(|(n, _)| n)
                .collect();
            for n in blocks {
                if self.belongs(self.at + n as u64)? {
                    self.at += n as u64;
                    self.damage += self.at - from;
                    return Ok(());
                }
            }
            match cluster {
                Some(found) => {
                    self.at += found as u64;
                    self.damage += self.at - from;
                    return Ok(());
                }
                None if size < STEP => break,
                None => self.at += (STEP - 3) as u64,
            }
        }
        // Nothing follows: that is the end, not damage inside.
        self.at = self.input.len();
        Ok(())
    }

    /// Whether a block of this cluster starts there: of a known track, at a time that fits, and followed by another
    /// element.
    fn belongs(&mut self, at: u64) -> Result<bool, Error> {
        let Some(outer) = element(&mut self.input, at)? else { return Ok(false) };
        let block = match outer.id {
            id::BLOCK_GROUP => element(&mut self.input, outer.body)?.filter(|inner| inner.id == id::BLOCK),
            _ => Some(outer),
        };
        let (Some(block), Some(size)) = (block, outer.size) else { return Ok(false) };
        let next = outer.body.saturating_add(size);
        if size < 5 || next > self.input.len() {
            return Ok(false);
        }
        let head = self.input.bytes(block.body, 12)?;
        let Some((number, len, _)) = vint(head) else { return Ok(false) };
        let Some(&ticks) = head.get(len..).and_then(|b| b.first_chunk::<2>()) else { return Ok(false) };
        let at_s = self.at_s(i16::from_be_bytes(ticks));
        let (last_s, last_at) = self.last;
        // A cluster may have started inside the damage; then times would be too early.
        #[expect(clippy::cast_precision_loss, reason = "a count of bytes")]
        let later_s = (at - last_at) as f64 / 500.0 + LATER_S;
        if !self.numbers.contains(&number) || at_s < last_s || at_s > last_s + later_s {
            return Ok(false);
        }
        Ok(next == self.input.len()
            || element(&mut self.input, next)?.is_some_and(|e| {
                matches!(e.id, id::SIMPLE_BLOCK | id::BLOCK_GROUP | id::CLUSTER | id::TIMESTAMP)
                    || id::PASSED.contains(&e.id)
            }))
    }

    /// A block's time in seconds, by its ticks after the cluster's.
    #[expect(clippy::cast_precision_loss, reason = "a time in seconds")]
    fn at_s(&self, ticks: i16) -> f64 {
        (i128::from(self.cluster_ticks) + i128::from(ticks)) as f64 * self.scale as f64 / 1e9
    }

    /// Takes the packets of a block, if it is of a wanted track.
    fn packets(&mut self, at: u64, size: u64, only: Option<usize>) -> Result<bool, Error> {
        let head = self.input.bytes(at, 12)?;
        let Some((number, len, _)) = vint(head) else { return Ok(false) };
        let Some(&[high, low, flags]) = head.get(len..).and_then(|b| b.first_chunk::<3>()) else {
            return Ok(false);
        };
        let Some(index) = self.inner.iter().position(|t| t.number == number) else { return Ok(false) };
        let readable = self.inner.get(index).is_some_and(|t| t.codec.is_some());
        if only.is_some_and(|only| only != index) || !readable || size > MOST_BLOCK {
            return Ok(false);
        }
        let size = usize::try_from(size).unwrap_or(0);
        let body = self.input.bytes(at, size)?.get(len + 3..).unwrap_or_default().to_vec();
        let at_s = self.at_s(i16::from_be_bytes([high, low]));
        self.last = (at_s, at);
        let Some(inner) = self.inner.get(index) else { return Ok(false) };
        let mut at_s = Some(at_s - inner.delay_s);
        let Some(frames) = unlace(&body, flags >> 1 & 3) else {
            self.undecoded += 1;
            return Ok(false);
        };
        for frame in frames {
            self.waiting.push_back((index, inner.stripped.whole(frame), at_s.take()));
        }
        Ok(!self.waiting.is_empty())
    }
}

/// The frames in a block: one, or several laced together (RFC 9559, section 10.3).
fn unlace(body: &[u8], lacing: u8) -> Option<Vec<&[u8]>> {
    if lacing == 0 {
        return Some(vec![body]);
    }
    let (&count, mut rest) = body.split_first()?;
    let count = usize::from(count) + 1;
    let mut sizes: Vec<usize> = Vec::with_capacity(count);
    match lacing {
        // Xiph: bytes are summed up to one that is not 255.
        1 => {
            for _ in 1..count {
                let mut size = 0;
                loop {
                    let (&byte, after) = rest.split_first()?;
                    rest = after;
                    size += usize::from(byte);
                    if byte != 255 {
                        break;
                    }
                }
                sizes.push(size);
            }
        }
        // EBML: the first size, then differences.
        3 => {
            let mut size: i64 = 0;
            for n in 1..count {
                let (value, len, _) = vint(rest)?;
                rest = rest.get(len..)?;
                let value = i64::try_from(value).ok()?;
                let middle = (1_i64 << (7 * len - 1)) - 1;
                size = if n == 1 { value } else { size.checked_add(value - middle)? };
                sizes.push(usize::try_from(size).ok()?);
            }
        }
        _ => sizes = vec![rest.len() / count; count - 1],
    }
    let mut frames = Vec::with_capacity(count);
    for size in sizes {
        let (frame, after) = rest.split_at_checked(size)?;
        frames.push(frame);
        rest = after;
    }
    frames.push(rest);
    Some(frames)
}

impl Source for Matroska {
    fn container(&self) -> &str {
        CONTAINER
    }

    fn tracks(&self) -> &[Track] {
        &self.tracks
    }

    fn next(&mut self, only: Option<usize>, piece: &mut Piece) -> Result<bool, Error> {
        loop {
            while let Some((index, packet, at_s)) = self.waiting.pop_front() {
                let Some(codec) = self.inner.get_mut(index).and_then(|t| t.codec.as_mut()) else { continue };
                if !codec.decode(&packet, piece) {
                    self.undecoded += 1;
                    continue;
                }
                piece.track = index;
                piece.at_s = at_s.map(|at_s| at_s.max(0.0));
                // The run-up of AAC; Opus takes its own off.
                if let (Some(early_s), false) =
                    (at_s.filter(|at_s| *at_s < 0.0), matches!(codec, Codec::Opus(_)))
                {
                    let early = frames(-early_s, piece.rate_hz);
                    piece.trim_start(usize::try_from(early).unwrap_or(usize::MAX));
                }
                if piece.frames() > 0 {
                    return Ok(true);
                }
            }
            if !self.block(only)? {
                return Ok(false);
            }
        }
    }

    fn skip(&mut self, track: usize, to_s: f64) -> Result<Option<f64>, Error> {
        self.waiting.clear();
        while self.block(Some(track))? {
            let at_s = self.waiting.front().and_then(|(_, _, at_s)| *at_s);
            if let Some(at_s) = at_s.filter(|at_s| *at_s >= to_s - RUN_UP_S) {
                if let Some(codec) = self.inner.get_mut(track).and_then(|t| t.codec.as_mut()) {
                    codec.reset();
                }
                return Ok(Some(at_s));
            }
            self.waiting.clear();
        }
        Ok(None)
    }

    fn repairs(&self) -> Vec<String> {
        let mut all = self.repairs.clone();
        if self.damage > 0 {
            all.push(format!("damage inside: {} could not be read", counted(self.damage, "byte")));
        }
        if self.undecoded > 0 {
            all.push(format!(
                "no sound could be decoded from {}; silence stands there",
                counted(self.undecoded, "packet")
            ));
        }
        if self.cut {
            all.push("the file ends, or is damaged, inside a block of sound; the rest was taken".into());
        }
        all
    }

    fn started(&self) -> Option<String> {
        self.started.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(body: &[u8], lacing: u8, expect: &[&[u8]]) {
        assert_eq!(unlace(body, lacing).unwrap_or_default(), expect, "{body:02x?}");
    }

    #[test]
    fn laces() {
        check(b"abc", 0, &[b"abc"]);
        check(b"\x01\x01abc", 1, &[b"a", b"bc"]);
        check(b"\x02abcdef", 2, &[b"ab", b"cd", b"ef"]);
        // EBML: first size 1, then one more (0x40 in seven bits is +1), the rest.
        check(b"\x02\x81\xc0abbccc", 3, &[b"a", b"bb", b"ccc"]);
        check(b"\x01\xffabc", 1, &[]);
    }

    #[test]
    fn numbers() {
        assert_eq!(vint(&[0x81]), Some((1, 1, false)));
        assert_eq!(vint(&[0xff]), Some((127, 1, true)));
        assert_eq!(vint(&[0x40, 0x02]), Some((2, 2, false)));
        assert_eq!(vint(&[0x01, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff]), Some(((1 << 56) - 1, 8, true)));
        assert_eq!(vint(&[0x00, 1, 2, 3, 4, 5, 6, 7, 8]), None);
        assert_eq!(vint(&[0x40]), None);
    }
}
