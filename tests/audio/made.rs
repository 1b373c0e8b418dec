//! Recordings made for a test: WAV files of every shape, right and wrong, and one line that tells what was made of them.

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

use tugback::audio::{self, Options, RATE_HZ, Recording, Samples as _};

/// A stored recording.
pub(crate) fn stored(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/audio").join(name)
}

/// The bytes of a stored recording.
pub(crate) fn bytes(name: &str) -> Vec<u8> {
    fs::read(stored(name)).unwrap()
}

/// Six seconds of a voice, 16 kHz, from the stored WAV file.
pub(crate) fn voice() -> Vec<f32> {
    let mut file = hound::WavReader::open(stored("a00_ok16.wav")).unwrap();
    file.samples::<i16>().map(|s| f32::from(s.unwrap()) / 32_768.0).collect()
}

/// As 16-bit bytes, little-endian, channels interleaved.
pub(crate) fn pcm16(channels: &[Vec<f32>]) -> Vec<u8> {
    let frames = channels[0].len();
    let sample = |s: f32| ((s * 32_768.0).round().clamp(-32_768.0, 32_767.0) as i16).to_le_bytes();
    (0..frames).flat_map(|n| channels.iter().flat_map(move |c| sample(c[n]))).collect()
}

/// Steady noise with more low than high tones, as a fan makes it; the same every time.
pub(crate) fn noise(length: usize, level: f32) -> Vec<f32> {
    let (mut state, mut low) = (1_u32, 0.0);
    (0..length)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let white = (state >> 8) as f32 / 8_388_608.0 - 1.0;
            low = 0.9 * low + 0.1 * white;
            level * (0.3 * white + 2.0 * low)
        })
        .collect()
}

/// A steady tone with overtones, as hum or a motor makes it.
pub(crate) fn hum(length: usize, tone_hz: f32, level: f32) -> Vec<f32> {
    let turn = std::f32::consts::TAU * tone_hz / 16_000.0;
    (0..length)
        .map(|n| n as f32 * turn)
        .map(|t| level * (t.sin() + 0.5 * (3.0 * t).sin() + 0.3 * (5.0 * t).sin()))
        .collect()
}

/// A chunk with its size and, if that is odd, the filling byte.
pub(crate) fn chunk(name: [u8; 4], body: &[u8]) -> Vec<u8> {
    let mut all = [name.as_slice(), &(body.len() as u32).to_le_bytes(), body].concat();
    all.resize(all.len().next_multiple_of(2), 0);
    all
}

/// A WAV file in the making. What is not set is right.
#[derive(Clone)]
pub(crate) struct Wav {
    pub(crate) magic: [u8; 4],
    pub(crate) riff_size: Option<u32>,
    /// Whole chunks before `fmt `, between `fmt ` and `data`, and behind.
    pub(crate) first: Vec<u8>,
    pub(crate) between: Vec<u8>,
    pub(crate) last: Vec<u8>,
    /// The `fmt ` chunk's body; empty: 16 bits, one channel, 16 kHz.
    pub(crate) format: Vec<u8>,
    pub(crate) data: Vec<u8>,
    pub(crate) data_size: Option<u32>,
}

/// The voice as a right WAV file.
pub(crate) fn wav() -> Wav {
    Wav {
        magic: *b"RIFF",
        riff_size: None,
        first: Vec::new(),
        between: Vec::new(),
        last: Vec::new(),
        format: format(1, 1, 16_000, 2, 16, &[]),
        data: pcm16(&[voice()]),
        data_size: None,
    }
}

/// The body of a `fmt ` chunk: tag, channels, rate, block size, bits, and what follows.
pub(crate) fn format(tag: u16, channels: u16, rate: u32, block: u16, bits: u16, more: &[u8]) -> Vec<u8> {
    [
        tag.to_le_bytes().as_slice(),
        &channels.to_le_bytes(),
        &rate.to_le_bytes(),
        &(rate * u32::from(block)).to_le_bytes(),
        &block.to_le_bytes(),
        &bits.to_le_bytes(),
        more,
    ]
    .concat()
}

/// What follows in `WAVE_FORMAT_EXTENSIBLE`: size, valid bits, channel mask, sub format.
pub(crate) fn extensible(valid: u16, mask: u32, tag: u16) -> Vec<u8> {
    let rest = *b"\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71";
    [22_u16.to_le_bytes().as_slice(), &valid.to_le_bytes(), &mask.to_le_bytes(), &tag.to_le_bytes(), &rest]
        .concat()
}

