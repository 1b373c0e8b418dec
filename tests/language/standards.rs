//! Units, sizes, colours and teeth against the standards, by their rules and not by the program's tables.

use std::collections::BTreeMap;

use serde_json::{Value as Json, json};
use tugback::{
    entries::{
        Extractor, Notation, Settings,
        tooth::{self, ROWS},
    },
    export::fhir,
    kinds,
    listen::heard::Breath,
    log::{Log, units},
    tables,
    words::slot::SIZES,
};

use crate::print;

/// UCUM codes. S (seen): accepted by the validator ucum-lhc of the npm registry. M (from memory): `mg` is a metric atom
/// with its prefix, `1` the unity of UCUM's section on dimensionless units.
const UCUM: [(&str, &str, char); 7] = [
    ("_mm", "mm", 'S'),
    ("_ml", "mL", 'S'),
    ("_s", "s", 'S'),
    ("_pct", "%", 'S'),
    ("_rpm", "/min", 'S'),
    ("_ncm", "N.cm", 'S'),
    ("_mg", "mg", 'M'),
];
/// Refused by the same validator, though people write them (S).
const NOT_UCUM: [&str; 3] = ["sec", "cc", "mins"];

/// All numbers in a Bundle: the field's name and the code of its unit.
fn quantities(of: &Json, out: &mut BTreeMap<String, String>) {
    match of {
        Json::Object(map) => {
            if let Some(q) = map.get("valueQuantity") {
                assert_eq!(q.get("system").and_then(Json::as_str), Some("http://unitsofmeasure.org"));
                let field = map
                    .get("code")
                    .and_then(|c| c.pointer("/coding/0/code"))
                    .and_then(Json::as_str)
                    .unwrap_or("?");
                out.insert(field.to_owned(), q.get("code").and_then(Json::as_str).unwrap_or("?").to_owned());
            }
            map.values().for_each(|v| quantities(v, out));
        }
        Json::Array(all) => all.iter().for_each(|v| quantities(v, out)),
        _ => {}
    }
}

#[test]
fn every_unit_is_a_ucum_code() {
    let mut entries = vec![];
    for kind in &kinds::BUILT_IN.all {
        let numeric = kind.fields.keys().map(String::as_str).filter(|f| units::is_number(f));
        let values: BTreeMap<&str, Json> = numeric.map(|f| (f, json!(2))).collect();
        entries.push(json!({
            "id": format!("e{}", entries.len() + 1), "from_s": 1.0, "to_s": 2.0, "kind": kind.name,
            "status": "done", "values": values, "said": "two", "rule": "x", "doubts": [], "carried": [],
            "review": "unseen",
        }));
    }
    let mut log: Json = serde_json::from_str(include_str!("../logs/v1/minimal.json")).expect("a log");
    log["entries"] = json!(entries);
    let log: Log = serde_json::from_value(log).expect("a log");
    let bundle = fhir::bundle(&log, "2026-02-03T10:00:00+01:00").expect("a Bundle");
    let mut found = BTreeMap::new();
    quantities(&serde_json::from_str(&bundle).expect("JSON"), &mut found);
    let mut endings = std::collections::BTreeSet::new();
    for (field, code) in &found {
        let known = UCUM.iter().find(|(ending, ..)| field.ends_with(ending));
        let expect = match (field.as_str(), known) {
            ("taper", _) => "mm/mm",
            // The length is what this Observation is about.
            ("working-length", _) => "mm",
            (_, Some((ending, code, _))) => {
                endings.insert(*ending);
                code
            }
            _ => "1",
        };
        assert_eq!(code, expect, "{field}");
        assert!(!NOT_UCUM.contains(&code.as_str()), "{field}");
    }
    assert_eq!(endings.len(), UCUM.len(), "each unit is in some kind: {found:?}");
    assert_eq!(units::ENDINGS.len(), UCUM.len(), "a unit that no list of UCUM codes judges");
}

