//! The sample description of an MP4 or `QuickTime` sound track → a decoder, and how its samples lie.

use symphonia::core::{
    audio::{Channels, layouts},
    codecs::audio::{
        AudioCodecParameters,
        well_known::{CODEC_ID_ALAC, CODEC_ID_FLAC, CODEC_ID_MP3},
    },
};

use super::{
    aac, adpcm,
    codec::Codec,
    mp4::{boxes, find, long, short},
    opus,
    pcm::{Coding, Format},
    source::{MOST_CHANNELS, Place, RATES_HZ},
};

/// How samples lie in a chunk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lie {
    /// Each sample is a packet with a size of its own.
    Packets,
    /// Frames of equal size; the sizes in the table are not to be believed (`QuickTime` writes 1).
    Frames { bytes: usize },
    /// `ima4`: 64 frames in a group of bytes.
    Groups { bytes: usize },
}

/// What the description says.
pub(super) struct Sound {
    pub(super) codec: Option<Codec>,
    pub(super) name: String,
    pub(super) rate_hz: Option<u32>,
    pub(super) places: Vec<Place>,
    pub(super) lie: Lie,
    /// The decoder takes the encoder's run-up off by itself.
    pub(super) trims_itself: bool,
    /// Of AAC, where the file does not tell it.
    pub(super) run_up_s: f64,
}

impl Sound {
    /// From the body of a `stsd` box.
    pub(super) fn read(stsd: &[u8]) -> Option<Self> {
        let (kind, entry) = boxes(stsd.get(8..)?).next()?;
        let version = short(entry, 8)?;
        let mut channels = usize::from(short(entry, 16)?);
        let mut bits = usize::from(short(entry, 18)?);
        let mut rate_hz = long(entry, 24)? >> 16;
        let mut flags = 0;
        let children = match version {
            1 => 44,
            2 => {
                let rate = entry.get(32..)?.first_chunk::<8>().map(|b| f64::from_be_bytes(*b))?;
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "the cast saturates"
                )]
                let rate = rate.round() as u32;
                rate_hz = rate;
                channels = long(entry, 40)? as usize;
                bits = long(entry, 48)? as usize;
                flags = long(entry, 52)?;
                64
            }
            _ => 28,
        };
        if channels == 0 || channels > MOST_CHANNELS {
            channels = 1;
        }
        let inside = entry.get(children..).unwrap_or_default();
        let wave = find(inside, *b"wave");
        let child = |name: [u8; 4]| find(inside, name).or_else(|| wave.and_then(|wave| find(wave, name)));
        let mut sound = Self {
            codec: None,
            name: name(kind),
            rate_hz: Some(rate_hz).filter(|r| RATES_HZ.contains(r)),
            places: Place::usual(channels),
            lie: Lie::Packets,
            trims_itself: false,
            run_up_s: 0.0,
        };
        match &kind {
            b"mp4a" => sound.mpeg4(child(*b"esds").unwrap_or_default(), rate_hz, channels),
            b".mp3" | b"ms\0\x55" => sound.simple(CODEC_ID_MP3, None),
            b"alac" => {
                let cookie = child(*b"alac").and_then(|b| b.get(4..)).filter(|b| b.len() >= 24);
                sound.simple(CODEC_ID_ALAC, cookie);
            }
            b"fLaC" => sound.simple(CODEC_ID_FLAC, child(*b"dfLa").and_then(|b| b.get(8..42))),
            b"Opus" => {
                let head =
                    child(*b"dOps").and_then(opus::Head::read_mp4).or_else(|| opus::Head::guess(channels));
                sound.places = head.as_ref().map(opus::Head::places).unwrap_or_default();
                sound.codec = head.and_then(Codec::opus);
                sound.rate_hz = Some(opus::RATE_HZ);
                sound.trims_itself = true;
            }
            b"ima4" => {
                sound.lie = Lie::Groups { bytes: 34 * channels };
                let code = adpcm::Code::ImaQuickTime;
                sound.codec = sound.rate_hz.map(|rate_hz| Codec::Adpcm { code, channels, rate_hz });
            }
            _ => {
                let little = child(*b"enda").and_then(|b| short(b, 0)) == Some(1);
                let config = child(*b"pcmC").map(|b| (b.get(4).is_some_and(|f| f & 1 == 1), b.get(5)));
                let format = pcm(kind, bits, flags, little, config.map(|(le, size)| (le, size.copied())));
                if let Some(format) = format.filter(|f| f.is_possible()) {
                    sound.name = format.name();
                    sound.lie = Lie::Frames { bytes: format.bytes * channels };
                    sound.codec = sound.rate_hz.map(|rate_hz| Codec::Pcm { format, channels, rate_hz });
                }
            }
        }
        Some(sound)
    }

    /// `mp4a`: AAC or MP3, by what the descriptors say.
    fn mpeg4(&mut self, esds: &[u8], rate_hz: u32, channels: usize) {
        let (object, config) = descriptors(esds.get(4..).unwrap_or_default());
        match object {
            // M: ISO/IEC 14496-1, table 5, object type indications.
            Some(0x69 | 0x6b) => {
                self.name = "MP3".into();
                self.simple(CODEC_ID_MP3, None);
            }
            Some(0x40 | 0x66..=0x68) | None => {
                let told = config.and_then(aac::Config::read);
                let guess = aac::Config::guess(rate_hz, channels);
                let mut config = told.unwrap_or(guess);
                if config.channels == 0 {
                    config.channels = guess.channels;
                }
                self.name = config.name();
                self.run_up_s = config.run_up_s();
                self.rate_hz = Some(config.rate_hz);
                self.places = Place::usual(usize::try_from(config.channels).unwrap_or(1));
                self.codec = config.decoder();
            }
            Some(0xa5) => self.name = "AC-3".into(),
            Some(0xa6) => self.name = "E-AC-3".into(),
            Some(0xa9) => self.name = "DTS".into(),
            Some(0xdd) => self.name = "Vorbis".into(),
            Some(other) => self.name = format!("of an unknown kind (object type {other:#04x})"),
        }
    }

    fn simple(&mut self, id: symphonia::core::codecs::audio::AudioCodecId, extra: Option<&[u8]>) {
        let mut params = AudioCodecParameters::new();
        params.for_codec(id);
        if let Some(rate_hz) = self.rate_hz {
            params.with_sample_rate(rate_hz);
        }
        params.with_channels(match self.places.len() {
            1 => layouts::CHANNEL_LAYOUT_MONO,
            2 => layouts::CHANNEL_LAYOUT_STEREO,
            n => Channels::Discrete(u16::try_from(n).unwrap_or(1)),
        });
        if let Some(extra) = extra {
            params.with_extra_data(extra.into());
        }
        self.codec = Codec::symphonia(&params);
    }
}

