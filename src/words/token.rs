//! Heard words → tokens: letters, digits and marks apart, spelling made one.
//!
//! A token knows the heard word it came from, so that times and doubts survive. Nothing is dropped here.

use crate::{listen::heard::Breath, words::spelling};

/// One token of a breath.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    /// Lower case, one spelling ("milliliters" → "millilitres"). For marks the mark itself.
    pub text: String,
    pub shape: Shape,
    /// Index of the heard word in its breath.
    pub heard: usize,
    /// Written right after the token before it, without a blank ("5" + "mm").
    pub joined: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Letters.
    Word,
    /// Digits with at most one point, thousands commas taken out: "100000", ".06", "08".
    Digits,
    /// One of `/ - : # % , . ; ? ! + = < > ~` and the like.
    Mark,
}

impl Token {
    pub fn is_word(&self, text: &str) -> bool {
        self.shape == Shape::Word && self.text == text
    }

    pub fn is_mark(&self, text: &str) -> bool {
        self.shape == Shape::Mark && self.text == text
    }

    /// A full stop, question or exclamation mark at the end of a heard word.
    pub fn ends_sentence(&self) -> bool {
        self.shape == Shape::Mark && matches!(self.text.as_str(), "." | "?" | "!" | ";")
    }
}

/// Cuts a breath into tokens.
pub fn tokens(breath: &Breath) -> Vec<Token> {
    let mut out = Vec::with_capacity(breath.words.len() + 8);
    for (heard, word) in breath.words.iter().enumerate() {
        let next = breath.words.get(heard + 1).and_then(|w| w.text.chars().next());
        let opens = out.last().is_none_or(Token::ends_sentence);
        if word.text == "no." && !opens && next.is_some_and(|c| c.is_ascii_digit()) {
            // "a file no. 25": written short, its full stop ends nothing.
            cut("number", heard, &mut out);
        } else if hyphened(&word.text) {
            // "twenty-one-and-a-half", "nineteen-point-five": words of one number.
            word.text.split('-').for_each(|part| cut(part, heard, &mut out));
        } else {
            cut(&word.text, heard, &mut out);
        }
    }
    out
}

/// Is this a number whose words hyphens join ("two-and-a-half", "19-point-5")?
fn hyphened(word: &str) -> bool {
    let mut parts = word.split('-');
    parts.next().is_some_and(|first| !first.is_empty()) && parts.any(|part| matches!(part, "and" | "point"))
}

/// The words of a text as they are looked up: small, one spelling, without marks.
pub fn plain(said: &str) -> Vec<String> {
    let all = tokens(&Breath::from_text(0.0, 0.0, said)).into_iter();
    all.filter(|t| t.shape != Shape::Mark).map(|t| t.text).collect()
}

fn cut(word: &str, heard: usize, out: &mut Vec<Token>) {
    // Most are small letters, with a mark behind them at most.
    let letters = word.trim_end_matches([',', '.']);
    if !letters.is_empty()
        && word.len() <= letters.len() + 1
        && letters.bytes().all(|b| b.is_ascii_lowercase())
    {
        out.push(Token { text: spelling::one(letters), shape: Shape::Word, heard, joined: false });
        let mark = word.get(letters.len()..).filter(|m| !m.is_empty());
        out.extend(mark.map(|m| Token { text: m.to_owned(), shape: Shape::Mark, heard, joined: true }));
        return;
    }
    // "Ca(OH)2": brackets inside of a word are of its spelling.
    let brackets = word.split_once('(').and_then(|(before, rest)| Some((before, rest.split_once(')')?)));
    let spelling = brackets.is_some_and(|(before, (inside, after))| {
        before.ends_with(char::is_alphabetic)
            && !inside.is_empty()
            && inside.chars().all(char::is_alphabetic)
            && after.starts_with(char::is_alphanumeric)
    });
    let kept = word.char_indices().filter(|(_, c)| !(spelling && matches!(c, '(' | ')')));
    let chars: Vec<char> = kept.map(|(_, c)| c).collect();
    let at = |i: usize| chars.get(i).copied().unwrap_or(' ');
    let (mut i, first) = (0, out.len());
    while i < chars.len() {
        let c = at(i);
        let start = i;
        let (text, shape) = if c.is_alphabetic() {
            while at(i).is_alphabetic() || (is_apostrophe(at(i)) && at(i + 1).is_alphabetic()) {
                i += 1;
            }
            let plain: String = chars
                .get(start..i)
                .unwrap_or_default()
                .iter()
                .map(|&c| if is_apostrophe(c) { '\'' } else { c })
                .collect();
            (spelling::one(without_ending(&plain.to_lowercase())), Shape::Word)
        } else if c.is_ascii_digit()
            || (c == '.' && at(i + 1).is_ascii_digit() && !at_digit_before(&chars, i))
        {
            i = end_of_digits(&chars, i);
            (chars.get(start..i).unwrap_or_default().iter().filter(|c| **c != ',').collect(), Shape::Digits)
        } else if let Some(fraction) = fraction(c) {
            i += 1;
            (fraction.to_owned(), Shape::Digits)
        } else {
            i += 1;
            (mark(c), Shape::Mark)
        };
        if !text.is_empty() {
            out.push(Token { text, shape, heard, joined: out.len() > first });
        }
    }
}

