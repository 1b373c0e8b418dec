//! The desk: a folder of recordings and logs.

use std::process::{Command, Stdio};

use serde_json::{Value, json};
use tugback::page::{Shelf, Start};

use crate::ask::{Page, put, sample};

fn states(desk: &Value) -> Vec<(String, String)> {
    let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    desk["items"].as_array().unwrap().iter().map(|i| (text(&i["name"]), text(&i["state"]["is"]))).collect()
}

#[tokio::test]
async fn what_lies_in_the_folder() {
    let folder = tempfile::tempdir().unwrap();
    put(folder.path(), "incisor");
    std::fs::copy(sample("lecture.vtt"), folder.path().join("lecture.vtt")).unwrap();
    std::fs::write(folder.path().join("broken.log.json"), "{").unwrap();
    std::fs::write(folder.path().join("notes.txt"), "no log").unwrap();
    std::fs::create_dir(folder.path().join("deeper")).unwrap();
    let outside = tempfile::tempdir().unwrap();
    let elsewhere = put(outside.path(), "after-visit");
    std::os::unix::fs::symlink(elsewhere, folder.path().join("link.log.json")).unwrap();
    let shelf = Shelf::Folder(folder.path().to_owned());
    let start: Start = Box::new(|source| {
        Command::new(env!("CARGO_BIN_EXE_tugback"))
            .args(["log", "-q"])
            .arg(source)
            .stderr(Stdio::piped())
            .spawn()
    });
    let page = Page::with(folder, shelf, Some(start)).await;
    let desk = page.get("/api/desk").await.json();
    let expect = [("broken", "damaged"), ("incisor", "draft"), ("lecture", "no-log")];
    assert_eq!(states(&desk), expect.map(|(a, b)| (a.to_owned(), b.to_owned())));
    assert_eq!(desk["items"][1]["about"]["teeth"], json!(["11"]));

    let id = desk["items"][2]["id"].as_str().unwrap();
    assert_eq!(page.post(&format!("/api/desk/{id}/start"), &json!({})).await.status, 200);
    for _ in 0..200 {
        let desk = page.get("/api/desk").await.json();
        let (_, state) = &states(&desk)[2];
        if state == "draft" {
            let answer = page.post(&format!("/api/desk/{id}/start"), &json!({})).await;
            assert_eq!(answer.status, 409, "a log is not made a second time over the first");
            return;
        }
        assert_eq!(state, "listening", "{desk}");
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("the log was not made");
}

#[tokio::test]
async fn a_recording_that_cannot_be_listened_to_says_why() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("noise.vtt"), "").unwrap();
    let shelf = Shelf::Folder(folder.path().to_owned());
    let start: Start = Box::new(|source| {
        Command::new(env!("CARGO_BIN_EXE_tugback"))
            .args(["log", "-q"])
            .arg(source)
            .stderr(Stdio::piped())
            .spawn()
    });
    let page = Page::with(folder, shelf, Some(start)).await;
    let id = page.id().await;
    page.post(&format!("/api/desk/{id}/start"), &json!({})).await;
    for _ in 0..200 {
        let item = page.get("/api/desk").await.json()["items"][0].clone();
        if item["state"]["is"] == "failed" {
            assert!(item["state"]["sentence"].as_str().unwrap().contains("is empty"), "{item}");
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("no end was told");
}
