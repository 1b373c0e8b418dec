//! Recordings made for a test: WAV files of every shape, right and wrong.

use std::{
    fs,
    path::{Path, PathBuf},
};

use tugback::audio::{self, Options, Recording, Samples as _};

/// A stored recording.
pub(crate) fn stored(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/audio").join(name)
}

/// The bytes of a stored recording.
pub(crate) fn bytes(name: &str) -> Vec<u8> {
    fs::read(stored(name)).unwrap()
}

/// Six seconds of a voice, 16 kHz, from the stored WAV file.
pub(crate) fn voice() -> Vec<f32> {
    let mut file = hound::WavReader::open(stored("a00_ok16.wav")).unwrap();
    file.samples::<i16>().map(|s| f32::from(s.unwrap()) / 32_768.0).collect()
}

/// All samples that a recording gives.
pub(crate) fn all(recording: &mut Recording) -> Vec<f32> {
    let mut all = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        all.extend(block);
    }
    all
}

/// Opens bytes as a file of that name.
pub(crate) fn open(name: &str, bytes: &[u8], track: Option<usize>) -> Result<Recording, audio::Error> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    let opened = audio::open(&path, &Options { track });
    assert_eq!(fs::read(&path).unwrap(), bytes, "the source was changed");
    opened
}
