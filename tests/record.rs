//! Recording from a fake microphone that fails in every way a real one does.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    clippy::print_stdout,
    reason = "a test that stops here is a test that fails; its numbers are small"
)]

#[path = "record/kills.rs"]
mod kills;
#[path = "record/live.rs"]
mod live;
#[cfg(all(target_os = "linux", feature = "microphone"))]
#[path = "record/pulse.rs"]
mod pulse;
#[path = "record/troubles.rs"]
mod troubles;
