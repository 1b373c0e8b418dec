//! Where one sentence says of one thing that it was done and of another that it was not, or is still to come: no step
//! reaches over that place.

use super::{
    sentence::{self, cue},
    session::At,
    status,
};
use crate::words::{
    line::{Line, What},
    slot::Slot,
};

/// Of these one stands in the place of another.
const SORTS: &[&str] = &[
    "instruments",
    "irrigants",
    "anaesthetics",
    "medicaments",
    "drugs",
    "activations",
    "obturations",
    "materials",
    "techniques_la",
];
/// What is told of a canal in so few words is all that is told of it.
const SHORT: usize = 4;
/// A clause is looked through so far.
const CLAUSE: usize = 12;

/// Where a stretch must be cut.
pub(super) fn cuts(at: &At<'_>) -> Vec<usize> {
    let line = &at.line;
    let mut out = Vec::new();
    let (mut open, mut named) = (false, false);
    for i in 0..line.items.len() {
        if line.ends_sentence(i) {
            (open, named) = (false, false);
            continue;
        }
        // "… | ML not found yet", "… | but not the distal", "… | left the distal"
        if open
            && (named && is_parted(line, i)
                || leaves_out(line, i)
                || but_deed(line, i)
                || named && (denies_here(line, i) || tells_other(line, i))
                || named && line.is_word(i, "no") && canal(line, i + 1))
        {
            out.push(i);
        }
        if named && is_parted(line, i) {
            out.extend(clause_end(line, i).map(|k| k + 1));
        }
        // "… | but not shaped, | dressed with …"
        if open && but_not(line, i) {
            out.push(i);
            out.extend(clause_end(line, i).map(|k| k + 1));
        }
        // "hypo instead of chlorhexidine, | three mils"
        if open && i > 2 && line.is_mark(i - 1, ",") && follows_other(line, i - 2) {
            out.push(i);
        }
        // "lidocaine, | not articaine, | two cartridges"
        if let Some(end) = not_other(line, i) {
            out.push(i);
            out.extend(Some(end).filter(|&k| line.is_mark(k, ",")).map(|k| k + 1));
        }
        // "25 06, | not a 30", "25 06 | rather than a 30"
        if let Some(end) = not_size(line, i).filter(|_| open) {
            out.push(i);
            out.extend(Some(end).filter(|&k| line.is_mark(k, ",")).map(|k| k + 1));
        }
        // "…, | will gauge next", "…, | next visit the distal"
        if open
            && i > 1
            && line.is_mark(i - 1, ",")
            && (plans(line, i)
                || named && goes_elsewhere(line, i)
                || drops_number(line, i)
                || gives_allergy(line, i))
        {
            out.push(i);
        }
        // "EPT not done, | cold negative", "distal done, | mesials twenty to length"
        if i > 1
            && line.is_mark(i - 1, ",")
            && (ends_denied(line, i - 2) || is_settled(line, i - 2) || failed(line, i) || none_of(line, i))
        {
            out.push(i);
        }
        named |= canal(line, i);
        open |=
            line.items.get(i).is_some_and(|it| it.what != What::Mark) && line.term(i, "fillers").is_none();
    }
    out
}

fn canal(line: &Line, i: usize) -> bool {
    let measured = line.unit(i).is_some() && i > 0 && line.atom(i - 1).is_some();
    line.term(i, "canals").is_some() && !measured
}

fn small(line: &Line, i: usize) -> bool {
    line.is_one_of(i, &["the", "in", "on", "into", "for", "and", "but", "with"])
}

/// A clause that begins here with a canal and says of it that it was not, or is to come; nothing else is told in it.
fn is_parted(line: &Line, i: usize) -> bool {
    // "C B C T not taken": letters.
    let letter = |k: usize| line.text(k).chars().count() == 1;
    let starts = i > 0 && !small(line, i - 1) && !(letter(i) && letter(i - 1));
    let first = (i..i + 3).find(|&k| !small(line, k)).unwrap_or(i);
    let none = line.is_word(first, "none") || line.is_word(first, "nothing");
    let named = (first..first + 4)
        .find(|&k| canal(line, k))
        .filter(|&k| (first..k).all(|b| small(line, b) || none && b == first));
    let Some(named) = named.filter(|_| starts && !small(line, i.wrapping_sub(1))) else { return false };
    if none {
        return true;
    }
    let (mut says, mut last) = (false, named);
    for k in named + 1..(named + CLAUSE).min(line.items.len()) {
        if line.is_mark(k, ",") || line.ends_sentence(k) {
            break;
        }
        if line.atom(k).is_some() || canal(line, k) || cue(line, k, "then") {
            return false;
        }
        says |= line.is_word(k, "not") || cue(line, k, "negation-after") || cue(line, k, "plan-after");
        last = k;
    }
    let ends = cue(line, last, "negation-after")
        || cue(line, last, "plan-after")
        || line.is_word(last, "not")
        || line.is_word(last, "yet")
        || last > 0 && line.is_word(last - 1, "not");
    says && ends && !repaired(line, i)
}

