//! Fluids, needles and doses against their tables: concentrations, gauges, flow, units.
//!
//! Why: "five point two five" and "fifty two point five" differ by one breath. Example: hypochlorite 52.5 %; a dose of
//! 600 of which nobody said the unit; a 27-gauge needle said to be where it cannot pass.

use super::shape::Shape;
use super::visit::{Step, Visit, clock};
use super::{Level, Out, Rule, Settings};
use crate::tables::{self, Evidence, Row};
use crate::words::Decimal;

pub(super) static RULES: &[Rule] = &[
    Rule {
        id: "plausibility.concentration",
        about: "A concentration lies outside what the solution is used at.",
        source: "irrigant_windows",
        evidence: Evidence::Seen,
        run: concentration,
    },
    Rule {
        id: "plausibility.anaesthetic-concentration",
        about: "A local anaesthetic's concentration is not one that is usual.",
        source: "anaesthetics",
        evidence: Evidence::Memory,
        run: anaesthetic,
    },
    Rule {
        id: "plausibility.gauge",
        about: "A needle's gauge does not exist, or is unusual for canals.",
        source: "needles (needles)",
        evidence: Evidence::Seen,
        run: gauge,
    },
    Rule {
        id: "plausibility.needle-fit",
        about: "A needle is said to be deeper than it can pass in the canal's shape at that time.",
        source: "needles; iso3630_constants: diameter_at_L (TB1, BE1)",
        evidence: Evidence::Computed,
        run: needle_fit,
    },
    Rule {
        id: "plausibility.delivery-rate",
        about: "An irrigant was delivered much faster than the published mean flow of the gauge.",
        source: "needles: mean flow (JCD2016)",
        evidence: Evidence::Seen,
        run: delivery,
    },
    Rule {
        id: "plausibility.dose-unit",
        about: "A dose was said without its unit.",
        source: "the log itself",
        evidence: Evidence::Computed,
        run: dose_unit,
    },
];

fn concentration(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done_of("irrigation") {
            let Some((agent, pct)) = step.text("agent").zip(step.number("concentration_pct")) else {
                continue;
            };
            let row = tables::rows("irrigant_windows").find(|r| r.key() == agent);
            let own = settings.concentration_pct.get(agent).map(|[low, high]| (*low, *high));
            let window = own.or_else(|| row?.window_pct());
            let Some((low, high)) = window.filter(|(low, high)| pct < *low || pct > *high) else { continue };
            let usual = if low == high { format!("{low} %") } else { format!("{low} to {high} %") };
            let sentence = format!("{agent} {pct} %; it is used at {usual}");
            let found = out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
            match row.filter(|_| own.is_none()) {
                Some(row) => found.resting_on("irrigant_windows", &row, None),
                None => found.by_setting("concentration_pct"),
            };
        }
    }
}

fn anaesthetic(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done_of("anaesthesia") {
            let Some((agent, pct)) = step.text("agent").zip(step.number("concentration_pct")) else {
                continue;
            };
            if let Some(own) = settings.anaesthetic_pct.get(agent) {
                if !own.contains(&pct) {
                    let own: Vec<String> = own.iter().map(Decimal::to_string).collect();
                    let sentence = format!("{agent} {pct} %; the settings expect {} %", own.join(" or "));
                    out.add(Level::Look, tooth.number, &[], &[step], sentence)
                        .about(&step.entry.id)
                        .by_setting("anaesthetic_pct");
                }
                continue;
            }
            let Some(row) = tables::rows("anaesthetics").find(|r| r.key() == agent) else { continue };
            if row.lists("usual_pct", &pct.to_string()) {
                continue;
            }
            let usual = row.get("usual_pct").replace(';', " or ");
            let sentence = format!("{agent} {pct} %; usual is {usual} % (from memory)");
            out.add(Level::Note, tooth.number, &[], &[step], sentence).about(&step.entry.id).resting_on(
                "anaesthetics",
                &row,
                None,
            );
        }
    }
}

pub(super) fn needle(gauge: Decimal) -> Option<Row<'static>> {
    tables::rows("needles").find(|r| r.number("gauge") == Some(gauge))
}

