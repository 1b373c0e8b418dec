//! What is heard is kept beside the result until that is written, and the next run goes on from there.

use std::path::Path;

use miette::IntoDiagnostic as _;

use crate::{
    audio::Report,
    listen::{Error, Heard, Settings, kept::Kept},
};

/// Opens what an earlier run kept for `output`, and says so, or begins anew. Beside standard output or a device nothing
/// can lie: then it is kept beside the recording, where the log usually is, and where that cannot be, nothing is kept.
pub(super) fn open(
    input: &Path,
    output: &Path,
    report: &Report,
    settings: &Settings,
) -> miette::Result<Option<Kept>> {
    let is_special = output == Path::new("-") || output.metadata().is_ok_and(|about| !about.is_file());
    let sound = format!("{} {} {}", report.sha256, report.track, report.channel);
    let opened = |beside: &Path| Kept::open(&Kept::place(beside), &sound, settings);
    let kept = if is_special {
        match opened(&super::log::beside(input)) {
            Ok(kept) => kept,
            Err(why) => {
                super::tell(format_args!("a stop would lose what was heard: {why}"));
                return Ok(None);
            }
        }
    } else {
        opened(output).into_diagnostic()?
    };
    if kept.count() > 0 {
        super::tell(format_args!("going on at {}; what was heard before was kept", time(kept.done_s())));
    }
    Ok(Some(kept))
}

/// After listening: says what is kept, where the end was not reached.
pub(super) fn tell(kept: Option<&Kept>, heard: &Result<Heard, Error>) {
    let Some(kept) = kept else { return };
    if let Some(why) = kept.failed() {
        super::tell(format_args!("not everything could be kept in `{}`: {why}", kept.path().display()));
    }
    let ended = heard.as_ref().is_ok_and(|heard| !heard.stopped);
    if !ended && kept.count() > 0 {
        super::tell(format_args!(
            "what was heard up to {} is kept in `{}`; the same command goes on from there",
            time(kept.done_s()),
            kept.path().display()
        ));
    }
}

/// The result is written.
pub(super) fn done(kept: Option<Kept>) {
    if let Some(kept) = kept {
        let path = kept.path().to_owned();
        if let Err(why) = kept.remove() {
            super::tell(format_args!(
                "`{}` is not needed any more; it could not be removed: {why}",
                path.display()
            ));
        }
    }
}

/// Seconds as h:mm:ss.
pub(super) fn time(seconds: f64) -> String {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a time, never negative")]
    let whole = seconds.max(0.0) as u64;
    format!("{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60)
}
