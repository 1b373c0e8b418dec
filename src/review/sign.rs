//! Signing. Comes in: a log that was looked through, name and role. Goes out: the log with a signature over its content.
//!
//! The signature is a checksum, no proof of a person: it shows that nothing was changed since without being written down.
//! What comes later is an amendment with a reason; the signed state can always be read again.

use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{
    error::ReviewError,
    history,
    open::Rest,
    patch::{self, Patch, to_json},
    seal,
};
use crate::checks::{self, Settings};
use crate::log::Log;

/// Who stands for the log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signature {
    pub name: String,
    pub role: String,
    /// RFC 3339.
    pub at: String,
    /// Of the content, see [`seal::content`].
    pub content_sha256: String,
    /// What was signed as not verified.
    #[serde(default)]
    pub not_verified: Rest,
}

/// How far a log has come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum State {
    /// Nobody has signed it.
    Draft {
        /// Somebody has decided something.
        begun: bool,
    },
    /// Signed, and not changed since.
    Signed { by: Signature },
    /// Changed since it was signed, with reasons.
    Amended { by: Signature, changes: usize },
}

impl State {
    /// Signed at some time, whatever came later.
    pub const fn is_signed(&self) -> bool {
        !matches!(self, Self::Draft { .. })
    }
}

/// How far the log has come, by what it says itself; [`super::verify`] says whether that fits.
pub fn state(log: &Log) -> State {
    let signature = log.more.get("signature").and_then(|s| serde_json::from_value(s.clone()).ok());
    let Some(by): Option<Signature> = signature else {
        return State::Draft { begun: !log.history.is_empty() };
    };
    if seal::content(log) == by.content_sha256 {
        return State::Signed { by };
    }
    let at = log.history.iter().rposition(|c| c.field == "signature").map_or(0, |at| at + 1);
    State::Amended { by, changes: log.history.len() - at }
}

/// Signs what the log says now, the findings of the checks included.
pub(super) fn sign(
    log: &mut Log,
    settings: &Settings,
    at: &str,
    name: String,
    role: String,
    not_verified: Rest,
) -> Result<Vec<Patch>, ReviewError> {
    let mut with = log.clone();
    checks::apply(&mut with, settings);
    let findings = patch::change(log, None, "findings", json!(with.findings))?;
    let totals = patch::change(log, None, "totals", json!(with.totals))?;
    let content_sha256 = seal::content(log);
    let signature = Signature { name, role, at: at.to_owned(), content_sha256, not_verified };
    let signature = patch::change(log, None, "signature", to_json(signature))?;
    Ok(signature.into_iter().chain(findings).chain(totals).collect())
}

/// Each signed state, the first first: the signature and the log as it was then.
pub fn signed_states(log: &Log) -> Result<Vec<(Signature, Log)>, ReviewError> {
    let mut states = Vec::new();
    for (i, change) in log.history.iter().enumerate().filter(|(_, c)| c.field == "signature") {
        let signature = serde_json::from_value(change.to.clone())
            .map_err(|e| ReviewError::History(format!("a signature is damaged: {e}")))?;
        states.push((signature, history::before(log, i + 1)?));
    }
    Ok(states)
}
