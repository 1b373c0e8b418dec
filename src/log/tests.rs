//! Logs on disk: what is read, what is refused and with which sentence, and that nothing is lost on the way back.

use std::{fs, path::Path};

use proptest::prelude::*;
use serde_json::Value as Json;

use super::{file, read, schema, write};
use crate::{
    log::schema::{FieldShape, KindShape, Shape},
    words::Decimal,
};

fn stored(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs/v1").join(name)).unwrap()
}

/// The sentence that a person sees for this text.
fn sentence(bytes: &[u8]) -> String {
    file::parse(bytes, Path::new("log.json")).map_or_else(|e| e.to_string(), |_| "read".to_owned())
}

#[test]
fn every_kept_log_reads_and_writes_back_the_same() {
    for name in ["minimal.json", "full.json", "unknown-field.json"] {
        let before: Json = serde_json::from_str(&stored(name)).unwrap();
        let log = file::parse(stored(name).as_bytes(), Path::new(name)).unwrap();
        let after: Json = serde_json::from_str(&file::to_json(&log).unwrap()).unwrap();
        assert_eq!(lost(&before, &after, ""), Vec::<String>::new(), "{name}");
        assert_eq!(
            file::parse(file::to_json(&log).unwrap().as_bytes(), Path::new(name)).unwrap(),
            log,
            "{name}"
        );
    }
}

/// What of `before` is missing or changed in `after`.
fn lost(before: &Json, after: &Json, at: &str) -> Vec<String> {
    match (before, after) {
        (Json::Object(b), Json::Object(a)) => b
            .iter()
            .flat_map(|(k, v)| {
                a.get(k).map_or_else(|| vec![format!("{at}.{k}")], |w| lost(v, w, &format!("{at}.{k}")))
            })
            .collect(),
        (Json::Array(b), Json::Array(a)) if a.len() == b.len() => {
            b.iter().zip(a).enumerate().flat_map(|(i, (v, w))| lost(v, w, &format!("{at}[{i}]"))).collect()
        }
        (Json::Number(b), Json::Number(a)) if b.as_f64() == a.as_f64() => vec![],
        _ if before == after => vec![],
        _ => vec![format!("{at}: {before} became {after}")],
    }
}

#[test]
fn broken_files() {
    #[track_caller]
    fn check(name: &str, expect: &str) {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs/v1").join(name);
        let got = sentence(&fs::read(path).unwrap());
        assert!(got.starts_with(&format!("`log.json` {expect}")), "{name}: {got}");
    }
    check(
        "next-version.json",
        "is a log of version 2, and this program knows versions up to 1; open it with the newer",
    );
    check(
        "broken/cut-short.json",
        "is damaged at line 7, column 11: the file ends too early; take an undamaged copy",
    );
    check(
        "broken/not-a-number.json",
        "is damaged at line 14, column 32: NaN is not a number that a log can hold",
    );
    check("broken/comma.json", "is damaged at line 10, column 7: expected `,` or `}`");
    check("broken/empty.json", "is empty; a log made by `tugback log` is expected");
    check("broken/zeros.json", "is empty");
    check("broken/list.json", "is not a log: it holds no object");
    check(
        "broken/other-format.json",
        "is not a log: its `format` is \"something-else\", not \"tugback-log\"",
    );
    check("broken/sound.json", "is not a log: byte 6 is no UTF-8 text");
    check("broken/utf16.json", "is not a log: byte 1 is no UTF-8 text");
}

/// Each row of the table changes one place of the minimal log: `from` becomes `to`.
#[test]
fn one_thing_wrong_is_named_with_its_place() {
    let text = stored("minimal.json");
    let column = regex::Regex::new(", column [0-9]+").unwrap();
    for row in stored("refused.tsv").lines().skip(1) {
        let [from, to, expect] = row.split('\t').collect::<Vec<_>>()[..] else {
            panic!("three cells: {row}")
        };
        assert!(text.contains(from), "{row}");
        let got = sentence(text.replacen(from, to, 1).as_bytes());
        let got = got.strip_prefix("`log.json`").unwrap_or(&got).trim_start_matches(',').trim();
        let got = column.replace(got, "");
        assert!(got.starts_with(expect), "{from} -> {to}\n   got {got}\nexpect {expect}");
    }
}

#[test]
fn two_entries_with_one_id() {
    let text = stored("full.json").replacen("\"id\": \"e7\"", "\"id\": \"e2\"", 1);
    let got = sentence(text.as_bytes());
    assert_eq!(
        got,
        "`log.json`, at `entries[6].id`: \"e2\" is the id of entries[1] too; each id may stand once"
    );
}

#[test]
fn a_byte_order_mark_is_no_hindrance() {
    assert_eq!(sentence(format!("\u{feff}{}", stored("minimal.json")).as_bytes()), "read");
}

