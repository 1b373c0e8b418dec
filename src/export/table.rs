//! The entries as CSV (RFC 4180): one row each, a column for each field of every kind, in the order of the kinds.
//!
//! Numbers stay numbers. A text that a spreadsheet would run as a formula gets a `'` in front; [`unguarded`] takes it away.

use csv::{Terminator, WriterBuilder};

use super::ExportError;
use super::phrase;
use crate::kinds;
use crate::log::{Canal, Entry, Log, Review, Status, Value, units};

/// Columns before the fields.
const BEFORE: &[&str] = &["id", "from_s", "to_s", "kind", "status", "review", "tooth", "canal"];
/// Columns after the fields.
const AFTER: &[&str] = &["doubts", "carried", "heard", "said", "rule"];

/// The table. With `bom` it begins with a byte order mark, by which some spreadsheets know UTF-8.
pub fn csv(log: &Log, bom: bool) -> Result<String, ExportError> {
    let fields = fields(log);
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    let head = BEFORE.iter().copied().chain(fields.iter().map(String::as_str)).chain(AFTER.iter().copied());
    writer.write_record(head.map(guarded)).map_err(|source| ExportError::Table { source })?;
    for entry in &log.entries {
        writer.write_record(row(entry, &fields)).map_err(|source| ExportError::Table { source })?;
    }
    let bytes =
        writer.into_inner().map_err(|e| ExportError::Table { source: csv::Error::from(e.into_error()) })?;
    let text = String::from_utf8_lossy(&bytes);
    Ok(if bom { format!("\u{feff}{text}") } else { text.into_owned() })
}

/// Every field of every kind, each once; then those that only this log has.
fn fields(log: &Log) -> Vec<String> {
    let known = kinds::BUILT_IN.all.iter().flat_map(|k| k.fields.keys());
    let here = log.entries.iter().flat_map(|e| e.values.keys());
    let mut fields: Vec<String> = Vec::new();
    for field in known.chain(here) {
        if !fields.contains(field) {
            fields.push(field.clone());
        }
    }
    // The tooth that an entry of kind `tooth` names stands in the column of that name.
    fields.retain(|f| f != "tooth");
    fields
}

fn row(entry: &Entry, fields: &[String]) -> Vec<String> {
    let seconds = |s: f64| format!("{s:.2}");
    let status = match entry.status {
        Status::Done => "done",
        Status::Planned => "planned",
        Status::NotDone => "not-done",
        Status::Conditional => "conditional",
        Status::General => "general",
    };
    let review = match entry.review {
        Review::Unseen => "unseen",
        Review::Confirmed => "confirmed",
        Review::Amended => "amended",
        Review::Struck => "struck",
    };
    let tooth = entry.tooth.clone().or_else(|| entry.values.get("tooth").map(ToString::to_string));
    let mut row = vec![
        guarded(&entry.id),
        seconds(entry.from_s),
        seconds(entry.to_s),
        guarded(&entry.kind),
        status.to_owned(),
        review.to_owned(),
        guarded(tooth.unwrap_or_default()),
        guarded(entry.canal.as_ref().map(Canal::names).unwrap_or_default().join("; ")),
    ];
    row.extend(fields.iter().map(|f| entry.values.get(f).map(cell).unwrap_or_default()));
    let doubts: Vec<String> = entry.doubts.iter().map(phrase::doubt).collect();
    let heard: Vec<String> = entry.heard.iter().map(|(field, was)| format!("{field}: {was}")).collect();
    row.extend(
        [
            doubts.join(" | "),
            entry.carried.join("; "),
            heard.join("; "),
            entry.said.clone(),
            entry.rule.clone(),
        ]
        .iter()
        .map(|text| guarded(text)),
    );
    row
}

fn cell(value: &Value) -> String {
    match value {
        Value::Number(n) => n.to_string(),
        Value::Text(t) => guarded(t),
    }
}

/// Whether a column holds numbers, which are written as they are.
pub fn is_number(column: &str) -> bool {
    units::is_number(column) || matches!(column, "from_s" | "to_s")
}

/// A spreadsheet runs a cell that begins with one of these (also after blanks, also in full width).
fn looks_like_a_formula(text: &str) -> bool {
    let bare = text.trim_start_matches(['\'', ' ', '\u{a0}', '\u{feff}']);
    bare.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠', '|', '%'])
}

/// A text as it stands in a cell.
pub fn guarded(text: impl AsRef<str>) -> String {
    let text = text.as_ref();
    if looks_like_a_formula(text) { format!("'{text}") } else { text.to_owned() }
}

/// The text of a cell as it was before it was guarded.
pub fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(text) if looks_like_a_formula(text) => text,
        _ => cell,
    }
}

#[cfg(test)]
pub(crate) mod tests;
