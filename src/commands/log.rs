//! `tugback log`: a recording or a transcript → the procedure log as JSON, and as a table for the eye.

use std::{
    fmt::Write as _,
    io::Read as _,
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
};

use clap::Args;
use miette::{IntoDiagnostic as _, WrapErr as _};
use sha2::{Digest as _, Sha256};

use super::{Done, explain, print, progress, table, tell};
use crate::{
    audio, checks,
    entries::{self, Extractor, Notation},
    listen::{
        self, Event,
        heard::Breath,
        kept::{self, Kept},
        model,
    },
    log::{Log as ProcedureLog, MadeBy, Source, SourceKind, file},
    record::marks::{self, Marks},
    settings,
    words::transcript,
};

/// Makes the procedure log of a recording or a transcript
#[derive(Debug, Args)]
pub(super) struct Log {
    /// A recording (WAV, FLAC, MP3, M4A, Ogg …) or a transcript (WebVTT, SRT, plain text: one line, one breath)
    input: PathBuf,
    /// Where to write the log as JSON [default: beside the input, with the ending .log.json]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// How tooth numbers are meant
    #[arg(long, value_enum)]
    notation: Option<settings::Notation>,
    /// The speech model, a ggml Whisper file
    #[arg(long, value_name = "FILE")]
    model: Option<PathBuf>,
    /// Do without the second listener: faster, fewer doubts are found
    #[arg(long)]
    once: bool,
    /// A lecture or demonstration: statements of practice are logged as rules, not as deeds
    #[arg(long)]
    lecture: bool,
    /// The track of a recording that has several, counted from 1
    #[arg(long, value_name = "N")]
    track: Option<usize>,
    /// How much doubt to show
    #[arg(long, value_enum)]
    strictness: Option<settings::Strictness>,
    #[command(flatten)]
    file: super::settings::File,
    /// How many stretches of speech are heard at the same time [default: the processors that are free]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=64))]
    threads: Option<u16>,
    /// Shows for each entry the words, the rule, the fields, and why each doubt is there
    #[arg(long)]
    explain: bool,
    /// Prints no table
    #[arg(short, long)]
    quiet: bool,
}

#[cfg(feature = "microphone")]
impl Log {
    /// As `tugback log INPUT`, for a recording that was just made.
    pub(super) fn of(
        input: PathBuf,
        model: Option<PathBuf>,
        file: super::settings::File,
        quiet: bool,
    ) -> Self {
        Self {
            input,
            output: None,
            notation: None,
            model,
            once: false,
            lecture: false,
            track: None,
            strictness: None,
            file,
            threads: None,
            explain: false,
            quiet,
        }
    }
}

/// The extractor that settings and options ask for.
pub(super) fn extractor(
    chosen: &settings::Settings,
    notation: Option<settings::Notation>,
    lecture: bool,
    strictness: Option<settings::Strictness>,
) -> Extractor {
    let notation = match notation.unwrap_or(chosen.notation) {
        settings::Notation::Iso3950 => Notation::Iso3950,
        settings::Notation::Universal => Notation::Universal,
        settings::Notation::Palmer => Notation::Palmer,
    };
    let how = entries::Settings {
        notation,
        lecture: lecture.then_some(true),
        doubt_from: strictness.unwrap_or(chosen.strictness).doubt_from(),
    };
    Extractor::for_practice(how, chosen.instruments(), chosen.phrases())
        .with_controls(chosen.record.words.said())
}

/// A log that a person has worked on is never replaced by a new draft.
fn refuse_reviewed(out: &Path) -> miette::Result<()> {
    // A device may never end.
    let decisions = if out.is_file() { file::read(out).map_or(0, |log| log.history.len()) } else { 0 };
    if decisions > 0 {
        let times = if decisions == 1 { "once".to_owned() } else { format!("{decisions} times") };
        return Err(miette::miette!(
            help = "give the new log another name with `-o`, or move the old one away",
            "`{}` was changed by a person {times}; a new draft does not replace it",
            out.display()
        ));
    }
    Ok(())
}

/// What the listening or reading gave.
struct Words {
    breaths: Vec<Breath>,
    source: Source,
    made_by: MadeBy,
    stopped: bool,
    /// What was kept on the way; not needed any more when the log is written.
    kept: Option<Kept>,
}

/// Runs the command.
pub(super) fn run(args: &Log) -> miette::Result<Done> {
    let out = args.output.clone().unwrap_or_else(|| beside(&args.input));
    super::refuse_output(&args.input, &out)?;
    refuse_reviewed(&out)?;
    let chosen = args.file.load()?;
    let extractor = extractor(&chosen, args.notation, args.lecture, args.strictness);
    let mut words = if is_transcript(&args.input)? {
        read_transcript(&args.input)?
    } else {
        hear(args, &out, chosen.model.as_deref())?
    };
    let marks = Marks::read(&args.input)
        .into_diagnostic()
        .wrap_err_with(|| format!("cannot read `{}`", marks::place(&args.input).display()))?;
    let (breaths, own) = marks.apply(words.breaths);
    words.breaths = breaths;
    words.source.repairs.extend(marks.gaps());
    let explained = args.explain.then(|| extractor.extract(&words.breaths).reasons);
    let mut log = crate::log_of(&words.breaths, &extractor, words.source, words.made_by);
    if !own.is_empty() {
        log.unplaced.extend(own);
        log.unplaced.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    }
    let report = checks::apply(&mut log, &chosen.checks);
    super::put(&args.input, &out, &file::to_json(&log).into_diagnostic()?)?;
    if !args.quiet && out != Path::new("-") {
        show(&log, explained.as_deref(), &report, &out)?;
    }
    if words.stopped {
        tell("stopped before the end; what was heard so far is in the log");
        return Ok(Done::Interrupted);
    }
    super::kept::done(words.kept);
    Ok(Done::Well)
}

