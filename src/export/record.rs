//! What a note or a letter is made of: the log by tooth and canal, in words, ready for a template.
//!
//! Comes in: a log. Goes out: a [`Record`] that holds every live entry once. Decides nothing: what is not verified says so.

use serde::Serialize;

use super::breath::{Breath, breaths};
use super::phrase::{self, MARK};
use crate::checks::visit::{Tooth, Visit, clock};
use crate::log::{Canal, Entry, Log, Review, Status};

/// Everything that a template can show. The names are those that a template uses: never renamed.
#[derive(Debug, Clone, Serialize)]
pub struct Record {
    /// File name of the recording or transcript.
    pub file: String,
    /// When it was recorded, RFC 3339, where the recording itself says so.
    pub recorded: Option<String>,
    /// The day of it, "2026-02-03".
    pub date: Option<String>,
    /// "2:06".
    pub duration: String,
    /// The practice's own reference.
    pub reference: Option<String>,
    /// ISO 3950.
    pub teeth: Vec<ToothPart>,
    pub standing: Standing,
    /// Doubts that nobody has settled.
    pub doubts: Vec<Unsettled>,
    /// Stretches of speech that became no entry.
    pub other_speech: usize,
    /// Where speech could not be made out: "0:12–0:15".
    pub unclear: Vec<String>,
    /// What was wrong with the recording.
    pub repairs: Vec<String>,
    pub caution: String,
    /// Whether times are wanted.
    pub times: bool,
}

/// How far the log has come.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Standing {
    /// `draft`, `signed` or `amended` (changed since it was signed).
    pub state: &'static str,
    pub name: String,
    pub role: String,
    /// RFC 3339.
    pub at: String,
    /// Live entries, and how many of them a person has confirmed or amended.
    pub entries: usize,
    pub verified: usize,
}

/// One tooth.
#[derive(Debug, Clone, Serialize)]
pub struct ToothPart {
    /// "36"; absent where none was named.
    pub number: Option<String>,
    /// "Tooth 36", "Tooth not named".
    pub name: String,
    /// Before the canals: history, tests, diagnosis, anaesthesia, isolation, access.
    pub before: Vec<Line>,
    pub canals: Vec<CanalPart>,
    /// After the canals: restoration, radiographs, prescription, advice, review.
    pub after: Vec<Line>,
    pub planned: Vec<Item>,
    pub not_done: Vec<Item>,
    /// Said under a condition, or as a rule of practice: not a deed. In the words that were heard.
    pub not_a_deed: Vec<Item>,
}

/// One canal, or several that were treated together.
#[derive(Debug, Clone, Serialize)]
pub struct CanalPart {
    /// "Canal MB", "Canals MB and ML", "All canals", "Canal not named".
    pub name: String,
    pub lines: Vec<Line>,
}

/// One kind of step.
#[derive(Debug, Clone, Serialize)]
pub struct Line {
    /// The kind's name in the log.
    pub kind: String,
    /// "Working length".
    pub label: String,
    pub items: Vec<Item>,
}

/// One step, or several like ones after each other.
#[derive(Debug, Clone, Serialize)]
pub struct Item {
    pub text: String,
    /// "1:05"; several where like steps stand together.
    pub times: Vec<String>,
    pub doubtful: bool,
    /// A person has confirmed or amended it.
    pub verified: bool,
    /// " (not verified)" where others are and this one is not.
    pub mark: &'static str,
}

/// A doubt that nobody has settled.
#[derive(Debug, Clone, Serialize)]
pub struct Unsettled {
    pub time: String,
    /// "36 MB", or empty.
    pub place: String,
    /// "Irrigation".
    pub label: String,
    /// The entry in words.
    pub text: String,
    /// The doubts.
    pub why: String,
    pub said: String,
}

/// Stands with its canal where one was named, else after the canals.
const COMPLICATION: &str = "complication";
const BEFORE: &[&str] =
    &["history", "consent", "test", "diagnosis", "anaesthesia", "isolation", "access", "canal-located"];
const CANAL: &[&str] = &[
    "working-length",
    "patency",
    "glide-path",
    "instrumentation",
    "recapitulation",
    "apical-gauge",
    "irrigation",
    "activation",
    "cone-fit",
    "drying",
    "medicament",
    "obturation",
    COMPLICATION,
];
const AFTER: &[&str] = &[
    COMPLICATION,
    "inspection",
    "restoration",
    "radiograph",
    "prescription",
    "advice",
    "review-visit",
    "material-lot",
    "remark",
];

