//! Single numbers against the windows of the trade: lengths, sizes, tapers, speeds.
//!
//! Why: "fifteen" and "fifty" sound alike, and a slipped decimal makes a number that no instrument has.
//! Example: size 13; working length 41 mm; taper 0.6.

use super::geometry::WORKING_PART_MM;
use super::visit::{Step, Tooth, Visit, clock, short_taper};
use super::{Level, Out, Rule, Settings};
use crate::tables::{self, Evidence};
use crate::words::Decimal;

pub(super) static RULES: &[Rule] = &[
    Rule {
        id: "plausibility.working-length",
        about: "A working length lies outside what teeth, or this tooth, usually have.",
        source: "tooth_length_samples (PD-APPX); iso3630_constants: standard_lengths (SL1)",
        evidence: Evidence::Seen,
        run: working_length,
    },
    Rule {
        id: "plausibility.past-working-length",
        about: "An instrument or a needle went deeper than the working length.",
        source: "the log itself; for patency files procedure_rules: patency depth beyond minor diameter (ENDO2010)",
        evidence: Evidence::Seen,
        run: past_length,
    },
    Rule {
        id: "plausibility.patency",
        about: "A patency file went further beyond, or was larger, than is taught.",
        source: "procedure_rules: patency depth beyond minor diameter (ENDO2010), patency taught (PD-PAT)",
        evidence: Evidence::Seen,
        run: patency,
    },
    Rule {
        id: "plausibility.size-series",
        about: "A size is not in the series of ISO 3630-1 or its half sizes.",
        source: "iso3630_constants: size_steps (PA1, SL1), half_sizes (PA1)",
        evidence: Evidence::Seen,
        run: size_series,
    },
    Rule {
        id: "plausibility.taper",
        about: "A taper is larger than any file or cone has.",
        source: "iso3630_constants: diameter_at_L (TB1, BE1)",
        evidence: Evidence::Computed,
        run: taper,
    },
    Rule {
        id: "plausibility.speed",
        about: "A speed lies outside the setting.",
        source: "common practice, from memory",
        evidence: Evidence::Memory,
        run: |visit, settings, out| motor(visit, out, "speed_rpm", "a speed", "/min", settings.speed_rpm),
    },
    Rule {
        id: "plausibility.torque",
        about: "A torque lies outside the setting.",
        source: "common practice, from memory",
        evidence: Evidence::Memory,
        run: |visit, settings, out| motor(visit, out, "torque_ncm", "a torque", " N·cm", settings.torque_ncm),
    },
];

fn working_length(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    let [shortest, longest] = settings.working_length_mm;
    for tooth in &visit.teeth {
        for step in tooth.done_of("working-length") {
            let Some(mm) = step.number("length_mm") else { continue };
            // Primary teeth are shorter, and no table has them.
            if mm > longest || (mm < shortest && !tooth.is_primary()) {
                let sentence = format!(
                    "working length {mm} mm: a crown alone is about {shortest} mm long, the longest standard file {longest} mm"
                );
                out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
                continue;
            }
            let own = tooth.number.and_then(|n| settings.tooth_length_mm.get(n));
            if let Some([low, high]) = own {
                if mm < *low || mm > *high {
                    let sentence = format!(
                        "working length {mm} mm; the settings expect {low} to {high} mm for this tooth"
                    );
                    out.on(Level::Look, tooth, &[step], sentence)
                        .about(&step.entry.id)
                        .by_setting("tooth_length_mm");
                }
                continue;
            }
            let Some(row) = tooth.row("tooth_lengths") else { continue };
            let margin = settings.tooth_length_margin_mm;
            let below = row.number("soft_flag_below_mm").map(|mm| mm.saturating_sub(margin));
            let above = row.number("soft_flag_above_mm").map(|mm| mm.saturating_add(margin));
            let (Some(below), Some(above)) = (below, above) else { continue };
            if mm < below || mm > above {
                let evidence = Evidence::of(row.get("anatomy_evidence"));
                let sentence =
                    format!("working length {mm} mm; this tooth is usually between {below} and {above} mm");
                let found = out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
                found.resting_on("tooth_lengths", &row, evidence);
            }
        }
    }
}

fn past_length(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done() {
            let (what, depth) = match step.kind() {
                "instrumentation" | "recapitulation" | "apical-gauge" | "patency" | "glide-path" => {
                    ("the file went to", step.number("depth_mm"))
                }
                "irrigation" => ("the needle tip was at", step.number("tip_mm")),
                _ => continue,
            };
            let Some(depth) = depth else { continue };
            let small = step.number("size").is_some_and(|s| s <= settings.patency_size);
            let may_pass = if small && !step.is("irrigation") { settings.beyond_mm } else { Decimal::ZERO };
            for canal in &step.canals {
                let Some((length, mm)) = tooth.length_at(canal, step.at) else { continue };
                if depth <= mm.saturating_add(may_pass) {
                    continue;
                }
                let sentence = format!(
                    "{what} {depth} mm (at {}); the working length is {mm} mm",
                    clock(step.entry.from_s)
                );
                let canals = std::slice::from_ref(canal);
                out.add(Level::Look, tooth.number, canals, &[length, step], sentence).about(&step.entry.id);
            }
        }
    }
}

