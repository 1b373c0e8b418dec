//! Breaths as they are heard → what changed in the log. The engine goes over all breaths so far each time, so that
//! corrections, strikes and completions are those of the finished log.

use crate::{
    entries::Extractor,
    listen::heard::Breath,
    log::{Entry, Review, Status, Unplaced, Value},
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
    /// A doubt went away: it was listened to again.
    Settled(Entry),
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
        self.extract()
    }

    /// Takes a breath that was taken before, after it was listened to again.
    pub fn again(&mut self, breath: Breath) -> Vec<Change> {
        let same = |b: &&mut Breath| b.from_s.total_cmp(&breath.from_s).is_eq() && b.to_s > b.from_s;
        match self.breaths.iter_mut().find(same) {
            Some(before) if *before == breath => return Vec::new(),
            Some(before) => *before = breath,
            None => return self.take(breath),
        }
        self.extract()
    }

    fn extract(&mut self) -> Vec<Change> {
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

    /// Entries that were done and count, in the canal that is being worked in, in their order.
    fn done_here(&self) -> impl Iterator<Item = &Entry> {
        let here = self.entries.iter().rfind(|e| e.review != Review::Struck && e.canal.is_some());
        self.entries.iter().filter(move |e| {
            let counts = e.review != Review::Struck && e.status == Status::Done;
            counts && here.is_none_or(|h| e.canal.is_none() || e.tooth == h.tooth && meet(e, h))
        })
    }

    /// The running clock: the last irrigation of the canal that is being worked in, and where in the recording it ended.
    pub fn last_irrigation(&self) -> Option<(&Entry, f64)> {
        self.done_here().filter(|e| e.kind == "irrigation").last().map(|e| (e, e.to_s))
    }

    /// The irrigant that stands in that canal now, and since when: from the first rinse with it that no other irrigant, and
    /// nothing that takes it out, came after. Nothing where it was not named.
    pub fn contact(&self) -> Option<(&str, f64)> {
        let mut now: Option<(&str, f64)> = None;
        for e in self.done_here() {
            if OUT.contains(&e.kind.as_str()) {
                now = None;
            } else if e.kind == "irrigation" {
                let agent = e.values.get("agent").and_then(Value::text);
                now = match (agent, now) {
                    (Some(agent), Some((same, since))) if agent == same => Some((same, since)),
                    (agent, _) => agent.map(|a| (a, e.to_s)),
                };
            }
        }
        now
    }

    /// The working lengths that count, in their order.
    pub fn working_lengths(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(|e| e.kind == "working-length" && e.review != Review::Struck)
    }
}

/// Steps after which no irrigant stands in a canal. Common practice, no source.
const OUT: [&str; 3] = ["drying", "medicament", "obturation"];

/// Whether two entries speak of a canal that is the same.
fn meet(a: &Entry, b: &Entry) -> bool {
    let names = |e: &'_ Entry| e.canal.as_ref().map(|c| c.names().to_vec()).unwrap_or_default();
    let (a, b) = (names(a), names(b));
    let all = |n: &[String]| n.iter().any(|n| n == "all");
    all(&a) || all(&b) || a.iter().any(|n| b.contains(n))
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
            Some(old) if entry.doubts.len() < old.doubts.len() && entry.values == old.values => {
                found.push(Change::Settled(e()));
            }
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
            Change::Settled(e) => format!("settled {}", e.kind),
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

    /// What stands in the canal, and since when.
    #[test]
    fn contact_counts_from_the_first_rinse_with_the_same() {
        let mut live = Live::new(Extractor::new(Settings::default()));
        let mut check = |said: &str, expect: Option<(&str, f64)>| {
            let from_s = live.breaths.last().map_or(0.0, |b| b.from_s + 3.0);
            live.take(Breath::from_text(from_s, from_s + 2.0, said));
            let found = live.contact().map(|(agent, since_s)| (agent, since_s.round()));
            assert_eq!(found, expect, "after: {said}");
        };
        check("tooth three six", None);
        check("mesiobuccal", None);
        check("irrigate with three mils of hypochlorite", Some(("sodium-hypochlorite", 8.0)));
        check("file twenty five to length", Some(("sodium-hypochlorite", 8.0)));
        check("irrigate with two mils of hypochlorite", Some(("sodium-hypochlorite", 8.0)));
        check("irrigate with two mils of EDTA", Some(("edta", 17.0)));
        check("scratch that", Some(("sodium-hypochlorite", 8.0)));
        check("distal, working length twenty", None);
        check("mesiobuccal, file thirty to length", Some(("sodium-hypochlorite", 8.0)));
        check("dry with three paper points", None);
    }

    /// Listened to again: what was shown is corrected in its place, and a doubt may come or go.
    #[test]
    fn a_breath_that_is_heard_again_takes_its_place() {
        let mut live = Live::new(Extractor::new(Settings::default()));
        hear(&mut live, &["tooth three six", "mesiobuccal, working length twenty one", "nice weather"]);
        let again = |live: &mut Live, said: &str, p_wrong: f32| {
            let mut breath = Breath::from_text(3.0, 5.0, said);
            for word in &mut breath.words {
                word.p_wrong = p_wrong;
            }
            live.again(breath)
        };
        let same = again(&mut live, "mesiobuccal, working length twenty one", 0.0);
        assert_eq!(same, [], "nothing changed");
        let doubt = again(&mut live, "mesiobuccal, working length twenty one", 0.5);
        assert!(matches!(doubt.as_slice(), [Change::Doubted(e)] if e.kind == "working-length"), "{doubt:?}");
        let gone = again(&mut live, "mesiobuccal, working length twenty one", 0.0);
        assert!(matches!(gone.as_slice(), [Change::Settled(_)]), "{gone:?}");
        let other = again(&mut live, "mesiobuccal, working length twenty two", 0.0);
        assert!(matches!(other.as_slice(), [Change::Changed(_)]), "{other:?}");
        assert_eq!(live.entries.len(), 2);
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