/// How uncompressed sound is written (M: `QuickTime` File Format, sound sample descriptions; ISO/IEC 23003-5).
fn pcm(
    kind: [u8; 4],
    bits: usize,
    flags: u32,
    little: bool,
    config: Option<(bool, Option<u8>)>,
) -> Option<Format> {
    let bytes = bits.div_ceil(8).max(1);
    let format = |coding, bytes, big_endian| Some(Format { coding, bytes, big_endian });
    match &kind {
        b"sowt" => format(Coding::Signed, bytes, false),
        b"raw " | b"NONE" | b"\0\0\0\0" if bytes == 1 => format(Coding::Unsigned, 1, true),
        b"twos" | b"raw " | b"NONE" | b"\0\0\0\0" => format(Coding::Signed, bytes, true),
        b"in24" => format(Coding::Signed, 3, !little),
        b"in32" => format(Coding::Signed, 4, !little),
        b"fl32" => format(Coding::Float, 4, !little),
        b"fl64" => format(Coding::Float, 8, !little),
        b"alaw" => format(Coding::ALaw, 1, true),
        b"ulaw" => format(Coding::MuLaw, 1, true),
        b"lpcm" => {
            let coding = match (flags & 1, flags & 4) {
                (1, _) => Coding::Float,
                (_, 0) => Coding::Unsigned,
                _ => Coding::Signed,
            };
            format(coding, bytes, flags & 2 != 0)
        }
        b"ipcm" | b"fpcm" => {
            let (little, size) = config?;
            let coding = if &kind == b"ipcm" { Coding::Signed } else { Coding::Float };
            format(coding, usize::from(size?).div_ceil(8), !little)
        }
        _ => None,
    }
}

/// A name for a message.
fn name(kind: [u8; 4]) -> String {
    match &kind {
        b"mp4a" => "AAC".into(),
        b".mp3" | b"ms\0\x55" => "MP3".into(),
        b"alac" => "ALAC".into(),
        b"fLaC" => "FLAC".into(),
        b"ima4" => "IMA ADPCM".into(),
        b"Opus" => "Opus".into(),
        b"samr" => "AMR".into(),
        b"sawb" | b"sawp" => "AMR-WB".into(),
        b"ac-3" => "AC-3".into(),
        b"ec-3" => "E-AC-3".into(),
        b"ac-4" => "AC-4".into(),
        b"dtsc" | b"dtsh" | b"dtsl" | b"dtse" => "DTS".into(),
        b"agsm" => "GSM 6.10".into(),
        b"sevc" => "EVRC".into(),
        b"QDM2" | b"QDMC" => "QDesign".into(),
        b"enca" => "encrypted".into(),
        b"ms\0\x02" => "Microsoft ADPCM".into(),
        other => format!("of an unknown kind (`{}`)", other.escape_ascii()),
    }
}

/// Object type and decoder configuration out of nested descriptors (ISO/IEC 14496-1, 7.2.6).
fn descriptors(mut bytes: &[u8]) -> (Option<u8>, Option<&[u8]>) {
    let mut object = None;
    for _ in 0..8 {
        let Some((&tag, rest)) = bytes.split_first() else { break };
        let (mut size, mut rest) = (0, rest);
        // Seven bits a byte, the highest says that more follow.
        for _ in 0..4 {
            let Some((&byte, after)) = rest.split_first() else { return (object, None) };
            size = size << 7 | usize::from(byte & 0x7f);
            rest = after;
            if byte & 0x80 == 0 {
                break;
            }
        }
        let body = rest.get(..size.min(rest.len())).unwrap_or_default();
        match tag {
            3 => {
                let flags = body.get(2).copied().unwrap_or(0);
                let mut skip = 3 + if flags & 0x80 == 0 { 0 } else { 2 };
                if flags & 0x40 != 0 {
                    skip += 1 + usize::from(body.get(skip).copied().unwrap_or(0));
                }
                skip += if flags & 0x20 == 0 { 0 } else { 2 };
                bytes = body.get(skip..).unwrap_or_default();
            }
            4 => {
                object = body.first().copied();
                bytes = body.get(13..).unwrap_or_default();
            }
            5 => return (object, Some(body)),
            _ => bytes = rest.get(size..).unwrap_or_default(),
        }
    }
    (object, None)
}
