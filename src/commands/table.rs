//! A log as a table of at most 100 columns: time, tooth, canal, what, values with units, doubts by a sign and a word.

use std::fmt::Write as _;

use comfy_table::{ColumnConstraint, ContentArrangement, Table, Width, presets};

use crate::log::{Canal, Entry, Log, Review, Status, units};

const WIDTH: u16 = 100;

/// The whole table with its closing lines.
pub(super) fn of(log: &Log) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::UTF8_HORIZONTAL_ONLY)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(WIDTH)
        .set_header(["time", "tooth", "canal", "what", "values", "look at"]);
    for e in &log.entries {
        table.add_row([clock(e.from_s), tooth(e), canal(e), what(e), values(e), doubts(e)]);
    }
    for (i, width) in [7, 7, 12].into_iter().enumerate() {
        if let Some(column) = table.column_mut(i) {
            column.set_constraint(ColumnConstraint::UpperBoundary(Width::Fixed(width)));
        }
    }
    let mut out = table.trim_fmt();
    out.push('\n');
    let live = log.entries.iter().filter(|e| e.review != Review::Struck).count();
    let struck = log.entries.len() - live;
    let doubted = log.entries.iter().filter(|e| e.review != Review::Struck && !e.doubts.is_empty()).count();
    let _ = writeln!(
        out,
        "{live} entries, {doubted} with a doubt (?), {struck} struck, {} stretches of other speech kept.",
        log.unplaced.len()
    );
    for r in &log.source.repairs {
        let _ = writeln!(out, "recording: {r}");
    }
    out.push_str(
        "A draft from dictation, to be checked and signed by the treating clinician. Local rules and licensed\n\
         practice come first. In brackets: carried from earlier words.\n",
    );
    out
}

fn clock(s: f64) -> String {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "times of a recording")]
    let s = s.max(0.0) as u64;
    if s >= 3600 {
        format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
    } else {
        format!("{}:{:02}", s / 60, s % 60)
    }
}

fn carried(e: &Entry, field: &str, text: String) -> String {
    if e.carried.iter().any(|c| c == field) { format!("({text})") } else { text }
}

fn tooth(e: &Entry) -> String {
    e.tooth.as_ref().map(|t| carried(e, "tooth", t.clone())).unwrap_or_default()
}

fn canal(e: &Entry) -> String {
    let text = match &e.canal {
        None => return String::new(),
        Some(Canal::One(c)) => c.clone(),
        Some(Canal::Many(c)) => c.join(", "),
    };
    carried(e, "canal", text)
}

fn what(e: &Entry) -> String {
    let kind = e.kind.replace('-', " ");
    if e.review == Review::Struck {
        return format!("STRUCK {kind}");
    }
    match e.status {
        Status::Done => kind,
        Status::Planned => format!("{kind} – planned"),
        Status::NotDone => format!("{kind} – NOT done"),
        Status::Conditional => format!("{kind} – only if"),
        Status::General => format!("{kind} – as a rule"),
    }
}

fn values(e: &Entry) -> String {
    e.values
        .iter()
        .filter(|(field, _)| *field != "said_as")
        .map(|(field, value)| {
            let unit = units::unit(field).map(|u| format!(" {u}")).unwrap_or_default();
            let name = field
                .trim_end_matches("_mm")
                .trim_end_matches("_ml")
                .trim_end_matches("_pct")
                .trim_end_matches("_s")
                .trim_end_matches("_rpm")
                .trim_end_matches("_ncm")
                .trim_end_matches("_mg")
                .replace('_', " ");
            let value = value.to_string();
            let text =
                if value.chars().any(|c| c.is_ascii_digit()) { value } else { value.replace('-', " ") };
            match field.as_str() {
                "text" | "agent" | "instrument" | "technique" | "test" | "drug" | "material" | "pulpal"
                | "apical" | "type" | "view" => text,
                _ => format!("{name} {text}{unit}"),
            }
        })
        .collect::<Vec<_>>()
        .join(", ")
}

fn doubts(e: &Entry) -> String {
    e.doubts
        .iter()
        .map(|d| {
            let or: Vec<String> = d.alternatives.iter().map(ToString::to_string).collect();
            let or = if or.is_empty() { String::new() } else { format!(" – or {}", or.join(", ")) };
            format!("? {}: {}{or}", d.field.replace('_', " "), d.reason)
        })
        .collect::<Vec<_>>()
        .join("\n")
}

/// For each entry: its words, its rule and fields, its doubts.
pub(super) fn explain(log: &Log, reasons: &[Vec<String>]) -> String {
    let mut out = String::new();
    for (e, why) in log.entries.iter().zip(reasons) {
        let _ = writeln!(out, "\n{} {} at {:.2} s: \"{}\"", e.id, e.kind, e.from_s, e.said);
        for w in why {
            let _ = writeln!(out, "    {w}");
        }
        if !e.carried.is_empty() {
            let _ = writeln!(out, "    carried: {}", e.carried.join(", "));
        }
        for d in &e.doubts {
            let _ = writeln!(out, "    doubt on {}: {}", d.field, d.reason);
        }
    }
    out
}
