//! What is seen and heard at the chair: a terminal with tones, or lines of JSON for another program.

use std::{
    fmt::Write as _,
    io::IsTerminal as _,
    time::{Duration, Instant},
};

use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;

use crate::{
    commands::{print, table, tell},
    log::Entry,
    record::{
        live::Change,
        recorder::{Notice, Warning},
        session::{Happening, Now},
        shown::{Panel, Shown, State},
        spoken::Spoken,
        tones::{Player, Tone},
    },
    settings::Keys,
};

/// A view for another program is written at least so often while something happens.
const EVERY: Duration = Duration::from_millis(200);

pub(super) struct View {
    bar: ProgressBar,
    player: Player,
    panel: Panel,
    keys: Keys,
    /// Another program reads: when it was told last.
    json: Option<Instant>,
}

impl View {
    pub(super) fn new(volume: f32, keys: Keys, json: bool) -> Self {
        let bar = if std::io::stderr().is_terminal() && !json {
            ProgressBar::new_spinner()
        } else {
            ProgressBar::hidden()
        };
        if let Ok(style) = ProgressStyle::with_template("{msg}") {
            bar.set_style(style);
        }
        if json {
            let _ = print(&format!("{}\n", json!({ "keys": keys })));
        }
        let json = json.then(Instant::now);
        Self { bar, player: Player::new(volume), panel: Panel::default(), keys, json }
    }

    pub(super) fn show(&mut self, happening: &Happening, now: &Now<'_>) {
        self.panel.take(happening, now);
        match happening {
            Happening::Notice(notice) => self.notice(notice),
            Happening::Change(change) => self.change(change),
            Happening::Spoken(Spoken::ReadBack) => {
                self.line(&now.live.last().map_or("nothing is logged yet".to_owned(), table::line));
            }
            Happening::Spoken(Spoken::ReadLengths) => {
                let lengths: Vec<String> = now.live.working_lengths().map(table::line).collect();
                self.line(&if lengths.is_empty() {
                    "no working length yet".to_owned()
                } else {
                    lengths.join("\n")
                });
            }
            Happening::Spoken(Spoken::Time(s)) => {
                self.player.play(Tone::Taken);
                self.line(&format!("timing {s} s"));
            }
            Happening::Spoken(Spoken::TimeOff) => {
                self.player.play(Tone::Struck);
                self.line("timing stopped");
            }
            Happening::TimeIsUp => {
                self.player.play(Tone::TimeIsUp);
                self.line("time is up");
            }
            Happening::Say(words) => self.player.say(words.clone()),
            Happening::Heard { .. } | Happening::Tick | Happening::Spoken(_) => {}
            Happening::AskedToEnd => {
                self.player.play(Tone::Doubt);
                self.line("say `end of log` once more to end");
            }
            Happening::ListenerFailed(why) => {
                self.warn(&format!("the log does not grow any more ({why}); the recording goes on"));
            }
            Happening::MarkFailed(why) => {
                self.warn(&format!("the key could not be written down beside the recording ({why})"));
            }
        }
        if let Some(told) = self.json {
            let idle = matches!(happening, Happening::Tick | Happening::Notice(Notice::Level { .. }));
            if !idle || told.elapsed() >= EVERY {
                self.json = Some(Instant::now());
                // Where nobody reads any more, the recording goes on.
                let _ = print(&format!("{}\n", json!({ "shown": self.panel.shown(now) })));
            }
        } else if !self.bar.is_hidden() {
            self.bar.set_message(status(&self.panel.shown(now), &self.keys));
        }
    }

    /// The microphone is closed for good; all of the recording is listened to once more.
    pub(super) fn over(&mut self) {
        self.bar.finish_and_clear();
        if self.json.is_some() {
            let _ = print(&format!("{}\n", json!({ "shown": { "state": State::Over } })));
        }
    }

