//! One step as an Observation: each value a component, with its unit.

use serde_json::{Value as Json, json};

use super::times::Clock;
use super::{annotations, body_site, set, string};
use crate::export::phrase::{self, MARK};
use crate::log::{Canal, Entry, Value, units};
use crate::words::Decimal;

/// Names of kinds and fields in the log's contract.
const KIND: &str = "urn:tugback-log:kind";
const FIELD: &str = "urn:tugback-log:field";
const UCUM: &str = "http://unitsofmeasure.org";

/// Endings of fields and their UCUM units (The Unified Code for Units of Measure); `N.cm` and `/min` as in its tables.
const UNITS: &[(&str, &str)] = &[
    ("_mm", "mm"),
    ("_ml", "mL"),
    ("_s", "s"),
    ("_pct", "%"),
    ("_mg", "mg"),
    ("_rpm", "/min"),
    ("_ncm", "N.cm"),
];

/// Up to here a decimal number survives the reader's binary numbers (IEEE 754 double: 15 digits).
const EXACT: i64 = 1_000_000_000_000_000;

pub(super) fn observation(
    status: &str,
    clock: &Clock,
    entry: &Entry,
    subject: Json,
    part_of: Option<String>,
) -> Json {
    let mut resource = json!({ "resourceType": "Observation", "status": status });
    set(&mut resource, "partOf", part_of.map(|url| json!([{ "reference": url }])));
    let kind = string(&entry.kind);
    let name = string(&phrase::kind_name(&kind));
    let text = if name.is_empty() { "Step without a name".to_owned() } else { name };
    set(&mut resource, "code", Some(concept(KIND, &kind, &text)));
    set(&mut resource, "subject", Some(subject));
    set(&mut resource, "effectivePeriod", clock.period(entry.from_s, entry.to_s));
    // The length of a canal is what its Observation is about; everything else is a component.
    let main = entry
        .values
        .get("length_mm")
        .filter(|_| entry.kind == "working-length" && !doubtful(entry, "length_mm"));
    let main = main.and_then(|value| quantity("length_mm", value.number()?));
    let has_main = main.is_some();
    set(&mut resource, "valueQuantity", main);
    let mut notes: Vec<String> =
        entry.doubts.iter().map(|d| format!("DOUBTFUL, not settled: {}", phrase::doubt(d))).collect();
    set(&mut resource, "bodySite", site(entry, &mut notes));
    let fields = entry.values.iter().filter(|(f, _)| !(has_main && *f == "length_mm") && *f != "said_as");
    let mut components: Vec<Json> =
        fields.filter_map(|(field, value)| component(entry, field, value)).collect();
    if let Some(from) =
        Decimal::from_f64((entry.from_s * 100.0).round() / 100.0).and_then(|s| quantity("from_s", s))
    {
        components.push(
            json!({ "code": concept(FIELD, "from_s", "Time in the recording"), "valueQuantity": from }),
        );
    }
    set(&mut resource, "note", annotations(&notes));
    set(&mut resource, "component", Some(Json::Array(components)));
    resource
}

fn concept(system: &str, code: &str, text: &str) -> Json {
    // A code holds no blanks at its ends and no two after each other; a name that does is only a text.
    let is_code = !code.is_empty() && code.split(' ').all(|part| !part.is_empty());
    if is_code {
        json!({ "coding": [{ "system": system, "code": code }], "text": text })
    } else {
        json!({ "text": text })
    }
}

fn doubtful(entry: &Entry, field: &str) -> bool {
    entry.doubts.iter().any(|d| d.field == field || d.field == "entry")
}

/// Tooth and canal; a canal without a tooth is told in a note.
fn site(entry: &Entry, notes: &mut Vec<String>) -> Option<Json> {
    let canal = entry.canal.as_ref().map(|c| match c.names() {
        [one] if one != "all" && one != "single" => format!("canal {one}"),
        _ => match phrase::canal_name(c) {
            name if matches!(c, Canal::Many(_)) => format!("canals {name}"),
            name => name,
        },
    });
    let unsure = doubtful(entry, "tooth") || doubtful(entry, "canal");
    match (&entry.tooth, canal) {
        (Some(tooth), canal) => Some(body_site(tooth, canal.as_deref(), unsure)),
        (None, Some(canal)) => {
            notes.push(format!("Of {canal}; no tooth was named"));
            None
        }
        (None, None) => None,
    }
}

/// A value with its name; nothing where it is an empty text.
fn component(entry: &Entry, field: &str, value: &Value) -> Option<Json> {
    let name = string(&phrase::kind_name(&phrase::field_name(field)));
    let text = match field {
        "size" => "Size, in hundredths of a millimetre".to_owned(),
        _ if name.is_empty() => string(field),
        _ => name,
    };
    let mut component = json!({ "code": concept(FIELD, field, &text) });
    let words = || {
        let unit = units::unit(field).map(|u| format!(" {u}")).unwrap_or_default();
        let mark = if doubtful(entry, field) { format!(" {MARK}") } else { String::new() };
        string(&format!("{}{unit}{mark}", phrase::written(field, value)))
    };
    let exact = value.number().filter(|n| !doubtful(entry, field) && n.as_thousandths().abs() < EXACT);
    match exact {
        Some(n) => match (
            units::unit(field).is_some() || field == "taper",
            n.to_whole().and_then(|n| i32::try_from(n).ok()),
        ) {
            (false, Some(whole)) => set(&mut component, "valueInteger", Some(json!(whole))),
            _ => set(&mut component, "valueQuantity", Some(quantity(field, n)?)),
        },
        None => {
            let words = words();
            if words.is_empty() {
                return None;
            }
            set(&mut component, "valueString", Some(json!(words)));
        }
    }
    Some(component)
}

/// An exact number with its UCUM unit; `1` where it has none.
fn quantity(field: &str, n: Decimal) -> Option<Json> {
    let code = match field {
        "taper" => "mm/mm",
        _ => UNITS.iter().find(|(ending, _)| field.ends_with(ending)).map_or("1", |(_, code)| code),
    };
    let unit = units::unit(field).unwrap_or(code);
    let value = serde_json::to_value(n).ok()?;
    Some(json!({ "value": value, "unit": unit, "system": UCUM, "code": code }))
}
