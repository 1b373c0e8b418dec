//! A breath as the entries room reads it: a row of items (terms, numbers, plain words, marks), each with its words.

use std::cell::OnceCell;

use super::{
    homophone,
    number::{self, Atom, Form, Hints},
    slot::{self, Reading, Slot},
    token::{self, Shape, Token},
    vocabulary::{Found, Tag, Vocabulary},
};
use crate::listen::heard::Breath;

/// One item of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// Token range.
    pub first: usize,
    pub end: usize,
    pub what: What,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// A word that is no term.
    Word,
    /// A term; what it may stand for, and whether it was found by its sound only.
    Term(Vec<Tag>, bool),
    Number(Atom),
    Mark,
}

/// Tokens and items of a breath.
#[derive(Debug, Clone, Default)]
pub struct Line {
    pub tokens: Vec<Token>,
    pub items: Vec<Item>,
    /// One for each item and one for the end of the line.
    around: Vec<Around>,
    /// For each item: what the slots read there, once they were asked.
    readings: Vec<OnceCell<Box<Readings>>>,
}

/// One for each slot.
type Readings = [OnceCell<Option<Box<Reading>>>; slot::COUNT];

/// What stands around an item, found once: a long breath is asked for it at every item.
#[derive(Debug, Clone, Copy, Default)]
struct Around {
    /// First item of the sentence, and the item after it: its full stop, or the end.
    start: usize,
    end: usize,
    /// Only fillers and marks stand between the sentence's start or end and the item.
    opens: bool,
    closes: bool,
    /// The next item from here on that is a comma, a number; the number of items where there is none.
    comma: usize,
    number: usize,
    /// The item behind the last comma before this one; 0 where there is none.
    clause: usize,
}

/// "twenty fi, twenty five", "hy, hydroxide": a word that was broken off and begun anew is no more than a filler. What was
/// heard stays as it is.
fn quiet_false_starts(tokens: &mut [Token]) {
    const FILLER: &str = "um";
    let word = |k: usize, tokens: &[Token]| {
        tokens.get(k).filter(|t| t.shape == Shape::Word).map(|t| t.text.clone()).unwrap_or_default()
    };
    for comma in 1..tokens.len() {
        if !tokens.get(comma).is_some_and(|t| t.is_mark(",")) {
            continue;
        }
        let broken = word(comma - 1, tokens);
        let begins = |whole: &str| {
            (2..=5).contains(&broken.chars().count())
                && whole.len() > broken.len()
                && whole.starts_with(&broken)
        };
        let known = number::is_number_word(&broken) || KNOWN.contains(&broken.as_str());
        if known || broken.is_empty() {
            continue;
        }
        let same = comma > 1
            && !word(comma - 2, tokens).is_empty()
            && word(comma - 2, tokens) == word(comma + 1, tokens);
        let from = if begins(&word(comma + 1, tokens)) {
            comma - 1
        } else if same && begins(&word(comma + 2, tokens)) {
            comma - 2
        } else {
            continue;
        };
        for token in tokens.get_mut(from..comma).unwrap_or_default() {
            FILLER.clone_into(&mut token.text);
        }
    }
}

/// Short words that may stand before a comma and a longer word that begins like them.
const KNOWN: &[&str] = &["mb", "ml", "db", "dl", "mm", "in", "on", "to", "no", "so", "it", "and"];

impl Line {
    pub fn new(breath: &Breath, vocabulary: &Vocabulary) -> Self {
        let mut tokens = token::tokens(breath);
        quiet_false_starts(&mut tokens);
        let terms = terms(&tokens, vocabulary);
        let mut items = Vec::with_capacity(tokens.len());
        let mut i = 0;
        while i < tokens.len() {
            let units =
                |k: usize| matches!(terms.get(k), Some(Some((_, tags, _))) if tags.iter().any(is_unit));
            if let Some(atom) = homophone::atom(&tokens, i, &units) {
                let end = atom.end;
                items.push(Item { first: i, end, what: What::Number(atom) });
                i = end;
                continue;
            }
            if let Some(Some((end, tags, by_sound))) = terms.get(i) {
                items.push(Item { first: i, end: *end, what: What::Term(tags.clone(), *by_sound) });
                i = *end;
                continue;
            }
            let hints = Hints {
                is_unit: &|k| matches!(terms.get(k), Some(Some((_, tags, _))) if tags.iter().any(is_unit)),
                is_taken: &|k| matches!(terms.get(k), Some(Some((_, tags, _))) if !tags.iter().all(is_small)),
            };
            let atom = number::atom(&tokens, i, &hints).filter(|a| !interjection(&tokens, a));
            let (end, what) = match atom {
                Some(atom) => (atom.end.max(i + 1), What::Number(atom)),
                None if tokens.get(i).is_some_and(|t| t.shape == Shape::Mark) => (i + 1, What::Mark),
                None => (i + 1, What::Word),
            };
            items.push(Item { first: i, end, what });
            i = end;
        }
        let readings = vec![OnceCell::new(); items.len()];
        let mut line = Self { tokens, items, around: vec![], readings };
        line.canals_not_millilitres();
        line.hide_the_clock();
        line.look_around();
        line
    }

