//! Logs to review, made from the sample transcripts without a model.

use std::path::{Path, PathBuf};

use tugback::{
    entries::{Extractor, Settings},
    log::{Log, MadeBy, Source, file},
    review::{By, Decision},
    words::transcript,
};

pub(crate) fn by(who: &str) -> By {
    By { who: who.into(), at: "2026-01-02T10:00:00Z".into() }
}

pub(crate) fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-samples").join(name)
}

/// The draft of a sample transcript, as it would be read from a file.
pub(crate) fn draft(name: &str) -> Log {
    let bytes = std::fs::read(sample(name)).expect("a sample");
    let read = transcript::read(&bytes).expect("a transcript");
    let sum = tugback::review::seal::digest(&[&String::from_utf8_lossy(&bytes)]);
    let source = Source { file: name.into(), sha256: sum, duration_s: read.duration_s, ..Source::default() };
    let log = tugback::log_of(&read.breaths, &Extractor::new(Settings::default()), source, MadeBy::default());
    let text = file::to_json(&log).expect("a log that can be written");
    file::parse(text.as_bytes(), Path::new(name)).expect("a log that can be read")
}

/// A draft in a folder of its own, beside its transcript.
pub(crate) fn folder() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::copy(sample("incisor.vtt"), folder.path().join("incisor.vtt")).expect("a copy");
    let path = folder.path().join("incisor.log.json");
    file::write(&draft("incisor.vtt"), &path).expect("written");
    (folder, path)
}

pub(crate) fn accept(id: &str) -> Decision {
    Decision::Accept { entries: vec![id.into()] }
}

/// Of the first entry of the sample that holds this field.
pub(crate) fn correct(field: &str, to: &str) -> Decision {
    let log = draft("incisor.vtt");
    let entry = log.entries.iter().find(|e| e.values.contains_key(field)).expect("an entry with this field");
    correct_in(&entry.id, field, to)
}

pub(crate) fn correct_in(id: &str, field: &str, to: &str) -> Decision {
    Decision::Correct { entry: id.into(), field: field.into(), to: Some(to.into()) }
}

pub(crate) fn sign(name: &str) -> Decision {
    Decision::Sign { name: name.into(), role: "dentist".into(), not_verified: true }
}
