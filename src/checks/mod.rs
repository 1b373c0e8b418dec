//! A second pair of eyes over a log: findings and computed values, from the trade tables.
//!
//! Comes in: a log and the settings. Goes out: a report. Pure and total. A finding says what to look at again and on
//! what it rests; it never gives treatment advice, and what is known from memory alone is never more than a note.
//! One file per group of rules; a rule is one row of its file's table `RULES`.

mod anatomy;
pub mod completeness;
pub mod computed;
mod contradictions;
mod doubts;
pub mod geometry;
mod irrigants;
mod order;
mod plausibility;
mod report;
pub mod shape;
mod solutions;
pub mod visit;

#[cfg(test)]
pub(crate) mod tests;

use serde::Serialize;
use serde_json::Value as Json;

use crate::log::Log;
use crate::tables::{Evidence, Row};

pub use crate::settings::Windows as Settings;
pub use completeness::Item;
pub use computed::Computed;
use visit::{Step, Tooth, Visit, label};

/// How much a finding asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// To be looked at before signing.
    Look,
    /// A remark.
    Note,
}

/// What the checks found: one sentence and what it rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Rule, tooth and canals: the same finding has the same id when the log is checked again.
    pub id: String,
    pub rule: &'static str,
    pub level: Level,
    pub sentence: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tooth: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub canals: Vec<String>,
    /// Ids of the entries it rests on; none where something is missing.
    pub entries: Vec<String>,
    /// Table rows and papers, by the ids of `tugback sources`.
    pub source: String,
    /// How well the source is known.
    #[serde(serialize_with = "mark")]
    pub evidence: Evidence,
    /// The sentence without its place.
    #[serde(skip)]
    body: String,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
fn mark<S: serde::Serializer>(evidence: &Evidence, s: S) -> Result<S::Ok, S::Error> {
    s.serialize_str(evidence.mark())
}

/// One rule of the checks.
pub struct Rule {
    /// Written into logs and settings: never renamed, never reused.
    pub id: &'static str,
    /// What it looks for, one sentence.
    pub about: &'static str,
    /// Where the demand comes from; a finding may name a better one.
    pub source: &'static str,
    pub evidence: Evidence,
    run: fn(&Visit<'_>, &Settings, &mut Out<'_>),
}

impl std::fmt::Debug for Rule {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Rule").field("id", &self.id).finish_non_exhaustive()
    }
}

/// All groups, in the order in which findings of one level are shown.
static GROUPS: &[&[Rule]] = &[
    contradictions::RULES,
    plausibility::RULES,
    anatomy::RULES,
    solutions::RULES,
    irrigants::RULES,
    order::RULES,
    completeness::RULES,
    doubts::RULES,
];

/// Every rule.
pub fn rules() -> impl Iterator<Item = &'static Rule> {
    GROUPS.iter().copied().flatten()
}

/// What `off` may name: every rule, every group of rules, and every record item that `completeness` asks for.
pub fn ids() -> impl Iterator<Item = String> {
    let groups = visit::unique(rules().filter_map(|r| r.id.split('.').next()));
    let items = crate::tables::rows("record_items").map(|r| format!("completeness.{}", r.key()));
    let ids: std::collections::BTreeSet<String> =
        groups.into_iter().map(str::to_owned).chain(rules().map(|r| r.id.to_owned())).chain(items).collect();
    ids.into_iter()
}

/// Collects the findings of one rule.
struct Out<'o> {
    rule: &'static Rule,
    findings: &'o mut Vec<Finding>,
}

