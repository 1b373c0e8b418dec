//! A breath → what the recorder itself is asked to do. Whole utterances only: a control inside of a sentence is speech.
//! ("strike" and "flag" are carried out by the engine, which hears them in the same breath.)

use crate::{
    listen::heard::Breath,
    words::{
        line::{Line, What},
        slot::{self, Slot},
        vocabulary::Vocabulary,
    },
};

/// What the recorder is asked to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spoken {
    /// Shows the last entry, and reads it aloud where that is wanted.
    ReadBack,
    /// Shows the working lengths.
    ReadLengths,
    /// Closes the microphone; only a key opens it again.
    Pause,
    /// Ends the log; asked for twice.
    End,
    /// Says when so many seconds are over.
    Time(u32),
    /// Stops what was timed.
    TimeOff,
}

/// What may stand before a length of time. A practice adds its own to the vocabulary `timers`.
const TIME: &[&str] = &["time", "timer", "time me", "time it", "time this", "timer for", "time for"];
/// What may stand before or behind these words.
const SET: &[&str] = &["set", "set a", "set the", "start", "start a", "start the"];
const OFF: &[&str] = &["stop the timer", "timer off", "cancel the timer", "stop timing"];
/// Longer is no activation or rinse, but something that was not meant.
const LONGEST_S: u32 = 3600;

/// The control that a breath is, if it is one and nothing else.
pub fn spoken(breath: &Breath, vocabulary: &Vocabulary) -> Option<Spoken> {
    let line = Line::new(breath, vocabulary);
    let counts = |i: &usize| {
        line.items.get(*i).is_some_and(|it| it.what != What::Mark) && line.term(*i, "fillers").is_none()
    };
    let said: Vec<usize> = (0..line.items.len()).filter(counts).collect();
    if let [only] = said.as_slice()
        && let Some(control) = line.term(*only, "controls")
    {
        return match control {
            "read-back" => Some(Spoken::ReadBack),
            "read-lengths" => Some(Spoken::ReadLengths),
            "pause" => Some(Spoken::Pause),
            "end" => Some(Spoken::End),
            _ => None,
        };
    }
    if OFF.contains(&words(&line, &said).as_str()) {
        return Some(Spoken::TimeOff);
    }
    time(&line, &said)
}

fn words(line: &Line, items: &[usize]) -> String {
    let tokens =
        items.iter().filter_map(|i| line.items.get(*i)).filter_map(|it| line.tokens.get(it.first..it.end));
    tokens.flatten().map(|t| t.text.as_str()).collect::<Vec<_>>().join(" ")
}

/// "time thirty seconds", "set the timer for one and a half minutes": one length of time, without a doubt, and nothing else.
fn time(line: &Line, said: &[usize]) -> Option<Spoken> {
    let number = said.iter().position(|i| line.atom(*i).is_some())?;
    let (before, first) = (said.get(..number)?, *said.get(number)?);
    let text = words(line, before);
    let is_time = |text: &str| TIME.contains(&text);
    let set =
        || SET.iter().any(|s| text.strip_prefix(s).and_then(|t| t.strip_prefix(' ')).is_some_and(is_time));
    let own = || matches!(before, [only] if line.term(*only, "timers").is_some());
    if !is_time(&text) && !set() && !own() {
        return None;
    }
    let length = slot::read(Slot::Seconds, line, first)?;
    let rest = said.iter().any(|i| *i >= length.end);
    let seconds = u32::try_from(length.value.to_whole()?).ok()?;
    (length.doubts.is_empty() && !rest && (1..=LONGEST_S).contains(&seconds)).then_some(Spoken::Time(seconds))
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
    fn a_length_of_time() {
        check("time thirty seconds", Some(Spoken::Time(30)));
        check("Time thirty seconds.", Some(Spoken::Time(30)));
        check("okay, time one minute", Some(Spoken::Time(60)));
        check("set the timer for two minutes", Some(Spoken::Time(120)));
        check("start a timer for 45 seconds", Some(Spoken::Time(45)));
        check("Stop the timer.", Some(Spoken::TimeOff));
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
            "contact time two minutes",
            "activate for thirty seconds",
            "time thirty",
            "time thirty seconds then rinse",
            "this time thirty seconds",
            "thirty seconds",
            "next time two minutes",
            "time thirty or forty seconds",
            "time two days",
        ] {
            check(said, None);
        }
    }

    #[test]
    fn words_of_the_practice() {
        let mut own = Vocabulary::clone(&BUILT_IN);
        own.add("controls", "wrap it up", "end");
        own.add("timers", "ultrasound on", "time");
        own.sort();
        let said = |words: &str| spoken(&Breath::from_text(0.0, 1.0, words), &own);
        assert_eq!(said("Wrap it up."), Some(Spoken::End));
        assert_eq!(said("wrap it up now please"), None);
        assert_eq!(said("ultrasound on, twenty seconds"), Some(Spoken::Time(20)));
        assert_eq!(said("ultrasound on"), None);
    }
}
