//! The commands `check`, `draw`, `sources` and `schema` as a person runs them.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn tugback(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tugback")).args(args).output().expect("the program starts")
}

fn stored(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs/v1").join(name).display().to_string()
}

/// Exit code, a part of stdout, a part of stderr (its line breaks are those of the terminal's width).
#[track_caller]
fn check(args: &[&str], code: i32, out: &str, err: &str) {
    let output = tugback(args);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ");
    let (stdout, stderr) = (text(&output.stdout), text(&output.stderr).replace("│ ", ""));
    assert_eq!(output.status.code(), Some(code), "{args:?}\n{stdout}\n{stderr}");
    assert!(stdout.contains(out), "{args:?}: `{out}` in {stdout}");
    assert!(stderr.contains(err), "{args:?}: `{err}` in {stderr}");
    assert!(err.is_empty() || stdout.is_empty(), "an error prints no results");
}

#[test]
fn checking() {
    check(&["check", &stored("full.json")], 1, "Look again 36: complaint", "");
    check(&["check", &stored("full.json"), "--json"], 1, "\"rule\": \"completeness.assessment\"", "");
    check(&["check", &stored("full.json"), "--items"], 1, "coronal reference point per canal", "");
    check(&["check", &stored("next-version.json")], 2, "", "is a log of version 2");
    check(&["check", &stored("broken/not-a-number.json")], 2, "", "line 14, column");
    check(&["check", "no-such-file.json"], 2, "", "cannot read `no-such-file.json`");
}

#[test]
fn settings_change_the_checks() {
    let folder = tempfile::tempdir().expect("a folder");
    let with = |text: &str| {
        let path = folder.path().join("tugback.toml");
        std::fs::write(&path, text).expect("written");
        path.display().to_string()
    };
    let all_off = with("[checks]\noff = [\"completeness\", \"doubts\"]\n");
    check(&["check", &stored("full.json"), "--settings", &all_off], 0, "found nothing to look at", "");
    let wrong = with("[checks]\nof = []\n");
    check(&["check", &stored("full.json"), "--settings", &wrong], 2, "", "section [checks]");
}

#[test]
fn a_log_is_not_changed_by_checking_it() {
    let before = std::fs::read(stored("full.json")).expect("there");
    tugback(&["check", &stored("full.json")]);
    assert_eq!(std::fs::read(stored("full.json")).expect("there"), before);
}

#[test]
fn drawing() {
    let folder = tempfile::tempdir().expect("a folder");
    let picture: PathBuf = folder.path().join("visit.svg");
    check(&["draw", &stored("full.json"), "-o", &picture.display().to_string()], 0, "", "");
    let svg = std::fs::read_to_string(&picture).expect("drawn");
    assert!(svg.starts_with("<svg ") && svg.contains("WL 20 mm"), "{svg}");
    assert_eq!(tugback(&["draw", &stored("full.json")]).stdout, svg.as_bytes(), "stdout without -o");
    let nowhere = folder.path().join("no/visit.svg").display().to_string();
    check(&["draw", &stored("full.json"), "-o", &nowhere], 2, "", "The folder does not exist");
    if Path::new("/dev/full").exists() {
        check(&["draw", &stored("full.json"), "-o", "/dev/full"], 2, "", "The disk is full");
    }
}

#[test]
fn sources_of_every_row() {
    check(&["sources"], 0, "from memory (never decides alone)", "");
    check(&["sources", "needles"], 0, "needles-wire (wire gauge)", "");
    check(&["sources", "rules"], 0, "contradiction.two-working-lengths [D]", "");
    check(&["sources", "no-such-table"], 2, "", "there is no table `no-such-table`");
}

#[test]
fn the_schema_is_printed() {
    let output = tugback(&["schema"]);
    let schema: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(schema["properties"]["format"]["const"], "tugback-log");
}
