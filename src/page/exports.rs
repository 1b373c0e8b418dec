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
use crate::export::draw;
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
    make: fn(&Log) -> Result<String, String>,
}

pub(super) static FORMS: &[Form] = &[Form {
    name: "picture",
    label: "Picture",
    ending: "svg",
    mime: "image/svg+xml",
    make: |log| Ok(draw::picture(log, &Settings::default())),
}];

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
        let (log, _) = routes::read(&path)?;
        let text = (form.make)(&log)
            .map_err(|e| routes::Refused(axum::http::StatusCode::INTERNAL_SERVER_ERROR, e))?;
        // The name of the file is ours: what a recording is called never stands in a header.
        let file = format!("attachment; filename=\"{}.{}\"", form.name, form.ending);
        let head = [(header::CONTENT_TYPE, form.mime.to_owned()), (header::CONTENT_DISPOSITION, file)];
        Ok((head, text).into_response())
    })
    .await
}
