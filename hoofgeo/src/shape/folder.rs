//! The shapes of a folder's feet.

use super::{Superposition, Variation, superimpose, variation::Tangent};
use crate::error::{Error, ErrorKind, Result};
use crate::foot::View;
use crate::joint;
use crate::landmark::Landmark;
use crate::measured::Measured;
use crate::visit::{BATCH, Entry, Made, PhotoReport, Session, VisitOptions, must_be_folder, walk};
use nalgebra::{DMatrix, DVector, Point2};
use std::path::{Path, PathBuf};

/// Which shapes are looked at, and how.
#[derive(Debug, Clone)]
pub struct ShapeOptions {
    /// Photos from this side.
    pub view: View,
    /// The landmarks that make the shape; empty for those that every photo of the view has.
    pub landmarks: Vec<Landmark>,
    /// Whether shapes that fit better mirrored are mirrored: left and right feet, and sides, become one set.
    pub mirror: bool,
    /// How the photos are measured.
    pub visit: VisitOptions,
    /// A folder within the one looked at that is passed over: that of the results.
    pub skip: Option<PathBuf>,
}

impl ShapeOptions {
    /// Of a view, by all landmarks that every photo has, mirrored where that fits.
    pub fn of(view: View) -> Self {
        Self { view, landmarks: Vec::new(), mirror: true, visit: VisitOptions::usual(), skip: None }
    }
}

/// One photo's shape.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct ShapePhoto {
    /// The photo, whose foot and how it was taken: as in the tables of `measure`.
    pub photo: crate::visit::PhotoRecord,
    /// Centroid size, mm, and its standard uncertainty.
    pub centroid_size: [f64; 2],
    /// Whether it was mirrored.
    pub mirrored: bool,
    /// Procrustes distance to the mean shape.
    pub distance: f64,
}

/// The shapes of many photos.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct ShapeStudy {
    /// The landmarks, in the order of the points.
    pub landmarks: Vec<Landmark>,
    /// The photos, in the order of the walk.
    pub photos: Vec<ShapePhoto>,
    /// Mean and aligned shapes.
    pub shapes: Superposition,
    /// How they vary.
    pub variation: Variation,
    /// Variance of each coordinate, x and y of each landmark, that the photos' stated uncertainties bring on the average. What all photos
    /// have in common (a person's reading of a definition, one ruler, one lens) is in it and not in what the shapes vary by.
    pub measurement: Vec<f64>,
    /// Photos left out, and the landmarks that each lacks.
    pub left_out: Vec<(String, Vec<Landmark>)>,
    /// What was refused.
    pub refused: Vec<Error>,
}

impl ShapeStudy {
    /// The mean shape, mm: at the mean of the photos' centroid sizes.
    pub fn mean_mm(&self) -> Vec<Point2<f64>> {
        let size = self.mean_size();
        self.shapes.mean.iter().map(|p| p * size).collect()
    }

    /// Mean centroid size, mm.
    pub fn mean_size(&self) -> f64 {
        self.photos.iter().map(|p| p.centroid_size[0]).sum::<f64>() / self.photos.len() as f64
    }

    /// Share of the whole variance that the stated uncertainties bring; above 1 where the shapes vary by less than that.
    pub fn measurement_share(&self) -> f64 {
        self.measurement.iter().sum::<f64>() / self.variation.variance
    }
}

/// A measured photo's landmarks.
pub(super) struct Placed {
    pub(super) record: crate::visit::PhotoRecord,
    pub(super) landmarks: Vec<(Landmark, Point2<f64>)>,
    covariance: DMatrix<f64>,
}

impl Placed {
    fn of(report: &PhotoReport) -> Self {
        let m: &Measured = &report.measured;
        let landmarks = joint::landmarks(&m.located).map(|(l, i)| (l, m.located.places[i])).collect();
        let mut record = report.record();
        // Values are not looked at again, and there may be many photos.
        record.values = Vec::new();
        Self { record, landmarks, covariance: joint::landmark_covariance(&m.located, &m.scene) }
    }

    /// Place of each landmark among its own, where it has them all.
    fn all(&self, wanted: &[Landmark]) -> Option<Vec<usize>> {
        wanted.iter().map(|w| self.landmarks.iter().position(|(l, _)| l == w)).collect()
    }

    fn shape(&self, at: &[usize]) -> Vec<Point2<f64>> {
        at.iter().map(|&i| self.landmarks[i].1).collect()
    }

    fn covariance(&self, at: &[usize]) -> DMatrix<f64> {
        let rows: Vec<usize> = at.iter().flat_map(|i| [2 * i, 2 * i + 1]).collect();
        self.covariance.select_rows(&rows).select_columns(&rows)
    }
}

