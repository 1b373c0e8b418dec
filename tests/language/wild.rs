//! Dictation gone wild: own lines with words swapped, lost, doubled, glued, cut and strewn with other words, numbers and
//! signs. Whatever comes in: no panic, no hang, no word lost, and no number that nobody said.
//!
//! A short run with fixed seeds is part of the tests. `TUGBACK_SOAK_SECONDS=600 cargo test --test language wild` runs for
//! that long with new seeds and prints what fails, made as small as it gets.

use std::{
    collections::HashMap,
    sync::LazyLock,
    time::{Duration, Instant},
};

use proptest::{
    prelude::*,
    test_runner::{Config, RngAlgorithm, TestRng, TestRunner},
};
use tugback::{
    entries::{Extracted, Extractor, Notation, Settings},
    kinds,
    listen::heard::Breath,
    log::{Entry, Value},
    words::{
        Decimal,
        line::Line,
        slot::{self, Slot},
        vocabulary::{self, BUILT_IN},
    },
};

use crate::spoken;

/// Three breaths may take so long before it counts as a hang: a thousand times what they take.
const HANG: Duration = Duration::from_secs(20);

/// Own lines, cut into words; ` // ` is a word of its own.
static LINES: LazyLock<Vec<Vec<String>>> = LazyLock::new(|| {
    spoken::lines().iter().map(|l| l.split_whitespace().map(str::to_owned).collect()).collect()
});

/// Everything that any vocabulary knows, and what none does.
static WORDS: LazyLock<Vec<String>> = LazyLock::new(|| {
    const OTHERS: &[&str] = &[
        "//",
        "//",
        ".",
        ",",
        "?",
        ";",
        "-",
        "/",
        "%",
        "#",
        "½",
        "é",
        "\u{202e}",
        "0",
        "00",
        "007",
        "1e9",
        "-5",
        "٣",
        "２５",
        "twenty",
        "five",
        "oh",
        "point",
        "half",
        "hundred",
        "thousand",
        "and",
        "a",
        "to",
        "no,",
        "25/.06",
        "21.",
        "5",
        "2150",
        "1:100,000",
        "99999999999999999999",
        "0.0000001",
        ".5.5",
        "100,00",
        "fifteen",
        "won",
        "ate",
        "tea",
        "double",
        "ml",
        "mm",
        "minutes",
        "percent",
        "short",
        "beyond",
    ];
    let forms = vocabulary::texts().filter_map(|t| std::str::from_utf8(t).ok()).flat_map(vocabulary::rows);
    let forms = forms.filter_map(|row| row.first().copied()).flat_map(|f| f.split('|'));
    let forms = forms.map(|f| f.trim().trim_start_matches('~').to_owned()).filter(|f| !f.is_empty());
    forms.chain(OTHERS.iter().map(|w| (*w).to_owned())).collect()
});

#[derive(Debug, Clone)]
enum Change {
    Drop(usize),
    Double(usize),
    Swap(usize, usize),
    Put(usize, usize),
    Glue(usize),
    Shout(usize),
    Cut(usize),
    Repeat(usize, usize),
}

#[expect(clippy::indexing_slicing, reason = "every index is taken modulo the length")]
fn change(words: &mut Vec<String>, change: &Change) {
    let n = words.len();
    if n == 0 {
        return;
    }
    let at = |i: &usize| i % n;
    match change {
        Change::Drop(i) => drop(words.remove(at(i))),
        Change::Double(i) => words.insert(at(i), words[at(i)].clone()),
        Change::Swap(i, k) => words.swap(at(i), at(k)),
        Change::Put(i, w) => words.insert(at(i), WORDS[w % WORDS.len()].clone()),
        Change::Glue(i) if at(i) + 1 < n => {
            let next = words.remove(at(i) + 1);
            words[at(i)].push_str(&next);
        }
        Change::Glue(_) => {}
        Change::Shout(i) => words[at(i)] = words[at(i)].to_uppercase(),
        Change::Cut(i) => {
            let half = words[at(i)].chars().count() / 2;
            words[at(i)] = words[at(i)].chars().take(half.max(1)).collect();
        }
        Change::Repeat(i, times) => {
            for _ in 0..times % 20 {
                words.insert(at(i), words[at(i)].clone());
            }
        }
    }
}

fn said() -> impl Strategy<Value = String> {
    let any = any::<usize>;
    let changes = prop_oneof![
        any().prop_map(Change::Drop),
        any().prop_map(Change::Double),
        (any(), any()).prop_map(|(i, k)| Change::Swap(i, k)),
        (any(), any()).prop_map(|(i, w)| Change::Put(i, w)),
        (any(), any()).prop_map(|(i, w)| Change::Put(i, w)),
        any().prop_map(Change::Glue),
        any().prop_map(Change::Shout),
        any().prop_map(Change::Cut),
        (any(), any()).prop_map(|(i, n)| Change::Repeat(i, n)),
    ];
    let lines = prop::collection::vec(any().prop_map(|i| i % LINES.len()), 1..5);
    (lines, prop::collection::vec(changes, 0..12)).prop_map(|(lines, changes)| {
        let mut words: Vec<String> = lines
            .iter()
            .flat_map(|i| LINES.get(*i).into_iter().flatten().cloned().chain(["//".to_owned()]))
            .collect();
        for c in &changes {
            change(&mut words, c);
        }
        words.join(" ")
    })
}

