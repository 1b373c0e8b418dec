//! MPEG audio (MP1, MP2, MP3) and ADTS (AAC) → pieces. Both are chains of frames without a table: a frame is believed
//! where another follows it. Length headers (Xing, Info, VBRI) are told, never trusted.

use symphonia::core::codecs::audio::{
    AudioCodecParameters,
    well_known::{CODEC_ID_MP1, CODEC_ID_MP2, CODEC_ID_MP3},
};

use super::{
    aac,
    codec::Codec,
    error::Error,
    input::Input,
    mpeg_head::{Head, Kind},
    sniff,
    source::{Piece, Place, Source, Track, counted, seconds},
};

/// How far the first frame is searched for: behind a tag, or in a file cut at the front, in bytes.
const SEARCH: usize = 1 << 16;
/// Frames that must follow each other before a file is believed to be MPEG audio or ADTS.
const CHAIN: usize = 3;
/// How much damage is searched through at once, in bytes.
const STEP: usize = 1 << 14;
/// Enough to know a tag by, in bytes.
const TAG: usize = 32;
/// After a jump so much is decoded before the wanted time, because frames lean on those before them, in seconds.
const RUN_UP_S: f64 = 0.5;
/// Silence for damage is not longer than this, in frames.
const MOST_LOST: u64 = 4096;

/// Where a chain of frames starts in `bytes`, and its first head.
pub(super) fn find(bytes: &[u8], whole: bool) -> Option<(usize, Head)> {
    (0..bytes.len()).find_map(|at| {
        let first = Head::read(bytes.get(at..)?)?;
        let (mut next, mut count) = (at + first.size, 1);
        while count < CHAIN {
            match bytes.get(next..).and_then(Head::read) {
                Some(head) if head.like(&first) => {
                    next += head.size;
                    count += 1;
                }
                // The end of the file may come before the chain is long enough.
                None if whole && count > 1 && next + 4 > bytes.len() => break,
                _ => return None,
            }
        }
        Some((at, first))
    })
}

/// The frames as a source of sound.
struct Frames {
    input: Input,
    container: String,
    tracks: Vec<Track>,
    codec: Codec,
    first: Head,
    current: Head,
    at: u64,
    end: u64,
    /// Frames of run-up that are still to be taken off.
    skip: usize,
    /// Silence for damage, in frames, still to be given.
    lost: u64,
    repairs: Vec<String>,
    damage: u64,
    /// The last frame is not whole.
    cut: bool,
    undecoded: u64,
    seen: u64,
    seen_bytes: u64,
    /// When the next piece starts.
    now_s: f64,
}

/// Opens the frames between two places; gives the input back if there are none.
pub(super) fn open(
    mut input: Input,
    start: u64,
    end: u64,
    container: &str,
    repairs: Vec<String>,
) -> Result<Result<Box<dyn Source>, Input>, Error> {
    let end = end.min(input.len());
    let want = usize::try_from(end.saturating_sub(start)).unwrap_or(usize::MAX).min(SEARCH);
    let bytes = input.bytes(start, want)?;
    let whole = bytes.len() < SEARCH;
    let Some((offset, first)) = find(bytes, whole) else { return Ok(Err(input)) };
    let at = start + offset as u64;
    let container = match (container, first.kind) {
        ("MPEG audio", Kind::Adts(_)) => "ADTS",
        (other, _) => other,
    };
    let (codec, name) = decoder(&first);
    let Some(codec) = codec else {
        return Err(Error::Codec { path: input.path(), container: container.to_owned(), codec: name });
    };
    let mut frames = Frames {
        input,
        container: container.to_owned(),
        tracks: Vec::new(),
        codec,
        first,
        current: first,
        at,
        end,
        skip: first.kind.run_up(),
        lost: 0,
        repairs,
        damage: 0,
        cut: false,
        undecoded: 0,
        seen: 0,
        seen_bytes: 0,
        now_s: 0.0,
    };
    if offset > 0 {
        frames
            .repairs
            .push(format!("left out: {} before the first frame of sound", counted(offset as u64, "byte")));
    }
    let declared_s = frames.length_header()?;
    frames.tracks.push(Track {
        codec: name,
        readable: true,
        name: None,
        rate_hz: Some(first.rate_hz),
        places: Place::usual(first.channels as usize),
        declared_s,
    });
    Ok(Ok(Box::new(frames)))
}

