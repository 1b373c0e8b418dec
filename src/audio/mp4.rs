//! MP4, M4A and `QuickTime` (whole, fragmented, index in front or behind) → pieces.
//!
//! A reader of its own because symphonia's needs an `ftyp` box, reads 24-bit sound 27 dB too low, knows no edit lists
//! and reads the pictures too. The index is read only as far as it agrees with the file.

use std::{collections::VecDeque, ops::Range};

use super::{
    codec::Codec,
    error::Error,
    input::Input,
    mp4_sound::{Lie, Sound},
    mp4_table::{Cursor, Sample, Table},
    source::{Piece, RATES_HZ, Source, Track, counted, seconds},
};

/// An index larger than this is damaged; three hours of video have about 15 MB.
const MOST_INDEX: u64 = 128 << 20;
/// A sample larger than this is damaged.
const MOST_SAMPLE: u32 = 16 << 20;
/// Samples in one run of a fragment; real ones have a few thousand at most.
const MOST_RUN: u32 = 1 << 20;
/// How much is searched at once for the next fragment, in bytes.
const STEP: usize = 1 << 16;
/// Boxes that are looked at on one level.
const MOST_BOXES: usize = 1 << 16;
/// An edit that cuts off more at the start hides speech; then it is not followed, in seconds.
const MOST_EDIT_S: f64 = 1.0;
/// After a jump so much is decoded before the wanted time, because frames lean on those before them, in seconds.
const RUN_UP_S: f64 = 0.5;

/// The boxes in a slice: name and body. A size that does not fit ends at the slice's end.
pub(super) fn boxes(bytes: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut rest = bytes;
    std::iter::from_fn(move || {
        let (head, _) = rest.split_first_chunk::<8>()?;
        let size = long(head, 0)?;
        let name = *head.last_chunk::<4>()?;
        let (start, size) = match size {
            0 => (8, rest.len()),
            1 => {
                let large = rest.get(8..)?.first_chunk::<8>()?;
                (16, usize::try_from(u64::from_be_bytes(*large)).unwrap_or(usize::MAX))
            }
            n => (8, n as usize),
        };
        let end = size.min(rest.len());
        let body = rest.get(start..end)?;
        rest = rest.get(end..).unwrap_or_default();
        Some((name, body))
    })
    .take(MOST_BOXES)
}

/// The body of the first box of a name.
pub(super) fn find(bytes: &[u8], name: [u8; 4]) -> Option<&[u8]> {
    boxes(bytes).find(|(is, _)| *is == name).map(|(_, body)| body)
}

pub(super) fn short(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..)?.first_chunk::<2>().map(|b| u16::from_be_bytes(*b))
}

pub(super) fn long(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..)?.first_chunk::<4>().map(|b| u32::from_be_bytes(*b))
}

pub(super) fn huge(bytes: &[u8], at: usize) -> Option<u64> {
    bytes.get(at..)?.first_chunk::<8>().map(|b| u64::from_be_bytes(*b))
}

struct Mp4 {
    input: Input,
    tracks: Vec<Track>,
    inner: Vec<Inner>,
    /// Where the file starts: offsets count from there.
    start: u64,
    /// Where the next fragment is looked for; absent in a whole file.
    fragments: Option<u64>,
    repairs: Vec<String>,
    started: Option<String>,
    undecoded: u64,
    damage: u64,
    /// Bytes at the end of the file in which no fragment is whole.
    unfinished: u64,
    /// A sample lies behind the end of the file.
    cut: bool,
    /// Bytes of packets on the way to the decoder.
    packet: Vec<u8>,
}

struct Inner {
    id: u32,
    codec: Option<Codec>,
    lie: Lie,
    ticks_hz: u32,
    /// Added to the file's times: an empty edit in front, or the encoder's run-up.
    shift_s: f64,
    cursor: Cursor,
    waiting: VecDeque<Sample>,
    /// Where the next fragment of this track starts, in ticks.
    fragment_at: u64,
    /// Duration and size of a fragment's samples where it does not say.
    usual: (u32, u32),
}

const CONTAINER: &str = "MP4";

