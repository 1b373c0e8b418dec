//! One panel for each canal: lengths downwards from the reference to the working length, widths across, four times
//! larger. The needle stands in the shape, the cone beside it.

use super::svg::{BOLD, DASHED, DOTTED, PLAIN, Pen, Svg, THIN};
use super::{MARGIN, Sheet};
use crate::checks::computed::{CanalShape, LevelWidth, NeedleFit};
use crate::checks::geometry;
use crate::checks::shape::{Shape, Tool};
use crate::checks::visit::{SINGLE, Step, Tooth, join, label, size_taper};
use crate::words::Decimal;

/// Picture units for a millimetre of length and of width.
const DOWN: f64 = 11.0;
const ACROSS: f64 = 44.0;
const PANEL: f64 = 238.0;
/// Above the reference line and below the working length.
const HEAD: f64 = 60.0;
const FOOT: f64 = 36.0;
const LINE: f64 = 14.0;
/// Said once, above the first tooth.
const NOTE: &str = "lengths in mm from the reference point; widths drawn 4 times wider; computed from the files that were said, not measured";
const LABELS: &[u8] = &[0, 1, 3, 5, 10, 16];

/// Draws the canals of a tooth, as many in a row as fit, one sheet for each row.
pub(super) fn draw(sheets: &mut Vec<Sheet>, width: f64, tooth: &Tooth<'_>, shapes: &[&CanalShape]) {
    let name = tooth.number.map_or("Tooth not named".to_owned(), |n| format!("Tooth {n}"));
    let remark = if sheets.is_empty() { NOTE } else { "" };
    let in_a_row = places(width).count().max(1);
    for (n, row) in shapes.chunks(in_a_row).enumerate() {
        let mut sheet = Sheet::new(width);
        if n == 0 {
            sheet.heading(&name, remark);
        }
        // One scale for a row, so that lengths can be compared by eye.
        let longest = row.iter().map(|s| depth(s)).fold(0.0, f64::max);
        for (x, shape) in places(width).zip(row) {
            panel(&mut sheet.svg, x, sheet.height, longest, tooth, shape);
            sheet.words.push(in_words(shape));
        }
        let lines = row.iter().map(|s| captions(s).len()).max().unwrap_or(0);
        sheet.height +=
            HEAD + longest * DOWN + FOOT + LINE * f64::from(u8::try_from(lines).unwrap_or(u8::MAX));
        if (n + 1) * in_a_row >= shapes.len() {
            sheet.paragraph(&legend(tooth, shapes), 10.0);
        }
        sheet.height += 10.0;
        sheets.push(sheet);
    }
}

/// Where the panels of a row begin.
fn places(width: f64) -> impl Iterator<Item = f64> {
    (0..u8::MAX)
        .map(|i| MARGIN + PANEL * f64::from(i))
        .take_while(move |x| x + PANEL <= width - MARGIN + 1e-9)
}

/// What the lines mean, as far as they are there.
fn legend(tooth: &Tooth<'_>, shapes: &[&CanalShape]) -> String {
    let needles = || shapes.iter().flat_map(|s| &s.needles);
    let mut words = vec!["grey: the shape", "dotted: width not known"];
    if shapes.iter().any(|s| s.levels.iter().any(|l| l.at_least)) {
        words.push("dashed, ≥: at least as wide");
    }
    if needles().any(|n| n.said_short_mm.is_some()) {
        words.push("white inside: the needle, where it was said to be");
    }
    if needles().any(|n| n.binds_short_mm.is_some_and(|mm| mm > 0.0)) {
        words.push("thick ticks: where it meets the wall");
    }
    if shapes.iter().any(|s| cone_of(tooth, s).is_some()) {
        words.push("beside: the cone");
    }
    words.join(" · ")
}

/// The length that is drawn: the working length, or the working part where no length was said.
fn depth(shape: &CanalShape) -> f64 {
    shape.working_length_mm.map_or(geometry::WORKING_PART_MM + 2.0, Decimal::to_f64).clamp(4.0, 45.0)
}

