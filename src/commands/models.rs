//! `tugback models`: which models are found, where, and whether they are sound.

use std::{
    fmt::Write as _,
    path::{Path, PathBuf},
};

use clap::Args;
use miette::IntoDiagnostic as _;

use super::{Done, print};
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
    if let Some(file) = &args.file {
        let info = model::inspect(file).into_diagnostic()?;
        print(&(line(&info) + "\n"))?;
        return Ok(Done::Well);
    }
    let chosen = args.chosen.load()?;
    let (mut text, sound) = found();
    let used = match model::find_models(None, chosen.model.as_deref()) {
        Ok(used) => used,
        Err(e) => {
            print(&text)?; // where it was sought helps to see why
            return Err(e).into_diagnostic();
        }
    };
    text.push_str("Used:\n");
    let name = |path: Option<&Path>| path.map_or("none found".to_owned(), |p| p.display().to_string());
    for (what, path) in [
        ("recogniser", Some(used.recogniser.as_path())),
        ("second listener", used.second.as_deref()),
        ("voice detector", used.vad.as_deref()),
    ] {
        let _ = writeln!(text, "  {what:<16} {}", name(path));
    }
    print(&text)?;
    Ok(if sound && used.vad.is_some() { Done::Well } else { Done::CouldNot })
}

/// The folders and what is in them, and whether all of it is sound.
fn found() -> (String, bool) {
    let mut sound = true;
    let mut text = "Sought in this order, after --model and the settings:\n".to_owned();
    for folder in model::folders() {
        let found = model::models_in(&folder);
        let note = if found.is_empty() { " (nothing)" } else { "" };
        let _ = writeln!(text, "  {}{note}", folder.display());
        for path in found {
            let said = model::inspect(&path).map_or_else(
                |e| {
                    sound = false;
                    e.to_string()
                },
                |info| line(&info),
            );
            let _ = writeln!(text, "    {said}");
        }
    }
    (text, sound)
}

fn line(info: &ModelInfo) -> String {
    let file = info.path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    #[expect(clippy::cast_precision_loss, reason = "shown with one decimal")]
    let megabytes = info.bytes as f64 / 1e6;
    let sum = info.sha256.get(..12).unwrap_or_default();
    let known = if info.known { "checksum right" } else { "checksum not known" };
    format!("{file}: {}, {megabytes:.1} MB, sha256 {sum}…, {known}", info.kind)
}
