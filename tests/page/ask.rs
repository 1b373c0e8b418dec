//! A server for one test, and requests to it as a browser's own page would make them.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use axum::{
    Router,
    body::Body,
    http::{Method, Request, StatusCode, header::HeaderMap},
};
use http_body_util::BodyExt as _;
use serde_json::{Value, json};
use tower::ServiceExt as _;
use tugback::checks::Settings;
use tugback::page::{App, Opened, Record, Sessions, Shelf, Start, router};

pub(crate) const HOST: &str = "127.0.0.1:4711";
pub(crate) const ORIGIN: &str = "http://127.0.0.1:4711";

pub(crate) struct Page {
    pub(crate) folder: tempfile::TempDir,
    router: Router,
    pub(crate) token: String,
    pub(crate) session: String,
    pub(crate) key: String,
}

pub(crate) struct Answer {
    pub(crate) status: StatusCode,
    pub(crate) headers: HeaderMap,
    pub(crate) bytes: Vec<u8>,
}

impl Answer {
    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).unwrap_or_else(|e| panic!("{e}: {} {}", self.status, self.text()))
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |v| v.to_str().expect("a plain header"))
    }
}

pub(crate) fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-samples").join(name)
}

/// Puts a sample transcript and its log into a folder.
pub(crate) fn put(folder: &Path, name: &str) -> PathBuf {
    let vtt = folder.join(name).with_extension("vtt");
    std::fs::copy(sample(name).with_extension("vtt"), &vtt).expect("a copy");
    let out = Command::new(env!("CARGO_BIN_EXE_tugback"))
        .args(["log", "--quiet"])
        .arg(&vtt)
        .output()
        .expect("tugback runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    folder.join(name).with_extension("log.json")
}

impl Page {
    /// The page of one log.
    pub(crate) async fn of_log(name: &str) -> (Self, PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let log = put(folder.path(), name);
        let shelf = Shelf::Log { log: log.clone(), audio: None };
        (Self::with(folder, shelf, None).await, log)
    }

    pub(crate) async fn with(folder: tempfile::TempDir, shelf: Shelf, start: Option<Start>) -> Self {
        Self::that_records(folder, shelf, start, None).await
    }

    pub(crate) async fn that_records(
        folder: tempfile::TempDir,
        shelf: Shelf,
        start: Option<Start>,
        record: Option<Record>,
    ) -> Self {
        let mut sessions = Sessions::default();
        let token = sessions.invite().expect("random numbers");
        let opened = Opened { shelf, settings: Settings::default(), who: "A. Reader".into(), start, record };
        let app: Arc<App> = App::new(HOST.into(), sessions, opened);
        let mut page =
            Self { folder, router: router(app), token, session: String::new(), key: String::new() };
        let granted = page.post("/session", &json!({ "token": page.token })).await.json();
        page.session = granted["session"].as_str().expect("a session").into();
        page.key = granted["key"].as_str().expect("a key").into();
        page
    }

    pub(crate) async fn send(&self, request: Request<Body>) -> Answer {
        let answer = self.router.clone().oneshot(request).await.expect("an answer");
        let (head, body) = answer.into_parts();
        let bytes = body.collect().await.expect("a body").to_bytes().to_vec();
        Answer { status: head.status, headers: head.headers, bytes }
    }

    /// A request as our own page makes it; `headers` come on top, an empty one is left out.
    pub(crate) async fn ask(
        &self,
        method: Method,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> Answer {
        let mut all = vec![("host", HOST), ("x-tugback-session", self.session.as_str())];
        if method != Method::GET {
            all.extend([("origin", ORIGIN), ("content-type", "application/json")]);
        }
        all.retain(|(name, _)| !headers.iter().any(|(n, _)| n == name));
        all.extend(headers);
        let mut request = Request::builder().method(method).uri(path);
        for (name, value) in all.into_iter().filter(|(_, v)| !v.is_empty()) {
            request = request.header(name, value);
        }
        self.send(request.body(Body::from(body.to_owned())).expect("a request")).await
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        self.ask(Method::GET, path, &[], "").await
    }

    pub(crate) async fn post(&self, path: &str, body: &Value) -> Answer {
        self.ask(Method::POST, path, &[], &body.to_string()).await
    }

    /// The id of the only log.
    pub(crate) async fn id(&self) -> String {
        let desk = self.get("/api/desk").await.json();
        desk["items"][0]["id"].as_str().expect("a log").into()
    }

    pub(crate) async fn decide(&self, id: &str, decision: &Value, reason: Option<&str>) -> Answer {
        let seen = self.get(&format!("/api/log/{id}")).await.json()["revision"].clone();
        let body = json!({ "seen": seen, "who": "A. Reader", "decision": decision, "reason": reason });
        self.post(&format!("/api/log/{id}/decide"), &body).await
    }
}
