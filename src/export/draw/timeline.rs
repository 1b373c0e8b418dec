//! The visit along a line: files above it, fluids below it, one lane for each canal and one for the tooth.
//!
//! Steps stand in order and as far apart as their labels need; longer pauses make longer distances up to a limit, and
//! the clock below says the time. A pause longer than the setting is a hatched band.

use super::svg::{BOLD, PLAIN, Svg, THIN, text_width};
use super::{MARGIN, Sheet};
use crate::checks::Settings;
use crate::checks::visit::{CANAL_KINDS, SINGLE, Step, Tooth, Visit, clock};
use crate::words::Decimal;

const LANE: f64 = 44.0;
/// Where lanes begin: left of it are their names.
const LEFT: f64 = MARGIN + 66.0;
/// Picture units for a second, and the longest distance between two steps.
const SECOND: f64 = 0.4;
const FARTHEST: f64 = 40.0;
const GAP: f64 = 46.0;
const SIZE: f64 = 10.0;
const NOTE: &str =
    "in the order in which the steps were said; distances are not to scale, the clock is below";

/// One mark of the timeline.
struct Mark<'s> {
    step: &'s Step<'s>,
    /// Lanes it stands in.
    lanes: Vec<usize>,
    /// Above or below the lane's line.
    above: bool,
    label: String,
}

/// A mark with its place: row and distance from the left.
struct Placed<'m, 's> {
    mark: &'m Mark<'s>,
    row: usize,
    x: f64,
    /// The pause before it, where it is a gap: from, to.
    gap: Option<(f64, f64)>,
}

/// Draws the visit, one sheet for each row.
pub(super) fn draw(sheets: &mut Vec<Sheet>, width: f64, visit: &Visit<'_>, settings: &Settings) {
    let lanes = lanes(visit);
    let marks = marks(visit, &lanes);
    let (Some(first), Some(last)) = (marks.first(), marks.last()) else { return };
    let placed = place(&marks, lanes.len(), settings.gap_s.to_f64(), width - MARGIN);
    let rows = placed.iter().map(|p| p.row).max().unwrap_or(0) + 1;
    for row in 0..rows {
        let mut sheet = Sheet::new(width);
        if row == 0 {
            sheet.heading("Visit", NOTE);
            let times = (clock(first.step.entry.from_s), clock(last.step.entry.to_s));
            sheet.words.push(format!("The visit, from {} to {}:", times.0, times.1));
        }
        let here: Vec<_> = placed.iter().filter(|p| p.row == row).collect();
        sheet.words.extend(here.iter().map(|p| in_words(p.mark, &lanes)));
        let used: Vec<bool> =
            (0..lanes.len()).map(|i| here.iter().any(|p| p.mark.lanes.contains(&i))).collect();
        draw_row(&mut sheet, &lanes, &used, &here);
        if row + 1 == rows {
            legend(&mut sheet);
        }
        sheets.push(sheet);
    }
}

/// Names of the lanes, with the tooth and canal that each is for.
fn lanes<'v>(visit: &'v Visit<'_>) -> Vec<(Option<&'v str>, Option<&'v str>)> {
    let of = |tooth: &'v Tooth<'_>| {
        std::iter::once((tooth.number, None))
            .chain(tooth.canals.iter().map(|c| (tooth.number, Some(c.as_str()))))
    };
    visit.teeth.iter().flat_map(of).collect()
}

fn marks<'v>(visit: &'v Visit<'v>, lanes: &[(Option<&str>, Option<&str>)]) -> Vec<Mark<'v>> {
    let mut marks: Vec<Mark<'v>> = Vec::new();
    for tooth in &visit.teeth {
        for step in tooth.done() {
            let Some(label) = name(step) else { continue };
            let in_canal = CANAL_KINDS.contains(&step.kind()) || step.is("complication");
            let canals: Vec<Option<&str>> = if step.canals.is_empty() || !in_canal {
                vec![None]
            } else {
                step.canals.iter().map(|c| Some(c.as_str())).collect()
            };
            let lanes = (0..lanes.len())
                .filter(|i| lanes.get(*i).is_some_and(|l| l.0 == tooth.number && canals.contains(&l.1)))
                .collect();
            let above = !matches!(step.kind(), "irrigation" | "activation" | "drying" | "medicament");
            marks.push(Mark { step, lanes, above, label });
        }
    }
    marks.sort_by_key(|m| m.step.at);
    marks
}

