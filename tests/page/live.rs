//! Recording from the desk: the page starts a process, shows what that says, and hands on orders. Here the process is a
//! shell that speaks as `tugback record --json` does.

use std::process::{Command, Stdio};

use serde_json::{Value, json};
use tugback::page::{Record, Shelf};

use crate::ask::Page;

/// Says that it records, repeats each order as a warning, and ends after `end`, with or without success.
const RECORDER: &str = r#"
echo '{"keys":{"pause":["Space"]}}'
echo '{"shown":{"state":"recording","recorded_s":1.5}}'
while read -r order; do
    echo "{\"shown\":{\"state\":\"recording\",\"warning\":\"$order\"}}"
    [ "$order" = end ] && break
done
[ "$CODE" = 0 ] || { echo '  × cannot record' >&2; echo '  ╰─▶ the disk is full' >&2; exit 2; }
printf RIFF >"$FOLDER/visit.wav"
echo "{\"over\":{\"recordings\":[\"$FOLDER/visit.wav\"]}}"
"#;

async fn page(code: u8) -> Page {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::Folder(folder.path().to_owned());
    let record: Record = Box::new(move |folder, push_to_talk| {
        assert!(push_to_talk, "what was asked for is handed on");
        Command::new("sh")
            .args(["-c", RECORDER])
            .env("FOLDER", folder)
            .env("CODE", code.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
    });
    Page::that_records(folder, shelf, None, Some(record)).await
}

/// The state once this holds.
async fn until(page: &Page, holds: impl Fn(&Value) -> bool) -> Value {
    let mut last = Value::Null;
    for _ in 0..200 {
        last = page.get("/api/live").await.json();
        if holds(&last) {
            return last;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    panic!("never: {last}");
}

#[tokio::test]
async fn starts_shows_orders_and_ends() {
    let page = page(0).await;
    assert_eq!(page.get("/api/live").await.json(), json!({ "is": "none", "can_record": true }));
    assert_eq!(page.post("/api/live/order/pause", &json!({})).await.status, 409, "nothing runs");
    let how = json!({ "push_to_talk": true });
    assert_eq!(page.post("/api/live/start", &how).await.status, 200);
    let on = until(&page, |s| s["shown"]["recorded_s"] == 1.5).await;
    assert_eq!((&on["is"], &on["keys"]["pause"][0]), (&json!("on"), &json!("Space")));
    assert_eq!(page.post("/api/live/start", &how).await.status, 409, "one at a time");
    assert_eq!(page.post("/api/close", &json!({})).await.status, 409, "the page does not close over it");
    for order in ["pause", "go-on", "strike", "flag"] {
        assert_eq!(page.post(&format!("/api/live/order/{order}"), &json!({})).await.status, 200);
        until(&page, |s| s["shown"]["warning"] == order).await;
    }
    assert_eq!(page.post("/api/live/order/format", &json!({})).await.status, 404);
    page.post("/api/live/order/end", &json!({})).await;
    let over = until(&page, |s| s["is"] == "over").await;
    assert_eq!((&over["name"], over["id"].is_string()), (&json!("visit"), true), "{over}");
}

#[tokio::test]
async fn why_it_failed_is_told() {
    let page = page(2).await;
    page.post("/api/live/start", &json!({ "push_to_talk": true })).await;
    page.post("/api/live/order/end", &json!({})).await;
    let failed = until(&page, |s| s["is"] == "failed").await;
    assert_eq!(failed["sentence"], "cannot record the disk is full");
}

#[tokio::test]
async fn without_a_recorder_nothing_is_recorded() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = Shelf::Folder(folder.path().to_owned());
    let page = Page::with(folder, shelf, None).await;
    assert_eq!(page.get("/api/live").await.json()["can_record"], false);
    assert_eq!(page.post("/api/live/start", &json!({})).await.status, 404);
}

/// A recording that a crash cut off is offered on the desk; one that is being made is left alone.
#[tokio::test]
async fn what_a_crash_left_is_finished_from_the_desk() {
    use tugback::record::{capture::Format, file::Part};
    let folder = tempfile::tempdir().unwrap();
    let format = Format { rate_hz: 16_000, channels: 1, bits: 16 };
    let cut = folder.path().join("cut.wav");
    let mut part = Part::create(&cut, format).unwrap();
    part.write(&vec![0.25; 32_000]).unwrap();
    drop(part); // as a crash leaves it
    let mut now = Part::create(&folder.path().join("now.wav"), format).unwrap();
    now.write(&[0.25; 1600]).unwrap();
    let shelf = Shelf::Folder(folder.path().to_owned());
    let page = Page::with(folder, shelf, None).await;
    let desk = page.get("/api/desk").await.json();
    let item =
        |n: usize| (desk["items"][n]["id"].as_str().unwrap().to_owned(), desk["items"][n]["state"].clone());
    let ((cut_id, cut_state), (now_id, now_state)) = (item(0), item(1));
    assert_eq!(cut_state, json!({ "is": "cut-off", "seconds": 2.0 }));
    assert_eq!(now_state, json!({ "is": "recording" }));
    assert_eq!(page.post(&format!("/api/desk/{now_id}/mend"), &json!({})).await.status, 409);
    assert_eq!(page.post(&format!("/api/desk/{cut_id}/mend"), &json!({})).await.status, 200);
    assert_eq!(page.get("/api/desk").await.json()["items"][0]["state"]["is"], "no-log");
    assert_eq!(hound::WavReader::open(&cut).unwrap().duration(), 32_000);
    assert_eq!(page.post(&format!("/api/desk/{cut_id}/mend"), &json!({})).await.status, 409);
}
