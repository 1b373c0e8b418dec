//! Signals of heard words whose truth is known → the table of doubts, and how far it can be relied on.

use std::{collections::BTreeMap, fs};

/// Lower ends of the classes of scores from which the table is fitted.
const EDGES: [f32; 13] = [0.0, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97];
/// Fewer words are joined with the next class.
const LEAST_WORDS: usize = 8;

/// One heard word: model and group as in the table.
pub(super) struct Word {
    group: (String, String),
    score: f32,
    wrong: bool,
    session: String,
}

/// Reads what `calibrate listen` wrote.
pub(super) fn read(files: &[&str]) -> Result<Vec<Word>, Box<dyn std::error::Error>> {
    let mut words = Vec::new();
    for file in files {
        for line in fs::read_to_string(file)?.lines() {
            let mut fields = line.split('\t');
            let mut next =
                || fields.next().ok_or_else(|| format!("`{file}` has a line that is no signal: {line}"));
            let group = (next()?.to_owned(), next()?.to_owned());
            let (score, wrong, session) = (next()?.parse()?, next()? == "1", next()?.to_owned());
            words.push(Word { group, score, wrong, session });
        }
    }
    Ok(words)
}

/// One row of the table while it is fitted.
#[derive(Clone, Copy)]
struct Row {
    from: f32,
    words: u32,
    wrong: u32,
}

impl Row {
    /// Half an error is added, so that what was never seen wrong is not called impossible.
    fn p(self) -> f64 {
        (f64::from(self.wrong) + 0.5) / (f64::from(self.words) + 1.0)
    }
}

type Table = BTreeMap<(String, String), Vec<Row>>;

fn fitted<'a>(words: impl Iterator<Item = &'a Word>) -> Table {
    let mut groups: BTreeMap<(String, String), Vec<(f32, bool)>> = BTreeMap::new();
    for word in words {
        groups.entry(word.group.clone()).or_default().push((word.score, word.wrong));
    }
    // Of a group that was hardly seen nothing is known; its words count as their score says.
    groups.retain(|_, words| words.len() >= LEAST_WORDS);
    groups.into_iter().map(|(group, words)| (group, pooled(&words))).collect()
}

/// Classes of scores, joined until a surer word is nowhere likelier wrong (pool adjacent violators).
fn pooled(words: &[(f32, bool)]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for (i, from) in EDGES.iter().enumerate() {
        let end = EDGES.get(i + 1).copied().unwrap_or(f32::INFINITY);
        let here = words.iter().filter(|(score, _)| (*from..end).contains(score));
        let (count, wrong) = here.fold((0, 0), |(n, w), (_, wrong)| (n + 1, w + u32::from(*wrong)));
        if count == 0 {
            continue;
        }
        rows.push(Row { from: *from, words: count, wrong });
        while let [.., a, b] = rows.as_slice()
            && (a.p() < b.p() || (a.words as usize) < LEAST_WORDS)
        {
            let joined = Row { from: a.from, words: a.words + b.words, wrong: a.wrong + b.wrong };
            rows.truncate(rows.len() - 2);
            rows.push(joined);
        }
    }
    if let Some(first) = rows.first_mut() {
        first.from = 0.0;
    }
    rows
}

/// Probability that the word is wrong; a group that was never seen counts as its score says, as in the program.
fn p_wrong(table: &Table, word: &Word) -> f64 {
    let rows = table.get(&word.group).map_or(&[][..], Vec::as_slice);
    rows.iter().rev().find(|r| r.from <= word.score).map_or(f64::from(1.0 - word.score), |r| r.p())
}

fn is_number(word: &Word) -> bool {
    word.group.1.starts_with("number")
}

/// So many of the number words that were heard rightly may be doubted: what a person puts up with. A value has two
/// words or so, and half of the development audio is noisy.
const BUDGETS: [(&str, f64); 3] = [("relaxed", 0.03), ("usual", 0.09), ("strict", 0.18)];