fn patency(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done_of("patency") {
            if let Some(beyond) = step.number("beyond_mm").filter(|mm| *mm > settings.beyond_mm) {
                let sentence = format!("patency file {beyond} mm beyond; 0.5 to 1 mm is described");
                out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
            }
            if let Some(size) = step.number("size").filter(|s| *s > settings.largest_patency_size) {
                let sentence = format!(
                    "patency file of size {size}; sizes up to {} are taught",
                    settings.largest_patency_size
                );
                out.on(Level::Note, tooth, &[step], sentence).about(&step.entry.id);
            }
        }
    }
}

/// Sizes of the series of ISO 3630-1, in order.
pub(super) fn series() -> impl Iterator<Item = Decimal> {
    tables::rows("iso3630_sizes").filter_map(|r| r.number("size"))
}

fn is_half_size(size: Decimal) -> bool {
    tables::rows("iso3630_constants")
        .find(|r| r.key() == "half_sizes")
        .is_some_and(|r| r.lists("value", &size.to_string()))
}

/// How many sizes of the series lie between two sizes, the larger one counted; nothing where one is in no series.
pub(super) fn steps_between(a: Decimal, b: Decimal) -> Option<usize> {
    let known = |s| series().any(|x| x == s) || is_half_size(s);
    let (low, high) = (a.min(b), a.max(b));
    (known(low) && known(high))
        .then(|| series().filter(|s| *s > low && *s <= high).count().max(usize::from(low != high)))
}

/// Instruments of the contract whose sizes are those of the series; a person's own list may have others.
fn is_sized_by_series(step: &Step<'_>) -> bool {
    match step.text("instrument") {
        None => true,
        Some(i) => matches!(i, "k-file" | "h-file" | "reamer" | "rotary" | "reciprocating"),
    }
}

fn size_series(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    let kinds = [
        "instrumentation",
        "patency",
        "glide-path",
        "recapitulation",
        "apical-gauge",
        "cone-fit",
        "obturation",
        "drying",
        "inspection",
        "complication",
    ];
    for tooth in &visit.teeth {
        for step in tooth.done().filter(|s| kinds.contains(&s.kind())) {
            let Some(size) = step.number("size") else { continue };
            if step.text("instrument") == Some("gates-glidden") {
                gates_number(tooth, step, size, out);
            } else if is_sized_by_series(step) && !series().any(|s| s == size) && !is_half_size(size) {
                let below = series().filter(|s| *s < size).last();
                let above = series().find(|s| *s > size);
                let near: Vec<String> = [below, above].into_iter().flatten().map(|s| s.to_string()).collect();
                let sentence =
                    format!("size {size} is in no series; the sizes next to it are {}", near.join(" and "));
                out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
            }
        }
    }
}

fn gates_number(tooth: &Tooth<'_>, step: &Step<'_>, size: Decimal, out: &mut Out<'_>) {
    let numbers = || tables::rows("gates_peeso").filter(|r| r.key() == "Gates-Glidden");
    if numbers().any(|r| r.number("number") == Some(size)) {
        return;
    }
    let sentence = format!("Gates-Glidden number {size}; they are numbered 1 to 6");
    let found = out.on(Level::Note, tooth, &[step], sentence).about(&step.entry.id);
    if let Some(row) = numbers().next() {
        found.resting_on("gates_peeso", &row, None);
    }
}

fn taper(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        for step in tooth.done() {
            let Some(taper) = step.number("taper").filter(|t| *t > settings.largest_taper) else { continue };
            let wide =
                WORKING_PART_MM * taper.to_f64() + step.number("size").map_or(0.0, |s| s.to_f64() / 100.0);
            let sentence = format!(
                "taper {}: such an instrument would be {wide:.1} mm wide 16 mm from its tip",
                short_taper(taper)
            );
            out.on(Level::Look, tooth, &[step], sentence).about(&step.entry.id);
        }
    }
}

fn motor(visit: &Visit<'_>, out: &mut Out<'_>, field: &str, what: &str, unit: &str, window: [Decimal; 2]) {
    let [low, high] = window;
    for tooth in &visit.teeth {
        for step in tooth.done() {
            let Some(n) = step.number(field).filter(|n| *n < low || *n > high) else { continue };
            let sentence = format!("{what} of {n}{unit}; usual is {low} to {high}{unit} (from memory)");
            out.on(Level::Note, tooth, &[step], sentence).about(&step.entry.id);
        }
    }
}
