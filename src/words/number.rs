//! Number words and digits → number atoms: the smallest pieces that are one number whatever the slot.
//!
//! "twenty one point five" is one atom, "twenty twenty five" two, "two five oh six" four. Neighbouring atoms are never
//! added up; what several atoms mean together depends on the slot that asks (see `slot`). A spoken form stands once, in
//! `src/tables/speech/numbers.tsv`.

use std::{collections::HashMap, sync::LazyLock};

use super::{
    Decimal,
    token::{Shape, Token},
    vocabulary::rows,
};

/// So many digits may be said one by one before "point". No measure has more.
const MOST_DIGITS: usize = 6;

/// What a number word contributes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Zero,
    One(i64),
    Teen(i64),
    Ten(i64),
    Hundred,
    Thousand,
}

static PARTS: LazyLock<HashMap<&'static str, Part>> = LazyLock::new(|| {
    rows(include_str!("../tables/speech/numbers.tsv"))
        .into_iter()
        .filter_map(|row| {
            let [forms, value, class, ..] = row.as_slice() else { return None };
            let n: i64 = value.parse().ok()?;
            let part = match *class {
                "zero" => Part::Zero,
                "one" => Part::One(n),
                "teen" => Part::Teen(n),
                "ten" => Part::Ten(n),
                "hundred" => Part::Hundred,
                "thousand" => Part::Thousand,
                _ => return None,
            };
            Some(forms.split('|').map(move |f| (f, part)).collect::<Vec<_>>())
        })
        .flatten()
        .collect()
});

/// Is a word part of a spoken number?
pub fn is_number_word(word: &str) -> bool {
    PARTS.contains_key(word)
}

/// One number that was said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Atom {
    pub value: Decimal,
    /// Token range.
    pub first: usize,
    pub end: usize,
    pub form: Form,
    /// Why it may be wrong, and what else it may be.
    pub doubt: Option<(String, Vec<Decimal>)>,
}

/// How an atom was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One spoken digit; "oh", "zero" and "nought" are 0.
    Digit,
    /// A spoken teen.
    Teen,
    /// A bare ten: "twenty".
    Ten,
    /// Ten and one: "twenty five".
    TenOne,
    /// With hundreds or thousands.
    Big,
    /// Spoken or printed with a decimal point, or with "and a half".
    Fraction,
    /// "half a", "a quarter of a": a part of a unit.
    PartOfUnit,
    /// "a minute": the article counts as one.
    Article,
    /// Printed digits; the number of digits, and whether the first is 0.
    Printed { digits: u8, zero_first: bool },
}

impl Form {
    pub const fn is_spoken_digit(self) -> bool {
        matches!(self, Self::Digit)
    }
}

/// What the grammar must know about words that are no numbers.
pub struct Hints<'a> {
    /// Is this token a unit ("minute", "mm", "cartridge")?
    pub is_unit: &'a dyn Fn(usize) -> bool,
    /// Is this token already part of a term ("m b two")?
    pub is_taken: &'a dyn Fn(usize) -> bool,
}

/// The atom that starts at token `i`.
pub fn atom(tokens: &[Token], i: usize, hints: &Hints<'_>) -> Option<Atom> {
    Reader { tokens, hints }.atom(i)
}

struct Reader<'a> {
    tokens: &'a [Token],
    hints: &'a Hints<'a>,
}