    /// The words of a range of items, in lower case.
    pub fn spoken(&self, first: usize, end: usize) -> String {
        let from = self.items.get(first).map_or(0, |i| i.first);
        let to = self.items.get(end.saturating_sub(1)).map_or(from, |i| i.end);
        let tokens = self.tokens.get(from..to).unwrap_or_default();
        tokens.iter().map(|t| t.text.as_str()).collect::<Vec<_>>().join(" ")
    }

    /// Items whose numbers were understood elsewhere: nothing reads them again.
    pub fn hide(&mut self, ranges: impl IntoIterator<Item = std::ops::Range<usize>>) {
        for range in ranges {
            for item in self.items.get_mut(range).into_iter().flatten().filter(|i| i.what != What::Mark) {
                item.what = What::Word;
            }
        }
        self.readings = vec![OnceCell::new(); self.items.len()];
        self.look_around();
    }

    fn look_around(&mut self) {
        let n = self.items.len();
        let mut around = vec![Around::default(); n + 1];
        let mut before = Around { opens: true, ..Around::default() };
        for (k, a) in around.iter_mut().enumerate() {
            Around { start: a.start, opens: a.opens, clause: a.clause, .. } = before;
            if self.ends_sentence(k) {
                (before.start, before.opens) = (k + 1, true);
            } else {
                before.opens &= self.is_padding(k) || self.is_mark(k, "-");
            }
            if self.is_mark(k, ",") {
                before.clause = k + 1;
            }
        }
        let mut behind = Around { end: n, closes: true, comma: n, number: n, ..Around::default() };
        for (k, a) in around.iter_mut().enumerate().rev() {
            if self.ends_sentence(k) {
                (behind.end, behind.closes) = (k, true);
            } else if k < n {
                behind.closes &= self.is_padding(k);
            }
            if self.is_mark(k, ",") {
                behind.comma = k;
            }
            if self.atom(k).is_some() {
                behind.number = k;
            }
            Around { end: a.end, closes: a.closes, comma: a.comma, number: a.number, .. } = behind;
        }
        self.around = around;
    }

    fn around(&self, item: usize) -> Around {
        self.around.get(item).or(self.around.last()).copied().unwrap_or_default()
    }

    /// What a slot reads at an item; many patterns ask for the same.
    pub fn reading(&self, slot: Slot, item: usize) -> Option<&Reading> {
        if self.atom(item).is_none() && !slot.reads_words() {
            return None;
        }
        let at = self.readings.get(item)?.get_or_init(Box::default);
        at.get(slot as usize)?.get_or_init(|| slot::read(slot, self, item).map(Box::new)).as_deref()
    }

