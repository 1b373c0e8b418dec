//! Solutions that should not meet: the order of rinses in each canal against `irrigant_interactions`.
//!
//! Why: a precipitate in the canal is seen by no one, and the log holds the order. Example: hypochlorite, then
//! chlorhexidine, with no water, saline, alcohol or drying between.

use std::collections::BTreeMap;

use super::visit::{Step, Tooth, Visit, clock};
use super::{Level, Out, Rule, Settings};
use crate::tables::{self, Evidence, Row};

pub(super) static RULES: &[Rule] = &[Rule {
    id: "irrigants.pair",
    about: "Two solutions that react met in a canal without a rinse between.",
    source: "irrigant_interactions",
    evidence: Evidence::Seen,
    run: pair,
}];

/// So many times of one pair are told; the entries of all of them are named.
const MOST_TIMES: usize = 3;

/// What washes the one before away.
const RINSES: &[&str] = &["saline", "water", "isopropyl-alcohol"];

/// What the pair does, if the table says that it is to be told.
fn interaction(a: &str, b: &str) -> Option<(Row<'static>, Level)> {
    let row = tables::rows("irrigant_interactions").find(|r| {
        let pair = (r.get("a"), r.get("b"));
        pair == (a, b) || pair == (b, a)
    })?;
    match row.get("level") {
        "look" => Some((row, Level::Look)),
        "note" => Some((row, Level::Note)),
        _ => None,
    }
}

fn pair(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        // The first meeting of each pair, by canal.
        let mut met: BTreeMap<(usize, usize), Vec<String>> = BTreeMap::new();
        for canal in &tooth.canals {
            for meeting in meetings(tooth.done_in(canal)) {
                met.entry(meeting).or_default().push(canal.clone());
            }
        }
        for meeting in meetings(tooth.done().filter(|s| s.canals.is_empty())) {
            met.entry(meeting).or_default();
        }
        tell(tooth, &met, out);
    }
}

/// One finding for each pair of solutions, with all canals in which they met.
fn tell(tooth: &Tooth<'_>, met: &BTreeMap<(usize, usize), Vec<String>>, out: &mut Out<'_>) {
    let step = |at: usize| tooth.steps.iter().find(|s| s.at == at);
    let mut told: Vec<(&str, &str, Vec<String>, Vec<&Step<'_>>)> = Vec::new();
    for ((first, second), canals) in met {
        let (Some(first), Some(second)) = (step(*first), step(*second)) else { continue };
        let (Some(a), Some(b)) = (first.text("agent"), second.text("agent")) else { continue };
        let same = |(x, y, ..): &&mut (&str, &str, Vec<String>, Vec<&Step<'_>>)| {
            (*x, *y) == (a, b) || (*x, *y) == (b, a)
        };
        if let Some((.., all, steps)) = told.iter_mut().find(same) {
            all.extend(canals.iter().filter(|c| !all.contains(c)).cloned().collect::<Vec<_>>());
            steps.extend([first, second]);
        } else {
            told.push((a, b, canals.clone(), vec![first, second]));
        }
    }
    for (a, b, canals, steps) in told {
        let Some((row, level)) = interaction(a, b) else { continue };
        // Every second solution of a meeting.
        let mut at: Vec<f64> = steps.iter().skip(1).step_by(2).map(|s| s.entry.from_s).collect();
        at.sort_by(f64::total_cmp);
        let mut times: Vec<String> = at.iter().map(|at| clock(*at)).collect();
        times.dedup();
        let more = if times.len() > MOST_TIMES { ", …" } else { "" };
        times.truncate(MOST_TIMES);
        let when = times.join(", ") + more;
        let effect = row.get("effect").split(';').next().unwrap_or_default();
        let sentence = format!("{b} after {a} with no rinse said between (at {when}): {effect}");
        let canals = if canals.len() == tooth.canals.len() && canals.len() > 1 { Vec::new() } else { canals };
        out.add(level, tooth.number, &canals, &steps, sentence)
            .about(format!("{a}+{b}"))
            .resting_on("irrigant_interactions", &row, None)
            .source = format!("irrigant_interactions: {a} and {b} ({})", row.source());
    }
}

/// Places where a solution met one that was in the canal since the last rinse. What met the next solution does not
/// meet it again when more of that follows.
fn meetings<'s, 'l: 's>(steps: impl Iterator<Item = &'s Step<'l>>) -> Vec<(usize, usize)> {
    let mut inside: Vec<&Step<'_>> = Vec::new();
    let mut met: Vec<(usize, usize)> = Vec::new();
    let mut agents: BTreeMap<usize, &str> = BTreeMap::new();
    for step in steps {
        if step.is("drying") {
            inside.clear();
            continue;
        }
        if !step.is("irrigation") && !step.is("activation") {
            continue;
        }
        let Some(agent) = step.text("agent") else { continue };
        if RINSES.contains(&agent) {
            inside.clear();
            continue;
        }
        for before in &inside {
            if before.text("agent").is_none_or(|other| interaction(other, agent).is_none()) {
                continue;
            }
            let again = |(first, second): &(usize, usize)| {
                *first == before.at && agents.get(second).is_some_and(|a| *a == agent)
            };
            if !met.iter().any(again) {
                met.push((before.at, step.at));
            }
        }
        agents.insert(step.at, agent);
        inside.retain(|s| s.text("agent") != Some(agent));
        inside.push(step);
    }
    met
}
