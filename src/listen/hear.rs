//! One span → what was heard in it: listened to twice, loops listened to again another way, doubts from what differs.

use std::{
    collections::BTreeMap,
    sync::{Arc, atomic::AtomicBool},
};

use serde::{Deserialize, Serialize};

use super::{
    Error,
    listener::{Listener, Listening},
    merge::{self, Merged},
    plain::plain,
    repeats::{Repeat, repeat},
};

/// What is said about a span that nobody understood.
pub(super) const UNREADABLE: &str = "unreadable, listen";
/// What is said about a span in which somebody speaks, but no word was recognised.
pub(super) const NO_WORDS: &str = "speech without words, listen";
/// What is said where a recogniser may have written one utterance twice.
pub(super) const POSSIBLE_REPEAT: &str = "possible repeat";

/// The second listening hears the span this much faster. Another tempo moves every frame under the encoder, so that the
/// model errs elsewhere: on the noisy development audio it caught 11 of 21 wrong number words and differed from 1 of 285
/// right ones; a shifted start caught 9, the stock tiny.en 17 but differed from 53 right ones.
pub(super) const TEMPO: f64 = 1.09;
/// The third, where the first two leave a number in doubt, and for loops.
const TEMPO_OF_THIRD: f64 = 0.92;

/// Who listens a second time.
pub(super) enum Second<'a> {
    Nobody,
    /// The same model at another tempo.
    SameModel,
    /// Another model.
    Other(Box<dyn Listener + 'a>),
}

/// The ears of one worker.
pub(super) struct Ears<'a> {
    pub first: Box<dyn Listener + 'a>,
    pub second: Second<'a>,
    /// Nobody listens a second time where the first is sure ([`merge::wants_second`]): for the tuned model only, on which
    /// that was measured.
    pub sparing: bool,
}

/// What was heard in a span.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Heard {
    pub merged: Merged,
    pub remark: Option<&'static str>,
}

impl Ears<'_> {
    /// The names that other readings of the second and the third listening carry.
    pub(super) fn names(&self) -> (String, String) {
        let second = match &self.second {
            Second::Other(listener) => listener.name().to_owned(),
            _ => format!("{}, faster", self.first.name()),
        };
        (second, format!("{}, slower", self.first.name()))
    }

    /// Hears the samples of one span, of which `speech_s` seconds are speech.
    pub(super) fn hear(&mut self, samples: &[f32], speech_s: f64) -> Result<Heard, Error> {
        let first = self.once(samples)?;
        self.again(first, samples, speech_s)
    }

    /// The first listening alone.
    pub(super) fn once(&mut self, samples: &[f32]) -> Result<Listening, Error> {
        self.take(samples, Way::AsIs)
    }

    /// The further listenings after the first, as far as they are needed.
    pub(super) fn again(&mut self, first: Listening, samples: &[f32], speech_s: f64) -> Result<Heard, Error> {
        let second = match &self.second {
            Second::Nobody => None,
            Second::SameModel => Some(Way::Faster),
            Second::Other(_) => Some(Way::Other),
        };
        let sparing = self.sparing;
        hear(first, &mut |way| self.take(samples, way), second, sparing, speech_s)
    }

    /// Whether [`again`](Self::again) would listen any more than was done.
    pub(super) fn wants_again(&self, first: &Listening, speech_s: f64) -> bool {
        !matches!(self.second, Second::Nobody) && wants_more(first, self.sparing, speech_s)
    }

    /// See [`Listener::give_up_on`].
    pub(super) fn give_up_on(&mut self, raised: &Arc<AtomicBool>) {
        self.first.give_up_on(Arc::clone(raised));
        if let Second::Other(other) = &mut self.second {
            other.give_up_on(Arc::clone(raised));
        }
    }

    /// Hears the samples in every way that [`hear`] may ask of one model, whether it would ask or not.
    pub(super) fn tape(&mut self, samples: &[f32], speech_s: f64) -> Result<Takes, Error> {
        let mut takes = Takes::new();
        let as_is = self.take(samples, Way::AsIs)?;
        if matches!(verdict(&as_is, speech_s), Repeat::Twice { .. }) {
            takes.insert(Way::Wider, self.take(samples, Way::Wider)?);
        }
        takes.insert(Way::AsIs, as_is);
        for way in [Way::Faster, Way::Slower] {
            takes.insert(way, self.take(samples, way)?);
        }
        if matches!(self.second, Second::Other(_)) {
            takes.insert(Way::Other, self.take(samples, Way::Other)?);
        }
        Ok(takes)
    }

    fn take(&mut self, samples: &[f32], way: Way) -> Result<Listening, Error> {
        let first = self.first.as_mut();
        match (way, &mut self.second) {
            (Way::AsIs, _) => first.hear(samples, true),
            (Way::Other, Second::Other(listener)) => listener.hear(samples, false),
            (Way::Faster | Way::Other, _) => faster(first, samples, TEMPO),
            (Way::Slower, _) => faster(first, samples, TEMPO_OF_THIRD),
            (Way::Wider, _) => wider(first, samples),
        }
    }
}

