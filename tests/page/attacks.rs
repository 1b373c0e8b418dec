//! What other pages, other programs and evil files try.

use axum::http::Method;
use serde_json::json;

use crate::ask::{HOST, ORIGIN, Page};

/// Method, path, what is changed in the headers, status. The path's `ID` and `KEY` are filled in.
#[tokio::test]
async fn who_is_let_in() {
    let (page, _) = Page::of_log("incisor").await;
    let id = page.id().await;
    let (g, p) = (Method::GET, Method::POST);
    let table: Vec<(Method, &str, Vec<(&str, &str)>, u16)> = vec![
        // As our own page does it.
        (g.clone(), "/", vec![], 200),
        (g.clone(), "/api/log/ID", vec![], 200),
        (g.clone(), "/api/log/ID", vec![("sec-fetch-site", "same-origin")], 200),
        (g.clone(), "/media/ID/picture?k=KEY", vec![("x-tugback-session", "")], 200),
        (p.clone(), "/api/ping", vec![], 204),
        // Another host: a foreign name that was made to lead here.
        (g.clone(), "/", vec![("host", "evil.example")], 421),
        (g.clone(), "/", vec![("host", "evil.example:4711")], 421),
        (g.clone(), "/", vec![("host", "localhost:4711")], 421),
        (g.clone(), "/", vec![("host", "127.0.0.1:4712")], 421),
        (g.clone(), "/", vec![("host", "127.0.0.1")], 421),
        (g.clone(), "/", vec![("host", "")], 421),
        (g.clone(), "/api/log/ID", vec![("host", "evil.example")], 421),
        // Another origin.
        (p.clone(), "/api/ping", vec![("origin", "http://evil.example")], 403),
        (p.clone(), "/api/ping", vec![("origin", "http://127.0.0.1:4712")], 403),
        (p.clone(), "/api/ping", vec![("origin", "https://127.0.0.1:4711")], 403),
        (p.clone(), "/api/ping", vec![("origin", "null")], 403),
        (p.clone(), "/api/ping", vec![("origin", "")], 403),
        (g.clone(), "/api/log/ID", vec![("origin", "http://evil.example")], 403),
        (g.clone(), "/api/log/ID", vec![("sec-fetch-site", "cross-site")], 403),
        (g.clone(), "/media/ID/picture?k=KEY", vec![("sec-fetch-site", "same-site")], 403),
        // No session, a wrong one, the key in its place and the other way round.
        (g.clone(), "/api/log/ID", vec![("x-tugback-session", "")], 401),
        (g.clone(), "/api/log/ID", vec![("x-tugback-session", "0")], 401),
        (g.clone(), "/api/log/ID", vec![("x-tugback-session", "KEY")], 401),
        (g.clone(), "/api/log/ID?k=KEY", vec![("x-tugback-session", "")], 401),
        (g.clone(), "/media/ID/picture", vec![], 401),
        (g.clone(), "/media/ID/picture?k=", vec![], 401),
        (g.clone(), "/media/ID/picture?k=SESSION", vec![], 401),
        (g.clone(), "/export/picture?log=ID", vec![], 401),
        (p.clone(), "/media/ID/picture?k=KEY", vec![], 401),
        (p.clone(), "/api/ping", vec![("x-tugback-session", "")], 401),
        (Method::DELETE, "/api/log/ID", vec![], 405),
        (Method::PUT, "/api/log/ID/decide", vec![], 405),
    ];
    let fill = |s: &str| s.replace("ID", &id).replace("KEY", &page.key).replace("SESSION", &page.session);
    for (method, path, headers, status) in table {
        let headers: Vec<(&str, String)> = headers.iter().map(|(n, v)| (*n, fill(v))).collect();
        let headers: Vec<(&str, &str)> = headers.iter().map(|(n, v)| (*n, v.as_str())).collect();
        let answer = page.ask(method.clone(), &fill(path), &headers, "").await;
        assert_eq!(answer.status.as_u16(), status, "{method} {path} {headers:?}: {}", answer.text());
        assert!(status < 400 || answer.bytes.len() < 200, "a refusal tells nothing of the log");
    }
}

