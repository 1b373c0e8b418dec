//! A transcript (`WebVTT`, SRT, plain text: one line, one breath) → breaths. Known by its content, never by its name.

use crate::listen::heard::Breath;

/// Seconds a word takes where a plain text gives no times (about 160 words a minute).
const WORD_S: f64 = 0.38;
/// Silence between the lines of a plain text.
const PAUSE_S: f64 = 0.8;

/// What was read, and what had to be mended.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Transcript {
    pub breaths: Vec<Breath>,
    pub duration_s: f64,
    pub format: &'static str,
    /// Every clamp and oddity, one sentence each.
    pub repairs: Vec<String>,
}

/// Why a text is no transcript.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum TranscriptError {
    #[error("the file is empty; a transcript needs at least one line of words")]
    Empty,
    #[error("this is neither a recording nor a text (a byte that no text holds stands at {at})")]
    NotText { at: usize },
}

/// Does a file's start look like text rather than like a recording?
pub fn looks_like_text(start: &[u8]) -> bool {
    let utf16 = start.starts_with(&[0xFF, 0xFE]) || start.starts_with(&[0xFE, 0xFF]);
    if utf16 {
        return true;
    }
    let valid = match std::str::from_utf8(start) {
        Ok(_) => true,
        Err(e) => e.error_len().is_none() || start.iter().filter(|b| **b >= 0x80).count() * 20 < start.len(),
    };
    valid && !start.is_empty() && !start.iter().any(|b| *b < 9 || (14..32).contains(b) && *b != 27)
}

/// Reads a transcript.
pub fn read(bytes: &[u8]) -> Result<Transcript, TranscriptError> {
    let mut repairs = Vec::new();
    let text = decode(bytes, &mut repairs)?;
    if text.trim().is_empty() {
        return Err(TranscriptError::Empty);
    }
    let lines: Vec<&str> = text.lines().collect();
    let (format, cues) = if text.trim_start().starts_with("WEBVTT") {
        ("webvtt", cues(&lines))
    } else if lines.iter().any(|l| times(l).is_some()) {
        ("srt", cues(&lines))
    } else {
        ("plain text", plain(&lines))
    };
    let mut t = Transcript { format, repairs, ..Transcript::default() };
    let mut last = 0.0_f64;
    for (n, (from, to, words)) in cues.into_iter().enumerate() {
        let sane = |x: f64| if x.is_finite() { x.clamp(0.0, 1_000_000.0) } else { last };
        let start = sane(from).max(last - 0.5);
        let end = sane(to).max(start);
        if (start - from).abs() > 0.005 || (end - to).abs() > 0.005 || !from.is_finite() || !to.is_finite() {
            t.repairs.push(format!(
                "cue {} had impossible times; they were set to {start:.2} to {end:.2} s",
                n + 1
            ));
        }
        last = last.max(start);
        t.duration_s = t.duration_s.max(end);
        if !words.trim().is_empty() {
            t.breaths.push(Breath::from_text(start, end, &words));
        }
    }
    if t.breaths.is_empty() {
        return Err(TranscriptError::Empty);
    }
    Ok(t)
}

fn decode(bytes: &[u8], repairs: &mut Vec<String>) -> Result<String, TranscriptError> {
    let utf16 = |be: bool| -> String {
        let units: Vec<u16> = bytes
            .get(2..)
            .unwrap_or_default()
            .chunks_exact(2)
            .map(|c| match c {
                [a, b] if be => u16::from_be_bytes([*a, *b]),
                [a, b] => u16::from_le_bytes([*a, *b]),
                _ => 0,
            })
            .collect();
        String::from_utf16_lossy(&units)
    };
    if bytes.starts_with(&[0xFF, 0xFE]) {
        return Ok(utf16(false));
    }
    if bytes.starts_with(&[0xFE, 0xFF]) {
        return Ok(utf16(true));
    }
    let body = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
    if let Some(at) = body.iter().position(|b| *b < 9 || (14..32).contains(b) && *b != 27) {
        return Err(TranscriptError::NotText { at });
    }
    if let Ok(text) = std::str::from_utf8(body) {
        return Ok(text.to_owned());
    }
    repairs.push("the text is not UTF-8; it was read as Latin-1".to_owned());
    Ok(body.iter().map(|b| char::from(*b)).collect())
}

