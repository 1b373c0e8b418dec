//! The reader of log version 1. Comes in: the text of a file that said `"version": 1`. Goes out: a log, or the first
//! thing that is wrong with its place. It never guesses: a field of the wrong type stops the reading.
//!
//! The model in memory is version 1, so this reader fills it directly. When the model moves on, the wire structs of
//! version 1 move in here.

use std::collections::HashMap;

use crate::log::model::Log;

/// What is wrong, and where.
#[derive(Debug)]
pub(crate) struct Wrong {
    /// `entries[3].values.size`, or empty for the whole.
    pub(crate) place: String,
    /// Counted from 1; 0 where the place alone says it.
    pub(crate) line: usize,
    pub(crate) column: usize,
    pub(crate) what: String,
}

pub(crate) fn read(text: &str) -> Result<Log, Wrong> {
    let mut json = serde_json::Deserializer::from_str(text);
    let log: Log = serde_path_to_error::deserialize(&mut json).map_err(|e| {
        let place = e.path().to_string();
        let cause = e.into_inner();
        Wrong {
            place: if place == "." { String::new() } else { place },
            line: cause.line(),
            column: cause.column(),
            what: plain(&cause),
        }
    })?;
    whole(&log).map_or(Ok(log), Err)
}

/// What no single field shows: ids that stand twice, times that cannot be.
fn whole(log: &Log) -> Option<Wrong> {
    let wrong = |place: String, what: String| Some(Wrong { place, line: 0, column: 0, what });
    let mut seen = HashMap::new();
    for (i, entry) in log.entries.iter().enumerate() {
        if let Some(first) = seen.insert(entry.id.as_str(), i) {
            return wrong(
                format!("entries[{i}].id"),
                format!("\"{}\" is the id of entries[{first}] too; each id may stand once", entry.id),
            );
        }
        if entry.from_s < 0.0 {
            return wrong(
                format!("entries[{i}].from_s"),
                format!("{} lies before the recording", entry.from_s),
            );
        }
        if entry.to_s < entry.from_s {
            return wrong(
                format!("entries[{i}].to_s"),
                format!("{} lies before the entry's start, {}", entry.to_s, entry.from_s),
            );
        }
    }
    None
}

/// The cause without its place, in the words of the log.
pub(crate) fn plain(cause: &serde_json::Error) -> String {
    let text = cause.to_string();
    let text = text.rsplit_once(" at line ").map_or(text.as_str(), |(what, _)| what);
    if let Some(field) = text.strip_prefix("missing field ") {
        return format!("the field {field} is missing");
    }
    if let Some(field) = text.strip_prefix("duplicate field ") {
        return format!("the field {field} is there twice; only one can be meant");
    }
    let Some((found, expected)) = text
        .strip_prefix("invalid type: ")
        .or_else(|| text.strip_prefix("invalid value: "))
        .and_then(|t| t.split_once(", expected "))
    else {
        return text.to_owned();
    };
    let expected = match expected {
        "a string" => "a text",
        "f64" | "f32" => "a number",
        "u32" | "u64" | "usize" => "a whole number",
        "a sequence" => "a list",
        "a map" => "an object",
        _ if expected.starts_with("struct ") => "an object",
        other => other,
    };
    let found = found
        .replace("integer `", "the number `")
        .replace("floating point `", "the number `")
        .replace("boolean `", "`")
        .replace("string \"", "the text \"");
    let found = match found.as_str() {
        "sequence" => "a list".to_owned(),
        "map" => "an object".to_owned(),
        _ => found.replace('`', ""),
    };
    format!("found {found}; {expected} is expected")
}