fn short_name(agent: &str) -> String {
    match agent {
        "sodium-hypochlorite" => "NaOCl".to_owned(),
        "edta" => "EDTA".to_owned(),
        "chlorhexidine" => "CHX".to_owned(),
        other => other.replace('-', " "),
    }
}

/// The label of a step in the trade's terms; nothing for what is no step of the treatment.
fn name(step: &Step<'_>) -> Option<String> {
    let number =
        |field: &str, unit: &str| step.number(field).map(|n| format!("{n}{unit}")).unwrap_or_default();
    let words =
        |parts: &[String]| parts.iter().filter(|p| !p.is_empty()).cloned().collect::<Vec<_>>().join(" ");
    let text = |field: &str| step.text(field).map(|t| t.replace('-', " ")).unwrap_or_default();
    let file = step.size_taper();
    let label = match step.kind() {
        "anaesthesia" => words(&["LA".to_owned(), text("agent")]),
        "isolation" => text("method"),
        "access" => "access".to_owned(),
        "canal-located" => {
            let one = match step.number("count") {
                Some(count) => count == Decimal::whole(1),
                None => step.names().len() == 1 && step.names().iter().all(|n| n != "all"),
            };
            words(&[number("count", ""), if one { "canal found" } else { "canals found" }.to_owned()])
        }
        "working-length" => words(&["WL".to_owned(), number("length_mm", "")]),
        "patency" => words(&["patency".to_owned(), file]),
        "glide-path" => words(&["glide path".to_owned(), file]),
        "instrumentation" => {
            let gates = step.text("instrument") == Some("gates-glidden");
            let short = step.number("short_mm").filter(|s| *s > Decimal::ZERO);
            let where_to = step
                .number("depth_mm")
                .map(|mm| format!("to {mm}"))
                .or_else(|| short.map(|s| format!("{s} short")))
                .unwrap_or_default();
            let tool = if gates {
                format!("GG {file}")
            } else if file.is_empty() || step.is_drill() {
                words(&[text("instrument"), file])
            } else {
                file
            };
            words(&[tool, where_to])
        }
        "recapitulation" => words(&["recap".to_owned(), file]),
        "apical-gauge" => words(&["gauge".to_owned(), file]),
        "cone-fit" => words(&["cone".to_owned(), file]),
        "irrigation" => {
            let agent = step.text("agent").map_or("rinse".to_owned(), short_name);
            let each = if step.has("each") { format!("each {}", text("each")) } else { String::new() };
            words(&[agent, number("volume_ml", " mL"), number("duration_s", " s"), each])
        }
        "activation" => {
            let cycles = step.number("cycles").map(|n| format!("{n} ×")).unwrap_or_default();
            words(&[text("method"), cycles, number("duration_s", " s")])
        }
        "drying" => "dried".to_owned(),
        "medicament" => text("agent"),
        "obturation" => words(&["filled".to_owned(), text("technique")]),
        "restoration" => words(&[text("material"), text("term")]),
        "radiograph" => words(&["radiograph".to_owned(), text("purpose")]),
        "complication" => words(&["!".to_owned(), text("type")]),
        _ => return None,
    };
    let label = if label.is_empty() { step.kind().replace('-', " ") } else { label };
    Some(if step.is_doubtful() { format!("{label} ?") } else { label })
}

fn in_words(mark: &Mark<'_>, lanes: &[(Option<&str>, Option<&str>)]) -> String {
    let named: Vec<&str> =
        mark.lanes.iter().filter_map(|i| lanes.get(*i)?.1).filter(|c| *c != SINGLE).collect();
    let canals = if named.is_empty() { String::new() } else { format!(" in {}", named.join(", ")) };
    let tooth =
        mark.lanes.first().and_then(|i| lanes.get(*i)?.0).map(|t| format!("{t} ")).unwrap_or_default();
    format!("{} {tooth}{}{canals};", clock(mark.step.entry.from_s), mark.label)
}

