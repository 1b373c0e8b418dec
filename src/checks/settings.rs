//! What the checks compare with, for the user's own file: section `[checks]` of tugback.toml.
//!
//! Every number here is a window or a threshold, never a fact: facts are in the tables. Units are in the names.

use serde::{Deserialize, Serialize};

use crate::words::Decimal;

/// Settings of the checks; each has a default, and an unknown name is refused.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Rules that stay silent, by id: `order.size-jump`, or a whole group: `order`.
    pub off: Vec<String>,
    /// No permanent tooth's working length lies outside. 10: a crown alone is about as long (`tooth_length_samples`);
    /// 31: the longest standard file (`iso3630_constants`).
    pub working_length_mm: [Decimal; 2],
    /// Added to both ends of each tooth's window in `tooth_lengths`.
    pub tooth_length_margin_mm: Decimal,
    /// Files up to this size may pass the working length by `beyond_mm`, as patency files do (`procedure_rules`).
    pub patency_size: Decimal,
    pub beyond_mm: Decimal,
    /// The largest taper that files and cones have.
    pub largest_taper: Decimal,
    /// Usual speeds and torques of engine-driven files, from memory.
    pub speed_rpm: [Decimal; 2],
    pub torque_ncm: [Decimal; 2],
    /// A cone this much shorter than the working length is no contradiction.
    pub cone_short_mm: Decimal,
    /// The next file in a canal may be this many sizes larger without a note …
    pub size_steps: i64,
    /// … and from this many sizes on it is to be looked at.
    pub size_steps_look: i64,
    /// A delivery faster than the published mean flow times this gives a note.
    pub flow_factor: Decimal,
    /// What one cartridge of local anaesthetic holds: 1.7, 1.8 or 2.2, as the practice buys them.
    pub cartridge_ml: Decimal,
    /// Whether the material's lot is asked for, where a practice must keep it.
    pub ask_for_lots: bool,
    /// A silence between two steps that is shown as a gap.
    pub gap_s: Decimal,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            off: Vec::new(),
            working_length_mm: [Decimal::whole(10), Decimal::whole(31)],
            tooth_length_margin_mm: Decimal::ZERO,
            patency_size: Decimal::whole(10),
            beyond_mm: Decimal::whole(1),
            largest_taper: Decimal::thousandths(120),
            speed_rpm: [Decimal::whole(100), Decimal::whole(1500)],
            torque_ncm: [Decimal::thousandths(200), Decimal::whole(8)],
            cone_short_mm: Decimal::whole(1),
            size_steps: 1,
            size_steps_look: 5,
            flow_factor: Decimal::whole(2),
            cartridge_ml: Decimal::thousandths(1800),
            ask_for_lots: false,
            gap_s: Decimal::whole(300),
        }
    }
}

/// Why a settings file cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("section [checks]: {0}")]
pub struct SettingsError(#[from] toml::de::Error);

impl Settings {
    /// The section `[checks]` of a settings file; the defaults where it has none. Other sections are not looked at.
    pub fn from_toml(text: &str) -> Result<Self, SettingsError> {
        #[derive(Deserialize)]
        struct File {
            #[serde(default)]
            checks: Settings,
        }
        Ok(toml::from_str::<File>(text)?.checks)
    }

    /// Whether the rule, or its group, is switched off.
    pub fn is_off(&self, rule: &str) -> bool {
        self.off.iter().any(|off| {
            rule == off || rule.strip_prefix(off.as_str()).is_some_and(|rest| rest.starts_with('.'))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_changes_what_it_names() {
        let settings =
            Settings::from_toml("[words]\nx = 1\n[checks]\noff = [\"order\"]\ncartridge_ml = 2.2\n").unwrap();
        assert_eq!(settings.cartridge_ml.to_string(), "2.2");
        assert!(settings.is_off("order.size-jump") && settings.is_off("order"));
        assert!(!settings.is_off("orders.size-jump") && !settings.is_off("irrigants.pair"));
        assert_eq!(
            Settings { off: vec![], cartridge_ml: Settings::default().cartridge_ml, ..settings },
            Settings::default()
        );
        assert_eq!(Settings::from_toml("").unwrap(), Settings::default());
    }

    #[test]
    fn a_wrong_name_is_named() {
        let error = Settings::from_toml("[checks]\ncartridge = 2\n").unwrap_err().to_string();
        assert!(error.contains("section [checks]") && error.contains("cartridge"), "{error}");
    }
}
