//! Logs on disk. Comes in: a path. Goes out: a log, or one sentence that says what is wrong, where, and what to try.
//!
//! Reading looks at `format` and `version` first and then lets that version's reader speak; it never tries one reader
//! after another. Writing never leaves half a file: a temporary file in the same folder is synced and renamed.

use std::{
    fs::{self, File},
    io::{self, Write as _},
    path::{Path, PathBuf},
};

use serde_json::Value as Json;

use crate::log::{
    model::{FORMAT, Log, VERSION},
    v1,
};

/// Why a log could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    #[error("cannot read `{path}`")]
    Read { path: PathBuf, source: io::Error },
    #[error("`{path}` is empty; a log made by `tugback log` is expected")]
    Empty { path: PathBuf },
    #[error("`{path}` is not a log: byte {at} is no UTF-8 text; a log is a JSON file made by `tugback log`")]
    NotText { path: PathBuf, at: usize },
    #[error(
        "`{path}` is damaged at line {line}, column {column}: {what}; take an undamaged copy, or make the log again \
         with `tugback log`"
    )]
    Damaged { path: PathBuf, line: usize, column: usize, what: String },
    #[error("`{path}` is not a log: {what}; a JSON file made by `tugback log` is expected")]
    NotALog { path: PathBuf, what: String },
    #[error(
        "`{path}` is a log of version {found}, and this program knows versions up to {VERSION}; open it with the newer \
         program that wrote it"
    )]
    Newer { path: PathBuf, found: String },
    #[error(
        "`{path}` is a log of version {found}, which no program ever wrote; the oldest is 1. Take an undamaged copy, or \
         make the log again with `tugback log`"
    )]
    Older { path: PathBuf, found: String },
    #[error("`{path}`{place}: {what}")]
    Wrong { path: PathBuf, place: Place, what: String },
    #[error("cannot write the log: `{place}` is not a finite number")]
    NotFinite { place: String },
    #[error("cannot write `{path}`; nothing was left half-written. {hint}")]
    Write { path: PathBuf, hint: &'static str, source: io::Error },
}

/// Where in a file: its line and column where known, and the JSON path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    pub line: usize,
    pub column: usize,
    pub path: String,
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.line > 0 {
            write!(f, ", line {}, column {}", self.line, self.column)?;
        }
        if !self.path.is_empty() {
            write!(f, ", at `{}`", self.path)?;
        }
        Ok(())
    }
}

/// Reads a log.
pub fn read(path: &Path) -> Result<Log, LogError> {
    let bytes = fs::read(path).map_err(|source| LogError::Read { path: path.to_owned(), source })?;
    parse(&bytes, path)
}

/// Reads a log from the bytes of the file at `path`, which is only named in errors.
pub fn parse(bytes: &[u8], path: &Path) -> Result<Log, LogError> {
    let path = || path.to_owned();
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.iter().all(|b| b.is_ascii_whitespace() || *b == 0) {
        return Err(LogError::Empty { path: path() });
    }
    let text = str::from_utf8(bytes)
        .map_err(|e| LogError::NotText { path: path(), at: e.valid_up_to().saturating_add(1) })?;
    let json: Json = serde_json::from_str(text).map_err(|e| LogError::Damaged {
        path: path(),
        line: e.line(),
        column: e.column(),
        what: damage(text, &e),
    })?;
    let not_a_log = |what: &str| LogError::NotALog { path: path(), what: what.to_owned() };
    let Json::Object(head) = &json else { return Err(not_a_log("it holds no object")) };
    match head.get("format") {
        Some(Json::String(format)) if format == FORMAT => {}
        Some(other) => return Err(not_a_log(&format!("its `format` is {other}, not \"{FORMAT}\""))),
        None => return Err(not_a_log("it has no field `format`")),
    }
    let Some(version) = head.get("version") else { return Err(not_a_log("it has no field `version`")) };
    match version.as_u64() {
        Some(1) => v1::read(text).map_err(|wrong| LogError::Wrong {
            path: path(),
            place: Place { line: wrong.line, column: wrong.column, path: wrong.place },
            what: wrong.what,
        }),
        Some(n) if n > u64::from(VERSION) => Err(LogError::Newer { path: path(), found: n.to_string() }),
        Some(n) => Err(LogError::Older { path: path(), found: n.to_string() }),
        None if version.is_number() => Err(LogError::Older { path: path(), found: version.to_string() }),
        None => Err(not_a_log(&format!("its `version` is {version}, not a whole number"))),
    }
}

