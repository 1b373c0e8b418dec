//! Heard words → tokens: numbers, units, terms, cues. Knows no recogniser. Pure and total: never an error, never a panic.

pub mod decimal;

pub use decimal::Decimal;
