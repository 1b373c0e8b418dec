//! The JSON Schema of the log, derived from the types in `model`. The fields of each kind of entry come from whoever
//! owns the kinds; this room knows none of their names.

use serde_json::{Map, Value as Json, json};

use crate::{
    log::{
        model::{FORMAT, Log, VERSION},
        units,
    },
    words::Decimal,
};

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
    /// What it says, or empty.
    pub about: String,
    pub shape: Shape,
}

/// What a field holds. Its unit is in its name.
#[derive(Debug, Clone)]
pub enum Shape {
    /// A number; outside of the bounds, where there are some, it bears a doubt.
    Number(Option<(Decimal, Decimal)>),
    /// A whole number, with such bounds.
    Count(Option<(Decimal, Decimal)>),
    /// A text; the words that the program itself gives, where there are some. A practice's own may be others.
    Text(Vec<String>),
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
        let names: Vec<&str> = kinds.iter().map(|k| k.kind.as_str()).collect();
        set(&mut schema, "/$defs/Entry/properties/kind", "examples", json!(names));
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
    let fields: Map<String, Json> = kind.fields.iter().map(|f| (f.name.clone(), for_field(f))).collect();
    json!({
        "if": { "properties": { "kind": { "const": kind.kind } }, "required": ["kind"] },
        "then": { "description": kind.about, "properties": { "values": { "properties": fields } } },
    })
}

/// Its type, its unit, and in words what a validator does not judge: a value outside of the usual stays, with a doubt.
fn for_field(field: &FieldShape) -> Json {
    let unit = units::unit(&field.name);
    let mut said: Vec<String> = Vec::new();
    if !field.about.is_empty() {
        said.push(field.about.clone());
    }
    let mut shape = Map::new();
    match &field.shape {
        Shape::Number(usual) | Shape::Count(usual) => {
            let whole = matches!(field.shape, Shape::Count(_));
            shape.insert("type".to_owned(), json!(if whole { "integer" } else { "number" }));
            if let Some(unit) = unit {
                said.push(format!("in {unit}"));
            }
            if let Some((from, to)) = usual {
                said.push(format!("outside of {from} to {to} with a doubt"));
            }
        }
        Shape::Text(words) => {
            shape.insert("type".to_owned(), json!("string"));
            if !words.is_empty() {
                shape.insert("examples".to_owned(), json!(words));
            }
        }
    }
    if !said.is_empty() {
        shape.insert("description".to_owned(), json!(said.join("; ")));
    }
    if let Some(unit) = unit {
        shape.insert("x-unit".to_owned(), json!(unit));
    }
    Json::Object(shape)
}