fn decoder(head: &Head) -> (Option<Codec>, String) {
    let id = match head.kind {
        Kind::Layer1 => CODEC_ID_MP1,
        Kind::Layer2 => CODEC_ID_MP2,
        Kind::Layer3 => CODEC_ID_MP3,
        Kind::Adts(profile) => {
            let guess = aac::Config::guess(head.rate_hz, head.channels as usize);
            let config = aac::Config { object: u32::from(profile) + 1, ..guess };
            return (config.decoder(), config.name());
        }
    };
    let mut params = AudioCodecParameters::new();
    params.for_codec(id).with_sample_rate(head.rate_hz);
    (Codec::symphonia(&params), head.kind.name().into())
}

impl Frames {
    /// Reads and passes over a frame that holds no sound but lengths; says what it promises.
    fn length_header(&mut self) -> Result<Option<f64>, Error> {
        if self.first.kind != Kind::Layer3 {
            return Ok(None);
        }
        let frame = self.input.bytes(self.at, self.first.size)?.to_vec();
        let long = |at: usize| {
            frame.get(at..).and_then(|b| b.first_chunk::<4>()).map(|b| u64::from(u32::from_be_bytes(*b)))
        };
        let side = self.first.side;
        let tag = frame.get(side..side + 4).unwrap_or_default();
        let count = if tag == b"Xing" || tag == b"Info" {
            let flags = long(side + 4).unwrap_or(0);
            let mut next = side + 8;
            for bit in [1, 2] {
                next += if flags & bit == 0 { 0 } else { 4 };
            }
            next += if flags & 4 == 0 { 0 } else { 100 };
            next += if flags & 8 == 0 { 0 } else { 4 };
            // The encoder's own field: 12 bits of run-up, 21 bytes behind its name.
            if let Some(&[a, b, _]) = frame.get(next + 21..).and_then(|b| b.first_chunk::<3>()) {
                let delay = usize::from(a) << 4 | usize::from(b) >> 4;
                // The decoder's own run-up is 529 frames more (M: LAME tag, revision 1).
                self.skip = if delay < 4000 { delay + 529 } else { self.skip };
            }
            if flags & 1 == 0 { None } else { long(side + 8) }
        } else if frame.get(36..40) == Some(b"VBRI".as_slice()) {
            long(36 + 14)
        } else {
            return Ok(None);
        };
        self.at += self.first.size as u64;
        if count == Some(0) {
            self.repairs.push("header repaired: the length header says 0 frames; it was not believed".into());
        }
        let count = count.filter(|n| *n > 0 && *n < 1 << 28);
        Ok(count.map(|n| seconds(n * self.first.frames as u64, self.first.rate_hz)))
    }

    /// The next frame's head, over tags and damage; nothing at the end.
    fn seek_frame(&mut self) -> Result<Option<Head>, Error> {
        loop {
            let bytes = self.input.bytes(self.at, TAG)?;
            if bytes.len() < 4 || self.at + 4 > self.end {
                return Ok(None);
            }
            if let Some(size) = tag_size(bytes) {
                self.at += size;
                continue;
            }
            if let Some(head) = Head::read(bytes).filter(|head| head.size > head.packet) {
                let next = self.at + head.size as u64;
                // Whole, and followed by another head, a tag or the end.
                if next > self.end {
                    self.cut = self.seen > 0;
                    return Ok(None);
                }
                let behind = self.input.bytes(next, TAG)?;
                if next == self.end || tag_size(behind).is_some() || Head::read(behind).is_some() {
                    return Ok(Some(head));
                }
                // The last sound frame before damage: kept if it is of the same kind.
                if head.like(&self.current) && head.channels == self.current.channels {
                    return Ok(Some(head));
                }
            }
            let from = self.at;
            self.resync()?;
            let gone = self.at - from;
            if self.at < self.end && self.seen > 0 {
                self.damage += gone;
                // About as many frames as usually have that many bytes.
                let mean = (self.seen_bytes / self.seen).max(1);
                self.lost += ((gone + mean / 2) / mean).min(MOST_LOST) * self.current.frames as u64;
            }
        }
    }

