//! Pictures of small logs: well-formed, whole in words, and true to what was said.

use proptest::prelude::*;

use super::{DRAFT, PAPER_WIDTH, WIDTH, on_paper, picture, sheets, svg};
use crate::checks::Settings;
use crate::checks::tests::lines;

fn draw(text: &str) -> String {
    picture(&lines::log(text).unwrap(), &Settings::default())
}

/// The text of the picture, without its elements.
fn words(svg: &str) -> String {
    regex::Regex::new("<[^>]*>").unwrap().replace_all(svg, " ").into_owned()
}

/// Why this is no well-formed XML with finite numbers, if it is not.
fn malformed(svg: &str) -> Option<String> {
    let mut open: Vec<&str> = Vec::new();
    for (i, part) in svg.split('<').enumerate().skip(1) {
        let Some((tag, text)) = part.split_once('>') else { return Some(format!("no end: {part}")) };
        if text.contains('>') {
            return Some(format!("a bare > in {text}"));
        }
        for entity in text.split('&').skip(1).chain(tag.split('&').skip(1)) {
            if !["amp;", "lt;", "gt;", "quot;", "#39;"].iter().any(|e| entity.starts_with(e)) {
                return Some(format!("a bare & in {part}"));
            }
        }
        if tag.matches('"').count() % 2 == 1 || tag.contains("NaN") || tag.contains("inf") {
            return Some(format!("{i}: {tag}"));
        }
        let name = tag.split([' ', '/']).next().unwrap_or_default();
        if let Some(end) = tag.strip_prefix('/') {
            if open.pop() != Some(end) {
                return Some(format!("</{end}> closes nothing"));
            }
        } else if !tag.ends_with('/') {
            open.push(name);
        }
    }
    (!open.is_empty()).then(|| format!("left open: {open:?}"))
}

/// All of these stand in the picture, as words that can be read.
#[track_caller]
fn check(text: &str, shown: &[&str], hidden: &[&str]) {
    let svg = draw(text);
    assert_eq!(malformed(&svg), None, "{text}");
    for part in shown {
        assert!(words(&svg).contains(part), "`{part}` is not in the picture of {text}\n{}", words(&svg));
    }
    for part in hidden {
        assert!(!words(&svg).contains(part), "`{part}` is in the picture of {text}");
    }
}

#[test]
fn a_canal_with_its_numbers() {
    check(
        "36 MB working-length length_mm=20 reference=mesiobuccal-cusp\n\
         36 MB instrumentation instrument=rotary size=25 taper=0.06 short_mm=0\n\
         36 MB irrigation agent=sodium-hypochlorite volume_ml=3 gauge=30 tip_short_mm=2\n\
         36 MB cone-fit size=25 taper=0.06 length_mm=20\n",
        &[
            "Tooth 36",
            "mesiobuccal cusp",
            "WL 20 mm",
            "shaped 25/.06",
            "0.43",
            "30 G needle, tip 2 mm short",
            "passes to 0.8 mm short",
            "cone 25/.06",
            "at 20 mm",
            "NaOCl 3 mL",
            "to be checked and signed",
        ],
        &["mm ?", "≥"],
    );
}

#[test]
fn the_same_in_words() {
    let svg = draw(
        "36 MB working-length length_mm=20 reference=buccal-cusp\n36 MB instrumentation instrument=rotary size=25 taper=0.04 short_mm=0\n",
    );
    let words = svg.split_once("<desc").unwrap().1.split_once("</desc>").unwrap().0;
    assert!(
        words.contains("36 MB: working length 20 mm, buccal cusp; shaped to 25/.04; width 0.25 mm at 0 mm"),
        "{words}"
    );
    assert!(words.contains("0:20 36 25/.04 in MB"), "{words}");
    assert!(svg.contains("<title id=\"picture-title\">Root canal treatment of tooth 36</title>"));
    assert!(svg.contains("role=\"img\" aria-labelledby=\"picture-title picture-words\""));
}

#[test]
fn doubts_are_marked_and_bounds_are_bounds() {
    check(
        "36 MB working-length length_mm=20 doubt=length_mm\n",
        &["WL 20 mm ?", "WL 20 ?", "no file size said"],
        &[],
    );
    check("confirmed 36 MB working-length length_mm=20 doubt=length_mm\n", &["WL 20 mm"], &["20 ?"]);
    check(
        "36 MB working-length length_mm=20\n36 MB instrumentation size=25 short_mm=0\n",
        &["0.25", "≥0.25"],
        &[],
    );
    check(
        "36 MB working-length length_mm=20\n36 MB instrumentation size=25 short_mm=0\n",
        &["shaped 25", "taper not said", "dashed, ≥: at least as wide"],
        &["the needle", "the cone"],
    );
    check(
        "36 MB working-length length_mm=20\n36 MB glide-path size=15 taper=0.02\n36 MB instrumentation instrument=k-file size=30 short_mm=1\n",
        &["shaped 30/.02, 1 short", "taper as hand files have"],
        &["dashed"],
    );
    check("16 MB canal-located\n16 P canal-located count=2\n", &["canal found", "2 canals found"], &[]);
    check(
        "36 MB instrumentation size=25 short_mm=0 doubt=size\n",
        &["WL not said", "shaped 25 ?", "above tip"],
        &["above WL"],
    );
}

