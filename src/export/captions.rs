//! Captions as WebVTT (W3C, WebVTT: The Web Video Text Tracks Format): of the words, or of the entries.
//!
//! What is written here, `src/words/transcript.rs` reads back to the same words at the same times.

use std::fmt::Write as _;

use super::escape;
use super::phrase;
use crate::log::{Entry, Log, Review, Status};

/// A cue lasts at least this long, in seconds; its end must lie after its start (W3C WebVTT, section 4.1).
const SHORTEST_S: f64 = 0.01;

/// One cue: from, to, its lines.
type Cue = (f64, f64, Vec<String>);

/// Everything that was said, each stretch once, in the order of time. Words by which a later breath completed an entry
/// stand after "…" in the cue of that entry, because the log knows them by it. What could not be made out is a comment.
pub fn of_words(log: &Log) -> String {
    let mut cues: Vec<Cue> = Vec::new();
    for entry in &log.entries {
        let first = entry.said.split(" … ").next().unwrap_or_default();
        // One breath may have made several entries: "fifteen, twenty, twenty five to length".
        let same = cues.iter_mut().find(|(from, to, lines)| {
            is_same(*from, entry.from_s)
                && is_same(*to, entry.to_s)
                && lines.first().is_some_and(|l| l == first)
        });
        let lines = if let Some((_, _, lines)) = same {
            lines
        } else {
            cues.push((entry.from_s, entry.to_s, vec![first.to_owned()]));
            let Some((_, _, lines)) = cues.last_mut() else { continue };
            lines
        };
        for later in entry.said.split(" … ").skip(1) {
            let later = format!("… {later}");
            if !lines.contains(&later) {
                lines.push(later);
            }
        }
    }
    let clear = log.unplaced.iter().filter(|u| !u.said.trim().is_empty());
    cues.extend(clear.map(|u| (u.from_s, u.to_s, vec![u.said.clone()])));
    for (_, _, lines) in &mut cues {
        *lines = vec![lines.join(" ")];
    }
    let unclear = log.unplaced.iter().filter(|u| u.said.trim().is_empty());
    let notes =
        unclear.map(|u| (u.from_s, format!("{} could not be made out: listen", span(u.from_s, u.to_s))));
    file(&format!("Words heard in {}", log.source.file), cues, notes.collect())
}

/// What the log says: each entry with its tooth, canal and values, doubtful ones with "[?]"; struck ones are left out.
pub fn of_entries(log: &Log) -> String {
    let mut cues: Vec<Cue> = Vec::new();
    for entry in log.entries.iter().filter(|e| e.review != Review::Struck) {
        let line = line(entry);
        match cues.last_mut() {
            Some((from, to, lines)) if is_same(*from, entry.from_s) && is_same(*to, entry.to_s) => {
                lines.push(line);
            }
            _ => cues.push((entry.from_s, entry.to_s, vec![line])),
        }
    }
    let title = format!("Procedure log of {}. {}", log.source.file, super::CAUTION);
    file(&title, cues, Vec::new())
}

fn line(entry: &Entry) -> String {
    let tooth = entry.tooth.clone().filter(|_| entry.kind != "tooth");
    let canal = entry.canal.as_ref().map(phrase::canal_name);
    let place: Vec<String> = tooth.into_iter().chain(canal).collect();
    let what = phrase::kind_name(&entry.kind);
    let how = match entry.status {
        Status::Done => "",
        Status::Planned => " planned",
        Status::NotDone => " NOT done",
        Status::Conditional => " only if",
        Status::General => " as a rule",
    };
    let words = phrase::phrase(entry);
    let words = if words.is_empty() { String::new() } else { format!(": {words}") };
    let place = if place.is_empty() { String::new() } else { format!("{} · ", place.join(" ")) };
    format!("{place}{what}{how}{words}")
}

fn is_same(a: f64, b: f64) -> bool {
    (a - b).abs() < 0.005
}

/// The file: its title as a comment, cues and comments in the order of their start.
fn file(title: &str, cues: Vec<Cue>, notes: Vec<(f64, String)>) -> String {
    let comment = |text: &str| escape::captions(text);
    let mut blocks: Vec<(f64, String)> =
        notes.iter().map(|(at, n)| (*at, format!("NOTE {}\n", comment(n)))).collect();
    for (from, to, lines) in cues {
        let lines: Vec<String> =
            lines.iter().map(|l| escape::captions(l)).filter(|l| !l.is_empty()).collect();
        if !lines.is_empty() {
            blocks.push((from, format!("{}\n{}\n", span(from, to), lines.join("\n"))));
        }
    }
    blocks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = format!("WEBVTT\n\nNOTE {}\n", comment(title));
    for (_, block) in blocks {
        let _ = write!(out, "\n{block}");
    }
    out
}

/// "00:00:01.250 --> 00:00:02.000"; in a comment the arrow is escaped.
fn span(from: f64, to: f64) -> String {
    format!("{} --> {}", stamp(from), stamp(to.max(from + SHORTEST_S)))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "never negative, far below 2^53")]
fn stamp(s: f64) -> String {
    let ms = (s.max(0.0) * 1000.0).round() as u64;
    format!("{:02}:{:02}:{:02}.{:03}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
}

#[cfg(test)]
mod tests;
