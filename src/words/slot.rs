//! What neighbouring number atoms mean in a slot: a length, a size with its taper, a percentage …
//!
//! The closed set of slots and units. Each gives one reading with its doubts, or nothing; never a sum.

use super::{
    Decimal,
    length::{self, and_a_half},
    line::{Line, What},
    named,
    number::{Atom, Form},
    size::{self, taper},
};

/// Sizes of ISO 3630-1 root canal instruments, hundredths of a millimetre (series quoted in
/// `src/tables/iso3630_sizes.tsv`).
pub const SIZES: [i64; 21] =
    [6, 8, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140];

/// Shaft lengths in millimetres in which hand instruments are sold: `file_length_mm` of the contract of a log.
const SHAFTS: [i64; 4] = [21, 25, 28, 31];

/// What a pattern may ask for between braces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Slot {
    /// A whole number.
    Count,
    /// Any number.
    Number,
    /// A number that no unit follows.
    Bare,
    /// One number alone: no other beside it, no unit but millimetres.
    Alone,
    /// A length in millimetres; the unit may be missing.
    Mm,
    /// A length with its unit.
    MmUnit,
    /// An instrument size, with its taper where one is said.
    Size,
    /// A size of the standard's series: for places where nothing but the number says that it is a size.
    StandardSize,
    /// A number of that series that counts nothing in practice, whatever stands behind it: from 15.
    LargeSize,
    /// A size only where a taper is said with it.
    SizeTaper,
    /// A taper.
    Taper,
    /// A percentage with its sign or word.
    Pct,
    /// Millilitres with a unit.
    Ml,
    /// Seconds from seconds and minutes.
    Seconds,
    /// Milligrams from milligrams and grams.
    Mg,
    /// "one to eighty thousand".
    Ratio,
    /// Millimetres that are no size: with a unit or a fraction.
    MmSure,
    /// Length of an instrument's shaft as it is sold, with a unit.
    Shaft,
    /// Millimetres with a fraction.
    MmPart,
    /// A taper in per cent ("four percent").
    TaperPct,
    /// A taper with its zero or its point ("oh four").
    TaperPart,
    /// Millimetres that are no standard size, or with a unit.
    MmNoSize,
    /// Such millimetres without a unit.
    MmBare,
    /// Millimetres with a unit that are no shaft's length.
    MmNoShaft,
    /// Millimetres behind "at" after an instrument's size ("25 06 at 20").
    MmAt,
    /// A tooth number.
    Tooth,
    /// A tooth number said digit by digit ("three six").
    ToothDigits,
    /// Letters and digits to the end of the line.
    Lot,
}

/// How many slots there are.
pub(super) const COUNT: usize = Slot::ALL.len();

impl Slot {
    pub const ALL: [Self; 28] = [
        Self::Count,
        Self::Number,
        Self::Bare,
        Self::Alone,
        Self::Mm,
        Self::MmUnit,
        Self::Size,
        Self::StandardSize,
        Self::LargeSize,
        Self::SizeTaper,
        Self::Taper,
        Self::Pct,
        Self::Ml,
        Self::Seconds,
        Self::Mg,
        Self::Ratio,
        Self::MmSure,
        Self::Shaft,
        Self::MmPart,
        Self::TaperPct,
        Self::TaperPart,
        Self::MmNoSize,
        Self::MmBare,
        Self::MmNoShaft,
        Self::Tooth,
        Self::ToothDigits,
        Self::Lot,
        Self::MmAt,
    ];

    pub fn named(name: &str) -> Option<Self> {
        Some(match name {
            "n" => Self::Count,
            "num" => Self::Number,
            "bare" => Self::Bare,
            "alone" => Self::Alone,
            "mm" => Self::Mm,
            "mm!" => Self::MmUnit,
            "size" => Self::Size,
            "std" => Self::StandardSize,
            "std>" => Self::LargeSize,
            "mm." => Self::MmSure,
            "mm/" => Self::MmPart,
            "taper%" => Self::TaperPct,
            "taper." => Self::TaperPart,
            "mm~" => Self::MmNoSize,
            "mm_" => Self::MmBare,
            "mm=" => Self::MmNoShaft,
            "mm@" => Self::MmAt,
            "shaft" => Self::Shaft,
            "tooth2" => Self::ToothDigits,
            "size/taper" => Self::SizeTaper,
            "taper" => Self::Taper,
            "pct" => Self::Pct,
            "ml" => Self::Ml,
            "s" => Self::Seconds,
            "mg" => Self::Mg,
            "ratio" => Self::Ratio,
            "tooth" => Self::Tooth,
            "lot" => Self::Lot,
            _ => return None,
        })
    }

