//! What was found in a recording and what was chosen, for the log's `source` and for `tugback inspect`.

use serde::Serialize;

/// What was found in a recording and what was chosen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Of the file's bytes, 64 hexadecimal digits.
    #[serde(skip)]
    pub sha256: String,
    /// "MP4", "WAV" …, by content, never by name.
    pub container: String,
    pub codec: String,
    /// Of the file, samples per second.
    pub rate_hz: u32,
    pub channels: usize,
    /// Which track was taken, from 1.
    pub track: usize,
    /// Which channel was taken and why, one sentence.
    pub channel: String,
    /// Seconds that could be decoded.
    pub decoded_s: f64,
    /// Seconds that the header promises, where it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub declared_s: Option<f64>,
    /// What was wrong with the file and what was assumed, one sentence each.
    #[serde(skip)]
    pub repairs: Vec<String>,
}
