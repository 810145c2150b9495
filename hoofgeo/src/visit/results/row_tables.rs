//! The tables that grow row by row: which columns each has, and what it has a row of.

use super::ResultFile;
use super::columns::{Cell, Column, OF_PHOTO, Origin, Row, TIDY};
use super::record::PhotoRecord;

/// A table whose rows follow from one photo after the other.
pub(super) struct RowTable {
    /// Its file's name where it is one of all photos.
    pub(super) name: &'static str,
    /// Its file of text.
    pub(super) file: ResultFile,
    /// Its typed file.
    #[cfg(feature = "parquet")]
    pub(super) typed: ResultFile,
    pub(super) columns: &'static [Column],
    rows: for<'a> fn(&'a PhotoRecord, &mut dyn FnMut(Row<'a>)),
}

impl RowTable {
    /// Hands over the photo's rows, in order.
    pub(super) fn rows<'a>(&self, photo: &'a PhotoRecord, mut each: impl FnMut(Row<'a>)) {
        (self.rows)(photo, &mut each);
    }
}

/// Every one of them.
pub(super) static ROW_TABLES: [RowTable; 4] = [
    RowTable {
        name: "measurements.csv",
        file: ResultFile::Csv,
        #[cfg(feature = "parquet")]
        typed: ResultFile::Parquet,
        columns: &TIDY,
        rows: |photo, each| photo.values.iter().for_each(|v| each(Row::Value(v))),
    },
    RowTable {
        name: "measurements-landmarks.csv",
        file: ResultFile::LandmarksCsv,
        #[cfg(feature = "parquet")]
        typed: ResultFile::LandmarksParquet,
        columns: &LANDMARKS,
        rows: |photo, each| photo.points.iter().flatten().for_each(|p| each(Row::Point(p))),
    },
    RowTable {
        name: "measurements-covariance.csv",
        file: ResultFile::CovarianceCsv,
        #[cfg(feature = "parquet")]
        typed: ResultFile::CovarianceParquet,
        columns: &COVARIANCE,
        rows: |photo, each| photo.covariances.iter().flat_map(|c| c.pairs()).for_each(|p| each(Row::Pair(p))),
    },
    RowTable {
        name: "measurements-draws.csv",
        file: ResultFile::DrawsCsv,
        #[cfg(feature = "parquet")]
        typed: ResultFile::DrawsParquet,
        columns: &DRAWS,
        rows: |photo, each| photo.drawn().for_each(|d| each(Row::Drawn(d))),
    },
];

/// The photo's columns with others behind them.
const fn behind<const N: usize, const ALL: usize>(own: [Column; N]) -> [Column; ALL] {
    let mut all = [OF_PHOTO[0]; ALL];
    let mut i = 0;
    while i < ALL {
        all[i] = if i < OF_PHOTO.len() { OF_PHOTO[i] } else { own[i - OF_PHOTO.len()] };
        i += 1;
    }
    all
}

/// Landmarks and lines in the measured plane.
static LANDMARKS: [Column; 17] = behind([
    Column::text("name", "The landmark or line.", Origin::Point(|p| Cell::text(&p.name))),
    Column::number(
        "point_number",
        "1",
        "Number of a line's point, from 1; empty for a landmark.",
        Origin::Point(|p| p.number.map_or(Cell::Empty, |n| Cell::Number(n as f64))),
    ),
    Column::number(
        "x_mm",
        "mm",
        "Place in the measured plane, along the scale's graduations from its zero.",
        Origin::Point(|p| Cell::Number(p.at_mm[0])),
    ),
    Column::number(
        "y_mm",
        "mm",
        "Place in the measured plane, square to the graduations: as the camera sees it, y is 90° counter-clockwise from x.",
        Origin::Point(|p| Cell::Number(p.at_mm[1])),
    ),
    Column::number("u_x_mm", "mm", "Standard uncertainty of x_mm.", Origin::Point(|p| Cell::Number(p.u_mm[0]))),
    Column::number("u_y_mm", "mm", "Standard uncertainty of y_mm.", Origin::Point(|p| Cell::Number(p.u_mm[1]))),
    Column::number("cov_xy_mm2", "mm2", "Covariance of x_mm and y_mm.", Origin::Point(|p| Cell::Number(p.cov_xy_mm2))),
    Column::number(
        "x_px",
        "px",
        "Where it was placed on the upright photo, from its left edge.",
        Origin::Point(|p| Cell::Number(p.at_px[0])),
    ),
    Column::number(
        "y_px",
        "px",
        "Where it was placed on the upright photo, down from its upper edge.",
        Origin::Point(|p| Cell::Number(p.at_px[1])),
    ),
]);

/// Covariances of a photo's values, and of its landmarks' places; each pair once, a quantity with itself among them.
static COVARIANCE: [Column; 15] = behind([
    Column::text(
        "pair",
        "values: of two measurements; landmarks: of two coordinates of landmarks in the measured plane.",
        Origin::Pair(|p| Cell::text(p.kind)),
    ),
    Column::text(
        "quantity_1",
        "The measurement, or landmark and axis such as toe_ground.x.",
        Origin::Pair(|p| Cell::text(p.quantities[0])),
    ),
    Column::text("quantity_2", "The other one, or the same.", Origin::Pair(|p| Cell::text(p.quantities[1]))),
    Column::text("unit_1", "Unit of quantity_1.", Origin::Pair(|p| Cell::text(p.units[0]))),
    Column::text("unit_2", "Unit of quantity_2.", Origin::Pair(|p| Cell::text(p.units[1]))),
    Column::number(
        "covariance",
        "unit_1 times unit_2",
        "Covariance of their errors in this photo (JCGM 102:2011); of a quantity with itself the square of u.",
        Origin::Pair(|p| Cell::Number(p.covariance)),
    ),
    Column::number("correlation", "1", "Their correlation coefficient.", Origin::Pair(|p| Cell::Number(p.correlation))),
]);

/// Joint draws of a photo's values.
static DRAWS: [Column; 12] = behind([
    Column::number(
        "draw",
        "1",
        "Number of the draw, from 1: values of one photo and draw belong together. Draws of different photos are independent.",
        Origin::Drawn(|d| Cell::Number(d.draw as f64)),
    ),
    Column::text("measurement", "What was measured, by its id.", Origin::Drawn(|d| Cell::text(d.measurement.id))),
    Column::text(
        "unit",
        "Unit of the row's value: mm, deg, mm2 or 1.",
        Origin::Drawn(|d| Cell::text(d.measurement.quantity.unit())),
    ),
    Column::number(
        "value",
        super::OF_ITS_ROW,
        "A value that could be the true one, by its stated distribution (JCGM 101:2008).",
        Origin::Drawn(|d| Cell::Number(d.value)),
    ),
]);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::visit::Outputs;

    #[test]
    fn names_are_those_of_the_files() {
        for table in &ROW_TABLES {
            assert_eq!(Outputs::in_folder("out").name_of(table.file), table.name);
            assert_eq!(
                &table.columns[..OF_PHOTO.len()].iter().map(|c| c.name).collect::<Vec<_>>(),
                &OF_PHOTO.map(|c| c.name)
            );
        }
    }
}
