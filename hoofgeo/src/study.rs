//! Planning a study: what it takes to find a difference, and what a better ruler, a lens profile or a second placement would gain.
//!
//! Each photo is measured again as if it had been taken or marked differently: the same camera, foot and landmarks, seen through the
//! scene that the photo itself has given. Nothing is scaled by rules of thumb.

use crate::agreement::planning::{Design, Spread, animals_needed};
use crate::error::{Error, ErrorKind, Result};
use crate::evaluate::Value;
use crate::located::CLICK_U_PX;
use crate::measure::Measurement;
use crate::measured::{MeasureOptions, measure, scene};
use crate::placement::PlacementTable;
use crate::scale::ScaleKind;
use crate::scene::LensPrior;
use crate::sidecar::{Graduation, Sidecar};
use crate::uncertainty::Source;
use nalgebra::{SMatrix, Vector3};
use std::sync::Arc;

/// A change of how photos are taken or marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Change {
    /// None: as it is.
    None,
    /// An L-shaped ruler of 200 x 125 mm in place of the straight one, marked every 25 mm.
    SquareRuler,
    /// A calibrated lens.
    LensProfile,
    /// Every landmark placed a second time.
    SecondPlacement,
}

impl Change {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::None, Self::SquareRuler, Self::LensProfile, Self::SecondPlacement];

    /// What it is, in words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "as it is",
            Self::SquareRuler => "with an L-shaped ruler",
            Self::LensProfile => "with a lens profile",
            Self::SecondPlacement => "with a second placement",
        }
    }

    /// The sidecar and lens as they would be.
    ///
    /// # Errors
    /// As [`measure()`], and `Scale` where an L-shaped ruler would not fit into the photo.
    pub fn apply(
        self,
        sidecar: &Sidecar,
        lens: &LensPrior,
        table: Option<&PlacementTable>,
    ) -> Result<(Sidecar, LensPrior)> {
        let mut changed = sidecar.clone();
        let mut lens = lens.clone();
        match self {
            Self::None => {}
            Self::SquareRuler => put_square_ruler(&mut changed, &lens)?,
            Self::LensProfile => {
                let found = scene(sidecar, &lens)?;
                let camera = found.view().camera;
                let d = camera.distortion;
                let c = camera.principal;
                let mean = [camera.focal, c.x, c.y, d.k1, d.k2, d.k3, d.p1, d.p2];
                // A profile from a dozen photos of a board (estimates, no source; `lens calibrate` states its own).
                let side = f64::from(sidecar.photo.width_px.max(sidecar.photo.height_px));
                let u = [0.003 * camera.focal, 0.001 * side, 0.001 * side, 0.005, 0.02, 0.0, 0.0003, 0.0003];
                lens = LensPrior::profile(mean, &SMatrix::from_diagonal(&u.map(|u| u * u).into()));
            }
            Self::SecondPlacement => {
                for (landmark, placement) in &mut changed.landmarks {
                    let states = placement.u_px.is_some() || placement.u_mm.is_some();
                    if !states && table.is_some_and(|t| t.spread(*landmark, 1).is_some()) {
                        // The table knows what a repeat gains: the place stays the same.
                        let n = placement.at.len() as f64;
                        let mean = [0, 1].map(|i| placement.at.iter().map(|p| p[i]).sum::<f64>() / n);
                        placement.at.push(mean);
                        continue;
                    }
                    let n = placement.at.len() as f64;
                    let single = placement.u_px.unwrap_or(CLICK_U_PX);
                    placement.u_px = Some(single * (n / (n + 1.0)).sqrt());
                }
            }
        }
        Ok((changed, lens))
    }
}

