//! A checklist from a lecture or a demonstration: the steps in the order of the work, with boxes to tick.
//!
//! Comes in: a log. Goes out: points (steps, rules, decisions, cautions), each with the words that it rests on and its time in
//! the lecture. It passes on what was said there and adds nothing; numbers keep their doubts.

mod cycles;
mod order;

use minijinja::value::Serde;
use serde::Serialize;

use super::ExportError;
use super::breath::breaths;
use super::phrase;
use super::template::{Format, Template, fill};
use crate::checks::visit::clock;
use crate::log::{Entry, Log, Review, Status};

/// Below every checklist.
pub const CAUTION: &str = "From a recording: what was said there, not advice of this program, and not checked by anybody. To be \
                           checked by a licensed clinician; local rules and licensed practice come first.";

/// How it is made.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Text is written as Markdown, which can be read as text.
    pub format: Format,
    pub template: Option<Template>,
    /// Where the recording is, for links that play it; else the file that the log was made of, beside the checklist.
    pub media: Option<String>,
}

/// Everything that a template can show. The names are those that a template uses: never renamed.
#[derive(Debug, Clone, Serialize)]
pub struct Checklist {
    pub file: String,
    /// "12:05".
    pub duration: String,
    pub parts: Vec<Part>,
    /// Points with a doubt.
    pub doubtful: usize,
    /// Stretches of speech that no point rests on; they are in the log.
    pub other_speech: usize,
    pub caution: String,
}

/// A part of the work.
#[derive(Debug, Clone, Serialize)]
pub struct Part {
    pub name: &'static str,
    pub points: Vec<Point>,
}

/// One thing to do, to decide or to beware of.
#[derive(Debug, Clone, Serialize)]
pub struct Point {
    pub sort: Sort,
    /// "Step", "Rule", "If", "Caution", "Note", "Not done".
    pub sign: &'static str,
    /// What it is in the log's terms, with values; empty where the words alone say it.
    pub text: String,
    /// As heard.
    pub words: String,
    /// The words say more than the values: a rule with its reason, a condition.
    pub words_first: bool,
    /// Whether there is something to tick.
    pub has_box: bool,
    pub doubts: Vec<String>,
    pub times: Vec<Time>,
    /// In seconds; points of a part stand in this order.
    #[serde(skip)]
    at: f64,
    /// The entry of a step, by which cycles are found.
    #[serde(skip)]
    id: Option<String>,
}

/// What a point asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sort {
    /// Was shown, or announced.
    Step,
    /// A rule of practice, or a cycle that was shown several times.
    Rule,
    Decision,
    Caution,
    /// Something that was told, not done.
    Note,
    /// Was said not to be done here.
    NotDone,
}

/// A place in the recording.
#[derive(Debug, Clone, Serialize)]
pub struct Time {
    /// "1:05".
    pub label: String,
    /// "lecture.flac#t=65.2" (W3C Media Fragments URI 1.0, section 4.2.1).
    pub link: String,
}

/// The checklist of a log.
pub fn checklist(log: &Log, media: Option<&str>) -> Checklist {
    let base = media.map_or_else(|| default_media(log), encode);
    let mut parts: Vec<Vec<Point>> = order::PARTS.iter().map(|_| Vec::new()).collect();
    let mut other_speech = 0;
    let mut now = 0;
    let mut shown: Vec<(usize, &Entry)> = Vec::new();
    for breath in breaths(log) {
        let live: Vec<&Entry> =
            breath.entries.iter().copied().filter(|e| e.review != Review::Struck).collect();
        // Under a condition nothing is a plain step, whatever the log made of it.
        let conditional = order::is_condition(&breath.said);
        let (taught, shown_here): (Vec<&Entry>, Vec<&Entry>) =
            live.iter().partition(|e| conditional || is_taught(e));
        let sort = order::sort(&breath.said, &taught);
        if let Some(sort) = sort.filter(|_| !taught.is_empty() || live.is_empty()) {
            let part = taught.first().map_or(now, |e| order::part(e).unwrap_or(now));
            let text: Vec<String> = taught.iter().map(|e| told(e)).collect();
            let doubts = taught.iter().flat_map(|e| &e.doubts).map(phrase::doubt).collect();
            let point = Point { doubts, ..point(sort, text.join("; "), &breath.said, breath.from_s, &base) };
            put(&mut parts, part, point);
            now = part;
        } else if live.is_empty() {
            other_speech += 1;
        }
        // A step is easier to understand in its whole sentence, unless that is very long.
        let whole = breath.said.split_whitespace().count() <= LONG_WORDS;
        for entry in shown_here {
            let words = if whole { &breath.said } else { &entry.said };
            let part = order::shown_part(entry, now);
            let sort = match entry.status {
                Status::NotDone => Sort::NotDone,
                _ if order::is_told(entry) => Sort::Note,
                _ => Sort::Step,
            };
            let doubts = entry.doubts.iter().map(phrase::doubt).collect();
            let id = (entry.status == Status::Done).then(|| entry.id.clone());
            if id.is_some() {
                shown.push((part, entry));
            }
            put(
                &mut parts,
                part,
                Point { doubts, id, ..point(sort, title(entry), words, entry.from_s, &base) },
            );
            now = part;
        }
    }
    for (part, points) in parts.iter_mut().enumerate() {
        let here: Vec<&Entry> = shown.iter().filter(|(p, _)| *p == part).map(|(_, e)| *e).collect();
        cycles::fold(points, &here, &log.made_by);
        points.sort_by(|a, b| a.at.total_cmp(&b.at));
    }
    let doubtful = parts.iter().flatten().filter(|p| !p.doubts.is_empty()).count();
    let named = order::PARTS.iter().zip(parts).map(|(name, points)| Part { name, points });
    Checklist {
        file: log.source.file.clone(),
        duration: clock(log.source.duration_s),
        parts: named.filter(|p| !p.points.is_empty()).collect(),
        doubtful,
        other_speech,
        caution: CAUTION.to_owned(),
    }
}

