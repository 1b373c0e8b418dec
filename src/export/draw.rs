//! A picture of a log as SVG: the shape of each canal, and the visit along a line.
//!
//! Comes in: a log. Goes out: one SVG document that needs nothing else, is readable without colour, and says the same
//! in words (`<title>`, `<desc>`). What was not said is not drawn; what is doubtful carries a question mark; struck,
//! planned and denied steps are left out.
//!
//! A picture is made of sheets, which stay in one piece on paper: a row of canals, a stretch of the visit.

mod canals;
mod svg;
mod timeline;

use std::fmt::Write as _;

use crate::checks::visit::Visit;
use crate::checks::{Settings, computed};
use crate::export::escape::html as escape;
use crate::log::Log;
use svg::Svg;

/// The width of the picture by itself, in its own units.
const WIDTH: f64 = 1000.0;
/// On a page of A4 or Letter: three canals beside each other, letters of 7.5 points and more.
const PAPER_WIDTH: f64 = 762.0;
const MARGIN: f64 = 24.0;

/// Below every picture, as below every note.
const DRAFT: &str = "Draft from dictation, to be checked and signed by the treating clinician.";
const NOTHING: &str = "Nothing was done that can be drawn.";

/// Hatching for a stretch in which nothing was said to be done.
const GAP: &str = "<defs><pattern id=\"gap\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path d=\"M0 6L6 0\" stroke=\"#999\" stroke-width=\"1\"/></pattern></defs>";

/// A part of a picture, drawn from its own upper edge.
#[derive(Debug)]
struct Sheet {
    svg: Svg,
    width: f64,
    height: f64,
    /// What it shows, as sentences.
    words: Vec<String>,
}

impl Sheet {
    fn new(width: f64) -> Self {
        Self { svg: Svg::default(), width, height: 0.0, words: Vec::new() }
    }

    /// How wide it is between its margins.
    fn inside(&self) -> f64 {
        self.width - 2.0 * MARGIN
    }

    /// A heading with a remark beside it or, where there is no room, below it.
    fn heading(&mut self, text: &str, remark: &str) {
        self.svg.text(MARGIN, self.height + 18.0, "start", 18.0, text);
        self.height += 26.0;
        let room = self.inside() - svg::text_width(text, 18.0) - 20.0;
        if svg::text_width(remark, 11.0) <= room {
            self.svg.text(self.width - MARGIN, self.height - 8.0, "end", 11.0, remark);
        } else {
            self.paragraph(remark, 11.0);
        }
    }

    /// Text in as many lines as it needs.
    fn paragraph(&mut self, text: &str, size: f64) {
        for line in svg::lines(text, size, self.inside()) {
            self.height += size + 3.0;
            self.svg.text(MARGIN, self.height - 2.0, "start", size, &line);
        }
        self.height += 4.0;
    }
}

/// The picture of a log.
pub fn picture(log: &Log, settings: &Settings) -> String {
    let sheets = sheets(log, settings, WIDTH);
    let mut body = String::new();
    let mut words: Vec<String> = Vec::new();
    let mut y = MARGIN;
    for sheet in sheets {
        let _ = writeln!(body, "<g transform=\"translate(0 {y:.1})\">\n{}</g>", sheet.svg.done());
        y += sheet.height;
        words.extend(sheet.words);
    }
    let mut last = Svg::default();
    last.text(MARGIN, y + 14.0, "start", 11.0, DRAFT);
    body.push_str(&last.done());
    words.push(DRAFT.to_owned());
    let height = y + 14.0 + MARGIN;
    let title = match log.case.teeth.as_slice() {
        [] => "Root canal treatment".to_owned(),
        [one] => format!("Root canal treatment of tooth {one}"),
        many => format!("Root canal treatment of teeth {}", many.join(", ")),
    };
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.0}\" width=\"{WIDTH}\" height=\"{height:.0}\" \
         role=\"img\" aria-labelledby=\"picture-title picture-words\" font-family=\"sans-serif\" fill=\"#111\">\n\
         <title id=\"picture-title\">{}</title>\n<desc id=\"picture-words\">{}</desc>\n{GAP}\n\
         <rect width=\"{WIDTH}\" height=\"{height:.0}\" fill=\"#fff\"/>\n{body}</svg>\n",
        escape(&title),
        escape(&words.join(" ")),
    )
}

/// The same for a printed page, inside of an HTML document: one SVG element for each sheet, so that no page ends within
/// a canal. The document says itself that it is a draft.
pub fn on_paper(log: &Log, settings: &Settings) -> String {
    let mut out = String::new();
    for (i, sheet) in sheets(log, settings, PAPER_WIDTH).into_iter().enumerate() {
        let (height, words) = (sheet.height.ceil(), escape(&sheet.words.join(" ")));
        let defs = if i == 0 { GAP } else { "" };
        let _ = writeln!(
            out,
            "<svg viewBox=\"0 0 {PAPER_WIDTH} {height}\" role=\"img\" aria-label=\"{words}\" font-family=\"sans-serif\" fill=\"#111\">{defs}\n{}</svg>",
            sheet.svg.done()
        );
    }
    out
}

/// All sheets, from the first tooth's canals to the end of the visit; one that says so where there is nothing to draw.
fn sheets(log: &Log, settings: &Settings, width: f64) -> Vec<Sheet> {
    let visit = Visit::of(log);
    let computed = computed::compute(&visit, settings);
    let mut sheets: Vec<Sheet> = Vec::new();
    for tooth in &visit.teeth {
        let shapes: Vec<_> = computed.canals.iter().filter(|c| c.tooth.as_deref() == tooth.number).collect();
        canals::draw(&mut sheets, width, tooth, &shapes);
    }
    timeline::draw(&mut sheets, width, &visit, settings);
    if sheets.is_empty() {
        let mut sheet = Sheet::new(width);
        sheet.paragraph(NOTHING, 14.0);
        sheet.words.push(NOTHING.to_owned());
        sheets.push(sheet);
    }
    sheets
}

#[cfg(test)]
mod tests;
