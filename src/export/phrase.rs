//! One entry as a dentist writes it: "5 mL sodium hypochlorite 5.25 %, 30 G side-vented needle".
//!
//! Comes in: an entry. Goes out: words. Every value is in them: what the table below does not know stands at the end under
//! its own name. A value with a doubt carries [`MARK`]. Nothing is rounded, left out or filled in.

use crate::checks::visit::{short_taper, size_taper};
use crate::log::{Canal, Doubt, Entry, Value, units};
use crate::words::Decimal;

/// Stands behind a value that is doubtful.
pub const MARK: &str = "[?]";

/// Fields of a kind in the order in which they are written, each with its words; `{}` is the value. Words that start with
/// a blank follow the last value directly, others after a comma. Common practice, no source.
static ORDER: &[(&str, &[(&str, &str)])] = &[
    ("history", &[("part", "{}:"), ("text", " {}")]),
    ("test", &[("test", "{}"), ("depth_mm", " {} mm"), ("result", " {}")]),
    ("diagnosis", &[("pulpal", "{}"), ("apical", "{}")]),
    (
        "anaesthesia",
        &[
            ("technique", "{}"),
            ("agent", "{}"),
            ("concentration_pct", " {} %"),
            ("vasoconstrictor", " with vasoconstrictor {}"),
            ("cartridges", "{} cartridges"),
            ("volume_ml", "{} mL"),
        ],
    ),
    ("isolation", &[("method", "{}"), ("clamp", "clamp {}")]),
    ("canal-located", &[("count", "{} found")]),
    ("working-length", &[("length_mm", "{} mm"), ("reference", " from {}"), ("method", "{}")]),
    ("patency", &[("result", "{}"), ("size", "size {}"), ("beyond_mm", "{} mm beyond")]),
    ("glide-path", &[("result", "{}"), ("size", "size {}")]),
    (
        "instrumentation",
        &[
            ("instrument", "{}"),
            ("size", " {}"),
            ("colour", " ({})"),
            ("file_length_mm", "{} mm long"),
            ("depth_mm", "to {} mm"),
            ("short_mm", "{} mm short of WL"),
            ("third", "{} third"),
            ("motion", "{}"),
            ("passes", "{} passes"),
            ("speed_rpm", "{} /min"),
            ("torque_ncm", "{} N·cm"),
        ],
    ),
    (
        "recapitulation",
        &[("instrument", "{}"), ("size", " {}"), ("depth_mm", "to {} mm"), ("short_mm", "{} mm short of WL")],
    ),
    (
        "irrigation",
        &[
            ("volume_ml", "{} mL"),
            ("agent", " {}"),
            ("concentration_pct", " {} %"),
            ("each", " for each {}"),
            ("gauge", "{} G needle"),
            ("needle", "{}"),
            ("tip_short_mm", "tip {} mm short of WL"),
            ("tip_mm", "tip at {} mm"),
            ("tip_third", "tip in the {} third"),
            ("duration_s", "{} s"),
        ],
    ),
    ("activation", &[("method", "{}"), ("agent", "{}"), ("cycles", "{} cycles"), ("duration_s", " of {} s")]),
    ("apical-gauge", &[("size", "size {}"), ("depth_mm", "at {} mm")]),
    ("cone-fit", &[("size", "cone {}"), ("length_mm", "to {} mm"), ("result", "{}")]),
    ("drying", &[("count", "{}"), ("method", " {}"), ("size", " size {}")]),
    ("medicament", &[("agent", "{}")]),
    ("obturation", &[("technique", "{}"), ("size", "cone {}"), ("sealer", "{} sealer")]),
    ("restoration", &[("material", "{}"), ("term", "{}")]),
    ("radiograph", &[("purpose", "{}"), ("view", " {}")]),
    ("inspection", &[("instrument", "{}"), ("size", " {}"), ("observation", "{}")]),
    ("complication", &[("type", "{}"), ("size", "size {}"), ("length_mm", "{} mm")]),
    (
        "prescription",
        &[
            ("drug", "{}"),
            ("dose_mg", " {} mg"),
            ("times_per_day", "{} times a day"),
            ("days", "for {} days"),
        ],
    ),
    (
        "review-visit",
        &[
            ("after_days", "in {} days"),
            ("after_weeks", "in {} weeks"),
            ("after_months", "in {} months"),
            ("text", "{}"),
        ],
    ),
    ("material-lot", &[("item", "{}"), ("lot", " lot {}")]),
    ("tooth", &[("tooth", "tooth {}")]),
];

