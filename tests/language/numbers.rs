//! Number words against a library that spells them, num2words 0.5.14, which `make setup-test` installs below target/;
//! and that neighbours are never added up.

use std::{path::Path, process::Command};

use proptest::prelude::*;
use tugback::{
    listen::heard::Breath,
    words::{
        Decimal,
        line::{Line, What},
        number::Atom,
        slot::{self, Slot},
        vocabulary::BUILT_IN,
    },
};

/// The numbers in the words, in their order; whether each is doubted; whether anything else was said.
fn read(said: &str) -> (Vec<Atom>, bool) {
    let line = Line::new(&Breath::from_text(0.0, 4.0, said), &BUILT_IN);
    let other = line.items.iter().any(|i| matches!(i.what, What::Word | What::Term(..)));
    let atoms = line.items.iter().filter_map(|i| match &i.what {
        What::Number(atom) => Some(atom.clone()),
        _ => None,
    });
    (atoms.collect(), other)
}

/// The library's lines; nothing, with a message, where it is not installed.
fn spelled() -> Option<String> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| top.join("target"), Into::into);
    let python = target.join("number-words/bin/python");
    if !python.exists() {
        eprintln!(
            "SKIPPED: no num2words in target/number-words; `make setup-test` installs it where it can be had"
        );
        return None;
    }
    let script = top.join("tests/language/number_words.py");
    let out = Command::new(python).arg(script).output().expect("python runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    Some(String::from_utf8(out.stdout).expect("UTF-8"))
}

/// One number, this one, and nothing doubted; or the doubt that it is the one.
fn is_read_as(said: &str, value: Decimal) -> Result<(), String> {
    let (atoms, other) = read(said);
    match atoms.as_slice() {
        [one] if one.value == value && one.doubt.is_none() && !other => Ok(()),
        // "three thousand twenty" may be two numbers: the first is doubted and offers both as one.
        [head, _] if head.doubt.as_ref().is_some_and(|(_, others)| *others == [value]) && !other => Ok(()),
        _ => {
            let got: Vec<String> = atoms.iter().map(|a| format!("{} {:?}", a.value, a.doubt)).collect();
            Err(format!("{said:?} must be {value} and is {}", got.join(", ")))
        }
    }
}

/// All integers below ten thousand and all decimals below a hundred with two places: as the library spells them without
/// its comma, without hyphens, and without "and" where the words stay one number (United States).
#[test]
fn all_numbers_as_a_library_spells_them() {
    let Some(lines) = spelled() else { return };
    let (mut wrong, mut seen) = (vec![], 0);
    for line in lines.lines() {
        let (value, words) = line.split_once('\t').expect("two cells");
        let value: Decimal = value.parse().expect("a number");
        let british = words.replace(',', "");
        let american = british.replace(" and ", " ");
        for said in [&british, &british.replace('-', " "), &american, &american.replace('-', " ")] {
            seen += 1;
            wrong.extend(is_read_as(said, value).err());
        }
    }
    assert_eq!(seen, 80_000);
    assert!(
        wrong.is_empty(),
        "{} of {seen}:\n{}",
        wrong.len(),
        wrong.iter().step_by(wrong.len() / 40 + 1).cloned().collect::<Vec<_>>().join("\n")
    );
}

/// A number below ten thousand in words, as English has them; own, so that it needs no library.
fn words(n: i64, and: bool) -> String {
    const ONES: [&str; 20] = [
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
    ];
    const TENS: [&str; 8] = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
    let at =
        |list: &[&str], n: i64| list.get(usize::try_from(n).unwrap_or(0)).copied().unwrap_or("").to_owned();
    let with = |head: String, rest: i64, and: bool| match (rest, and) {
        (0, _) => head,
        (_, true) => format!("{head} and {}", words(rest, and)),
        (_, false) => format!("{head} {}", words(rest, and)),
    };
    match n {
        0..20 => at(&ONES, n),
        20..100 if n % 10 == 0 => at(&TENS, n / 10 - 2),
        20..100 => format!("{} {}", at(&TENS, n / 10 - 2), at(&ONES, n % 10)),
        100..1000 => with(format!("{} hundred", at(&ONES, n / 100)), n % 100, and),
        _ => with(format!("{} thousand", words(n / 1000, and)), n % 1000, and && n % 1000 < 100),
    }
}

