//! A log as the checks see it: the live entries in order, by tooth, with the canals that each one reached.
//!
//! Comes in: a log. Goes out: steps by tooth and canal. `all` becomes the tooth's canals, a step without a canal
//! belongs to the only canal where there is only one, and to none otherwise: nothing is guessed.

use std::collections::{BTreeMap, BTreeSet};

use crate::log::{Entry, Log, Review, Status};
use crate::tables::{self, Row};
use crate::words::Decimal;

/// Kinds that happen in a canal.
pub const CANAL_KINDS: &[&str] = &[
    "working-length",
    "patency",
    "glide-path",
    "instrumentation",
    "irrigation",
    "recapitulation",
    "activation",
    "apical-gauge",
    "cone-fit",
    "drying",
    "medicament",
    "obturation",
];

/// The name of the canal of a tooth that has one.
pub const SINGLE: &str = "single";

/// The whole log by tooth.
#[derive(Debug)]
pub struct Visit<'l> {
    pub log: &'l Log,
    /// In the order in which they were named.
    pub teeth: Vec<Tooth<'l>>,
}

/// The live entries of one tooth.
#[derive(Debug)]
pub struct Tooth<'l> {
    /// ISO 3950; absent where no tooth was named.
    pub number: Option<&'l str>,
    /// Canals that were found or worked in, in the order in which they were named.
    pub canals: Vec<String>,
    /// The number of canals that was said last.
    pub count: Option<i64>,
    pub steps: Vec<Step<'l>>,
    /// By canal: the place in `steps` of each done working length, and the length.
    measured: BTreeMap<String, Vec<(usize, Decimal)>>,
}

/// One live entry.
#[derive(Debug, Clone)]
pub struct Step<'l> {
    pub entry: &'l Entry,
    /// Its place in the log.
    pub at: usize,
    pub canals: Vec<String>,
    pub reach: Reach,
    /// The instrument of the contract: a practice's own one by what it works like, another as it stands.
    tool: Option<&'l str>,
}

/// How a step's canals were said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// By name.
    Named,
    /// "all", "each canal".
    All,
    /// Not at all.
    Unsaid,
}

impl<'l> Visit<'l> {
    pub fn of(log: &'l Log) -> Self {
        let only = match log.case.teeth.as_slice() {
            [one] => Some(one.as_str()),
            _ => None,
        };
        let mut teeth: Vec<Tooth<'l>> = Vec::new();
        for (at, entry) in log.entries.iter().enumerate().filter(|(_, e)| e.review != Review::Struck) {
            let number = entry.tooth.as_deref().or(only);
            let tool = log.made_by.instrument(entry);
            let step = Step { entry, at, canals: Vec::new(), reach: Reach::Unsaid, tool };
            match teeth.iter_mut().find(|t| t.number == number) {
                Some(tooth) => tooth.steps.push(step),
                None => teeth.push(Tooth {
                    number,
                    canals: Vec::new(),
                    count: None,
                    steps: vec![step],
                    measured: BTreeMap::new(),
                }),
            }
        }
        for tooth in &mut teeth {
            tooth.find_canals();
            tooth.spread_canals();
            tooth.find_lengths();
        }
        Self { log, teeth }
    }

    /// Done steps of all teeth, in the order of the log.
    pub fn done(&self) -> Vec<&Step<'l>> {
        let mut steps: Vec<_> = self.teeth.iter().flat_map(Tooth::done).collect();
        steps.sort_by_key(|s| s.at);
        steps
    }
}

/// "MB1" is another way to write "MB".
fn plain_name(name: &str) -> &str {
    if name == "MB1" { "MB" } else { name }
}

