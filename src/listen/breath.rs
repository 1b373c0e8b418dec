//! What was heard in a span → a breath: times of the recording, calibrated doubts, remarks.

use super::{
    calibration::Table,
    hear::NO_WORDS,
    heard::{Breath, HeardWord, OtherReading},
    listener::WINDOW,
    merge::{By, Merged, Other},
    plain::{is_number, may_go_on, plain},
    run::{HeardSpan, seconds},
};

/// What is said about a breath that begins with the recording.
const START_CUT: &str = "start may be cut";
/// A voice that is noticed within this many windows (96 ms) of the start of the recording may have begun before it: the
/// detector makes up its mind a window or two late.
const START_WINDOWS: u64 = 3;
/// Windows in which the detector must be nearly certain of a voice, for a span without words to be shown as a gap.
const CERTAIN_WINDOWS: u32 = 16;

/// A breath of what was heard in one span; none if nobody spoke there.
pub(super) fn breath(heard: HeardSpan, table: &Table) -> Option<Breath> {
    let HeardSpan { span, first_s, heard, names, .. } = heard;
    let mut breath = Breath { from_s: seconds(span.from), to_s: seconds(span.to), ..Breath::default() };
    breath.remarks.extend(heard.remark.map(str::to_owned));
    let nothing = heard.merged.words.is_empty();
    if nothing && heard.remark.is_none() {
        if span.certain < CERTAIN_WINDOWS {
            return None;
        }
        breath.remarks.push(NO_WORDS.to_owned());
    }
    if span.from < START_WINDOWS * WINDOW as u64 {
        breath.remarks.push(START_CUT.to_owned());
    }
    words(&mut breath, &heard.merged, first_s, table);
    let judged: Vec<OtherReading> = heard
        .merged
        .others
        .iter()
        .map(|other| OtherReading {
            first: other.first,
            end: other.end,
            text: other.text.clone(),
            p: likelihood(other, &heard.merged, &breath.words),
            by: match other.by {
                By::RunnerUp => "runner-up".to_owned(),
                By::Second => names.0.clone(),
                By::Third => names.1.clone(),
            },
        })
        .collect();
    breath.others = judged.into_iter().map(|other| beside(other, &breath.words)).collect();
    Some(breath)
}

/// A number that may have been said beside another number ("twenty one" and perhaps "point five"; "twenty t" and perhaps
/// "two" for the "t") is a reading of that number; otherwise nobody who asks about the number would see it.
fn beside(other: OtherReading, words: &[HeardWord]) -> OtherReading {
    let number = |text: &str| plain(text).iter().any(|w| is_number(w));
    let replaced = words.get(other.first..other.end).unwrap_or_default();
    if replaced.iter().any(|w| number(&w.text)) || !other.text.split_whitespace().any(number) {
        return other;
    }
    let word = |i: Option<usize>| i.and_then(|i| words.get(i)).filter(|w| number(&w.text));
    if let Some(before) = word(other.first.checked_sub(1)) {
        return OtherReading {
            first: other.first - 1,
            text: format!("{} {}", before.text, other.text),
            ..other
        };
    }
    match word(Some(other.end)) {
        Some(after) => {
            OtherReading { end: other.end + 1, text: format!("{} {}", other.text, after.text), ..other }
        }
        None => other,
    }
}

/// Words with times of the recording, in order and within the breath, and calibrated doubts.
fn words(breath: &mut Breath, merged: &Merged, first_s: f64, table: &Table) {
    let mut last = breath.from_s;
    for word in &merged.words {
        let from_s = (first_s + word.raw.from_s).clamp(last, breath.to_s);
        let to_s = (first_s + word.raw.to_s).clamp(from_s, breath.to_s);
        last = to_s;
        let p_wrong = table.p_wrong(&word.raw.text, word.backing, word.raw.p);
        breath.words.push(HeardWord { text: word.raw.text.clone(), from_s, to_s, p_wrong });
    }
    cut_short(&mut breath.words);
}

/// A word that is called wrong with this probability or more was hardly understood, and may hold the end of the number
/// before it.
const HARDLY_UNDERSTOOD: f32 = 0.1;

