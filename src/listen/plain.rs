//! A heard word → plain words, so that listeners who write numbers differently can be compared: lower case, no
//! punctuation, digits spelled out as they are said. For comparing only; nothing plain is ever shown or kept.

/// The words that numbers are made of.
const NUMBER_WORDS: [&str; 38] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
    "twenty",
    "thirty",
    "forty",
    "fifty",
    "sixty",
    "seventy",
    "eighty",
    "ninety",
    "hundred",
    "thousand",
    "oh",
    "nought",
    "point",
    "half",
    "quarter",
    "quarters",
    "third",
    "thirds",
];

/// Words that turn a fact round, end a value or correct it: a listener who misses one writes the opposite.
const TURNING_WORDS: [&str; 23] = [
    "no",
    "not",
    "none",
    "without",
    "never",
    "nor",
    "didn't",
    "don't",
    "wasn't",
    "isn't",
    "won't",
    "if",
    "unless",
    "will",
    "would",
    "scratch",
    "correction",
    "instead",
    "mean",
    "sorry",
    "wait",
    "actually",
    "rather",
];

/// Whether a plain word is part of a number.
pub(super) fn is_number(word: &str) -> bool {
    NUMBER_WORDS.contains(&word)
}

/// Whether a number that ends with this plain word may go on: "twenty" with "two", "point" with "five".
pub(super) fn may_go_on(word: &str) -> bool {
    word == "point" || word == "hundred" || (is_number(word) && word.ends_with("ty"))
}

/// Whether a plain word turns a fact round.
pub(super) fn is_turning(word: &str) -> bool {
    TURNING_WORDS.contains(&word)
}

/// Whether some number word begins with `start`.
pub(super) fn begins_number(start: &str) -> bool {
    !start.is_empty() && NUMBER_WORDS.iter().any(|word| word.starts_with(start))
}

/// One heard word (as between blanks) in plain words: `"25/.06"` → twenty five slash point zero six, `"MB2,"` → m b two.
pub(super) fn plain(word: &str) -> Vec<String> {
    let mut out = Vec::new();
    let word = word.trim_matches(|c: char| !c.is_alphanumeric() && !matches!(c, '#' | '%' | '.'));
    let chars: Vec<char> = word.chars().collect();
    let mut at = 0;
    while let Some(&c) = chars.get(at) {
        let rest = chars.get(at..).unwrap_or_default();
        if c.is_ascii_digit() || (c == '.' && rest.get(1).is_some_and(char::is_ascii_digit)) {
            at += number(rest, &mut out);
        } else if c.is_alphabetic() {
            let length = rest.iter().take_while(|c| c.is_alphabetic() || matches!(c, '\'' | '’')).count();
            letters(rest.get(..length).unwrap_or_default(), &mut out);
            at += length;
        } else {
            match c {
                '%' => out.push("percent".to_owned()),
                '#' => out.push("number".to_owned()),
                '/' => out.push("slash".to_owned()),
                ':' if chars.get(at + 1).is_some_and(char::is_ascii_digit) => out.push("to".to_owned()),
                _ => {}
            }
            at += 1;
        }
    }
    out
}

/// Several words at once.
#[cfg(test)]
pub(super) fn plain_text(text: &str) -> Vec<String> {
    text.split_whitespace().flat_map(plain).collect()
}

/// Letters: `MB` and `EDTA` are said letter by letter; units and spellings that mean the same become one.
fn letters(run: &[char], out: &mut Vec<String>) {
    let word: String = run.iter().collect::<String>().replace('’', "'");
    if (2..=5).contains(&word.len()) && word.chars().all(|c| c.is_ascii_uppercase()) {
        out.extend(word.to_lowercase().chars().map(String::from));
        return;
    }
    let word = word.to_lowercase();
    out.push(match word.as_str() {
        "mm" | "millimeter" | "millimeters" | "millimetre" => "millimetres".to_owned(),
        "ml" | "milliliter" | "milliliters" | "millilitre" => "millilitres".to_owned(),
        "mg" | "milligram" => "milligrams".to_owned(),
        "zero" | "nought" | "o" => "oh".to_owned(),
        "mil" | "mills" | "mill" => "mils".to_owned(),
        "ok" => "okay".to_owned(),
        _ => word,
    });
}

