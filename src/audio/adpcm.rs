//! The three simple ADPCM codes of dictation machines and old cameras → samples. One block in, its frames out.

/// How blocks are coded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Code {
    /// WAVE tag 0x11: per block and channel a start value and index, then groups of four bytes per channel.
    ImaWav,
    /// `QuickTime` `ima4`: 34 bytes per channel, 64 samples each.
    ImaQuickTime,
    /// WAVE tag 0x02, with its pairs of predictor coefficients.
    Microsoft { coefficients: Vec<(i32, i32)> },
}

/// The seven standard pairs (M: Microsoft, "Multimedia Data Standards Update", 1994).
pub(super) const MICROSOFT_COEFFICIENTS: [(i32, i32); 7] =
    [(256, 0), (512, -256), (0, 0), (192, 64), (240, 0), (460, -208), (392, -232)];

impl Code {
    pub(super) const fn name(&self) -> &'static str {
        match self {
            Self::ImaWav | Self::ImaQuickTime => "IMA ADPCM",
            Self::Microsoft { .. } => "Microsoft ADPCM",
        }
    }

    /// Frames that a whole block of so many bytes holds.
    pub(super) const fn frames(&self, block: usize, channels: usize) -> usize {
        if channels == 0 {
            return 0;
        }
        match self {
            // A start value, then two frames a byte; groups of four bytes.
            Self::ImaWav => match (block / channels).checked_sub(4) {
                Some(rest) => 1 + rest / 4 * 8,
                None => 0,
            },
            Self::ImaQuickTime => block / (34 * channels) * 64,
            // Two start values, then two nibbles a byte.
            Self::Microsoft { .. } => match block.checked_sub(7 * channels) {
                Some(rest) => 2 + rest * 2 / channels,
                None => 0,
            },
        }
    }

    /// Appends the frames of one block, whole or cut, to one plane per channel.
    pub(super) fn decode(&self, block: &[u8], planes: &mut [Vec<f32>]) {
        match self {
            Self::ImaWav => ima_wav(block, planes),
            Self::ImaQuickTime => ima_quicktime(block, planes),
            Self::Microsoft { coefficients } => microsoft(block, coefficients, planes),
        }
        // A cut block may leave its channels unequally long.
        let shortest = planes.iter().map(Vec::len).min().unwrap_or(0);
        for plane in planes {
            plane.truncate(shortest);
        }
    }
}

/// Step sizes of IMA ADPCM (M: IMA, "Recommended Practices for Enhancing Digital Audio Compatibility", 1992).
#[rustfmt::skip]
const STEPS: [i32; 89] = [
    7, 8, 9, 10, 11, 12, 13, 14, 16, 17, 19, 21, 23, 25, 28, 31, 34, 37, 41, 45, 50, 55, 60, 66, 73, 80, 88, 97, 107,
    118, 130, 143, 157, 173, 190, 209, 230, 253, 279, 307, 337, 371, 408, 449, 494, 544, 598, 658, 724, 796, 876, 963,
    1060, 1166, 1282, 1411, 1552, 1707, 1878, 2066, 2272, 2499, 2749, 3024, 3327, 3660, 4026, 4428, 4871, 5358, 5894,
    6484, 7132, 7845, 8630, 9493, 10442, 11487, 12635, 13899, 15289, 16818, 18500, 20350, 22385, 24623, 27086, 29794,
    32767,
];

struct Ima {
    value: i32,
    index: i32,
}

impl Ima {
    fn next(&mut self, nibble: u8) -> f32 {
        let step = usize::try_from(self.index).ok().and_then(|i| STEPS.get(i)).copied().unwrap_or(7);
        let size = i32::from(nibble & 7);
        // The exact form of the recommendation: sums of shifted steps, not a product.
        let mut change = step >> 3;
        for (bit, shift) in [(4, 0), (2, 1), (1, 2)] {
            if size & bit != 0 {
                change += step >> shift;
            }
        }
        let change = if nibble & 8 == 0 { change } else { -change };
        self.value = (self.value + change).clamp(-32_768, 32_767);
        let moved = [-1, -1, -1, -1, 2, 4, 6, 8].get(usize::from(nibble & 7)).copied().unwrap_or(-1);
        self.index = (self.index + moved).clamp(0, 88);
        short(self.value)
    }
}

