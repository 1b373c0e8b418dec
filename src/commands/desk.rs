//! `tugback desk FOLDER`: all recordings and logs of a folder on one page.

use std::path::PathBuf;
use std::process::{Command, Stdio};

use clap::Args;
use miette::{IntoDiagnostic as _, WrapErr as _};

use crate::commands::{Done, review};
use crate::page::{Record, Shelf, Start};

/// Arguments of `tugback desk`.
#[derive(Debug, Args)]
pub(crate) struct Desk {
    /// The folder.
    #[arg(default_value = ".")]
    folder: PathBuf,
    #[command(flatten)]
    page: review::PageArgs,
}

pub(crate) fn run(args: &Desk) -> miette::Result<Done> {
    let shelf = Shelf::Folder(args.folder.clone());
    shelf
        .items()
        .into_diagnostic()
        .wrap_err_with(|| format!("cannot read the folder `{}`", args.folder.display()))?;
    let program = std::env::current_exe().into_diagnostic()?;
    // Listening takes a processor for minutes: a process of its own, that can fail without taking the page with it.
    let settings = args.page.file.named().map(std::path::Path::to_owned);
    let start: Start = Box::new(move |source| {
        let mut log = Command::new(&program);
        log.arg("log").arg("--quiet");
        if let Some(settings) = &settings {
            log.arg("--settings").arg(settings);
        }
        log.arg("--").arg(source);
        log.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn()
    });
    review::show(shelf, Some(start), recorder(args)?, &args.page)
}

/// Starts `tugback record` with the same settings; its lines are what the page shows.
#[cfg(feature = "microphone")]
fn recorder(args: &Desk) -> miette::Result<Option<Record>> {
    let program = std::env::current_exe().into_diagnostic()?;
    let settings = args.page.file.named().map(std::path::Path::to_owned);
    Ok(Some(Box::new(move |folder, push_to_talk| {
        let mut record = Command::new(&program);
        record.args(["record", "--json", "-o"]).arg(folder);
        if push_to_talk {
            record.arg("--push-to-talk");
        }
        if let Some(settings) = &settings {
            record.arg("--settings").arg(settings);
        }
        record.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn()
    })))
}

#[cfg(not(feature = "microphone"))]
#[expect(clippy::unnecessary_wraps, reason = "as with microphones")]
fn recorder(_args: &Desk) -> miette::Result<Option<Record>> {
    Ok(None)
}