fn repaired(line: &Line, i: usize) -> bool {
    (i.saturating_sub(2)..=i).any(|k| sentence::takes_back(line, k))
}

/// "but not the distal", "but no EDTA": what follows is something else.
fn but_not(line: &Line, i: usize) -> bool {
    let joined = line.is_phrase(i, "but not") || line.is_phrase(i, "but no");
    let apart = line.is_word(i, "but") && (line.is_word(i + 1, "not") || line.is_word(i + 1, "no"));
    let next = if joined { i + 1 } else { i + 2 };
    let next = if line.is_word(next, "in") || line.is_word(next, "the") { next + 1 } else { next };
    // "but no not today": of the step itself.
    let own = ["negation", "negation-after", "drops", "no"].iter().any(|class| cue(line, next, class));
    (joined || apart) && says(line, next) && !own
}

/// "left the distal", "leaving the palatal for next time".
fn leaves_out(line: &Line, i: usize) -> bool {
    let leaves = ["left", "leaving", "leave", "skipped", "skipping"].iter().any(|w| line.text(i) == *w);
    let next = (i + 1..i + 3).find(|&k| !small(line, k)).unwrap_or(i + 1);
    leaves && canal(line, next)
}

/// Something is told there: a word that stands for something, or a number.
fn says(line: &Line, i: usize) -> bool {
    line.items.get(i).is_some_and(|it| it.what != What::Mark)
}

fn ends_denied(line: &Line, i: usize) -> bool {
    let names = |k: usize| {
        line.items.get(k).is_some_and(|it| match &it.what {
            What::Term(tags, _) => {
                tags.iter().any(|t| &*t.vocabulary != "cues" && &*t.vocabulary != "fillers")
            }
            _ => false,
        })
    };
    let yet = usize::from(line.is_word(i, "yet"));
    let end = i.saturating_sub(yet);
    let start = line.clause_start(i).max(i.saturating_sub(CLAUSE / 2));
    let of_canal = (start..end).any(|k| canal(line, k)) && (start..end).all(|k| line.atom(k).is_none());
    cue(line, end, "negation-after") && end > 0 && (names(end - 1) || of_canal)
}

/// "distal done, …": of this canal nothing more is told.
fn is_settled(line: &Line, i: usize) -> bool {
    let done = line.is_one_of(i, &["done", "finished", "complete", "completed", "sorted"]);
    let before = |n: usize| i.checked_sub(n);
    let opens = |k: usize| {
        k == 0 || line.opens_sentence(k) || line.is_word(k - 1, "the") && line.opens_sentence(k - 1)
    };
    done && (before(1).is_some_and(|k| canal(line, k) && opens(k))
        || before(2).is_some_and(|k| {
            canal(line, k) && opens(k) && line.is_one_of(k + 1, &["is", "are", "was", "all"])
        }))
}

/// The places of both sorts, in order.
pub(super) fn merged(a: Vec<usize>, b: Vec<usize>) -> Vec<usize> {
    let mut out = a;
    out.extend(b);
    out.sort_unstable();
    out.dedup();
    out
}

/// "…, | no tug back distal", where another canal was named before.
fn denies_here(line: &Line, i: usize) -> bool {
    let clause = (i..(i + CLAUSE).min(line.items.len()))
        .take_while(|&k| !line.is_mark(k, ",") && !line.ends_sentence(k));
    i > 0
        && line.is_mark(i - 1, ",")
        && cue(line, i, "no")
        && !repaired(line, i)
        && clause.into_iter().any(|k| canal(line, k))
}

/// "didn't activate | but left the EDTA in"
fn but_deed(line: &Line, i: usize) -> bool {
    let next = i + 1 + usize::from(line.is_word(i + 1, "i") || line.is_word(i + 1, "we"));
    let deed = line.text(next).ends_with("ed") || cue(line, next, "past-verb") || line.is_word(next, "left");
    line.is_word(i, "but") && deed
}

