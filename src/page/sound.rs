//! The recording as a browser can play it, and the peaks of its waveform.
//!
//! A file that browsers play as it is, and whose times are our times, is served itself. Of any other the sound is decoded
//! into a temporary file without a name, which is gone with the program, also where that is killed.

use std::{
    collections::HashMap,
    fs::File,
    io::{BufWriter, Read as _, Seek as _, SeekFrom},
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
};

use axum::{
    body::Body,
    http::{HeaderMap, StatusCode, header},
    response::{IntoResponse as _, Response},
};
use serde::Serialize;
use tokio::io::AsyncWriteExt as _;
use tokio_util::io::ReaderStream;

use super::shelf::{self, Item, Shelf};
use crate::audio::{self, RATE_HZ, Report, Samples as _};
use crate::log::{Log, SourceKind};
use crate::review::store;

/// Peaks of the waveform for each second.
pub(super) const PEAKS_PER_S: usize = 50;
/// How much is read from disk at once.
const PART: usize = 1 << 16;

/// A recording that can be played.
#[derive(Debug)]
pub(super) struct Playable {
    file: Mutex<File>,
    bytes: u64,
    mime: &'static str,
    /// The loudest sample of each stretch, 0 to 255.
    pub(super) peaks: Vec<u8>,
    /// Served as it is, or decoded by us.
    decoded: bool,
    /// Whether it is the file that the log was made from; nothing where that is a transcript.
    fits: Option<bool>,
    duration_s: f64,
}

/// How far a recording is.
#[derive(Debug, Clone)]
pub(super) enum Sound {
    Making,
    Ready(Arc<Playable>),
    /// There is none, or it cannot be read: one sentence.
    None(String),
}

/// What the page is told.
#[derive(Debug, Serialize)]
pub(super) struct Told {
    state: &'static str,
    sentence: String,
    duration_s: f64,
    peaks_per_s: usize,
    decoded: bool,
    fits: Option<bool>,
}

impl Sound {
    pub(super) fn told(&self) -> Told {
        let told = |state, sentence: &str| Told {
            state,
            sentence: sentence.to_owned(),
            duration_s: 0.0,
            peaks_per_s: PEAKS_PER_S,
            decoded: false,
            fits: None,
        };
        match self {
            Self::Making => told("making", "The recording is being made ready."),
            Self::None(why) => told("none", why),
            Self::Ready(p) => {
                let sentence = match p.fits {
                    Some(false) => "This is not the recording that the log was made from.",
                    Some(true) => "",
                    None => "The log was made from a transcript; this recording lies beside it.",
                };
                Told { duration_s: p.duration_s, decoded: p.decoded, fits: p.fits, ..told("ready", sentence) }
            }
        }
    }
}

/// Recordings that were made ready, by the id of their log.
#[derive(Debug, Default, Clone)]
pub(super) struct Sounds {
    all: Arc<Mutex<HashMap<String, Sound>>>,
}

impl Sounds {
    /// How far the recording of a log is; the first call starts to make it ready.
    pub(super) fn get(&self, shelf: &Shelf, item: &Item, log: &Log) -> Sound {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(sound) = all.get(&item.id) {
            return sound.clone();
        }
        let Some(path) = find(shelf, item, log) else {
            return Sound::None(format!("The recording {} is not beside the log.", log.source.file));
        };
        all.insert(item.id.clone(), Sound::Making);
        let (id, sounds, log) = (item.id.clone(), self.clone(), log.clone());
        std::thread::spawn(move || {
            let made = match make(&path, &log) {
                Ok(playable) => Sound::Ready(Arc::new(playable)),
                Err(why) => Sound::None(why),
            };
            sounds.all.lock().unwrap_or_else(PoisonError::into_inner).insert(id, made);
        });
        Sound::Making
    }
}

