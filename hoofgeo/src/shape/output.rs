//! The files of a shape study.

use super::ShapeStudy;
use super::tps::{self, Specimen};
use crate::error::{Error, Result};
use crate::visit::{TableColumn, free_text_cell, refusal_json, write_whole};
use nalgebra::Point2;
use serde_json::{Value as Json, json};
use std::path::Path;

/// Principal components that `shapes.csv` has scores of.
const SCORES: usize = 5;

/// The columns of `shapes.csv`: a row a photo.
pub(crate) const SHAPES_TABLE: [TableColumn; 11 + SCORES] = [
    TableColumn::text("photo", "Path of the photo relative to the folder."),
    TableColumn::text("animal", "Name of the animal."),
    TableColumn::text("foot", "LF, RF, LH or RH."),
    TableColumn::text("side", "Side of the foot that faces the camera."),
    TableColumn::text("stage", "before_trim or after_trim."),
    TableColumn::text("taken", "When the photo was taken."),
    TableColumn::text("observer", "Who placed the landmarks."),
    TableColumn::text("mirrored", "yes where the shape was mirrored to fit the others."),
    TableColumn::number(
        "centroid_size_mm",
        "mm",
        "Root of the summed squared distances of the landmarks from their centroid.",
    ),
    TableColumn::number("centroid_size_u_mm", "mm", "Its standard uncertainty."),
    TableColumn::number("distance", "1", "Partial Procrustes distance from the mean shape."),
    TableColumn::number("pc1", "1", "Score on the first principal component of shape."),
    TableColumn::number("pc2", "1", "Score on the second."),
    TableColumn::number("pc3", "1", "Score on the third."),
    TableColumn::number("pc4", "1", "Score on the fourth."),
    TableColumn::number("pc5", "1", "Score on the fifth."),
];

/// The columns of `mean-shape.csv`: a row a landmark.
pub(crate) const MEAN_TABLE: [TableColumn; 7] = [
    TableColumn::text("landmark", "The landmark."),
    TableColumn::number("x_mm", "mm", "Place in the mean shape at the mean centroid size."),
    TableColumn::number("y_mm", "mm", "Place in the mean shape at the mean centroid size."),
    TableColumn::number("sd_x_mm", "mm", "Standard deviation of the shapes along x, at the mean size."),
    TableColumn::number("sd_y_mm", "mm", "Standard deviation of the shapes along y."),
    TableColumn::number("measured_u_x_mm", "mm", "Part of it that the photos' stated uncertainties bring, along x."),
    TableColumn::number("measured_u_y_mm", "mm", "Part of it that the photos' stated uncertainties bring, along y."),
];

/// Writes `shapes.json` (everything), `shapes.csv` (a row a photo), `mean-shape.csv` (a row a landmark), `mean-shape.tps` (mm) and
/// `aligned.tps` (the shapes laid upon each other at the mean size, mm).
///
/// # Errors
/// Where a file cannot be written.
pub fn write_study(study: &ShapeStudy, folder: &Path) -> Result<()> {
    std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, "the output folder cannot be made", &e))?;
    let everything = serde_json::to_string_pretty(&study_json(study)).unwrap_or_default() + "\n";
    write_whole(&folder.join("shapes.json"), everything.as_bytes())?;
    write_whole(&folder.join("shapes.csv"), &shapes_csv(study))?;
    write_whole(&folder.join("mean-shape.csv"), &mean_csv(study))?;
    let size = study.mean_size();
    let mean = specimen(&study.shapes.mean, size, "mean", None);
    write_whole(&folder.join("mean-shape.tps"), tps::write(&[mean]).as_bytes())?;
    let aligned: Vec<_> = study
        .photos
        .iter()
        .zip(&study.shapes.aligned)
        .map(|(p, a)| specimen(&a.points, size, &p.photo.name, p.photo.name.rsplit('/').next()))
        .collect();
    write_whole(&folder.join("aligned.tps"), tps::write(&aligned).as_bytes())
}

/// At a size of so many mm, moved so that no coordinate is negative: all alike, so that shapes stay upon each other.
fn specimen(points: &[Point2<f64>], size: f64, id: &str, image: Option<&str>) -> Specimen {
    Specimen {
        landmarks: points.iter().map(|p| Some([(p.x + 1.0) * size, (p.y + 1.0) * size])).collect(),
        id: Some(id.to_owned()),
        image: image.map(str::to_owned),
        scale: Some(1.0),
        ..Specimen::default()
    }
}