/// What a JSON parser stumbled over, in words for the person who has the file.
fn damage(text: &str, error: &serde_json::Error) -> String {
    if error.is_eof() {
        return "the file ends too early".to_owned();
    }
    let line = text.lines().nth(error.line().saturating_sub(1)).unwrap_or_default();
    let from = error.column().saturating_sub(1);
    let rest = line.get(from..).unwrap_or_default();
    // The parser stops inside the word: the place lies on or just after its first letter.
    let near = line.get(from.saturating_sub(1)..).unwrap_or_default();
    for word in ["NaN", "-Infinity", "Infinity", "nan", "inf"] {
        if rest.starts_with(word) || near.starts_with(word) {
            return format!("{word} is not a number that a log can hold");
        }
    }
    v1::plain(error)
}

/// The log as it is written: times rounded to 0.01 s, unknown fields kept, a line feed at the end.
pub fn to_json(log: &Log) -> Result<String, LogError> {
    let mut log = log.clone();
    let round = |place: String, x: &mut f64| {
        if !x.is_finite() {
            return Err(LogError::NotFinite { place });
        }
        *x = (*x * 100.0).round() / 100.0;
        Ok(())
    };
    round("source.duration_s".to_owned(), &mut log.source.duration_s)?;
    for (i, entry) in log.entries.iter_mut().enumerate() {
        round(format!("entries[{i}].from_s"), &mut entry.from_s)?;
        round(format!("entries[{i}].to_s"), &mut entry.to_s)?;
        if let Some(at) = &mut entry.struck_at_s {
            round(format!("entries[{i}].struck_at_s"), at)?;
        }
    }
    for (i, stretch) in log.unplaced.iter_mut().enumerate() {
        round(format!("unplaced[{i}].from_s"), &mut stretch.from_s)?;
        round(format!("unplaced[{i}].to_s"), &mut stretch.to_s)?;
    }
    let mut text = serde_json::to_string_pretty(&log)
        .map_err(|e| LogError::NotFinite { place: format!("a field that JSON cannot hold ({e})") })?;
    text.push('\n');
    Ok(text)
}

/// Writes the log whole or not at all. `-`, a pipe or a device is written to directly.
pub fn write(log: &Log, path: &Path) -> Result<(), LogError> {
    write_whole(path, to_json(log)?.as_bytes())
}

/// Writes a file whole or not at all: a temporary file in the same folder, synced, renamed, and the folder synced.
/// A link is followed; a file that was there keeps its permissions, a new one can be read by its owner alone.
/// `-`, a pipe or a device is written to directly.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), LogError> {
    let failed = |source: io::Error| LogError::Write { path: path.to_owned(), hint: hint(&source), source };
    if path == Path::new("-") || path == Path::new("/dev/stdout") {
        let mut out = io::stdout().lock();
        return out.write_all(bytes).and_then(|()| out.flush()).map_err(failed);
    }
    let before = fs::metadata(path).ok();
    if before.as_ref().is_some_and(fs::Metadata::is_dir) {
        return Err(failed(io::Error::from(io::ErrorKind::IsADirectory)));
    }
    if path.starts_with("/dev") || before.as_ref().is_some_and(|m| !m.is_file()) {
        let mut out = File::options().write(true).open(path).map_err(failed)?;
        return out.write_all(bytes).and_then(|()| out.flush()).map_err(failed);
    }
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let folder = match target.parent() {
        Some(folder) if folder != Path::new("") => folder.to_owned(),
        _ => PathBuf::from("."),
    };
    let mut beside =
        tempfile::Builder::new().prefix(".tugback-").suffix(".tmp").tempfile_in(&folder).map_err(failed)?;
    beside.write_all(bytes).and_then(|()| beside.flush()).map_err(failed)?;
    if let Some(before) = before {
        fs::set_permissions(beside.path(), before.permissions()).map_err(failed)?;
    }
    beside.as_file().sync_all().map_err(failed)?;
    beside.persist(&target).map_err(|e| failed(e.error))?;
    sync_folder(&folder).map_err(failed)
}

/// Makes the rename itself last; a system that cannot sync a folder has nothing to do here.
#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

/// What to try.
fn hint(error: &io::Error) -> &'static str {
    match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "The disk is full: make room, or name another place with -o"
        }
        io::ErrorKind::NotFound => "The folder does not exist: make it first, or name another place with -o",
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "This account may not write there: name another place with -o"
        }
        io::ErrorKind::IsADirectory => "It is a folder: name a file in it with -o",
        io::ErrorKind::BrokenPipe => "The program that was to read it has gone",
        _ => "Name another place with -o",
    }
}
