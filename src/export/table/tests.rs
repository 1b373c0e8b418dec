//! The table reads back to the same values, whatever was said.

use proptest::prelude::*;
use serde_json::{Value as Json, json};

use super::*;
use crate::words::Decimal;

pub(crate) fn log_of(entries: Vec<Json>) -> Log {
    serde_json::from_value(json!({
        "format": "tugback-log", "version": 1,
        "source": { "file": "<b>x</b>.wav", "sha256": "", "duration_s": 60, "kind": "audio" },
        "made_by": { "program": "tugback", "program_version": "0", "rules_sha256": "" },
        "case": { "notation": "iso3950" }, "entries": entries, "unplaced": []
    }))
    .unwrap()
}

fn entry(n: usize, values: &Json, said: &str) -> Json {
    json!({ "id": format!("e{n}"), "from_s": 1.25, "to_s": 2, "kind": "remark", "status": "done", "tooth": "36",
        "canal": ["MB", "ML"], "values": values, "said": said, "rule": "r", "review": "unseen" })
}

/// Rows as a reader of CSV sees them: column, cell.
fn rows(text: &str) -> Vec<Vec<(String, String)>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head = reader.headers().unwrap().clone();
    let pair = |(h, c): (&str, &str)| (h.to_owned(), c.to_owned());
    reader.records().map(|r| head.iter().zip(&r.unwrap()).map(pair).collect()).collect()
}

fn cell<'r>(row: &'r [(String, String)], column: &str) -> &'r str {
    &row.iter().find(|(c, _)| c == column).unwrap().1
}

/// The texts of case O01: cells that begin with = + - @ tab or CR run as formulas (OWASP, "CSV Injection").
#[test]
fn a_text_is_never_a_formula_and_a_number_is_never_a_text() {
    let said = [
        "=1+1",
        "+cmd",
        "-0.5 mm",
        "@note",
        "a,b",
        "say \"ah\"",
        "two\r\nlines",
        "\tleading tab",
        " =1",
        "\r=1",
        "＝1",
    ];
    let entries =
        said.iter().enumerate().map(|(n, s)| entry(n, &json!({ "short_mm": -0.5, "text": s }), s)).collect();
    let rows = rows(&csv(&log_of(entries), false).unwrap());
    for (row, said) in rows.iter().zip(said) {
        for column in ["text", "said"] {
            let cell = cell(row, column);
            assert!(
                !cell.trim_start_matches(' ').starts_with(['=', '+', '-', '@', '\t', '\r', '＝']),
                "{cell:?}"
            );
            assert_eq!(unguarded(cell), said);
        }
        assert_eq!(cell(row, "short_mm"), "-0.5");
    }
    assert_eq!(cell(&rows[4], "said"), "a,b", "what is harmless stays as it is");
}

#[test]
fn rows_and_columns() {
    let text =
        csv(&log_of(vec![entry(1, &json!({ "size": 25, "taper": 0.06, "text": "ä" }), "x")]), true).unwrap();
    assert!(text.starts_with("\u{feff}id,from_s,to_s,kind,status,review,tooth,canal,"), "{text}");
    assert_eq!(text.matches("\r\n").count(), 2, "RFC 4180: each record on a line that ends with CRLF");
    let row = &rows(text.trim_start_matches('\u{feff}'))[0];
    let is = |column: &str, expect: &str| assert_eq!(cell(row, column), expect);
    is("id", "e1");
    is("from_s", "1.25");
    is("to_s", "2.00");
    is("canal", "MB; ML");
    is("size", "25");
    is("taper", "0.06");
    is("volume_ml", "");
}

proptest! {
    #[test]
    fn the_table_reads_back_to_the_same_values(
        numbers in prop::collection::vec(-999_999_999_i64..999_999_999, 1..8),
        text in any::<String>(), other in "[ =+@'\t-]{0,4}[a-z0-9,\"\r\n]{0,6}",
    ) {
        let fields = ["size", "taper", "volume_ml", "length_mm", "short_mm", "dose_mg", "torque_ncm", "never_heard_ml"];
        let mut log = log_of(vec![entry(1, &json!({ "text": text, "observation": other }), &other)]);
        for (field, n) in fields.iter().zip(&numbers) {
            log.entries[0].values.insert((*field).to_owned(), Value::Number(Decimal::thousandths(*n)));
        }
        let rows = rows(&csv(&log, false).unwrap());
        let mut back = indexmap::IndexMap::new();
        for (column, cell) in &rows[0] {
            let is_field = log.entries[0].values.contains_key(column);
            if is_field {
                let value = if is_number(column) {
                    Value::Number(cell.parse().unwrap())
                } else {
                    Value::Text(unguarded(cell).to_owned())
                };
                back.insert(column.clone(), value);
            } else if !BEFORE.contains(&column.as_str()) && !AFTER.contains(&column.as_str()) {
                prop_assert_eq!(cell, "");
            }
        }
        prop_assert_eq!(&back, &log.entries[0].values);
        prop_assert_eq!(unguarded(cell(&rows[0], "said")), other);
    }
}