    fn notice(&mut self, notice: &Notice) {
        match notice {
            Notice::Level { .. } | Notice::Gap(_) => {}
            Notice::Ready { name, format } => {
                self.player.play(Tone::Ready);
                self.line(&format!("ready: {name}, {} Hz", format.rate_hz));
            }
            Notice::Part { path, .. } => self.line(&format!("recording into {}", path.display())),
            Notice::Paused { at_s } => {
                self.player.play(Tone::Paused);
                let key = self.keys.pause.first().map_or("nothing", String::as_str);
                self.line(&format!(
                    "{} paused: the microphone is closed; {key} goes on",
                    table::clock(*at_s)
                ));
            }
            Notice::GoneOn => self.line("goes on"),
            Notice::Warning(warning @ Warning::Back { .. }) => self.line(&warning.to_string()),
            Notice::Warning(warning) => self.warn(&warning.to_string()),
        }
    }

    fn change(&mut self, change: &Change) {
        let (sign, tone, entry) = match change {
            Change::Taken(e) => (' ', Tone::Taken, e),
            Change::Changed(e) => ('~', Tone::Taken, e),
            Change::Doubted(e) => ('?', Tone::Doubt, e),
            Change::Struck(e) | Change::Gone(e) => ('x', Tone::Struck, e),
            // The ear was told of the doubt; that it is gone can be seen.
            Change::Settled(e) => return self.entry(' ', e),
            Change::Kept(_) => return,
        };
        self.player.play(tone);
        self.entry(sign, entry);
    }

    fn entry(&mut self, sign: char, entry: &Entry) {
        self.line(&format!("{sign} {}", table::line(entry)));
    }

    fn warn(&mut self, what: &str) {
        self.player.play(Tone::Warning);
        self.bar.suspend(|| tell(format_args!("\u{7}WARNING: {what}")));
    }

    /// A line to stdout; where nobody can read it, the recording goes on.
    fn line(&self, line: &str) {
        if self.json.is_none() {
            let _ = self.bar.suspend(|| print(&format!("{line}\n")));
        }
    }
}

/// What stands below the lines in a terminal.
fn status(shown: &Shown<'_>, keys: &Keys) -> String {
    let state = match shown.state {
        State::Opening => "◌ not yet recording",
        State::Recording => "● RECORDING",
        State::Paused => "‖ PAUSED, not recording",
        State::Gone => "✕ NO MICROPHONE, not recording",
        State::Over => "over",
    };
    let mut text = format!("{state}  {}  {}", table::clock(shown.recorded_s), meter(shown.level));
    let _ = write!(text, "  doubts: {}", shown.doubts);
    if shown.behind_s > 3.0 {
        let _ = write!(text, "  {:.0} s behind", shown.behind_s);
    }
    if let Some(timer) = &shown.timer {
        let _ = write!(text, "\n   ⧗ {:.0} s of {:.0} s left", timer.left_s.ceil(), timer.of_s);
    }
    if let Some(rinsed) = &shown.rinsed {
        let canal = rinsed.canal.map(|c| format!(" of {}", c.names().join(", "))).unwrap_or_default();
        let _ = write!(text, "\n   last irrigation{canal}: {} ago", table::clock(rinsed.ago_s));
        if let Some(contact) = &shown.contact {
            let agent = contact.agent.replace('-', " ");
            let _ = write!(text, "; {agent} in it for {}", table::clock(contact.for_s));
        }
    }
    for entry in shown.last {
        let _ = write!(text, "\n   {}", table::line(entry));
    }
    if let Some(warning) = shown.warning {
        let _ = write!(text, "\n   !! {warning}");
    }
    if shown.asked_to_end {
        text.push_str("\n   say `end of log` once more to end");
    }
    let key = |names: &[String]| names.first().cloned().unwrap_or_else(|| "–".to_owned());
    let _ = write!(
        text,
        "\n   {}: pause, go on   {}: strike the last   {}: flag it   Ctrl-C: end",
        key(&keys.pause),
        key(&keys.strike),
        key(&keys.flag)
    );
    text
}

/// A bar of ten signs.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 10")]
fn meter(level: f32) -> String {
    let n = (level * 10.0).round().clamp(0.0, 10.0) as usize;
    format!("{}{}", "█".repeat(n), "·".repeat(10 - n))
}
