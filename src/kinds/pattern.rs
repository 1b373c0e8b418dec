//! The little language in which kinds say how something is said. Patterns run on items, not on joined text.
//!
//! ```text
//! irrigat*|rinse|flush     one of these words; a star stands for any ending; `did_not` is two words
//! {irrigants}              a term of the vocabulary; {results=lost|gone} only these values
//! {mm}                     a number in a slot (see `words::slot::Slot`)
//! word?   {mm}?            may be missing
//! …                        up to four plain words (no number, no term, no full stop)
//! ***                      up to eight items of any sort but numbers and full stops
//! <cone   <{size}          must stand before, but is no part of what is heard
//! >points                  must stand behind, likewise
//! ^   $                    the sentence's start or end, fillers aside
//! ```

use std::{collections::HashMap, sync::Arc};

use crate::words::{
    line::{Line, What},
    slot::{Reading, Slot},
    vocabulary::Tag,
};

/// A compiled pattern.
#[derive(Debug, Clone)]
pub struct Pattern {
    elements: Vec<Element>,
    /// Something must stand beside it.
    beside: bool,
    pub text: String,
}

#[derive(Debug, Clone)]
struct Element {
    what: Want,
    optional: bool,
    /// Must be there, but belongs to something else.
    beside: bool,
}

#[derive(Debug, Clone)]
enum Want {
    /// Alternatives, each a row of words.
    Words(Vec<Vec<String>>),
    Term {
        vocabulary: String,
        values: Vec<String>,
    },
    Slot(Slot),
    Gap,
    /// Anything but numbers and stops.
    Span,
    /// The sentence's start (true) or end.
    Edge(bool),
}

/// So many plain words a gap passes over.
const GAP: usize = 4;

/// What a pattern found.
#[derive(Debug, Clone, Default)]
pub struct Match {
    /// First item, after what only had to stand before.
    pub start: usize,
    /// Item after the last.
    pub end: usize,
    /// With what stands beside.
    pub reach: std::ops::Range<usize>,
    /// Readings of the slots, in order.
    pub readings: Vec<(Slot, Reading)>,
    /// Terms, in order.
    pub terms: Vec<Tag>,
    /// Number of elements that matched words, terms or slots: longer is more certain.
    pub weight: usize,
}

impl Pattern {
    pub fn parse(text: &str) -> Result<Self, String> {
        let elements = text.split_whitespace().map(element).collect::<Result<Vec<_>, _>>()?;
        if elements.iter().all(|e| e.optional || matches!(e.what, Want::Gap | Want::Span | Want::Edge(_))) {
            return Err(format!("pattern `{text}` may match nothing"));
        }
        let beside = elements.iter().any(|e| e.beside);
        Ok(Self { elements, beside, text: text.trim().to_owned() })
    }

    /// The pattern at item `i`.
    pub fn at(&self, line: &Line, i: usize) -> Option<Match> {
        // What stands beside makes the meaning surer.
        let path = Path { own: Own::default(), weight: 2 * usize::from(self.beside), last: None };
        walk(&self.elements, line, i, path).map(|m| Match { reach: i..m.reach.end, ..m })
    }

    /// What the line must hold somewhere for the pattern to match, for the index.
    fn needs(&self) -> Vec<Need> {
        let first = |a: &Vec<String>| a.first().cloned().filter(|w| w != "*");
        let need = |e: &Element| match &e.what {
            Want::Words(alternatives) => {
                alternatives.iter().map(first).collect::<Option<Vec<_>>>().map(Need::Words)
            }
            Want::Term { vocabulary, .. } => Some(Need::Vocabulary(vocabulary.clone())),
            Want::Slot(Slot::Lot | Slot::Tooth) | Want::Gap | Want::Span | Want::Edge(_) => None,
            Want::Slot(_) => Some(Need::Number),
        };
        self.elements.iter().filter(|e| !e.optional).filter_map(need).collect()
    }