impl Out<'_> {
    /// Adds a finding about canals of a tooth. Evidence from memory makes it a note, whatever was asked for.
    fn add(
        &mut self,
        level: Level,
        tooth: Option<&str>,
        canals: &[String],
        steps: &[&Step<'_>],
        sentence: impl std::fmt::Display,
    ) -> &mut Finding {
        let body = sentence.to_string();
        let mut entries: Vec<&Step<'_>> = steps.to_vec();
        entries.sort_by_key(|s| s.at);
        entries.dedup_by_key(|s| s.at);
        self.findings.push(Finding {
            id: format!("{}/{}/{}", self.rule.id, tooth.unwrap_or("-"), canals.join("+")),
            rule: self.rule.id,
            level,
            sentence: placed(tooth, canals, &body),
            tooth: tooth.map(str::to_owned),
            canals: canals.to_vec(),
            entries: entries.iter().map(|s| s.entry.id.clone()).collect(),
            source: self.rule.source.to_owned(),
            evidence: self.rule.evidence,
            body,
        });
        let last = self.findings.len().saturating_sub(1);
        #[expect(clippy::indexing_slicing, reason = "pushed above")]
        &mut self.findings[last]
    }

    /// A finding about one step, or several of one kind, in the canals of the first.
    fn on(
        &mut self,
        level: Level,
        tooth: &Tooth<'_>,
        steps: &[&Step<'_>],
        sentence: impl std::fmt::Display,
    ) -> &mut Finding {
        let canals = steps.first().map(|s| s.canals.clone()).unwrap_or_default();
        let canals = if canals.len() == tooth.canals.len() && canals.len() > 1 { Vec::new() } else { canals };
        self.add(level, tooth.number, &canals, steps, sentence)
    }
}

impl Finding {
    /// Names the table row that the finding rests on.
    fn resting_on(&mut self, table: &str, row: &Row<'_>, evidence: Option<Evidence>) -> &mut Self {
        self.source = format!("{table}: {} ({})", row.key(), row.source());
        self.evidence = evidence.or_else(|| row.evidence()).unwrap_or(self.evidence);
        self
    }

    /// The window is the practice's own.
    fn by_setting(&mut self, key: &str) -> &mut Self {
        self.source = format!("settings: checks.{key}");
        self.evidence = Evidence::Seen;
        self
    }

    /// Tells findings of one rule about one place apart.
    fn about(&mut self, what: impl std::fmt::Display) -> &mut Self {
        self.id = format!("{}/{what}", self.id);
        self
    }
}

/// What the checks say about a log.
#[derive(Debug, Clone, Serialize)]
pub struct Report {
    /// To look at first, then notes.
    pub findings: Vec<Finding>,
    /// Every record item for every tooth: said, missing or not applicable.
    pub items: Vec<Item>,
    pub computed: Computed,
}

impl Report {
    pub fn count(&self, level: Level) -> usize {
        self.findings.iter().filter(|f| f.level == level).count()
    }

    /// For the end of a run: "2 things to look at, 5 notes".
    pub fn summary(&self) -> String {
        let many = |n: usize, one: &str, more: &str| format!("{n} {}", if n == 1 { one } else { more });
        let looks = match self.count(Level::Look) {
            0 => "nothing to look at".to_owned(),
            n => many(n, "thing to look at", "things to look at"),
        };
        match self.count(Level::Note) {
            0 => looks,
            n => format!("{looks}, {}", many(n, "note", "notes")),
        }
    }
}

/// Checks a log.
pub fn check(log: &Log, settings: &Settings) -> Report {
    let visit = Visit::of(log);
    let mut findings = Vec::new();
    for rule in rules().filter(|r| !settings.is_off(r.id)) {
        (rule.run)(&visit, settings, &mut Out { rule, findings: &mut findings });
    }
    for finding in &mut findings {
        if finding.evidence == Evidence::Memory {
            finding.level = Level::Note;
        }
    }
    doubts::drop_told(&mut findings, &visit);
    // Stable: within one level the groups and rules keep their order, and the log's order within a rule.
    findings.sort_by_key(|f| f.level);
    let findings = told_once(findings);
    Report {
        findings,
        items: completeness::items(&visit, settings),
        computed: computed::compute(&visit, settings),
    }
}

/// The same sentence about several entries or canals of a tooth is one finding.
fn told_once(findings: Vec<Finding>) -> Vec<Finding> {
    let mut once: Vec<Finding> = Vec::new();
    for finding in findings {
        if once.iter().any(|f| f.id == finding.id) {
            continue;
        }
        let same = |f: &&mut Finding| {
            (f.rule, f.level, &f.tooth, &f.body)
                == (finding.rule, finding.level, &finding.tooth, &finding.body)
        };
        let Some(first) = once.iter_mut().find(same) else {
            once.push(finding);
            continue;
        };
        // No canal: the whole tooth.
        if first.canals.is_empty() || finding.canals.is_empty() {
            first.canals.clear();
        } else {
            first.canals = visit::unique(first.canals.iter().chain(&finding.canals).cloned());
        }
        first.entries = visit::unique(first.entries.iter().chain(&finding.entries).cloned());
        first.sentence = placed(first.tooth.as_deref(), &first.canals, &first.body);
    }
    once
}

/// "36 MB: …".
fn placed(tooth: Option<&str>, canals: &[String], body: &str) -> String {
    if tooth.is_none() && canals.is_empty() {
        body.to_owned()
    } else {
        format!("{}: {body}", label(tooth, canals))
    }
}

/// Checks a log and writes what was found into it.
pub fn apply(log: &mut Log, settings: &Settings) -> Report {
    let report = check(log, settings);
    log.findings = report.findings.iter().filter_map(|f| serde_json::to_value(f).ok()).collect();
    log.totals = match serde_json::to_value(&report.computed) {
        Ok(Json::Object(totals)) => totals,
        _ => serde_json::Map::new(),
    };
    report
}
