//! Teeth and canals against the trade's tables: numbers, names, counts.
//!
//! Why: "fourteen" is an upper premolar in one notation and an upper molar in another, and canal names give it away.
//! Example: canals MB, MB2, DB and P in tooth 14; a first upper molar in which nobody mentions a second mesiobuccal canal.

use super::visit::{Reach, SINGLE, Tooth, Visit, join, row_of};
use super::{Level, Out, Rule, Settings};
use crate::tables::{self, Evidence};

pub(super) static RULES: &[Rule] = &[
    Rule {
        id: "plausibility.tooth-number",
        about: "A tooth number does not exist in ISO 3950, or was said in another notation than the log's.",
        source: "tooth_notation (teeth)",
        evidence: Evidence::Seen,
        run: tooth_number,
    },
    Rule {
        id: "plausibility.canal-name",
        about: "A canal's name does not fit the tooth; the number may be of another notation.",
        source: "canal_names",
        evidence: Evidence::Seen,
        run: canal_name,
    },
    Rule {
        id: "plausibility.canal-count",
        about: "A tooth has more canals than are plausible, or fewer than usual when it was filled.",
        source: "canal_names",
        evidence: Evidence::Seen,
        run: canal_count,
    },
    Rule {
        id: "plausibility.second-mesiobuccal",
        about: "Nobody mentions a second mesiobuccal canal of an upper molar. A remark, never an error.",
        source: "canal_prevalence: MB2 present (AOB2020MB2)",
        evidence: Evidence::Seen,
        run: second_mesiobuccal,
    },
];

/// The ISO 3950 number of this number read as universal; digits of other notations mean other teeth.
fn read_as_universal(number: &str) -> Option<&'static str> {
    tables::rows("tooth_notation").find(|r| r.get("universal") == number).map(|r| r.key())
}

fn tooth_number(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    let notation = visit.log.case.notation.as_str();
    for tooth in &visit.teeth {
        let Some(number) = tooth.number else { continue };
        let Some(first) = tooth.steps.first() else { continue };
        if !tables::rows("tooth_notation").any(|r| r.key() == number) {
            let hint = read_as_universal(number)
                .map(|iso| format!("; in universal notation {number} is ISO {iso}"))
                .unwrap_or_default();
            let sentence = format!("there is no tooth {number} in ISO 3950{hint}");
            out.add(Level::Look, Some(number), &[], &[first], sentence);
            continue;
        }
        for named in tooth.done_of("tooth") {
            let Some(said_as) = named.text("said_as").filter(|s| *s != notation && *s != "words") else {
                continue;
            };
            if !notation.is_empty() {
                let sentence = format!("said in {said_as} notation; the log's is {notation}");
                out.add(Level::Note, Some(number), &[], &[named], sentence).about("notation");
            }
        }
    }
}

/// Whether all these names fit the tooth; a row without names fits any.
fn fits(row: &tables::Row<'_>, canals: &[String]) -> bool {
    row.get("names_that_fit").is_empty() || canals.iter().all(|c| row.lists("names_that_fit", c))
}

fn canal_name(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let Some((number, row)) = tooth.number.zip(tooth.row("canal_names")) else { continue };
        let odd: Vec<String> =
            tooth.canals.iter().filter(|c| !fits(&row, std::slice::from_ref(c))).cloned().collect();
        if odd.is_empty() {
            continue;
        }
        let named = |canal| tooth.done().find(|s| s.reach == Reach::Named && s.reached(canal));
        let steps: Vec<_> = odd.iter().filter_map(|c| named(c).or_else(|| tooth.done_in(c).next())).collect();
        let other = read_as_universal(number)
            .filter(|iso| {
                *iso != number && row_of("canal_names", iso).is_some_and(|r| fits(&r, &tooth.canals))
            })
            .map(|iso| format!("; they would fit ISO {iso}, which is {number} in universal notation"))
            .unwrap_or_default();
        let sentence = format!("not a usual canal of this tooth (usual: {}){other}", row.get("usual_canals"));
        out.add(Level::Look, Some(number), &odd, &steps, sentence).resting_on("canal_names", &row, None);
    }
}

fn filled(tooth: &Tooth<'_>) -> bool {
    tooth.done_of("obturation").next().is_some()
}

/// "1 canal", "3 canals".
fn many(canals: i64) -> String {
    if canals == 1 { "1 canal".to_owned() } else { format!("{canals} canals") }
}

/// "1 is", "3 are".
fn is_usual(count: &str) -> String {
    format!("{count} {}", if count == "1" { "is" } else { "are" })
}

fn canal_count(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let Some((number, row)) = tooth.number.zip(tooth.row("canal_names")) else { continue };
        let named = i64::try_from(tooth.canals.len()).unwrap_or(i64::MAX);
        let canals = tooth.count.map_or(named, |count| count.max(named));
        let limit = |column| row.number(column).and_then(crate::words::Decimal::to_whole);
        let steps: Vec<_> = tooth.done_of("canal-located").collect();
        if limit("max_plausible").is_some_and(|most| canals > most) {
            let sentence = format!("{}; {} usual", many(canals), is_usual(row.get("usual_count")));
            out.add(Level::Look, Some(number), &[], &steps, sentence).resting_on("canal_names", &row, None);
        }
        // A second mesiobuccal canal has its own remark.
        let fewest = limit("usual_count").map(|n| if row.lists("usual_canals", "MB2") { n - 1 } else { n });
        if named > 0 && filled(tooth) && fewest.is_some_and(|fewest| canals < fewest) {
            let which =
                if tooth.canals == [SINGLE] { String::new() } else { format!(" ({})", join(&tooth.canals)) };
            let sentence = format!(
                "filled with {} named{which}; {} usual",
                many(canals),
                is_usual(row.get("usual_count"))
            );
            out.add(Level::Note, Some(number), &[], &steps, sentence)
                .resting_on("canal_names", &row, None)
                .about("few");
        }
    }
}

fn second_mesiobuccal(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in visit.teeth.iter().filter(|t| t.canals.iter().any(|c| c == "MB")) {
        let Some(number) = tooth.number else { continue };
        let row = tables::rows("canal_prevalence")
            .find(|r| r.lists("teeth_fdi", number) && r.get("finding") == "MB2 present (meta-analysis)");
        let Some(row) = row else { continue };
        // Said anywhere and in any way: found, not found, searched for, or in words that became no entry.
        let named = tooth
            .steps
            .iter()
            .any(|s| s.names().iter().any(|n| n == "MB2") || says_second_mesiobuccal(&s.entry.said));
        if named || visit.log.unplaced.iter().any(|u| says_second_mesiobuccal(&u.said)) {
            continue;
        }
        let pct = row.get("value_pct");
        let range = row.get("range_or_ci");
        let steps: Vec<_> = tooth.done_of("canal-located").collect();
        let sentence =
            format!("no second mesiobuccal canal is mentioned; {pct} % of these teeth have one ({range})");
        out.add(Level::Note, Some(number), &[], &steps, sentence).resting_on("canal_prevalence", &row, None);
    }
}

fn says_second_mesiobuccal(said: &str) -> bool {
    let said = said.to_lowercase().replace(['-', '.'], " ");
    [
        "mb2",
        "mb 2",
        "mb two",
        "m b 2",
        "m b two",
        "second mesiobuccal",
        "second mesio buccal",
        "fourth canal",
        "fourth one",
    ]
    .iter()
    .any(|form| said.contains(form))
}
