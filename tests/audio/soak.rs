//! Broken recordings without end: every stored file, cut, filled, shifted and with wild numbers in its header. Whatever
//! comes out, it is sound with a report or an error with a sentence: never a panic, never a hang, never a wild sample.
//!
//! A short run with fixed seeds is part of the tests. `TUGBACK_SOAK_SECONDS=3600 cargo test --test audio soak` runs for
//! that long with new seeds; under `ulimit -v 2000000` it also shows that no declared size is believed. What fails is
//! kept in the target folder.

use std::{
    fs, panic,
    path::PathBuf,
    sync::{
        Arc, Mutex,
        atomic::{AtomicU64, Ordering},
    },
    thread,
    time::{Duration, Instant, SystemTime},
};

use tugback::audio::{self, Options, Samples as _};

use crate::made;

/// A file may take so long before it counts as a hang.
const HANG: Duration = Duration::from_secs(20);
/// How much of a file is listened to, in blocks of a second.
const BLOCKS: usize = 120;

/// Random numbers (xorshift64*), so that a seed says everything.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() >> 11) as usize % n.max(1)
    }

    /// A place in a file: most often in its head or its tail, where the numbers are.
    fn place(&mut self, len: usize) -> usize {
        match self.below(10) {
            0..=3 => self.below(len.min(600)),
            4 | 5 => len - 1 - self.below(len.min(4000)),
            _ => self.below(len),
        }
    }
}

/// Breaks a file in one to six ways.
fn break_it(random: &mut Random, file: &mut Vec<u8>, other: &[u8]) {
    let ways = [1, 1, 1, 2, 3, 6][random.below(6)];
    for _ in 0..ways {
        if file.len() < 4 {
            file.extend_from_slice(&other[..other.len().min(64)]);
        }
        let at = random.place(file.len());
        match random.below(11) {
            0 => file[at] ^= 1 << random.below(8),
            1 => file[at] = random.next() as u8,
            2 | 3 => {
                // A wild number of 1, 2, 4 or 8 bytes.
                let wild: [u64; 9] =
                    [0, u64::MAX, 0x7fff_ffff, 0x8000_0000, 1, 0xffff, 0x10_0000, 0xff, random.next()];
                let number = wild[random.below(wild.len())];
                let both = if random.below(2) == 0 { number.to_le_bytes() } else { number.to_be_bytes() };
                let size = [1, 2, 4, 8][random.below(4)];
                let both = if random.below(2) == 0 { &both[..size] } else { &both[8 - size..] };
                let size = size.min(file.len() - at);
                file[at..at + size].copy_from_slice(&both[..size]);
            }
            4 => file.truncate(at.max(1)),
            5 => {
                let to = (at + random.below(3000)).min(file.len());
                file.drain(at..to);
            }
            6 => {
                let size = 1 + random.below(300);
                let junk: Vec<u8> = (0..size).map(|_| random.next() as u8).collect();
                file.splice(at..at, junk);
            }
            7 => {
                let to = (at + random.below(5000)).min(file.len());
                file[at..to].fill([0, 0xff, 0x20][random.below(3)]);
            }
            8 => {
                // A part again, somewhere else.
                let to = (at + random.below(2000)).min(file.len());
                let part = file[at..to].to_vec();
                let place = random.place(file.len());
                file.splice(place..place, part);
            }
            9 => {
                let from = random.below(other.len());
                let to = (from + random.below(2000)).min(other.len());
                file.splice(at..at, other[from..to].iter().copied());
            }
            _ => {
                let shift = random.below(64).min(file.len() - 1);
                file.drain(..shift);
            }
        }
    }
}

/// What was sent in, to be kept if it fails.
#[derive(Default)]
struct Now {
    seed: AtomicU64,
    since: Mutex<Option<Instant>>,
}

fn kept(seed: u64) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    fs::create_dir_all(&folder).unwrap();
    folder.join(format!("soak-{seed}"))
}

fn one(seed: u64, files: &[(String, Vec<u8>)], path: &PathBuf) -> &'static str {
    let mut random = Random(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    for _ in 0..3 {
        random.next();
    }
    let (_, file) = &files[random.below(files.len())];
    let (_, other) = &files[random.below(files.len())];
    let mut file = file.clone();
    break_it(&mut random, &mut file, other);
    fs::write(path, &file).unwrap();
    let track = [None, None, None, Some(1), Some(2)][random.below(5)];
    match audio::open(path, &Options { track }) {
        Ok(mut recording) => {
            let report = recording.report();
            assert!(report.decoded_s >= 0.0 && report.decoded_s.is_finite(), "{report:?}");
            assert!(serde_json::to_string(report).unwrap().contains("container"));
            if random.below(3) == 0 {
                let to_s = random.below(40) as f64 / 4.0;
                recording.skip_to(to_s).unwrap();
            }
            for _ in 0..BLOCKS {
                let Some(block) = recording.next_block().unwrap() else { break };
                assert!(!block.is_empty() && block.len() < 1 << 22, "a block of {}", block.len());
                assert!(block.iter().all(|s| (-1.0..=1.0).contains(s)), "a wild sample");
            }
            "sound"
        }
        Err(error) => {
            let says = error.to_string();
            assert!(says.contains('`') && says.len() > 40, "no help: {error:?}");
            "error"
        }
    }
}

#[test]
fn soak() {
    let seconds = std::env::var("TUGBACK_SOAK_SECONDS").ok().and_then(|s| s.parse().ok());
    let (length, first) = match seconds {
        Some(seconds) => {
            let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap().as_nanos() as u64;
            (Duration::from_secs(seconds), now)
        }
        None => (Duration::from_secs(8), 1),
    };
    let mut files: Vec<(String, Vec<u8>)> = fs::read_dir(made::stored(""))
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| (entry.file_name().into_string().unwrap(), entry.path()))
        .filter(|(name, _)| name != "README.md")
        .map(|(name, path)| (name, fs::read(path).unwrap()))
        .collect();
    files.sort();
    let folder = tempfile::tempdir().unwrap();
    let now = Arc::new(Now::default());
    let watched = Arc::clone(&now);
    // A hang cannot be caught, only told.
    thread::spawn(move || {
        loop {
            thread::sleep(Duration::from_millis(500));
            if watched.since.lock().unwrap().is_some_and(|since| since.elapsed() > HANG) {
                let seed = watched.seed.load(Ordering::SeqCst);
                eprintln!("soak: seed {seed} hangs");
                std::process::exit(101);
            }
        }
    });
    let path = folder.path().join("broken");
    let start = Instant::now();
    let (mut count, mut sound, mut slowest) = (0_u64, 0_u64, Duration::ZERO);
    // On a busy machine eight seconds are little: some files are always tried.
    while start.elapsed() < length || count < 60 {
        let seed = first.wrapping_add(count);
        now.seed.store(seed, Ordering::SeqCst);
        let began = Instant::now();
        *now.since.lock().unwrap() = Some(began);
        let result = panic::catch_unwind(|| one(seed, &files, &path));
        *now.since.lock().unwrap() = None;
        slowest = slowest.max(began.elapsed());
        let Ok(end) = result else {
            fs::copy(&path, kept(seed)).unwrap();
            panic!("seed {seed} failed; its file is {}", kept(seed).display());
        };
        sound += u64::from(end == "sound");
        count += 1;
    }
    eprintln!("soak: {count} files from seed {first}, {sound} gave sound, slowest {slowest:.1?}");
    assert!(count > 50 && sound > 10, "only {count} files, {sound} with sound");
}
