//! A source that plays a script: for tests, and for trying the program without a microphone. Every way in which a
//! microphone fails is a step of it.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use super::capture::{Asking, Capture, CaptureError, Event, Format, Sink, Stream};

/// What the source does, one after the other.
#[derive(Debug, Clone)]
pub enum Step {
    /// These samples, all channels side by side, in blocks of a tenth of a second.
    Play(Arc<[f32]>),
    /// Exact zeros for so many seconds, as a muted or forbidden microphone gives.
    Zeros(f64),
    /// Nothing at all for so many seconds: no callback, no error.
    Hang(f64),
    /// One event.
    Tell(Event),
    /// Opening fails, this once; it must be the first step that is left.
    Refuse(CaptureError),
    /// The stream is open and gives nothing more.
    End,
}

/// A source that plays a script, at a multiple of real time.
#[derive(Debug)]
pub struct Fake {
    pub format: Format,
    /// 1: real time.
    pub speed: f64,
    /// How long opening and closing take.
    pub opens_in: Duration,
    pub closes_in: Duration,
    asking: Asking,
    steps: Vec<Step>,
    /// True from the time at which the script is played through.
    pub over: Arc<AtomicBool>,
    opened: Arc<AtomicBool>,
}

impl Fake {
    pub fn new(format: Format, speed: f64, steps: impl IntoIterator<Item = Step>) -> Self {
        Self {
            format,
            speed,
            opens_in: Duration::ZERO,
            closes_in: Duration::ZERO,
            asking: Asking::default(),
            steps: steps.into_iter().collect(),
            over: Arc::new(AtomicBool::new(false)),
            opened: Arc::new(AtomicBool::new(false)),
        }
    }

    /// True while a stream is open.
    pub fn is_open(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.opened)
    }
}

struct Playing {
    closes_in: Duration,
    stop: Arc<AtomicBool>,
    opened: Arc<AtomicBool>,
}

impl Stream for Playing {}

impl Drop for Playing {
    fn drop(&mut self) {
        thread::sleep(self.closes_in);
        self.stop.store(true, Ordering::Relaxed);
        self.opened.store(false, Ordering::Relaxed);
    }
}

impl Capture for Fake {
    fn name(&self) -> String {
        "fake microphone".to_owned()
    }

    /// The script is played from its start at the first opening; opened again, what follows the next [`Step::End`].
    fn open(&mut self, sink: Sink) -> Result<(Format, Box<dyn Stream>), CaptureError> {
        let opens_in = self.opens_in;
        if self.asking.ask(move || thread::sleep(opens_in)).is_none() {
            return Err(CaptureError::NoAnswer { name: self.name() });
        }
        if let Some(Step::Refuse(error)) = self.steps.first() {
            let error = error.clone();
            self.steps.remove(0);
            return Err(error);
        }
        let end = self.steps.iter().position(|s| matches!(s, Step::End)).map_or(self.steps.len(), |e| e + 1);
        let now: Vec<Step> = self.steps.drain(..end).collect();
        if let Some(format) = now.iter().find_map(|s| match s {
            Step::Tell(Event::Format(format)) => Some(*format),
            _ => None,
        }) && matches!(now.first(), Some(Step::Tell(Event::Format(_))))
        {
            self.format = format;
        }
        let (stop, over) = (Arc::new(AtomicBool::new(false)), Arc::clone(&self.over));
        let (format, speed, stopped) = (self.format, self.speed, Arc::clone(&stop));
        let last = self.steps.is_empty();
        self.opened.store(true, Ordering::Relaxed);
        thread::spawn(move || {
            play(&now, format, speed, &sink, &stopped);
            if last {
                over.store(true, Ordering::Relaxed);
            }
            // The stream stays open, as a real one does, until it is closed.
            while !stopped.load(Ordering::Relaxed) {
                thread::sleep(Duration::from_millis(5));
            }
        });
        Ok((
            self.format,
            Box::new(Playing { closes_in: self.closes_in, stop, opened: Arc::clone(&self.opened) }),
        ))
    }
}

fn play(steps: &[Step], format: Format, speed: f64, sink: &Sink, stop: &AtomicBool) {
    let mut pace = Pace { due: Instant::now(), speed };
    let mut format = format;
    for step in steps {
        let block = usize::try_from(format.rate_hz / 10).unwrap_or(1).max(1) * usize::from(format.channels);
        let mut give = |samples: &[f32]| {
            pace.wait(0.1);
            !stop.load(Ordering::Relaxed) && sink.give(Event::Block(samples.to_vec()))
        };
        match step {
            Step::Play(samples) => {
                if !samples.chunks(block).all(&mut give) {
                    return;
                }
            }
            Step::Zeros(s) => {
                let blocks = (0..).take_while(|n| f64::from(*n) * 0.1 < *s);
                if !blocks.map(|_| vec![0.0; block]).all(|b| give(&b)) {
                    return;
                }
            }
            Step::Hang(s) => pace.wait(*s),
            Step::Tell(Event::Format(new)) => {
                format = *new;
                sink.give(Event::Format(*new));
            }
            Step::Tell(event) => {
                sink.give(event.clone());
            }
            Step::Refuse(_) | Step::End => return,
        }
    }
}

/// Keeps the pace of the script.
struct Pace {
    due: Instant,
    speed: f64,
}

impl Pace {
    fn wait(&mut self, s: f64) {
        self.due += Duration::from_secs_f64(s / self.speed.max(1e-3));
        thread::sleep(self.due.saturating_duration_since(Instant::now()));
    }
}
