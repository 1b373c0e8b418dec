//! The log against itself: what was said twice and differently.
//!
//! Why: the ear hears "nineteen" for "ninety", the mouth says the other canal's name, and nothing in one entry alone
//! shows it. Example: working length 19.5 mm, later 20.5 mm for the same canal.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use regex::Regex;

use super::visit::{Step, Tooth, Visit, clock, join, size_taper, unique};
use super::{Level, Out, Rule, Settings};
use crate::log::Status;
use crate::tables::{self, Evidence};
use crate::words::Decimal;

const ITSELF: &str = "the log itself";

pub(super) static RULES: &[Rule] = &[
    Rule {
        id: "contradiction.two-working-lengths",
        about: "One canal has two different working lengths.",
        source: ITSELF,
        evidence: Evidence::Computed,
        run: two_lengths,
    },
    Rule {
        id: "contradiction.cone-size",
        about: "The cone is not of the size of the last apical gauge, or of the last file to length.",
        source: ITSELF,
        evidence: Evidence::Computed,
        run: cone_size,
    },
    Rule {
        id: "contradiction.cone-length",
        about: "The cone is longer than the working length, or shorter by more than the setting.",
        source: ITSELF,
        evidence: Evidence::Computed,
        run: cone_length,
    },
    Rule {
        id: "contradiction.canal-not-found",
        about: "A canal that was not found is worked in later.",
        source: ITSELF,
        evidence: Evidence::Computed,
        run: not_found,
    },
    Rule {
        id: "contradiction.canal-count",
        about: "The number of canals that was said is not the number of canals that were named.",
        source: ITSELF,
        evidence: Evidence::Computed,
        run: canal_count,
    },
    Rule {
        id: "contradiction.old-value",
        about: "A value that was amended is used later in its old form.",
        source: ITSELF,
        evidence: Evidence::Computed,
        run: old_value,
    },
    Rule {
        id: "contradiction.side",
        about: "Left and right, or upper and lower, change within the log.",
        source: "tooth_notation (teeth)",
        evidence: Evidence::Seen,
        run: side,
    },
    Rule {
        id: "contradiction.file-length",
        about: "A file is shorter than the depth it was used to, or of no standard length.",
        source: "iso3630_constants: standard_lengths (SL1)",
        evidence: Evidence::Seen,
        run: file_length,
    },
];

/// "19.5 mm (at 1:02)".
fn at(mm: Decimal, step: &Step<'_>) -> String {
    format!("{mm} mm (at {})", clock(step.entry.from_s))
}

fn two_lengths(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for canal in &tooth.canals {
            let lengths: Vec<_> = tooth.lengths(canal).collect();
            let Some((_, last)) = lengths.last().copied() else { continue };
            if lengths.iter().all(|(_, mm)| *mm == last) {
                continue;
            }
            let said: Vec<String> = lengths.iter().map(|(s, mm)| at(*mm, s)).collect();
            let steps: Vec<_> = lengths.iter().map(|(s, _)| *s).collect();
            let sentence = format!("more than one working length: {}", join(&said));
            out.add(Level::Look, tooth.number, std::slice::from_ref(canal), &steps, sentence);
        }
    }
}

/// The last apical gauge, or else the last file that reached the working length, before this place.
fn last_apical<'t, 'l>(
    tooth: &'t Tooth<'l>,
    canal: &'t str,
    before: usize,
    scouting: Decimal,
) -> Option<(&'t Step<'l>, bool)> {
    let earlier = |s: &&Step<'_>| s.at < before && s.has("size");
    let gauge = tooth.done_in(canal).filter(|s| s.is("apical-gauge")).filter(earlier).last();
    let file = || {
        tooth
            .done_in(canal)
            .filter(|s| s.is_apical_file() && s.number("short_mm").is_none_or(|mm| mm == Decimal::ZERO))
            // A scouting file says nothing about the final size.
            .filter(|s| s.number("size").is_some_and(|n| n > scouting))
            .filter(earlier)
            .max_by_key(|s| (s.number("size"), s.at))
    };
    gauge.map(|s| (s, true)).or_else(|| file().map(|s| (s, false)))
}