/// "the dam's on", "five cc's": the ending says nothing that a table needs. Pronouns and question words keep theirs.
pub(super) fn without_ending(word: &str) -> &str {
    const KEEP: &[&str] = &[
        "it", "that", "there", "here", "what", "who", "where", "how", "let", "he", "she", "when", "why",
        "this", "everyone", "one",
    ];
    word.strip_suffix("'s").filter(|w| !KEEP.contains(w)).unwrap_or(word)
}

fn is_apostrophe(c: char) -> bool {
    matches!(c, '\'' | '\u{2019}' | '\u{02bc}')
}

fn at_digit_before(chars: &[char], i: usize) -> bool {
    i > 0 && chars.get(i - 1).is_some_and(char::is_ascii_digit)
}

/// Digits, thousands groups ("100,000") and at most one decimal point that is followed by a digit.
fn end_of_digits(chars: &[char], mut i: usize) -> usize {
    let digit = |i: usize| chars.get(i).is_some_and(char::is_ascii_digit);
    let mut point = false;
    loop {
        if digit(i) {
            i += 1;
        } else if chars.get(i) == Some(&'.') && !point && digit(i + 1) {
            point = true;
            i += 1;
        } else if chars.get(i) == Some(&',') && !point && (1..=3).all(|k| digit(i + k)) && !digit(i + 4) {
            i += 1;
        } else {
            return i;
        }
    }
}

fn fraction(c: char) -> Option<&'static str> {
    match c {
        '½' => Some(".5"),
        '¼' => Some(".25"),
        '¾' => Some(".75"),
        _ => None,
    }
}

fn mark(c: char) -> String {
    match c {
        '–' | '—' | '−' | '‑' => "-".to_owned(),
        '…' => ".".to_owned(),
        _ => c.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(said: &str, expect: &str) {
        let got: Vec<String> =
            tokens(&Breath::from_text(0.0, 1.0, said)).into_iter().map(|t| t.text).collect();
        assert_eq!(got.join(" "), expect, "said: {said}");
    }

    #[test]
    fn cuts() {
        check("MB: 25/.06, 3mL.", "mb : 25 / .06 , 3 ml .");
        check("1:100,000 K-file tug-back", "1 : 100000 k - file tug - back");
        check("21. 5 and 21.5 mm", "21 . 5 and 21.5 mm");
        check("5.25% ½ mm #10", "5.25 % .5 mm # 10");
        check("I’d say two-thirds", "i'd say two - thirds");
        check("MB121.5 30-04 1-100,000", "mb 121.5 30 - 04 1 - 100000");
        check("milliliters of gray color", "millilitres of grey colour");
        check("file no. 25. no. 30", "file number 25 . no . 30");
        check("the dam's on, it's fine, five cc's", "the dam on , it's fine , five cc");
    }
}