#[tokio::test]
async fn a_token_is_worth_one_exchange() {
    let (page, _) = Page::of_log("incisor").await;
    for token in [page.token.as_str(), "", "0", &"f".repeat(64)] {
        let answer = page.post("/session", &json!({ "token": token })).await;
        assert_eq!(answer.status, 401, "{token}");
        assert!(!answer.text().contains("session\""));
    }
    let foreign = [("origin", "http://evil.example"), ("x-tugback-session", "")];
    let body = json!({ "token": page.token }).to_string();
    assert_eq!(page.ask(Method::POST, "/session", &foreign, &body).await.status, 403);
    // An invitation of the page itself opens another tab, once.
    let url = page.post("/api/invite", &json!({})).await.json()["url"].as_str().unwrap().to_owned();
    let token = url.strip_prefix(&format!("{ORIGIN}/#t=")).expect("the token is in the fragment").to_owned();
    assert_eq!(page.post("/session", &json!({ "token": token })).await.status, 200);
    assert_eq!(page.post("/session", &json!({ "token": token })).await.status, 401);
}

#[tokio::test]
async fn every_answer_is_strict() {
    let (page, _) = Page::of_log("incisor").await;
    let id = page.id().await;
    let paths = [
        "/".to_owned(),
        "/assets/main.js".to_owned(),
        "/nothing".to_owned(),
        format!("/api/log/{id}"),
        format!("/media/{id}/picture?k={}", page.key),
        "/api/log/none".to_owned(),
    ];
    for path in paths {
        let answer = page.get(&path).await;
        let policy = answer.header("content-security-policy");
        assert!(policy.starts_with("default-src 'none'; script-src 'self';"), "{path}: {policy}");
        for never in ["unsafe", "http:", "https:", "data:", "blob:", "*"] {
            assert!(!policy.contains(never), "{path}: {policy}");
        }
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(answer.header("cache-control"), "no-store", "{path}");
        assert_eq!(answer.header("referrer-policy"), "no-referrer", "{path}");
        assert_eq!(answer.header("set-cookie"), "", "there is no cookie that could ride along");
        assert_eq!(answer.header("access-control-allow-origin"), "");
    }
}

/// The page's own files ask for nothing from elsewhere, hold no inline script, and make no markup from texts.
#[test]
fn the_page_needs_nothing_else() {
    let web = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page/web");
    let mut seen = 0;
    for file in std::fs::read_dir(web).expect("the page's files") {
        let path = file.expect("a file").path();
        let text = std::fs::read_to_string(&path).expect("text");
        let name = path.display();
        seen += 1;
        let svg = "http://www.w3.org/2000/svg";
        for word in [
            "http://",
            "https://",
            "//cdn",
            "innerHTML",
            "outerHTML",
            "insertAdjacent",
            "document.write",
            "eval(",
            "style=\"",
        ] {
            let rest = text.replace(svg, "");
            assert!(!rest.contains(word), "{name} holds `{word}`");
        }
        assert!(!text.contains("<script>") && !text.contains(" onclick"), "{name} holds an inline script");
    }
    assert!(seen > 15);
}

#[tokio::test]
async fn a_path_leads_nowhere() {
    let (page, log) = Page::of_log("incisor").await;
    let id = page.id().await;
    let secret = page.folder.path().join("secret.txt");
    std::fs::write(&secret, "SECRET").unwrap();
    let name = log.file_name().unwrap().to_str().unwrap();
    let tries = [
        format!("/api/log/{name}"),
        "/api/log/..%2Fsecret.txt".into(),
        "/api/log/%2e%2e%2f%2e%2e%2fetc%2fpasswd".into(),
        "/api/log/..".into(),
        "/api/log/%00".into(),
        format!("/api/log/{id}/../../secret.txt"),
        "/assets/..%2f..%2fmod.rs".into(),
        "/assets/..%5c..%5cmod.rs".into(),
        "/assets/../Cargo.toml".into(),
        format!("/assets/{}", secret.display().to_string().replace('/', "%2f")),
        "//etc/passwd".into(),
        format!("/media/..%2f{id}/sound?k={}", page.key),
        format!("/media/secret.txt/sound?k={}", page.key),
        format!("/export/..%2fpicture?log={id}&k={}", page.key),
        format!("/export/picture?log=../secret.txt&k={}", page.key),
        format!("/api/log/{id}/signed/0"),
        format!("/api/log/{id}/signed/18446744073709551616"),
    ];
    for path in tries {
        let answer = page.get(&path).await;
        assert!(answer.status.is_client_error(), "{path}: {}", answer.status);
        assert!(!answer.text().contains("SECRET") && !answer.text().contains("root:"), "{path}");
    }
}

