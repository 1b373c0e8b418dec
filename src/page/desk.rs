//! The desk: all recordings and logs of a folder, and how far each is. A recording without a log can be listened to from
//! here, by a process of its own.

use std::{
    collections::HashMap,
    process::Child,
    sync::{Arc, Mutex, PoisonError},
};

use axum::{
    Json,
    extract::{Path, State},
    http::StatusCode,
};
use serde_json::{Value, json};

use super::{
    App,
    routes::{Refused, blocking, no_such},
    shelf::Item,
};
use crate::checks::{self, Settings};
use crate::record::recover::{self, Found};
use crate::review::{open, sign, store};

/// Processes that make logs, by the id of the recording.
#[derive(Debug, Default)]
pub(super) struct Running {
    all: Mutex<HashMap<String, Ran>>,
}

#[derive(Debug)]
enum Ran {
    Now(Child),
    /// Ended without a log: what to say.
    Failed(String),
}

impl Ran {
    fn goes_on(&mut self) -> bool {
        match self {
            Self::Now(child) => matches!(child.try_wait(), Ok(None)),
            Self::Failed(_) => false,
        }
    }
}

impl Running {
    /// How a process is, where one was started.
    fn state(&self, id: &str) -> Option<Value> {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        let ran = all.get_mut(id)?;
        if let Ran::Now(child) = ran {
            match child.try_wait() {
                Ok(None) => return Some(json!({ "is": "listening" })),
                Ok(Some(status)) if status.success() => {
                    // The folder may have been read before its log was there: the next look finds it.
                    all.remove(id);
                    return Some(json!({ "is": "listening" }));
                }
                ended => {
                    let mut why = String::new();
                    if let Some(mut err) = child.stderr.take() {
                        let _ = std::io::Read::read_to_string(&mut err, &mut why);
                    }
                    let why: String = why.chars().filter(|c| !"×│╰─▶╭".contains(*c)).collect();
                    let why = why.split_whitespace().collect::<Vec<_>>().join(" ");
                    let why = if why.is_empty() { format!("it ended early ({ended:?})") } else { why };
                    *ran = Ran::Failed(why);
                }
            }
        }
        match ran {
            Ran::Failed(why) => Some(json!({ "is": "failed", "sentence": why })),
            Ran::Now(_) => None,
        }
    }
}

impl App {
    /// Whether a log is being made just now, so that the server must not close.
    pub(super) fn is_listening(&self) -> bool {
        self.running.all.lock().unwrap_or_else(PoisonError::into_inner).values_mut().any(Ran::goes_on)
    }
}

/// What an item's log says, for the list.
fn of_log(path: &std::path::Path, settings: &Settings) -> (Value, Value) {
    let (log, _) = match store::read(path) {
        Err(e) => return (json!({ "is": "damaged", "sentence": e.to_string() }), Value::Null),
        Ok(read) => read,
    };
    let report = checks::check(&log, settings);
    let worst = open::worst(&log, &report);
    let unseen = worst.iter().filter(|o| matches!(o, open::Open::Unseen { .. })).count();
    let about = json!({
        "teeth": log.case.teeth, "reference": log.case.reference, "entries": log.entries.len(),
        "duration_s": log.source.duration_s, "to_look_at": worst.len() - unseen, "unseen": unseen,
    });
    (json!(sign::state(&log)), about)
}

/// How a recording without a log is.
fn without_log(item: &Item) -> Value {
    match item.source.as_deref().map(recover::look_at) {
        Some(Ok(Some(Found::InUse(_)))) => json!({ "is": "recording" }),
        Some(Ok(Some(Found::Left(left)))) => json!({ "is": "cut-off", "seconds": left.seconds }),
        _ => json!({ "is": "no-log" }),
    }
}

/// Finishes a recording that a crash cut off.
pub(super) async fn mend(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let item = app.shelf.find(&id).ok_or_else(no_such)?;
        let source = item.source.as_deref().ok_or_else(no_such)?;
        let no = |sentence: String| Refused(StatusCode::CONFLICT, sentence);
        match recover::look_at(source) {
            Ok(Some(Found::Left(left))) => {
                recover::mend(&left).map_err(|e| no(format!("{} cannot be finished: {e}", item.name)))?;
                Ok(Json(told(&app, &item)))
            }
            _ => Err(no(format!("{} needs no finishing", item.name))),
        }
    })
    .await
}

fn told(app: &App, item: &Item) -> Value {
    let file = item.source.as_ref().and_then(|s| s.file_name()).map(|n| n.to_string_lossy().into_owned());
    let (state, about) = match (&item.log, app.running.state(&item.id)) {
        (_, Some(state)) => (state, Value::Null),
        (None, None) => (without_log(item), Value::Null),
        (Some(path), None) => of_log(path, &app.settings),
    };
    json!({
        "id": item.id, "name": item.name, "source": file, "has_log": item.log.is_some(), "state": state, "about": about,
    })
}

/// All of the folder.
pub(super) async fn list(State(app): State<Arc<App>>) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let items = app
            .shelf
            .items()
            .map_err(|e| Refused(StatusCode::NOT_FOUND, format!("the folder cannot be read: {e}")))?;
        let items: Vec<Value> = items.iter().map(|i| told(&app, i)).collect();
        Ok(Json(json!({ "items": items, "can_start": app.start.is_some() })))
    })
    .await
}

/// Starts to make the log of a recording that has none.
pub(super) async fn start(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let item = app.shelf.find(&id).ok_or_else(no_such)?;
        let (Some(source), Some(start)) = (&item.source, &app.start) else { return Err(no_such()) };
        if item.log.is_some() {
            return Err(Refused(StatusCode::CONFLICT, format!("{} has a log already", item.name)));
        }
        if matches!(recover::look_at(source), Ok(Some(Found::InUse(_)))) {
            return Err(Refused(StatusCode::CONFLICT, format!("{} is being recorded", item.name)));
        }
        let mut all = app.running.all.lock().unwrap_or_else(PoisonError::into_inner);
        if all.values_mut().any(Ran::goes_on) {
            return Err(Refused(
                StatusCode::CONFLICT,
                "one recording is being listened to already; wait for it".into(),
            ));
        }
        let child = start(source).map_err(|e| {
            Refused(StatusCode::INTERNAL_SERVER_ERROR, format!("the listener cannot be started: {e}"))
        })?;
        all.insert(id, Ran::Now(child));
        drop(all);
        Ok(Json(told(&app, &item)))
    })
    .await
}