fn name(shape: &CanalShape) -> String {
    if shape.canal == SINGLE { "canal".to_owned() } else { shape.canal.clone() }
}

fn mark(shape: &CanalShape, field: &str) -> &'static str {
    if shape.doubtful.contains(&field) { " ?" } else { "" }
}

/// How the taper is known, where it was not said.
fn taper_remark(shape: &CanalShape) -> Option<&'static str> {
    shape.size?;
    match (shape.taper_assumed, shape.taper) {
        (true, _) => Some("taper as hand files have"),
        (_, None) => Some("taper not said"),
        _ => None,
    }
}

/// "25/.06, 0.5 short".
fn file(shape: &CanalShape) -> Option<String> {
    let taper = shape.taper.and_then(Decimal::from_f64);
    let short =
        shape.short_mm.filter(|s| *s > Decimal::ZERO).map(|s| format!(", {s} short")).unwrap_or_default();
    Some(format!("{}{short}{}", size_taper(Some(shape.size?), taper), mark(shape, "size")))
}

fn reference(shape: &CanalShape) -> String {
    shape.reference.as_ref().map_or("reference not said".to_owned(), |r| r.replace('-', " "))
}

/// What the panel shows, as sentences.
fn in_words(shape: &CanalShape) -> String {
    let canal = label(shape.tooth.as_deref(), std::slice::from_ref(&shape.canal));
    let length = shape.working_length_mm.map_or("working length not said".to_owned(), |mm| {
        format!("working length {mm} mm{}, {}", mark(shape, "working_length_mm"), reference(shape))
    });
    let remark = taper_remark(shape).map(|r| format!(" ({r})")).unwrap_or_default();
    let file = file(shape).map(|f| format!("; shaped to {f}{remark}")).unwrap_or_default();
    let widths: Vec<String> = shape
        .levels
        .iter()
        .filter(|l| LABELS.contains(&l.above_mm))
        .map(|l| {
            let least = if l.at_least { "at least " } else { "" };
            format!("{least}{:.2} mm at {} mm", l.diameter_mm, l.above_mm)
        })
        .collect();
    let widths = if widths.is_empty() {
        String::new()
    } else {
        format!(
            "; width {} above {}",
            join(&widths),
            if shape.working_length_mm.is_some() { "it" } else { "the tip" }
        )
    };
    let needles: Vec<String> = shape.needles.iter().map(|n| format!("; {}", needle_words(n))).collect();
    format!("{canal}: {length}{file}{widths}{}.", needles.concat())
}

fn needle_words(needle: &NeedleFit) -> String {
    let said = needle.said_short_mm.map(|mm| format!(", tip {mm} mm short")).unwrap_or_default();
    let passes = match needle.binds_short_mm {
        Some(mm) if mm <= 0.0 => ", passes to length".to_owned(),
        Some(mm) => format!(", passes to {mm:.1} mm short"),
        None => String::new(),
    };
    format!("{}-gauge needle{said}{passes}", needle.gauge)
}

