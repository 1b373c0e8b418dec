//! `tugback verify` as a person runs it.

use std::path::Path;
use std::process::Command;

use tugback::checks::Settings;
use tugback::review::store;

use crate::common::{accept, by, correct, folder, sign};

/// Exit code and words on stdout and stderr together.
fn verify(args: &[&Path]) -> (i32, String) {
    let out =
        Command::new(env!("CARGO_BIN_EXE_tugback")).arg("verify").args(args).output().expect("tugback runs");
    let text = String::from_utf8_lossy(&out.stdout) + String::from_utf8_lossy(&out.stderr);
    (out.status.code().unwrap_or(-1), text.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[track_caller]
fn check(path: &Path, code: i32, words: &[&str]) {
    let (got, text) = verify(&[path]);
    assert_eq!(got, code, "{text}");
    for word in words {
        assert!(text.contains(word), "`{word}` is not in: {text}");
    }
}

fn decide(path: &Path, decision: &tugback::review::Decision, reason: Option<&str>) {
    let (_, seen) = store::read(path).unwrap();
    store::save(path, &seen, &by("A. Reader"), decision, reason, &Settings::default()).unwrap();
}

/// Replaces words in the file.
fn edit(path: &Path, from: &str, to: &str) {
    let text = std::fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "{from}");
    std::fs::write(path, text.replacen(from, to, 1)).unwrap();
}

#[test]
fn what_belongs_together() {
    let (folder, path) = folder();
    check(&path, 0, &["not signed", "incisor.vtt is the file that the log was made from"]);
    decide(&path, &accept("e2"), None);
    decide(&path, &correct("depth_mm", "4"), None);
    check(&path, 0, &["2 of 2 changes are chained"]);
    decide(&path, &sign("B. Signer"), None);
    check(&path, 0, &["B. Signer, dentist", "fits what was signed", "signed as not verified"]);
    decide(&path, &correct("depth_mm", "5"), Some("heard again"));
    check(&path, 0, &["1 amendments came after the last signature"]);
    std::fs::remove_file(folder.path().join("incisor.vtt")).unwrap();
    check(&path, 0, &["is not beside the log; it was not compared"]);
    std::fs::write(folder.path().join("incisor.vtt"), "WEBVTT\n").unwrap();
    check(&path, 1, &["is not the file that the log was made from"]);
}

#[test]
fn what_was_changed_without_being_written_down() {
    let (_folder, path) = folder();
    decide(&path, &sign("B. Signer"), None);
    edit(&path, "\"length_mm\": 23.5", "\"length_mm\": 21.5");
    check(&path, 1, &["does not fit what was signed", "without being written down"]);
}

#[test]
fn a_history_that_was_altered() {
    let (_folder, path) = folder();
    decide(&path, &accept("e2"), None);
    decide(&path, &accept("e3"), None);
    edit(&path, "\"who\": \"A. Reader\"", "\"who\": \"Somebody\"");
    check(&path, 1, &["change 1 of the history", "was altered"]);
}

#[test]
fn the_signed_state_stays_readable() {
    let (folder, path) = folder();
    decide(&path, &sign("B. Signer"), None);
    let signed = std::fs::read_to_string(&path).unwrap();
    decide(&path, &correct("depth_mm", "5"), Some("heard again"));
    let out = folder.path().join("signed.json");
    let ran = Command::new(env!("CARGO_BIN_EXE_tugback"))
        .args(["verify", "--signed", "1", "-o"])
        .args([&out, &path])
        .output()
        .expect("tugback runs");
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    assert_eq!(std::fs::read_to_string(out).unwrap(), signed);
    assert_eq!(verify(&[Path::new("--signed"), Path::new("2"), &path]).0, 2);
}
