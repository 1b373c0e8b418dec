//! The first pass: how loud each channel is, how much of it is speech, whether two are each other's mirror. Memory: two
//! bytes per channel and 20 ms.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "levels and counts: two bytes hold half decibels, a mean needs no exact count"
)]

use super::source::{Piece, seconds};

/// Length of a frame for levels, in seconds.
pub(super) const FRAME_S: f64 = 0.02;
/// Where speech has its strength: the telephone band, in hertz.
const BAND_HZ: (f32, f32) = (250.0, 3500.0);
/// The lowest level told apart, in dBFS.
const SILENT_DB: f32 = -120.0;
/// A sample this large is taken for clipped when its neighbours are too.
const FULL: f32 = 0.985;
/// Where a sample is larger than this, full scale is no ceiling: floats that hold more are whole. A decoder makes of
/// cut-off sound less than that.
const NO_CEILING: f32 = 2.0;
/// Frames in the stretch over which speech rises and falls: one second.
const STRETCH: usize = 50;
/// In a second of speech the level of 20 ms frames spreads by 6 to 15 dB; fans, motors and hum spread by less than 2.
const SPREAD_DB: f32 = 4.0;
/// Speech stands this far above the floor.
const ABOVE_DB: f32 = 8.0;
/// Nothing below is called speech: the last bits of 16.
const FAINTEST_DB: f32 = -88.0;

/// A second-order filter.
#[derive(Debug, Clone, Copy, Default)]
struct Biquad {
    b: [f32; 3],
    a: [f32; 2],
    z: [f32; 2],
}

impl Biquad {
    /// High or low pass with a flat passband (Q = 0.707).
    fn pass(high: bool, corner_hz: f32, rate_hz: u32) -> Self {
        let w = std::f32::consts::TAU * (corner_hz / rate_hz as f32).min(0.45);
        let (sin, cos) = w.sin_cos();
        let alpha = sin / std::f32::consts::SQRT_2;
        let edge = if high { f32::midpoint(1.0, cos) } else { (1.0 - cos) / 2.0 };
        let middle = if high { -2.0 * edge } else { 2.0 * edge };
        let a0 = 1.0 + alpha;
        Self { b: [edge / a0, middle / a0, edge / a0], a: [-2.0 * cos / a0, (1.0 - alpha) / a0], z: [0.0; 2] }
    }

    fn next(&mut self, x: f32) -> f32 {
        let [b0, b1, b2] = self.b;
        let [a1, a2] = self.a;
        let [z1, z2] = self.z;
        let y = b0 * x + z1;
        self.z = [b1 * x - a1 * y + z2, b2 * x - a2 * y];
        y
    }
}

/// What was measured in one channel.
#[derive(Debug, Clone, Default)]
pub(super) struct Channel {
    band: [Biquad; 2],
    sum: f64,
    square: f64,
    low: f32,
    high: f32,
    /// Samples in runs at full scale, and how long the present run is.
    clipped: u64,
    run: u64,
    /// Samples that are exactly as large as the largest.
    at_top: u64,
    samples: u64,
    /// Energy of the frame that is being filled.
    energy: f64,
    /// Levels of frames in the speech band: 0 silent, else half decibels above -120 dBFS.
    levels: Vec<u16>,
    /// The last second of band samples' products with the neighbour are kept in [`Look`].
    filtered: Vec<f32>,
}

/// What was measured in one track.
#[derive(Debug, Clone, Default)]
pub(super) struct Look {
    pub(super) rate_hz: u32,
    /// Length of what was decoded, in seconds; with another rate inside it is not frames by rate.
    pub(super) decoded_s: f64,
    /// Of that, what was really decoded and is not silence in the place of damage.
    pub(super) real_s: f64,
    pub(super) channels: Vec<Channel>,
    /// Samples in the frame that is being filled.
    filled: u32,
    /// Sums of products of the first two channels in the speech band.
    products: [f64; 3],
    /// Forward jumps of the file's clock over what was decoded: how many, and how long in all.
    pub(super) jumps: u64,
    pub(super) jumped_s: f64,
    pub(super) pieces: u64,
}

