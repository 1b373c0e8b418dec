//! Checksums of what is signed. Comes in: a log, or one change. Goes out: SHA-256 as 64 hexadecimal digits.
//!
//! The checksum is of the JSON with sorted keys and without blanks, so that it does not depend on how the file is laid out.

use serde_json::Value as Json;
use sha2::{Digest as _, Sha256};

use super::patch::to_json;
use crate::log::{Change, Log};

/// Of all that a log says, without its history and signature.
pub fn content(log: &Log) -> String {
    let mut json = to_json(log);
    if let Json::Object(map) = &mut json {
        map.shift_remove("history");
        map.shift_remove("signature");
    }
    digest(&[&canonical(&json)])
}

/// Of a change, chained to the one before it.
pub fn change(previous: &str, change: &Change) -> String {
    let mut json = to_json(change);
    if let Json::Object(map) = &mut json {
        map.shift_remove("hash");
    }
    digest(&[previous, "\n", &canonical(&json)])
}

/// The start of the chain: the draft as the first reviewer found it.
pub fn start(draft: &str, earlier: &[Change]) -> String {
    digest(&["tugback draft\n", draft, "\n", &canonical(&to_json(earlier))])
}

pub fn digest(parts: &[&str]) -> String {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update(part.as_bytes());
    }
    crate::hex(&hash.finalize())
}

/// JSON with sorted keys and no blanks.
fn canonical(json: &Json) -> String {
    fn sorted(json: &Json) -> Json {
        match json {
            Json::Object(map) => {
                let mut pairs: Vec<_> = map.iter().collect();
                pairs.sort_by(|a, b| a.0.cmp(b.0));
                Json::Object(pairs.into_iter().map(|(k, v)| (k.clone(), sorted(v))).collect())
            }
            Json::Array(items) => Json::Array(items.iter().map(sorted).collect()),
            other => other.clone(),
        }
    }
    sorted(json).to_string()
}