    /// Goes on to the next place where frames follow each other.
    fn resync(&mut self) -> Result<(), Error> {
        self.at += 1;
        while self.at < self.end {
            let left = usize::try_from(self.end - self.at).unwrap_or(usize::MAX);
            // A chain needs room behind the step that is searched.
            let bytes = self.input.bytes(self.at, left.min(STEP * 2))?;
            let whole = bytes.len() == left;
            let step = if whole { bytes.len() } else { STEP };
            if bytes.is_empty() {
                break;
            }
            match find(bytes, whole) {
                Some((offset, _)) if offset < step => {
                    self.at += offset as u64;
                    return Ok(());
                }
                _ => self.at += step as u64,
            }
        }
        self.at = self.end;
        Ok(())
    }

    fn silence(&mut self, piece: &mut Piece) {
        let most = 1 << 14;
        let frames = usize::try_from(self.lost).unwrap_or(most).min(most);
        self.lost -= frames as u64;
        piece.rate_hz = self.current.rate_hz;
        piece.clear(self.current.channels as usize);
        piece.planes.iter_mut().for_each(|plane| plane.resize(frames, 0.0));
        piece.is_filler = true;
    }
}

/// The size of a tag that starts here.
fn tag_size(bytes: &[u8]) -> Option<u64> {
    if bytes.starts_with(b"TAG") {
        return Some(128);
    }
    if bytes.starts_with(b"APETAGEX") {
        let size = bytes.get(12..)?.first_chunk::<4>()?;
        return Some(u64::from(u32::from_le_bytes(*size)) + 32);
    }
    sniff::id3_size(bytes)
}

impl Source for Frames {
    fn container(&self) -> &str {
        &self.container
    }

    fn tracks(&self) -> &[Track] {
        &self.tracks
    }

    fn next(&mut self, _only: Option<usize>, piece: &mut Piece) -> Result<bool, Error> {
        loop {
            piece.track = 0;
            piece.at_s = None;
            if self.lost > 0 {
                self.silence(piece);
                self.now_s += seconds(piece.frames() as u64, piece.rate_hz);
                return Ok(true);
            }
            let Some(head) = self.seek_frame()? else { return Ok(false) };
            if self.lost > 0 {
                continue;
            }
            if !head.like(&self.current) || head.channels != self.current.channels {
                // A file of several joined ones.
                if let (Some(codec), _) = decoder(&head) {
                    self.codec = codec;
                }
                self.current = head;
            }
            let packet = self.input.bytes(self.at, head.size)?;
            let done = self.codec.decode(packet.get(head.packet..).unwrap_or_default(), piece);
            self.at += head.size as u64;
            self.seen += 1;
            self.seen_bytes += head.size as u64;
            if !done {
                // The time goes on, whatever was in it.
                self.undecoded += u64::from(self.seen > 2);
                self.lost += head.frames as u64;
                self.silence(piece);
            }
            let skip = self.skip.min(piece.frames());
            self.skip -= skip;
            piece.trim_start(skip);
            self.now_s += seconds(piece.frames() as u64, piece.rate_hz);
            if piece.frames() > 0 {
                return Ok(true);
            }
        }
    }

    fn skip(&mut self, _track: usize, to_s: f64) -> Result<Option<f64>, Error> {
        while self.now_s < to_s - RUN_UP_S {
            let lost = std::mem::take(&mut self.lost);
            self.now_s += seconds(lost, self.current.rate_hz);
            let Some(head) = self.seek_frame()? else { break };
            if self.lost > 0 {
                continue;
            }
            if !head.like(&self.current) || head.channels != self.current.channels {
                if let (Some(codec), _) = decoder(&head) {
                    self.codec = codec;
                }
                self.current = head;
            }
            self.at += head.size as u64;
            let skip = self.skip.min(head.frames);
            self.skip -= skip;
            self.now_s += seconds((head.frames - skip) as u64, head.rate_hz);
        }
        self.codec.reset();
        Ok(Some(self.now_s))
    }

    fn repairs(&self) -> Vec<String> {
        let mut all = self.repairs.clone();
        if self.damage > 0 {
            all.push(format!(
                "damage inside: {} could not be read; silence of about that length stands there",
                counted(self.damage, "byte")
            ));
        }
        if self.cut {
            all.push("the last frame is not whole: the recording may have been cut off there".into());
        }
        if self.undecoded > 0 {
            all.push(format!(
                "no sound could be decoded from {}; silence stands there",
                counted(self.undecoded, "frame")
            ));
        }
        all
    }
}
