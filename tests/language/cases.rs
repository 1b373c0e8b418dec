//! `tests/data/language/cases.tsv`: what is said, and what must come of it, row by row.

use crate::print;

const CASES: &str = include_str!("../data/language/cases.tsv");

struct Row<'t> {
    line: usize,
    case: &'t str,
    how: &'t str,
    said: &'t str,
    expect: &'t str,
}

fn rows() -> (Vec<Row<'static>>, Vec<Row<'static>>) {
    let (mut held, mut open) = (vec![], vec![]);
    for (n, text) in CASES.lines().enumerate() {
        let (into, text) = match text.strip_prefix("#todo ") {
            Some(rest) => (&mut open, rest),
            None if text.starts_with('#') || text.is_empty() => continue,
            None => (&mut held, text),
        };
        let cells: Vec<&str> = text.split('\t').collect();
        let [case, how, said, expect] = cells.as_slice() else {
            panic!("line {}: {} cells, not 4", n + 1, cells.len());
        };
        into.push(Row { line: n + 1, case, how, said, expect });
    }
    (held, open)
}

fn judge(row: &Row) -> Result<(), String> {
    let got = match row.how {
        "log" => print::log(row.said),
        slot => print::slot(slot.trim_matches(['{', '}']), row.said),
    };
    if got == row.expect {
        return Ok(());
    }
    let Row { line, case, how, said, expect } = row;
    Err(format!("line {line}, {case}, {how}: {said:?}\n  must give {expect}\n  and gave  {got}"))
}

/// Every row that is asserted holds; the open ones are told, and those that hold by now may lose their mark.
#[test]
fn rows_hold() {
    let (held, open) = rows();
    assert!(held.len() > 100, "only {} rows are asserted", held.len());
    for row in &open {
        match judge(row) {
            Ok(()) => eprintln!("line {}, {}: holds by now; take the mark `#todo` away", row.line, row.case),
            Err(why) => eprintln!("open: {why}"),
        }
    }
    let wrong: Vec<String> = held.iter().filter_map(|r| judge(r).err()).collect();
    assert!(wrong.is_empty(), "{} of {} rows:\n{}", wrong.len(), held.len(), wrong.join("\n"));
}

/// Each group of traps has rows.
#[test]
fn no_group_is_empty() {
    let (held, _) = rows();
    for case in [
        "N01", "N02", "N03", "N05", "N06", "N07", "N09", "N10", "N11", "N13", "U01", "P01", "P04", "C01",
        "C03",
    ] {
        let n = held.iter().filter(|r| r.case == case).count();
        assert!(n >= 4, "{case} has {n} rows");
    }
}
