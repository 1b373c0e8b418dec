//! One decision of a person → the changed log, with the decision in its history. A decision is carried out whole or not at
//! all.

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};
use serde_json::{Value as Json, json};

use super::{
    By,
    error::ReviewError,
    history::{self, Writing},
    open,
    patch::{self, Patch, to_json},
    seal, sign,
};
use crate::{
    checks::Settings,
    kinds,
    log::{Canal, Doubt, Entry, Log, Review, Status, Value, units},
};

/// What a person may decide.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Decision {
    /// These entries are right as they stand.
    Accept { entries: Vec<String> },
    /// This field is to hold this; no `to`: it was not said. The same value again: it is right as it stands.
    Correct { entry: String, field: String, to: Option<String> },
    /// Several fields of one entry at once.
    Revise { entry: String, fields: IndexMap<String, Option<String>> },
    /// This was not so; the entry stays, struck.
    Strike { entry: String },
    /// A struck entry was right after all.
    Restore { entry: String },
    /// Listened, and still not sure: it stays marked.
    CannotTell { entry: String, field: Option<String> },
    /// An entry from speech that had no place, or from words of which another entry was made.
    Make {
        from: Words,
        kind: String,
        status: Status,
        tooth: Option<String>,
        canal: Option<String>,
        values: IndexMap<String, String>,
    },
    /// A finding was looked at and stays as it is.
    LookedAt { finding: String },
    /// The practice's own reference.
    Reference { to: Option<String> },
    /// Takes the last decision back.
    Undo,
    /// Takes the last taking-back back.
    Redo,
    /// Signs. `not_verified`: what nobody settled is signed as not verified.
    Sign {
        name: String,
        role: String,
        #[serde(default)]
        not_verified: bool,
    },
}

/// Which words an entry is made from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Words {
    /// A stretch of unplaced speech, by its place in the log.
    Unplaced(usize),
    /// The words of this entry.
    Entry(String),
}

/// Longer than anything that is said in one breath; what is longer is a mistake or an attack.
const LONGEST: usize = 500;

/// Carries out a decision. Where it fails, the log is as before.
pub fn decide(
    log: &mut Log,
    by: &By,
    decision: &Decision,
    reason: Option<&str>,
    settings: &Settings,
) -> Result<(), ReviewError> {
    let by = By { who: text("your name", &by.who).map_err(|_| ReviewError::NeedsName)?, at: by.at.clone() };
    let reason = reason.map(|r| text("the reason", r)).transpose()?;
    let signing = matches!(decision, Decision::Sign { .. });
    let reason = match (sign::state(log).is_signed(), decision) {
        (true, Decision::Undo | Decision::Redo) => Some(reason.unwrap_or_else(|| "taken back".to_owned())),
        (true, _) if reason.is_none() && !signing => return Err(ReviewError::NeedsReason),
        _ => reason,
    };
    let mut then = log.clone();
    let draft = if log.history.iter().any(|c| history::act_of(c).is_some()) {
        String::new()
    } else {
        seal::content(log)
    };
    let mut steps = Steps { log: &mut then, groups: vec![], settings };
    let (what, undoes) = steps.carry_out(&by, decision)?;
    let groups: Vec<_> = steps.groups.into_iter().filter(|g| !g.is_empty()).collect();
    if groups.is_empty() {
        return Err(ReviewError::Nothing);
    }
    let number = history::next_act(log);
    let w = Writing { by: &by, what, number, undoes, reason: reason.as_deref() };
    for group in groups {
        history::write(&mut then, &w, group, &draft);
    }
    *log = then;
    Ok(())
}

/// A log that is being changed; each group of patches becomes one change of the history.
struct Steps<'l> {
    log: &'l mut Log,
    /// What the checks go by when the log is signed.
    settings: &'l Settings,
    groups: Vec<Vec<Patch>>,
}

