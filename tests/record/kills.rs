//! A recorder that is killed at any moment, and a disk that is full: nothing but the last second may be missing.

use std::{
    io::{BufRead as _, BufReader},
    path::Path,
    process::{Command, Stdio},
    sync::{Arc, mpsc},
    thread,
    time::{Duration, Instant},
};

use tugback::{
    audio,
    record::{
        capture::Format,
        fake::{Fake, Step},
        recorder::{Notice, Plan, record},
        recover::{self, Found},
    },
};

/// What the child records into; the test below is the child where it is set.
const INTO: &str = "TUGBACK_TEST_RECORDS_INTO";

/// A child that records a known pattern from a fake microphone until somebody kills it, and says how far it has come.
/// Sample `n` is `(7919 n mod 65521) - 32760`, which is found again in what is left of the file.
#[test]
fn the_child() {
    let Ok(path) = std::env::var(INTO) else { return };
    let number = |name| std::env::var(name).ok().and_then(|n| n.parse().ok());
    let format = Format { rate_hz: 48_000, channels: 1, bits: 16 };
    let pattern: Arc<[f32]> =
        (0..48_000 * 60_i64).map(|n| ((n * 7919) % 65_521 - 32_760) as f32 / 32_768.0).collect();
    let mut fake = Fake::new(format, number("SPEED").unwrap_or(1.0), [Step::Play(pattern)]);
    let (_stop, orders) = mpsc::channel();
    let plan = Plan { least_s: number("LEAST_S").unwrap_or(0.0), ..Plan::new(path.into()) };
    let recorded = record(&mut fake, &plan, &orders, None, &mut |notice| {
        if let Notice::Level { recorded_s, .. } = notice {
            println!("{recorded_s}");
        }
    });
    let why = recorded.map(|r| r.stopped);
    assert!(matches!(why, Ok(None)), "{why:?}");
}

/// The child as a command.
fn child(path: &Path) -> Command {
    let mut child = Command::new(std::env::current_exe().expect("this test is a file"));
    child.args(["--exact", "kills::the_child", "--nocapture"]).env(INTO, path).env("RUST_BACKTRACE", "0");
    child
}

/// A number from 0 to 1 that differs from run to run; its seed is printed where a test fails.
struct Dice(u64);

