//! Words that do something to what was said: spoken controls and the beginnings of corrections; and words that only say
//! when or why.

use std::ops::Range;

use super::{
    hits::{Hit, Of},
    sentence::{self, cue, find_cue},
};
use crate::{
    kinds::{Kinds, Place},
    words::{
        line::{Line, What},
        vocabulary::Tag,
    },
};

/// So many items before a step its reason may stand.
const FAR: usize = 60;

/// A spoken control.
pub(super) struct Control {
    pub(super) items: Range<usize>,
    pub(super) what: String,
}

/// Controls are whole utterances, or stand between statements; never inside a sentence ("scratch that surface").
pub(super) fn controls(line: &Line) -> Vec<Control> {
    let mut out = Vec::new();
    for i in 0..line.items.len() {
        let Some(what) = line.term(i, "controls") else { continue };
        let after = line.items.get(i + 1);
        // "scratch that, the palatal was twenty one" – but "undo the clamp", "delete that old radiograph".
        let value_follows = (i + 2..i + 6).any(|k| line.atom(k).is_some());
        let phrase = line.items.get(i).is_some_and(|it| it.end > it.first + 1);
        let goes_on = match after.map(|it| &it.what) {
            None | Some(What::Mark | What::Number(_)) => true,
            Some(What::Term(tags, _)) => {
                let small = |t: &Tag| {
                    &*t.vocabulary == "fillers" || &*t.vocabulary == "cues" && &*t.value != "existing"
                };
                let place = tags.iter().any(|t| &*t.vocabulary == "places");
                phrase && !place && (value_follows || tags.iter().any(small))
            }
            Some(What::Word) if line.is_word(i + 1, "the") => phrase && value_follows,
            Some(What::Word) => {
                ["it", "that", "make", "was", "should", "i", "please", "and", "one", "entry", "last"]
                    .contains(&line.text(i + 1))
            }
        };
        let begins = i == 0
            || line.items.get(i - 1).is_some_and(|it| matches!(it.what, What::Mark | What::Number(_)))
            || line.term(i - 1, "fillers").is_some()
            || line.term(i - 1, "cues").is_some()
            || line.term(i - 1, "units").is_some()
            || after.is_none();
        // "… twenty two scratch that working length …": said right after a number, without a stop.
        let after_number = i > 0 && (line.atom(i - 1).is_some() || line.term(i - 1, "units").is_some());
        let hidden = line.term(i + 1, "places").is_some();
        if (goes_on || after_number && !hidden) && begins {
            // A mark that was written with its words goes with them.
            let joined = |k: &usize| {
                line.items.get(*k).is_some_and(|it| {
                    it.what == What::Mark && line.tokens.get(it.first).is_some_and(|t| t.joined)
                })
            };
            let end = i + 1 + (i + 1..line.items.len()).take_while(joined).count();
            out.push(Control { items: i..end, what: what.to_owned() });
        }
    }
    out
}

/// Does a stretch begin with words of correction?
pub(super) fn starts_correction(line: &Line, items: &Range<usize>) -> bool {
    // "size thirty five I should say"
    let last = items.clone().rev().find(|&i| line.items.get(i).is_some_and(|it| it.what != What::Mark));
    if last.is_some_and(|i| i > items.start && cue(line, i, "repair-after")) {
        return true;
    }
    // "wrong, that is side vented"
    if cue(line, items.start, "wrong") && line.is_mark(items.start + 1, ",") {
        return true;
    }
    let said = |i: usize| line.is_word(i, "i") && line.is_word(i + 1, "said");
    let first = items.clone().find(|&i| line.term(i, "fillers").is_none());
    if first.is_some_and(said) && items.clone().any(|i| cue(line, i, "repair-after") && i + 1 < items.end) {
        return true;
    }
    let mut i = items.start;
    // "shoot, no, make that …", "yeah nah, I mean …"
    let plain = |i: usize| matches!(line.items.get(i).map(|it| &it.what), Some(What::Word));
    let comma = (items.start..items.end.min(items.start + 4)).find(|&i| line.is_mark(i, ","));
    if let Some(comma) =
        comma.filter(|&c| (items.start..c).all(|i| plain(i) || line.term(i, "fillers").is_some()))
        && sentence::takes_back(line, comma + 1)
    {
        i = comma + 1;
    }
    let small = |i: usize| {
        ["fillers", "canals"].iter().any(|v| line.term(i, v).is_some())
            || line.is_mark(i, ",")
            || line.is_mark(i, "-")
            || line.is_word(i, "the")
    };
    while i < items.end && small(i) {
        if cue(line, i, "repair") {
            break;
        }
        i += 1;
    }
    // "actually yes, one minute of it": agreed, not corrected.
    let agrees = (i + 1..(i + 3).min(items.end)).any(|k| line.is_word(k, "yes") || line.is_word(k, "yeah"));
    sentence::takes_back(line, i) && !agrees
}

