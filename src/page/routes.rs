//! What may be asked, and what is answered. Each decision goes to the room `review`, which writes it before it is answered.

use std::sync::Arc;

use axum::{
    Json, Router,
    extract::{DefaultBodyLimit, Path, State},
    http::{HeaderMap, StatusCode, header},
    middleware,
    response::{IntoResponse, Response},
    routing::{get, post},
};
use serde::Deserialize;
use serde_json::{Value, json};

use super::{App, assets, desk, exports, forms, guard, live, shelf::Item, sound::Sound, view};
use crate::export::draw;
use crate::log::Log;
use crate::review::{
    By, Decision, ReviewError, history, sign,
    store::{self, StoreError},
    verify,
};

/// Larger than any decision.
const LARGEST: usize = 64 * 1024;

/// All of the page, ready to be served or tried out.
pub fn router(app: Arc<App>) -> Router {
    Router::new()
        .route("/", get(assets::index))
        .route("/assets/{name}", get(assets::asset))
        .route("/session", post(session))
        .route("/api/invite", post(invite))
        .route("/api/ping", post(|| async { StatusCode::NO_CONTENT }))
        .route("/api/close", post(close))
        .route("/api/forms", get(|| async { Json(forms::all()) }))
        .route("/api/desk", get(desk::list))
        .route("/api/desk/{id}/start", post(desk::start))
        .route("/api/desk/{id}/mend", post(desk::mend))
        .route("/api/live", get(live::state))
        .route("/api/live/start", post(live::start))
        .route("/api/live/order/{order}", post(live::order))
        .route("/api/log/{id}", get(log))
        .route("/api/log/{id}/revision", get(revision))
        .route("/api/log/{id}/decide", post(decide))
        .route("/api/log/{id}/signed/{n}", get(signed))
        .route("/api/log/{id}/verify", get(compare))
        .route("/api/log/{id}/sound", get(sound))
        .route("/api/log/{id}/peaks", get(peaks))
        .route("/media/{id}/sound", get(play))
        .route("/media/{id}/picture", get(picture))
        .route("/export/{form}", get(exports::export))
        .layer(DefaultBodyLimit::max(LARGEST))
        .layer(middleware::from_fn_with_state(Arc::clone(&app), guard::guard))
        .with_state(app)
}

/// Why there is no answer: a status and a sentence for the person.
#[derive(Debug)]
pub(super) struct Refused(pub(super) StatusCode, pub(super) String);

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (self.0, Json(json!({ "sentence": self.1 }))).into_response()
    }
}

impl From<StoreError> for Refused {
    fn from(e: StoreError) -> Self {
        use std::error::Error as _;
        let status = match &e {
            StoreError::Changed => StatusCode::CONFLICT,
            StoreError::Review(ReviewError::NeedsReason) => StatusCode::PRECONDITION_REQUIRED,
            StoreError::Review(_) => StatusCode::UNPROCESSABLE_ENTITY,
            StoreError::Log(_) => StatusCode::INSUFFICIENT_STORAGE,
        };
        let cause = e.source().map(|c| format!(": {c}")).unwrap_or_default();
        Self(status, format!("{e}{cause}"))
    }
}

pub(super) fn no_such() -> Refused {
    Refused(StatusCode::NOT_FOUND, "there is no such log here".into())
}

/// A log of the shelf, with its path.
pub(super) fn item(app: &App, id: &str) -> Result<(Item, std::path::PathBuf), Refused> {
    let item = app.shelf.find(id).ok_or_else(no_such)?;
    let path = item.log.clone().ok_or_else(no_such)?;
    Ok((item, path))
}

/// Work on files, away from the thread that answers.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refused> + Send + 'static,
) -> Result<T, Refused> {
    tokio::task::spawn_blocking(work)
        .await
        .unwrap_or_else(|_| Err(Refused(StatusCode::INTERNAL_SERVER_ERROR, "that did not work".into())))
}

pub(super) fn read(app: &App, path: &std::path::Path) -> Result<(Log, store::Revision), Refused> {
    Ok(app.memory.read(path)?)
}

#[derive(Debug, Deserialize)]
struct Token {
    token: String,
}

async fn session(State(app): State<Arc<App>>, Json(asked): Json<Token>) -> Response {
    match app.sessions().exchange(&asked.token) {
        Some(granted) => Json(json!({
            "session": granted.session, "key": granted.key, "who": app.who, "desk": app.shelf.is_desk(),
        }))
        .into_response(),
        None => Refused(
            StatusCode::UNAUTHORIZED,
            "this address was used already; open another tab from the page, or start the program again"
                .into(),
        )
        .into_response(),
    }
}

