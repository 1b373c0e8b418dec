//! Was it done, planned, not done, only under a condition, or a rule of the craft? Cues with their reach.

use std::ops::Range;

use super::sentence::{self as sentence_room, cue, find_cue};
use crate::{log::Status, words::line::Line};

/// How the speaker speaks: to the record, or to learners.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    /// For the record: "you" is the patient or the assistant.
    Record,
    /// A lecture, with a case at hand: deeds, and rules for "you".
    Case,
    /// A lecture before any case: what is said is how things are done.
    Theory,
}

/// The status of a stretch in its sentence, or nothing where the stretch itself is only a condition ("if it resists").
/// `valued` tells which items belong to values: a negation there ("no tug-back") is the value's own.
pub fn of(
    line: &Line,
    sentence: &Range<usize>,
    stretch: &Range<usize>,
    anchor: usize,
    manner: Manner,
    conditional: bool,
    valued: &dyn Fn(usize) -> bool,
) -> Option<Status> {
    let before = sentence.start..anchor.max(sentence.start).min(sentence.end);
    if conditional {
        return Some(Status::Conditional);
    }
    if let Some(at) = find_cue(line, sentence.clone(), "condition") {
        let end = sentence_room::condition_end(line, at, sentence.end);
        if at > anchor {
            // "flush with saline if it hurts" – but "review in four weeks, if symptom free obturate".
            let main_follows = (end..sentence.end).any(|i| {
                line.items.get(i).is_some_and(|it| !matches!(it.what, crate::words::line::What::Mark))
            });
            if !main_follows && !line.is_mark(at.saturating_sub(1), ",") {
                return Some(Status::Conditional);
            }
        } else if anchor >= end || stretch.end > end {
            return Some(Status::Conditional);
        } else {
            return None;
        }
    }
    if find_cue(line, sentence.clone(), "general").is_some()
        || manner == Manner::Case && (sentence.start..anchor.max(stretch.end)).any(|i| is_learner(line, i))
    {
        return Some(Status::General);
    }
    if manner == Manner::Theory {
        return (!states_a_fact(line, sentence)).then_some(Status::General);
    }
    if negated(line, sentence, stretch, anchor, valued) {
        return Some(Status::NotDone);
    }
    if planned(line, &before, sentence, stretch, anchor) {
        return Some(Status::Planned);
    }
    Some(Status::Done)
}

/// The status of words that are kept as text: their own verbs say nothing of it ("she should not chew on it").
pub fn of_text(
    line: &Line,
    sentence: &Range<usize>,
    items: &Range<usize>,
    rule: &Range<usize>,
    conditional: bool,
) -> Status {
    let before = sentence.start..rule.start.max(sentence.start);
    let any = |range: Range<usize>, class: &str| find_cue(line, range, class).is_some();
    if conditional || any(before.clone(), "condition") {
        Status::Conditional
    } else if any(rule.end..items.end, "negation-after") || any(before.clone(), "negation") {
        Status::NotDone
    } else if any(before, "plan") {
        Status::Planned
    } else {
        Status::Done
    }
}

/// "you" as the one who does it, not "thank you" or "I show you".
fn is_learner(line: &Line, i: usize) -> bool {
    let spoken_to =
        ["thank", "see", "show", "tell", "ask", "of", "for", "can", "could", "would", "did", "have", "to"];
    cue(line, i, "you") && !(i > 0 && spoken_to.iter().any(|w| line.is_word(i - 1, w)))
}

/// "the sealer is only a thin film": a copula that no participle follows says what is, not what one does.
fn states_a_fact(line: &Line, sentence: &Range<usize>) -> bool {
    let says = |i: usize| ["is", "are", "was", "were", "means", "happens"].iter().any(|w| line.is_word(i, w));
    let does = |i: usize| {
        let w = line.text(i);
        w.ends_with("ed")
            || ["done", "left", "kept", "taken", "put", "made", "for", "given", "cut"].contains(&w)
    };
    let acts = sentence.clone().any(|i| cue(line, i, "you") || line.is_word(i, "we"));
    let copula = sentence.clone().find(|&i| says(i));
    !acts && copula.is_some_and(|c| !(c + 1..(c + 5).min(sentence.end)).any(does))
}

