//! What stands before every answer: the host, the origin, the session, and the headers that keep a browser strict.

use std::sync::{Arc, PoisonError};
use std::time::Instant;

use axum::{
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, Method, StatusCode, header},
    middleware::Next,
    response::{IntoResponse as _, Response},
};

use super::App;

/// Nothing from elsewhere, nothing inline, no frame, no form that sends by itself.
pub(super) const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; \
     connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'";

/// Headers of every answer.
const HEADERS: [(&str, &str); 8] = [
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=(), payment=(), usb=()"),
    ("cache-control", "no-store"),
];

/// Lets through what comes from our own page, and gives every answer its headers.
pub(super) async fn guard(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let mut response = match refuse(&app, &request) {
        Some(status) => status.into_response(),
        None => {
            // A tab that only looks whether somebody else wrote is no sign of a person.
            if !request.uri().path().ends_with("/revision") {
                *app.last.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
            }
            next.run(request).await
        }
    };
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        if !headers.contains_key(name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    }
    response
}

fn text<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    headers.get(name).map(|v| v.to_str().unwrap_or("?"))
}

/// Why not; nothing where the request may go on.
fn refuse(app: &App, request: &Request) -> Option<StatusCode> {
    let headers = request.headers();
    // A foreign name that leads to this computer is not our name.
    if headers.get_all(header::HOST).iter().count() != 1 || text(headers, "host") != Some(app.host.as_str()) {
        return Some(StatusCode::MISDIRECTED_REQUEST);
    }
    let path = request.uri().path();
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    let ours = format!("http://{}", app.host);
    match text(headers, "origin") {
        Some(origin) if origin != ours => return Some(StatusCode::FORBIDDEN),
        None if !reads => return Some(StatusCode::FORBIDDEN),
        _ => {}
    }
    let private = ["/api/", "/media/", "/export/"].iter().any(|p| path.starts_with(p));
    if !private {
        return None;
    }
    // Browsers say where a request comes from; the shell of the page, which holds nothing, may be opened from anywhere.
    if text(headers, "sec-fetch-site").is_some_and(|site| !matches!(site, "same-origin" | "none")) {
        return Some(StatusCode::FORBIDDEN);
    }
    let allowed = if path.starts_with("/api/") {
        text(headers, "x-tugback-session").is_some_and(|s| app.sessions().knows_session(s))
    } else {
        let query = request.uri().query().unwrap_or_default();
        let key = query.split('&').find_map(|p| p.strip_prefix("k=")).unwrap_or_default();
        reads && app.sessions().knows_key(key)
    };
    (!allowed).then_some(StatusCode::UNAUTHORIZED)
}