/// A number in digits, from its first character on; gives how many characters it took.
fn number(rest: &[char], out: &mut Vec<String>) -> usize {
    let mut whole = String::new();
    let mut used = 0;
    for (i, c) in rest.iter().enumerate() {
        let group = *c == ',' && rest.get(i + 1..i + 4).is_some_and(|g| g.iter().all(char::is_ascii_digit));
        if c.is_ascii_digit() {
            whole.push(*c);
        } else if !group {
            break;
        }
        used = i + 1;
    }
    if !whole.is_empty() {
        spell(&whole, out);
    }
    if rest.get(used) == Some(&'.') && rest.get(used + 1).is_some_and(char::is_ascii_digit) {
        out.push("point".to_owned());
        used += 1;
        while let Some(digit) = rest.get(used).and_then(|c| c.to_digit(10)) {
            out.push(digit_word(digit));
            used += 1;
        }
    }
    used
}

/// A decimal number in words: as a number what stands before the point, then digit by digit.
pub(super) fn number_words(whole: &str, part: &str) -> Vec<String> {
    let mut out = Vec::new();
    match whole.parse::<u32>() {
        Ok(n) if whole.len() < 7 => say(n, &mut out),
        _ if whole.is_empty() => out.push(digit_word(0)),
        _ => out.extend(whole.chars().filter_map(|c| c.to_digit(10)).map(digit_word)),
    }
    if !part.is_empty() {
        out.push("point".to_owned());
        out.extend(part.chars().filter_map(|c| c.to_digit(10)).map(digit_word));
    }
    out
}

/// Whole digits as they are said: up to six digits as a number, more one by one; `04` is oh four.
fn spell(digits: &str, out: &mut Vec<String>) {
    match digits.parse::<u32>() {
        Ok(n) if digits.len() <= 6 && !(digits.len() > 1 && digits.starts_with('0')) => say(n, out),
        _ => out.extend(digits.chars().filter_map(|c| c.to_digit(10)).map(digit_word)),
    }
}

fn digit_word(digit: u32) -> String {
    if digit == 0 { "oh".to_owned() } else { small(digit).to_owned() }
}

fn small(n: u32) -> &'static str {
    NUMBER_WORDS.get(n as usize).copied().unwrap_or("")
}

fn say(n: u32, out: &mut Vec<String>) {
    match n {
        0 => out.push("oh".to_owned()),
        1..=19 => out.push(small(n).to_owned()),
        20..=99 => {
            out.push(small(18 + n / 10).to_owned());
            if !n.is_multiple_of(10) {
                out.push(small(n % 10).to_owned());
            }
        }
        100..=999 => {
            out.extend([small(n / 100).to_owned(), "hundred".to_owned()]);
            if !n.is_multiple_of(100) {
                say(n % 100, out);
            }
        }
        _ => {
            say(n / 1000, out);
            out.push("thousand".to_owned());
            if !n.is_multiple_of(1000) {
                say(n % 1000, out);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(heard: &str, expect: &str) {
        assert_eq!(plain_text(heard).join(" "), expect, "heard: {heard}");
    }

    #[test]
    fn digits_are_said() {
        check("19.5 mm", "nineteen point five millimetres");
        check("25/.06", "twenty five slash point oh six");
        check("25.04", "twenty five point oh four");
        check("1:80,000", "one to eighty thousand");
        check("1:100 000", "one to one hundred oh oh oh");
        check("250 mg,", "two hundred fifty milligrams");
        check("04", "oh four");
        check("2% lidocaine.", "two percent lidocaine");
        check("#10", "number ten");
        check("3004", "three thousand four");
        check("12345678", "one two three four five six seven eight");
    }

    #[test]
    fn words_lose_case_and_punctuation() {
        check("Okay, are we recording?", "okay are we recording");
        check("MB2", "m b two");
        check("no—it's 21", "no it's twenty one");
        check("zero", "oh");
        check("… - !", "");
    }
}