/// The recording of a log: the one that was named, the file that it was made from, or the one beside its transcript.
fn find(shelf: &Shelf, item: &Item, log: &Log) -> Option<PathBuf> {
    if let Some(named) = shelf.named_audio() {
        return Some(named.to_owned());
    }
    let source = store::source_path(item.log.as_deref()?, log);
    match log.source.kind {
        SourceKind::Transcript => {
            // The transcript itself may be gone; its name still says where the recording is.
            let name = Path::new(&log.source.file).file_stem()?;
            let beside = item.log.as_deref()?.parent()?.join(name).with_extension("vtt");
            shelf::sound_beside(&source.unwrap_or(beside))
        }
        SourceKind::Audio | SourceKind::Live => source,
    }
}

/// The type under which a browser plays the file itself; nothing where it cannot, or where its clock is not ours. MPEG
/// frames are decoded always: browsers guess where a second lies in them.
fn playable(report: &Report) -> Option<&'static str> {
    if report.track != 1 || report.tracks.len() != 1 || !report.repairs.is_empty() {
        return None;
    }
    match (report.container.as_str(), report.codec.as_str()) {
        ("WAV", "PCM, 16 bit" | "PCM, 8 bit" | "PCM, 24 bit") => Some("audio/wav"),
        ("FLAC", _) => Some("audio/flac"),
        ("Ogg", codec) if codec.contains("Opus") || codec.contains("Vorbis") => Some("audio/ogg"),
        ("MP4", codec) if codec.contains("AAC") && !codec.contains("HE") => Some("audio/mp4"),
        _ => None,
    }
}

