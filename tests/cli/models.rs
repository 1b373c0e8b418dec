//! A file that is no model is named as what it is, before anything is heard.

use std::fs::File;
use std::io::Read as _;
use std::os::unix::fs::PermissionsExt as _;

use crate::{Place, permissions_bind, source_tree};

const MODEL: &str = "models/ggml-base-treatment-q8_0.bin";

/// The first bytes of the real model.
fn first(bytes: u64) -> Vec<u8> {
    let mut head = Vec::new();
    File::open(source_tree(MODEL)).expect("the model").take(bytes).read_to_end(&mut head).expect("read");
    head
}

/// Both ways in which a model is named: `models FILE`, and `--model FILE` of a command that listens.
#[track_caller]
fn check(place: &Place, name: &str, words: &[&str]) {
    place.run(["models", name]).refused(words);
    let recording = source_tree("audio-samples/incisor.flac");
    let ran =
        place.run(["log", "-o", "log.json", "--model", name].map(Into::into).into_iter().chain([recording]));
    ran.refused(words);
    assert!(!place.names().contains(&"log.json".to_owned()), "a log was written");
}

#[test]
fn a_text() {
    let place = Place::new();
    place.file("page.bin", "404: no such page, try again\n");
    check(&place, "page.bin", &["`page.bin`", "a text of 29 bytes", "not a model"]);
}

#[test]
fn the_first_megabyte() {
    let place = Place::new();
    place.file("cut.bin", first(1 << 20));
    check(&place, "cut.bin", &["`cut.bin` is cut", "1048576 bytes", "copy it again"]);
}

#[test]
fn another_layout() {
    let place = Place::new();
    place.file("new.gguf", b"GGUF\x03\0\0\0\x10\0\0\0\0\0\0\0\x05\0\0\0\0\0\0\0");
    check(&place, "new.gguf", &["`new.gguf` is a GGUF file", "ggml layout"]);
}

#[test]
fn a_folder() {
    let place = Place::new();
    std::fs::create_dir(place.path("weights")).expect("a folder");
    check(&place, "weights", &["`weights` is a folder", "name the model file"]);
}

#[test]
fn nothing_there() {
    check(&Place::new(), "absent.bin", &["no model file `absent.bin`", "`tugback models`"]);
}

#[test]
fn an_empty_file() {
    let place = Place::new();
    place.file("empty.bin", "");
    check(&place, "empty.bin", &["`empty.bin` is empty"]);
}

#[test]
fn the_speech_detector_is_no_recogniser() {
    let place = Place::new();
    let detector = source_tree("models/ggml-silero-vad-6.2.bin");
    std::fs::copy(detector, place.path("vad.bin")).expect("copied");
    let recording = source_tree("audio-samples/incisor.flac");
    let args = ["log", "--model", "vad.bin"].map(Into::into).into_iter().chain([recording]);
    place.run(args).refused(&["`vad.bin` is a voice detector", "a recogniser is needed"]);
}

#[test]
fn a_damaged_copy() {
    let place = Place::new();
    let mut bytes = std::fs::read(source_tree(MODEL)).expect("the model");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    place.file("ggml-base-treatment-q8_0.bin", bytes);
    check(&place, "ggml-base-treatment-q8_0.bin", &["is damaged", "checksum", "copy it again"]);
}

#[test]
fn no_permission() {
    let place = Place::new();
    if !permissions_bind(&place) {
        return; // root may read everything
    }
    let locked = place.file("locked.bin", first(64));
    std::fs::set_permissions(locked, std::fs::Permissions::from_mode(0o0)).expect("permissions");
    check(&place, "locked.bin", &["cannot read the model file `locked.bin`", "permissions"]);
}

#[test]
fn the_models_of_the_source_tree_are_sound() {
    let place = Place::new();
    let ran = place.run(["models"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    for name in ["ggml-base-treatment-q8_0.bin", "ggml-tiny.en-q5_1.bin", "ggml-silero-vad-6.2.bin"] {
        let line = ran.out.lines().find(|l| l.trim_start().starts_with(name)).unwrap_or_default();
        assert!(line.ends_with("checksum right"), "{name}: {}", ran.out);
    }
}
