//! Two listenings of one span → one, with what the other heard kept beside it. Where they differ, a third listening
//! decides; without one, or where it sides with nobody, the surer one is taken. No reading is lost.

use super::{
    align::{Difference, differences},
    listener::{Listening, RawWord, RunnerUp},
    plain::{is_number, is_turning, plain},
};

/// A word after both listenings.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Word {
    pub raw: RawWord,
    pub backing: Backing,
}

/// What the other listening says about a word.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Backing {
    /// There was one listening only.
    Alone,
    /// There were two, and both heard it; the other one with this probability.
    Both(f32),
    /// All three heard it; the second one with this probability.
    All(f32),
    /// Two of three heard it; the less sure of them with this probability.
    Most(f32),
    /// Nobody else heard it.
    Against,
}

/// What a part of the words may have been instead.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Other {
    pub first: usize,
    pub end: usize,
    pub text: String,
    /// The lowest probability that its listener gave to a word of it.
    pub p: f32,
    pub by: By,
}

/// Who heard it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    /// The recogniser nearly chose it.
    RunnerUp,
    /// The second listening.
    Second,
    /// The third listening.
    Third,
}

/// Both listenings in one.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Merged {
    pub words: Vec<Word>,
    pub others: Vec<Other>,
}

/// One listening alone.
pub(super) fn alone(first: Listening) -> Merged {
    let others = first
        .runners_up
        .into_iter()
        .map(|r| Other { first: r.first, end: r.end, text: r.text, p: r.p, by: By::RunnerUp })
        .collect();
    let words = first.words.into_iter().map(|raw| Word { raw, backing: Backing::Alone }).collect();
    Merged { words, others }
}

/// Words that only one of two listenings heard are taken from this mean probability on; less is often noise.
const LEAST_P_ADDED: f32 = 0.75;
const LEAST_P_KEPT: f32 = 0.5;

/// A number below this probability is listened to a third time. On the development audio two listenings agreed in 91
/// wrong number words, 51 of them below, and in 3285 right ones, 188 of them below.
const SURE: f32 = 0.8;

/// A number is heard a second time below this probability, any word below the second: it may hide a number.
const CONFIDENT: f32 = 0.9;
const HARDLY: f32 = 0.3;

/// Whether a second listening is worth its time: the first was not confident of a number or of a word that turns a fact
/// round, nearly heard another one, or hardly understood some word. In the rest of the development audio, half of it, the
/// second heard a number or such a word differently in two breaths, and was wrong in both.
pub(super) fn wants_second(first: &Listening) -> bool {
    let matters = |text: &str| {
        text.split_whitespace().flat_map(plain).any(|word| is_number(&word) || is_turning(&word))
    };
    let nearly = |r: &RunnerUp| {
        let instead = first.words.get(r.first..r.end).unwrap_or_default();
        matters(&r.text) || instead.iter().any(|w| matters(&w.text))
    };
    first.words.iter().any(|w| w.p < HARDLY || w.p < CONFIDENT && matters(&w.text))
        || first.runners_up.iter().any(nearly)
}

/// Whether a third listening is worth its time: the two differ in a number or in a word that turns a fact round, or one
/// of them was not sure of a number.
pub(super) fn unsure(first: &Listening, second: &Listening) -> bool {
    let (ours, _) = plain_words(&first.words);
    let (theirs, _) = plain_words(&second.words);
    let matters = |words: &[String], from: usize, to: usize| {
        words.get(from..to).unwrap_or_default().iter().any(|w| is_number(w) || is_turning(w))
    };
    let weak = |w: &RawWord| w.p < SURE && plain(&w.text).iter().any(|w| is_number(w));
    first.words.iter().chain(&second.words).any(weak)
        || differences(&ours, &theirs)
            .iter()
            .any(|d| matters(&ours, d.first, d.end) || matters(&theirs, d.other_first, d.other_end))
}

/// Whether a listening with these differences from another one says what words `from..to` of that one say.
fn says(differences: &[Difference], from: usize, to: usize) -> bool {
    !differences.iter().any(|d| {
        let overlap = d.first < to && d.end > from;
        let nothing = from == to || d.first == d.end;
        overlap
            || (nothing && d.first <= to && d.end >= from && (from == to || (d.first > from && d.end < to)))
    })
}

/// What the third listening has to say about the other two.
struct Third {
    of_first: Vec<Difference>,
    of_second: Vec<Difference>,
}

/// Plain words of the words `first..end`, given the word that each plain word comes from.
fn plain_range(owner: &[usize], first: usize, end: usize) -> (usize, usize) {
    (owner.partition_point(|w| *w < first), owner.partition_point(|w| *w < end))
}

