//! The log document: the contract in memory (`model`), on disk (`file`), and its JSON Schema. Never sees audio.

pub mod model;

pub use model::{
    Canal, Case, Change, Doubt, Entry, Log, MadeBy, Review, Source, SourceKind, Status, Unplaced, Value,
};
