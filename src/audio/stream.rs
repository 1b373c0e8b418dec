//! Ogg, FLAC and packed CAF, taken apart by symphonia → pieces. Wrapped so that a panic inside is an error.

use symphonia::core::{
    codecs::{
        CodecParameters,
        audio::{AudioCodecId, AudioCodecParameters, well_known as ids},
    },
    errors::Error as Trouble,
    formats::{FormatOptions, FormatReader, SeekMode, SeekTo},
    io::{MediaSourceStream, MediaSourceStreamOptions},
    units::Time,
};

use super::{
    aac,
    codec::{self, Codec, guarded},
    error::Error,
    input::Input,
    opus, sniff,
    source::{Piece, Place, RATES_HZ, Source, Track, counted, seconds},
};

/// Which of symphonia's readers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Ogg,
    Flac,
    Caf,
}

/// After a jump so much is decoded before the wanted time, because frames lean on those before them, in seconds.
const RUN_UP_S: f64 = 1.0;

struct Stream {
    format: Box<dyn FormatReader>,
    container: String,
    tracks: Vec<Track>,
    inner: Vec<Inner>,
    repairs: Vec<String>,
    undecoded: u64,
    /// The file ended without its end mark.
    is_open: bool,
    /// Added to the clock: the length of what was joined in front.
    offset_s: f64,
    /// Where the last piece ended.
    end_s: f64,
    /// Where the reader gave up before the end.
    broken: Option<String>,
}

struct Inner {
    id: u32,
    codec: Option<Codec>,
    /// Seconds per tick.
    tick_s: f64,
    /// Taken off the clock.
    early_s: f64,
}

/// Opens the file that starts at `start`.
pub(super) fn open(
    input: Input,
    start: u64,
    container: &str,
    kind: Kind,
    repairs: Vec<String>,
) -> Result<Box<dyn Source>, Error> {
    let mut input = input;
    let path = input.path();
    let container = container.to_owned();
    // The last frame is found by what follows it, so that a tag there would hide it.
    let end = if kind == Kind::Flac { sniff::end_before_tags(&mut input)? } else { input.len() };
    if kind == Kind::Ogg
        && let Some(codec) = unread_in_ogg(&mut input, start)?
    {
        return Err(Error::Codec { path, container, codec: codec.into() });
    }
    let span = input.span(start, end);
    let format = guarded(|| {
        let stream = MediaSourceStream::new(Box::new(span), MediaSourceStreamOptions::default());
        reader(kind, stream)
    });
    let format = match format {
        Some(Ok(format)) => format,
        // The system's errors have its number; others are the reader's own way to say that the file is wrong.
        Some(Err(Trouble::IoError(source))) if source.raw_os_error().is_some() => {
            return Err(Error::Read { path, source });
        }
        Some(Err(Trouble::IoError(e))) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            let what = match kind {
                Kind::Caf => "its list of packets, which is written last, is missing",
                Kind::Ogg | Kind::Flac => "the file ends before the first sound",
            };
            return Err(Error::CutOff { path, container, what: what.into() });
        }
        Some(Err(other)) => return Err(Error::Damaged { path, container, what: other.to_string() }),
        None => {
            return Err(Error::Damaged { path, container, what: "its header cannot be understood".into() });
        }
    };
    let (mut tracks, mut inner) = (Vec::new(), Vec::new());
    for track in format.tracks() {
        let Some(CodecParameters::Audio(params)) = &track.codec_params else { continue };
        let (codec, name, places) = decoder(params);
        let rate_hz = params.sample_rate.filter(|rate| RATES_HZ.contains(rate));
        let tick_s =
            track.time_base.map_or(0.0, |base| f64::from(base.numer.get()) / f64::from(base.denom.get()));
        #[expect(clippy::cast_precision_loss, reason = "a length in seconds")]
        let by_clock = track.duration.map(|ticks| ticks.get() as f64 * tick_s);
        let by_frames = track.num_frames.zip(rate_hz).map(|(n, rate)| seconds(n, rate));
        tracks.push(Track {
            codec: name,
            readable: codec.is_some(),
            name: track.language.clone().filter(|l| l != "und"),
            rate_hz,
            places,
            declared_s: by_frames.or(by_clock).filter(|s| s.is_finite() && *s > 0.0),
        });
        // Opus takes its run-up off, but the clock of these containers counts it.
        let early_s = match &codec {
            Some(Codec::Opus(opus)) => seconds(opus.pre_skip(), opus::RATE_HZ),
            _ => 0.0,
        };
        inner.push(Inner { id: track.id, codec, tick_s, early_s });
    }
    if tracks.is_empty() {
        return Err(Error::NoSoundTrack { path, container });
    }
    Ok(Box::new(Stream {
        format,
        container,
        tracks,
        inner,
        repairs,
        undecoded: 0,
        is_open: false,
        offset_s: 0.0,
        end_s: 0.0,
        broken: None,
    }))
}

