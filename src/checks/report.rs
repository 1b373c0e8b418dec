//! The report as text for a terminal. Comes in: a report. Goes out: lines; nothing is decided here.

use std::fmt::Write as _;

use comfy_table::{ContentArrangement, Table, presets};

use super::completeness::State;
use super::computed::{CanalShape, Computed, DOSE_NOTE, IrrigantTotal, StepTime, Times};
use super::visit::{CANAL_KINDS, SINGLE, clock, short_taper};
use super::{Level, Report};
use crate::words::Decimal;

impl Report {
    /// Findings and computed values as lines, without colour.
    pub fn text(&self) -> String {
        let mut out = String::new();
        for (level, title) in [(Level::Look, "Look again"), (Level::Note, "Notes")] {
            let mut findings = self.findings.iter().filter(|f| f.level == level).peekable();
            if findings.peek().is_some() {
                let _ = writeln!(out, "\n{title}");
            }
            for finding in findings {
                let entries = if finding.entries.is_empty() {
                    String::new()
                } else {
                    format!("{} · ", finding.entries.join(", "))
                };
                let mark = finding.evidence.words();
                let _ = writeln!(out, "  {}", finding.sentence);
                let _ = writeln!(out, "      {} · {entries}{} ({mark})", finding.rule, finding.source);
            }
        }
        self.items_line(&mut out);
        shapes(&self.computed, &mut out);
        fluids(&self.computed, &mut out);
        anaesthetics(&self.computed, &mut out);
        files(&self.computed, &mut out);
        times(&self.computed, &mut out);
        out
    }

    fn items_line(&self, out: &mut String) {
        for tooth in super::visit::unique(self.items.iter().map(|i| i.tooth.clone())) {
            let of = |state| self.items.iter().filter(|i| i.tooth == tooth && i.state == state).count();
            let _ = writeln!(
                out,
                "\nRecord items{}: {} said, {} missing, {} not applicable",
                tooth.as_ref().map(|t| format!(" of {t}")).unwrap_or_default(),
                of(State::Said),
                of(State::Missing),
                of(State::NotApplicable)
            );
        }
    }

    /// Every record item with its state and who demands it.
    pub fn items_text(&self) -> String {
        let mut table = plain(&["tooth", "item", "", "question", "demanded by"]);
        for item in &self.items {
            let state = match item.state {
                State::Said => "said",
                State::Missing => "missing",
                State::NotApplicable => "n/a",
            };
            let canals =
                if item.canals.is_empty() { String::new() } else { format!(": {}", item.canals.join(", ")) };
            let gap = item.gap.as_ref().map(|g| format!("; {g}")).unwrap_or_default();
            table.add_row([
                item.tooth.clone().unwrap_or_default(),
                item.item.to_owned(),
                state.to_owned(),
                format!("{}{canals}", item.question),
                format!("{} ({}){gap}", item.source, item.evidence.words()),
            ]);
        }
        format!("{table}\n")
    }
}

fn plain(header: &[&str]) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Disabled)
        .set_header(header);
    table
}

/// Indents a table under its title.
fn show(out: &mut String, title: &str, table: &Table) {
    let _ = writeln!(out, "\n{title}");
    for line in table.lines() {
        let _ = writeln!(out, "  {}", line.trim_end());
    }
}

fn of_canal(canal: &str) -> &str {
    if canal == SINGLE { "" } else { canal }
}

fn millimetres(n: Option<Decimal>) -> String {
    n.map(|n| format!("{n} mm")).unwrap_or_default()
}

/// The file that made the shape: "25/.06", "20/.02 (taper not said)".
fn file_name(shape: &CanalShape) -> String {
    let Some(size) = shape.size else { return String::new() };
    let taper =
        shape.taper.and_then(Decimal::from_f64).map(|t| format!("/{}", short_taper(t))).unwrap_or_default();
    let doubt = if shape.doubtful.contains(&"size") { " ?" } else { "" };
    let assumed = if shape.taper_assumed { " (hand file's)" } else { "" };
    let short =
        shape.short_mm.filter(|s| *s > Decimal::ZERO).map(|s| format!(", {s} short")).unwrap_or_default();
    format!("{size}{taper}{assumed}{short}{doubt}")
}

