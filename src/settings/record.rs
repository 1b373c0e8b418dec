//! Section `[record]`: how the program behaves at the chair.

use serde::{Deserialize, Serialize};

use crate::words::Decimal;

/// How the program behaves while it records.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Record {
    /// How loud its tones are, from 0 (none) to 1.
    pub volume: Decimal,
}

impl Default for Record {
    fn default() -> Self {
        Self { volume: Decimal::thousandths(500) }
    }
}

impl Record {
    /// What is wrong with it: the place and the cure.
    pub(super) fn wrong(&self) -> Option<(String, String)> {
        let fits = (Decimal::ZERO..=Decimal::whole(1)).contains(&self.volume);
        (!fits).then(|| {
            let what = format!("{} is no volume; a number from 0 (no tones) to 1 is expected", self.volume);
            ("record.volume".to_owned(), what)
        })
    }
}
