//! Why a recording cannot be read: what was found, what would do, what to try.

use std::{io, path::PathBuf};

/// Why a recording cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    #[error("cannot read `{path}`")]
    Read { path: PathBuf, source: io::Error },
    #[error("`{path}` is a folder; name one recording in it")]
    Folder { path: PathBuf },
    #[error(
        "`{path}` is not an ordinary file (a device or a pipe); save the recording as a file first and name that"
    )]
    NotAFile { path: PathBuf },
    #[error("`{path}` is empty (0 bytes): nothing was saved into it; look for another copy on the recorder")]
    Empty { path: PathBuf },
    #[error(
        "`{path}` is not a recording: {found}; give a sound or video file, or a transcript (.vtt, .srt, .txt)"
    )]
    NotSound { path: PathBuf, found: String },
    #[error(
        "`{path}` is {container}, which is not read; convert a copy with `ffmpeg -i INPUT -vn OUTPUT.flac` and give that"
    )]
    Container { path: PathBuf, container: String },
    #[error(
        "`{path}` is {container}, but its sound is {codec}, for which there is no decoder here; convert a copy with `ffmpeg -i INPUT -vn OUTPUT.flac` and give that"
    )]
    Codec { path: PathBuf, container: String, codec: String },
    #[error(
        "`{path}` ({container}) has no sound track; check that the microphone was on, and look for a separate sound file"
    )]
    NoSoundTrack { path: PathBuf, container: String },
    #[error(
        "`{path}` ({container}): recording was cut off before it was finished: {what}; keep the original, repair a copy with the help of a sibling file (another recording from the same device), and give the repaired copy"
    )]
    CutOff { path: PathBuf, container: String, what: String },
    #[error(
        "`{path}` ({container}) holds no sound: not one sample could be decoded ({why}); look for another copy on the recorder"
    )]
    NoSamples { path: PathBuf, container: String, why: String },
    #[error(
        "`{path}` ({container}): the header says {found} channels; 1 to {most} can be read; if you know how it was recorded, put the right number into a copy"
    )]
    Channels { path: PathBuf, container: String, found: u32, most: usize },
    #[error(
        "`{path}` ({container}): the header says {found} samples per second; 1000 to 768000 can be read; the rate cannot be guessed without making every time in the log wrong, so put the right rate into a copy"
    )]
    Rate { path: PathBuf, container: String, found: u32 },
    #[error(
        "`{path}` ({container}) is damaged: {what}; keep the original and look for another copy on the recorder"
    )]
    Damaged { path: PathBuf, container: String, what: String },
    #[error("`{path}` has no track {asked}; {} (`tugback inspect` shows what is in it)", match found {
        1 => "it has one sound track, 1".to_owned(),
        _ => format!("its sound tracks are 1 to {found}"),
    })]
    Track { path: PathBuf, asked: usize, found: usize },
}