fn numbers() -> impl Strategy<Value = Vec<i64>> {
    prop::collection::vec(prop_oneof![4 => 0_i64..100, 1 => 0_i64..10_000], 2..7)
}

const NUMERIC: [&str; 14] =
    ["n", "num", "bare", "mm", "mm!", "size", "std", "taper", "pct", "ml", "s", "mg", "mm.", "mm/"];

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    /// Numbers in a row are cut in some way, but each piece is what its own words spell: "twenty" "five" may be 25, and
    /// "twenty" "twenty five" never 45.
    #[test]
    fn a_number_is_what_its_words_spell(row in numbers()) {
        let said: Vec<String> = row.iter().map(|n| words(*n, false)).collect();
        let said = said.join(" ");
        let line = Line::new(&Breath::from_text(0.0, 4.0, &said), &BUILT_IN);
        for item in &line.items {
            let What::Number(atom) = &item.what else { continue };
            let tokens = line.tokens.get(atom.first..atom.end).unwrap_or_default();
            let own: Vec<&str> = tokens.iter().map(|t| t.text.as_str()).collect();
            let whole = atom.value.to_whole().expect("no point was said");
            // "hundred" alone, "twenty five hundred"
            let bare = words(whole, false).replacen("one ", "", 1);
            let hundreds = format!("{} hundred", words(whole / 100, false));
            let in_hundreds = if whole % 100 == 0 { hundreds } else { format!("{hundreds} {}", words(whole % 100, false)) };
            prop_assert!(
                [words(whole, false), in_hundreds, bare].contains(&own.join(" ")),
                "{} is read as {} in {:?}", own.join(" "), whole, &said
            );
        }
    }

    /// With a mark between, each number stands alone.
    #[test]
    fn marks_keep_numbers_apart(row in numbers(), mark in prop::sample::select(vec![", ", ". ", "; "])) {
        let said: Vec<String> = row.iter().map(|n| words(*n, true)).collect();
        let got: Vec<Option<i64>> = read(&said.join(mark)).0.iter().map(|a| a.value.to_whole()).collect();
        let expect: Vec<Option<i64>> = row.iter().map(|n| Some(*n)).collect();
        prop_assert_eq!(got, expect);
    }

    /// No slot gives the sum of two neighbours, with whatever between them, but where both together spell it.
    #[test]
    fn no_slot_adds_neighbours_up(
        a in 1_i64..1000, b in 1_i64..1000, printed in any::<(bool, bool)>(),
        between in prop::sample::select(vec![" ", ", ", ". ", " and ", " - ", "-", " / ", "/", " to ", " or ", " then "]),
        unit in prop::sample::select(vec!["", " mm", " ml", " percent", " seconds", " minutes", " mg", " short"]),
    ) {
        let put = |n: i64, digits: bool| if digits { n.to_string() } else { words(n, false) };
        let said = format!("{}{between}{}{unit}", put(a, printed.0), put(b, printed.1));
        // "one hundred thirty-one" spells it with or without its hyphens and its "and".
        let plain = |spelled: &str| spelled.replace('-', " ").replace(" and ", " ");
        let together = plain(&said).starts_with(&plain(&words(a + b, false)));
        let line = Line::new(&Breath::from_text(0.0, 4.0, &said), &BUILT_IN);
        for name in NUMERIC {
            let Some(slot) = Slot::named(name) else { panic!("{name} is no slot") };
            for i in 0..line.items.len() {
                let Some(r) = slot::read(slot, &line, i) else { continue };
                let minutes = if name == "s" && unit == " minutes" { 60 } else { 1 };
                let sum = Decimal::whole((a + b) * minutes);
                let alone = [a, b].iter().any(|n| Decimal::whole(n * minutes) == r.value);
                prop_assert!(together || alone || r.value != sum, "{{{}}} reads {} in {:?}", name, r.value, &said);
            }
        }
    }
}
