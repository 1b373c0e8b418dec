//! The recordings in `audio-samples`, from sound to log, through the models that come with the program and as a person
//! runs it. Each recording is heard once for all tests.
#![cfg(feature = "whisper")]

mod labels;
mod numbers;

use std::{
    path::{Path, PathBuf},
    process::{Command, Stdio},
    sync::LazyLock,
};

use tugback::log::{self, Log};

/// A recording and its transcript, each made into a log.
struct Sample {
    name: &'static str,
    audio: Log,
    transcript: Log,
}

static INCISOR: LazyLock<Sample> = LazyLock::new(|| Sample::new("incisor", "iso3950"));
static AFTER_VISIT: LazyLock<Sample> = LazyLock::new(|| Sample::new("after-visit", "palmer"));
static LECTURE: LazyLock<Sample> = LazyLock::new(|| Sample::new("lecture", "universal"));

impl Sample {
    fn new(name: &'static str, notation: &str) -> Self {
        let log = |ending| made(&top().join(format!("audio-samples/{name}.{ending}")), notation);
        Self { name, audio: log("flac"), transcript: log("vtt") }
    }
}

/// The log that `tugback log` makes of a file.
fn made(input: &Path, notation: &str) -> Log {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let output = folder.path().join("log.json");
    let mut run = Command::new(env!("CARGO_BIN_EXE_tugback"));
    run.arg("log").arg(input).arg("-o").arg(&output).args(["--notation", notation]);
    for home in ["HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_DATA_DIRS"] {
        run.env(home, folder.path()); // no settings or models of the person who runs the tests
    }
    let ran = run.stdin(Stdio::null()).output().expect("tugback runs");
    assert!(ran.status.success(), "{}: {}", input.display(), String::from_utf8_lossy(&ran.stderr));
    log::read(&output).expect("a log")
}

/// What listening adds to a log (models, the report on the sound, doubts) follows the schema too.
#[test]
fn logs_of_recordings_follow_the_schema() {
    let ran = Command::new(env!("CARGO_BIN_EXE_tugback")).arg("schema").output().expect("tugback runs");
    let schema: serde_json::Value = serde_json::from_slice(&ran.stdout).expect("JSON");
    let validator = jsonschema::draft202012::new(&schema).expect("a schema");
    for sample in [&INCISOR, &AFTER_VISIT, &LECTURE] {
        let text = log::file::to_json(&sample.audio).expect("a log");
        let json = serde_json::from_str(&text).expect("JSON");
        let wrong: Vec<String> =
            validator.iter_errors(&json).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(wrong.is_empty(), "{}:\n{}", sample.name, wrong.join("\n"));
        assert!(
            json["made_by"]["model"].is_string() && json["source"]["audio"].is_object(),
            "{}",
            sample.name
        );
    }
}

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}
