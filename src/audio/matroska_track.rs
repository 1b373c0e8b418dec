//! A track entry of a Matroska file → a decoder.

use symphonia::core::{
    audio::{Channels, layouts},
    codecs::audio::{
        AudioCodecParameters,
        well_known::{
            CODEC_ID_ALAC, CODEC_ID_FLAC, CODEC_ID_MP1, CODEC_ID_MP2, CODEC_ID_MP3, CODEC_ID_VORBIS,
        },
    },
};

use super::{
    aac,
    codec::Codec,
    matroska::{elements, float, whole},
    opus,
    pcm::{Coding, Format},
    source::{MOST_CHANNELS, Place, RATES_HZ, Track},
};

/// A sound track.
pub(super) struct Entry {
    pub(super) number: u64,
    pub(super) track: Track,
    pub(super) codec: Option<Codec>,
    /// Run-up that the timestamps count.
    pub(super) delay_s: f64,
    pub(super) stripped: Stripped,
}

/// Bytes that were taken off the front of every packet.
#[derive(Debug, Clone, Default)]
pub(super) struct Stripped(Vec<u8>);

impl Stripped {
    pub(super) fn whole(&self, packet: &[u8]) -> Vec<u8> {
        [self.0.as_slice(), packet].concat()
    }
}

impl Entry {
    /// From the body of a `TrackEntry`; nothing if it is no sound.
    pub(super) fn read(entry: &[u8]) -> Option<Self> {
        let find = |id: u32| elements(entry).find(|(is, _)| *is == id).map(|(_, body)| body);
        // TrackType: 2 is sound.
        if find(0x83).map(whole) != Some(2) {
            return None;
        }
        let number = find(0xd7).map(whole)?;
        let id = String::from_utf8_lossy(find(0x86).unwrap_or_default()).trim_end_matches('\0').to_owned();
        let private = find(0x63a2).unwrap_or_default();
        let audio = find(0xe1).unwrap_or_default();
        let sound = |id: u32| elements(audio).find(|(is, _)| *is == id).map(|(_, body)| body);
        // The defaults of RFC 9559: 8000 Hz, one channel.
        let rate = sound(0xb5).and_then(float).unwrap_or(8000.0).round();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates")]
        let rate_hz = rate as u32;
        let channels = sound(0x9f).map_or(1, whole);
        let channels = usize::try_from(channels).unwrap_or(1).clamp(1, MOST_CHANNELS);
        let bits = usize::try_from(sound(0x6264).map_or(0, whole)).unwrap_or(0);
        let text = |id: u32| find(id).map(|b| String::from_utf8_lossy(b).trim_end_matches('\0').to_owned());
        // A track's name, else its language.
        let label = text(0x536e).or_else(|| text(0x22_b59d)).or_else(|| text(0x22_b59c));
        let (stripped, encoded) = encodings(find(0x6d80).unwrap_or_default());
        let mut places = Place::usual(channels);
        let (mut codec, mut name) = decoder(&id, private, rate_hz, channels, bits, &mut places);
        if let Some(how) = encoded {
            codec = None;
            name = format!("{how} {name}");
        }
        #[expect(clippy::cast_precision_loss, reason = "a time in seconds")]
        let mut delay_s = find(0x56aa).map_or(0, whole).min(1_000_000_000) as f64 / 1e9;
        // The run-up of AAC, where the file does not tell it.
        if delay_s == 0.0 && id.starts_with("A_AAC") {
            let guess = || aac::Config::guess(rate_hz.max(8000), channels);
            delay_s = aac::Config::read(private).unwrap_or_else(guess).run_up_s();
        }
        let track = Track {
            codec: name,
            readable: codec.is_some(),
            name: label.filter(|l| l != "und" && !l.is_empty()),
            rate_hz: Some(rate_hz).filter(|rate| RATES_HZ.contains(rate)),
            places,
            declared_s: None,
        };
        Some(Self { number, track, codec, delay_s, stripped: Stripped(stripped) })
    }
}

