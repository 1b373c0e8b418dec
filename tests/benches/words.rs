//! From words to entries: an hour of dictation, ten and a hundred, and one breath that never ends. `make bench-words`.
//!
//! What must hold: an hour in less than 50 ms on one core, ten and a hundred in ten and a hundred times that.

#[path = "../language/spoken.rs"]
mod spoken;

use divan::{Bencher, counter::ItemsCount};
use tugback::{
    entries::{Extractor, Settings},
    listen::heard::Breath,
};

fn main() {
    divan::main();
}

#[divan::bench(args = [1, 10, 100])]
fn hours(bencher: Bencher, hours: usize) {
    let extractor = Extractor::new(Settings::default());
    let breaths = spoken::dictation(hours * spoken::HOUR);
    bencher.counter(ItemsCount::new(hours * spoken::HOUR)).bench(|| extractor.extract(&breaths));
}

#[divan::bench(args = [1000, 10_000])]
fn one_breath(bencher: Bencher, words: usize) {
    let extractor = Extractor::new(Settings::default());
    let text: Vec<String> = spoken::dictation(words).iter().map(Breath::text).collect();
    let breath = [Breath::from_text(0.0, 4000.0, &text.join(" "))];
    bencher.counter(ItemsCount::new(words)).bench(|| extractor.extract(&breath));
}
