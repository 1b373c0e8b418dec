//! How far listening is, on standard error: `listening ████░░ 0:52 of 2:05, about 14 seconds left`. Hidden where that is no
//! terminal.

use std::{cell::Cell, fmt::Write as _, time::Duration};

use indicatif::{HumanDuration, ProgressBar, ProgressState, ProgressStyle};

use crate::listen::Progress;

/// The line. Time left is said as soon as there is something to reckon with: models are loaded before, and what an earlier
/// run has heard took no time.
pub(super) struct Line {
    bar: ProgressBar,
    began: Cell<bool>,
}

impl Line {
    pub(super) fn new() -> Self {
        let bar = ProgressBar::no_length();
        let style = ProgressStyle::with_template("listening {bar:30} {place}")
            .unwrap_or_else(|_| ProgressStyle::default_bar())
            .with_key("place", |state: &ProgressState, out: &mut dyn std::fmt::Write| {
                let _ = out.write_str(&place(state.pos(), state.len(), state.eta()));
            });
        bar.set_style(style);
        Self { bar, began: Cell::new(false) }
    }

    pub(super) fn show(&self, progress: Progress) {
        if let Some(of_s) = progress.of_s {
            self.bar.set_length(tenths(of_s));
        }
        self.bar.set_position(tenths(progress.done_s));
        if !self.began.replace(true) {
            self.bar.reset_eta();
        }
    }

    /// Writes something else; the line stands below it again.
    pub(super) fn suspend<T>(&self, write: impl FnOnce() -> T) -> T {
        self.bar.suspend(write)
    }

    pub(super) fn end(&self) {
        self.bar.finish_and_clear();
    }
}

/// How far, of what, and the time left where it is known; all in tenths of a second of the recording.
fn place(done: u64, of: Option<u64>, left: Duration) -> String {
    let mut text = super::kept::time(seconds(done));
    if let Some(of) = of {
        let _ = write!(text, " of {}", super::kept::time(seconds(of)));
        if done < of && !left.is_zero() {
            let _ = write!(text, ", about {} left", HumanDuration(left));
        }
    }
    text
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a positive range")]
fn tenths(seconds: f64) -> u64 {
    (seconds.clamp(0.0, 1e9) * 10.0) as u64
}

#[expect(clippy::cast_precision_loss, reason = "a recording has few tenths of a second")]
fn seconds(tenths: u64) -> f64 {
    tenths as f64 / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(done: u64, of: Option<u64>, left_s: u64, expect: &str) {
        assert_eq!(place(done, of, Duration::from_secs(left_s)), expect);
    }

    #[test]
    fn how_far_it_is() {
        check(0, Some(1250), 0, "0:00:00 of 0:02:05");
        check(528, Some(1250), 14, "0:00:52 of 0:02:05, about 14 seconds left");
        check(36_000, Some(108_000), 400, "1:00:00 of 3:00:00, about 7 minutes left");
        check(1250, Some(1250), 3, "0:02:05 of 0:02:05");
        check(528, None, 0, "0:00:52");
    }
}
