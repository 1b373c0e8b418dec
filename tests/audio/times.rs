//! A sound at a known time in the file comes out at that time, whatever the rate and however long the recording.

use std::{fs, path::Path};

use tugback::audio::{self, Options, RATE_HZ, Recording, Samples as _};

use crate::made::{self, all, chunk, format};

/// A WAV file of 8 bits with a click at each of `at_s`, `length_s` long; channels beside the last are silent.
fn clicks(rate_hz: u32, channels: u16, length_s: f64, at_s: &[f64]) -> Vec<u8> {
    let index = |s: f64| (s * f64::from(rate_hz)).round() as usize;
    let many = usize::from(channels);
    let mut data = vec![0x80; index(length_s) * many];
    // An eighth of a millisecond, at least one sample.
    let wide = (rate_hz as usize / 8000).max(1);
    for at in at_s.iter().map(|s| index(*s)) {
        for frame in at..at + wide {
            data[frame * many + many - 1] = 0xf0;
        }
    }
    let format = format(1, channels, rate_hz, channels, 8, &[]);
    let body = [b"WAVE".as_slice(), &chunk(*b"fmt ", &format), &chunk(*b"data", &data)].concat();
    [b"RIFF".as_slice(), &(body.len() as u32).to_le_bytes(), &body].concat()
}

/// When the loudest sample within half a second of `at_s` comes; `sound` starts at `from_s`.
fn loudest(sound: &[f32], from_s: f64, at_s: f64) -> f64 {
    let second = f64::from(RATE_HZ);
    let index = |s: f64| (((s - from_s) * second).max(0.0) as usize).min(sound.len());
    let range = index(at_s - 0.5)..index(at_s + 0.5);
    let peak = range.max_by(|a, b| sound[*a].abs().total_cmp(&sound[*b].abs())).unwrap();
    from_s + peak as f64 / second
}

#[track_caller]
fn check(rate_hz: u32, channels: u16) {
    let at_s = [0.7, 3.21, 6.05];
    let file = clicks(rate_hz, channels, 6.6, &at_s);
    let sound = all(&mut made::open("x.wav", &file, None).unwrap());
    for at_s in at_s {
        let is_s = loudest(&sound, 0.0, at_s);
        assert!((is_s - at_s).abs() < 0.002, "{rate_hz} Hz: a click at {at_s} s came at {is_s} s");
    }
    let length_s = sound.len() as f64 / f64::from(RATE_HZ);
    assert!((length_s - 6.6).abs() < 0.001, "{rate_hz} Hz: 6.6 s became {length_s} s");
}

#[test]
fn every_rate() {
    for rate_hz in [4_000, 8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000, 384_000] {
        check(rate_hz, 1);
    }
}

#[test]
fn odd_rates_and_channels() {
    check(7_999, 1);
    check(16_001, 2);
    check(44_101, 1);
    check(47_952, 3);
    check(383_999, 1);
}

/// Three hours at a rate that does not divide 16 kHz.
#[test]
fn three_hours() {
    let at_s = [12.5, 5_400.25, 10_799.0];
    let file = clicks(4_410, 1, 10_800.0, &at_s);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.wav");
    fs::write(&path, file).unwrap();
    let mut recording = audio::open(&path, &Options::default()).unwrap();
    assert!((recording.report().decoded_s - 10_800.0).abs() < 0.001);
    for at_s in at_s {
        recording.skip_to(at_s - 0.5).unwrap();
        let from_s = recording.position_s();
        let mut sound = Vec::new();
        while sound.len() < RATE_HZ as usize {
            let Some(block) = recording.next_block().unwrap() else { break };
            sound.extend(block);
        }
        assert!((from_s - (at_s - 0.5)).abs() < 0.001, "asked for {at_s} s, got {from_s} s");
        let is_s = loudest(&sound, from_s, at_s);
        assert!((is_s - at_s).abs() < 0.01, "a click at {at_s} s came at {is_s} s");
    }
}

/// What comes after a jump is what comes without one.
#[track_caller]
fn check_jump(path: &Path, to_s: f64) {
    let open = || audio::open(path, &Options::default()).unwrap();
    let whole = all(&mut open());
    let mut jumped: Recording = open();
    jumped.next_block().unwrap();
    jumped.skip_to(to_s).unwrap();
    let from = (to_s * f64::from(RATE_HZ)).round() as usize;
    let rest = all(&mut jumped);
    let expect = &whole[from.min(whole.len())..];
    assert!(
        rest.len().abs_diff(expect.len()) < 40,
        "{}: {} for {}",
        path.display(),
        rest.len(),
        expect.len()
    );
    // Alike and not shifted: half a sample is allowed, since a jump may land between two; a millisecond would give 1 or more.
    let (mut apart, mut size) = (0.0, 1e-9);
    for (a, b) in rest.iter().zip(expect) {
        apart += (a - b) * (a - b);
        size += b * b;
    }
    assert!(apart < 0.3 * size, "{}: after {to_s} s it differs by {}", path.display(), apart / size);
}

#[test]
fn jumps() {
    // Twice and four times the voice, so that a jump of more than five seconds is one.
    let joined = |name: &str, times: usize| {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        fs::write(&path, made::bytes(name).repeat(times)).unwrap();
        (folder, path)
    };
    for to_s in [1.5, 2.25] {
        check_jump(&made::stored("voice_opus.webm"), to_s);
        check_jump(&made::stored("voice_index_first.m4a"), to_s);
    }
    for name in ["a00_ok16.wav", "c01_voice.ogg", "c02_moov_last.m4a", "c05_vbr.mp3"] {
        check_jump(&made::stored(name), 6.25);
        check_jump(&made::stored(name), 60.0);
    }
    let (_folder, mp3) = joined("c05_vbr.mp3", 4);
    check_jump(&mp3, 20.5);
    let (_folder, aac) = joined("voice.aac", 4);
    check_jump(&aac, 8.5);
}
