//! What was said in one go. Comes in: a log, whose breaths are cut into entries and other speech. Goes out: the breaths, whole
//! again, so that a condition and what follows from it, or a rule and its reason, stand together.

use crate::log::{Entry, Log};

/// A shorter silence, in seconds, does not part two stretches. Our own choice.
const PAUSE_S: f64 = 0.3;
/// A longer breath, in seconds, is parted all the same: some transcripts have no silence. Our own choice.
const LONGEST_S: f64 = 20.0;

/// Words said in one go, and the entries that they became.
#[derive(Debug, Clone)]
pub struct Breath<'l> {
    pub from_s: f64,
    pub to_s: f64,
    pub said: String,
    pub entries: Vec<&'l Entry>,
}

/// All breaths in the order of time; struck entries lend their words.
pub fn breaths(log: &Log) -> Vec<Breath<'_>> {
    let entries = log.entries.iter().map(|e| (e.from_s, e.to_s, e.said.as_str(), Some(e)));
    let other = log.unplaced.iter().map(|u| (u.from_s, u.to_s, u.said.as_str(), None));
    let mut stretches: Vec<_> = entries.chain(other).collect();
    stretches.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out: Vec<Breath<'_>> = Vec::new();
    let mut last = "";
    for (from_s, to_s, said, entry) in stretches {
        let goes_on = out.last().is_some_and(|b| {
            from_s <= b.to_s + PAUSE_S && to_s - b.from_s <= LONGEST_S && !b.said.ends_with(['.', '?', '!'])
        });
        match out.last_mut().filter(|_| goes_on) {
            Some(breath) => {
                breath.to_s = breath.to_s.max(to_s);
                // A list of sizes is several entries with the same words.
                if said != last {
                    if !breath.said.is_empty() && !said.is_empty() {
                        breath.said.push(' ');
                    }
                    breath.said.push_str(said);
                }
                breath.entries.extend(entry);
            }
            None => {
                out.push(Breath {
                    from_s,
                    to_s,
                    said: said.to_owned(),
                    entries: entry.into_iter().collect(),
                });
            }
        }
        last = said;
    }
    out
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::export::table::tests::log_of;

    #[test]
    fn what_was_said_in_one_go_stands_together() {
        let entry = |id: &str, from: f64, to: f64, said: &str| {
            json!({ "id": id, "from_s": from, "to_s": to, "kind": "irrigation", "status": "conditional", "values": {},
                "said": said, "rule": "r", "review": "unseen" })
        };
        let mut log = log_of(vec![
            entry("e1", 2.0, 3.0, "irrigate with EDTA"),
            entry("e2", 6.0, 7.0, "fifteen, twenty"),
            entry("e3", 6.0, 7.0, "fifteen, twenty"),
            entry("e4", 7.1, 8.0, "to length."),
            entry("e5", 8.1, 9.0, "then dry"),
        ]);
        log.unplaced = serde_json::from_value(json!([
            { "from_s": 1.0, "to_s": 2.0, "said": "if the canal is blocked," },
            { "from_s": 3.0, "to_s": 3.5, "said": "and pick at it" },
            { "from_s": 30.0, "to_s": 31.0, "said": "" },
        ]))
        .unwrap();
        let shown: Vec<(String, usize)> =
            breaths(&log).into_iter().map(|b| (b.said, b.entries.len())).collect();
        let expect = [
            ("if the canal is blocked, irrigate with EDTA and pick at it", 1),
            ("fifteen, twenty to length.", 3),
            ("then dry", 1),
            ("", 0),
        ];
        assert_eq!(shown, expect.map(|(s, n)| (s.to_owned(), n)));
    }
}