/// Takes the surer reading of every part. With `replace` false, the second only casts doubt: it is a model whose
/// probabilities cannot be compared.
pub(super) fn merge(
    first: Listening,
    second: &Listening,
    third: Option<&Listening>,
    replace: bool,
) -> Merged {
    let (ours, our_word) = plain_words(&first.words);
    let (theirs, their_word) = plain_words(&second.words);
    let judge = third.map(|third| {
        let (words, _) = plain_words(&third.words);
        Third { of_first: differences(&ours, &words), of_second: differences(&theirs, &words) }
    });
    let mut merged = Merged::default();
    // Where each of our words went; none if the other reading was taken.
    let mut places: Vec<Option<usize>> = Vec::new();
    let mut at = 0;
    for part in parts(&ours, &our_word, &theirs, &their_word, (first.words.len(), second.words.len())) {
        let (a, b) = (
            first.words.get(part.first..part.end).unwrap_or_default(),
            second.words.get(part.other_first..part.other_end).unwrap_or_default(),
        );
        for (raw, other) in first.words.get(at..part.first).unwrap_or_default().iter().zip(part.agreed.iter())
        {
            places.push(Some(merged.words.len()));
            let p = second.words.get(*other).map_or(raw.p, |w| w.p);
            let (from, to) = plain_range(&our_word, places.len() - 1, places.len());
            let backing = match &judge {
                None => Backing::Both(p),
                Some(judge) if says(&judge.of_first, from, to) => Backing::All(p),
                Some(_) => Backing::Most(p),
            };
            merged.words.push(Word { raw: raw.clone(), backing });
        }
        at = part.end;
        let votes = judge.as_ref().map(|judge| {
            let (from, to) = plain_range(&our_word, part.first, part.end);
            let (other_from, other_to) = plain_range(&their_word, part.other_first, part.other_end);
            (says(&judge.of_first, from, to), says(&judge.of_second, other_from, other_to))
        });
        let kept = match votes {
            Some((true, false)) => true,
            Some((false, true)) => !replace,
            _ => !(replace && surer(a, b)),
        };
        let backed = matches!(votes, Some((ours, theirs)) if ours != theirs);
        let (taken, spared) = if kept { (a, b) } else { (b, a) };
        let start = merged.words.len();
        places.extend((0..a.len()).map(|i| kept.then_some(start + i)));
        let backing = |raw: &RawWord| if backed { Backing::Most(raw.p) } else { Backing::Against };
        merged.words.extend(taken.iter().map(|raw| Word { raw: raw.clone(), backing: backing(raw) }));
        if !(a.is_empty() && b.is_empty()) {
            let text = spared.iter().map(|w| w.text.as_str()).collect::<Vec<_>>().join(" ");
            let p = spared.iter().map(|w| w.p).reduce(f32::min).unwrap_or_else(|| doubt_of(taken));
            merged.others.push(Other { first: start, end: merged.words.len(), text, p, by: By::Second });
        }
    }
    if let Some(third) = third {
        add_third(&mut merged, third);
    }
    for runner in first.runners_up {
        let place = |i: usize| places.get(i).copied().flatten();
        let range = if runner.first == runner.end {
            match place(runner.first) {
                Some(i) => Some((i, i)),
                None if runner.first == places.len() => Some((merged.words.len(), merged.words.len())),
                None => None,
            }
        } else {
            place(runner.first).zip(place(runner.end - 1)).map(|(a, b)| (a, b + 1))
        };
        let Some((first, end)) = range else { continue };
        merged.add(Other { first, end, text: runner.text, p: runner.p, by: By::RunnerUp });
    }
    merged.others.sort_by(|a, b| a.first.cmp(&b.first).then(b.p.total_cmp(&a.p)));
    merged
}

impl Merged {
    /// Keeps a reading, unless it is known.
    fn add(&mut self, other: Other) {
        let same =
            |o: &Other| (o.first, o.end) == (other.first, other.end) && plain(&o.text) == plain(&other.text);
        if !self.others.iter().any(same) {
            self.others.push(other);
        }
    }
}

/// Keeps what the third listening heard in another way than what was taken.
fn add_third(merged: &mut Merged, third: &Listening) {
    let taken: Vec<RawWord> = merged.words.iter().map(|w| w.raw.clone()).collect();
    let (ours, our_word) = plain_words(&taken);
    let (theirs, their_word) = plain_words(&third.words);
    for part in parts(&ours, &our_word, &theirs, &their_word, (taken.len(), third.words.len())) {
        let spared = third.words.get(part.other_first..part.other_end).unwrap_or_default();
        let here = taken.get(part.first..part.end).unwrap_or_default();
        if here.is_empty() && spared.is_empty() {
            continue;
        }
        let text = spared.iter().map(|w| w.text.as_str()).collect::<Vec<_>>().join(" ");
        let p = spared.iter().map(|w| w.p).reduce(f32::min).unwrap_or_else(|| doubt_of(here));
        merged.add(Other { first: part.first, end: part.end, text, p, by: By::Third });
    }
}

