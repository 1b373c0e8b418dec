//! What must hold for any log.

use proptest::prelude::*;

use super::super::geometry;
use super::{Settings, check, lines};
use crate::words::Decimal;

#[test]
fn a_log_with_every_item_said_has_no_completeness_finding() {
    let text = include_str!("../../../tests/data/checks/complete.txt");
    let strict = Settings { ask_for_lots: true, ..Settings::default() };
    let report = check(&lines::log(text).unwrap(), &strict);
    let asked: Vec<_> = report.findings.iter().filter(|f| f.rule.starts_with("completeness")).collect();
    assert!(asked.is_empty(), "{asked:#?}");
    assert!(report.items.iter().all(|i| i.question.is_empty()));
    assert!(report.findings.is_empty(), "nothing else either: {:#?}", report.findings);
}

/// Without its line, each item is asked for.
#[test]
fn an_item_that_is_left_out_is_asked_for() {
    #[track_caller]
    fn check_without(part: &str, question: &str) {
        let text = include_str!("../../../tests/data/checks/complete.txt");
        let rest: Vec<&str> = text.lines().filter(|l| !l.contains(part)).collect();
        assert!(rest.len() < text.lines().count(), "{part}");
        let strict = Settings { ask_for_lots: true, ..Settings::default() };
        let report = check(&lines::log(&rest.join("\n")).unwrap(), &strict);
        let asked =
            |f: &super::super::Finding| f.rule.starts_with("completeness") && f.sentence.contains(question);
        assert!(report.findings.iter().any(asked), "without `{part}`: {:#?}", report.findings);
        assert!(report.items.iter().any(|i| i.question.contains(question)), "{question}");
    }
    check_without("start", "date and time");
    check_without("part=identity", "identity checked");
    check_without("part=medical", "medical history");
    check_without("part=complaint", "complaint");
    check_without("test=cold", "tests");
    check_without("pre-operative", "pre-operative radiograph");
    check_without("diagnosis", "pulpal diagnosis");
    check_without("diagnosis", "apical diagnosis");
    check_without("consent", "consent");
    check_without("anaesthesia", "anaesthetic");
    check_without("isolation", "isolation");
    check_without(" access", "access");
    check_without("working-length", "working length");
    check_without("D working-length", "working length");
    check_without("patency", "patency");
    check_without("agent=", "irrigant");
    check_without("drying", "drying");
    check_without("cone-fit", "cone size");
    check_without("restoration", "definitive restoration");
    check_without("post-operative", "post-operative radiograph");
    check_without("advice", "advice");
    check_without("material-lot", "material lot");
    check_without("review-visit", "review date");
    check_without("obturation", "dressing between visits");
}

fn canal() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["MB", "ML", "D", "MB,ML", "all", ""])
}

fn rinse() -> impl Strategy<Value = String> {
    let agent = prop::sample::select(vec!["agent=edta", "agent=sodium-hypochlorite", ""]);
    let each = prop::sample::select(vec!["", "", "each=canal", "each=file"]);
    let volume = prop::option::of(1_i64..20_000);
    (canal(), agent, each, volume).prop_map(|(canal, agent, each, volume)| {
        let volume = volume.map(|v| format!("volume_ml={}", Decimal::thousandths(v))).unwrap_or_default();
        format!("36 {canal} irrigation {agent} {each} {volume}")
    })
}

