//! Live samples → a WAV file that can be read however it breaks off, and the space that is left for it.
//!
//! While it is written, the header says that its size is not known (all ones, as streaming writers do); a file that was
//! finished has its sizes. Samples go to the system with every block and to the disk twice a second.

use std::{
    fs::{File, OpenOptions},
    io::{self, Seek as _, SeekFrom, Write as _},
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use super::capture::Format;

/// What the header of our own recordings names as the program.
pub(super) const SOFTWARE: &[u8; 8] = b"tugback\0";
/// The size that stands for "not known yet".
pub(super) const UNKNOWN: [u8; 4] = [0xff; 4];
/// A part of a recording is not longer: half of what 32 bits can tell.
pub const MOST_BYTES: u64 = 2 << 30;
/// What is written goes to the disk this often.
const SYNC: Duration = Duration::from_millis(500);
/// Bytes of the header: RIFF 12, LIST 28, `fmt ` 24, the head of `data` 8.
pub(super) const HEADER: u64 = 72;
/// Where the header holds the size of the sound.
pub(super) const DATA_SIZE_AT: u64 = HEADER - 4;

/// A recording could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    #[error("cannot start the recording `{path}`{hint}")]
    Create { path: PathBuf, hint: &'static str, source: io::Error },
    #[error("`{path}` is there already; choose another name after -o")]
    Exists { path: PathBuf },
    #[error("the recording `{path}` stopped{hint}; what was recorded until then is kept")]
    Write { path: PathBuf, hint: &'static str, source: io::Error },
    #[error(
        "there is room for {left_s:.0} s of sound in `{folder}`; make room for {least_s:.0} s at least, or choose another folder"
    )]
    NoRoom { folder: PathBuf, left_s: f64, least_s: f64 },
}

fn hint(e: &io::Error) -> &'static str {
    match e.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => ": the disk is full",
        io::ErrorKind::NotFound => ": there is no such folder",
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            ": this account may not write there"
        }
        _ => "",
    }
}

/// One part of a recording, open for writing.
#[derive(Debug)]
pub struct Part {
    pub path: PathBuf,
    pub format: Format,
    /// Of sound.
    pub bytes: u64,
    file: File,
    synced: Instant,
    buffer: Vec<u8>,
}

impl Part {
    /// Starts a new file; one that is there is never overwritten.
    pub fn create(path: &Path, format: Format) -> Result<Self, WriteError> {
        let failed = |source: io::Error| {
            if source.kind() == io::ErrorKind::AlreadyExists {
                return WriteError::Exists { path: path.to_owned() };
            }
            WriteError::Create { path: path.to_owned(), hint: hint(&source), source }
        };
        let mut open = OpenOptions::new();
        open.write(true).read(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut open, 0o600); // health data: for its owner alone
        let mut file = open.open(path).map_err(failed)?;
        let written = file.write_all(&header(format)).and_then(|()| file.sync_all());
        if let Err(e) = written {
            drop(file);
            let _ = std::fs::remove_file(path); // holds no sound
            return Err(failed(e));
        }
        // Held as long as it is written, so that nobody mends it meanwhile; a system without locks goes on without.
        let _ = file.try_lock();
        if let Some(folder) = path.parent() {
            let _ = File::open(if folder == Path::new("") { Path::new(".") } else { folder })
                .and_then(|f| f.sync_all());
        }
        let path = path.to_owned();
        Ok(Self { path, format, bytes: 0, file, synced: Instant::now(), buffer: Vec::new() })
    }

    /// Writes samples from -1 to 1; they are out of the program when this returns.
    pub fn write(&mut self, samples: &[f32]) -> Result<(), WriteError> {
        self.buffer.clear();
        encode(samples, self.format.bits, &mut self.buffer);
        let done = self.file.write_all(&self.buffer);
        self.bytes += self.buffer.len() as u64;
        done.and_then(|()| self.sync_when_due()).map_err(|source| WriteError::Write {
            path: self.path.clone(),
            hint: hint(&source),
            source,
        })
    }

    /// Brings what was written to the disk.
    pub fn sync(&mut self) -> Result<(), WriteError> {
        self.synced = Instant::now();
        self.file.sync_data().map_err(|source| WriteError::Write {
            path: self.path.clone(),
            hint: hint(&source),
            source,
        })
    }

    /// Brings what was written to the disk, twice a second.
    fn sync_when_due(&mut self) -> io::Result<()> {
        if self.synced.elapsed() >= SYNC {
            self.file.sync_data()?;
            self.synced = Instant::now();
        }
        Ok(())
    }

    /// Of sound, so far.
    #[expect(clippy::cast_precision_loss, reason = "less than 2^53 bytes")]
    pub fn seconds(&self) -> f64 {
        self.bytes as f64 / self.format.bytes_per_s().max(1) as f64
    }

    /// Writes the sizes into the header and closes the file; gives the seconds that are in it.
    pub fn finish(mut self) -> Result<f64, WriteError> {
        finish(&mut self.file, self.format.frame_bytes())
            .map(|bytes| bytes_as_s(bytes, self.format))
            .map_err(|source| WriteError::Write { path: self.path.clone(), hint: hint(&source), source })
    }
}

#[expect(clippy::cast_precision_loss, reason = "less than 2^53 bytes")]
pub(super) fn bytes_as_s(bytes: u64, format: Format) -> f64 {
    bytes as f64 / format.bytes_per_s().max(1) as f64
}