/// `visit.flac` → `visit.log.json`.
pub(super) fn beside(input: &Path) -> PathBuf {
    input.with_extension("log.json")
}

fn is_transcript(path: &Path) -> miette::Result<bool> {
    let name = path.display();
    let meta = std::fs::metadata(path).into_diagnostic().wrap_err_with(|| format!("cannot read `{name}`"))?;
    if meta.is_dir() {
        miette::bail!("`{name}` is a folder; give one recording or transcript");
    }
    if meta.len() == 0 && meta.is_file() {
        miette::bail!("`{name}` is empty; nothing was recorded into it");
    }
    let mut start = Vec::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(4096).read_to_end(&mut start))
        .into_diagnostic()
        .wrap_err_with(|| format!("cannot read `{name}`"))?;
    let audio_name = path.extension().and_then(|e| e.to_str()).is_some_and(|e| {
        [
            "wav", "flac", "mp3", "m4a", "mp4", "ogg", "opus", "aac", "aiff", "aif", "caf", "mkv", "webm",
            "wma", "amr",
        ]
        .contains(&e.to_lowercase().as_str())
    });
    // A text that calls itself a recording is refused by the audio room, with its sentence.
    Ok(transcript::looks_like_text(&start) && !audio_name)
}

fn read_transcript(path: &Path) -> miette::Result<Words> {
    let bytes = std::fs::read(path)
        .into_diagnostic()
        .wrap_err_with(|| format!("cannot read `{}`", path.display()))?;
    let t = transcript::read(&bytes)
        .into_diagnostic()
        .wrap_err_with(|| format!("cannot use `{}`", path.display()))?;
    let source = Source {
        file: file_name(path),
        sha256: crate::hex(&Sha256::digest(&bytes)),
        duration_s: t.duration_s,
        kind: SourceKind::Transcript,
        repairs: t.repairs,
        ..Source::default()
    };
    Ok(Words { breaths: t.breaths, source, made_by: MadeBy::default(), stopped: false, kept: None })
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
}

fn hear(args: &Log, out: &Path, chosen: Option<&Path>) -> miette::Result<Words> {
    let found = model::find_models(args.model.as_deref(), chosen).into_diagnostic()?;
    let options = audio::Options { track: args.track };
    let mut recording = audio::open(&args.input, &options).into_diagnostic()?;
    let stop = Arc::new(AtomicBool::new(false));
    let mut how = listen::Settings {
        workers: args.threads.map(usize::from),
        stop: Some(Arc::clone(&stop)),
        ..found.into()
    };
    if args.once {
        how.second = listen::Second::Off;
    }
    super::on_interrupt(move || stop.store(true, Ordering::Relaxed))?;
    let mut kept = super::kept::open(&args.input, out, recording.report(), &how)?;
    let line = progress::Line::new();
    let mut breaths = Vec::new();
    let heard = kept::go_on(&mut recording, &how, kept.as_mut(), &mut |event| match event {
        Event::Breath(breath) => breaths.push(breath),
        Event::Progress(progress) => line.show(progress),
    });
    line.end();
    super::kept::tell(kept.as_ref(), &heard);
    let heard = heard.into_diagnostic()?;
    let report = recording.report();
    let audio = match serde_json::to_value(report).into_diagnostic()? {
        serde_json::Value::Object(map) => map,
        _ => serde_json::Map::new(),
    };
    let source = Source {
        file: file_name(&args.input),
        sha256: report.sha256.clone(),
        duration_s: report.decoded_s,
        kind: SourceKind::Audio,
        recording_start: report.recording_start.clone(),
        repairs: report.repairs.clone(),
        audio,
        ..Source::default()
    };
    let mut models = heard.models.iter();
    let (first, second) = (models.next(), models.next());
    let made_by = MadeBy {
        model: first.map(|m| file_name(&m.path)),
        model_sha256: first.map(|m| m.sha256.clone()),
        second_model: second.map(|m| file_name(&m.path)),
        second_model_sha256: second.map(|m| m.sha256.clone()),
        ..MadeBy::default()
    };
    Ok(Words { breaths, source, made_by, stopped: heard.stopped, kept })
}

fn show(
    log: &ProcedureLog,
    explained: Option<&[entries::why::Why]>,
    report: &checks::Report,
    out: &Path,
) -> miette::Result<()> {
    let mut text = table::of(log);
    if let Some(reasons) = explained {
        text.push_str(&explain::of(&log.entries, reasons));
    }
    let (found, how) = (report.summary(), format!("`tugback check {}` shows all.", out.display()));
    // One line, unless a long path would make it wider than the table may be.
    let wide = found.chars().count() + how.chars().count() + "Checks: ; ".len() > usize::from(table::WIDTH);
    let _ = writeln!(text, "Checks: {found};{}{how}", if wide { '\n' } else { ' ' });
    print(&text)?;
    tell(format_args!("written: {}", out.display()));
    Ok(())
}
