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
        "`{path}` is empty (0 bytes): nothing was recorded into it; look for another copy on the recorder"
    )]
    Empty { path: PathBuf },
    #[error("`{path}` is not a recording that can be read: {why}")]
    Unreadable { path: PathBuf, why: String },
    #[error(
        "`{path}` holds no sound: {container} was found, but not one sample could be decoded; look for another copy on the recorder"
    )]
    NoSamples { path: PathBuf, container: String },
    #[error("`{path}` has no track {asked}; it has {found} (`tugback inspect` lists them)")]
    Track { path: PathBuf, asked: usize, found: usize },
}
