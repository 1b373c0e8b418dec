//! What the types of a settings file do not show: windows the wrong way round, names that nobody knows, words that are
//! said of two things. Comes in: the settings of one file. Goes out: the first mistake, its place and its cure.

use std::collections::BTreeMap;
use std::path::Path;

use toml::de::{DeTable, DeValue};

use super::wrong::{line_of, nearest, unknown};
use super::{Origin, Settings, Windows};
use crate::kinds::{self, Is, Kind};
use crate::log::Value;
use crate::tables;
use crate::words::Decimal;
use crate::words::vocabulary;

/// The keys of a text with their lines: `checks.gap_s`, `instrument[0].name`.
pub(super) struct Keys {
    lines: BTreeMap<String, usize>,
    names: BTreeMap<String, usize>,
}

impl Keys {
    pub(super) fn of(text: &str) -> Self {
        let mut keys = Self { lines: BTreeMap::new(), names: BTreeMap::new() };
        if let Ok(table) = DeTable::parse(text) {
            keys.table(text, "", table.get_ref());
        }
        keys
    }

    fn table(&mut self, text: &str, before: &str, table: &DeTable<'_>) {
        for (key, value) in table {
            let place = if before.is_empty() {
                key.get_ref().to_string()
            } else {
                format!("{before}.{}", key.get_ref())
            };
            self.lines.insert(place.clone(), line_of(text, key.span().start));
            match value.get_ref() {
                DeValue::Table(inner) => self.table(text, &place, inner),
                DeValue::Array(items) => {
                    for (i, item) in items.iter().enumerate() {
                        let DeValue::Table(inner) = item.get_ref() else { continue };
                        let line = line_of(text, item.span().start);
                        self.lines.insert(format!("{place}[{i}]"), line);
                        self.table(text, &format!("{place}[{i}]"), inner);
                        let name = inner.get("name").or_else(|| inner.get("said")?.get_ref().get(0));
                        if let Some(name) = name.and_then(|n| n.get_ref().as_str()) {
                            self.names.insert(format!("{place}.{name}"), line);
                        }
                    }
                }
                _ => {}
            }
        }
    }

    /// The line of a place; where the place itself has none, that of what it stands in.
    pub(super) fn line(&self, place: &str) -> usize {
        let mut place = place;
        loop {
            if let Some(line) = self.lines.get(place) {
                return *line;
            }
            match place.rfind(['.', '[']) {
                Some(cut) => place = place.get(..cut).unwrap_or_default(),
                None => return 1,
            }
        }
    }

    /// Where each key stands; tables of a list go by their names.
    pub(super) fn origins(&self, file: &Path) -> BTreeMap<String, Origin> {
        let keys = self.lines.iter().filter(|(key, _)| !key.contains('['));
        keys.chain(&self.names)
            .map(|(key, line)| (key.clone(), Origin { file: file.to_owned(), line: *line }))
            .collect()
    }
}

type Wrong = (String, String);

/// A number with more than three decimal places would be rounded without a word.
pub(super) fn too_fine(text: &str) -> Option<Wrong> {
    fn within(place: &str, value: &toml::Value) -> Option<Wrong> {
        let inner = |key: &str, v: &toml::Value| {
            within(&if place.is_empty() { key.to_owned() } else { format!("{place}.{key}") }, v)
        };
        match value {
            toml::Value::Float(x) if (x * 1000.0 - (x * 1000.0).round()).abs() > 1e-6 => Some((
                place.to_owned(),
                format!("{x} has more than three decimal places; no number here needs more"),
            )),
            toml::Value::Table(table) => table.iter().find_map(|(key, v)| inner(key, v)),
            toml::Value::Array(items) => {
                items.iter().enumerate().find_map(|(i, v)| within(&format!("{place}[{i}]"), v))
            }
            _ => None,
        }
    }
    within("", &toml::Value::Table(text.parse().ok()?))
}

/// The first mistake.
pub(super) fn first_wrong(settings: &Settings, rules: &[String]) -> Option<Wrong> {
    windows(&settings.checks, rules)
        .or_else(|| settings.record.wrong())
        .or_else(|| instruments(settings))
        .or_else(|| phrases(settings))
        .or_else(|| said_twice(settings))
}

