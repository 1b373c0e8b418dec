//! Was it done, planned, not done, only under a condition, or a rule of the craft? Cues with their reach.

use std::ops::Range;

use super::sentence::{self as sentence_room, cue, find_cue};
use crate::{
    log::Status,
    words::line::{Line, What},
};

/// So far behind a step the words are looked for that alone deny it.
const NEAR: usize = 12;

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

/// A status, and the item that tells it; a fact needs none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Told {
    pub status: Status,
    pub by: Option<usize>,
}

impl From<Status> for Told {
    fn from(status: Status) -> Self {
        Self { status, by: None }
    }
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
) -> Option<Told> {
    let before = sentence.start..anchor.max(sentence.start).min(sentence.end);
    let told = |status, by| Some(Told { status, by });
    if conditional {
        return told(Status::Conditional, None);
    }
    if let Some(at) = find_cue(line, sentence.clone(), "condition") {
        let end = sentence_room::condition_end(line, at, sentence.end);
        if at > anchor {
            // "flush with saline if it hurts" – but "review in four weeks, if symptom free obturate".
            let main_follows = (end..sentence.end).any(|i| {
                line.items.get(i).is_some_and(|it| !matches!(it.what, crate::words::line::What::Mark))
            });
            // "review in ten days, then we obturate, if it is quiet": of the clause right before it.
            let comma = line.is_mark(at.saturating_sub(1), ",");
            let of_clause =
                sentence.end.saturating_sub(at) > 2 && line.clause_start(at.saturating_sub(2)) <= anchor;
            // "one cartridge given, second one ready if needed": of another clause.
            let own = comma || line.clause_start(at) <= anchor;
            if !main_follows && own && (!comma || of_clause) {
                return told(Status::Conditional, Some(at));
            }
        } else if anchor >= end || stretch.end > end {
            return told(Status::Conditional, Some(at));
        } else {
            return None;
        }
    }
    let learner = || (sentence.start..anchor.max(stretch.end)).find(|&i| is_learner(line, i));
    // For the record "never" tells of the past ("never had a block before").
    let of_rule = |i: &usize| manner != Manner::Record || !cue(line, *i, "never");
    // "control after twelve months, the farmers always come on time": of something else.
    let elsewhere = |i: &usize| {
        let clause = line.clause_start(*i);
        *i > anchor && clause > anchor && *i > clause + 1
    };
    let general = is_general(line, sentence.clone())
        .filter(of_rule)
        .filter(|i| !elsewhere(i))
        .or_else(|| learner().filter(|_| manner == Manner::Case));
    if general.is_some() {
        return told(Status::General, general);
    }
    if manner == Manner::Theory && !tells_a_deed(line, sentence) {
        return (!states_a_fact(line, sentence)).then_some(Status::General.into());
    }
    if let Some(by) = negated(line, sentence, stretch, anchor, valued) {
        // "I'll put the composite in next week, not today"
        let plan = planned(line, &before, sentence, stretch, anchor).filter(|p| *p < by);
        if let Some(plan) =
            plan.filter(|_| ["not today", "not this time", "not now"].iter().any(|w| line.is_phrase(by, w)))
        {
            return told(Status::Planned, Some(plan));
        }
        return told(Status::NotDone, Some(by));
    }
    if let Some(by) = planned(line, &before, sentence, stretch, anchor) {
        return told(Status::Planned, Some(by));
    }
    told(Status::Done, None)
}