/// In which way a span is listened to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    AsIs,
    Faster,
    Slower,
    /// With a second of silence after it.
    Wider,
    /// By the other model.
    Other,
}

/// What was heard of one span, by way.
pub(super) type Takes = BTreeMap<Way, Listening>;

/// Asks for the listenings that are needed after the first, one after the other, and makes one of them; `second`: the way
/// of the second, if there is one; `sparing`: only where the first is in doubt.
pub(super) fn hear(
    first: Listening,
    take: &mut dyn FnMut(Way) -> Result<Listening, Error>,
    second: Option<Way>,
    sparing: bool,
    speech_s: f64,
) -> Result<Heard, Error> {
    let same_model = second == Some(Way::Faster);
    let second = second.filter(|_| wants_more(&first, sparing, speech_s)).map(&mut *take).transpose()?;
    let second = second.filter(|s| verdict(s, speech_s) != Repeat::Loop);
    match (verdict(&first, speech_s), second) {
        (Repeat::Loop, Some(second)) if same_model => Ok(plainly(merge::alone(second))),
        (Repeat::Loop, _) => {
            let slower = take(Way::Slower)?;
            if verdict(&slower, speech_s) == Repeat::Loop {
                return Ok(Heard { remark: Some(UNREADABLE), ..Heard::default() });
            }
            Ok(plainly(merge::alone(slower)))
        }
        (Repeat::Twice { .. }, second) => {
            let once = |l: &Listening| verdict(l, speech_s) == Repeat::No;
            let halved = second.filter(|s| once(s) && says_half_of(s, &first));
            let halved = if halved.is_some() {
                halved
            } else {
                Some(take(Way::Wider)?).filter(|wide| once(wide) && says_half_of(wide, &first))
            };
            Ok(match halved {
                Some(listening) => plainly(merge::alone(listening)),
                None => Heard { merged: merge::alone(first), remark: Some(POSSIBLE_REPEAT) },
            })
        }
        (Repeat::No, Some(second)) => {
            let third = (same_model && merge::unsure(&first, &second))
                .then(|| take(Way::Slower))
                .transpose()?
                .filter(|third| verdict(third, speech_s) == Repeat::No);
            Ok(plainly(merge::merge(first, &second, third.as_ref(), same_model)))
        }
        (Repeat::No, None) => Ok(plainly(merge::alone(first))),
    }
}

fn wants_more(first: &Listening, sparing: bool, speech_s: f64) -> bool {
    !sparing || verdict(first, speech_s) != Repeat::No || merge::wants_second(first)
}

/// What was heard the first time, where it can stand until there is time to listen again: no loop, nothing said twice.
pub(super) fn alone(first: &Listening, speech_s: f64) -> Option<Heard> {
    (verdict(first, speech_s) == Repeat::No).then(|| plainly(merge::alone(first.clone())))
}

fn plainly(merged: Merged) -> Heard {
    Heard { merged, remark: None }
}

fn plain_words(listening: &Listening) -> Vec<String> {
    listening.words.iter().flat_map(|w| plain(&w.text)).collect()
}

