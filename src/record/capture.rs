//! What a source of live sound must do, whichever system it is. Tests use sources that need no microphone.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU64, Ordering},
        mpsc::{SyncSender, TrySendError, sync_channel},
    },
    thread,
    time::Duration,
};

/// How a device delivers sound, and how it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Format {
    pub rate_hz: u32,
    /// From 1.
    pub channels: u16,
    /// Bits of a sample as it is written: 16 or 24.
    pub bits: u16,
}

impl Format {
    /// Bytes of one moment in all channels.
    pub fn frame_bytes(self) -> u64 {
        u64::from(self.channels) * u64::from(self.bits / 8)
    }

    pub fn bytes_per_s(self) -> u64 {
        self.frame_bytes() * u64::from(self.rate_hz)
    }
}

/// What a source tells while it is open.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// Samples from -1 to 1, the channels of each moment side by side.
    Block(Vec<f32>),
    /// The system lost sound before it reached the program.
    Overrun,
    /// Blocks after this one are in another format.
    Format(Format),
    /// The system goes on with another device.
    Rerouted,
    /// Nothing comes any more, and why.
    Gone(String),
}

/// Why a source cannot be opened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CaptureError {
    #[error("no microphone was found; plug one in, then see `tugback microphones`")]
    NoDevice,
    #[error("there is no microphone `{wanted}`; there are: {there}")]
    NotNamed { wanted: String, there: String },
    #[error(
        "this account may not listen to `{name}`; allow it in the system's settings for sound or privacy"
    )]
    Permission { name: String },
    #[error("`{name}` is in use by another program; close that, or choose another with --microphone")]
    Busy { name: String },
    #[error("`{name}` cannot be opened in any of its formats ({reason}); try another with --microphone")]
    Refused { name: String, reason: String },
    #[error(
        "`{name}` does not answer, nor does the sound system; pull its plug and put it in again, or restart the sound system"
    )]
    NoAnswer { name: String },
    #[error("this tugback was built without microphones; build it with `--features microphone`")]
    NotBuilt,
}

/// An open stream; it is really closed when it is dropped. That may take as long as it likes: a sound server that died can
/// keep its streams for ever.
pub trait Stream: Send {}

/// A source of live sound.
pub trait Capture {
    /// As the system calls it.
    fn name(&self) -> String;

    /// Opens the stream; events go to the sink from then on. Opened again, it is the same device or an error.
    fn open(&mut self, sink: Sink) -> Result<(Format, Box<dyn Stream>), CaptureError>;
}

/// A sound system that has not answered by then is not waited for. A wireless microphone may take four seconds to wake up.
pub const ANSWER_WITHIN: Duration = Duration::from_secs(6);

/// Questions to a sound system that may never answer them: one that died keeps whoever asks for ever.
#[derive(Debug, Clone, Default)]
pub struct Asking {
    /// One is not answered yet.
    waits: Arc<AtomicBool>,
}

impl Asking {
    /// What the system answers, if it does in time. What it answers later is dropped, and until it does nothing more is
    /// asked.
    pub fn ask<T: Send + 'static>(&self, question: impl FnOnce() -> T + Send + 'static) -> Option<T> {
        if self.waits.swap(true, Ordering::Relaxed) {
            return None;
        }
        let (answer, answers) = sync_channel(1);
        let waits = Arc::clone(&self.waits);
        thread::spawn(move || {
            let answered = question();
            waits.store(false, Ordering::Relaxed);
            let _ = answer.send(answered); // nobody may want it any more
        });
        answers.recv_timeout(ANSWER_WITHIN).ok()
    }
}

/// Where a source puts its events; never waits.
#[derive(Debug, Clone)]
pub struct Sink {
    events: SyncSender<Event>,
    lost: Arc<AtomicU64>,
}

impl Sink {
    /// `lost` counts the blocks for which there was no room.
    pub fn new(events: SyncSender<Event>, lost: Arc<AtomicU64>) -> Self {
        Self { events, lost }
    }

    /// False where nobody takes events any more.
    pub fn give(&self, event: Event) -> bool {
        match self.events.try_send(event) {
            Ok(()) => true,
            Err(TrySendError::Full(_)) => {
                self.lost.fetch_add(1, Ordering::Relaxed);
                true
            }
            Err(TrySendError::Disconnected(_)) => false,
        }
    }
}
