//! Loops and exact repeats: a recogniser that falls into saying the same again and again, and one that says a whole
//! breath twice because its window was tight. A person who repeats a word is left alone.

/// What a listening's words look like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Repeat {
    No,
    /// The same one to sixteen words over and over: the recogniser is caught in a loop.
    Loop,
    /// Words `half..` say the same as the words before: a whole breath twice.
    Twice {
        half: usize,
    },
}

/// The longest run of words that a loop is made of.
const LONGEST_PERIOD: usize = 16;
/// So often a run of `period` words must follow itself to be a loop: a single word more often ("tap, tap, tap, tap"),
/// a long run less often.
const fn loop_turns(period: usize) -> usize {
    match period {
        1 => 6,
        2..=8 => 4,
        _ => 3,
    }
}
/// A person says at most about five words a second; more come from a loop.
const MOST_WORDS_A_SECOND: f64 = 7.0;
/// Shorter breaths are said twice by people ("okay, okay").
const LEAST_TWICE: usize = 3;

/// Looks for loops and repeats in plain words that were heard in `seconds` of speech.
pub(super) fn repeat(words: &[String], seconds: f64) -> Repeat {
    #[expect(clippy::cast_precision_loss, reason = "words of one breath")]
    let rate = words.len() as f64 / seconds.max(0.5);
    if rate > MOST_WORDS_A_SECOND && words.len() > 12 {
        return Repeat::Loop;
    }
    for period in 1..=LONGEST_PERIOD {
        let mut run = 0;
        for (a, b) in words.iter().zip(words.iter().skip(period)) {
            run = if a == b { run + 1 } else { 0 };
            if run >= period * (loop_turns(period) - 1) {
                return Repeat::Loop;
            }
        }
    }
    let half = words.len() / 2;
    let (first, second) = words.split_at(half);
    if half >= LEAST_TWICE && first == second { Repeat::Twice { half } } else { Repeat::No }
}

#[cfg(test)]
mod tests {
    use super::{super::plain::plain_text, *};

    #[track_caller]
    fn check(said: &str, seconds: f64, expect: Repeat) {
        assert_eq!(repeat(&plain_text(said), seconds), expect, "said: {said}");
    }

    #[test]
    fn people_may_repeat_themselves() {
        check("tap tap tap tap", 2.0, Repeat::No);
        check("okay okay", 1.0, Repeat::No);
        check("rinsed, rinsed again", 2.0, Repeat::No);
        check("three three three", 2.0, Repeat::No);
        check("a ten a fifteen a twenty a twenty five to length", 5.0, Repeat::No);
        check("", 3.0, Repeat::No);
    }

    #[test]
    fn machines_loop() {
        check(&"the ".repeat(9), 4.0, Repeat::Loop);
        check(&"irrigate again ".repeat(5), 6.0, Repeat::Loop);
        check(&"pal little twenty one point five m b two nineteen ".repeat(4), 30.0, Repeat::Loop);
        check("one two three four five six seven eight nine ten eleven twelve thirteen", 1.0, Repeat::Loop);
    }

    #[test]
    fn a_whole_breath_twice() {
        check("length twenty one length twenty one", 3.0, Repeat::Twice { half: 3 });
        check("length twenty one length twenty two", 3.0, Repeat::No);
    }
}