/// An address for another tab.
async fn invite(State(app): State<Arc<App>>) -> Response {
    let token = app.sessions().invite();
    match token {
        Ok(token) => Json(json!({ "url": format!("http://{}/#t={token}", app.host) })).into_response(),
        Err(e) => Refused(StatusCode::INTERNAL_SERVER_ERROR, e.to_string()).into_response(),
    }
}

async fn close(State(app): State<Arc<App>>) -> Result<StatusCode, Refused> {
    if app.is_recording() {
        return Err(Refused(StatusCode::CONFLICT, "something is being recorded; end that first".into()));
    }
    app.closing.notify_one();
    Ok(StatusCode::NO_CONTENT)
}

async fn log(State(app): State<Arc<App>>, Path(id): Path<String>) -> Result<Response, Refused> {
    blocking(move || {
        let (item, path) = item(&app, &id)?;
        let (log, revision) = read(&app, &path)?;
        let mut view = view::of(&item, &log, &revision, &app.settings);
        // Looked for when a log is opened; a decision made here cannot break it.
        if let (Some(view), Some(broken)) = (view.as_object_mut(), history::broken(&log)) {
            view.insert("broken".into(), json!(broken));
        }
        Ok(Json(view).into_response())
    })
    .await
}

async fn revision(State(app): State<Arc<App>>, Path(id): Path<String>) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let (_, path) = item(&app, &id)?;
        Ok(Json(json!({ "revision": read(&app, &path)?.1 })))
    })
    .await
}

#[derive(Debug, Deserialize)]
struct Asked {
    /// The revision that the person saw.
    seen: String,
    who: String,
    decision: Decision,
    reason: Option<String>,
}

async fn decide(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    Json(asked): Json<Asked>,
) -> Result<Response, Refused> {
    blocking(move || {
        let (item, path) = item(&app, &id)?;
        let at = jiff::ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
        let who = if asked.who.trim().is_empty() { app.who.clone() } else { asked.who };
        let by = By { who, at };
        let (log, revision) = app.memory.save(
            &path,
            &asked.seen,
            &by,
            &asked.decision,
            asked.reason.as_deref(),
            &app.settings,
        )?;
        Ok(Json(view::of(&item, &log, &revision, &app.settings)).into_response())
    })
    .await
}

/// The log as it was when it was signed for the first (1), second … time.
async fn signed(
    State(app): State<Arc<App>>,
    Path((id, n)): Path<(String, usize)>,
) -> Result<Response, Refused> {
    blocking(move || {
        let (item, path) = item(&app, &id)?;
        let (log, revision) = read(&app, &path)?;
        let states = sign::signed_states(&log).map_err(StoreError::from)?;
        let (_, then) = n.checked_sub(1).and_then(|n| states.get(n)).ok_or_else(no_such)?;
        Ok(Json(view::of(&item, then, &revision, &app.settings)).into_response())
    })
    .await
}

async fn compare(State(app): State<Arc<App>>, Path(id): Path<String>) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let (_, path) = item(&app, &id)?;
        let (log, _) = read(&app, &path)?;
        Ok(Json(json!(verify::verify(&log, &store::source_sum(&path, &log)))))
    })
    .await
}

async fn found(app: Arc<App>, id: String) -> Result<Sound, Refused> {
    blocking(move || {
        let (item, path) = item(&app, &id)?;
        let (log, _) = read(&app, &path)?;
        Ok(app.sounds.get(&app.shelf, &item, &log))
    })
    .await
}

async fn sound(State(app): State<Arc<App>>, Path(id): Path<String>) -> Result<impl IntoResponse, Refused> {
    Ok(Json(found(app, id).await?.told()))
}

async fn peaks(State(app): State<Arc<App>>, Path(id): Path<String>) -> Result<Response, Refused> {
    Ok(match found(app, id).await? {
        Sound::Ready(p) => {
            ([(header::CONTENT_TYPE, "application/octet-stream")], p.peaks.clone()).into_response()
        }
        other => (StatusCode::ACCEPTED, Json(other.told())).into_response(),
    })
}

async fn play(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    match found(app, id).await? {
        Sound::Ready(playable) => Ok(playable.answer(&headers)),
        Sound::Making => Err(Refused(StatusCode::SERVICE_UNAVAILABLE, "not ready yet".into())),
        Sound::None(why) => Err(Refused(StatusCode::NOT_FOUND, why)),
    }
}

async fn picture(State(app): State<Arc<App>>, Path(id): Path<String>) -> Result<Response, Refused> {
    blocking(move || {
        let (_, path) = item(&app, &id)?;
        let picture = draw::picture(&read(&app, &path)?.0, &app.settings);
        Ok(([(header::CONTENT_TYPE, "image/svg+xml")], picture).into_response())
    })
    .await
}