/// Opens the MP4 file that starts at `start`.
pub(super) fn open(mut input: Input, start: u64, mut repairs: Vec<String>) -> Result<Box<dyn Source>, Error> {
    let top = Top::read(&mut input, start)?;
    let cut_off = |input: &Input, what: &str| Error::CutOff {
        path: input.path(),
        container: CONTAINER.into(),
        what: what.into(),
    };
    let Some(moov) = top.moov else {
        return Err(cut_off(&input, "its index (`moov`), which is written last, is missing"));
    };
    if moov.end > input.len() {
        return Err(cut_off(&input, "the file ends inside its index (`moov`)"));
    }
    if moov.end - moov.start > MOST_INDEX {
        let what = format!("its index claims {} bytes", moov.end - moov.start);
        return Err(Error::Damaged { path: input.path(), container: CONTAINER.into(), what });
    }
    if let Some(missing) = top.missing {
        repairs.push(format!(
            "the file ends {missing} bytes before the end of its sound; what is there was taken"
        ));
    }
    let size = usize::try_from(moov.end - moov.start).unwrap_or(0);
    let moov = input.bytes(moov.start, size)?.to_vec();
    let movie_hz = find(&moov, *b"mvhd").and_then(|b| long(b, if b.first() == Some(&1) { 20 } else { 12 }));
    let extends = find(&moov, *b"mvex");
    let mut mp4 = Mp4 {
        started: find(&moov, *b"mvhd").and_then(created),
        input,
        tracks: Vec::new(),
        inner: Vec::new(),
        start,
        fragments: extends.map(|_| start),
        repairs,
        undecoded: 0,
        damage: 0,
        unfinished: 0,
        cut: false,
        packet: Vec::new(),
    };
    let traks = boxes(&moov).filter(|(name, _)| name == b"trak").take(256);
    for (_, trak) in traks {
        mp4.add(trak, movie_hz.unwrap_or(0), extends.unwrap_or_default());
    }
    if mp4.tracks.is_empty() {
        return Err(Error::NoSoundTrack { path: mp4.input.path(), container: CONTAINER.into() });
    }
    Ok(Box::new(mp4))
}

/// When the recording was made, RFC 3339, if the header has a believable time (seconds since 1904, UTC).
fn created(mvhd: &[u8]) -> Option<String> {
    let since = if mvhd.first() == Some(&1) { huge(mvhd, 4)? } else { long(mvhd, 4)?.into() };
    let unix = i64::try_from(since).ok()?.checked_sub(2_082_844_800)?;
    // Before 2000 the clock was never set.
    (unix > 946_684_800).then(|| jiff::Timestamp::from_second(unix).ok()).flatten().map(|t| t.to_string())
}

/// The boxes of the file itself.
struct Top {
    moov: Option<Range<u64>>,
    /// How many bytes of `mdat` are not there.
    missing: Option<u64>,
}

impl Top {
    fn read(input: &mut Input, start: u64) -> Result<Self, Error> {
        let mut top = Self { moov: None, missing: None };
        let mut at = start;
        for _ in 0..MOST_BOXES {
            let Some((name, body)) = top_box(input, at)? else { break };
            if &name == b"moov" && top.moov.is_none() {
                top.moov = Some(body.clone());
            }
            if &name == b"mdat" && body.end > input.len() {
                top.missing = Some(body.end - input.len());
            }
            at = body.end;
        }
        Ok(top)
    }
}

/// Name and body of a box of the file itself.
type TopBox = ([u8; 4], Range<u64>);

/// Name and body of the box at a place of the file; the body's end may lie behind the file's.
fn top_box(input: &mut Input, at: u64) -> Result<Option<TopBox>, Error> {
    let bytes = input.bytes(at, 16)?;
    let (Some(size), Some(name)) =
        (long(bytes, 0), bytes.get(4..).and_then(|b| b.first_chunk::<4>()).copied())
    else {
        return Ok(None);
    };
    let large = huge(bytes, 8);
    let len = input.len();
    let (head, size) = match (size, large) {
        (0, _) => (8, len - at),
        (1, Some(large)) => (16, large),
        (n, _) => (8, n.into()),
    };
    if size < head || name.iter().any(|c| *c < 0x20) && name[0] != 0xa9 {
        return Ok(None);
    }
    Ok(Some((name, at + head..at.saturating_add(size))))
}

/// Whether nothing but zeros follows, as far as it is looked at: room that a recorder took in advance.
fn is_empty(input: &mut Input, from: u64) -> Result<bool, Error> {
    Ok(input.bytes(from, STEP)?.iter().all(|byte| *byte == 0))
}

