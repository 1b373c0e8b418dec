//! The recording beside a log: ranges of the file itself, or of what we decoded.

use axum::http::Method;

use crate::ask::{Answer, Page, sample};

async fn ready(page: &Page, id: &str) -> serde_json::Value {
    for _ in 0..600 {
        let told = page.get(&format!("/api/log/{id}/sound")).await.json();
        if told["state"] != "making" {
            return told;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("the recording was not made ready");
}

async fn range(page: &Page, id: &str, range: &str) -> Answer {
    let path = format!("/media/{id}/sound?k={}", page.key);
    page.ask(Method::GET, &path, &[("range", range)], "").await
}

#[tokio::test]
async fn a_file_that_browsers_play_is_served_itself() {
    let (page, _) = Page::of_log("incisor").await;
    std::fs::copy(sample("incisor.flac"), page.folder.path().join("incisor.flac")).unwrap();
    let id = page.id().await;
    let told = ready(&page, &id).await;
    assert_eq!((told["state"].as_str(), told["decoded"].as_bool()), (Some("ready"), Some(false)));
    let file = std::fs::read(sample("incisor.flac")).unwrap();
    let whole = range(&page, &id, "").await;
    assert_eq!((whole.status.as_u16(), whole.header("content-type")), (200, "audio/flac"));
    assert_eq!(whole.bytes, file);
    let part = range(&page, &id, "bytes=1000-201000").await;
    assert_eq!(part.status, 206);
    assert_eq!(part.header("content-range"), format!("bytes 1000-201000/{}", file.len()));
    assert_eq!(part.bytes, &file[1000..=201_000]);
    let tail = range(&page, &id, "bytes=-10").await;
    assert_eq!(tail.bytes, &file[file.len() - 10..]);
    let beyond = range(&page, &id, &format!("bytes={}-", file.len())).await;
    assert_eq!(beyond.status, 416);
    // 50 peaks for each of 125.4 seconds.
    let peaks = page.get(&format!("/api/log/{id}/peaks")).await.bytes;
    assert!((6260..=6275).contains(&peaks.len()), "{}", peaks.len());
    assert!(peaks.iter().any(|p| *p > 100) && peaks.iter().any(|p| *p < 10), "speech and silence");
}

/// Browsers do not play ADPCM in WAV; what is decoded has the same length and can be asked for by ranges.
#[tokio::test]
async fn another_is_decoded() {
    let (page, _) = Page::of_log("incisor").await;
    let adpcm = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/audio/voice_ima.wav");
    std::fs::copy(adpcm, page.folder.path().join("incisor.wav")).unwrap();
    let id = page.id().await;
    let told = ready(&page, &id).await;
    assert_eq!((told["state"].as_str(), told["decoded"].as_bool()), (Some("ready"), Some(true)), "{told}");
    let whole = range(&page, &id, "").await;
    assert_eq!(whole.header("content-type"), "audio/wav");
    assert_eq!(&whole.bytes[..4], b"RIFF");
    let seconds = (whole.bytes.len() - 44) as f64 / 32_000.0;
    assert!((seconds - told["duration_s"].as_f64().unwrap()).abs() < 0.05, "{seconds} {told}");
    let part = range(&page, &id, "bytes=44-99").await;
    assert_eq!(part.bytes, &whole.bytes[44..100]);
    let names: Vec<_> = std::fs::read_dir(page.folder.path()).unwrap().collect();
    assert_eq!(names.len(), 3, "no second copy lies beside the log");
}

#[tokio::test]
async fn a_log_without_its_recording_says_so() {
    let (page, _) = Page::of_log("incisor").await;
    let id = page.id().await;
    let told = ready(&page, &id).await;
    assert_eq!(told["state"], "none");
    assert!(told["sentence"].as_str().unwrap().contains("is not beside the log"), "{told}");
}
