//! Reviewing, seen from outside: whatever is decided can be taken back, the history shows every tampering, two people do
//! not overwrite each other, and `tugback verify` says what fits.

#![allow(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test may fail where something is missing"
)]

#[path = "review/common.rs"]
mod common;
#[path = "review/properties.rs"]
mod properties;
#[path = "review/store.rs"]
mod store;
#[path = "review/verify.rs"]
mod verify;