fn put_square_ruler(sidecar: &mut Sidecar, lens: &LensPrior) -> Result<()> {
    let view = scene(sidecar, lens)?.view();
    let (width, height) = (f64::from(sidecar.photo.width_px), f64::from(sidecar.photo.height_px));
    let Some(scale) = &mut sidecar.scale else { return Ok(()) };
    let along = (0..=8).map(|i| [25.0 * f64::from(i), 0.0]);
    let seen = |[x, y]: [f64; 2]| {
        let p = view.pixel(Vector3::new(x, y, 0.0))?;
        let inside = (0.0..=width).contains(&p.x) && (0.0..=height).contains(&p.y);
        inside.then_some(Graduation::in_plane([x, y], [p.x, p.y]))
    };
    // The second leg up or down, whichever has more room in the frame.
    let leg = |sign: f64| (1..=5).filter_map(|i| seen([0.0, sign * 25.0 * f64::from(i)])).collect::<Vec<_>>();
    let (up, down) = (leg(1.0), leg(-1.0));
    let second = if up.len() >= down.len() { up } else { down };
    let first: Vec<Graduation> = along.filter_map(seen).collect();
    if first.len() < 3 || second.len() < 2 {
        return Err(Error::new(ErrorKind::Scale, "an L-shaped ruler of 200 x 125 mm would not fit into this photo"));
    }
    scale.points = first.into_iter().chain(second).collect();
    scale.kind = ScaleKind::SquareRuler;
    scale.tilt_u_deg = None;
    Ok(())
}

/// A photo as those of the study will be.
#[derive(Debug, Clone)]
pub struct PlannedPhoto {
    /// What is placed on it.
    pub sidecar: Sidecar,
    /// What is known of its lens.
    pub lens: LensPrior,
    /// How well its observer places landmarks, where a table says so.
    pub placement: Option<Arc<PlacementTable>>,
}

/// The mean uncertainty of one measurement over a set of photos, under one change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    /// The change.
    pub change: Change,
    /// Photos that could be measured under it.
    pub photos: usize,
    /// Standard uncertainty of one photo, root mean square, in the measurement's unit.
    pub u: f64,
    /// The part of it that comes new with each placement.
    pub placement: f64,
}

/// What a measurement's uncertainty is over photos, under each change; and the values as they are.
///
/// # Errors
/// `Usage` where no photo gives the measurement a value.
pub fn precision(photos: &[PlannedPhoto], measurement: &'static Measurement) -> Result<(Vec<Precision>, Vec<f64>)> {
    let mut found = Vec::new();
    let mut values = Vec::new();
    for change in Change::ALL {
        let measured: Vec<Value> = photos.iter().filter_map(|photo| once(change, photo, measurement)).collect();
        if measured.is_empty() {
            continue;
        }
        let n = measured.len() as f64;
        let mean = |part: &dyn Fn(&Value) -> f64| (measured.iter().map(part).sum::<f64>() / n).sqrt();
        found.push(Precision {
            change,
            photos: measured.len(),
            u: mean(&|v| v.u * v.u),
            placement: mean(&|v| v.u * v.u * v.budget.share(Source::Landmarks)),
        });
        if change == Change::None {
            values = measured.iter().map(|v| v.value).collect();
        }
    }
    if values.is_empty() {
        let what = format!("{} has no value on any of these photos", measurement.id);
        return Err(
            Error::new(ErrorKind::Usage, what).help("name another measurement, or a folder with its landmarks placed")
        );
    }
    Ok((found, values))
}

fn once(change: Change, photo: &PlannedPhoto, measurement: &'static Measurement) -> Option<Value> {
    let (sidecar, lens) = change.apply(&photo.sidecar, &photo.lens, photo.placement.as_deref()).ok()?;
    let options = MeasureOptions { placement: photo.placement.clone(), ..MeasureOptions::default() };
    let measured = measure(&sidecar, &lens, &options).ok()?;
    measured.values.into_iter().find(|v| v.measurement.id == measurement.id)
}

/// A study's question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    /// How animals are compared.
    pub design: Design,
    /// The difference to be found, in the measurement's unit.
    pub difference: f64,
    /// Probability of finding it.
    pub power: f64,
    /// Spread between animals; in a paired design that of their true changes.
    pub animals_sd: f64,
    /// Photos of each foot each time.
    pub photos: u32,
    /// Placements of the landmarks on each photo.
    pub placements: u32,
}

impl Question {
    /// Animals needed (in each group) at a precision. All of a photo's uncertainty but its placement counts as new with every photo:
    /// cautious where photos share a ruler or a lens.
    ///
    /// # Errors
    /// As [`animals_needed`].
    pub fn animals(&self, precision: &Precision) -> Result<u32> {
        let photo = (precision.u.powi(2) - precision.placement.powi(2)).max(0.0).sqrt();
        let spread = Spread { animals: self.animals_sd, photo, placement: precision.placement };
        animals_needed(
            self.design,
            self.difference,
            spread.of_one(self.design, self.photos, self.placements),
            self.power,
        )
    }
}
