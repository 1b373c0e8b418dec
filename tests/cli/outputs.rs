//! A log is written whole or not at all.

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::{Place, Ran, permissions_bind, skipped};

const SAID: &str = "\
WEBVTT

00:00:00.000 --> 00:00:02.000
upper right central incisor

00:00:03.000 --> 00:00:06.000
working length twenty three point five to the incisal edge

00:00:07.000 --> 00:00:09.000
irrigate five mils hypochlorite one percent
";

fn said() -> Place {
    let place = Place::new();
    place.file("in.vtt", SAID);
    place
}

#[test]
fn a_log_and_a_table() {
    let place = said();
    let ran = place.run(["log", "in.vtt", "-o", "out.json"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    for word in ["11", "23.5 mm", "sodium hypochlorite", "5 mL", "1 %"] {
        assert!(ran.out.contains(word), "`{word}` is not in the table:\n{}", ran.out);
    }
    for line in ran.out.lines() {
        assert!(line.chars().count() <= 100, "a line is {} columns wide: {line}", line.chars().count());
    }
    let text = std::fs::read_to_string(place.path("out.json")).expect("the log");
    let log: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(log["format"], "tugback-log");
    assert_eq!(log["version"], 1);
    assert_eq!(log["source"]["file"], "in.vtt");
    assert_eq!(log["entries"].as_array().expect("entries").len(), 3, "{text}");
    assert!(text.contains("\"length_mm\": 23.5"), "{text}");
    assert_eq!(place.names(), ["in.vtt", "out.json"]);
}

/// The same speech gives the same log, byte for byte.
#[test]
fn twice_the_same() {
    let place = said();
    assert_eq!(place.run(["log", "in.vtt", "-o", "one.json"]).code, 0);
    assert_eq!(place.run(["log", "in.vtt", "-o", "two.json"]).code, 0);
    let read = |name: &str| std::fs::read_to_string(place.path(name)).expect("a log");
    assert_eq!(read("one.json"), read("two.json"));
}

#[test]
fn a_log_is_replaced_whole() {
    let place = said();
    place.file("out.json", "x".repeat(100_000));
    assert_eq!(place.run(["log", "in.vtt", "-o", "out.json"]).code, 0);
    let text = std::fs::read_to_string(place.path("out.json")).expect("the log");
    assert!(serde_json::from_str::<serde_json::Value>(&text).is_ok(), "rests of an older file");
}

/// What was said must not be lost by a slip of the hand.
#[test]
fn the_source_is_never_overwritten() {
    let place = said();
    std::os::unix::fs::symlink("in.vtt", place.path("alias.vtt")).expect("a link");
    for output in ["in.vtt", "./in.vtt", "alias.vtt"] {
        place.run(["log", "in.vtt", "-o", output]).refused(&["`in.vtt`"]);
    }
    // A second name of the same file may be given to the log: the first keeps what was said.
    std::fs::hard_link(place.path("in.vtt"), place.path("same.vtt")).expect("a link");
    place.run(["log", "in.vtt", "-o", "same.vtt"]);
    assert_eq!(std::fs::read_to_string(place.path("in.vtt")).expect("the source"), SAID);
}

/// Without `-o` the log stands beside what it was made from.
#[test]
fn beside_the_source() {
    let place = said();
    let ran = place.run(["log", "in.vtt"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.err.contains("in.log.json"), "it is not said where the log is: {}", ran.err);
    assert_eq!(place.names(), ["in.log.json", "in.vtt"]);
}

/// `-o -` gives the log, and nothing else, to the next program.
#[test]
fn to_standard_output() {
    let place = said();
    let ran = place.run(["log", "in.vtt", "-o", "-"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let log: serde_json::Value = serde_json::from_str(&ran.out).expect("nothing but JSON");
    assert_eq!(log["format"], "tugback-log");
    assert_eq!(place.names(), ["in.vtt"]);
}

#[test]
fn nowhere_to_write() {
    let place = said();
    place.run(["log", "in.vtt", "-o", "absent/out.json"]).refused(&["no folder `absent`"]);
    std::fs::create_dir(place.path("tray")).expect("a folder");
    place.run(["log", "in.vtt", "-o", "tray"]).refused(&["`tray`", "folder"]);
    assert_eq!(place.names(), ["in.vtt", "tray"]);
    assert_eq!(std::fs::read_dir(place.path("tray")).expect("the folder").count(), 0);
}

#[test]
fn a_folder_that_may_not_be_written() {
    let place = said();
    if !permissions_bind(&place) {
        return; // root may write everywhere
    }
    let tray = place.path("tray");
    std::fs::create_dir(&tray).expect("a folder");
    std::fs::set_permissions(&tray, std::fs::Permissions::from_mode(0o555)).expect("permissions");
    place.run(["log", "in.vtt", "-o", "tray/out.json"]).refused(&["`tray/out.json`", "ermission denied"]);
    assert_eq!(std::fs::read_dir(&tray).expect("the folder").count(), 0);
}

/// A device that is always full.
#[test]
fn a_full_device() {
    if Path::new("/dev/full").exists() {
        let place = said();
        place.run(["log", "in.vtt", "-o", "/dev/full"]).refused(&["`/dev/full`", "o space left"]);
        // And the table, when it is what cannot be written.
        let full = std::fs::File::options().write(true).open("/dev/full").expect("the device");
        let ran = place
            .tugback(["log", "in.vtt"])
            .stdout(full)
            .stderr(Stdio::piped())
            .output()
            .expect("tugback runs");
        let ran = Ran::from(&ran);
        assert_eq!(ran.code, 2, "{ran:?}");
        assert!(!ran.err.contains("panicked"), "{}", ran.err);
    }
}

/// A disk that fills up while the log is written: the older log stays, and nothing half-written.
#[test]
fn a_full_disk() {
    let place = said();
    let disk = place.path("disk");
    std::fs::create_dir(&disk).expect("a folder");
    // A mount of our own, gone with the process; where that is not allowed there is nothing to test.
    let script = r#"
        mount -t tmpfs -o size=8k none disk || exit 77
        echo older > disk/log.json
        head -c 4096 /dev/zero > disk/fill 2>/dev/null
        "$0" log in.vtt -o disk/log.json
        code=$?
        cat disk/log.json
        ls disk
        exit $code"#;
    let program = env!("CARGO_BIN_EXE_tugback");
    let run = Command::new("unshare")
        .args(["-rm", "sh", "-c", script, program])
        .current_dir(place.folder.path())
        .stdin(Stdio::null())
        .output();
    let ran = match run.map(|o| Ran::from(&o)) {
        Ok(ran) if ran.code != 77 && !ran.err.contains("unshare") => ran,
        _ => return skipped("a small disk cannot be mounted here"),
    };
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(ran.err.contains("o space left"), "{}", ran.err);
    assert!(ran.out.ends_with("older\nfill\nlog.json\n"), "{}", ran.out);
}

/// Every other command with `-o` keeps its hands off what it reads, and leaves nothing half-written.
#[cfg(feature = "whisper")]
#[test]
fn other_commands_that_write() {
    let place = said();
    assert_eq!(place.run(["log", "in.vtt", "-o", "visit.json"]).code, 0);
    let before = std::fs::read(place.path("visit.json")).expect("the log");
    place.run(["draw", "visit.json", "-o", "visit.json"]).refused(&["overwrite `visit.json`"]);
    place
        .run(["export", "visit.json", "--as", "table", "-o", "visit.json"])
        .refused(&["overwrite `visit.json`"]);
    assert_eq!(std::fs::read(place.path("visit.json")).expect("the log"), before);
    let voice = crate::source_tree("tests/data/audio/voice.flac");
    std::fs::copy(&voice, place.path("voice.flac")).expect("copied");
    place.run(["listen", "voice.flac", "-o", "./voice.flac"]).refused(&["overwrite `voice.flac`"]);
    place.run(["listen", "voice.flac", "-o", "absent/words.tsv"]).refused(&["no folder `absent`"]);
    let source = std::fs::read(place.path("voice.flac")).expect("the recording");
    assert!(source == std::fs::read(voice).expect("the recording"), "the recording was changed");
    assert_eq!(place.names(), ["in.vtt", "visit.json", "voice.flac"]);
}

/// A log on which a person has decided something is not replaced by a new draft; a mere draft is.
#[test]
fn a_reviewed_log_is_never_replaced() {
    let place = said();
    assert_eq!(place.run(["log", "in.vtt"]).code, 0);
    assert_eq!(place.run(["log", "in.vtt"]).code, 0, "a draft may be made again");
    let path = place.path("in.log.json");
    let mut log: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(&path).expect("a log")).expect("JSON");
    let change = serde_json::json!({ "at": "2030-01-02T03:04:05Z", "who": "a person", "entry": "e1", "field": "review",
        "from": "unseen", "to": "confirmed" });
    log["history"] = serde_json::json!([change]);
    let reviewed = log.to_string();
    std::fs::write(&path, &reviewed).expect("written");
    place.run(["log", "in.vtt"]).refused(&["in.log.json", "changed by a person"]);
    assert_eq!(std::fs::read_to_string(&path).expect("a log"), reviewed);
}