impl Wav {
    pub(crate) fn bytes(&self) -> Vec<u8> {
        let size = self.data_size.unwrap_or(self.data.len() as u32);
        let body = [
            b"WAVE".as_slice(),
            &self.first,
            &chunk(*b"fmt ", &self.format),
            &self.between,
            b"data",
            &size.to_le_bytes(),
            &self.data,
            &self.last,
        ]
        .concat();
        let riff = self.riff_size.unwrap_or(body.len() as u32);
        [self.magic.as_slice(), &riff.to_le_bytes(), &body].concat()
    }
}

/// All samples that a recording gives.
pub(crate) fn all(recording: &mut Recording) -> Vec<f32> {
    let mut all = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        all.extend(block);
    }
    all
}

/// Opens bytes as a file of that name.
pub(crate) fn open(name: &str, bytes: &[u8], track: Option<usize>) -> Result<Recording, audio::Error> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    let opened = audio::open(&path, &Options { track });
    assert_eq!(fs::read(&path).unwrap(), bytes, "the source was changed");
    opened
}

/// How alike two sounds are, 0 to 1, and by how many milliseconds the first is late; looked for within 150 ms.
fn alike(sound: &[f32], voice: &[f32]) -> (f32, i64) {
    let most = 16 * 150_i64;
    let at = |shift: i64| {
        let (late, early) = (shift.max(0) as usize, (-shift).max(0) as usize);
        let pairs = sound.iter().skip(late).zip(voice.iter().skip(early)).step_by(7);
        let (mut both, mut one, mut other) = (0.0, 1e-12, 1e-12);
        for (a, b) in pairs {
            both += a * b;
            one += a * a;
            other += b * b;
        }
        both / (one * other).sqrt()
    };
    if at(0) > 0.9 {
        return (at(0), 0);
    }
    // Coarse, then fine.
    let best = |range: &mut dyn Iterator<Item = i64>| range.max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap();
    let coarse = best(&mut (-most..=most).step_by(4));
    let fine = best(&mut (coarse - 4..=coarse + 4));
    (at(fine), fine / 16)
}

/// Told as it is heard most often.
const RIGHT: &str = "WAV, PCM, 16 bit, 16000 Hz x 1: the voice, 6.78 s";

/// What is heard, in a word: the voice, silence, or something else.
pub(crate) fn hears(sound: &[f32]) -> String {
    if sound.iter().all(|s| *s == 0.0) {
        return "silence".into();
    }
    let (likeness, late_ms) = alike(sound, &voice());
    match (likeness, late_ms) {
        (l, -5..=5) if l > 0.9 => "the voice".into(),
        (l, ms) if l > 0.9 => format!("the voice {ms} ms late"),
        (l, -5..=5) if l < -0.9 => "the voice inverted".into(),
        _ => "something else".into(),
    }
}

/// One line: what was found, what is heard, and what a person is told; `right` for the voice in a plain WAV file. For a
/// refused file what was found, without the advice.
pub(crate) fn tell(opened: Result<Recording, audio::Error>) -> String {
    tell_all(opened).replace(RIGHT, "right")
}

/// The same without the short form.
pub(crate) fn tell_all(opened: Result<Recording, audio::Error>) -> String {
    let mut recording = match opened {
        Ok(recording) => recording,
        Err(error) => {
            let says = error.to_string();
            let (found, _) = says.split_once("; ").unwrap_or((&says, ""));
            // The path is another one every time.
            return format!("refused: {}", found.split('`').skip(2).collect::<Vec<_>>().join("`").trim());
        }
    };
    let sound = all(&mut recording);
    let report = recording.report();
    let length_s = sound.len() as f64 / f64::from(RATE_HZ);
    assert!(
        (length_s - report.decoded_s).abs() < 0.03,
        "{length_s} s came, {} s were told",
        report.decoded_s
    );
    let mut text = format!(
        "{}, {}, {} Hz x {}: {}, {:.2} s",
        report.container,
        report.codec,
        report.rate_hz,
        report.channels,
        hears(&sound),
        report.decoded_s,
    );
    if report.channels > 1 {
        text += "; ";
        text += &report.channel;
    }
    if report.tracks.len() > 1 {
        write!(text, "; track {} of {}: {}", report.track, report.tracks.len(), report.track_why).unwrap();
    }
    for verdict in report.verdict.iter().filter(|v| *v != "good") {
        text += "; ";
        text += verdict.split(':').next().unwrap();
    }
    for told in report.warnings.iter().chain(&report.repairs) {
        text += " | ";
        text += told;
    }
    text
}

/// One line as it should be.
#[track_caller]
pub(crate) fn same(what: &str, is: &str, expect: &str) {
    assert_eq!(is, expect, "{what}");
}
