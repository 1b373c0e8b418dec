//! Sizes of instruments and their tapers, however they are said together.

use super::{
    Decimal,
    line::Line,
    number::{Atom, Form},
    slot::{Reading, SIZES, Unsure, has_own_unit, is_sized, is_standard_size, is_taper, one_digit, swapped},
};

fn checked_size(mut r: Reading) -> Reading {
    if !is_standard_size(r.value) {
        let near = swapped(r.value).filter(|v| is_standard_size(*v));
        r.doubt(format!("{} is not a size of the standard series", r.value), near.into_iter().collect());
    }
    r
}

fn legal_taper(hundredths: i64) -> Option<Decimal> {
    (2..=12).contains(&hundredths).then(|| Decimal::thousandths(hundredths * 10))
}

fn with_taper(end: usize, size: Decimal, taper: Decimal) -> Reading {
    checked_size(Reading { end, value: size, taper: Some(taper), ..Reading::default() })
}

pub(super) fn size(line: &Line, i: usize) -> Option<Reading> {
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
        // "root filled in 2011": a year.
        Form::Printed { digits: 4, .. }
            if i > 0
                && line.is_one_of(i - 1, &["in", "since", "until", "from", "of"])
                && a.value.to_whole().is_some_and(|n| (1950..2040).contains(&n)) =>
        {
            return None;
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
    // "2/3 of the length" is none, nor is tooth "one-six".
    let part = a.value < Decimal::whole(6);
    if !part && (["/", "-"].iter().any(|m| line.is_mark(i + 1, m)) || line.is_word(i + 1, "slash")) {
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
    let named = is_sized(line, i) || i > 0 && line.is_word(i - 1, "number");
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
        let printed = |a: &Atom| matches!(a.form, Form::Printed { digits: 2, .. });
        let whole_ten = ten.value.to_whole().is_some_and(|n| n % 10 == 0);
        (ten.form == Form::Ten && one.form == Form::TenOne || printed(ten) && printed(one) && whole_ten)
            && fits
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

pub(super) fn taper(line: &Line, i: usize) -> Option<Reading> {
    let mut r = taper_number(line, i)?;
    if line.unit(r.end) == Some("pct") || line.is_mark(r.end, "%") {
        r.end += 1;
        r.has_unit = true;
    }
    Some(r)
}