/// The words `b` are surer than the words `a`.
fn surer(a: &[RawWord], b: &[RawWord]) -> bool {
    match (mean(a), mean(b)) {
        (None, Some(b)) => b >= LEAST_P_ADDED,
        (Some(a), None) => a < LEAST_P_KEPT,
        (Some(a), Some(b)) => b > a,
        (None, None) => false,
    }
}

fn mean(words: &[RawWord]) -> Option<f32> {
    #[expect(clippy::cast_precision_loss, reason = "words of one breath")]
    (!words.is_empty()).then(|| words.iter().map(|w| w.p).sum::<f32>() / words.len() as f32)
}

fn doubt_of(words: &[RawWord]) -> f32 {
    1.0 - mean(words).unwrap_or(0.5)
}

/// Plain words, and for each the word that it comes from.
fn plain_words(words: &[RawWord]) -> (Vec<String>, Vec<usize>) {
    words
        .iter()
        .enumerate()
        .flat_map(|(i, word)| plain(&word.text).into_iter().map(move |plain| (plain, i)))
        .unzip()
}

/// A range in which the listenings differ, in whole words, after words in which they agree.
struct Part {
    first: usize,
    end: usize,
    other_first: usize,
    other_end: usize,
    /// For our words since the last part: the word of the other listening that says the same.
    agreed: Vec<usize>,
}

