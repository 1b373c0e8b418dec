//! `tugback recover`: finishes the recordings of a folder that a crash left behind.

use std::path::PathBuf;

use clap::Args;
use miette::{IntoDiagnostic as _, WrapErr as _};

use super::{Done, print, tell};
use crate::record::recover::{self, Found};

/// Finishes recordings that a crash or a power cut left unfinished
#[derive(Debug, Args)]
pub(super) struct Recover {
    /// The folder with the recordings
    #[arg(default_value = ".")]
    folder: PathBuf,
    /// Only list them
    #[arg(short = 'n', long)]
    dry_run: bool,
}

/// Runs the command.
pub(super) fn run(args: &Recover) -> miette::Result<Done> {
    let folder = args.folder.display();
    let found = recover::look(&args.folder)
        .into_diagnostic()
        .wrap_err_with(|| format!("cannot look into the folder `{folder}`"))?;
    let mut failed = false;
    let mut mended = 0;
    for found in &found {
        match found {
            Found::InUse(path) => {
                tell(format_args!("`{}` is being recorded now: left alone", path.display()));
            }
            Found::Empty(path) => {
                tell(format_args!("`{}` broke off before the first sound: left alone", path.display()));
            }
            Found::Left(left) if args.dry_run => {
                print(&format!("{}\t{:.1} s, not finished\n", left.path.display(), left.seconds))?;
            }
            Found::Left(left) => match recover::mend(left) {
                Ok(seconds) => {
                    mended += 1;
                    print(&format!("{}\t{seconds:.1} s, finished\n", left.path.display()))?;
                }
                Err(e) => {
                    failed = true;
                    tell(format_args!("`{}` cannot be finished: {e}", left.path.display()));
                }
            },
        }
    }
    if found.is_empty() {
        tell(format_args!("no unfinished recording in `{folder}`"));
    }
    if mended > 0 {
        tell("make their logs with: tugback log RECORDING");
    }
    Ok(if failed { Done::CouldNot } else { Done::Well })
}