impl Steps<'_> {
    fn carry_out(
        &mut self,
        by: &By,
        decision: &Decision,
    ) -> Result<(&'static str, Option<u64>), ReviewError> {
        let what = match decision {
            Decision::Accept { entries } => {
                for id in entries {
                    self.accept(id)?;
                }
                "accept"
            }
            Decision::Correct { entry, field, to } => return self.correct(entry, field, to.as_deref()),
            Decision::Revise { entry, fields } => {
                for (field, to) in fields {
                    self.correct(entry, field, to.as_deref())?;
                }
                "revise"
            }
            Decision::Strike { entry } => {
                self.groups.push(vec![]);
                self.to(entry, "review", to_json(Review::Struck))?;
                self.to(entry, "doubts", json!([]))?;
                self.to(entry, "cannot_tell", Json::Null)?;
                "strike"
            }
            Decision::Restore { entry } => {
                if self.entry(entry)?.review != Review::Struck {
                    return Err(ReviewError::Nothing);
                }
                self.groups.push(vec![]);
                self.to(entry, "review", to_json(Review::Unseen))?;
                self.to(entry, "struck_at_s", Json::Null)?;
                "restore"
            }
            Decision::CannotTell { entry, field } => {
                self.cannot_tell(entry, field.as_deref())?;
                "cannot-tell"
            }
            Decision::Make { .. } => {
                self.make(decision)?;
                "make"
            }
            Decision::LookedAt { finding } => {
                let saying = open::saying(self.log, self.settings, finding).ok_or_else(|| {
                    ReviewError::Wrong(
                        "there is no such finding; the log may have been changed elsewhere".into(),
                    )
                })?;
                self.groups.push(vec![]);
                self.of_log(&format!("looked_at.{finding}"), json!(saying))?;
                "looked-at"
            }
            Decision::Reference { to } => {
                let to = to.as_deref().map(str::trim).filter(|t| !t.is_empty());
                let to = to.map(|t| text("the reference", t)).transpose()?;
                self.groups.push(vec![]);
                self.of_log("case.reference", to_json(to))?;
                "reference"
            }
            Decision::Undo => {
                let act = self.last(false, ReviewError::NothingToUndo)?;
                for change in self.changes_of(act).into_iter().rev() {
                    let back = history::revert(self.log, &change)?;
                    self.groups.push(back);
                }
                return Ok(("undo", Some(act)));
            }
            Decision::Redo => {
                let act = self.last(true, ReviewError::NothingToRedo)?;
                for change in self.changes_of(act) {
                    let patches = history::patches(&change)?;
                    for patch in &patches {
                        patch::apply(self.log, patch)?;
                    }
                    self.groups.push(patches);
                }
                return Ok(("redo", Some(act)));
            }
            Decision::Sign { name, role, not_verified } => {
                let (name, role) = (text("the name", name)?, text("the role", role)?);
                let rest = open::rest(self.log, self.settings);
                if rest.count() > 0 && !not_verified {
                    return Err(ReviewError::Unseen(rest.count()));
                }
                self.groups.push(sign::sign(self.log, self.settings, &by.at, name, role, rest)?);
                "sign"
            }
        };
        Ok((what, None))
    }

    /// The act to take back or to do again; tells a signed log from one where nothing was done.
    fn last(&self, redo: bool, none: ReviewError) -> Result<u64, ReviewError> {
        let signed = !redo && sign::state(self.log).is_signed();
        history::undoable(self.log, redo).ok_or(if signed { ReviewError::Signed } else { none })
    }

    fn changes_of(&self, act: u64) -> Vec<crate::log::Change> {
        let of = |c: &&crate::log::Change| history::act_of(c).is_some_and(|a| a.number == act);
        self.log.history.iter().filter(of).cloned().collect()
    }

    fn entry(&self, id: &str) -> Result<&Entry, ReviewError> {
        self.log.entries.iter().find(|e| e.id == id).ok_or_else(|| ReviewError::NoEntry(id.to_owned()))
    }

    /// Changes a field of an entry, in the group in hand.
    fn to(&mut self, entry: &str, field: &str, to: Json) -> Result<(), ReviewError> {
        let patch = patch::change(self.log, Some(entry), field, to)?;
        self.keep(patch);
        Ok(())
    }

    fn of_log(&mut self, field: &str, to: Json) -> Result<(), ReviewError> {
        let patch = patch::change(self.log, None, field, to)?;
        self.keep(patch);
        Ok(())
    }

    fn keep(&mut self, patch: Option<Patch>) {
        match self.groups.last_mut() {
            Some(group) => group.extend(patch),
            None => self.groups.push(patch.into_iter().collect()),
        }
    }

    fn accept(&mut self, id: &str) -> Result<(), ReviewError> {
        let review = self.entry(id)?.review;
        if review == Review::Struck {
            return Err(ReviewError::Wrong(format!("{id} is struck; restore it first")));
        }
        self.groups.push(vec![]);
        if review == Review::Unseen {
            let changed = !self.entry(id)?.heard.is_empty() && self.was_amended(id);
            self.to(id, "review", to_json(if changed { Review::Amended } else { Review::Confirmed }))?;
        }
        self.to(id, "doubts", json!([]))?;
        self.to(id, "cannot_tell", Json::Null)
    }

    /// Whether a person (not a later word of the speaker) changed something in this entry.
    fn was_amended(&self, id: &str) -> bool {
        self.log.history.iter().any(|c| c.entry.as_deref() == Some(id) && c.field.starts_with("values."))
    }

    fn correct(
        &mut self,
        id: &str,
        field: &str,
        to: Option<&str>,
    ) -> Result<(&'static str, Option<u64>), ReviewError> {
        let entry = self.entry(id)?;
        if entry.review == Review::Struck {
            return Err(ReviewError::Wrong(format!("{id} is struck; restore it first")));
        }
        let to = to.map(str::trim).filter(|t| !t.is_empty());
        let (path, new) = match (field, to) {
            ("tooth", _) => (field.to_owned(), to_json(to.map(tooth).transpose()?)),
            ("canal", _) => (field.to_owned(), to_json(to.map(canals).transpose()?)),
            ("status", Some(to)) => (field.to_owned(), to_json(status(to)?)),
            ("status", None) => return Err(ReviewError::Wrong("a status cannot be left out".into())),
            _ => {
                let known = entry.values.contains_key(field)
                    || kinds::BUILT_IN.get(&entry.kind).is_some_and(|k| k.fields.contains_key(field));
                if !known {
                    return Err(ReviewError::NoField(field.to_owned()));
                }
                (format!("values.{field}"), to_json(to.map(|t| value(field, t)).transpose()?))
            }
        };
        let doubts: Vec<Doubt> = entry.doubts.iter().filter(|d| d.field != field).cloned().collect();
        let carried: Vec<String> = entry.carried.iter().filter(|c| *c != field).cloned().collect();
        let kept = entry.heard.contains_key(field);
        let review = entry.review;
        self.groups.push(vec![]);
        let old = patch::get(self.log, Some(id), &path)?;
        let same = old == new;
        if !same {
            self.to(id, &path, new)?;
            if !kept {
                self.to(id, &format!("heard.{field}"), Json::Array(vec![old]))?;
            }
            self.to(id, "review", to_json(Review::Amended))?;
        } else if doubts.is_empty() && review == Review::Unseen {
            self.to(id, "review", to_json(Review::Confirmed))?;
        }
        let settled = doubts.is_empty();
        self.to(id, "doubts", to_json(doubts))?;
        self.to(id, "carried", to_json(carried))?;
        if settled {
            self.to(id, "cannot_tell", Json::Null)?;
        }
        Ok((if same { "confirm" } else { "correct" }, None))
    }

    fn cannot_tell(&mut self, id: &str, field: Option<&str>) -> Result<(), ReviewError> {
        let entry = self.entry(id)?;
        if entry.review == Review::Struck {
            return Err(ReviewError::Wrong(format!("{id} is struck; restore it first")));
        }
        let field = field.unwrap_or("entry").to_owned();
        if !matches!(field.as_str(), "entry" | "tooth" | "canal" | "status")
            && !entry.values.contains_key(&field)
        {
            return Err(ReviewError::NoField(field));
        }
        let mut doubts = entry.doubts.clone();
        let reason = "the reviewer listened and could not tell";
        if !doubts.iter().any(|d| d.reason == reason && d.field == field) {
            doubts.push(Doubt { field, reason: reason.into(), alternatives: vec![] });
        }
        self.groups.push(vec![]);
        self.to(id, "doubts", to_json(doubts))?;
        self.to(id, "review", to_json(Review::Unseen))?;
        self.to(id, "cannot_tell", json!(true))
    }

    fn make(&mut self, decision: &Decision) -> Result<(), ReviewError> {
        let Decision::Make { from, kind, status, tooth: of_tooth, canal, values } = decision else {
            return Err(ReviewError::Nothing);
        };
        let (from_s, to_s, said) = match from {
            Words::Unplaced(n) => {
                let u = self.log.unplaced.get(*n).ok_or(ReviewError::NoStretch)?;
                (u.from_s, u.to_s, u.said.clone())
            }
            Words::Entry(id) => {
                let e = self.entry(id)?;
                (e.from_s, e.to_s, e.said.clone())
            }
        };
        let fields = &kinds::BUILT_IN
            .get(kind)
            .ok_or_else(|| ReviewError::Wrong(format!("`{kind}` is no kind of entry")))?
            .fields;
        let mut kept = IndexMap::new();
        for (name, to) in values.iter().filter(|(_, to)| !to.trim().is_empty()) {
            if !fields.contains_key(name) {
                return Err(ReviewError::NoField(name.clone()));
            }
            kept.insert(name.clone(), value(name, to)?);
        }
        let given = |t: &&str| !t.trim().is_empty();
        let entry = Entry {
            id: self.new_id(),
            from_s: hundredths(from_s),
            to_s: hundredths(to_s),
            kind: kind.clone(),
            status: *status,
            tooth: of_tooth.as_deref().filter(given).map(tooth).transpose()?,
            canal: canal.as_deref().filter(given).map(canals).transpose()?,
            values: kept,
            said,
            rule: "review.made".into(),
            doubts: vec![],
            carried: vec![],
            review: Review::Confirmed,
            heard: IndexMap::new(),
            struck_at_s: None,
            more: serde_json::Map::new(),
        };
        let id = entry.id.clone();
        self.groups.push(vec![]);
        self.to(&id, "entry", to_json(entry))?;
        if let Words::Unplaced(n) = from {
            let field = format!("unplaced.{n}.entries");
            let mut ids = match patch::get(self.log, None, &field)? {
                Json::Array(ids) => ids,
                _ => vec![],
            };
            ids.push(json!(id));
            self.of_log(&field, Json::Array(ids))?;
        }
        Ok(())
    }

    /// Never used before, not even by an entry that was taken back.
    fn new_id(&self) -> String {
        let ids = self.log.entries.iter().map(|e| e.id.as_str());
        let ids = ids.chain(self.log.history.iter().filter_map(|c| c.entry.as_deref()));
        let last = ids.filter_map(|id| id.strip_prefix('e')?.parse::<u64>().ok()).max().unwrap_or(0);
        format!("e{}", last + 1)
    }
}

