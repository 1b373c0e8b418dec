//! The recording itself: opens the microphone, writes every block, watches that it really hears, goes on after what can
//! be mended, and stops loudly on what cannot.

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
        mpsc::{Receiver, RecvTimeoutError, TryRecvError, sync_channel},
    },
    time::{Duration, Instant},
};

use super::{
    capture::{Capture, CaptureError, Event, Format, Sink, Stream},
    feed::Feed,
    file::{self, Part, WriteError},
    watch::{State, Watch},
};
use crate::settings::ReadBack;

/// Blocks that may wait to be written, while the disk is slow: at least 10 s of sound on every usual system.
const WAITING: usize = 2048;
/// A stream that is not closed by then is left alone: the recording must go on, or come to its end.
const CLOSE_WITHIN: Duration = Duration::from_secs(3);
/// A microphone that has gone is asked for again this often.
const AGAIN: Duration = Duration::from_secs(2);
/// The free space is looked at this often.
const LOOK_AT_ROOM: Duration = Duration::from_secs(5);
/// Where the sound was interrupted, so much silence stands in its place, so that nothing is heard as one utterance that
/// was not.
pub const SEAM_S: f64 = 1.0;

/// What to record into.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The first part; the others are named `…-2.wav` and so on.
    pub path: PathBuf,
    /// A part is not longer.
    pub most_bytes: u64,
    /// With less room the recording is not begun, in seconds of sound.
    pub least_s: f64,
    /// With less room there is a warning.
    pub warn_s: f64,
    /// The microphone stays closed until somebody asks to go on: push to talk.
    pub begin_paused: bool,
    /// When numbers are read aloud.
    pub read_back: ReadBack,
}

impl Plan {
    pub fn new(path: PathBuf) -> Self {
        Self {
            path,
            most_bytes: file::MOST_BYTES,
            least_s: 60.0,
            warn_s: 900.0,
            begin_paused: false,
            read_back: ReadBack::Never,
        }
    }
}

/// What the person at the chair wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// Closes the microphone.
    Pause,
    GoOn,
    Stop,
}

/// What happens, to be seen and heard.
#[derive(Debug, Clone, PartialEq)]
pub enum Notice {
    /// Real samples come.
    Ready {
        name: String,
        format: Format,
    },
    /// Largest sample of a block, 0 to 1, and what is recorded so far, in seconds.
    Level {
        peak: f32,
        recorded_s: f64,
    },
    /// A file was begun, at this time of the whole recording.
    Part {
        path: PathBuf,
        from_s: f64,
    },
    /// Sound comes again, or it is over; until then there was none.
    Gap(Gap),
    Paused {
        at_s: f64,
    },
    GoneOn,
    Warning(Warning),
}

/// What a person must know at once.
#[derive(Debug, Clone, PartialEq)]
pub enum Warning {
    /// Exact zeros.
    NoSignal,
    /// Nothing comes any more.
    Gone(String),
    /// The microphone that had gone hears again.
    Back {
        away_s: f64,
    },
    Overrun,
    Rerouted,
    /// Another rate or other channels; a new part was begun.
    NewFormat(Format),
    Room {
        left_s: f64,
    },
    /// The stream was given up, but the system keeps it.
    NotClosed,
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoSignal => f.write_str(
                "the microphone delivers no signal: check its mute switch, its plug, and whether it is allowed",
            ),
            Self::Gone(why) => write!(f, "the microphone has gone ({why}); what was recorded is kept, waiting for it"),
            Self::Back { away_s } => write!(f, "the microphone is back; {away_s:.0} s are missing"),
            Self::Overrun => f.write_str("the computer was too slow: some sound was lost just now"),
            Self::Rerouted => f.write_str("the system went over to another microphone"),
            Self::NewFormat(n) => write!(f, "the microphone now delivers {} Hz; a new file was begun", n.rate_hz),
            Self::Room { left_s } => write!(f, "the disk is nearly full: room for {:.0} minutes", left_s / 60.0),
            Self::NotClosed => f.write_str(
                "the system does not close the microphone; nothing of it is recorded, but to be sure, pull its plug",
            ),
        }
    }
}

