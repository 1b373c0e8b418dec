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
    check(&["check", &stored("full.json"), "--settings", &all_off], 0, "nothing to look at", "");
    let wrong = with("[checks]\nof = []\n");
    check(
        &["check", &stored("full.json"), "--settings", &wrong],
        2,
        "",
        "line 2: there is no key `of`; did you mean `off`?",
    );
}

#[test]
fn settings_are_found_and_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("home/tugback");
    let here = folder.path().join("here");
    for made in [&own, &here] {
        std::fs::create_dir_all(made).expect("made");
    }
    std::fs::write(own.join("tugback.toml"), "strictness = \"strict\"\n[checks]\ngap_s = 60\n")
        .expect("written");
    let run = |text: &str, args: &[&str]| {
        std::fs::write(here.join("tugback.toml"), text).expect("written");
        let mut program = Command::new(env!("CARGO_BIN_EXE_tugback"));
        program.current_dir(&here).args(args).env("XDG_CONFIG_HOME", folder.path().join("home"));
        program.output().expect("the program starts")
    };
    let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ");
    let shown =
        run("\nnotation = \"palmer\"\n[checks]\noff = [\"completeness\", \"doubts\"]\n", &["settings"]);
    let out = said(&shown.stdout);
    assert!(out.contains("notation = \"palmer\" # tugback.toml, line 2"), "{out}");
    assert!(out.contains("home/tugback/tugback.toml, line 1"), "{out}");
    assert!(out.contains("cartridge_ml = 1.8 # default"), "{out}");
    let all_off = run("[checks]\noff = [\"completeness\", \"doubts\"]\n", &["check", &stored("full.json")]);
    assert_eq!(all_off.status.code(), Some(0), "the settings of the working folder count");
    let spoken = here.join("visit.txt");
    std::fs::write(&spoken, "Tooth number three.\nCold test negative.\n").expect("written");
    let log = run("notation = \"universal\"\n", &["log", "visit.txt", "-o", "visit.json"]);
    assert!(log.status.success(), "{}", said(&log.stderr));
    let log = std::fs::read_to_string(here.join("visit.json")).expect("written");
    assert!(log.contains("\"16\"") && log.contains("\"universal\""), "{log}");
    let wrong = run("notaton = \"palmer\"\n", &["log", "visit.txt", "-o", "other.json"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(said(&wrong.stderr).contains("line 1: there is no key `notaton`"), "{}", said(&wrong.stderr));
    assert!(!here.join("other.json").exists(), "nothing is written where the settings are wrong");
}

/// `tugback log` ends with the checks in one line, and keeps what they found in the log.
#[test]
fn a_log_ends_with_its_checks() {
    let folder = tempfile::tempdir().expect("a folder");
    let spoken = folder.path().join("visit.txt");
    let log = folder.path().join("visit.json").display().to_string();
    let text = "Tooth 36.\nMesiobuccal working length nineteen millimetres.\nMesiobuccal working length twenty millimetres.\n";
    std::fs::write(&spoken, text).expect("written");
    let spoken = spoken.display().to_string();
    let output = tugback(&["log", &spoken, "-o", &log]);
    let out = String::from_utf8_lossy(&output.stdout).into_owned();
    let lines: Vec<&str> =
        out.lines().filter(|l| l.starts_with("Checks: ") && l.contains(" to look at")).collect();
    assert_eq!(lines.len(), 1, "{out}");
    assert!(lines.iter().all(|l| l.contains("; `tugback check ")), "{out}");
    let written: serde_json::Value =
        serde_json::from_slice(&std::fs::read(&log).expect("written")).expect("JSON");
    let rules: Vec<&str> =
        written["findings"].as_array().expect("a list").iter().filter_map(|f| f["rule"].as_str()).collect();
    assert!(rules.contains(&"contradiction.two-working-lengths"), "{rules:?}");
    check(&["check", &log], 1, "more than one working length", "");
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
    check(&["sources", "bounds"], 0, "working-length length_mm · ", "");
    check(&["sources", "words"], 0, "EDTA, E DTA", "");
    check(&["sources", "no-such-table"], 2, "", "there is no table `no-such-table`");
}

#[test]
fn the_schema_is_printed() {
    let output = tugback(&["schema"]);
    let schema: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(schema["properties"]["format"]["const"], "tugback-log");
}
