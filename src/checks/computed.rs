//! What the numbers of a log mean together: shapes, totals, times.
//!
//! Comes in: the steps by tooth and canal. Goes out: computed values, each with what it could not count. A total that
//! cannot be had is absent, one that misses parts says "at least" and why. Nothing is judged here.

use std::collections::BTreeMap;

use serde::Serialize;

use super::Settings;
use super::geometry;
use super::shape::Shape;
use super::solutions::{needle, rate_ml_per_s};
use super::visit::{Reach, Step, Tooth, Visit, unique};
use crate::tables::Evidence;
use crate::words::Decimal;

/// Levels above the working length at which diameters are shown, in mm.
const LEVELS_MM: &[u8] = &[0, 1, 3, 5, 8, 10, 12, 16];

/// Said with every total of local anaesthetic.
pub const DOSE_NOTE: &str = "The maximum dose is for the treating clinician to judge.";

/// Everything that is computed from a log.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Computed {
    pub canals: Vec<CanalShape>,
    pub irrigants: Vec<IrrigantTotal>,
    pub activations: Vec<ActivationTotal>,
    pub deliveries: Vec<Delivery>,
    pub anaesthetics: Vec<AnaestheticTotal>,
    pub instruments: Vec<InstrumentUse>,
    pub times: Times,
}

/// The shape that the files left in a canal.
#[derive(Debug, Clone, Serialize)]
pub struct CanalShape {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tooth: Option<String>,
    pub canal: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub working_length_mm: Option<Decimal>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// Of the largest file that went deepest; a glide path only where no other file came near.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<Decimal>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taper: Option<f64>,
    /// The taper was not said: a hand file's standard one was taken.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub taper_assumed: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short_mm: Option<Decimal>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauged_size: Option<Decimal>,
    pub levels: Vec<LevelWidth>,
    pub needles: Vec<NeedleFit>,
    /// Which of these rest on a doubt that nobody has settled.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub doubtful: Vec<&'static str>,
    /// Of the master file's shape from its tip up, at most 16 mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volume_ul: Option<f64>,
}

/// A width at a level above the working length.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LevelWidth {
    pub above_mm: u8,
    pub diameter_mm: f64,
    /// A file whose taper was not said may have made it wider.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub at_least: bool,
}

impl LevelWidth {
    /// "0.43", "≥0.60".
    pub fn show(&self) -> String {
        format!("{}{:.2}", if self.at_least { "≥" } else { "" }, self.diameter_mm)
    }
}

/// How far a needle passes.
#[derive(Debug, Clone, Serialize)]
pub struct NeedleFit {
    pub gauge: Decimal,
    pub outer_mm: Decimal,
    /// Where it meets the wall; 0: it passes to the working length.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub binds_short_mm: Option<f64>,
    /// The same for the thickest needle of the gauge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub thickest_binds_short_mm: Option<f64>,
    /// Where the log says its tip was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub said_short_mm: Option<Decimal>,
    #[serde(serialize_with = "super::mark")]
    pub evidence: Evidence,
}

/// A sum, and what it could not count.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Total {
    /// Absent where nothing could be counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sum: Option<Decimal>,
    /// Why the sum is "at least", doubtful or absent.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_counted: Vec<String>,
}

impl Total {
    fn add(&mut self, n: Decimal) {
        self.sum = Some(self.sum.unwrap_or_default().saturating_add(n));
    }

    fn miss(&mut self, why: &str) {
        if !self.not_counted.iter().any(|w| w == why) {
            self.not_counted.push(why.to_owned());
        }
    }

    pub fn is_whole(&self) -> bool {
        self.not_counted.is_empty()
    }

    /// A part of the sum is doubtful: it may be more, or less.
    fn is_doubtful(&self) -> bool {
        self.not_counted.iter().any(|w| w.ends_with("doubtful"))
    }

    /// "9 mL", "at least 9 mL", "unknown".
    pub fn show(&self, unit: &str) -> String {
        match (self.sum, self.is_whole()) {
            (Some(sum), true) => format!("{sum} {unit}"),
            (Some(sum), false) if self.is_doubtful() => format!("{sum} {unit} ?"),
            (Some(sum), false) => format!("at least {sum} {unit}"),
            (None, false) => "unknown".to_owned(),
            (None, true) => "–".to_owned(),
        }
    }
}

