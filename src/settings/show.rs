//! The effective settings as a file that could be saved, each line with the place that it came from.

use std::fmt::Write as _;

use super::{Record, Settings, Windows};

impl Settings {
    /// TOML with remarks.
    pub fn text(&self) -> String {
        let mut out = String::new();
        let table = toml::Table::try_from(self).unwrap_or_default();
        for key in ["notation", "model", "strictness"] {
            match table.get(key) {
                Some(value) => self.line(&mut out, key, key, value),
                None => {
                    let _ = writeln!(out, "# {key}: sought, see `tugback models`");
                }
            }
        }
        let _ = writeln!(out, "\n[checks]");
        for (key, value) in table.get("checks").and_then(toml::Value::as_table).into_iter().flatten() {
            for line in Windows::about(key).iter().flat_map(|about| wrapped(about)) {
                let _ = writeln!(out, "# {line}");
            }
            self.line(&mut out, key, &format!("checks.{key}"), value);
        }
        let _ = writeln!(out, "\n[record]");
        for (key, value) in table.get("record").and_then(toml::Value::as_table).into_iter().flatten() {
            for line in Record::about(key).iter().flat_map(|about| wrapped(about)) {
                let _ = writeln!(out, "# {line}");
            }
            match value.as_table() {
                None => self.line(&mut out, key, &format!("record.{key}"), value),
                Some(inner) => {
                    for (name, value) in inner {
                        let key = format!("{key}.{name}");
                        self.line(&mut out, &key, &format!("record.{key}"), value);
                    }
                }
            }
        }
        for own in self.instruments() {
            self.item(&mut out, "instrument", &own.name, toml::Table::try_from(own).ok());
        }
        for own in self.phrases() {
            let name = own.said.first().map(String::as_str).unwrap_or_default();
            self.item(&mut out, "phrase", name, toml::Table::try_from(own).ok());
        }
        out
    }

    fn line(&self, out: &mut String, key: &str, place: &str, value: &toml::Value) {
        let line = format!("{key} = {value}");
        let _ = writeln!(out, "{line:<44}  # {}", self.whence(place));
    }

    fn item(&self, out: &mut String, list: &str, name: &str, table: Option<toml::Table>) {
        let _ = writeln!(out, "\n[[{list}]]  # {}", self.whence(&format!("{list}.{name}")));
        for (key, value) in table.into_iter().flatten() {
            let _ = writeln!(out, "{key} = {value}");
        }
    }

    /// "default", "tugback.toml, line 3".
    fn whence(&self, place: &str) -> String {
        self.origin(place).map_or("default".to_owned(), |o| format!("{}, line {}", o.file.display(), o.line))
    }
}

/// Lines of at most 96 letters.
fn wrapped(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < 96 => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
