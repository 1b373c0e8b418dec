//! One change of one field, so small that it can be carried out, taken back and read in a history.
//!
//! A field is named by its path: of an entry `values.size`, `heard.size`, `tooth`, `canal`, `status`, `kind`, `review`,
//! `doubts`, `carried`, `struck_at_s`, `entry` (the whole entry, to add or take away one) and fields of later versions; of
//! the log `case.reference`, `findings`, `totals`, `signature`, `looked_at.ID`, `unplaced.N.entries`. Null: absent.

use serde::{Deserialize, Serialize, de::DeserializeOwned};
use serde_json::{Map, Value as Json};

use super::error::ReviewError;
use crate::log::{Entry, Log};

/// One change of one field. `from` and `to` are null where the field is absent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Patch {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<String>,
    pub field: String,
    pub from: Json,
    pub to: Json,
}

impl Patch {
    /// The other way round.
    pub fn back(self) -> Self {
        Self { from: self.to, to: self.from, ..self }
    }
}

/// Changes the field to this value; the patch that says so, or nothing where it held it already.
pub fn change(
    log: &mut Log,
    entry: Option<&str>,
    field: &str,
    to: Json,
) -> Result<Option<Patch>, ReviewError> {
    let from = get(log, entry, field)?;
    if from == to {
        return Ok(None);
    }
    set(log, entry, field, to.clone())?;
    // As the log itself says it now, so that the history compares with it.
    let to = get(log, entry, field)?;
    Ok(Some(Patch { entry: entry.map(str::to_owned), field: field.to_owned(), from, to }))
}

/// Carries out a patch whose `from` must be what the log holds.
pub fn apply(log: &mut Log, patch: &Patch) -> Result<(), ReviewError> {
    let entry = patch.entry.as_deref();
    let is = get(log, entry, &patch.field)?;
    if is != patch.from {
        return Err(ReviewError::History(format!(
            "{} holds {} where the history says {}",
            place(patch),
            short(&is),
            short(&patch.from)
        )));
    }
    set(log, entry, &patch.field, patch.to.clone())
}

fn place(patch: &Patch) -> String {
    patch.entry.as_ref().map_or_else(|| patch.field.clone(), |e| format!("{e}, {}", patch.field))
}

fn short(value: &Json) -> String {
    let text = if value.is_null() { "nothing".to_owned() } else { value.to_string() };
    if text.chars().count() > 60 { format!("{}…", text.chars().take(60).collect::<String>()) } else { text }
}

/// What the field holds; null where it is absent.
pub fn get(log: &Log, entry: Option<&str>, field: &str) -> Result<Json, ReviewError> {
    let Some(id) = entry else { return get_of_log(log, field) };
    let found = log.entries.iter().find(|e| e.id == id);
    if field == "entry" {
        return Ok(found.map_or(Json::Null, |e| to_json(e)));
    }
    let e = found.ok_or_else(|| ReviewError::NoEntry(id.to_owned()))?;
    Ok(match field.split_once('.') {
        Some(("values", name)) => e.values.get(name).map_or(Json::Null, to_json),
        Some(("heard", name)) => match e.heard.get(name) {
            None => Json::Null,
            // "It was absent" is a value of its own here.
            Some(Json::Null) => Json::Array(vec![]),
            Some(old) => Json::Array(vec![old.clone()]),
        },
        Some(_) => return Err(ReviewError::NoField(field.to_owned())),
        None => match field {
            "tooth" => to_json(&e.tooth),
            "canal" => to_json(&e.canal),
            "status" => to_json(e.status),
            "kind" => to_json(&e.kind),
            "review" => to_json(e.review),
            "doubts" => to_json(&e.doubts),
            "carried" => to_json(&e.carried),
            "struck_at_s" => to_json(e.struck_at_s),
            "cannot_tell" => e.more.get(field).cloned().unwrap_or(Json::Null),
            _ => return Err(ReviewError::NoField(field.to_owned())),
        },
    })
}