    /// What the pattern can start with, for the index.
    fn starts(&self) -> Vec<Start> {
        let mut out = Vec::new();
        for e in &self.elements {
            match &e.what {
                Want::Words(alternatives) => {
                    out.extend(alternatives.iter().filter_map(|a| a.first()).map(
                        |w| match w.strip_suffix('*') {
                            Some(stem) => Start::Stem(stem.to_owned()),
                            None => Start::Word(w.clone()),
                        },
                    ));
                }
                Want::Term { vocabulary, .. } => out.push(Start::Vocabulary(vocabulary.clone())),
                Want::Slot(Slot::Lot) | Want::Gap | Want::Span => out.push(Start::Any),
                Want::Edge(_) => continue,
                Want::Slot(_) => out.push(Start::Number),
            }
            if !e.optional {
                break;
            }
        }
        out
    }
}

/// Something without which a pattern cannot match, wherever it stands in the line.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Need {
    /// A token that is one of these, or begins so where a star stands.
    Words(Vec<String>),
    Vocabulary(String),
    Number,
}

/// What a pattern can start with.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Start {
    Word(String),
    Stem(String),
    Vocabulary(String),
    Number,
    Any,
}

fn element(text: &str) -> Result<Element, String> {
    if let "^" | "$" = text {
        return Ok(Element { what: Want::Edge(text == "^"), optional: false, beside: true });
    }
    let (text, beside) = match text.strip_prefix('<').or_else(|| text.strip_prefix('>')) {
        Some(rest) if !rest.is_empty() => (rest, true),
        _ => (text, false),
    };
    if text == "***" {
        return Ok(Element { what: Want::Span, optional: false, beside });
    }
    if text == "…" {
        return Ok(Element { what: Want::Gap, optional: false, beside });
    }
    let (text, optional) = text.strip_suffix('?').map_or((text, false), |t| (t, true));
    let what = if let Some(inner) = text.strip_prefix('{') {
        let inner = inner.strip_suffix('}').ok_or(format!("`{text}` has no closing brace"))?;
        match (Slot::named(inner), inner.split_once('=')) {
            (Some(slot), _) => Want::Slot(slot),
            (None, Some((vocabulary, values))) => Want::Term {
                vocabulary: vocabulary.to_owned(),
                values: values.split('|').map(str::to_owned).collect(),
            },
            (None, None) => Want::Term { vocabulary: inner.to_owned(), values: vec![] },
        }
    } else {
        Want::Words(
            text.split('|')
                .map(|alternative| {
                    alternative.to_lowercase().split('_').map(crate::words::spelling::one).collect()
                })
                .collect(),
        )
    };
    Ok(Element { what, optional, beside })
}

/// Where the pattern's own part starts and ends, without what stands beside it.
#[derive(Debug, Clone, Copy, Default)]
struct Own {
    start: Option<usize>,
    end: Option<usize>,
}

/// What was found on the way to an element: the way back to it is on the stack, so that a way that leads nowhere costs
/// nothing.
#[derive(Clone, Copy)]
struct Path<'a> {
    own: Own,
    weight: usize,
    last: Option<&'a Found<'a>>,
}

#[derive(Clone, Copy)]
struct Found<'a> {
    what: Said<'a>,
    before: Option<&'a Found<'a>>,
}

#[derive(Clone, Copy)]
enum Said<'a> {
    Reading(Slot, &'a Reading),
    Term(&'a Tag),
}

impl Path<'_> {
    /// All was found, up to item `i`.
    fn arrived(self, i: usize) -> Match {
        let (mut readings, mut terms) = (vec![], vec![]);
        let mut last = self.last;
        while let Some(found) = last {
            match found.what {
                Said::Reading(slot, reading) => readings.push((slot, reading.clone())),
                Said::Term(tag) => terms.push(tag.clone()),
            }
            last = found.before;
        }
        readings.reverse();
        terms.reverse();
        let (start, end) = (self.own.start.unwrap_or(i), self.own.end.unwrap_or(i));
        Match { start, end, reach: i..i, readings, terms, weight: self.weight }
    }
}

