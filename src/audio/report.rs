//! What was found in a recording and what was chosen, for the log's `source` and for `tugback inspect`.

use std::fmt;

use serde::Serialize;

/// What was found in a recording and what was chosen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Of the file's bytes, 64 hexadecimal digits. (In the log it stands in `source.sha256`.)
    #[serde(skip)]
    pub sha256: String,
    /// What kind of file it is by its content, never by its name: "MP4", "WAV" …
    pub container: String,
    /// How the sound is written: "AAC", "PCM, 16 bit" …
    pub codec: String,
    /// Of the track that is listened to, samples per second.
    pub rate_hz: u32,
    /// Of the track that is listened to.
    pub channels: usize,
    /// Which track is listened to, from 1.
    pub track: usize,
    /// Why this track.
    pub track_why: String,
    /// Which channels are listened to and why.
    pub channel: String,
    /// Seconds that could be decoded, of the track that is listened to.
    pub decoded_s: f64,
    /// Seconds that the header promises; absent if it promises nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub declared_s: Option<f64>,
    /// Of what is listened to.
    pub level: Level,
    /// What the level means for the listener, one sentence each.
    pub verdict: Vec<String>,
    /// By how much the recogniser's copy is made louder, in dB. The file itself is never changed.
    pub gain_db: f64,
    /// All sound tracks.
    pub tracks: Vec<Track>,
    /// When the recording was started, RFC 3339, if the file says so. (In the log: `source.recording_start`.)
    #[serde(skip)]
    pub recording_start: Option<String>,
    /// What was wrong with the file and what was assumed, one sentence each. (In the log: `source.repairs`.)
    #[serde(skip)]
    pub repairs: Vec<String>,
    /// What a person must know of the recording, one sentence each: cut short, another track has speech too …
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

/// One sound track.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Track {
    /// From 1.
    pub track: usize,
    pub codec: String,
    /// False where there is no decoder for it.
    pub readable: bool,
    /// What the file calls it, or its language.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate_hz: Option<u32>,
    pub decoded_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub declared_s: Option<f64>,
    pub channels: Vec<ChannelLevel>,
}

/// One channel of a track.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChannelLevel {
    /// "left", "centre" …
    pub place: String,
    #[serde(flatten)]
    pub level: Level,
}

/// How loud a channel is. Levels are in dB below full scale.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// The largest sample, without a constant part.
    pub peak_dbfs: f64,
    /// Of all of it.
    pub rms_dbfs: f64,
    /// Of speech, in the speech band; absent where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speech_dbfs: Option<f64>,
    /// What lies below all speech: the noise of room and microphone; -120 is digital silence.
    pub floor_dbfs: f64,
    /// How much of the time somebody speaks, 0 to 1, by level alone: a hint, not the listener's judgement.
    pub speech_share: f64,
    /// Samples cut off at the top, 0 to 1.
    pub clipped_share: f64,
    /// The constant part, as a share of full scale. It is taken off.
    pub dc: f64,
    pub verdict: Vec<Verdict>,
}

/// What a level means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    Good,
    VeryQuiet,
    Clipped,
    Noisy,
    NoSpeech,
    LoudNoise,
    NoSignal,
    TooShort,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Good => "good",
            Self::VeryQuiet => "very quiet: ask the speaker to come closer to the microphone",
            Self::Clipped => "clipped: the microphone was overdriven; turn its level down or move it away",
            Self::Noisy => "noisy: speech is hardly louder than the room; move the microphone closer",
            Self::TooShort => "too short to say how good it is",
            Self::NoSpeech => "nothing stands out from steady sound or noise: no speech, or none that can be told from it",
            Self::LoudNoise => {
                "loud all the time: speech would hardly be heard in it; play it, and check which input was recorded, its cable and its level"
            }
            Self::NoSignal => {
                "no signal: digital silence; the microphone was off, muted or not allowed, or this is the wrong track"
            }
        })
    }
}
