//! A recording that is made from the desk, by a process of its own: what it shows, and orders for it. The page can be closed
//! or break down; the recording does not.

use std::{
    io::{BufRead as _, BufReader, Read, Write as _},
    path::Path,
    process::{Child, ChildStdin},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    thread,
};

use axum::{
    Json,
    extract::{Path as Named, State},
    http::StatusCode,
};
use serde::Deserialize;
use serde_json::{Value, json};

use super::{
    App, Shelf,
    routes::{Refused, blocking},
};

/// What may be ordered; the names of `tugback record --json`.
const ORDERS: [&str; 5] = ["pause", "go-on", "strike", "flag", "end"];

/// The recording that runs, or the last one.
#[derive(Debug, Default)]
pub(super) struct Chair {
    sitting: Mutex<Option<Sitting>>,
}

#[derive(Debug)]
struct Sitting {
    child: Child,
    orders: Option<ChildStdin>,
    told: Arc<Mutex<Told>>,
    /// They end a moment after the process, when all that it said was read.
    readers: Vec<thread::JoinHandle<()>>,
}

/// What the process said last.
#[derive(Debug, Default)]
struct Told {
    shown: Value,
    keys: Value,
    recordings: Vec<String>,
    /// The end of what it wrote for a person.
    notes: String,
}

/// The most that is kept of what was written for a person.
const NOTES: usize = 4000;

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Sitting {
    fn of(mut child: Child) -> Self {
        let told = Arc::new(Mutex::new(Told::default()));
        let mut readers = Vec::new();
        if let Some(out) = child.stdout.take() {
            let told = Arc::clone(&told);
            readers.push(thread::spawn(move || {
                for line in BufReader::new(out).lines().map_while(Result::ok) {
                    let Ok(Value::Object(mut said)) = serde_json::from_str(&line) else { continue };
                    let mut told = lock(&told);
                    if let Some(shown) = said.remove("shown") {
                        told.shown = shown;
                    }
                    if let Some(keys) = said.remove("keys") {
                        told.keys = keys;
                    }
                    if let Some(Ok(all)) = said
                        .remove("over")
                        .and_then(|mut over| over.get_mut("recordings").map(Value::take))
                        .map(serde_json::from_value)
                    {
                        told.recordings = all;
                    }
                }
            }));
        }
        if let Some(mut err) = child.stderr.take() {
            let told = Arc::clone(&told);
            readers.push(thread::spawn(move || {
                let mut some = [0; 512];
                while let Ok(n @ 1..) = err.read(&mut some) {
                    let mut told = lock(&told);
                    told.notes.push_str(&String::from_utf8_lossy(some.get(..n).unwrap_or_default()));
                    let over = told.notes.chars().count().saturating_sub(NOTES);
                    told.notes = told.notes.chars().skip(over).collect();
                }
            }));
        }
        let orders = child.stdin.take();
        Self { child, orders, told, readers }
    }

    /// Was all read that the process said?
    fn is_read(&self) -> bool {
        self.readers.iter().all(thread::JoinHandle::is_finished)
    }

    /// Recording, or listening to all of it once more.
    fn goes_on(&mut self) -> bool {
        matches!(self.child.try_wait(), Ok(None))
    }
}

/// The last sentence of an error that was written for a person.
fn sentence(notes: &str) -> String {
    let error = notes.rfind('×').and_then(|at| notes.get(at..)).unwrap_or_default();
    let plain: String = error.chars().filter(|c| !"×│╰─▶╭".contains(*c)).collect();
    let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    if plain.is_empty() { "the recorder ended early".to_owned() } else { plain }
}

impl App {
    /// Whether something is being recorded just now, so that the server must not close.
    pub(super) fn is_recording(&self) -> bool {
        lock(&self.chair.sitting).as_mut().is_some_and(Sitting::goes_on)
    }

    fn live(&self) -> Value {
        let can = self.record.is_some();
        let mut sitting = lock(&self.chair.sitting);
        let Some(sitting) = sitting.as_mut() else { return json!({ "is": "none", "can_record": can }) };
        let ended = sitting.child.try_wait().map(|status| status.filter(|_| sitting.is_read()));
        let told = lock(&sitting.told);
        match ended {
            Ok(None) => json!({ "is": "on", "shown": told.shown, "keys": told.keys, "can_record": can }),
            Ok(Some(status)) if status.success() => {
                let stem = |r: &String| Path::new(r).file_stem().map(|s| s.to_string_lossy().into_owned());
                let first = told.recordings.first().and_then(stem);
                let item =
                    self.shelf.items().ok().into_iter().flatten().find(|i| Some(&i.name) == first.as_ref());
                json!({ "is": "over", "id": item.map(|i| i.id), "name": first, "can_record": can })
            }
            _ => json!({ "is": "failed", "sentence": sentence(&told.notes), "can_record": can }),
        }
    }
}

pub(super) async fn state(State(app): State<Arc<App>>) -> Result<Json<Value>, Refused> {
    blocking(move || Ok(Json(app.live()))).await
}

#[derive(Debug, Deserialize)]
pub(super) struct How {
    /// The microphone stays closed until somebody talks.
    #[serde(default)]
    push_to_talk: bool,
}

pub(super) async fn start(State(app): State<Arc<App>>, Json(how): Json<How>) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let (Some(record), Shelf::Folder(folder)) = (&app.record, &app.shelf) else {
            return Err(Refused(StatusCode::NOT_FOUND, "nothing can be recorded from this page".into()));
        };
        let mut sitting = lock(&app.chair.sitting);
        if sitting.as_mut().is_some_and(Sitting::goes_on) {
            return Err(Refused(
                StatusCode::CONFLICT,
                "a recording runs already, or is being listened to once more".into(),
            ));
        }
        let child = record(folder, how.push_to_talk).map_err(|e| {
            Refused(StatusCode::INTERNAL_SERVER_ERROR, format!("the recorder cannot be started: {e}"))
        })?;
        *sitting = Some(Sitting::of(child));
        drop(sitting);
        Ok(Json(app.live()))
    })
    .await
}

pub(super) async fn order(
    State(app): State<Arc<App>>,
    Named(order): Named<String>,
) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let no = |sentence: &str| Refused(StatusCode::CONFLICT, sentence.to_owned());
        if !ORDERS.contains(&order.as_str()) {
            return Err(Refused(StatusCode::NOT_FOUND, "there is no such order".into()));
        }
        let mut sitting = lock(&app.chair.sitting);
        let running = sitting.as_mut().and_then(|s| s.goes_on().then_some(s));
        let orders =
            running.and_then(|s| s.orders.as_mut()).ok_or_else(|| no("nothing is being recorded"))?;
        orders
            .write_all(format!("{order}\n").as_bytes())
            .and_then(|()| orders.flush())
            .map_err(|_| no("the recorder does not answer"))?;
        drop(sitting);
        Ok(Json(app.live()))
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_is_one_sentence() {
        let notes = "opening the microphone\n  × cannot record\n  ╰─▶ no microphone was found;\n      plug one in\n\n";
        assert_eq!(sentence(notes), "cannot record no microphone was found; plug one in");
        assert_eq!(sentence("killed"), "the recorder ended early");
    }
}
