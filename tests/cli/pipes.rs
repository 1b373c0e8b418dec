//! A reader that has gone, as in `tugback models | head -1`, had what it wanted: every command ends quietly.

use std::process::Stdio;

use crate::{Place, Ran};

const SAID: &str = "WEBVTT\n\n00:00.000 --> 00:02.000\ntooth thirty six\n\n00:03.000 --> 00:06.000\nworking length distal twenty one\n";

/// Runs with a standard output that nobody reads, and with a standard error that nobody reads.
#[track_caller]
fn check(place: &Place, args: &[&str], codes: &[i32]) {
    for out_is_closed in [true, false] {
        let mut run = place.tugback(args);
        let mut child = run.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("tugback runs");
        if out_is_closed {
            drop(child.stdout.take());
        } else {
            drop(child.stderr.take());
        }
        let ran = Ran::from(&child.wait_with_output().expect("it ends"));
        assert!(codes.contains(&ran.code), "{args:?}: {ran:?}");
        assert!(!ran.err.contains("panicked") && !ran.err.contains("roken pipe"), "{args:?}: {}", ran.err);
    }
}

/// A folder with a transcript, its log, and a recording.
fn place() -> Place {
    let place = Place::new();
    place.file("in.vtt", SAID);
    assert_eq!(place.run(["log", "in.vtt", "-o", "visit.json"]).code, 0);
    let voice = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/audio/voice.flac");
    std::fs::copy(voice, place.path("voice.flac")).expect("copied");
    place
}

#[test]
fn every_command_that_prints() {
    let place = place();
    for args in [
        &["--help"][..],
        &["--version"],
        &["log", "--help"],
        &["schema"],
        &["settings"],
        &["sources"],
        &["sources", "rules"],
        &["sources", "words"],
        &["draw", "visit.json"],
        &["export", "visit.json", "--as", "note"],
        &["export", "visit.json", "--as", "table"],
        &["inspect", "voice.flac"],
        &["inspect", "voice.flac", "--json"],
        &["log", "in.vtt", "-o", "out.json"],
        &["log", "in.vtt", "-o", "out.json", "--explain"],
        &["log", "in.vtt", "-o", "-"],
    ] {
        check(&place, args, &[0]);
    }
    for args in [
        &["check", "visit.json"][..],
        &["check", "visit.json", "--json"],
        &["check", "visit.json", "--items"],
    ] {
        check(&place, args, &[0, 1]);
    }
}

#[cfg(feature = "whisper")]
#[test]
fn every_command_that_needs_a_model() {
    let place = place();
    let model = concat!(env!("CARGO_MANIFEST_DIR"), "/models/ggml-tiny.en-q5_1.bin");
    check(&place, &["models"], &[0]);
    check(&place, &["models", model], &[0]);
    check(&place, &["listen", "voice.flac", "--once"], &[0]);
    check(&place, &["listen", "voice.flac", "--once", "--as", "captions"], &[0]);
    check(&place, &["log", "voice.flac", "-o", "voice.json", "--once"], &[0]);
}

/// The log is not lost with its table.
#[test]
fn the_log_is_written_all_the_same() {
    let place = place();
    check(&place, &["log", "in.vtt", "-o", "out.json"], &[0]);
    let log = std::fs::read_to_string(place.path("out.json")).expect("the log");
    assert!(serde_json::from_str::<serde_json::Value>(&log).is_ok(), "{log}");
}

/// An error that nobody reads is still an exit code.
#[test]
fn an_error_that_nobody_reads() {
    check(&Place::new(), &["log", "absent.vtt"], &[2]);
    check(&Place::new(), &["no-such-command"], &[2]);
}