pub(crate) fn any_line() -> impl Strategy<Value = String> {
    let kinds = vec![
        "working-length",
        "instrumentation",
        "irrigation",
        "cone-fit",
        "obturation",
        "patency",
        "glide-path",
        "drying",
        "apical-gauge",
        "activation",
        "access",
        "isolation",
        "canal-located",
        "complication",
        "prescription",
        "anaesthesia",
        "radiograph",
        "tooth",
        "own-kind",
    ];
    let fields = vec![
        "size",
        "taper",
        "length_mm",
        "depth_mm",
        "short_mm",
        "volume_ml",
        "duration_s",
        "cycles",
        "gauge",
        "tip_short_mm",
        "concentration_pct",
        "count",
        "cartridges",
        "dose_mg",
        "speed_rpm",
        "file_length_mm",
        "passes",
    ];
    let status = prop::sample::select(vec!["", "planned", "not-done", "general", "conditional", "struck"]);
    let tooth = prop::sample::select(vec!["36", "16", "11", "99", "none", "85"]);
    let value = (prop::sample::select(fields), -5_000_i64..400_000);
    let word = prop::sample::select(vec![
        "",
        "instrument=rotary",
        "instrument=k-file",
        "instrument=gates-glidden",
        "agent=lidocaine",
        "agent=edta",
        "agent=chlorhexidine",
        "each=canal",
        "each=file",
        "result=lost",
        "type=separation",
        "purpose=post-operative",
    ]);
    (status, tooth, canal(), prop::sample::select(kinds), prop::collection::vec(value, 0..4), word).prop_map(
        |(status, tooth, canal, kind, values, word)| {
            let values: Vec<String> =
                values.iter().map(|(f, n)| format!("{f}={}", Decimal::thousandths(*n))).collect();
            format!("{status} {tooth} {canal} {kind} {} {word}", values.join(" "))
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// A total is the sum of what was said, times the canals for "each canal"; a canal's is never more than the tooth's.
    #[test]
    fn totals_are_sums(rinses in prop::collection::vec(rinse(), 0..12)) {
        let text = format!("36 MB,ML,D canal-located\n{}\n", rinses.join("\n"));
        let log = lines::log(&text).unwrap();
        let totals = check(&log, &Settings::default()).computed.irrigants;
        for agent in ["edta", "sodium-hypochlorite", ""] {
            let of: Vec<_> = totals.iter().filter(|t| t.agent.as_deref().unwrap_or("") == agent).collect();
            let mut sum = Decimal::ZERO;
            for e in log.entries.iter().filter(|e| e.kind == "irrigation") {
                let text = |f: &str| e.values.get(f).and_then(|v| v.text()).unwrap_or("");
                if text("agent") != agent || text("each") == "file" {
                    continue;
                }
                let n = match e.canal.as_ref().map(crate::log::Canal::names) {
                    _ if text("each") != "canal" => 1,
                    None => 3,
                    Some(names) if names.iter().any(|n| n == "all") => 3,
                    Some(names) => i64::try_from(names.len()).unwrap(),
                };
                sum = sum.saturating_add(e.values.get("volume_ml").and_then(crate::log::Value::number).unwrap_or_default().saturating_times(n));
            }
            let whole = of.iter().find(|t| t.canal.is_none());
            let counted = whole.and_then(|t| t.volume_ml.sum).unwrap_or_default();
            prop_assert_eq!(counted, sum, "{}", text);
            let canals: Decimal = of.iter().filter(|t| t.canal.is_some()).filter_map(|t| t.volume_ml.sum)
                .fold(Decimal::ZERO, Decimal::saturating_add);
            prop_assert!(canals <= counted, "{}", text);
            let missing = whole.is_some_and(|t| !t.volume_ml.is_whole());
            let said = |e: &&crate::log::Entry| e.values.contains_key("volume_ml") && !e.values.contains_key("each");
            let all_said = log.entries.iter().filter(|e| e.kind == "irrigation").all(|e| said(&e) && e.canal.as_ref().is_none_or(|c| c.names().len() == 1 && c.names()[0] != "all"));
            prop_assert!(!(missing && all_said), "whole where everything was said: {}", text);
        }
    }

    #[test]
    fn the_diameter_grows_with_the_level(size in 6_u8..=140, taper in 0_u8..=12, a in 0.0..16.0_f64, b in 0.0..16.0_f64) {
        let (size, taper) = (f64::from(size), f64::from(taper) / 100.0);
        let (low, high) = (a.min(b), a.max(b));
        let (d_low, d_high) = (geometry::diameter_mm(size, taper, low).unwrap(), geometry::diameter_mm(size, taper, high).unwrap());
        prop_assert!(d_low <= d_high);
        prop_assert!((geometry::diameter_mm(size, taper, 0.0).unwrap() - size / 100.0).abs() < 1e-12);
        // Where a needle binds, the shape is as wide as the needle.
        if let Some(level) = geometry::needle_bind_mm(size, taper, d_high).filter(|_| taper > 0.0 && d_high > size / 100.0 + 1e-6) {
            prop_assert!((level - high).abs() < 1e-6);
        }
    }

    /// Any log ends in a report: no panic, ranked, each finding once and about entries that are there.
    #[test]
    fn any_log_is_checked(lines in prop::collection::vec(any_line(), 0..25)) {
        let log = lines::log(&lines.join("\n")).unwrap();
        let report = check(&log, &Settings::default());
        let mut ids: Vec<_> = report.findings.iter().map(|f| f.id.clone()).collect();
        ids.sort();
        let n = ids.len();
        ids.dedup();
        prop_assert_eq!(ids.len(), n);
        prop_assert!(report.findings.is_sorted_by_key(|f| f.level));
        for finding in &report.findings {
            prop_assert!(finding.entries.iter().all(|id| log.entries.iter().any(|e| e.id == *id)));
        }
        for canal in &report.computed.canals {
            prop_assert!(canal.levels.is_sorted_by(|a, b| a.diameter_mm <= b.diameter_mm || log.entries.iter().any(|e| e.values.get("taper").and_then(crate::log::Value::number).is_some_and(|t| t < Decimal::ZERO))));
        }
        report.text();
        report.items_text();
        serde_json::to_string(&report).unwrap();
    }
}