/// The status of words that are kept as text: their own verbs say nothing of it ("she should not chew on it").
pub fn of_text(
    line: &Line,
    sentence: &Range<usize>,
    items: &Range<usize>,
    rule: &Range<usize>,
    conditional: bool,
) -> Told {
    let before = sentence.start..rule.start.max(sentence.start);
    let find = |range: Range<usize>, class: &str| find_cue(line, range, class);
    let condition = find(before.clone(), "condition");
    let general = || is_general(line, before.clone());
    let denied = || before.clone().next_back().filter(|&i| cue(line, i, "no"));
    let negation = || {
        let after = find(rule.end..items.end, "negation-after");
        after.or_else(|| find(before.clone(), "negation")).or_else(denied)
    };
    let plan = || {
        let after = rule.end..(rule.end + 2).min(items.end);
        find(before.clone(), "plan").or_else(|| find(after, "plan"))
    };
    if conditional || condition.is_some() {
        Told { status: Status::Conditional, by: condition }
    } else if let Some(by) = general() {
        Told { status: Status::General, by: Some(by) }
    } else if let Some(by) = negation() {
        Told { status: Status::NotDone, by: Some(by) }
    } else if let Some(by) = plan() {
        Told { status: Status::Planned, by: Some(by) }
    } else {
        Told::default()
    }
}

/// What says that a rule of the craft follows. "never" does so but before a verb of the past ("never touched the distal").
pub fn is_general(line: &Line, items: Range<usize>) -> Option<usize> {
    let past = |i: usize| line.text(i).ends_with("ed") || cue(line, i, "past-verb");
    items.into_iter().find(|&i| cue(line, i, "general") || cue(line, i, "never") && !(i + 1..i + 3).any(past))
}

/// "you" as the one who does it, not "thank you" or "I show you".
fn is_learner(line: &Line, i: usize) -> bool {
    let spoken_to =
        ["thank", "see", "show", "tell", "ask", "of", "for", "can", "could", "would", "did", "have", "to"];
    cue(line, i, "you") && !(i > 0 && line.is_one_of(i - 1, &spoken_to))
}

/// "and I've flushed two mil", "so I topped up": a lecturer's own deed, though no tooth was named.
fn tells_a_deed(line: &Line, sentence: &Range<usize>) -> bool {
    let own = |i: usize| line.is_one_of(i, &["i", "we", "i've", "we've", "i'd"]);
    let deed = |i: usize| {
        let w = line.text(i);
        w.ends_with("ed") && w.len() > 4 && w != "need" || cue(line, i, "past-verb")
    };
    sentence.clone().any(|i| own(i) && (deed(i + 1) || line.is_word(i + 1, "have") && deed(i + 2)))
}

