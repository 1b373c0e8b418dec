//! `tugback models`: which models are found, where, and whether they are sound.

use std::{
    io::{self, Write},
    path::{Path, PathBuf},
};

use clap::Args;
use miette::IntoDiagnostic as _;

use super::Done;
use crate::listen::model::{self, ModelInfo};

/// Shows the speech models that are found, and checks each
#[derive(Debug, Args)]
pub(super) struct Models {
    /// Check this file only
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
    #[command(flatten)]
    chosen: super::settings::File,
}

/// Runs the command: 0 if every model that is used is sound.
pub(super) fn run(args: &Models) -> miette::Result<Done> {
    let mut out = io::stdout().lock();
    if let Some(file) = &args.file {
        let info = model::inspect(file).into_diagnostic()?;
        writeln!(out, "{}", line(&info)).into_diagnostic()?;
        return Ok(Done::Well);
    }
    let chosen = args.chosen.load()?;
    let mut sound = true;
    writeln!(out, "Sought in this order, after --model and the settings:").into_diagnostic()?;
    for folder in model::folders() {
        let found = model::models_in(&folder);
        let note = if found.is_empty() { " (nothing)" } else { "" };
        writeln!(out, "  {}{note}", folder.display()).into_diagnostic()?;
        for path in found {
            match model::inspect(&path) {
                Ok(info) => writeln!(out, "    {}", line(&info)).into_diagnostic()?,
                Err(e) => {
                    sound = false;
                    writeln!(out, "    {e}").into_diagnostic()?;
                }
            }
        }
    }
    let used = model::find_models(None, chosen.model.as_deref()).into_diagnostic()?;
    writeln!(out, "Used:").into_diagnostic()?;
    writeln!(out, "  recogniser       {}", used.recogniser.display()).into_diagnostic()?;
    for (what, path) in [("second listener ", &used.second), ("voice detector  ", &used.vad)] {
        let path = path.as_deref().map_or("none found".to_owned(), |p: &Path| p.display().to_string());
        writeln!(out, "  {what} {path}").into_diagnostic()?;
    }
    Ok(if sound && used.vad.is_some() { Done::Well } else { Done::CouldNot })
}

fn line(info: &ModelInfo) -> String {
    let file = info.path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    #[expect(clippy::cast_precision_loss, reason = "shown with one decimal")]
    let megabytes = info.bytes as f64 / 1e6;
    let sum = info.sha256.get(..12).unwrap_or_default();
    let known = if info.known { "checksum right" } else { "checksum not known" };
    format!("{file}: {}, {megabytes:.1} MB, sha256 {sum}…, {known}", info.kind)
}
