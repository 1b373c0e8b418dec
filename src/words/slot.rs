//! What neighbouring number atoms mean in a slot: a length, a size with its taper, a percentage …
//!
//! The closed set of slots and units. Each gives one reading with its doubts, or nothing; never a sum.

use super::{
    Decimal,
    line::Line,
    named,
    number::{Atom, Form},
};

/// Sizes of ISO 3630-1 root canal instruments, hundredths of a millimetre (series quoted in
/// `src/tables/iso3630_sizes.tsv`).
pub const SIZES: [i64; 21] =
    [6, 8, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140];

/// Shaft lengths in millimetres in which hand instruments are sold: `file_length_mm` of the contract of a log.
const SHAFTS: [i64; 4] = [21, 25, 28, 31];

/// Words after a measure that is neither a length of a canal nor a depth in one ("a five millimetre radiolucency").
const NO_DEPTH: [&str; 12] = [
    "radiolucency",
    "radiolucent",
    "lesion",
    "defect",
    "thick",
    "thickness",
    "wide",
    "diameter",
    "below",
    "above",
    "apart",
    "margin",
];

/// What a pattern may ask for between braces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Slot {
    /// A whole number.
    Count,
    /// Any number.
    Number,
    /// A number that no unit follows.
    Bare,
    /// A length in millimetres; the unit may be missing.
    Mm,
    /// A length with its unit.
    MmUnit,
    /// An instrument size, with its taper where one is said.
    Size,
    /// A size of the standard's series: for places where nothing but the number says that it is a size.
    StandardSize,
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
    pub const ALL: [Self; 23] = [
        Self::Count,
        Self::Number,
        Self::Bare,
        Self::Mm,
        Self::MmUnit,
        Self::Size,
        Self::StandardSize,
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
        Self::Tooth,
        Self::ToothDigits,
        Self::Lot,
    ];

    pub fn named(name: &str) -> Option<Self> {
        Some(match name {
            "n" => Self::Count,
            "num" => Self::Number,
            "bare" => Self::Bare,
            "mm" => Self::Mm,
            "mm!" => Self::MmUnit,
            "size" => Self::Size,
            "std" => Self::StandardSize,
            "mm." => Self::MmSure,
            "mm/" => Self::MmPart,
            "taper%" => Self::TaperPct,
            "taper." => Self::TaperPart,
            "mm~" => Self::MmNoSize,
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

    fn of(end: usize, atom: &Atom) -> Self {
        let mut r = Self::new(end, atom.value);
        if let Some((reason, alternatives)) = &atom.doubt {
            r.doubt(reason.clone(), alternatives.clone());
        }
        r
    }

    fn doubt(&mut self, reason: impl Into<String>, alternatives: Vec<Decimal>) {
        self.doubts.push(Unsure { of_taper: false, reason: reason.into(), alternatives });
    }

    pub(super) fn doubted(mut self, reason: impl Into<String>, alternatives: Vec<Decimal>) -> Self {
        self.doubt(reason, alternatives);
        self
    }
}

/// Reads a slot at item `i`.
pub fn read(slot: Slot, line: &Line, i: usize) -> Option<Reading> {
    match slot {
        Slot::Count => count(line, i),
        Slot::Number => line.atom(i).map(|a| Reading::of(i + 1, a)),
        Slot::Bare => line.atom(i).filter(|_| line.unit(i + 1).is_none()).map(|a| Reading::of(i + 1, a)),
        Slot::Mm => mm(line, i),
        Slot::MmUnit => mm(line, i).filter(|r| r.has_unit),
        Slot::MmSure => mm(line, i).filter(|r| r.has_unit || !r.value.is_whole()),
        Slot::Shaft => {
            mm(line, i).filter(|r| r.has_unit && SHAFTS.iter().any(|s| r.value == Decimal::whole(*s)))
        }
        Slot::Size => size(line, i),
        Slot::StandardSize => size(line, i).filter(|r| r.taper.is_some() || is_standard_size(r.value)),
        Slot::ToothDigits => named::tooth_digits(line, i),
        Slot::SizeTaper => size(line, i).filter(|r| r.taper.is_some()),
        Slot::Taper => taper(line, i),
        Slot::MmPart => mm(line, i).filter(|r| !r.value.is_whole()),
        Slot::MmNoSize => mm(line, i).filter(|r| r.has_unit || !is_standard_size(r.value)),
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

fn tenth(whole: Decimal, digit: Decimal) -> Option<Decimal> {
    Some(whole.saturating_add(digit.shift(1)?))
}

fn mm(line: &Line, i: usize) -> Option<Reading> {
    let a = line.atom(i)?;
    // A number with a taper is a size, and no canal is a hundred millimetres long.
    if a.value >= Decimal::whole(100) && !matches!(a.form, Form::Printed { .. })
        || size(line, i).is_some_and(|r| r.taper.is_some())
    {
        return None;
    }
    let mut r = mm_number(line, i, a);
    if let Some(unit) = line.unit(r.end) {
        if matches!(unit, "mm" | "mil") {
            r.end += 1;
            r.has_unit = true;
            and_a_half(line, &mut r, 1);
            if NO_DEPTH.iter().any(|w| line.is_word(r.end, w)) {
                return None;
            }
        } else if r.end > i + 1 {
            // "nineteen five ml": the last number has a unit of its own.
            r = Reading::of(i + 1, a);
        } else {
            return None;
        }
    }
    Some(r)
}

/// "a millimetre and a half", "a mil and a half".
fn and_a_half(line: &Line, r: &mut Reading, by: i64) {
    let half = "0.5".parse::<Decimal>().unwrap_or(Decimal::ZERO).saturating_times(by);
    let e = r.end;
    if !line.is_word(e, "and") || !r.value.is_whole() {
        return;
    }
    if line.is_word(e + 1, "a") && line.text(e + 2) == "half" {
        r.end = e + 3;
    } else if line.atom(e + 1).is_some_and(|a| Some(a.value) == "0.5".parse().ok()) {
        r.end = e + 2;
    } else {
        return;
    }
    r.value = r.value.saturating_add(half);
}

fn mm_number(line: &Line, i: usize, a: &Atom) -> Reading {
    let two_digits = a.value >= Decimal::whole(10) && a.value < Decimal::whole(40);
    let is_printed = matches!(a.form, Form::Printed { .. });
    if matches!(a.form, Form::Teen | Form::Ten | Form::TenOne | Form::Printed { digits: 2, .. }) && two_digits
    {
        if let Some(b) = digit_after(line, i).filter(|_| !has_own_unit(line, i + 1))
            && let Some(value) = tenth(a.value, b.value)
        {
            return Reading::new(i + 2, value).doubted(
                format!("\"{}\" was said without \"point\"", spoken(line, i, i + 2)),
                vec![a.value],
            );
        }
        // "21. 5", "twenty one. Five", "21, 5 mm": held together.
        if (line.is_mark(i + 1, ".") || line.is_mark(i + 1, ","))
            && line.atom(i + 2).is_some_and(|b| one_digit(b) && b.value > Decimal::ZERO)
            && line.atom(i + 3).is_none()
            && (line.is_mark(i + 1, ".") || line.unit(i + 3) == Some("mm"))
            && !matches!(line.unit(i + 3), Some(u) if u != "mm" && u != "mil")
            && !follows_measure(line, i + 3)
            && !follows_measure(line, i + 4)
            && let Some(value) = line.atom(i + 2).and_then(|b| tenth(a.value, b.value))
        {
            return Reading::new(i + 3, value).doubted("a stop stands inside the number", vec![a.value]);
        }
        // "twenty-one, point five": the comma is a breath, "point" says that it goes on.
        if line.is_mark(i + 1, ",")
            && line.text(i + 2) == "point"
            && let Some(b) = line.atom(i + 2).filter(|b| b.form == Form::Fraction && b.doubt.is_none())
            && b.value >= Decimal::thousandths(100)
        {
            return Reading::new(i + 3, a.value.saturating_add(b.value));
        }
        // "twenty one half"
        if line.is_word(i + 1, "half") && line.atom(i + 1).is_none() && !line.is_word(i + 2, "short") {
            let half = a.value.saturating_add(Decimal::thousandths(500));
            let below = a.value.saturating_sub(Decimal::thousandths(500));
            return Reading::new(i + 2, half)
                .doubted("\"half\" was said without \"and a\"", vec![a.value, below]);
        }
    }
    // "two one", "one nine five": digit by digit.
    if one_digit(a) && !is_printed && a.value > Decimal::ZERO && a.value <= Decimal::whole(3) {
        let digits: Vec<&Atom> =
            (0..4).map_while(|k| line.atom(i + k).filter(|b| b.form.is_spoken_digit())).collect();
        let whole = |ds: &[&Atom]| {
            ds.iter().fold(Decimal::ZERO, |n, d| n.saturating_times(10).saturating_add(d.value))
        };
        match digits.as_slice() {
            [x, y] if !has_own_unit(line, i + 1) || line.unit(i + 2) == Some("mm") => {
                return Reading::new(i + 2, whole(&[x, y]));
            }
            [x, y, z] if !has_own_unit(line, i + 2) || line.unit(i + 3) == Some("mm") => {
                if let Some(value) = tenth(whole(&[x, y]), z.value) {
                    return Reading::new(i + 3, value)
                        .doubted("digits were said one by one without \"point\"", vec![whole(&[x, y])]);
                }
            }
            _ => {}
        }
    }
    // "2 1.5"
    if is_printed
        && one_digit(a)
        && let Some(b) = line.atom(i + 1)
        && b.form == Form::Fraction
        && b.value < Decimal::whole(10)
    {
        let value = a.value.saturating_times(10).saturating_add(b.value);
        return Reading::new(i + 2, value)
            .doubted("a blank stands inside the number", vec![b.value, a.value]);
    }
    // "195", "215" without a point; "2015".
    if let Form::Printed { digits: 3 | 4, .. } = a.form
        && let Some(value) = a.value.shift(1).filter(|v| *v < Decimal::whole(35) && *v >= Decimal::whole(10))
    {
        return Reading::new(i + 1, value)
            .doubted(format!("{} was written without a point", a.value), vec![a.value]);
    }
    // "2150" is 21.5 without its point; "2015" is 20 and a number of its own: 15 is no quarter of a millimetre.
    if let Form::Printed { digits: 4, zero_first: false } = a.form
        && let Some(n) = a.value.to_whole().filter(|n| (1000..3500).contains(n))
    {
        let (first, second) = (Decimal::whole(n / 100), Decimal::whole(n % 100));
        let joined = a.value.shift(2).unwrap_or(first);
        let (value, other) = if n % 25 == 0 { (joined, first) } else { (first, second) };
        return Reading::new(i + 1, value)
            .doubted(format!("{n} was written as one number"), vec![other, a.value]);
    }
    Reading::of(i + 1, a)
}

fn has_own_unit(line: &Line, i: usize) -> bool {
    line.unit(i + 1).is_some_and(|u| u != "mm") || follows_measure(line, i + 1)
}

/// Words that make the number before them a number of its own ("one short", "three pecks").
pub(super) fn follows_measure(line: &Line, i: usize) -> bool {
    ["short", "beyond", "past", "back", "of", "through", "shy"].iter().any(|w| line.is_word(i, w))
        || line.term(i, "counted").is_some()
        || line.is_mark(i, "%")
}

fn spoken(line: &Line, first: usize, end: usize) -> String {
    let from = line.items.get(first).map_or(0, |i| i.first);
    let to = line.items.get(end.saturating_sub(1)).map_or(from, |i| i.end);
    line.tokens
        .get(from..to)
        .unwrap_or_default()
        .iter()
        .map(|t| t.text.as_str())
        .collect::<Vec<_>>()
        .join(" ")
}

fn checked_size(mut r: Reading) -> Reading {
    if !is_standard_size(r.value) {
        let near = swapped(r.value).filter(|v| is_standard_size(*v));
        r.doubt(format!("{} is not a size of the standard series", r.value), near.into_iter().collect());
    }
    r
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

fn legal_taper(hundredths: i64) -> Option<Decimal> {
    (2..=12).contains(&hundredths).then(|| Decimal::thousandths(hundredths * 10))
}

fn with_taper(end: usize, size: Decimal, taper: Decimal) -> Reading {
    checked_size(Reading { end, value: size, taper: Some(taper), ..Reading::default() })
}

fn size(line: &Line, i: usize) -> Option<Reading> {
    let a = line.atom(i)?;
    let zero = |k: usize| line.atom(k).is_some_and(|z| z.value == Decimal::ZERO && one_digit(z));
    let digit = |k: usize| line.atom(k).filter(|d| one_digit(d)).and_then(|d| d.value.to_whole());
    match a.form {
        // "oh six", "zero eight"
        Form::Digit if a.value == Decimal::ZERO => {
            let d = digit(i + 1).filter(|d| *d > 0)?;
            return Some(checked_size(Reading::new(i + 2, Decimal::whole(d))));
        }
        Form::PartOfUnit | Form::Article => return None,
        Form::Fraction => {
            // "25.06", "thirty point oh four"
            let t = a.value.as_thousandths();
            let (whole, part) = (t / 1000, t % 1000);
            let taper = (part % 10 == 0).then(|| legal_taper(part / 10)).flatten()?;
            return SIZES.contains(&whole).then(|| with_taper(i + 1, Decimal::whole(whole), taper));
        }
        Form::Printed { digits: 4, .. } => {
            // "2506", "3004": run together.
            let n = a.value.to_whole()?;
            let (s, t) = (n / 100, n % 100);
            let taper = legal_taper(t).filter(|_| SIZES.contains(&s));
            return taper
                .map(|taper| {
                    let reason = format!("\"{n}\" was written as one number");
                    let mut r = with_taper(i + 1, Decimal::whole(s), taper);
                    r.doubts.push(Unsure { of_taper: true, reason: reason.clone(), alternatives: vec![] });
                    r.doubted(reason, vec![])
                })
                .or_else(|| {
                    // "2015": two sizes, or 20 and a taper that does not exist.
                    SIZES.contains(&s).then(|| {
                        Reading::new(i + 1, Decimal::whole(s))
                            .doubted(format!("\"{n}\" may be two numbers"), vec![Decimal::whole(t)])
                    })
                });
        }
        _ => {}
    }
    let next = line.atom(i + 1);
    // "twenty five oh six", "25 06", "twenty five, oh six"
    let z = if line.is_mark(i + 1, ",") && line.is_word(i + 2, "oh") { i + 2 } else { i + 1 };
    if zero(z)
        && let Some(t) = digit(z + 1).and_then(legal_taper)
    {
        return Some(with_taper(z + 2, a.value, t));
    }
    if let Some(b) = next
        && let Form::Printed { digits: 2, zero_first: true } = b.form
        && let Some(t) = b.value.to_whole().and_then(legal_taper)
    {
        return Some(with_taper(i + 2, a.value, t));
    }
    // "25 .06", "thirty, point oh four"
    if let Some(b) = next.filter(|b| b.form == Form::Fraction && b.value < Decimal::whole(1))
        && legal_fraction(b).is_some()
    {
        return legal_fraction(b).map(|t| with_taper(i + 2, a.value, t));
    }
    // "twenty five, .08"; "twenty five six taper"
    if line.is_mark(i + 1, ",")
        && let Some(t) = line.atom(i + 2).filter(|b| b.form == Form::Fraction).and_then(legal_fraction)
        && is_standard_size(a.value)
        && line.unit(i + 3).is_none()
    {
        return Some(with_taper(i + 3, a.value, t));
    }
    if let Some(t) = digit(i + 1).filter(|_| line.is_word(i + 2, "taper")).and_then(legal_taper)
        && is_standard_size(a.value)
    {
        return Some(with_taper(i + 3, a.value, t));
    }
    // "25/.06", "25/06", "25/6", "30-04", "twenty five slash oh six"
    if ["/", "-"].iter().any(|m| line.is_mark(i + 1, m)) || line.is_word(i + 1, "slash") {
        if let Some(t) = taper_number(line, i + 2) {
            let mut r = with_taper(t.end, a.value, t.value);
            r.doubts.extend(t.doubts);
            return Some(r);
        }
    }
    // "two five oh six", "two five", "four oh oh four": digit by digit.
    if one_digit(a) && a.form == Form::Digit {
        if let Some(second) = line.atom(i + 1).filter(|b| b.form == Form::Digit) {
            let two = a.value.saturating_times(10).saturating_add(second.value);
            if is_standard_size(two) && !has_own_unit(line, i + 1) {
                if zero(i + 2)
                    && let Some(t) = digit(i + 3).and_then(legal_taper)
                {
                    return Some(with_taper(i + 4, two, t));
                }
                return Some(Reading::new(i + 2, two));
            }
        }
    }
    // "thirty four percent" in a size slot: a size and its taper.
    if line.unit(i + 1) == Some("pct") || line.is_mark(i + 1, "%") {
        let n = a.value.to_whole()?;
        let (s, t) = (n / 10 * 10, n % 10);
        if a.form == Form::TenOne
            && SIZES.contains(&s)
            && let Some(taper) = legal_taper(t)
        {
            let mut r = with_taper(i + 2, Decimal::whole(s), taper);
            if line.is_word(i + 2, "taper") {
                r.end += 1;
            } else {
                r.doubt("size and taper were said as one number", vec![]);
            }
            return Some(r);
        }
        return None;
    }
    // "twenty five four percent (taper)"
    if let Some(b) = next
        && (line.unit(i + 2) == Some("pct") || line.is_mark(i + 2, "%"))
        && is_standard_size(a.value)
        && let Some(t) = b.value.to_whole().and_then(legal_taper)
    {
        let taper_word = usize::from(line.is_word(i + 3, "taper"));
        return Some(with_taper(i + 3 + taper_word, a.value, t));
    }
    // "size twenty five paper points" counts nothing.
    let named = i > 0
        && (["size", "sized", "number"].iter().any(|w| line.is_word(i - 1, w)) || line.is_mark(i - 1, "#"));
    if line.unit(i + 1).is_some() || line.term(i + 1, "counted").is_some() && !named {
        return None;
    }
    (a.value.is_whole() && a.value > Decimal::ZERO).then(|| {
        let r = checked_size(Reading::of(i + 1, a));
        match begun_again(line, i, a) {
            Some(other) => r.doubted("two sizes, or one that was begun again", vec![other]),
            None => r,
        }
    })
}

/// "twenty twenty five", with no mark between: two sizes, or one that was begun again. The other of the two; nothing within a
/// series that goes up.
fn begun_again(line: &Line, i: usize, a: &Atom) -> Option<Decimal> {
    let same_ten = |ten: &Atom, one: &Atom| {
        let above = one.value.saturating_sub(ten.value);
        let fits = Decimal::ZERO < above && above < Decimal::whole(10);
        ten.form == Form::Ten && one.form == Form::TenOne && fits
    };
    // "fifteen twenty twenty five": a series goes up.
    let at = |k: Option<usize>| k.and_then(|k| line.atom(k));
    let before = at(i.checked_sub(1)).filter(|b| same_ten(b, a));
    let (first, last) = if before.is_some() { (i - 1, i) } else { (i, i + 1) };
    let below = at(first.checked_sub(1));
    let above = line.atom(last + 1);
    let (Some(ten), Some(one)) = (line.atom(first), line.atom(last)) else { return None };
    let of_series = |n: &Atom| is_standard_size(n.value);
    if below.is_some_and(|b| of_series(b) && b.value < ten.value && b.value >= Decimal::whole(6))
        || above.is_some_and(|b| of_series(b) && b.value > one.value)
    {
        return None;
    }
    before.or_else(|| line.atom(i + 1).filter(|b| same_ten(a, b))).map(|b| b.value)
}

fn legal_fraction(a: &Atom) -> Option<Decimal> {
    is_taper(a.value).then_some(a.value)
}

/// A taper without its word: ".06", "oh six", "point oh six", "06", "6", "six".
fn taper_number(line: &Line, i: usize) -> Option<Reading> {
    let a = line.atom(i)?;
    if a.form == Form::Fraction {
        return legal_fraction(a).map(|t| Reading::new(i + 1, t));
    }
    if a.value == Decimal::ZERO {
        let d = line.atom(i + 1).filter(|d| one_digit(d))?.value.to_whole().and_then(legal_taper)?;
        return Some(Reading::new(i + 2, d));
    }
    let t = a.value.to_whole().and_then(legal_taper)?;
    Some(Reading::new(i + 1, t))
}

fn taper(line: &Line, i: usize) -> Option<Reading> {
    let mut r = taper_number(line, i)?;
    if line.unit(r.end) == Some("pct") || line.is_mark(r.end, "%") {
        r.end += 1;
        r.has_unit = true;
    }
    Some(r)
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
    // "or so", "or three": two numbers were said.
    if line.is_word(i + 1, "or")
        && let Some(b) = line.atom(i + 2)
    {
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
    r.end +=
        usize::from(["full", "whole", "good", "solid", "further"].iter().any(|w| line.is_word(r.end, w)));
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
