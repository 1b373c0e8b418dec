//! Tokens that whisper.cpp chose, with the ones it nearly chose → words and runners-up. Pure: the recogniser is asked
//! only how a runner-up would have gone on.

use super::super::{
    listener::{RawWord, RunnerUp},
    plain::{begins_number, is_number, is_turning, plain},
};

/// One token that was chosen.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Token {
    pub id: i32,
    pub bytes: Vec<u8>,
    pub p: f32,
    /// Where the next token begins, in seconds from the start of the span.
    pub end_s: f64,
}

/// Tokens that were nearly chosen at one place, with their probabilities.
pub(super) type NearMisses = Vec<(i32, f32)>;

/// Tokens, and the near misses before each token and before the end.
#[derive(Debug, Clone, Default)]
pub(super) struct Chosen {
    pub tokens: Vec<Token>,
    pub near: Vec<NearMisses>,
}

/// A runner-up that touches a number or a turning word counts from this probability on, another from the second.
const LEAST_P: f32 = 0.02;
const LEAST_P_OTHER: f32 = 0.15;
/// So many runners-up of one span are followed up; each costs a few steps of the decoder.
const MOST_FOLLOWED: usize = 5;
/// So many tokens a runner-up is followed until it says the same as the words that were chosen.
const MOST_TOKENS: usize = 10;

/// How the recogniser would go on after other tokens, and how a token is written.
pub(super) trait Continue {
    /// The likeliest next token after these tokens of the span; none at the end.
    fn next(&mut self, tokens: &[i32]) -> Option<i32>;
    fn bytes(&self, token: i32) -> Vec<u8>;
    /// Whether the token ends the text.
    fn is_end(&self, token: i32) -> bool;
}

/// Token ranges of words: a token that begins with a blank begins a word.
fn word_ranges(tokens: &[Token]) -> Vec<(usize, usize)> {
    let mut ranges: Vec<(usize, usize)> = Vec::new();
    for (i, token) in tokens.iter().enumerate() {
        match ranges.last_mut() {
            Some(range) if !token.bytes.starts_with(b" ") => range.1 = i + 1,
            _ => ranges.push((i, i + 1)),
        }
    }
    // A lone blank is no word, it belongs to what follows ("" + "thirty").
    let blank = |range: &(usize, usize)| {
        tokens.get(range.0..range.1).is_none_or(|t| t.iter().all(|t| t.bytes.trim_ascii().is_empty()))
    };
    ranges.retain(|range| !blank(range));
    ranges
}

fn text(tokens: &[Token]) -> String {
    let bytes: Vec<u8> = tokens.iter().flat_map(|t| t.bytes.iter().copied()).collect();
    String::from_utf8_lossy(&bytes).trim().to_owned()
}

/// The words of the chosen tokens.
pub(super) fn words(tokens: &[Token]) -> Vec<RawWord> {
    let mut last_s = 0.0;
    let mut words = Vec::new();
    for (first, end) in word_ranges(tokens) {
        let part = tokens.get(first..end).unwrap_or_default();
        let to_s = part.last().map_or(last_s, |t| t.end_s).max(last_s);
        let p = part.iter().map(|t| t.p).fold(1.0, f32::min);
        words.push(RawWord { text: text(part), from_s: last_s, to_s, p });
        last_s = to_s;
    }
    words
}

/// A near miss that is worth following.
struct Branch {
    /// Tokens before it.
    at: usize,
    token: i32,
    p: f32,
    touches_number: bool,
}