fn shapes(computed: &Computed, out: &mut String) {
    if computed.canals.is_empty() {
        return;
    }
    let levels: Vec<u8> = [0, 1, 3, 5, 10, 16].into();
    let heads: Vec<String> = levels.iter().map(|l| format!("{l} mm")).collect();
    let mut header = vec!["tooth", "canal", "length", "file"];
    header.extend(heads.iter().map(String::as_str));
    let mut table = plain(&header);
    let mut needles = plain(&["tooth", "canal", "gauge", "passes to", "said"]);
    let mut any = false;
    for shape in &computed.canals {
        let tooth = shape.tooth.clone().unwrap_or_default();
        let canal = of_canal(&shape.canal).to_owned();
        let doubt = if shape.doubtful.contains(&"working_length_mm") { " ?" } else { "" };
        let length = format!("{}{doubt}", millimetres(shape.working_length_mm));
        let mut row = vec![tooth.clone(), canal.clone(), length, file_name(shape)];
        let width = |level: &u8| {
            let at = shape.levels.iter().find(|l| l.above_mm == *level);
            at.map(super::computed::LevelWidth::show).unwrap_or_default()
        };
        row.extend(levels.iter().map(width));
        table.add_row(row);
        for needle in &shape.needles {
            any = true;
            let binds = match (needle.binds_short_mm, needle.thickest_binds_short_mm) {
                (Some(b), _) if b <= 0.0 => "the working length".to_owned(),
                (Some(b), Some(thickest)) if thickest > b => {
                    format!("{b:.1} mm short (the thickest {thickest:.1})")
                }
                (Some(b), _) => format!("{b:.1} mm short"),
                (None, _) => "not known".to_owned(),
            };
            let said = needle.said_short_mm.map(|mm| format!("{mm} mm short")).unwrap_or_default();
            let gauge = format!("{} ({} mm, {})", needle.gauge, needle.outer_mm, needle.evidence.words());
            needles.add_row([tooth.clone(), canal.clone(), gauge, binds, said]);
        }
    }
    show(out, "Shapes: width in mm above the working length (geometry, not a measurement)", &table);
    if any {
        show(out, "Needles: how deep each gauge passes in the final shape", &needles);
    }
}

fn fluids(computed: &Computed, out: &mut String) {
    if !computed.irrigants.is_empty() {
        let mut table = plain(&["tooth", "canal", "irrigant", "volume", "contact time", "not counted"]);
        let whole_tooth = |t: &&IrrigantTotal| t.canal.is_none();
        for tooth in super::visit::unique(computed.irrigants.iter().map(|t| t.tooth.clone())) {
            let of: Vec<_> = computed.irrigants.iter().filter(|t| t.tooth == tooth).collect();
            for total in
                of.iter().copied().filter(whole_tooth).chain(of.iter().copied().filter(|t| t.canal.is_some()))
            {
                let mut why = total.volume_ml.not_counted.clone();
                why.extend(total.contact_s.not_counted.iter().cloned());
                table.add_row([
                    tooth.clone().unwrap_or_default(),
                    total.canal.clone().unwrap_or_else(|| "all".to_owned()),
                    total.agent.clone().unwrap_or_else(|| "not said".to_owned()),
                    total.volume_ml.show("mL"),
                    total.contact_s.show("s"),
                    why.join("; "),
                ]);
            }
        }
        show(out, "Irrigants", &table);
    }
    if !computed.activations.is_empty() {
        let mut table = plain(&["tooth", "canal", "activated for"]);
        for total in &computed.activations {
            table.add_row([
                total.tooth.clone().unwrap_or_default(),
                total.canal.as_deref().map_or("not said", of_canal).to_owned(),
                total.duration_s.show("s"),
            ]);
        }
        show(out, "Activation", &table);
    }
    if !computed.deliveries.is_empty() {
        let mut table = plain(&["entry", "gauge", "volume", "takes at the published flow", "said"]);
        for d in &computed.deliveries {
            table.add_row([
                d.entry.clone(),
                d.gauge.to_string(),
                format!("{} mL", d.volume_ml),
                format!("{:.0} s ({} mL/s, JCD2016)", d.at_that_flow_s, d.published_flow_ml_per_s),
                d.rate_ml_per_s.map(|r| format!("{r:.2} mL/s")).unwrap_or_default(),
            ]);
        }
        show(out, "Delivery", &table);
    }
}

