//! Every row of the trade tables is used, or it is said why it is not (tests/data/checks/facts.tsv).

use std::collections::BTreeSet;
use std::fs;

use super::{folder, rules};
use crate::tables;

/// The list of sources is no trade fact.
const NO_FACTS: &[&str] = &["sources"];

#[test]
fn every_row_is_used_or_said_why_not() {
    let text = fs::read_to_string(folder().join("facts.tsv")).unwrap();
    let lines: Vec<Vec<&str>> =
        text.lines().filter(|l| !l.starts_with('#')).map(|l| l.split('\t').collect()).collect();
    let mut used = BTreeSet::new();
    for table in tables::all().iter().filter(|t| !NO_FACTS.contains(&t.name)) {
        for row in table.rows() {
            // A row is named by its first cell, or by its first two.
            let two = format!("{}: {}", row.key(), row.cells().get(1).copied().unwrap_or_default());
            let line = ["", row.key(), &two]
                .iter()
                .rev()
                .find_map(|name| {
                    let name = if name.is_empty() { "*" } else { name };
                    lines.iter().position(|l| l[0] == table.name && l[1] == name)
                })
                .unwrap_or_else(|| panic!("{}: {two}: nothing says what it is for", table.name));
            used.insert(line);
        }
    }
    let ids: BTreeSet<&str> = rules().map(|r| r.id).collect();
    let mut named = BTreeSet::new();
    for (n, line) in lines.iter().enumerate() {
        let [table, row, by, how] = line[..] else { panic!("{line:?}: four cells") };
        assert!(used.contains(&n), "{table}: {row}: there is no such row");
        assert!(how.len() > 8, "{table}: {row}: how, or why not");
        for by in by.split(' ').filter(|by| !matches!(*by, "-" | "computed")) {
            assert!(ids.contains(by), "{table}: {row}: there is no rule {by}");
            named.insert(by);
        }
    }
    // The other way round: what names a table as its source stands in the list.
    for rule in rules() {
        let from_table = tables::all().iter().any(|t| {
            let word = |c: char| !(c.is_alphanumeric() || c == '_');
            rule.source.split(word).any(|w| w == t.name)
        });
        assert!(!from_table || named.contains(rule.id), "{}: {}", rule.id, rule.source);
    }
}
