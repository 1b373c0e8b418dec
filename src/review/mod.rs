//! A person looks the draft through and signs it: accepts, corrects, strikes, says that it cannot be told, makes an entry
//! from speech that had no place, takes back.
//!
//! Comes in: a log, who and when, and one decision. Goes out: the changed log; what was there before stands in its history,
//! so that the state at any moment, the signed one first of all, can be read again ([`history::before`]). Pure but for
//! [`store`], which reads and writes the file. Never changes what was heard, never forgets a decision, sees no audio.

pub mod decide;
pub mod error;
pub mod history;
pub mod open;
pub mod patch;
pub mod seal;
pub mod sign;
pub mod store;
pub mod verify;

#[cfg(test)]
mod tests;

pub use decide::{Decision, Words, decide};
pub use error::ReviewError;
pub use sign::{Signature, State, state};

/// Who decides, and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct By {
    pub who: String,
    /// RFC 3339.
    pub at: String,
}
