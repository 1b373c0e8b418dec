//! What is wrong with a settings file, as one sentence with the line and the cure.

use std::path::{Path, PathBuf};

/// Why a settings file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    #[error("cannot read the settings `{path}`; check its permissions, or name another file with --settings")]
    Read { path: PathBuf, source: std::io::Error },
    #[error("the settings `{path}` are no UTF-8 text (byte {at}); save the file as plain text")]
    NotText { path: PathBuf, at: usize },
    #[error("`{path}`, line {line}: {what}")]
    Wrong { path: PathBuf, line: usize, what: String },
}

/// The line of a byte of the text, from 1.
pub(super) fn line_of(text: &str, byte: usize) -> usize {
    text.bytes().take(byte).filter(|b| *b == b'\n').count() + 1
}

/// "did you mean `notation`?": the nearest of the names that are known, where one is near.
pub(super) fn nearest<'n>(name: &str, known: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    let score = |k: &str| strsim::jaro_winkler(&name.to_lowercase(), k);
    let best = known.into_iter().max_by(|a, b| score(a).total_cmp(&score(b)))?;
    (score(best) > 0.75).then_some(best)
}

/// "there is no key `of`; did you mean `off`? Known are …".
pub(super) fn unknown(what: &str, name: &str, known: &[&str]) -> String {
    let list = known.iter().map(|k| format!("`{k}`")).collect::<Vec<_>>().join(", ");
    match nearest(name, known.iter().copied()) {
        Some(near) => format!("there is no {what} `{name}`; did you mean `{near}`?"),
        None => format!("there is no {what} `{name}`; there are {list}"),
    }
}

/// A mistake at a line. What a file holds may be named in the sentence, which stays on one line.
pub(super) fn at(path: &Path, line: usize, what: &str) -> SettingsError {
    let what = what.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    SettingsError::Wrong { path: path.to_owned(), line, what }
}

/// An error of the TOML reader in plain words.
pub(super) fn plain(path: &Path, text: &str, error: &toml::de::Error) -> SettingsError {
    let line = error.span().map_or(1, |span| line_of(text, span.start));
    at(path, line, &sentence(error.message(), toml::de::DeTable::parse(text).is_ok()))
}

/// `is_toml`: the text can be read; the values in it are what is wrong.
fn sentence(message: &str, is_toml: bool) -> String {
    let message = message.trim();
    for (start, what) in [("unknown field ", "key"), ("unknown variant ", "choice")] {
        let Some(rest) = message.strip_prefix(start) else { continue };
        let mut quoted = rest.split('`').skip(1).step_by(2);
        let name = quoted.next().unwrap_or_default();
        let known: Vec<&str> = quoted.collect();
        return unknown(what, name, &known);
    }
    if let Some(field) = message.strip_prefix("missing field ") {
        return format!("the key {field} is missing; add it");
    }
    if let Some(key) = message.strip_prefix("duplicate key") {
        return format!("this key is there twice{key}; take one away");
    }
    if let Some((found, expected)) = message
        .strip_prefix("invalid type: ")
        .or_else(|| message.strip_prefix("invalid value: "))
        .and_then(|rest| rest.split_once(", expected "))
    {
        return format!("found {}; {} is expected", kind_of(found), expected_of(expected));
    }
    if let Some((length, _)) = message.strip_prefix("invalid length ").and_then(|m| m.split_once(", ")) {
        return format!("a list of {length}; two numbers are expected, the lowest and the highest");
    }
    let message = message.replace('\n', ": ");
    match message.strip_prefix("wanted ") {
        Some(wanted) => format!("{} is expected", expected_of(wanted)),
        None if is_toml => message,
        None => format!("this is no TOML: {message}"),
    }
}

fn kind_of(found: &str) -> String {
    match found {
        "map" => "a table".to_owned(),
        "sequence" => "a list".to_owned(),
        other => other
            .replace("string ", "the text ")
            .replace("integer ", "the number ")
            .replace("floating point ", "the number ")
            .replace("boolean ", ""),
    }
}

fn expected_of(expected: &str) -> &str {
    match expected {
        "a string" | "path string" | "string or table" => "a text in quotes",
        "f64" => "a number",
        "i64" => "a whole number",
        "a boolean" => "true or false",
        "a sequence" => "a list, in [ ]",
        "an array of length 2" => "a list of two numbers, the lowest and the highest,",
        e if e.starts_with("struct ") || e == "a map" => "a table",
        other => other,
    }
}
