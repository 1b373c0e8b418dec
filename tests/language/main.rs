//! The language of the operatory, judged from outside: known traps row by row, a general library for number words, the
//! standards for units, sizes and teeth.

#![expect(clippy::print_stderr, reason = "says what was skipped, and why")]

mod cases;
mod length;
mod numbers;
mod print;
mod spoken;
mod standards;
mod wild;