impl Mp4 {
    fn add(&mut self, trak: &[u8], movie_hz: u32, extends: &[u8]) -> Option<()> {
        let mdia = find(trak, *b"mdia")?;
        let handler = find(mdia, *b"hdlr").and_then(|b| b.get(8..12));
        if handler.is_some_and(|h| h != b"soun") {
            return None;
        }
        let stbl = find(find(mdia, *b"minf")?, *b"stbl")?;
        let sound = Sound::read(find(stbl, *b"stsd")?)?;
        let tkhd = find(trak, *b"tkhd")?;
        let id = long(tkhd, if tkhd.first() == Some(&1) { 20 } else { 12 })?;
        let mdhd = find(mdia, *b"mdhd")?;
        let wide = mdhd.first() == Some(&1);
        let ticks_hz = long(mdhd, if wide { 20 } else { 12 }).unwrap_or(0);
        // A clock of 0 ticks cannot be used; the sound's own rate is the usual one.
        let ticks_hz = match (ticks_hz, sound.rate_hz) {
            (0, rate_hz) => {
                let rate_hz = rate_hz.unwrap_or(1);
                self.repairs.push(format!(
                    "header repaired: the clock of track {} has 0 ticks a second; {rate_hz}, the rate of its sound, was taken",
                    self.tracks.len() + 1
                ));
                rate_hz
            }
            (ticks_hz, _) => ticks_hz,
        };
        let language = short(mdhd, if wide { 32 } else { 20 }).map(language);
        let table = Table::read(stbl);
        let declared = table.ticks();
        // Without an edit list an AAC track starts with the encoder's run-up.
        let mut shift_s = -sound.run_up_s;
        if let Some(list) = find(trak, *b"edts").and_then(|b| find(b, *b"elst")) {
            let (empty_s, start_s) = edits(list, movie_hz, ticks_hz);
            if start_s > 0.0 || empty_s > 0.0 {
                shift_s = empty_s;
            }
            if start_s > MOST_EDIT_S {
                self.repairs.push(format!(
                    "track {}: an edit list hides the first {start_s:.1} s from players; they are read too, and times count from the start of the sound",
                    self.tracks.len() + 1
                ));
            } else if !sound.trims_itself {
                shift_s -= start_s;
            }
        }
        let usual = boxes(extends)
            .filter(|(name, body)| name == b"trex" && long(body, 4) == Some(id))
            .find_map(|(_, body)| Some((long(body, 12)?, long(body, 16)?)))
            .unwrap_or((0, 0));
        self.tracks.push(Track {
            codec: sound.name,
            readable: sound.codec.is_some(),
            name: language.filter(|l| l != "und"),
            rate_hz: sound.rate_hz.filter(|rate| RATES_HZ.contains(rate)),
            places: sound.places,
            declared_s: (declared > 0).then(|| seconds(declared, ticks_hz)),
        });
        self.inner.push(Inner {
            id,
            codec: sound.codec,
            lie: sound.lie,
            ticks_hz,
            shift_s,
            cursor: Cursor::new(table, self.start, self.input.len()),
            waiting: VecDeque::new(),
            fragment_at: declared,
            usual,
        });
        Some(())
    }

    /// Reads the next fragment's index into the tracks; false at the end.
    fn fragment(&mut self) -> Result<bool, Error> {
        while let Some(at) = self.fragments {
            let known = top_box(&mut self.input, at)?.filter(|(name, body)| {
                matches!(
                    name,
                    b"ftyp"
                        | b"styp"
                        | b"moov"
                        | b"moof"
                        | b"mdat"
                        | b"sidx"
                        | b"free"
                        | b"skip"
                        | b"mfra"
                        | b"emsg"
                        | b"uuid"
                        | b"prft"
                ) && (body.end <= self.input.len() || name == b"mdat")
            });
            let Some((name, body)) = known else {
                // Damage: the next fragment has a heading of its own.
                self.fragments = self.next_moof(at)?;
                if self.fragments.is_none() && !is_empty(&mut self.input, at)? {
                    self.unfinished = self.input.len() - at;
                }
                continue;
            };
            self.fragments = Some(body.end).filter(|end| *end > at && *end < self.input.len());
            if &name != b"moof" {
                continue;
            }
            let size = usize::try_from(body.end - body.start).unwrap_or(usize::MAX);
            if size as u64 > u64::from(MOST_SAMPLE) {
                continue;
            }
            let moof = self.input.bytes(body.start, size)?.to_vec();
            for (_, traf) in boxes(&moof).filter(|(name, _)| name == b"traf") {
                self.traf(traf, at);
            }
            if self.inner.iter().any(|t| !t.waiting.is_empty()) {
                return Ok(true);
            }
        }
        self.fragments = None;
        Ok(false)
    }

