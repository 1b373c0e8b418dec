//! A breath → what the recorder itself is asked to do. Whole utterances only: a control inside of a sentence is speech.
//! ("strike" and "flag" are carried out by the engine, which hears them in the same breath.)

use crate::{
    listen::heard::Breath,
    words::{
        line::{Line, What},
        vocabulary::Vocabulary,
    },
};

/// What the recorder is asked to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spoken {
    /// Shows the last entry.
    ReadBack,
    /// Shows the working lengths.
    ReadLengths,
    /// Closes the microphone; only a key opens it again.
    Pause,
    /// Ends the log; asked for twice.
    End,
}

/// The control that a breath is, if it is one and nothing else.
pub fn spoken(breath: &Breath, vocabulary: &Vocabulary) -> Option<Spoken> {
    let line = Line::new(breath, vocabulary);
    let mut said = (0..line.items.len()).filter(|i| {
        line.items.get(*i).is_some_and(|it| it.what != What::Mark) && line.term(*i, "fillers").is_none()
    });
    let (only, None) = (said.next()?, said.next()) else { return None };
    Some(match line.term(only, "controls")? {
        "read-back" => Spoken::ReadBack,
        "read-lengths" => Spoken::ReadLengths,
        "pause" => Spoken::Pause,
        "end" => Spoken::End,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::vocabulary::BUILT_IN;

    #[track_caller]
    fn check(said: &str, expect: Option<Spoken>) {
        assert_eq!(spoken(&Breath::from_text(0.0, 1.0, said), &BUILT_IN), expect, "said: {said}");
    }

    #[test]
    fn whole_utterances() {
        check("end of log", Some(Spoken::End));
        check("End of log.", Some(Spoken::End));
        check("Stop recording.", Some(Spoken::End));
        check("um, pause recording", Some(Spoken::Pause));
        check("Read back.", Some(Spoken::ReadBack));
        check("read back the working lengths", Some(Spoken::ReadLengths));
    }

    #[test]
    fn never_inside_a_sentence() {
        for said in [
            "Stop.",
            "stop",
            "Stop the bleeding.",
            "Rubber stop at twenty one.",
            "Scratch that surface lightly.",
            "Undo.",
            "at the end of log rolling we stop",
            "do not stop recording yet",
            "we stop recording the temperature",
            "then pause recording lengths",
            "end",
            "",
        ] {
            check(said, None);
        }
    }
}