#[test]
fn what_was_not_done_is_not_drawn() {
    check(
        "36 MB working-length length_mm=20\nplanned 36 MB irrigation agent=edta\nnot-done 36 MB irrigation agent=chlorhexidine\n\
         struck 36 MB instrumentation instrument=rotary size=40 taper=0.04\n",
        &["WL 20"],
        &["EDTA", "CHX", "40/.04"],
    );
    check("", &["Nothing was done that can be drawn"], &[]);
}

#[test]
fn a_gap_is_shown() {
    check("@10 36 access\n@700 36 MB working-length length_mm=20\n", &["No step from 0:12 to 11:40"], &[]);
    check("@10 36 access\n@200 36 MB working-length length_mm=20\n", &["access"], &["No step"]);
}

#[test]
fn words_cannot_break_out() {
    check(
        "36 MB medicament agent=<script>alert(1)</script>&\"\u{0}\n36 MB working-length length_mm=20 reference=a&<b>\n",
        &["&lt;script&gt;", "a&amp;&lt;b&gt;"],
        &["<script"],
    );
    // What turns the direction of writing would show other digits.
    check("36 MB medicament agent=\u{202e}52\n", &[" 52"], &["\u{202e}"]);
}

#[test]
fn nothing_but_black_white_and_grey_and_nothing_from_outside() {
    let svg = draw(include_str!("../../../tests/data/checks/complete.txt"));
    for colour in regex::Regex::new("#[0-9a-f]{3,6}\\b").unwrap().find_iter(&svg) {
        let digits: Vec<char> = colour.as_str()[1..].chars().collect();
        assert!(
            digits.iter().all(|d| *d == digits[0]) || colour.as_str() == "#e6e6e6",
            "{}",
            colour.as_str()
        );
    }
    for outside in ["href", "url(http", "@import", "<script", "<image", "<style"] {
        assert!(!svg.contains(outside), "{outside}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Any log has a picture: well-formed, and everything inside its frame.
    #[test]
    fn any_log_is_drawn(lines in prop::collection::vec(crate::checks::tests::any_line(), 0..25)) {
        let svg = draw(&lines.join("\n"));
        prop_assert_eq!(malformed(&svg), None);
        prop_assert!(svg.contains(DRAFT));
        let log = lines::log(&lines.join("\n")).unwrap();
        let places = regex::Regex::new("[ML](-?[0-9.]+) (-?[0-9.]+)").unwrap();
        // As wide as a telephone shows it, as paper has it, and alone.
        for width in [300.0, PAPER_WIDTH, WIDTH] {
            for sheet in sheets(&log, &Settings::default(), width) {
                let drawn = sheet.svg.done();
                prop_assert_eq!(malformed(&drawn), None);
                for place in places.captures_iter(&drawn) {
                    let (x, y): (f64, f64) = (place[1].parse().unwrap(), place[2].parse().unwrap());
                    let inside = (-1.0..=width + 1.0).contains(&x) && (-1.0..=sheet.height + 1.0).contains(&y);
                    prop_assert!(inside, "{} {} in {} × {}", x, y, width, sheet.height);
                }
            }
        }
        let paper = on_paper(&log, &Settings::default());
        prop_assert_eq!(malformed(&paper), None);
        prop_assert!(paper.matches("id=\"gap\"").count() == 1);
    }
}

#[test]
fn every_sheet_fits_a_printed_page() {
    // A4 less margins of 14 mm is 182 mm × 269 mm; six canals of the longest file's length, and everything below them.
    let canal = "working-length length_mm=31\ninstrumentation size=25 short_mm=0\nirrigation gauge=30 tip_short_mm=2\napical-gauge size=30";
    let names = ["MB", "MB2", "DB", "P", "DL", "ML"];
    let all = names.iter().flat_map(|name| canal.lines().map(move |line| format!("16 {name} {line}")));
    let canals = all.collect::<Vec<_>>().join("\n");
    for sheet in sheets(&lines::log(&canals).unwrap(), &Settings::default(), PAPER_WIDTH) {
        let mm = 182.0 / PAPER_WIDTH * sheet.height;
        assert!(mm < 269.0, "{mm} mm");
    }
}

#[test]
fn lines_are_no_wider_than_they_may_be() {
    assert_eq!(svg::lines("one two three", 10.0, 40.0), ["one two", "three"]);
    assert_eq!(
        svg::lines("antidisestablishment", 10.0, 40.0),
        ["antidisestablishment"],
        "one word stays whole"
    );
    assert_eq!(svg::lines(" ", 10.0, 40.0), Vec::<String>::new());
}