/// Volume and contact time of one irrigant in a tooth or a canal.
#[derive(Debug, Clone, Serialize)]
pub struct IrrigantTotal {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tooth: Option<String>,
    /// Absent: the whole tooth.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub canal: Option<String>,
    /// Absent: which irrigant was not said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub agent: Option<String>,
    pub volume_ml: Total,
    pub contact_s: Total,
}

/// Activation in one canal, or in a tooth where no canal was said.
#[derive(Debug, Clone, Serialize)]
pub struct ActivationTotal {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tooth: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub canal: Option<String>,
    pub duration_s: Total,
}

/// One delivery against the published mean flow of its needle.
#[derive(Debug, Clone, Serialize)]
pub struct Delivery {
    pub entry: String,
    pub gauge: Decimal,
    pub volume_ml: Decimal,
    pub published_flow_ml_per_s: Decimal,
    /// How long the volume takes at that flow.
    pub at_that_flow_s: f64,
    /// As the log has it, where volume and time are of one delivery.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate_ml_per_s: Option<f64>,
}

/// One local anaesthetic of the visit.
#[derive(Debug, Clone, Serialize)]
pub struct AnaestheticTotal {
    /// Absent: which one was not said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub agent: Option<String>,
    pub volume_ml: Total,
    pub dose_mg: Total,
    /// What was taken for one cartridge, where cartridges were counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cartridge_ml: Option<Decimal>,
    pub note: &'static str,
}

/// How often a file was used.
#[derive(Debug, Clone, Serialize)]
pub struct InstrumentUse {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<Decimal>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taper: Option<Decimal>,
    /// One for each canal it entered, each time it was named, whatever it did there.
    pub uses: usize,
    pub canals: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub passes: Option<Decimal>,
}

/// When the done steps were said.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Times {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_s: Option<f64>,
    /// From the start of one step to the start of the next.
    pub steps: Vec<StepTime>,
    /// Stretches without a step that are longer than the setting.
    pub gaps: Vec<Gap>,
}

