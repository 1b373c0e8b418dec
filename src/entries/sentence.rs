//! A breath's sentences, and what kind of speech each is: treatment, talk, a question, a plan, a rule of the craft.
//!
//! Which words are cues, and of what, stands in `src/tables/words/cues.tsv`.

use std::ops::Range;

use crate::words::{
    line::{Line, What},
    number::Form,
};

/// What kind of speech a sentence is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speech {
    Treatment,
    /// Words of everyday life or of opinion stand in it: an entry must explain more than elsewhere.
    Doubtful,
    /// A question, a request, talk with others, an opinion, a running total, a counterfactual: no entry.
    Talk(&'static str),
    /// Of an earlier visit or another dentist.
    Past,
}

/// A stretch of items that ends with a full stop, a question mark or the breath.
#[derive(Debug, Clone)]
pub struct Sentence {
    pub items: Range<usize>,
    pub speech: Speech,
    /// An if-clause stood before it: what it says holds under that condition.
    pub conditional: bool,
}

/// An if-clause has no more items than this; the end of a longer one is not looked for.
const LONGEST_CONDITION: usize = 80;

/// Is item `i` a cue of this class?
pub fn cue(line: &Line, i: usize, class: &str) -> bool {
    match line.items.get(i).map(|it| &it.what) {
        Some(What::Term(tags, _)) => tags.iter().any(|t| &*t.value == class && &*t.vocabulary == "cues"),
        _ => false,
    }
}

/// The sentence that an item stands in; they are in order.
pub fn of_item(sentences: &[Sentence], item: usize) -> Option<&Sentence> {
    let at = sentences.partition_point(|s| s.items.end <= item);
    sentences.get(at).filter(|s| s.items.contains(&item))
}

/// Do the words at item `i` take back what was said before? "no" does so only as a word of its own ("twenty, no, twenty
/// one"); before a noun it denies ("no perforation").
pub fn takes_back(line: &Line, i: usize) -> bool {
    // "twenty, say twenty and a half"
    let anew = line.is_word(i, "say") && line.atom(i + 1).is_some() && i > 1 && line.is_mark(i - 1, ",");
    if anew && line.atom(i - 2).is_some() && line.unit(i + 2).is_none_or(|u| u == "mm") {
        return true;
    }
    if !cue(line, i, "repair") {
        return false;
    }
    // "stops at, hang on, seventeen": nothing was said yet that could be taken back.
    let open = ["at", "to", "is", "size", "a", "the", "of", "with", "was"];
    let before = i.checked_sub(1).map(|b| if line.is_mark(b, ",") { b.saturating_sub(1) } else { b });
    if cue(line, i, "hold") && before.is_some_and(|b| line.is_one_of(b, &open)) {
        return false;
    }
    // "need to wait five minutes", "and wait five"
    let waits = line.is_word(i, "wait") && {
        let before = |w: &str| i > 0 && line.holds(i - 1, w);
        let time = (i + 1..i + 5)
            .take_while(|&k| !line.is_mark(k, ","))
            .any(|k| matches!(line.unit(k), Some("s" | "min" | "h")));
        let aside = i > 0 && line.is_mark(i - 1, ",") && line.is_mark(i + 1, ",");
        before("to") || before("and") || before("must") || time && !aside
    };
    if waits {
        return false;
    }
    if !line.is_word(i, "no") {
        return true;
    }
    let next = i + 1;
    line.is_mark(next, ",")
        || line.is_mark(next, ".")
        || line.is_mark(next, "-")
        || cue(line, next, "repair")
        || line.atom(next).is_some()
        || line.is_one_of(next, &["it", "that", "that's", "it's", "the"])
        || line.term(next, "fillers").is_some()
}

/// Does a clause that denies begin at item `i` ("no second one could be found", "I didn't find it")?
pub fn denies_from(line: &Line, i: usize) -> bool {
    let denies = |k: usize| (cue(line, k, "no") || cue(line, k, "negation")) && !takes_back(line, k);
    let subject = line.is_one_of(i, &["i", "we", "he", "she", "they", "but", "and"]);
    denies(i) || subject && denies(i + 1)
}

/// The first cue of a class in a range.
pub fn find_cue(line: &Line, range: Range<usize>, class: &str) -> Option<usize> {
    range.into_iter().find(|&i| cue(line, i, class))
}

/// Cuts a line into sentences. In a lecture "you" are those who learn, elsewhere the patient. A mark inside a number that
/// is `held` together ends none.
pub fn sentences(line: &Line, held: impl IntoIterator<Item = Range<usize>>, lecture: bool) -> Vec<Sentence> {
    let mut inside = vec![false; line.items.len()];
    for range in held {
        inside.get_mut(range).unwrap_or_default().fill(true);
    }
    let mut out = Vec::new();
    let mut start = 0;
    for (i, inside) in inside.into_iter().enumerate() {
        // "the ML looks short, correction, ML nineteen and a half": what is corrected stands in an earlier breath.
        if i > start + 1 && corrects_earlier(line, i) {
            push(line, start..i, lecture, &mut out);
            start = i;
        }
        if !inside && line.ends_sentence(i) {
            push(line, start..i + 1, lecture, &mut out);
            start = i + 1;
        }
    }
    push(line, start..line.items.len(), lecture, &mut out);
    out
}