/// A stretch of time of which there is no sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Gap {
    /// Where in the recording.
    pub at_s: f64,
    /// Of the clock.
    pub lasted_s: f64,
    pub why: String,
}

/// A recording that is over.
#[derive(Debug)]
pub struct Recorded {
    /// Files and their seconds.
    pub parts: Vec<(PathBuf, f64)>,
    pub gaps: Vec<Gap>,
    /// Blocks that were lost because the disk was too slow.
    pub lost_blocks: u64,
    /// Why it ended, if nobody asked for it.
    pub stopped: Option<WriteError>,
    /// Real samples came.
    pub heard: bool,
}

/// Why nothing could be recorded.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordError {
    #[error("cannot record")]
    Capture(#[from] CaptureError),
    #[error("cannot record")]
    Write(#[from] WriteError),
    #[error("the recorder broke down; `tugback recover` finishes what it left")]
    Broken,
}

struct Open {
    stream: Box<dyn Stream>,
    events: Receiver<Event>,
    watch: Watch,
}

/// Records until it is told to stop; the orders' other end going away is an order to stop.
pub fn record(
    capture: &mut dyn Capture,
    plan: &Plan,
    orders: &Receiver<Order>,
    feed: Option<Feed>,
    tell: &mut dyn FnMut(Notice),
) -> Result<Recorded, RecordError> {
    let lost = Arc::new(AtomicU64::new(0));
    let start = Instant::now();
    let (format, open) = opened(capture, &lost, 0.0)?;
    let part = Part::create(&plan.path, enough_room(plan, format)?)?;
    tell(Notice::Part { path: part.path.clone(), from_s: 0.0 });
    let mut desk = Desk {
        plan,
        part,
        feed,
        before_s: 0.0,
        parts: Vec::new(),
        gaps: Vec::new(),
        tell,
        name: capture.name(),
        heard: false,
        room_seen: Instant::now(),
        room_told: false,
    };
    let mut open = Some(open);
    // Since when there has been no sound, on purpose or not.
    let mut away: Option<(f64, &str)> = None;
    if plan.begin_paused {
        // It was opened only to learn its format; what it gave is written nowhere.
        if open.take().is_some_and(|open| !close(open.stream)) {
            (desk.tell)(Notice::Warning(Warning::NotClosed));
        }
        away = Some((0.0, PAUSED));
        (desk.tell)(Notice::Paused { at_s: 0.0 });
    }
    let mut asked = Instant::now();
    let mut lost_told = 0;
    let stopped = loop {
        let now_s = start.elapsed().as_secs_f64();
        match orders.try_recv() {
            Ok(Order::Stop) | Err(TryRecvError::Disconnected) => {
                break desk.drain(open.take(), now_s).err();
            }
            Ok(Order::Pause) if !matches!(away, Some((_, PAUSED))) => {
                if let Err(e) = desk.drain(open.take(), now_s).and_then(|()| desk.seam()) {
                    break Some(e);
                }
                away = Some((now_s, PAUSED));
                let at_s = desk.recorded_s();
                (desk.tell)(Notice::Paused { at_s });
            }
            Ok(Order::GoOn) if matches!(away, Some((_, PAUSED))) => {
                asked = Instant::now().checked_sub(AGAIN).unwrap_or(asked);
                away = away.map(|(since, _)| (since, GOING_ON));
            }
            Ok(Order::Pause | Order::GoOn) | Err(TryRecvError::Empty) => {}
        }
        let Some(stream) = &mut open else {
            std::thread::sleep(Duration::from_millis(20));
            if matches!(away, Some((_, PAUSED))) || asked.elapsed() < AGAIN {
                continue;
            }
            asked = Instant::now();
            match opened(capture, &lost, now_s) {
                Ok((format, again)) => {
                    if let Err(e) = desk.take_format(format) {
                        break Some(e);
                    }
                    let (since, why) = away.take().unwrap_or((now_s, GONE));
                    desk.back(since, now_s, why);
                    open = Some(again);
                }
                Err(e) if matches!(away, Some((_, GOING_ON))) => {
                    away = away.map(|(since, _)| (since, GONE));
                    (desk.tell)(Notice::Warning(Warning::Gone(e.to_string())));
                }
                Err(_) => {}
            }
            continue;
        };
        let event = stream.events.recv_timeout(Duration::from_millis(20));
        let gone = match event {
            Ok(Event::Gone(why)) => Some(why),
            Err(RecvTimeoutError::Disconnected) => Some("it was closed".to_owned()),
            Err(RecvTimeoutError::Timeout) => {
                stream.watch.tick(now_s).map(|_| "nothing comes from it any more".to_owned())
            }
            Ok(event) => match desk.take(event, &mut stream.watch, now_s) {
                Ok(()) => None,
                Err(e) => break Some(e),
            },
        };
        if let Some(why) = gone {
            if let Err(e) = desk.drain(open.take(), now_s).and_then(|()| desk.seam()) {
                break Some(e);
            }
            away = Some((now_s, GONE));
            asked = Instant::now();
            (desk.tell)(Notice::Warning(Warning::Gone(why)));
        }
        let lost_now = lost.load(Ordering::Relaxed);
        if lost_now > lost_told {
            lost_told = lost_now;
            (desk.tell)(Notice::Warning(Warning::Overrun));
        }
        desk.look_at_room();
    };
    if let Some((since, why)) = away {
        let lasted_s = start.elapsed().as_secs_f64() - since;
        desk.gap(lasted_s, if why == GOING_ON { PAUSED } else { why });
    }
    let Desk { mut parts, part, gaps, heard, .. } = desk;
    let path = part.path.clone();
    let ended = part.finish();
    let (seconds, unfinished) = match ended {
        Ok(seconds) => (seconds, None),
        Err(e) => (0.0, Some(e)),
    };
    parts.push((path, seconds));
    let lost_blocks = lost.load(Ordering::Relaxed);
    Ok(Recorded { parts, gaps, lost_blocks, stopped: stopped.or(unfinished), heard })
}

const PAUSED: &str = "paused";
const GOING_ON: &str = "paused, then opened again";
const GONE: &str = "the microphone had gone";

fn opened(
    capture: &mut dyn Capture,
    lost: &Arc<AtomicU64>,
    now_s: f64,
) -> Result<(Format, Open), CaptureError> {
    let (into, events) = sync_channel(WAITING);
    let (format, stream) = capture.open(Sink::new(into, Arc::clone(lost)))?;
    Ok((format, Open { stream, events, watch: Watch::opened(now_s) }))
}

/// Closes a stream; false where it is not closed in time.
fn close(stream: Box<dyn Stream>) -> bool {
    let (done, closed) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        drop(stream);
        let _ = done.send(());
    });
    closed.recv_timeout(CLOSE_WITHIN) != Err(RecvTimeoutError::Timeout)
}