/// "the sealer is only a thin film": a copula that no participle follows says what is, not what one does.
fn states_a_fact(line: &Line, sentence: &Range<usize>) -> bool {
    let says = |i: usize| line.is_one_of(i, &["is", "are", "was", "were", "means", "happens"]);
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
    // "instead of EDTA I used citric acid"
    let deed = [
        "took", "used", "went", "got", "gave", "give", "finished", "did", "placed", "put", "chose", "opted",
        "made", "kept", "dropped", "switched",
    ];
    let subject = line.is_word(i, "i") || line.is_word(i, "we");
    let thinks = i > 0 && line.is_one_of(i - 1, &["think", "believe", "say", "that"]);
    subject && !thinks && line.is_one_of(i + 1, &deed)
        || line.is_word(i, "but")
        // "not obturating today so calcium hydroxide", but "not so deep", "so that it does not …"
        || line.is_word(i, "so") && !line.is_one_of(i + 1, &["that", "much", "far", "as"])
        // "avoided extrusion by keeping the needle short"
        || line.is_word(i, "by") && line.text(i + 1).ends_with("ing")
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
) -> Option<usize> {
    // Before: the nearest negation that nothing stops. Inside a stretch a negation may follow its first words.
    let from = sentence.start;
    let mut i = anchor;
    while i > from {
        i -= 1;
        if ends_reach(line, i) {
            break;
        }
        let onward = line.is_one_of(i + 1, &["so", "then", "and"]);
        if line.is_mark(i, ",") && (i < stretch.start || onward) {
            break;
        }
        if valued(i) || super::sentence::takes_back(line, i) && !line.is_word(i, "not") {
            continue;
        }
        // "shaped but not obturated"
        if is_but_not(line, i) {
            return Some(i);
        }
        // "skipped EDTA and dried with paper points": the next deed.
        let left = ["skipped", "skipping", "omitted", "forgot"].iter().any(|w| line.text(i) == *w);
        let deed = |k: usize| line.text(k).ends_with("ed") || cue(line, k, "past-verb");
        if left && (i + 1..anchor).any(|k| line.is_word(k, "and")) && deed(anchor) {
            break;
        }
        // "not three mils, five mils", "nineteen, not twenty": of the number alone.
        if line.is_word(i, "not") && (line.is_denied(i + 1) || line.is_denied(i + 2)) {
            continue;
        }
        if cue(line, i, "negation") {
            if cue(line, i, "repair")
                && line.items.get(i + 1).is_some_and(|it| matches!(it.what, crate::words::line::What::Mark))
            {
                break;
            }
            return Some(i);
        }
        // "without a dressing", but "without pain the ten file reached length"
        let small = |k: usize| line.is_one_of(k, &["a", "an", "any", "the", "using"]);
        let reaches = !line.is_word(i, "without") || (i + 1..anchor).all(small);
        // "no, ML is 19.5", without its comma
        let turns_back = i == from
            && line.term(i + 1, "canals").is_some()
            && line.is_one_of(i + 2, &["is", "was", "should"]);
        if cue(line, i, "no") && anchor - i <= 4 && reaches && !turns_back {
            return Some(i);
        }
    }
    // "Chlorhexidine, skipped.", "Obturation no, he had to drive."
    let ends =
        |k: usize| line.items.get(k).is_none_or(|it| matches!(it.what, crate::words::line::What::Mark));
    let near = anchor..sentence.end.min(anchor + NEAR);
    let alone = |k: usize| {
        let no =
            line.is_word(k, "no") && k > anchor && line.atom(k - 1).is_none() && !line.is_mark(k - 1, ",");
        let skipped = line.is_mark(k - 1, ",") && cue(line, k, "negation-after");
        // ", I skipped it"
        let subject = line.is_one_of(k, &["i", "we", "he", "she", "they"]);
        let object = line.is_one_of(k + 2, &["it", "that", "them", "those"]);
        let own = line.is_mark(k - 1, ",")
            && subject
            && (cue(line, k + 1, "negation") || cue(line, k + 1, "negation-after"))
            && object
            && ends(k + 3);
        (no || skipped) && ends(k + 1) || own
    };
    if let Some(k) = near.clone().skip(1).take_while(|&k| !line.is_mark(k, ".")).find(|&k| alone(k))
        && !(anchor + 1..k).any(|i| line.is_mark(i, ",") && i + 1 != k)
    {
        return Some(k);
    }
    // "the reamer, thirty, hm, stuck, not doing that": what drops it may have clauses before it.
    let drops = |k: &usize| line.is_mark(k - 1, ",") && cue(line, *k, "drops") && ends(k + 1);
    if let Some(k) = near.clone().skip(1).take_while(|&k| !line.is_mark(k, ".")).find(drops) {
        return Some(k);
    }
    // After: "not used", "was skipped".
    let mut i = anchor;
    while i < stretch.end.max(anchor) {
        // "a ledge was found, and it could not be bypassed": something else is told.
        let next = i + 1 + usize::from(line.is_word(i + 1, "then"));
        let subject = || line.is_one_of(next, &["it", "i", "we", "he", "she", "they", "this", "that"]);
        if i > anchor && (line.is_word(i, "and") || line.is_phrase(i, "and then")) && subject() {
            break;
        }
        if cue(line, i, "negation-after") && !valued(i) && !(is_but_not(line, i) && !ends(i + 1)) {
            return Some(i);
        }
        // "EDTA instead of hypochlorite", "bitewing, not periapical": of what follows.
        if i > anchor && contrasts(line, i) && !ends(i + 1) {
            break;
        }
        // "Gates-Glidden we did not use": a verb that nothing follows in its clause.
        if i > anchor && cue(line, i, "negation") && !cue(line, i, "repair") && !valued(i) {
            let clause = (i + 1..sentence.end).take_while(|&k| {
                !line.is_mark(k, ",")
                    && !line.is_mark(k, ".")
                    && !line.is_one_of(k, &["because", "as", "since", "so", "and", "but", "for"])
            });
            let (mut words, mut says) = (0, false);
            for k in clause {
                words += 1;
                says |= line.atom(k).is_some() || line.term(k, "instruments").is_some();
            }
            return ((1..=6).contains(&words) && !says).then_some(i);
        }
        if i > anchor && (ends_reach(line, i) || line.is_mark(i, ",")) {
            break;
        }
        i += 1;
    }
    None
}

