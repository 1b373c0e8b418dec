//! Trade tables and vocabularies, embedded from this folder: one TSV file per table, a new table is a new file.
//!
//! Comes in: a table's name. Goes out: its rows, each with its evidence mark and source. Nothing here is computed or
//! decided; a row without a source is refused by the tests. The first line names the columns; a cell may be empty;
//! lines that start with `#` are remarks.

use std::sync::LazyLock;

use include_dir::{Dir, include_dir};

use crate::words::Decimal;

static FOLDER: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/src/tables");

static TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| {
    let mut tables: Vec<Table> = FOLDER
        .files()
        .filter_map(|file| {
            let name = file.path().file_name()?.to_str()?.strip_suffix(".tsv")?;
            Some(Table::parse(name, file.contents_utf8()?))
        })
        .collect();
    tables.sort_by_key(|t| t.name);
    tables
});

/// One embedded file.
#[derive(Debug)]
pub struct Table {
    /// File name without `.tsv`.
    pub name: &'static str,
    /// The file as it is.
    pub text: &'static str,
    pub columns: Vec<&'static str>,
    rows: Vec<Vec<&'static str>>,
}

/// One row of a table.
#[derive(Debug, Clone, Copy)]
pub struct Row<'t> {
    table: &'t Table,
    cells: &'t [&'static str],
}

/// How well a fact is known. The letters are those of the tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Evidence {
    /// M: from memory, not seen. Shown as such; never decides pass or fail alone.
    Memory,
    /// P: seen in part, or on a secondary page only.
    Partly,
    /// D: computed from seen facts.
    Computed,
    /// S: seen in a source.
    Seen,
}

impl Evidence {
    /// From the first letter of a cell; nothing where the cell has no mark.
    pub fn of(cell: &str) -> Option<Self> {
        match cell.chars().next()? {
            'S' => Some(Self::Seen),
            'P' => Some(Self::Partly),
            'M' => Some(Self::Memory),
            'D' => Some(Self::Computed),
            _ => None,
        }
    }

    pub const fn mark(self) -> &'static str {
        match self {
            Self::Seen => "S",
            Self::Partly => "P",
            Self::Memory => "M",
            Self::Computed => "D",
        }
    }

    /// For a person: "from memory".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Seen => "seen in the source",
            Self::Partly => "seen in part",
            Self::Memory => "from memory",
            Self::Computed => "computed",
        }
    }
}

/// All tables, by name.
pub fn all() -> &'static [Table] {
    &TABLES
}

/// A list of spoken forms, from a folder within this one.
#[derive(Debug, Clone, Copy)]
pub struct Spoken {
    /// Folder and file name without ending: `words/irrigants`.
    pub name: &'static str,
    pub text: &'static str,
}

/// All lists of spoken forms, by name.
pub fn spoken() -> Vec<Spoken> {
    let files = FOLDER.dirs().flat_map(Dir::files);
    let mut all: Vec<Spoken> = files
        .filter_map(|f| {
            Some(Spoken { name: f.path().to_str()?.strip_suffix(".tsv")?, text: f.contents_utf8()? })
        })
        .collect();
    all.sort_by_key(|s| s.name);
    all
}

impl Spoken {
    /// What the first line says of where the forms come from.
    pub fn source(&self) -> &'static str {
        let head = self.text.lines().next().unwrap_or_default();
        let source = head.split_once('—').map(|(_, source)| source.trim()).filter(|s| !s.is_empty());
        source.unwrap_or("common practice, no source")
    }

    pub fn rows(&self) -> impl Iterator<Item = &'static str> {
        self.text.lines().filter(|l| !l.starts_with('#') && !l.trim().is_empty())
    }
}

/// The table of this name.
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.iter().find(|t| t.name == name)
}

/// The rows of the table of this name; none where there is no such table.
pub fn rows(name: &str) -> impl Iterator<Item = Row<'static>> {
    table(name).into_iter().flat_map(Table::rows)
}

impl Table {
    fn parse(name: &'static str, text: &'static str) -> Self {
        let mut lines = text.lines().filter(|l| !l.starts_with('#') && !l.trim().is_empty());
        let columns = lines.next().map(|l| l.split('\t').map(str::trim).collect()).unwrap_or_default();
        let rows = lines.map(|l| l.split('\t').map(str::trim).collect()).collect();
        Self { name, text, columns, rows }
    }

    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|cells| Row { table: self, cells })
    }
}