fn get_of_log(log: &Log, field: &str) -> Result<Json, ReviewError> {
    let more = |name: &str| log.more.get(name).cloned().unwrap_or(Json::Null);
    let mut parts = field.splitn(3, '.');
    Ok(match (parts.next().unwrap_or_default(), parts.next(), parts.next()) {
        ("case", Some("reference"), None) => to_json(&log.case.reference),
        ("findings", None, None) => Json::Array(log.findings.clone()),
        ("totals", None, None) => Json::Object(log.totals.clone()),
        ("signature", None, None) => more("signature"),
        ("looked_at", Some(_), _) => {
            let id = field.trim_start_matches("looked_at.");
            more("looked_at").get(id).cloned().unwrap_or(Json::Null)
        }
        ("unplaced", Some(n), Some("entries")) => {
            let stretch = n.parse().ok().and_then(|n: usize| log.unplaced.get(n));
            let stretch = stretch.ok_or(ReviewError::NoStretch)?;
            stretch.more.get("entries").cloned().unwrap_or(Json::Null)
        }
        _ => return Err(ReviewError::NoField(field.to_owned())),
    })
}

fn set(log: &mut Log, entry: Option<&str>, field: &str, to: Json) -> Result<(), ReviewError> {
    let Some(id) = entry else { return set_of_log(log, field, to) };
    let at = log.entries.iter().position(|e| e.id == id);
    if field == "entry" {
        match (at, to) {
            (Some(at), Json::Null) => {
                log.entries.remove(at);
            }
            (None, to) if !to.is_null() => {
                let new: Entry = from_json(field, to)?;
                let at = log.entries.iter().rposition(|e| e.from_s <= new.from_s).map_or(0, |at| at + 1);
                log.entries.insert(at, new);
            }
            _ => return Err(ReviewError::NoField(field.to_owned())),
        }
        return Ok(());
    }
    let e = at.and_then(|at| log.entries.get_mut(at)).ok_or_else(|| ReviewError::NoEntry(id.to_owned()))?;
    match field.split_once('.') {
        Some(("values", name)) if to.is_null() => {
            e.values.shift_remove(name);
        }
        Some(("values", name)) => {
            e.values.insert(name.to_owned(), from_json(field, to)?);
        }
        Some(("heard", name)) => match to {
            Json::Null => {
                e.heard.shift_remove(name);
            }
            Json::Array(old) => {
                e.heard.insert(name.to_owned(), old.into_iter().next().unwrap_or(Json::Null));
            }
            _ => return Err(ReviewError::NoField(field.to_owned())),
        },
        Some(_) => return Err(ReviewError::NoField(field.to_owned())),
        None => match field {
            "tooth" => e.tooth = from_json(field, to)?,
            "canal" => e.canal = from_json(field, to)?,
            "status" => e.status = from_json(field, to)?,
            "kind" => e.kind = from_json(field, to)?,
            "review" => e.review = from_json(field, to)?,
            "doubts" => e.doubts = from_json(field, to)?,
            "carried" => e.carried = from_json(field, to)?,
            "struck_at_s" => e.struck_at_s = from_json(field, to)?,
            "cannot_tell" => put(&mut e.more, field, to),
            _ => return Err(ReviewError::NoField(field.to_owned())),
        },
    }
    Ok(())
}

fn set_of_log(log: &mut Log, field: &str, to: Json) -> Result<(), ReviewError> {
    let no_field = || ReviewError::NoField(field.to_owned());
    match field {
        "case.reference" => log.case.reference = from_json(field, to)?,
        "findings" => log.findings = from_json(field, to)?,
        "totals" => log.totals = from_json(field, to)?,
        "signature" => put(&mut log.more, field, to),
        _ => {
            if let Some(id) = field.strip_prefix("looked_at.") {
                let mut all = match log.more.get("looked_at") {
                    Some(Json::Object(all)) => all.clone(),
                    _ => Map::new(),
                };
                put(&mut all, id, to);
                let all = if all.is_empty() { Json::Null } else { Json::Object(all) };
                put(&mut log.more, "looked_at", all);
            } else {
                let n = field.strip_prefix("unplaced.").and_then(|f| f.strip_suffix(".entries"));
                let n: usize = n.and_then(|n| n.parse().ok()).ok_or_else(no_field)?;
                put(&mut log.unplaced.get_mut(n).ok_or(ReviewError::NoStretch)?.more, "entries", to);
            }
        }
    }
    Ok(())
}

/// Null takes the field away.
fn put(map: &mut Map<String, Json>, field: &str, to: Json) {
    if to.is_null() {
        map.shift_remove(field);
    } else {
        map.insert(field.to_owned(), to);
    }
}

pub(super) fn to_json<T: Serialize>(value: T) -> Json {
    serde_json::to_value(value).unwrap_or(Json::Null)
}

fn from_json<T: DeserializeOwned>(field: &str, value: Json) -> Result<T, ReviewError> {
    serde_json::from_value(value).map_err(|e| ReviewError::Wrong(format!("`{field}`: {e}")))
}