/// Strong words of correction behind a clause that ends without a value.
fn corrects_earlier(line: &Line, i: usize) -> bool {
    const STRONG: &[&str] = &["correct", "misspoke", "lie", "mistake", "amend", "should read"];
    let strong = || {
        let said = line.spoken(i, i + 1);
        STRONG.iter().any(|w| said.contains(w))
    };
    let plain = |b: usize| {
        line.items.get(b).is_some_and(|it| matches!(it.what, What::Word | What::Term(..)))
            && line.unit(b).is_none()
            && line.term(b, "canals").is_none()
    };
    cue(line, i, "repair") && line.is_mark(i - 1, ",") && plain(i - 2) && strong()
}

fn push(line: &Line, items: Range<usize>, lecture: bool, out: &mut Vec<Sentence>) {
    let (mut items, mut conditional) = (items, false);
    // "if it resists, brush outward": the condition itself is no step, what follows holds under it.
    while let Some((at, end)) = condition(line, &items) {
        push_part(line, items.start..at, lecture, conditional, out);
        out.push(Sentence { items: at..end, speech: Speech::Talk("condition"), conditional });
        (items, conditional) = (end..items.end, true);
    }
    push_part(line, items, lecture, conditional, out);
}

/// A part without an if-clause.
fn push_part(line: &Line, items: Range<usize>, lecture: bool, conditional: bool, out: &mut Vec<Sentence>) {
    if items.is_empty() {
        return;
    }
    let speech = speech(line, items.clone(), lecture);
    // A request or question may fill only a part between commas.
    if let Speech::Talk("request" | "question" | "patient" | "counterfactual") = speech {
        let mut start = items.start;
        let mut parts = Vec::new();
        for i in items.clone() {
            if line.is_mark(i, ",") {
                parts.push(start..i + 1);
                start = i + 1;
            }
        }
        parts.push(start..items.end);
        if parts.len() > 1 && !line.is_mark(items.end - 1, "?") {
            let mut talking = false;
            let mut answered = false;
            for part in parts {
                if part.is_empty() {
                    continue;
                }
                let mut s = self::speech(line, part.clone(), lecture);
                // What follows a question or request in the same sentence belongs to it, but for the answer.
                answered |= talking && line.is_one_of(part.start, &["yes", "yeah", "yep", "yup", "aye"]);
                // "what's it saying, M B nineteen and a half, …"
                let lengths = part.clone().any(|i| line.term(i, "canals").is_some())
                    && part.clone().any(|i| line.atom(i).is_some())
                    && speech == Speech::Talk("question");
                if talking && !answered && !lengths && s == Speech::Treatment {
                    s = speech;
                }
                talking |= matches!(s, Speech::Talk(_));
                out.push(Sentence { items: part, speech: s, conditional });
            }
            return;
        }
    }
    // "root filled four years back, now pain on chewing": what is now is told of this visit.
    if speech == Speech::Past
        && let Some(now) = (items.start + 2..items.end.saturating_sub(1)).find(|&i| {
            let joined = line.is_mark(i - 1, ",") && line.holds(i, "now")
                || line.is_word(i, "and") && line.is_word(i + 1, "now")
                || line.is_phrase(i, "and now");
            joined && self::speech(line, i..items.end, lecture) != Speech::Past
        })
    {
        out.push(Sentence { items: items.start..now, speech, conditional });
        let speech = self::speech(line, now..items.end, lecture);
        out.push(Sentence { items: now..items.end, speech, conditional });
        return;
    }
    out.push(Sentence { items, speech, conditional });
}

/// The first if-clause, where it opens its clause and something stands behind it that it may govern.
fn condition(line: &Line, items: &Range<usize>) -> Option<(usize, usize)> {
    let at = find_cue(line, items.clone(), "condition")?;
    let mut before = (items.start..at).rev().filter(|&i| line.term(i, "fillers").is_none());
    let at_start = before.next().is_none_or(|i| line.is_mark(i, ","));
    let end = condition_end(line, at, items.end);
    (at_start && end < items.end && end > at + 1 && !line.is_mark(at + 1, ",")).then_some((at, end))
}

/// Where an if-clause ends: behind the first comma, before "then", or at a verb of the main clause.
pub fn condition_end(line: &Line, at: usize, end: usize) -> usize {
    let near = end.min(at + 1 + LONGEST_CONDITION);
    if let Some(i) =
        (at + 1..near).find(|&i| line.is_mark(i, ",") || line.is_mark(i, ":") || line.is_word(i, "then"))
    {
        return i + 1;
    }
    let own = ["we", "i", "i'll", "we'll", "i'd", "we'd"];
    let subject = |i: usize| cue(line, i, "you") || own.iter().any(|w| line.text(i) == *w);
    (at + 3..near).find(|&i| cue(line, i, "imperative") || subject(i)).unwrap_or(end)
}

