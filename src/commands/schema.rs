//! `tugback schema`: the JSON Schema of the log, to stdout.

use std::path::Path;

use miette::IntoDiagnostic as _;

use crate::commands::Done;
use crate::log::{file, schema};

pub(crate) fn run() -> miette::Result<Done> {
    let mut text = format!("{:#}", schema::schema(&[]));
    text.push('\n');
    file::write_whole(Path::new("-"), text.as_bytes()).into_diagnostic()?;
    Ok(Done::Well)
}
