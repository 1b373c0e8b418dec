//! What happens at the chair → what a screen shows of it: state, level, time, doubts, the last entries, the running
//! clock. The same for the terminal and for the page; which words and signs, each decides for itself.

use serde::Serialize;

use super::{
    recorder::{Notice, Warning},
    session::{Happening, Now},
};
use crate::log::{Canal, Entry};

/// Entries that are shown large.
pub const LAST: usize = 3;

/// How the recording is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// The microphone is opened, but no real sound has come yet.
    #[default]
    Opening,
    Recording,
    /// The microphone is closed.
    Paused,
    /// The microphone has gone; what is said is not recorded.
    Gone,
    /// It is over; all of it is listened to once more.
    Over,
}

/// What is kept from one happening to the next.
#[derive(Debug, Clone, Default)]
pub struct Panel {
    pub state: State,
    peak: f32,
    level_at_s: f64,
    /// What is wrong, and until when in the recording it is shown, where it passes.
    warning: Option<(String, Option<f64>)>,
    /// What does not pass: the disk is nearly full, the log does not grow.
    lasting: Option<String>,
    microphone: Option<String>,
    file: Option<String>,
    /// The end was asked for once, so many seconds of the recording ago.
    asked_at_s: Option<f64>,
}

/// What a screen shows. Times are seconds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shown<'a> {
    pub state: State,
    /// Of the recording.
    pub recorded_s: f64,
    /// Loudness of the last blocks over 50 dB, 0 to 1.
    pub level: f32,
    /// How many entries that count carry a doubt.
    pub doubts: usize,
    /// How many entries there are.
    pub entries: usize,
    /// The last entries, the newest at the end.
    pub last: &'a [Entry],
    /// The canal that is being worked in, as far as it was rinsed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rinsed: Option<Rinsed<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contact: Option<Contact<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub timer: Option<Timer>,
    /// Sound that waits to be listened to.
    pub behind_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub warning: Option<&'a str>,
    /// The end was asked for; a second time ends.
    pub asked_to_end: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub microphone: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<&'a str>,
}

/// How long ago a canal was rinsed last.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rinsed<'a> {
    pub canal: Option<&'a Canal>,
    pub ago_s: f64,
}

/// Which irrigant stands in it, and for how long.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Contact<'a> {
    pub agent: &'a str,
    pub for_s: f64,
}

/// What is being timed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Timer {
    pub left_s: f64,
    pub of_s: f64,
}

/// The level falls to a third in so many seconds, so that the eye can follow it.
const FALLS_S: f64 = 0.4;
/// How long something that went wrong once is shown, in seconds.
const WARNED_S: f64 = 60.0;
/// How long a first request to end is shown, in seconds.
const ASKED_S: f64 = 20.0;

impl Panel {
    pub fn take(&mut self, happening: &Happening, now: &Now<'_>) {
        match happening {
            Happening::Notice(notice) => self.notice(notice, now.clock.recorded_s),
            Happening::AskedToEnd => self.asked_at_s = Some(now.clock.recorded_s),
            Happening::ListenerFailed(why) => {
                let what = format!("the log does not grow any more ({why}); the recording goes on");
                self.lasting = Some(what);
            }
            _ => {}
        }
        if self.asked_at_s.is_some_and(|at| now.clock.recorded_s - at > ASKED_S) {
            self.asked_at_s = None;
        }
        if self.warning.as_ref().and_then(|w| w.1).is_some_and(|until_s| now.clock.recorded_s > until_s) {
            self.warning = None;
        }
    }

    fn notice(&mut self, notice: &Notice, recorded_s: f64) {
        match notice {
            Notice::Level { peak, recorded_s } => {
                #[expect(clippy::cast_possible_truncation, reason = "a share")]
                let rest = (-(recorded_s - self.level_at_s).max(0.0) / FALLS_S).exp() as f32;
                self.level_at_s = *recorded_s;
                self.peak = peak.max(self.peak * rest);
            }
            Notice::Ready { name, .. } => {
                (self.state, self.warning, self.microphone) = (State::Recording, None, Some(name.clone()));
            }
            Notice::Part { path, .. } => {
                self.file = path.file_name().map(|n| n.to_string_lossy().into_owned());
            }
            // A closed microphone has no trouble.
            Notice::Paused { .. } => (self.state, self.peak, self.warning) = (State::Paused, 0.0, None),
            Notice::Gap(_) => {}
            // Not "recording" before real samples come.
            Notice::GoneOn => self.state = State::Opening,
            Notice::Warning(warning) => {
                let mut until_s = None;
                match warning {
                    Warning::Gone(_) => (self.state, self.peak) = (State::Gone, 0.0),
                    Warning::Back { .. } => self.state = State::Opening,
                    Warning::NoSignal => {}
                    Warning::Overrun | Warning::Rerouted | Warning::NewFormat(_) => {
                        until_s = Some(recorded_s + WARNED_S);
                    }
                    Warning::Room { .. } | Warning::NotClosed => {
                        self.lasting = Some(warning.to_string());
                        return;
                    }
                }
                self.warning = Some((warning.to_string(), until_s));
            }
        }
    }

