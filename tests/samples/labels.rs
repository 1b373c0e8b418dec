//! What a person who reads the transcript writes down: `tests/data/samples/NAME.tsv`, one row an entry.

use tugback::{
    log::{Canal, Entry, Review, Status},
    words::transcript,
};

use crate::{Sample, top};

/// Seconds by which an entry may begin before its caption does.
const EARLY_S: f64 = 0.5;

/// One entry that must be there. What the row leaves open (`-`) is not looked at.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    /// Seconds: the caption in which the entry begins.
    from_s: f64,
    to_s: f64,
    kind: String,
    status: Option<Status>,
    tooth: Option<String>,
    canal: Option<String>,
    /// Field and value.
    pub(crate) values: Vec<(String, String)>,
    line: String,
}

/// The rows for a sample, each tied to the caption that begins at its time.
pub(crate) fn rows(sample: &Sample) -> Vec<Row> {
    let read = |file: String| std::fs::read_to_string(top().join(file)).expect("a file of the source tree");
    let captions = read(format!("audio-samples/{}.vtt", sample.name));
    let captions = transcript::read(captions.as_bytes()).expect("a transcript").breaths;
    let table = read(format!("tests/data/samples/{}.tsv", sample.name));
    let mut rows = Vec::new();
    for line in table.lines().filter(|l| !l.is_empty() && !l.starts_with('#')) {
        let cells: Vec<&str> = line.split('\t').collect();
        let [at, kind, status, tooth, canal, values] = cells.as_slice() else {
            panic!("six columns are expected: {line}")
        };
        let (minutes, seconds) = at.split_once(':').expect("minutes and seconds");
        let at_s = minutes.parse::<f64>().expect("minutes") * 60.0 + seconds.parse::<f64>().expect("seconds");
        let caption = captions.iter().find(|c| (c.from_s - at_s).abs() < 0.001);
        let caption = caption.unwrap_or_else(|| panic!("no caption begins there: {line}"));
        let said = |cell: &str| (cell != "-").then(|| cell.to_owned());
        rows.push(Row {
            from_s: caption.from_s,
            to_s: caption.to_s,
            kind: (*kind).to_owned(),
            status: said(status).map(|s| serde_json::from_value(s.into()).expect("a status")),
            tooth: said(tooth),
            canal: said(canal),
            values: values
                .split_whitespace()
                .filter(|v| *v != "-")
                .map(|v| v.split_once('=').expect("field=value"))
                .map(|(field, value)| (field.to_owned(), value.replace('_', " ")))
                .collect(),
            line: line.to_owned(),
        });
    }
    rows
}

impl Row {
    /// Whether this entry is of the row's caption and kind.
    pub(crate) fn is_about(&self, entry: &Entry) -> bool {
        entry.kind == self.kind && entry.from_s >= self.from_s - EARLY_S && entry.from_s <= self.to_s
    }

    fn fits(&self, entry: &Entry) -> bool {
        let canal = entry.canal.as_ref().map(|c| match c {
            Canal::One(name) => name.clone(),
            Canal::Many(names) => names.join(","),
        });
        self.is_about(entry)
            && entry.review != Review::Struck
            && self.status.is_none_or(|s| s == entry.status)
            && self.tooth.as_ref().is_none_or(|t| Some(t) == entry.tooth.as_ref())
            && self.canal.as_ref().is_none_or(|c| Some(c) == canal.as_ref())
            && self
                .values
                .iter()
                .all(|(field, value)| entry.values.get(field).is_some_and(|v| v.to_string() == *value))
    }
}

/// Every row has an entry of its own.
#[track_caller]
pub(crate) fn check(sample: &Sample, at_least: usize) {
    let rows = rows(sample);
    assert!(rows.len() >= at_least, "{} rows for {}", rows.len(), sample.name);
    let mut left: Vec<&Entry> = sample.audio.entries.iter().collect();
    let mut missing = Vec::new();
    for row in &rows {
        match left.iter().position(|e| row.fits(e)) {
            Some(at) => {
                left.remove(at);
            }
            None => missing.push(row.line.as_str()),
        }
    }
    assert!(missing.is_empty(), "{}: not in the log:\n{}", sample.name, missing.join("\n"));
}
