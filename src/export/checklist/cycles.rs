//! What was shown after several files alike becomes one rule: "after every file: irrigate, recapitulate, irrigate".

use super::{Point, Sort};
use crate::export::phrase;
use crate::log::{Entry, MadeBy, Value};

/// Files after each other, and what was done before the next ones.
#[derive(Debug)]
struct Cycle<'e> {
    files: Vec<&'e Entry>,
    after: Vec<&'e Entry>,
}

/// Replaces the steps of each cycle that was shown at least twice by one rule, which has their words and times.
pub(super) fn fold(points: &mut Vec<Point>, shown: &[&Entry], made_by: &MadeBy) {
    let cycles = cycles(shown);
    let mut at = 0;
    while let Some(first) = cycles.get(at) {
        let alike = cycles.iter().skip(at).take_while(|c| begins_with(&c.after, &first.after)).count();
        if first.after.is_empty() || alike < 2 {
            at += 1;
            continue;
        }
        let run: Vec<&Cycle<'_>> = cycles.iter().skip(at).take(alike).collect();
        replace(points, &run, first.after.len(), made_by);
        at += alike;
    }
}

fn cycles<'e>(shown: &[&'e Entry]) -> Vec<Cycle<'e>> {
    let mut cycles: Vec<Cycle<'e>> = Vec::new();
    for entry in shown {
        match cycles.last_mut() {
            Some(last) if entry.kind != "instrumentation" => last.after.push(entry),
            Some(last) if last.after.is_empty() => last.files.push(entry),
            _ if entry.kind == "instrumentation" => cycles.push(Cycle { files: vec![entry], after: vec![] }),
            _ => {}
        }
    }
    cycles
}

/// The same steps in the same order, with the same agent where it was said.
fn begins_with(steps: &[&Entry], pattern: &[&Entry]) -> bool {
    let agent = |e: &Entry| e.values.get("agent").and_then(Value::text).map(str::to_owned);
    let alike = |a: &Entry, b: &Entry| {
        a.kind == b.kind && (agent(a) == agent(b) || agent(a).is_none() || agent(b).is_none())
    };
    steps.len() >= pattern.len() && steps.iter().zip(pattern).all(|(a, b)| alike(a, b))
}

fn replace(points: &mut Vec<Point>, run: &[&Cycle<'_>], length: usize, made_by: &MadeBy) {
    let steps: Vec<String> = (0..length)
        .map(|n| {
            let each: Vec<&Entry> = run.iter().filter_map(|c| c.after.get(n).copied()).collect();
            let kind = each.first().map(|e| phrase::kind_name(&e.kind)).unwrap_or_default();
            let mut ways: Vec<String> = Vec::new();
            for way in each.iter().map(|e| phrase::phrase(e)).filter(|w| !w.is_empty()) {
                if !ways.contains(&way) {
                    ways.push(way);
                }
            }
            if ways.is_empty() { kind } else { format!("{kind} ({})", ways.join("; or ")) }
        })
        .collect();
    let folded: Vec<&str> =
        run.iter().flat_map(|c| c.after.iter().take(length)).map(|e| e.id.as_str()).collect();
    let files: Vec<&Entry> = run.iter().flat_map(|c| c.files.iter().copied()).collect();
    let by_motor = |e: &&Entry| matches!(made_by.instrument(e), Some("rotary" | "reciprocating"));
    let file = if files.iter().all(by_motor) { "engine-driven file" } else { "file" };
    // The rule stands behind the last file that it is about.
    let last = files.iter().map(|e| e.from_s).fold(0.0, f64::max);
    let is_folded = |p: &Point| p.id.as_deref().is_some_and(|id| folded.contains(&id));
    let mut words: Vec<String> = Vec::new();
    let (mut times, mut doubts) = (Vec::new(), Vec::new());
    for point in points.iter().filter(|p| is_folded(p)) {
        if !words.contains(&point.words) {
            words.push(point.words.clone());
        }
        times.extend(point.times.iter().cloned());
        doubts.extend(point.doubts.iter().cloned());
    }
    points.retain(|p| !is_folded(p));
    points.push(Point {
        sort: Sort::Rule,
        sign: "Rule",
        text: format!("After every {file}, as shown {} times: {}", run.len(), steps.join(", then ")),
        words: words.join(" / "),
        words_first: false,
        has_box: true,
        doubts,
        times,
        at: last + 0.001,
        id: None,
    });
}
