//! One packet in, its samples out, whichever decoder does it. A decoder that panics is replaced and its packet lost; it
//! never takes the program along.

use std::{
    cell::Cell,
    panic::{AssertUnwindSafe, catch_unwind},
    sync::Once,
};

use symphonia::core::{
    audio::{Channels, Position},
    codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions},
    packet::PacketRef,
    units::{Duration, Timestamp},
};

use super::{
    adpcm,
    opus::{self, Opus},
    pcm,
    source::{MOST_CHANNELS, Piece, Place},
};

/// A decoder for one track.
pub(super) enum Codec {
    Pcm { format: pcm::Format, channels: usize, rate_hz: u32 },
    Adpcm { code: adpcm::Code, channels: usize, rate_hz: u32 },
    Opus(Box<Opus>),
    Symphonia { decoder: Box<dyn AudioDecoder>, params: Box<AudioCodecParameters> },
}

impl Codec {
    /// A decoder of symphonia's, if it has one that takes these parameters.
    pub(super) fn symphonia(params: &AudioCodecParameters) -> Option<Self> {
        let decoder = guarded(|| {
            symphonia::default::get_codecs().make_audio_decoder(params, &AudioDecoderOptions::default()).ok()
        })??;
        Some(Self::Symphonia { decoder, params: Box::new(params.clone()) })
    }

    pub(super) fn opus(head: opus::Head) -> Option<Self> {
        Opus::new(head).map(|opus| Self::Opus(Box::new(opus)))
    }

    /// Decodes one packet; false if it cannot be decoded. A packet may give no samples yet.
    pub(super) fn decode(&mut self, packet: &[u8], piece: &mut Piece) -> bool {
        piece.clear(0);
        match self {
            Self::Pcm { format, channels, rate_hz } => {
                piece.clear(*channels);
                piece.rate_hz = *rate_hz;
                format.decode(packet, &mut piece.planes);
            }
            Self::Adpcm { code, channels, rate_hz } => {
                piece.clear(*channels);
                piece.rate_hz = *rate_hz;
                code.decode(packet, &mut piece.planes);
            }
            Self::Opus(opus) => {
                let done = guarded(|| opus.decode(packet, piece));
                if done != Some(true) {
                    if done.is_none() {
                        opus.reset();
                    }
                    piece.clear(0);
                    return false;
                }
            }
            Self::Symphonia { decoder, params } => {
                let done = guarded(|| {
                    let packet = PacketRef::new(0, Timestamp::ZERO, Duration::ZERO, packet);
                    let Ok(buffer) = decoder.decode_ref(&packet) else { return false };
                    if buffer.num_planes() > MOST_CHANNELS {
                        return false;
                    }
                    piece.rate_hz = buffer.spec().rate();
                    buffer.copy_to_vecs_planar(&mut piece.planes);
                    true
                });
                if done.is_none() {
                    // What is inside after a panic is not to be trusted.
                    if let Some(Self::Symphonia { decoder: fresh, .. }) = Self::symphonia(params) {
                        *decoder = fresh;
                    }
                }
                if done != Some(true) {
                    piece.clear(0);
                    return false;
                }
                for plane in &mut piece.planes {
                    plane.iter_mut().filter(|s| !s.is_finite()).for_each(|s| *s = 0.0);
                }
            }
        }
        true
    }

    /// Forgets what came before, after a jump or where the kind of sound changes.
    pub(super) fn reset(&mut self) {
        match self {
            Self::Pcm { .. } | Self::Adpcm { .. } => {}
            Self::Opus(opus) => opus.reset(),
            Self::Symphonia { decoder, params } => {
                if let Some(Self::Symphonia { decoder: fresh, .. }) = Self::symphonia(params) {
                    *decoder = fresh;
                }
            }
        }
    }
}

/// Where symphonia's channels stand.
pub(super) fn places(channels: &Channels) -> Vec<Place> {
    match channels {
        Channels::Positioned(all) if all.bits().is_power_of_two() => vec![Place::Only],
        Channels::Positioned(all) => all
            .iter()
            .map(|one| match one {
                Position::FRONT_LEFT => Place::Left,
                Position::FRONT_RIGHT => Place::Right,
                Position::FRONT_CENTER => Place::Centre,
                Position::LFE1 | Position::LFE2 => Place::Low,
                _ => Place::Other,
            })
            .collect(),
        other => Place::usual(other.count().min(MOST_CHANNELS)),
    }
}

thread_local! {
    /// Whether a panic on this thread is caught and told in our own words.
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Runs code of others; nothing if it panicked. The panic's own message is kept off the screen.
pub(super) fn guarded<T>(run: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |about| {
            if GUARDED.get() {
                tracing::debug!("a decoder panicked: {about}");
            } else {
                before(about);
            }
        }));
    });
    let outer = GUARDED.replace(true);
    let result = catch_unwind(AssertUnwindSafe(run));
    GUARDED.set(outer);
    result.ok()
}
