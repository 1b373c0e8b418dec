//! How likely a heard word is wrong: what the recogniser says of itself, what the second listening says, and what kind
//! of word it is → a probability, by a small table that was fitted on the development audio (`make calibrate`).
//! Never looks at a meaning: whether a number is plausible is for the later rooms to say.

use std::{fmt, sync::LazyLock};

use super::{
    merge::Backing,
    model::ModelInfo,
    plain::{is_number, is_turning, number_words, plain},
};

/// The fitted table: model, group, lowest score, words, wrong words, probability.
const FITTED: &str = include_str!("calibration.tsv");

/// What kind of word it is: doubts are fitted apart for each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WordKind {
    Number,
    /// Turns a fact round ("not", "if").
    Turning,
    Other,
}

/// Whether the second listening heard it too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Support {
    /// There was one listening only.
    Alone,
    /// Two listenings heard it.
    Both,
    /// There were three, and all heard it.
    All,
    /// Two of three heard it.
    Most,
    Against,
}

/// What is known about a heard word before calibration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    pub kind: WordKind,
    pub support: Support,
    /// The recogniser's own probability, 0 to 1; of both listenings the lower one.
    pub score: f32,
}

impl fmt::Display for Signal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = match self.kind {
            WordKind::Number => "number",
            WordKind::Turning => "turning",
            WordKind::Other => "other",
        };
        let support = match self.support {
            Support::Alone => "alone",
            Support::Both => "both",
            Support::All => "all",
            Support::Most => "most",
            Support::Against => "against",
        };
        write!(f, "{kind} {support}")
    }
}

/// The signal of a word.
pub(super) fn signal(text: &str, backing: Backing, p: f32) -> Signal {
    let words = plain(text);
    let kind = if words.iter().any(|w| is_number(w)) {
        WordKind::Number
    } else if words.iter().any(|w| is_turning(w)) {
        WordKind::Turning
    } else {
        WordKind::Other
    };
    let (support, score) = match backing {
        Backing::Alone => (Support::Alone, p),
        Backing::Both(other) => (Support::Both, p.min(other)),
        Backing::All(other) => (Support::All, p.min(other)),
        Backing::Most(other) => (Support::Most, p.min(other)),
        Backing::Against => (Support::Against, p),
    };
    Signal { kind, support, score }
}

/// Probabilities by group and score, for one sort of model.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Table {
    /// Group, then (lowest score, probability of being wrong) by rising score.
    rows: Vec<(String, f32, f32)>,
}

impl Table {
    /// The table in `text` for the tuned model or for the stock ones.
    pub fn of(text: &str, tuned: bool) -> Self {
        Self::read(text, if tuned { "tuned" } else { "stock" })
    }

    /// Reads the rows of one model; lines that begin with `#` are notes.
    fn read(text: &str, model: &str) -> Self {
        let rows = text
            .lines()
            .filter(|line| !line.starts_with('#'))
            .filter_map(|line| {
                let mut fields = line.split('\t');
                let (of, group) = (fields.next()?, fields.next()?);
                let score = fields.next()?.parse().ok()?;
                let p = fields.next_back()?.parse().ok()?;
                (of == model).then(|| (group.to_owned(), score, p))
            })
            .collect();
        Self { rows }
    }

    pub(super) fn p_wrong(&self, text: &str, backing: Backing, p: f32) -> f32 {
        self.look_up(signal(text, backing, p))
    }

    /// Probability that a word with this signal is wrong; a group that was never seen counts as its score says.
    pub fn look_up(&self, signal: Signal) -> f32 {
        let group = signal.to_string();
        let own = 1.0 - signal.score;
        let row = self.rows.iter().filter(|(g, score, _)| *g == group && *score <= signal.score);
        row.max_by(|a, b| a.1.total_cmp(&b.1)).map_or(own, |(_, _, p)| *p)
    }
}

/// The table for a model: the tuned one has its own, all others share that of the stock weights.
pub(super) fn table(model: &ModelInfo) -> &'static Table {
    static TUNED: LazyLock<Table> = LazyLock::new(|| Table::of(FITTED, true));
    static STOCK: LazyLock<Table> = LazyLock::new(|| Table::of(FITTED, false));
    if model.tuned { &TUNED } else { &STOCK }
}

/// From which probability of being wrong a number is doubted: `relaxed`, `usual` or `strict`, as fitted with the table.
/// A word that is not in it counts as `usual`.
pub fn doubt_from(strictness: &str) -> f32 {
    static FROM: LazyLock<Vec<(&'static str, f32)>> = LazyLock::new(|| {
        let row = |line: &'static str| {
            let mut fields = line.strip_prefix("strictness\t")?.split('\t');
            Some((fields.next()?, fields.next()?.parse().ok()?))
        };
        FITTED.lines().filter_map(row).collect()
    });
    let of = |name: &str| FROM.iter().find(|(n, _)| *n == name).map(|(_, p)| *p);
    of(strictness).or_else(|| of("usual")).unwrap_or(0.1)
}