/// Words over which a negation does not reach.
fn ends_reach(line: &Line, i: usize) -> bool {
    line.is_word(i, "but")
        || cue(line, i, "then")
        || cue(line, i, "affirmed")
        || line.is_mark(i, ".")
        || line.is_mark(i, ";")
}

fn negated(
    line: &Line,
    sentence: &Range<usize>,
    stretch: &Range<usize>,
    anchor: usize,
    valued: &dyn Fn(usize) -> bool,
) -> bool {
    // Before: the nearest negation that nothing stops. Inside a stretch a negation may follow its first words.
    let from = sentence.start;
    let mut i = anchor;
    while i > from {
        i -= 1;
        if ends_reach(line, i) {
            break;
        }
        if line.is_mark(i, ",") && i < stretch.start {
            break;
        }
        if valued(i) || super::sentence::takes_back(line, i) && !line.is_word(i, "not") {
            continue;
        }
        if cue(line, i, "negation") {
            if cue(line, i, "repair")
                && line.items.get(i + 1).is_some_and(|it| matches!(it.what, crate::words::line::What::Mark))
            {
                break;
            }
            return true;
        }
        if cue(line, i, "no") && anchor - i <= 4 {
            return true;
        }
    }
    // After: "not used", "was skipped".
    let mut i = anchor;
    while i < stretch.end.max(anchor) {
        if cue(line, i, "negation-after") && !valued(i) {
            return true;
        }
        // "Gates-Glidden we did not use": a verb that nothing follows in its clause.
        if i > anchor && cue(line, i, "negation") && !cue(line, i, "repair") && !valued(i) {
            let clause = (i + 1..sentence.end).take_while(|&k| {
                !line.is_mark(k, ",")
                    && !line.is_mark(k, ".")
                    && !["because", "as", "since", "so", "and", "but", "for"]
                        .iter()
                        .any(|w| line.is_word(k, w))
            });
            let (mut words, mut says) = (0, false);
            for k in clause {
                words += 1;
                says |= line.atom(k).is_some() || line.term(k, "instruments").is_some();
            }
            return (1..=6).contains(&words) && !says;
        }
        if i > anchor && (ends_reach(line, i) || line.is_mark(i, ",")) {
            break;
        }
        i += 1;
    }
    false
}

fn planned(
    line: &Line,
    before: &Range<usize>,
    sentence: &Range<usize>,
    stretch: &Range<usize>,
    anchor: usize,
) -> bool {
    let mut i = before.end;
    while i > before.start {
        i -= 1;
        if cue(line, i, "plan") {
            return true;
        }
        if line.is_word(i, "but") || cue(line, i, "affirmed") || line.is_mark(i, ".") {
            break;
        }
    }
    // "EDTA first", "next, gauge it" – but "a ten was used first" is done.
    let past = |i: usize| {
        let w = line.text(i);
        ["was", "were", "had", "did"].contains(&w) || w.ends_with("ed") && w.len() > 4
    };
    let first = sentence.clone().find(|&i| {
        !line.is_mark(i, ",") && line.term(i, "fillers") != Some("-") || cue(line, i, "plan-bare")
    });
    let ends = |i: usize| {
        i + 1 >= sentence.end
            || line.items.get(i + 1).is_some_and(|it| matches!(it.what, crate::words::line::What::Mark))
    };
    let bare = first.is_some_and(|i| line.is_word(i, "next"))
        || (anchor..stretch.end.min(sentence.end)).any(|i| cue(line, i, "plan-bare") && ends(i));
    if bare && !sentence.clone().any(past) {
        return true;
    }
    let clause = (anchor..sentence.end).find(|&i| line.is_mark(i, ",")).unwrap_or(sentence.end);
    (anchor..stretch.end.min(sentence.end))
        .any(|i| cue(line, i, "plan-after") || i < clause && cue(line, i, "plan"))
}