fn ima_wav(block: &[u8], planes: &mut [Vec<f32>]) {
    let channels = planes.len();
    let Some((heads, data)) = block.split_at_checked(4 * channels) else { return };
    for (channel, (head, plane)) in heads.chunks_exact(4).zip(planes.iter_mut()).enumerate() {
        let &[low, high, index, _] = head else { return };
        let value = i32::from(i16::from_le_bytes([low, high]));
        plane.push(short(value));
        let mut ima = Ima { value, index: i32::from(index).min(88) };
        // Four bytes (eight frames) of each channel in turn.
        for group in data.chunks_exact(4).skip(channel).step_by(channels) {
            for byte in group {
                plane.push(ima.next(byte & 15));
                plane.push(ima.next(byte >> 4));
            }
        }
    }
}

fn ima_quicktime(block: &[u8], planes: &mut [Vec<f32>]) {
    for packets in block.chunks_exact(34 * planes.len().max(1)) {
        for (packet, plane) in packets.chunks_exact(34).zip(planes.iter_mut()) {
            let Some((&[high, low], data)) = packet.split_first_chunk::<2>() else { return };
            // Nine bits of value, seven of index.
            let value = i32::from(i16::from_be_bytes([high, low & 0x80]));
            let mut ima = Ima { value, index: i32::from(low & 0x7f).min(88) };
            for byte in data {
                plane.push(ima.next(byte & 15));
                plane.push(ima.next(byte >> 4));
            }
        }
    }
}

/// How the step changes with each nibble, in 1/256 (M: as above).
const ADAPTATION: [i32; 16] =
    [230, 230, 230, 230, 307, 409, 512, 614, 768, 614, 512, 409, 307, 230, 230, 230];

/// What Microsoft ADPCM remembers of a channel.
struct State {
    coefficients: (i32, i32),
    step: i32,
    last: i32,
    before: i32,
}

fn microsoft(block: &[u8], coefficients: &[(i32, i32)], planes: &mut [Vec<f32>]) {
    let channels = planes.len();
    let Some((head, data)) = block.split_at_checked(7 * channels) else { return };
    let word = |n: usize| {
        let at = channels + 2 * n;
        head.get(at..at + 2)
            .and_then(|b| b.first_chunk::<2>())
            .map_or(0, |b| i32::from(i16::from_le_bytes(*b)))
    };
    let mut states: Vec<State> = (0..channels)
        .map(|channel| State {
            coefficients: head
                .get(channel)
                .and_then(|predictor| coefficients.get(usize::from(*predictor)))
                .copied()
                .unwrap_or((256, 0)),
            step: word(channel),
            last: word(channels + channel),
            before: word(2 * channels + channel),
        })
        .collect();
    for (plane, state) in planes.iter_mut().zip(&states) {
        plane.push(short(state.before));
        plane.push(short(state.last));
    }
    let nibbles = data.iter().flat_map(|byte| [byte >> 4, byte & 15]);
    for (n, nibble) in nibbles.enumerate() {
        let channel = n % channels.max(1);
        let (Some(state), Some(plane)) = (states.get_mut(channel), planes.get_mut(channel)) else { return };
        let signed = if nibble & 8 == 0 { i32::from(nibble) } else { i32::from(nibble) - 16 };
        let guess = (state.last.saturating_mul(state.coefficients.0))
            .saturating_add(state.before.saturating_mul(state.coefficients.1))
            / 256;
        let value = guess.saturating_add(signed.saturating_mul(state.step)).clamp(-32_768, 32_767);
        state.before = state.last;
        state.last = value;
        let adapted = ADAPTATION.get(usize::from(nibble)).copied().unwrap_or(230);
        state.step = (state.step.saturating_mul(adapted) / 256).clamp(16, i32::MAX / 1024);
        plane.push(short(value));
    }
}

#[expect(clippy::cast_precision_loss, reason = "16 bits fit")]
fn short(value: i32) -> f32 {
    value as f32 / 32_768.0
}
