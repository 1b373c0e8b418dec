//! What happened at the chair that cannot be heard in the recording: keys that were pressed, what the program itself said
//! aloud, stretches without sound. Beside the recording, `visit.wav.marks`: one line of JSON each, on the disk as soon as it
//! happened, so that a crash takes none and `tugback log visit.wav` makes the same log again and again.

use std::{
    ffi::OsString,
    fs::{File, OpenOptions},
    io::{self, Write as _},
    path::{Path, PathBuf},
};

use serde::{Deserialize, Serialize};

use crate::{listen::heard::Breath, log::Unplaced};

/// One line. Times are seconds of the recording that it lies beside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// A key that changes the log, as what it would have been in words.
    Pressed { at_s: f64, words: String },
    /// The program spoke; the microphone may have heard it.
    Spoke { from_s: f64, to_s: f64, words: String },
    /// There is no sound of so many seconds of the clock.
    Gap { at_s: f64, lasted_s: f64, why: String },
}

/// Where the marks of a recording lie.
pub fn place(recording: &Path) -> PathBuf {
    let mut name = OsString::from(recording);
    name.push(".marks");
    name.into()
}

/// Writes the marks of one recording; the file is begun with the first.
#[derive(Debug)]
pub struct Writer {
    path: PathBuf,
    file: Option<File>,
}

impl Writer {
    pub fn new(recording: &Path) -> Self {
        Self { path: place(recording), file: None }
    }

    /// The mark is on the disk when this returns.
    pub fn write(&mut self, mark: &Mark) -> io::Result<()> {
        let file = if let Some(file) = &mut self.file {
            file
        } else {
            let mut open = OpenOptions::new();
            open.append(true).create(true);
            #[cfg(unix)]
            std::os::unix::fs::OpenOptionsExt::mode(&mut open, 0o600); // health data: for its owner alone
            self.file.insert(open.open(&self.path)?)
        };
        let mut line = serde_json::to_string(mark)?;
        line.push('\n');
        file.write_all(line.as_bytes())?;
        file.sync_data()
    }
}

/// All marks of a recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marks {
    all: Vec<Mark>,
}

impl From<Vec<Mark>> for Marks {
    fn from(all: Vec<Mark>) -> Self {
        Self { all }
    }
}

impl Marks {
    /// The marks beside a recording; none where there is no such file. A line that a crash cut is left out.
    pub fn read(recording: &Path) -> io::Result<Self> {
        match std::fs::read(place(recording)) {
            Ok(bytes) => {
                let text = String::from_utf8_lossy(&bytes);
                Ok(Self { all: text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect() })
            }
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(Self::default()),
            Err(e) => Err(e),
        }
    }

    /// What was heard, with the keys in their places and without what the program said itself; and that.
    pub fn apply(&self, breaths: Vec<Breath>) -> (Vec<Breath>, Vec<Unplaced>) {
        let spoke: Vec<(f64, f64)> = self
            .all
            .iter()
            .filter_map(
                |m| if let Mark::Spoke { from_s, to_s, .. } = m { Some((*from_s, *to_s)) } else { None },
            )
            .collect();
        let (mut kept, mut own) = (Vec::with_capacity(breaths.len()), Vec::new());
        for breath in breaths {
            let (rest, said) = without_own(breath, &spoke);
            kept.extend(rest);
            own.extend(said);
        }
        for mark in &self.all {
            if let Mark::Pressed { at_s, words } = mark {
                let at = kept.partition_point(|b| b.from_s <= *at_s);
                kept.insert(at, Breath::from_text(*at_s, *at_s, words));
            }
        }
        (kept, own)
    }

    /// The stretches without sound, each as a sentence.
    pub fn gaps(&self) -> Vec<String> {
        let gap = |m: &Mark| match m {
            Mark::Gap { at_s, lasted_s, why } => Some(format!("at {at_s:.0} s: {why} for {lasted_s:.0} s")),
            _ => None,
        };
        self.all.iter().filter_map(gap).collect()
    }
}