impl Row<'_> {
    /// The cell under this column; empty where the row or the table has none.
    pub fn get(&self, column: &str) -> &'static str {
        let at = self.table.columns.iter().position(|c| *c == column);
        at.and_then(|at| self.cells.get(at)).copied().unwrap_or_default()
    }

    /// The first cell: what the row is about.
    pub fn key(&self) -> &'static str {
        self.cells.first().copied().unwrap_or_default()
    }

    pub fn number(&self, column: &str) -> Option<Decimal> {
        self.get(column).parse().ok()
    }

    /// The least and the most per cent that are plausible, else those of the usual ones.
    pub fn window_pct(&self) -> Option<(Decimal, Decimal)> {
        let usual = || self.get("usual_pct").split(';').filter_map(|n| n.trim().parse::<Decimal>().ok());
        let bounds = self.number("plausible_min_pct").zip(self.number("plausible_max_pct"));
        bounds.or_else(|| usual().min().zip(usual().max()))
    }

    /// Whether a cell that holds a list (`16;26`) holds this item.
    pub fn lists(&self, column: &str, item: &str) -> bool {
        self.get(column).split([';', '|']).any(|part| part.trim() == item)
    }

    /// The row's evidence mark under `evidence`.
    pub fn evidence(&self) -> Option<Evidence> {
        Evidence::of(self.get("evidence"))
    }

    /// All marks of the row: those of `evidence` and of `…_evidence`, with the column's own word.
    pub fn marks(&self) -> Vec<(&'static str, Evidence)> {
        let of = |column: &&'static str| {
            let about = column.strip_suffix("evidence")?.trim_end_matches('_');
            Some((about, Evidence::of(self.get(column))?))
        };
        self.table.columns.iter().filter_map(of).collect()
    }

    /// Where the row comes from.
    pub fn source(&self) -> &'static str {
        ["source_id", "source", "address"]
            .iter()
            .map(|c| self.get(c))
            .find(|s| !s.is_empty())
            .unwrap_or_default()
    }

    pub fn cells(&self) -> &[&'static str] {
        self.cells
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    /// A table that was added or changed without building anew would be missed without a word.
    #[test]
    fn what_is_embedded_is_what_is_in_the_folder() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/tables");
        let mut seen = 0;
        for file in fs::read_dir(folder).unwrap() {
            let path = file.unwrap().path();
            if path.extension().is_some_and(|e| e == "tsv") {
                let name = path.file_stem().unwrap().to_str().unwrap();
                let table = table(name)
                    .unwrap_or_else(|| panic!("`{name}` is not embedded: touch src/tables/mod.rs"));
                assert_eq!(table.text, fs::read_to_string(&path).unwrap(), "{name}");
                seen += 1;
            }
        }
        assert_eq!(seen, all().len());
    }

    #[test]
    fn every_row_is_whole_and_names_its_source() {
        for table in all() {
            assert!(table.columns.len() > 1, "{}: columns", table.name);
            assert!(table.rows().next().is_some(), "{}: no rows", table.name);
            for row in table.rows() {
                assert!(
                    row.cells.len() <= table.columns.len(),
                    "{}: {}: too many cells",
                    table.name,
                    row.key()
                );
                assert!(!row.key().is_empty(), "{}: a row without a first cell", table.name);
                assert!(!row.source().is_empty(), "{}: {}: no source", table.name, row.key());
            }
        }
    }

    #[test]
    fn spoken_forms_say_where_they_come_from() {
        let all = spoken();
        let rinses = all.iter().find(|s| s.name == "words/irrigants").unwrap();
        assert!(rinses.rows().any(|r| r.ends_with("\tedta")), "{}", rinses.text);
        assert!(rinses.source().contains("common practice, no source"));
        for list in all {
            assert!(list.rows().next().is_some() && list.source().len() > 3, "{}", list.name);
        }
    }

    #[test]
    fn cells_by_name() {
        let thirty = rows("needles").find(|r| r.key() == "30").unwrap();
        assert_eq!(thirty.number("iso9626_designated_mm"), Some(Decimal::thousandths(300)));
        assert_eq!(thirty.get("no such column"), "");
        assert!(thirty.marks().contains(&("designated", Evidence::Partly)));
        let first_molar = rows("tooth_lengths").find(|r| r.lists("teeth_fdi", "46")).unwrap();
        assert_eq!(first_molar.key(), "36;46");
        assert!(!first_molar.lists("teeth_fdi", "4"));
        assert!(rows("no-such-table").next().is_none());
    }
}