fn verdict(listening: &Listening, speech_s: f64) -> Repeat {
    if listening.endless { Repeat::Loop } else { repeat(&plain_words(listening), speech_s) }
}

/// Whether `once` says what `twice` says twice.
fn says_half_of(once: &Listening, twice: &Listening) -> bool {
    let (once, twice) = (plain_words(once), plain_words(twice));
    twice.get(..twice.len() / 2) == Some(once.as_slice())
}

/// Hears the samples at another tempo; times are those of the samples.
fn faster(listener: &mut dyn Listener, samples: &[f32], tempo: f64) -> Result<Listening, Error> {
    let mut listening = listener.hear(&at_tempo(samples, tempo), false)?;
    for word in &mut listening.words {
        word.from_s *= tempo;
        word.to_s *= tempo;
    }
    Ok(listening)
}

/// Hears the samples with a second of silence after them, so that the window is wide.
fn wider(listener: &mut dyn Listener, samples: &[f32]) -> Result<Listening, Error> {
    let mut wide = samples.to_vec();
    wide.resize(samples.len() + crate::audio::RATE_HZ as usize, 0.0);
    listener.hear(&wide, true)
}

/// Every sample between two others, by their weighted mean. Pitch changes with tempo; that is meant.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "positions in half a minute of samples"
)]
fn at_tempo(samples: &[f32], tempo: f64) -> Vec<f32> {
    let count = (samples.len() as f64 / tempo) as usize;
    (0..count)
        .map(|i| {
            let at = i as f64 * tempo;
            let (before, part) = (at as usize, (at - at.floor()) as f32);
            let a = samples.get(before).copied().unwrap_or(0.0);
            let b = samples.get(before + 1).copied().unwrap_or(a);
            a + (b - a) * part
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{super::listener::RawWord, *};

    /// Says its lines one after the other; a line that begins with `!` never ends.
    struct Script(Vec<&'static str>);

    impl Listener for Script {
        fn name(&self) -> &'static str {
            "script"
        }
        fn hear(&mut self, _samples: &[f32], _runners_up: bool) -> Result<Listening, Error> {
            let line = self.0.remove(0);
            let text = line.trim_start_matches('!');
            let words = text
                .split_whitespace()
                .map(|w| RawWord { text: w.to_owned(), p: 0.85, ..RawWord::default() })
                .collect();
            Ok(Listening { words, endless: line.starts_with('!'), ..Listening::default() })
        }
    }

    /// What is heard if the listenings say these lines, in order; all lines must be used.
    #[track_caller]
    fn check(lines: &[&'static str], expect: &str) {
        let script = Box::new(Script(lines.to_vec()));
        let mut ears = Ears { first: script, second: Second::SameModel, sparing: true };
        let heard = ears.hear(&vec![0.0; 16_000], 4.0).unwrap();
        let text: Vec<&str> = heard.merged.words.iter().map(|w| w.raw.text.as_str()).collect();
        let remark = heard.remark.map(|r| format!(" [{r}]")).unwrap_or_default();
        assert_eq!(text.join(" ") + &remark, expect, "lines: {lines:?}");
    }

    #[test]
    fn loops_are_heard_again_another_way() {
        check(&["rubber dam on"], "rubber dam on");
        check(&["tooth three six", "tooth three six"], "tooth three six");
        check(&["!the the the", "tooth three six"], "tooth three six");
        check(&["so so so so so so so", "tooth three six"], "tooth three six");
        check(&["tooth three six", "!the the the"], "tooth three six");
        check(&["!the the", "!the the", "tooth three six"], "tooth three six");
        check(&["!the the", "!the the", "!the the"], " [unreadable, listen]");
    }

    #[test]
    fn what_was_said_twice_by_mistake_is_said_once() {
        let twice = "length twenty one length twenty one";
        check(&[twice, "length twenty one"], "length twenty one");
        check(&[twice, twice, "length twenty one"], "length twenty one");
        check(&[twice, twice, twice], "length twenty one length twenty one [possible repeat]");
        check(&[twice, "length twenty", twice], "length twenty one length twenty one [possible repeat]");
    }
}
