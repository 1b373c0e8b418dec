//! A long day in one recording: strings the samples together for some hours, makes the log, and says what it took.
//!
//!     soak HOURS [FOLDER]        `make soak HOURS=3`; needs 115 MB of disk for each hour
//!
//! Ends with 1 where the log is not what the parts give: entries are missing or doubled, times have slid, or memory grew
//! with the length. It is run by hand before a release, not by the tests: it takes about a tenth of the time it listens to.

#![expect(clippy::print_stdout, reason = "a report for the person who started it")]

use std::{
    collections::BTreeMap,
    error::Error,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

use tugback::audio::{self, RATE_HZ, Samples as _};

mod memory;

const SAMPLES: [&str; 3] = ["incisor", "after-visit", "lecture"];
/// Silence between two parts, in seconds: longer than any pause that joins two breaths.
const GAP_S: u32 = 5;
/// A time may be off by so much from where the part alone has it: the speech detector sees other surroundings.
const SLIDE_S: f64 = 0.5;

type Result<T> = std::result::Result<T, Box<dyn Error>>;

fn main() -> Result<()> {
    let mut args = std::env::args().skip(1);
    let hours: f64 = args.next().as_deref().unwrap_or("3").parse()?;
    let folder = args.next().map_or_else(std::env::temp_dir, PathBuf::from);
    let program = program()?;

    let voice = read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-samples/incisor.flac"))?;
    let little = memory::check(&program, &voice, hours, &folder)?;
    if !little {
        println!("  the way to the recogniser takes too much memory, or loses sound");
    }

    println!("the parts alone:");
    let mut parts = Vec::new();
    for name in SAMPLES {
        let sound = read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("audio-samples/{name}.flac")))?;
        let alone = folder.join("soak-part.wav");
        let seconds = write(&alone, std::slice::from_ref(&sound), 0.0)?;
        let heard = log(&program, &alone, &folder)?;
        println!("  {name}: {seconds:.0} s, {} entries", heard.starts.len());
        parts.push((sound, heard));
    }

    let long = folder.join("soak.wav");
    let sounds: Vec<Vec<i16>> = parts.iter().map(|(sound, _)| sound.clone()).collect();
    let seconds = write(&long, &sounds, hours * 3600.0)?;
    println!("together: {:.2} hours, {}", seconds / 3600.0, long.display());
    let heard = log(&program, &long, &folder)?;
    println!(
        "  {} entries in {:.0} s ({:.3} of the time listened to), at most {} MB of memory",
        heard.starts.len(),
        heard.took.as_secs_f64(),
        heard.took.as_secs_f64() / seconds,
        heard.memory_kb / 1024,
    );

    let mut wrong = 0;
    let mut at = 0.0;
    let mut taken = 0;
    for (sound, alone) in parts.iter().cycle() {
        if at >= seconds {
            break;
        }
        let until = at + length_s(sound);
        let here: Vec<f64> = heard.starts.iter().copied().filter(|t| (at..until).contains(t)).collect();
        taken += here.len();
        let slid = here.iter().zip(&alone.starts).filter(|(t, a)| (*t - at - *a).abs() > SLIDE_S).count();
        if here.len() != alone.starts.len() || slid > 0 {
            wrong += 1;
            println!("  at {at:.0} s: {} entries, {} alone, {slid} slid", here.len(), alone.starts.len());
        }
        at = until + f64::from(GAP_S);
    }
    println!("  {} entries outside of every part, {wrong} parts unlike", heard.starts.len() - taken);
    for file in ["soak.wav", "soak-part.wav", "soak.json"] {
        let _ = std::fs::remove_file(folder.join(file));
    }
    let most = 2 * parts.iter().map(|(_, alone)| alone.memory_kb).max().unwrap_or_default();
    if heard.memory_kb > most {
        println!("  memory grew with the length: {} MB, {} MB would do", heard.memory_kb / 1024, most / 1024);
    }
    std::process::exit(i32::from(
        !little || wrong > 0 || heard.memory_kb > most || heard.starts.len() > taken,
    ));
}

/// The program, built in the same profile as this.
fn program() -> Result<PathBuf> {
    let here = std::env::current_exe()?;
    let program = here.ancestors().nth(2).map(|p| p.join("tugback")).filter(|p| p.is_file());
    program.ok_or_else(|| "tugback is not built in this profile; run: make build".into())
}

fn read(path: &Path) -> Result<Vec<i16>> {
    let mut recording = audio::open(path, &audio::Options::default())?;
    let mut sound = Vec::new();
    while let Some(block) = recording.next_block()? {
        #[expect(clippy::cast_possible_truncation, reason = "clamped before")]
        sound.extend(block.iter().map(|s| (s.clamp(-1.0, 1.0) * 32767.0).round() as i16));
    }
    Ok(sound)
}

fn length_s(sound: &[i16]) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "minutes of samples")]
    let samples = sound.len() as f64;
    samples / f64::from(RATE_HZ)
}

/// Writes the parts one after the other, again and again until `least_s` are full; gives the length in seconds.
fn write(path: &Path, parts: &[Vec<i16>], least_s: f64) -> Result<f64> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(path, spec)?;
    for part in parts.iter().cycle() {
        for sample in part {
            file.write_sample(*sample)?;
        }
        for _ in 0..RATE_HZ * GAP_S {
            file.write_sample(0_i16)?;
        }
        if f64::from(file.duration()) / f64::from(RATE_HZ) >= least_s {
            break;
        }
    }
    let seconds = f64::from(file.duration()) / f64::from(RATE_HZ);
    file.finalize()?;
    Ok(seconds)
}

/// What a log took and holds.
struct Heard {
    /// Start of every entry, in seconds.
    starts: Vec<f64>,
    took: Duration,
    /// The most memory it held at one time.
    memory_kb: u64,
}

fn log(program: &Path, recording: &Path, folder: &Path) -> Result<Heard> {
    let output = folder.join("soak.json");
    let start = Instant::now();
    let mut child = Command::new(program)
        .arg("log")
        .arg(recording)
        .arg("-o")
        .arg(&output)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()?;
    let memory_kb = watch(&mut child)?;
    let took = start.elapsed();
    let log: serde_json::Value = serde_json::from_slice(&std::fs::read(output)?)?;
    let entries = log.get("entries").and_then(|e| e.as_array()).ok_or("a log without entries")?;
    let starts = entries.iter().filter_map(|e| e.get("from_s")?.as_f64()).collect();
    Ok(Heard { starts, took, memory_kb })
}

/// Peak of the resident memory of a process, where the system tells.
fn memory_kb(process: &str) -> Option<u64> {
    let text = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let fields: BTreeMap<&str, &str> = text.lines().filter_map(|l| l.split_once(':')).collect();
    fields.get("VmHWM")?.trim().trim_end_matches(" kB").parse().ok()
}

/// Waits for the end; gives the peak of the resident memory, or 0 where the system does not tell.
fn watch(child: &mut Child) -> Result<u64> {
    let process = child.id().to_string();
    let mut peak = 0;
    loop {
        peak = peak.max(memory_kb(&process).unwrap_or(0));
        if let Some(ended) = child.try_wait()? {
            return if ended.success() {
                Ok(peak)
            } else {
                Err(format!("tugback ended with {ended}").into())
            };
        }
        std::thread::sleep(Duration::from_millis(100));
    }
}
