//! The program as a person starts it: arguments in, exit code and words out, and what is left in the folder.

mod inputs;
#[cfg(feature = "whisper")]
mod kept;
#[cfg(feature = "whisper")]
mod models;
mod outputs;
mod pipes;
#[cfg(feature = "whisper")]
mod processor;
#[cfg(feature = "microphone")]
mod record;
mod schema;
mod snapshots;

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A folder of its own, and a program that finds no settings in it.
struct Place {
    folder: tempfile::TempDir,
}

impl Place {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a temporary folder") }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file and gives its path.
    fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        std::fs::write(self.path(name), bytes).expect("a file in a temporary folder");
        self.path(name)
    }

    /// The program, to be run in this folder.
    fn tugback(&self, args: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Command {
        let mut run = Command::new(env!("CARGO_BIN_EXE_tugback"));
        run.args(args).current_dir(self.folder.path()).stdin(Stdio::null());
        for home in ["HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_DATA_DIRS"] {
            run.env(home, self.folder.path());
        }
        for asked in ["TUGBACK_LOG", "RUST_BACKTRACE", "CLICOLOR_FORCE", "COLUMNS"] {
            run.env_remove(asked);
        }
        run.env("NO_COLOR", "1");
        run
    }

    fn run(&self, args: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Ran {
        Ran::from(&self.tugback(args).output().expect("tugback runs"))
    }

    /// Names in the folder.
    fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).expect("the folder");
        let mut names: Vec<String> =
            entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

/// What a run left.
#[derive(Debug)]
struct Ran {
    /// Minus one where a signal ended it.
    code: i32,
    out: String,
    err: String,
}

impl Ran {
    fn from(output: &Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    /// It could not do it, said so in one go with these words, and printed no result.
    #[track_caller]
    fn refused(&self, words: &[&str]) {
        let said = one_line(&self.err);
        assert_eq!(self.code, 2, "{self:?}");
        assert_eq!(self.out, "", "a result was printed");
        assert!(!said.contains("panicked"), "{said}");
        for word in words {
            assert!(said.contains(word), "`{word}` is not in: {said}");
        }
    }
}

/// Text without the frame and the line breaks that the terminal wants.
fn one_line(text: &str) -> String {
    let plain: String = text.chars().map(|c| if "│╰╭─▶×·├".contains(c) { ' ' } else { c }).collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A folder or file of the source tree.
#[cfg_attr(not(feature = "whisper"), allow(dead_code, reason = "only the tests that listen need it"))]
fn source_tree(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Whether permissions bind the one who runs this (they do not bind root); says so where they do not.
fn permissions_bind(place: &Place) -> bool {
    use std::os::unix::fs::PermissionsExt as _;
    let locked = place.file("locked", "x");
    std::fs::set_permissions(&locked, std::fs::Permissions::from_mode(0o0)).expect("permissions");
    let bound = std::fs::read(&locked).is_err();
    std::fs::remove_file(locked).expect("removed");
    if !bound {
        skipped("root may read and write everywhere");
    }
    bound
}

/// Says, past the capture of test output, that a test could not be made here.
fn skipped(why: &str) {
    use std::io::Write as _;
    let test = std::thread::current().name().unwrap_or_default().to_owned();
    let _ = writeln!(std::io::stderr(), "{test}: skipped, {why}");
}