fn hundredths(seconds: f64) -> f64 {
    (seconds * 100.0).round() / 100.0
}

/// A line that a person typed: without control characters, not empty, not endless.
fn text(what: &str, typed: &str) -> Result<String, ReviewError> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Err(ReviewError::Wrong(format!("{what} is empty")));
    }
    if typed.chars().count() > LONGEST {
        return Err(ReviewError::Wrong(format!("{what} is longer than {LONGEST} letters")));
    }
    Ok(typed.chars().map(|c| if c.is_control() { ' ' } else { c }).collect())
}

/// A typed value, exactly as typed: a number in the unit that the field's name says, or words.
fn value(field: &str, typed: &str) -> Result<Value, ReviewError> {
    let typed = text("the value", typed)?;
    let value = if units::is_number(field) {
        let unit = units::unit(field).map(|u| format!(" in {u}")).unwrap_or_default();
        Value::Number(typed.parse().map_err(|_| {
            ReviewError::Wrong(format!(
                "\"{typed}\" is no number{unit}; write digits, and a point before the decimals, as in 19.5"
            ))
        })?)
    } else {
        Value::Text(typed)
    };
    match units::refuse(field, &value) {
        Some(why) => Err(ReviewError::Wrong(why)),
        None => Ok(value),
    }
}

