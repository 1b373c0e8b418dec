//! Bundles judged by an outside validator, fhir.resources 6.2.0 (FHIR R4 4.0.1), which `make test` installs below target/.

use std::path::PathBuf;
use std::process::{Command, Output};

use crate::{SAMPLES, Sample, source_tree, tugback};

/// The validator's Python; nothing, with a message, where it is not installed.
fn validator() -> Option<PathBuf> {
    let target =
        std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| source_tree("target").into(), PathBuf::from);
    let python = target.join("fhir-validator/bin/python");
    if python.exists() {
        return Some(python);
    }
    eprintln!(
        "SKIPPED: no FHIR validator in target/fhir-validator; `make setup-test` installs it where it can be had"
    );
    None
}

fn validate(python: &PathBuf, files: &[String]) -> Output {
    let script = source_tree("tests/export/validate_fhir.py");
    Command::new(python).arg(script).args(files).output().expect("python runs")
}

#[test]
fn every_sample_is_a_valid_bundle() {
    let Some(python) = validator() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let mut logs: Vec<String> =
        ["tests/data/export/molar.json", "tests/logs/v1/full.json", "tests/logs/v1/minimal.json"]
            .map(source_tree)
            .into();
    let samples = SAMPLES.map(Sample::new);
    logs.extend(samples.iter().map(|s| s.path("log.json").display().to_string()));
    // Signed, by a name that would break out, and a log that holds nothing.
    let mut log = tugback::log::read(std::path::Path::new(&logs[0])).expect("a log");
    let by = tugback::review::By { who: "R".to_owned(), at: "2026-02-03T10:00:00+01:00".to_owned() };
    let all = log
        .entries
        .iter()
        .filter(|e| e.review != tugback::log::Review::Struck)
        .map(|e| e.id.clone())
        .collect();
    let sign = tugback::review::Decision::Sign {
        name: "\"N\" <b>".to_owned(),
        role: "dentist".to_owned(),
        not_verified: true,
    };
    for decision in [tugback::review::Decision::Accept { entries: all }, sign] {
        tugback::review::decide(&mut log, &by, &decision, None, &tugback::checks::Settings::default())
            .expect("decided");
    }
    let signed = folder.path().join("signed.json");
    tugback::log::write(&log, &signed).expect("written");
    log.entries.clear();
    let empty = folder.path().join("empty.json");
    tugback::log::write(&log, &empty).expect("written");
    logs.extend([signed, empty].map(|p| p.display().to_string()));
    let mut bundles = Vec::new();
    for (n, log) in logs.iter().enumerate() {
        let file = folder.path().join(format!("{n}.fhir.json")).display().to_string();
        let out = tugback(&["export", log, "--as", "fhir", "-o", &file]);
        assert!(out.status.success(), "{log}: {out:?}");
        let bundle = std::fs::read_to_string(&file).expect("there");
        assert_eq!(bundle.contains("\"final\""), log.ends_with("signed.json"), "{log}");
        bundles.push(file);
    }
    let out = validate(&python, &bundles);
    assert!(
        out.status.success(),
        "{}{}",
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    );
}

/// The validator sees what is wrong: a validator that accepts everything would prove nothing.
#[test]
fn a_broken_bundle_is_refused() {
    let Some(python) = validator() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let out = tugback(&["export", &source_tree("tests/data/export/molar.json"), "--as", "fhir"]);
    let good = String::from_utf8(out.stdout).expect("UTF-8");
    for (n, (from, to)) in [
        ("\"resourceType\": \"Procedure\",", "\"resourceType\": \"Procedure\", \"colour\": 1,"),
        ("\"value\": 19.5,", "\"value\": \"long\","),
        ("\"status\": \"preliminary\",", ""),
    ]
    .into_iter()
    .enumerate()
    {
        assert!(good.contains(from), "{from}");
        let file = folder.path().join(format!("{n}.json"));
        std::fs::write(&file, good.replacen(from, to, 1)).expect("written");
        let out = validate(&python, &[file.display().to_string()]);
        assert_eq!(out.status.code(), Some(1), "{from} → {to}: {}", String::from_utf8_lossy(&out.stderr));
    }
}
