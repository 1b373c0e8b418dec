//! The JSON Schema of the log, derived from the types in `model`. The fields of each kind of entry come from whoever
//! owns the kinds; this room knows none of their names.

use serde_json::{Map, Value as Json, json};

use crate::log::model::{FORMAT, Log, VERSION};

/// A kind of entry and the fields its `values` may hold.
#[derive(Debug, Clone, Default)]
pub struct KindShape {
    pub kind: String,
    /// One sentence.
    pub about: String,
    pub fields: Vec<FieldShape>,
}

/// One field of a kind's `values`.
#[derive(Debug, Clone)]
pub struct FieldShape {
    pub name: String,
    /// One sentence: unit, range, what absence means.
    pub about: String,
    pub shape: Shape,
}

/// What a field holds.
#[derive(Debug, Clone)]
pub enum Shape {
    Number,
    Text,
    /// One of these words.
    OneOf(Vec<String>),
}

/// The JSON Schema (2020-12) of a log, with the fields of the kinds merged in. A kind that is not listed may hold any
/// numbers and texts, and a listed kind may hold further fields: unknown fields survive.
pub fn schema(kinds: &[KindShape]) -> Json {
    let mut schema = schemars::schema_for!(Log).to_value();
    let by_kind: Vec<Json> = kinds.iter().map(for_kind).collect();
    set(&mut schema, "", "$id", json!(format!("urn:{FORMAT}:{VERSION}")));
    set(&mut schema, "", "title", json!("Procedure log"));
    set(&mut schema, "/properties/format", "const", json!(FORMAT));
    set(&mut schema, "/properties/version", "const", json!(VERSION));
    if !by_kind.is_empty() {
        set(&mut schema, "/$defs/Entry", "allOf", Json::Array(by_kind));
    }
    schema
}

fn set(schema: &mut Json, pointer: &str, key: &str, value: Json) {
    if let Some(Json::Object(at)) = schema.pointer_mut(pointer) {
        at.insert(key.to_owned(), value);
    }
}

/// "If the kind is this one, its values look like that."
fn for_kind(kind: &KindShape) -> Json {
    let fields: Map<String, Json> = kind
        .fields
        .iter()
        .map(|field| {
            let mut shape = match &field.shape {
                Shape::Number => json!({ "type": "number" }),
                Shape::Text => json!({ "type": "string" }),
                Shape::OneOf(words) => json!({ "enum": words }),
            };
            if let Some(shape) = shape.as_object_mut()
                && !field.about.is_empty()
            {
                shape.insert("description".to_owned(), json!(field.about));
            }
            (field.name.clone(), shape)
        })
        .collect();
    json!({
        "if": { "properties": { "kind": { "const": kind.kind } }, "required": ["kind"] },
        "then": { "description": kind.about, "properties": { "values": { "properties": fields } } },
    })
}