/// The mean shape of a folder's feet and how they vary around it.
///
/// Each photo's landmarks are those in the measured plane, lens and angle corrected. Some kilobytes of memory a photo.
///
/// # Errors
/// `Usage` where the folder does not exist, or fewer than two photos of the view have three landmarks in common or those that are asked for.
/// A photo that cannot be measured is listed in [`ShapeStudy::refused`].
///
/// # Example
/// ```no_run
/// use hoofgeo::{View, shape::{ShapeOptions, shape_folder}};
/// let study = shape_folder("photos".as_ref(), &ShapeOptions::of(View::Lateral))?;
/// println!("{} feet, {:.0} % of their variation is measurement", study.photos.len(), 100.0 * study.measurement_share());
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn shape_folder(folder: &Path, options: &ShapeOptions) -> Result<ShapeStudy> {
    let (placed, refused) = measured(folder, options, &|report| Placed::of(report))?;
    let landmarks = chosen(&placed, options);
    let (mut whole, mut left_out) = (Vec::new(), Vec::new());
    for p in &placed {
        match p.all(&landmarks) {
            Some(at) => whole.push((p, at)),
            None => {
                let has = |l: &Landmark| p.landmarks.iter().any(|(own, _)| own == l);
                left_out.push((p.record.name.clone(), landmarks.iter().copied().filter(|l| !has(l)).collect()));
            }
        }
    }
    if whole.len() < 2 || landmarks.len() < 3 {
        let what = format!(
            "{} photos of the {} view have {} landmarks in common; a mean shape needs two photos and three landmarks",
            whole.len(),
            options.view,
            landmarks.len()
        );
        return Err(Error::new(ErrorKind::Usage, what).in_file(folder).help(
            "name landmarks that most photos have: --landmarks toe_coronet,toe_ground,heel_coronet,heel_ground",
        ));
    }
    let shapes: Vec<_> = whole.iter().map(|(p, at)| p.shape(at)).collect();
    let shapes = superimpose(&shapes, options.mirror)?;
    let tangent = Tangent::at(&shapes);
    let mut measurement = DVector::zeros(2 * landmarks.len());
    let mut photos = Vec::with_capacity(whole.len());
    for ((p, at), aligned) in whole.iter().zip(&shapes.aligned) {
        let covariance = p.covariance(at);
        measurement += tangent.variances(&covariance, &aligned.matrix) / whole.len() as f64;
        let gradient = DVector::from_iterator(
            2 * at.len(),
            p.shape(at).iter().flat_map(|q| <[f64; 2]>::from((q - aligned.centroid) / aligned.centroid_size)),
        );
        let u = gradient.dot(&(&covariance * &gradient)).sqrt();
        photos.push(ShapePhoto {
            photo: p.record.clone(),
            centroid_size: [aligned.centroid_size, u],
            mirrored: aligned.mirrored,
            distance: aligned.distance,
        });
    }
    Ok(ShapeStudy {
        variation: Variation::of(&shapes),
        landmarks,
        photos,
        shapes,
        measurement: measurement.iter().copied().collect(),
        left_out,
        refused,
    })
}

/// Every photo of the view, measured, and what was refused.
pub(super) fn measured<T: Send>(
    folder: &Path,
    options: &ShapeOptions,
    of: &(dyn Fn(&PhotoReport) -> T + Sync),
) -> Result<(Vec<T>, Vec<Error>)> {
    must_be_folder(folder)?;
    let session = Session::new(&options.visit)?;
    let (mut found, mut refused) = (Vec::new(), Vec::new());
    let work = |entry: Result<Entry>| {
        let report = session.measure(&entry?)?;
        Ok((report.sidecar.view == options.view).then(|| of(&report)))
    };
    let skip: Vec<PathBuf> = options.skip.iter().cloned().collect();
    session.each(walk(folder, &skip), BATCH, &work, &mut |made: Made<'_, Result<Option<T>>>| {
        match made {
            Made::Of(Ok(one)) => found.extend(one),
            Made::Of(Err(e)) => refused.push(e),
            Made::PassedOver(profile) => refused.push(profile.clone()),
        }
        Ok(())
    })?;
    Ok((found, refused))
}

/// The landmarks asked for, else those that every photo has, in the order of the file contract.
fn chosen(placed: &[Placed], options: &ShapeOptions) -> Vec<Landmark> {
    let asked = !options.landmarks.is_empty();
    let everywhere = |l: &Landmark| placed.iter().all(|p| p.landmarks.iter().any(|(own, _)| own == l));
    Landmark::of(options.view).filter(|l| if asked { options.landmarks.contains(l) } else { everywhere(l) }).collect()
}
