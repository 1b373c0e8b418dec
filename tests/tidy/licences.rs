//! Every dependency may be used under a licence that .cargo/deny.toml allows.
//!
//! cargo-deny does the same and more, but takes minutes to build where it is missing; this takes a second.

use std::process::Command;

use crate::{none, top};

fn allowed() -> Vec<String> {
    let text = std::fs::read_to_string(top().join(".cargo/deny.toml")).expect(".cargo/deny.toml");
    let table: toml::Table = text.parse().expect("TOML");
    let list = table.get("licenses").and_then(|l| l.get("allow")?.as_array()).expect("licenses.allow");
    list.iter().map(|l| l.as_str().expect("a name").to_owned()).collect()
}

/// Whether an SPDX expression can be met with the licences allowed. `/` is the old way to write OR. Brackets are
/// met from the inside out; AND binds closer than OR.
fn may_be_used(expression: &str, allowed: &[String]) -> bool {
    if let Some((head, after)) = expression.split_once(')') {
        let (before, inside) = head.rsplit_once('(').expect("a bracket that was opened");
        let inside = if may_be_used(inside, allowed) { "yes" } else { "no" };
        return may_be_used(&format!("{before}{inside}{after}"), allowed);
    }
    expression.replace('/', " OR ").split(" OR ").any(|either| {
        either.split(" AND ").map(str::trim).all(|one| one == "yes" || allowed.iter().any(|a| a == one))
    })
}

#[test]
fn expressions() {
    let allowed = ["MIT".to_owned(), "Unicode-3.0".to_owned()];
    let check = |text: &str, expect: bool| assert_eq!(may_be_used(text, &allowed), expect, "{text}");
    check("MIT", true);
    check("GPL-3.0", false);
    check("GPL-3.0 OR MIT", true);
    check("GPL-3.0/MIT", true);
    check("GPL-3.0 AND MIT", false);
    check("(MIT OR Apache-2.0) AND Unicode-3.0", true);
    check("(GPL-3.0 OR Apache-2.0) AND Unicode-3.0", false);
}

#[test]
fn every_dependency_may_be_used() {
    let allowed = allowed();
    let run = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--offline",
            "--locked",
            "--all-features",
            "--filter-platform",
        ])
        .arg(host())
        .current_dir(top())
        .output()
        .expect("cargo runs");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    assert!(packages.len() > 100, "{} packages", packages.len());
    let mut complaints = Vec::new();
    for package in packages {
        let licence = package["license"].as_str().unwrap_or("none named");
        if !may_be_used(licence, &allowed) {
            complaints.push(format!("{} {}: its licence is {licence}", package["name"], package["version"]));
        }
    }
    none(&complaints);
}

/// The platform that this runs on: only its packages are sure to be here.
fn host() -> String {
    let run = Command::new("rustc").arg("-vV").output().expect("rustc runs");
    let text = String::from_utf8_lossy(&run.stdout).into_owned();
    let line = text.lines().find_map(|l| l.strip_prefix("host: ")).expect("a host");
    line.to_owned()
}
