//! The columns of every table, each declared once: header, cells and data dictionary follow from here.

use super::details::{Drawn, Pair, RecordedPoint};
use super::free_text::free_text_cell;
use super::record::{PhotoRecord, RecordedValue};
use crate::measure::{ALL, Measurement};
use std::borrow::Cow;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ColumnKind {
    /// Text; empty where there is none.
    Text,
    /// Text that somebody has typed; in tables of text as [`free_text_cell`] writes it.
    FreeText,
    /// A number of double precision.
    Number,
    /// A time on the clock where the photo was taken, without a zone.
    LocalTime,
    /// A moment, UTC.
    Moment,
}

impl ColumnKind {
    /// Its name in the data dictionary.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::FreeText => "free text",
            Self::Number => "number",
            Self::LocalTime => "local time",
            Self::Moment => "moment",
        }
    }
}

/// A column of a table that another command writes, declared beside that table.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TableColumn {
    pub(crate) name: &'static str,
    pub(crate) kind: ColumnKind,
    pub(crate) unit: &'static str,
    pub(crate) definition: &'static str,
}

impl TableColumn {
    pub(crate) const fn text(name: &'static str, definition: &'static str) -> Self {
        Self { name, kind: ColumnKind::Text, unit: "", definition }
    }

    pub(crate) const fn number(name: &'static str, unit: &'static str, definition: &'static str) -> Self {
        Self { name, kind: ColumnKind::Number, unit, definition }
    }

    /// The columns' names, in order.
    pub(crate) const fn names<const N: usize>(columns: &[Self; N]) -> [&'static str; N] {
        let mut names = [""; N];
        let mut i = 0;
        while i < N {
            names[i] = columns[i].name;
            i += 1;
        }
        names
    }
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cell<'a> {
    Text(Cow<'a, str>),
    Number(f64),
    /// Microseconds since 1970, on the local clock or of UTC.
    Time(i64),
    Empty,
}

impl<'a> Cell<'a> {
    pub(super) fn text(text: &'a str) -> Self {
        Self::Text(Cow::Borrowed(text))
    }

    fn perhaps(text: Option<&'a str>) -> Self {
        text.map_or(Self::Empty, Self::text)
    }

    /// As a table of text has it: numbers with as many digits as nothing gets lost with, free text as no spreadsheet runs it.
    pub(super) fn into_text(self, kind: ColumnKind) -> Cow<'a, str> {
        match self {
            Self::Text(text) if kind == ColumnKind::FreeText => match free_text_cell(&text) {
                Cow::Owned(cell) => Cow::Owned(cell),
                Cow::Borrowed(_) => text,
            },
            Self::Text(text) => text,
            Self::Number(x) => Cow::Owned(format!("{x}")),
            Self::Time(t) => Cow::Owned(format!("{t}")),
            Self::Empty => Cow::Borrowed(""),
        }
    }
}

/// Where a cell comes from.
#[derive(Clone, Copy)]
pub(super) enum Origin {
    Photo(for<'a> fn(&'a PhotoRecord) -> Cell<'a>),
    Value(for<'a> fn(&'a RecordedValue) -> Cell<'a>),
    Point(for<'a> fn(&'a RecordedPoint) -> Cell<'a>),
    Pair(for<'a> fn(&Pair<'a>) -> Cell<'a>),
    Drawn(for<'a> fn(&Drawn<'a>) -> Cell<'a>),
}

