//! How late the log is while somebody speaks: recordings are played in real time into the recorder, with the models that
//! come with the program. `make bench-live`; takes as long as the recordings last.
//!
//!     live [--without-pauses SECONDS] RECORDING …
//!
//! A breath's end is where the voice detector puts it, or, where `<recording>.times.json` lies beside the recording
//! (`[[from_s, to_s], …]`, one pair a breath), where it was measured when the recording was made. Time is the clock's: from
//! the moment at which that sample was delivered to the moment at which the entry was shown. `--without-pauses` takes out
//! all silence and plays that for so many seconds: nobody speaks so, and it shows how far the log falls behind, and
//! whether it catches up.

#![expect(
    clippy::print_stdout,
    clippy::cast_precision_loss,
    reason = "a report for the person who started it"
)]

use std::{
    error::Error,
    path::{Path, PathBuf},
    sync::{Arc, atomic::Ordering, mpsc},
    thread,
    time::{Duration, Instant},
};

use tugback::{
    audio::{self, RATE_HZ, Samples as _},
    entries::{Extractor, Settings},
    listen::model,
    record::{
        capture::Format,
        fake::{Fake, Step},
        live::{Change, Live},
        recorder::{Notice, Order, Plan},
        session::{Happening, sit, with_models},
    },
};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

const MONO: Format = Format { rate_hz: RATE_HZ, channels: 1, bits: 16 };

fn main() -> Result<()> {
    let mut args: Vec<String> = std::env::args().skip(1).collect();
    let mut without_pauses = None;
    if args.first().is_some_and(|a| a == "--without-pauses") {
        let seconds = args.drain(..2).nth(1).ok_or("how many seconds?")?;
        without_pauses = Some(seconds.parse::<f64>()?);
    }
    let paths: Vec<PathBuf> = args.into_iter().map(Into::into).collect();
    if let Some(seconds) = without_pauses {
        let sound = speech_only(&paths, seconds)?;
        let seen = play(sound, &[])?;
        seen.report("without pauses");
        println!("  behind, every 20 s: {:.0?}", seen.behind_s);
        return Ok(());
    }
    let mut all = Seen::default();
    for path in &paths {
        let seen = play(read(path)?, &times(path))?;
        seen.report(&path.file_stem().unwrap_or_default().to_string_lossy());
        all.heard_s.extend(seen.heard_s);
        all.shown_s.extend(seen.shown_s);
        all.settled_s.extend(seen.settled_s);
        all.most_behind_s = all.most_behind_s.max(seen.most_behind_s);
        all.spoken_s += seen.spoken_s;
        all.processor_s += seen.processor_s;
        all.extract_s = all.extract_s.max(seen.extract_s);
    }
    all.report("all");
    Ok(())
}

/// What was measured, in seconds.
#[expect(clippy::struct_field_names, reason = "all are seconds")]
#[derive(Default)]
struct Seen {
    /// From the detector's end of a breath to its words.
    heard_s: Vec<f64>,
    /// From the true end of a breath to its entries, the first time each is shown.
    shown_s: Vec<f64>,
    /// To the last change of an entry by a later listening.
    settled_s: Vec<f64>,
    behind_s: Vec<f64>,
    most_behind_s: f64,
    spoken_s: f64,
    processor_s: f64,
    /// The longest time from a breath's words to the end of its changes.
    extract_s: f64,
}

impl Seen {
    fn report(&self, name: &str) {
        println!(
            "{name}: {} breaths of {:.0} s, words {}, entries {}, settled {}, at most {:.1} s waited, \
             extraction at most {:.0} ms, processor {:.2} of the time, load {}",
            self.heard_s.len(),
            self.spoken_s,
            spread(&self.heard_s),
            spread(&self.shown_s),
            spread(&self.settled_s),
            self.most_behind_s,
            self.extract_s * 1000.0,
            self.processor_s / self.spoken_s.max(1.0),
            load(),
        );
    }
}

/// Programs that wanted a processor in the last minute (`proc_loadavg(5)`).
fn load() -> String {
    let text = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    text.split(' ').next().unwrap_or("unknown").to_owned()
}

/// Middle, 95 of 100, the most.
fn spread(all: &[f64]) -> String {
    let mut all = all.to_vec();
    all.sort_by(f64::total_cmp);
    let at =
        |share: usize| all.get(((all.len() * share).div_ceil(100)).saturating_sub(1)).copied().unwrap_or(0.0);
    format!("p50 {:.2} p95 {:.2} most {:.2} s ({})", at(50), at(95), at(100), all.len())
}

