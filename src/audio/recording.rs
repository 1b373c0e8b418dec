//! A file → [`Recording`]: one look through all of it, then blocks at 16 kHz.

use std::{
    fs::File,
    io::{self, Read as _},
    path::{Path, PathBuf},
};

use sha2::{Digest as _, Sha256};

use super::{RATE_HZ, Samples, error::Error, report::Report, resample::Resampler, stream::Stream};

/// What the user may choose.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Which track to take, from 1; absent: the one with speech.
    pub track: Option<usize>,
}

/// A recording that was looked through and can now be listened to.
pub struct Recording {
    stream: Stream,
    report: Report,
    path: PathBuf,
    track: usize,
    channel: usize,
    resampler: Option<Resampler>,
    done: bool,
}

#[derive(Default)]
struct Look {
    rate_hz: u32,
    frames: u64,
    energy: Vec<f64>,
}

/// Looks through the recording and makes it ready to be listened to. Never changes it.
pub fn open(path: &Path, options: &Options) -> Result<Recording, Error> {
    let sha256 = hash(path)?;
    let mut stream = Stream::open(path)?;
    let mut looks: Vec<Look> = stream.tracks.iter().map(|_| Look::default()).collect();
    while let Some(chunk) = stream.next(None) {
        let Some(look) = looks.get_mut(chunk.track) else { continue };
        look.rate_hz = chunk.rate_hz;
        look.frames += chunk.planes.first().map_or(0, Vec::len) as u64;
        look.energy.resize(look.energy.len().max(chunk.planes.len()), 0.0);
        for (sum, plane) in look.energy.iter_mut().zip(&chunk.planes) {
            *sum += plane.iter().map(|s| f64::from(s * s)).sum::<f64>();
        }
    }
    let best = |energy: &[f64]| {
        energy.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
    };
    let track = match options.track {
        Some(asked) if asked == 0 || asked > looks.len() => {
            return Err(Error::Track { path: path.to_owned(), asked, found: looks.len() });
        }
        Some(asked) => asked - 1,
        None => {
            let levels: Vec<f64> = looks.iter().map(|l| best(&l.energy).map_or(-1.0, |b| b.1)).collect();
            best(&levels).map_or(0, |b| b.0)
        }
    };
    let container = stream.container.to_owned();
    let look = looks.swap_remove(track);
    let channel = best(&look.energy).map_or(0, |b| b.0);
    if look.frames == 0 {
        return Err(Error::NoSamples { path: path.to_owned(), container });
    }
    #[expect(clippy::cast_precision_loss, reason = "a length in seconds")]
    let decoded_s = look.frames as f64 / f64::from(look.rate_hz);
    let stream = Stream::open(path)?;
    let report = Report {
        sha256,
        container,
        codec: stream.tracks.get(track).map(|t| t.codec.clone()).unwrap_or_default(),
        rate_hz: look.rate_hz,
        channels: look.energy.len(),
        track: track + 1,
        channel: format!("channel {} of {}, the loudest", channel + 1, look.energy.len()),
        decoded_s,
        declared_s: stream.tracks.get(track).and_then(|t| t.declared_s),
        repairs: Vec::new(),
    };
    let resampler = Resampler::new(look.rate_hz);
    Ok(Recording { stream, report, path: path.to_owned(), track, channel, resampler, done: false })
}

impl Recording {
    /// What was found and what was chosen.
    pub const fn report(&self) -> &Report {
        &self.report
    }
}

impl Samples for Recording {
    fn next_block(&mut self) -> Result<Option<Vec<f32>>, Error> {
        let Some(resampler) = &mut self.resampler else {
            return Err(Error::Unreadable {
                path: self.path.clone(),
                why: format!("{} samples per second", self.report.rate_hz),
            });
        };
        let mut block = Vec::with_capacity(RATE_HZ as usize);
        while !self.done && block.len() < RATE_HZ as usize {
            if let Some(chunk) = self.stream.next(Some(self.track)) {
                if let Some(plane) = chunk.planes.get(self.channel) {
                    resampler.push(plane, &mut block);
                }
            } else {
                resampler.finish(&mut block);
                self.done = true;
            }
        }
        Ok(Some(block).filter(|b| !b.is_empty()))
    }

    fn expected_s(&self) -> Option<f64> {
        Some(self.report.decoded_s)
    }
}

/// SHA-256 of the file's bytes, read in pieces.
fn hash(path: &Path) -> Result<String, Error> {
    let read = |source| Error::Read { path: path.to_owned(), source };
    let mut file = File::open(path).map_err(read)?;
    let about = file.metadata().map_err(read)?;
    if about.is_dir() {
        return Err(Error::Folder { path: path.to_owned() });
    }
    if about.len() == 0 {
        return Err(Error::Empty { path: path.to_owned() });
    }
    let mut sha = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece) {
            Ok(0) => break,
            Ok(n) => sha.update(piece.get(..n).unwrap_or_default()),
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(read(e)),
        }
    }
    Ok(sha.finalize().iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}")))
}
