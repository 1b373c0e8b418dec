//! `tugback record`: a microphone → a recording that no crash can take, and the log while it grows.

mod terminal;
mod view;

use std::{
    io::{BufRead as _, IsTerminal as _},
    path::{Path, PathBuf},
    sync::mpsc,
};

use clap::Args;
use miette::IntoDiagnostic as _;
use serde_json::json;

use super::{Done, log, print, table, tell};
use crate::{
    listen::{self, model},
    record::{
        live::Live,
        microphone::Microphone,
        recorder::{Order, Plan, Recorded},
        recover::{self, Found, Left},
        session::{Listening, sit, with_models},
    },
    settings,
};
use view::View;

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
    /// The microphone stays closed until the key for pause is pressed, and closes when it is pressed again
    #[arg(long)]
    push_to_talk: bool,
    /// For other programs: what a screen shows as lines of JSON on stdout, orders as lines on stdin (pause, go-on, strike,
    /// flag, end)
    #[arg(long)]
    json: bool,
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
    offer_to_recover(path.parent().unwrap_or(Path::new("")), args.json);
    let found = if args.no_log {
        None
    } else {
        Some(model::find_models(args.model.as_deref(), chosen.model.as_deref()).into_diagnostic()?)
    };
    let wanted = args.microphone.as_deref().or(chosen.record.microphone.as_deref());
    let mut microphone = Microphone::find(wanted).into_diagnostic()?;
    let listening = found.map_or_else(only_record, |found| with_models(listen::Settings::from(found)));

    let (order, orders) = mpsc::channel();
    let stop = order.clone();
    super::on_interrupt(move || {
        let _ = stop.send(Order::Stop); // it may have ended by itself
    })?;
    let (pressed, keys) = mpsc::channel();
    let terminal = if args.json {
        terminal::orders_of_program(pressed.clone());
        None
    } else {
        Some(terminal::keys_of_terminal(pressed.clone(), chosen.record.keys.clone()))
    };
    #[cfg(unix)]
    terminal::signals(pressed.clone()).into_diagnostic()?;
    let volume = args.volume.unwrap_or_else(|| loud(&chosen));
    let mut view = View::new(volume, chosen.record.keys.clone(), args.json);
    let read_back = if volume > 0.0 { chosen.record.read_back } else { settings::ReadBack::Never };
    let plan = Plan { begin_paused: args.push_to_talk, read_back, ..Plan::new(path) };
    let live = Live::new(log::extractor(&chosen, None, false, None));
    if !args.push_to_talk {
        tell("opening the microphone; wait for `ready`");
    }
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
    view.over();
    drop(terminal);
    let sat = sat.into_diagnostic()?;
    report(&sat.recorded);
    if !sat.recorded.heard {
        miette::bail!("the microphone never gave a sound; check it with `tugback microphones`");
    }
    if !args.no_log {
        for (path, _) in &sat.recorded.parts {
            tell(format_args!("listening to all of `{}` once more", path.display()));
            log::run(&log::Log::of(path.clone(), args.model.clone(), args.file.clone(), args.json))?;
        }
    }
    if args.json {
        let parts: Vec<String> = sat.recorded.parts.iter().map(|(p, _)| p.display().to_string()).collect();
        print(&format!("{}\n", json!({ "over": { "recordings": parts } })))?;
    }
    match sat.recorded.stopped {
        Some(why) => Err(why).into_diagnostic(),
        None => Ok(Done::Well),
    }
}

/// Takes the samples and hears nothing.
fn only_record() -> Box<Listening> {
    Box::new(|samples, _, _| {
        while let Ok(Some(_)) = samples.next_block() {}
        Ok(())
    })
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

/// Recordings of this folder that a crash cut off can be finished now, where somebody can say so.
fn offer_to_recover(folder: &Path, json: bool) {
    let folder = if folder == Path::new("") { Path::new(".") } else { folder };
    let found = recover::look(folder).unwrap_or_default().into_iter();
    let left: Vec<Left> =
        found.filter_map(|f| if let Found::Left(left) = f { Some(left) } else { None }).collect();
    if left.is_empty() {
        return;
    }
    let what = match left.as_slice() {
        [one] => format!("the recording `{}` was cut off by a crash", one.path.display()),
        all => format!("{} recordings here were cut off by a crash", all.len()),
    };
    let asks = !json && std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    if !asks {
        tell(format_args!("{what}; `tugback recover {}` finishes them", folder.display()));
        return;
    }
    tell(format_args!("{what}. Finish them before this one begins? [Y/n]"));
    let mut answer = String::new();
    let _ = std::io::stdin().lock().read_line(&mut answer);
    if answer.trim().eq_ignore_ascii_case("n") {
        return;
    }
    for left in left {
        match recover::mend(&left) {
            Ok(seconds) => tell(format_args!("finished: {}, {seconds:.1} s", left.path.display())),
            Err(e) => tell(format_args!("`{}` cannot be finished: {e}", left.path.display())),
        }
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
