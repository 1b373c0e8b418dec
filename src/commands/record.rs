//! `tugback record`: a microphone → a recording that no crash can take, and the log while it grows.

use std::{
    fmt::Write as _,
    io::{IsTerminal as _, Read as _},
    path::{Path, PathBuf},
    sync::mpsc::{self, Sender},
    thread,
};

use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use miette::IntoDiagnostic as _;

use super::{Done, log, print, table, tell};
use crate::{
    listen::{self, model},
    log::Entry,
    record::{
        live::{Change, Live},
        microphone::Microphone,
        recorder::{Notice, Order, Plan, Recorded, Warning},
        recover::{self, Found},
        session::{Happening, Key, Now, sit, with_models},
        spoken::Spoken,
        tones::{Player, Tone},
    },
    settings,
};

/// Records from a microphone and writes the log while you speak
#[derive(Debug, Args)]
pub(super) struct Record {
    /// The recording to make, or the folder for it [default: visit-DATE-TIME.wav in the working folder]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// The microphone, by a part of its name [default: that of the system; `tugback microphones` lists them]
    #[arg(long, value_name = "NAME")]
    microphone: Option<String>,
    /// How loud the tones are, from 0 (none) to 1 [default: as in the settings]
    #[arg(long, value_name = "VOLUME", value_parser = volume)]
    volume: Option<f32>,
    /// The speech model, a ggml Whisper file
    #[arg(long, value_name = "FILE")]
    model: Option<PathBuf>,
    /// Records only; the log is made later with `tugback log`
    #[arg(long)]
    no_log: bool,
    #[command(flatten)]
    file: super::settings::File,
}

fn volume(text: &str) -> Result<f32, String> {
    match text.parse::<f32>() {
        Ok(v) if (0.0..=1.0).contains(&v) => Ok(v),
        _ => Err("a number from 0 (no tones) to 1 is expected".to_owned()),
    }
}

/// Runs the command.
pub(super) fn run(args: Record) -> miette::Result<Done> {
    let chosen = args.file.load()?;
    let path = place(args.output.as_deref())?;
    offer_to_recover(path.parent().unwrap_or(Path::new("")));
    let found = if args.no_log {
        None
    } else {
        Some(model::find_models(args.model.as_deref(), chosen.model.as_deref()).into_diagnostic()?)
    };
    let mut microphone = Microphone::find(args.microphone.as_deref()).into_diagnostic()?;
    let listening = found.map(|found| with_models(listen::Settings::from(found)));
    let wait = |samples: &mut dyn crate::audio::Samples| while let Ok(Some(_)) = samples.next_block() {};
    let only_record: Box<crate::record::session::Listening> = Box::new(move |samples, _, _| {
        wait(samples);
        Ok(())
    });
    let listening = listening.unwrap_or(only_record);

    let (order, orders) = mpsc::channel();
    let stop = order.clone();
    super::on_interrupt(move || {
        let _ = stop.send(Order::Stop); // it may have ended by itself
    })?;
    let (pressed, keys) = mpsc::channel();
    let terminal = keys_of_terminal(pressed.clone());
    let volume = args.volume.unwrap_or_else(|| loud(&chosen));
    let mut view = View::new(volume);
    let plan = Plan::new(path);
    let live = Live::new(log::extractor(&chosen, None, false, None));
    tell("opening the microphone; wait for `ready`");
    let sat = sit(
        &mut microphone,
        &plan,
        listening.as_ref(),
        live,
        (order, orders),
        &keys,
        &mut |happening, now| view.show(&happening, now),
    );
    drop(pressed);
    view.bar.finish_and_clear();
    drop(terminal);
    let sat = sat.into_diagnostic()?;
    report(&sat.recorded);
    if !sat.recorded.heard {
        miette::bail!("the microphone never gave a sound; check it with `tugback microphones`");
    }
    if !args.no_log {
        let mut before_s = 0.0;
        for (path, seconds) in &sat.recorded.parts {
            let here = before_s..before_s + seconds;
            let mut pressed: Vec<_> =
                sat.pressed.iter().filter(|b| here.contains(&b.from_s)).cloned().collect();
            for breath in &mut pressed {
                breath.from_s -= before_s;
                breath.to_s -= before_s;
            }
            before_s += seconds;
            tell(format_args!("listening to all of `{}` once more", path.display()));
            log::run(&log::Log::of(path.clone(), args.model.clone(), args.file.clone(), pressed))?;
        }
    }
    match sat.recorded.stopped {
        Some(why) => Err(why).into_diagnostic(),
        None => Ok(Done::Well),
    }
}