fn anaesthetics(computed: &Computed, out: &mut String) {
    if computed.anaesthetics.is_empty() {
        return;
    }
    let mut table = plain(&["agent", "volume", "dose", "not counted"]);
    for total in &computed.anaesthetics {
        let mut why = total.volume_ml.not_counted.clone();
        why.extend(
            total.dose_mg.not_counted.iter().filter(|w| !total.volume_ml.not_counted.contains(w)).cloned(),
        );
        let cartridge = total.cartridge_ml.map(|ml| format!(" (cartridges of {ml} mL)")).unwrap_or_default();
        table.add_row([
            total.agent.clone().unwrap_or_else(|| "not said".to_owned()),
            format!("{}{cartridge}", total.volume_ml.show("mL")),
            total.dose_mg.show("mg"),
            why.join("; "),
        ]);
    }
    show(out, "Local anaesthetic", &table);
    let _ = writeln!(out, "  {DOSE_NOTE}");
}

fn files(computed: &Computed, out: &mut String) {
    if computed.instruments.is_empty() {
        return;
    }
    let mut table = plain(&["file", "uses", "passes", "in"]);
    for file in &computed.instruments {
        let name = file.instrument.clone().unwrap_or_else(|| "file".to_owned());
        table.add_row([
            format!("{name} {}", super::visit::size_taper(file.size, file.taper)),
            file.uses.to_string(),
            file.passes.map(|p| p.to_string()).unwrap_or_default(),
            file.canals.join(", "),
        ]);
    }
    show(out, "Files", &table);
}

fn times(computed: &Computed, out: &mut String) {
    let times = &computed.times;
    let (Some(first), Some(last)) = (times.first_s, times.last_s) else { return };
    let _ = writeln!(out, "\nTime\n  first step at {}, last step ends at {}", clock(first), clock(last));
    for line in first_steps(times) {
        let _ = writeln!(out, "  {line}");
    }
    for gap in &times.gaps {
        let _ = writeln!(out, "  no step from {} to {}", clock(gap.from_s), clock(gap.to_s));
    }
}

/// "access at 8:20, 0:10 after isolation": the first step of each kind, and the time since the first of the kind before.
fn first_steps(times: &Times) -> Vec<String> {
    let mut firsts: Vec<&StepTime> = Vec::new();
    for step in &times.steps {
        let kind = step.kind.as_str();
        let treats = CANAL_KINDS.contains(&kind)
            || ["anaesthesia", "isolation", "access", "restoration"].contains(&kind);
        if treats && !firsts.iter().any(|f| f.kind == step.kind) {
            firsts.push(step);
        }
    }
    let line = |pair: &[&StepTime]| match pair {
        [before, step] => {
            let after = clock(step.from_s - before.from_s);
            let (step_kind, before_kind) = (step.kind.replace('-', " "), before.kind.replace('-', " "));
            format!("first {step_kind} at {}, {after} after the first {before_kind}", clock(step.from_s))
        }
        _ => String::new(),
    };
    firsts.windows(2).map(line).collect()
}
