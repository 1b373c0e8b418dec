//! What a file is, by its content: the name is never looked at.

use super::{error::Error, input::Input, mpeg, source::counted, wav};

/// Looked at for a first mark.
const LOOK: usize = 1 << 16;
/// So many zeros at the start are a block of a card that was never written.
const ZEROS: usize = 512;

/// What a file is and where it starts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Found {
    Wav(wav::Kind),
    Aiff,
    Au,
    Caf,
    Mp4,
    Matroska,
    Ogg,
    Flac,
    /// MP1, MP2, MP3 or ADTS.
    Frames,
    /// A container that is known but not read.
    Refused(&'static str),
    /// The beginning of a known container is missing.
    Headless(&'static str),
    /// No recording at all.
    NotSound(&'static str),
}

/// A mark at the start of a file.
fn mark(bytes: &[u8]) -> Option<Found> {
    let at = |at: usize, mark: &[u8]| bytes.get(at..).is_some_and(|b| b.starts_with(mark));
    let found = match bytes {
        b if b.starts_with(b"RIFF") || b.starts_with(b"RF64") || b.starts_with(b"BW64") => {
            if at(8, b"AVI ") {
                Found::Refused("an AVI video")
            } else if at(8, b"WAVE") || at(12, b"fmt ") {
                Found::Wav(wav::Kind::Riff)
            } else if at(8, b"WEBP") {
                Found::NotSound("it is a picture")
            } else if at(8, b"RMID") {
                Found::NotSound("it holds notes for a synthesiser, no sound")
            } else {
                return None;
            }
        }
        b if b.starts_with(b"RIFX") => Found::Wav(wav::Kind::Rifx),
        // The start of W64's GUID for `riff`.
        b if b.starts_with(b"riff\x2e\x91\xcf\x11") => Found::Wav(wav::Kind::W64),
        b if b.starts_with(b"FORM") && (at(8, b"AIFF") || at(8, b"AIFC")) => Found::Aiff,
        b if b.starts_with(b".snd") => Found::Au,
        b if b.starts_with(b"caff\x00\x01") => Found::Caf,
        b if b.starts_with(b"\x1a\x45\xdf\xa3") => Found::Matroska,
        b if b.starts_with(b"OggS") => Found::Ogg,
        b if b.starts_with(b"fLaC") => Found::Flac,
        _ if is_mp4(bytes) => Found::Mp4,
        b if b.starts_with(b"\x30\x26\xb2\x75\x8e\x66\xcf\x11") => {
            Found::Refused("a Windows Media file (ASF)")
        }
        // Eleven bits of a mark, then the length of a frame: twice, so that it is no accident.
        b if is_latm(b) => Found::Refused("an AAC stream in LATM packets"),
        b if b.starts_with(b"#!AMR-WB") => Found::Refused("an AMR-WB voice note"),
        b if b.starts_with(b"#!AMR") => Found::Refused("an AMR voice note"),
        b if b.starts_with(b"#!SILK") || b.starts_with(b"\x02#!SILK") => Found::Refused("a SILK voice note"),
        b if b.starts_with(b"wvpk") => Found::Refused("a WavPack file"),
        b if b.starts_with(b"TTA1") => Found::Refused("a True Audio file"),
        b if b.starts_with(b"MAC ") => Found::Refused("a Monkey's Audio file"),
        b if b.starts_with(b"\x02dss") || b.starts_with(b"\x03ds2") => Found::Refused("a DSS dictation"),
        b if b.starts_with(b"FLV\x01") => Found::Refused("a Flash video"),
        b if b.starts_with(b".RMF") => Found::Refused("a RealMedia file"),
        b if b.starts_with(b"\x00\x00\x01\xba") => Found::Refused("an MPEG program stream"),
        b if b.starts_with(b"\x0b\x77") && b.len() > 64 => Found::Refused("an AC-3 stream"),
        b if b.starts_with(b"\x7f\xfe\x80\x01") => Found::Refused("a DTS stream"),
        b if b.starts_with(b"DSD ") || b.starts_with(b"FRM8") => Found::Refused("a DSD recording"),
        b if [0, 188, 376].iter().all(|n| b.get(*n) == Some(&0x47)) => {
            Found::Refused("an MPEG transport stream")
        }
        b if [4, 196, 388].iter().all(|n| b.get(*n) == Some(&0x47)) => {
            Found::Refused("an MPEG transport stream")
        }
        b if b.starts_with(b"MThd") => Found::NotSound("it holds notes for a synthesiser, no sound"),
        b if b.starts_with(b"PK\x03\x04") => Found::NotSound("it is a ZIP archive; unpack it first"),
        b if b.starts_with(b"\x1f\x8b") => Found::NotSound("it is packed (gzip); unpack it first"),
        b if b.starts_with(b"Rar!") || b.starts_with(b"7z\xbc\xaf") => {
            Found::NotSound("it is an archive; unpack it first")
        }
        b if b.starts_with(b"%PDF") => Found::NotSound("it is a PDF document"),
        b if b.starts_with(b"\xff\xd8\xff") || b.starts_with(b"\x89PNG") || b.starts_with(b"GIF8") => {
            Found::NotSound("it is a picture")
        }
        _ => return None,
    };
    Some(found)
}

/// A stream of LATM packets (ISO/IEC 14496-3, 1.7.2: the sync word 0x2b7 and the length of what follows).
fn is_latm(bytes: &[u8]) -> bool {
    let length = |at: usize| match bytes.get(at..)?.first_chunk::<3>()? {
        [0x56, high, low] if high >> 5 == 7 => Some(usize::from(high & 0x1f) << 8 | usize::from(*low)),
        _ => None,
    };
    length(0).is_some_and(|first| length(first + 3).is_some())
}

/// An MP4 or `QuickTime` file starts with a box of a known name.
fn is_mp4(bytes: &[u8]) -> bool {
    let Some(&[_, _, _, _, name @ ..]) = bytes.first_chunk::<8>() else { return false };
    let size = bytes.first_chunk::<4>().map_or(0, |b| u32::from_be_bytes(*b));
    match &name {
        b"ftyp" | b"moov" | b"mdat" => true,
        b"free" | b"skip" | b"wide" | b"pnot" | b"styp" | b"moof" | b"sidx" => size >= 8,
        _ => false,
    }
}

/// The length of an `ID3v2` tag that starts here, head and foot included.
pub(super) fn id3_size(bytes: &[u8]) -> Option<u64> {
    let (&[_, _, flags, a, b, c, d], _) = bytes.strip_prefix(b"ID3")?.split_first_chunk::<7>()?;
    // Seven bits a byte.
    [a, b, c, d].iter().all(|byte| *byte < 0x80).then_some(())?;
    let size = [a, b, c, d].iter().fold(0, |sum, byte| sum << 7 | u64::from(*byte));
    Some(size + 10 + if flags & 0x10 == 0 { 0 } else { 10 })
}

/// What the file is, where it starts, and what had to be passed over before.
type Sniffed = (Found, u64, Vec<String>);

pub(super) fn sniff(input: &mut Input) -> Result<Sniffed, Error> {
    sniff_at(input, 0)
}

fn sniff_at(input: &mut Input, from: u64) -> Result<Sniffed, Error> {
    let mut at = from;
    let mut repairs = Vec::new();
    // A tag may stand before anything; two have been seen.
    for _ in 0..4 {
        match id3_size(input.bytes(at, 10)?) {
            Some(size) if at + size < input.len() => at += size,
            _ => break,
        }
    }
    let len = input.len();
    let bytes = input.bytes(at, LOOK)?;
    if let Some(found) = mark(bytes) {
        return Ok((found, at, repairs));
    }
    let whole = at + bytes.len() as u64 == len;
    if let Some((offset, _)) = mpeg::find(bytes, whole) {
        // Close to the start, or right behind a tag: the frames themselves say the rest.
        if offset < 4096 || at > 0 || !is_text(bytes) {
            return Ok((Found::Frames, at, repairs));
        }
    }
    if is_text(bytes) {
        return Ok((Found::NotSound("it is text"), at, repairs));
    }
    if bytes.first() == Some(&0) && bytes.iter().take(ZEROS).all(|b| *b == 0) {
        return behind_zeros(input, at);
    }
    // Other bytes before the recording, as a damaged card or a copy program leaves them.
    let bytes = input.bytes(at, LOOK)?;
    let lost = (1..bytes.len()).find_map(|n| {
        let rest = bytes.get(n..)?;
        let strong = [&b"RIFF"[..], b"RF64", b"OggS\0\x02", b"fLaC\0\0\0\x22", b"FORM", b"\x1a\x45\xdf\xa3"];
        let mp4 = rest.get(4..8) == Some(b"ftyp") && is_mp4(rest);
        (mp4 || strong.iter().any(|mark| rest.starts_with(mark)))
            .then(|| mark(rest))
            .flatten()
            .map(|f| (f, n as u64))
    });
    if let Some((found, n)) = lost {
        repairs.push(format!("left out: {} of something else before the recording", counted(n, "byte")));
        return Ok((found, at + n, repairs));
    }
    // Pages go on, but the first ones, without which nothing can be decoded, are gone.
    let pages = bytes.windows(5).filter(|w| *w == b"OggS\0").count();
    let (found, at) = if pages > 1 {
        (Found::Headless("Ogg"), at)
    } else {
        (Found::NotSound("no known kind of sound or video file starts in it"), at)
    };
    Ok((found, at, repairs))
}

/// What follows zeros, as a card leaves them where a block was never written.
fn behind_zeros(input: &mut Input, from: u64) -> Result<Sniffed, Error> {
    let mut at = from;
    loop {
        let bytes = input.bytes(at, LOOK)?;
        if bytes.is_empty() {
            let what = "it holds nothing but zeros: the recorder never wrote the sound";
            return Ok((Found::NotSound(what), from, Vec::new()));
        }
        match bytes.iter().position(|b| *b != 0) {
            Some(zeros) => {
                at += zeros as u64;
                break;
            }
            None => at += bytes.len() as u64,
        }
    }
    // The size of an MP4 box starts with zeros of its own.
    for start in at.saturating_sub(3)..at {
        if is_mp4(input.bytes(start, 8)?) {
            at = start;
            break;
        }
    }
    let (found, start, mut repairs) = sniff_at(input, at)?;
    if !matches!(found, Found::NotSound(_)) {
        repairs.insert(0, format!("left out: {} of zeros before the recording", counted(at - from, "byte")));
    }
    Ok((found, start, repairs))
}

/// Where the sound ends and tags begin that other programs put behind it: `ID3v1` (128 bytes) and APE.
pub(super) fn end_before_tags(input: &mut Input) -> Result<u64, Error> {
    let mut end = input.len();
    for _ in 0..4 {
        let size = if input.bytes(end.saturating_sub(128), 128)?.starts_with(b"TAG") {
            128
        } else if let Some(foot) = input.array::<32>(end.saturating_sub(32))?
            && let Some(rest) = foot.strip_prefix(b"APETAGEX")
            && let Some((_, &[a, b, c, d])) = rest.get(..8).and_then(<[u8]>::split_last_chunk::<4>)
        {
            // The size counts this foot, but not a head, which repeats the mark.
            let size = u64::from(u32::from_le_bytes([a, b, c, d]));
            let head = end.saturating_sub(size + 32);
            if input.bytes(head, 8)? == b"APETAGEX" { size + 32 } else { size }
        } else {
            break;
        };
        end = end.saturating_sub(size);
    }
    Ok(end)
}

/// Whether all of it could be text.
fn is_text(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let utf16 = bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff");
    let zeros = bytes.split(|b| *b == 0).count() - 1;
    let valid = match std::str::from_utf8(text) {
        Ok(_) => true,
        // The look may end inside a letter.
        Err(e) => e.error_len().is_none(),
    };
    utf16 && zeros * 3 > bytes.len()
        || valid && !text.iter().any(|b| *b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0c | 0x1b))
}
