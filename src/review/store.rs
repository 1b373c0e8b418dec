//! The log's file under review. Each decision is written at once and whole; a save that was made from an older state is
//! refused and told, so that of two people on one log nobody overwrites the other.

use std::{
    fs::{self, File},
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
};

use super::{By, Decision, ReviewError, decide, seal, verify::Recording};
use crate::checks::Settings;
use crate::log::{Log, LogError, file};

/// Which state of the file: the checksum of its bytes.
pub type Revision = String;

/// Why nothing was saved.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    #[error(transparent)]
    Log(#[from] LogError),
    #[error(transparent)]
    Review(#[from] ReviewError),
    #[error(
        "the log was changed elsewhere since you saw it; nothing was overwritten. Look at it again, then decide"
    )]
    Changed,
}

/// The log that was read last, so that it is taken apart only when its file has changed.
#[derive(Debug, Default)]
pub struct Memory {
    last: Mutex<Option<(PathBuf, Revision, Log)>>,
}

impl Memory {
    /// Reads a log and says which state it is.
    pub fn read(&self, path: &Path) -> Result<(Log, Revision), StoreError> {
        let bytes = fs::read(path).map_err(|source| LogError::Read { path: path.to_owned(), source })?;
        let revision = seal::digest(&[&String::from_utf8_lossy(&bytes)]);
        if let Some((at, known, log)) = &*self.last.lock().unwrap_or_else(PoisonError::into_inner)
            && at == path
            && *known == revision
        {
            return Ok((log.clone(), revision));
        }
        let log = file::parse(&bytes, path)?;
        self.keep(path, &revision, &log);
        Ok((log, revision))
    }

    /// Carries out a decision on the file, if it is still in the state that the person saw.
    pub fn save(
        &self,
        path: &Path,
        seen: &str,
        by: &By,
        decision: &Decision,
        reason: Option<&str>,
        settings: &Settings,
    ) -> Result<(Log, Revision), StoreError> {
        let _held = hold(path);
        let (mut log, now) = self.read(path)?;
        if now != seen {
            return Err(StoreError::Changed);
        }
        decide(&mut log, by, decision, reason, settings)?;
        let text = file::to_json(&log)?;
        file::write_whole(path, text.as_bytes())?;
        let revision = seal::digest(&[&text]);
        self.keep(path, &revision, &log);
        Ok((log, revision))
    }

    fn keep(&self, path: &Path, revision: &str, log: &Log) {
        let new = Some((path.to_owned(), revision.to_owned(), log.clone()));
        *self.last.lock().unwrap_or_else(PoisonError::into_inner) = new;
    }
}

/// [`Memory::read`], remembering nothing.
pub fn read(path: &Path) -> Result<(Log, Revision), StoreError> {
    Memory::default().read(path)
}

/// [`Memory::save`], remembering nothing.
pub fn save(
    path: &Path,
    seen: &str,
    by: &By,
    decision: &Decision,
    reason: Option<&str>,
    settings: &Settings,
) -> Result<(Log, Revision), StoreError> {
    Memory::default().save(path, seen, by, decision, reason, settings)
}

/// Between reading and writing nobody else of these programs writes. The folder is locked, because the file itself is
/// replaced; where a folder cannot be locked, the comparison of states alone must do.
fn hold(path: &Path) -> Option<File> {
    let real = fs::canonicalize(path).ok()?;
    let folder = File::open(real.parent()?).ok()?;
    folder.lock().ok()?;
    Some(folder)
}

/// Where the file that a log was made from would lie: beside it, under the plain name that the log gives. A name that leads
/// elsewhere is not followed.
pub fn source_path(path: &Path, log: &Log) -> Option<PathBuf> {
    let name = Path::new(&log.source.file);
    let plain = name.file_name().is_some_and(|n| n == name.as_os_str()) && !log.source.file.contains('\\');
    let folder = path.parent().unwrap_or(Path::new(""));
    plain.then(|| folder.join(name)).filter(|p| p.is_file())
}

/// The checksum of the file that the log was made from.
pub fn source_sum(path: &Path, log: &Log) -> Recording {
    let name = &log.source.file;
    let Some(source) = source_path(path, log) else {
        return Recording::Missing(format!("{name} is not beside the log; it was not compared"));
    };
    let sum = || -> std::io::Result<String> {
        use sha2::Digest as _;
        let mut hash = sha2::Sha256::new();
        let mut file = File::open(&source)?;
        let mut part = vec![0; 1 << 16];
        loop {
            match std::io::Read::read(&mut file, &mut part)? {
                0 => return Ok(crate::hex(&hash.finalize())),
                n => hash.update(part.get(..n).unwrap_or_default()),
            }
        }
    };
    sum().map_or_else(|e| Recording::Missing(format!("{name} cannot be read: {e}")), Recording::Sha256)
}
