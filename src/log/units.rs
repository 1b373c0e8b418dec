//! The units of a log's numbers. They are in the field's name (`volume_ml`), so a measured field without a unit in
//! its name, or with its unit in a text ("3 ml"), is refused: a bare number would be read as something it is not.

use std::fmt;

use indexmap::IndexMap;
use serde::{Deserializer, de};

use crate::log::model::Value;

/// Endings of field names that say the unit, with the unit as a person writes it.
pub const ENDINGS: &[(&str, &str)] = &[
    ("_mm", "mm"),
    ("_ml", "mL"),
    ("_s", "s"),
    ("_pct", "%"),
    ("_mg", "mg"),
    ("_rpm", "/min"),
    ("_ncm", "N·cm"),
];

/// Fields that hold a number of no unit.
const COUNTS: &[&str] = &[
    "size",
    "taper",
    "count",
    "cartridges",
    "gauge",
    "cycles",
    "passes",
    "times_per_day",
    "days",
    "after_days",
    "after_weeks",
    "after_months",
];

/// Measured fields of the contract, and the name each would have without its unit.
const WITHOUT_UNIT: &[(&str, &str)] = &[
    ("beyond", "beyond_mm"),
    ("concentration", "concentration_pct"),
    ("depth", "depth_mm"),
    ("dose", "dose_mg"),
    ("duration", "duration_s"),
    ("file_length", "file_length_mm"),
    ("length", "length_mm"),
    ("short", "short_mm"),
    ("speed", "speed_rpm"),
    ("tip", "tip_mm"),
    ("tip_short", "tip_short_mm"),
    ("torque", "torque_ncm"),
    ("volume", "volume_ml"),
];

/// The unit that the field's name says, if it says one.
pub fn unit(field: &str) -> Option<&'static str> {
    ENDINGS.iter().find(|(ending, _)| field.ends_with(ending)).map(|(_, unit)| *unit)
}

/// Whether the contract wants a number in this field.
pub fn is_number(field: &str) -> bool {
    unit(field).is_some() || COUNTS.contains(&field)
}

/// Why this value cannot stand under this name; nothing where it can.
pub fn refuse(field: &str, value: &Value) -> Option<String> {
    if let Some((_, right)) = WITHOUT_UNIT.iter().find(|(bare, _)| *bare == field) {
        return Some(format!("{value} has no unit; the log's name for it is `{right}`"));
    }
    match (value, unit(field)) {
        (Value::Text(text), Some(unit)) => Some(format!(
            "found the text \"{text}\"; a number is expected, in {unit} as the field's name says"
        )),
        (Value::Text(text), None) if is_number(field) => {
            Some(format!("found the text \"{text}\"; a number is expected"))
        }
        _ => None,
    }
}

/// Reads the `values` of an entry: each name once, each number under a name that says its unit.
pub fn values<'de, D: Deserializer<'de>>(d: D) -> Result<IndexMap<String, Value>, D::Error> {
    struct Values;
    impl<'de> de::Visitor<'de> for Values {
        type Value = IndexMap<String, Value>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("an object of values")
        }

        fn visit_map<A: de::MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
            let mut values = IndexMap::new();
            while let Some(field) = map.next_key::<String>()? {
                let value: Value = map.next_value_seed(Checked { field: &field })?;
                if values.contains_key(&field) {
                    return Err(de::Error::custom(format!(
                        "`{field}` is there twice; only one can be meant"
                    )));
                }
                values.insert(field, value);
            }
            Ok(values)
        }
    }

    /// Refuses inside the value, so that the place that is shown is the value's own.
    struct Checked<'f> {
        field: &'f str,
    }
    impl<'de> de::DeserializeSeed<'de> for Checked<'_> {
        type Value = Value;

        fn deserialize<D: Deserializer<'de>>(self, d: D) -> Result<Value, D::Error> {
            let value = <Value as serde::Deserialize>::deserialize(d)?;
            match refuse(self.field, &value) {
                Some(why) => Err(de::Error::custom(why)),
                None => Ok(value),
            }
        }
    }
    d.deserialize_map(Values)
}