/// What was done to the packets: header bytes taken off (that can be undone), or something else.
fn encodings(all: &[u8]) -> (Vec<u8>, Option<&'static str>) {
    let Some((_, encoding)) = elements(all).find(|(id, _)| *id == 0x6240) else { return (Vec::new(), None) };
    let find = |bytes, id: u32| elements(bytes).find(|(is, _)| *is == id).map(|(_, body): (u32, &[u8])| body);
    if find(encoding, 0x5035).is_some() {
        return (Vec::new(), Some("encrypted"));
    }
    match find(encoding, 0x5034) {
        Some(compression) => match find(compression, 0x4254).map_or(0, whole) {
            3 => (find(compression, 0x4255).unwrap_or_default().to_vec(), None),
            _ => (Vec::new(), Some("packed")),
        },
        None => (Vec::new(), None),
    }
}

fn decoder(
    id: &str,
    private: &[u8],
    rate_hz: u32,
    channels: usize,
    bits: usize,
    places: &mut Vec<Place>,
) -> (Option<Codec>, String) {
    let simple = |codec, extra: Option<Vec<u8>>| {
        let mut params = AudioCodecParameters::new();
        params.for_codec(codec).with_sample_rate(rate_hz).with_channels(match channels {
            1 => layouts::CHANNEL_LAYOUT_MONO,
            2 => layouts::CHANNEL_LAYOUT_STEREO,
            n => Channels::Discrete(u16::try_from(n).unwrap_or(1)),
        });
        if let Some(extra) = extra {
            params.with_extra_data(extra.into());
        }
        Codec::symphonia(&params)
    };
    let pcm = |coding, big_endian| {
        let format = Format { coding, bytes: bits.div_ceil(8), big_endian };
        let codec = format.is_possible().then_some(Codec::Pcm { format, channels, rate_hz });
        (codec.filter(|_| RATES_HZ.contains(&rate_hz)), format.name())
    };
    match id {
        "A_OPUS" => {
            let head = opus::Head::read(private).or_else(|| opus::Head::guess(channels));
            if let Some(head) = &head {
                *places = head.places();
            }
            (head.and_then(Codec::opus), "Opus".into())
        }
        "A_VORBIS" => {
            (vorbis(private).and_then(|extra| simple(CODEC_ID_VORBIS, Some(extra))), "Vorbis".into())
        }
        "A_FLAC" => {
            // `fLaC`, a block's head, then the stream information.
            let info = private.get(8..42).map(<[u8]>::to_vec);
            (info.and_then(|info| simple(CODEC_ID_FLAC, Some(info))), "FLAC".into())
        }
        "A_ALAC" => (simple(CODEC_ID_ALAC, Some(private.to_vec())), "ALAC".into()),
        "A_MPEG/L3" => (simple(CODEC_ID_MP3, None), "MP3".into()),
        "A_MPEG/L2" => (simple(CODEC_ID_MP2, None), "MP2".into()),
        "A_MPEG/L1" => (simple(CODEC_ID_MP1, None), "MP1".into()),
        "A_PCM/INT/LIT" if bits == 8 => pcm(Coding::Unsigned, false),
        "A_PCM/INT/LIT" => pcm(Coding::Signed, false),
        "A_PCM/INT/BIG" => pcm(Coding::Signed, true),
        "A_PCM/FLOAT/IEEE" => pcm(Coding::Float, false),
        aac if aac.starts_with("A_AAC") => {
            let guess = aac::Config::guess(rate_hz, channels);
            let mut config = aac::Config::read(private).unwrap_or(guess);
            if config.channels == 0 {
                config.channels = guess.channels;
            }
            *places = Place::usual(config.channels as usize);
            (config.decoder(), config.name())
        }
        "A_AC3" => (None, "AC-3".into()),
        "A_EAC3" => (None, "E-AC-3".into()),
        "A_TRUEHD" => (None, "TrueHD".into()),
        "A_WAVPACK4" => (None, "WavPack".into()),
        "A_TTA1" => (None, "True Audio".into()),
        dts if dts.starts_with("A_DTS") => (None, "DTS".into()),
        other => (None, format!("of an unknown kind (`{}`)", other.escape_default())),
    }
}

/// The first and the last of three headers that are laced as Xiph does.
fn vorbis(private: &[u8]) -> Option<Vec<u8>> {
    let (&2, mut rest) = private.split_first()? else { return None };
    let mut sizes = [0, 0];
    for size in &mut sizes {
        loop {
            let (&byte, after) = rest.split_first()?;
            rest = after;
            *size += usize::from(byte);
            if byte != 255 {
                break;
            }
        }
    }
    let [first, second] = sizes;
    let (identification, rest) = rest.split_at_checked(first)?;
    let (_, setup) = rest.split_at_checked(second)?;
    Some([identification, setup].concat())
}
