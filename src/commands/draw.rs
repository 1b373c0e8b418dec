//! `tugback draw LOG -o FILE.svg`: a picture of each canal and of the visit.

use std::path::PathBuf;

use clap::Args;
use miette::IntoDiagnostic as _;

use crate::commands::{Done, put};
use crate::export::draw;
use crate::log;

/// Arguments of `tugback draw`.
#[derive(Debug, Args)]
pub(crate) struct Draw {
    /// The log.
    log: PathBuf,
    /// Where to write the SVG picture; `-` writes it to stdout.
    #[arg(short, long, value_name = "FILE", default_value = "-")]
    output: PathBuf,
    #[command(flatten)]
    file: super::settings::File,
}

pub(crate) fn run(args: &Draw) -> miette::Result<Done> {
    let log = log::read(&args.log).into_diagnostic()?;
    let picture = draw::picture(&log, &args.file.load()?.checks);
    put(&args.log, &args.output, &picture)?;
    Ok(Done::Well)
}
