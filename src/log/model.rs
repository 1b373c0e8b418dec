//! The procedure log in memory: the contract. Unknown fields survive read-change-write (`more`).

use std::fmt;

use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, de};
use serde_json::{Map, Value as Json};

use crate::log::units;
use crate::words::Decimal;

/// Says what kind of file this is; the first field of every log.
pub const FORMAT: &str = "tugback-log";
/// Raised when a field is added that an older program would wrongly drop.
pub const VERSION: u32 = 1;

/// A whole procedure log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Log {
    pub format: String,
    pub version: u32,
    pub source: Source,
    pub made_by: MadeBy,
    pub case: Case,
    pub entries: Vec<Entry>,
    /// Every stretch of speech that became no entry: nothing that was said disappears.
    pub unplaced: Vec<Unplaced>,
    /// From the checks.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<Json>,
    /// Computed by the checks.
    #[serde(default, skip_serializing_if = "Map::is_empty")]
    pub totals: Map<String, Json>,
    /// Every change by a reviewer, oldest first.
    #[serde(default)]
    pub history: Vec<Change>,
    /// Fields of a later minor version, kept as read.
    #[serde(flatten)]
    pub more: Map<String, Json>,
}

/// Where the speech came from.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Source {
    /// File name without its folder.
    pub file: String,
    /// Of the file's bytes, 64 hexadecimal digits.
    pub sha256: String,
    /// Seconds that could be read, to 0.01.
    pub duration_s: f64,
    pub kind: SourceKind,
    /// RFC 3339, if known from the recording itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recording_start: Option<String>,
    /// What was wrong with the file and what was assumed, one sentence each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repairs: Vec<String>,
    /// Container, codec, track, channel, rate, level: see the audio room's report.
    #[serde(default, skip_serializing_if = "Map::is_empty")]
    pub audio: Map<String, Json>,
    #[serde(flatten)]
    pub more: Map<String, Json>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    #[default]
    Transcript,
    Audio,
    Live,
}

/// What made this log, so that it can be made again.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct MadeBy {
    pub program: String,
    pub program_version: String,
    /// File name of the speech model; absent for a transcript.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model_sha256: Option<String>,
    /// The second listener, where one listened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_model: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_model_sha256: Option<String>,
    /// Of the kinds and tables that the entries were made with, the user's own rows included.
    pub rules_sha256: String,
    /// The practice's own instruments: name → the instrument of the contract that it works like. With the log, so that
    /// it is understood on a computer without the practice's settings.
    #[serde(default, skip_serializing_if = "IndexMap::is_empty")]
    pub instruments: IndexMap<String, String>,
    #[serde(flatten)]
    pub more: Map<String, Json>,
}

impl MadeBy {
    /// The instrument of the contract that an entry names: a practice's own one by what it works like, any other as it
    /// stands. Nothing where none was said.
    pub fn instrument<'l>(&'l self, entry: &'l Entry) -> Option<&'l str> {
        let name = entry.values.get("instrument")?.text()?;
        Some(self.instruments.get(name).map_or(name, String::as_str))
    }
}

/// What the log is about.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Case {
    /// The practice's own reference, free text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// Teeth treated, ISO 3950, in the order they were named.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub teeth: Vec<String>,
    /// How tooth numbers were understood: `iso3950`, `universal`, `palmer`.
    pub notation: String,
    /// Whether it was heard as a lecture or a demonstration, in which what is said may be a rule and no deed, because
    /// that was asked for or by the words. Absent in logs of older programs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lecture: Option<bool>,
    #[serde(flatten)]
    pub more: Map<String, Json>,
}

/// One step that was said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Entry {
    /// "e1", "e2", … in the order of the log; never reused.
    pub id: String,
    /// Seconds from the start of the recording, to 0.01.
    pub from_s: f64,
    pub to_s: f64,
    pub kind: String,
    pub status: Status,
    /// ISO 3950 two digits; absent until a tooth is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tooth: Option<String>,
    /// Absent if never named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub canal: Option<Canal>,
    /// Only what was said; units are in the field's name.
    #[serde(deserialize_with = "units::values")]
    pub values: IndexMap<String, Value>,
    /// The words heard, as they were heard.
    pub said: String,
    /// Id of the rule that made it.
    pub rule: String,
    /// Why a person must look. Empty: the program stands behind every value.
    #[serde(default)]
    pub doubts: Vec<Doubt>,
    /// Fields taken from an earlier entry (`tooth`, `canal`, or a value after "same …").
    #[serde(default)]
    pub carried: Vec<String>,
    pub review: Review,
    /// What was heard first, where a later word or a reviewer changed it: field → old value (null: was absent).
    #[serde(default, skip_serializing_if = "IndexMap::is_empty")]
    pub heard: IndexMap<String, Json>,
    /// When the words were said that struck this entry, in seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub struck_at_s: Option<f64>,
    #[serde(flatten)]
    pub more: Map<String, Json>,
}