fn cone_size(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for cone in tooth.done().filter(|s| s.is("cone-fit") || s.is("obturation")) {
            let Some(size) = cone.number("size") else { continue };
            let mut differing: BTreeMap<String, (Vec<String>, Vec<&Step<'_>>, Level)> = BTreeMap::new();
            for canal in &cone.canals {
                let Some((last, gauged)) = last_apical(tooth, canal, cone.at, settings.scouting_size) else {
                    continue;
                };
                let Some(apical) = last.number("size").filter(|a| *a != size) else { continue };
                let steps = super::plausibility::steps_between(apical, size);
                // A cone one size off the last file is a common choice; off the gauge, or further, it is not.
                let far =
                    steps.and_then(|n| i64::try_from(n).ok()).is_none_or(|n| n > settings.cone_size_steps);
                let level = if gauged || far { Level::Look } else { Level::Note };
                let what = if gauged { "the last apical gauge is" } else { "the last file to length is" };
                let file = size_taper(last.number("size"), last.number("taper"));
                let entry = differing.entry(format!("{what} {file}")).or_insert((vec![], vec![], level));
                entry.0.push(canal.clone());
                entry.1.push(last);
                entry.2 = entry.2.min(level);
            }
            for (against, (canals, mut steps, level)) in differing {
                steps.push(cone);
                let sentence = format!("cone {}, but {against}", cone.size_taper());
                out.add(level, tooth.number, &canals, &steps, sentence).about(&cone.entry.id);
            }
        }
    }
}

fn cone_length(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for cone in tooth.done_of("cone-fit") {
            let Some(length) = cone.number("length_mm") else { continue };
            for canal in &cone.canals {
                let Some((step, working)) = tooth.length_at(canal, cone.at) else { continue };
                let short = working.saturating_sub(length);
                if short >= Decimal::ZERO && short <= settings.cone_short_mm {
                    continue;
                }
                let how = if short < Decimal::ZERO { "longer" } else { "shorter" };
                let by = if short < Decimal::ZERO { length.saturating_sub(working) } else { short };
                let sentence =
                    format!("cone at {length} mm is {by} mm {how} than the working length, {working} mm");
                let canals = std::slice::from_ref(canal);
                out.add(Level::Look, tooth.number, canals, &[step, cone], sentence).about(&cone.entry.id);
            }
        }
    }
}

fn not_found(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let denied =
            tooth.steps.iter().filter(|s| s.is("canal-located") && s.entry.status == Status::NotDone);
        for missing in denied {
            for canal in missing.names() {
                let mut later = tooth.done().filter(|s| s.at > missing.at && s.reach_by_name(canal));
                let Some(first) = later.next().filter(|s| !s.is("canal-located")) else { continue };
                let sentence = format!(
                    "said to be not found (at {}), then {} (at {})",
                    clock(missing.entry.from_s),
                    spoken_kind(first.kind()),
                    clock(first.entry.from_s)
                );
                out.add(Level::Look, tooth.number, std::slice::from_ref(canal), &[missing, first], sentence);
            }
        }
    }
}

/// "working-length" → "working length".
fn spoken_kind(kind: &str) -> String {
    kind.replace('-', " ")
}

fn canal_count(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let Some(counted) = tooth.done_of("canal-located").filter(|s| s.has("count")).last() else {
            continue;
        };
        let Some(count) = counted.number("count").and_then(Decimal::to_whole) else { continue };
        // A canal that is found after the counting does not contradict the count.
        let found_later =
            |c: &str| tooth.done_of("canal-located").any(|s| s.at > counted.at && s.reach_by_name(c));
        let by_then = |c: &str| tooth.done_in(c).any(|s| s.at <= counted.at && s.reach_by_name(c));
        let counted_then = tooth.canals.iter().filter(|c| by_then(c) || !found_later(c)).count();
        let all = tooth.canals.len();
        let fits = |n: usize| i64::try_from(n) == Ok(count);
        if all == 0 || fits(all) || fits(counted_then) {
            continue;
        }
        let steps: Vec<_> = tooth.done_of("canal-located").collect();
        let verb = if all == 1 { "is" } else { "are" };
        let sentence = format!("{count} canals were counted, {all} {verb} named: {}", join(&tooth.canals));
        out.add(Level::Look, tooth.number, &[], &steps, sentence);
    }
}

/// Fields that hold the same measure in different kinds, so that an old value can come back under another name.
const MEASURES: &[(&str, &[(&str, &str)])] = &[
    (
        "length",
        &[
            ("working-length", "length_mm"),
            ("cone-fit", "length_mm"),
            ("instrumentation", "depth_mm"),
            ("recapitulation", "depth_mm"),
            ("apical-gauge", "depth_mm"),
        ],
    ),
    ("apical size", &[("apical-gauge", "size"), ("cone-fit", "size"), ("obturation", "size")]),
    ("taper", &[("apical-gauge", "taper"), ("cone-fit", "taper"), ("obturation", "taper")]),
];