/// Fields whose words stand by themselves.
const BARE: &[&str] = &["text"];
/// Fields that hold words as they were said or spelled: their hyphens stay.
const AS_SAID: &[&str] = &["text", "clamp", "item", "lot", "drug", "vasoconstrictor", "tooth"];
/// Says how a tooth was named, which is no finding.
const SILENT: &[&str] = &["said_as"];

/// Terms of the log that the trade writes otherwise than with blanks for hyphens.
const WRITTEN: &[(&str, &str)] = &[
    ("edta", "EDTA"),
    ("cbct", "CBCT"),
    ("k-file", "K-file"),
    ("h-file", "H-file"),
    ("gates-glidden", "Gates-Glidden"),
    ("tug-back", "tug-back"),
    ("no-tug-back", "no tug-back"),
    ("pre-operative", "pre-operative"),
    ("post-operative", "post-operative"),
    ("side-vented", "side-vented"),
    ("open-ended", "open-ended"),
    ("push-pull", "push-pull"),
    ("watch-winding", "watch-winding"),
    ("both", "apex locator and radiograph"),
];

/// The words of an entry, without its kind, tooth and canal; empty where nothing but its kind was said.
pub fn phrase(entry: &Entry) -> String {
    in_words(entry, None)
}

/// The words of several entries that differ in nothing but their sizes: "K-file 15, 20 and 25, to length".
pub fn phrase_of_sizes(entry: &Entry, sizes: &str) -> String {
    in_words(entry, Some(sizes))
}

fn in_words(entry: &Entry, sizes: Option<&str>) -> String {
    let order = ORDER.iter().find(|(kind, _)| *kind == entry.kind).map_or(&[][..], |(_, order)| order);
    let mut out = String::new();
    for (field, words) in order {
        if let Some(sizes) = sizes.filter(|_| *field == "size") {
            let name = if entry.values.contains_key("instrument") { "" } else { "sizes" };
            add(&mut out, &format!("{name} {sizes}"));
        } else if let Some(value) = entry.values.get(*field) {
            add(&mut out, &said(entry, field, words, value));
        } else if *field == "size" && entry.values.contains_key("taper") {
            add(&mut out, &format!("taper {}{}", of(entry, "taper"), mark(entry, "taper")));
        }
    }
    for (field, value) in &entry.values {
        let with_size = field == "taper" && order.iter().any(|(f, _)| *f == "size");
        if with_size || order.iter().any(|(f, _)| f == field) || SILENT.contains(&field.as_str()) {
            continue;
        }
        let unit = units::unit(field).map(|u| format!(" {u}")).unwrap_or_default();
        let name = if BARE.contains(&field.as_str()) {
            String::new()
        } else {
            format!("{} ", name_without_unit(field).replace('_', " "))
        };
        add(&mut out, &format!("{name}{}{unit}{}", written(field, value), mark(entry, field)));
    }
    for doubt in &entry.doubts {
        let told = entry.values.contains_key(&doubt.field);
        match doubt.field.as_str() {
            _ if told => {}
            "entry" => add(&mut out, &format!(" {MARK}")),
            field => add(&mut out, &format!("{} {MARK}", field_name(field))),
        }
    }
    out.trim().to_owned()
}

/// Appends a piece: directly where it starts with a blank, else after a comma.
fn add(out: &mut String, piece: &str) {
    if piece.is_empty() {
        return;
    }
    if out.is_empty() {
        out.push_str(piece.trim_start());
    } else {
        if !piece.starts_with(' ') {
            out.push_str(", ");
        }
        out.push_str(piece);
    }
}

/// One value with its words.
fn said(entry: &Entry, field: &str, words: &str, value: &Value) -> String {
    let has = |f: &str| entry.values.contains_key(f);
    let one = value.number() == Some(Decimal::whole(1));
    let zero = value.number() == Some(Decimal::ZERO);
    let text = value.text();
    let words = match (entry.kind.as_str(), field) {
        (_, "size") if has("taper") => {
            return words.replacen("size ", "", 1).replace("{}", &size_and_taper(entry));
        }
        ("instrumentation" | "recapitulation" | "inspection", "size") if !has("instrument") => "size {}",
        (_, "short_mm") if zero => return format!("to length{}", mark(entry, field)),
        ("irrigation", "each") if text == Some("file") => " after each file",
        ("irrigation", "gauge") if has("needle") => "{} G",
        ("irrigation", "needle") if has("gauge") => " {} needle",
        ("irrigation", "needle") => "{} needle",
        ("irrigation", "agent") if !has("volume_ml") => "{}",
        ("activation", "cycles") if has("duration_s") => "{} ×",
        ("activation", "duration_s") if has("cycles") => " {} s",
        ("activation", "duration_s") => "{} s",
        ("test", "result") if has("depth_mm") => "{}",
        ("working-length", "reference") if !has("length_mm") => "from {}",
        ("canal-located", "count") if one => "1 found",
        (_, "cartridges") if one => "{} cartridge",
        (_, "cycles") if one => "{} cycle",
        (_, "passes") if one => "{} pass",
        (_, "times_per_day") if one => "once a day",
        (_, "days") if one => "for {} day",
        (_, "after_days") if one => "in {} day",
        (_, "after_weeks") if one => "in {} week",
        (_, "after_months") if one => "in {} month",
        _ => words,
    };
    format!("{}{}", words.replacen("{}", &written(field, value), 1), mark(entry, field))
}