/// "twenty two tug-back" was heard as "twenty t t cut": where a number that may go on stands before a word that was hardly
/// understood, it is half as doubtful as that word.
fn cut_short(words: &mut [HeardWord]) {
    let is_number_word = |w: &HeardWord| plain(&w.text).iter().any(|w| is_number(w));
    for i in 1..words.len() {
        let [.., word, next] = words.get_mut(..=i).unwrap_or_default() else { continue };
        let open = plain(&word.text).last().is_some_and(|w| may_go_on(w));
        if open && next.p_wrong >= HARDLY_UNDERSTOOD && !is_number_word(next) {
            word.p_wrong = word.p_wrong.max(next.p_wrong / 2.0);
        }
    }
}

/// Probability that another reading is the right one: the doubt about the words that it replaces, shared among all
/// readings of the same words by the probabilities that their listeners gave.
fn likelihood(other: &Other, merged: &Merged, words: &[HeardWord]) -> f32 {
    let touches = |o: &Other| {
        (o.first < other.end && other.first < o.end) || (o.first == other.first && o.end == other.end)
    };
    let sum: f32 = merged.others.iter().filter(|o| touches(o)).map(|o| o.p).sum();
    let here = words.get(other.first..other.end).unwrap_or_default();
    let doubt = if here.is_empty() {
        // Words that were left out: nothing stands there that could be doubted.
        return other.p.min(0.5);
    } else {
        here.iter().map(|w| w.p_wrong).fold(0.0, f32::max)
    };
    if sum > 0.0 { doubt * other.p / sum } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(said: &str, (first, end): (usize, usize), text: &str, expect: &str) {
        let words = Breath::from_text(0.0, 1.0, said).words;
        let other = OtherReading { first, end, text: text.to_owned(), ..OtherReading::default() };
        let found = beside(other, &words);
        assert_eq!(format!("{}..{} {}", found.first, found.end, found.text), expect, "said: {said}");
    }

    #[track_caller]
    fn check_cut_short(said: &str, p_wrong: &[f32], expect: &[f32]) {
        let mut words = Breath::from_text(0.0, 1.0, said).words;
        for (word, p) in words.iter_mut().zip(p_wrong) {
            word.p_wrong = *p;
        }
        cut_short(&mut words);
        assert_eq!(words.iter().map(|w| w.p_wrong).collect::<Vec<_>>(), expect, "said: {said}");
    }

    #[test]
    fn a_number_that_may_have_gone_on() {
        check_cut_short("on twenty t cut", &[0.06, 0.002, 0.136, 0.8], &[0.06, 0.068, 0.136, 0.8]);
        check_cut_short("on 20 t", &[0.06, 0.002, 0.5], &[0.06, 0.25, 0.5]);
        check_cut_short("on twenty yes", &[0.06, 0.002, 0.05], &[0.06, 0.002, 0.05]);
        check_cut_short("on twenty one", &[0.06, 0.002, 0.4], &[0.06, 0.002, 0.4]);
        check_cut_short("on five t", &[0.06, 0.002, 0.4], &[0.06, 0.002, 0.4]);
        check_cut_short("on sixty t", &[0.06, 0.3, 0.4], &[0.06, 0.3, 0.4]);
    }

    #[test]
    fn a_number_beside_a_number() {
        check("length twenty one mesial", (3, 3), "point five", "2..3 one point five");
        check("length twenty one", (3, 3), "point five", "2..3 one point five");
        check("size five now", (1, 1), "twenty", "1..2 twenty five");
        check("size five now", (1, 1), "fine", "1..1 fine");
        check("hypo percent", (1, 1), "five", "1..1 five");
        check("on twenty t yes", (2, 3), "two", "1..3 twenty two");
        check("on twenty t t cut", (2, 4), "two tug", "1..4 twenty two tug");
        check("size won five", (1, 2), "one", "1..3 one five");
        check("on twenty one yes", (2, 3), "two", "2..3 two");
        check("on t yes", (1, 2), "two", "1..2 two");
    }
}
