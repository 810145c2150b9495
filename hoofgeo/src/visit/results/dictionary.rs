//! The data dictionary: what every column of the tables holds, and what their ids, methods and flags mean. It is made of the
//! declarations that the tables are made of.

use super::columns::{
    BEHIND_IN_PARQUET, Column, ColumnKind, FLAG_LIST, TIDY, TableColumn, WIDE_BEFORE, WIDE_BEHIND, wide_pair,
};
use super::row_tables::{ROW_TABLES, RowTable};
use super::tables::csv_line;
use crate::evaluate::METHODS;
use crate::measure::{ALL, Measurement};
use crate::measured::{flag_meaning, flag_names};
use serde::Serialize;
use std::borrow::Cow;
use std::fmt::Write;

/// An entry of the data dictionary.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct DictionaryEntry {
    /// Which list it belongs to: a table (`measurements.csv`, `measurements-wide.csv`, `measurements-landmarks.csv`,
    /// `measurements-covariance.csv`, `measurements-draws.csv`, `measurements.parquet`, `follow.csv`, `agreement.csv`, `landmarks.csv`,
    /// `values.csv`, `shapes.csv`, `mean-shape.csv`), or
    /// what stands in a column (`measurement`, `method`, `flag_list`).
    pub list: &'static str,
    /// The column, or what stands in it.
    pub name: String,
    /// What the column holds; empty for what stands in one.
    pub kind: &'static str,
    /// Its unit; empty where there is none.
    pub unit: String,
    /// The view that it is measured in; empty where that does not matter.
    pub view: &'static str,
    /// What it is.
    pub definition: String,
    /// Where the definition comes from; empty for what this program made up.
    pub source: String,
}

/// The whole dictionary, in the order of tables and columns.
///
/// # Example: the unit of a column
/// ```
/// let dictionary = hoofgeo::visit::dictionary();
/// let column = dictionary.iter().find(|e| e.list == "measurements-wide.csv" && e.name == "heel_angle_u").unwrap();
/// assert_eq!(column.unit, "deg");
/// ```
pub fn dictionary() -> Vec<DictionaryEntry> {
    let of_table = |table: &RowTable| table.columns.iter().map(|c| of_column(table.name, c)).collect::<Vec<_>>();
    let mut all = of_table(&ROW_TABLES[0]);
    all.extend(WIDE_BEFORE.iter().map(|c| of_column(WIDE, c)));
    all.extend(ALL.iter().flat_map(|m| of_pair(m)));
    all.push(of_column(WIDE, &WIDE_BEHIND));
    all.extend(ROW_TABLES.iter().skip(1).flat_map(of_table));
    // Each table's typed file has these behind its columns.
    all.extend(TIDY.iter().chain(&BEHIND_IN_PARQUET).map(|c| of_column("measurements.parquet", c)));
    let others: [(&str, &[TableColumn]); 6] = [
        ("follow.csv", &crate::follow::TABLE),
        ("agreement.csv", &crate::observers::AGREEMENT_TABLE),
        ("landmarks.csv", &crate::observers::LANDMARKS_TABLE),
        ("values.csv", &crate::observers::VALUES_TABLE),
        ("shapes.csv", &crate::shape::SHAPES_TABLE),
        ("mean-shape.csv", &crate::shape::MEAN_TABLE),
    ];
    for (list, columns) in others {
        all.extend(columns.iter().map(|c| DictionaryEntry {
            kind: c.kind.name(),
            unit: c.unit.to_owned(),
            ..plain(list, c.name, c.definition)
        }));
    }
    all.extend(ALL.iter().map(|m| of_measurement("measurement", m.id.to_owned(), "", m)));
    all.extend(METHODS.iter().map(|(name, meaning)| plain("method", name, meaning)));
    all.extend(flag_names().map(|name| plain(FLAG_LIST, name, flag_meaning(name).unwrap_or_default())));
    all
}

/// What the dictionary says of free text in a table that a spreadsheet may open.
const FREE_TEXT: &str = " Free text: an apostrophe stands before it where it begins with one, or with = + - @, a tab or a line break; \
     a program takes it off.";

const WIDE: &str = "measurements-wide.csv";

fn of_column(list: &'static str, column: &Column) -> DictionaryEntry {
    let Column { name, kind, unit, definition, .. } = column;
    let mut entry = DictionaryEntry { kind: kind.name(), unit: (*unit).to_owned(), ..plain(list, name, definition) };
    if *kind == ColumnKind::FreeText && list.ends_with(".csv") {
        entry.definition += FREE_TEXT;
    }
    entry
}

fn of_pair(m: &Measurement) -> [DictionaryEntry; 2] {
    let [value, u] = wide_pair(m);
    let number = ColumnKind::Number.name();
    let mut second = of_measurement(WIDE, u, number, m);
    second.definition = format!("Standard uncertainty of {}.", m.id);
    second.source.clear();
    [of_measurement(WIDE, value, number, m), second]
}

fn of_measurement(list: &'static str, name: String, kind: &'static str, m: &Measurement) -> DictionaryEntry {
    DictionaryEntry {
        list,
        name,
        kind,
        unit: m.quantity.unit().to_owned(),
        view: m.view.name(),
        definition: format!("{}. {}", m.name, m.definition),
        source: m.source.to_owned(),
    }
}

fn plain(list: &'static str, name: &str, definition: &str) -> DictionaryEntry {
    let (name, definition) = (name.to_owned(), definition.to_owned());
    DictionaryEntry { list, name, kind: "", unit: String::new(), view: "", definition, source: String::new() }
}

const HEADINGS: [&str; 7] = ["list", "name", "kind", "unit", "view", "definition", "source"];

impl DictionaryEntry {
    fn cells(&self) -> [&str; HEADINGS.len()] {
        [self.list, &self.name, self.kind, &self.unit, self.view, &self.definition, &self.source]
    }
}

/// The dictionary as a table (RFC 4180).
pub fn dictionary_csv() -> String {
    let mut out = csv_line(HEADINGS.map(Cow::Borrowed));
    for entry in dictionary() {
        out.extend(csv_line(entry.cells().map(Cow::Borrowed)));
    }
    String::from_utf8(out).unwrap_or_default()
}

/// The dictionary as JSON: a list of objects.
pub fn dictionary_json() -> serde_json::Value {
    serde_json::json!(dictionary())
}

/// The dictionary as Markdown, a table for each list.
pub fn dictionary_markdown() -> String {
    let mut out = String::from("# Data dictionary\n");
    let mut list = "";
    for entry in dictionary() {
        if entry.list != list {
            list = entry.list;
            let _ = write!(
                out,
                "\n## {list}\n\n| {} |\n|{}\n",
                HEADINGS[1..].join(" | "),
                " --- |".repeat(HEADINGS.len() - 1)
            );
        }
        let cells: Vec<String> = entry.cells()[1..].iter().map(|c| c.replace('|', "\\|")).collect();
        let _ = writeln!(out, "| {} |", cells.join(" | "));
    }
    out
}
