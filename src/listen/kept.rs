//! Finished breaths on disk while a recording is listened to, so that a run that was stopped or killed is gone on with
//! and not begun again. Comes in: breaths in the order of the recording. Goes out: the same breaths to the next run.
//!
//! The file lies beside the result and goes away with it. Its first line says what the breaths were made from
//! (recording, models, program); one line for each breath follows, written and synced as soon as the breath is finished.
//! A line that was cut by a kill is heard again. What was made from anything else is never taken.

use std::{
    ffi::OsString,
    fs::{self, File, OpenOptions, TryLockError},
    io::{self, Read as _, Seek as _, SeekFrom, Write as _},
    path::{Path, PathBuf},
};

use serde_json::json;
use sha2::{Digest as _, Sha256};

use super::{
    Error, Event, Heard, Progress, Second, Settings,
    heard::Breath,
    listen_each,
    model::{self, Kind, ModelError},
};
use crate::audio::Samples;

/// How the first line begins.
const HEAD: &str = r#"{"format":"tugback-unfinished","#;
/// Raised when what a line holds, or how breaths are made, changes without a new program version.
const VERSION: u32 = 2;

/// Why finished parts cannot be kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum KeptError {
    #[error(
        "cannot write `{path}`, which keeps what is heard while it is not finished; choose another place after -o"
    )]
    Write { path: PathBuf, source: io::Error },
    #[error(
        "`{path}` is being written by another tugback now; wait until it has ended, or choose another place after -o"
    )]
    InUse { path: PathBuf },
    #[error(
        "`{path}` would keep what is heard while it is not finished, but a file of another kind has that name; move it away, or choose another place after -o"
    )]
    Foreign { path: PathBuf },
    #[error("cannot use the speech model")]
    Model(#[from] ModelError),
}

/// The breaths that are finished, in memory and on disk.
#[derive(Debug)]
pub struct Kept {
    path: PathBuf,
    file: File,
    breaths: Vec<Breath>,
    /// Why the last breath could not be written; from then on nothing is.
    failed: Option<io::Error>,
}

impl Kept {
    /// Where the finished parts of the result `output` are kept: `visit.log.json` → `visit.log.json.unfinished`.
    pub fn place(output: &Path) -> PathBuf {
        let mut name = OsString::from(output);
        name.push(".unfinished");
        name.into()
    }

    /// Opens the file at `path` or makes it. `sound` says which sound is listened to: the recording's checksum, track and
    /// channels.
    pub fn open(path: &Path, sound: &str, settings: &Settings) -> Result<Self, KeptError> {
        let made_from = made_from(sound, settings)?;
        Self::open_for(path, &made_from)
    }