/// How a step was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    #[default]
    Done,
    Planned,
    NotDone,
    Conditional,
    General,
}

/// One canal name, `all`, or a list.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum Canal {
    One(String),
    Many(Vec<String>),
}

impl Canal {
    /// The names, `all` as itself.
    pub fn names(&self) -> &[String] {
        match self {
            Self::One(name) => std::slice::from_ref(name),
            Self::Many(names) => names,
        }
    }
}

impl<'de> Deserialize<'de> for Canal {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Names;
        impl<'de> de::Visitor<'de> for Names {
            type Value = Canal;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a canal name or a list of canal names")
            }

            fn visit_str<E: de::Error>(self, name: &str) -> Result<Canal, E> {
                Ok(Canal::One(name.to_owned()))
            }

            fn visit_seq<A: de::SeqAccess<'de>>(self, mut seq: A) -> Result<Canal, A::Error> {
                let mut names = Vec::new();
                while let Some(name) = seq.next_element::<String>()? {
                    names.push(name);
                }
                if names.is_empty() {
                    return Err(de::Error::custom(
                        "the list of canals is empty; leave `canal` out where none was named",
                    ));
                }
                Ok(Canal::Many(names))
            }
        }
        d.deserialize_any(Names)
    }
}

/// A value of an entry: an exact number or a word of the trade.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(untagged)]
pub enum Value {
    Number(Decimal),
    Text(String),
}

impl Value {
    pub const fn number(&self) -> Option<Decimal> {
        match self {
            Self::Number(n) => Some(*n),
            Self::Text(_) => None,
        }
    }

    pub fn text(&self) -> Option<&str> {
        match self {
            Self::Number(_) => None,
            Self::Text(t) => Some(t),
        }
    }
}

impl<'de> Deserialize<'de> for Value {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Said;
        impl de::Visitor<'_> for Said {
            type Value = Value;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number or a text")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Value, E> {
                Ok(Value::Text(text.to_owned()))
            }

            fn visit_i64<E: de::Error>(self, n: i64) -> Result<Value, E> {
                match n.checked_mul(1000) {
                    Some(thousandths) => Ok(Value::Number(Decimal::thousandths(thousandths))),
                    None => Err(E::custom(format!("{n} is out of range for a number that was said"))),
                }
            }

            fn visit_u64<E: de::Error>(self, n: u64) -> Result<Value, E> {
                match i64::try_from(n) {
                    Ok(n) => self.visit_i64(n),
                    Err(_) => Err(E::custom(format!("{n} is out of range for a number that was said"))),
                }
            }

            /// A number with a fourth place would change on rounding, and no number may change unseen.
            fn visit_f64<E: de::Error>(self, x: f64) -> Result<Value, E> {
                match Decimal::from_f64(x) {
                    Some(n) if (n.to_f64() - x).abs() <= x.abs() * 1e-12 => Ok(Value::Number(n)),
                    Some(_) => Err(E::custom(format!("{x} has more than three decimal places"))),
                    None => Err(E::custom(format!("{x} is out of range for a number that was said"))),
                }
            }
        }
        d.deserialize_any(Said)
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(n) => n.fmt(f),
            Self::Text(t) => f.pad(t),
        }
    }
}

impl JsonSchema for Value {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Value".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": ["number", "string"] })
    }
}

/// Why a person must look.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Doubt {
    /// A field of `values`, or `canal`, `tooth`, `status`, or `entry` for the whole.
    pub field: String,
    /// One sentence a person understands.
    pub reason: String,
    /// What it might have been instead, most likely first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub alternatives: Vec<Value>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Review {
    #[default]
    Unseen,
    Confirmed,
    Amended,
    Struck,
}

/// Speech that became no entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Unplaced {
    pub from_s: f64,
    pub to_s: f64,
    /// The words heard; empty where something was heard but could not be made out.
    pub said: String,
    /// Why it is here, where that helps ("unreadable, listen", "struck", "spoken control").
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    #[serde(flatten)]
    pub more: Map<String, Json>,
}

/// One change by a reviewer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Change {
    /// RFC 3339.
    pub at: String,
    pub who: String,
    /// Entry id; absent for a change of the log itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<String>,
    pub field: String,
    pub from: Json,
    pub to: Json,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    #[serde(flatten)]
    pub more: Map<String, Json>,
}
