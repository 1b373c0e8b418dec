//! The log document: the contract in memory (`model`), on disk (`file`, `v1`), and its JSON Schema. Never sees audio.

pub mod file;
pub mod model;
pub mod schema;
pub mod units;
mod v1;

#[cfg(test)]
mod tests;

pub use file::{LogError, read, write};
pub use model::{
    Canal, Case, Change, Doubt, Entry, FORMAT, Log, MadeBy, Review, Source, SourceKind, Status, Unplaced,
    VERSION, Value,
};
