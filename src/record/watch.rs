//! Blocks and time → whether the microphone really hears. A stream that is open says nothing: a muted, forbidden or
//! unplugged microphone often goes on to deliver exact zeros, or nothing at all, without an error.

/// No block for longer is a microphone that has gone, in seconds of the clock.
pub const MOST_AGE_S: f64 = 2.0;
/// Exact zeros for longer are no silence of a room, in seconds of sound.
pub const MOST_ZEROS_S: f64 = 1.5;

/// What the microphone does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum State {
    /// Opened; nothing real has come yet.
    #[default]
    Waiting,
    /// Real samples come.
    Hears,
    /// Exact zeros come.
    Zeros,
    /// Nothing comes.
    Quiet,
}

/// Judges the blocks of one open stream.
#[derive(Debug, Default)]
pub struct Watch {
    pub state: State,
    zeros_s: f64,
    /// When the last block came, in seconds of the clock.
    last_s: f64,
}

impl Watch {
    /// A stream that was opened at this time of the clock.
    pub fn opened(now_s: f64) -> Self {
        Self { last_s: now_s, ..Self::default() }
    }

    /// A block of so many seconds came; gives the new state where it changed.
    pub fn block(&mut self, samples: &[f32], length_s: f64, now_s: f64) -> Option<State> {
        self.last_s = now_s;
        if samples.iter().any(|s| *s != 0.0) {
            self.zeros_s = 0.0;
            return self.change(State::Hears);
        }
        self.zeros_s += length_s;
        if self.zeros_s >= MOST_ZEROS_S {
            return self.change(State::Zeros);
        }
        None
    }

    /// Time passes.
    pub fn tick(&mut self, now_s: f64) -> Option<State> {
        if now_s - self.last_s > MOST_AGE_S { self.change(State::Quiet) } else { None }
    }

    fn change(&mut self, to: State) -> Option<State> {
        (self.state != to).then(|| {
            self.state = to;
            to
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One letter a half second: `s` sound, `0` exact zeros, `.` nothing. Gives each change with its time.
    #[track_caller]
    fn check(picture: &str, expect: &str) {
        let mut watch = Watch::opened(0.0);
        let mut told = Vec::new();
        for (n, sign) in (1_u32..).zip(picture.chars()) {
            let now_s = f64::from(n) / 2.0;
            let state = match sign {
                's' => watch.block(&[0.0, 0.1, 0.0], 0.5, now_s),
                '0' => watch.block(&[0.0; 3], 0.5, now_s),
                _ => watch.tick(now_s),
            };
            told.extend(state.map(|s| format!("{now_s} {s:?}")));
        }
        assert_eq!(told.join(", "), expect, "picture: {picture}");
    }

    #[test]
    fn only_real_samples_make_it_ready() {
        check("sss", "0.5 Hears");
        check("00s", "1.5 Hears");
        check("0000", "1.5 Zeros");
        check("....ss", "2.5 Hears");
    }

    #[test]
    fn muted_and_unplugged_are_seen_within_two_seconds_or_so() {
        check("ss000", "0.5 Hears, 2.5 Zeros");
        check("ss0000ss", "0.5 Hears, 2.5 Zeros, 3.5 Hears");
        check("ss.....", "0.5 Hears, 3.5 Quiet");
        check("ss.....s", "0.5 Hears, 3.5 Quiet, 4 Hears");
        check("s0s0s0s00s", "0.5 Hears");
    }
}