fn study_json(s: &ShapeStudy) -> Json {
    let pairs = |points: &[Point2<f64>]| points.iter().map(|p| [p.x, p.y]).collect::<Vec<_>>();
    json!({
        "format": "hoofgeo-shapes/1",
        "program": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        "landmarks": s.landmarks.iter().map(|l| l.name()).collect::<Vec<_>>(),
        "mean_centroid_size_mm": s.mean_size(),
        "mean": pairs(&s.shapes.mean),
        "rounds": s.shapes.rounds,
        "variance": s.variation.variance,
        "variance_of_measurement": s.measurement.iter().sum::<f64>(),
        "components": s.variation.components.iter()
            .map(|c| json!({ "variance": c.variance, "share": c.share, "direction": c.direction }))
            .collect::<Vec<_>>(),
        "photos": s.photos.iter().zip(&s.shapes.aligned).zip(&s.variation.scores).map(|((p, a), scores)| json!({
            "photo": p.photo.name,
            "animal": p.photo.animal,
            "foot": p.photo.foot,
            "side": p.photo.side,
            "stage": p.photo.stage,
            "taken": p.photo.taken,
            "observer": p.photo.observer,
            "mirrored": p.mirrored,
            "centroid_size_mm": p.centroid_size[0],
            "centroid_size_u_mm": p.centroid_size[1],
            "distance": p.distance,
            "aligned": pairs(&a.points),
            "scores": scores,
        })).collect::<Vec<_>>(),
        "left_out": s.left_out.iter()
            .map(|(photo, lacks)| json!({ "photo": photo, "lacks": lacks.iter().map(|l| l.name()).collect::<Vec<_>>() }))
            .collect::<Vec<_>>(),
        "refused": s.refused.iter().map(|e| refusal_json(None, e)).collect::<Vec<_>>(),
    })
}

fn writer() -> csv::Writer<Vec<u8>> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new())
}

/// Writing to memory does not fail, and every row has its columns.
fn row(csv: &mut csv::Writer<Vec<u8>>, cells: &[String]) {
    let written = csv.write_record(cells);
    debug_assert!(written.is_ok());
}

fn shapes_csv(s: &ShapeStudy) -> Vec<u8> {
    let mut csv = writer();
    row(&mut csv, &TableColumn::names(&SHAPES_TABLE).map(str::to_owned));
    for (p, scores) in s.photos.iter().zip(&s.variation.scores) {
        let r = &p.photo;
        let free = |text: &str| free_text_cell(text).into_owned();
        let mut cells = vec![
            free(&r.name),
            free(&r.animal),
            r.foot.name().to_owned(),
            r.side.map_or("", |s| s.name()).to_owned(),
            r.stage.map_or("", |s| s.name()).to_owned(),
            r.taken.clone().unwrap_or_default(),
            free(r.observer.as_deref().unwrap_or_default()),
            if p.mirrored { "yes" } else { "no" }.to_owned(),
            p.centroid_size[0].to_string(),
            p.centroid_size[1].to_string(),
            p.distance.to_string(),
        ];
        cells.extend((0..SCORES).map(|k| scores.get(k).map(f64::to_string).unwrap_or_default()));
        row(&mut csv, &cells);
    }
    csv.into_inner().unwrap_or_default()
}

fn mean_csv(s: &ShapeStudy) -> Vec<u8> {
    let mut csv = writer();
    row(&mut csv, &TableColumn::names(&MEAN_TABLE).map(str::to_owned));
    let size = s.mean_size();
    for (k, (l, p)) in s.landmarks.iter().zip(s.mean_mm()).enumerate() {
        let [x, y] = s.variation.sd[k];
        let [u, v] = [0, 1].map(|axis| s.measurement[2 * k + axis].sqrt());
        let numbers = [p.x, p.y, x * size, y * size, u * size, v * size].map(|n| n.to_string());
        row(&mut csv, &[&[l.name().to_owned()], &numbers[..]].concat());
    }
    csv.into_inner().unwrap_or_default()
}