/// Writes the true sizes into the header of a recording with whole moments only; gives the bytes of sound.
pub(super) fn finish(file: &mut File, frame_bytes: u64) -> io::Result<u64> {
    let there = file.metadata()?.len().saturating_sub(HEADER);
    let sound = there - there % frame_bytes.max(1);
    let size = |n: u64| u32::try_from(n).unwrap_or(u32::MAX).to_le_bytes();
    file.set_len(HEADER + sound)?;
    file.seek(SeekFrom::Start(DATA_SIZE_AT))?;
    file.write_all(&size(sound))?;
    file.seek(SeekFrom::Start(4))?;
    file.write_all(&size(HEADER - 8 + sound))?;
    file.sync_all()?;
    Ok(sound)
}

fn header(format: Format) -> Vec<u8> {
    let mut h = Vec::with_capacity(72);
    h.extend(b"RIFF");
    h.extend(UNKNOWN);
    h.extend(b"WAVELIST");
    h.extend(20_u32.to_le_bytes());
    h.extend(b"INFOISFT");
    h.extend(8_u32.to_le_bytes());
    h.extend(SOFTWARE);
    h.extend(b"fmt ");
    h.extend(16_u32.to_le_bytes());
    h.extend(1_u16.to_le_bytes());
    h.extend(format.channels.to_le_bytes());
    h.extend(format.rate_hz.to_le_bytes());
    h.extend(u32::try_from(format.bytes_per_s()).unwrap_or(u32::MAX).to_le_bytes());
    h.extend(u16::try_from(format.frame_bytes()).unwrap_or(u16::MAX).to_le_bytes());
    h.extend(format.bits.to_le_bytes());
    h.extend(b"data");
    h.extend(UNKNOWN);
    h
}

#[expect(clippy::cast_possible_truncation, reason = "clamped before")]
fn encode(samples: &[f32], bits: u16, to: &mut Vec<u8>) {
    for s in samples {
        let s = if s.is_finite() { f64::from(*s) } else { 0.0 };
        if bits == 16 {
            to.extend(((s * 32768.0).round().clamp(-32768.0, 32767.0) as i16).to_le_bytes());
        } else {
            let n = (s * 8_388_608.0).round().clamp(-8_388_608.0, 8_388_607.0) as i32;
            let [a, b, c, _] = n.to_le_bytes();
            to.extend([a, b, c]);
        }
    }
}

/// Free bytes for this account in a folder; nothing where the system does not tell.
pub fn room(folder: &Path) -> Option<u64> {
    #[cfg(unix)]
    {
        let folder = if folder == Path::new("") { Path::new(".") } else { folder };
        let told = rustix::fs::statvfs(folder).ok()?;
        Some(told.f_bavail.saturating_mul(told.f_frsize))
    }
    #[cfg(not(unix))]
    {
        let _ = folder;
        None
    }
}

#[cfg(test)]
#[expect(clippy::cast_possible_truncation, reason = "within 16 bits")]
mod tests {
    use super::*;
    use crate::audio::{self, Samples as _};

    const MONO: Format = Format { rate_hz: 16_000, channels: 1, bits: 16 };

    fn heard(path: &Path) -> (Vec<f32>, Vec<String>) {
        let mut recording = audio::open(path, &audio::Options::default()).expect("readable");
        let mut all = Vec::new();
        while let Some(block) = recording.next_block().expect("readable") {
            all.extend(block);
        }
        (all, recording.report().repairs.clone())
    }

    #[test]
    fn samples_come_back_exactly() {
        let folder = tempfile::tempdir().unwrap();
        for bits in [16, 24] {
            let path = folder.path().join(format!("{bits}.wav"));
            let mut part = Part::create(&path, Format { bits, ..MONO }).unwrap();
            let sent: Vec<i16> = (0..16_000_i32).map(|n| ((n * 7919) % 65_536 - 32_768) as i16).collect();
            part.write(&sent.iter().map(|s| f32::from(*s) / 32768.0).collect::<Vec<_>>()).unwrap();
            assert!((part.finish().unwrap() - 1.0).abs() < 1e-9);
            // hound is another reader than our own.
            let mut reader = hound::WavReader::open(&path).unwrap();
            assert_eq!(u64::from(reader.duration()), 16_000);
            let shift = i32::from(bits - 16);
            let got: Vec<i32> = reader.samples::<i32>().map(|s| s.unwrap() >> shift).collect();
            assert!(got.iter().zip(&sent).all(|(g, s)| *g == i32::from(*s)), "{bits} bits");
        }
    }

    #[test]
    fn readable_at_any_length() {
        let folder = tempfile::tempdir().unwrap();
        let whole = folder.path().join("whole.wav");
        let mut part = Part::create(&whole, MONO).unwrap();
        let tone: Vec<f32> = (0..8000_u16).map(|n| (f32::from(n) * 0.3).sin() * 0.5).collect();
        part.write(&tone).unwrap();
        drop(part); // as a crash leaves it
        let bytes = std::fs::read(&whole).unwrap();
        let cut = folder.path().join("cut.wav");
        for len in [HEADER + 2, HEADER + 3, 200, 1001, 9_999, bytes.len() as u64] {
            std::fs::write(&cut, &bytes[..usize::try_from(len).unwrap()]).unwrap();
            let (samples, repairs) = heard(&cut);
            assert_eq!(samples.len() as u64, (len - HEADER) / 2, "cut at {len}");
            assert!(repairs.iter().any(|r| r.contains("never filled in")), "{repairs:?}");
        }
    }

    #[test]
    fn nothing_is_overwritten_and_a_full_disk_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("there.wav");
        std::fs::write(&path, "mine").unwrap();
        let told = Part::create(&path, MONO).unwrap_err().to_string();
        assert!(told.contains("is there already"), "{told}");
        assert_eq!(std::fs::read(&path).unwrap(), b"mine");
        let told = Part::create(&folder.path().join("no/where.wav"), MONO).unwrap_err().to_string();
        assert!(told.contains("there is no such folder"), "{told}");
        assert!(room(folder.path()).is_none_or(|bytes| bytes > 0));
    }
}
