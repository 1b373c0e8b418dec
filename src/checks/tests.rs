//! Every rule against its table of logs in tests/data/checks, computed values against worked ones, and properties.

mod computed;
mod facts;
pub(crate) mod lines;
mod properties;

pub(crate) use properties::any_line;

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use super::{Level, Settings, check, rules};

fn folder() -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/checks"))
}

/// One log of a table and what the rule must say about it.
struct Case {
    title: String,
    /// Nothing: the rule must be silent.
    level: Option<Level>,
    /// Parts of the sentence.
    says: Vec<String>,
    lines: String,
    settings: String,
}

/// All tables of logs.
fn tables() -> Vec<(String, Vec<Case>)> {
    let files = fs::read_dir(folder()).unwrap().map(|f| f.unwrap().path());
    let table = |path: PathBuf| {
        let id = path.file_name()?.to_str()?.strip_suffix(".txt").filter(|n| *n != "complete")?.to_owned();
        Some((id, cases(&fs::read_to_string(path).unwrap())))
    };
    files.filter_map(table).collect()
}

/// `+look title`, `+note title` or `- title`; then `=> part of the sentence`, `settings toml`, and the log's lines.
fn cases(text: &str) -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    for line in text.lines().filter(|l| !l.trim().is_empty() && !l.starts_with('#')) {
        let new = |level, title: &str| Case {
            title: title.trim().to_owned(),
            level,
            says: vec![],
            lines: String::new(),
            settings: String::new(),
        };
        if let Some(title) = line.strip_prefix("+look") {
            cases.push(new(Some(Level::Look), title));
        } else if let Some(title) = line.strip_prefix("+note") {
            cases.push(new(Some(Level::Note), title));
        } else if let Some(title) = line.strip_prefix('-') {
            cases.push(new(None, title));
        } else if let Some(said) = line.trim().strip_prefix("=>") {
            cases.last_mut().unwrap().says.push(said.trim().to_owned());
        } else if let Some(toml) = line.trim().strip_prefix("settings ") {
            cases.last_mut().unwrap().settings.extend([toml, "\n"]);
        } else {
            cases.last_mut().unwrap().lines.extend([line, "\n"]);
        }
    }
    cases
}

#[test]
fn every_rule_fires_where_it_must_and_nowhere_else() {
    for rule in rules() {
        let path = folder().join(format!("{}.txt", rule.id));
        let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let cases = cases(&text);
        let firing = cases.iter().filter(|c| c.level.is_some()).count();
        assert!(firing >= 3 && cases.len() - firing >= 3, "{}: three of each", rule.id);
        for case in cases {
            let place = format!("{}: {}", rule.id, case.title);
            let log = lines::log(&case.lines).unwrap_or_else(|e| panic!("{place}: {e}"));
            let settings = lines::windows(&case.settings);
            let report = check(&log, &settings);
            let found: Vec<_> = report.findings.iter().filter(|f| f.rule == rule.id).collect();
            let sentences: Vec<&str> = found.iter().map(|f| f.sentence.as_str()).collect();
            let level = found.iter().map(|f| f.level).min();
            assert_eq!(level, case.level, "{place}: {sentences:#?}");
            for part in &case.says {
                assert!(sentences.iter().any(|s| s.contains(part)), "{place}: `{part}` in {sentences:#?}");
            }
            let known = |id: &String| log.entries.iter().any(|e| e.id == *id);
            assert!(found.iter().all(|f| f.entries.iter().all(known)), "{place}: unknown entries");
        }
    }
}

#[test]
fn every_table_of_logs_belongs_to_a_rule() {
    for (id, _) in tables() {
        assert!(rules().any(|r| r.id == id), "{id}.txt has no rule");
    }
}

#[test]
fn rule_ids_are_there_once() {
    let mut seen = BTreeMap::new();
    for rule in rules() {
        *seen.entry(rule.id).or_insert(0) += 1;
        assert!(rule.id.split('.').count() == 2, "{}", rule.id);
        assert!(!rule.about.is_empty() && !rule.source.is_empty());
    }
    assert!(seen.values().all(|n| *n == 1), "{seen:?}");
}

#[test]
fn a_rule_or_a_group_is_switched_off_by_id() {
    let log = lines::log("36 MB working-length length_mm=19\n36 MB working-length length_mm=20\n").unwrap();
    let fires = |off: &str| {
        let settings = Settings { off: vec![off.to_owned()], ..Settings::default() };
        check(&log, &settings).findings.iter().any(|f| f.rule == "contradiction.two-working-lengths")
    };
    assert!(fires("order.size-jump") && fires("contradiction.two"));
    assert!(!fires("contradiction.two-working-lengths") && !fires("contradiction"));
}