/// The built-in template, for a user to begin with.
pub fn built_in(format: Format) -> Template {
    let (name, text) = match format {
        Format::Text | Format::Markdown => ("checklist.md", include_str!("templates/checklist.md.jinja")),
        Format::Html => ("checklist.html", include_str!("templates/checklist.html.jinja")),
    };
    Template { name: name.to_owned(), text: text.to_owned() }
}

/// The checklist as Markdown, HTML, or in a form of one's own.
pub fn write(log: &Log, options: &Options) -> Result<String, ExportError> {
    let template = options.template.clone().unwrap_or_else(|| built_in(options.format));
    let format = if options.format == Format::Text && options.template.is_none() {
        Format::Markdown
    } else {
        options.format
    };
    fill(&template, format, Serde(checklist(log, options.media.as_deref())))
}

/// A breath with more words is not repeated for each of its steps.
const LONG_WORDS: usize = 30;

fn is_taught(entry: &Entry) -> bool {
    matches!(entry.status, Status::General | Status::Conditional)
}

fn put(parts: &mut [Vec<Point>], part: usize, point: Point) {
    if let Some(points) = parts.get_mut(part) {
        points.push(point);
    }
}

fn point(sort: Sort, text: String, words: &str, from_s: f64, base: &str) -> Point {
    let sign = match sort {
        Sort::Step => "Step",
        Sort::Rule => "Rule",
        Sort::Decision => "If",
        Sort::Caution => "Caution",
        Sort::Note => "Note",
        Sort::NotDone => "Not done",
    };
    // As the log writes times: to 0.01 s.
    let link = format!("{base}#t={}", (from_s * 100.0).round() / 100.0);
    let times = vec![Time { label: clock(from_s), link }];
    Point {
        sort,
        sign,
        words_first: text.is_empty() || matches!(sort, Sort::Rule | Sort::Decision | Sort::Caution),
        has_box: !matches!(sort, Sort::Note | Sort::NotDone),
        text,
        words: words.to_owned(),
        doubts: Vec::new(),
        times,
        at: from_s,
        id: None,
    }
}

/// "Instrumentation, MB: rotary 25/.06, to length".
fn title(entry: &Entry) -> String {
    let planned = if entry.status == Status::Planned { " (announced)" } else { "" };
    format!("{}{planned}", super::record::with_kind(entry))
}

/// The same among others, where its sign does not say that it was denied.
fn told(entry: &Entry) -> String {
    let denied = if entry.status == Status::NotDone { " (not done)" } else { "" };
    format!("{}{denied}", title(entry))
}

/// The recording beside the checklist; nothing for a transcript, which cannot be played.
fn default_media(log: &Log) -> String {
    match log.source.kind {
        crate::log::SourceKind::Transcript => String::new(),
        _ => encode(&log.source.file.replace('/', "")),
    }
}

/// A path for a link (RFC 3986): everything but letters, digits, `-._~` and `/` is percent-encoded, so that it can be no
/// scheme and no other host.
fn encode(path: &str) -> String {
    let mut out = String::new();
    for byte in path.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => out.push(char::from(byte)),
            b'/' if !out.ends_with('/') => out.push('/'),
            b'/' => {}
            other => out.extend(format!("%{other:02X}").chars()),
        }
    }
    out
}

#[cfg(test)]
mod tests;
