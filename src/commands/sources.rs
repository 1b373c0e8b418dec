//! `tugback sources`: every row of the trade tables with its evidence mark and source, and every rule of the checks.

use std::fmt::Write as _;

use clap::Args;
use miette::bail;

use crate::checks;
use crate::commands::{Done, print};
use crate::kinds;
use crate::tables::{self, Table};

/// Arguments of `tugback sources`.
#[derive(Debug, Args)]
pub(crate) struct Sources {
    /// Only this table, `rules` for the rules of the checks, `bounds` for values that are doubted outside of them, or
    /// `words` for every spoken form; all but the spoken forms when left out.
    table: Option<String>,
}

pub(crate) fn run(args: &Sources) -> miette::Result<Done> {
    let mut text = String::new();
    match args.table.as_deref() {
        None => {
            text.push_str(
                "Evidence: S seen in the source, P seen in part, M from memory (never decides alone), D computed.\n",
            );
            for table in tables::all() {
                one(table, &mut text);
            }
            rules(&mut text);
            bounds(&mut text);
            spoken(&mut text, false);
        }
        Some("rules") => rules(&mut text),
        Some("bounds") => bounds(&mut text),
        Some("words") => spoken(&mut text, true),
        Some(name) => {
            let Some(table) = tables::table(name) else {
                let names: Vec<&str> = tables::all().iter().map(|t| t.name).collect();
                bail!(
                    "there is no table `{name}`; there are `rules`, `bounds`, `words`, {}",
                    names.join(", ")
                );
            };
            one(table, &mut text);
        }
    }
    print(&text)?;
    Ok(Done::Well)
}

fn one(table: &Table, text: &mut String) {
    let _ = writeln!(text, "\n{}", table.name);
    for row in table.rows() {
        let marks: Vec<String> =
            row.marks()
                .iter()
                .map(|(about, mark)| {
                    if about.is_empty() { mark.mark().to_owned() } else { format!("{about} {}", mark.mark()) }
                })
                .collect();
        let what: Vec<&str> = table
            .columns
            .iter()
            .filter(|c| !c.ends_with("evidence") && !matches!(**c, "source_id" | "source" | "address"))
            .map(|c| row.get(c))
            .filter(|cell| !cell.is_empty())
            .collect();
        let marks = if marks.is_empty() { String::new() } else { format!(" [{}]", marks.join(", ")) };
        let _ = writeln!(text, "  {}{marks} · {}", what.join(" · "), row.source());
    }
}

fn rules(text: &mut String) {
    let _ = writeln!(
        text,
        "\nrules of the checks (switch one off with `off = [\"id\"]` in the section [checks])"
    );
    for rule in checks::rules() {
        let _ = writeln!(text, "  {} [{}] · {} · {}", rule.id, rule.evidence.mark(), rule.about, rule.source);
    }
}

/// Values outside of these are kept, with a doubt.
fn bounds(text: &mut String) {
    let _ = writeln!(text, "\nbounds: a value outside of them is kept, with a doubt");
    for kind in &kinds::BUILT_IN.all {
        for (name, field) in &kind.fields {
            let (Some((low, high)), Some(source)) = (field.plausible, &field.source) else { continue };
            let _ = writeln!(text, "  {} {name} · {low} to {high} · {source}", kind.name);
        }
    }
}

/// The lists of spoken forms: how many rows each has, or all of them.
fn spoken(text: &mut String, whole: bool) {
    let _ = writeln!(text, "\nspoken forms");
    for list in tables::spoken() {
        let _ = writeln!(text, "  {} · {} rows · {}", list.name, list.rows().count(), list.source());
        for row in list.rows().filter(|_| whole) {
            let _ = writeln!(text, "    {}", row.replace('|', ", ").replace('\t', " → "));
        }
    }
}
