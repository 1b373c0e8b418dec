//! Listens to a dentist during root canal treatment and writes the procedure log that a person reviews and signs.
//!
//! The rooms, in the order that speech travels: [`audio`] → [`listen`] → [`words`] → [`entries`] (with [`kinds`]) →
//! [`log`]. Only here and in [`commands`] do rooms meet.

pub mod audio;
pub mod checks;
pub mod commands;
pub mod entries;
pub mod export;
pub mod kinds;
// Without the recogniser nothing calls the parts that compare and judge listenings.
#[cfg_attr(
    not(feature = "whisper"),
    allow(dead_code, unused_imports, reason = "used by the recogniser only")
)]
pub mod listen;
pub mod log;
pub mod page;
pub mod record;
pub mod review;
pub mod settings;
pub mod tables;
pub mod words;

use sha2::{Digest as _, Sha256};

use crate::{
    entries::Extractor,
    listen::heard::Breath,
    log::{Case, Log, MadeBy, Source},
};

/// Heard words → the procedure log. Pure: no file, no clock.
pub fn log_of(breaths: &[Breath], extractor: &Extractor, source: Source, made_by: MadeBy) -> Log {
    let found = extractor.extract(breaths);
    Log {
        format: log::model::FORMAT.to_owned(),
        version: log::model::VERSION,
        source,
        made_by: MadeBy {
            program: "tugback".to_owned(),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            rules_sha256: rules_sha256(extractor),
            instruments: extractor.likenesses().collect(),
            ..made_by
        },
        case: Case {
            teeth: found.teeth,
            notation: extractor.settings.notation.name().to_owned(),
            lecture: Some(found.lecture),
            ..Case::default()
        },
        entries: found.entries,
        unplaced: found.unplaced,
        findings: vec![],
        totals: serde_json::Map::new(),
        history: vec![],
        more: serde_json::Map::new(),
    }
}

/// Of the kinds and vocabularies that entries are made with, and of what the practice added to them.
pub fn rules_sha256(extractor: &Extractor) -> String {
    let mut hash = Sha256::new();
    for text in kinds::texts().chain(words::vocabulary::texts()) {
        hash.update(text);
    }
    hash.update(extractor.additions());
    hex(&hash.finalize())
}

/// Two hexadecimal digits a byte, as checksums are written.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}"); // writing into a string cannot fail
        text
    })
}
