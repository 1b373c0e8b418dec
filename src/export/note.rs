//! The note for the patient record, and the letter to the referring dentist: a record put into a template.

use minijinja::context;
use minijinja::value::{Serde, Value};

use super::ExportError;
use super::draw;
use super::record::record;
use super::template::{Format, Template, fill};
use crate::checks::Settings as Windows;
use crate::log::Log;

/// Which of the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    Note,
    Letter,
}

/// How it is made.
#[derive(Debug, Clone, Default)]
pub struct Options {
    pub format: Format,
    /// Each step with its time in the recording.
    pub times: bool,
    /// Instead of the built-in one.
    pub template: Option<Template>,
    /// The practice's windows, by which the picture is drawn.
    pub windows: Windows,
}

/// The built-in template, for a user to begin with.
pub fn built_in(paper: Paper, format: Format) -> Result<Template, ExportError> {
    let (name, text) = match (paper, format) {
        (Paper::Note, Format::Text) => ("note.txt", include_str!("templates/note.txt.jinja")),
        (Paper::Note, Format::Markdown) => ("note.md", include_str!("templates/note.md.jinja")),
        (Paper::Letter, Format::Text) => ("letter.txt", include_str!("templates/letter.txt.jinja")),
        (Paper::Letter, Format::Markdown) => ("letter.md", include_str!("templates/letter.md.jinja")),
        (Paper::Note, Format::Html) => ("note.html", include_str!("templates/note.html.jinja")),
        (Paper::Letter, Format::Html) => {
            return Err(ExportError::NoTemplate { form: "letter", instead: "text or markdown" });
        }
    };
    Ok(Template { name: name.to_owned(), text: text.to_owned() })
}

/// The note.
pub fn note(log: &Log, options: &Options) -> Result<String, ExportError> {
    write(log, Paper::Note, options)
}

/// The letter.
pub fn letter(log: &Log, options: &Options) -> Result<String, ExportError> {
    write(log, Paper::Letter, options)
}

/// Either.
pub fn write(log: &Log, paper: Paper, options: &Options) -> Result<String, ExportError> {
    let template = options.template.clone().map_or_else(|| built_in(paper, options.format), Ok)?;
    // Only a format that can hold a picture has one; it is drawn and escaped already.
    let picture = match options.format {
        Format::Html => Value::from_safe_string(draw::on_paper(log, &options.windows)),
        Format::Text | Format::Markdown => Value::from(()),
    };
    let record = Value::from(Serde(record(log, options.times)));
    fill(&template, options.format, context! { picture, ..record })
}

#[cfg(test)]
mod tests;