fn breaths(said: &str) -> Vec<Breath> {
    let from = |n: u16| f64::from(n) * 5.0;
    said.split("//").zip(0_u16..).map(|(t, n)| Breath::from_text(from(n), from(n) + 4.0, t)).collect()
}

/// Every word with a letter or digit stands in an entry or in the unplaced speech at its own time, or among the words
/// that later completed or corrected an entry.
fn lost(breaths: &[Breath], found: &Extracted) -> Option<String> {
    let holds = |text: &str, word: &str| text.split_whitespace().any(|w| w == word);
    let words = breaths.iter().flat_map(|b| &b.words);
    words
        .filter(|w| w.text.chars().any(char::is_alphanumeric))
        .find(|w| {
            let middle = f64::midpoint(w.from_s, w.to_s);
            let there =
                |from: f64, to: f64, text: &str| from <= middle && middle <= to && holds(text, &w.text);
            let later = |e: &Entry| e.said.split_once(" … ").is_some_and(|(_, rest)| holds(rest, &w.text));
            !found.unplaced.iter().any(|u| there(u.from_s, u.to_s, &u.said))
                && !found.entries.iter().any(|e| there(e.from_s, e.to_s, &e.said) || later(e))
        })
        .map(|w| w.text.clone())
}

/// Numbers that a kind's file gives by itself ("to length" is 0).
static FIXED: LazyLock<HashMap<(String, String), Vec<Decimal>>> = LazyLock::new(|| {
    let mut out: HashMap<_, Vec<Decimal>> = HashMap::new();
    for kind in &kinds::BUILT_IN.all {
        let given =
            kind.fields.iter().flat_map(|(f, field)| field.hear.iter().map(move |h| (f, h.gives.as_ref())));
        let set = kind.rules.iter().flat_map(|r| r.sets.iter().map(|(f, v)| (f, Some(v))));
        for (field, value) in given.chain(set) {
            if let Some(n) = value.and_then(Value::number) {
                out.entry((kind.name.clone(), field.clone())).or_default().push(n);
            }
        }
    }
    out
});

/// Each number of an entry, or what its doubt says that it may be, can be read in the entry's own words, in some slot and
/// unit; but those that its kind gives, and those that are carried from an entry before.
fn unsaid(e: &Entry) -> Option<String> {
    let line = Line::new(&Breath::from_text(0.0, 4.0, &e.said), &BUILT_IN);
    let mut read: Vec<Decimal> = vec![];
    for i in 0..line.items.len() {
        for slot in Slot::ALL {
            let readings = slot::read(slot, &line, i);
            read.extend(readings.into_iter().flat_map(|r| [Some(r.value), r.taper]).flatten());
        }
    }
    e.values
        .iter()
        .filter(|(field, _)| !e.carried.contains(field))
        .filter_map(|(field, v)| Some((field, v.number()?)))
        .find(|(field, n)| {
            let fixed = FIXED.get(&(e.kind.clone(), (*field).clone()));
            let said = |n: Decimal| {
                [1, 60, 3600, 1000].iter().any(|u| read.iter().any(|r| r.saturating_times(*u) == n))
            };
            let doubts = e.doubts.iter().filter(|d| d.field == **field);
            let or = doubts.flat_map(|d| &d.alternatives).filter_map(Value::number).any(said);
            !said(*n) && !or && !fixed.is_some_and(|f| f.contains(n))
        })
        .map(|(field, n)| format!("{field}={n} of {} {:?}", e.kind, e.said))
}

fn holds(said: &str, notation: Notation) -> Result<(), TestCaseError> {
    let extractor = Extractor::new(Settings { notation, ..Settings::default() });
    let breaths = breaths(said);
    let start = Instant::now();
    let found = extractor.extract(&breaths);
    prop_assert!(start.elapsed() < HANG, "it took {:?}: {said:?}", start.elapsed());
    prop_assert_eq!(lost(&breaths, &found), None, "a word is lost: {:?}", said);
    for e in &found.entries {
        prop_assert_eq!(unsaid(e), None, "a number that nobody said: {:?}", said);
    }
    Ok(())
}

#[test]
fn wild() {
    let seconds = std::env::var("TUGBACK_SOAK_SECONDS").ok().and_then(|s| s.parse().ok());
    let cases = if cfg!(debug_assertions) { 400 } else { 4000 };
    let config = Config { cases, failure_persistence: None, max_shrink_iters: 20_000, ..Config::default() };
    let notation = prop::sample::select(vec![Notation::Iso3950, Notation::Universal, Notation::Palmer]);
    let all = (said(), notation);
    let judge = |(said, notation): (String, Notation)| holds(&said, notation);
    let Some(seconds) = seconds.map(Duration::from_secs) else {
        let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]);
        TestRunner::new_with_rng(config, rng).run(&all, judge).unwrap_or_else(|e| panic!("{e}"));
        return;
    };
    let (start, mut runs) = (Instant::now(), 0);
    while start.elapsed() < seconds {
        TestRunner::new(config.clone()).run(&all, judge).unwrap_or_else(|e| panic!("{e}"));
        runs += cases;
    }
    eprintln!("wild: {runs} dictations");
}
