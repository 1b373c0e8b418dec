//! What the texts of the project may not hold, and what they promise.

use crate::{File, files, none, top};

/// Paths of a machine and hosts of a registry. Written in two parts, so that this file holds none.
const STRAY: [(&str, &str); 9] = [
    ("/wo", "rk/"),
    ("/fa", "rm/"),
    ("/ro", "ot/"),
    ("/ho", "me/"),
    ("../sha", "red"),
    ("crates.", "io"),
    ("pypi.", "org"),
    ("registry.", "npmjs"),
    ("deb.", "debian"),
];

fn strays(file: &File) -> Vec<String> {
    let mut complaints = Vec::new();
    for (n, line) in file.text.lines().enumerate() {
        for (a, b) in STRAY {
            if line.contains(&format!("{a}{b}")) {
                complaints.push(format!(
                    "{}:{}: `{a}{b}` is a place that the next reader does not have",
                    file.name,
                    n + 1
                ));
            }
        }
    }
    complaints
}

#[test]
fn no_machine_stands_in_a_text() {
    let all = files();
    none(&all.iter().filter(|f| f.name != "Cargo.lock").flat_map(strays).collect::<Vec<_>>());
}

#[test]
fn a_stray_path_is_seen() {
    let text = format!("fine\nsee {}{}notes", STRAY[0].0, STRAY[0].1);
    assert_eq!(strays(&File { name: "a.md".into(), text }).len(), 1);
}

/// Links from one text to another file of the project.
#[test]
fn links_lead_somewhere() {
    let mut complaints = Vec::new();
    let mut seen = 0;
    for file in files().iter().filter(|f| f.is("md")) {
        let folder = top().join(&file.name).parent().expect("a file is in a folder").to_path_buf();
        for after in file.text.split("](").skip(1) {
            let target = after.split([')', '#', ' ']).next().unwrap_or_default();
            if target.is_empty() || target.contains("://") {
                continue;
            }
            seen += 1;
            if !folder.join(target).exists() {
                complaints.push(format!("{} links to `{target}`, which is not there", file.name));
            }
        }
    }
    assert!(seen > 0, "no link was found in any text");
    none(&complaints);
}

/// Files that README.md and DEVELOPERS.md name in code marks. A name with a `*`, a `…` or a capital placeholder is a pattern.
#[test]
fn files_that_are_named_are_there() {
    let mut complaints = Vec::new();
    let mut seen = 0;
    for file in files().iter().filter(|f| matches!(f.name.as_str(), "README.md" | "DEVELOPERS.md")) {
        for name in file.text.split('`').skip(1).step_by(2) {
            let start =
                ["src/", "tests/", "models/", "audio-samples/", "scripts/", "docs/", ".ci/", ".cargo/"];
            if !start.iter().any(|s| name.starts_with(s)) || name.contains(['*', '…', ' ', '<', '{']) {
                continue;
            }
            if name.split('/').any(|part| part.len() > 1 && part.chars().all(|c| c.is_ascii_uppercase())) {
                continue;
            }
            seen += 1;
            if !top().join(name).exists() {
                complaints.push(format!("{} names `{name}`, which is not there", file.name));
            }
        }
    }
    assert!(seen > 0, "no file is named in README.md or DEVELOPERS.md");
    none(&complaints);
}

/// The table in models/README.md: file and bytes.
#[test]
fn models_are_as_their_readme_says() {
    let text = std::fs::read_to_string(top().join("models/README.md")).expect("models/README.md");
    let sums = std::fs::read_to_string(top().join("models/SHA256SUMS")).expect("models/SHA256SUMS");
    let mut complaints = Vec::new();
    let mut seen = 0;
    for line in text.lines().filter(|l| l.starts_with("| `")) {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let name = cells[1].trim_matches('`');
        let said: u64 = cells[2].replace(' ', "").parse().expect("bytes");
        let is = std::fs::metadata(top().join("models").join(name)).map_or(0, |m| m.len());
        seen += 1;
        if said != is {
            complaints.push(format!("models/README.md says {said} bytes for {name}; it has {is}"));
        }
        if !sums.contains(name) {
            complaints.push(format!("models/SHA256SUMS does not know {name}"));
        }
    }
    assert_eq!(seen, 3, "rows of models in models/README.md");
    none(&complaints);
}
