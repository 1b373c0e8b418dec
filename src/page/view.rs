//! A log as the page shows it: the log itself, what needs eyes, what the checks found, what can be taken back.

use serde_json::{Value as Json, json};

use super::{exports, shelf::Item};
use crate::checks::{self, Settings};
use crate::log::{Change, Log};
use crate::review::{history, open, sign};

/// All that the page shows of one log.
pub(super) fn of(item: &Item, log: &Log, revision: &str, settings: &Settings) -> Json {
    let report = checks::check(log, settings);
    let worst = open::worst(log, &report);
    let findings: Vec<Json> = report
        .findings
        .iter()
        .filter_map(|f| {
            let mut finding = serde_json::to_value(f).ok()?;
            finding.as_object_mut()?.insert("looked_at".into(), json!(open::looked_at(log, f)));
            Some(finding)
        })
        .collect();
    json!({
        "id": item.id,
        "name": item.name,
        "revision": revision,
        "source": { "file": log.source.file, "kind": log.source.kind, "duration_s": log.source.duration_s,
            "repairs": log.source.repairs },
        "case": log.case,
        "entries": log.entries,
        "unplaced": log.unplaced,
        "worst": worst,
        "findings": findings,
        "state": sign::state(log),
        "signatures": log.history.iter().filter(|c| c.field == "signature").map(|c| &c.to).collect::<Vec<_>>(),
        "rest": open::rest_of(log, &report),
        "history": log.history.iter().map(change).collect::<Vec<_>>(),
        "undo": history::undoable(log, false).map(|act| what(log, act)),
        "redo": history::undoable(log, true).map(|act| what(log, act)),
        "exports": exports::FORMS,
    })
}

/// A change without its checksums, for the eye.
fn change(change: &Change) -> Json {
    let act = history::act_of(change);
    // Long values are in the file; a line of the history is enough here.
    let short = |v: &Json| {
        if v.is_object() { json!({ "kind": v.get("kind"), "values": v.get("values") }) } else { v.clone() }
    };
    json!({
        "at": change.at, "who": change.who, "entry": change.entry, "field": change.field,
        "from": short(&change.from), "to": short(&change.to), "reason": change.reason,
        "what": act.as_ref().map(|a| a.what), "act": act.as_ref().map(|a| a.number),
        "undoes": act.as_ref().and_then(|a| a.undoes),
    })
}

/// What an act was, for the button that takes it back.
fn what(log: &Log, number: u64) -> Json {
    let mut of = log.history.iter().filter(|c| history::act_of(c).is_some_and(|a| a.number == number));
    let first = of.next();
    json!({
        "what": first.and_then(|c| history::act_of(c).map(|a| a.what.to_owned())),
        "entry": first.and_then(|c| c.entry.clone()),
        "more": of.count(),
    })
}