    /// May it begin with a word that is no number?
    pub fn reads_words(self) -> bool {
        matches!(self, Self::Tooth | Self::ToothDigits | Self::Lot)
    }
}

/// A number as a slot understands it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Reading {
    /// Item after the last one used.
    pub end: usize,
    pub value: Decimal,
    /// The taper said with a size.
    pub taper: Option<Decimal>,
    /// For slots that give text: a ratio, a tooth, a lot.
    pub text: Option<String>,
    pub doubts: Vec<Unsure>,
    /// A unit was said.
    pub has_unit: bool,
}

/// Why a reading may be wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unsure {
    pub of_taper: bool,
    pub reason: String,
    pub alternatives: Vec<Decimal>,
}

impl Reading {
    pub(super) fn new(end: usize, value: Decimal) -> Self {
        Self { end, value, ..Self::default() }
    }

    pub(super) fn of(end: usize, atom: &Atom) -> Self {
        let mut r = Self::new(end, atom.value);
        if let Some((reason, alternatives)) = &atom.doubt {
            r.doubt(reason.clone(), alternatives.clone());
        }
        r
    }

    pub(super) fn doubt(&mut self, reason: impl Into<String>, alternatives: Vec<Decimal>) {
        self.doubts.push(Unsure { of_taper: false, reason: reason.into(), alternatives });
    }

    pub(super) fn doubted(mut self, reason: impl Into<String>, alternatives: Vec<Decimal>) -> Self {
        self.doubt(reason, alternatives);
        self
    }
}

/// Reads a slot at item `i`.
pub fn read(slot: Slot, line: &Line, i: usize) -> Option<Reading> {
    // "size for paper points": what only the word "size" made a number is a size or nothing.
    let is_size = matches!(slot, Slot::Size | Slot::StandardSize | Slot::LargeSize | Slot::SizeTaper);
    if !is_size && is_sized(line, i) && line.atom(i).is_some_and(|a| a.doubt.is_some()) {
        return None;
    }
    if is_size && length::is_depth(line, i) {
        return None;
    }
    // What several slots ask for is read once.
    let mm = |fits: &dyn Fn(&Reading) -> bool| line.reading(Slot::Mm, i).filter(|r| fits(r)).cloned();
    let size = |fits: &dyn Fn(&Reading) -> bool| line.reading(Slot::Size, i).filter(|r| fits(r)).cloned();
    match slot {
        Slot::Count => count(line, i),
        Slot::Number => line.atom(i).map(|a| Reading::of(i + 1, a)),
        Slot::Alone => alone(line, i),
        Slot::Bare => match count(line, i).filter(|r| r.end == i + 2) {
            // "six fifty milligrams" is no bare six.
            Some(hundreds) => Some(hundreds).filter(|r| line.unit(r.end).is_none()),
            None => line.atom(i).filter(|_| line.unit(i + 1).is_none()).map(|a| Reading::of(i + 1, a)),
        },
        Slot::Mm => length::mm(line, i),
        Slot::MmUnit => mm(&|r| r.has_unit),
        Slot::MmSure => mm(&|r| r.has_unit || !r.value.is_whole()),
        Slot::Shaft => mm(&|r| r.has_unit && SHAFTS.iter().any(|s| r.value == Decimal::whole(*s))),
        Slot::Size => size::size(line, i),
        Slot::StandardSize => size(&|r| r.taper.is_some() || is_standard_size(r.value)),
        Slot::LargeSize => line
            .atom(i)
            .filter(|a| is_standard_size(a.value) && a.value >= Decimal::whole(15))
            .map(|a| Reading::of(i + 1, a)),
        Slot::ToothDigits => named::tooth_digits(line, i),
        Slot::SizeTaper => size(&|r| r.taper.is_some()),
        Slot::Taper => taper(line, i),
        Slot::MmPart => mm(&|r| !r.value.is_whole()),
        Slot::MmNoShaft => mm(&|r| r.has_unit && !SHAFTS.iter().any(|s| r.value == Decimal::whole(*s))),
        Slot::MmAt => mm(&|_| length::is_depth(line, i)),
        Slot::MmBare => mm(&|r| !r.has_unit && !is_standard_size(r.value)),
        Slot::MmNoSize => mm(&|r| r.has_unit || !is_standard_size(r.value)),
        Slot::TaperPart => {
            let part = |a: &Atom| a.value == Decimal::ZERO || a.form == Form::Fraction;
            taper(line, i).filter(|_| line.atom(i).is_some_and(part))
        }
        Slot::TaperPct => taper(line, i).filter(|r| r.has_unit),
        Slot::Pct => pct(line, i),
        Slot::Ml => with_unit(line, i, &[("ml", 1), ("mil", 1)]),
        Slot::Seconds => seconds(line, i),
        Slot::Mg => hundreds_of(line, i, "mg").or_else(|| with_unit(line, i, &[("mg", 1), ("g", 1000)])),
        Slot::Ratio => named::ratio(line, i),
        Slot::Tooth => named::tooth(line, i),
        Slot::Lot => named::lot(line, i),
    }
}

