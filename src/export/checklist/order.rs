//! Where in the work a point stands, and what its words ask for.

use super::Sort;
use crate::log::{Entry, Status};

/// The parts of the work, in its order (procedure_steps.tsv of the trade tables, some of it from memory).
pub(super) const PARTS: &[&str] = &[
    "Before the treatment",
    "Anaesthesia, isolation, access",
    "Lengths and glide path",
    "Shaping and rinsing",
    "Fitting, drying, filling",
    "Closing and follow-up",
    "When something goes wrong",
    "Remarks",
];

const SHAPING: usize = 3;

static KINDS: &[(&str, usize)] = &[
    ("history", 0),
    ("consent", 0),
    ("test", 0),
    ("diagnosis", 0),
    ("tooth", 0),
    ("anaesthesia", 1),
    ("isolation", 1),
    ("access", 1),
    ("canal-located", 1),
    ("working-length", 2),
    ("patency", 2),
    ("glide-path", 2),
    ("instrumentation", SHAPING),
    ("recapitulation", SHAPING),
    ("irrigation", SHAPING),
    ("activation", SHAPING),
    ("apical-gauge", SHAPING),
    ("inspection", SHAPING),
    ("cone-fit", 4),
    ("drying", 4),
    ("medicament", 4),
    ("obturation", 4),
    ("restoration", 5),
    ("prescription", 5),
    ("advice", 5),
    ("review-visit", 5),
    ("material-lot", 5),
    ("complication", 6),
    ("remark", 7),
];

/// What is done again and again between other steps: it stands where it was shown.
const BETWEEN: &[&str] =
    &["working-length", "patency", "glide-path", "irrigation", "recapitulation", "activation", "inspection"];

/// The part that a kind belongs to; nothing where that depends on what is done around it.
pub(super) fn part(entry: &Entry) -> Option<usize> {
    if entry.kind == "radiograph" {
        return match entry.values.get("purpose").and_then(crate::log::Value::text) {
            Some("pre-operative") => Some(0),
            Some("working-length") => Some(2),
            Some("cone-fit") => Some(4),
            Some("post-operative") => Some(5),
            _ => None,
        };
    }
    KINDS.iter().find(|(kind, _)| *kind == entry.kind).map(|(_, part)| *part)
}

/// The part of a step that was shown: its own, or that of the step before where it stands between others.
pub(super) fn shown_part(entry: &Entry, now: usize) -> usize {
    let own = part(entry).unwrap_or(now);
    if BETWEEN.contains(&entry.kind.as_str()) && own < now && now <= SHAPING + 1 { now } else { own }
}

/// Words that begin a condition, and words that warn. Common practice, no source.
const CONDITIONS: &[&str] = &["if", "unless", "in case"];
const WARNINGS: &[&str] =
    &["never", "must not", "do not", "don't", "avoid", "careful", "caution", "danger", "beware"];

/// Words in lower case, without marks, with a blank at both ends.
fn plain_words(said: &str) -> String {
    let letter = |c: char| if c.is_alphanumeric() || c == '\'' { c } else { ' ' };
    let lower: String = said.to_lowercase().chars().map(letter).collect();
    format!(" {} ", lower.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Whether the words hold a condition, or begin with "when".
pub(super) fn is_condition(said: &str) -> bool {
    let words = plain_words(said);
    words.starts_with(" when ") || CONDITIONS.iter().any(|c| words.contains(&format!(" {c} ")))
}

/// What the words ask for; nothing where they are neither a rule nor a condition nor a warning.
pub(super) fn sort(said: &str, taught: &[&Entry]) -> Option<Sort> {
    if taught.iter().any(|e| e.status == Status::Conditional) {
        return Some(Sort::Decision);
    }
    if said.trim_end().ends_with('?') && taught.is_empty() {
        return None;
    }
    if is_condition(said) {
        return Some(Sort::Decision);
    }
    let words = plain_words(said);
    if WARNINGS.iter().any(|w| words.contains(&format!(" {w} "))) {
        return Some(Sort::Caution);
    }
    (!taught.is_empty()).then_some(Sort::Rule)
}

/// What was told about the case, and is nothing to do.
pub(super) fn is_told(entry: &Entry) -> bool {
    matches!(entry.kind.as_str(), "complication" | "remark" | "tooth" | "history" | "material-lot")
}