/// Does a stretch end with words of correction that nothing follows ("no, hang on")?
pub(super) fn dangling(line: &Line, items: &Range<usize>) -> bool {
    let mut i = items.end;
    while i > items.start && line.items.get(i - 1).is_some_and(|it| it.what == What::Mark) {
        i -= 1;
    }
    // "he takes a forty every time, me, no"
    let other = ["me", "i", "him", "her", "us", "them"];
    let answer = i > items.start + 2
        && line.is_word(i - 1, "no")
        && line.is_mark(i - 2, ",")
        && line.is_one_of(i - 3, &other);
    !answer && i > items.start && (cue(line, i - 1, "repair") || cue(line, i - 1, "hold")) && {
        let mut k = i - 1;
        while k > items.start && (cue(line, k, "repair") || cue(line, k, "hold") || line.is_mark(k, ",")) {
            if line.is_word(k, "no") || cue(line, k, "wrong") {
                return true;
            }
            k -= 1;
        }
        line.is_word(k, "no") || cue(line, k, "wrong")
    }
}

/// A rule's words are no sign of a step where they only say when or why ("before the obturation", "because the bleeding
/// …"), or where they are a number's unit ("thirty gauge").
pub(super) fn is_sign(kinds: &Kinds, hit: &Hit, line: &Line) -> bool {
    // "eight K", but not every letter K or H that was spelled.
    let letter = hit.end == hit.first + 1
        && line.term(hit.first, "instruments").is_some()
        && line.items.get(hit.first).is_some_and(|it| it.end == it.first + 1)
        && line.text(hit.first).chars().count() == 1;
    if letter
        && line.atom(hit.end).is_none()
        && !hit.first.checked_sub(1).is_some_and(|b| line.atom(b).is_some())
    {
        return false;
    }
    // "fifteen, no twenty": behind a number "no" takes it back and is no number sign.
    let last = (0..hit.first).rev().find(|&i| !line.is_mark(i, ","));
    if sentence::takes_back(line, hit.first)
        && line.is_word(hit.first, "no")
        && last.is_some_and(|b| line.atom(b).is_some())
    {
        return false;
    }
    if matches!(hit.of, Of::Field(..)) {
        return true;
    }
    let before = hit.first.checked_sub(1);
    if line.unit(hit.first).is_some() && before.is_some_and(|b| line.atom(b).is_some()) {
        return false;
    }
    let mut at = hit.first;
    while at > 0
        && hit.first - at < 4
        && line
            .is_one_of(at - 1, &["the", "any", "each", "every", "a", "an", "final", "this", "you", "we", "i"])
    {
        at -= 1;
    }
    let end = line.sentence_end(hit.end).min(line.next_comma(hit.end));
    let valued = line.next_number(hit.first) < end;
    // "for this lower right second molar"
    let tooth = kinds.all.get(hit.kind).is_some_and(|k| k.place == Place::NamesTeeth);
    if at > 0 && cue(line, at - 1, "beside") && !valued && !tooth {
        return false;
    }
    let from =
        line.sentence_start(hit.first).max(line.clause_start(hit.first)).max(hit.first.saturating_sub(FAR));
    find_cue(line, from..hit.first, "reason").is_none()
}

/// "in the single canal": where something was done, not that it was found.
pub(super) fn in_passing(kinds: &Kinds, hit: &Hit, line: &Line) -> bool {
    let names = kinds.all.get(hit.kind).is_some_and(|k| k.place == Place::NamesCanals);
    if !names || !matches!(hit.of, Of::Rule(_)) {
        return false;
    }
    let before = hit.first.checked_sub(1).map(|b| if line.is_word(b, "the") && b > 0 { b - 1 } else { b });
    // "patency in all three canals", "the same two canals to length"
    let only_counts = (hit.first..hit.end).all(|i| {
        line.atom(i).is_some()
            || line.term(i, "canals").is_some_and(|c| c.starts_with("all"))
            || line.is_one_of(i, &["canals", "canal", "orifices"])
    });
    let known = ["in", "into", "of", "for", "to", "down", "all", "both", "these", "those", "same", "other"];
    let is_known = |b: usize| {
        line.is_one_of(b, &known)
            || line.term(b, "same").is_some()
            || line.term(b, "canals").is_some_and(|c| c.starts_with("all"))
    };
    if only_counts && before.is_some_and(is_known) {
        return true;
    }
    if hit.end > hit.first + 1 || line.term(hit.first, "canals").is_none() {
        return false;
    }
    before.is_some_and(|b| line.is_one_of(b, &["in", "into", "of", "for", "to", "down"]))
        || line.is_one_of(
            hit.end,
            &[
                "tooth",
                "visit",
                "file",
                "cone",
                "stage",
                "sitting",
                "session",
                "appointment",
                "root",
                "rooted",
                "dose",
                "use",
                "point",
                "endo",
                "case",
                "treatment",
                "patient",
            ],
        )
}
