//! What it costs to cut where words hang together.

use super::{
    hits::{Hit, Of},
    segment::SURE,
    sentence::cue,
};
use crate::{
    kinds::Kinds,
    words::line::{Line, What},
};

/// What a cut costs where neither a mark nor a joiner stands.
const INSIDE: f32 = 0.05;
/// What it costs where an agent or an instrument is cut from the number that follows it at once.
const TORN: f32 = 0.6;
/// What it costs where "…, all three canals, …" is cut from what stands before it.
const ALL: f32 = 0.15;

/// What a cut before item `at` costs: nothing behind a mark or a joiner, more where a name is cut from its number.
pub(super) fn cost(line: &Line, kinds: &Kinds, hits: &[Hit], at: usize) -> f32 {
    let marked = at > 0 && line.items.get(at - 1).is_some_and(|it| it.what == What::Mark);
    // "glide path | in the two mesials with a fifteen"
    let tool = |i: usize| line.is_word(i, "with") || line.is_word(i, "using");
    let canal = |i: usize| line.term(i, "canals").is_some();
    let in_canal = line.is_word(at, "in") && (at + 1..at + 4).any(|i| canal(i) && (i + 1..i + 3).any(tool));
    let torn = tears_canals(line, at)
        || line.term(at, "canals").is_some() && super::canals::is_excepted(line, at)
        || at > 0 && (tool(at) || in_canal) && !marked;
    if torn {
        TORN
    } else if ends_with_all(line, at) {
        ALL
    } else if parts_here(line, at) {
        0.0
    } else if tears(line, at) || tears_name(line, kinds, hits, at) {
        TORN
    } else if tears_tool(line, at) {
        TORN / 2.0
    } else {
        INSIDE
    }
}

/// Does a mark or a joiner stand where a cut is?
fn parts_here(line: &Line, at: usize) -> bool {
    let joins = |i: usize| line.is_one_of(i, &["and", "then", "with"]) || cue(line, i, "then");
    at == 0 || joins(at) || line.items.get(at - 1).is_some_and(|it| it.what == What::Mark)
}

/// Stands the name of something right before a number here ("EDTA | seventeen percent")?
fn tears(line: &Line, at: usize) -> bool {
    const NAMES: &[&str] = &["irrigants", "instruments", "anaesthetics", "drugs"];
    let named = |b: usize| NAMES.iter().any(|v| line.term(b, v).is_some());
    line.atom(at).is_some() && at.checked_sub(1).is_some_and(named)
}

/// "glide path | fifteen": the name of a step right before a number.
fn tears_name(line: &Line, kinds: &Kinds, hits: &[Hit], at: usize) -> bool {
    const LONGEST: usize = 4;
    let named = |h: &Hit| match h.of {
        Of::Rule(r) => kinds.all.get(h.kind).and_then(|k| k.rules.get(r)).is_some_and(|r| r.weight >= SURE),
        Of::Field(..) => false,
    };
    let from = hits.partition_point(|h| h.first + LONGEST < at);
    line.atom(at).is_some()
        && hits.iter().skip(from).take_while(|h| h.first < at).any(|h| h.end == at && named(h))
}

/// "five mils of bleach, | all three canals, dried": how much and then where.
fn ends_with_all(line: &Line, at: usize) -> bool {
    let mark = |i: usize| line.is_mark(i, ",");
    at > 0 && mark(at - 1) && line.term(at, "canals") == Some("all") && mark(at + 1)
}

/// "patency with a ten | K file"
fn tears_tool(line: &Line, at: usize) -> bool {
    line.term(at, "instruments").is_some() && at.checked_sub(1).is_some_and(|b| line.atom(b).is_some())
}

/// "in the MB and | ML at nineteen": two canals of one list, where the second has no
/// number or verb of its own ("twenty in the MB and ML twenty one").
fn tears_canals(line: &Line, at: usize) -> bool {
    let small = |i: usize| line.is_word(i, "and") || line.is_word(i, "the");
    let canal = |i: usize| line.term(i, "canals").is_some();
    let first = (0..at).rev().take_while(|i| at - i <= 3).find(|&i| !small(i));
    let second = (at..at + 3).find(|&i| !small(i));
    let (Some(first), Some(second)) = (first, second) else { return false };
    let joined = (first + 1..second).any(|i| line.is_word(i, "and"));
    joined
        && canal(first)
        && canal(second)
        && line.atom(second + 1).is_none()
        && !tells_of_it(line, second + 1)
}

/// Does a verb, or a "no", begin here that tells of the canal right before it ("… and the distal | went to twenty")?
pub(super) fn tells_of_it(line: &Line, i: usize) -> bool {
    let verb = ["was", "is", "went", "goes", "got", "gets", "took", "takes", "had", "has", "needed", "to"];
    line.is_one_of(i, &verb) || cue(line, i, "no") || cue(line, i, "negation")
}