/// The record of a log.
pub fn record(log: &Log, times: bool) -> Record {
    let live: Vec<&Entry> = log.entries.iter().filter(|e| e.review != Review::Struck).collect();
    let verified = live.iter().filter(|e| is_verified(e)).count();
    let standing = Standing { entries: live.len(), verified, ..super::standing(log) };
    let visit = Visit::of(log);
    let breaths = breaths(log);
    let unclear = log.unplaced.iter().filter(|u| u.said.trim().is_empty());
    Record {
        file: log.source.file.clone(),
        date: log.source.recording_start.as_ref().and_then(|at| at.get(..10)).map(str::to_owned),
        recorded: log.source.recording_start.clone(),
        duration: clock(log.source.duration_s),
        reference: log.case.reference.clone(),
        teeth: visit.teeth.iter().map(|t| tooth(t, &breaths, verified > 0)).collect(),
        doubts: live.iter().filter(|e| !e.doubts.is_empty()).map(|e| unsettled(e)).collect(),
        other_speech: log.unplaced.len(),
        unclear: unclear.map(|u| format!("{}–{}", clock(u.from_s), clock(u.to_s))).collect(),
        repairs: log.source.repairs.clone(),
        caution: super::CAUTION.to_owned(),
        times,
        standing,
    }
}

/// A person has looked at it and left no doubt.
pub fn is_verified(entry: &Entry) -> bool {
    matches!(entry.review, Review::Confirmed | Review::Amended) && entry.doubts.is_empty()
}

fn tooth(tooth: &Tooth<'_>, breaths: &[Breath<'_>], some_are_verified: bool) -> ToothPart {
    let entries: Vec<&Entry> = tooth.steps.iter().map(|s| s.entry).collect();
    let done: Vec<&Entry> = entries.iter().copied().filter(|e| e.status == Status::Done).collect();
    let of = |status: Status, words: fn(&Entry) -> String| {
        let these = entries.iter().filter(|e| e.status == status);
        these.map(|e| item(e, words(e), some_are_verified)).collect::<Vec<_>>()
    };
    let with = |kinds: &[&str], done: &[&Entry]| lines(kinds, done, some_are_verified);
    let in_canals: Vec<&Entry> = done.iter().copied().filter(|e| is_in_canal(e)).collect();
    let around: Vec<&Entry> = done.iter().copied().filter(|e| !is_in_canal(e)).collect();
    let names = groups(&in_canals);
    let canals = names
        .iter()
        .map(|names| {
            let here: Vec<&Entry> = in_canals.iter().copied().filter(|e| group(e) == *names).collect();
            CanalPart { name: group_name(names), lines: with(CANAL, &here) }
        })
        .collect();
    let known = |e: &&Entry| {
        let kind = e.kind.as_str();
        kind == "tooth" && e.doubts.is_empty()
            || BEFORE.contains(&kind)
            || CANAL.contains(&kind)
            || AFTER.contains(&kind)
    };
    let mut rest: Vec<&str> = done.iter().filter(|e| !known(e)).map(|e| e.kind.as_str()).collect();
    rest.dedup();
    let mut after = with(AFTER, &around);
    after.extend(with(&rest, &around));
    let not_a_deed = breaths.iter().filter_map(|b| {
        let here = |e: &&&Entry| entries.iter().any(|i| i.id == e.id);
        let first = b.entries.iter().filter(here).find(|e| is_no_deed(e))?;
        Some(item(first, format!("“{}”", b.said), some_are_verified))
    });
    let not_a_deed = not_a_deed.collect();
    ToothPart {
        number: tooth.number.map(str::to_owned),
        name: tooth.number.map_or("Tooth not named".to_owned(), |n| format!("Tooth {n}")),
        before: with(BEFORE, &around),
        canals,
        after,
        planned: of(Status::Planned, with_kind),
        not_done: of(Status::NotDone, with_kind),
        not_a_deed,
    }
}

/// Said under a condition, or as a rule of practice.
fn is_no_deed(entry: &Entry) -> bool {
    entry.review != Review::Struck && matches!(entry.status, Status::Conditional | Status::General)
}

fn is_in_canal(entry: &Entry) -> bool {
    CANAL.contains(&entry.kind.as_str()) && (entry.kind != COMPLICATION || entry.canal.is_some())
}

/// "Irrigation MB: 3 mL EDTA".
pub(super) fn with_kind(entry: &Entry) -> String {
    let canal = entry.canal.as_ref().map(|c| format!(", {}", phrase::canal_name(c))).unwrap_or_default();
    let words = phrase::phrase(entry);
    let words = if words.is_empty() { words } else { format!(": {words}") };
    format!("{}{canal}{words}", phrase::kind_name(&entry.kind))
}

/// The canals of an entry as they were named.
fn group(entry: &Entry) -> Vec<String> {
    entry.canal.as_ref().map(Canal::names).unwrap_or_default().to_vec()
}

/// Single canals in the order in which they were named, then groups, then all, then those without a name.
fn groups(entries: &[&Entry]) -> Vec<Vec<String>> {
    let mut names: Vec<Vec<String>> = Vec::new();
    for entry in entries {
        let group = group(entry);
        if !names.contains(&group) {
            names.push(group);
        }
    }
    names.sort_by_key(|names| match names.as_slice() {
        [] => 3,
        [one] if one == "all" => 2,
        [_] => 0,
        _ => 1,
    });
    names
}