/// The format, where there is room for some sound in it.
fn enough_room(plan: &Plan, format: Format) -> Result<Format, WriteError> {
    let folder = plan.path.parent().unwrap_or(Path::new(""));
    match left_s(folder, format) {
        Some(left_s) if left_s < plan.least_s => {
            Err(WriteError::NoRoom { folder: folder.to_owned(), left_s, least_s: plan.least_s })
        }
        _ => Ok(format),
    }
}

fn left_s(folder: &Path, format: Format) -> Option<f64> {
    file::room(folder).map(|bytes| file::bytes_as_s(bytes, format))
}

/// What is being recorded.
struct Desk<'a> {
    plan: &'a Plan,
    part: Part,
    feed: Option<Feed>,
    /// Seconds in the parts before this one.
    before_s: f64,
    parts: Vec<(PathBuf, f64)>,
    gaps: Vec<Gap>,
    tell: &'a mut dyn FnMut(Notice),
    name: String,
    heard: bool,
    room_seen: Instant,
    room_told: bool,
}

impl Desk<'_> {
    fn recorded_s(&self) -> f64 {
        self.before_s + self.part.seconds()
    }

    fn take(&mut self, event: Event, watch: &mut Watch, now_s: f64) -> Result<(), WriteError> {
        match event {
            Event::Block(samples) => {
                self.write(&samples)?;
                let peak = samples.iter().fold(0.0_f32, |m, s| m.max(s.abs()));
                let recorded_s = self.recorded_s();
                (self.tell)(Notice::Level { peak, recorded_s });
                #[expect(clippy::cast_precision_loss, reason = "a block is short")]
                let length_s = samples.len() as f64
                    / f64::from(self.part.format.channels)
                    / f64::from(self.part.format.rate_hz);
                match watch.block(&samples, length_s, now_s) {
                    Some(State::Hears) => {
                        self.heard = true;
                        let name = self.name.clone();
                        (self.tell)(Notice::Ready { name, format: self.part.format });
                    }
                    Some(State::Zeros) => (self.tell)(Notice::Warning(Warning::NoSignal)),
                    _ => {}
                }
            }
            Event::Overrun => (self.tell)(Notice::Warning(Warning::Overrun)),
            Event::Rerouted => (self.tell)(Notice::Warning(Warning::Rerouted)),
            Event::Format(format) => self.take_format(format)?,
            Event::Gone(_) => {}
        }
        Ok(())
    }

    fn write(&mut self, samples: &[f32]) -> Result<(), WriteError> {
        self.part.write(samples)?;
        if let Some(feed) = &mut self.feed {
            feed.push(samples, self.part.format);
        }
        if self.part.bytes >= self.plan.most_bytes {
            self.next_part(self.part.format)?;
        }
        Ok(())
    }

    /// A moment of silence where the sound was interrupted.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small number of samples")]
    fn seam(&mut self) -> Result<(), WriteError> {
        let frames = (SEAM_S * f64::from(self.part.format.rate_hz)) as usize;
        self.write(&vec![0.0; frames * usize::from(self.part.format.channels)])?;
        // Nothing more may come for a long time.
        self.part.sync()
    }

    /// Closes the stream, and writes what it had delivered before.
    fn drain(&mut self, open: Option<Open>, now_s: f64) -> Result<(), WriteError> {
        let Some(Open { stream, events, mut watch }) = open else { return Ok(()) };
        let mut last: Vec<Event> = events.try_iter().collect();
        if close(stream) {
            last.extend(events.try_iter());
        } else {
            (self.tell)(Notice::Warning(Warning::NotClosed));
        }
        for event in last {
            self.take(event, &mut watch, now_s)?;
        }
        Ok(())
    }

    fn take_format(&mut self, format: Format) -> Result<(), WriteError> {
        if format == self.part.format {
            return Ok(());
        }
        self.next_part(format)?;
        (self.tell)(Notice::Warning(Warning::NewFormat(format)));
        Ok(())
    }

    fn next_part(&mut self, format: Format) -> Result<(), WriteError> {
        let path = numbered(&self.plan.path, self.parts.len() + 2);
        let next = Part::create(&path, format)?;
        let done = std::mem::replace(&mut self.part, next);
        let path = done.path.clone();
        let seconds = done.finish()?;
        self.before_s += seconds;
        self.parts.push((path, seconds));
        (self.tell)(Notice::Part { path: self.part.path.clone(), from_s: self.before_s });
        Ok(())
    }

    fn gap(&mut self, lasted_s: f64, why: &str) {
        let gap = Gap { at_s: self.recorded_s(), lasted_s, why: why.to_owned() };
        self.gaps.push(gap.clone());
        (self.tell)(Notice::Gap(gap));
    }

    /// There is sound again.
    fn back(&mut self, since_s: f64, now_s: f64, why: &str) {
        let lasted_s = now_s - since_s;
        let why = if why == GOING_ON { PAUSED } else { why };
        self.gap(lasted_s, why);
        (self.tell)(if why == PAUSED {
            Notice::GoneOn
        } else {
            Notice::Warning(Warning::Back { away_s: lasted_s })
        });
    }

    fn look_at_room(&mut self) {
        if self.room_told || self.room_seen.elapsed() < LOOK_AT_ROOM {
            return;
        }
        self.room_seen = Instant::now();
        let folder = self.plan.path.parent().unwrap_or(Path::new(""));
        if let Some(left_s) = left_s(folder, self.part.format).filter(|left| *left < self.plan.warn_s) {
            self.room_told = true;
            (self.tell)(Notice::Warning(Warning::Room { left_s }));
        }
    }
}

/// `visit.wav`, 2 → `visit-2.wav`.
fn numbered(path: &Path, n: usize) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!("{stem}-{n}.wav"))
}