fn walk(elements: &[Element], line: &Line, i: usize, path: Path<'_>) -> Option<Match> {
    let Some((e, rest)) = elements.split_first() else { return Some(path.arrived(i)) };
    let mut here = path;
    match (e.beside, here.own.start) {
        (false, None) => here.own.start = Some(i),
        (true, Some(_)) if here.own.end.is_none() => here.own.end = Some(i),
        _ => {}
    }
    let surer = |by: usize| Path { weight: here.weight + if e.beside { 0 } else { by }, ..here };
    let found = match &e.what {
        Want::Words(alternatives) => {
            // Most often one of them is there.
            let (mut first, mut more) = (None, vec![]);
            for found in alternatives.iter().filter_map(|a| words_at(a, line, i)) {
                match first {
                    None => first = Some(found),
                    Some(_) => more.push(found),
                }
            }
            let on = |(end, sure): (usize, usize)| walk(rest, line, end, surer(sure));
            if more.is_empty() {
                first.and_then(on)
            } else {
                more.extend(first);
                more.sort_unstable_by(|a, b| b.cmp(a));
                more.into_iter().find_map(on)
            }
        }
        Want::Term { vocabulary, values } => line
            .tag(i, vocabulary)
            .filter(|tag| values.is_empty() || values.iter().any(|v| **v == *tag.value))
            .and_then(|tag| {
                let found = Found { what: Said::Term(tag), before: path.last };
                let last = if e.beside { path.last } else { Some(&found) };
                walk(rest, line, i + 1, Path { last, ..surer(1) })
            }),
        Want::Slot(slot) => line.reading(*slot, i).and_then(|reading| {
            let found = Found { what: Said::Reading(*slot, reading), before: path.last };
            let last = if e.beside { path.last } else { Some(&found) };
            let sure = 1 + usize::from(reading.has_unit) + usize::from(reading.taper.is_some());
            // Only a few numbers are a shaft's length: where one fits, it is more likely one.
            let sure = sure + usize::from(*slot == Slot::Shaft);
            walk(rest, line, reading.end, Path { last, ..surer(sure) })
        }),
        Want::Span => {
            for skip in 0..=8 {
                let found = walk(rest, line, i + skip, here);
                if found.is_some() {
                    return found;
                }
                if line.atom(i + skip).is_some() || line.sentence_end(i + skip) <= i + skip {
                    return None;
                }
            }
            return None;
        }
        Want::Edge(start) => {
            let there = if *start { line.opens_sentence(i) } else { line.closes_sentence(i) };
            return if there { walk(rest, line, i, here) } else { None };
        }
        Want::Gap => {
            for skip in 0..=GAP {
                let found = walk(rest, line, i + skip, here);
                if found.is_some() {
                    return found;
                }
                if !is_plain(line, i + skip) {
                    return None;
                }
            }
            return None;
        }
    };
    if found.is_none() && e.optional { walk(rest, line, i, path) } else { found }
}

/// A word that a gap may pass over.
fn is_plain(line: &Line, i: usize) -> bool {
    line.items.get(i).is_some_and(|item| match &item.what {
        What::Word => true,
        What::Mark => line.is_mark(i, ",") || line.is_mark(i, ":"),
        What::Term(tags, _) => tags.iter().all(|t| match &*t.vocabulary {
            "fillers" | "canals" => true,
            "cues" => !matches!(&*t.value, "repair" | "negation" | "no" | "condition"),
            _ => false,
        }),
        What::Number(_) => false,
    })
}

/// Words on tokens; they start and end with an item, or lie inside a term of several words ("film" in "length film").
/// Gives the end, and 1 where they are words of their own.
fn words_at(words: &[String], line: &Line, i: usize) -> Option<(usize, usize)> {
    aligned(words, line, i).map(|end| (end, 1)).or_else(|| inside(words, line, i).map(|end| (end, 0)))
}

/// Terms that are taken whole: what stands in them is not what it says.
const WHOLE: [&str; 6] = ["places", "cues", "controls", "fillers", "canals", "references"];

fn inside(words: &[String], line: &Line, i: usize) -> Option<usize> {
    let item = line.items.get(i)?;
    let What::Term(tags, _) = &item.what else { return None };
    if item.end < item.first + 2 || tags.iter().any(|t| WHOLE.contains(&&*t.vocabulary)) {
        return None;
    }
    let tokens = line.tokens.get(item.first..item.end)?;
    let same = |(w, t): (&String, &crate::words::token::Token)| match w.strip_suffix('*') {
        Some(stem) => t.text.starts_with(stem),
        None => t.text == *w,
    };
    tokens.windows(words.len()).any(|part| words.iter().zip(part).all(same)).then_some(i + 1)
}