/// The one stream of an Ogg file, where it is of a kind that symphonia does not even list.
fn unread_in_ogg(input: &mut Input, start: u64) -> Result<Option<&'static str>, Error> {
    let page = input.bytes(start, 512)?;
    // A page's head, its table of one or more segments, then the first packet.
    let segments = page.get(26).copied().map_or(0, usize::from);
    let packet = page.get(27 + segments..).unwrap_or_default();
    Ok(match packet {
        p if p.starts_with(b"Speex   ") => Some("Speex"),
        p if p.starts_with(b"OpusHead") && p.get(18).is_some_and(|family| *family > 1) => {
            Some("Opus with a channel mapping of its own")
        }
        p if p.starts_with(b"PCM     ") => Some("OggPCM"),
        p if p.starts_with(b"CELT    ") => Some("CELT"),
        _ => None,
    })
}

fn reader(kind: Kind, stream: MediaSourceStream<'static>) -> Result<Box<dyn FormatReader>, Trouble> {
    use symphonia::default::formats::{CafReader, FlacReader, OggReader};
    let options = FormatOptions::default();
    Ok(match kind {
        Kind::Ogg => Box::new(OggReader::try_new(stream, options)?),
        Kind::Flac => Box::new(FlacReader::try_new(stream, options)?),
        Kind::Caf => Box::new(CafReader::try_new(stream, options)?),
    })
}

fn decoder(params: &AudioCodecParameters) -> (Option<Codec>, String, Vec<Place>) {
    let places = || params.channels.as_ref().map(codec::places).unwrap_or_default();
    let extra = params.extra_data.as_deref().unwrap_or_default();
    if params.codec == ids::CODEC_ID_OPUS {
        let channels = params.channels.as_ref().map_or(1, symphonia::core::audio::Channels::count);
        let head = opus::Head::read(extra).or_else(|| opus::Head::guess(channels));
        let places = head.as_ref().map(opus::Head::places).unwrap_or_default();
        return (head.and_then(Codec::opus), "Opus".into(), places);
    }
    if params.codec == ids::CODEC_ID_AAC
        && let Some(config) = aac::Config::read(extra)
    {
        return (config.decoder(), config.name(), places());
    }
    (Codec::symphonia(params), name(params.codec), places())
}

fn name(id: AudioCodecId) -> String {
    let name = match id {
        ids::CODEC_ID_VORBIS => "Vorbis",
        ids::CODEC_ID_SPEEX => "Speex",
        ids::CODEC_ID_MP1 => "MP1",
        ids::CODEC_ID_MP2 => "MP2",
        ids::CODEC_ID_MP3 => "MP3",
        ids::CODEC_ID_AAC => "AAC",
        ids::CODEC_ID_AC3 => "AC-3",
        ids::CODEC_ID_EAC3 => "E-AC-3",
        ids::CODEC_ID_AC4 => "AC-4",
        ids::CODEC_ID_DCA => "DTS",
        ids::CODEC_ID_WMA => "Windows Media Audio",
        ids::CODEC_ID_FLAC => "FLAC",
        ids::CODEC_ID_WAVPACK => "WavPack",
        ids::CODEC_ID_ALAC => "ALAC",
        ids::CODEC_ID_TTA => "True Audio",
        ids::CODEC_ID_TRUEHD => "TrueHD",
        other => match symphonia::default::get_codecs().get_audio_decoder(other) {
            Some(known) => known.codec.info.long_name,
            None => "of an unknown kind",
        },
    };
    name.into()
}

impl Source for Stream {
    fn container(&self) -> &str {
        &self.container
    }

