//! A microphone → a recording that no crash can take, and the log as it grows.
//!
//! Comes in: a [`capture::Capture`] (a microphone, or a fake for tests), orders of the person at the chair. Goes out:
//! parts of the recording on disk, notices (ready, level, warnings), live entries. Never says "ready" before real
//! samples came, never changes to another microphone by itself, never keeps what was said during a pause, never lets a
//! failed write pass.

pub mod capture;
pub mod fake;
pub mod feed;
pub mod file;
pub mod keys;
pub mod live;
pub mod marks;
#[cfg(feature = "microphone")]
pub mod microphone;
pub mod recorder;
pub mod recover;
pub mod session;
pub mod shown;
pub mod spoken;
pub mod tones;
pub mod voice;
pub mod watch;
