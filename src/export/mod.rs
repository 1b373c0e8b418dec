//! The log in other forms, one file per form. Comes in: a log. Goes out: text. Never sees audio, changes nothing.

pub mod draw;