impl<'l> Tooth<'l> {
    fn find_canals(&mut self) {
        let mut canals: Vec<String> = Vec::new();
        for step in self.steps.iter().filter(|s| s.entry.status == Status::Done) {
            if step.is("canal-located") || CANAL_KINDS.contains(&step.kind()) {
                for name in step.names() {
                    let name = plain_name(name);
                    if name != "all" && !canals.iter().any(|c| c == name) {
                        canals.push(name.to_owned());
                    }
                }
            }
            if step.is("canal-located") {
                self.count = step.number("count").and_then(Decimal::to_whole).or(self.count);
            }
        }
        let usual_one = || {
            self.number
                .and_then(|n| row_of("canal_names", n))
                .is_some_and(|r| r.get("usual_canals").starts_with(SINGLE))
        };
        let worked =
            self.steps.iter().any(|s| s.entry.status == Status::Done && CANAL_KINDS.contains(&s.kind()));
        if canals.is_empty() && worked && (self.count == Some(1) || (self.count.is_none() && usual_one())) {
            canals.push(SINGLE.to_owned());
        }
        self.canals = canals;
    }

    fn spread_canals(&mut self) {
        for step in &mut self.steps {
            let names = step.names().to_vec();
            if names.iter().any(|n| n == "all") {
                step.reach = Reach::All;
                step.canals.clone_from(&self.canals);
            } else if names.is_empty() {
                step.reach = Reach::Unsaid;
                if let [only] = self.canals.as_slice() {
                    step.canals = vec![only.clone()];
                }
            } else {
                step.reach = Reach::Named;
                step.canals = names.iter().map(|n| plain_name(n).to_owned()).collect();
            }
        }
    }

    fn find_lengths(&mut self) {
        for (i, step) in self.steps.iter().enumerate() {
            if step.entry.status != Status::Done || !step.is("working-length") {
                continue;
            }
            let Some(mm) = step.number("length_mm") else { continue };
            for canal in &step.canals {
                self.measured.entry(canal.clone()).or_default().push((i, mm));
            }
        }
    }

    /// Steps that were done, in order.
    pub fn done(&self) -> impl Iterator<Item = &Step<'l>> {
        self.steps.iter().filter(|s| s.entry.status == Status::Done)
    }

    /// Done steps of this kind.
    pub fn done_of<'s, 'k>(&'s self, kind: &'k str) -> impl Iterator<Item = &'s Step<'l>> {
        self.done().filter(move |s| s.is(kind))
    }

    /// Done steps that reached this canal.
    pub fn done_in<'s, 'c>(&'s self, canal: &'c str) -> impl Iterator<Item = &'s Step<'l>> {
        self.done().filter(move |s| s.reached(canal))
    }

    /// Whether anything was done to this tooth (naming it, testing it and talking about it are not enough).
    pub fn worked(&self) -> bool {
        self.done().any(|s| CANAL_KINDS.contains(&s.kind()) || s.is("access") || s.is("canal-located"))
    }

    /// The working lengths of a canal, in order.
    pub fn lengths(&self, canal: &str) -> impl DoubleEndedIterator<Item = (&Step<'l>, Decimal)> {
        let measured = self.measured.get(canal).map(Vec::as_slice).unwrap_or_default();
        measured.iter().filter_map(|(i, mm)| Some((self.steps.get(*i)?, *mm)))
    }

    /// The working length that held at a place in the log: the last one said before it, else the first one after it.
    pub fn length_at<'s>(&'s self, canal: &str, at: usize) -> Option<(&'s Step<'l>, Decimal)> {
        self.lengths(canal).rfind(|(s, _)| s.at <= at).or_else(|| self.lengths(canal).next())
    }

    /// The working length said last.
    pub fn length(&self, canal: &str) -> Option<Decimal> {
        self.lengths(canal).next_back().map(|(_, mm)| mm)
    }

    pub fn is_primary(&self) -> bool {
        self.number.is_some_and(|n| n.starts_with(['5', '6', '7', '8']))
    }

    /// The row of a table for this tooth.
    pub fn row(&self, table: &str) -> Option<Row<'static>> {
        self.number.and_then(|n| row_of(table, n))
    }
}

/// The row whose `teeth_fdi` lists this tooth.
pub fn row_of(table: &str, tooth: &str) -> Option<Row<'static>> {
    tables::rows(table).find(|r| r.lists("teeth_fdi", tooth))
}

