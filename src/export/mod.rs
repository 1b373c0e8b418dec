//! The log in other forms, one file per form. Comes in: a log. Goes out: text. Never sees audio, changes nothing.
//!
//! Every form is escaped for its format: what was said, and what a file is called, is never markup, code or a formula.

pub mod breath;
pub mod captions;
pub mod checklist;
pub mod draw;
mod error;
pub mod escape;
pub mod fhir;
pub mod note;
pub mod phrase;
pub mod record;
mod standing;
pub mod table;
pub mod template;

pub use error::ExportError;
pub use standing::standing;
pub use template::{Format, Template};

/// Below everything that is made from a log that nobody has signed.
pub const CAUTION: &str = "Draft from dictation, to be checked and signed by the treating clinician. Local rules and licensed \
                           practice come first.";

#[cfg(test)]
mod tests;
