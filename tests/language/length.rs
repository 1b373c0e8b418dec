//! However long a text is and whatever stands in it, the time that it takes grows with its length and no faster.

use std::{
    sync::LazyLock,
    time::{Duration, Instant},
};

use tugback::{
    entries::{Extractor, Settings},
    listen::heard::Breath,
};

use crate::spoken;

/// Words in the short text; the long one has `TIMES` as many. Less where nothing is optimised.
const WORDS: usize = if cfg!(debug_assertions) { 62 } else { 375 };
const TIMES: usize = 16;
/// A square would be `TIMES` times `TIMES`; the rest is for the machine's own unrest, which was seen to double a time.
const AT_MOST: u32 = 48;
/// Whatever else disturbs only ever adds time: what is really linear shows it in one of so many tries.
const TRIES: usize = 5;
/// So long a text is read over and over before its time is taken.
const ENOUGH: Duration = Duration::from_millis(40);

/// Each is said over and over in one breath, without a pause.
const SHAPES: &[&str] = &[
    "file",
    "hypochlorite",
    "one",
    "ten",
    "1",
    "ten twenty",
    "five percent",
    "25/.06",
    "point five",
    "and a half",
    "no",
    "no,",
    "twenty no",
    "twenty, no,",
    "no, three.",
    "scratch that",
    "scratch that.",
    "size ten file. Scratch that.",
    "size ten file to length.",
    "irrigate two mils. No, three.",
    "if",
    "if it resists,",
    "if you we",
    "you always",
    "last visit we irrigated.",
    "is it ok?",
    "please,",
    "note that the tooth is fine",
    "because the bleeding",
    "before the irrigation",
    "the file",
    "we",
    "the",
    "and",
    "lot B C 4 7",
    "B",
    "distal",
    "distal no mesial",
    "both canals",
    "same",
    "another two minutes",
    "tooth 36",
    "number eight",
    "upper left six",
    "working length distal twenty one",
    "rotary twenty five oh six to length and then",
    "mesiobuckle distolingo",
    "cold on the two one,",
    "MB twenty five, ML same,",
    "actually the twenty was one short",
    "palatal infiltration then located MB canal with size 10",
    "tooth 37 access and",
    "in 37 I made access",
    "if it binds, pull back.",
    "it is twenty to two,",
    "é😀ß",
    ".",
    ",",
    "-",
    "'",
];

/// What this thread has worked so far: other processes do not count, where the system can tell.
fn worked() -> Duration {
    static START: LazyLock<Instant> = LazyLock::new(Instant::now);
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let first = told.as_deref().and_then(|t| t.split(' ').next()).and_then(|n| n.parse().ok());
    first.map_or_else(|| START.elapsed(), Duration::from_nanos)
}

/// The time for one of so many runs that the clock's ticks do not count.
fn time(extractor: &Extractor, breaths: &[Breath]) -> Duration {
    let (start, mut runs) = (worked(), 0);
    loop {
        std::hint::black_box(extractor.extract(breaths));
        runs += 1;
        let took = worked().saturating_sub(start);
        if took >= ENOUGH {
            return took / runs;
        }
    }
}

/// Nothing where the long text takes at most `AT_MOST` times as long as the short one.
fn too_slow(short: &[Breath], long: &[Breath]) -> Option<String> {
    let extractor = Extractor::new(Settings::default());
    let (mut least, mut most) = (Duration::MAX, Duration::MAX);
    for _ in 0..TRIES {
        least = least.min(time(&extractor, short));
        most = most.min(time(&extractor, long));
        if most <= least * AT_MOST {
            return None;
        }
    }
    Some(format!("{least:.1?} became {most:.1?}"))
}

#[test]
fn any_shape_is_linear() {
    let wrong: Vec<String> = SHAPES
        .iter()
        .filter_map(|shape| {
            let said = |words: usize| {
                let text = format!("{shape} ").repeat(words / shape.split(' ').count());
                [Breath::from_text(0.0, 4000.0, &text)]
            };
            too_slow(&said(WORDS), &said(WORDS * TIMES)).map(|why| format!("{shape:?}: {why}"))
        })
        .collect();
    assert!(
        wrong.is_empty(),
        "{TIMES} times the words, more than {AT_MOST} times the time:\n{}",
        wrong.join("\n")
    );
}

/// Letters, digits and marks without a blank.
#[test]
fn one_giant_word_is_linear() {
    let wrong: Vec<String> = ["x", "1", "1.", "a1-", "é", "'", "no,", "25/.06", "½"]
        .iter()
        .filter_map(|shape| {
            let said = |times: usize| [Breath::from_text(0.0, 9.0, &shape.repeat(times))];
            too_slow(&said(WORDS), &said(WORDS * TIMES)).map(|why| format!("{shape:?}: {why}"))
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// One dictation after another, in breaths and in a single one without a full stop.
#[test]
fn dictation_is_linear() {
    let short = spoken::dictation(WORDS * 2);
    let long = spoken::dictation(WORDS * 2 * TIMES);
    assert_eq!(too_slow(&short, &long), None);
    let one = |breaths: &[Breath]| {
        let text: Vec<String> = breaths.iter().map(|b| b.text().replace(['.', '?', '!', ';'], "")).collect();
        [Breath::from_text(0.0, 4000.0, &text.join(" "))]
    };
    assert_eq!(too_slow(&one(&short), &one(&long)), None);
}