/// A log that names another file as its recording, or one that is no recording.
#[tokio::test]
async fn a_log_cannot_name_any_file() {
    let (page, log) = Page::of_log("incisor").await;
    let id = page.id().await;
    let outside = tempfile::tempdir().unwrap();
    std::fs::copy(crate::ask::sample("incisor.flac"), outside.path().join("other.flac")).unwrap();
    std::fs::write(page.folder.path().join("secret.txt"), "SECRET").unwrap();
    let text =
        std::fs::read_to_string(&log).unwrap().replace("\"kind\": \"transcript\"", "\"kind\": \"audio\"");
    let other = outside.path().join("other.flac").display().to_string();
    let up = format!("../{}/other.flac", outside.path().file_name().unwrap().to_string_lossy());
    for name in [other.as_str(), up.as_str(), "..", "", ".", "/dev/zero", "secret.txt", "..\\secret.txt"] {
        std::fs::write(&log, text.replacen("\"incisor.vtt\"", &json!(name).to_string(), 1)).unwrap();
        let mut told = page.get(&format!("/api/log/{id}/sound")).await.json();
        while told["state"] == "making" {
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
            told = page.get(&format!("/api/log/{id}/sound")).await.json();
        }
        assert_eq!(told["state"], "none", "{name}: {told}");
        let answer = page.get(&format!("/media/{id}/sound?k={}", page.key)).await;
        assert_eq!(answer.status, 404, "{name}");
        assert!(!answer.text().contains("SECRET"));
    }
}

/// Script in what was said, in the file's name and in a value: it goes through as text, and into the picture escaped.
#[tokio::test]
async fn script_stays_text() {
    let evil = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'&";
    let folder = tempfile::tempdir().unwrap();
    let made = crate::ask::put(folder.path(), "incisor");
    let log = folder.path().join("<img src=x onerror=alert(3)>&\"'.log.json");
    let text = std::fs::read_to_string(&made).unwrap();
    let text = text.replacen("\"upper right central incisor\"", &json!(evil).to_string(), 1).replacen(
        "\"incisal-edge\"",
        &json!(evil).to_string(),
        1,
    );
    std::fs::write(&log, text).unwrap();
    let page = Page::with(folder, tugback::page::Shelf::Log { log, audio: None }, None).await;
    let id = page.id().await;
    let answer = page.get(&format!("/api/log/{id}")).await;
    assert_eq!(answer.header("content-type"), "application/json");
    let view = answer.json();
    assert_eq!(view["entries"][0]["said"], evil);
    assert_eq!(view["name"], "<img src=x onerror=alert(3)>&\"'");
    let picture = page.get(&format!("/media/{id}/picture?k={}", page.key)).await;
    assert_eq!(picture.header("content-type"), "image/svg+xml");
    assert!(!picture.text().contains("<script") && !picture.text().contains("<img"), "{}", picture.text());
    let export = page.get(&format!("/export/picture?log={id}&k={}", page.key)).await;
    assert_eq!(export.header("content-disposition"), "attachment; filename=\"picture.svg\"");
}

#[tokio::test]
async fn what_is_too_large_or_no_decision_is_refused() {
    let (page, log) = Page::of_log("incisor").await;
    let id = page.id().await;
    let before = std::fs::read(&log).unwrap();
    let path = format!("/api/log/{id}/decide");
    for (body, status) in [
        ("{", 400),
        ("{}", 422),
        ("{\"seen\":\"\",\"who\":\"A\",\"decision\":{\"do\":\"nonsense\"}}", 422),
        ("{\"seen\":\"\",\"who\":\"A\",\"decision\":{\"do\":\"undo\"},\"reason\":null}", 409),
        (&format!("{{\"seen\":\"{}\"}}", "x".repeat(100_000)), 413),
    ] {
        let answer = page.ask(Method::POST, &path, &[], body).await;
        assert_eq!(answer.status.as_u16(), status, "{body:.80}: {}", answer.text());
    }
    let form = [("content-type", "text/plain")];
    assert_eq!(page.ask(Method::POST, &path, &form, "{}").await.status, 415, "a foreign form cannot be sent");
    assert_eq!(std::fs::read(&log).unwrap(), before);
    assert_eq!(HOST.len() + 7, ORIGIN.len());
}
