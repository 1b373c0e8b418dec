//! `tugback review LOG`: the page on which a person reviews and signs one log.

use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use miette::IntoDiagnostic as _;

use crate::commands::{Done, settings};
use crate::log;
use crate::page::{self, Opened, Options, Record, Shelf, Start};

/// Arguments of `tugback review`.
#[derive(Debug, Args)]
pub(crate) struct Review {
    /// The log.
    log: PathBuf,
    /// The recording, where it does not lie beside the log under its name.
    #[arg(long, value_name = "FILE")]
    audio: Option<PathBuf>,
    #[command(flatten)]
    page: PageArgs,
}

/// What the commands that open a page have in common.
#[derive(Debug, Args)]
pub(super) struct PageArgs {
    /// The name under which decisions are kept [default: the account's name]
    #[arg(long = "as", value_name = "NAME")]
    who: Option<String>,
    #[command(flatten)]
    pub(super) file: settings::File,
    /// The port on this computer [default: any that is free]
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Closes by itself after so many minutes without use
    #[arg(long, value_name = "MINUTES", default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=1440))]
    idle: u16,
    /// Only prints the address
    #[arg(long)]
    no_browser: bool,
}

pub(crate) fn run(args: &Review) -> miette::Result<Done> {
    // Told before a browser opens.
    log::read(&args.log).into_diagnostic()?;
    if let Some(audio) = args.audio.as_deref().filter(|a| !a.is_file()) {
        miette::bail!("there is no recording `{}`", audio.display());
    }
    let shelf = Shelf::Log { log: args.log.clone(), audio: args.audio.clone() };
    show(shelf, None, None, &args.page)
}

/// Serves the page until it is closed.
pub(super) fn show(
    shelf: Shelf,
    start: Option<Start>,
    record: Option<Record>,
    args: &PageArgs,
) -> miette::Result<Done> {
    let who = args.who.clone().unwrap_or_else(account);
    let options = Options { port: args.port, idle: Duration::from_secs(u64::from(args.idle) * 60) };
    let opened = Opened { shelf, settings: args.file.load()?.checks, who, start, record };
    page::serve(opened, options, |address| {
        use std::io::Write as _;
        let mut out = std::io::stdout();
        let _ = writeln!(out, "{address}").and_then(|()| out.flush());
        eprintln!("The page is open on this computer only, and closes by itself. Ctrl-C closes it now; nothing is lost.");
        if !args.no_browser
            && let Err(e) = open::that_detached(address)
        {
            eprintln!("no browser could be opened ({e}); open the address above");
        }
    })
    .into_diagnostic()?;
    Ok(Done::Well)
}

/// The name of the account that runs this.
fn account() -> String {
    let name = ["USER", "LOGNAME", "USERNAME"].iter().find_map(|v| std::env::var(v).ok());
    name.filter(|n| !n.trim().is_empty()).unwrap_or_else(|| "reviewer".to_owned())
}
