//! What still needs eyes, worst first. Comes in: a log and the report of the checks. Goes out: a list of places to look at.

use serde::{Deserialize, Serialize};

use crate::checks::{self, Finding, Level, Report, Settings};
use crate::log::{Entry, Log, Review, units};

/// One place to look at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum Open {
    /// An entry with doubts.
    Doubt { entry: String },
    /// What the checks found; see the report.
    Finding { id: String },
    /// Speech without a place that could not be made out. (What could be is read through with the entries.)
    Speech { unplaced: usize },
    /// An entry that nobody has seen and nobody doubts.
    Unseen { entry: String },
}

/// What is left when a log is signed.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Rest {
    /// Ids of entries that nobody settled, or of which a reviewer could not tell.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub entries: Vec<String>,
    /// Ids of findings that nobody looked at.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<String>,
}

impl Rest {
    pub fn count(&self) -> usize {
        self.entries.len() + self.findings.len()
    }
}

/// Nobody has settled this entry: unseen, or with a doubt that stands.
pub fn is_open(entry: &Entry) -> bool {
    !entry.doubts.is_empty() || entry.review == Review::Unseen
}

/// A reviewer listened to it and could not tell; it stays marked, and is not asked about again.
pub fn cannot_tell(entry: &Entry) -> bool {
    entry.more.get("cannot_tell").is_some_and(|c| c.as_bool() == Some(true))
}

/// Somebody looked at this finding when it said the same as now.
pub fn looked_at(log: &Log, finding: &Finding) -> bool {
    looked_at_saying(log, &finding.id, &finding.sentence)
}

fn looked_at_saying(log: &Log, id: &str, sentence: &str) -> bool {
    let said = log.more.get("looked_at").and_then(|l| l.get(id)).and_then(|s| s.as_str());
    said == Some(sentence)
}

/// What a finding, or a stretch of speech, with this id says now; nothing where there is none.
pub(super) fn saying(log: &Log, settings: &Settings, id: &str) -> Option<String> {
    if let Some(n) = id.strip_prefix("speech/") {
        return log.unplaced.get(n.parse::<usize>().ok()?).map(|u| u.said.clone());
    }
    checks::check(log, settings).findings.into_iter().find(|f| f.id == id).map(|f| f.sentence)
}

/// Findings about doubts are told by the entries themselves.
fn asks(log: &Log, finding: &Finding) -> bool {
    finding.level == Level::Look && !finding.rule.starts_with("doubts.") && !looked_at(log, finding)
}

/// What needs eyes, worst first: doubts about numbers, other doubts, contradictions and other findings on entries, speech
/// that was not understood, what is missing, and last what nobody doubts and nobody has seen.
pub fn worst(log: &Log, report: &Report) -> Vec<Open> {
    let mut list: Vec<(u8, Open)> = Vec::new();
    for e in log.entries.iter().filter(|e| is_open(e) && !cannot_tell(e)) {
        let entry = e.id.clone();
        if e.doubts.is_empty() {
            list.push((5, Open::Unseen { entry }));
        } else {
            let number = e.review != Review::Struck && e.doubts.iter().any(|d| units::is_number(&d.field));
            list.push((u8::from(!number), Open::Doubt { entry }));
        }
    }
    for finding in report.findings.iter().filter(|f| asks(log, f)) {
        let rank = if finding.entries.is_empty() { 4 } else { 2 };
        list.push((rank, Open::Finding { id: finding.id.clone() }));
    }
    for (unplaced, u) in log.unplaced.iter().enumerate() {
        let unreadable = u.said.trim().is_empty() || u.why.as_ref().is_some_and(|w| w.contains("unreadable"));
        if unreadable
            && !u.more.contains_key("entries")
            && !looked_at_saying(log, &speech_id(unplaced), &u.said)
        {
            list.push((3, Open::Speech { unplaced }));
        }
    }
    // Stable: within one rank in the order of the log.
    list.sort_by_key(|(rank, _)| *rank);
    list.into_iter().map(|(_, open)| open).collect()
}

/// Under which id a stretch of speech is looked at.
pub fn speech_id(unplaced: usize) -> String {
    format!("speech/{unplaced}")
}

/// What is left unsettled: all that [`worst`] lists, and what a reviewer could not tell.
pub fn rest(log: &Log, settings: &Settings) -> Rest {
    rest_of(log, &checks::check(log, settings))
}

/// The same, where the checks have been run already.
pub fn rest_of(log: &Log, report: &Report) -> Rest {
    let entries = log.entries.iter().filter(|e| is_open(e)).map(|e| e.id.clone()).collect();
    let findings = report.findings.iter().filter(|f| asks(log, f)).map(|f| f.id.clone());
    let speech = worst(log, report).into_iter().filter_map(|o| match o {
        Open::Speech { unplaced } => Some(speech_id(unplaced)),
        _ => None,
    });
    Rest { entries, findings: findings.chain(speech).collect() }
}