fn aligned(words: &[String], line: &Line, i: usize) -> Option<usize> {
    let start = line.items.get(i)?.first;
    let mut token = start;
    for w in words {
        if token > start && line.tokens.get(token).is_some_and(|t| t.is_mark("-") && t.joined) {
            token += 1;
        }
        let text = &line.tokens.get(token)?.text;
        // Most differ in their first letter.
        if w.as_bytes().first() != text.as_bytes().first() && !w.starts_with('*') {
            return None;
        }
        let same = match w.strip_suffix('*') {
            Some(stem) => text.starts_with(stem),
            None => text == w,
        };
        if !same {
            return None;
        }
        token += 1;
    }
    let mut item = i;
    while line.items.get(item).is_some_and(|it| it.first < token) {
        item += 1;
    }
    let ends_here = line.items.get(item).map_or(line.tokens.len(), |it| it.first) == token;
    ends_here.then_some(item)
}

/// Patterns by what they can start with, so that a line asks only those that may match.
#[derive(Debug, Clone)]
pub struct Index<T> {
    all: Vec<T>,
    words: HashMap<String, Vec<Listed>>,
    vocabularies: HashMap<String, Vec<Listed>>,
    numbers: Vec<Listed>,
    any: Vec<Listed>,
    /// By their first letter.
    stems: HashMap<char, Vec<(String, Listed)>>,
    /// For each pattern which of the needs it has.
    needs: Vec<Vec<usize>>,
    all_needs: HashMap<Need, usize>,
    /// Words of needs, beginnings of words by their first letter, vocabularies, and the number.
    needed: HashMap<String, Vec<usize>>,
    needed_stems: HashMap<char, Vec<(String, usize)>>,
    vocabulary_needs: HashMap<Arc<str>, usize>,
    number_need: Option<usize>,
}

/// A pattern in a list, and the need that is most likely to rule it out.
#[derive(Debug, Clone, Copy)]
struct Listed {
    at: usize,
    need: Option<usize>,
}

/// What `Index::candidates` found, and which it has found already.
#[derive(Debug)]
pub struct Candidates<T> {
    pub ids: Vec<T>,
    /// For each pattern the last asking that found it, counted from 1: lines share them.
    found_at: Vec<usize>,
    asked: usize,
    /// For each need whether the line holds it.
    held: Vec<bool>,
}

impl<T> Default for Candidates<T> {
    fn default() -> Self {
        Self { ids: vec![], found_at: vec![], asked: 0, held: vec![] }
    }
}

impl<T> Default for Index<T> {
    fn default() -> Self {
        let (words, vocabularies, stems) = (HashMap::new(), HashMap::new(), HashMap::new());
        let (needs, all_needs, needed) = (vec![], HashMap::new(), HashMap::new());
        Self {
            all: vec![],
            words,
            vocabularies,
            numbers: vec![],
            any: vec![],
            stems,
            needs,
            all_needs,
            needed,
            needed_stems: HashMap::new(),
            vocabulary_needs: HashMap::new(),
            number_need: None,
        }
    }
}

impl<T: Copy> Index<T> {
    pub fn add(&mut self, pattern: &Pattern, id: T) {
        let at = self.all.len();
        self.all.push(id);
        let mut needs = pattern.needs();
        // What it starts with is there where it is asked; words are rarer than terms and numbers.
        let last = needs.len().min(1);
        needs.rotate_left(last);
        let others = needs.len() - last;
        needs.get_mut(..others).unwrap_or_default().sort_by_key(|need| !matches!(need, Need::Words(_)));
        let needs: Vec<usize> = needs.into_iter().map(|need| self.need(need)).collect();
        let at = Listed { at, need: needs.first().copied() };
        self.needs.push(needs);
        for start in pattern.starts() {
            match start {
                Start::Word(w) => self.words.entry(w).or_default().push(at),
                Start::Vocabulary(v) => self.vocabularies.entry(v).or_default().push(at),
                Start::Number => self.numbers.push(at),
                Start::Any => self.any.push(at),
                Start::Stem(stem) => match stem.chars().next() {
                    Some(first) => self.stems.entry(first).or_default().push((stem, at)),
                    None => self.any.push(at),
                },
            }
        }
    }

