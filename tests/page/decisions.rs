//! Decisions over the page: written before they are answered, refused where another one came first.

use serde_json::json;
use tugback::review::store;

use crate::ask::Page;

#[tokio::test]
async fn a_log_is_reviewed_and_signed() {
    let (page, log) = Page::of_log("after-visit").await;
    let id = page.id().await;
    let view = page.get(&format!("/api/log/{id}")).await.json();
    assert_eq!(view["state"], json!({ "is": "draft", "begun": false }));
    let doubted = view["worst"][0]["entry"].as_str().unwrap().to_owned();
    assert_eq!(view["worst"][0]["is"], "doubt", "the worst comes first");
    let unseen = view["worst"].as_array().unwrap().iter().filter(|o| o["is"] == "unseen");
    let unseen: Vec<_> = unseen.map(|o| o["entry"].clone()).collect();
    assert!(unseen.len() > 10);

    let sign = json!({ "do": "sign", "name": "B. Signer", "role": "treating dentist" });
    let answer = page.decide(&id, &sign, None).await;
    assert_eq!(answer.status, 422);
    assert!(answer.text().contains("still need eyes"), "{}", answer.text());

    let view = page.decide(&id, &json!({ "do": "accept", "entries": unseen }), None).await.json();
    assert!(view["worst"].as_array().unwrap().iter().all(|o| o["is"] != "unseen"));
    assert_eq!(view["undo"]["more"], json!(unseen.len() - 1));
    let doubts: Vec<String> = view["worst"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|o| o["entry"].as_str().map(str::to_owned))
        .collect();
    assert!(doubts.contains(&doubted));
    for entry in doubts {
        page.decide(&id, &json!({ "do": "accept", "entries": [entry] }), None).await.json();
    }
    loop {
        let view = page.get(&format!("/api/log/{id}")).await.json();
        let Some(open) = view["worst"].as_array().unwrap().first() else { break };
        let looked = json!({ "do": "looked-at", "finding": open["id"] });
        assert_eq!(page.decide(&id, &looked, None).await.status, 200, "{open}");
    }
    let view = page.decide(&id, &sign, None).await.json();
    assert_eq!(view["state"]["is"], "signed");
    assert_eq!(view["rest"], json!({}));

    let with_length = |v: &serde_json::Value| {
        let mut entries = v["entries"].as_array().unwrap().iter();
        entries.rfind(|e| e["kind"] == "working-length").cloned().unwrap()
    };
    let entry = with_length(&view)["id"].clone();
    let change = json!({ "do": "correct", "entry": entry, "field": "length_mm", "to": "22" });
    assert_eq!(page.decide(&id, &change, None).await.status, 428, "a change of a signed log needs a reason");
    let view = page.decide(&id, &change, Some("misheard")).await.json();
    assert_eq!(view["state"]["is"], "amended");
    let then = page.get(&format!("/api/log/{id}/signed/1")).await.json();
    let length = |v: &serde_json::Value| with_length(v)["values"]["length_mm"].clone();
    assert_eq!((length(&then), length(&view)), (json!(22.5), json!(22)));
    let lines = page.get(&format!("/api/log/{id}/verify")).await.json();
    assert!(lines.as_array().unwrap().iter().all(|l| l["fits"] != "no"), "{lines}");
    assert!(store::read(&log).unwrap().0.history.len() > 20);
}

/// Each button gives a file under our name, of its own type, that is no page of ours.
#[tokio::test]
async fn every_form_can_be_had() {
    let (page, _) = Page::of_log("lecture").await;
    let id = page.id().await;
    let view = page.get(&format!("/api/log/{id}")).await.json();
    let forms: Vec<&str> =
        view["exports"].as_array().unwrap().iter().map(|f| f["as"].as_str().unwrap()).collect();
    assert_eq!(
        forms,
        ["note", "printed-note", "letter", "fhir", "table", "captions", "checklist", "picture"]
    );
    for form in forms {
        let answer = page.get(&format!("/export/{form}?log={id}&k={}", page.key)).await;
        assert_eq!(answer.status, 200, "{form}: {}", answer.text());
        let name = answer.header("content-disposition");
        assert!(name.starts_with(&format!("attachment; filename=\"{form}.")), "{form}: {name}");
        assert!(answer.bytes.len() > 300, "{form}: {}", answer.text());
    }
}

#[tokio::test]
async fn two_tabs_do_not_overwrite_each_other() {
    let (page, log) = Page::of_log("incisor").await;
    let id = page.id().await;
    let seen = page.get(&format!("/api/log/{id}")).await.json()["revision"].clone();
    let path = format!("/api/log/{id}/decide");
    let decide = |entry: &str, who: &str| json!({ "seen": seen, "who": who, "decision": { "do": "accept", "entries": [entry] } });
    assert_eq!(page.post(&path, &decide("e2", "A")).await.status, 200);
    let late = page.post(&path, &decide("e3", "B")).await;
    assert_eq!(late.status, 409);
    assert!(late.text().contains("changed elsewhere"), "{}", late.text());
    let (log, revision) = store::read(&log).unwrap();
    assert_eq!(log.history.len(), 1);
    let told = page.get(&format!("/api/log/{id}/revision")).await.json();
    assert_eq!(told["revision"], json!(revision), "the other tab can see that something changed");
}

#[tokio::test]
async fn what_cannot_be_written_is_told() {
    let (page, log) = Page::of_log("incisor").await;
    let id = page.id().await;
    let seen = page.get(&format!("/api/log/{id}")).await.json()["revision"].clone();
    std::fs::remove_file(&log).unwrap();
    let body = json!({ "seen": seen, "who": "A", "decision": { "do": "accept", "entries": ["e2"] } });
    let answer = page.post(&format!("/api/log/{id}/decide"), &body).await;
    assert_eq!(answer.status, 507);
    assert!(answer.text().contains("cannot read"), "{}", answer.text());
    assert!(!log.exists());
}
