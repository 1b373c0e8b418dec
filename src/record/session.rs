//! One sitting at the chair: the recorder, the listener, the growing log, keys and spoken controls, each in its thread;
//! what happens is told to one view.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
        mpsc::{self, Receiver, RecvTimeoutError, Sender},
    },
    thread,
    time::{Duration, Instant},
};

use super::{
    capture::Capture,
    feed::{self, Backlog},
    live::{Change, Live},
    recorder::{Notice, Order, Plan, RecordError, Recorded, SEAM_S, record},
    spoken::{Spoken, spoken},
};
use crate::{
    audio::Samples,
    listen::{self, Event, heard::Breath},
};

/// A second request within this time ends the log.
const END_WITHIN: Duration = Duration::from_secs(20);
/// The view is told of the time this often.
const TICK: Duration = Duration::from_millis(200);
/// A listener that is farther behind than this at the end is not waited for: the whole recording is heard again anyway.
const WAIT_FOR_S: f64 = 20.0;

/// What a key or a pedal asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Key {
    /// Pauses, or goes on.
    Pause,
    Flag,
    Strike,
    End,
}

/// What happens, for the view.
#[expect(clippy::large_enum_variant, reason = "one at a time, and most of them are changes")]
#[derive(Debug)]
pub enum Happening {
    Notice(Notice),
    Change(Change),
    /// Something was heard; its end was recorded `late_s` seconds of sound ago.
    Heard {
        breath: Breath,
        late_s: f64,
    },
    Spoken(Spoken),
    /// Asked for once; a second time ends.
    AskedToEnd,
    /// The log does not grow any more; the recording goes on.
    ListenerFailed(String),
    Tick,
}

/// The state that a view shows.
pub struct Now<'a> {
    pub live: &'a Live,
    pub clock: &'a Clock,
    /// Seconds of sound that wait to be listened to.
    pub behind_s: f64,
}

/// Time at the chair: that of the recording, and how long it stood still.
#[derive(Debug, Default)]
pub struct Clock {
    pub recorded_s: f64,
    stops: Vec<(f64, f64)>,
    stopped: Option<(f64, Instant)>,
}

impl Clock {
    pub fn is_paused(&self) -> bool {
        self.stopped.is_some()
    }

    fn stop(&mut self) {
        self.stopped.get_or_insert((self.recorded_s, Instant::now()));
    }

    fn go_on(&mut self) {
        if let Some((at_s, since)) = self.stopped.take() {
            self.stops.push((at_s, (since.elapsed().as_secs_f64() - SEAM_S).max(0.0)));
        }
    }

    /// Seconds of the clock on the wall since a time of the recording.
    pub fn since(&self, at_s: f64) -> f64 {
        let stood: f64 = self.stops.iter().filter(|(s, _)| *s >= at_s).map(|(_, s)| s).sum();
        let stands = self.stopped.map_or(0.0, |(_, since)| since.elapsed().as_secs_f64());
        (self.recorded_s - at_s).max(0.0) + stood + stands
    }
}

/// How to listen meanwhile: samples in, breaths out, until the samples end or the flag is raised.
pub type Listening =
    dyn Fn(&mut dyn Samples, Arc<AtomicBool>, &mut dyn FnMut(Breath)) -> Result<(), listen::Error> + Sync;

/// Listens with the speech models.
pub fn with_models(settings: listen::Settings) -> Box<Listening> {
    Box::new(move |samples, stop, sink| {
        let settings = listen::Settings { live: true, stop: Some(stop), ..settings.clone() };
        listen::listen_each(samples, &settings, &mut |event| {
            if let Event::Breath(breath) = event {
                sink(breath);
            }
        })
        .map(|_| ())
    })
}

/// What came of a sitting.
#[derive(Debug)]
pub struct Sitting {
    pub recorded: Recorded,
    /// Keys that change the log, as what they would have been in words.
    pub pressed: Vec<Breath>,
    /// The log as it had grown. That of the whole recording is made afterwards.
    pub live: Live,
}

enum Inner {
    Notice(Notice),
    Breath(Breath),
    Listened(Result<(), listen::Error>),
    Recorded(Box<Result<Recorded, RecordError>>),
}