/// "ten wouldn't go, | eight to length", "skipped the twenty, | straight to twenty five": one instrument, and then another.
fn failed(line: &Line, i: usize) -> bool {
    let start = line.clause_start(i.saturating_sub(2)).max(i.saturating_sub(CLAUSE));
    let number = |k: usize| line.atom(k).is_some();
    let denied = (start..i - 1).find(|&k| cue(line, k, "negation") && !sentence::takes_back(line, k));
    let amount =
        |k: usize| line.unit(k + 1).is_some() || line.is_one_of(k + 1, &["short", "shy", "beyond", "of"]);
    let next = (i..i + 4)
        .find(|&k| number(k))
        .filter(|&k| !amount(k) && !(line.is_word(k + 1, "and") && amount(k + 3)));
    let told = |d: usize| {
        let own = (start..d).any(number) && !(d..i).any(number);
        own || d == start && (d..i).filter(|&k| number(k)).count() == 1
    };
    next.is_some() && denied.is_some_and(told)
}

/// "will gauge next", "then will go to forty", "next visit distal"
fn plans(line: &Line, i: usize) -> bool {
    let mut at = i + usize::from(line.is_one_of(i, &["and", "then", "i", "we"]));
    // "then distal will go to forty"
    if canal(line, at)
        && (line.text(at + 1) == "will"
            || line.is_phrase(at + 1, "to be")
            || line.is_phrase(at + 1, "to be done"))
    {
        at += 1;
        return (line.text(at) == "will" || cue(line, at, "plan") || cue(line, at, "plan-after"))
            && says(line, at + 1);
    }
    let opens = ["will", "i'll", "we'll", "i", "we", "next", "plan", "planning", "going"];
    let told =
        opens.contains(&line.text(at)) && !line.is_word(at + 1, "call") && !cue(line, at + 1, "negation");
    // "EDTA, I'll do that in a second": of the step itself.
    let same = (at + 1..at + 4).any(|k| line.is_one_of(k, &["that", "it", "this", "those", "them"]));
    cue(line, at, "plan") && !same && told && says(line, at + 1) && !status::goes_so_far(line, at)
}

/// ", not articaine": another of the sort that was just named. Gives where it ends.
fn not_other(line: &Line, i: usize) -> Option<usize> {
    let not = i > 1 && line.is_mark(i - 1, ",") && line.is_word(i, "not");
    let other = i + 1 + usize::from(line.is_one_of(i + 1, &["a", "the"]));
    let sort = SORTS.iter().find(|v| line.term(other, v).is_some()).filter(|_| not)?;
    let named = (i.saturating_sub(CLAUSE / 2)..i - 1).any(|k| line.term(k, sort).is_some());
    let end = other + 1;
    let ends = line.items.get(end).is_none_or(|it| it.what == What::Mark);
    (named && ends).then_some(end)
}

/// "not a 30", "thought about a 30", "rather than a 30 file" behind a size: another one, not used. Gives where it ends.
fn not_size(line: &Line, i: usize) -> Option<usize> {
    let otherwise =
        ["negation", "perhaps"].iter().any(|class| cue(line, i, class)) || status::contrasts(line, i);
    let other = i + 2;
    let sized = |k: usize| line.reading(Slot::StandardSize, k).map(|r| r.end);
    let end = sized(other).filter(|_| otherwise && line.is_one_of(i + 1, &["a", "an", "the", "another"]))?;
    let end = end + usize::from(line.term(end, "instruments").is_some());
    let ends = line.items.get(end).is_none_or(|it| it.what == What::Mark);
    let start = line.clause_start(i.saturating_sub(2)).max(i.saturating_sub(CLAUSE));
    let corrects = (start.saturating_sub(2)..i).any(|k| cue(line, k, "repair") || line.is_word(k, "no"));
    (ends && !corrects && (start..i).any(|k| sized(k).is_some())).then_some(end)
}

/// "no rotary, | K files fifteen and twenty"
fn none_of(line: &Line, i: usize) -> bool {
    const NAMES: &[&str] = &["instruments", "irrigants", "anaesthetics", "medicaments", "drugs"];
    let start = line.clause_start(i.saturating_sub(2)).max(i.saturating_sub(CLAUSE));
    let named = |k: usize| NAMES.iter().any(|v| line.term(k, v).is_some());
    let all = start + 1 < i - 1 && (start + 1..i - 1).all(named);
    cue(line, start, "no") && all && (i..i + 2).any(|k| named(k) || line.atom(k).is_some())
}