/// Where to record: a new name in the folder that was named, or in the working folder.
fn place(output: Option<&Path>) -> miette::Result<PathBuf> {
    let name = || jiff::ZonedDateTime::now().strftime("visit-%Y-%m-%d-%H%M%S.wav").to_string();
    let path = match output {
        None => PathBuf::from(name()),
        Some(path) if path.is_dir() => path.join(name()),
        Some(path) if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav")) => path.to_owned(),
        Some(path) => {
            let mut name = path.as_os_str().to_owned();
            name.push(".wav");
            PathBuf::from(name)
        }
    };
    if path.exists() {
        miette::bail!("`{}` is there already; choose another name after -o", path.display());
    }
    super::refuse_output(&path, &path)?;
    Ok(path)
}

fn offer_to_recover(folder: &Path) {
    let folder = if folder == Path::new("") { Path::new(".") } else { folder };
    let left = |f: &&Found| matches!(f, Found::Left(_));
    let n = recover::look(folder).unwrap_or_default().iter().filter(left).count();
    if n > 0 {
        let folder = folder.display();
        tell(format_args!(
            "{n} recordings here were cut off by a crash; `tugback recover {folder}` finishes them"
        ));
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a volume from 0 to 1")]
fn loud(chosen: &settings::Settings) -> f32 {
    chosen.record.volume.to_f64() as f32
}

fn report(recorded: &Recorded) {
    for (path, seconds) in &recorded.parts {
        tell(format_args!("recorded: {}, {seconds:.1} s", path.display()));
    }
    for gap in &recorded.gaps {
        tell(format_args!("at {}: {} for {:.0} s", table::clock(gap.at_s), gap.why, gap.lasted_s));
    }
    if recorded.lost_blocks > 0 {
        tell(format_args!("{} blocks of sound were lost: the disk was too slow", recorded.lost_blocks));
    }
}

/// What is seen and heard at the chair.
struct View {
    bar: ProgressBar,
    player: Player,
    peak: f32,
    warning: Option<String>,
    lines: Vec<String>,
}

impl View {
    fn new(volume: f32) -> Self {
        let bar =
            if std::io::stderr().is_terminal() { ProgressBar::new_spinner() } else { ProgressBar::hidden() };
        if let Ok(style) = ProgressStyle::with_template("{msg}") {
            bar.set_style(style);
        }
        Self { bar, player: Player::new(volume), peak: 0.0, warning: None, lines: Vec::new() }
    }

    fn show(&mut self, happening: &Happening, now: &Now<'_>) {
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
            Happening::Heard { .. } | Happening::Tick | Happening::Spoken(_) => {}
            Happening::AskedToEnd => {
                self.player.play(Tone::Doubt);
                self.line("say `end of log` once more to end");
            }
            Happening::ListenerFailed(why) => {
                self.warn(&format!("the log does not grow any more ({why}); the recording goes on"));
            }
        }
        if !self.bar.is_hidden() {
            self.bar.set_message(self.status(now));
        }
    }

    fn notice(&mut self, notice: &Notice) {
        match notice {
            Notice::Level { peak, .. } => self.peak = peak.max(self.peak * 0.7),
            Notice::Ready { name, format } => {
                self.warning = None;
                self.player.play(Tone::Ready);
                self.line(&format!("ready: {name}, {} Hz", format.rate_hz));
            }
            Notice::Part(path) => self.line(&format!("recording into {}", path.display())),
            Notice::Paused { at_s } => {
                self.player.play(Tone::Struck);
                self.line(&format!(
                    "{} paused: the microphone is closed; space goes on",
                    table::clock(*at_s)
                ));
            }
            Notice::GoneOn => self.line("goes on"),
            Notice::Warning(Warning::Back { away_s }) => {
                self.warning = None;
                self.line(&format!("the microphone is back; {away_s:.0} s are missing"));
            }
            Notice::Warning(warning) => self.warn(&warning.to_string()),
        }
    }

    fn change(&mut self, change: &Change) {
        let (sign, tone, entry) = match change {
            Change::Taken(e) => (' ', Tone::Taken, e),
            Change::Changed(e) => ('~', Tone::Taken, e),
            Change::Doubted(e) => ('?', Tone::Doubt, e),
            Change::Struck(e) | Change::Gone(e) => ('x', Tone::Struck, e),
            Change::Kept(_) => return,
        };
        self.player.play(tone);
        self.entry(sign, entry);
    }

    fn entry(&mut self, sign: char, entry: &Entry) {
        let line = format!("{sign} {}", table::line(entry));
        if self.lines.len() == 3 {
            self.lines.remove(0);
        }
        self.lines.push(line.clone());
        self.line(&line);
    }

    fn warn(&mut self, what: &str) {
        self.player.play(Tone::Warning);
        self.warning = Some(what.to_owned());
        self.bar.suspend(|| tell(format_args!("\u{7}WARNING: {what}")));
    }

    /// A line to stdout; where nobody can read it, the recording goes on.
    fn line(&self, line: &str) {
        let _ = self.bar.suspend(|| print(&format!("{line}\n")));
    }

    fn status(&self, now: &Now<'_>) -> String {
        let state = if now.clock.is_paused() { "‖ not recording" } else { "● RECORDING" };
        let mut text = format!("{state}  {}  {}", table::clock(now.clock.recorded_s), meter(self.peak));
        let doubts = now.live.doubts();
        let _ = write!(text, "  doubts: {doubts}");
        if let Some((entry, at_s)) = now.live.last_irrigation() {
            let canal = table::canal(entry);
            let _ = write!(text, "  last irrigation {canal} {} ago", table::clock(now.clock.since(at_s)));
        }
        if now.behind_s > 3.0 {
            let _ = write!(text, "  {:.0} s behind", now.behind_s);
        }
        for line in &self.lines {
            let _ = write!(text, "\n   {line}");
        }
        if let Some(warning) = &self.warning {
            let _ = write!(text, "\n   !! {warning}");
        }
        text.push_str("\n   space: pause, go on   s: strike the last   f: flag it   Ctrl-C: end");
        text
    }
}

/// A bar of ten signs over 50 dB.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 10")]
fn meter(peak: f32) -> String {
    let db = 20.0 * peak.max(1e-5).log10();
    let n = ((db + 50.0) / 5.0).clamp(0.0, 10.0) as usize;
    format!("{}{}", "█".repeat(n), "·".repeat(10 - n))
}

/// Reads keys without Enter, and gives the terminal back as it was when it is dropped.
struct Terminal {
    #[cfg(unix)]
    before: Option<rustix::termios::Termios>,
}

impl Drop for Terminal {
    fn drop(&mut self) {
        #[cfg(unix)]
        if let Some(before) = &self.before {
            use rustix::termios::{OptionalActions, tcsetattr};
            let _ = tcsetattr(std::io::stdin(), OptionalActions::Now, before);
        }
    }
}

/// Keys of the terminal, if this is one: a pedal sends keys, too. A terminal that goes ends no recording.
fn keys_of_terminal(pressed: Sender<Key>) -> Terminal {
    #[cfg(unix)]
    {
        use rustix::termios::{LocalModes, OptionalActions, tcgetattr, tcsetattr};
        let input = std::io::stdin();
        if !input.is_terminal() {
            return Terminal { before: None };
        }
        let before = tcgetattr(&input).ok();
        if let Some(mut raw) = before.clone() {
            raw.local_modes.remove(LocalModes::ICANON | LocalModes::ECHO);
            let _ = tcsetattr(&input, OptionalActions::Now, &raw);
        }
        read_keys(pressed);
        Terminal { before }
    }
    #[cfg(not(unix))]
    {
        // Keys count after Enter.
        read_keys(pressed);
        Terminal {}
    }
}

fn read_keys(pressed: Sender<Key>) {
    thread::spawn(move || {
        for byte in std::io::stdin().lock().bytes() {
            let Ok(byte) = byte else { break };
            let key = match byte {
                b' ' => Key::Pause,
                b'f' | b'F' => Key::Flag,
                b's' | b'S' => Key::Strike,
                4 => Key::End,
                _ => continue,
            };
            if pressed.send(key).is_err() {
                break;
            }
        }
    });
}
