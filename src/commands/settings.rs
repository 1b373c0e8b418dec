//! `tugback settings`: the effective settings and where each came from, to stdout.

use std::path::PathBuf;

use clap::Args;
use miette::IntoDiagnostic as _;

use crate::checks;
use crate::commands::{Done, print};
use crate::settings::{self, Settings};

/// Arguments of `tugback settings`.
#[derive(Debug, Args)]
pub(crate) struct Show {
    #[command(flatten)]
    file: File,
}

/// The settings file of a command.
#[derive(Debug, Clone, Args)]
pub(crate) struct File {
    /// A settings file, used alone [default: tugback.toml in the working folder, and the one in the user's folder]
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
}

impl File {
    /// The file that was named, if one was.
    pub(crate) fn named(&self) -> Option<&std::path::Path> {
        self.settings.as_deref()
    }

    /// The settings that count.
    pub(crate) fn load(&self) -> miette::Result<Settings> {
        let rules: Vec<String> = checks::ids().collect();
        match &self.settings {
            Some(path) => Settings::read(path, &rules),
            None => Settings::find(&settings::places(), &rules),
        }
        .into_diagnostic()
    }
}

pub(crate) fn run(args: &Show) -> miette::Result<Done> {
    let settings = args.file.load()?;
    let places: Vec<String> = settings::places().iter().rev().map(|p| format!("`{}`", p.display())).collect();
    let text = format!(
        "# The settings that count. A file like this may stand at {}.\n\n{}",
        places.join(" or "),
        settings.text()
    );
    print(&text)?;
    Ok(Done::Well)
}