fn read(path: &Path) -> Result<Vec<f32>> {
    let mut recording = audio::open(path, &audio::Options::default())?;
    let mut all = Vec::new();
    while let Some(block) = recording.next_block()? {
        all.extend(block);
    }
    Ok(all)
}

/// Where breaths end, if that is known.
fn times(path: &Path) -> Vec<(f64, f64)> {
    let text = std::fs::read_to_string(path.with_extension("times.json")).unwrap_or_default();
    serde_json::from_str(&text).unwrap_or_default()
}

/// So many seconds of speech without a pause: tenths of seconds that are loud enough, one after the other.
fn speech_only(paths: &[PathBuf], seconds: f64) -> Result<Vec<f32>> {
    let mut all = Vec::new();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some minutes")]
    let most = (seconds * f64::from(RATE_HZ)) as usize;
    for path in paths.iter().cycle() {
        let sound = read(path)?;
        let before = all.len();
        let loud = sound.chunks(1600).filter(|c| c.iter().map(|s| s * s).sum::<f32>() / 1600.0 > 1e-4);
        all.extend(loud.flatten().copied());
        if all.len() >= most {
            all.truncate(most);
            return Ok(all);
        }
        if all.len() == before {
            return Err(format!("nobody speaks in {}", path.display()).into());
        }
    }
    Err("no recording was named".into())
}

/// Processor time that this process has taken (`proc_stat(5)`: fields 14 and 15, in ticks of 10 ms).
fn processor_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let ticks = stat.rsplit(')').next().unwrap_or_default().split_whitespace().skip(11).take(2);
    ticks.filter_map(|t| t.parse::<f64>().ok()).sum::<f64>() / 100.0
}

fn play(sound: Vec<f32>, times: &[(f64, f64)]) -> Result<Seen> {
    let found = model::find_models(None, None)?;
    let listening = with_models(found.into());
    let spoken_s = sound.len() as f64 / f64::from(RATE_HZ);
    let mut fake = Fake::new(MONO, 1.0, [Step::Play(sound.into())]);
    let over = Arc::clone(&fake.over);
    let (order, orders) = mpsc::channel();
    let end = order.clone();
    thread::spawn(move || {
        while !over.load(Ordering::Relaxed) {
            thread::sleep(Duration::from_millis(20));
        }
        thread::sleep(Duration::from_secs(3));
        let _ = end.send(Order::Stop);
    });
    let (_press, keys) = mpsc::channel();
    let folder = tempfile::tempdir()?;
    let plan = Plan::new(folder.path().join("visit.wav"));
    let live = Live::new(Extractor::new(Settings::default()));
    let mut seen = Seen { spoken_s, ..Seen::default() };
    let processor = processor_s();
    let mut start = None;
    let mut breath: Option<(f64, Instant, bool)> = None;
    let mut next_s = 20.0;
    sit(&mut fake, &plan, listening.as_ref(), live, (order, orders), &keys, &mut |what, now| {
        let clock = Instant::now();
        if let Happening::Notice(Notice::Level { recorded_s, .. }) = &what {
            // Blocks come when their last sample was spoken.
            start.get_or_insert(clock.checked_sub(Duration::from_secs_f64(*recorded_s)).unwrap_or(clock));
            if *recorded_s >= next_s {
                next_s += 20.0;
                seen.behind_s.push(now.behind_s);
            }
        }
        seen.most_behind_s = seen.most_behind_s.max(now.behind_s);
        let Some(start) = start else { return };
        let since = |s: f64| (clock - start).as_secs_f64() - s;
        match what {
            Happening::Heard { breath: b, again, .. } => {
                let near = |t: &&(f64, f64)| t.0 < b.to_s && t.1 > b.from_s;
                let true_end = times.iter().rfind(near).map_or(b.to_s, |t| t.1);
                if !again {
                    seen.heard_s.push(since(b.to_s));
                }
                breath = Some((true_end, clock, again));
            }
            Happening::Change(change) => {
                let Some((end_s, said, again)) = breath.filter(|_| !matches!(change, Change::Kept(_))) else {
                    return;
                };
                seen.extract_s = seen.extract_s.max((clock - said).as_secs_f64());
                if again { &mut seen.settled_s } else { &mut seen.shown_s }.push(since(end_s));
            }
            _ => {}
        }
    })?;
    seen.processor_s = processor_s() - processor;
    Ok(seen)
}