/// ISO 3630-1 as textbooks quote it. Series: 6, 8, 10, then in steps of 5 to 60, in steps of 10 to 140 (S: university
/// slides on standardisation, SL1; handbook page, PA1). D16 is D0 and 0.32 at taper .02 (S: TB1). Colours: from 15 on white,
/// yellow, red, blue, green, black, and over again (S for 15 to 40; M after that; M: 6 pink, 8 grey, 10 purple).
#[test]
fn sizes_and_colours_of_iso_3630() {
    let series: Vec<i64> =
        [6, 8].into_iter().chain((10..60).step_by(5)).chain((60..=140).step_by(10)).collect();
    assert_eq!(SIZES.to_vec(), series);
    let again = ["white", "yellow", "red", "blue", "green", "black"];
    let colours = ["pink", "grey", "purple"].into_iter().chain(again.into_iter().cycle());
    let mut rows = 0;
    for ((row, size), colour) in tables::rows("iso3630_sizes").zip(series).zip(colours) {
        rows += 1;
        assert_eq!(row.get("size").parse(), Ok(size));
        assert_eq!(row.get("colour"), colour, "size {size}");
        let mark = if (15..=40).contains(&size) { "S" } else { "M" };
        assert_eq!(row.get("colour_evidence"), mark, "size {size}");
        let thousandths = |column: &str| row.number(column).map(tugback::words::Decimal::as_thousandths);
        assert_eq!(thousandths("d0_mm"), Some(size * 10));
        assert_eq!(thousandths("d3_mm_taper02"), Some(size * 10 + 60));
        assert_eq!(thousandths("d16_mm_taper02"), Some(size * 10 + 320));
    }
    assert_eq!(rows, 21);
}

/// A size of the series is read without a doubt, any other with one.
#[test]
fn every_size_is_judged() {
    for n in 1..=150_i64 {
        let got = print::slot("size", &format!("size {n} file"));
        let doubted = got.contains('?');
        assert_eq!(doubted, !SIZES.contains(&n), "size {n}: {got}");
        assert!(got.split(' ').next() == Some(n.to_string().as_str()), "size {n}: {got}");
    }
}

/// A colour is no size: yellow is 20, 50 and 100 (ISO 3630-1 as above). That it is doubted is a row of cases.tsv.
#[test]
fn a_colour_alone_gives_no_size() {
    for colour in ["white", "yellow", "red", "blue", "green", "black", "pink", "grey", "purple"] {
        let got = print::log(&format!("{colour} file to length"));
        assert!(got.contains(&format!("colour={colour}")) && !got.contains(" size="), "{got}");
    }
}

/// One tooth by the rules of the three systems.
struct Tooth {
    iso: String,
    universal: String,
    /// "upper left", and the place in its quadrant: a digit, or a letter for primary teeth.
    quadrant: &'static str,
    place: char,
}

/// ISO 3950:2016, quadrants 1 to 4 clockwise from the upper right as one looks at the patient, 5 to 8 for primary teeth,
/// places from the midline; the universal system, 1 to 32 and A to T, clockwise from the last upper right tooth; Palmer,
/// quadrant and place, A to E for primary teeth. S: notation pages, `teeth` in src/tables/sources.tsv.
fn teeth() -> Vec<Tooth> {
    const QUADRANTS: [&str; 4] = ["upper right", "upper left", "lower left", "lower right"];
    let mut out = vec![];
    for (first, places) in [(1, 8_u8), (5, 5)] {
        for (q, quadrant) in (0_u8..).zip(QUADRANTS) {
            for place in 1..=places {
                // Clockwise: outwards in the quadrants to the left of the patient's midline above, inwards on the right.
                let step = if q % 2 == 0 { places + 1 - place } else { place };
                let number = q * places + step;
                let letter = |n: u8| char::from(b'A' + n - 1);
                out.push(Tooth {
                    iso: format!("{}{place}", first + q),
                    universal: if places == 8 { number.to_string() } else { letter(number).to_string() },
                    quadrant,
                    place: if places == 8 { char::from(b'0' + place) } else { letter(place) },
                });
            }
        }
    }
    out
}