    /// "it is twenty to two", "till ten past four", "at half past three": no sizes and no lengths.
    fn hide_the_clock(&mut self) {
        const BEFORE: &[&str] = &[
            "is", "it's", "was", "at", "since", "till", "until", "by", "before", "after", "from", "nearly",
            "almost", "about", "gone", "only", "already", "around",
        ];
        let minutes = |i: usize| {
            let n = self.atom(i).and_then(|a| a.value.to_whole());
            n.is_some_and(|n| [5, 10, 20, 25].contains(&n))
                || self.is_word(i, "half")
                || self.is_word(i, "quarter")
        };
        let hour = |i: usize| {
            let n = self.atom(i).and_then(|a| a.value.to_whole());
            let measures = ["short", "shy", "beyond", "past", "of", "off", "from", "back"];
            let ends =
                self.atom(i + 1).is_none() && self.unit(i + 1).is_none() && !self.is_one_of(i + 1, &measures);
            n.is_some_and(|n| (1..=12).contains(&n)) && ends
        };
        let of_clock = |i: usize| {
            let told = i > 0 && self.is_one_of(i - 1, BEFORE);
            let past = self.is_word(i + 1, "past");
            let to = self.is_word(i + 1, "to");
            // "stuck at ten to five" would be a depth that no file has.
            told && (to || past) && minutes(i) && hour(i + 2)
        };
        // "9:40"
        let joined =
            |i: usize| self.items.get(i).and_then(|it| self.tokens.get(it.first)).is_some_and(|t| t.joined);
        let printed = |i: usize, most: i64| {
            let atom = self.atom(i).filter(|a| matches!(a.form, Form::Printed { .. }));
            atom.and_then(|a| a.value.to_whole()).is_some_and(|n| (0..most).contains(&n))
        };
        let two = |i: usize| self.atom(i).is_some_and(|a| matches!(a.form, Form::Printed { digits: 2, .. }));
        let digital = |i: usize| {
            printed(i, 24)
                && self.is_mark(i + 1, ":")
                && joined(i + 1)
                && joined(i + 2)
                && printed(i + 2, 60)
                && two(i + 2)
        };
        let found: Vec<usize> = (0..self.items.len()).filter(|&i| of_clock(i) || digital(i)).collect();
        if !found.is_empty() {
            self.hide(found.into_iter().map(|i| i..i + 3));
        }
    }

    /// "m b eighteen point five m l eighteen": in a list of canals spelled letters are a canal, no millilitres.
    fn canals_not_millilitres(&mut self) {
        let fluid = |i: usize| self.term(i, "irrigants").is_some() || self.term(i, "anaesthetics").is_some();
        let canal = |i: usize| self.unit(i).is_none() && self.term(i, "canals").is_some();
        let count = self.items.len();
        if (0..count).any(fluid) || !(0..count).any(canal) {
            return;
        }
        let spelled = |i: usize| {
            self.items.get(i).is_some_and(|it| it.end > it.first + 1)
                && self.unit(i).is_some()
                && self.term(i, "canals").is_some()
                && self.atom(i + 1).is_some()
        };
        let of_list: Vec<usize> = (0..count).filter(|&i| spelled(i)).collect();
        for i in of_list {
            if let Some(Item { what: What::Term(tags, _), .. }) = self.items.get_mut(i) {
                tags.retain(|t| !is_unit(t));
            }
        }
    }

    /// The text of a one-token item, or of its first token.
    /// Is this word one of those that the item is made of ("length" in "working length")?
    pub fn holds(&self, item: usize, word: &str) -> bool {
        self.tokens_of(item).iter().any(|t| t.text == word)
    }

    /// Is one of some words among the words of an item?
    pub fn holds_one_of(&self, item: usize, words: &[&str]) -> bool {
        words.iter().any(|word| self.holds(item, word))
    }

    /// Is the item these words ("going to")?
    pub fn is_phrase(&self, item: usize, words: &str) -> bool {
        self.tokens_of(item).iter().map(|t| t.text.as_str()).eq(words.split(' '))
    }

    fn tokens_of(&self, item: usize) -> &[Token] {
        self.items.get(item).and_then(|i| self.tokens.get(i.first..i.end)).unwrap_or_default()
    }

    pub fn text(&self, item: usize) -> &str {
        self.items.get(item).and_then(|i| self.tokens.get(i.first)).map_or("", |t| t.text.as_str())
    }

    pub fn atom(&self, item: usize) -> Option<&Atom> {
        match &self.items.get(item)?.what {
            What::Number(atom) => Some(atom),
            _ => None,
        }
    }

    /// What the item stands for in a vocabulary.
    pub fn term(&self, item: usize, vocabulary: &str) -> Option<&str> {
        self.tag(item, vocabulary).map(|t| &*t.value)
    }

    /// Likewise, with the vocabulary.
    pub fn tag(&self, item: usize, vocabulary: &str) -> Option<&Tag> {
        match &self.items.get(item)?.what {
            What::Term(tags, _) => tags.iter().find(|t| &*t.vocabulary == vocabulary),
            _ => None,
        }
    }