fn panel(svg: &mut Svg, x: f64, y: f64, longest: f64, tooth: &Tooth<'_>, canal: &CanalShape) {
    let shape = Shape::of(tooth, &canal.canal, None);
    let top = y + HEAD;
    let bottom = top + depth(canal) * DOWN;
    let axis = x + 92.0;
    svg.group(&in_words(canal));
    svg.text(axis, y + 22.0, "middle", 15.0, &name(canal));
    svg.text(axis, y + 40.0, "middle", 11.0, &reference(canal));
    // Without a working length nobody knows where the reference point and the end of the canal are.
    let (pen, above) = match canal.working_length_mm {
        Some(_) => (BOLD, "above WL"),
        None => (DOTTED, "above tip"),
    };
    svg.line(axis - 46.0, top, axis + 46.0, top, pen);
    body(svg, axis, top, bottom, &shape, canal);
    needles(svg, axis, top, bottom, canal);
    cone(svg, x + 196.0, top, bottom, tooth, canal);
    svg.text(x_left(axis) - 3.0, top - 4.0, "end", 9.0, above);
    svg.text(axis + 50.0, top - 4.0, "start", 9.0, "width");
    let half = shape.width(0.0).map_or(0.0, |w| half_width(w.diameter_mm));
    svg.line(x_left(axis), bottom, axis + half, bottom, pen);
    let length = canal.working_length_mm.map_or("WL not said".to_owned(), |mm| format!("WL {mm} mm"));
    svg.text(axis, bottom + 18.0, "middle", 13.0, &format!("{length}{}", mark(canal, "working_length_mm")));
    let mut foot = top + longest.max(depth(canal)) * DOWN + FOOT;
    for line in captions(canal) {
        svg.text(axis, foot, "middle", 11.0, &line);
        foot += LINE;
    }
    svg.end();
}

/// What was said, in the trade's terms, below the shape.
fn captions(canal: &CanalShape) -> Vec<String> {
    let mut lines = vec![file(canal).map_or("no file size said".to_owned(), |f| format!("shaped {f}"))];
    lines.extend(taper_remark(canal).map(str::to_owned));
    if let Some(size) = canal.gauged_size {
        lines.push(format!("gauged {size}"));
    }
    for (i, needle) in canal.needles.iter().take(2).enumerate() {
        if i == 1 {
            lines.push("not drawn:".to_owned());
        }
        let words = needle_words(needle).replacen("-gauge needle", " G needle", 1);
        match words.split_once(", passes") {
            Some((said, passes)) => lines.extend([said.to_owned(), format!("passes{passes}")]),
            None => lines.push(words),
        }
    }
    lines
}

/// The outline at these levels above the working length.
fn body(svg: &mut Svg, axis: f64, top: f64, bottom: f64, shape: &Shape, canal: &CanalShape) {
    let at = |level: f64| shape.width(level).map(|w| (half_width(w.diameter_mm), bottom - level * DOWN));
    let mut levels: Vec<f64> =
        (0..=64_u8).map(|q| f64::from(q) / 4.0).filter(|l| bottom - l * DOWN >= top).collect();
    // Every place where a file's tip or the end of its working part changes the outline.
    let edges = |t: &Tool| {
        let tip = t.short_mm.unwrap_or_default().to_f64();
        [tip - 1e-6, tip, t.top_mm()]
    };
    levels.extend(shape.tools.iter().flat_map(edges));
    levels.retain(|l| (0.0..=45.0).contains(l) && bottom - l * DOWN >= top);
    levels.sort_by(f64::total_cmp);
    let right: Vec<(f64, f64)> = levels.iter().filter_map(|l| at(*l)).map(|(w, y)| (axis + w, y)).collect();
    if right.len() > 1 {
        let mut points: Vec<(f64, f64)> = right.iter().rev().map(|(x, y)| (2.0 * axis - x, *y)).collect();
        points.extend(&right);
        let unsure = canal.levels.iter().any(|l| l.at_least);
        svg.outline(&points, "#e6e6e6", if unsure { DASHED } else { BOLD });
    }
    // Above the files nothing is known of the width.
    let reached = right.last().map_or(bottom, |(_, y)| *y);
    let half = right.last().map_or(6.0, |(x, _)| x - axis);
    for side in [-1.0, 1.0] {
        svg.line(axis + side * half, top, axis + side * half, reached, DOTTED);
    }
    let needle = canal.needles.first().map_or(0.0, |n| half_width(n.outer_mm.to_f64()));
    let mut last = String::new();
    for level in LABELS {
        let Some((w, y)) = at(f64::from(*level)).filter(|(_, y)| *y >= top) else { continue };
        let Some(width) = canal.levels.iter().find(|l| l.above_mm == *level).map(LevelWidth::show) else {
            continue;
        };
        svg.line(x_left(axis), y, axis - w, y, DOTTED);
        svg.text(x_left(axis) - 3.0, y + 3.5, "end", 10.0, &level.to_string());
        // The same lower bound again says nothing new.
        if width != last {
            svg.text(axis + w.max(needle) + 4.0, y + 3.5, "start", 10.0, &width);
        }
        last = width;
    }
}

