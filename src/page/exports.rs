//! The row of buttons that give a log in another form. Which forms there are stands here, once.

use std::sync::Arc;

use axum::{
    extract::{Path, Query, State},
    http::header,
    response::{IntoResponse as _, Response},
};
use serde::{Deserialize, Serialize};

use super::{App, routes};
use crate::checks::Settings;
use crate::export::note::{self, Options};
use crate::export::{ExportError, Format, captions, checklist, draw, fhir, table};
use crate::log::Log;

/// One form: how it is asked for, what a person reads, and how the file is named.
#[derive(Debug, Clone, Copy, Serialize)]
pub(super) struct Form {
    #[serde(rename = "as")]
    name: &'static str,
    label: &'static str,
    #[serde(skip)]
    ending: &'static str,
    #[serde(skip)]
    mime: &'static str,
    #[serde(skip)]
    make: fn(&Log, &Settings) -> Result<String, ExportError>,
}

/// As Markdown, to be pasted where the record is kept.
fn markdown(windows: &Settings) -> Options {
    Options { format: Format::Markdown, windows: windows.clone(), ..Options::default() }
}

pub(super) static FORMS: &[Form] = &[
    Form {
        name: "note",
        label: "Note for the record",
        ending: "md",
        mime: "text/markdown; charset=utf-8",
        make: |log, settings| note::note(log, &markdown(settings)),
    },
    Form {
        name: "printed-note",
        label: "Note with the picture, to print",
        ending: "html",
        mime: "text/html; charset=utf-8",
        make: |log, settings| note::note(log, &Options { format: Format::Html, ..markdown(settings) }),
    },
    Form {
        name: "letter",
        label: "Letter to the referring dentist",
        ending: "md",
        mime: "text/markdown; charset=utf-8",
        make: |log, settings| note::letter(log, &markdown(settings)),
    },
    Form {
        name: "fhir",
        label: "FHIR bundle",
        ending: "json",
        mime: "application/fhir+json",
        make: |log, _| fhir::bundle(log, &jiff::Timestamp::now().to_string()),
    },
    Form {
        name: "table",
        label: "Table (CSV)",
        ending: "csv",
        mime: "text/csv; charset=utf-8",
        make: |log, _| table::csv(log, false),
    },
    Form {
        name: "captions",
        label: "Captions (WebVTT)",
        ending: "vtt",
        mime: "text/vtt; charset=utf-8",
        make: |log, _| Ok(captions::of_words(log)),
    },
    Form {
        name: "checklist",
        label: "Checklist",
        ending: "html",
        mime: "text/html; charset=utf-8",
        make: |log, _| {
            checklist::write(log, &checklist::Options { format: Format::Html, template: None, media: None })
        },
    },
    Form {
        name: "picture",
        label: "Picture (SVG)",
        ending: "svg",
        mime: "image/svg+xml",
        make: |log, settings| Ok(draw::picture(log, settings)),
    },
];

#[derive(Debug, Deserialize)]
pub(super) struct Which {
    log: String,
}

/// The log in a form, as a file to keep.
pub(super) async fn export(
    State(app): State<Arc<App>>,
    Path(name): Path<String>,
    Query(which): Query<Which>,
) -> Result<Response, routes::Refused> {
    routes::blocking(move || {
        let form = FORMS.iter().find(|f| f.name == name).ok_or_else(routes::no_such)?;
        let (_, path) = routes::item(&app, &which.log)?;
        let (log, _) = routes::read(&app, &path)?;
        let text = (form.make)(&log, &app.settings)
            .map_err(|e| routes::Refused(axum::http::StatusCode::INTERNAL_SERVER_ERROR, e.to_string()))?;
        // The name of the file is ours: what a recording is called never stands in a header.
        let file = format!("attachment; filename=\"{}.{}\"", form.name, form.ending);
        let head = [(header::CONTENT_TYPE, form.mime.to_owned()), (header::CONTENT_DISPOSITION, file)];
        Ok((head, text).into_response())
    })
    .await
}