fn windows(checks: &Windows, rules: &[String]) -> Option<Wrong> {
    for id in &checks.off {
        if !rules.contains(id) {
            let near = nearest(id, rules.iter().map(String::as_str));
            let cure = near.map_or("`tugback sources rules` shows them all".to_owned(), |n| {
                format!("did you mean `{n}`?")
            });
            return Some(("checks.off".to_owned(), format!("there is no rule `{id}`; {cure}")));
        }
    }
    let Ok(table) = toml::Table::try_from(checks) else { return None };
    table.iter().find_map(|(key, value)| window(&format!("checks.{key}"), value)).or_else(|| names(checks))
}

/// A number below zero, and a window whose ends are the wrong way round, mean nothing anywhere in the section.
fn window(key: &str, value: &toml::Value) -> Option<Wrong> {
    let number =
        |v: &toml::Value| v.as_float().or_else(|| v.as_integer().map(|n| Decimal::whole(n).to_f64()));
    match value {
        toml::Value::Table(inner) => inner.iter().find_map(|(name, v)| window(&format!("{key}.{name}"), v)),
        toml::Value::Array(items) => {
            if let Some(wrong) = items.iter().find_map(|item| window(key, item)) {
                return Some(wrong);
            }
            let is_window = items.len() == 2 && !key.starts_with("checks.anaesthetic_pct");
            let (low, high) = (items.first().and_then(number)?, items.get(1).and_then(number)?);
            (is_window && low > high).then(|| {
                (
                    key.to_owned(),
                    format!("the window begins at {low} and ends at {high}; the lower number comes first"),
                )
            })
        }
        other => number(other)
            .filter(|n| *n < 0.0)
            .map(|n| (key.to_owned(), format!("{n} is below 0; a number from 0 on is expected"))),
    }
}

fn names(checks: &Windows) -> Option<Wrong> {
    let known = |table: &str| tables::rows(table).map(|r| r.key()).collect::<Vec<_>>();
    let first_unknown = |section: &str, what: &str, keys: Vec<&String>, table: &str| {
        let known = known(table);
        let name = keys.into_iter().find(|k| !known.contains(&k.as_str()))?;
        let sentence = if table == "tooth_notation" {
            format!("there is no tooth `{name}` in ISO 3950; two digits are expected, as in \"36\"")
        } else {
            unknown(what, name, &known)
        };
        Some((format!("checks.{section}.{name}"), sentence))
    };
    first_unknown(
        "concentration_pct",
        "solution",
        checks.concentration_pct.keys().collect(),
        "irrigant_windows",
    )
    .or_else(|| {
        first_unknown(
            "anaesthetic_pct",
            "local anaesthetic",
            checks.anaesthetic_pct.keys().collect(),
            "anaesthetics",
        )
    })
    .or_else(|| {
        first_unknown("tooth_length_mm", "tooth", checks.tooth_length_mm.keys().collect(), "tooth_notation")
    })
}

/// The terms of a vocabulary.
fn terms(name: &str) -> Vec<&'static str> {
    vocabulary::BUILT_IN.values(name).iter().map(|v| &**v).collect()
}

fn instruments(settings: &Settings) -> Option<Wrong> {
    for (i, own) in settings.instruments().iter().enumerate() {
        let wrong = |key: &str, what: String| Some((format!("instrument[{i}].{key}"), what));
        let name = &own.name;
        let is_name = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || !name.chars().all(is_name) {
            return wrong(
                "name",
                format!(
                    "`{name}` cannot stand in a log; small letters, digits and hyphens are expected, as in `slim-shaper`"
                ),
            );
        }
        if terms("instruments").contains(&name.as_str()) {
            return wrong(
                "name",
                format!("`{name}` is an instrument that the program knows; choose another name"),
            );
        }
        if settings.instruments().iter().take(i).any(|other| other.name == *name) {
            return wrong("name", format!("two instruments are named `{name}`; join them, or rename one"));
        }
        if let Some(like) = own.like.as_ref().filter(|l| !terms("instruments").contains(&l.as_str())) {
            return wrong("like", unknown("instrument", like, &terms("instruments")));
        }
        if let Some(size) = own.sizes.iter().find(|s| **s < Decimal::whole(1) || **s > Decimal::whole(200)) {
            return wrong(
                "sizes",
                format!("{size} is no size; sizes are hundredths of a millimetre, as in [20, 25]"),
            );
        }
        if let Some(taper) =
            own.tapers.iter().find(|t| **t < Decimal::ZERO || **t >= Decimal::thousandths(300))
        {
            return wrong("tapers", format!("{taper} is no taper; tapers are ratios: 0.06 is 6 %"));
        }
        if let Some(colour) = own.colours.iter().find(|c| !terms("colours").contains(&c.as_str())) {
            return wrong("colours", unknown("colour", colour, &terms("colours")));
        }
        if !own.colours.is_empty() && own.colours.len() != own.sizes.len() {
            let (colours, sizes) = (own.colours.len(), own.sizes.len());
            return wrong(
                "colours",
                format!(
                    "{colours} colours for {sizes} sizes; name one for each size, in the same order, or none"
                ),
            );
        }
        if let Some(what) = words(&own.said) {
            return wrong("said", what);
        }
    }
    None
}