fn make(path: &Path, log: &Log) -> Result<Playable, String> {
    let track = log.source.audio.get("track").and_then(serde_json::Value::as_u64);
    let options = audio::Options { track: track.and_then(|t| usize::try_from(t).ok()) };
    let mut recording = audio::open(path, &options).map_err(|e| e.to_string())?;
    let report = recording.report().clone();
    let mime = playable(&report);
    let failed = |e: &dyn std::fmt::Display| format!("The recording could not be made ready: {e}");
    let mut wav = match mime {
        Some(_) => None,
        None => {
            let file = tempfile::tempfile().map_err(|e| failed(&e))?;
            let keep = file.try_clone().map_err(|e| failed(&e))?;
            let spec = hound::WavSpec {
                channels: 1,
                sample_rate: RATE_HZ,
                bits_per_sample: 16,
                sample_format: hound::SampleFormat::Int,
            };
            Some((hound::WavWriter::new(BufWriter::new(file), spec).map_err(|e| failed(&e))?, keep))
        }
    };
    let mut peaks = Vec::new();
    let stretch = RATE_HZ as usize / PEAKS_PER_S;
    let (mut loudest, mut count) = (0.0_f32, 0);
    while let Some(block) = recording.next_block().map_err(|e| failed(&e))? {
        for sample in block {
            loudest = loudest.max(sample.abs());
            count += 1;
            if count == stretch {
                peaks.push(peak(loudest));
                (loudest, count) = (0.0, 0);
            }
            if let Some((wav, _)) = &mut wav {
                #[expect(clippy::cast_possible_truncation, reason = "within ±32767")]
                wav.write_sample((sample.clamp(-1.0, 1.0) * 32767.0) as i16).map_err(|e| failed(&e))?;
            }
        }
    }
    peaks.push(peak(loudest));
    let decoded = wav.is_some();
    let file = match wav {
        Some((wav, keep)) => {
            wav.finalize().map_err(|e| failed(&e))?;
            keep
        }
        None => File::open(path).map_err(|e| failed(&e))?,
    };
    let bytes = file.metadata().map_err(|e| failed(&e))?.len();
    let fits = (log.source.kind != SourceKind::Transcript).then(|| log.source.sha256 == report.sha256);
    Ok(Playable {
        file: Mutex::new(file),
        bytes,
        mime: mime.unwrap_or("audio/wav"),
        peaks,
        decoded,
        fits,
        duration_s: report.decoded_s,
    })
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0 to 255")]
fn peak(loudest: f32) -> u8 {
    (loudest * 255.0).clamp(0.0, 255.0) as u8
}

/// The first and last byte that a `Range` header asks for; nothing where the whole is to be sent, an error where it asks for
/// what is not there.
fn range(header: Option<&str>, bytes: u64) -> Result<Option<(u64, u64)>, ()> {
    // Several ranges at once may be answered with the whole.
    let Some(asked) = header.and_then(|h| h.trim().strip_prefix("bytes=")).filter(|a| !a.contains(','))
    else {
        return Ok(None);
    };
    let Some((from, to)) = asked.split_once('-') else { return Ok(None) };
    let number = |s: &str| s.trim().parse::<u64>().ok();
    let last = bytes.saturating_sub(1);
    let (from, to) = match (number(from), number(to)) {
        (Some(from), Some(to)) if from <= to => (from, to.min(last)),
        (Some(from), None) if to.trim().is_empty() => (from, last),
        (None, Some(back)) if from.trim().is_empty() && back > 0 => (bytes.saturating_sub(back), last),
        (None, Some(_)) if from.trim().is_empty() => return Err(()),
        _ => return Ok(None),
    };
    if from > last || bytes == 0 { Err(()) } else { Ok(Some((from, to))) }
}

impl Playable {
    fn part(&self, from: u64, count: usize) -> std::io::Result<Vec<u8>> {
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(from))?;
        let mut part = vec![0; count];
        file.read_exact(&mut part)?;
        Ok(part)
    }

    /// The answer to a request for the recording or a range of it.
    pub(super) fn answer(self: &Arc<Self>, headers: &HeaderMap) -> Response {
        let asked = headers.get(header::RANGE).and_then(|r| r.to_str().ok());
        let Ok(found) = range(asked, self.bytes) else {
            let total = format!("bytes */{}", self.bytes);
            return (StatusCode::RANGE_NOT_SATISFIABLE, [(header::CONTENT_RANGE, total)]).into_response();
        };
        let (from, to) = found.unwrap_or((0, self.bytes.saturating_sub(1)));
        let count = if self.bytes == 0 { 0 } else { to - from + 1 };
        let (mut write, read) = tokio::io::duplex(PART);
        let me = Arc::clone(self);
        tokio::spawn(async move {
            let (mut at, mut left) = (from, count);
            while left > 0 {
                let now = usize::try_from(left).unwrap_or(PART).min(PART);
                let part = Arc::clone(&me);
                let read = tokio::task::spawn_blocking(move || part.part(at, now)).await;
                let Ok(Ok(bytes)) = read else { return };
                // The listener has gone: browsers leave a range when they have enough.
                if write.write_all(&bytes).await.is_err() {
                    return;
                }
                at += now as u64;
                left -= now as u64;
            }
        });
        let head = [
            (header::CONTENT_TYPE, self.mime.to_owned()),
            (header::ACCEPT_RANGES, "bytes".to_owned()),
            (header::CONTENT_LENGTH, count.to_string()),
        ];
        let body = Body::from_stream(ReaderStream::new(read));
        match found {
            Some(_) => {
                let range = format!("bytes {from}-{to}/{}", self.bytes);
                (StatusCode::PARTIAL_CONTENT, head, [(header::CONTENT_RANGE, range)], body).into_response()
            }
            None => (StatusCode::OK, head, body).into_response(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::range;

    #[track_caller]
    fn check(header: &str, expect: Result<Option<(u64, u64)>, ()>) {
        assert_eq!(range(Some(header), 1000), expect, "{header}");
    }

    /// Cases of RFC 9110, section 14.1.2, for a file of 1000 bytes.
    #[test]
    fn ranges() {
        check("bytes=0-499", Ok(Some((0, 499))));
        check("bytes=500-", Ok(Some((500, 999))));
        check("bytes=-500", Ok(Some((500, 999))));
        check("bytes=-5000", Ok(Some((0, 999))));
        check("bytes=0-5000", Ok(Some((0, 999))));
        check("bytes=999-999", Ok(Some((999, 999))));
        check("bytes=1000-", Err(()));
        check("bytes=-0", Err(()));
        check("bytes=9-3", Ok(None));
        check("bytes=0-1,5-6", Ok(None));
        check("lines=0-1", Ok(None));
        check("bytes=a-b", Ok(None));
    }
}