/// Is size `n` of the standard's series?
pub fn is_standard_size(n: Decimal) -> bool {
    n.to_whole().is_some_and(|n| SIZES.contains(&n))
}

/// Is there a taper `n`, from .02 to .12?
pub fn is_taper(n: Decimal) -> bool {
    let t = n.as_thousandths();
    (20..=120).contains(&t) && t % 10 == 0
}

fn count(line: &Line, i: usize) -> Option<Reading> {
    let a = line.atom(i)?;
    // "three fifty" is 350 where a count is wanted.
    if a.form == Form::Digit
        && a.value > Decimal::ZERO
        && let Some(b) = line.atom(i + 1)
        && matches!(b.form, Form::Ten | Form::TenOne)
        && line.term(i + 2, "counted").is_none()
    {
        let value = a.value.saturating_times(100).saturating_add(b.value);
        return Some(Reading::new(i + 2, value));
    }
    (a.value.is_whole()).then(|| Reading::of(i + 1, a))
}

/// "a four at the distal", not "two two one".
fn alone(line: &Line, i: usize) -> Option<Reading> {
    let listed = |k: usize| line.is_mark(k, ",") || line.is_word(k, "to");
    let before = i.checked_sub(1);
    let beside = before.is_some_and(|b| line.atom(b).is_some())
        || line.atom(i + 1).is_some()
        || before.and_then(|b| b.checked_sub(1)).is_some_and(|b| listed(i - 1) && line.atom(b).is_some())
        || listed(i + 1) && line.atom(i + 2).is_some();
    let unit = line.unit(i + 1).is_some_and(|u| !matches!(u, "mm" | "mil"));
    line.reading(Slot::Mm, i).filter(|_| !beside && !unit).cloned()
}

/// "six fifty milligrams": hundreds, where the unit follows.
fn hundreds_of(line: &Line, i: usize, unit: &str) -> Option<Reading> {
    let r = count(line, i).filter(|r| r.end == i + 2 && line.unit(r.end) == Some(unit))?;
    Some(Reading { has_unit: true, end: r.end + 1, ..r })
}

/// A digit that stands right after atom `i`, with no mark between.
pub(super) fn digit_after(line: &Line, i: usize) -> Option<&Atom> {
    line.atom(i + 1).filter(|b| one_digit(b))
}

pub(super) fn one_digit(a: &Atom) -> bool {
    matches!(a.form, Form::Digit | Form::Printed { digits: 1, .. })
}

/// Words that make the number before them a number of its own ("one short", "three pecks").
pub(super) fn follows_measure(line: &Line, i: usize) -> bool {
    line.is_one_of(i, &["short", "beyond", "past", "back", "of", "through", "shy"])
        || line.term(i, "counted").is_some()
        || line.is_mark(i, "%")
}

pub(super) fn has_own_unit(line: &Line, i: usize) -> bool {
    line.unit(i + 1).is_some_and(|u| u != "mm") || follows_measure(line, i + 1)
}

/// Does "size" or "#" stand before item `i`?
pub(super) fn is_sized(line: &Line, i: usize) -> bool {
    i > 0 && (line.is_one_of(i - 1, &["size", "sized"]) || line.is_mark(i - 1, "#"))
}

