//! One thin file per command: arguments in, a call of the library, words out. Results go to stdout, messages to stderr.

mod check;
mod desk;
mod draw;
mod explain;
mod export;
mod inspect;
mod kept;
mod listen;
mod log;
#[cfg(feature = "microphone")]
mod microphones;
mod models;
mod progress;
#[cfg(feature = "microphone")]
mod record;
mod recover;
mod review;
mod schema;
mod settings;
mod sources;
mod table;
mod verify;

use std::{
    fmt::Display,
    io::{self, Write as _},
    path::Path,
    process::ExitCode,
    sync::{Mutex, PoisonError},
};

use clap::{Parser, Subcommand};
use miette::{IntoDiagnostic as _, WrapErr as _};

use crate::log::file;

/// Listens to root canal treatment and writes the procedure log that a person reviews and signs.
#[derive(Debug, Parser)]
#[command(version, about, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Log(log::Log),
    /// Findings and computed values of a log: exit code 0 with nothing to look at, 1 with something, 2 if it failed.
    Check(check::Check),
    /// The page with all recordings and logs of a folder: how far each is, open one, start to listen to one.
    Desk(desk::Desk),
    /// Draws each canal and the visit as an SVG picture.
    Draw(draw::Draw),
    Export(export::Export),
    Inspect(inspect::Inspect),
    Listen(listen::Listen),
    #[cfg(feature = "microphone")]
    Microphones(microphones::Microphones),
    Models(models::Models),
    #[cfg(feature = "microphone")]
    Record(record::Record),
    Recover(recover::Recover),
    /// Prints the settings that count, and where each came from.
    Settings(settings::Show),
    /// Opens the page on which a person reviews and signs a log.
    Review(review::Review),
    /// Prints the JSON Schema of the log.
    Schema,
    /// Prints the rows of the trade tables and the rules of the checks, each with its source.
    Sources(sources::Sources),
    /// Whether a log, its history, signatures and recording still belong together: exit code 0, or 1 if something does not.
    Verify(verify::Verify),
}

/// How a command ended. The numbers are documented in README.md and never change their meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Done {
    /// 0: done.
    Well,
    /// 1: done, and the checks found something to look at.
    Findings,
    /// 2: could not do it; a sentence on stderr says why and what to try.
    CouldNot,
    /// 130: stopped by Ctrl-C; finished parts are kept.
    Interrupted,
}

impl From<Done> for ExitCode {
    fn from(done: Done) -> Self {
        Self::from(match done {
            Done::Well => 0,
            Done::Findings => 1,
            Done::CouldNot => 2,
            Done::Interrupted => 130,
        })
    }
}

/// Runs the command that was asked for.
pub fn run(cli: Cli) -> miette::Result<Done> {
    match cli.command {
        Command::Log(args) => log::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Desk(args) => desk::run(&args),
        Command::Draw(args) => draw::run(&args),
        Command::Export(args) => export::run(&args),
        Command::Inspect(args) => inspect::run(&args),
        Command::Listen(args) => listen::run(&args),
        #[cfg(feature = "microphone")]
        Command::Microphones(args) => microphones::run(&args),
        #[cfg(feature = "microphone")]
        Command::Record(args) => record::run(args),
        Command::Recover(args) => recover::run(&args),
        Command::Models(args) => models::run(&args),
        Command::Settings(args) => settings::run(&args),
        Command::Review(args) => review::run(&args),
        Command::Schema => schema::run(),
        Command::Sources(args) => sources::run(&args),
        Command::Verify(args) => verify::run(&args),
    }
}

/// Prints an error with its causes, one line each, and what to try.
pub fn print_error(report: &miette::Report) {
    tell(format!("{report:?}"));
}

/// Prints a result to stdout. A reader that has gone, as in `| head -1`, has what it wanted: that is no failure.
fn print(text: &str) -> miette::Result<()> {
    match write_out(text) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => {
            Err(e).into_diagnostic().wrap_err("cannot write to standard output")
        }
        _ => Ok(()),
    }
}

fn write_out(text: &str) -> io::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()
}

/// What Ctrl-C does from now on.
fn on_interrupt(action: impl Fn() + Send + 'static) -> miette::Result<()> {
    static ACTION: Mutex<Option<Box<dyn Fn() + Send>>> = Mutex::new(None);
    let before = ACTION.lock().unwrap_or_else(PoisonError::into_inner).replace(Box::new(action));
    if before.is_some() {
        return Ok(());
    }
    ctrlc::set_handler(|| {
        if let Some(action) = &*ACTION.lock().unwrap_or_else(PoisonError::into_inner) {
            action();
        }
    })
    .into_diagnostic()
}

/// A line to stderr; where nobody can read it there is nobody to tell.
fn tell(line: impl Display) {
    let _ = writeln!(io::stderr(), "{line}");
}

/// Writes a result made of `input`: whole or not at all into a file, and for `-` to stdout.
fn put(input: &Path, output: &Path, text: &str) -> miette::Result<()> {
    if output == Path::new("-") {
        return print(text);
    }
    refuse_overwrite(input, output)?;
    file::write_whole(output, text.as_bytes()).into_diagnostic()
}

/// Refuses, before anything is listened to, an output that cannot be meant or cannot be written.
fn refuse_output(input: &Path, output: &Path) -> miette::Result<()> {
    refuse_overwrite(input, output)?;
    if let Some(folder) = output.parent().filter(|f| !f.as_os_str().is_empty())
        && !folder.is_dir()
    {
        miette::bail!("there is no folder `{}`; make it, or choose another place after -o", folder.display());
    }
    Ok(())
}

/// Refuses an output that is the input itself.
fn refuse_overwrite(input: &Path, output: &Path) -> miette::Result<()> {
    let same = match (input.canonicalize(), output.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    };
    if same {
        miette::bail!("this would overwrite `{}` itself; choose another name after -o", input.display());
    }
    Ok(())
}
