//! Section `[checks]`: what the checks compare with. Every number here is a window or a threshold, never a fact: facts
//! are in the tables. Units are in the names.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

use crate::words::Decimal;

/// Windows of the checks; each has a default, and an unknown name is refused. `tugback settings` shows these sentences.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Windows {
    /// Rules that stay silent, by id: `order.size-jump`, or a whole group: `order`.
    pub off: Vec<String>,
    /// No permanent tooth's working length lies outside. 10: a crown alone is about as long (`tooth_length_samples`);
    /// 31: the longest standard file (`iso3630_constants`).
    pub working_length_mm: [Decimal; 2],
    /// Added to both ends of each tooth's window in `tooth_lengths`.
    pub tooth_length_margin_mm: Decimal,
    /// Own windows for a tooth, by its ISO 3950 number, instead of those in `tooth_lengths`.
    pub tooth_length_mm: BTreeMap<String, [Decimal; 2]>,
    /// Files up to this size may pass the working length by `beyond_mm`, as patency files do (`procedure_rules`).
    pub patency_size: Decimal,
    /// How far a patency file may pass the working length (`procedure_rules`).
    pub beyond_mm: Decimal,
    /// A larger patency file gives a note (`procedure_rules`).
    pub largest_patency_size: Decimal,
    /// Files up to this size scout a canal; they do not shape it, and say nothing about its final size.
    pub scouting_size: Decimal,
    /// A file of such a size counts as a glide path.
    pub glide_path_size: [Decimal; 2],
    /// The largest taper that files and cones have.
    pub largest_taper: Decimal,
    /// Usual speeds of engine-driven files, from memory.
    pub speed_rpm: [Decimal; 2],
    /// Usual torques of engine-driven files, from memory.
    pub torque_ncm: [Decimal; 2],
    /// Own windows for a solution, by its name in the log, instead of those in `irrigant_windows`.
    pub concentration_pct: BTreeMap<String, [Decimal; 2]>,
    /// Own usual concentrations of a local anaesthetic, instead of those in `anaesthetics`.
    pub anaesthetic_pct: BTreeMap<String, Vec<Decimal>>,
    /// A needle that is said to be deeper than it passes, by less than this, is no finding.
    pub needle_tolerance_mm: Decimal,
    /// A cone this much shorter than the working length is no contradiction.
    pub cone_short_mm: Decimal,
    /// A cone may be this many sizes off the last file with no more than a note.
    pub cone_size_steps: i64,
    /// The next file in a canal may be this many sizes larger without a note.
    pub size_steps: i64,
    /// A next file that is this many sizes larger, or more, is to be looked at.
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

impl Default for Windows {
    fn default() -> Self {
        Self {
            off: Vec::new(),
            working_length_mm: [Decimal::whole(10), Decimal::whole(31)],
            tooth_length_margin_mm: Decimal::ZERO,
            tooth_length_mm: BTreeMap::new(),
            patency_size: Decimal::whole(10),
            beyond_mm: Decimal::whole(1),
            largest_patency_size: Decimal::whole(20),
            scouting_size: Decimal::whole(15),
            glide_path_size: [Decimal::whole(10), Decimal::whole(20)],
            largest_taper: Decimal::thousandths(120),
            speed_rpm: [Decimal::whole(100), Decimal::whole(1500)],
            torque_ncm: [Decimal::thousandths(200), Decimal::whole(8)],
            concentration_pct: BTreeMap::new(),
            anaesthetic_pct: BTreeMap::new(),
            needle_tolerance_mm: Decimal::thousandths(500),
            cone_short_mm: Decimal::whole(1),
            cone_size_steps: 1,
            size_steps: 1,
            size_steps_look: 5,
            flow_factor: Decimal::whole(2),
            cartridge_ml: Decimal::thousandths(1800),
            ask_for_lots: false,
            gap_s: Decimal::whole(300),
        }
    }
}

impl JsonSchema for Decimal {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Decimal".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "number" })
    }

    fn inline_schema() -> bool {
        true
    }
}

impl Windows {
    /// What a key means, one sentence.
    pub fn about(key: &str) -> Option<String> {
        let schema = schemars::schema_for!(Self).to_value();
        let sentence = schema.pointer(&format!("/properties/{key}/description"))?.as_str()?;
        Some(sentence.split_whitespace().collect::<Vec<_>>().join(" "))
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
    fn a_rule_or_its_group_is_off() {
        let windows = Windows { off: vec!["order".to_owned()], ..Windows::default() };
        assert!(windows.is_off("order.size-jump") && windows.is_off("order"));
        assert!(!windows.is_off("orders.size-jump") && !windows.is_off("irrigants.pair"));
    }
}
