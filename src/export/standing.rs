//! How far a log has come: a draft, signed, or amended after it was signed.

use serde_json::Value as Json;

use super::record::Standing;
use crate::log::Log;

/// How far the log has come, by what it says itself.
pub fn standing(log: &Log) -> Standing {
    let Some(signature) = log.more.get("signature").filter(|s| s.is_object()) else {
        return Standing { state: "draft", ..Standing::default() };
    };
    let text = |field: &str| signature.get(field).and_then(Json::as_str).unwrap_or_default().to_owned();
    let at = log.history.iter().rposition(|c| c.field == "signature");
    let after = log.history.iter().skip(at.map_or(0, |at| at + 1));
    // Signing itself writes down what the checks found.
    let amended = after.filter(|c| !matches!(c.field.as_str(), "findings" | "totals")).count() > 0;
    Standing {
        state: if amended { "amended" } else { "signed" },
        name: text("name"),
        role: text("role"),
        at: text("at"),
        ..Standing::default()
    }
}
