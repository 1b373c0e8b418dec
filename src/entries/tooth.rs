//! Tooth numbers of three notations → ISO 3950. The table is `src/tables/tooth_notation.tsv`, its sources beside it.

use std::{collections::HashMap, sync::LazyLock};

use crate::words::{
    line::Line,
    vocabulary::{Tag, rows},
};

/// How tooth numbers are understood where the words leave it open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Notation {
    /// Two digits, quadrant and place: 36.
    #[default]
    Iso3950,
    /// 1 to 32 and A to T, clockwise from the upper right.
    Universal,
    /// Quadrant in words and place: upper left six.
    Palmer,
}

impl Notation {
    pub const fn name(self) -> &'static str {
        match self {
            Self::Iso3950 => "iso3950",
            Self::Universal => "universal",
            Self::Palmer => "palmer",
        }
    }
}

/// One tooth in three notations.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    pub iso: String,
    pub universal: String,
    /// "UR6", "LLA".
    pub palmer: String,
}

pub static ROWS: LazyLock<Vec<Row>> = LazyLock::new(|| {
    rows(include_str!("../tables/tooth_notation.tsv"))
        .into_iter()
        .filter_map(|r| match r.as_slice() {
            [iso, _, _, _, _, universal, palmer, ..] if iso.bytes().all(|b| b.is_ascii_digit()) => {
                Some(Row {
                    iso: (*iso).to_owned(),
                    universal: (*universal).to_owned(),
                    palmer: (*palmer).to_owned(),
                })
            }
            _ => None,
        })
        .collect()
});

static BY_PALMER: LazyLock<HashMap<&str, &str>> =
    LazyLock::new(|| ROWS.iter().map(|r| (r.palmer.as_str(), r.iso.as_str())).collect());

/// A tooth as it was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    pub iso: String,
    pub said_as: &'static str,
    /// The number is no tooth of the chosen notation; it was read in another.
    pub other_notation: bool,
}

pub fn from_iso(number: &str) -> Option<&'static Row> {
    ROWS.iter().find(|r| r.iso == number)
}

pub fn from_universal(number: &str) -> Option<&'static Row> {
    ROWS.iter().find(|r| r.universal == number)
}

/// What a said tooth means: a number ("36"), or quadrant and place (`UL6p` by number, `UL6w` by name).
pub fn named(said: &str, notation: Notation) -> Option<Named> {
    if let Some(place) = said.strip_suffix('p').or_else(|| said.strip_suffix('w')) {
        let iso = BY_PALMER.get(place)?;
        let said_as = if said.ends_with('p') { "palmer" } else { "words" };
        return Some(Named { iso: (*iso).to_owned(), said_as, other_notation: false });
    }
    let iso = || from_iso(said).map(|r| (r.iso.clone(), "iso3950"));
    let universal = || from_universal(said).map(|r| (r.iso.clone(), "universal"));
    let (first, second) = match notation {
        Notation::Universal => (universal(), iso()),
        Notation::Iso3950 | Notation::Palmer => (iso(), universal()),
    };
    let other_notation = first.is_none();
    let (iso, said_as) = first.or(second)?;
    Some(Named { iso, said_as, other_notation })
}

/// Quadrant and place from the terms of a pattern: jaw, side, and the tooth's place or name.
pub fn from_terms(terms: &[Tag], number: Option<&str>) -> Option<String> {
    let get = |v: &str| terms.iter().find(|t| &*t.vocabulary == v).map(|t| &*t.value);
    let (jaw, side) = match get("quadrants") {
        Some(q) => (q.get(..1)?.to_owned(), q.get(1..)?.to_owned()),
        None => (get("jaws")?.to_owned(), get("sides")?.to_owned()),
    };
    let (place, how) = match (get("tooth_names"), number) {
        (Some(name), _) => (name.to_owned(), 'w'),
        (None, Some(n)) => (n.to_owned(), 'p'),
        _ => return None,
    };
    Some(format!("{jaw}{side}{place}{how}"))
}

/// Is a number at item `i` part of a range of teeth ("24 to 26"), or one of a measure?
pub fn is_range(line: &Line, end: usize) -> bool {
    (line.is_word(end, "to") || line.is_word(end, "through") || line.is_mark(end, "-"))
        && (line.atom(end + 1).is_some() || line.is_word(end + 1, "number") && line.atom(end + 2).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 3950 and the universal system, all 52 teeth both ways, by their rules rather than by the table: permanent
    /// quadrants 1 to 4 with places 1 to 8, deciduous 5 to 8 with 1 to 5; universal runs clockwise from the upper right.
    /// Source of the rule: ISO 3950:2016 as described in the notation pages listed in the table's sources (S).
    #[test]
    fn all_teeth_both_ways() {
        assert_eq!(ROWS.len(), 52);
        for row in ROWS.iter() {
            let (q, n): (u32, u32) = (row.iso[..1].parse().unwrap(), row.iso[1..].parse().unwrap());
            let expect = match q {
                1 => (9 - n).to_string(),
                2 => (8 + n).to_string(),
                3 => (25 - n).to_string(),
                4 => (24 + n).to_string(),
                5 => letter(6 - n),
                6 => letter(5 + n),
                7 => letter(16 - n),
                _ => letter(15 + n),
            };
            assert_eq!(row.universal, expect, "tooth {}", row.iso);
            assert_eq!(from_universal(&expect).unwrap().iso, row.iso);
            assert_eq!(named(&row.iso, Notation::Iso3950).unwrap().iso, row.iso);
        }
    }

    fn letter(n: u32) -> String {
        char::from_u32(u32::from(b'A') + n - 1).unwrap().to_string()
    }
}
