//! What is kept comes back, whatever happened to the end of the file; what is not ours is left alone.

use super::*;
use crate::listen::heard::{HeardWord, OtherReading};

/// A breath with numbers that have no short decimal form.
fn breath(n: u32) -> Breath {
    let from_s = f64::from(n) * 3.0 + 1.0 / 3.0;
    Breath {
        from_s,
        to_s: from_s + 0.7,
        words: vec![HeardWord {
            text: format!("„{n}\"\n\\ é"),
            from_s: from_s + 0.1 / 7.0,
            to_s: from_s + 2.0 / 3.0,
            p_wrong: 0.1_f32 + 1e-7,
        }],
        others: vec![OtherReading {
            first: 0,
            end: 1,
            text: String::new(),
            p: 1.0 / 3.0,
            by: "runner-up".into(),
        }],
        remarks: vec!["start may be cut".into()],
    }
}

struct Place {
    _folder: tempfile::TempDir,
    path: PathBuf,
}

fn place() -> Place {
    let folder = tempfile::tempdir().unwrap();
    let path = Kept::place(&folder.path().join("visit.log.json"));
    assert!(path.ends_with("visit.log.json.unfinished"));
    Place { _folder: folder, path }
}

/// A file with `count` breaths, made from `x`.
fn kept(count: u32) -> Place {
    let place = place();
    let mut kept = Kept::open_for(&place.path, "x").unwrap();
    (0..count).for_each(|n| kept.add(&breath(n)));
    assert!(kept.failed().is_none());
    place
}

#[test]
fn what_is_kept_comes_back_to_the_last_bit() {
    let place = kept(3);
    let again = Kept::open_for(&place.path, "x").unwrap();
    assert_eq!(again.breaths, (0..3).map(breath).collect::<Vec<_>>());
    assert_eq!(again.done_s().to_bits(), breath(2).to_s.to_bits());
    again.remove().unwrap();
    assert!(!place.path.exists());
}

/// A kill or a dead battery may cut the file anywhere, and may leave zeros or rubbish at its end.
#[test]
fn a_cut_anywhere_costs_the_last_breath_only() {
    let whole = fs::read(&kept(3).path).unwrap();
    let ends: Vec<usize> =
        whole.iter().enumerate().filter(|(_, b)| **b == b'\n').map(|(n, _)| n + 1).collect();
    for cut in 0..=whole.len() {
        for tail in ["", "\0\0\0", "{\"from_s\":1}\n"] {
            // The first line is synced before anything else is written: rubbish can follow a whole one only.
            if cut < ends.first().copied().unwrap() && !tail.is_empty() {
                continue;
            }
            let place = place();
            fs::write(&place.path, [whole.get(..cut).unwrap(), tail.as_bytes()].concat()).unwrap();
            let mut again = Kept::open_for(&place.path, "x").unwrap();
            let expect = ends.iter().skip(1).filter(|end| **end <= cut).count();
            assert_eq!(again.count(), expect, "cut at {cut}, then {tail:?}");
            again.add(&breath(9));
            drop(again);
            let again = Kept::open_for(&place.path, "x").unwrap();
            assert_eq!(again.count(), expect + 1, "cut at {cut}, then {tail:?}");
        }
    }
}

#[test]
fn what_was_made_from_something_else_is_not_taken() {
    let place = kept(2);
    let other = Kept::open_for(&place.path, "y").unwrap();
    assert_eq!((other.count(), other.done_s().to_bits()), (0, 0));
    drop(other);
    assert!(!place.path.exists(), "nothing is kept, nothing is left behind");
}

#[test]
fn a_file_of_another_kind_is_left_alone() {
    let place = place();
    fs::write(&place.path, "my notes\n").unwrap();
    let error = Kept::open_for(&place.path, "x").unwrap_err();
    assert!(matches!(error, KeptError::Foreign { .. }), "{error}");
    assert_eq!(fs::read(&place.path).unwrap(), b"my notes\n");
}

#[test]
fn two_at_once_are_refused() {
    let place = kept(1);
    let first = Kept::open_for(&place.path, "x").unwrap();
    let error = Kept::open_for(&place.path, "x").unwrap_err();
    assert!(matches!(error, KeptError::InUse { .. }), "{error}");
    assert_eq!(first.count(), 1);
}

#[test]
fn no_folder_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let error = Kept::open_for(&folder.path().join("none/x.unfinished"), "x").unwrap_err();
    assert!(matches!(error, KeptError::Write { .. }), "{error}");
}
