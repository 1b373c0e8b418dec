//! Two people on one file, and what is on disk after each decision.

use tugback::checks::Settings;
use tugback::review::{
    Decision, history,
    store::{self, StoreError},
};

use crate::common::{accept, by, correct, folder};

#[test]
fn the_later_save_is_told_and_nothing_is_lost() {
    let (_folder, path) = folder();
    let (_, seen) = store::read(&path).unwrap();
    let (_, after) = store::save(&path, &seen, &by("A"), &accept("e2"), None, &Settings::default()).unwrap();
    let late = store::save(&path, &seen, &by("B"), &correct("depth_mm", "4"), None, &Settings::default());
    assert!(matches!(late, Err(StoreError::Changed)), "{late:?}");
    let (log, now) = store::read(&path).unwrap();
    assert_eq!(now, after);
    assert_eq!(log.history.len(), 1);
    // B looks again and decides again: both are kept.
    store::save(&path, &now, &by("B"), &correct("depth_mm", "4"), None, &Settings::default()).unwrap();
    let (log, _) = store::read(&path).unwrap();
    let who: Vec<&str> = log.history.iter().map(|c| c.who.as_str()).collect();
    assert_eq!(who, ["A", "B"]);
}

#[test]
fn many_writers_at_once_lose_nothing() {
    let (_folder, path) = folder();
    std::thread::scope(|s| {
        for writer in 0..4 {
            let path = &path;
            s.spawn(move || {
                for n in 0..6 {
                    let entry = format!("e{}", 2 + writer * 6 + n);
                    loop {
                        let (_, seen) = store::read(path).unwrap();
                        match store::save(path, &seen, &by("A"), &accept(&entry), None, &Settings::default())
                        {
                            Ok(_) => break,
                            Err(StoreError::Changed) => {}
                            Err(e) => panic!("{e}"),
                        }
                    }
                }
            });
        }
    });
    let (log, _) = store::read(&path).unwrap();
    assert_eq!(log.history.len(), 24);
    assert_eq!(history::broken(&log), None);
}

#[test]
fn a_decision_that_cannot_be_written_changes_nothing() {
    let (folder, path) = folder();
    let (_, seen) = store::read(&path).unwrap();
    let before = std::fs::read(&path).unwrap();
    // A name that leads to a full device, on which every write fails.
    let full = folder.path().join("full.log.json");
    if std::os::unix::fs::symlink("/dev/full", &full).is_ok() {
        assert!(tugback::log::write(&store::read(&path).unwrap().0, &full).is_err());
    }
    let refused = store::save(&path, &seen, &by(""), &accept("e2"), None, &Settings::default());
    assert!(matches!(refused, Err(StoreError::Review(_))), "{refused:?}");
    assert_eq!(std::fs::read(&path).unwrap(), before);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 3, "no temporary file stays");
}

#[test]
fn each_decision_is_on_disk_at_once() {
    let (_folder, path) = folder();
    let (_, mut seen) = store::read(&path).unwrap();
    for (n, decision) in [accept("e2"), accept("e3"), Decision::Undo].iter().enumerate() {
        seen = store::save(&path, &seen, &by("A"), decision, None, &Settings::default()).unwrap().1;
        assert_eq!(store::read(&path).unwrap().0.history.len(), n + 1);
    }
}
