//! Table, captions and picture, and where they go.

use crate::{SAMPLES, Sample, source_tree, tugback};

/// Words without the "…" that joins breaths.
fn words(text: &str) -> Vec<String> {
    text.split_whitespace().filter(|w| *w != "…").map(str::to_owned).collect()
}

/// The transcript of a sample, and the captions made from its log, hold the same words.
#[test]
fn captions_hold_every_word_of_the_sample() {
    for name in SAMPLES {
        let sample = Sample::new(name);
        let read = |text: &str| tugback::words::transcript::read(text.as_bytes()).expect("a transcript");
        let original =
            read(&std::fs::read_to_string(source_tree(&format!("audio-samples/{name}.vtt"))).expect("there"));
        let captions = read(&sample.export(&["--as", "captions"]));
        assert_eq!(captions.repairs, Vec::<String>::new());
        let all = |t: &tugback::words::transcript::Transcript| {
            let mut all: Vec<String> = t.breaths.iter().flat_map(|b| words(&b.text())).collect();
            all.sort();
            all
        };
        assert_eq!(all(&captions), all(&original), "{name}");
    }
}

#[test]
fn a_row_for_each_entry() {
    for name in SAMPLES {
        let sample = Sample::new(name);
        let text = sample.export(&["--as", "table"]);
        let rows = csv::Reader::from_reader(text.as_bytes()).records().filter_map(Result::ok).count();
        assert_eq!(rows, sample.log().entries.len(), "{name}");
        assert!(sample.export(&["--as", "table", "--bom"]).starts_with('\u{feff}'));
        assert!(text.starts_with("id,"));
    }
}

#[test]
fn a_file_is_written_whole_or_not_at_all() {
    let sample = Sample::new("incisor");
    let file = sample.path("table.csv");
    std::fs::write(&file, "old").expect("written");
    let place = file.display().to_string();
    assert_eq!(sample.export(&["--as", "table", "-o", &place]), "");
    assert!(std::fs::read_to_string(&file).expect("there").starts_with("id,"));
    let nowhere = sample.path("no/such/table.csv").display().to_string();
    let out = sample.run(&["--as", "table", "-o", &nowhere]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("nothing was left half"), "{out:?}");
    let names = std::fs::read_dir(sample.folder.path()).expect("a folder").count();
    assert_eq!(names, 2, "only the log and the table");
}

#[test]
fn bad_input_is_refused_with_a_sentence() {
    let out = tugback(&["export", &source_tree("README.md"), "--as", "table"]);
    assert_eq!((out.status.code(), out.stdout.as_slice()), (Some(2), &b""[..]));
    let out = tugback(&["export", &source_tree("tests/logs/v1/full.json"), "--as", "sonnet"]);
    assert_eq!((out.status.code(), out.stdout.as_slice()), (Some(2), &b""[..]));
}

#[test]
fn the_picture_is_that_of_draw() {
    let log = source_tree("tests/logs/v1/full.json");
    let picture = tugback(&["export", &log, "--as", "picture"]);
    assert_eq!(picture.stdout, tugback(&["draw", &log]).stdout);
    assert!(picture.stdout.starts_with(b"<svg"));
}

/// The whole papers of a log, as they are handed on. Read them like a busy colleague when they change.
#[test]
fn papers_are_as_stored() {
    let log = source_tree("tests/data/export/molar.json");
    for (form, format, name) in [
        ("note", "text", "molar.note.txt"),
        ("note", "markdown", "molar.note.md"),
        ("letter", "text", "molar.letter.txt"),
        ("letter", "markdown", "molar.letter.md"),
    ] {
        let out = tugback(&["export", &log, "--as", form, "--format", format]);
        assert!(out.status.success(), "{out:?}");
        let stored =
            std::fs::read_to_string(source_tree(&format!("tests/data/export/{name}"))).expect("there");
        assert_eq!(String::from_utf8_lossy(&out.stdout), stored, "{name}");
    }
}

#[test]
fn a_template_of_ones_own() {
    let sample = Sample::new("incisor");
    let mine = sample.path("mine.md");
    let place = mine.display().to_string();
    std::fs::write(&mine, sample.export(&["--as", "note", "--format", "markdown", "--show-template"]))
        .expect("written");
    let own = sample.export(&["--as", "note", "--template", &place]);
    assert_eq!(
        own,
        sample.export(&["--as", "note", "--format", "markdown"]),
        "the template that is shown is the one used"
    );
    std::fs::write(&mine, "# {{ file }}\n\n{{ patient }}\n").expect("written");
    let out = sample.run(&["--as", "note", "--template", &place]);
    assert_eq!((out.status.code(), out.stdout.as_slice()), (Some(2), &b""[..]));
    let said = String::from_utf8_lossy(&out.stderr)
        .split_whitespace()
        .filter(|w| *w != "│")
        .collect::<Vec<_>>()
        .join(" ");
    assert!(said.contains("line 3: it uses a name that is not there"), "{said}");
}

/// A lecture: forced by `--lecture`, and with a link to its recording.
#[test]
fn a_checklist_of_a_lecture() {
    let sample = Sample::new("lecture");
    let text = sample.export(&["--as", "checklist", "--media", "audio-samples/lecture.flac"]);
    for expect in [
        "- [ ] **If:** “if swelling spreads, amoxicillin five hundred milligrams three times a day for five days” ([0:53](audio-samples/lecture.flac#t=52.74))",
        "  - Prescription: amoxicillin 500 mg, 3 times a day, for 5 days",
        "- [ ] **If:** “unless there is an infection, no antibiotics”",
    ] {
        assert!(text.contains(expect), "`{expect}` in {text}");
    }
    let page = sample.path("list.html");
    assert_eq!(sample.export(&["--as", "checklist", "-o", &page.display().to_string()]), "");
    let html = std::fs::read_to_string(page).expect("there");
    assert!(html.starts_with("<!doctype html>") && html.contains("type=\"checkbox\""), "{html}");
    let plain = sample.path("plain.txt");
    std::fs::write(&plain, "the canal is irrigated with two mils of saline\n").expect("written");
    let log = |more: &[&str]| {
        let file = plain.display().to_string();
        let made = tugback(&[&["log", "-q", &file, "-o", "-"], more].concat());
        String::from_utf8(made.stdout).expect("UTF-8")
    };
    assert!(
        !log(&[]).contains("\"general\"") && log(&["--lecture"]).contains("\"general\""),
        "--lecture forces the reading"
    );
}