    pub fn shown<'a>(&'a self, now: &Now<'a>) -> Shown<'a> {
        let entries = &now.live.entries;
        let since = |s: f64| now.clock.since(s);
        Shown {
            state: self.state,
            recorded_s: now.clock.recorded_s,
            level: level(self.peak),
            doubts: now.live.doubts(),
            entries: entries.len(),
            last: entries.get(entries.len().saturating_sub(LAST)..).unwrap_or_default(),
            rinsed: now
                .live
                .last_irrigation()
                .map(|(e, at_s)| Rinsed { canal: e.canal.as_ref(), ago_s: since(at_s) }),
            contact: now.live.contact().map(|(agent, at_s)| Contact { agent, for_s: since(at_s) }),
            timer: now.timer.map(|(left_s, of_s)| Timer { left_s, of_s }),
            behind_s: now.behind_s,
            warning: self.warning.as_ref().map(|w| w.0.as_str()).or(self.lasting.as_deref()),
            asked_to_end: self.asked_at_s.is_some(),
            microphone: self.microphone.as_deref(),
            file: self.file.as_deref(),
        }
    }
}

/// The largest sample as a share of 50 dB.
fn level(peak: f32) -> f32 {
    ((20.0 * peak.max(1e-5).log10() + 50.0) / 50.0).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        entries::{Extractor, Settings},
        listen::heard::Breath,
        record::{capture::Format, live::Live, session::Clock},
    };

    /// The panel after these notices, as the page gets it.
    fn shown(notices: &[Notice], live: &Live, timer: Option<(f64, f64)>) -> serde_json::Value {
        let mut clock = Clock::default();
        clock.recorded_s = 30.0;
        let now = Now { live, clock: &clock, behind_s: 0.0, timer };
        let mut panel = Panel::default();
        for notice in notices {
            panel.take(&Happening::Notice(notice.clone()), &now);
        }
        serde_json::to_value(panel.shown(&now)).unwrap()
    }

    fn ready() -> Notice {
        let format = Format { rate_hz: 48_000, channels: 1, bits: 16 };
        Notice::Ready { name: "desk microphone".to_owned(), format }
    }

    #[test]
    fn it_records_only_while_real_samples_come() {
        let live = Live::new(Extractor::new(Settings::default()));
        let state = |notices: &[Notice]| shown(notices, &live, None)["state"].clone();
        let gone = || Notice::Warning(Warning::Gone("it was pulled out".to_owned()));
        let back = || Notice::Warning(Warning::Back { away_s: 2.0 });
        assert_eq!(state(&[]), "opening");
        assert_eq!(state(&[ready()]), "recording");
        assert_eq!(state(&[ready(), Notice::Paused { at_s: 1.0 }]), "paused");
        assert_eq!(state(&[ready(), Notice::Paused { at_s: 1.0 }, Notice::GoneOn]), "opening");
        assert_eq!(state(&[ready(), gone()]), "gone");
        assert_eq!(state(&[ready(), gone(), back()]), "opening");
        assert_eq!(state(&[ready(), gone(), back(), ready()]), "recording");
        let all = shown(&[ready(), gone()], &live, None);
        assert!(all["warning"].as_str().unwrap().contains("pulled out"), "{all}");
        assert!(shown(&[ready(), gone(), back(), ready()], &live, None).get("warning").is_none());
    }

    /// A warning is shown as long as it holds, and no longer.
    #[test]
    fn warnings_pass_and_last() {
        let live = Live::new(Extractor::new(Settings::default()));
        let check = |warning: Warning, then: &[Notice], later_s: f64| {
            let mut clock = Clock::default();
            let mut panel = Panel::default();
            for notice in [ready(), Notice::Warning(warning)].iter().chain(then) {
                let now = Now { live: &live, clock: &clock, behind_s: 0.0, timer: None };
                panel.take(&Happening::Notice(notice.clone()), &now);
            }
            clock.recorded_s = later_s;
            let now = Now { live: &live, clock: &clock, behind_s: 0.0, timer: None };
            panel.take(&Happening::Tick, &now);
            panel.shown(&now).warning.is_some()
        };
        let paused = Notice::Paused { at_s: 1.0 };
        assert!(check(Warning::NoSignal, &[], 500.0), "still none");
        assert!(!check(Warning::NoSignal, &[ready()], 1.0), "it hears again");
        assert!(!check(Warning::NoSignal, std::slice::from_ref(&paused), 1.0), "it is closed");
        assert!(check(Warning::Overrun, &[], 50.0) && !check(Warning::Overrun, &[], 70.0), "once");
        let room = || Warning::Room { left_s: 600.0 };
        assert!(check(room(), &[paused, ready()], 5000.0), "the disk stays full");
    }

    #[test]
    fn the_clock_and_the_last_entries() {
        let mut live = Live::new(Extractor::new(Settings::default()));
        let said = [
            "tooth three six",
            "mesiobuccal, working length twenty one",
            "patency ten",
            "irrigate with three mils of EDTA",
        ];
        for (n, line) in (0_u32..).zip(said) {
            live.take(Breath::from_text(f64::from(n) * 3.0, f64::from(n) * 3.0 + 2.0, line));
        }
        let all = shown(&[ready()], &live, Some((12.5, 30.0)));
        let kinds: Vec<_> =
            all["last"].as_array().unwrap().iter().map(|e| e["kind"].as_str().unwrap()).collect();
        assert_eq!(kinds.last(), Some(&"irrigation"), "{all}");
        assert_eq!(kinds.len(), LAST);
        assert_eq!(all["rinsed"]["ago_s"], 19.0);
        assert_eq!((&all["contact"]["agent"], &all["contact"]["for_s"]), (&"edta".into(), &19.0.into()));
        assert_eq!((&all["timer"]["left_s"], &all["timer"]["of_s"]), (&12.5.into(), &30.0.into()));
    }
}