    pub fn unit(&self, item: usize) -> Option<&str> {
        self.term(item, "units")
    }

    pub fn is_mark(&self, item: usize, mark: &str) -> bool {
        matches!(self.items.get(item), Some(i) if i.what == What::Mark) && self.text(item) == mark
    }

    pub fn is_word(&self, item: usize, word: &str) -> bool {
        matches!(self.items.get(item), Some(i) if i.end == i.first + 1 && !matches!(i.what, What::Mark))
            && self.text(item) == word
    }

    /// Is an item one of some words?
    pub fn is_one_of(&self, item: usize, words: &[&str]) -> bool {
        words.iter().any(|word| self.is_word(item, word))
    }

    /// "not 25", "not a 25": is a number said to be another?
    pub fn is_denied(&self, item: usize) -> bool {
        let first = item - usize::from(item > 0 && self.is_one_of(item - 1, &["a", "an", "the"]));
        first > 0 && self.is_word(first - 1, "not") && self.atom(item).is_some()
    }

    /// Is an item a mark that ends a sentence?
    pub fn ends_sentence(&self, item: usize) -> bool {
        self.items.get(item).and_then(|i| self.tokens.get(i.first)).is_some_and(Token::ends_sentence)
    }

    /// First item of the sentence that an item stands in.
    pub fn sentence_start(&self, item: usize) -> usize {
        self.around(item).start
    }

    /// The item after the sentence that an item stands in: its full stop, or the end.
    pub fn sentence_end(&self, item: usize) -> usize {
        self.around(item).end
    }

    /// Only fillers and marks stand between the sentence's start and an item.
    pub fn opens_sentence(&self, item: usize) -> bool {
        self.around(item).opens
    }

    /// Only fillers and marks stand between an item and the sentence's end.
    pub fn closes_sentence(&self, item: usize) -> bool {
        self.around(item).closes
    }

    /// The first comma from an item on; the number of items where there is none.
    pub fn next_comma(&self, item: usize) -> usize {
        self.around(item).comma
    }

    /// The first number from an item on; the number of items where there is none.
    pub fn next_number(&self, item: usize) -> usize {
        self.around(item).number
    }

    /// The item behind the last comma before an item; 0 where there is none.
    pub fn clause_start(&self, item: usize) -> usize {
        self.around(item).clause
    }

    fn is_padding(&self, item: usize) -> bool {
        self.term(item, "fillers").is_some() || self.is_mark(item, ",")
    }

    /// Heard-word range of an item range.
    pub fn heard(&self, first: usize, end: usize) -> std::ops::Range<usize> {
        let token = |t: usize| self.tokens.get(t).map(|t| t.heard);
        let from = self.items.get(first).and_then(|i| token(i.first)).unwrap_or_default();
        let to = end
            .checked_sub(1)
            .and_then(|last| self.items.get(last))
            .and_then(|i| token(i.end.saturating_sub(1)))
            .map_or(from, |h| h + 1);
        from..to
    }
}

/// Small words that may also stand inside a number ("and a half").
fn is_small(tag: &Tag) -> bool {
    matches!(&*tag.vocabulary, "fillers" | "cues")
}

fn is_unit(tag: &Tag) -> bool {
    &*tag.vocabulary == "units"
}

/// Where each term starts: its end, its meanings, found by sound.
/// Words that may stand before a question ("and is the needle ready").
const OPENS: &[&str] =
    &["so", "and", "ok", "okay", "right", "well", "um", "uh", "er", "but", "now", "oh", "hey", "sorry"];

