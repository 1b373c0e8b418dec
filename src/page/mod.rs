//! The page on which a person reviews and signs: a server on loopback, and a page that needs nothing else.
//!
//! Comes in: one log, or a folder of them. Goes out: JSON, sound, pictures, and the decisions to the room `review`, which
//! writes each at once. A view: it decides nothing. Never listens on anything but loopback, never follows a path that a
//! request names, never loads anything from elsewhere.
//!
//! - `shelf`: which logs and recordings there are; a request names one by its id, never by a path
//! - `session`, `guard`: the one-time token, Host, Origin, the headers of every answer
//! - `routes`, `desk`, `view`: what is asked and answered
//! - `live`: a recording that is made from the desk
//! - `sound`: the recording as a browser can play it, and the peaks of its waveform
//! - `web/`: the page itself, plain HTML, CSS and modules, embedded

mod assets;
mod desk;
mod exports;
mod forms;
mod guard;
mod live;
mod routes;
mod serve;
mod session;
mod shelf;
mod sound;
mod view;

use std::{
    path::Path,
    sync::{Arc, Mutex, PoisonError},
    time::Instant,
};

use crate::checks::Settings;

pub use routes::router;
pub use serve::{Options, PageError, serve};
pub use session::Sessions;
pub use shelf::Shelf;

/// Starts to make the log of a recording, as a process of its own.
pub type Start = Box<dyn Fn(&Path) -> std::io::Result<std::process::Child> + Send + Sync>;

/// Starts to record into a folder, as a process of its own that writes and takes lines, as `tugback record --json` does;
/// push to talk, if that is asked for.
pub type Record = Box<dyn Fn(&Path, bool) -> std::io::Result<std::process::Child> + Send + Sync>;

/// What a page is opened on.
pub struct Opened {
    pub shelf: Shelf,
    pub settings: Settings,
    /// The reviewer's name, until the page says another.
    pub who: String,
    /// Makes logs of recordings, where the desk is open.
    pub start: Option<Start>,
    /// Records, where the desk is open and there are microphones.
    pub record: Option<Record>,
}

impl std::fmt::Debug for Opened {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Opened").field("shelf", &self.shelf).finish_non_exhaustive()
    }
}

/// What the server knows while it runs.
pub struct App {
    /// What a request must name as its host: `127.0.0.1:PORT`.
    pub host: String,
    pub sessions: Mutex<Sessions>,
    pub shelf: Shelf,
    /// What the checks go by.
    pub settings: Settings,
    /// The reviewer's name, until the page says another.
    pub who: String,
    /// Makes logs of recordings, where the desk is open.
    pub start: Option<Start>,
    /// Records, where the desk is open and there are microphones.
    pub record: Option<Record>,
    memory: crate::review::store::Memory,
    sounds: sound::Sounds,
    running: desk::Running,
    chair: live::Chair,
    /// When the last request came.
    last: Mutex<Instant>,
    closing: tokio::sync::Notify,
}

impl std::fmt::Debug for App {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("App").field("host", &self.host).finish_non_exhaustive()
    }
}

impl App {
    /// `host` is `127.0.0.1:PORT`.
    pub fn new(host: String, sessions: Sessions, opened: Opened) -> Arc<Self> {
        let Opened { shelf, settings, who, start, record } = opened;
        Arc::new(Self {
            host,
            sessions: Mutex::new(sessions),
            shelf,
            settings,
            who,
            start,
            record,
            memory: crate::review::store::Memory::default(),
            sounds: sound::Sounds::default(),
            running: desk::Running::default(),
            chair: live::Chair::default(),
            last: Mutex::new(Instant::now()),
            closing: tokio::sync::Notify::new(),
        })
    }

    /// The sessions; a thread that died while it held them leaves them whole.
    fn sessions(&self) -> std::sync::MutexGuard<'_, Sessions> {
        self.sessions.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
