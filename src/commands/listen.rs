//! `tugback listen`: only the words of a recording, with times, doubt and other readings.

use std::{
    io,
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
};

use clap::{Args, ValueEnum};
use miette::{IntoDiagnostic as _, WrapErr as _};

use super::{Done, print, progress, refuse_output, tell, write_out};
use crate::{
    audio,
    listen::{Event, Second, Settings, heard::Breath, kept, model},
    log::file,
};

/// Writes down the words of a recording: times, how likely each is wrong, what else it may have been
#[derive(Debug, Args)]
pub(super) struct Listen {
    /// The recording: WAV, FLAC, MP3, Ogg, M4A, MKV …
    input: PathBuf,
    /// What to write
    #[arg(long = "as", value_enum, default_value_t = Form::Words)]
    form: Form,
    /// Where to write it [default: standard output]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// The speech model, a ggml Whisper file
    #[arg(long, value_name = "FILE")]
    model: Option<PathBuf>,
    #[command(flatten)]
    file: super::settings::File,
    /// Do without the second listener: faster, fewer doubts are found
    #[arg(long)]
    once: bool,
    /// How many stretches of speech are heard at the same time [default: the processors that are free]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=64))]
    threads: Option<u16>,
}

/// What `tugback listen` writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// One word a line, columns separated by tabs
    Words,
    /// Captions as in a .vtt file, one a breath
    Captions,
}

/// Runs the command.
pub(super) fn run(args: &Listen) -> miette::Result<Done> {
    let found =
        model::find_models(args.model.as_deref(), args.file.load()?.model.as_deref()).into_diagnostic()?;
    let mut recording = audio::open(&args.input, &audio::Options::default()).into_diagnostic()?;
    let mut settings = Settings { workers: args.threads.map(usize::from), ..found.into() };
    if args.once {
        settings.second = Second::Off;
    }
    let stop = Arc::new(AtomicBool::new(false));
    settings.stop = Some(Arc::clone(&stop));
    let asked = Arc::clone(&stop);
    super::on_interrupt(move || asked.store(true, Ordering::Relaxed))?;

    let file = args.output.as_deref().filter(|path| *path != Path::new("-"));
    if let Some(path) = file {
        refuse_output(&args.input, path)?;
    }
    let output = file.unwrap_or(Path::new("-"));
    let mut kept = super::kept::open(&args.input, output, recording.report(), &settings)?;
    let line = progress::Line::new();
    // What is not yet written: for a file all of it, so that the file is written whole or not at all.
    let mut text = args.form.head().to_owned();
    let mut printed = Ok(());
    let heard = kept::go_on(&mut recording, &settings, kept.as_mut(), &mut |event| match event {
        Event::Breath(breath) => {
            text.push_str(&args.form.breath(&breath));
            if file.is_none() && printed.is_ok() {
                printed = line.suspend(|| write_out(&std::mem::take(&mut text)));
                if printed.is_err() {
                    stop.store(true, Ordering::Relaxed); // nobody reads the rest
                }
            }
        }
        Event::Progress(progress) => line.show(progress),
    });
    line.end();
    if matches!(&printed, Err(e) if e.kind() == io::ErrorKind::BrokenPipe) {
        super::kept::done(kept);
        return Ok(Done::Well);
    }
    super::kept::tell(kept.as_ref(), &heard);
    let heard = heard.into_diagnostic()?;
    match (file, printed) {
        (Some(path), _) => file::write_whole(path, text.as_bytes()).into_diagnostic()?,
        (None, Err(e)) => return Err(e).into_diagnostic().wrap_err("cannot write to standard output"),
        (None, Ok(())) => print(&text)?,
    }
    if heard.stopped {
        tell(format_args!("stopped at {:.2} s; what was heard before is written", heard.done_s));
        return Ok(Done::Interrupted);
    }
    super::kept::done(kept);
    Ok(Done::Well)
}

impl Form {
    const fn head(self) -> &'static str {
        match self {
            Self::Words => "from_s\tto_s\tp_wrong\tword\tothers\tremarks\n",
            Self::Captions => "WEBVTT\n",
        }
    }

    fn breath(self, breath: &Breath) -> String {
        match self {
            Self::Words => words(breath),
            Self::Captions => caption(breath),
        }
    }
}

/// One line a word. Another reading stands beside the first word that it replaces: `fourteen (0.31, tiny.en)`; one that
/// replaces several words says how many: `forty /2 (…)`. A breath without words is one line with its remarks.
fn words(breath: &Breath) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    let remarks = breath.remarks.join("; ");
    if breath.words.is_empty() {
        let _ = writeln!(text, "{:.2}\t{:.2}\t\t\t\t{remarks}", breath.from_s, breath.to_s);
    }
    for (index, word) in breath.words.iter().enumerate() {
        let last = index + 1 == breath.words.len();
        let others: Vec<String> = breath
            .others
            .iter()
            .filter(|o| o.first == index || (last && o.first > index))
            .map(|o| {
                let reading = if o.text.is_empty() { "nothing" } else { o.text.as_str() };
                let span = match o.end.saturating_sub(o.first) {
                    0 => " inserted".to_owned(),
                    1 => String::new(),
                    n => format!(" /{n}"),
                };
                format!("{reading}{span} ({:.2}, {})", o.p, o.by)
            })
            .collect();
        let remarks = if index == 0 { remarks.as_str() } else { "" };
        let _ = writeln!(
            text,
            "{:.2}\t{:.2}\t{:.3}\t{}\t{}\t{remarks}",
            word.from_s,
            word.to_s,
            word.p_wrong,
            word.text,
            others.join(", ")
        );
    }
    text
}

/// A cue of a `.vtt` file (W3C, "The Web Video Text Tracks Format", section 4.1); a breath without words shows its remarks in brackets.
fn caption(breath: &Breath) -> String {
    let text =
        if breath.words.is_empty() { format!("[{}]", breath.remarks.join("; ")) } else { breath.text() };
    let text = text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    format!("\n{} --> {}\n{text}\n", stamp(breath.from_s), stamp(breath.to_s))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "times of a recording, never negative"
)]
fn stamp(s: f64) -> String {
    let ms = (s.max(0.0) * 1000.0).round() as u64;
    format!("{:02}:{:02}:{:02}.{:03}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::heard::OtherReading;

    fn example() -> Breath {
        let mut breath = Breath::from_text(3661.0, 3663.0, "clamp fourteen <tight>");
        breath.others.push(OtherReading {
            first: 1,
            end: 2,
            text: "forty".into(),
            p: 0.25,
            by: "tiny.en-q5_1".into(),
        });
        breath
    }

    #[test]
    fn one_word_a_line_with_its_other_readings() {
        let expect = "3661.00\t3661.52\t0.000\tclamp\t\t\n\
                      3661.52\t3662.30\t0.000\tfourteen\tforty (0.25, tiny.en-q5_1)\t\n\
                      3662.30\t3663.00\t0.000\t<tight>\t\t\n";
        assert_eq!(words(&example()), expect);
    }

    #[test]
    fn a_gap_is_one_line() {
        let gap = Breath { to_s: 1.5, remarks: vec!["unreadable, listen".into()], ..Breath::default() };
        assert_eq!(words(&gap), "0.00\t1.50\t\t\t\tunreadable, listen\n");
        assert_eq!(caption(&gap), "\n00:00:00.000 --> 00:00:01.500\n[unreadable, listen]\n");
    }

    #[test]
    fn captions_escape_their_text() {
        assert_eq!(caption(&example()), "\n01:01:01.000 --> 01:01:03.000\nclamp fourteen &lt;tight&gt;\n");
    }
}