/// The least probability from which doubts stay within a budget, half way down to the next lower one.
fn doubt_from(table: &Table, words: &[Word], budget: f64) -> f64 {
    let judged: Vec<(f64, bool)> =
        words.iter().filter(|w| is_number(w)).map(|w| (p_wrong(table, w), w.wrong)).collect();
    let right = judged.iter().filter(|(_, wrong)| !wrong).count().max(1);
    let mut levels: Vec<f64> = judged.iter().map(|(p, _)| *p).chain([0.0, 1.0]).collect();
    levels.sort_by(|a, b| b.total_cmp(a));
    levels.dedup();
    let doubted = |from: f64| judged.iter().filter(|(p, wrong)| !wrong && *p >= from).count();
    #[expect(clippy::cast_precision_loss, reason = "counts of words")]
    let within = levels.iter().take_while(|from| doubted(**from) as f64 <= budget * right as f64).count();
    let level = |i: usize| levels.get(i).copied().unwrap_or(0.0);
    level(within.saturating_sub(1)).midpoint(level(within))
}

/// Writes the table.
pub(super) fn table(words: &[Word]) {
    let table = fitted(words.iter());
    println!(
        "# How often a heard word was wrong, by model, sort of word, what the other listenings said, and score; and from"
    );
    println!(
        "# which probability on a number is doubted: so that of the number words that were heard rightly"
    );
    println!("# {} are.", BUDGETS.map(|(n, b)| format!("{} % ({n})", b * 100.0)).join(", "));
    println!("# Fitted by tests/calibrate on the development audio (`make calibrate`); do not edit by hand.");
    for (name, budget) in BUDGETS {
        println!("strictness\t{name}\t{:.4}", doubt_from(&table, words, budget));
    }
    println!("# model\tgroup\tscore_from\twords\twrong\tp_wrong");
    for ((model, group), rows) in &table {
        for row in rows {
            println!("{model}\t{group}\t{:.2}\t{}\t{}\t{:.4}", row.from, row.words, row.wrong, row.p());
        }
    }
}

/// Lower ends of the classes of the reliability table.
const CLASSES: [f64; 8] = [0.0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7];

/// Writes how often words were wrong by how likely wrong they were called.
pub(super) fn reliability(words: &[Word]) {
    println!("# How far doubts can be relied on\n");
    println!(
        "Written by `make calibrate`; do not edit by hand. Half of the sessions are judged by a table that was fitted on"
    );
    println!(
        "the other half, and the other way round: a word that is called wrong with 0.1 should be wrong once in ten. How"
    );
    println!("the table comes about: [listening.md](listening.md).\n");
    let mut sessions: Vec<&str> = words.iter().map(|w| w.session.as_str()).collect();
    sessions.sort_unstable();
    sessions.dedup();
    let half = |w: &Word| sessions.binary_search(&w.session.as_str()).unwrap_or(0) % 2;
    let tables = [0, 1].map(|h| fitted(words.iter().filter(|w| half(w) != h)));
    let judged: Vec<(f64, &Word)> =
        words.iter().filter_map(|w| Some((p_wrong(tables.get(half(w))?, w), w))).collect();
    for (title, numbers) in [("Number words", true), ("Other words", false)] {
        println!("| {title}: called wrong with | words | mean of what was said | were wrong |");
        println!("| --- | --- | --- | --- |");
        for (i, from) in CLASSES.iter().enumerate() {
            let end = CLASSES.get(i + 1).copied().unwrap_or(1.01);
            let here: Vec<&(f64, &Word)> =
                judged.iter().filter(|(p, w)| is_number(w) == numbers && (*from..end).contains(p)).collect();
            if here.is_empty() {
                continue;
            }
            #[expect(clippy::cast_precision_loss, reason = "counts of words")]
            let (n, wrong) = (here.len() as f64, here.iter().filter(|(_, w)| w.wrong).count() as f64);
            let mean = here.iter().map(|(p, _)| p).sum::<f64>() / n;
            println!("| {from:.2} to {:.2} | {n} | {mean:.3} | {:.3} |", end.min(1.0), wrong / n);
        }
        println!();
    }
    println!("What each `--strictness` doubts of these words:\n");
    println!("| strictness | doubts from | right number words doubted | wrong number words doubted |");
    println!("| --- | --- | --- | --- |");
    let whole = fitted(words.iter());
    for (name, budget) in BUDGETS {
        let from = doubt_from(&whole, words, budget);
        let share = |wrong: bool| {
            let of: Vec<f64> =
                judged.iter().filter(|(_, w)| is_number(w) && w.wrong == wrong).map(|(p, _)| *p).collect();
            #[expect(clippy::cast_precision_loss, reason = "counts of words")]
            let share = of.iter().filter(|p| **p >= from).count() as f64 / of.len().max(1) as f64;
            share
        };
        println!("| {name} | {from:.3} | {:.3} | {:.3} |", share(false), share(true));
    }
}