/// What a table has a row of.
#[derive(Clone, Copy)]
pub(super) enum Row<'a> {
    Value(&'a RecordedValue),
    Point(&'a RecordedPoint),
    Pair(Pair<'a>),
    Drawn(Drawn<'a>),
}

/// A column of a table.
#[derive(Clone, Copy)]
pub(super) struct Column {
    pub(super) name: &'static str,
    pub(super) kind: ColumnKind,
    pub(super) unit: &'static str,
    pub(super) definition: &'static str,
    pub(super) origin: Origin,
}

impl Column {
    const fn photo(
        name: &'static str,
        kind: ColumnKind,
        definition: &'static str,
        cell: for<'a> fn(&'a PhotoRecord) -> Cell<'a>,
    ) -> Self {
        Self { name, kind, unit: "", definition, origin: Origin::Photo(cell) }
    }

    const fn value(
        name: &'static str,
        kind: ColumnKind,
        unit: &'static str,
        definition: &'static str,
        cell: for<'a> fn(&'a RecordedValue) -> Cell<'a>,
    ) -> Self {
        Self { name, kind, unit, definition, origin: Origin::Value(cell) }
    }

    pub(super) const fn number(
        name: &'static str,
        unit: &'static str,
        definition: &'static str,
        origin: Origin,
    ) -> Self {
        Self { name, kind: ColumnKind::Number, unit, definition, origin }
    }

    pub(super) const fn text(name: &'static str, definition: &'static str, origin: Origin) -> Self {
        Self { name, kind: ColumnKind::Text, unit: "", definition, origin }
    }

    /// A row's cell; empty where the column belongs to rows of another kind.
    pub(super) fn cell<'a>(&self, photo: &'a PhotoRecord, row: &Row<'a>) -> Cell<'a> {
        match (self.origin, row) {
            (Origin::Photo(cell), _) => cell(photo),
            (Origin::Value(cell), Row::Value(value)) => cell(value),
            (Origin::Point(cell), Row::Point(point)) => cell(point),
            (Origin::Pair(cell), Row::Pair(pair)) => cell(pair),
            (Origin::Drawn(cell), Row::Drawn(drawn)) => cell(drawn),
            _ => Cell::Empty,
        }
    }
}

use ColumnKind::{FreeText, LocalTime, Moment, Number, Text};

/// The column of flags; `FLAGS` is a word of some table libraries.
pub(super) const FLAG_LIST: &str = "flag_list";

/// The unit of a number that has that of its row.
pub(crate) const OF_ITS_ROW: &str = "as in the column unit";

const PHOTO: Column = Column::photo(
    "photo",
    FreeText,
    "Path of the photo relative to the folder that was measured, with forward slashes.",
    |p| Cell::text(&p.name),
);
const ANIMAL: Column =
    Column::photo("animal", FreeText, "Name of the animal, by the sidecar.", |p| Cell::text(&p.animal));
const FOOT: Column = Column::photo("foot", Text, "LF left fore, RF right fore, LH left hind, RH right hind.", |p| {
    Cell::text(p.foot.name())
});
const VIEW: Column =
    Column::photo("view", Text, "Where the camera looked from: lateral or solar.", |p| Cell::text(p.view.name()));
const SIDE: Column = Column::photo("side", Text, "Side of the foot that faces the camera: lateral or medial.", |p| {
    Cell::perhaps(p.side.map(|s| s.name()))
});
const STAGE: Column = Column::photo("stage", Text, "before_trim or after_trim; empty where not said.", |p| {
    Cell::perhaps(p.stage.map(|s| s.name()))
});
const TAKEN: Column = Column::photo(
    "taken",
    Text,
    "When the photo was taken, by the sidecar, else by EXIF: RFC 3339 as far as it is known.",
    |p| Cell::perhaps(p.taken.as_deref()),
);
const OBSERVER: Column =
    Column::photo("observer", FreeText, "Who placed the landmarks.", |p| Cell::perhaps(p.observer.as_deref()));
const TAKEN_LOCAL: Column = Column::photo(
    "taken_local",
    LocalTime,
    "The same as a time on the clock where it was taken; midnight where only the day is known.",
    |p| p.taken.as_deref().and_then(local).map_or(Cell::Empty, Cell::Time),
);
const TAKEN_UTC: Column =
    Column::photo("taken_utc", Moment, "The same as a moment; empty where the offset from UTC is not known.", |p| {
        p.taken.as_deref().and_then(moment).map_or(Cell::Empty, Cell::Time)
    });
const PHOTO_SHA256: Column = Column::photo("photo_sha256", Text, "SHA-256 of the photo's file.", |p| {
    Cell::Text(Cow::Owned(p.photo_sha256.to_string()))
});
const SIDECAR_SHA256: Column = Column::photo("sidecar_sha256", Text, "SHA-256 of the sidecar's file.", |p| {
    Cell::Text(Cow::Owned(p.sidecar_sha256.to_string()))
});
const FLAGS_OF_ALL: Column = Column::photo(
    FLAG_LIST,
    Text,
    "What the reader of any of the row's values has to know, by name, separated by `;`.",
    |p| Cell::Text(Cow::Owned(p.flags().join(";"))),
);

const MEASUREMENT: Column =
    Column::value("measurement", Text, "", "What was measured, by its id.", |v| Cell::text(v.measurement.id));
const UNIT: Column = Column::value("unit", Text, "", "Unit of the row's numbers: mm, deg, mm2 or 1.", |v| {
    Cell::text(v.measurement.quantity.unit())
});
const VALUE: Column = Column::value("value", Number, OF_ITS_ROW, "Best estimate.", |v| Cell::Number(v.value));
const U: Column =
    Column::value("u", Number, OF_ITS_ROW, "Standard uncertainty (JCGM 100:2008).", |v| Cell::Number(v.u));
const K: Column = Column::value("k", Number, "1", "Coverage factor for 95 %.", |v| Cell::Number(v.k));
const EXPANDED: Column =
    Column::value("expanded", Number, OF_ITS_ROW, "Expanded uncertainty: k times u.", |v| Cell::Number(v.expanded));
const LOWER: Column =
    Column::value("lower", Number, OF_ITS_ROW, "Lower end of the 95 % interval.", |v| Cell::Number(v.lower));
const UPPER: Column =
    Column::value("upper", Number, OF_ITS_ROW, "Upper end of the 95 % interval.", |v| Cell::Number(v.upper));
const METHOD: Column =
    Column::value("method", Text, "", "How the value was made, see the methods.", |v| Cell::text(&v.method));
const FLAGS: Column =
    Column::value(FLAG_LIST, Text, "", "What the reader of the value has to know, by name, separated by `;`.", |v| {
        Cell::Text(Cow::Owned(v.flags.join(";")))
    });

/// The tidy table: one row a value.
pub(super) const TIDY: [Column; 18] = [
    PHOTO,
    ANIMAL,
    FOOT,
    VIEW,
    SIDE,
    STAGE,
    TAKEN,
    OBSERVER,
    MEASUREMENT,
    UNIT,
    VALUE,
    U,
    K,
    EXPANDED,
    LOWER,
    UPPER,
    METHOD,
    FLAGS,
];

/// What a table as analytics engines take it has behind its columns.
pub(super) const BEHIND_IN_PARQUET: [Column; 4] = [TAKEN_LOCAL, TAKEN_UTC, PHOTO_SHA256, SIDECAR_SHA256];

/// The columns of the photo that every other table begins with.
pub(super) const OF_PHOTO: [Column; 8] = [PHOTO, ANIMAL, FOOT, VIEW, SIDE, STAGE, TAKEN, OBSERVER];

/// The wide table's columns of the photo before those of its values.
pub(super) const WIDE_BEFORE: [Column; 8] = OF_PHOTO;

/// The wide table's column behind those of its values.
pub(super) const WIDE_BEHIND: Column = FLAGS_OF_ALL;

/// Columns of `measurements.csv`, in order. Engines that know no capitals take no two of them for one.
pub const CSV_COLUMNS: [&str; TIDY.len()] = {
    let mut names = [""; TIDY.len()];
    let mut i = 0;
    while i < TIDY.len() {
        names[i] = TIDY[i].name;
        i += 1;
    }
    names
};

/// The wide table's two columns of a measurement: its value and its standard uncertainty.
pub(super) fn wide_pair(measurement: &Measurement) -> [String; 2] {
    [measurement.id.to_owned(), format!("{}_u", measurement.id)]
}

/// The columns that `measurements-wide.csv` can have, in order. A pair without any value in the whole table is left out of it.
pub fn wide_columns() -> Vec<String> {
    let before = WIDE_BEFORE.iter().map(|c| c.name.to_owned());
    before.chain(ALL.iter().flat_map(|m| wide_pair(m))).chain([WIDE_BEHIND.name.to_owned()]).collect()
}

/// Microseconds since 1970 on the clock where a photo was taken.
fn local(taken: &str) -> Option<i64> {
    let day = || taken.parse::<jiff::civil::Date>().ok().map(|d| d.at(0, 0, 0, 0));
    let time: jiff::civil::DateTime = taken.parse().ok().or_else(day)?;
    Some(jiff::tz::TimeZone::UTC.to_timestamp(time).ok()?.as_microsecond())
}

/// Microseconds since 1970, UTC, where the text says how the clock stood to it.
fn moment(taken: &str) -> Option<i64> {
    Some(taken.parse::<jiff::Timestamp>().ok()?.as_microsecond())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_as_far_as_they_go() {
        // 2026-05-04T00:00:00Z is 20,577 days after 1970-01-01.
        let day = 20_577 * 86_400_000_000;
        let half_past_nine = day + (9 * 60 + 30) * 60_000_000;
        assert_eq!(local("2026-05-04T09:30:00+01:00"), Some(half_past_nine));
        assert_eq!(moment("2026-05-04T09:30:00+01:00"), Some(half_past_nine - 3_600_000_000));
        assert_eq!((local("2026-05-04T09:30:00"), moment("2026-05-04T09:30:00")), (Some(half_past_nine), None));
        assert_eq!((local("2026-05-04"), moment("2026-05-04")), (Some(day), None));
        assert_eq!((local("in May"), moment("in May")), (None, None));
    }
}