/// Gives each mark a row and a place, so that no two labels of a lane touch.
fn place<'m, 's>(marks: &'m [Mark<'s>], lanes: usize, gap_s: f64, right: f64) -> Vec<Placed<'m, 's>> {
    let mut placed: Vec<Placed<'m, 's>> = Vec::new();
    // Where each lane's labels end, above and below.
    let mut ends = vec![[LEFT; 2]; lanes];
    let (mut row, mut x) = (0, LEFT);
    let mut last_s: Option<f64> = None;
    for mark in marks {
        let pause = last_s.map_or(0.0, |l| mark.step.entry.from_s - l);
        let gap = last_s.filter(|_| pause > gap_s).map(|l| (l, mark.step.entry.from_s));
        let width = text_width(&mark.label, SIZE) + 14.0;
        let side = usize::from(mark.above);
        let free = mark.lanes.iter().filter_map(|i| ends.get(*i)?.get(side)).fold(LEFT, |a, b| a.max(*b));
        let ahead = if gap.is_some() {
            GAP
        } else {
            (pause * SECOND).clamp(if placed.is_empty() { 0.0 } else { 11.0 }, FARTHEST)
        };
        let after = if gap.is_some() { ends.iter().flatten().fold(x, |a, b| a.max(*b)) } else { x };
        x = (after + ahead).max(free);
        if x + width > right {
            row += 1;
            x = LEFT + if gap.is_some() { GAP } else { 0.0 };
            ends.fill([LEFT; 2]);
        }
        for lane in &mark.lanes {
            if let Some(end) = ends.get_mut(*lane).and_then(|e| e.get_mut(side)) {
                *end = x + width;
            }
        }
        placed.push(Placed { mark, row, x, gap });
        last_s = Some(mark.step.entry.to_s.max(mark.step.entry.from_s));
    }
    placed
}

fn draw_row(
    sheet: &mut Sheet,
    lanes: &[(Option<&str>, Option<&str>)],
    used: &[bool],
    marks: &[&Placed<'_, '_>],
) {
    let (top, right) = (sheet.height, sheet.width - MARGIN);
    let svg = &mut sheet.svg;
    // Lanes without a mark in this row take no room.
    let mut at = vec![None; lanes.len()];
    let mut y = top;
    for (i, (tooth, canal)) in lanes.iter().enumerate() {
        if !used.get(i).copied().unwrap_or(false) {
            continue;
        }
        let line = y + LANE / 2.0;
        if let Some(slot) = at.get_mut(i) {
            *slot = Some(line);
        }
        let name = match canal {
            Some(c) if *c != SINGLE => format!("{} {c}", tooth.unwrap_or_default()),
            Some(_) => format!("{} canal", tooth.unwrap_or_default()),
            None => tooth.map_or("not named".to_owned(), |t| format!("tooth {t}")),
        };
        svg.text(LEFT - 8.0, line + 4.0, "end", 11.0, name.trim());
        svg.line(LEFT, line, right, line, THIN);
        y += LANE;
    }
    let bottom = y;
    for placed in marks {
        if let Some((from, to)) = placed.gap {
            let x = placed.x - GAP + 8.0;
            svg.group(&format!("No step from {} to {}", clock(from), clock(to)));
            svg.rect(x, top, GAP - 16.0, bottom - top, "url(#gap)");
            svg.end();
        }
    }
    for placed in marks {
        let heights: Vec<f64> = placed.mark.lanes.iter().filter_map(|i| *at.get(*i)?).collect();
        if let [first, .., last] = heights.as_slice() {
            svg.line(placed.x + 5.0, *first, placed.x + 5.0, *last, THIN);
        }
    }
    for placed in marks {
        draw_mark(svg, placed, &at);
    }
    clock_line(svg, bottom + 4.0, marks);
    sheet.height = bottom + 30.0;
}

