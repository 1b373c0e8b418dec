//! The page's own files, embedded. They hold nothing of any log, so they need no session.

use axum::{
    extract::Path,
    http::{StatusCode, header},
    response::{Html, IntoResponse as _, Response},
};

/// Name, type and content of what stands below `/assets`.
macro_rules! web {
    ($($name:literal as $mime:literal),* $(,)?) => {
        &[$(($name, $mime, include_str!(concat!("web/", $name)))),*]
    };
}

static ASSETS: &[(&str, &str, &str)] = web![
    "style.css" as "text/css; charset=utf-8",
    "icon.svg" as "image/svg+xml",
    "api.js" as "text/javascript; charset=utf-8",
    "canals.js" as "text/javascript; charset=utf-8",
    "desk.js" as "text/javascript; charset=utf-8",
    "dom.js" as "text/javascript; charset=utf-8",
    "editor.js" as "text/javascript; charset=utf-8",
    "history.js" as "text/javascript; charset=utf-8",
    "live.js" as "text/javascript; charset=utf-8",
    "keys.js" as "text/javascript; charset=utf-8",
    "look.js" as "text/javascript; charset=utf-8",
    "main.js" as "text/javascript; charset=utf-8",
    "player.js" as "text/javascript; charset=utf-8",
    "record.js" as "text/javascript; charset=utf-8",
    "settings.js" as "text/javascript; charset=utf-8",
    "sign.js" as "text/javascript; charset=utf-8",
    "state.js" as "text/javascript; charset=utf-8",
    "wave.js" as "text/javascript; charset=utf-8",
    "words.js" as "text/javascript; charset=utf-8",
];

pub(super) async fn index() -> Html<&'static str> {
    Html(include_str!("web/index.html"))
}

pub(super) async fn asset(Path(name): Path<String>) -> Response {
    match ASSETS.iter().find(|(n, ..)| *n == name) {
        Some((_, mime, text)) => ([(header::CONTENT_TYPE, *mime)], *text).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