/// "rotary 25/.04, MB and ML to length, | distal one short": another depth in another canal, and no instrument.
fn goes_elsewhere(line: &Line, i: usize) -> bool {
    let first = (i..i + 3).find(|&k| !small(line, k)).unwrap_or(i);
    let end = (first..(first + CLAUSE).min(line.items.len()))
        .find(|&k| line.is_mark(k, ",") || line.ends_sentence(k))
        .unwrap_or((first + CLAUSE).min(line.items.len()));
    let numbers = (first..end).filter(|&k| line.atom(k).is_some()).count();
    let before = line.clause_start(i.saturating_sub(2)).max(i.saturating_sub(CLAUSE));
    let short = |k: usize| line.is_word(k, "short");
    let length = |k: usize| line.holds(k, "length");
    let (own, other) = (first..end, before..i);
    // "… in MB to length, in ML to eighteen"
    let deep = |k: usize| line.is_word(k, "to") && line.atom(k + 1).is_some();
    let own_depth = own.clone().any(deep) && !own.clone().any(length);
    let parted = own_depth && other.clone().any(length)
        || own.clone().any(short) && other.clone().any(length)
        || own.clone().any(length) && other.clone().any(short);
    canal(line, first) && numbers <= 1 && parted && other.clone().any(|k| canal(line, k))
}

/// "thirty to length, | didn't need the thirty five"
fn drops_number(line: &Line, i: usize) -> bool {
    let end =
        (i..(i + CLAUSE).min(line.items.len())).find(|&k| line.is_mark(k, ",") || line.ends_sentence(k));
    let end = end.unwrap_or((i + CLAUSE).min(line.items.len()));
    let number = |mut r: std::ops::Range<usize>| r.any(|k| line.atom(k).is_some());
    let before = line.clause_start(i.saturating_sub(2)).max(i.saturating_sub(CLAUSE));
    let denies = cue(line, i, "negation") && !line.is_word(i, "not") && !sentence::takes_back(line, i);
    denies && line.is_word(end.saturating_sub(2), "the") && number(i..end) && number(before..i)
}

/// "no chlorhexidine, | patient is allergic"
fn gives_allergy(line: &Line, i: usize) -> bool {
    const AGENTS: &[&str] = &["irrigants", "anaesthetics", "drugs", "medicaments"];
    let end =
        (i..(i + CLAUSE).min(line.items.len())).find(|&k| line.is_mark(k, ",") || line.ends_sentence(k));
    let clause = i..end.unwrap_or((i + CLAUSE).min(line.items.len()));
    let before = line.clause_start(i.saturating_sub(2)).max(i.saturating_sub(CLAUSE))..i;
    let denies = before.clone().any(|k| cue(line, k, "no") || cue(line, k, "negation"));
    let agent = before.into_iter().any(|k| AGENTS.iter().any(|v| line.term(k, v).is_some()));
    denies && agent && clause.into_iter().any(|k| cue(line, k, "allergy"))
}

/// "instead of chlorhexidine", "not lidocaine", up to item `i`: what follows is of the other.
fn follows_other(line: &Line, i: usize) -> bool {
    let start = line.clause_start(i).max(i.saturating_sub(CLAUSE / 2));
    let named = |k: usize| SORTS.iter().find(|v| line.term(k, v).is_some());
    let Some(sort) = named(i) else { return false };
    let contrast = (start..i).rev().take(2).find(|&k| status::contrasts(line, k));
    contrast.is_some_and(|k| (start..k).any(|b| line.term(b, sort).is_some()))
}

/// "MB and ML dried, | distal still weeping": a canal, and words that say otherwise of it.
fn tells_other(line: &Line, i: usize) -> bool {
    if i == 0 || !line.is_mark(i - 1, ",") {
        return false;
    }
    let end =
        (i..(i + CLAUSE).min(line.items.len())).find(|&k| line.is_mark(k, ",") || line.ends_sentence(k));
    let end = end.unwrap_or((i + CLAUSE).min(line.items.len()));
    let first = (i..end).find(|&k| !small(line, k)).unwrap_or(i);
    let rest = (first..end).find(|&k| !canal(line, k) && !small(line, k)).unwrap_or(end);
    let number = (rest..end).any(|k| line.atom(k).is_some());
    canal(line, first) && !number && end - rest <= SHORT && (rest..end).any(|k| cue(line, k, "otherwise"))
}

/// The comma that ends the clause begun at item `i`, unless its sentence ends before.
fn clause_end(line: &Line, i: usize) -> Option<usize> {
    let near = i + 1..(i + CLAUSE).min(line.items.len());
    near.into_iter()
        .find(|&k| line.is_mark(k, ",") || line.ends_sentence(k))
        .filter(|&k| line.is_mark(k, ","))
}
