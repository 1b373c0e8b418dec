//! An entry in the making: empty, its doubts, its numbers.

use indexmap::IndexMap;

use super::fill;
use crate::{
    log::{Doubt, Entry, Review, Status, Value},
    words::line::Line,
};

/// The fields whose numbers were said, the last first. "To length" says no number.
pub(super) fn numbers(line: &Line, pieces: &[fill::Piece]) -> Vec<String> {
    let mut said: Vec<&fill::Piece> = pieces
        .iter()
        .filter(|p| p.value.as_ref().is_some_and(|v| v.number().is_some()))
        .filter(|p| p.items.clone().any(|i| line.atom(i).is_some()))
        .collect();
    said.sort_by_key(|p| std::cmp::Reverse(p.items.end));
    said.into_iter().map(|p| p.field.clone()).collect()
}

/// An entry with nothing in it yet.
pub(super) fn blank(
    kind: String,
    status: Status,
    rule: String,
    said: String,
    from_s: f64,
    to_s: f64,
) -> Entry {
    Entry {
        id: String::new(),
        from_s,
        to_s,
        kind,
        status,
        tooth: None,
        canal: None,
        values: IndexMap::new(),
        said,
        rule,
        doubts: vec![],
        carried: vec![],
        review: Review::Unseen,
        heard: IndexMap::new(),
        struck_at_s: None,
        more: serde_json::Map::new(),
    }
}

/// One doubt for each field and reason.
pub(super) fn push_doubt(entry: &mut Entry, field: &str, reason: &str, alternatives: &[Value]) {
    if let Some(d) = entry.doubts.iter_mut().find(|d| d.field == field && d.reason == reason) {
        for a in alternatives {
            if !d.alternatives.contains(a) {
                d.alternatives.push(a.clone());
            }
        }
        return;
    }
    entry.doubts.push(Doubt {
        field: field.to_owned(),
        reason: reason.to_owned(),
        alternatives: alternatives.to_vec(),
    });
}