impl Look {
    /// Takes a piece into the measures.
    pub(super) fn add(&mut self, piece: &Piece) {
        if self.rate_hz != piece.rate_hz {
            self.rate_hz = piece.rate_hz;
            for channel in &mut self.channels {
                channel.band = band(piece.rate_hz);
            }
        }
        while self.channels.len() < piece.planes.len() {
            let frames = self.channels.first().map_or(0, |c| c.levels.len());
            self.channels.push(Channel {
                band: band(piece.rate_hz),
                levels: vec![0; frames],
                ..Channel::default()
            });
        }
        let frames = piece.frames();
        self.pieces += 1;
        self.decoded_s += seconds(frames as u64, piece.rate_hz);
        if !piece.is_filler {
            self.real_s += seconds(frames as u64, piece.rate_hz);
        }
        let per_frame = ((f64::from(piece.rate_hz) * FRAME_S) as u32).max(1);
        let mut filled = self.filled;
        for (n, channel) in self.channels.iter_mut().enumerate() {
            filled = match piece.planes.get(n) {
                Some(plane) => channel.add(plane, self.filled, per_frame),
                None => channel.add(&vec![0.0; frames], self.filled, per_frame),
            };
        }
        self.filled = filled;
        if let [left, right] = self.channels.as_slice() {
            for (l, r) in left.filtered.iter().zip(&right.filtered) {
                let (l, r) = (f64::from(*l), f64::from(*r));
                self.products[0] += l * r;
                self.products[1] += l * l;
                self.products[2] += r * r;
            }
        }
    }

    /// How alike the first two of two channels are in the speech band: 1 the same, -1 mirrored.
    pub(super) fn likeness(&self) -> f64 {
        let [both, left, right] = self.products;
        if self.channels.len() == 2 && left > 0.0 && right > 0.0 { both / (left * right).sqrt() } else { 0.0 }
    }
}

fn band(rate_hz: u32) -> [Biquad; 2] {
    [Biquad::pass(true, BAND_HZ.0, rate_hz), Biquad::pass(false, BAND_HZ.1, rate_hz)]
}

impl Channel {
    fn add(&mut self, plane: &[f32], mut filled: u32, per_frame: u32) -> u32 {
        self.filtered.clear();
        if self.samples == 0 {
            let first = plane.first().copied().unwrap_or(0.0);
            (self.low, self.high) = (first, first);
        }
        for &x in plane {
            // Beyond any real level: floats of a broken file.
            let x = if x.abs() < 1e6 { x } else { 0.0 };
            self.sum += f64::from(x);
            self.square += f64::from(x) * f64::from(x);
            let top = self.high.max(-self.low);
            if x.abs() > top {
                self.at_top = 0;
            }
            if x.abs() >= top && x != 0.0 {
                self.at_top += 1;
            }
            self.low = self.low.min(x);
            self.high = self.high.max(x);
            if x.abs() >= FULL {
                self.run += 1;
                self.clipped += match self.run {
                    0..=2 => 0,
                    3 => 3,
                    _ => 1,
                };
            } else {
                self.run = 0;
            }
            let [high, low] = &mut self.band;
            let y = low.next(high.next(x));
            self.filtered.push(y);
            self.energy += f64::from(y) * f64::from(y);
            filled += 1;
            if filled >= per_frame {
                let db = 10.0 * ((self.energy / f64::from(filled)) as f32).max(1e-13).log10();
                self.levels.push(((db - SILENT_DB) * 2.0).max(0.0) as u16);
                self.energy = 0.0;
                filled = 0;
            }
        }
        // Denormals make filters slow.
        for filter in &mut self.band {
            filter.z.iter_mut().filter(|z| z.abs() < 1e-20).for_each(|z| *z = 0.0);
        }
        self.samples += plane.len() as u64;
        filled
    }

    pub(super) fn dc(&self) -> f32 {
        (self.sum / self.samples.max(1) as f64) as f32
    }

    /// The largest sample, DC taken off.
    pub(super) fn peak(&self) -> f32 {
        if self.samples == 0 { 0.0 } else { (self.high - self.dc()).max(self.dc() - self.low) }
    }

    /// Root mean square, DC taken off.
    pub(super) fn rms(&self) -> f32 {
        let n = self.samples.max(1) as f64;
        (self.square / n - (self.sum / n).powi(2)).max(0.0).sqrt() as f32
    }

    /// As far as levels were measured.
    pub(super) fn length_s(&self) -> f64 {
        self.levels.len() as f64 * FRAME_S
    }