/// Thirteen for thirty and so on, both ways.
pub fn swapped(n: Decimal) -> Option<Decimal> {
    let n = n.to_whole()?;
    match n {
        13..=19 => Some(Decimal::whole((n - 10) * 10)),
        30 | 40 | 50 | 60 | 70 | 80 | 90 => Some(Decimal::whole(n / 10 + 10)),
        _ => None,
    }
}

fn pct(line: &Line, i: usize) -> Option<Reading> {
    let a = line.atom(i)?;
    let mut r = Reading::of(i + 1, a);
    if line.is_mark(i + 1, "%") || line.unit(i + 1) == Some("pct") {
        r.end += 1;
        r.has_unit = true;
        return Some(r);
    }
    None
}

fn with_unit(line: &Line, i: usize, units: &[(&str, i64)]) -> Option<Reading> {
    let a = line.atom(i)?;
    let mut r = Reading::of(i + 1, a);
    // "or so", "two or three", "two to three": two numbers were said.
    let range = |b: &Atom| line.is_word(i + 1, "to") && b.value > a.value && b.doubt.is_none();
    if let Some(b) = line.atom(i + 2).filter(|b| line.is_word(i + 1, "or") || range(b)) {
        r = Reading::new(i + 3, a.value).doubted("two numbers were said", vec![b.value]);
    } else if (line.is_mark(i + 1, ",") && line.items.get(i + 2).is_some())
        && let Some(b) = line.atom(i + 2)
        && one_digit(a)
        && one_digit(b)
        && b.value == a.value.saturating_add(Decimal::whole(1))
    {
        // "three, four ml"
        r = Reading::new(i + 3, a.value).doubted("two numbers were said", vec![b.value]);
    }
    // "point two of a mil", "half of a millilitre"
    if a.value < Decimal::whole(1) && line.is_word(r.end, "of") && line.is_word(r.end + 1, "a") {
        r.end += 2;
    }
    // "one full minute"
    r.end += usize::from(
        line.is_one_of(r.end, &["full", "whole", "good", "solid", "further", "more", "extra", "additional"]),
    );
    let unit = line.unit(r.end)?;
    let (_, by) = units.iter().find(|(u, _)| *u == unit)?;
    r.value = r.value.saturating_times(*by);
    for d in &mut r.doubts {
        for v in &mut d.alternatives {
            *v = v.saturating_times(*by);
        }
    }
    r.end += 1;
    r.has_unit = true;
    if unit != "min" {
        and_a_half(line, &mut r, *by);
    }
    Some(r)
}

fn seconds(line: &Line, i: usize) -> Option<Reading> {
    let mut r = with_unit(line, i, &[("s", 1), ("min", 60), ("h", 3600)])?;
    // "a second rinse" is no second.
    let joins =
        ["and", "or", "each", "only", "of", "for", "at", "before", "after", "then", "with", "per", "in"];
    let noun = |k: usize| {
        line.items.get(k).is_some_and(|it| it.what != What::Mark)
            && line.term(k, "fillers").is_none()
            && !line.is_one_of(k, &joins)
    };
    if r.value == Decimal::whole(1) && line.is_word(r.end - 1, "second") && noun(r.end) {
        return None;
    }
    if line.unit(r.end - 1) == Some("min") {
        // "a minute and a half", "two minutes thirty (seconds)"
        let e = r.end;
        if line.is_word(e, "and") && (line.is_word(e + 1, "a") || line.atom(e + 1).is_some()) {
            let half = (e + 1..e + 3)
                .find(|&k| line.text(k) == "half" || line.text(k + 1) == "half" && line.text(k) == "a");
            if half.is_some() {
                r.value = r.value.saturating_add(Decimal::whole(30));
                r.end = e + if line.atom(e + 1).is_some() { 2 } else { 3 };
                return Some(r);
            }
        }
        let and = usize::from(line.is_word(e, "and"));
        if let Some(rest) = line.atom(e + and).filter(|a| a.value < Decimal::whole(60) && a.value.is_whole())
            && line.unit(e + and + 1) == Some("s")
        {
            r.value = r.value.saturating_add(rest.value);
            r.end = e + and + 2;
        }
    }
    Some(r)
}