/// Records and listens until somebody ends it: a key, a spoken control, an order from elsewhere (Ctrl-C).
pub fn sit(
    capture: &mut (dyn Capture + Send),
    plan: &Plan,
    listening: &Listening,
    live: Live,
    (order, orders): (Sender<Order>, Receiver<Order>),
    keys: &Receiver<Key>,
    view: &mut dyn FnMut(Happening, &Now<'_>),
) -> Result<Sitting, RecordError> {
    let (feed, mut listened) = feed::queue(feed::MOST_S);
    let backlog = feed.backlog();
    let stop = Arc::new(AtomicBool::new(false));
    let (told, tells) = mpsc::channel();
    thread::scope(|scope| {
        let (notices, breaths, stop_listening) = (told.clone(), told, Arc::clone(&stop));
        scope.spawn(move || {
            let mut tell = |n| drop(notices.send(Inner::Notice(n)));
            let recorded = record(capture, plan, &orders, Some(feed), &mut tell);
            let _ = notices.send(Inner::Recorded(Box::new(recorded)));
        });
        scope.spawn(move || {
            let mut sink = |b| drop(breaths.send(Inner::Breath(b)));
            let listened = listening(&mut listened, stop_listening, &mut sink);
            let _ = breaths.send(Inner::Listened(listened));
        });
        let mut room =
            Room { live, clock: Clock::default(), backlog, order, pressed: Vec::new(), asked: None, view };
        let mut recorded = None;
        loop {
            for key in keys.try_iter() {
                room.key(key);
            }
            match tells.recv_timeout(TICK) {
                Ok(Inner::Notice(notice)) => room.notice(notice),
                Ok(Inner::Breath(breath)) => room.breath(breath),
                Ok(Inner::Listened(Err(e))) => room.show(Happening::ListenerFailed(chain(&e))),
                Ok(Inner::Listened(Ok(()))) => {}
                Ok(Inner::Recorded(done)) => {
                    if done.is_err() || room.backlog.seconds().0 > WAIT_FOR_S {
                        stop.store(true, Ordering::Relaxed);
                    }
                    recorded = Some(*done);
                }
                Err(RecvTimeoutError::Timeout) => room.show(Happening::Tick),
                // Both threads have ended.
                Err(RecvTimeoutError::Disconnected) => break,
            }
        }
        let Room { live, pressed, .. } = room;
        match recorded {
            Some(done) => Ok(Sitting { recorded: done?, pressed, live }),
            // The recorder always says how it ended, unless it broke down itself.
            None => Err(RecordError::Broken),
        }
    })
}

fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(e) = cause {
        text = format!("{text}: {e}");
        cause = e.source();
    }
    text
}

struct Room<'a> {
    live: Live,
    clock: Clock,
    backlog: Backlog,
    order: Sender<Order>,
    pressed: Vec<Breath>,
    /// When the end was asked for.
    asked: Option<Instant>,
    view: &'a mut dyn FnMut(Happening, &Now<'_>),
}

impl Room<'_> {
    fn show(&mut self, happening: Happening) {
        let behind_s = self.backlog.seconds().0;
        (self.view)(happening, &Now { live: &self.live, clock: &self.clock, behind_s });
    }

    fn notice(&mut self, notice: Notice) {
        use super::recorder::Warning;
        match &notice {
            Notice::Level { recorded_s, .. } => self.clock.recorded_s = *recorded_s,
            Notice::Paused { .. } | Notice::Warning(Warning::Gone(_)) => self.clock.stop(),
            Notice::GoneOn | Notice::Warning(Warning::Back { .. }) => self.clock.go_on(),
            _ => {}
        }
        self.show(Happening::Notice(notice));
    }

    fn key(&mut self, key: Key) {
        let words = match key {
            Key::Pause => {
                let order = if self.clock.is_paused() { Order::GoOn } else { Order::Pause };
                let _ = self.order.send(order);
                return;
            }
            Key::End => {
                let _ = self.order.send(Order::Stop);
                return;
            }
            Key::Flag => "flag that",
            Key::Strike => "scratch that",
        };
        let at_s = self.clock.recorded_s;
        let breath = Breath::from_text(at_s, at_s, words);
        self.pressed.push(breath.clone());
        self.change(breath);
    }

    fn breath(&mut self, breath: Breath) {
        let late_s = (self.clock.recorded_s - breath.to_s).max(0.0);
        let asked = spoken(&breath, &self.live.extractor().vocabulary);
        self.show(Happening::Heard { breath: breath.clone(), late_s });
        self.change(breath);
        match asked {
            Some(Spoken::Pause) => {
                let _ = self.order.send(Order::Pause);
            }
            Some(Spoken::End) => {
                if self.asked.is_some_and(|at| at.elapsed() < END_WITHIN) {
                    let _ = self.order.send(Order::Stop);
                } else {
                    self.asked = Some(Instant::now());
                    self.show(Happening::AskedToEnd);
                }
                return;
            }
            Some(_) => {}
            None => return,
        }
        if let Some(asked) = asked {
            self.show(Happening::Spoken(asked));
        }
    }

    fn change(&mut self, breath: Breath) {
        for change in self.live.take(breath) {
            self.show(Happening::Change(change));
        }
    }
}