#[derive(Debug, Clone, Serialize)]
pub struct StepTime {
    pub entry: String,
    pub kind: String,
    pub from_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since_last_s: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Gap {
    pub from_s: f64,
    pub to_s: f64,
}

/// To two decimal places, for a person.
fn hundredths(x: f64) -> f64 {
    (x * 100.0).round() / 100.0
}

/// Computes everything.
pub fn compute(visit: &Visit<'_>, settings: &Settings) -> Computed {
    let teeth = || visit.teeth.iter();
    Computed {
        canals: teeth().flat_map(canals).collect(),
        irrigants: teeth().flat_map(irrigants).collect(),
        activations: teeth().flat_map(activations).collect(),
        deliveries: teeth().flat_map(deliveries).collect(),
        anaesthetics: anaesthetics(visit, settings),
        instruments: instruments(visit),
        times: step_times(visit, settings),
    }
}

fn canals(tooth: &Tooth<'_>) -> Vec<CanalShape> {
    let worked = |c: &&String| {
        tooth
            .done_in(c)
            .any(|s| s.is("working-length") || s.is_apical_file() || s.is("apical-gauge") || s.is("cone-fit"))
    };
    tooth.canals.iter().filter(worked).map(|canal| canal_shape(tooth, canal)).collect()
}

fn canal_shape(tooth: &Tooth<'_>, canal: &str) -> CanalShape {
    let shape = Shape::of(tooth, canal, None);
    let length = tooth.length(canal);
    let master = shape.master();
    let taper = master.and_then(super::shape::Tool::taper_or_standard);
    let inside = |mm: u8| length.is_none_or(|length| Decimal::whole(i64::from(mm)) <= length);
    let levels = LEVELS_MM
        .iter()
        .filter(|mm| inside(**mm))
        .filter_map(|mm| {
            let width = shape.width(f64::from(*mm))?;
            let diameter_mm = hundredths(width.diameter_mm);
            Some(LevelWidth { above_mm: *mm, diameter_mm, at_least: width.at_least })
        })
        .collect();
    // From the tip of the master file up to the reference point, or to the end of its working part.
    let short = master.and_then(|m| m.short_mm).unwrap_or_default();
    let top = length.map_or(geometry::WORKING_PART_MM, |mm| {
        mm.saturating_sub(short).to_f64().clamp(0.0, geometry::WORKING_PART_MM)
    });
    CanalShape {
        tooth: tooth.number.map(str::to_owned),
        canal: canal.to_owned(),
        working_length_mm: length,
        reference: tooth.lengths(canal).rev().find_map(|(s, _)| s.text("reference")).map(str::to_owned),
        size: master.map(|m| m.size),
        taper,
        taper_assumed: master.is_some_and(super::shape::Tool::taper_is_assumed),
        short_mm: master.and_then(|m| m.short_mm),
        gauged_size: tooth
            .done_in(canal)
            .filter(|s| s.is("apical-gauge"))
            .filter_map(|s| s.number("size"))
            .last(),
        levels,
        needles: needles(tooth, canal, &shape),
        doubtful: doubtful(tooth, canal, &shape),
        volume_ul: master
            .zip(taper)
            .and_then(|(m, taper)| geometry::cone_volume_ul(m.size.to_f64(), taper, top))
            .map(hundredths),
    }
}

/// What of a canal's shape rests on a doubtful entry.
fn doubtful(tooth: &Tooth<'_>, canal: &str, shape: &Shape) -> Vec<&'static str> {
    let mut doubtful = Vec::new();
    if tooth.lengths(canal).last().is_some_and(|(s, _)| s.doubts("length_mm") || s.doubts("canal")) {
        doubtful.push("working_length_mm");
    }
    let is_master = |s: &&Step<'_>| shape.master().is_some_and(|m| m.entry == s.entry.id);
    let fields = ["size", "taper", "short_mm", "depth_mm", "canal"];
    if tooth.done_in(canal).find(is_master).is_some_and(|s| fields.iter().any(|f| s.doubts(f))) {
        doubtful.push("size");
    }
    doubtful
}

/// Every needle that was named for this canal, the deepest place of each.
fn needles(tooth: &Tooth<'_>, canal: &str, shape: &Shape) -> Vec<NeedleFit> {
    let rinses: Vec<_> = tooth.done_in(canal).filter(|s| s.is("irrigation") && s.has("gauge")).collect();
    let gauges = unique(rinses.iter().filter_map(|s| s.number("gauge")));
    let fit = |gauge: Decimal| {
        let row = needle(gauge)?;
        let outer = row.number("iso9626_designated_mm")?;
        let thickest = row.number("iso9626_od_max_mm");
        let of = |s: &&&Step<'_>| s.number("gauge") == Some(gauge);
        Some(NeedleFit {
            gauge,
            outer_mm: outer,
            binds_short_mm: shape.binds_mm(outer.to_f64()).map(hundredths),
            thickest_binds_short_mm: thickest.and_then(|mm| shape.binds_mm(mm.to_f64())).map(hundredths),
            said_short_mm: rinses.iter().filter(of).filter_map(|s| s.number("tip_short_mm")).min(),
            evidence: Evidence::of(row.get("designated_evidence")).unwrap_or(Evidence::Memory),
        })
    };
    gauges.into_iter().filter_map(fit).collect()
}

/// One amount of a step, spread over the tooth and its canals.
struct Spread<'s> {
    amount: Option<Decimal>,
    /// "mL", for the reason.
    unit: &'static str,
    /// Time runs in all canals at once; a volume is shared.
    is_shared: bool,
    step: &'s Step<'s>,
    doubtful: bool,
}

impl Spread<'_> {
    fn spread(&self, whole: &mut Total, by_canal: &mut BTreeMap<String, Total>, tooth: &Tooth<'_>) {
        let step = self.step;
        let mut each_canal = |f: &dyn Fn(&mut Total)| {
            for canal in &step.canals {
                f(by_canal.entry(canal.clone()).or_default());
            }
        };
        let Some(n) = self.amount else {
            let why = format!("a rinse with no {} said", if self.is_shared { "volume" } else { "time" });
            whole.miss(&why);
            each_canal(&|t| t.miss(&why));
            return;
        };
        if self.doubtful {
            let why = format!("{n} {} is doubtful", self.unit);
            whole.miss(&why);
            each_canal(&|t| t.miss(&why));
        }
        match step.text("each") {
            Some("file") => {
                let why = format!("{n} {} after each file", self.unit);
                whole.miss(&why);
                each_canal(&|t| t.miss(&why));
            }
            Some("canal") => {
                let canals = if step.reach == Reach::Unsaid { &tooth.canals } else { &step.canals };
                if canals.is_empty() {
                    whole.miss(&format!("{n} {} in each canal, and no canal is named", self.unit));
                }
                for canal in canals {
                    whole.add(n);
                    by_canal.entry(canal.clone()).or_default().add(n);
                }
            }
            _ if step.canals.len() > 1 && self.is_shared => {
                whole.add(n);
                let why = format!("{n} {} for {} canals: each, or together", self.unit, step.canals.len());
                whole.miss(&why);
                each_canal(&|t| t.miss(&why));
            }
            _ => {
                whole.add(n);
                each_canal(&|t| t.add(n));
            }
        }
    }
}

