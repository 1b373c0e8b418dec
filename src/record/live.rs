//! Breaths as they are heard → what changed in the log. The engine goes over all breaths so far each time, so that
//! corrections, strikes and completions are those of the finished log.

use crate::{
    entries::Extractor,
    listen::heard::Breath,
    log::{Entry, Review, Status, Unplaced},
};

/// What a breath did to the log.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A new entry, without a doubt.
    Taken(Entry),
    /// A new entry, or one with a new doubt.
    Doubted(Entry),
    /// Later words changed it.
    Changed(Entry),
    Struck(Entry),
    /// Later words made it another, or none.
    Gone(Entry),
    /// Speech without a place in the log; kept.
    Kept(Unplaced),
}

/// The log while it grows.
#[derive(Debug)]
pub struct Live {
    extractor: Extractor,
    breaths: Vec<Breath>,
    pub entries: Vec<Entry>,
    unplaced: Vec<Unplaced>,
}

impl Live {
    pub fn new(extractor: Extractor) -> Self {
        Self { extractor, breaths: Vec::new(), entries: Vec::new(), unplaced: Vec::new() }
    }

    pub fn extractor(&self) -> &Extractor {
        &self.extractor
    }

    /// Takes the next breath; gives what changed, in the order of the log.
    pub fn take(&mut self, breath: Breath) -> Vec<Change> {
        // A key may have been pressed while this was listened to.
        let at = self.breaths.partition_point(|b| b.from_s <= breath.from_s);
        self.breaths.insert(at, breath);
        let found = self.extractor.extract(&self.breaths);
        let mut changes = changes(&self.entries, &found.entries);
        changes
            .extend(found.unplaced.iter().filter(|u| !self.unplaced.contains(u)).cloned().map(Change::Kept));
        self.entries = found.entries;
        self.unplaced = found.unplaced;
        changes
    }

    /// How many entries that count carry a doubt.
    pub fn doubts(&self) -> usize {
        self.entries.iter().filter(|e| e.review != Review::Struck && !e.doubts.is_empty()).count()
    }

    /// The last entry that counts.
    pub fn last(&self) -> Option<&Entry> {
        self.entries.iter().rfind(|e| e.review != Review::Struck)
    }

    /// The last entry of a kind that was done, of this tooth and canal where they are named.
    fn last_done(&self, kind: &str) -> Option<&Entry> {
        let here = self.entries.iter().rfind(|e| e.review != Review::Struck && e.canal.is_some());
        self.entries.iter().rfind(|e| {
            let counts = e.kind == kind && e.review != Review::Struck && e.status == Status::Done;
            counts && here.is_none_or(|h| e.canal.is_none() || (&e.tooth, &e.canal) == (&h.tooth, &h.canal))
        })
    }

    /// The running clock: the last irrigation of the canal that is being worked in, and where in the recording it ended.
    pub fn last_irrigation(&self) -> Option<(&Entry, f64)> {
        self.last_done("irrigation").map(|e| (e, e.to_s))
    }

    /// The working lengths that count, in their order.
    pub fn working_lengths(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(|e| e.kind == "working-length" && e.review != Review::Struck)
    }
}

/// Entries are the same where they begin at the same time with the same kind; the engine never swaps them.
fn changes(before: &[Entry], now: &[Entry]) -> Vec<Change> {
    let same = |a: &Entry, b: &Entry| a.id == b.id && a.kind == b.kind;
    let mut found: Vec<Change> = Vec::new();
    for entry in now {
        let e = || entry.clone();
        match before.iter().find(|b| same(b, entry)) {
            None if entry.review == Review::Struck => found.push(Change::Struck(e())),
            None if entry.doubts.is_empty() => found.push(Change::Taken(e())),
            None => found.push(Change::Doubted(e())),
            Some(old) if old == entry => {}
            Some(old) if old.review != entry.review && entry.review == Review::Struck => {
                found.push(Change::Struck(e()));
            }
            Some(old) if entry.doubts.len() > old.doubts.len() => found.push(Change::Doubted(e())),
            Some(_) => found.push(Change::Changed(e())),
        }
    }
    let gone = before.iter().filter(|b| !now.iter().any(|n| same(b, n)));
    found.extend(gone.cloned().map(Change::Gone));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entries::Settings;

    /// Breaths, one a line, two seconds each; gives what each did.
    fn hear(live: &mut Live, lines: &[&str]) -> Vec<String> {
        let word = |change: &Change| match change {
            Change::Taken(e) => format!("taken {}", e.kind),
            Change::Doubted(e) => format!("doubt {}", e.kind),
            Change::Changed(e) => format!("changed {}", e.kind),
            Change::Struck(e) => format!("struck {}", e.kind),
            Change::Gone(e) => format!("gone {}", e.kind),
            Change::Kept(_) => "kept".to_owned(),
        };
        (0_u32..)
            .zip(lines)
            .map(|(n, line)| {
                let from_s = f64::from(n) * 3.0;
                let changes = live.take(Breath::from_text(from_s, from_s + 2.0, line));
                changes.iter().map(word).collect::<Vec<_>>().join(", ")
            })
            .collect()
    }

    #[test]
    fn each_breath_tells_what_it_did() {
        let mut live = Live::new(Extractor::new(Settings::default()));
        let lines = [
            "tooth three six",
            "mesiobuccal, working length twenty one",
            "irrigate with three mils of hypochlorite",
            "scratch that",
            "flag that",
            "nice weather today",
        ];
        let expect = [
            "taken tooth",
            "taken working-length",
            "taken irrigation",
            "struck irrigation, kept",
            "doubt working-length, kept",
            "kept",
        ];
        assert_eq!(hear(&mut live, &lines), expect);
        assert_eq!((live.doubts(), live.last().map(|e| e.kind.as_str())), (1, Some("working-length")));
        assert_eq!(live.last_irrigation(), None, "it was struck");
        assert_eq!(live.working_lengths().count(), 1);
    }

    #[test]
    fn the_clock_is_that_of_the_canal() {
        let mut live = Live::new(Extractor::new(Settings::default()));
        hear(&mut live, &["tooth three six", "mesiobuccal", "irrigate with three mils of hypochlorite"]);
        assert!(live.last_irrigation().is_some_and(|(_, s)| (s - 8.0).abs() < 1e-6));
        live.take(Breath::from_text(20.0, 22.0, "distal, working length twenty"));
        assert_eq!(live.last_irrigation().map(|(_, s)| s), None, "another canal was not rinsed yet");
    }

    /// The log of all breaths at once is the log that grew.
    #[test]
    fn the_log_that_grew_is_the_log() {
        let extractor = Extractor::new(Settings::default());
        let lines = [
            "tooth three six",
            "distal, working length twenty",
            "correction, twenty two",
            "dry with three paper points",
        ];
        let mut live = Live::new(extractor.clone());
        hear(&mut live, &lines);
        let all: Vec<Breath> = (0_u32..)
            .zip(lines)
            .map(|(n, l)| Breath::from_text(f64::from(n) * 3.0, f64::from(n) * 3.0 + 2.0, l))
            .collect();
        assert_eq!(live.entries, extractor.extract(&all).entries);
    }
}