/// ISO 3950: quadrants 1 to 4 with teeth 1 to 8, quadrants 5 to 8 (primary) with teeth 1 to 5.
fn tooth(typed: &str) -> Result<String, ReviewError> {
    let typed = typed.trim();
    let right = matches!(typed.as_bytes(), [b'1'..=b'4', b'1'..=b'8'] | [b'5'..=b'8', b'1'..=b'5']);
    right.then(|| typed.to_owned()).ok_or_else(|| {
        ReviewError::Wrong(format!("\"{typed}\" is no tooth of ISO 3950; two digits are expected, as in 36"))
    })
}

/// The canal names of the contract.
pub const CANALS: [&str; 12] = ["MB", "MB2", "DB", "P", "B", "L", "ML", "DL", "M", "D", "MM", "single"];

/// "MB", "MB, DB", "all".
fn canals(typed: &str) -> Result<Canal, ReviewError> {
    let names: Vec<String> = typed
        .split([',', '+', ' '])
        .map(str::trim)
        .filter(|n| !n.is_empty())
        .map(|n| {
            CANALS
                .iter()
                .chain(&["all"])
                .find(|c| c.eq_ignore_ascii_case(n))
                .map(|c| (*c).to_owned())
                .ok_or_else(|| {
                    ReviewError::Wrong(format!(
                        "\"{n}\" is no canal's name; they are {}, all",
                        CANALS.join(", ")
                    ))
                })
        })
        .collect::<Result<_, _>>()?;
    match names.as_slice() {
        [] => Err(ReviewError::Wrong("no canal is named".into())),
        [one] => Ok(Canal::One(one.clone())),
        _ => Ok(Canal::Many(names)),
    }
}

fn status(typed: &str) -> Result<Status, ReviewError> {
    serde_json::from_value(json!(typed)).map_err(|_| ReviewError::Wrong(format!("\"{typed}\" is no status")))
}
