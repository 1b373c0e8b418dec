//! One thin file per command: arguments in, a call of the library, words out. Results go to stdout, messages to stderr.

mod check;
mod draw;
mod export;
mod inspect;
mod listen;
mod log;
mod models;
mod schema;
mod settings;
mod sources;
mod table;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

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
    /// Draws each canal and the visit as an SVG picture.
    Draw(draw::Draw),
    Export(export::Export),
    Inspect(inspect::Inspect),
    Listen(listen::Listen),
    Models(models::Models),
    /// Prints the settings that count, and where each came from.
    Settings(settings::Show),
    /// Prints the JSON Schema of the log.
    Schema,
    /// Prints the rows of the trade tables and the rules of the checks, each with its source.
    Sources(sources::Sources),
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
        Command::Draw(args) => draw::run(&args),
        Command::Export(args) => export::run(&args),
        Command::Inspect(args) => inspect::run(&args),
        Command::Listen(args) => listen::run(&args),
        Command::Models(args) => models::run(&args),
        Command::Settings(args) => settings::run(&args),
        Command::Schema => schema::run(),
        Command::Sources(args) => sources::run(&args),
    }
}

/// Prints an error with its causes, one line each, and what to try.
pub fn print_error(report: &miette::Report) {
    eprintln!("{report:?}");
}