/// A text with its numbers in words, as a voice reads it that knows digits and the decimal point and nothing else:
/// "25/.06" → "twenty five/oh point oh six". The voices of the development audio were given their texts in this way.
pub fn read_aloud(text: &str) -> String {
    let digits = |text: &str| text.chars().take_while(char::is_ascii_digit).count();
    let (mut aloud, mut before, mut rest) = (String::new(), ' ', text);
    while let Some(c) = rest.chars().next() {
        let whole = digits(rest);
        let part = rest.get(whole..).and_then(|rest| rest.strip_prefix('.')).map_or(0, digits);
        let goes_on = before == '.' || before.is_ascii_digit();
        let number = match (goes_on, part) {
            (true, _) => 0,
            (false, 0) => whole,
            (false, part) => whole + 1 + part,
        };
        let (taken, after) = rest.split_at(number.max(c.len_utf8()));
        if number > 0 {
            let (whole, part) = taken.split_once('.').unwrap_or((taken, ""));
            aloud.push_str(&number_words(whole, part).join(" "));
        } else {
            aloud.push(c);
        }
        before = taken.chars().next_back().unwrap_or(c);
        rest = after;
    }
    aloud
}

/// For every heard word: what was really said there, in plain words, if that was something else. A number without its
/// plural ("point" for "points") is no error: its value is right.
pub fn errors(said: &str, heard: &[String]) -> Vec<Option<String>> {
    let singular = |word: String| match word.trim_end_matches("'s").trim_end_matches('s') {
        number if is_number(number) => number.to_owned(),
        _ => word,
    };
    let said: Vec<String> = said.split_whitespace().flat_map(plain).map(singular).collect();
    let heard_words = heard.iter().enumerate();
    let (words, owner): (Vec<String>, Vec<usize>) =
        heard_words.flat_map(|(i, w)| plain(w).into_iter().map(move |p| (singular(p), i))).unzip();
    let mut errors = vec![None; heard.len()];
    for d in super::align::differences(&words, &said) {
        let instead = said.get(d.other_first..d.other_end).unwrap_or_default().join(" ");
        for word in owner.get(d.first..d.end).unwrap_or_default() {
            if let Some(error) = errors.get_mut(*word) {
                *error = Some(instead.clone());
            }
        }
    }
    errors
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = "# notes\ntuned\tnumber both\t0\t10\t5\t0.5\ntuned\tnumber both\t0.9\t100\t1\t0.01\nstock\tnumber both\t0\t1\t1\t0.9\n";

    #[track_caller]
    fn check(word: &str, backing: Backing, p: f32, expect: f32) {
        let found = Table::read(TABLE, "tuned").p_wrong(word, backing, p);
        assert!((found - expect).abs() < 1e-6, "{word}: {found} instead of {expect}");
    }

    #[test]
    fn doubts_are_looked_up() {
        check("fifteen", Backing::Both(0.95), 0.92, 0.01);
        check("fifteen", Backing::Both(0.3), 0.92, 0.5);
        check("15", Backing::Both(0.95), 0.95, 0.01);
    }

    #[test]
    fn a_group_that_was_never_seen_counts_as_its_score_says() {
        check("fifteen", Backing::Against, 0.75, 0.25);
        check("not", Backing::Both(0.75), 0.75, 0.25);
    }

    #[test]
    fn numbers_are_read_aloud() {
        let check = |text: &str, expect: &str| assert_eq!(read_aloud(text), expect, "{text}");
        check("Rotary 25/.06, 350 RPM.", "Rotary twenty five/oh point oh six, three hundred fifty RPM.");
        check("19.5 mm, 2% 1:100,000.", "nineteen point five mm, two% one:one hundred,oh.");
        check("21. 5.", "twenty one. five.");
        check(
            "1234567 no digits …5 1.2.3",
            "one two three four five six seven no digits …five one point two.3",
        );
    }

    #[test]
    fn errors_are_found_word_by_word() {
        let heard = |text: &str| text.split(' ').map(str::to_owned).collect::<Vec<_>>();
        let show = |said: &str, text: &str| {
            errors(said, &heard(text))
                .into_iter()
                .map(|e| e.unwrap_or("-".into()))
                .collect::<Vec<_>>()
                .join(" ")
        };
        assert_eq!(show("clamp fourteen please", "clamp forty please"), "- fourteen -");
        assert_eq!(show("size 25, please", "size twenty five please"), "- - - -");
        assert_eq!(show("two paper points", "two paper point"), "- - -");
        assert_eq!(show("three quarters", "three quarters"), "- -");
    }

    #[test]
    fn strictness_was_fitted() {
        let [relaxed, usual, strict] = ["relaxed", "usual", "strict"].map(doubt_from);
        assert!(1.0 > relaxed && relaxed > usual && usual > strict && strict > 0.0);
        assert!((doubt_from("no such word") - usual).abs() < 1e-6);
    }

    #[test]
    fn the_fitted_table_is_sound() {
        for model in ["tuned", "stock"] {
            let table = Table::read(FITTED, model);
            assert!(
                table.rows.iter().all(|(_, score, p)| (0.0..=1.0).contains(score) && (0.0..=1.0).contains(p))
            );
            for pair in table.rows.windows(2) {
                let (row, next) = (&pair[0], &pair[1]);
                let falls = row.1 < next.1 && row.2 >= next.2;
                assert!(
                    row.0 != next.0 || falls,
                    "{model} {}: a surer word may not be likelier wrong",
                    row.0
                );
            }
        }
    }
}