/// What is wrong with ways of saying something.
fn words(said: &[String]) -> Option<String> {
    if said.is_empty() {
        return Some("nobody can say this; name at least one way, as in said = [\"slim shaper\"]".to_owned());
    }
    let is_word = |c: char| c.is_alphanumeric() || " '-".contains(c);
    said.iter().find_map(|form| {
        if form.trim().is_empty() {
            Some("an empty text is never said; take it away".to_owned())
        } else if !form.chars().all(is_word) {
            Some(format!("\"{form}\" holds a sign that nobody says; write only words"))
        } else if !form.chars().any(char::is_alphabetic) {
            Some(format!("\"{form}\" is a number alone, which is said of many things; add a word"))
        } else {
            None
        }
    })
}

fn phrases(settings: &Settings) -> Option<Wrong> {
    let known = &kinds::BUILT_IN.all;
    let names: Vec<&str> = known.iter().map(|k| k.name.as_str()).collect();
    for (i, own) in settings.phrases().iter().enumerate() {
        let wrong = |key: &str, what: String| Some((format!("phrase[{i}].{key}"), what));
        let Some(kind) = known.iter().find(|k| k.name == own.kind) else {
            return wrong("kind", unknown("kind of entry", &own.kind, &names));
        };
        for (field, value) in &own.values {
            if let Some(what) = value_of(settings, kind, field, value) {
                return wrong(&format!("values.{field}"), what);
            }
        }
        if let Some(what) = words(&own.said) {
            return wrong("said", what);
        }
    }
    None
}

fn value_of(settings: &Settings, kind: &Kind, name: &str, value: &Value) -> Option<String> {
    let fields: Vec<&str> = kind.fields.keys().map(String::as_str).collect();
    let Some(field) = kind.fields.get(name) else {
        return Some(format!("{} (kind `{}`)", unknown("field", name, &fields), kind.name));
    };
    let is_text = |slot| {
        use crate::words::slot::Slot;
        matches!(slot, Slot::Ratio | Slot::Tooth | Slot::ToothDigits | Slot::Lot)
    };
    match (&field.is, value) {
        (Is::Number(slot), Value::Text(text)) if !is_text(*slot) => {
            Some(format!("found the text \"{text}\"; `{name}` is a number"))
        }
        (Is::Number(slot), Value::Number(n)) if is_text(*slot) => {
            Some(format!("found the number {n}; `{name}` is a text in quotes"))
        }
        (Is::Number(_), Value::Number(n)) => {
            let (low, high) = field.plausible?;
            (*n < low || *n > high).then(|| {
                format!("{n} lies outside of {low} to {high}, where `{name}` is doubted; correct it")
            })
        }
        (Is::Term(_) | Is::Text, Value::Number(n)) => {
            Some(format!("found the number {n}; `{name}` is a text in quotes"))
        }
        (Is::Term(vocabulary), Value::Text(text)) => {
            let known = terms(vocabulary);
            let own = name == "instrument" && settings.instruments().iter().any(|i| i.name == *text);
            (!own && !known.contains(&text.as_str())).then(|| unknown(&format!("{name} named"), text, &known))
        }
        (Is::Text | Is::Number(_), Value::Text(_)) => None,
    }
}

/// The same words for two things.
fn said_twice(settings: &Settings) -> Option<Wrong> {
    let mut seen: BTreeMap<String, String> = BTreeMap::new();
    let instruments = settings
        .instruments()
        .iter()
        .enumerate()
        .map(|(i, own)| (format!("instrument[{i}].said"), &own.said));
    let phrases =
        settings.phrases().iter().enumerate().map(|(i, own)| (format!("phrase[{i}].said"), &own.said));
    for (place, said) in instruments.chain(phrases) {
        for form in said {
            let plain =
                form.to_lowercase().split([' ', '-']).filter(|w| !w.is_empty()).collect::<Vec<_>>().join(" ");
            if seen.insert(plain, place.clone()).is_some() {
                return Some((place, format!("\"{form}\" is said of two things; take one away")));
            }
        }
    }
    None
}
