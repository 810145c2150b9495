//! Landmarks in the measured plane as a TPS file.

use super::ShapeOptions;
use super::folder::measured;
use super::tps::{Specimen, write};
use crate::error::{Error, ErrorKind, Result};
use crate::joint::{self, PlanePoint, PointName};
use crate::landmark::{Landmark, Line};
use crate::visit::PhotoReport;
use nalgebra::Point2;
use std::path::Path;

/// What was exported.
#[derive(Debug)]
#[non_exhaustive]
pub struct TpsExport {
    /// The file's text.
    pub text: String,
    /// The landmarks and lines in the order of the file, as names for [`import_tps`](super::import_tps).
    pub landmarks: Vec<Landmark>,
    /// Its curves.
    pub lines: Vec<Line>,
    /// Specimens.
    pub photos: usize,
    /// Photos left out, for want of a line, with the line.
    pub left_out: Vec<(String, Line)>,
    /// What was refused.
    pub refused: Vec<Error>,
}

/// What is kept of a photo.
struct Kept {
    name: String,
    points: Vec<PlanePoint>,
}

/// Exports a folder's landmarks in the measured plane, mm, lens and angle corrected, one specimen a photo: all landmarks of the view that
/// any photo has (or those that are asked for), missing ones as `-1 -1`, and the lines named, open ones as curves, closed ones as outlines.
///
/// Each specimen is shifted so that all its coordinates are positive, for negative ones mean that a landmark is missing; `SCALE=1`, for they
/// are millimetres already.
///
/// # Errors
/// `Usage` where the folder does not exist or no photo of the view is there.
pub fn export_tps(folder: &Path, options: &ShapeOptions, lines: &[Line]) -> Result<TpsExport> {
    let keep = |report: &PhotoReport| {
        let m = &report.measured;
        Kept { name: report.name.clone(), points: joint::points(&m.located, &m.scene) }
    };
    let (photos, refused) = measured(folder, options, &keep)?;
    let has = |l: &Landmark| photos.iter().any(|p| p.points.iter().any(|q| q.name == PointName::Landmark(*l)));
    let asked = |l: &Landmark| options.landmarks.is_empty() || options.landmarks.contains(l);
    let landmarks: Vec<Landmark> = Landmark::of(options.view).filter(|l| asked(l) && has(l)).collect();
    let lines: Vec<Line> = Line::of(options.view).filter(|l| lines.contains(l)).collect();
    let (mut specimens, mut left_out) = (Vec::new(), Vec::new());
    for photo in &photos {
        match specimen(photo, &landmarks, &lines) {
            Ok(one) => specimens.push(one),
            Err(line) => left_out.push((photo.name.clone(), line)),
        }
    }
    if specimens.is_empty() || landmarks.is_empty() {
        return Err(Error::new(
            ErrorKind::Usage,
            format!("no photo of the {} view with these landmarks and lines is here", options.view),
        )
        .in_file(folder)
        .help("name another view, or other landmarks and lines"));
    }
    Ok(TpsExport { text: write(&specimens), landmarks, lines, photos: specimens.len(), left_out, refused })
}

fn specimen(photo: &Kept, landmarks: &[Landmark], lines: &[Line]) -> std::result::Result<Specimen, Line> {
    let at = |name: PointName| photo.points.iter().find(|p| p.name == name).map(|p| p.place);
    let placed: Vec<Option<Point2<f64>>> = landmarks.iter().map(|l| at(PointName::Landmark(*l))).collect();
    let line = |line: &Line| -> std::result::Result<Vec<Point2<f64>>, Line> {
        let all = photo.points.iter().filter(|p| matches!(p.name, PointName::Line(l, _) if l == *line));
        let all: Vec<_> = all.map(|p| p.place).collect();
        if all.is_empty() { Err(*line) } else { Ok(all) }
    };
    let drawn = lines.iter().map(line).collect::<std::result::Result<Vec<_>, _>>()?;
    let least = |axis: usize| {
        let all = placed.iter().flatten().chain(drawn.iter().flatten());
        all.map(|p| p[axis]).fold(f64::INFINITY, f64::min)
    };
    // A millimetre of room, so that nothing lies at zero.
    let (x, y) = (least(0).min(f64::MAX) - 1.0, least(1).min(f64::MAX) - 1.0);
    let shift = |p: &Point2<f64>| [p.x - x, p.y - y];
    let of = |closed: bool| {
        lines
            .iter()
            .zip(&drawn)
            .filter(move |(l, _)| l.info().closed == closed)
            .map(|(_, d)| d.iter().map(shift).collect())
            .collect()
    };
    Ok(Specimen {
        landmarks: placed.iter().map(|p| p.as_ref().map(shift)).collect(),
        curves: of(false),
        outlines: of(true),
        image: Some(photo.name.rsplit('/').next().unwrap_or_default().to_owned()),
        id: Some(photo.name.clone()),
        scale: Some(1.0),
        ..Specimen::default()
    })
}