    fn need(&mut self, need: Need) -> usize {
        if let Some(at) = self.all_needs.get(&need) {
            return *at;
        }
        let at = self.all_needs.len();
        match &need {
            Need::Words(words) => {
                for word in words {
                    match word.strip_suffix('*').and_then(|stem| Some((stem, stem.chars().next()?))) {
                        Some((stem, c)) => {
                            self.needed_stems.entry(c).or_default().push((stem.to_owned(), at));
                        }
                        None => self.needed.entry(word.clone()).or_default().push(at),
                    }
                }
            }
            Need::Vocabulary(vocabulary) => {
                self.vocabulary_needs.insert(vocabulary.as_str().into(), at);
            }
            Need::Number => self.number_need = Some(at),
        }
        self.all_needs.insert(need, at);
        at
    }

    /// Finds out which patterns a line can match at all.
    pub fn look_over(&self, line: &Line, out: &mut Candidates<T>) {
        let held = &mut out.held;
        held.clear();
        held.resize(self.all_needs.len(), false);
        let mut hold = |at: usize| {
            if let Some(h) = held.get_mut(at) {
                *h = true;
            }
        };
        for token in &line.tokens {
            let text = token.text.as_str();
            self.needed.get(text).into_iter().flatten().copied().for_each(&mut hold);
            for (stem, at) in
                text.chars().next().and_then(|c| self.needed_stems.get(&c)).into_iter().flatten()
            {
                if text.starts_with(stem.as_str()) {
                    hold(*at);
                }
            }
        }
        let mut vocabularies: Vec<&Arc<str>> = vec![];
        let mut number = false;
        for item in &line.items {
            match &item.what {
                What::Number(_) => number = true,
                What::Term(tags, _) => {
                    for tag in tags {
                        if !vocabularies.contains(&&tag.vocabulary) {
                            vocabularies.push(&tag.vocabulary);
                        }
                    }
                }
                _ => {}
            }
        }
        let others = vocabularies.into_iter().filter_map(|v| self.vocabulary_needs.get(v)).copied();
        others.chain(self.number_need.filter(|_| number)).for_each(hold);
    }

    /// Ids of the patterns that may match at item `i`, each once.
    pub fn candidates(&self, line: &Line, i: usize, out: &mut Candidates<T>) {
        out.ids.clear();
        out.found_at.resize(self.all.len(), 0);
        out.asked += 1;
        let (held, asked) = (&out.held, out.asked);
        let mut take = |Listed { at, need }: Listed| {
            if need.is_some_and(|n| held.get(n) != Some(&true)) {
                return;
            }
            if let (Some(seen), Some(id), Some(needs)) =
                (out.found_at.get_mut(at), self.all.get(at), self.needs.get(at))
                && std::mem::replace(seen, asked) != asked
                && needs.iter().all(|n| held.get(*n) == Some(&true))
            {
                out.ids.push(*id);
            }
        };
        let word = |text: &str| self.words.get(text).into_iter().flatten().copied();
        let text = line.text(i);
        self.any.iter().copied().for_each(&mut take);
        word(text).for_each(&mut take);
        match line.items.get(i).map(|item| (&item.what, item.first + 1..item.end)) {
            Some((What::Number(_), _)) => self.numbers.iter().copied().for_each(&mut take),
            Some((What::Term(tags, _), rest)) => {
                for t in line.tokens.get(rest).unwrap_or_default() {
                    word(&t.text).for_each(&mut take);
                }
                for t in tags {
                    self.vocabularies.get(&*t.vocabulary).into_iter().flatten().copied().for_each(&mut take);
                }
            }
            _ => {}
        }
        for (stem, at) in text.chars().next().and_then(|c| self.stems.get(&c)).into_iter().flatten() {
            if text.starts_with(stem.as_str()) {
                take(*at);
            }
        }
    }
}