    /// Nothing at all, or nothing but a constant.
    pub(super) fn is_silent(&self) -> bool {
        self.samples == 0 || self.high - self.low < 1e-7
    }

    /// How much of it is cut off at the top, 0 to 1.
    pub(super) fn clipped(&self) -> f32 {
        if self.is_silent() {
            return 0.0;
        }
        let n = self.samples.max(1) as f32;
        // Cut off and turned down later: very many samples are exactly the largest. In coarse or quiet sound that is
        // normal.
        let top = self.high.max(-self.low);
        let at_top = if top > 0.05 && self.at_top > 20 { self.at_top as f32 / n } else { 0.0 };
        let at_full = if top > NO_CEILING { 0.0 } else { self.clipped as f32 / n };
        at_full.max(if at_top > 1e-3 { at_top } else { 0.0 })
    }

    /// Which parts are speech, and how it stands against the rest.
    pub(super) fn speech(&self) -> Speech {
        let level = |n: u16| f32::from(n) / 2.0 + SILENT_DB;
        let mut sorted: Vec<u16> = self.levels.iter().copied().filter(|n| *n > 0).collect();
        sorted.sort_unstable();
        let at = |share: f32| {
            let n = (sorted.len().saturating_sub(1) as f32 * share) as usize;
            sorted.get(n).map_or(SILENT_DB, |n| level(*n))
        };
        // Where a tenth or more is exactly silent, silence is the floor.
        let floor_db = if sorted.len() * 10 < self.levels.len() * 9 { SILENT_DB } else { at(0.1) };
        let threshold_db = (floor_db + ABOVE_DB).max(FAINTEST_DB);
        let mut active = vec![false; self.levels.len()];
        // Seconds in which the level rises and falls as speech does.
        for from in (0..self.levels.len()).step_by(STRETCH / 2) {
            let to = (from + STRETCH).min(self.levels.len());
            let stretch = self.levels.get(from..to).unwrap_or_default();
            let loud = stretch.iter().filter(|n| level(**n) > threshold_db).count();
            if loud < 4 {
                continue;
            }
            // Silence does not count as fall: a hum switched on and off is no speech.
            let spread = spread(stretch.iter().map(|n| level(*n).max(threshold_db - ABOVE_DB)));
            if spread >= SPREAD_DB && rises(stretch.iter().map(|n| level(*n) > threshold_db)) {
                for (n, on) in stretch.iter().zip(active.iter_mut().skip(from)) {
                    *on |= level(*n) > threshold_db;
                }
            }
        }
        let (mut energy, mut count) = (0.0_f64, 0_u64);
        for (n, on) in self.levels.iter().zip(&active) {
            if *on {
                energy += 10_f64.powf(f64::from(level(*n)) / 10.0);
                count += 1;
            }
        }
        let level_db = if count == 0 { SILENT_DB } else { (10.0 * (energy / count as f64).log10()) as f32 };
        let share = count as f32 / self.levels.len().max(1) as f32;
        Speech { level_db, floor_db, share, active }
    }
}

fn spread(levels: impl Iterator<Item = f32> + Clone) -> f32 {
    let n = levels.clone().count().max(1) as f32;
    let mean = levels.clone().sum::<f32>() / n;
    (levels.map(|l| (l - mean).powi(2)).sum::<f32>() / n).sqrt()
}

/// Whether loud frames come in runs as syllables do: at least two frames long somewhere.
fn rises(loud: impl Iterator<Item = bool>) -> bool {
    let mut run = 0;
    loud.fold(0, |longest: u32, on| {
        run = if on { run + 1 } else { 0 };
        longest.max(run)
    }) >= 2
}

/// How speech stands in a channel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Speech {
    /// Mean level of speech frames in the speech band, in dBFS.
    pub(super) level_db: f32,
    /// What is below all speech, in dBFS.
    pub(super) floor_db: f32,
    /// Speech frames of all frames, 0 to 1.
    pub(super) share: f32,
    /// By frame.
    pub(super) active: Vec<bool>,
}

impl Speech {
    /// How far speech stands above the floor, in dB; not more than can matter.
    pub(super) fn above_db(&self) -> f32 {
        if self.share > 0.0 { (self.level_db - self.floor_db.max(-90.0)).clamp(0.0, 40.0) } else { 0.0 }
    }
}
