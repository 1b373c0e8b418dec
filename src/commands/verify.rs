//! `tugback verify LOG`: whether log, history, signatures and recording still belong together. Changes nothing.

use std::path::{Path, PathBuf};

use clap::Args;
use miette::IntoDiagnostic as _;

use crate::commands::Done;
use crate::log::{self, file};
use crate::review::{
    sign, store,
    verify::{Fits, Line, verify},
};

/// Arguments of `tugback verify`.
#[derive(Debug, Args)]
pub(crate) struct Verify {
    /// The log.
    log: PathBuf,
    /// Print the comparison as JSON.
    #[arg(long)]
    json: bool,
    /// Print the log as it was when it was signed for the first (1), second (2) … time.
    #[arg(long, value_name = "N", conflicts_with = "json")]
    signed: Option<usize>,
    /// Where to write that log instead of stdout.
    #[arg(short, long, value_name = "FILE", requires = "signed")]
    output: Option<PathBuf>,
}

/// Exit code 0: all that could be compared fits; 1: something does not; 2: could not compare.
pub(crate) fn run(args: &Verify) -> miette::Result<Done> {
    let log = log::read(&args.log).into_diagnostic()?;
    if let Some(n) = args.signed {
        let states = sign::signed_states(&log).into_diagnostic()?;
        let Some((_, then)) = n.checked_sub(1).and_then(|n| states.get(n)) else {
            miette::bail!(
                "`{}` was signed {} times; there is no signature {n}",
                args.log.display(),
                states.len()
            );
        };
        file::write(then, args.output.as_deref().unwrap_or(Path::new("-"))).into_diagnostic()?;
        return Ok(Done::Well);
    }
    let lines = verify(&log, &store::source_sum(&args.log, &log));
    let text = if args.json {
        serde_json::to_string_pretty(&lines).into_diagnostic()? + "\n"
    } else {
        let mark = |fits| match fits {
            Fits::Yes => "fits",
            Fits::No => "DOES NOT FIT",
            Fits::Unknown => "not compared",
        };
        let line = |l: &Line| format!("{:<10} {:<13} {}\n", l.what, mark(l.fits), l.sentence);
        lines.iter().map(line).collect::<Vec<_>>().concat()
    };
    file::write_whole(Path::new("-"), text.as_bytes()).into_diagnostic()?;
    Ok(if lines.iter().any(|l| l.fits == Fits::No) { Done::Findings } else { Done::Well })
}
