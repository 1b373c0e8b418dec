//! Recordings that were cut anywhere: what is there comes out, and something is told of the rest, or it is refused.

use tugback::audio::RATE_HZ;

use crate::made::{self, all};

/// Names, bytes and lengths of all stored recordings that can be read.
fn readable() -> Vec<(String, Vec<u8>, f64)> {
    let names = std::fs::read_dir(made::stored("")).unwrap().map(|e| e.unwrap().file_name());
    let mut names: Vec<String> = names.map(|n| n.into_string().unwrap()).collect();
    names.retain(|n| n != "README.md");
    names.sort();
    let read = |name: String| {
        let file = made::bytes(&name);
        let sound = all(&mut made::open("x", &file, None).ok()?);
        Some((name, file, sound.len() as f64 / f64::from(RATE_HZ)))
    };
    names.into_iter().filter_map(read).collect()
}

/// The most sound that lies in one page or packet of these files, in seconds.
const PAGE_S: f64 = 1.1;

#[test]
fn cut_anywhere() {
    for (name, file, length_s) in readable() {
        for percent in [4, 12, 35, 55, 70, 95] {
            let place = format!("{name}, the first {percent} %");
            match made::open("x", &file[..file.len() * percent / 100], None) {
                Ok(mut recording) => {
                    let sound_s = all(&mut recording).len() as f64 / f64::from(RATE_HZ);
                    let report = recording.report();
                    let told = !report.repairs.is_empty() || !report.warnings.is_empty();
                    assert!(told, "{place}: {sound_s:.2} of {length_s:.2} s, and nothing is told");
                    let least_s = length_s * percent as f64 / 100.0 - PAGE_S;
                    assert!(sound_s >= least_s && sound_s < length_s, "{place}: {sound_s:.2} s");
                }
                Err(error) => {
                    let says = error.to_string();
                    assert!(says.contains("cut off") || says.contains("holds no sound"), "{place}: {says}");
                    // Only where the index is last, or the head is as large as that, is nothing to be had.
                    let index_last = [".m4a", ".mp4", ".mov", ".caf"].iter().any(|e| name.ends_with(e));
                    assert!(index_last && name != "voice_fragments.mp4" || percent < 50, "{place}: {says}");
                }
            }
        }
    }
}
