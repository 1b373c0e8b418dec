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
    marks::{self, Mark},
    recorder::{Gap, Notice, Order, Plan, RecordError, Recorded, SEAM_S, record},
    spoken::{Spoken, spoken},
    voice,
};
use crate::{
    audio::Samples,
    listen::{self, Turn, heard::Breath},
    settings::ReadBack,
};

/// A second request within this time ends the log.
const END_WITHIN: Duration = Duration::from_secs(20);
/// The program's own voice is in the room so much longer than its sound: the way to the loudspeaker and back.
const ECHO_S: f64 = 0.8;
/// The view is told of the time this often.
const TICK: Duration = Duration::from_millis(200);
/// A listener that is farther behind than this at the end is not waited for: the whole recording is heard again anyway.
const WAIT_FOR_S: f64 = 20.0;

/// What a key or a pedal asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Key {
    /// Pauses, or goes on.
    Pause,
    /// Goes on, where it is paused.
    GoOn,
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
    /// Something was heard; its end was recorded `late_s` seconds of sound ago. `again`: it was told before, and has been
    /// listened to again.
    Heard {
        breath: Breath,
        late_s: f64,
        again: bool,
    },
    Spoken(Spoken),
    /// Asked for once; a second time ends.
    AskedToEnd,
    /// What was timed is over.
    TimeIsUp,
    /// To be read aloud: the words of [`super::voice`].
    Say(Vec<&'static str>),
    /// A key, or what was said aloud, could not be written down; the recording goes on.
    MarkFailed(std::io::Error),
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
    /// What is being timed: seconds that are left, and all.
    pub timer: Option<(f64, f64)>,
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
pub type Listening = dyn Fn(&mut dyn Samples, Arc<AtomicBool>, &mut (dyn FnMut(Turn) + Send)) -> Result<(), listen::Error>
    + Sync;

/// Listens with the speech models.
pub fn with_models(settings: listen::Settings) -> Box<Listening> {
    Box::new(move |samples, stop, sink| {
        let settings = listen::Settings { stop: Some(stop), ..settings.clone() };
        listen::listen_live(samples, &settings, sink).map(|_| ())
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
    Heard(Turn),
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
            let mut sink = |turn| drop(breaths.send(Inner::Heard(turn)));
            let listened = listening(&mut listened, stop_listening, &mut sink);
            let _ = breaths.send(Inner::Listened(listened));
        });
        let mut room = Room {
            live,
            clock: Clock::default(),
            backlog,
            order,
            pressed: Vec::new(),
            asked: None,
            done: None,
            timer: None,
            marks: None,
            spoke: Vec::new(),
            read_back: plan.read_back,
            view,
        };
        let mut recorded = None;
        loop {
            for key in keys.try_iter() {
                room.key(key);
            }
            room.look_at_the_timer();
            match tells.recv_timeout(TICK) {
                Ok(Inner::Notice(notice)) => room.notice(notice),
                Ok(Inner::Heard(turn)) => room.heard(turn),
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

/// What is read aloud of a change: numbers that are new or others than before.
fn read_out(change: &Change) -> Vec<&'static str> {
    match change {
        Change::Taken(e) | Change::Doubted(e) | Change::Changed(e) => voice::of_entry(e),
        Change::Settled(_) | Change::Struck(_) | Change::Gone(_) | Change::Kept(_) => Vec::new(),
    }
}

struct Room<'a> {
    live: Live,
    clock: Clock,
    backlog: Backlog,
    order: Sender<Order>,
    pressed: Vec<Breath>,
    /// When the end was asked for.
    asked: Option<Instant>,
    /// The last spoken control that was carried out, by the time of its breath.
    done: Option<(f64, Spoken)>,
    /// When what is timed is over, and its length in seconds.
    timer: Option<(Instant, f64)>,
    /// Of the part that is being recorded, and when that began.
    marks: Option<(marks::Writer, f64)>,
    /// When the program spoke.
    spoke: Vec<(f64, f64)>,
    read_back: ReadBack,
    view: &'a mut dyn FnMut(Happening, &Now<'_>),
}

impl Room<'_> {
    fn show(&mut self, happening: Happening) {
        let behind_s = self.backlog.seconds().0;
        let timer = self
            .timer
            .map(|(until, of_s)| (until.saturating_duration_since(Instant::now()).as_secs_f64(), of_s));
        (self.view)(happening, &Now { live: &self.live, clock: &self.clock, behind_s, timer });
    }

    fn look_at_the_timer(&mut self) {
        if self.timer.is_some_and(|(until, _)| until <= Instant::now()) {
            self.timer = None;
            self.show(Happening::TimeIsUp);
        }
    }

    fn notice(&mut self, notice: Notice) {
        use super::recorder::Warning;
        match &notice {
            Notice::Level { recorded_s, .. } => self.clock.recorded_s = *recorded_s,
            Notice::Part { path, from_s } => self.marks = Some((marks::Writer::new(path), *from_s)),
            Notice::Gap(Gap { at_s, lasted_s, why }) => {
                let (at_s, lasted_s, why) = (*at_s, *lasted_s, why.clone());
                self.mark(|from_s| Mark::Gap { at_s: at_s - from_s, lasted_s, why });
            }
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
            Key::GoOn => {
                let _ = self.order.send(Order::GoOn);
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
        self.mark(|from_s| Mark::Pressed { at_s: at_s - from_s, words: words.to_owned() });
        let breath = Breath::from_text(at_s, at_s, words);
        self.pressed.push(breath.clone());
        self.change(breath);
    }

    /// Writes down what cannot be heard in the recording; times count from the start of its part.
    fn mark(&mut self, mark: impl FnOnce(f64) -> Mark) {
        let Some((writer, from_s)) = &mut self.marks else { return };
        if let Err(e) = writer.write(&mark(*from_s)) {
            self.show(Happening::MarkFailed(e));
        }
    }

    /// Reads words aloud. The microphone may hear them: that is no speech of the person's.
    fn say(&mut self, words: Vec<&'static str>, after_s: f64) {
        if words.is_empty() {
            return;
        }
        // Never over the words that it answers.
        let now_s = self.clock.recorded_s.max(after_s);
        let begins_s = self.spoke.last().map_or(now_s, |(_, to)| to.max(now_s));
        let ends_s = begins_s + voice::length_s(&words) + ECHO_S;
        self.spoke.push((begins_s, ends_s));
        let text = words.join(" ").trim().to_owned();
        self.mark(|from_s| Mark::Spoke { from_s: begins_s - from_s, to_s: ends_s - from_s, words: text });
        self.show(Happening::Say(words));
    }

    fn heard(&mut self, turn: Turn) {
        let (breath, again) = match turn {
            Turn::First(breath) => (breath, false),
            Turn::Again(breath) => (breath, true),
        };
        let (Some(breath), _) = marks::without_own(breath, &self.spoke) else { return };
        let late_s = (self.clock.recorded_s - breath.to_s).max(0.0);
        let (from_s, to_s) = (breath.from_s, breath.to_s);
        let asked = spoken(&breath, &self.live.extractor().vocabulary);
        self.show(Happening::Heard { breath: breath.clone(), late_s, again });
        let changes = if again { self.live.again(breath) } else { self.live.take(breath) };
        let aloud: Vec<Vec<&str>> = if self.read_back == ReadBack::Always && asked.is_none() {
            changes.iter().map(read_out).filter(|w| !w.is_empty()).collect()
        } else {
            Vec::new()
        };
        for change in changes {
            self.show(Happening::Change(change));
        }
        self.say(aloud.join(&""), to_s);
        let Some(asked) = asked else { return };
        // What was done when it was heard first is not done twice.
        if again && self.done == Some((from_s, asked)) {
            return;
        }
        self.done = Some((from_s, asked));
        match asked {
            Spoken::Pause => drop(self.order.send(Order::Pause)),
            Spoken::End if self.asked.is_some_and(|at| at.elapsed() < END_WITHIN) => {
                let _ = self.order.send(Order::Stop);
                return;
            }
            Spoken::End => {
                self.asked = Some(Instant::now());
                self.show(Happening::AskedToEnd);
                return;
            }
            // It counts from when it was said, not from when it was heard.
            Spoken::Time(s) => {
                let of = Duration::from_secs(u64::from(s));
                let late = Duration::from_secs_f64(self.clock.since(to_s));
                self.timer = Some((Instant::now() + of.saturating_sub(late), of.as_secs_f64()));
            }
            Spoken::TimeOff => self.timer = None,
            Spoken::ReadBack | Spoken::ReadLengths => {}
        }
        self.show(Happening::Spoken(asked));
        if self.read_back != ReadBack::Never {
            let words: Vec<Vec<&str>> = match asked {
                Spoken::ReadBack => self.live.last().map(voice::of_entry).into_iter().collect(),
                Spoken::ReadLengths => self.live.working_lengths().map(voice::of_entry).collect(),
                _ => return,
            };
            let words = words.join(&"");
            self.say(if words.is_empty() { vec![voice::NOTHING] } else { words }, to_s);
        }
    }

    fn change(&mut self, breath: Breath) {
        for change in self.live.take(breath) {
            self.show(Happening::Change(change));
        }
    }
}
