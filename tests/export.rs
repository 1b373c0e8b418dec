//! `tugback export` as a person runs it, on logs made from the spoken samples.

#[path = "export/fhir.rs"]
mod fhir;
#[path = "export/forms.rs"]
mod forms;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn tugback(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tugback")).args(args).output().expect("the program starts")
}

fn source_tree(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name).display().to_string()
}

/// A folder with the log of a sample; the name of the log in it.
struct Sample {
    folder: tempfile::TempDir,
}

impl Sample {
    fn new(name: &str) -> Self {
        let sample = Self { folder: tempfile::tempdir().expect("a folder") };
        let log = sample.path("log.json").display().to_string();
        let made = tugback(&["log", "-q", &source_tree(&format!("audio-samples/{name}.vtt")), "-o", &log]);
        assert!(made.status.success(), "{made:?}");
        sample
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// What `export` prints.
    #[track_caller]
    fn export(&self, args: &[&str]) -> String {
        let out = self.run(args);
        assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).expect("UTF-8")
    }

    fn run(&self, args: &[&str]) -> Output {
        let log = self.path("log.json").display().to_string();
        tugback(&[&["export", log.as_str()], args].concat())
    }

    fn log(&self) -> tugback::log::Log {
        tugback::log::read(&self.path("log.json")).expect("a log")
    }
}

const SAMPLES: [&str; 3] = ["incisor", "after-visit", "lecture"];
