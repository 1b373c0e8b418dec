//! A folder → recordings that a crash left unfinished, and what finishing them gave.

use std::{
    fs::{File, OpenOptions},
    io::{self, Read},
    path::{Path, PathBuf},
};

use super::{
    capture::Format,
    file::{DATA_SIZE_AT, HEADER, SOFTWARE, UNKNOWN, bytes_as_s, finish},
};

/// A recording of ours that was not finished.
#[derive(Debug, Clone, PartialEq)]
pub struct Left {
    pub path: PathBuf,
    pub format: Format,
    /// Of sound that is there.
    pub seconds: f64,
}

/// What is the matter with a file of the folder.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    Left(Left),
    /// Another program is recording into it now.
    InUse(PathBuf),
    /// Ours, but it broke off before the first sound.
    Empty(PathBuf),
}

/// The unfinished recordings of a folder, by name. Only files that tugback began are looked at.
pub fn look(folder: &Path) -> io::Result<Vec<Found>> {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav")) && p.is_file())
        .collect();
    paths.sort();
    Ok(paths.iter().filter_map(|path| look_at(path).ok().flatten()).collect())
}

/// What is the matter with one file; nothing where it is finished or not ours.
pub fn look_at(path: &Path) -> io::Result<Option<Found>> {
    let mut file = File::open(path)?;
    let mut head = Vec::new();
    Read::by_ref(&mut file).take(HEADER).read_to_end(&mut head)?;
    let Some(format) = unfinished(&head) else { return Ok(None) };
    if matches!(file.try_lock(), Err(std::fs::TryLockError::WouldBlock)) {
        return Ok(Some(Found::InUse(path.to_owned())));
    }
    let sound = file.metadata()?.len().saturating_sub(HEADER);
    Ok(Some(if sound < format.frame_bytes() {
        Found::Empty(path.to_owned())
    } else {
        Found::Left(Left { path: path.to_owned(), format, seconds: bytes_as_s(sound, format) })
    }))
}

/// The format of an unfinished recording of ours, by its first bytes.
fn unfinished(head: &[u8]) -> Option<Format> {
    let at = |from: usize, len: usize| head.get(from..from + len);
    let ours = at(0, 4)? == b"RIFF" && at(8, 8)? == b"WAVELIST" && at(32, 8)? == SOFTWARE;
    let open = at(usize::try_from(DATA_SIZE_AT).ok()?, 4)? == UNKNOWN;
    let short = |from: usize| Some(u16::from_le_bytes(at(from, 2)?.try_into().ok()?));
    let rate_hz = u32::from_le_bytes(at(52, 4)?.try_into().ok()?);
    let format = Format { rate_hz, channels: short(50)?, bits: short(62)? };
    (ours && open && format.bytes_per_s() > 0).then_some(format)
}

/// Finishes a recording: its sizes are written, nothing else is changed but an incomplete last sample.
/// Gives the seconds that are in it.
pub fn mend(left: &Left) -> io::Result<f64> {
    let mut file = OpenOptions::new().read(true).write(true).open(&left.path)?;
    if matches!(file.try_lock(), Err(std::fs::TryLockError::WouldBlock)) {
        return Err(io::Error::new(io::ErrorKind::ResourceBusy, "another program is recording into it"));
    }
    finish(&mut file, left.format.frame_bytes()).map(|bytes| bytes_as_s(bytes, left.format))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::file::Part;

    #[test]
    fn finds_and_finishes_what_a_crash_left() {
        let folder = tempfile::tempdir().unwrap();
        let format = Format { rate_hz: 8000, channels: 2, bits: 24 };
        let path = |name: &str| folder.path().join(name);
        let second = vec![0.25; 16_000];
        let mut cut = Part::create(&path("cut.wav"), format).unwrap();
        cut.write(&second).unwrap();
        drop(cut);
        let mut whole = Part::create(&path("whole.wav"), format).unwrap();
        whole.write(&second).unwrap();
        whole.finish().unwrap();
        drop(Part::create(&path("empty.wav"), format).unwrap());
        let _now = Part::create(&path("now.wav"), format).unwrap();
        std::fs::write(path("other.wav"), b"RIFF\xff\xff\xff\xffWAVEfmt ").unwrap();
        std::fs::write(path("no.wav"), b"").unwrap();

        let left = Left { path: path("cut.wav"), format, seconds: 1.0 };
        let found = look(folder.path()).unwrap();
        let expect =
            [Found::Left(left.clone()), Found::Empty(path("empty.wav")), Found::InUse(path("now.wav"))];
        assert_eq!(found, expect);
        assert!((mend(&left).unwrap() - 1.0).abs() < 1e-9);
        assert_eq!(look(folder.path()).unwrap().len(), 2, "it is finished now");
        assert_eq!(hound::WavReader::open(path("cut.wav")).unwrap().duration(), 8000);
    }
}