fn terms(tokens: &[Token], vocabulary: &Vocabulary) -> Vec<Option<(usize, Vec<Tag>, bool)>> {
    let mut out = vec![None; tokens.len()];
    // Hyphens inside terms do not count: "side-vented", "tug-back".
    let words: Vec<usize> = (0..tokens.len())
        .filter(|&i| {
            !(tokens.get(i).is_some_and(|t| t.is_mark("-") && t.joined)
                && tokens.get(i + 1).is_some_and(|t| t.shape == Shape::Word && t.joined)
                && i > 0
                && tokens.get(i - 1).is_some_and(|t| t.shape == Shape::Word))
        })
        .collect();
    let text = |k: usize| words.get(k).and_then(|&i| tokens.get(i));
    let mut k = 0;
    while k < words.len() {
        let word = |n: usize| {
            text(k + n).filter(|t| t.shape != Shape::Mark || t.text == "%").map(|t| t.text.as_str())
        };
        let ok = |len: usize| {
            // "m b two" is a canal, "m b, two mil" is not.
            len == 1
                || !text(k + len - 1).is_some_and(|t| number_word(&t.text))
                || !measure_follows(&|n| text(k + len + n).map(|t| t.text.as_str()), vocabulary)
        };
        let found = vocabulary.find(word, ok).or_else(|| {
            text(k).filter(|t| t.shape == Shape::Word).and_then(|t| vocabulary.find_by_sound(&t.text))
        });
        // "the reference is the mesiobuccal cusp": what asks stands at the start.
        let asks = |f: &Found| {
            f.len > 1 && f.tags.iter().all(|t| &*t.vocabulary == "cues" && &*t.value == "question")
        };
        let told = k
            .checked_sub(1)
            .and_then(text)
            .is_some_and(|before| before.shape == Shape::Word && !OPENS.contains(&before.text.as_str()));
        match (found.filter(|f| !(told && asks(f))), words.get(k)) {
            (Some(found), Some(&first)) => {
                let last = words.get(k + found.len - 1).copied().unwrap_or(first);
                if let Some(slot) = out.get_mut(first) {
                    *slot = Some((last + 1, found.tags, found.by_sound));
                }
                k += found.len;
            }
            _ => k += 1,
        }
    }
    out
}

fn number_word(text: &str) -> bool {
    matches!(text, "one" | "two" | "1" | "2")
}

/// Do the words after a number make it a measure: a unit, "point five", "and a half", "short", "beyond"?
fn measure_follows<'t>(word: &dyn Fn(usize) -> Option<&'t str>, vocabulary: &Vocabulary) -> bool {
    let Some(next) = word(0) else { return false };
    if matches!(next, "point" | "short" | "beyond" | "/" | "percent" | "%")
        || next == "and" && word(1) == Some("a")
    {
        return true;
    }
    vocabulary.find(|n| word(n), |_| true).is_some_and(|f| f.tags.iter().any(is_unit))
}

/// "oh" is a zero only beside a digit, after "point" or after "size"; "oh, size ten" is an interjection.
fn interjection(tokens: &[Token], atom: &Atom) -> bool {
    let word = |i: usize| tokens.get(i).map(|t| t.text.as_str());
    // "that one was stiffer", "the other one": no number.
    if word(atom.first) == Some("one") && atom.end == atom.first + 1 {
        const POINTS: &[&str] = &[
            "that", "this", "which", "other", "last", "next", "another", "only", "any", "same", "every",
            "each", "new", "old", "big", "white",
        ];
        let measured = matches!(
            word(atom.end),
            Some("short" | "millimetre" | "mm" | "mil" | "ml" | "minute" | "cartridge")
        );
        return !measured && atom.first.checked_sub(1).and_then(word).is_some_and(|w| POINTS.contains(&w));
    }
    if word(atom.first) != Some("oh") || atom.end > atom.first + 1 {
        return false;
    }
    let before = atom.first.checked_sub(1).and_then(word);
    let after = word(atom.end);
    let digit = |w: Option<&str>| {
        matches!(
            w,
            Some(
                "zero"
                    | "one"
                    | "two"
                    | "three"
                    | "four"
                    | "five"
                    | "six"
                    | "seven"
                    | "eight"
                    | "nine"
                    | "twenty"
                    | "thirty"
                    | "forty"
                    | "fifty"
                    | "sixty"
                    | "seventy"
                    | "eighty"
                    | "ninety"
                    | "fifteen"
                    | "ten"
                    | "point"
                    | "oh"
                    | "size"
                    | "number"
                    | "slash"
            )
        ) || w.is_some_and(|w| w.bytes().all(|b| b.is_ascii_digit()))
    };
    // Before: anything numeric. After: a single digit must follow where nothing numeric stands before.
    !(digit(before)
        || digit(after)
            && !matches!(after, Some("point" | "size" | "number" | "slash" | "oh" | "ten" | "fifteen"))
            && !tens(after))
}

fn tens(w: Option<&str>) -> bool {
    matches!(w, Some("twenty" | "thirty" | "forty" | "fifty" | "sixty" | "seventy" | "eighty" | "ninety"))
}