fn old_value(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for amended in tooth.done().filter(|s| !s.entry.heard.is_empty()) {
            for (measure, fields) in MEASURES {
                let Some((_, field)) = fields.iter().find(|(kind, _)| amended.is(kind)) else { continue };
                let old = amended
                    .entry
                    .heard
                    .get(*field)
                    .and_then(serde_json::Value::as_f64)
                    .and_then(Decimal::from_f64);
                let (Some(old), Some(new)) = (old, amended.number(field)) else { continue };
                if old == new {
                    continue;
                }
                let again = tooth.done().filter(|s| s.at > amended.at).find(|s| {
                    let holds = |(kind, field): &(&str, &str)| s.is(kind) && s.number(field) == Some(old);
                    s.canals.iter().any(|c| amended.reached(c)) && fields.iter().any(holds)
                });
                if let Some(again) = again {
                    let sentence = format!(
                        "{measure} was changed from {old} to {new}, and {old} is used again (at {})",
                        clock(again.entry.from_s)
                    );
                    out.on(Level::Look, tooth, &[again, amended], sentence).about(&again.entry.id);
                }
            }
        }
    }
}

static SIDES: LazyLock<Option<Regex>> = LazyLock::new(|| {
    let jaw = "(?<jaw>upper|lower|maxillary|mandibular)";
    Regex::new(&format!(r"(?i)\b{jaw}[ -](?<side>left|right)\b|\b(?<side2>left|right)[ -](?<jaw2>upper|lower|maxillary|mandibular)\b")).ok()
});

fn side(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    let Some(words) = SIDES.as_ref() else { return };
    for tooth in &visit.teeth {
        let Some(row) = tooth.number.and_then(|n| tables::rows("tooth_notation").find(|r| r.key() == n))
        else {
            continue;
        };
        let (arch, side) = (row.get("arch"), row.get("side"));
        for step in tooth.done() {
            for found in words.captures_iter(&step.entry.said) {
                let get = |a, b| found.name(a).or_else(|| found.name(b)).map(|m| m.as_str().to_lowercase());
                let (Some(said_jaw), Some(said_side)) = (get("jaw", "jaw2"), get("side", "side2")) else {
                    continue;
                };
                let said_arch = if matches!(said_jaw.as_str(), "upper" | "maxillary") {
                    "maxillary"
                } else {
                    "mandibular"
                };
                if said_arch == arch && said_side == side {
                    continue;
                }
                let sentence = format!("\"{}\" was said, but {} is {arch} {side}", &found[0], row.key());
                out.add(Level::Look, tooth.number, &[], &[step], sentence).about(&step.entry.id);
            }
        }
    }
    mirrored(visit, out);
}

/// The same tooth of the other side: two such teeth in one visit are rare, a slip of the tongue is not.
fn mirrored(visit: &Visit<'_>, out: &mut Out<'_>) {
    let numbers = unique(visit.teeth.iter().filter_map(|t| t.number));
    for (i, number) in numbers.iter().enumerate() {
        let other = match number.as_bytes() {
            [q @ b'1'..=b'8', unit] => {
                let q = if (q - b'0') % 2 == 1 { q + 1 } else { q - 1 };
                format!("{}{}", char::from(q), char::from(*unit))
            }
            _ => continue,
        };
        if !numbers.iter().skip(i + 1).any(|n| *n == other) {
            continue;
        }
        let firsts: Vec<&Step<'_>> = [*number, other.as_str()]
            .iter()
            .filter_map(|n| visit.teeth.iter().find(|t| t.number == Some(n))?.steps.first())
            .collect();
        let sentence = format!("{number} and {other} are the same tooth on either side; is each one meant?");
        out.add(Level::Look, Some(number), &[], &firsts, sentence).about(&other);
    }
}

fn file_length(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    let standard = tables::rows("iso3630_constants").find(|r| r.key() == "standard_lengths");
    for tooth in &visit.teeth {
        for step in tooth.done() {
            let Some(length) = step.number("file_length_mm") else { continue };
            if standard.is_some_and(|r| !r.lists("value", &length.to_string())) {
                let sentence = format!("a file {length} mm long; standard lengths are 21, 25, 28 and 31 mm");
                out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
                continue;
            }
            let to_length = step.number("short_mm") == Some(Decimal::ZERO);
            for canal in &step.canals {
                let working = tooth.length_at(canal, step.at).filter(|_| to_length).map(|(_, mm)| mm);
                let Some(depth) = step.number("depth_mm").or(working).filter(|d| *d > length) else {
                    continue;
                };
                let sentence = format!("a file {length} mm long cannot have reached {depth} mm");
                let canals = std::slice::from_ref(canal);
                out.add(Level::Look, tooth.number, canals, &[step], sentence).about(&step.entry.id);
            }
        }
    }
}

impl Step<'_> {
    /// Whether the step names this canal itself ("all" does not).
    fn reach_by_name(&self, canal: &str) -> bool {
        self.reach == super::visit::Reach::Named && self.reached(canal)
    }
}
