//! Why a form could not be made.

/// Why a form could not be made.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    #[error("the rows of the table cannot be written")]
    Table { source: csv::Error },
    #[error("the Bundle cannot be written")]
    Json { source: serde_json::Error },
    #[error("the template `{name}`{line}: {what}")]
    Template { name: String, line: String, what: String },
    #[error("there is no {form} in this format of its own; give a template, or take {instead}")]
    NoTemplate { form: &'static str, instead: &'static str },
}
