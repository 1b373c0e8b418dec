//! How far a log has come: a draft, signed, or amended after it was signed.

use super::record::Standing;
use crate::log::Log;
use crate::review::verify::{Fits, Recording, verify};
use crate::review::{State, state};

/// How far the log has come. A signature that does not fit the log and its history is none: what was changed past the review
/// is a draft.
pub fn standing(log: &Log) -> Standing {
    let (state, by) = match state(log) {
        State::Draft { .. } => return draft(),
        State::Signed { by } => ("signed", by),
        State::Amended { by, .. } => ("amended", by),
    };
    let recording = Recording::Missing("not asked for".to_owned());
    if verify(log, &recording).iter().any(|line| line.fits == Fits::No) {
        return draft();
    }
    Standing { state, name: by.name, role: by.role, at: by.at, ..Standing::default() }
}

fn draft() -> Standing {
    Standing { state: "draft", ..Standing::default() }
}