impl Dice {
    fn throw(&mut self) -> f64 {
        // SplitMix64.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Samples of a recording after its header, whole ones only.
fn samples(path: &Path) -> Vec<i16> {
    let bytes = std::fs::read(path).unwrap();
    bytes[72.min(bytes.len())..].chunks_exact(2).map(|b| i16::from_le_bytes([b[0], b[1]])).collect()
}

#[track_caller]
fn is_the_pattern(samples: &[i16]) {
    let wrong = (0_i64..).zip(samples).find(|(n, s)| i64::from(**s) != (n * 7919) % 65_521 - 32_760);
    assert!(wrong.is_none(), "the recording holds what was not said: {wrong:?}");
}

/// Kills a recorder after `after_s`; what is left must be readable, right, and at most a second short.
fn kill(folder: &Path, n: usize, after_s: f64) -> f64 {
    let path = folder.join(format!("{n}.wav"));
    let mut child =
        child(&path).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the recorder starts");
    let out = child.stdout.take().unwrap();
    let reader = thread::spawn(move || {
        let lines: Vec<f64> = BufReader::new(out).lines().filter_map(|l| l.ok()?.parse().ok()).collect();
        lines.last().copied().unwrap_or(0.0)
    });
    let begun = Instant::now();
    while !path.exists() && begun.elapsed() < Duration::from_secs(20) {
        thread::sleep(Duration::from_millis(1));
    }
    let begun = Instant::now();
    thread::sleep(Duration::from_secs_f64(after_s));
    let spoken_s = begun.elapsed().as_secs_f64();
    child.kill().unwrap(); // SIGKILL
    child.wait().unwrap();
    let told_s = reader.join().unwrap();

    let there = samples(&path);
    is_the_pattern(&there);
    let there_s = there.len() as f64 / 48_000.0;
    assert!(there_s + 1e-6 >= told_s, "told {told_s} s, {there_s} s are there");
    // The fake microphone delivers at the end of each tenth of a second.
    assert!(spoken_s - there_s < 1.0, "killed after {spoken_s:.2} s, {there_s:.2} s are there");
    if !there.is_empty() {
        let report = audio::open(&path, &audio::Options::default()).expect("readable as it is");
        assert!((report.report().decoded_s - there_s).abs() < 0.011);
        let found = recover::look(folder).unwrap();
        let mine = found.iter().find_map(|f| match f {
            Found::Left(left) if left.path == path => Some(left),
            _ => None,
        });
        let mended_s = recover::mend(mine.expect("it is found")).unwrap();
        assert!((mended_s - there_s).abs() < 1e-9);
        // hound is another reader than our own, and refuses sizes that are wrong.
        let other = hound::WavReader::open(&path).unwrap();
        assert_eq!(other.duration() as usize, there.len());
    }
    spoken_s - there_s
}

#[test]
fn killed_at_any_moment_at_most_a_second_is_missing() {
    let kills: usize = std::env::var("KILLS").ok().and_then(|k| k.parse().ok()).unwrap_or(24);
    let seed = std::time::UNIX_EPOCH.elapsed().unwrap().as_nanos() as u64;
    println!("seed {seed}");
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice(seed);
    let moments: Vec<f64> = (0..kills).map(|_| dice.throw().powi(2) * 2.5).collect();
    let mut most: f64 = 0.0;
    for (round, few) in moments.chunks(4).enumerate() {
        let runs: Vec<_> = few
            .iter()
            .enumerate()
            .map(|(n, after_s)| {
                let (folder, after_s) = (folder.path().to_owned(), *after_s);
                thread::spawn(move || kill(&folder, round * 4 + n, after_s))
            })
            .collect();
        for run in runs {
            most = most.max(run.join().unwrap());
        }
    }
    println!("{kills} kills, at most {most:.2} s missing");
}

/// A disk of 1 MiB, seen by the recorder alone. Needs the right to mount, in a namespace of its own.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_stops_loudly_and_keeps_all() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().display();
    let kept = tempfile::tempdir().unwrap();
    let script = format!(
        "mount -t tmpfs -o size=1m room '{at}' || exit 77; {INTO}='{at}/full.wav' SPEED=20 '{}' --exact \
         kills::the_child --nocapture; code=$?; cp '{at}/full.wav' '{}'; exit $code",
        std::env::current_exe().unwrap().display(),
        kept.path().display()
    );
    let mut done = None;
    for rights in ["-m", "-rm"] {
        let out = Command::new("unshare").args([rights, "sh", "-c", &script]).output();
        done = out.ok().filter(|o| o.status.code() != Some(77) && !o.stdout.is_empty());
        if done.is_some() {
            break;
        }
    }
    let Some(out) = done else {
        println!("left out: this account may not mount a small disk");
        return;
    };
    let told = String::from_utf8_lossy(&out.stderr);
    assert!(!out.status.success() && told.contains("StorageFull"), "{told}");
    let path = kept.path().join("full.wav");
    let there = samples(&path);
    is_the_pattern(&there);
    let seconds = there.len() as f64 / 48_000.0;
    assert!(seconds > 10.0, "1 MiB holds 10.9 s; {seconds:.2} s are there");
    let lines = String::from_utf8_lossy(&out.stdout);
    let told_s: f64 = lines.lines().filter_map(|l| l.parse().ok()).next_back().unwrap();
    assert!(seconds + 1e-6 >= told_s, "told {told_s} s, {seconds} s are there");
    assert_eq!(
        hound::WavReader::open(&path).unwrap().duration() as usize,
        there.len(),
        "its header is right"
    );
}

/// Before anything is begun.
#[test]
fn a_disk_that_is_too_small_is_told_first() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("no.wav");
    let out = child(&path).env("LEAST_S", "1e12").output().unwrap();
    let told = String::from_utf8_lossy(&out.stderr);
    assert!(!out.status.success() && told.contains("NoRoom"), "{told}");
    assert!(!path.exists(), "nothing was begun");
}