fn planned(
    line: &Line,
    before: &Range<usize>,
    sentence: &Range<usize>,
    stretch: &Range<usize>,
    anchor: usize,
) -> Option<usize> {
    let mut i = before.end;
    while i > before.start {
        i -= 1;
        // "twenty minutes later a ten drops in"
        let since = i > 0 && line.is_word(i, "later") && line.unit(i - 1).is_some();
        if cue(line, i, "plan") && !since && !goes_so_far(line, i) {
            return Some(i);
        }
        let now = line.is_mark(i, ",") && line.holds(i + 1, "now");
        if line.is_word(i, "but") || cue(line, i, "affirmed") || line.is_mark(i, ".") || now {
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
    let bare = first
        .filter(|&i| line.is_word(i, "next"))
        .or_else(|| (anchor..stretch.end.min(sentence.end)).find(|&i| cue(line, i, "plan-bare") && ends(i)));
    if bare.is_some() && !sentence.clone().any(past) {
        return bare;
    }
    let clause = (anchor..sentence.end).find(|&i| line.is_mark(i, ",")).unwrap_or(sentence.end);
    let later = |i: usize| line.text(i) == "before" && !line.is_word(i, "before");
    // "a block, and later an infiltration": then, and done.
    let told_in_order = |i: usize| line.is_word(i, "later") && !ends(i);
    (anchor..stretch.end.min(sentence.end)).find(|&i| {
        !later(i)
            && !told_in_order(i)
            && (cue(line, i, "plan-after") || i < clause && cue(line, i, "plan") && !goes_so_far(line, i))
    })
}

/// "the ten is going to length", "going to nineteen": how far, and no plan.
pub(super) fn goes_so_far(line: &Line, i: usize) -> bool {
    let small = |k: &usize| line.is_one_of(*k, &["the", "full", "working"]);
    let far = (i + 1..i + 4).find(|k| !small(k)).unwrap_or(i + 1);
    let length = |k: usize| line.holds(k, "length") || line.holds(k, "apex");
    line.is_phrase(i, "going to") && (line.atom(far).is_some() || length(far))
}

/// "but not", "but no": of what follows at once.
pub(super) fn is_but_not(line: &Line, i: usize) -> bool {
    line.is_phrase(i, "but not") || line.is_phrase(i, "but no")
}

/// Words that put what stands before them in the place of what follows.
pub(super) fn contrasts(line: &Line, i: usize) -> bool {
    // "obturation today not doing": of the step itself.
    let small = |k: &usize| line.is_one_of(*k, &["a", "an", "the", "to"]);
    let next = (i + 1..i + 4).find(|k| !small(k)).unwrap_or(i + 1);
    let names = line.items.get(next).is_some_and(|it| match &it.what {
        What::Term(tags, _) => tags.iter().any(|t| !matches!(&*t.vocabulary, "cues" | "fillers")),
        What::Number(_) => true,
        _ => false,
    });
    let words = ["instead of", "rather than", "in place of", "as opposed to"];
    words.iter().any(|w| line.is_phrase(i, w)) || line.is_word(i, "not") && names
}
