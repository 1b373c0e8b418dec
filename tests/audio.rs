//! Recordings of every kind, whole and broken.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "test code: a panic is the failure, and its numbers are small"
)]

#[path = "audio/channels.rs"]
mod channels;
#[path = "audio/cuts.rs"]
mod cuts;
#[path = "audio/formats.rs"]
mod formats;
#[path = "audio/inspect.rs"]
mod inspect;
#[path = "audio/made.rs"]
mod made;
#[path = "audio/soak.rs"]
mod soak;
#[path = "audio/times.rs"]
mod times;
#[path = "audio/wav.rs"]
mod wav;