fn irrigants(tooth: &Tooth<'_>) -> Vec<IrrigantTotal> {
    let rinses: Vec<_> = tooth.done_of("irrigation").collect();
    let mut totals = Vec::new();
    for agent in unique(rinses.iter().map(|s| s.text("agent"))) {
        let (mut volume, mut time) = (Total::default(), Total::default());
        let (mut volumes, mut times) = (BTreeMap::new(), BTreeMap::new());
        for step in rinses.iter().filter(|s| s.text("agent") == agent) {
            let spread = |field: &'static str, unit, is_shared| Spread {
                amount: step.number(field),
                unit,
                is_shared,
                step,
                doubtful: step.doubts(field),
            };
            // A rinse that was only timed has no volume to miss, and the other way round.
            if step.has("volume_ml") || !step.has("duration_s") {
                spread("volume_ml", "mL", true).spread(&mut volume, &mut volumes, tooth);
            }
            if step.has("duration_s") {
                spread("duration_s", "s", false).spread(&mut time, &mut times, tooth);
            }
        }
        let total = |canal: Option<&String>, volume_ml: Total, contact_s: Total| IrrigantTotal {
            tooth: tooth.number.map(str::to_owned),
            canal: canal.cloned(),
            agent: agent.map(str::to_owned),
            volume_ml,
            contact_s,
        };
        totals.push(total(None, volume, time));
        if tooth.canals.len() > 1 {
            for canal in tooth.canals.iter().filter(|c| volumes.contains_key(*c) || times.contains_key(*c)) {
                let of = |m: &BTreeMap<String, Total>| m.get(canal).cloned().unwrap_or_default();
                totals.push(total(Some(canal), of(&volumes), of(&times)));
            }
        }
    }
    totals
}

/// Cycles × seconds; one cycle where no number was said.
pub fn activation_s(cycles: Option<Decimal>, seconds: Decimal) -> Decimal {
    Decimal::thousandths(
        cycles.map_or(1000, Decimal::as_thousandths).saturating_mul(seconds.as_thousandths()) / 1000,
    )
}

fn activations(tooth: &Tooth<'_>) -> Vec<ActivationTotal> {
    let steps: Vec<_> = tooth.done_of("activation").collect();
    let total = |canal: Option<&String>, steps: &[&&Step<'_>]| {
        let mut sum = Total::default();
        for step in steps {
            match step.number("duration_s") {
                Some(seconds) => {
                    sum.add(activation_s(step.number("cycles"), seconds));
                    if step.doubts("duration_s") || step.doubts("cycles") {
                        sum.miss("an activation whose time is doubtful");
                    }
                }
                None => sum.miss("an activation with no time said"),
            }
        }
        ActivationTotal { tooth: tooth.number.map(str::to_owned), canal: canal.cloned(), duration_s: sum }
    };
    let of = |canal: Option<&String>| {
        let mine: Vec<_> =
            steps.iter().filter(|s| canal.map_or(s.canals.is_empty(), |canal| s.reached(canal))).collect();
        (!mine.is_empty()).then(|| total(canal, &mine))
    };
    tooth.canals.iter().map(Some).chain([None]).filter_map(of).collect()
}

fn deliveries(tooth: &Tooth<'_>) -> Vec<Delivery> {
    let one = |step: &Step<'_>| {
        let (gauge, volume) = step.number("gauge").zip(step.number("volume_ml"))?;
        let flow = needle(gauge)?.number("mean_clinical_flow_mL_per_s")?;
        Some(Delivery {
            entry: step.entry.id.clone(),
            gauge,
            volume_ml: volume,
            published_flow_ml_per_s: flow,
            at_that_flow_s: (geometry::delivery_time_s(volume.to_f64(), flow.to_f64()) * 10.0).round() / 10.0,
            rate_ml_per_s: rate_ml_per_s(step).map(hundredths),
        })
    };
    tooth.done_of("irrigation").filter_map(one).collect()
}

