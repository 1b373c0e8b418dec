//! Lengths in millimetres: said whole, digit by digit, in halves, with or without the unit.

use super::{
    Decimal,
    line::Line,
    number::{Atom, Form},
    slot::{
        Reading, Slot, digit_after, follows_measure, has_own_unit, is_sized, is_standard_size, is_taper,
        one_digit,
    },
};

/// Words after a measure that is neither a length of a canal nor a depth in one ("a five millimetre radiolucency").
const NO_DEPTH: &[&str] = &[
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

/// No file goes deeper, in millimetres: the limit of `depth_mm` in the kinds (tooth_lengths.tsv, widened).
const DEEPEST: i64 = 32;

/// "at the", and the words of "working length".
const NAMED: usize = 3;

/// How many words may stand between a size and "at".
const BETWEEN: usize = 5;

fn tenth(whole: Decimal, digit: Decimal) -> Option<Decimal> {
    Some(whole.saturating_add(digit.shift(1)?))
}

pub(super) fn mm(line: &Line, i: usize) -> Option<Reading> {
    let a = line.atom(i)?;
    // A number with a taper is a size, and no canal is a hundred millimetres long.
    if a.value >= Decimal::whole(100) && !matches!(a.form, Form::Printed { .. })
        || line.reading(Slot::Size, i).is_some_and(|r| r.taper.is_some())
    {
        return None;
    }
    let mut r = mm_number(line, i, a);
    if let Some(unit) = line.unit(r.end) {
        if matches!(unit, "mm" | "mil") {
            r.end += 1;
            r.has_unit = true;
            and_a_half(line, &mut r, 1);
            if line.is_one_of(r.end, NO_DEPTH) {
                return None;
            }
        } else if r.end > i + 1 {
            // "nineteen five ml": the last number has a unit of its own.
            r = Reading::of(i + 1, a);
        } else if !(unit == "ml" && names_a_canal(line, r.end, r.value)) {
            return None;
        }
    }
    // "size for mesiobuccal": a size is no length.
    (r.has_unit || !is_sized(line, i)).then_some(r)
}

/// "25 06 at 20", "a 10 file in the MB at 19.5", "at 20 with a 25": beside a size, the number after "at" is how deep it
/// went.
pub(super) fn is_depth(line: &Line, i: usize) -> bool {
    let Some(a) = line.atom(i) else { return false };
    // "at working length 20"
    let named = |j: &usize| line.holds(*j, "length") || line.is_one_of(*j, &["wl", "working", "full"]);
    let at = (i.saturating_sub(NAMED)..i).rev().find(|j| !named(j)).filter(|&at| line.is_word(at, "at"));
    let Some(at) = at else { return false };
    let deep = a.value >= Decimal::whole(10) && a.value <= Decimal::whole(DEEPEST);
    let alone = line.atom(i + 1).is_none() && line.unit(i + 1).is_none_or(|u| u == "mm");
    let between = |j: usize| {
        line.term(j, "canals").is_some()
            || line.term(j, "instruments").is_some()
            || line.is_one_of(j, &["in", "the", "file", "taper"])
    };
    let before = (at.saturating_sub(BETWEEN)..at).rev().find(|&j| !between(j));
    let before = before.filter(|&j| line.unit(j + 1).is_none());
    let standard = |j: usize| line.atom(j).is_some_and(|s| is_standard_size(s.value));
    // "30 04": a taper that is printed counts hundredths.
    let taper = |j: usize| {
        let hundredths = |v: Decimal| v >= Decimal::whole(2) && v <= Decimal::whole(12);
        line.atom(j).is_some_and(|t| is_taper(t.value) || hundredths(t.value) && j > 0 && standard(j - 1))
    };
    let with = line.is_word(i + 1, "with") && line.is_one_of(i + 2, &["a", "an", "the"]) && standard(i + 3);
    deep && alone && (with || before.is_some_and(|j| standard(j) || taper(j)))
}

/// "MB 20 ML 19 DB 20": the letters of a canal between two lengths, and no millilitres.
fn names_a_canal(line: &Line, unit: usize, value: Decimal) -> bool {
    let length = |n: Decimal| n >= Decimal::whole(10) && n < Decimal::whole(35);
    line.term(unit, "canals").is_some()
        && length(value)
        && line.atom(unit + 1).is_some_and(|next| length(next.value))
        && line
            .unit(unit + 2)
            .is_none_or(|u| matches!(u, "mm" | "mil") || line.term(unit + 2, "canals").is_some())
}

/// "a millimetre and a half", "a mil and a half".
pub(super) fn and_a_half(line: &Line, r: &mut Reading, by: i64) {
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
        // "thirty-five, 1 mm short" without its comma: a size, and how short it stayed.
        let measured =
            line.unit(i + 2).is_some() && follows_measure(line, i + 3) && is_standard_size(a.value);
        if let Some(b) = digit_after(line, i).filter(|_| !has_own_unit(line, i + 1) && !measured)
            && let Some(value) = tenth(a.value, b.value)
        {
            return Reading::new(i + 2, value)
                .doubted(format!("\"{}\" was said without \"point\"", line.spoken(i, i + 2)), vec![a.value]);
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