#[test]
fn times_are_rounded_on_writing_only() {
    let mut log = file::parse(stored("minimal.json").as_bytes(), Path::new("x")).unwrap();
    log.entries[0].from_s = 0.123_456;
    log.entries[0].to_s = 2.006;
    let text = file::to_json(&log).unwrap();
    assert!(text.contains("\"from_s\": 0.12,") && text.contains("\"to_s\": 2.01,"), "{text}");
    assert!((log.entries[0].from_s - 0.123_456).abs() < 1e-12);
    log.entries[0].to_s = f64::NAN;
    assert_eq!(
        file::to_json(&log).unwrap_err().to_string(),
        "cannot write the log: `entries[0].to_s` is not a finite number"
    );
}

#[test]
fn writing_is_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let log = file::parse(stored("full.json").as_bytes(), Path::new("x")).unwrap();
    let path = folder.path().join("visit.json");
    write(&log, &path).unwrap();
    assert_eq!(read(&path).unwrap(), log);
    write(&log, &path).unwrap();
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing beside the log");

    let missing = folder.path().join("no/visit.json");
    let error = write(&log, &missing).unwrap_err().to_string();
    assert!(error.contains("The folder does not exist: make it first"), "{error}");
    let error = write(&log, folder.path()).unwrap_err().to_string();
    assert!(error.contains("It is a folder"), "{error}");
}

#[cfg(unix)]
#[test]
fn permissions_links_and_devices() {
    use std::os::unix::fs::{PermissionsExt as _, symlink};
    let folder = tempfile::tempdir().unwrap();
    let log = file::parse(stored("minimal.json").as_bytes(), Path::new("x")).unwrap();
    let path = folder.path().join("visit.json");
    write(&log, &path).unwrap();
    let mode = |p: &Path| fs::metadata(p).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&path), 0o600, "a new log is its owner's");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    let link = folder.path().join("link.json");
    symlink(&path, &link).unwrap();
    write(&log, &link).unwrap();
    assert_eq!(mode(&path), 0o640, "permissions are kept");
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink(), "the link is followed, not replaced");
    write(&log, Path::new("/dev/null")).unwrap();
    if Path::new("/dev/full").exists() {
        let error = write(&log, Path::new("/dev/full")).unwrap_err().to_string();
        assert!(error.contains("The disk is full: make room"), "{error}");
    }
}

#[test]
fn the_schema_holds_the_kinds_and_the_head() {
    let plain = schema::schema(&[]);
    assert_eq!(plain["properties"]["format"]["const"], "tugback-log");
    assert_eq!(plain["properties"]["version"]["const"], 1);
    assert!(plain["$defs"]["Entry"]["properties"]["values"].is_object());
    assert!(plain["$defs"]["Entry"].get("allOf").is_none());
    let kind = KindShape {
        kind: "irrigation".to_owned(),
        about: "A canal was rinsed.".to_owned(),
        fields: [
            ("volume_ml", "what went in", Shape::Number(Some((Decimal::whole(1), Decimal::whole(20))))),
            ("gauge", "", Shape::Count(None)),
            ("each", "", Shape::Text(vec!["canal".to_owned()])),
        ]
        .map(|(name, about, shape)| FieldShape { name: name.to_owned(), about: about.to_owned(), shape })
        .into(),
    };
    let with = schema::schema(&[kind]);
    let values = &with["$defs"]["Entry"]["allOf"][0]["then"]["properties"]["values"]["properties"];
    assert_eq!(
        *values,
        serde_json::json!({
            "volume_ml": {
                "type": "number",
                "description": "what went in; in mL; outside of 1 to 20 with a doubt",
                "x-unit": "mL",
            },
            "gauge": { "type": "integer" },
            "each": { "type": "string", "examples": ["canal"] },
        })
    );
    assert_eq!(with["$defs"]["Entry"]["properties"]["kind"]["examples"][0], "irrigation");
}

proptest! {
    #[test]
    fn any_bytes_end_in_a_sentence(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let said = sentence(&bytes);
        prop_assert!(said.len() > 10);
    }

    /// One byte of a good log changed: a log or a sentence, never a panic.
    #[test]
    fn one_changed_byte(at in 0_usize..1400, with in any::<u8>()) {
        let mut bytes = stored("full.json").into_bytes();
        let n = bytes.len();
        bytes[at % n] = with;
        sentence(&bytes);
    }

    #[test]
    fn a_said_number_prints_and_reads_the_same(n in -9_000_000_000_i64..9_000_000_000) {
        let number = crate::words::Decimal::thousandths(n);
        let text = serde_json::to_string(&number).unwrap();
        let back: crate::log::Value = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(back.number(), Some(number));
    }
}
