//! Where a step was done: tooth and canal, said, carried or meant; and what it shares with an earlier one.

use std::ops::Range;

use super::{
    canals, fill,
    sentence::find_cue,
    session::{At, FAR_BACK, Session, push_doubt},
    why::{From, Why},
};
use crate::{
    kinds::Place,
    log::{Canal, Entry, Review, Status, Value},
    words::line::What,
};

/// Words that may stand beside a canal that is turned to ("now the distal", "so into the palatal").
const TURNS: &[&str] = &[
    "now", "next", "then", "the", "to", "into", "in", "for", "on", "onto", "moving", "going", "over", "back",
    "again", "canal", "so", "and", "right", "start", "starting", "with", "let", "us", "do", "take", "turn",
    "first", "last", "other", "this", "is", "it", "here", "that", "up", "at", "look", "looking", "we",
];

impl Session<'_> {
    /// Tooth and canal of an entry, said or carried.
    pub(super) fn locate(
        &mut self,
        at: &At<'_>,
        entry: &mut Entry,
        why: &mut Why,
        place: Place,
        canal: Option<&fill::Named>,
    ) {
        let (status, breath) = (entry.status, at.n);
        if let Some(tooth) = &self.tooth {
            entry.tooth = Some(tooth.clone());
            entry.carried.push("tooth".to_owned());
            let beside = self.refused.as_ref().filter(|(n, other)| *n == at.n && other != tooth);
            if let Some((_, other)) = beside {
                let reason = format!("tooth {other} was named beside it");
                push_doubt(entry, "tooth", &reason, &[Value::Text(other.clone())]);
            }
            why.tooth = Some(self.tooth_said.clone());
        }
        let carries = !matches!(status, Status::General | Status::Conditional);
        match (place, canal) {
            (Place::Canal | Place::NamesCanals, Some(named)) => {
                let said = at.spoken(&named.items);
                why.canal = Some(said.clone());
                if named.canal.names().first().is_some_and(|n| n.as_str() == canals::OTHERS) {
                    entry.canal = self.others(&named.canal);
                    push_doubt(entry, "canal", "the others of the canals named so far", &[]);
                    return;
                }
                let canal = self.meant(&named.canal, breath);
                entry.canal = Some(canal.clone());
                if named.unsure {
                    push_doubt(entry, "canal", "the speaker was not sure", &[]);
                }
                let denied = place == Place::NamesCanals && status == Status::NotDone;
                if carries && !denied {
                    self.canal = Some(canal);
                    self.canal_from = breath;
                    self.canal_said = said;
                }
            }
            (Place::Canal, None) if carries => {
                if let Some(canal) = &self.canal {
                    entry.canal = Some(canal.clone());
                    entry.carried.push("canal".to_owned());
                    why.canal = Some(self.canal_said.clone());
                }
            }
            _ => {}
        }
    }

    /// The canals named on this tooth but those that are excepted, else but the one at work.
    fn others(&self, canal: &Canal) -> Option<Canal> {
        let excepted: Vec<&String> = canal.names().iter().skip(1).collect();
        let at_work = self.canal.as_ref().map(|c| c.names().to_vec()).unwrap_or_default();
        let is_meant = |n: &&String| {
            let out = if excepted.is_empty() { at_work.contains(n) } else { excepted.contains(n) };
            !out && n.as_str() != "all" && n.as_str() != "single"
        };
        let mut names: Vec<String> = Vec::new();
        let of_tooth = self.entries.iter().rev().take(FAR_BACK).filter(|e| e.tooth == self.tooth);
        for name in of_tooth.filter_map(|e| e.canal.as_ref()).flat_map(Canal::names).filter(is_meant) {
            if !names.contains(name) {
                names.push(name.clone());
            }
        }
        names.reverse();
        match names.as_slice() {
            [] => None,
            [one] => Some(Canal::One(one.clone())),
            _ => Some(Canal::Many(names)),
        }
    }

    /// "both" means the list that was named in the same breath or the one before, else all canals.
    pub(super) fn meant(&self, canal: &Canal, breath: usize) -> Canal {
        match (canal, &self.canal) {
            (Canal::One(c), Some(list @ Canal::Many(_)))
                if c == canals::BOTH && self.canal_from + 1 > breath =>
            {
                list.clone()
            }
            (Canal::One(c), _) if c == canals::BOTH => Canal::One("all".to_owned()),
            _ => canal.clone(),
        }
    }

    /// "same reference", "same file", "the same": values from the last entry of the kind.
    pub(super) fn same(
        &self,
        at: &At<'_>,
        items: &Range<usize>,
        kind: usize,
        entry: &mut Entry,
        why: &mut Why,
    ) {
        for i in items.clone() {
            let Some(fields) = at.line.term(i, "same") else { continue };
            let all = fields == "*";
            // "DB same. P forty": said of another canal.
            let of_other = all
                && entry.canal.as_ref().is_some_and(|canal| {
                    let beside = (i.saturating_sub(3)..i + 4)
                        .filter(|&c| canals::same_of(&at.line, &(c..c + 1)) == Some(i))
                        .filter_map(|c| at.line.term(c, "canals"));
                    let mut names = beside.flat_map(|c| c.split('+')).peekable();
                    names.peek().is_some() && names.all(|n| !canal.names().iter().any(|own| own == n))
                });
            if of_other {
                continue;
            }
            let own = |field: &str| entry.values.get(field);
            // "the ML same as the MB"
            let as_of = at
                .line
                .is_word(i + 1, "as")
                .then(|| (i + 2..i + 4).find_map(|c| at.line.term(c, "canals")))
                .flatten();
            let Some((last, _)) = self.entries.iter().zip(&self.notes).rev().take(FAR_BACK).find(|(e, n)| {
                e.review != Review::Struck
                    && n.kind == kind
                    && as_of.is_none_or(|c| {
                        e.canal.as_ref().is_some_and(|own| own.names().iter().any(|o| o == c))
                    })
                    && (all
                        || ["agent", "instrument"]
                            .iter()
                            .all(|f| own(f).is_none_or(|own| e.values.get(*f) == Some(own))))
                    && (all || fields.split('+').any(|f| e.values.contains_key(f)))
            }) else {
                continue;
            };
            for (field, value) in &last.values {
                if (all || fields.split('+').any(|f| f == field)) && !entry.values.contains_key(field) {
                    entry.values.insert(field.clone(), value.clone());
                    entry.carried.push(field.clone());
                    why.values.push((field.clone(), From::Same(last.id.clone())));
                    for d in last.doubts.iter().filter(|d| d.field == *field) {
                        entry.doubts.push(d.clone());
                    }
                }
            }
        }
    }

    /// "now the distal": a canal named without an entry carries.
    pub(super) fn name_canal(&mut self, at: &At<'_>, items: &Range<usize>) {
        let named: Vec<&str> = items
            .clone()
            .filter(|&i| !super::canals::is_side(&at.line, i))
            .filter_map(|i| at.line.term(i, "canals"))
            .filter(|c| *c != "all?")
            .collect();
        let words = items
            .clone()
            .filter(|&i| matches!(at.line.items.get(i).map(|it| &it.what), Some(What::Word)))
            .count();
        // "caries on the distal" turns to no canal.
        let turns = |i: usize| {
            let word = at.line.items.get(i).is_some_and(|it| it.what == What::Word);
            !word || TURNS.contains(&at.line.text(i))
        };
        let word = |i: &usize| {
            !at.line.is_word(*i, "the")
                && at.line.term(*i, "fillers").is_none()
                && at.line.items.get(*i).is_some_and(|it| it.what != What::Mark)
        };
        // "I leave that one, mesiolingual now"
        let canal = items.clone().find(|&i| at.line.term(i, "canals").is_some_and(|c| c != "all?"));
        let clause = canal.map_or(items.clone(), |c| {
            at.line.clause_start(c).max(items.start)..at.line.next_comma(c).min(items.end)
        });
        // "buccal is tighter"
        let leads = items.clone().find(word).is_some_and(|i| at.line.term(i, "canals").is_some());
        // "probing nine on | the distal"
        let at_side = items
            .start
            .checked_sub(1)
            .is_some_and(|b| at.placed.get(b) == Some(&true) && at.line.is_one_of(b, &["on", "at", "of"]));
        let number = items.clone().any(|i| at.line.atom(i).is_some());
        if let ([one], false, true) =
            (named.as_slice(), number, words <= 5 && !at_side && (clause.clone().all(turns) || leads))
            && find_cue(&at.line, items.clone(), "negation").is_none()
        {
            let names: Vec<String> = one.split('+').map(str::to_owned).collect();
            self.canal_said = at.spoken(items);
            self.canal = Some(match names.as_slice() {
                [single] => Canal::One(single.clone()),
                _ => Canal::Many(names),
            });
        }
    }
}