fn draw_mark(svg: &mut Svg, placed: &Placed<'_, '_>, at: &[Option<f64>]) {
    let (mark, x) = (placed.mark, placed.x + 5.0);
    let lines: Vec<f64> = mark.lanes.iter().filter_map(|i| *at.get(*i)?).collect();
    svg.group(&format!("{} at {}: {}", mark.label, clock(mark.step.entry.from_s), mark.step.entry.said));
    for y in &lines {
        glyph(svg, mark.step, x, *y);
        let text = if mark.above { y - 6.0 } else { y + 14.0 };
        svg.text(placed.x + 10.0, text, "start", SIZE, &mark.label);
    }
    svg.end();
}

/// Files are pointed, fluids round, everything else square; what a motor drives, or what was activated, is filled.
fn glyph(svg: &mut Svg, step: &Step<'_>, x: f64, y: f64) {
    let pen = PLAIN;
    match step.kind() {
        "instrumentation" | "glide-path" | "recapitulation" | "patency" | "apical-gauge" => {
            let motor = step.is_engine_driven() || step.is_drill();
            let points = [(x - 4.0, y - 6.0), (x + 4.0, y - 6.0), (x, y + 4.0)];
            svg.outline(&points, if motor { "#111" } else { "#fff" }, pen);
        }
        "irrigation" => svg.circle(x, y, 4.2, "#fff", pen),
        "activation" => svg.circle(x, y, 4.2, "#111", pen),
        "complication" => complication_at(y)(svg, x),
        _ => svg.outline(
            &[(x - 3.5, y - 3.5), (x + 3.5, y - 3.5), (x + 3.5, y + 3.5), (x - 3.5, y + 3.5)],
            "#fff",
            pen,
        ),
    }
}

fn complication_at(y: f64) -> impl Fn(&mut Svg, f64) {
    move |svg, x| svg.outline(&[(x, y - 7.0), (x + 6.0, y + 4.0), (x - 6.0, y + 4.0)], "#fff", BOLD)
}

/// Times below a row, as many as have room.
fn clock_line(svg: &mut Svg, y: f64, marks: &[&Placed<'_, '_>]) {
    let mut free = f64::MIN;
    for placed in marks {
        if placed.x < free {
            continue;
        }
        svg.line(placed.x + 5.0, y - 4.0, placed.x + 5.0, y, THIN);
        svg.text(placed.x + 5.0, y + 10.0, "middle", SIZE, &clock(placed.mark.step.entry.from_s));
        free = placed.x + 48.0;
    }
}

/// Draws a mark at a place.
type Drawing<'d> = &'d dyn Fn(&mut Svg, f64, f64);

/// What the marks mean, in as many lines as that needs.
fn legend(sheet: &mut Sheet) {
    let pen = PLAIN;
    let square =
        |x: f64, y: f64| [(x - 3.5, y - 3.5), (x + 3.5, y - 3.5), (x + 3.5, y + 3.5), (x - 3.5, y + 3.5)];
    let file = |x: f64, y: f64| [(x - 4.0, y - 5.0), (x + 4.0, y - 5.0), (x, y + 5.0)];
    let entries: [(&str, Drawing<'_>); 8] = [
        ("file", &|svg, x, y| svg.outline(&file(x, y), "#fff", pen)),
        ("engine-driven file", &|svg, x, y| svg.outline(&file(x, y), "#111", pen)),
        ("rinse", &|svg, x, y| svg.circle(x, y, 4.2, "#fff", pen)),
        ("activation", &|svg, x, y| svg.circle(x, y, 4.2, "#111", pen)),
        ("other step", &|svg, x, y| svg.outline(&square(x, y), "#fff", pen)),
        ("no step", &|svg, x, y| svg.rect(x - 6.0, y - 6.0, 12.0, 12.0, "url(#gap)")),
        ("complication", &|svg, x, y| complication_at(y)(svg, x)),
        ("? doubtful, not yet settled", &|_, _, _| {}),
    ];
    let mut x = LEFT;
    let mut y = sheet.height + 4.0;
    for (words, draw) in entries {
        let wide = text_width(words, SIZE);
        if x + 9.0 + wide > sheet.width - MARGIN {
            (x, y) = (LEFT, y + 18.0);
        }
        draw(&mut sheet.svg, x, y);
        sheet.svg.text(x + 9.0, y + 4.0, "start", SIZE, words);
        x += wide + 30.0;
    }
    sheet.height = y + 30.0;
}