/// Cuts both listenings into parts that agree and parts that differ; the last part is empty on both sides.
fn parts(
    ours: &[String],
    our_word: &[usize],
    theirs: &[String],
    their_word: &[usize],
    (n, m): (usize, usize),
) -> Vec<Part> {
    let (a, b) = (
        |i: usize| our_word.get(i).copied().unwrap_or(n),
        |j: usize| their_word.get(j).copied().unwrap_or(m),
    );
    let mut found: Vec<Part> = Vec::new();
    for d in differences(ours, theirs) {
        // From plain words to whole words: a range ends after the word that its last plain word belongs to.
        let end = if d.end > d.first { a(d.end - 1) + 1 } else { a(d.end) };
        let other_end = if d.other_end > d.other_first { b(d.other_end - 1) + 1 } else { b(d.other_end) };
        let (first, other_first) = (a(d.first).min(end), b(d.other_first).min(other_end));
        match found.last_mut() {
            Some(last) if first < last.end || other_first < last.other_end => {
                (last.end, last.other_end) = (last.end.max(end), last.other_end.max(other_end));
            }
            _ => found.push(Part { first, end, other_first, other_end, agreed: Vec::new() }),
        }
    }
    found.push(Part { first: n, end: n, other_first: m, other_end: m, agreed: Vec::new() });
    let (mut at, mut other_at) = (0, 0);
    for part in &mut found {
        // In between, plain words are equal one by one; words may still be cut differently ("twenty-five").
        let count = part.first.saturating_sub(at);
        let others = part.other_first.saturating_sub(other_at);
        part.agreed = (0..count)
            .map(|i| other_at + if count == others { i } else { i * others / count.max(1) })
            .collect();
        (at, other_at) = (part.end, part.other_end);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `word:0.9`, without a number 0.95.
    fn listening(text: &str) -> Listening {
        let words = text
            .split_whitespace()
            .map(|w| {
                let (text, p) = w.split_once(':').unwrap_or((w, "0.95"));
                RawWord { text: text.to_owned(), p: p.parse().unwrap(), ..RawWord::default() }
            })
            .collect();
        Listening { words, ..Listening::default() }
    }

    fn show(merged: &Merged) -> String {
        let words: Vec<String> = merged
            .words
            .iter()
            .map(|w| match w.backing {
                Backing::Alone => format!("{}?", w.raw.text),
                Backing::Both(_) | Backing::All(_) => w.raw.text.clone(),
                Backing::Most(_) => format!("{}~", w.raw.text),
                Backing::Against => format!("{}!", w.raw.text),
            })
            .collect();
        let others: Vec<String> =
            merged.others.iter().map(|o| format!("{}..{} {}", o.first, o.end, o.text)).collect();
        format!("{} | {}", words.join(" "), others.join(", "))
    }

    #[track_caller]
    fn check(first: &str, second: &str, expect: &str) {
        let merged = merge(listening(first), &listening(second), None, true);
        assert_eq!(show(&merged), expect, "first: {first}, second: {second}");
    }

    #[test]
    fn the_surer_reading_is_taken() {
        check("tooth three six", "tooth three six", "tooth three six | ");
        check("stop at sixty:0.5 now", "stop at sixteen:0.8 now", "stop at sixteen! now | 2..3 sixty");
        check("stop at sixteen:0.8 now", "stop at sixty:0.5 now", "stop at sixteen! now | 2..3 sixty");
        check("an a:0.6 t:0.3", "an eight:0.8 eighteen:0.9", "an eight! eighteen! | 1..3 a t");
    }

    #[test]
    fn words_of_one_side_only() {
        check("four six nine:0.3", "four six", "four six | 2..2 nine");
        check("four six nine:0.8", "four six", "four six nine! | 2..3 ");
        check("hypo percent", "hypo five:0.9 percent", "hypo five! percent | 1..2 ");
        check("hypo percent", "hypo five:0.4 percent", "hypo percent | 1..1 five");
        check("", "you:0.3", " | 0..0 you");
    }

    #[test]
    fn digits_and_words_agree() {
        check("size twenty five", "size 25", "size twenty five | ");
        check("size 25/04 in", "size twenty five slash oh four in", "size 25/04 in | ");
        check("size 25 to length", "size fifteen to length", "size 25! to length | 1..2 fifteen");
    }

    #[test]
    fn a_strange_model_only_casts_doubt() {
        let merged = merge(listening("clamp fourteen:0.3"), &listening("clamp forty:0.99"), None, false);
        assert_eq!(show(&merged), "clamp fourteen! | 1..2 forty");
    }

    #[track_caller]
    fn check_three(first: &str, second: &str, third: &str, expect: &str) {
        let merged = merge(listening(first), &listening(second), Some(&listening(third)), true);
        assert_eq!(show(&merged), expect, "first: {first}, second: {second}, third: {third}");
    }

    #[test]
    fn a_third_listening_decides() {
        let (fifteen, fifty) = ("size fifteen:0.6 in", "size fifty:0.8 in");
        check_three(fifteen, fifty, "size fifteen in", "size fifteen~ in | 1..2 fifty");
        check_three(fifteen, fifty, "size fifty in", "size fifty~ in | 1..2 fifteen");
        check_three(fifteen, fifty, "size fitting in", "size fifty! in | 1..2 fitting, 1..2 fifteen");
        check_three(fifteen, fifteen, "size fifty in", "size fifteen~ in | 1..2 fifty");
        check_three(fifteen, fifteen, fifteen, "size fifteen in | ");
        check_three(
            "hypo percent",
            "hypo five:0.4 percent",
            "hypo five percent",
            "hypo five~ percent | 1..2 ",
        );
        check_three("hypo percent", "hypo five:0.9 percent", "hypo percent", "hypo percent | 1..1 five");
        check_three("hypo five percent", "hypo five percent", "hypo percent", "hypo five~ percent | 1..2 ");
    }

    #[track_caller]
    fn check_second(first: &str, runner_up: (usize, &str), expect: bool) {
        let mut first = listening(first);
        let (at, text) = runner_up;
        first.runners_up = vec![RunnerUp { first: at, end: at + 1, text: text.into(), p: 0.1 }];
        assert_eq!(wants_second(&first), expect, "first: {first:?}");
    }

    #[test]
    fn only_what_may_be_wrong_is_heard_twice() {
        check_second("size fifteen now", (2, "then"), false);
        check_second("size fifteen:0.85 now", (2, "then"), true);
        check_second("size fifteen now", (1, "fitting"), true);
        check_second("go to length", (1, "two"), true);
        check_second("it did not:0.8 go", (0, "he"), true);
        check_second("rubber:0.7 dam on", (0, "robber"), false);
        check_second("rubber:0.2 dam on", (0, "robber"), true);
    }

    #[track_caller]
    fn check_unsure(first: &str, second: &str, expect: bool) {
        assert_eq!(unsure(&listening(first), &listening(second)), expect, "first: {first}, second: {second}");
    }

    #[test]
    fn only_doubtful_numbers_are_heard_a_third_time() {
        check_unsure("size fifteen in", "size fifteen in", false);
        check_unsure("size fifteen in", "size fifty in", true);
        check_unsure("size fifteen:0.7 in", "size fifteen in", true);
        check_unsure("size fifteen in", "size fifteen:0.7 in", true);
        check_unsure("size:0.3 fifteen in", "sized fifteen in", false);
        check_unsure("size to in", "size two in", true);
        check_unsure("did not go", "did go", true);
    }

    #[test]
    fn runners_up_follow_their_words() {
        let mut first = listening("a t:0.3 stop at sixty");
        first.runners_up = vec![
            RunnerUp { first: 0, end: 2, text: "eight".into(), p: 0.1 },
            RunnerUp { first: 4, end: 5, text: "sixteen".into(), p: 0.2 },
            RunnerUp { first: 5, end: 5, text: "five".into(), p: 0.1 },
        ];
        let merged = merge(first, &listening("eighteen:0.9 stop at sixty"), None, true);
        assert_eq!(show(&merged), "eighteen! stop at sixty | 0..1 a t, 3..4 sixteen, 4..4 five");
    }
}