fn anaesthetics(visit: &Visit<'_>, settings: &Settings) -> Vec<AnaestheticTotal> {
    let given: Vec<_> = visit.done().into_iter().filter(|s| s.is("anaesthesia")).collect();
    let of = |agent: Option<&str>| {
        let (mut volume, mut dose) = (Total::default(), Total::default());
        let mut counted = false;
        for step in given.iter().filter(|s| s.text("agent") == agent) {
            let by_cartridge = step.number("cartridges").map(|n| times(n, settings.cartridge_ml));
            counted |= !step.has("volume_ml") && by_cartridge.is_some();
            let Some(ml) = step.number("volume_ml").or(by_cartridge) else {
                volume.miss("an injection with no amount said");
                dose.miss("an injection with no amount said");
                continue;
            };
            volume.add(ml);
            for field in ["volume_ml", "cartridges", "concentration_pct", "agent"] {
                if step.doubts(field) {
                    let what = field.split('_').next().unwrap_or(field);
                    volume.miss(&format!("{ml} mL: its {what} is doubtful"));
                    dose.miss(&format!("{ml} mL: its {what} is doubtful"));
                }
            }
            match (agent, step.number("concentration_pct")) {
                (Some(_), Some(pct)) => dose.add(Decimal::thousandths(times(ml, pct).as_thousandths() * 10)),
                (Some(_), None) => dose.miss(&format!("{ml} mL with no concentration said")),
                (None, _) => dose.miss(&format!("{ml} mL with no agent said")),
            }
        }
        AnaestheticTotal {
            agent: agent.map(str::to_owned),
            volume_ml: volume,
            dose_mg: dose,
            cartridge_ml: counted.then_some(settings.cartridge_ml),
            note: DOSE_NOTE,
        }
    };
    unique(given.iter().map(|s| s.text("agent"))).into_iter().map(of).collect()
}

/// The product, to the nearest thousandth.
fn times(a: Decimal, b: Decimal) -> Decimal {
    let product = i128::from(a.as_thousandths()) * i128::from(b.as_thousandths());
    Decimal::thousandths(i64::try_from((product + product.signum() * 500) / 1000).unwrap_or(i64::MAX))
}

fn instruments(visit: &Visit<'_>) -> Vec<InstrumentUse> {
    let mut uses: Vec<InstrumentUse> = Vec::new();
    for tooth in &visit.teeth {
        let files = ["instrumentation", "glide-path", "patency", "recapitulation", "apical-gauge"];
        let used = |s: &&Step<'_>| files.contains(&s.kind()) && (s.has("size") || s.has("instrument"));
        for step in tooth.done().filter(used) {
            let (instrument, size, taper) =
                (step.text("instrument"), step.number("size"), step.number("taper"));
            let named: Vec<String> = step
                .canals
                .iter()
                .map(|c| super::visit::label(tooth.number, std::slice::from_ref(c)))
                .collect();
            let same = |u: &InstrumentUse| {
                u.instrument.as_deref() == instrument && u.size == size && u.taper == taper
            };
            let at = uses.iter().position(same).unwrap_or(uses.len());
            if at == uses.len() {
                let instrument = instrument.map(str::to_owned);
                uses.push(InstrumentUse { instrument, size, taper, uses: 0, canals: vec![], passes: None });
            }
            let Some(entry) = uses.get_mut(at) else { continue };
            entry.uses += step.canals.len().max(1);
            entry.canals.extend(named.into_iter().filter(|c| !entry.canals.contains(c)).collect::<Vec<_>>());
            if let Some(passes) = step.number("passes") {
                entry.passes = Some(entry.passes.unwrap_or_default().saturating_add(passes));
            }
        }
    }
    uses
}

fn step_times(visit: &Visit<'_>, settings: &Settings) -> Times {
    let done = visit.done();
    let mut times = Times {
        first_s: done.first().map(|s| hundredths(s.entry.from_s)),
        last_s: done.iter().map(|s| s.entry.to_s).reduce(f64::max).map(hundredths),
        ..Times::default()
    };
    let mut last: Option<(f64, f64)> = None;
    for step in done {
        let (from_s, to_s) = (step.entry.from_s, step.entry.to_s);
        times.steps.push(StepTime {
            entry: step.entry.id.clone(),
            kind: step.kind().to_owned(),
            from_s: hundredths(from_s),
            since_last_s: last.map(|(start, _)| hundredths(from_s - start)),
        });
        if let Some((_, end)) = last.filter(|(_, end)| from_s - end > settings.gap_s.to_f64()) {
            times.gaps.push(Gap { from_s: hundredths(end), to_s: hundredths(from_s) });
        }
        last = Some((from_s, to_s.max(last.map_or(to_s, |(_, end)| end))));
    }
    times
}
