//! The shape that the files left in a canal, as far as the log says it.
//!
//! Comes in: the steps in a canal. Goes out: the widest of all files at each level above the working length. Nothing
//! is guessed: a file whose taper was not said is as wide as its tip or wider, and the width says so; hand files that
//! were named as such have their standard taper, .02.

use super::geometry::{self, STANDARD_TAPER, WORKING_PART_MM};
use super::visit::{Step, Tooth, size_taper};
use crate::words::Decimal;

/// A file that stayed no more than this short of the working length worked in the apical part: common practice, no
/// source.
const APICAL_MM: Decimal = Decimal::whole(2);

/// One file that worked towards the apex.
#[derive(Debug, Clone)]
pub struct Tool {
    pub entry: String,
    pub size: Decimal,
    /// As said.
    pub taper: Option<Decimal>,
    /// How short of the working length its tip stood, in mm, if that was said.
    pub short_mm: Option<Decimal>,
    hand: bool,
    /// It found or opened the way; the files after it made the shape.
    scouting: bool,
}

/// All files of a canal.
#[derive(Debug, Clone, Default)]
pub struct Shape {
    pub tools: Vec<Tool>,
}

impl Shape {
    /// From the steps of a canal, all or those before a place in the log.
    pub fn of(tooth: &Tooth<'_>, canal: &str, before: Option<usize>) -> Self {
        let in_time = |s: &&Step<'_>| before.is_none_or(|b| s.at < b);
        let tools = tooth
            .done_in(canal)
            .filter(|s| s.is_apical_file() || s.is("glide-path"))
            .filter(in_time)
            .filter_map(|s| {
                let length = tooth.length_at(canal, s.at).map(|(_, mm)| mm);
                let by_depth = || Some(length?.saturating_sub(s.number("depth_mm")?).max(Decimal::ZERO));
                Some(Tool {
                    entry: s.entry.id.clone(),
                    size: s.number("size")?,
                    taper: s.number("taper"),
                    short_mm: s.number("short_mm").or_else(by_depth),
                    hand: matches!(s.text("instrument"), Some("k-file" | "h-file" | "reamer")),
                    scouting: s.is("glide-path"),
                })
            })
            .collect();
        Self { tools }
    }

    /// The largest of the files that went deepest; a file whose depth was not said may have reached the working
    /// length. A glide path counts only where no other file came near.
    pub fn master(&self) -> Option<&Tool> {
        let near: Vec<&Tool> = self.tools.iter().filter(|t| !t.scouting && t.short() <= APICAL_MM).collect();
        let among = if near.is_empty() { self.tools.iter().collect() } else { near };
        let deepest = among.iter().map(|t| t.short()).min()?;
        among.into_iter().filter(|t| t.short() == deepest).max_by_key(|t| (t.size, t.taper))
    }

    /// "25/.06" of the master file.
    pub fn name(&self) -> String {
        self.master().map(|t| size_taper(Some(t.size), t.taper)).unwrap_or_default()
    }

    /// The width `level_mm` above the working length; nothing where no file is known to have been.
    pub fn width(&self, level_mm: f64) -> Option<Width> {
        let known = self.tools.iter().filter_map(|t| t.diameter_mm(level_mm)).reduce(f64::max);
        // A file whose taper was not said is no narrower above its tip than at it; how much wider is not known.
        let open = self.tools.iter().filter(|t| self.is_open(t) && t.covers(level_mm));
        let least = open.clone().map(|t| t.size.to_f64() / 100.0).reduce(f64::max);
        let at_tip = |t: &Tool| (level_mm - t.short().to_f64()).abs() < 1e-9;
        let diameter_mm = [known, least].into_iter().flatten().reduce(f64::max)?;
        Some(Width { diameter_mm, at_least: open.clone().any(|t| !at_tip(t)) })
    }

    /// How far short of the working length a needle of this outer diameter meets the wall; 0 where it passes to the
    /// working length. Nothing where that hangs on a taper that was not said.
    pub fn binds_mm(&self, outer_mm: f64) -> Option<f64> {
        let passes = |t: &Tool| t.size.to_f64() / 100.0 >= outer_mm - 1e-9;
        if self.tools.iter().any(|t| self.is_open(t) && !passes(t)) {
            return None;
        }
        let binds = |t: &Tool| match t.taper_or_standard() {
            Some(taper) => {
                Some(t.short().to_f64() + geometry::needle_bind_mm(t.size.to_f64(), taper, outer_mm)?)
            }
            None => passes(t).then(|| t.short().to_f64()),
        };
        self.tools.iter().filter_map(binds).reduce(f64::min)
    }

    /// A file whose taper is not known and matters: no file of known taper was at least as large and went as deep.
    fn is_open(&self, tool: &Tool) -> bool {
        let covers =
            |t: &Tool| t.taper_or_standard().is_some() && t.size >= tool.size && t.short() <= tool.short();
        tool.taper_or_standard().is_none() && !self.tools.iter().any(covers)
    }
}

/// A computed width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Width {
    pub diameter_mm: f64,
    /// A file of unknown taper may have made it wider.
    pub at_least: bool,
}

impl Tool {
    fn short(&self) -> Decimal {
        self.short_mm.unwrap_or(Decimal::ZERO)
    }

    /// The taper said, or that of standard hand files.
    pub fn taper_or_standard(&self) -> Option<f64> {
        self.taper.map(Decimal::to_f64).or(self.hand.then_some(STANDARD_TAPER))
    }

    /// Whether the taper is the standard one because none was said.
    pub const fn taper_is_assumed(&self) -> bool {
        self.taper.is_none() && self.hand
    }

    /// The file's own width `level_mm` above the working length, where its taper is known.
    fn diameter_mm(&self, level_mm: f64) -> Option<f64> {
        geometry::diameter_mm(self.size.to_f64(), self.taper_or_standard()?, level_mm - self.short().to_f64())
    }

    /// Whether the level lies within the working part.
    fn covers(&self, level_mm: f64) -> bool {
        (-1e-9..=WORKING_PART_MM).contains(&(level_mm - self.short().to_f64()))
    }

    /// Where the working part ends, above the working length.
    pub fn top_mm(&self) -> f64 {
        self.short().to_f64() + WORKING_PART_MM
    }
}
