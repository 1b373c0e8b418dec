//! Which logs and recordings the page may show. A request names one by an id that is made here; no part of a request ever
//! becomes a path.

use std::{
    fs,
    path::{Path, PathBuf},
};

use crate::review::seal::digest;

/// Names that recordings have; only for finding them in a folder, what they hold is looked at when they are opened.
const SOUNDS: [&str; 18] = [
    "wav", "flac", "mp3", "m4a", "mp4", "ogg", "oga", "opus", "aac", "aiff", "aif", "au", "caf", "mkv",
    "mka", "webm", "mov", "w64",
];
const TRANSCRIPTS: [&str; 2] = ["vtt", "srt"];
const LOG: &str = ".log.json";

/// One log, or a folder.
#[derive(Debug, Clone)]
pub enum Shelf {
    /// One log; its recording may be named.
    Log { log: PathBuf, audio: Option<PathBuf> },
    /// All of a folder, without the folders in it.
    Folder(PathBuf),
}

/// A log, a recording, or both.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    pub id: String,
    /// Without folder and endings.
    pub name: String,
    pub log: Option<PathBuf>,
    /// What a log can be made from: a recording or a transcript.
    pub source: Option<PathBuf>,
}

fn id_of(name: &str) -> String {
    digest(&["item\n", name]).chars().take(16).collect()
}

fn has_ending(path: &Path, endings: &[&str]) -> bool {
    path.extension().and_then(|e| e.to_str()).is_some_and(|e| endings.contains(&e.to_lowercase().as_str()))
}

impl Shelf {
    /// All there is, by name.
    pub fn items(&self) -> std::io::Result<Vec<Item>> {
        match self {
            Self::Log { log, .. } => {
                let name = log.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
                let name = name.strip_suffix(LOG).or(name.strip_suffix(".json")).unwrap_or(&name).to_owned();
                Ok(vec![Item { id: id_of(&name), name, log: Some(log.clone()), source: None }])
            }
            Self::Folder(folder) => scan(folder),
        }
    }

    /// The one with this id.
    pub fn find(&self, id: &str) -> Option<Item> {
        self.items().ok()?.into_iter().find(|i| i.id == id)
    }

    pub const fn is_desk(&self) -> bool {
        matches!(self, Self::Folder(_))
    }

    /// The recording that was named for this log.
    pub(super) fn named_audio(&self) -> Option<&Path> {
        match self {
            Self::Log { audio, .. } => audio.as_deref(),
            Self::Folder(_) => None,
        }
    }
}

fn scan(folder: &Path) -> std::io::Result<Vec<Item>> {
    let mut items: Vec<Item> = Vec::new();
    let real = fs::canonicalize(folder)?;
    let mut paths: Vec<PathBuf> = fs::read_dir(folder)?.filter_map(|e| Some(e.ok()?.path())).collect();
    paths.sort();
    for path in paths {
        // A link that leads out of the folder is not followed.
        let inside = fs::canonicalize(&path).is_ok_and(|p| p.is_file() && p.parent() == Some(&real));
        let Some(file) = path.file_name().and_then(|n| n.to_str()).filter(|n| inside && !n.starts_with('.'))
        else {
            continue;
        };
        let is_log = file.ends_with(LOG);
        let transcript = has_ending(&path, &TRANSCRIPTS);
        if !is_log && !transcript && !has_ending(&path, &SOUNDS) {
            continue;
        }
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        let name = file.strip_suffix(LOG).map_or(stem, str::to_owned);
        let at = items.iter().position(|i| i.name == name).unwrap_or_else(|| {
            items.push(Item { id: id_of(&name), name, log: None, source: None });
            items.len() - 1
        });
        let Some(item) = items.get_mut(at) else { continue };
        if is_log {
            item.log = Some(path);
        } else if item.source.is_none() || !transcript {
            // Where both are there, the recording is what was said.
            item.source = Some(path);
        }
    }
    items.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(items)
}

/// A recording beside a transcript, under the same name.
pub(super) fn sound_beside(source: &Path) -> Option<PathBuf> {
    SOUNDS.iter().map(|e| source.with_extension(e)).find(|p| p.is_file())
}