impl Reader<'_> {
    fn word(&self, i: usize) -> Option<&str> {
        self.tokens
            .get(i)
            .filter(|t| t.shape == Shape::Word && !(self.hints.is_taken)(i))
            .map(|t| t.text.as_str())
    }

    fn part(&self, i: usize) -> Option<Part> {
        PARTS.get(self.word(i)?).copied()
    }

    fn is(&self, i: usize, words: &[&str]) -> bool {
        words.iter().enumerate().all(|(k, w)| self.word(i + k) == Some(w))
    }

    fn digit(&self, i: usize) -> Option<i64> {
        match self.part(i)? {
            Part::Zero => Some(0),
            Part::One(n) => Some(n),
            _ => None,
        }
    }

    fn printed(&self, i: usize) -> Option<&Token> {
        self.tokens.get(i).filter(|t| t.shape == Shape::Digits && !(self.hints.is_taken)(i))
    }

    fn atom(&self, i: usize) -> Option<Atom> {
        if let Some(token) = self.printed(i) {
            return self.printed_atom(i, &token.text);
        }
        self.word(i)?;
        self.part_of_unit(i).or_else(|| self.article(i)).or_else(|| self.spoken(i))
    }

    fn printed_atom(&self, i: usize, text: &str) -> Option<Atom> {
        let value: Decimal = text.parse().ok()?;
        let digits = u8::try_from(text.len()).unwrap_or(u8::MAX);
        let zero_first = text.len() > 1 && text.starts_with('0');
        let form = if text.contains('.') { Form::Fraction } else { Form::Printed { digits, zero_first } };
        let plain = Atom { value, first: i, end: i + 1, form, doubt: None };
        if form == Form::Fraction {
            return Some(plain);
        }
        if let Some(part) = self.printed_part(i, text) {
            return Some(part);
        }
        // "2 thousand", "100 thousand", "20 and a half", "5 point 25"
        if self.part(i + 1) == Some(Part::Thousand) {
            return Some(Atom { value: value.saturating_times(1000), end: i + 2, form: Form::Big, ..plain });
        }
        if self.word(i + 1) == Some("point")
            && let Some(after) = self.printed(i + 2).filter(|t| t.text.len() <= 3 && !t.text.contains('.'))
        {
            let value = format!("{text}.{}", after.text).parse().ok()?;
            return Some(Atom { value, end: i + 3, form: Form::Fraction, ..plain });
        }
        Some(self.and_part(plain))
    }

    /// "1/2 mm", "3/4 mm": a part of a unit, written in one piece before its unit.
    fn printed_part(&self, i: usize, text: &str) -> Option<Atom> {
        self.tokens.get(i + 1).filter(|t| t.is_mark("/") && t.joined)?;
        let below = self.printed(i + 2).filter(|t| t.joined)?;
        let value = match (text, below.text.as_str()) {
            ("1", "2") => 500,
            ("1", "4") => 250,
            ("3", "4") => 750,
            _ => return None,
        };
        let measured = (self.hints.is_unit)(i + 3) || matches!(self.word(i + 3), Some("short" | "beyond"));
        let value = Decimal::thousandths(value);
        measured.then_some(Atom { value, first: i, end: i + 3, form: Form::PartOfUnit, doubt: None })
    }

    /// "and a half", "and three quarters" after a whole number.
    fn and_part(&self, atom: Atom) -> Atom {
        let e = atom.end;
        let found = [
            (&["and", "a", "half"][..], 500),
            (&["and", "an", "half"], 500),
            (&["and", "half"], 500),
            (&["and", "one", "half"], 500),
            (&["and", "a", "quarter"], 250),
            (&["and", "one", "quarter"], 250),
            (&["and", "three", "quarters"], 750),
        ]
        .into_iter()
        .find(|(words, _)| self.is(e, words));
        if let Some((words, part)) = found {
            let value = atom.value.saturating_add(Decimal::thousandths(part));
            return Atom { value, end: e + words.len(), form: Form::Fraction, ..atom };
        }
        // "20 1/2"
        if let (Some(a), true, Some(b)) = (
            self.printed(e).filter(|t| t.text == "1"),
            self.tokens.get(e + 1).is_some_and(|t| t.is_mark("/")),
            self.printed(e + 2).filter(|t| t.text == "2"),
        ) && !a.joined
            && b.joined
        {
            let value = atom.value.saturating_add(Decimal::thousandths(500));
            return Atom { value, end: e + 3, form: Form::Fraction, ..atom };
        }
        // "21 ½", "21½": the sign is a number of its own below one; "10 ½ short" is a size and how far it stayed short.
        let apart = || {
            let measure =
                |k: usize| matches!(self.word(k), Some("short" | "beyond" | "past" | "back" | "shy"));
            measure(e + 1) || measure(e + 2)
        };
        if let Some(t) = self.printed(e)
            && matches!(t.text.as_str(), ".5" | ".25" | ".75")
            && (t.joined || !apart())
        {
            let value = atom.value.saturating_add(t.text.parse().unwrap_or_default());
            return Atom { value, end: e + 1, form: Form::Fraction, ..atom };
        }
        atom
    }

    /// "half a", "half", "a half", "a quarter of a", "three quarters of a", "1/2".
    fn part_of_unit(&self, i: usize) -> Option<Atom> {
        let (mut e, value) = if self.is(i, &["a", "half"]) || self.is(i, &["one", "half"]) {
            (i + 2, 500)
        } else if self.is(i, &["half"]) {
            (i + 1, 500)
        } else if self.is(i, &["a", "quarter"]) || self.is(i, &["one", "quarter"]) {
            (i + 2, 250)
        } else if self.is(i, &["three", "quarters"]) {
            (i + 2, 750)
        } else if self.is(i, &["quarter"]) {
            (i + 1, 250)
        } else {
            return None;
        };
        if matches!(self.word(e), Some("past" | "turn" | "turns" | "way" | "hour" | "to"))
            || self.word(e) == Some("an") && self.word(e + 1) == Some("hour")
        {
            return None;
        }
        if self.word(e) == Some("of") && matches!(self.word(e + 1), Some("a" | "an")) {
            e += 2;
        } else if matches!(self.word(e), Some("a" | "an")) {
            e += 1;
        } else if !(self.hints.is_unit)(e)
            && !matches!(self.word(e), Some("short" | "beyond" | "long" | "past" | "percent" | "back"))
        {
            return None;
        }
        Some(Atom {
            value: Decimal::thousandths(value),
            first: i,
            end: e,
            form: Form::PartOfUnit,
            doubt: None,
        })
    }

    /// "a minute", "a full minute", "a couple of minutes".
    fn article(&self, i: usize) -> Option<Atom> {
        let couple = if self.is(i, &["a", "couple"]) { 2 } else { usize::from(self.is(i, &["couple"])) };
        if couple > 0 {
            let end = i + couple + usize::from(self.word(i + couple) == Some("of"));
            let doubt = Some(("\"a couple\" was said, not a number".to_owned(), vec![]));
            return Some(Atom { value: Decimal::whole(2), first: i, end, form: Form::Article, doubt });
        }
        if !matches!(self.word(i), Some("a" | "an")) {
            return None;
        }
        let adjective =
            matches!(self.word(i + 1), Some("full" | "whole" | "further" | "single" | "good" | "solid"));
        let unit = i + 1 + usize::from(adjective);
        if !(self.hints.is_unit)(unit) {
            return None;
        }
        Some(Atom { value: Decimal::whole(1), first: i, end: unit, form: Form::Article, doubt: None })
    }

    fn spoken(&self, i: usize) -> Option<Atom> {
        // A run of spoken digits before "point" is one number: "two one point five".
        let mut run = i;
        while run < i + MOST_DIGITS && self.digit(run).is_some() {
            run += 1;
        }
        if run > i && self.word(run) == Some("point") && self.has_decimals(run + 1) {
            let mut whole = 0_i64;
            for k in i..run {
                whole = whole * 10 + self.digit(k).unwrap_or_default();
            }
            return self.decimals(i, run, whole, run - i);
        }
        if self.word(i) == Some("point") && self.has_decimals(i + 1) {
            let reference =
                i > 0 && matches!(self.word(i - 1), Some("reference" | "this" | "that" | "bleeding" | "the"));
            return if reference { None } else { self.decimals(i, i, 0, 0) };
        }
        let (whole, end, form) = self.cardinal(i)?;
        if self.word(end) == Some("point") && self.has_decimals(end + 1) {
            return self.decimals(i, end, whole, 1);
        }
        // "twenty comma five", as many languages have it.
        if self.word(end) == Some("comma") && self.digit(end + 1).is_some() {
            return self.decimals(i, end, whole, 1);
        }
        // "ten point 5" never splits here; a printed part after a spoken one is read as one number too.
        let doubt = self.and_without(whole, end).or_else(|| self.bare_hundred(i));
        Some(self.and_part(Atom { value: Decimal::whole(whole), first: i, end, form, doubt }))
    }

    /// "three thousand twenty": 3020 without its "and", or two numbers. Heads of ten thousand and more are ratios
    /// ("one to eighty thousand, two cartridges").
    fn and_without(&self, whole: i64, end: usize) -> Option<(String, Vec<Decimal>)> {
        if whole == 0 || whole % 1000 != 0 || whole >= 10_000 {
            return None;
        }
        let (rest, ..) = self.below_hundred(end).filter(|(r, ..)| *r > 0)?;
        Some(("one number, or two, without \"and\"".to_owned(), vec![Decimal::whole(whole + rest)]))
    }

    /// "zero six hundred fifty": the hundred after a number that is not its own.
    fn bare_hundred(&self, i: usize) -> Option<(String, Vec<Decimal>)> {
        let after_number = self.part(i) == Some(Part::Hundred) && i > 0 && self.part(i - 1).is_some();
        after_number.then(|| ("a hundred without a number before it".to_owned(), vec![]))
    }

    fn has_decimals(&self, i: usize) -> bool {
        matches!(self.part(i), Some(Part::Zero | Part::One(_) | Part::Ten(_) | Part::Teen(_)))
            || self.printed(i).is_some_and(|t| t.text.len() <= 3 && !t.text.contains('.'))
    }

    /// The digits after "point" at token `point`; all single digits, or one number below a hundred, which is doubted.
    fn decimals(&self, first: usize, point: usize, whole: i64, whole_digits: usize) -> Option<Atom> {
        let mut e = point + 1;
        let mut digits = String::new();
        // "zero point zero six, three hundred fifty": the three belongs to the hundreds.
        let of_hundreds = |e: usize, digits: &str| {
            digits.contains(|d| d != '0') && matches!(self.part(e + 1), Some(Part::Hundred | Part::Thousand))
        };
        while let Some(d) = self.digit(e).filter(|_| digits.len() < 3 && !of_hundreds(e, &digits)) {
            digits.push(char::from(b'0' + u8::try_from(d).unwrap_or_default()));
            e += 1;
        }
        let mut doubt = None;
        if digits.is_empty() {
            if let Some(t) = self.printed(e) {
                digits.clone_from(&t.text);
                e += 1;
            } else {
                let (n, end, _) = self.cardinal(e)?;
                digits = format!("{n:02}");
                e = end;
                let other = format!("{whole}.{}", n / 10).parse().ok();
                doubt = Some((
                    "a number, not single digits, follows \"point\"".to_owned(),
                    other.into_iter().collect(),
                ));
            }
        }
        let value: Decimal = format!("{whole}.{digits}").parse().ok()?;
        if whole_digits > 2 {
            doubt = Some(("digits said one by one, more than two before the point".to_owned(), vec![]));
        }
        Some(Atom { value, first, end: e, form: Form::Fraction, doubt })
    }

    /// A standard cardinal: "twenty five", "one hundred and twenty", "eighty thousand". Never the sum of neighbours.
    fn cardinal(&self, i: usize) -> Option<(i64, usize, Form)> {
        let (mut value, mut e, mut form) = self.below_thousand(i)?;
        if self.part(e) == Some(Part::Thousand) && (1..1000).contains(&value) {
            value *= 1000;
            e += 1;
            form = Form::Big;
            // What is a number of thousands itself ("one thousand ninety one hundred") stays apart.
            let rest = match self.below_thousand(e) {
                Some(rest) if rest.2 == Form::Big => Some(rest),
                _ if self.word(e) == Some("and") && value < 10_000 => self.below_hundred(e + 1),
                _ => None,
            };
            let alone = |end: usize| !matches!(self.part(end), Some(Part::Hundred | Part::Thousand));
            if let Some((rest, end, _)) =
                rest.filter(|(rest, end, _)| (1..1000).contains(rest) && alone(*end))
            {
                value += rest;
                e = end;
            }
        }
        Some((value, e, form))
    }

    fn below_thousand(&self, i: usize) -> Option<(i64, usize, Form)> {
        let (mut value, mut e, mut form) = self.below_hundred(i)?;
        if self.part(e) == Some(Part::Hundred) && (1..100).contains(&value) {
            value *= 100;
            e += 1;
            form = Form::Big;
            let and = usize::from(self.word(e) == Some("and"));
            let rest = self.below_hundred(e + and);
            // "five hundred, four times", "three hundred, one short": two numbers.
            let measured = |end: usize| {
                const COUNTED: &[&str] = &[
                    "times", "time", "short", "beyond", "point", "days", "cycles", "pecks", "passes",
                    "strokes", "tablets", "capsules", "weeks", "minutes",
                ];
                and == 0
                    && end == e + 1
                    && self.tokens.get(end).is_some_and(|t| COUNTED.contains(&t.text.as_str()))
            };
            let alone = |end: usize| self.part(end) != Some(Part::Hundred) && !measured(end);
            if let Some((rest, end, _)) = rest.filter(|(rest, end, _)| *rest > 0 && alone(*end)) {
                value += rest;
                e = end;
            }
        }
        Some((value, e, form))
    }

    fn below_hundred(&self, i: usize) -> Option<(i64, usize, Form)> {
        match self.part(i)? {
            Part::Zero => Some((0, i + 1, Form::Digit)),
            Part::One(n) => Some((n, i + 1, Form::Digit)),
            Part::Teen(n) => Some((n, i + 1, Form::Teen)),
            Part::Ten(n) => match self.part(i + 1).or_else(|| self.hyphen_one(i + 1)) {
                Some(Part::One(one)) => {
                    let hyphen = usize::from(self.tokens.get(i + 1).is_some_and(|t| t.is_mark("-")));
                    // "sixty two short": a size and how far it stayed short.
                    if hyphen == 0 && one <= 4 && self.word(i + 2) == Some("short") {
                        return Some((n, i + 1, Form::Ten));
                    }
                    Some((n + one, i + 2 + hyphen, Form::TenOne))
                }
                _ => Some((n, i + 1, Form::Ten)),
            },
            Part::Hundred => {
                Some((1, i, Form::Big)).filter(|_| i == 0 || self.word(i - 1) != Some("hundred"))
            }
            Part::Thousand => None,
        }
    }

    fn hyphen_one(&self, i: usize) -> Option<Part> {
        self.tokens.get(i).filter(|t| t.is_mark("-") && t.joined)?;
        self.part(i + 1).filter(|p| matches!(p, Part::One(_)))
    }
}
