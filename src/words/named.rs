//! Slots that give text rather than a number: teeth, lots, ratios.

use super::{
    Decimal,
    line::{Line, What},
    number::Form,
    slot::{Reading, digit_after, follows_measure, one_digit},
    token::Shape,
};

/// One or two digits, said as a number or digit by digit; the notation decides later whether there is such a tooth.
pub(super) fn tooth(line: &Line, i: usize) -> Option<Reading> {
    let Some(a) = line.atom(i) else { return primary_tooth(line, i) };
    // "in oh nine": a year, but "tooth zero seven".
    let announced = i.checked_sub(1).is_some_and(|b| line.term(b, "tooth_words").is_some());
    if a.value == Decimal::ZERO && !announced {
        return None;
    }
    if let (true, Some(b)) = (one_digit(a), digit_after(line, i)) {
        let value = a.value.saturating_times(10).saturating_add(b.value);
        let text = value.to_string();
        // "three six"; "tooth two, ten …" has a mark between and does not come here.
        return Some(Reading { text: Some(text), ..Reading::new(i + 2, value) });
    }
    // "one-six", "3-6"
    if let (true, true, Some(b)) = (one_digit(a), line.is_mark(i + 1, "-"), line.atom(i + 2))
        && one_digit(b)
        && line.atom(i + 3).is_none()
    {
        let value = a.value.saturating_times(10).saturating_add(b.value);
        return Some(Reading { text: Some(value.to_string()), ..Reading::new(i + 3, value) });
    }
    // "3.6": the two digits with a point, as many write them.
    let tenths = a.value.saturating_times(10).to_whole().filter(|n| (11..=85).contains(n));
    if let (Form::Fraction, Some(n)) = (a.form, tenths) {
        return Some(Reading { text: Some(n.to_string()), ..Reading::new(i + 1, Decimal::whole(n)) });
    }
    let n = a.value.to_whole().filter(|n| (1..=85).contains(n))?;
    (!matches!(a.form, Form::Article | Form::PartOfUnit))
        .then(|| Reading { text: Some(n.to_string()), ..Reading::new(i + 1, a.value) })
}

/// "tooth K", "lower left E.": a letter of a primary tooth, right after what announces a tooth. "A" and "I" are words, and
/// after a quadrant a letter may be a canal: these must end the clause (no canal is called C or E).
fn primary_tooth(line: &Line, i: usize) -> Option<Reading> {
    let letter = line.text(i).chars().next().filter(|_| line.text(i).len() == 1)?;
    let before = i.checked_sub(1)?;
    let ends =
        line.items.get(i + 1).is_none_or(|it| matches!(it.what, What::Mark)) && !line.is_mark(i + 1, "-");
    let announced = line.term(before, "tooth_words").is_some() && (ends || !matches!(letter, 'a' | 'i'));
    let in_quadrant =
        line.term(before, "quadrants").is_some() && letter <= 'e' && (ends || matches!(letter, 'c' | 'e'));
    (('a'..='t').contains(&letter) && (announced || in_quadrant)).then(|| Reading {
        text: Some(letter.to_ascii_uppercase().to_string()),
        ..Reading::new(i + 1, Decimal::ZERO)
    })
}

pub(super) fn tooth_digits(line: &Line, i: usize) -> Option<Reading> {
    let r = tooth(line, i).filter(|r| r.end >= i + 2)?;
    let alone = i.checked_sub(1).is_none_or(|b| line.atom(b).is_none()) && line.atom(r.end).is_none();
    // "three eight of all the teeth"
    let measured = follows_measure(line, r.end) && !line.is_word(r.end, "of");
    (alone && line.unit(r.end).is_none() && !measured).then_some(r)
}

/// No lot has more letters and digits than this; a longer row is something else.
const LONGEST_LOT: usize = 40;

