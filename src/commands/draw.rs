//! `tugback draw LOG -o FILE.svg`: a picture of each canal and of the visit.

use std::path::{Path, PathBuf};

use clap::Args;
use miette::IntoDiagnostic as _;

use crate::commands::{Done, print, refuse_output};
use crate::export::draw;
use crate::log::{self, file};

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
    if args.output == Path::new("-") {
        print(&picture)?;
    } else {
        refuse_output(&args.log, &args.output)?;
        file::write_whole(&args.output, picture.as_bytes()).into_diagnostic()?;
    }
    Ok(Done::Well)
}
