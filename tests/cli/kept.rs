//! A run that is stopped or killed while it listens: what was finished is kept, and the next run gives the same log as
//! one that nobody disturbed.

use std::{
    path::Path,
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use tugback::audio::{self, RATE_HZ, Samples as _};

use crate::{Place, source_tree};

const UNFINISHED: &str = "visit.log.json.unfinished";

/// Half a minute of the sample `incisor.flac`: seven breaths.
fn visit() -> Place {
    let place = Place::new();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(place.path("visit.wav"), spec).expect("a file");
    let sample = source_tree("audio-samples/incisor.flac");
    let mut recording = audio::open(&sample, &audio::Options::default()).expect("the sample");
    for _ in 0..30 {
        let Some(block) = recording.next_block().expect("sound") else { break };
        for s in block {
            #[expect(clippy::cast_possible_truncation, reason = "samples lie within -1 and 1")]
            wav.write_sample((s * 32_767.0) as i16).expect("written");
        }
    }
    wav.finalize().expect("written");
    place
}

fn log(place: &Place) -> Command {
    let model = source_tree("models/ggml-base-treatment-q8_0.bin");
    let mut run = place.tugback(["log", "visit.wav", "--quiet", "--threads", "1", "--model"]);
    run.arg(model);
    run
}

/// Starts listening and waits until so many breaths are on disk.
fn started(place: &Place, breaths: usize) -> Child {
    started_as(place, log(place).stdout(Stdio::null()).stderr(Stdio::piped()), breaths)
}

fn started_as(place: &Place, run: &mut Command, breaths: usize) -> Child {
    let run = run.spawn().expect("tugback runs");
    let since = Instant::now();
    while lines(&place.path(UNFINISHED)) < breaths + 1 {
        assert!(since.elapsed() < Duration::from_secs(300), "nothing is kept");
        thread::sleep(Duration::from_millis(20));
    }
    run
}

fn lines(path: &Path) -> usize {
    std::fs::read(path).map_or(0, |bytes| bytes.split(|b| *b == b'\n').count() - 1)
}

/// Runs to the end, and gives what was said and the log.
fn to_the_end(place: &Place) -> (String, String) {
    let ran = crate::Ran::from(&log(place).output().expect("tugback runs"));
    assert_eq!(ran.code, 0, "{ran:?}");
    assert_eq!(place.names(), ["visit.log.json", "visit.wav"], "nothing else is left");
    (ran.err, std::fs::read_to_string(place.path("visit.log.json")).expect("the log"))
}

#[test]
fn a_kill_and_a_stop_cost_nothing() {
    let place = visit();
    let (said, whole) = to_the_end(&place);
    assert!(!said.contains("going on"), "{said}");
    std::fs::remove_file(place.path("visit.log.json")).expect("removed");

    let mut killed = started(&place, 1);
    killed.kill().expect("killed");
    killed.wait().expect("ended");
    assert_eq!(place.names(), [UNFINISHED, "visit.wav"], "no half log");
    let kept = lines(&place.path(UNFINISHED));

    // The next run goes on and is stopped by Ctrl-C: a log of what was heard so far, and more is kept.
    let stopped = started(&place, kept);
    let pid = stopped.id().to_string();
    assert!(Command::new("kill").args(["-INT", &pid]).status().expect("kill runs").success());
    let stopped = crate::Ran::from(&stopped.wait_with_output().expect("ended"));
    if stopped.code == 130 {
        assert!(stopped.err.contains("going on at 0:00:"), "{stopped:?}");
        assert!(stopped.err.contains("the same command goes on from there"), "{stopped:?}");
        assert!(lines(&place.path(UNFINISHED)) > kept, "more is kept");
        let part = std::fs::read_to_string(place.path("visit.log.json")).expect("a log of the first part");
        assert!(part.len() < whole.len());
    } else {
        // A fast machine has ended before it was asked to stop.
        assert_eq!(stopped.code, 0, "{stopped:?}");
    }
    let (_, again) = to_the_end(&place);
    assert_eq!(again, whole);
}

/// The log goes to standard output: what is finished is kept beside the recording, and goes away at the end.
#[test]
fn standard_output_is_no_place_to_keep_anything() {
    let place = visit();
    let printed = |place: &Place| {
        let ran = crate::Ran::from(&log(place).args(["-o", "-"]).output().expect("tugback runs"));
        assert_eq!(ran.code, 0, "{ran:?}");
        assert_eq!(place.names(), ["visit.wav"], "nothing is left");
        (ran.err, ran.out)
    };
    let (said, whole) = printed(&place);
    assert!(!said.contains("going on"), "{said}");
    let mut run = log(&place);
    let run = run.args(["-o", "-"]).stdout(Stdio::null()).stderr(Stdio::piped());
    let mut killed = started_as(&place, run, 1);
    killed.kill().expect("killed");
    killed.wait().expect("ended");
    let (said, again) = printed(&place);
    assert!(said.contains("going on at 0:00:"), "{said}");
    assert_eq!(again, whole);
    // Where the recording's folder holds something else under that name, the log comes all the same.
    place.file(UNFINISHED, b"something else");
    let ran = crate::Ran::from(&log(&place).args(["-o", "-"]).output().expect("tugback runs"));
    assert!(ran.code == 0 && ran.out == whole, "{ran:?}");
    assert!(ran.err.contains("a stop would lose what was heard"), "{ran:?}");
    assert_eq!(std::fs::read(place.path(UNFINISHED)).expect("there"), b"something else");
}

/// What was kept from another recording is not mixed into this one.
#[test]
fn another_recording_begins_anew() {
    let place = visit();
    let mut killed = started(&place, 1);
    killed.kill().expect("killed");
    killed.wait().expect("ended");
    let mut bytes = std::fs::read(place.path("visit.wav")).expect("the recording");
    bytes.truncate(bytes.len() - 2000);
    place.file("visit.wav", bytes);
    let (said, _) = to_the_end(&place);
    assert!(!said.contains("going on"), "{said}");
}
