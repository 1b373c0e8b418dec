//! A processor that is older than what the recogniser was built for, as qemu plays it: a sentence, never an illegal
//! instruction; what needs no recogniser works.

use super::{Place, Ran, skipped, source_tree};

/// The program on a processor that has no AVX, if qemu is installed.
fn on_an_older_one(place: &Place, args: &[&str]) -> Option<Ran> {
    let program = place.tugback(args);
    let mut run = std::process::Command::new("qemu-x86_64");
    run.args(["-cpu", "Nehalem"]).arg(program.get_program()).args(program.get_args());
    run.current_dir(place.folder.path());
    for (name, value) in program.get_envs() {
        match value {
            Some(value) => run.env(name, value),
            None => run.env_remove(name),
        };
    }
    run.output().ok().map(|output| Ran::from(&output))
}

#[test]
fn an_older_processor_is_told() {
    let place = Place::new();
    let recording = source_tree("audio-samples/incisor.flac");
    let transcript = source_tree("audio-samples/incisor.vtt");
    if !cfg!(target_arch = "x86_64") {
        return skipped("this is another family of processors");
    }
    let (recording, transcript) = (recording.to_string_lossy(), transcript.to_string_lossy());
    let Some(ran) = on_an_older_one(&place, &["log", &recording, "-o", "log.json"]) else {
        return skipped("qemu-x86_64 (package qemu-user) is not installed");
    };
    ran.refused(&["was built for processors with", "AVX2", "which this one lacks", "give a transcript"]);
    assert!(place.names().is_empty(), "something was left behind: {:?}", place.names());
    let ran = on_an_older_one(&place, &["log", &transcript, "-o", "log.json"]);
    assert_eq!(ran.map(|ran| ran.code), Some(0));
}
