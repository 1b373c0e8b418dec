//! Whether a log, its history, its signatures and its recording still belong together. Comes in: a log and, where it is
//! there, the checksum of the recording. Goes out: sentences.

use serde::Serialize;

use super::{history, seal, sign};
use crate::log::Log;

/// One thing that was compared.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Line {
    pub what: &'static str,
    pub fits: Fits,
    pub sentence: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fits {
    Yes,
    No,
    /// Nothing there to compare.
    Unknown,
}

/// The recording's own checksum, as far as it could be had.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Recording {
    Sha256(String),
    /// Why not.
    Missing(String),
}

/// Compares all. It belongs together where no line says `no`.
pub fn verify(log: &Log, recording: &Recording) -> Vec<Line> {
    let mut lines = vec![of_history(log)];
    lines.extend(of_signatures(log));
    lines.push(of_recording(log, recording));
    lines
}

fn line(what: &'static str, fits: bool, sentence: impl Into<String>) -> Line {
    Line { what, fits: if fits { Fits::Yes } else { Fits::No }, sentence: sentence.into() }
}

fn of_history(log: &Log) -> Line {
    let chained = log.history.iter().filter(|c| history::act_of(c).is_some()).count();
    match history::broken(log) {
        Some(what) => line("history", false, what),
        None if log.history.is_empty() && log.more.contains_key("signature") => {
            line("history", false, "the log is signed, but its history is gone")
        }
        None if log.history.is_empty() => Line {
            what: "history",
            fits: Fits::Unknown,
            sentence: "nobody has changed or signed this draft; there is nothing to compare it with".into(),
        },
        None => line(
            "history",
            chained == log.history.len(),
            format!(
                "{chained} of {} changes are chained, and going back along them leads to the draft",
                log.history.len()
            ),
        ),
    }
}

fn of_signatures(log: &Log) -> Vec<Line> {
    let states = match sign::signed_states(log) {
        Ok(states) => states,
        Err(e) => return vec![line("signature", false, e.to_string())],
    };
    let mut lines: Vec<Line> = states
        .iter()
        .map(|(s, then)| {
            let fits = seal::content(then) == s.content_sha256;
            let not = match s.not_verified.count() {
                0 => String::new(),
                n => format!("; {n} signed as not verified"),
            };
            let says = if fits { "fits what was signed" } else { "does not fit what was signed" };
            line("signature", fits, format!("{}, {}, {}: {says}{not}", s.name, s.role, s.at))
        })
        .collect();
    let last = states.last().map(|(s, _)| s);
    match (sign::state(log), last) {
        (sign::State::Draft { .. }, Some(_)) => {
            lines.push(line(
                "signature",
                false,
                "the history holds a signature that the log itself has lost",
            ));
        }
        (sign::State::Draft { .. }, None) => lines.push(Line {
            what: "signature",
            fits: Fits::Unknown,
            sentence: "the log is not signed".into(),
        }),
        (sign::State::Signed { by } | sign::State::Amended { by, .. }, last) if last != Some(&by) => {
            lines.push(line("signature", false, "the log's signature is not the one in its history"));
        }
        (sign::State::Amended { changes, .. }, _) => lines.push(line(
            "signature",
            true,
            format!("{changes} amendments came after the last signature; they are not signed"),
        )),
        (sign::State::Signed { .. }, _) => {}
    }
    lines
}

fn of_recording(log: &Log, recording: &Recording) -> Line {
    let name = &log.source.file;
    match recording {
        Recording::Sha256(sum) if *sum == log.source.sha256 => {
            line("source", true, format!("{name} is the file that the log was made from"))
        }
        Recording::Sha256(_) => {
            line("source", false, format!("{name} is not the file that the log was made from"))
        }
        Recording::Missing(why) => Line { what: "source", fits: Fits::Unknown, sentence: why.clone() },
    }
}
