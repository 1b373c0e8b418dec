//! Heard words → tokens: numbers, units, terms, cues. Knows no recogniser. Pure and total: never an error, never a panic.

pub mod decimal;
mod homophone;
mod length;
pub mod line;
mod named;
pub mod number;
mod size;
pub mod slot;
pub mod sound;
pub mod spelling;
pub mod token;
pub mod transcript;
pub mod vocabulary;

pub use decimal::Decimal;
