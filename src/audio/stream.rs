//! Containers and codecs that symphonia reads → planar samples per track. Wrapped so that a panic inside is an error.

use std::{fs::File, path::Path};

use symphonia::core::{
    codecs::{
        CodecParameters,
        audio::{AudioDecoder, AudioDecoderOptions},
    },
    errors::Error as Trouble,
    formats::{FormatOptions, FormatReader, TrackType, probe::Hint},
    io::{MediaSourceStream, MediaSourceStreamOptions},
    meta::MetadataOptions,
};

use super::error::Error;

/// One track of sound.
pub(super) struct Track {
    id: u32,
    pub(super) codec: String,
    pub(super) declared_s: Option<f64>,
    decoder: Option<Box<dyn AudioDecoder>>,
}

pub(super) struct Stream {
    format: Box<dyn FormatReader>,
    pub(super) container: &'static str,
    pub(super) tracks: Vec<Track>,
}

/// Decoded sound of one track.
pub(super) struct Chunk {
    pub(super) track: usize,
    pub(super) rate_hz: u32,
    pub(super) planes: Vec<Vec<f32>>,
}

impl Stream {
    pub(super) fn open(path: &Path) -> Result<Self, Error> {
        let read = |source| Error::Read { path: path.to_owned(), source };
        let file = File::open(path).map_err(read)?;
        let stream = MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default());
        let format = symphonia::default::get_probe()
            .probe(&Hint::new(), stream, FormatOptions::default(), MetadataOptions::default())
            .map_err(|e| match e {
                Trouble::IoError(e) if e.kind() != std::io::ErrorKind::UnexpectedEof => read(e),
                e => Error::Unreadable { path: path.to_owned(), why: e.to_string() },
            })?;
        let container = format.format_info().long_name;
        let tracks = format
            .tracks()
            .iter()
            .filter_map(|track| {
                let Some(CodecParameters::Audio(params)) = &track.codec_params else { return None };
                let decoder = symphonia::default::get_codecs()
                    .make_audio_decoder(params, &AudioDecoderOptions::default())
                    .ok();
                let codec = decoder.as_ref().map_or_else(
                    || params.codec.to_string(),
                    |decoder| decoder.codec_info().long_name.to_owned(),
                );
                let declared_s = track.num_frames.zip(params.sample_rate).map(|(n, rate)| {
                    #[expect(clippy::cast_precision_loss, reason = "a length in seconds")]
                    let n = n as f64;
                    n / f64::from(rate)
                });
                Some(Track { id: track.id, codec, declared_s, decoder })
            })
            .collect::<Vec<_>>();
        if format.first_track(TrackType::Audio).is_none() {
            return Err(Error::Unreadable { path: path.to_owned(), why: "it has no sound track".into() });
        }
        Ok(Self { format, container, tracks })
    }

    /// The next decoded chunk of any track, or nothing at the end.
    pub(super) fn next(&mut self, only: Option<usize>) -> Option<Chunk> {
        loop {
            let packet = self.format.next_packet().ok()??;
            let Some(index) = self.tracks.iter().position(|t| t.id == packet.track_id) else { continue };
            if only.is_some_and(|only| only != index) {
                continue;
            }
            let Some(decoder) = self.tracks.get_mut(index).and_then(|t| t.decoder.as_mut()) else { continue };
            match decoder.decode(&packet) {
                Ok(buffer) => {
                    let mut planes = Vec::new();
                    buffer.copy_to_vecs_planar(&mut planes);
                    return Some(Chunk { track: index, rate_hz: buffer.spec().rate(), planes });
                }
                Err(Trouble::DecodeError(_) | Trouble::ResetRequired) => {}
                Err(_) => return None,
            }
        }
    }
}
