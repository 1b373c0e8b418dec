//! A file that can be no recording and no transcript: one sentence, exit code 2, no log, the source untouched.

use crate::{Place, permissions_bind};
use std::os::unix::fs::PermissionsExt as _;

/// A WAV file of 16-bit zeros, with these numbers in its header.
fn wav(rate_hz: u32, channels: u16, sound_bytes: u32) -> Vec<u8> {
    let per_frame = channels.saturating_mul(2);
    let mut file = Vec::new();
    file.extend(b"RIFF");
    file.extend((36 + sound_bytes).to_le_bytes());
    file.extend(b"WAVEfmt ");
    file.extend(16_u32.to_le_bytes());
    file.extend(1_u16.to_le_bytes()); // PCM
    file.extend(channels.to_le_bytes());
    file.extend(rate_hz.to_le_bytes());
    file.extend((rate_hz * u32::from(per_frame)).to_le_bytes());
    file.extend(per_frame.to_le_bytes());
    file.extend(16_u16.to_le_bytes());
    file.extend(b"data");
    file.extend(sound_bytes.to_le_bytes());
    file.resize(file.len() + sound_bytes as usize, 0);
    file
}

/// `tugback log NAME -o log.json` refuses with these words; an older log and the source stay as they were.
#[track_caller]
fn check(name: &str, bytes: impl AsRef<[u8]>, words: &[&str]) {
    let place = Place::new();
    let source = place.file(name, &bytes);
    place.file("log.json", "an older log");
    place.run(["log", name, "-o", "log.json"]).refused(words);
    assert_eq!(std::fs::read(source).expect("the source"), bytes.as_ref(), "the source was changed");
    assert_eq!(std::fs::read(place.path("log.json")).expect("the older log"), b"an older log");
    assert_eq!(place.names().len(), 2, "something was left behind: {:?}", place.names());
}

#[test]
fn recordings() {
    check("empty.wav", "", &["`empty.wav` is empty"]);
    check("header.wav", wav(16_000, 1, 0), &["`header.wav`", "no sound"]);
    check("half-header.wav", &wav(16_000, 1, 0)[..21], &["`half-header.wav`"]);
    check("channels.wav", wav(16_000, 0, 64), &["`channels.wav`", "0 channels"]);
    check("rate.wav", wav(0, 1, 64), &["`rate.wav`", "0 samples per second"]);
    check(
        "letter.wav",
        "Dear colleague,\nthank you for the referral.\n",
        &["`letter.wav` is not a recording"],
    );
    check("picture.wav", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01", &["`picture.wav` is not a recording"]);
    check("noise.mp3", [0_u8; 4096], &["`noise.mp3`"]);
}

/// A recording whose end is missing: what is there is heard, and log and table say that it was cut.
#[cfg(feature = "whisper")]
#[test]
fn a_cut_mp3() {
    let whole = std::fs::read(crate::source_tree("tests/data/audio/c05_vbr.mp3")).expect("the recording");
    let place = Place::new();
    let source = place.file("cut.mp3", &whole[..whole.len() / 2]);
    let ran = place.run(["log", "cut.mp3", "-o", "log.json", "--once"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("recording: file cut short: its header promises 6.8 s"), "{}", ran.out);
    let log = std::fs::read_to_string(place.path("log.json")).expect("the log");
    let log: serde_json::Value = serde_json::from_str(&log).expect("JSON");
    assert!(
        log["source"]["duration_s"].as_f64().is_some_and(|s| (2.0..4.5).contains(&s)),
        "{}",
        log["source"]
    );
    assert!(log["source"].to_string().contains("file cut short"), "{}", log["source"]);
    assert_eq!(
        std::fs::read(source).expect("the source"),
        &whole[..whole.len() / 2],
        "the source was changed"
    );
    assert_eq!(place.names(), ["cut.mp3", "log.json"]);
    // Cut before the first sound.
    check("stub.mp3", &whole[..200], &["`stub.mp3`"]);
}

#[test]
fn transcripts() {
    check("empty.vtt", "", &["`empty.vtt` is empty"]);
    check("no-cue.vtt", "WEBVTT\n\nNOTE nothing was said\n", &["`no-cue.vtt`"]);
    check("binary.txt", b"size twenty \xff\xfe\0\0\x01", &["`binary.txt`"]);
}

#[test]
fn places() {
    let place = Place::new();
    place.run(["log", "absent.flac", "-o", "log.json"]).refused(&["`absent.flac`"]);
    place.run(["log", "absent.vtt", "-o", "log.json"]).refused(&["`absent.vtt`"]);
    std::fs::create_dir(place.path("tray.wav")).expect("a folder");
    place.run(["log", "tray.wav", "-o", "log.json"]).refused(&["`tray.wav` is a folder"]);
    std::fs::create_dir(place.path("tray.vtt")).expect("a folder");
    place.run(["log", "tray.vtt", "-o", "log.json"]).refused(&["`tray.vtt` is a folder"]);
    assert_eq!(place.names(), ["tray.vtt", "tray.wav"]);
}

#[test]
fn no_permission() {
    let place = Place::new();
    if !permissions_bind(&place) {
        return; // root may read everything
    }
    for name in ["locked.wav", "locked.vtt"] {
        let locked = place.file(name, "WEBVTT\n\n00:00.000 --> 00:01.000\ntooth 11\n");
        std::fs::set_permissions(locked, std::fs::Permissions::from_mode(0o0)).expect("permissions");
        place.run(["log", name]).refused(&[&format!("cannot read `{name}`"), "ermission denied"]);
    }
}
