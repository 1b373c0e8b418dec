//! A few SVG elements. Numbers are rounded to a tenth, words are escaped.

use std::fmt::Write as _;

use crate::export::escape::html as escape;

/// Elements in the order in which they are drawn.
#[derive(Debug, Default)]
pub(super) struct Svg {
    out: String,
}

/// How a line or an outline looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pen {
    pub(super) width: f64,
    pub(super) stroke: &'static str,
    /// Empty: a whole line.
    pub(super) dash: &'static str,
}

pub(super) const THIN: Pen = Pen { width: 0.7, stroke: "#777", dash: "" };
pub(super) const DOTTED: Pen = Pen { width: 0.8, stroke: "#777", dash: "1.5 3" };
pub(super) const PLAIN: Pen = Pen { width: 1.2, stroke: "#111", dash: "" };
pub(super) const BOLD: Pen = Pen { width: 1.8, stroke: "#111", dash: "" };
pub(super) const DASHED: Pen = Pen { width: 1.4, stroke: "#111", dash: "5 3" };

/// About how wide a text is drawn, in the picture's units.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    let wide = |c: char| {
        if c.is_uppercase() || c.is_ascii_digit() || c == 'm' {
            0.64
        } else if ".,/ il:".contains(c) {
            0.33
        } else {
            0.55
        }
    };
    text.chars().map(wide).sum::<f64>() * size
}

/// The text in lines that are no wider than `width`; a single word may be.
pub(super) fn lines(text: &str, size: f64, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width(&format!("{line} {word}"), size) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

impl Pen {
    fn attributes(self) -> String {
        let dash =
            if self.dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", self.dash) };
        format!("stroke=\"{}\" stroke-width=\"{}\"{dash}", self.stroke, self.width)
    }
}

impl Svg {
    pub(super) fn line(&mut self, x1: f64, y1: f64, x2: f64, y2: f64, pen: Pen) {
        let _ = writeln!(self.out, "<path d=\"M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}\" {}/>", pen.attributes());
    }

    /// A closed outline.
    pub(super) fn outline(&mut self, points: &[(f64, f64)], fill: &str, pen: Pen) {
        let path: Vec<String> = points.iter().map(|(x, y)| format!("{x:.1} {y:.1}")).collect();
        let _ = writeln!(
            self.out,
            "<path d=\"M{}Z\" fill=\"{fill}\" stroke-linejoin=\"round\" {}/>",
            path.join("L"),
            pen.attributes()
        );
    }

    pub(super) fn rect(&mut self, x: f64, y: f64, width: f64, height: f64, fill: &str) {
        let _ = writeln!(
            self.out,
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" fill=\"{fill}\"/>"
        );
    }

    pub(super) fn circle(&mut self, x: f64, y: f64, r: f64, fill: &str, pen: Pen) {
        let _ = writeln!(
            self.out,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\" fill=\"{fill}\" {}/>",
            pen.attributes()
        );
    }

    /// `anchor`: `start`, `middle`, `end`. A white rim keeps letters free of the lines behind them.
    pub(super) fn text(&mut self, x: f64, y: f64, anchor: &str, size: f64, text: &str) {
        let _ = writeln!(
            self.out,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" font-size=\"{size}\" stroke=\"#fff\" stroke-width=\"3\" paint-order=\"stroke\" stroke-linejoin=\"round\">{}</text>",
            escape(text)
        );
    }

    /// A group with its own words for those who do not see it.
    pub(super) fn group(&mut self, words: &str) {
        let _ = writeln!(self.out, "<g><title>{}</title>", escape(words));
    }

    pub(super) fn end(&mut self) {
        self.out.push_str("</g>\n");
    }

    pub(super) fn done(self) -> String {
        self.out
    }
}