fn gauge(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done() {
            let Some(gauge) = step.number("gauge") else { continue };
            // ISO 9626 names 25 sizes, from 10 to 34 gauge.
            if gauge < Decimal::whole(10) || gauge > Decimal::whole(34) || !gauge.is_whole() {
                let sentence = format!("gauge {gauge}; needles are 10 to 34 gauge");
                out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
            } else if needle(gauge).is_none_or(|r| r.get("used_for_canal_irrigation") != "yes") {
                let sentence = format!("gauge {gauge} is unusual for rinsing canals (from memory)");
                out.on(Level::Note, tooth, &[step], sentence).about(&step.entry.id).evidence =
                    Evidence::Memory;
            }
        }
    }
}

fn needle_fit(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done_of("irrigation") {
            let Some((gauge, row)) = step.number("gauge").and_then(|g| Some((g, needle(g)?))) else {
                continue;
            };
            let Some(outer) = row.number("iso9626_designated_mm") else { continue };
            for canal in &step.canals {
                let length = tooth.length_at(canal, step.at).map(|(_, mm)| mm);
                let tip = step.number("tip_short_mm").or_else(|| {
                    length.zip(step.number("tip_mm")).map(|(length, tip)| length.saturating_sub(tip))
                });
                let Some(tip) = tip else { continue };
                let shape = Shape::of(tooth, canal, Some(step.at));
                let Some(binds) = shape.binds_mm(outer.to_f64()) else { continue };
                // Half a millimetre is less than anyone can read off a needle.
                if binds - tip.to_f64() < settings.needle_tolerance_mm.to_f64() {
                    continue;
                }
                let sentence = format!(
                    "a {gauge}-gauge needle ({outer} mm) meets the wall of the shape {} about {binds:.1} mm short; its tip was said to be {tip} mm short (at {})",
                    shape.name(),
                    clock(step.entry.from_s)
                );
                let canals = std::slice::from_ref(canal);
                let found =
                    out.add(Level::Look, tooth.number, canals, &[step], sentence).about(&step.entry.id);
                found.evidence = Evidence::of(row.get("designated_evidence")).unwrap_or(found.evidence);
            }
        }
    }
}

/// How fast one step delivered, in mL/s, where volume and time are of one delivery.
pub(super) fn rate_ml_per_s(step: &Step<'_>) -> Option<f64> {
    let (volume, seconds) = step.number("volume_ml").zip(step.number("duration_s"))?;
    (step.canals.len() <= 1 && !step.has("each") && seconds > Decimal::ZERO)
        .then(|| volume.to_f64() / seconds.to_f64())
}

fn delivery(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done_of("irrigation") {
            let Some(row) = step.number("gauge").and_then(needle) else { continue };
            let Some((rate, flow)) = rate_ml_per_s(step).zip(row.number("mean_clinical_flow_mL_per_s"))
            else {
                continue;
            };
            if rate <= flow.to_f64() * settings.flow_factor.to_f64() {
                continue;
            }
            let sentence = format!(
                "{rate:.2} mL/s through a {}-gauge needle; the published mean is {flow} mL/s",
                row.key()
            );
            out.on(Level::Note, tooth, &[step], sentence).about(&step.entry.id);
        }
    }
}

fn dose_unit(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done_of("prescription") {
            let doubted = step.entry.doubts.iter().any(|d| d.field == "dose_mg" && d.reason.contains("unit"));
            if let Some(dose) = step.number("dose_mg").filter(|_| doubted) {
                let drug = step.text("drug").unwrap_or("a drug");
                let sentence = format!("{drug} {dose}: the unit was not said");
                out.add(Level::Look, tooth.number, &[], &[step], sentence).about(&step.entry.id);
            } else if let Some(drug) = step.text("drug").filter(|d| !step.has("dose_mg") && bare_number(d)) {
                let sentence = format!("\"{drug}\": a number without a unit");
                out.add(Level::Look, tooth.number, &[], &[step], sentence).about(&step.entry.id);
            }
        }
    }
}

/// Whether the text holds a number that no unit follows.
fn bare_number(text: &str) -> bool {
    let words: Vec<&str> = text.split_whitespace().collect();
    words.iter().enumerate().any(|(i, word)| {
        word.parse::<f64>().is_ok_and(f64::is_finite)
            && !words.get(i + 1).is_some_and(|next| {
                ["mg", "g", "ml", "mcg", "%", "units", "iu", "milligram", "gram", "percent"].iter().any(
                    |unit| {
                        next.to_lowercase().trim_end_matches(['s', '.', ',']) == unit.trim_end_matches('s')
                    },
                )
            })
    })
}