/// Half a width in picture units; what no canal has is drawn no wider than the panel.
fn half_width(diameter_mm: f64) -> f64 {
    diameter_mm.clamp(0.0, 2.0) * ACROSS / 2.0
}

fn x_left(axis: f64) -> f64 {
    axis - 46.0
}

/// Each needle down to where its tip was said to be, and a bar where it meets the wall.
fn needles(svg: &mut Svg, axis: f64, top: f64, bottom: f64, canal: &CanalShape) {
    for needle in canal.needles.iter().take(1) {
        let half = half_width(needle.outer_mm.to_f64());
        if let Some(short) = needle.said_short_mm {
            let tip = (bottom - short.to_f64() * DOWN).clamp(top, bottom);
            let points = [
                (axis - half, top - 8.0),
                (axis + half, top - 8.0),
                (axis + half, tip - half),
                (axis, tip),
                (axis - half, tip - half),
            ];
            svg.outline(&points, "#fff", PLAIN);
            svg.line(axis, top - 8.0, axis, tip - 2.0, DOTTED);
        }
        if let Some(binds) = needle.binds_short_mm.filter(|mm| *mm > 0.0) {
            let y = (bottom - binds * DOWN).max(top);
            for side in [-1.0, 1.0] {
                svg.line(
                    axis + side * half,
                    y,
                    axis + side * (half + 7.0),
                    y,
                    Pen { width: 3.0, stroke: "#111", dash: "" },
                );
            }
        }
    }
}

/// The cone that was fitted last.
fn cone_of<'t, 'l>(tooth: &'t Tooth<'l>, canal: &'t CanalShape) -> Option<&'t Step<'l>> {
    let fitted = |s: &&Step<'_>| (s.is("cone-fit") || s.is("obturation")) && s.has("size");
    tooth.done_in(&canal.canal).filter(fitted).last()
}

/// Draws the cone beside the canal.
fn cone(svg: &mut Svg, axis: f64, top: f64, bottom: f64, tooth: &Tooth<'_>, canal: &CanalShape) {
    let Some(step) = cone_of(tooth, canal) else { return };
    let (size, taper) = (step.number("size"), step.number("taper"));
    let short =
        canal.working_length_mm.zip(step.number("length_mm")).map(|(wl, mm)| wl.saturating_sub(mm).to_f64());
    let tip = (bottom - short.unwrap_or(0.0) * DOWN).clamp(top, bottom + 12.0);
    let doubt = if ["size", "taper", "length_mm"].iter().any(|f| step.doubts(f)) { " ?" } else { "" };
    let name = format!("cone {}{doubt}", step.size_taper());
    if let (Some(size), Some(taper)) = (size, taper) {
        let up = ((tip - top) / DOWN).clamp(0.0, geometry::WORKING_PART_MM);
        let half = |level: f64| half_width(taper.to_f64().mul_add(level, size.to_f64() / 100.0));
        let points = [
            (axis - half(up), tip - up * DOWN),
            (axis + half(up), tip - up * DOWN),
            (axis + half(0.0), tip),
            (axis - half(0.0), tip),
        ];
        svg.outline(&points, "#fff", PLAIN);
    } else {
        // Its taper was not said: no outline, only how deep it stood.
        svg.line(axis, top, axis, tip, PLAIN);
    }
    svg.line(axis - 22.0, bottom, axis + 22.0, bottom, THIN);
    svg.text(axis, bottom + 18.0, "middle", 11.0, &name);
    let at = step.number("length_mm").map_or("length not said".to_owned(), |mm| format!("at {mm} mm"));
    svg.text(axis, bottom + 32.0, "middle", 11.0, &at);
}
