//! The page's server, asked by a plain client: what it answers, and what it refuses.

#![allow(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    clippy::cast_precision_loss,
    clippy::type_complexity,
    reason = "a test may fail where its server answers something else"
)]

#[path = "page/ask.rs"]
mod ask;
#[path = "page/attacks.rs"]
mod attacks;
#[path = "page/decisions.rs"]
mod decisions;
#[path = "page/desk.rs"]
mod desk;
#[path = "page/live.rs"]
mod live;
#[path = "page/recording.rs"]
mod recording;
#[path = "page/serve.rs"]
mod serve;
