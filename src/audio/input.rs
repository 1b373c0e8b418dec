//! The file as bytes: opened for reading only, as long as it was when it was opened, read through one window.

use std::{
    fs::File,
    io::{self, Read, Seek, SeekFrom},
    path::{Path, PathBuf},
};

use sha2::{Digest as _, Sha256};
use symphonia::core::io::MediaSource;

use super::error::Error;

/// How much is read at once where less is asked for.
const WINDOW: usize = 1 << 16;

/// A file opened for reading. What is written to it later is not seen.
#[derive(Debug)]
pub(super) struct Input {
    path: PathBuf,
    file: File,
    len: u64,
    window: Vec<u8>,
    window_at: u64,
}

impl Input {
    /// Opens an ordinary, non-empty file.
    pub(super) fn open(path: &Path) -> Result<Self, Error> {
        let path = path.to_owned();
        // Asked before opening: opening a pipe would wait for a writer.
        let about = match std::fs::metadata(&path) {
            Ok(about) => about,
            Err(source) => return Err(Error::Read { path, source }),
        };
        if about.is_dir() {
            return Err(Error::Folder { path });
        }
        if !about.is_file() {
            return Err(Error::NotAFile { path });
        }
        let file = match File::open(&path) {
            Ok(file) => file,
            Err(source) => return Err(Error::Read { path, source }),
        };
        match about.len() {
            0 => Err(Error::Empty { path }),
            len => Ok(Self { path, file, len, window: Vec::new(), window_at: 0 }),
        }
    }

    /// Opens the same file again, no longer than it was.
    pub(super) fn again(&self) -> Result<Self, Error> {
        let again = Self::open(&self.path)?;
        Ok(Self { len: self.len.min(again.len), ..again })
    }

    pub(super) fn path(&self) -> PathBuf {
        self.path.clone()
    }

    pub(super) const fn len(&self) -> u64 {
        self.len
    }

    /// Up to `want` bytes from `at` on; fewer only at the end of the file.
    pub(super) fn bytes(&mut self, at: u64, want: usize) -> Result<&[u8], Error> {
        let left = usize::try_from(self.len.saturating_sub(at)).unwrap_or(usize::MAX);
        let want = want.min(left);
        if want == 0 {
            return Ok(&[]);
        }
        let inside = at.checked_sub(self.window_at).and_then(|skip| usize::try_from(skip).ok());
        let from = match inside {
            Some(from) if from.saturating_add(want) <= self.window.len() => from,
            _ => {
                self.fill(at, want.max(WINDOW).min(left))?;
                0
            }
        };
        // A file that was cut while it is read gives less than its length promised.
        let to = from.saturating_add(want).min(self.window.len());
        Ok(self.window.get(from..to).unwrap_or_default())
    }

    /// Exactly `N` bytes from `at` on, or nothing where the file ends before.
    pub(super) fn array<const N: usize>(&mut self, at: u64) -> Result<Option<[u8; N]>, Error> {
        Ok(self.bytes(at, N)?.first_chunk::<N>().copied())
    }

    fn fill(&mut self, at: u64, size: usize) -> Result<(), Error> {
        self.window_at = at;
        self.window.clear();
        let file = &mut self.file;
        let window = &mut self.window;
        file.seek(SeekFrom::Start(at))
            .and_then(|_| file.take(size as u64).read_to_end(window))
            .map_err(|source| Error::Read { path: self.path.clone(), source })?;
        Ok(())
    }

    /// A part of the file for a reader that wants a stream.
    pub(super) fn span(self, start: u64, end: u64) -> Span {
        let end = end.min(self.len);
        Span { file: self.file, start: start.min(end), end, at: start.min(end), placed: false }
    }

    /// SHA-256 of all bytes, 64 hexadecimal digits.
    pub(super) fn sha256(&mut self) -> Result<String, Error> {
        let mut sha = Sha256::new();
        let mut at = 0;
        loop {
            let piece = self.bytes(at, WINDOW)?;
            if piece.is_empty() {
                break;
            }
            sha.update(piece);
            at += piece.len() as u64;
        }
        Ok(crate::hex(&sha.finalize()))
    }
}

/// A part of a file as a stream that starts at 0.
#[derive(Debug)]
pub(super) struct Span {
    file: File,
    start: u64,
    end: u64,
    at: u64,
    placed: bool,
}

impl Read for Span {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        if !self.placed {
            self.file.seek(SeekFrom::Start(self.at))?;
            self.placed = true;
        }
        let left = usize::try_from(self.end - self.at).unwrap_or(usize::MAX);
        let most = left.min(buf.len());
        let n = self.file.read(buf.get_mut(..most).unwrap_or_default())?;
        self.at += n as u64;
        Ok(n)
    }
}

impl Seek for Span {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let to = match to {
            SeekFrom::Start(to) => self.start.checked_add(to),
            SeekFrom::End(by) => self.end.checked_add_signed(by),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
        };
        match to {
            Some(to) if to >= self.start => {
                self.at = to.min(self.end);
                self.placed = false;
                Ok(self.at - self.start)
            }
            _ => Err(io::Error::from(io::ErrorKind::InvalidInput)),
        }
    }
}

impl MediaSource for Span {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.end - self.start)
    }
}
