//! What the listeners were not sure of and nobody has settled.
//!
//! Why: a doubt that is signed unseen is a silent error. Example: "three or eight millilitres" on an unseen entry.

use std::collections::BTreeSet;

use super::visit::{Visit, clock};
use super::{Finding, Level, Out, Rule, Settings};
use crate::tables::Evidence;

pub(super) static RULES: &[Rule] = &[
    Rule {
        id: OPEN,
        about: "Entries carry doubts that nobody has settled.",
        source: "the log itself",
        evidence: Evidence::Computed,
        run: open,
    },
    Rule {
        id: "doubts.unreadable",
        about: "Speech was heard that could not be made out.",
        source: "the log itself",
        evidence: Evidence::Computed,
        run: unreadable,
    },
];

const OPEN: &str = "doubts.open";

fn open(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    let mut steps: Vec<_> = visit.teeth.iter().flat_map(|t| &t.steps).filter(|s| s.is_doubtful()).collect();
    steps.sort_by_key(|s| s.at);
    if !steps.is_empty() {
        out.add(
            Level::Look,
            None,
            &[],
            &steps,
            told(&steps.iter().map(|s| s.entry.from_s).collect::<Vec<_>>()),
        );
    }
}

/// The sentence for entries at these times.
fn told(times: &[f64]) -> String {
    let at: Vec<String> = times.iter().take(6).map(|t| clock(*t)).collect();
    let more = if times.len() > at.len() { ", …" } else { "" };
    match times.len() {
        1 => format!("One entry carries a doubt that nobody has settled (at {})", at.join(", ")),
        n => format!("{n} entries carry doubts that nobody has settled (at {}{more})", at.join(", ")),
    }
}

fn unreadable(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    let stretches: Vec<_> = visit
        .log
        .unplaced
        .iter()
        .filter(|u| u.said.trim().is_empty() || u.why.as_ref().is_some_and(|w| w.contains("unreadable")))
        .collect();
    if stretches.is_empty() {
        return;
    }
    let at: Vec<String> =
        stretches.iter().take(6).map(|u| format!("{}–{}", clock(u.from_s), clock(u.to_s))).collect();
    let more = if stretches.len() > at.len() { ", …" } else { "" };
    let many =
        if stretches.len() == 1 { "A stretch".to_owned() } else { format!("{} stretches", stretches.len()) };
    let sentence = format!("{many} of speech could not be made out ({}{more}): listen again", at.join(", "));
    out.add(Level::Look, None, &[], &[], sentence);
}

/// An entry that another finding to look at rests on is not told a second time: whoever looks at it sees its doubts.
pub(super) fn drop_told(findings: &mut Vec<Finding>, visit: &Visit<'_>) {
    let elsewhere: BTreeSet<String> = findings
        .iter()
        .filter(|f| f.rule != OPEN && f.level == Level::Look && !f.rule.starts_with("completeness"))
        .flat_map(|f| f.entries.iter().cloned())
        .collect();
    let from_s = |id: &String| visit.log.entries.iter().find(|e| e.id == *id).map(|e| e.from_s);
    findings.retain_mut(|finding| {
        if finding.rule == OPEN {
            finding.entries.retain(|e| !elsewhere.contains(e));
            finding.sentence = told(&finding.entries.iter().filter_map(from_s).collect::<Vec<_>>());
        }
        finding.rule != OPEN || !finding.entries.is_empty()
    });
}
