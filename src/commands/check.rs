//! `tugback check LOG`: findings and computed values, to stdout. Changes nothing.

use std::path::PathBuf;

use clap::Args;
use miette::IntoDiagnostic as _;

use crate::checks::{self, Level};
use crate::commands::{Done, print};
use crate::log;

/// Arguments of `tugback check`.
#[derive(Debug, Args)]
pub(crate) struct Check {
    /// The log.
    log: PathBuf,
    /// Print findings, record items and computed values as JSON.
    #[arg(long)]
    json: bool,
    /// Print every record item: said, missing or not applicable, and who demands it.
    #[arg(long, conflicts_with = "json")]
    items: bool,
    #[command(flatten)]
    file: super::settings::File,
}

/// Exit code 0: nothing to look at; 1: something to look at; 2: could not check.
pub(crate) fn run(args: &Check) -> miette::Result<Done> {
    let settings = args.file.load()?.checks;
    let log = log::read(&args.log).into_diagnostic()?;
    let report = checks::check(&log, &settings);
    let mut text = if args.json {
        serde_json::to_string_pretty(&report).into_diagnostic()?
    } else if args.items {
        report.items_text()
    } else {
        format!("{}: {}\n{}", args.log.display(), report.summary(), report.text())
    };
    if !text.ends_with('\n') {
        text.push('\n');
    }
    print(&text)?;
    Ok(if report.count(Level::Look) > 0 { Done::Findings } else { Done::Well })
}