/// "B C four seven two one" → "BC4721", to the first word that is neither a letter nor a number.
pub(super) fn lot(line: &Line, i: usize) -> Option<Reading> {
    let mut text = String::new();
    let mut e = i;
    let mut double = 0_usize;
    while let Some(item) = line.items.get(e) {
        if e > i + LONGEST_LOT {
            return None;
        }
        let word = line.text(e);
        let piece = match &item.what {
            What::Number(a) => {
                let t: String = line
                    .tokens
                    .get(a.first..a.end)
                    .unwrap_or_default()
                    .iter()
                    .filter(|t| t.shape == Shape::Digits)
                    .map(|t| t.text.as_str())
                    .collect();
                if t.is_empty() { a.value.to_string() } else { t }
            }
            What::Mark if matches!(word, "-" | "/" | "." | ",") => {
                let keep = if matches!(word, "-" | "/") && !text.is_empty() && line.items.get(e + 1).is_some()
                {
                    word.to_owned()
                } else {
                    String::new()
                };
                keep
            }
            _ if word == "oh" || word == "o" => "0".to_owned(),
            _ if word == "dash" || word == "hyphen" => "-".to_owned(),
            _ if word == "slash" => "/".to_owned(),
            _ if word == "double" => {
                double = 2;
                e += 1;
                continue;
            }
            _ if word == "triple" => {
                double = 3;
                e += 1;
                continue;
            }
            _ if letters(line, item.first, item.end) => line
                .tokens
                .get(item.first..item.end)
                .unwrap_or_default()
                .iter()
                .map(|t| t.text.to_uppercase())
                .collect(),
            _ => break,
        };
        for _ in 0..double.max(1) {
            text.push_str(&piece);
        }
        double = 0;
        e += 1;
    }
    let text = text.trim_end_matches(['-', '/', '.']).to_owned();
    (text.len() >= 2 && text.bytes().any(|b| b.is_ascii_digit()))
        .then(|| Reading { text: Some(text), ..Reading::new(e, Decimal::ZERO) })
}

fn letters(line: &Line, first: usize, end: usize) -> bool {
    line.tokens.get(first..end).unwrap_or_default().iter().all(|t| {
        t.text.len() <= 2
            && t.text.chars().all(char::is_alphabetic)
            && !matches!(t.text.as_str(), "is" | "of" | "in" | "on" | "to" | "it" | "we" | "as")
    })
}

pub(super) fn ratio(line: &Line, i: usize) -> Option<Reading> {
    let a = line.atom(i)?;
    if a.value != Decimal::whole(1) || a.form == Form::Article {
        return None;
    }
    let joint = line.is_one_of(i + 1, &["to", "in", "per", "is", "on", "for"])
        || [":", "-", "/"].iter().any(|m| line.is_mark(i + 1, m));
    // "one is to two lakh"
    let is_to = usize::from(line.is_word(i + 1, "is") && line.is_word(i + 2, "to"));
    let article = is_to + usize::from(line.is_word(i + 2 + is_to, "a"));
    // "one one hundred zero": what a listener makes of 1:100000 where "to" and "thousand" were swallowed.
    if let (Some(b), Some(zero)) = (line.atom(i + 1), line.atom(i + 2))
        && zero.value == Decimal::ZERO
        && [50, 80, 100, 200].iter().any(|n| b.value == Decimal::whole(*n))
    {
        let value = b.value.saturating_times(1000);
        let read = Reading::new(i + 3, value).doubted("\"thousand\" was not heard", vec![]);
        return Some(Reading { text: Some(format!("1:{value}")), ..read });
    }
    let b = line.atom(i + 2 + article).filter(|_| joint)?;
    // "1:100 000": a blank between the thousands.
    let blank = line
        .atom(i + 3 + article)
        .is_some_and(|z| z.value == Decimal::ZERO && matches!(z.form, Form::Printed { digits: 3, .. }));
    // "1:100k"
    let kilo = line
        .items
        .get(i + 3 + article)
        .is_some_and(|it| line.tokens.get(it.first).is_some_and(|t| t.joined && t.text == "k"));
    let lakh = line.is_one_of(i + 3 + article, &["lakh", "lakhs", "lac", "lacs"]);
    let value = match (blank || kilo, lakh) {
        (true, _) => b.value.saturating_times(1000),
        (_, true) => b.value.saturating_times(100_000),
        _ => b.value,
    };
    if value < Decimal::whole(1000) {
        return None;
    }
    let text = format!("1:{value}");
    Some(Reading {
        text: Some(text),
        ..Reading::new(i + 3 + article + usize::from(blank || kilo || lakh), value)
    })
}
