//! A practice's own words: the tables `[[instrument]]` and `[[phrase]]`.

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::log::Value;
use crate::words::Decimal;

/// An instrument of the practice, which the program does not know by itself.
///
/// ```toml
/// [[instrument]]
/// name = "slim-shaper"
/// said = ["slim shaper", "the slim one"]
/// like = "rotary"
/// sizes = [20, 25]
/// tapers = [0.04, 0.06]
/// colours = ["yellow", "red"]
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// As it stands in the log: small letters, digits, hyphens.
    pub name: String,
    /// How it is said, in words; the first is shown to people.
    pub said: Vec<String>,
    /// The instrument of the contract that it works like: `rotary`, `k-file` …
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub like: Option<String>,
    /// The sizes that there are, in hundredths of a millimetre at the tip. None: any.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sizes: Vec<Decimal>,
    /// The tapers that there are, as ratios: 0.06 is 6 %. None: any.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tapers: Vec<Decimal>,
    /// The colour of the handle of each of the sizes, in their order. None: not known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub colours: Vec<String>,
}

/// What a practice says for a whole step.
///
/// ```toml
/// [[phrase]]
/// said = ["the usual rinse"]
/// kind = "irrigation"
/// values = { agent = "sodium-hypochlorite", concentration_pct = 3, volume_ml = 5 }
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Phrase {
    pub said: Vec<String>,
    /// A kind of entry.
    pub kind: String,
    /// Fields of that kind; what is said beside the phrase goes before them.
    #[serde(default, skip_serializing_if = "IndexMap::is_empty")]
    pub values: IndexMap<String, Value>,
}
