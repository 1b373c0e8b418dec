//! `tugback inspect`, and the sentences of every refusal.

use std::{
    fs,
    path::Path,
    process::{Command, Output},
};

use tugback::audio::{self, Options};

use crate::made;

fn inspect(file: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tugback")).arg("inspect").arg(file).args(more).output().unwrap()
}

#[test]
fn as_json() {
    let done = inspect(&made::stored("two_tracks_speech_second.mp4"), &["--json"]);
    assert!(done.status.success());
    let json: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(json["file"], "two_tracks_speech_second.mp4");
    assert_eq!(json["sha256"].as_str().unwrap().len(), 64);
    assert_eq!(json["container"], "MP4");
    assert_eq!(json["track"], 2);
    assert_eq!(json["tracks"][0]["channels"][0]["verdict"][0], "no-signal");
    assert_eq!(json["tracks"][1]["channels"][0]["verdict"][0], "good");
    assert_eq!(json["level"]["verdict"][0], "good");
    assert!((json["decoded_s"].as_f64().unwrap() - 3.0).abs() < 0.05);
    assert!(json["level"]["speech_share"].as_f64().unwrap() > 0.5);
    assert_eq!(json["repairs"].as_array().unwrap().len(), 0);
}

#[test]
fn as_a_table() {
    let done = inspect(&made::stored("two_tracks_speech_second.mp4"), &["--track", "1"]);
    assert!(done.status.success());
    let text = String::from_utf8(done.stdout).unwrap();
    for expect in ["MP4, AAC", "1 of 2: asked for", "no signal: digital silence", "track 2 has speech too"] {
        assert!(text.contains(expect), "`{expect}` is not in:\n{text}");
    }
}

#[test]
fn refusals() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("text.wav");
    fs::write(&path, "this is not audio\n".repeat(50)).unwrap();
    let done = inspect(&path, &[]);
    assert_eq!(done.status.code(), Some(2));
    assert!(done.stdout.is_empty());
    assert!(String::from_utf8(done.stderr).unwrap().contains("it is text"));
}

/// A name that would paint the terminal, or turn its text round, is shown without that.
#[cfg(unix)]
#[test]
fn names_are_only_names() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a\u{1b}[31m\u{202e}b\nc.wav");
    fs::write(&path, made::wav().bytes()).unwrap();
    let done = inspect(&path, &[]);
    assert!(done.status.success());
    let text = String::from_utf8(done.stdout).unwrap();
    assert!(text.starts_with("file       a [31m b c.wav\n"), "{text:?}");
    assert!(text.contains("\nsound      16000 Hz, 1 channel, 0:00:06.8\n"), "{text}");
    assert!(!text.contains('\u{1b}'), "{text:?}");
}

/// The whole sentence, with the cause where there is one.
#[track_caller]
fn says(path: &Path, track: Option<usize>, expect: &str) {
    let Err(error) = audio::open(path, &Options { track }) else { panic!("{} was read", path.display()) };
    let cause = std::error::Error::source(&error).map(|cause| format!(": {cause}")).unwrap_or_default();
    let all = format!("{error}{cause}").replace(&path.display().to_string(), "FILE");
    assert_eq!(all, expect);
}

#[test]
fn sentences() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path
    };
    says(&folder.path().join("none"), None, "cannot read `FILE`: No such file or directory (os error 2)");
    says(folder.path(), None, "`FILE` is a folder; name one recording in it");
    says(
        &file("empty", b""),
        None,
        "`FILE` is empty (0 bytes): nothing was saved into it; look for another copy on the recorder",
    );
    says(
        &file("text", b"this is not audio"),
        None,
        "`FILE` is not a recording: it is text; give a sound or video file, or a transcript (.vtt, .srt, .txt)",
    );
    says(
        &file("avi", b"RIFF\0\0\0\0AVI "),
        None,
        "`FILE` is an AVI video, which is not read; convert a copy with `ffmpeg -i INPUT -vn OUTPUT.flac` and give that",
    );
    says(
        &made::stored("voice_speex.ogg"),
        None,
        "`FILE` is Ogg, but its sound is Speex, for which there is no decoder here; convert a copy with `ffmpeg -i INPUT -vn OUTPUT.flac` and give that",
    );
    says(
        &file("cut", &made::bytes("c02_moov_last.m4a")[..59_529]),
        None,
        "`FILE` (MP4): recording was cut off before it was finished: its index (`moov`), which is written last, is missing; keep the original, repair a copy with the help of a sibling file (another recording from the same device), and give the repaired copy",
    );
    says(
        &file("header", &made::Wav { data: Vec::new(), ..made::wav() }.bytes()),
        None,
        "`FILE` (WAV) holds no sound: not one sample could be decoded (only a header, no samples follow it); look for another copy on the recorder",
    );
    let format = made::format(1, 0, 16_000, 0, 16, &[]);
    says(
        &file("channels", &made::Wav { format, ..made::wav() }.bytes()),
        None,
        "`FILE` (WAV): the header says 0 channels; 1 to 64 can be read; if you know how it was recorded, put the right number into a copy",
    );
    let format = made::format(1, 1, 0, 2, 16, &[]);
    says(
        &file("rate", &made::Wav { format, ..made::wav() }.bytes()),
        None,
        "`FILE` (WAV): the header says 0 samples per second; 1000 to 768000 can be read; the rate cannot be guessed without making every time in the log wrong, so put the right rate into a copy",
    );
    says(
        &file("damaged", &made::wav().bytes()[..30]),
        None,
        "`FILE` (WAV) is damaged: its header breaks off inside the `fmt ` chunk; keep the original and look for another copy on the recorder",
    );
    says(
        &made::stored("a00_ok16.wav"),
        Some(2),
        "`FILE` has no track 2; it has one sound track, 1 (`tugback inspect` shows what is in it)",
    );
}

/// A device or a pipe would wait for ever.
#[cfg(unix)]
#[test]
fn no_device() {
    says(
        Path::new("/dev/zero"),
        None,
        "`FILE` is not an ordinary file (a device or a pipe); save the recording as a file first and name that",
    );
}

/// Said only where the test does not run as the one who may read everything.
#[cfg(unix)]
#[test]
fn no_permission() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("locked.wav");
    fs::write(&path, made::wav().bytes()).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).unwrap();
    if fs::read(&path).is_err() {
        says(&path, None, "cannot read `FILE`: Permission denied (os error 13)");
    }
}
