//! Model files: each that will not do gets one clear sentence, before anything is recorded or heard.
#![expect(clippy::unwrap_used, reason = "a helper of tests")]

use std::{fs, path::Path};

use tugback::listen::model::{self, Kind};

fn models() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("models")
}

/// Writes `bytes` as the file `name` and checks it as a recogniser; the error must hold all of `expect`.
#[track_caller]
fn check(name: &str, bytes: &[u8], expect: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    refused(&path, expect);
}

#[track_caller]
fn refused(path: &Path, expect: &[&str]) {
    let error = model::check(path, Kind::Recogniser).unwrap_err().to_string();
    for part in expect {
        assert!(error.contains(part), "`{part}` is not in: {error}");
    }
    assert!(!error.contains('\n') && !error.ends_with('.'), "one sentence without a full stop: {error}");
}

#[test]
fn files_that_are_no_models() {
    check("ggml-base.bin", b"", &["ggml-base.bin", "is empty"]);
    check("ggml-base.bin", b"Entry not found, 29 bytes all\n", &["a text of 30 bytes"]);
    check("ggml-base.bin", b"<!DOCTYPE html><html>404</html>", &["a web page"]);
    check("ggml-base.bin", b"version https://git-lfs.github.com/spec/v1\noid", &["Git LFS pointer"]);
    check("ggml-base.bin", b"GGUF\x03\0\0\0\0\0\0\0", &["GGUF", "ggml layout is needed"]);
    check("ggml-base.bin", b"PK\x03\x04\0\0\xff\xfe", &["zip archive or a PyTorch checkpoint"]);
    check("ggml-base.bin", &[0x7f, b'E', b'L', b'F', 0xff, 0xfe, 0, 1], &["unknown format", "7f 45 4c 46"]);
    check("ggml-base.bin", b"lmgg", &["is cut", "4 bytes", "its header"]);
    check("ggml-base.bin", b"lmgg\0\0\0\x7f\xff\xff\xff\xff", &["unknown sort"]);
}

#[test]
fn cut_and_damaged_models() {
    let whole = fs::read(models().join(model::DEFAULT_SECOND)).unwrap();
    check("ggml-cut.bin", &whole[..1 << 20], &["is cut", "1048576 bytes", "part ", " of "]);
    check("ggml-cut.bin", &whole[..200_000], &["is cut", "its vocabulary"]);
    check("ggml-cut.bin", &whole[..whole.len() - 1], &["is cut", "part "]);
    let mut damaged = whole;
    *damaged.last_mut().unwrap() ^= 1;
    check(model::DEFAULT_SECOND, &damaged, &["is damaged", "checksum"]);
}

#[test]
fn wrong_places() {
    let folder = tempfile::tempdir().unwrap();
    refused(&folder.path().join("none.bin"), &["there is no model file", "tugback models"]);
    refused(folder.path(), &["is a folder"]);
    refused(&models().join(model::DEFAULT_VAD), &["is a voice detector", "a recogniser is needed"]);
    let error = model::check(&models().join(model::DEFAULT_SECOND), Kind::VoiceDetector).unwrap_err();
    assert!(error.to_string().contains("a voice detector is needed"));
}

#[test]
fn the_models_that_come_with_the_program_are_sound() {
    for (name, kind, english_only, layers, tuned) in [
        (model::DEFAULT_RECOGNISER, Kind::Recogniser, false, 6, true),
        (model::DEFAULT_SECOND, Kind::Recogniser, true, 4, false),
        (model::DEFAULT_VAD, Kind::VoiceDetector, false, 0, false),
    ] {
        let info = model::check(&models().join(name), kind).unwrap();
        let found = (info.known, info.english_only, info.layers, info.tuned);
        assert_eq!(found, (true, english_only, layers, tuned), "{name}");
    }
}

#[test]
fn a_model_under_another_name_is_known_by_its_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.bin");
    fs::copy(models().join(model::DEFAULT_RECOGNISER), &path).unwrap();
    let info = model::check(&path, Kind::Recogniser).unwrap();
    assert!(info.known && info.tuned);
    assert_eq!(info.name(), "mine");
}

#[test]
fn a_named_model_comes_first_and_its_folder_is_searched_for_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let (mine, vad) = (folder.path().join("ggml-mine.bin"), folder.path().join(model::DEFAULT_VAD));
    fs::write(&vad, b"lmgg").unwrap();
    let found = model::find_models(Some(&mine), Some(Path::new("elsewhere.bin"))).unwrap();
    assert_eq!((found.recogniser, found.vad), (mine, Some(vad)));
    let found = model::find_models(None, Some(Path::new("elsewhere.bin"))).unwrap();
    assert_eq!(found.recogniser, Path::new("elsewhere.bin"));
    let found = model::find_models(None, None).unwrap();
    assert!(found.recogniser.ends_with(model::DEFAULT_RECOGNISER), "{found:?}");
}