/// Index of the first item that is no filler and no mark.
fn first_word(line: &Line, items: Range<usize>) -> usize {
    items
        .clone()
        .find(|&i| {
            // "next is the one six" asks nothing.
            (line.term(i, "fillers").is_none() || cue(line, i, "plan-bare"))
                && line.items.get(i).is_some_and(|it| it.what != What::Mark)
        })
        .unwrap_or(items.end)
}

fn speech(line: &Line, items: Range<usize>, lecture: bool) -> Speech {
    let first = first_word(line, items.clone());
    let any = |class: &str| find_cue(line, items.clone(), class).is_some();
    if items.end > items.start && line.is_mark(items.end - 1, "?") {
        return Speech::Talk("question");
    }
    if cue(line, first, "question") {
        return Speech::Talk("question");
    }
    // "needle's a 27 gauge, isn't it"
    let last = items.clone().rev().find(|&i| line.items.get(i).is_some_and(|it| it.what != What::Mark));
    let tags = ["isn't it", "aren't they", "wasn't it", "doesn't it", "haven't we", "innit"];
    if last.is_some_and(|i| tags.iter().any(|w| line.is_phrase(i, w))) {
        return Speech::Talk("question");
    }
    // "told her to get the crown done" asks nobody here.
    let asked = |i: usize| cue(line, i, "request") && !(i > 0 && line.is_word(i - 1, "to"));
    if cue(line, first, "request-start") || items.clone().any(asked) {
        return Speech::Talk("request");
    }
    if any("not-here") {
        return Speech::Talk("not-here");
    }
    if any("restate") {
        return Speech::Talk("restate");
    }
    if any("counterfactual") {
        return Speech::Talk("counterfactual");
    }
    let of_others = || {
        let other = find_cue(line, items.clone(), "others");
        let with =
            |i: usize| ["with", "to", "for", "see", "sees"].iter().any(|w| i > 0 && line.is_word(i - 1, w));
        // "this is 17, sent in by a colleague"
        let sent = |i: usize| {
            let by = i > 0 && (line.is_word(i - 1, "by") || line.is_word(i - 1, "from"));
            let came = ["sent", "referred", "come", "came"];
            by && (i.saturating_sub(4)..i).any(|k| line.holds_one_of(k, &came))
        };
        other.is_some_and(|i| !with(i) && !sent(i))
            && !["plan", "plan-after", "condition"].iter().any(|c| any(c))
    };
    // "root filled in 2011"
    let year = |i: usize| {
        let n = line.atom(i).filter(|a| matches!(a.form, Form::Printed { digits: 4, .. }));
        let told = i > 0 && line.is_one_of(i - 1, &["in", "since", "from"]);
        told && n.and_then(|a| a.value.to_whole()).is_some_and(|n| (1950..2040).contains(&n))
    };
    let numbers = items.clone().filter(|&i| line.atom(i).is_some()).count();
    let other = ["lot", "batch", "now", "today", "expiry", "expires"];
    let only = numbers == 1 && !items.clone().any(|i| line.is_one_of(i, &other));
    if any("past") || of_others() || only && items.clone().any(year) {
        return Speech::Past;
    }
    if !lecture && (cue(line, first, "patient-start") || any("patient")) {
        return Speech::Talk("patient");
    }
    let measured = |i: usize| line.atom(i).is_some() && line.unit(i + 1).is_some();
    // "that's ten mils of hypo altogether"
    let sums = ["that's", "that", "makes", "so"].iter().any(|w| line.text(first) == *w);
    let altogether = items.clone().any(|i| line.is_word(i, "altogether"));
    if sums && altogether && items.clone().any(measured) {
        return Speech::Talk("total");
    }
    let about = |i: usize| line.atom(i).is_some() && any("unsure-after");
    if any("total") && items.clone().any(|i| measured(i) || about(i)) {
        return Speech::Talk("total");
    }
    // "composite we will do on monday"
    let day = any("day") && !any("plan") && !any("plan-after");
    // "chlorhexidine not used, because it will precipitate": the reason is no talk of its own.
    let because = |i: &usize| cue(line, *i, "reason") || line.text(*i).starts_with("because");
    let reason = (first + 1..items.end).find(because).unwrap_or(items.end);
    let fact = find_cue(line, items.start..reason, "fact").is_some();
    if fact || any("talk") || day {
        return Speech::Doubtful;
    }
    Speech::Treatment
}

/// Does a word of the class stand right before item `i` ("allergic to | articaine")?
pub(super) fn is_behind(line: &Line, i: usize, class: &str) -> bool {
    let small = |k: usize| line.is_one_of(k, &["to", "the", "a", "an", "of", "with", "from"]);
    let near = i.saturating_sub(4)..i;
    near.rev().find(|&k| !small(k)).is_some_and(|k| cue(line, k, class))
}
