//! The numbers that were said stand in the log, and a number that was not said stands there with a doubt or not at all.

use tugback::log::{Entry, Log, Review, Value};

use crate::{
    AFTER_VISIT, INCISOR, LECTURE, Sample,
    labels::{self, rows},
};

#[test]
fn what_was_said_is_in_the_log_of_the_incisor() {
    labels::check(&INCISOR, 25);
    let entries = INCISOR.audio.entries.iter().filter(|e| e.review != Review::Struck).count();
    assert!(entries >= 25, "{entries} entries");
}

#[test]
fn what_was_said_is_in_the_log_of_the_notes_after_a_visit() {
    labels::check(&AFTER_VISIT, 20);
}

#[test]
fn what_was_said_is_in_the_log_of_the_lecture() {
    labels::check(&LECTURE, 10);
}

/// A value with a digit in it: a size, a length, a grade, a lot.
fn numbers(entry: &Entry) -> impl Iterator<Item = (&str, &Value)> {
    let digit = |v: &Value| v.to_string().contains(|c: char| c.is_ascii_digit());
    entry.values.iter().filter(move |(_, v)| digit(v)).map(|(field, v)| (field.as_str(), v))
}

fn doubted(entry: &Entry, field: &str) -> bool {
    entry.doubts.iter().any(|d| d.field == field || d.field == "entry")
}

/// Every number of the log that no doubt stands on.
fn sure(log: &Log) -> impl Iterator<Item = (&Entry, &str, &Value)> {
    log.entries
        .iter()
        .filter(|e| e.review != Review::Struck)
        .flat_map(|e| numbers(e).map(move |(field, value)| (e, field, value)))
        .filter(|(e, field, _)| !doubted(e, field))
}

fn line(entry: &Entry, field: &str, value: &Value) -> String {
    format!("{:.2} {} {field}={value} | {}", entry.from_s, entry.kind, entry.said)
}

/// Against the rows that a person wrote.
#[track_caller]
fn check_labels(sample: &Sample) {
    let rows = rows(sample);
    let wrong: Vec<String> = sure(&sample.audio)
        .filter(|(e, field, value)| {
            let said = |(f, v): &(String, String)| f == field && *v == value.to_string();
            !rows.iter().any(|row| row.is_about(e) && row.values.iter().any(said))
        })
        .map(|(e, field, value)| line(e, field, value))
        .collect();
    assert!(wrong.is_empty(), "{}: never said, and no doubt on it:\n{}", sample.name, wrong.join("\n"));
}

#[test]
fn no_number_but_those_a_person_wrote_down() {
    check_labels(&INCISOR);
    check_labels(&AFTER_VISIT);
}

/// Against the log of what was said, word for word: hearing adds no number.
#[track_caller]
fn check_transcript(sample: &Sample) {
    let wrong: Vec<String> = sure(&sample.audio)
        .filter(|(e, field, value)| {
            !sample.transcript.entries.iter().any(|t| {
                let together = t.from_s < e.to_s && e.from_s < t.to_s;
                together && t.kind == e.kind && t.values.get(*field) == Some(*value)
            })
        })
        .map(|(e, field, value)| line(e, field, value))
        .collect();
    assert!(wrong.is_empty(), "{}: not in the transcript:\n{}", sample.name, wrong.join("\n"));
}

#[test]
fn no_number_but_those_of_the_transcript() {
    check_transcript(&INCISOR);
    check_transcript(&AFTER_VISIT);
    check_transcript(&LECTURE);
}

/// Doubts are for the few: who doubts everything is never wrong, and of no use. A recording has few numbers, and some are
/// doubtful by their words ("up to three"): in one short recording at most one in three.
#[test]
fn most_numbers_stand_without_a_doubt() {
    for sample in [&*INCISOR, &*AFTER_VISIT] {
        let all: usize = sample.audio.entries.iter().map(|e| numbers(e).count()).sum();
        let sure = sure(&sample.audio).count();
        assert!(sure * 3 >= all * 2, "{}: {sure} of {all} numbers without a doubt", sample.name);
    }
}