#[test]
fn what_is_known_from_memory_is_never_more_than_a_note() {
    for (_, cases) in tables() {
        for case in cases {
            let report = check(&lines::log(&case.lines).unwrap(), &Settings::default());
            for finding in report.findings {
                let memory = finding.evidence == crate::tables::Evidence::Memory;
                assert!(!memory || finding.level == Level::Note, "{finding:?}");
                assert!(finding.source.len() > 3 && finding.sentence.len() > 3, "{finding:?}");
            }
        }
    }
}

#[test]
fn findings_are_ranked_and_told_once() {
    for (_, cases) in tables() {
        for case in cases {
            let log = lines::log(&case.lines).unwrap();
            let report = check(&log, &Settings::default());
            assert!(report.findings.is_sorted_by_key(|f| f.level), "{}", case.title);
            let mut ids: Vec<_> = report.findings.iter().map(|f| &f.id).collect();
            let mut sentences: Vec<_> = report.findings.iter().map(|f| &f.sentence).collect();
            let n = ids.len();
            ids.sort();
            ids.dedup();
            sentences.sort();
            sentences.dedup();
            assert_eq!((ids.len(), sentences.len()), (n, n), "{}", case.title);
        }
    }
}

#[test]
fn the_same_about_several_entries_is_one_finding() {
    let of = |lines: &str| {
        let log = lines::log(lines).unwrap();
        let found = check(&log, &Settings::default()).findings;
        let mine = found.into_iter().filter(|f| f.rule == "plausibility.size-series");
        mine.map(|f| format!("{} [{}]", f.sentence, f.entries.join(" "))).collect::<Vec<_>>()
    };
    let said = "size 13 is in no series; the sizes next to it are 10 and 15";
    assert_eq!(
        of(
            "36 MB,ML,D canal-located\n36 MB instrumentation size=13\n36 ML instrumentation size=13\n36 MB recapitulation size=13\n"
        ),
        [format!("36 MB, ML: {said} [e2 e3 e4]")]
    );
    assert_eq!(
        of("36 MB,ML canal-located\n36 MB instrumentation size=13\n36 all instrumentation size=13\n"),
        [format!("36: {said} [e2 e3]")]
    );
    assert_eq!(of("36 MB instrumentation size=13\n37 MB instrumentation size=13\n").len(), 2, "two teeth");
    assert_eq!(of("36 MB instrumentation size=13\n36 MB instrumentation size=14\n").len(), 2, "two sizes");
}

#[test]
fn no_finding_gives_treatment_advice() {
    for (_, cases) in tables() {
        for case in cases {
            for finding in check(&lines::log(&case.lines).unwrap(), &Settings::default()).findings {
                let words = format!(" {} ", finding.sentence.to_lowercase());
                for advice in [" should ", " must ", " recommend", " use a ", " please ", " do not "] {
                    assert!(!words.contains(advice), "{}", finding.sentence);
                }
            }
        }
    }
}

#[test]
fn one_line_at_the_end_of_a_run() {
    let say = |lines: &str| check(&lines::log(lines).unwrap(), &Settings::default()).summary();
    assert_eq!(say(""), "nothing to look at");
    assert_eq!(say("36 gauge-free\n"), "nothing to look at");
    let off = Settings { off: vec!["completeness".to_owned()], ..Settings::default() };
    let log = lines::log("36 MB patency beyond_mm=3\n36 MB patency size=25\n").unwrap();
    assert_eq!(check(&log, &off).summary(), "1 thing to look at, 1 note");
}

#[test]
fn applying_writes_findings_and_totals_into_the_log() {
    let mut log =
        lines::log("36 MB working-length length_mm=19\n36 MB working-length length_mm=20\n").unwrap();
    let report = super::apply(&mut log, &Settings::default());
    assert_eq!(log.findings.len(), report.findings.len());
    assert_eq!(log.findings[0]["rule"], "contradiction.two-working-lengths");
    assert_eq!(log.findings[0]["level"], "look");
    assert_eq!(log.findings[0]["entries"], serde_json::json!(["e1", "e2"]));
    assert_eq!(log.totals["canals"][0]["working_length_mm"], 20);
    let again = super::apply(&mut log, &Settings::default());
    assert_eq!(again.findings, report.findings, "checking changes nothing that is checked");
}