    fn open_for(path: &Path, made_from: &str) -> Result<Self, KeptError> {
        let write = |source| KeptError::Write { path: path.to_owned(), source };
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut file = options.open(path).map_err(write)?;
        // Where a folder knows no locks, two runs at once are the user's care.
        if matches!(file.try_lock(), Err(TryLockError::WouldBlock)) {
            return Err(KeptError::InUse { path: path.to_owned() });
        }
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(write)?;
        let ours = bytes.starts_with(HEAD.as_bytes()) || HEAD.as_bytes().starts_with(&bytes);
        if !ours {
            return Err(KeptError::Foreign { path: path.to_owned() });
        }
        let head = format!("{HEAD}\"version\":{VERSION},\"made_from\":{}}}\n", json!(made_from));
        let (breaths, good) = match bytes.strip_prefix(head.as_bytes()) {
            Some(rest) => whole_lines(rest),
            None => (Vec::new(), 0),
        };
        if bytes.starts_with(head.as_bytes()) {
            let end = (head.len() + good) as u64;
            file.set_len(end).and_then(|()| file.seek(SeekFrom::Start(end))).map_err(write)?;
        } else {
            file.set_len(0)
                .and_then(|()| file.rewind())
                .and_then(|()| file.write_all(head.as_bytes()))
                .and_then(|()| file.sync_all())
                .map_err(write)?;
        }
        Ok(Self { path: path.to_owned(), file, breaths, failed: None })
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How many breaths are finished.
    pub fn count(&self) -> usize {
        self.breaths.len()
    }

    /// Speech that ended by this time of the recording is finished.
    pub fn done_s(&self) -> f64 {
        self.breaths.last().map_or(0.0, |breath| breath.to_s)
    }

    /// Why breaths could not be written, if so.
    pub fn failed(&self) -> Option<&io::Error> {
        self.failed.as_ref()
    }

    fn add(&mut self, breath: &Breath) {
        self.breaths.push(breath.clone());
        if self.failed.is_some() {
            return;
        }
        let written = serde_json::to_vec(breath).map_err(io::Error::from).and_then(|mut line| {
            line.push(b'\n');
            self.file.write_all(&line)?;
            self.file.sync_data()
        });
        self.failed = written.err();
    }

    /// The result is written: nothing needs to be kept any more.
    pub fn remove(mut self) -> io::Result<()> {
        self.breaths.clear();
        fs::remove_file(&self.path)
    }
}

impl Drop for Kept {
    /// A file in which nothing is kept is not left behind.
    fn drop(&mut self) {
        if self.breaths.is_empty() {
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// The breaths of all lines up to the first that is not whole, and how many bytes they are.
fn whole_lines(bytes: &[u8]) -> (Vec<Breath>, usize) {
    let (mut breaths, mut good) = (Vec::<Breath>::new(), 0);
    for line in bytes.split_inclusive(|b| *b == b'\n') {
        let Some(breath) = line.strip_suffix(b"\n").and_then(|l| serde_json::from_slice::<Breath>(l).ok())
        else {
            break;
        };
        if breath.to_s < breaths.last().map_or(0.0, |last| last.to_s) {
            break;
        }
        breaths.push(breath);
        good += line.len();
    }
    (breaths, good)
}

/// A checksum of everything that decides which breaths come out.
fn made_from(sound: &str, settings: &Settings) -> Result<String, ModelError> {
    let sum = |path: &Path, kind| model::check(path, kind).map(|info| info.sha256);
    let vad = settings.vad.as_deref().map(|path| sum(path, Kind::VoiceDetector)).transpose()?;
    let second = match &settings.second {
        Second::SameModel => "the same".to_owned(),
        Second::Off => "nobody".to_owned(),
        Second::Other(path) => sum(path, Kind::Recogniser)?,
    };
    let all = json!([
        env!("CARGO_PKG_VERSION"),
        sound,
        sum(&settings.recogniser, Kind::Recogniser)?,
        vad,
        second,
        format!("{:?}", settings.start_s),
    ]);
    Ok(crate::hex(&Sha256::digest(all.to_string())))
}

/// Listens like [`listen_each`], and keeps every finished breath. Breaths that an earlier run kept are handed over first,
/// as if they had been heard just now; what comes out is the same as without a stop.
pub fn go_on(
    samples: &mut dyn Samples,
    settings: &Settings,
    kept: Option<&mut Kept>,
    sink: &mut dyn FnMut(Event),
) -> Result<Heard, Error> {
    let Some(kept) = kept else { return listen_each(samples, settings, sink) };
    for breath in &kept.breaths {
        sink(Event::Breath(breath.clone()));
    }
    let start_s = settings.start_s.max(kept.done_s());
    if kept.count() > 0 {
        sink(Event::Progress(Progress { done_s: start_s, of_s: samples.expected_s() }));
    }
    let settings = Settings { start_s, ..settings.clone() };
    listen_each(samples, &settings, &mut |event| {
        if let Event::Breath(breath) = &event {
            kept.add(breath);
        }
        sink(event);
    })
}

#[cfg(test)]
mod tests;