type Cue = (f64, f64, String);

/// Cues of `WebVTT` and SRT: a line with times, then text to the next empty line.
fn cues(lines: &[&str]) -> Vec<Cue> {
    let mut out: Vec<Cue> = Vec::new();
    let mut open = false;
    let mut before_first = Vec::new();
    let mut skipping = false;
    for (n, line) in lines.iter().enumerate() {
        let line = line.trim();
        if let Some((from, to)) = times(line) {
            out.push((from, to, String::new()));
            (open, skipping) = (true, false);
        } else if line.is_empty() {
            (open, skipping) = (false, false);
        } else if open {
            if let Some((_, _, text)) = out.last_mut() {
                if !text.is_empty() {
                    text.push(' ');
                }
                text.push_str(&plain_text(line));
            }
        } else if skipping
            || n == 0
            || ["NOTE", "STYLE", "REGION", "Kind:", "Language:"].iter().any(|h| line.starts_with(h))
        {
            skipping = !matches!(line.split(':').next(), Some("Kind" | "Language"));
        } else if !(line.bytes().all(|b| b.is_ascii_digit())
            || lines.get(n + 1).is_some_and(|l| times(l).is_some()))
        {
            // Words after an empty line inside a cue, or before the first: kept.
            match out.last_mut() {
                Some((_, _, text)) => {
                    text.push(' ');
                    text.push_str(&plain_text(line));
                }
                None => before_first.push(plain_text(line)),
            }
        }
    }
    if !before_first.is_empty() {
        out.insert(0, (0.0, 0.0, before_first.join(" ")));
    }
    out
}

/// "00:01:02.500 --> 00:01:04.000", also with commas and without hours.
fn times(line: &str) -> Option<(f64, f64)> {
    let (from, rest) = line.split_once("-->")?;
    let to = rest.split_whitespace().next()?;
    Some((stamp(from.trim())?, stamp(to)?))
}

fn stamp(text: &str) -> Option<f64> {
    if text.eq_ignore_ascii_case("nan") {
        return Some(f64::NAN);
    }
    let text = text.replace(',', ".");
    let (sign, body) = text.strip_prefix('-').map_or((1.0, text.as_str()), |b| (-1.0, b));
    let mut seconds = 0.0;
    for part in body.split(':') {
        seconds = seconds * 60.0 + part.parse::<f64>().ok()?;
    }
    Some(sign * seconds)
}

/// Without tags, entities as characters.
fn plain_text(line: &str) -> String {
    let mut out = String::with_capacity(line.len());
    let mut rest = line;
    while let Some(at) = rest.find('<') {
        let (before, tag) = rest.split_at(at);
        out.push_str(before);
        let is_tag =
            tag[1..].starts_with(|c: char| c.is_ascii_alphabetic() || c == '/' || c.is_ascii_digit());
        match tag.find('>').filter(|_| is_tag) {
            Some(end) => rest = &tag[end + 1..],
            None => {
                out.push('<');
                rest = &tag[1..];
            }
        }
    }
    out.push_str(rest);
    out.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&nbsp;", " ")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

#[expect(clippy::cast_precision_loss, reason = "word counts are small")]
fn plain(lines: &[&str]) -> Vec<Cue> {
    let mut at = 0.5;
    let mut out = Vec::new();
    for line in lines.iter().map(|l| l.trim()).filter(|l| !l.is_empty()) {
        let end = at + (WORD_S * line.split_whitespace().count() as f64).max(1.0);
        out.push((at, end, line.to_owned()));
        at = end + PAUSE_S;
    }
    out
}