/// "25/.06", each part with its own mark.
fn size_and_taper(entry: &Entry) -> String {
    let number = |f: &str| entry.values.get(f).and_then(Value::number);
    if is_doubtful(entry, "size") && !is_doubtful(entry, "taper") {
        return format!(
            "{}{}/{}",
            of(entry, "size"),
            MARK,
            number("taper").map_or(String::new(), short_taper)
        );
    }
    let marked = is_doubtful(entry, "size") || is_doubtful(entry, "taper");
    let mark = if marked { format!(" {MARK}") } else { String::new() };
    format!("{}{mark}", size_taper(number("size"), number("taper")))
}

fn of(entry: &Entry, field: &str) -> String {
    entry.values.get(field).map(ToString::to_string).unwrap_or_default()
}

/// Whether a doubt about this field stands.
pub fn is_doubtful(entry: &Entry, field: &str) -> bool {
    entry.doubts.iter().any(|d| d.field == field)
}

fn mark(entry: &Entry, field: &str) -> String {
    if is_doubtful(entry, field) { format!(" {MARK}") } else { String::new() }
}

/// A value as the trade writes it, without its unit.
pub fn written(field: &str, value: &Value) -> String {
    match value {
        Value::Number(n) if field == "taper" => short_taper(*n),
        Value::Number(n) => n.to_string(),
        Value::Text(t) if AS_SAID.contains(&field) => t.clone(),
        Value::Text(t) => WRITTEN
            .iter()
            .find(|(term, _)| term == t)
            .map_or_else(|| t.replace('-', " "), |(_, written)| (*written).to_owned()),
    }
}

fn name_without_unit(field: &str) -> &str {
    units::ENDINGS.iter().find_map(|(ending, _)| field.strip_suffix(ending)).unwrap_or(field)
}

/// A field's name for a person: "volume", "working length".
pub fn field_name(field: &str) -> String {
    match field {
        "short_mm" => "short of WL".to_owned(),
        "tip_short_mm" => "needle tip short of WL".to_owned(),
        "tip_mm" | "tip_third" => "needle tip".to_owned(),
        _ => name_without_unit(field).replace('_', " "),
    }
}

/// "working length", with a capital: "Working length".
pub fn kind_name(kind: &str) -> String {
    let text = kind.replace('-', " ");
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Headings of a note that are not the kind's own name.
const HEADINGS: &[(&str, &str)] = &[
    ("test", "Tests"),
    ("canal-located", "Canals"),
    ("instrumentation", "Instruments"),
    ("complication", "Complications"),
    ("radiograph", "Radiographs"),
    ("review-visit", "Review"),
    ("material-lot", "Lots"),
    ("remark", "Remarks"),
];

/// The heading above the entries of a kind.
pub fn heading(kind: &str) -> String {
    HEADINGS.iter().find(|(k, _)| *k == kind).map_or_else(|| kind_name(kind), |(_, h)| (*h).to_owned())
}

/// Canal names for a person: "MB and ML", "all canals", "the canal".
pub fn canal_name(canal: &Canal) -> String {
    match canal.names() {
        [one] if one == "single" => "single canal".to_owned(),
        [one] if one == "all" => "all canals".to_owned(),
        names => crate::checks::visit::join(names),
    }
}

/// Why a value is doubtful, with what else it may have been: "volume: heard as three or eight; may be 8 mL".
pub fn doubt(doubt: &Doubt) -> String {
    let unit = units::unit(&doubt.field).map(|u| format!(" {u}")).unwrap_or_default();
    let or: Vec<String> = doubt.alternatives.iter().map(|a| written(&doubt.field, a)).collect();
    let or = if or.is_empty() { String::new() } else { format!("; may be {}{unit}", or.join(" or ")) };
    let name = if doubt.field == "entry" { String::new() } else { format!("{}: ", field_name(&doubt.field)) };
    format!("{name}{}{or}", doubt.reason)
}

#[cfg(test)]
mod tests;
