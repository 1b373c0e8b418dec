//! The forms in which a person corrects or makes an entry: the kinds with their fields, units and words, from `src/kinds`.

use serde_json::{Value as Json, json};

use crate::kinds::{self, Is};
use crate::log::units;
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
                    let words: Vec<&str> = match &field.is {
                        Is::Term(v) => vocabulary::BUILT_IN.values(v).iter().map(AsRef::as_ref).collect(),
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
