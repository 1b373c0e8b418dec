//! What the texts tell a reader to type works: the commands and options exist, and so do the targets of make.

use std::collections::HashMap;
use std::process::Command;

use crate::{File, files, none, top};

/// Texts that tell a reader what to type.
fn guides() -> Vec<File> {
    let mut guides = files();
    guides.retain(|f| f.is("md") || f.name == "scripts/next-steps.sh");
    guides
}

/// Every piece of a text that is typed: lines of code blocks, and what stands in code marks.
fn typed(file: &File) -> Vec<String> {
    if file.is("sh") {
        return file.text.lines().filter(|l| l.starts_with("  ./target")).map(str::to_owned).collect();
    }
    let mut found = Vec::new();
    let mut prose = String::new();
    let mut in_block = false;
    for line in file.text.lines() {
        if line.trim_start().starts_with("```") {
            in_block = !in_block;
        } else if in_block {
            found.push(line.to_owned());
        } else {
            prose.push_str(line);
            prose.push('\n');
        }
    }
    found.extend(prose.split('`').skip(1).step_by(2).map(str::to_owned));
    found
}

/// The command `tugback …` in a typed piece: its words after the program's name.
fn call(typed: &str) -> Option<Vec<&str>> {
    let typed =
        typed.trim().trim_start_matches("$ ").trim_start_matches("sudo ").trim_start_matches("unshare -rn ");
    let mut words = typed.split('#').next().unwrap_or_default().split_whitespace();
    matches!(words.next()?, "tugback" | "./target/release/tugback" | "target/release/tugback")
        .then(|| words.collect())
}

fn help(command: Option<&str>) -> String {
    let mut run = Command::new(env!("CARGO_BIN_EXE_tugback"));
    let out = run.args(command).arg("--help").output().expect("tugback runs");
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// `text` has `word` as a whole word (so that `--as` is not found in `--assistant`).
fn has(text: &str, word: &str) -> bool {
    text.split(|c: char| c.is_whitespace() || ",[]<>=.()'`".contains(c)).any(|w| w == word)
}

#[test]
fn commands_in_the_texts_exist() {
    let program = help(None);
    let mut helps: HashMap<String, String> = HashMap::new();
    let mut complaints = Vec::new();
    let mut seen = 0;
    for file in guides() {
        for typed in typed(&file) {
            let Some(words) = call(&typed) else { continue };
            let Some(first) = words.first() else { continue };
            seen += 1;
            let (text, named) = if first.starts_with('-') {
                (&program, &words[..])
            } else {
                if !program.lines().any(|l| l.split_whitespace().next() == Some(first)) {
                    complaints.push(format!(
                        "{}: `{}`: `tugback --help` knows no {first}",
                        file.name,
                        typed.trim()
                    ));
                    continue;
                }
                (&*helps.entry((*first).to_owned()).or_insert_with(|| help(Some(first))), &words[1..])
            };
            for option in named.iter().filter(|w| w.starts_with('-')) {
                let option =
                    option.split('=').next().unwrap_or_default().trim_end_matches([']', '.', ',', ';']);
                if option.len() > 1 && !has(text, option) {
                    complaints.push(format!(
                        "{}: `{}`: its --help knows no {option}",
                        file.name,
                        typed.trim()
                    ));
                }
            }
        }
    }
    assert!(seen > 3, "no command was found in any text");
    none(&complaints);
}

#[test]
fn make_targets_in_the_texts_exist() {
    let makefile = std::fs::read_to_string(top().join("Makefile")).expect("Makefile");
    let mut complaints = Vec::new();
    let mut seen = 0;
    for file in guides() {
        for typed in typed(&file) {
            let words: Vec<&str> = typed.trim().trim_start_matches("$ ").split_whitespace().collect();
            let words = if words.first() == Some(&"sudo") { &words[1..] } else { &words[..] };
            let ["make", target, ..] = words else { continue };
            seen += 1;
            if !makefile.lines().any(|l| l.starts_with(&format!("{target}:"))) {
                complaints.push(format!("{}: `make {target}`: the Makefile has no such target", file.name));
            }
        }
    }
    assert!(seen > 1, "no make target was found in any text");
    none(&complaints);
}

#[test]
fn a_call_is_found_in_what_is_typed() {
    assert_eq!(
        call("$ ./target/release/tugback log a.flac -o b.json   # a comment"),
        Some(vec!["log", "a.flac", "-o", "b.json"])
    );
    assert_eq!(call("unshare -rn tugback log a.vtt"), Some(vec!["log", "a.vtt"]));
    assert_eq!(call("cargo build"), None);
    assert!(has("  -o, --output <FILE>  where", "--output"));
    assert!(!has("--outputs", "--output"));
}