/// Follows the near misses that may matter to the end of what they change.
pub(super) fn runners_up(chosen: &Chosen, model: &mut dyn Continue) -> Vec<RunnerUp> {
    let ranges = word_ranges(&chosen.tokens);
    let mut branches: Vec<Branch> = Vec::new();
    for (at, near) in chosen.near.iter().enumerate().take(chosen.tokens.len() + 1) {
        let taken = chosen.tokens.get(at).map(|t| t.id);
        for (token, p) in near.iter().filter(|(id, p)| Some(*id) != taken && *p >= LEAST_P) {
            if taken.is_none() && model.is_end(*token) {
                continue;
            }
            let touches_number = matters(chosen, &ranges, at, *token, model);
            if touches_number || *p >= LEAST_P_OTHER {
                branches.push(Branch { at, token: *token, p: *p, touches_number });
            }
        }
    }
    branches.sort_by(|a, b| b.touches_number.cmp(&a.touches_number).then(b.p.total_cmp(&a.p)));
    branches.truncate(MOST_FOLLOWED);
    let mut found: Vec<RunnerUp> = Vec::new();
    for branch in branches {
        let Some(runner) = follow(chosen, &ranges, &branch, model) else { continue };
        match found
            .iter_mut()
            .find(|r| (r.first, r.end) == (runner.first, runner.end) && r.text == runner.text)
        {
            Some(same) => same.p = same.p.max(runner.p),
            None => found.push(runner),
        }
    }
    found.sort_by(|a, b| a.first.cmp(&b.first).then(b.p.total_cmp(&a.p)));
    found
}

/// Whether a near miss stands in a number or a word like "not", or would begin one.
fn matters(chosen: &Chosen, ranges: &[(usize, usize)], at: usize, token: i32, model: &dyn Continue) -> bool {
    let important = |word: &str| plain(word).iter().any(|w| is_number(w) || is_turning(w));
    let range = ranges.iter().find(|(first, end)| (*first..*end).contains(&at));
    let here = range.and_then(|(first, end)| chosen.tokens.get(*first..*end)).map(text);
    if here.as_deref().is_some_and(important) {
        return true;
    }
    let bytes = model.bytes(token);
    let start = if bytes.starts_with(b" ") {
        Vec::new()
    } else {
        let first = range.or(ranges.last()).map_or(at, |r| r.0);
        chosen
            .tokens
            .get(first..at)
            .unwrap_or_default()
            .iter()
            .flat_map(|t| t.bytes.iter().copied())
            .collect()
    };
    let candidate = String::from_utf8_lossy(&[start, bytes].concat()).trim().to_lowercase();
    important(&candidate) || (candidate.len() > 1 && begins_number(&candidate))
}

/// Goes on from a near miss until the words are again those that were chosen, and says which range it reads how.
fn follow(
    chosen: &Chosen,
    ranges: &[(usize, usize)],
    branch: &Branch,
    model: &mut dyn Continue,
) -> Option<RunnerUp> {
    let mut path = chosen.tokens.get(..branch.at)?.to_vec();
    let mut ids: Vec<i32> = path.iter().map(|t| t.id).collect();
    let main: Vec<String> =
        ranges.iter().filter_map(|(first, end)| chosen.tokens.get(*first..*end)).map(text).collect();
    let mut next = Some(branch.token);
    let mut ended = false;
    for _ in 0..MOST_TOKENS {
        match next {
            Some(id) if !model.is_end(id) => {
                ids.push(id);
                path.push(Token { id, bytes: model.bytes(id), ..Token::default() });
            }
            _ => {
                ended = true;
                break;
            }
        }
        if let Some(found) = joined(&main, &path, branch, false) {
            return Some(found);
        }
        next = model.next(&ids);
    }
    joined(&main, &path, branch, ended)
}