    /// Where the next fragment starts behind damage.
    fn next_moof(&mut self, from: u64) -> Result<Option<u64>, Error> {
        let mut at = from + 1;
        while at < self.input.len() {
            let bytes = self.input.bytes(at, STEP)?;
            match bytes.windows(4).position(|w| w == b"moof") {
                Some(found) if at + found as u64 >= from + 5 => {
                    self.damage += at + found as u64 - 4 - from;
                    return Ok(Some(at + found as u64 - 4));
                }
                _ if bytes.len() < STEP => break,
                Some(found) => at += found as u64 + 4,
                None => at += (STEP - 3) as u64,
            }
        }
        Ok(None)
    }

    /// One track's part of a fragment (ISO/IEC 14496-12, 8.8.7 and 8.8.8).
    fn traf(&mut self, traf: &[u8], moof_at: u64) -> Option<()> {
        let tfhd = find(traf, *b"tfhd")?;
        let flags = long(tfhd, 0)? & 0x00ff_ffff;
        let id = long(tfhd, 4)?;
        let track = self.inner.iter_mut().find(|t| t.id == id)?;
        let mut at = 8;
        let mut base = moof_at;
        if flags & 1 != 0 {
            base = huge(tfhd, at)?.saturating_add(self.start);
            at += 8;
        }
        at += if flags & 2 == 0 { 0 } else { 4 };
        let (mut usual_ticks, mut usual_size) = track.usual;
        if flags & 8 != 0 {
            usual_ticks = long(tfhd, at)?;
            at += 4;
        }
        if flags & 16 != 0 {
            usual_size = long(tfhd, at)?;
        }
        if let Some(tfdt) = find(traf, *b"tfdt") {
            let start = if tfdt.first() == Some(&1) { huge(tfdt, 4) } else { long(tfdt, 4).map(u64::from) };
            track.fragment_at = start.unwrap_or(track.fragment_at);
        }
        let mut offset = base;
        for (_, trun) in boxes(traf).filter(|(name, _)| name == b"trun") {
            let flags = long(trun, 0)? & 0x00ff_ffff;
            let count = long(trun, 4)?.min(MOST_RUN);
            let mut at = 8;
            if flags & 1 != 0 {
                offset = base.saturating_add_signed(i64::from(long(trun, at)?.cast_signed()));
                at += 4;
            }
            at += if flags & 4 == 0 { 0 } else { 4 };
            let wide = [0x100, 0x200, 0x400, 0x800].iter().filter(|bit| flags & **bit != 0).count() * 4;
            if wide == 0 && u64::from(count) * u64::from(usual_size.max(1)) > self.input.len() {
                return None;
            }
            for _ in 0..count {
                let mut field = at;
                let mut take = |bit: u32| {
                    (flags & bit != 0).then(|| {
                        field += 4;
                        long(trun, field - 4)
                    })
                };
                let ticks = match take(0x100) {
                    Some(ticks) => ticks?,
                    None => usual_ticks,
                };
                let size = match take(0x200) {
                    Some(size) => size?,
                    None => usual_size,
                };
                at += wide;
                let at_ticks = track.fragment_at;
                track.waiting.push_back(Sample { offset, size: size.into(), at_ticks });
                track.fragment_at = at_ticks.saturating_add(ticks.into());
                offset = offset.saturating_add(size.into());
            }
        }
        Some(())
    }

    /// Which track's next sample comes first in the file.
    fn first(&mut self, only: Option<usize>) -> Result<Option<usize>, Error> {
        loop {
            let next = self
                .inner
                .iter_mut()
                .enumerate()
                .filter(|(n, track)| only.is_none_or(|only| only == *n) && track.codec.is_some())
                .filter_map(|(n, track)| Some((track.peek()?.offset, n)))
                .min();
            if let Some((_, n)) = next {
                return Ok(Some(n));
            }
            for track in &mut self.inner {
                if track.codec.is_none() {
                    track.waiting.clear();
                }
            }
            if self.fragments.is_none() || !self.fragment()? {
                return Ok(None);
            }
        }
    }
}

impl Inner {
    fn peek(&mut self) -> Option<Sample> {
        if self.waiting.is_empty() {
            let next = self.cursor.next(self.lie)?;
            self.waiting.push_back(next);
        }
        self.waiting.front().copied()
    }

