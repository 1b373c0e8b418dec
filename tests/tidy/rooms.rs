//! The folders of src/ are rooms in the order that speech travels; a room uses only rooms before it.

use crate::{File, files, none};

/// In the order that speech travels. `log` holds the contract that `entries` fills, and `kinds` the rules that it goes
/// by, so both come before it.
const ROOMS: [&str; 14] = [
    "audio", "listen", "words", "tables", "log", "kinds", "settings", "entries", "checks", "review",
    "export", "record", "page", "commands",
];

/// What may be used from a later room, and why.
const EXCEPTIONS: [(&str, &str, &str); 0] = [];

/// A file longer than this holds more than one thing.
const LONGEST: usize = 720;

fn room(name: &str) -> Option<usize> {
    ROOMS.iter().position(|r| *r == name)
}

/// What stands after each `crate::` of the code, and for `crate::{a::B, c}` each of the group: `a::B`, `c`.
fn used(text: &str) -> Vec<String> {
    let code: Vec<&str> = text.lines().filter(|l| !l.trim_start().starts_with("//")).collect();
    let code = code.join("\n");
    let path =
        |s: &str| s.chars().take_while(|c| c.is_alphanumeric() || "_:".contains(*c)).collect::<String>();
    let mut found = Vec::new();
    for after in code.split("crate::").skip(1) {
        let Some(group) = after.strip_prefix('{') else {
            found.push(path(after));
            continue;
        };
        let mut depth = 0;
        let mut starts = true;
        for (n, c) in group.char_indices() {
            if starts && c.is_alphanumeric() {
                found.push(path(&group[n..]));
                starts = false;
            }
            match c {
                '{' => depth += 1,
                '}' if depth == 0 => break,
                '}' => depth -= 1,
                ',' if depth == 0 => starts = true,
                _ => {}
            }
        }
    }
    found
}

/// Complaints about the rooms that a file uses.
fn uses(file: &File) -> Vec<String> {
    let Some(mine) = file.name.strip_prefix("src/").and_then(|n| n.split_once('/')).map(|n| n.0) else {
        return Vec::new();
    };
    let Some(here) = room(mine) else {
        return vec![format!(
            "src/{mine} is no room that tests/tidy/rooms.rs knows: say there where it stands"
        )];
    };
    let mut complaints = Vec::new();
    for used in used(&file.text) {
        let other = used.split("::").next().unwrap_or_default();
        let excepted = EXCEPTIONS.iter().any(|(from, what, _)| *from == mine && used.starts_with(what));
        if room(other).is_some_and(|there| there > here) && !excepted {
            complaints.push(format!("{} uses `{other}`, which comes after `{mine}`", file.name));
        }
    }
    complaints.dedup();
    complaints
}

#[test]
fn a_room_uses_only_rooms_before_it() {
    none(&files().iter().filter(|f| f.is("rs")).flat_map(uses).collect::<Vec<_>>());
}

#[test]
fn a_wrong_use_is_seen() {
    let check = |name: &str, text: &str, expect: &[&str]| {
        assert_eq!(uses(&File { name: name.into(), text: text.into() }), expect, "{text}");
    };
    let later = "src/words/units.rs uses `page`, which comes after `words`";
    check("src/words/units.rs", "use crate::page::Form;", &[later]);
    check("src/words/units.rs", "use crate::{\n    listen::{heard::Breath, run},\n    page,\n};", &[later]);
    check("src/words/units.rs", "use crate::{listen::page, words::{log, page}};", &[]);
    check(
        "src/page/form.rs",
        "let x = crate::words::of(crate::commands::Y);",
        &["src/page/form.rs uses `commands`, which comes after `page`"],
    );
    check("src/page/form.rs", "/// See crate::commands.", &[]);
    check("src/lib.rs", "use crate::page::Form;", &[]);
    let cellar = "src/cellar is no room that tests/tidy/rooms.rs knows: say there where it stands";
    check("src/cellar/box.rs", "", &[cellar]);
}

#[test]
fn a_file_says_what_it_is_and_is_short() {
    let mut complaints = Vec::new();
    for file in files().iter().filter(|f| f.is("rs")) {
        let name = &file.name;
        let lines = file.text.lines().count();
        if lines > LONGEST {
            complaints.push(format!(
                "{name} has {lines} lines; over {LONGEST} it holds more than one thing: take it apart"
            ));
        }
        if !file.text.starts_with("//!") {
            complaints.push(format!("{name} does not begin with `//!`: say what comes in and what goes out"));
        }
        if name.ends_with("/util.rs") || name.ends_with("/utils.rs") || name.ends_with("/helpers.rs") {
            complaints.push(format!("{name}: a helper lives with its user, or has a name"));
        }
    }
    none(&complaints);
}

/// The engine knows no trade word: they are in the kinds and the tables.
#[test]
fn the_engine_knows_no_trade_word() {
    // Whole words, in code and text alike; taken from the vocabularies of several kinds.
    let trade = [
        "hypochlorite",
        "edta",
        "chlorhexidine",
        "articaine",
        "lidocaine",
        "gutta",
        "reamer",
        "mesial",
        "palatal",
    ];
    let mut complaints = Vec::new();
    for file in files().iter().filter(|f| f.name.starts_with("src/entries/") && f.is("rs")) {
        let code = file.text.split("#[cfg(test)]").next().unwrap_or_default();
        for line in code.lines().filter(|l| !l.trim_start().starts_with("//")) {
            let line = line.to_lowercase();
            for word in trade.iter().filter(|w| line.contains(**w)) {
                complaints.push(format!(
                    "{} names `{word}`: a trade word belongs in src/kinds or src/tables",
                    file.name
                ));
            }
        }
    }
    none(&complaints);
}