fn group_name(names: &[String]) -> String {
    match names {
        [] => "Canal not named".to_owned(),
        [one] if one == "all" => "All canals".to_owned(),
        [one] if one == "single" => "Single canal".to_owned(),
        [one] => format!("Canal {one}"),
        many => format!("Canals {}", crate::checks::visit::join(many)),
    }
}

/// The entries of each of these kinds, kinds without entries left out.
fn lines(kinds: &[&str], entries: &[&Entry], some_are_verified: bool) -> Vec<Line> {
    let line = |kind: &&str| {
        let these: Vec<&Entry> = entries.iter().copied().filter(|e| e.kind == **kind).collect();
        (!these.is_empty()).then(|| Line {
            kind: (*kind).to_owned(),
            label: phrase::heading(kind),
            items: items(&these, some_are_verified),
        })
    };
    kinds.iter().filter_map(line).collect()
}

/// Like steps after each other as one: sizes as a list, the same words with their number.
fn items(entries: &[&Entry], some_are_verified: bool) -> Vec<Item> {
    let mut items: Vec<Item> = Vec::new();
    let mut at = 0;
    while let Some(first) = entries.get(at) {
        let like = entries.iter().skip(at).take_while(|e| is_like(first, e)).count().max(1);
        let these = entries.iter().skip(at).take(like);
        let mut one = item(first, words(first), some_are_verified);
        one.times = these.clone().map(|e| clock(e.from_s)).collect();
        one.times.dedup();
        let same = these.clone().all(|e| words(e) == one.text);
        let said_nothing = phrase::phrase(first).is_empty();
        if like > 1 && same && !said_nothing {
            one.text = format!("{} (×{like})", one.text);
        } else if like > 1 && !same {
            one.text = listed(&these.copied().collect::<Vec<_>>());
        }
        items.push(one);
        at += like;
    }
    items
}

/// The words of a step; canals that a step of the tooth was said of stand before them.
fn words(entry: &Entry) -> String {
    let words = phrase::phrase(entry);
    let canal =
        entry.canal.as_ref().filter(|_| !is_in_canal(entry)).map(phrase::canal_name).unwrap_or_default();
    match (canal.is_empty(), words.is_empty()) {
        (true, true) => "done".to_owned(),
        (true, false) => words,
        (false, true) => canal,
        (false, false) if entry.kind == "canal-located" => format!("{canal} ({words})"),
        (false, false) => format!("{canal}: {words}"),
    }
}

/// Entries that differ at most in their size and taper, none of them doubtful.
fn is_like(a: &Entry, b: &Entry) -> bool {
    let rest = |e: &Entry| {
        let mut rest: Vec<_> = e
            .values
            .iter()
            .filter(|(f, _)| !matches!(f.as_str(), "size" | "taper"))
            .map(|(f, v)| (f.clone(), v.clone()))
            .collect();
        rest.sort_by(|a, b| a.0.cmp(&b.0));
        rest
    };
    let has = |e: &Entry| e.values.contains_key("size");
    a.doubts.is_empty()
        && b.doubts.is_empty()
        && a.canal == b.canal
        && is_verified(a) == is_verified(b)
        && has(a) == has(b)
        && rest(a) == rest(b)
        && (a.kind == "instrumentation" || words(a) == words(b))
}

/// "K-file 15, 20 and 25, to length": the first one's words, with every size.
fn listed(entries: &[&Entry]) -> String {
    let Some(first) = entries.first() else { return String::new() };
    let size = |e: &Entry| {
        let of = |f: &str| e.values.get(f).and_then(crate::log::Value::number);
        crate::checks::visit::size_taper(of("size"), of("taper"))
    };
    let sizes: Vec<String> = entries.iter().map(|e| size(e)).collect();
    phrase::phrase_of_sizes(first, &crate::checks::visit::join(&sizes))
}

fn item(entry: &Entry, text: String, some_are_verified: bool) -> Item {
    let verified = is_verified(entry);
    Item {
        text,
        times: vec![clock(entry.from_s)],
        doubtful: !entry.doubts.is_empty(),
        verified,
        mark: if some_are_verified && !verified { " (not verified)" } else { "" },
    }
}

fn unsettled(entry: &Entry) -> Unsettled {
    let why: Vec<String> = entry.doubts.iter().map(phrase::doubt).collect();
    let canal = entry.canal.as_ref().map(phrase::canal_name);
    let place: Vec<String> = entry.tooth.clone().into_iter().chain(canal).collect();
    let text = phrase::phrase(entry);
    Unsettled {
        time: clock(entry.from_s),
        place: place.join(" "),
        label: phrase::kind_name(&entry.kind),
        text: if text.is_empty() { MARK.to_owned() } else { text },
        why: why.join("; "),
        said: entry.said.clone(),
    }
}

#[cfg(test)]
mod tests;
