//! Why an entry is as it is: the words that each part of it came from, and what was said of it later. What
//! `tugback log --explain` shows; it decides nothing.

use crate::log::Value;

/// For one entry.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Why {
    /// The words that opened it.
    pub opened_by: String,
    /// The entry that it goes on with, where no words opened it.
    pub goes_on_with: Option<String>,
    /// The words that made it planned, not done and so on.
    pub status_by: Option<String>,
    pub tooth: Option<Spoken>,
    pub canal: Option<Spoken>,
    pub values: Vec<(String, From)>,
    pub later: Vec<Later>,
}

/// Words, and the second at which they were said.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Spoken {
    pub words: String,
    pub at_s: f64,
}

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum From {
    /// These words.
    Said(String),
    /// The words that opened the entry mean it.
    Meant,
    /// An earlier entry: "same reference".
    Same(String),
}

/// What later words did.
#[derive(Debug, Clone, PartialEq)]
pub struct Later {
    pub by: Spoken,
    pub did: Did,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Did {
    Struck,
    Flagged,
    /// Field, what it was and what it is, the words for it; where it was nothing, it was completed.
    Changed {
        field: String,
        from: Option<Value>,
        to: Value,
        words: String,
    },
}