/// Compares the words of a path with those that were chosen. Until the path has `ended`, its last word may go on.
fn joined(main: &[String], path: &[Token], branch: &Branch, ended: bool) -> Option<RunnerUp> {
    let mut other: Vec<String> =
        word_ranges(path).iter().filter_map(|(first, end)| path.get(*first..*end)).map(text).collect();
    if !ended {
        other.pop();
    }
    let first = main.iter().zip(&other).take_while(|(a, b)| a == b).count();
    let (tail, rest) = (main.get(first..)?, other.get(first..)?);
    if ended {
        let same = tail.iter().rev().zip(rest.iter().rev()).take_while(|(a, b)| a == b).count();
        let (tail, rest) = (tail.len() - same, rest.get(..rest.len() - same)?);
        let text = rest.join(" ");
        return (tail > 0 || !text.is_empty()).then_some(RunnerUp {
            first,
            end: first + tail,
            text,
            p: branch.p,
        });
    }
    // The last two words of the path must be two that follow each other in what was chosen.
    let (pair, changed) = (rest.get(rest.len().checked_sub(2)?..)?, rest.get(..rest.len() - 2)?);
    let skipped = tail.windows(2).take(changed.len() + 3).position(|two| two == pair)?;
    (skipped > 0 || !changed.is_empty()).then(|| RunnerUp {
        first,
        end: first + skipped,
        text: changed.join(" "),
        p: branch.p,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A model whose tokens are the strings below; it goes on as the table of continuations says.
    struct Table {
        tokens: Vec<&'static str>,
        goes_on: Vec<(&'static str, &'static str)>,
    }

    impl Table {
        fn id(&mut self, token: &'static str) -> i32 {
            let at = self.tokens.iter().position(|t| *t == token).unwrap_or_else(|| {
                self.tokens.push(token);
                self.tokens.len() - 1
            });
            i32::try_from(at).unwrap()
        }
    }

    impl Continue for Table {
        fn next(&mut self, tokens: &[i32]) -> Option<i32> {
            let so_far: String = tokens.iter().map(|t| self.tokens[usize::try_from(*t).unwrap()]).collect();
            let next = self.goes_on.iter().find(|(before, _)| *before == so_far).map(|(_, next)| *next)?;
            Some(self.id(next))
        }
        fn bytes(&self, token: i32) -> Vec<u8> {
            self.tokens[usize::try_from(token).unwrap()].as_bytes().to_vec()
        }
        fn is_end(&self, token: i32) -> bool {
            self.tokens[usize::try_from(token).unwrap()] == "<end>"
        }
    }

    /// Chosen tokens separated by `|`; `at` and `near`: the token that was nearly chosen instead of token `at`.
    #[track_caller]
    fn check(
        tokens: &'static str,
        at: usize,
        near: &'static str,
        goes_on: &[(&'static str, &'static str)],
        expect: &str,
    ) {
        let mut model = Table { tokens: Vec::new(), goes_on: goes_on.to_vec() };
        let chosen: Vec<Token> = tokens
            .split('|')
            .map(|t| Token { id: model.id(t), bytes: t.as_bytes().to_vec(), p: 0.9, end_s: 1.0 })
            .collect();
        let mut misses = vec![NearMisses::new(); chosen.len() + 1];
        misses[at].push((model.id(near), 0.3));
        let main = words(&chosen);
        let found = runners_up(&Chosen { tokens: chosen, near: misses }, &mut model);
        let show: Vec<String> = found
            .iter()
            .map(|r| {
                let instead: Vec<&str> = main[r.first..r.end].iter().map(|w| w.text.as_str()).collect();
                format!("{}>{}", instead.join(" "), r.text)
            })
            .collect();
        assert_eq!(show.join(", "), expect, "tokens: {tokens}");
    }

    #[test]
    fn a_runner_up_is_followed_to_the_end_of_its_word() {
        check(
            " clamp| forty| tight| now",
            1,
            " four",
            &[
                (" clamp four", "teen"),
                (" clamp fourteen", " tight"),
                (" clamp fourteen tight", " now"),
                (" clamp fourteen tight now", "<end>"),
            ],
            "forty>fourteen",
        );
    }

    #[test]
    fn a_word_that_may_not_be_there() {
        check(" four| six| nine", 2, "<end>", &[], "nine>");
    }

    #[test]
    fn a_number_that_may_have_been_left_out() {
        check(
            " hypo| percent| three| mils",
            1,
            " five",
            &[
                (" hypo five", " percent"),
                (" hypo five percent", " three"),
                (" hypo five percent three", " mils"),
                (" hypo five percent three mils", "<end>"),
            ],
            ">five",
        );
    }

    #[test]
    fn two_words_for_two() {
        check(
            " back| to| a| t",
            2,
            " eight",
            &[(" back to eight", " eighteen"), (" back to eight eighteen", "<end>")],
            "a t>eight eighteen",
        );
    }

    #[test]
    fn words_of_one_token_are_joined_by_their_blanks() {
        let tokens: Vec<Token> = [(" th", 0.5), ("irty", 0.9), (" six", 0.8)]
            .iter()
            .map(|(t, p)| Token { id: 0, bytes: t.as_bytes().to_vec(), p: *p, end_s: 1.0 })
            .collect();
        let heard: Vec<(String, f32)> = words(&tokens).into_iter().map(|w| (w.text, w.p)).collect();
        assert_eq!(heard, [("thirty".to_owned(), 0.5), ("six".to_owned(), 0.8)]);
    }
}
