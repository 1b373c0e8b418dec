//! Templates (minijinja): the built-in ones, or a user's own file. Comes in: a record. Goes out: text, with every value
//! escaped for the format; a template that is wrong is refused with its line.

use minijinja::syntax::SyntaxConfig;
use minijinja::value::{Value, ValueKind};
use minijinja::{AutoEscape, Environment, Error, ErrorKind, Output, State, UndefinedBehavior};
use serde::Serialize;

use super::ExportError;
use super::escape;

/// The format that values are escaped for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Format {
    #[default]
    Text,
    Markdown,
    Html,
}

impl Format {
    /// By the ending of a file's name.
    pub fn of_name(name: &str) -> Option<Self> {
        let ending = name.rsplit_once('.')?.1.to_lowercase();
        match ending.as_str() {
            "txt" | "text" => Some(Self::Text),
            "md" | "markdown" => Some(Self::Markdown),
            "html" | "htm" | "xhtml" => Some(Self::Html),
            _ => None,
        }
    }

    const fn escape(self) -> fn(&str) -> String {
        match self {
            Self::Text => escape::plain,
            Self::Markdown => escape::markdown,
            Self::Html => escape::html,
        }
    }
}

/// A template: its name, which errors show, and its text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Template {
    pub name: String,
    pub text: String,
}

/// After so many steps a template is stopped: many times what a long log needs.
const STEPS: u64 = 20_000_000;

/// Fills a template.
pub fn fill(template: &Template, format: Format, values: impl Into<Value>) -> Result<String, ExportError> {
    let wrong = |e: &Error| ExportError::Template {
        name: template.name.clone(),
        line: e.line().map(|l| format!(", line {l}")).unwrap_or_default(),
        what: explain(e),
    };
    let mut env = Environment::new();
    let syntax = SyntaxConfig::builder()
        .trim_blocks(true)
        .lstrip_blocks(true)
        .keep_trailing_newline(true)
        .build()
        .map_err(|e| wrong(&e))?;
    env.set_syntax(syntax);
    env.set_fuel(Some(STEPS));
    // A name that is misspelt is an error, not a gap in a patient's record.
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env.set_auto_escape_callback(|_| AutoEscape::Custom("by the formatter".into()));
    env.set_formatter(move |out, state, value| write(out, state, value, format.escape()));
    let compiled = env.template_from_named_str(&template.name, &template.text).map_err(|e| wrong(&e))?;
    compiled.render(values).map_err(|e| wrong(&e))
}

/// Writes a value, escaped unless the template itself says that it is safe. What is absent is written as nothing.
fn write(
    out: &mut Output<'_>,
    _: &State<'_, '_>,
    value: &Value,
    escape: fn(&str) -> String,
) -> Result<(), Error> {
    let failed = |e: std::fmt::Error| Error::new(ErrorKind::WriteFailure, e.to_string());
    match value.kind() {
        ValueKind::None | ValueKind::Undefined => Ok(()),
        ValueKind::Seq | ValueKind::Map | ValueKind::Iterable | ValueKind::Plain => Err(Error::new(
            ErrorKind::InvalidOperation,
            "a list or an object cannot be written as it is; go through it with `for`",
        )),
        _ if value.is_safe() => out.write_str(&value.to_string()).map_err(failed),
        _ => out.write_str(&escape(&value.to_string())).map_err(failed),
    }
}

/// The cause in one line.
fn explain(error: &Error) -> String {
    if error.kind() == ErrorKind::UndefinedError {
        return "it uses a name that is not there (see the list in DEVELOPERS.md)".to_owned();
    }
    let kind = error.kind().to_string();
    error.detail().map_or(kind.clone(), |detail| format!("{kind}: {detail}"))
}
