//! Clicks at known times in files of many rates must come out at the same times.

use std::path::Path;

use tugback::audio::{Options, RATE_HZ, Samples as _, open};

/// A stereo file with a click on the right at each of `at_s`, `length_s` long.
fn clicks(path: &Path, rate_hz: u32, length_s: f64, at_s: &[f64]) {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(path, spec).unwrap();
    let index = |s: f64| (s * f64::from(rate_hz)).round() as u64;
    let starts: Vec<u64> = at_s.iter().map(|s| index(*s)).collect();
    let wide = u64::from(rate_hz / 4000).max(1);
    for n in 0..index(length_s) {
        let on = starts.iter().any(|s| (*s..s + wide).contains(&n));
        file.write_sample(0_i16).unwrap();
        file.write_sample(if on { 20_000_i16 } else { 0 }).unwrap();
    }
    file.finalize().unwrap();
}

/// When the loudest sample near each of `at_s` comes, and how long the whole is.
fn heard(path: &Path, at_s: &[f64]) -> (Vec<f64>, f64) {
    let mut recording = open(path, &Options::default()).unwrap();
    let mut all = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        all.extend(block);
    }
    let second = f64::from(RATE_HZ);
    let peaks = at_s
        .iter()
        .map(|s| {
            let from = ((s - 0.5).max(0.0) * second) as usize;
            let to = (((s + 0.5) * second) as usize).min(all.len());
            let peak = (from..to).max_by(|a, b| all[*a].abs().total_cmp(&all[*b].abs())).unwrap();
            peak as f64 / second
        })
        .collect();
    (peaks, all.len() as f64 / second)
}

#[track_caller]
fn check(rate_hz: u32) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clicks.wav");
    let at_s = [0.7, 3.21, 6.05];
    clicks(&path, rate_hz, 6.6, &at_s);
    let (peaks, length_s) = heard(&path, &at_s);
    for (is, should) in peaks.iter().zip(at_s) {
        assert!((is - should).abs() < 0.003, "{rate_hz} Hz: a click at {should} s came at {is} s");
    }
    assert!((length_s - 6.6).abs() < 0.001, "{rate_hz} Hz: 6.6 s became {length_s} s");
}

#[test]
fn usual_rates() {
    for rate_hz in [8_000, 16_000, 22_050, 44_100, 48_000, 96_000] {
        check(rate_hz);
    }
}
