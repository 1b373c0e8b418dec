//! A picture of a log as SVG: the shape of each canal, and the visit along a line.
//!
//! Comes in: a log. Goes out: one SVG document that needs nothing else, is readable without colour, and says the same
//! in words (`<title>`, `<desc>`). What was not said is not drawn; what is doubtful carries a question mark; struck,
//! planned and denied steps are left out.

mod canals;
mod svg;
mod timeline;

use crate::checks::visit::Visit;
use crate::checks::{Settings, computed};
use crate::log::Log;
use svg::{Svg, escape};

/// The width of the picture, in its own units.
const WIDTH: f64 = 1000.0;
const MARGIN: f64 = 24.0;

/// Below every picture, as below every note.
const DRAFT: &str = "Draft from dictation, to be checked and signed by the treating clinician.";

/// The picture of a log.
pub fn picture(log: &Log, settings: &Settings) -> String {
    let visit = Visit::of(log);
    let computed = computed::compute(&visit, settings);
    let mut body = Svg::default();
    let mut words: Vec<String> = Vec::new();
    let mut y = MARGIN;
    for tooth in &visit.teeth {
        let shapes: Vec<_> = computed.canals.iter().filter(|c| c.tooth.as_deref() == tooth.number).collect();
        y = canals::draw(&mut body, y, tooth, &shapes, &mut words);
    }
    y = timeline::draw(&mut body, y, &visit, settings, &mut words);
    if words.is_empty() {
        body.text(MARGIN, y + 16.0, "start", 14.0, "Nothing was done that can be drawn.");
        words.push("Nothing was done that can be drawn.".to_owned());
        y += 32.0;
    }
    body.text(MARGIN, y + 14.0, "start", 11.0, DRAFT);
    let height = y + 14.0 + MARGIN;
    let title = match log.case.teeth.as_slice() {
        [] => "Root canal treatment".to_owned(),
        [one] => format!("Root canal treatment of tooth {one}"),
        many => format!("Root canal treatment of teeth {}", many.join(", ")),
    };
    words.push(DRAFT.to_owned());
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.0}\" width=\"{WIDTH}\" height=\"{height:.0}\" \
         role=\"img\" aria-labelledby=\"picture-title picture-words\" font-family=\"sans-serif\" fill=\"#111\">\n\
         <title id=\"picture-title\">{}</title>\n<desc id=\"picture-words\">{}</desc>\n\
         <defs><pattern id=\"gap\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path d=\"M0 6L6 0\" stroke=\"#999\" stroke-width=\"1\"/></pattern></defs>\n\
         <rect width=\"{WIDTH}\" height=\"{height:.0}\" fill=\"#fff\"/>\n{}</svg>\n",
        escape(&title),
        escape(&words.join(" ")),
        body.done()
    )
}

#[cfg(test)]
mod tests;