#[test]
fn all_teeth_in_three_notations_both_ways() {
    let teeth = teeth();
    assert_eq!((teeth.len(), ROWS.len()), (52, 52));
    for t in &teeth {
        let row = tooth::from_iso(&t.iso).expect(&t.iso);
        assert_eq!(row.universal, t.universal, "tooth {}", t.iso);
        assert_eq!(tooth::from_universal(&t.universal).map(|r| &r.iso), Some(&t.iso));
        let initials: String = t.quadrant.split(' ').filter_map(|w| w.chars().next()).collect();
        let palmer = format!("{}{}", initials.to_uppercase(), t.place);
        assert_eq!(row.palmer, palmer, "tooth {}", t.iso);
        assert_eq!(tooth::named(&format!("{palmer}p"), Notation::Palmer).map(|n| n.iso), Some(t.iso.clone()));
    }
}

const DIGITS: [&str; 10] = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];

fn digit(c: char) -> &'static str {
    c.to_digit(10).and_then(|d| DIGITS.get(d as usize)).copied().unwrap_or("?")
}

/// The names of the places, permanent and primary (the trade's own; the same pages).
const NAMES: [&str; 8] = [
    "central incisor",
    "lateral incisor",
    "canine",
    "first premolar",
    "second premolar",
    "first molar",
    "second molar",
    "third molar",
];

/// The tooth that was understood, and whether it is doubted.
fn understood(said: &str, notation: Notation) -> (Option<String>, bool) {
    let extractor = Extractor::new(Settings { notation, ..Settings::default() });
    let found = extractor.extract(&[Breath::from_text(0.0, 4.0, said)]);
    let teeth: Vec<_> = found.entries.iter().filter(|e| e.kind == "tooth").collect();
    match teeth.as_slice() {
        [one] if found.entries.len() == 1 => {
            (one.values.get("tooth").map(ToString::to_string), !one.doubts.is_empty())
        }
        _ => (None, false),
    }
}

/// Every tooth as it is said in each system.
#[test]
fn spoken_teeth() {
    let mut wrong = vec![];
    let mut check = |said: String, notation, tooth: &Tooth| {
        let got = understood(&said, notation);
        if got != (Some(tooth.iso.clone()), false) {
            wrong.push(format!("{said:?} as {} must be {} and is {got:?}", notation.name(), tooth.iso));
        }
    };
    for t in teeth() {
        let permanent = t.place.is_ascii_digit();
        let one_by_one: Vec<&str> = t.iso.chars().map(digit).collect();
        check(format!("tooth {}", t.iso), Notation::Iso3950, &t);
        check(format!("tooth {}", one_by_one.join(" ")), Notation::Iso3950, &t);
        check(format!("tooth number {}", spell(&t.iso)), Notation::Iso3950, &t);
        check(format!("tooth {}", t.universal), Notation::Universal, &t);
        check(format!("tooth number {}", spell(&t.universal)), Notation::Universal, &t);
        if permanent {
            check(format!("number {}", spell(&t.universal)), Notation::Universal, &t);
            check(format!("{} {}", t.quadrant, digit(t.place)), Notation::Palmer, &t);
            check(format!("{} {}", t.quadrant, t.place), Notation::Palmer, &t);
            let name = t.place.to_digit(10).and_then(|p| NAMES.get(p as usize - 1)).copied().unwrap_or("?");
            check(format!("{} {name}", t.quadrant), Notation::Palmer, &t);
        } else {
            check(format!("{} {}", t.quadrant, t.place), Notation::Palmer, &t);
        }
    }
    assert!(wrong.is_empty(), "{}:\n{}", wrong.len(), wrong.join("\n"));
}

/// Two digits in words; a letter as it is.
fn spell(n: &str) -> String {
    const TEENS: [&str; 10] = [
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
    const TENS: [&str; 7] = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty"];
    let chars: Vec<char> = n.chars().collect();
    let at = |list: &[&'static str], n: usize| list.get(n).copied().unwrap_or("?");
    match chars.as_slice() {
        [one] if one.is_ascii_digit() => digit(*one).to_owned(),
        ['1', one] => at(&TEENS, one.to_digit(10).unwrap_or(0) as usize).to_owned(),
        [ten, '0'] => at(&TENS, ten.to_digit(10).unwrap_or(2) as usize - 2).to_owned(),
        [ten, one] => format!("{} {}", at(&TENS, ten.to_digit(10).unwrap_or(2) as usize - 2), digit(*one)),
        _ => n.to_owned(),
    }
}
