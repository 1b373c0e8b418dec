//! The forms in which a person corrects or makes an entry: the kinds with their fields, units and words, from `src/kinds`.

use std::sync::Arc;

use serde_json::{Value as Json, json};

use crate::export::phrase::written;
use crate::kinds::{self, Is};
use crate::log::{Value, units};
use crate::review::decide::CANALS;
use crate::words::vocabulary;

/// All kinds, the names of canals, and the units by the endings of field names.
pub(super) fn all() -> Json {
    let kinds: Vec<Json> = kinds::BUILT_IN
        .all
        .iter()
        .map(|kind| {
            let fields: Vec<Json> = kind
                .fields
                .iter()
                .map(|(name, field)| {
                    // The term, and how it is written.
                    let words: Vec<[String; 2]> = match &field.is {
                        Is::Term(v) => {
                            let terms = vocabulary::BUILT_IN.values(v).iter();
                            let pair =
                                |t: &Arc<str>| [t.to_string(), written(name, &Value::Text(t.to_string()))];
                            terms.map(pair).collect()
                        }
                        _ => vec![],
                    };
                    json!({
                        "name": name,
                        "about": field.about,
                        "number": units::is_number(name),
                        "unit": units::unit(name),
                        "words": words,
                        "usual": field.plausible.map(|(a, b)| [a, b]),
                    })
                })
                .collect();
            json!({ "kind": kind.name, "about": kind.about, "fields": fields })
        })
        .collect();
    json!({ "kinds": kinds, "canals": CANALS, "units": units::ENDINGS })
}