/// A breath without the words in stretches in which the program spoke, and those words. Whose words they are cannot be
/// told, so they are kept, but make no entry.
pub fn without_own(breath: Breath, spoke: &[(f64, f64)]) -> (Option<Breath>, Option<Unplaced>) {
    let touches = |from: f64, to: f64| spoke.iter().any(|(a, b)| from < *b && to > *a);
    if !touches(breath.from_s, breath.to_s) {
        return (Some(breath), None);
    }
    let own: Vec<bool> = breath.words.iter().map(|w| touches(w.from_s, w.to_s)).collect();
    if !own.contains(&true) {
        return (Some(breath), None);
    }
    let mut words = own.iter();
    let (theirs, others): (Vec<_>, Vec<_>) =
        breath.words.into_iter().partition(|_| words.next().copied().unwrap_or_default());
    let unplaced = Unplaced {
        from_s: theirs.first().map_or(breath.from_s, |w| w.from_s),
        to_s: theirs.last().map_or(breath.to_s, |w| w.to_s),
        said: theirs.iter().map(|w| w.text.as_str()).collect::<Vec<_>>().join(" "),
        why: Some("the program was speaking".to_owned()),
        more: serde_json::Map::new(),
    };
    // What else a word may have been counts words, which are others now; so all of it is doubted.
    let mut rest = Breath { words: others, others: Vec::new(), ..breath };
    rest.remarks.push("the program was speaking, too".to_owned());
    (Some(rest).filter(|b| !b.words.is_empty()), Some(unplaced))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pressed(at_s: f64, words: &str) -> Mark {
        Mark::Pressed { at_s, words: words.to_owned() }
    }

    fn spoke(from_s: f64, to_s: f64) -> Mark {
        Mark::Spoke { from_s, to_s, words: "two one".to_owned() }
    }

    #[test]
    fn what_is_written_is_read_even_if_a_crash_cut_the_last_line() {
        let folder = tempfile::tempdir().unwrap();
        let recording = folder.path().join("visit.wav");
        assert_eq!(Marks::read(&recording).unwrap(), Marks::default());
        let gap = Mark::Gap { at_s: 2.0, lasted_s: 7.4, why: "paused".to_owned() };
        let all = vec![pressed(1.5, "flag that"), spoke(2.0, 3.0), gap];
        let mut writer = Writer::new(&recording);
        for mark in &all {
            writer.write(mark).unwrap();
        }
        let mut bytes = std::fs::read(place(&recording)).unwrap();
        assert_eq!(Marks::read(&recording).unwrap(), Marks::from(all.clone()));
        bytes.truncate(bytes.len() - 4);
        std::fs::write(place(&recording), bytes).unwrap();
        assert_eq!(Marks::read(&recording).unwrap(), Marks::from(all[..2].to_vec()));
        assert_eq!(Marks::from(all).gaps(), ["at 2 s: paused for 7 s"]);
    }

    /// What is left of breaths of ten words in ten seconds, and what is put aside.
    #[track_caller]
    fn check(marks: Vec<Mark>, expect: &str) {
        let words = "a b c d e f g h i j";
        let heard = vec![Breath::from_text(0.0, 10.0, words), Breath::from_text(20.0, 30.0, words)];
        let (breaths, own) = Marks::from(marks).apply(heard);
        let kept: Vec<String> = breaths.iter().map(Breath::text).collect();
        let own: Vec<&str> = own.iter().map(|u| u.said.as_str()).collect();
        assert_eq!(format!("{} / {}", kept.join(" | "), own.join(" | ")), expect);
    }

    #[test]
    fn keys_stand_in_their_places_and_own_words_are_no_entry() {
        check(vec![], "a b c d e f g h i j | a b c d e f g h i j / ");
        check(
            vec![pressed(12.0, "scratch that")],
            "a b c d e f g h i j | scratch that | a b c d e f g h i j / ",
        );
        check(vec![spoke(19.0, 31.0)], "a b c d e f g h i j / a b c d e f g h i j");
        check(vec![spoke(11.0, 19.0)], "a b c d e f g h i j | a b c d e f g h i j / ");
        check(vec![spoke(8.05, 19.0)], "a b c d e f g h | a b c d e f g h i j / i j");
    }
}