impl Step<'_> {
    pub fn kind(&self) -> &str {
        &self.entry.kind
    }

    pub fn is(&self, kind: &str) -> bool {
        self.entry.kind == kind
    }

    /// Canal names as they stand in the entry, `all` as itself.
    pub fn names(&self) -> &[String] {
        self.entry.canal.as_ref().map(crate::log::Canal::names).unwrap_or_default()
    }

    pub fn reached(&self, canal: &str) -> bool {
        self.canals.iter().any(|c| c == canal)
    }

    pub fn number(&self, field: &str) -> Option<Decimal> {
        self.entry.values.get(field)?.number()
    }

    pub fn text(&self, field: &str) -> Option<&str> {
        self.entry.values.get(field)?.text()
    }

    pub fn has(&self, field: &str) -> bool {
        self.entry.values.contains_key(field)
    }

    /// Whether a doubt about this field is still open.
    pub fn doubts(&self, field: &str) -> bool {
        self.entry.review == Review::Unseen
            && self.entry.doubts.iter().any(|d| d.field == field || d.field == "entry")
    }

    /// Whether any doubt is still open.
    pub fn is_doubtful(&self) -> bool {
        self.entry.review == Review::Unseen && !self.entry.doubts.is_empty()
    }

    /// Driven by a motor through the canal; Gates-Glidden drills only open its coronal part.
    pub fn is_engine_driven(&self) -> bool {
        self.is("instrumentation") && matches!(self.tool, Some("rotary" | "reciprocating"))
    }

    /// Opens only the coronal part, and is numbered, not sized.
    pub fn is_drill(&self) -> bool {
        self.tool == Some("gates-glidden")
    }

    /// A file that worked towards the apex: no drill, nothing that was said to stay in the coronal or middle third.
    pub fn is_apical_file(&self) -> bool {
        self.is("instrumentation")
            && !self.is_drill()
            && !matches!(self.text("third"), Some("coronal" | "middle"))
    }

    /// "25/.06", "25", or nothing.
    pub fn size_taper(&self) -> String {
        size_taper(self.number("size"), self.number("taper"))
    }
}

/// "25/.06".
pub fn size_taper(size: Option<Decimal>, taper: Option<Decimal>) -> String {
    let taper = taper.map(|t| format!("/{}", short_taper(t))).unwrap_or_default();
    format!("{}{taper}", size.map(|s| s.to_string()).unwrap_or_default())
}

/// ".06", as the trade writes a taper.
pub fn short_taper(taper: Decimal) -> String {
    let text = taper.to_string();
    text.strip_prefix('0').filter(|t| t.starts_with('.')).map_or(text.clone(), str::to_owned)
}

/// "36 MB, ML", "36", "MB": what a finding is about.
pub fn label(tooth: Option<&str>, canals: &[String]) -> String {
    let named: Vec<&str> = canals.iter().map(String::as_str).filter(|c| *c != SINGLE).collect();
    match (tooth, named.is_empty()) {
        (Some(tooth), true) => tooth.to_owned(),
        (Some(tooth), false) => format!("{tooth} {}", named.join(", ")),
        (None, false) => named.join(", "),
        (None, true) => "No tooth named".to_owned(),
    }
}

/// "MB, ML and D".
pub fn join(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// Each once, in the order of first mention.
pub fn unique<T: Ord + Clone>(items: impl IntoIterator<Item = T>) -> Vec<T> {
    let mut seen = BTreeSet::new();
    items.into_iter().filter(|i| seen.insert(i.clone())).collect()
}

/// "1:05", "1:02:03": a time of the recording.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "never negative, far below 2^53")]
pub fn clock(seconds: f64) -> String {
    let s = seconds.max(0.0).round() as u64;
    let (h, m, s) = (s / 3600, s / 60 % 60, s % 60);
    if h > 0 { format!("{h}:{m:02}:{s:02}") } else { format!("{m}:{s:02}") }
}
