//! How much memory a long recording takes on its way to the recogniser, without the recogniser.

use std::{
    fs::File,
    io::{Seek as _, SeekFrom, Write as _},
    path::Path,
    process::{Command, Stdio},
    time::Instant,
};

use tugback::audio::{self, RATE_HZ, Samples as _};

use super::{Result, memory_kb, watch};

/// As cameras and dictation machines record.
const STEREO_HZ: u32 = 48_000;
/// A part of the sound begins this often; between is silence, which takes no room on the disk.
const EVERY_S: u32 = 60;
/// More than this is too much, whatever the length: blocks of a second and what a decoder keeps need a part of it.
const MOST_KB: u64 = 100 * 1024;

/// Writes a stereo recording with the voice on the left, as long as asked (six hours fill a WAV file), lets the program inspect
/// it and then reads it to its end; says what both took, and whether it was little enough.
pub(super) fn check(program: &Path, voice: &[i16], hours: f64, folder: &Path) -> Result<bool> {
    let path = folder.join("soak-stereo.wav");
    let seconds = write(&path, voice, hours.clamp(0.02, 6.0) * 3600.0)?;
    println!("{:.2} hours of 48 kHz in two channels, {}", f64::from(seconds) / 3600.0, path.display());

    let start = Instant::now();
    let mut child = Command::new(program).arg("inspect").arg(&path).stdout(Stdio::null()).spawn()?;
    let inspect_kb = watch(&mut child)?;
    println!("  inspected in {:.0} s with {} MB of memory", start.elapsed().as_secs_f64(), inspect_kb / 1024);

    let start = Instant::now();
    let mut recording = audio::open(&path, &audio::Options::default())?;
    let mut samples = 0;
    while let Some(block) = recording.next_block()? {
        samples += block.len();
    }
    let path_kb = memory_kb("self").unwrap_or(0);
    println!("  read to its end in {:.0} s with {} MB", start.elapsed().as_secs_f64(), path_kb / 1024);
    std::fs::remove_file(&path)?;

    let whole = samples.abs_diff(seconds as usize * RATE_HZ as usize) < 2;
    if !whole {
        println!("  {samples} samples came out, {} were expected", seconds as usize * RATE_HZ as usize);
    }
    Ok(whole && inspect_kb < MOST_KB && path_kb < MOST_KB)
}

/// Gives the length in seconds.
fn write(path: &Path, voice: &[i16], seconds: f64) -> Result<u32> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "hours")]
    let seconds = seconds as u32;
    let bytes = seconds * STEREO_HZ * 4;
    let mut head = Vec::new();
    head.extend_from_slice(b"RIFF");
    head.extend_from_slice(&(bytes + 36).to_le_bytes());
    head.extend_from_slice(b"WAVEfmt \x10\0\0\0\x01\0\x02\0");
    head.extend_from_slice(&STEREO_HZ.to_le_bytes());
    head.extend_from_slice(&(STEREO_HZ * 4).to_le_bytes());
    head.extend_from_slice(b"\x04\0\x10\0data");
    head.extend_from_slice(&bytes.to_le_bytes());

    // Three times each sample: 16 kHz → 48 kHz, good enough for a voice; at most half of each minute.
    let most = (EVERY_S / 2 * RATE_HZ) as usize;
    let part: Vec<u8> = voice
        .iter()
        .take(most)
        .flat_map(|s| [*s; 3])
        .flat_map(|s| {
            let [low, high] = s.to_le_bytes();
            [low, high, 0, 0]
        })
        .collect();
    let mut file = File::create(path)?;
    file.write_all(&head)?;
    file.set_len(head.len() as u64 + u64::from(bytes))?;
    for minute in 0..seconds / EVERY_S {
        file.seek(SeekFrom::Start(head.len() as u64 + u64::from(minute * EVERY_S * STEREO_HZ * 4)))?;
        file.write_all(&part)?;
    }
    Ok(seconds)
}
