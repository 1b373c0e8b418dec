//! Prints what is heard in WAV files (16 kHz, mono, 16 bit), one breath a line.
use std::{path::PathBuf, time::Instant};

use tugback::{
    audio::{self, Samples},
    listen::{self, Settings, model},
};

struct Wav(hound::WavReader<std::io::BufReader<std::fs::File>>);

impl Samples for Wav {
    fn next_block(&mut self) -> Result<Option<Vec<f32>>, audio::Error> {
        let block: Vec<f32> =
            self.0.samples::<i16>().take(16_000).map(|s| f32::from(s.unwrap()) / 32768.0).collect();
        Ok((!block.is_empty()).then_some(block))
    }
}

fn main() {
    let found = model::find_models(None, None).unwrap();
    for path in std::env::args().skip(1).map(PathBuf::from) {
        let mut wav = Wav(hound::WavReader::open(&path).unwrap());
        let s = f64::from(wav.0.duration()) / 16_000.0;
        let start = Instant::now();
        let settings = Settings { workers: Some(1), ..found.clone().into() };
        let heard = listen::listen(&mut wav, &settings, &|_| {}).unwrap();
        let took = start.elapsed().as_secs_f64();
        eprintln!("# {} {s:.1} s, {took:.2} s, {:.3}", path.display(), took / s);
        for b in &heard.breaths {
            println!("{:.2}\t{:.2}\t{}\t{}", b.from_s, b.to_s, b.text(), b.remarks.join("; "));
            if std::env::var_os("WORDS").is_some() {
                for w in &b.words {
                    if let Some(o) = b.others.iter().find(|o| b.words.get(o.first).is_some_and(|x| std::ptr::eq(x, w))) {
                        println!("      {}..{} {} {:.2}", o.first, o.end, o.text, o.p);
                    }
                    println!("    {:.2} {:.2} {} {:.3}", w.from_s, w.to_s, w.text, w.p_wrong);
                }
            }
        }
    }
}
