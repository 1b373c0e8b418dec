//! Tokens → typed entries with status, tooth, canal and doubts. The engine: no trade word stands in its code.
//!
//! Comes in: breaths. Goes out: entries, and every stretch that became none. Pure and total.

mod amend;
mod beside;
mod breath;
mod canals;
mod clauses;
mod completes;
mod controls;
mod doubts;
mod entry;
pub mod fill;
mod goes_on;
pub mod hits;
mod in_order;
mod lists;
mod locate;
mod own;
mod parted;
mod past;
mod retracts;
pub mod segment;
pub mod sentence;
mod session;
pub mod status;
mod steps;
mod tears;
mod teeth;
mod texts;
pub mod tooth;
pub mod why;

use std::sync::Arc;

use crate::{
    kinds::{self, Kinds, pattern::Index},
    listen::heard::Breath,
    log::{Entry, Unplaced},
    settings::{Instrument, Phrase},
    words::{
        line::Line,
        vocabulary::{self, Vocabulary},
    },
};

pub use tooth::Notation;

/// Turns breaths into entries.
#[derive(Debug, Clone)]
pub struct Extractor {
    pub vocabulary: Arc<Vocabulary>,
    pub kinds: Arc<Kinds>,
    pub(crate) index: Index<hits::PatternId>,
    pub settings: Settings,
    own: Vec<Instrument>,
    phrases: Vec<Phrase>,
    controls: Vec<(String, &'static str)>,
}

/// What a practice may choose.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    pub notation: Notation,
    /// A lecture or demonstration: statements of practice are rules, not deeds. `None`: found out from the words.
    pub lecture: Option<bool>,
    /// Heard words with a probability of being wrong from here on put a doubt on their number.
    pub doubt_from: f32,
}

impl Default for Settings {
    fn default() -> Self {
        Self { notation: Notation::default(), lecture: None, doubt_from: 0.2 }
    }
}

/// What was found in a recording.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Extracted {
    pub entries: Vec<Entry>,
    pub unplaced: Vec<Unplaced>,
    /// Teeth in the order they were named.
    pub teeth: Vec<String>,
    /// Whether it was heard as a lecture or a demonstration.
    pub lecture: bool,
    /// For each entry of the same place: why it is as it is.
    pub reasons: Vec<why::Why>,
}

impl Extractor {
    pub fn new(settings: Settings) -> Self {
        Self::with(vocabulary::BUILT_IN.clone(), kinds::BUILT_IN.clone(), settings)
    }

    pub fn with(vocabulary: Arc<Vocabulary>, kinds: Arc<Kinds>, settings: Settings) -> Self {
        let index = hits::index(&kinds);
        Self { vocabulary, kinds, index, settings, own: vec![], phrases: vec![], controls: vec![] }
    }

    /// With the instruments and phrases of a practice.
    pub fn for_practice(settings: Settings, instruments: &[Instrument], phrases: &[Phrase]) -> Self {
        let vocabulary = own::vocabulary(&vocabulary::BUILT_IN, instruments);
        let kinds = own::kinds(&kinds::BUILT_IN, phrases);
        let (own, phrases) = (instruments.to_vec(), phrases.to_vec());
        Self { own, phrases, ..Self::with(vocabulary, kinds, settings) }
    }

    /// With the practice's own words for spoken controls: what is said, and what it asks for.
    pub fn with_controls(self, controls: Vec<(String, &'static str)>) -> Self {
        if controls.is_empty() {
            return self;
        }
        Self { vocabulary: own::controls(&self.vocabulary, &controls), controls, ..self }
    }

    /// What the practice added, as text: it belongs to the rules that a log was made with. Empty where it added nothing.
    pub fn additions(&self) -> String {
        if self.own.is_empty() && self.phrases.is_empty() && self.controls.is_empty() {
            return String::new();
        }
        // Where only the older additions are there, the text is as it was before there were others.
        let text = serde_json::to_string(&(&self.own, &self.phrases)).unwrap_or_default();
        if self.controls.is_empty() {
            return text;
        }
        text + &serde_json::to_string(&self.controls).unwrap_or_default()
    }

    /// All entries of a recording.
    pub fn extract(&self, breaths: &[Breath]) -> Extracted {
        let lines: Vec<Line> = breaths.iter().map(|b| Line::new(b, &self.vocabulary)).collect();
        let lecture = self.settings.lecture.unwrap_or_else(|| sounds_like_a_lecture(&lines));
        let mut session = session::Session::new(self, lecture);
        for (n, (breath, line)) in breaths.iter().zip(lines).enumerate() {
            session.take(n, breath, line);
        }
        session.finish()
    }

    /// The practice's own instruments: name → the instrument of the contract that each works like.
    pub fn likenesses(&self) -> impl Iterator<Item = (String, String)> {
        self.own.iter().filter_map(|own| Some((own.name.clone(), own.like.clone()?)))
    }
}

/// Teachers speak in rules and to an audience: one breath in nine that does, or twice to an audience, makes a lecture.
fn sounds_like_a_lecture(lines: &[Line]) -> bool {
    let any = |line: &Line, class| sentence::find_cue(line, 0..line.items.len(), class).is_some();
    let rules = lines.iter().filter(|l| status::is_general(l, 0..l.items.len()).is_some()).count();
    let audience = lines.iter().filter(|l| any(l, "audience")).count();
    rules >= 3 && (rules + audience) * 9 >= lines.len() || audience >= 2
}
