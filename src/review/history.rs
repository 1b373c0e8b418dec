//! The history: one change per decision and entry, each chained to the one before by its checksum, so that a change that
//! was altered, left out or slipped in shows. Going back along it gives the log at any earlier moment.

use serde_json::{Value as Json, json};

use super::{By, error::ReviewError, patch, patch::Patch, seal};
use crate::log::{Change, Log};

/// What belongs together: one decision.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Act<'l> {
    /// From 1, in the order of time.
    pub number: u64,
    /// "accept", "correct", "undo" …
    pub what: &'l str,
    /// The act that it takes back, or whose taking back it takes back.
    pub undoes: Option<u64>,
}

/// A decision that is being written down.
#[derive(Debug)]
pub struct Writing<'b> {
    pub by: &'b By,
    pub what: &'b str,
    pub number: u64,
    pub undoes: Option<u64>,
    pub reason: Option<&'b str>,
}

/// The number of the next act.
pub fn next_act(log: &Log) -> u64 {
    log.history.iter().filter_map(|c| act_of(c).map(|a| a.number)).max().unwrap_or(0) + 1
}

/// The act that a change belongs to; nothing for a change from before there were chains.
pub fn act_of(change: &Change) -> Option<Act<'_>> {
    Some(Act {
        number: change.more.get("act")?.as_u64()?,
        what: change.more.get("what").and_then(Json::as_str).unwrap_or_default(),
        undoes: change.more.get("undoes").and_then(Json::as_u64),
    })
}

fn text<'c>(change: &'c Change, field: &str) -> Option<&'c str> {
    change.more.get(field).and_then(Json::as_str)
}

/// Writes changes down that were carried out already. The first patch is the one that a person reads; the others came with
/// it. `draft` is the checksum of the content before the first change ever.
pub fn write(log: &mut Log, w: &Writing<'_>, patches: Vec<Patch>, draft: &str) {
    let mut patches = patches.into_iter();
    let Some(first) = patches.next() else { return };
    let also: Vec<Patch> = patches.collect();
    let mut change = Change {
        at: w.by.at.clone(),
        who: w.by.who.clone(),
        entry: first.entry,
        field: first.field,
        from: first.from,
        to: first.to,
        reason: w.reason.map(str::to_owned),
        more: serde_json::Map::new(),
    };
    let previous = log.history.iter().rev().find_map(|c| text(c, "hash")).map(str::to_owned);
    let previous = previous.unwrap_or_else(|| {
        change.more.insert("draft".into(), json!(draft));
        seal::start(draft, &log.history)
    });
    change.more.insert("act".into(), json!(w.number));
    change.more.insert("what".into(), json!(w.what));
    if let Some(n) = w.undoes {
        change.more.insert("undoes".into(), json!(n));
    }
    if !also.is_empty() {
        change.more.insert("also".into(), patch::to_json(also));
    }
    let hash = seal::change(&previous, &change);
    change.more.insert("hash".into(), json!(hash));
    log.history.push(change);
}

/// All patches of a change, in the order in which they were carried out.
pub fn patches(change: &Change) -> Result<Vec<Patch>, ReviewError> {
    let first = Patch {
        entry: change.entry.clone(),
        field: change.field.clone(),
        from: change.from.clone(),
        to: change.to.clone(),
    };
    let mut all = vec![first];
    if let Some(also) = change.more.get("also") {
        let also: Vec<Patch> = serde_json::from_value(also.clone())
            .map_err(|e| ReviewError::History(format!("a change is damaged: {e}")))?;
        all.extend(also);
    }
    Ok(all)
}

/// Takes a change back in the log (not in its history).
pub fn revert(log: &mut Log, change: &Change) -> Result<Vec<Patch>, ReviewError> {
    let mut back: Vec<Patch> = patches(change)?.into_iter().map(Patch::back).collect();
    back.reverse();
    for patch in &back {
        patch::apply(log, patch)?;
    }
    // The one that a person reads stays first.
    back.reverse();
    Ok(back)
}

/// The log as it was before change `n` of its history, with the history up to there.
pub fn before(log: &Log, n: usize) -> Result<Log, ReviewError> {
    let mut then = log.clone();
    while then.history.len() > n {
        let Some(last) = then.history.pop() else { break };
        if act_of(&last).is_none() {
            return Err(ReviewError::History("a change from before there were chains".into()));
        }
        revert(&mut then, &last)?;
    }
    Ok(then)
}

/// What is wrong with the chain; nothing where all is well.
pub fn broken(log: &Log) -> Option<String> {
    let first = log.history.iter().position(|c| act_of(c).is_some())?;
    let (earlier, chained) = log.history.split_at_checked(first)?;
    let draft = text(chained.first()?, "draft").unwrap_or_default();
    let mut previous = seal::start(draft, earlier);
    for (i, change) in chained.iter().enumerate() {
        let hash = seal::change(&previous, change);
        if text(change, "hash") != Some(hash.as_str()) {
            return Some(format!(
                "change {} of the history ({}, {}) was altered, or one before it is missing",
                first + i + 1,
                change.at,
                change.who
            ));
        }
        previous = hash;
    }
    match before(log, first) {
        Err(e) => Some(e.to_string()),
        Ok(then) if seal::content(&then) != draft => Some(
            "going back along the history does not lead to the draft that the first reviewer found: something was \
             changed without being written down"
                .into(),
        ),
        Ok(_) => None,
    }
}

/// The acts that can be taken back (`redo` false) or whose taking back can be (`redo` true), the last first, no further
/// back than the last signature.
pub fn undoable(log: &Log, redo: bool) -> Option<u64> {
    let signed = log.history.iter().rposition(|c| c.field == "signature").map_or(0, |at| at + 1);
    let since = log.history.get(signed..).unwrap_or_default();
    let mut done: Vec<u64> = Vec::new();
    let mut taken: Vec<u64> = Vec::new();
    let mut last = 0;
    for act in since.iter().filter_map(act_of) {
        if act.number == last {
            continue;
        }
        last = act.number;
        match (act.what, act.undoes) {
            ("undo", Some(_)) => taken.extend(done.pop()),
            ("redo", Some(_)) => done.extend(taken.pop()),
            _ => {
                done.push(act.number);
                taken.clear();
            }
        }
    }
    if redo { taken.last().copied() } else { done.last().copied() }
}