    fn tracks(&self) -> &[Track] {
        &self.tracks
    }

    fn next(&mut self, only: Option<usize>, piece: &mut Piece) -> Result<bool, Error> {
        while self.broken.is_none() {
            let packet = match guarded(|| self.format.next_packet()) {
                Some(Ok(Some(packet))) => packet,
                Some(Ok(None)) => return Ok(false),
                // The end of the file after some sound is the end of the sound.
                Some(Err(Trouble::IoError(e))) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
                    self.is_open = true;
                    return Ok(false);
                }
                Some(Err(Trouble::ResetRequired)) => {
                    // A second recording joined on: its tracks take the places of the first ones.
                    self.rejoin();
                    continue;
                }
                Some(Err(e)) => {
                    self.broken = Some(e.to_string());
                    break;
                }
                None => {
                    self.broken = Some("it cannot be understood".into());
                    break;
                }
            };
            let Some(index) = self.inner.iter().position(|t| t.id == packet.track_id) else { continue };
            if only.is_some_and(|only| only != index) {
                continue;
            }
            let Some(track) = self.inner.get_mut(index) else { continue };
            let Some(codec) = &mut track.codec else { continue };
            if !codec.decode(&packet.data, piece) {
                self.undecoded += 1;
                continue;
            }
            piece.track = index;
            #[expect(clippy::cast_precision_loss, reason = "a time in seconds")]
            let at_s = packet.pts.get() as f64 * track.tick_s;
            let at_s = (at_s - track.early_s).max(0.0) + self.offset_s;
            piece.at_s = (track.tick_s > 0.0).then_some(at_s);
            // What the container marks as run-up or filling. Opus takes its own run-up off.
            if !matches!(codec, Codec::Opus(_)) {
                let start = usize::try_from(packet.trim_start.get()).unwrap_or(0);
                let ticks_are_frames = (track.tick_s * f64::from(piece.rate_hz) - 1.0).abs() < 1e-6;
                if ticks_are_frames && start > 0 {
                    piece.trim_start(start);
                    piece.at_s = Some(at_s.max(0.0));
                }
            }
            if piece.frames() > 0 {
                self.end_s = at_s + seconds(piece.frames() as u64, piece.rate_hz);
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn skip(&mut self, track: usize, to_s: f64) -> Result<Option<f64>, Error> {
        let Some(inner) = self.inner.get_mut(track) else { return Ok(None) };
        let from_s = (to_s - RUN_UP_S).max(0.0);
        let Some(time) = Time::try_from_secs_f64(from_s) else { return Ok(None) };
        let to = SeekTo::Time { time, track_id: Some(inner.id) };
        match guarded(|| self.format.seek(SeekMode::Accurate, to)) {
            Some(Ok(to)) => {
                if let Some(codec) = &mut inner.codec {
                    codec.reset();
                }
                #[expect(clippy::cast_precision_loss, reason = "a time in seconds")]
                let at_s = to.actual_ts.get() as f64 * inner.tick_s - inner.early_s;
                Ok(Some(at_s.max(0.0)))
            }
            _ => Ok(None),
        }
    }

    fn repairs(&self) -> Vec<String> {
        let mut all = self.repairs.clone();
        if self.undecoded > 0 {
            all.push(format!(
                "no sound could be decoded from {}; silence stands there",
                counted(self.undecoded, "packet")
            ));
        }
        if self.is_open && self.container == "Ogg" {
            all.push(
                "the file has no end mark: the recording was cut off there, or its last part is damaged"
                    .into(),
            );
        }
        if let Some(why) = &self.broken {
            all.push(format!(
                "the file is damaged inside ({why}); what follows the damage could not be read"
            ));
        }
        all
    }
}

impl Stream {
    fn rejoin(&mut self) {
        self.offset_s = self.end_s;
        let tracks: Vec<_> = self
            .format
            .tracks()
            .iter()
            .filter_map(|track| match &track.codec_params {
                Some(CodecParameters::Audio(params)) => Some((track.id, decoder(params).0)),
                _ => None,
            })
            .collect();
        for (inner, (id, codec)) in self.inner.iter_mut().zip(tracks) {
            inner.id = id;
            inner.codec = codec;
        }
    }
}
