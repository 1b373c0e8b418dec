//! A log as a table of at most 100 columns: time, tooth, canal, what, values with units, doubts by a sign and a word.

use std::fmt::Write as _;

use comfy_table::{ColumnConstraint, ContentArrangement, LineStyle, Table, TableStyle, Width};
use serde_json::Value as Json;

use crate::log::{Canal, Entry, Log, Review, Status, Value, units};

pub(super) const WIDTH: u16 = 100;

/// Lines above, below and under the heading; a row of several lines begins where a time stands.
const LINES: TableStyle = TableStyle::new()
    .top_border(LineStyle::none().fill('─').junction('─'))
    .header_separator(LineStyle::none().fill('─').junction('─'))
    .bottom_border(LineStyle::none().fill('─').junction('─'));

/// The whole table with its closing lines.
pub(super) fn of(log: &Log) -> String {
    let mut table = Table::new();
    table
        .load_style(LINES)
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
    let mut out = if log.entries.is_empty() {
        "Nothing that was said became an entry.\n".to_owned()
    } else {
        table.trim_fmt().replace(TIE, " ") + "\n"
    };
    let live = log.entries.iter().filter(|e| e.review != Review::Struck).count();
    let struck = log.entries.len() - live;
    let doubted = log.entries.iter().filter(|e| e.review != Review::Struck && !e.doubts.is_empty()).count();
    let entries = if live == 1 { "entry" } else { "entries" };
    let stretches = if log.unplaced.len() == 1 { "stretch" } else { "stretches" };
    let _ = writeln!(
        out,
        "{live} {entries}, {doubted} with a doubt (?), {struck} struck, {} {stretches} of other speech kept.",
        log.unplaced.len()
    );
    for line in about_recording(log) {
        let _ = writeln!(out, "recording: {line}");
    }
    out.push_str(
        "A draft from dictation, to be checked and signed by the treating clinician. Local rules and licensed\n\
         practice come first. In brackets: carried from earlier words.\n",
    );
    out
}

/// An entry in one line: `1:04 36 MB irrigation: sodium hypochlorite, 5 mL  ? …`.
#[cfg(feature = "microphone")]
pub(super) fn line(e: &Entry) -> String {
    let mut line = clock(e.from_s);
    for part in [tooth(e), canal(e), what(e)] {
        if !part.is_empty() {
            line.push(' ');
            line.push_str(&part);
        }
    }
    let (values, doubts) = (values(e), doubts(e).replace('\n', "  "));
    if !values.is_empty() {
        line.push_str(": ");
        line.push_str(&values);
    }
    if !doubts.is_empty() {
        line.push_str("  ");
        line.push_str(&doubts);
    }
    line.replace(TIE, " ")
}

pub(super) fn clock(s: f64) -> String {
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

pub(super) fn canal(e: &Entry) -> String {
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

/// What a person must know of the recording: it was cut short, it is very quiet …
fn about_recording(log: &Log) -> impl Iterator<Item = &str> {
    let texts = |key: &str| log.source.audio.get(key).and_then(Json::as_array).into_iter().flatten();
    let warned = texts("warnings").chain(texts("verdict")).filter_map(Json::as_str).filter(|v| *v != "good");
    log.source.repairs.iter().map(String::as_str).chain(warned)
}

/// A blank that a line is not broken at, so that "2.5 %" stays together; printed as a blank.
const TIE: &str = "\u{a0}";

/// What stands first, in this order: what was used, how large, how strong, how much. The rest as it was said.
const FIRST: &[&str] = &[
    "test",
    "part",
    "drug",
    "agent",
    "instrument",
    "material",
    "technique",
    "type",
    "item",
    "pulpal",
    "size",
    "taper",
    "concentration_pct",
    "volume_ml",
    "length_mm",
    "reference",
];

fn values(e: &Entry) -> String {
    let place = |field: &str| FIRST.iter().position(|f| *f == field).unwrap_or(FIRST.len());
    let mut values: Vec<(&String, &Value)> = e.values.iter().filter(|(f, _)| *f != "said_as").collect();
    values.sort_by_key(|(field, _)| place(field));
    values.into_iter().map(|(field, value)| shown(field, value)).collect::<Vec<_>>().join(", ")
}

/// Fields whose value says by itself what it is.
const CLEAR: &[&str] = &[
    "agent",
    "apical",
    "colour",
    "drug",
    "instrument",
    "item",
    "material",
    "motion",
    "observation",
    "part",
    "pulpal",
    "purpose",
    "result",
    "technique",
    "term",
    "test",
    "text",
    "tooth",
    "type",
    "view",
];

fn shown(field: &str, value: &Value) -> String {
    let Value::Number(number) = value else {
        let text = value.to_string();
        let text = if matches!(field, "lot" | "text") { text } else { text.replace('-', " ") };
        return if CLEAR.contains(&field) { text } else { format!("{} {text}", name(field)) };
    };
    let one = number.to_whole() == Some(1);
    let many = |thing: &str| format!("{number} {thing}{}", if one { "" } else { "s" });
    let text = match (field, units::unit(field)) {
        ("short_mm", _) if number.to_whole() == Some(0) => "to length".to_owned(),
        ("short_mm", _) => format!("{number} mm short"),
        ("tip_short_mm", _) => format!("tip {number} mm short"),
        ("beyond_mm", _) => format!("{number} mm beyond"),
        ("after_days", _) => format!("after {}", many("day")),
        ("after_weeks", _) => format!("after {}", many("week")),
        ("after_months", _) => format!("after {}", many("month")),
        ("times_per_day", _) => format!("{} a day", many("time")),
        ("days", _) => format!("for {}", many("day")),
        (_, Some("mm")) => format!("{} {number} mm", name(field)),
        (_, Some(unit)) => format!("{number} {unit}"),
        (_, None) => format!("{} {number}", name(field)),
    };
    text.replace(' ', TIE)
}

/// A field's name as a person says it: `length_mm` is "length".
fn name(field: &str) -> String {
    let bare = units::ENDINGS.iter().find_map(|(ending, _)| field.strip_suffix(ending));
    bare.unwrap_or(field).replace('_', " ")
}

fn doubts(e: &Entry) -> String {
    e.doubts
        .iter()
        .map(|d| {
            let or: Vec<String> = d.alternatives.iter().map(ToString::to_string).collect();
            let or = if or.is_empty() { String::new() } else { format!(" – or {}", or.join(", ")) };
            format!("? {}: {}{or}", name(&d.field), d.reason)
        })
        .collect::<Vec<_>>()
        .join("\n")
}
