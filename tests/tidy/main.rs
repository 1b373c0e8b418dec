//! Keeps the house in order: what no compiler checks and no reader should have to.
//!
//! Each test gathers complaints, sentences that name the file and say what to do, and fails if there is one.

mod commands;
mod licences;
mod rooms;
mod texts;

use std::path::{Path, PathBuf};

/// A file of the project.
struct File {
    /// From the top of the source tree, with `/`.
    name: String,
    /// Empty where the file is not text.
    text: String,
}

impl File {
    /// Whether its name ends in this, such as "rs".
    fn is(&self, extension: &str) -> bool {
        Path::new(&self.name).extension().is_some_and(|e| e == extension)
    }
}

/// The top of the source tree.
fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file of the project, without what was built or fetched.
fn files() -> Vec<File> {
    let mut found = Vec::new();
    let mut folders = vec![top().to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder of the source tree") {
            let path = entry.expect("an entry of a folder").path();
            let name = name_of(&path);
            if path.is_dir() {
                if !matches!(name.as_str(), "target" | ".git" | "tests/browser/node_modules") {
                    folders.push(path);
                }
            } else if name != ".git" {
                let text = std::fs::read(&path).ok().filter(|b| b.len() < 2_000_000);
                let text = text.and_then(|b| String::from_utf8(b).ok()).unwrap_or_default();
                found.push(File { name, text });
            }
        }
    }
    found.sort_by(|a, b| a.name.cmp(&b.name));
    assert!(found.len() > 30, "the source tree was not found");
    found
}

fn name_of(path: &Path) -> String {
    let parts: PathBuf = path.strip_prefix(top()).expect("below the top").into();
    parts.to_string_lossy().replace('\\', "/")
}

#[track_caller]
fn none(complaints: &[String]) {
    assert!(complaints.is_empty(), "\n{}\n", complaints.join("\n"));
}
