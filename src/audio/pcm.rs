//! Uncompressed samples and the simple telephone codes → numbers from -1 to 1.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "samples of 32 and 64 bits are rounded to what f32 holds, which is far below any microphone's noise"
)]

/// How one sample is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Coding {
    /// 0 to 2^n - 1, silence in the middle.
    Unsigned,
    /// Two's complement, the highest bits used.
    Signed,
    Float,
    /// ITU-T G.711 A-law.
    ALaw,
    /// ITU-T G.711 mu-law.
    MuLaw,
}

/// How samples stand in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Format {
    pub(super) coding: Coding,
    /// Bytes of one sample of one channel, 1 to 8.
    pub(super) bytes: usize,
    pub(super) big_endian: bool,
}

impl Format {
    /// A word for the report: "PCM, 24 bit".
    pub(super) fn name(self) -> String {
        match self.coding {
            Coding::Unsigned | Coding::Signed => format!("PCM, {} bit", self.bytes * 8),
            Coding::Float => format!("PCM, {} bit float", self.bytes * 8),
            Coding::ALaw => "G.711 A-law".into(),
            Coding::MuLaw => "G.711 mu-law".into(),
        }
    }

    /// Whether samples of that many bytes exist in this coding.
    pub(super) const fn is_possible(self) -> bool {
        match self.coding {
            Coding::Unsigned | Coding::Signed => matches!(self.bytes, 1..=8),
            Coding::Float => matches!(self.bytes, 4 | 8),
            Coding::ALaw | Coding::MuLaw => self.bytes == 1,
        }
    }

    /// Appends the frames in `bytes` to one plane per channel; a stray part of a frame at the end is left out.
    /// Returns how many samples were not numbers (they become silence).
    pub(super) fn decode(self, bytes: &[u8], planes: &mut [Vec<f32>]) -> usize {
        let mut strange = 0;
        let wide = self.bytes.max(1);
        for frame in bytes.chunks_exact(wide * planes.len().max(1)) {
            for (sample, plane) in frame.chunks_exact(wide).zip(planes.iter_mut()) {
                let value = self.sample(sample);
                // Nothing real is a million times full scale.
                if value.abs() < 1e6 {
                    plane.push(value);
                } else {
                    strange += 1;
                    plane.push(0.0);
                }
            }
        }
        strange
    }

    fn sample(self, bytes: &[u8]) -> f32 {
        // The sample's bits at the top of a 64-bit word.
        let top = || {
            let mut word = [0; 8];
            if self.big_endian {
                word.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
            } else {
                word.iter_mut().zip(bytes.iter().rev()).for_each(|(to, from)| *to = *from);
            }
            u64::from_be_bytes(word)
        };
        match self.coding {
            Coding::Signed => (top().cast_signed() as f64 / 2_f64.powi(63)) as f32,
            Coding::Unsigned => ((top() ^ 1 << 63).cast_signed() as f64 / 2_f64.powi(63)) as f32,
            Coding::Float if self.bytes == 4 => f32::from_bits((top() >> 32) as u32),
            Coding::Float => f64::from_bits(top()) as f32,
            Coding::ALaw => a_law(bytes.first().copied().unwrap_or(0xd5)),
            Coding::MuLaw => mu_law(bytes.first().copied().unwrap_or(0xff)),
        }
    }
}

/// ITU-T G.711, table 1: even bits inverted, sign, three bits of segment, four of step (M).
fn a_law(code: u8) -> f32 {
    let code = code ^ 0x55;
    let (segment, step) = (code >> 4 & 7, i32::from(code & 15));
    let size = match segment {
        0 => step * 16 + 8,
        _ => (step * 16 + 264) << (segment - 1),
    };
    // In this code a set sign bit is positive.
    (if code & 0x80 == 0 { -size } else { size }) as f32 / 32_768.0
}

/// ITU-T G.711, table 2: all bits inverted, bias 33 in 14 bits (132 in 16) (M).
fn mu_law(code: u8) -> f32 {
    let code = !code;
    let (segment, step) = (code >> 4 & 7, i32::from(code & 15));
    let size = ((step * 8 + 132) << segment) - 132;
    (if code & 0x80 == 0 { size } else { -size }) as f32 / 32_768.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(coding: Coding, big_endian: bool, bytes: &[u8], expect: f32) {
        let format = Format { coding, bytes: bytes.len(), big_endian };
        let mut planes = vec![Vec::new()];
        format.decode(bytes, &mut planes);
        let is = planes[0][0];
        assert!((is - expect).abs() < 1e-6, "{format:?} {bytes:02x?}: {is}, should be {expect}");
    }

    #[test]
    fn every_width_and_order() {
        check(Coding::Unsigned, false, &[0x80], 0.0);
        check(Coding::Unsigned, false, &[0x00], -1.0);
        check(Coding::Signed, false, &[0x40], 0.5);
        check(Coding::Signed, false, &[0x00, 0xc0], -0.5);
        check(Coding::Signed, true, &[0xc0, 0x00], -0.5);
        check(Coding::Unsigned, true, &[0xc0, 0x00], 0.5);
        check(Coding::Signed, false, &[0x00, 0x00, 0x40], 0.5);
        check(Coding::Signed, true, &[0x40, 0x00, 0x00], 0.5);
        check(Coding::Signed, false, &[0, 0, 0, 0x80], -1.0);
        check(Coding::Signed, false, &[0, 0, 0, 0, 0, 0, 0, 0x40], 0.5);
        check(Coding::Float, false, &0.25_f32.to_le_bytes(), 0.25);
        check(Coding::Float, true, &0.25_f32.to_be_bytes(), 0.25);
        check(Coding::Float, true, &(-0.25_f64).to_be_bytes(), -0.25);
    }

    #[test]
    fn what_is_no_number_becomes_silence() {
        check(Coding::Float, false, &f32::NAN.to_le_bytes(), 0.0);
        check(Coding::Float, false, &f64::NEG_INFINITY.to_le_bytes(), 0.0);
        check(Coding::Float, false, &f64::MAX.to_le_bytes(), 0.0);
    }

    #[test]
    fn telephone_codes() {
        // Ends of the range: 32124 and 32256 of 32768; smallest steps: 0 and 8 (M: G.711 in 16 bits).
        check(Coding::MuLaw, false, &[0x80], 32_124.0 / 32_768.0);
        check(Coding::MuLaw, false, &[0x00], -32_124.0 / 32_768.0);
        check(Coding::MuLaw, false, &[0xff], 0.0);
        check(Coding::ALaw, false, &[0xaa], 32_256.0 / 32_768.0);
        check(Coding::ALaw, false, &[0x2a], -32_256.0 / 32_768.0);
        check(Coding::ALaw, false, &[0xd5], 8.0 / 32_768.0);
        check(Coding::ALaw, false, &[0x55], -8.0 / 32_768.0);
    }
}
