//! What `tugback record` does before it opens a microphone. It is asked for one that is nowhere, so that it ends there.

use std::{
    io::Write as _,
    process::{Command, Stdio},
};

use tugback::record::{capture::Format, file::Part, recover};

use crate::Place;

/// Nobody has such a microphone.
const NOWHERE: [&str; 4] = ["record", "--no-log", "--microphone", "one that is nowhere"];

/// A folder in which a crash left a recording of a second.
fn left() -> Place {
    let place = Place::new();
    let format = Format { rate_hz: 8000, channels: 1, bits: 16 };
    let mut part = Part::create(&place.path("visit.wav"), format).expect("a file");
    part.write(&vec![0.25; 8000]).expect("written");
    place
}

fn is_left(place: &Place) -> bool {
    recover::look(place.folder.path()).is_ok_and(|found| !found.is_empty())
}

/// As a service starts it: it is told, and nothing is asked, or changed.
#[test]
fn what_a_crash_left_is_told_where_nobody_can_answer() {
    let place = left();
    let out = place.tugback(NOWHERE).output().expect("it runs");
    let told = String::from_utf8_lossy(&out.stderr);
    assert!(told.contains("`./visit.wav` was cut off by a crash; `tugback recover .` finishes"), "{told}");
    assert!(told.contains("one that is nowhere"), "{told}");
    assert_eq!(out.status.code(), Some(2));
    assert!(is_left(&place));
}

/// In a terminal it is offered: Enter finishes it, "n" does not.
#[cfg(target_os = "linux")]
#[test]
fn what_a_crash_left_is_offered_to_be_finished() {
    for (answer, stays) in [("n\n", true), ("\n", false)] {
        let place = left();
        let line = format!("'{}' {} '{}'", env!("CARGO_BIN_EXE_tugback"), NOWHERE[..3].join(" "), NOWHERE[3]);
        // util-linux: a terminal for a program, fed from ours.
        let script = Command::new("script")
            .args(["-qec", &line, "/dev/null"])
            .current_dir(place.folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let Ok(mut script) = script else {
            eprintln!("left out: there is no `script` here to make a terminal");
            return;
        };
        // It stays open until the program has ended: a terminal that goes is another thing.
        let mut typed = script.stdin.take().expect("its input");
        typed.write_all(answer.as_bytes()).expect("typed");
        let out = script.wait_with_output().expect("it ends");
        drop(typed);
        let told = String::from_utf8_lossy(&out.stdout);
        assert!(told.contains("Finish them before this one begins? [Y/n]"), "{told}");
        assert_eq!(is_left(&place), stays, "answer {answer:?}: {told}");
        assert_eq!(told.contains("finished: ./visit.wav, 1.0 s"), !stays, "{told}");
    }
}
