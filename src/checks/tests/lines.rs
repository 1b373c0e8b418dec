//! A log in a few lines, for tests: one entry a line, ten seconds apart.
//!
//! `[@seconds] [status] [review] [tooth|none] [canals] kind [field=value …] [heard.field=value] [doubt=field:why] [| words]`
//! A blank in a value is `_`. Other lines: `notation universal`, `lecture true`, `own NAME LIKE`, `start`, `unplaced words`, `unreadable`.

use indexmap::IndexMap;
use serde_json::{Map, json};

use crate::log::{
    Canal, Case, Doubt, Entry, FORMAT, Log, MadeBy, Review, Source, Status, Unplaced, VERSION, Value,
};

/// The section [checks] of these lines.
pub(crate) fn windows(toml: &str) -> crate::checks::Settings {
    let ids: Vec<String> = crate::checks::ids().collect();
    let path = std::path::Path::new("tugback.toml");
    crate::settings::Settings::parse(&format!("[checks]\n{toml}"), path, &ids).unwrap().checks
}

pub(crate) fn log(text: &str) -> Result<Log, String> {
    let mut log = Log {
        format: FORMAT.to_owned(),
        version: VERSION,
        source: Source::default(),
        made_by: MadeBy::default(),
        case: Case { notation: "iso3950".to_owned(), ..Case::default() },
        entries: vec![],
        unplaced: vec![],
        findings: vec![],
        totals: Map::new(),
        history: vec![],
        more: Map::new(),
    };
    let mut at = 0.0;
    for line in text.lines().map(str::trim).filter(|l| !l.is_empty()) {
        at += 10.0;
        let (head, rest) = line.split_once(' ').unwrap_or((line, ""));
        let unplaced = |said: &str| Unplaced {
            from_s: at,
            to_s: at + 2.0,
            said: said.to_owned(),
            why: None,
            more: Map::new(),
        };
        match head {
            "notation" => rest.clone_into(&mut log.case.notation),
            "lecture" => log.case.lecture = rest.parse().ok(),
            "own" => {
                let (name, like) = rest.split_once(' ').ok_or("own NAME LIKE")?;
                log.made_by.instruments.insert(name.to_owned(), like.to_owned());
            }
            "start" => log.source.recording_start = Some("2026-02-03T09:00:00Z".to_owned()),
            "unplaced" => log.unplaced.push(unplaced(rest)),
            "unreadable" => log.unplaced.push(unplaced("")),
            _ => {
                let entry = entry(line, log.entries.len() + 1, &mut at)?;
                if let Some(tooth) = entry.tooth.clone().filter(|t| !log.case.teeth.contains(t)) {
                    log.case.teeth.push(tooth);
                }
                log.entries.push(entry);
            }
        }
    }
    log.source.duration_s = at + 10.0;
    Ok(log)
}

fn value(text: &str) -> Value {
    text.parse().map_or_else(|_| Value::Text(text.replace('_', " ")), Value::Number)
}

fn canals(word: &str) -> Option<Canal> {
    let name = |w: &str| {
        w == "all"
            || w == "single"
            || (!w.is_empty()
                && w.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit())
                && !w.starts_with(|c: char| c.is_ascii_digit()))
    };
    let names: Vec<String> = word.split(',').map(str::to_owned).collect();
    if !names.iter().all(|n| name(n)) {
        return None;
    }
    Some(if let [one] = names.as_slice() { Canal::One(one.clone()) } else { Canal::Many(names) })
}

fn entry(line: &str, n: usize, at: &mut f64) -> Result<Entry, String> {
    let (fields, said) = line.split_once('|').unwrap_or((line, line));
    let mut entry = Entry {
        id: format!("e{n}"),
        from_s: *at,
        to_s: *at + 2.0,
        kind: String::new(),
        status: Status::Done,
        tooth: None,
        canal: None,
        values: IndexMap::new(),
        said: said.trim().to_owned(),
        rule: "test".to_owned(),
        doubts: vec![],
        carried: vec![],
        review: Review::Unseen,
        heard: IndexMap::new(),
        struck_at_s: None,
        more: Map::new(),
    };
    for word in fields.split_whitespace() {
        if let Some(seconds) = word.strip_prefix('@') {
            *at = seconds.parse().map_err(|_| format!("time `{word}`"))?;
            (entry.from_s, entry.to_s) = (*at, *at + 2.0);
        } else if let Some((field, text)) = word.split_once('=') {
            if let Some(field) = field.strip_prefix("heard.") {
                let old = value(text);
                entry.heard.insert(field.to_owned(), old.number().map_or(json!(text), |n| json!(n)));
            } else if field == "doubt" {
                let (field, reason) = text.split_once(':').unwrap_or((text, "doubtful"));
                let doubt =
                    Doubt { field: field.to_owned(), reason: reason.replace('_', " "), alternatives: vec![] };
                entry.doubts.push(doubt);
            } else {
                entry.values.insert(field.to_owned(), value(text));
            }
        } else if !entry.kind.is_empty() {
            return Err(format!("`{word}` after the kind in `{line}`"));
        } else if let Ok(status) = serde_json::from_value::<Status>(json!(word)) {
            entry.status = status;
        } else if let Ok(review) = serde_json::from_value::<Review>(json!(word)) {
            entry.review = review;
        } else if word.len() <= 2 && word.chars().all(|c| c.is_ascii_digit()) {
            entry.tooth = Some(word.to_owned());
        } else if let Some(canal) = canals(word) {
            entry.canal = Some(canal);
        } else if word != "none" {
            word.clone_into(&mut entry.kind);
        }
    }
    if entry.kind.is_empty() { Err(format!("no kind in `{line}`")) } else { Ok(entry) }
}
