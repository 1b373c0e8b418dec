//! `tugback microphones`: what there is to record with, and how loud each hears.

use std::{
    fmt::Write as _,
    sync::{Arc, atomic::AtomicU64, mpsc},
    time::{Duration, Instant},
};

use clap::Args;
use miette::IntoDiagnostic as _;

use super::{Done, print, tell};
use crate::record::{
    capture::{Capture as _, CaptureError, Event, Sink},
    microphone::{self, Microphone},
};

/// Lists the microphones, with a test of what each hears
#[derive(Debug, Args)]
pub(super) struct Microphones {
    /// Listens to each for so many seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0, value_parser = seconds)]
    test: f64,
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if (0.0..=60.0).contains(&s) => Ok(s),
        _ => Err("a number of seconds from 0 to 60 is expected".to_owned()),
    }
}

/// Runs the command.
pub(super) fn run(args: &Microphones) -> miette::Result<Done> {
    let all = microphone::list().into_diagnostic()?;
    if all.is_empty() {
        return Err(CaptureError::NoDevice).into_diagnostic();
    }
    for about in all {
        let mut line = format!("{}{}", if about.default { "* " } else { "  " }, about.name);
        if about.id != about.name {
            let _ = write!(line, " ({})", about.id);
        }
        if let Some(f) = about.format {
            let _ = write!(line, ", {} Hz, {} channels", f.rate_hz, f.channels);
        }
        let wanted = (!about.default).then_some(about.id.as_str());
        let _ = writeln!(line, ": {}", level(wanted, args.test));
        print(&line)?;
    }
    tell("* is the default; another is chosen with: tugback record --microphone NAME");
    Ok(Done::Well)
}

/// What a microphone hears, in words.
fn level(wanted: Option<&str>, seconds: f64) -> String {
    let mut microphone = match Microphone::find(wanted) {
        Ok(m) => m,
        Err(e) => return e.to_string(),
    };
    let (into, events) = mpsc::sync_channel(256);
    let stream = match microphone.open(Sink::new(into, Arc::new(AtomicU64::new(0)))) {
        Ok((_, stream)) => stream,
        Err(e) => return e.to_string(),
    };
    let until = Instant::now() + Duration::from_secs_f64(seconds);
    let (mut peak, mut blocks) = (0.0_f32, 0);
    while let Ok(event) = events.recv_timeout(until.saturating_duration_since(Instant::now())) {
        match event {
            Event::Block(samples) => {
                blocks += 1;
                peak = samples.iter().fold(peak, |m, s| m.max(s.abs()));
            }
            Event::Gone(why) => return why,
            _ => {}
        }
    }
    drop(stream);
    match (blocks, peak) {
        (0, _) => "gives nothing".to_owned(),
        (_, 0.0) => "no signal (muted, not allowed, or nothing plugged in)".to_owned(),
        _ => format!("hears, loudest {:.0} dB below the most", -20.0 * f64::from(peak).log10()),
    }
}