    #[expect(clippy::cast_precision_loss, reason = "a time in seconds")]
    fn at_s(&self, sample: Sample) -> f64 {
        sample.at_ticks as f64 / f64::from(self.ticks_hz.max(1)) + self.shift_s
    }
}

/// The three letters of a packed language code.
fn language(packed: u16) -> String {
    [10, 5, 0].iter().filter_map(|by| char::from_u32(u32::from(packed >> by & 31) + 0x60)).collect()
}

/// Seconds of an empty edit in front, and where in the sound the first real edit starts.
#[expect(clippy::cast_precision_loss, reason = "a time in seconds")]
fn edits(elst: &[u8], movie_hz: u32, ticks_hz: u32) -> (f64, f64) {
    let wide = elst.first() == Some(&1);
    let count = long(elst, 4).unwrap_or(0).min(1024);
    let mut empty_s = 0.0;
    for n in 0..count as usize {
        let (length, start) = if wide {
            let at = 8 + n * 20;
            (huge(elst, at), huge(elst, at + 8).map(u64::cast_signed))
        } else {
            let at = 8 + n * 12;
            (long(elst, at).map(u64::from), long(elst, at + 4).map(|s| i64::from(s.cast_signed())))
        };
        let (Some(length), Some(start)) = (length, start) else { break };
        if start < 0 {
            empty_s += length as f64 / f64::from(movie_hz.max(1));
        } else {
            let start_s = start as f64 / f64::from(ticks_hz.max(1));
            // An hour of nothing in front is damage.
            return (if empty_s < 3600.0 { empty_s } else { 0.0 }, start_s);
        }
    }
    (0.0, 0.0)
}

impl Source for Mp4 {
    fn container(&self) -> &str {
        CONTAINER
    }

    fn tracks(&self) -> &[Track] {
        &self.tracks
    }

    fn next(&mut self, only: Option<usize>, piece: &mut Piece) -> Result<bool, Error> {
        while let Some(n) = self.first(only)? {
            let Some(track) = self.inner.get_mut(n) else { break };
            let Some(sample) = track.waiting.pop_front() else { continue };
            let at_s = track.at_s(sample);
            if sample.size == 0 || sample.size > MOST_SAMPLE.into() {
                self.undecoded += u64::from(sample.size > 0);
                continue;
            }
            let want = usize::try_from(sample.size).unwrap_or(0);
            self.packet.clear();
            self.packet.extend_from_slice(self.input.bytes(sample.offset, want)?);
            if self.packet.len() < want {
                self.cut = true;
                if !matches!(track.lie, Lie::Frames { .. }) || self.packet.is_empty() {
                    continue;
                }
            }
            let Some(codec) = &mut track.codec else { continue };
            if !codec.decode(&self.packet, piece) {
                self.undecoded += 1;
                continue;
            }
            piece.track = n;
            piece.at_s = Some(at_s);
            if at_s < 0.0 {
                let early = super::source::frames(-at_s, piece.rate_hz);
                piece.trim_start(usize::try_from(early).unwrap_or(usize::MAX));
                piece.at_s = Some(0.0);
            }
            if piece.frames() > 0 {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn skip(&mut self, track: usize, to_s: f64) -> Result<Option<f64>, Error> {
        let from_s = to_s - RUN_UP_S;
        loop {
            if self.first(Some(track))?.is_none() {
                return Ok(None);
            }
            let Some(inner) = self.inner.get_mut(track) else { return Ok(None) };
            let Some(sample) = inner.peek() else { return Ok(None) };
            let at_s = inner.at_s(sample);
            if at_s >= from_s {
                if let Some(codec) = inner.codec.as_mut().filter(|_| at_s > 0.0) {
                    codec.reset();
                }
                return Ok(Some(at_s.max(0.0)));
            }
            inner.waiting.pop_front();
        }
    }

    fn repairs(&self) -> Vec<String> {
        let mut all = self.repairs.clone();
        if self.undecoded > 0 {
            all.push(format!(
                "no sound could be decoded from {}; silence stands there",
                counted(self.undecoded, "packet")
            ));
        }
        if self.damage > 0 {
            all.push(format!("damage inside: {} could not be read", counted(self.damage, "byte")));
        }
        if self.unfinished > 0 {
            all.push(format!(
                "the last {} of the file are no whole part of it: the recording was cut off there, or its end is damaged",
                counted(self.unfinished, "byte")
            ));
        }
        if self.cut {
            all.push("the index lists sound behind the end of the file".into());
        }
        all
    }

    fn started(&self) -> Option<String> {
        self.started.clone()
    }
}
