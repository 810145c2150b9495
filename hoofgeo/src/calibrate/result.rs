//! What a calibration finds, and the lens profile made of it.

use super::bundle::{Fit, Free, distortion};
use super::photos::Set;
use super::{LeftOut, PARAMETERS};
use crate::error::{Error, ErrorKind, Result};
use crate::lens::{Camera, Distortion};
use crate::scene::pose::PlanarPose;
use crate::sidecar::{self, CameraId, DistortionModel, Found, Frame, LensProfile};
use nalgebra::{Matrix6, Point2, SMatrix, SVector};

/// Covariance of the camera's parameters in the order of [`super::Parameter`]. Rows of zeros for what was held; with square pixels
/// the row of `Fy` repeats that of `Fx`.
pub type Covariance = SMatrix<f64, PARAMETERS, PARAMETERS>;

/// A calibrated camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// The frame it holds for: width and height of the photos.
    pub frame_px: (u32, u32),
    /// Focal lengths along x and y; equal for square pixels.
    pub focal_px: [f64; 2],
    /// Principal point, px.
    pub principal_px: Point2<f64>,
    /// Lens distortion.
    pub distortion: Distortion<f64>,
    /// The covariance to rely on: no smaller than either of the others.
    pub covariance: Covariance,
    /// σ²(JᵀJ)⁻¹, which takes the errors within a photo as independent.
    pub formal: Covariance,
    /// From leaving out each photo in turn. Of a rank no higher than the number of photos less one.
    pub jackknife: Covariance,
    /// Root mean square distance of the corners from where the camera puts them.
    pub rms_px: f64,
    /// Standard deviation of a corner's coordinate, px.
    pub sigma_px: f64,
    /// Degrees of freedom of `sigma_px`.
    pub dof: f64,
    /// The photos used.
    pub photos: Vec<CalibratedPhoto>,
    /// The photos not used.
    pub left_out: Vec<LeftOut>,
    square: bool,
}

/// A photo that took part in a calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibratedPhoto {
    /// Its name.
    pub name: String,
    /// The board's pose: rotation and translation (mm) from the board's frame to the camera's (x right, y down, z forward).
    pub pose: PlanarPose,
    /// Formal covariance of a small turn about the camera's axes (rad) and of the translation (mm).
    pub pose_covariance: Matrix6<f64>,
    /// Root mean square distance of its corners from where the camera puts them.
    pub rms_px: f64,
}

impl Calibration {
    pub(super) fn new(
        set: &Set<'_>,
        fit: &Fit,
        poses: &[Matrix6<f64>],
        free: &Free,
        covariances: [Covariance; 3],
    ) -> Self {
        let [formal, jackknife, covariance] = covariances.map(|mut c| {
            if free.square {
                let row = c.row(0).into_owned();
                c.row_mut(1).copy_from(&row);
                c.column_mut(1).copy_from(&row.transpose());
                c[(1, 1)] = c[(0, 0)];
            }
            c
        });
        let c = &fit.state.camera;
        let points = set.points();
        let photos = set.names().zip(&points).enumerate().map(|(i, (name, points))| CalibratedPhoto {
            name: name.to_owned(),
            pose: fit.state.poses[i],
            pose_covariance: poses[i],
            rms_px: (fit.photo_sum(i) / points.len() as f64).sqrt(),
        });
        let count: usize = points.iter().map(|p| p.len()).sum();
        Self {
            frame_px: set.frame_px(),
            focal_px: [c[0], c[1]],
            principal_px: Point2::new(c[2], c[3]),
            distortion: distortion(c),
            covariance,
            formal,
            jackknife,
            rms_px: (fit.sum_of_squares / count as f64).sqrt(),
            sigma_px: fit.variance().sqrt(),
            dof: fit.freedom,
            photos: photos.collect(),
            left_out: set.left_out().to_vec(),
            square: free.square,
        }
    }

    /// The parameters in the order of [`super::Parameter`].
    pub fn parameters(&self) -> SVector<f64, PARAMETERS> {
        let Distortion { k1, k2, k3, p1, p2 } = self.distortion;
        SVector::from([
            self.focal_px[0],
            self.focal_px[1],
            self.principal_px.x,
            self.principal_px.y,
            k1,
            k2,
            k3,
            p1,
            p2,
        ])
    }

    /// The parameters' standard uncertainties, from [`Calibration::covariance`].
    pub fn standard_uncertainty(&self) -> SVector<f64, PARAMETERS> {
        self.covariance.diagonal().map(f64::sqrt)
    }

    /// The camera; `None` where two focal lengths were estimated.
    pub fn camera(&self) -> Option<Camera<f64>> {
        let camera = Camera { focal: self.focal_px[0], principal: self.principal_px, distortion: self.distortion };
        self.square.then_some(camera)
    }

    /// The lens profile, with [`Calibration::covariance`]. `date` is ISO 8601; `board` says in words what was photographed.
    ///
    /// # Errors
    /// [`ErrorKind::Usage`] where two focal lengths were estimated; [`ErrorKind::Format`] for a value that a profile cannot
    /// hold, such as a date that is none.
    pub fn profile(&self, camera: CameraId, date: Option<String>, board: Option<String>) -> Result<LensProfile> {
        let Some(Camera { focal, principal, distortion: d }) = self.camera() else {
            return Err(Error::new(ErrorKind::Usage, "a lens profile has one focal length, this calibration has two")
                .help("calibrate with square pixels"));
        };
        // A profile's order is this one's without the second focal length.
        let place = |i: usize| if i == 0 { 0 } else { i + 1 };
        let profile = LensProfile {
            camera,
            frame: Frame { width_px: self.frame_px.0, height_px: self.frame_px.1 },
            focal_px: focal,
            principal_point_px: [principal.x, principal.y],
            distortion: sidecar::Distortion {
                model: DistortionModel::BrownConrady,
                k1: d.k1,
                k2: d.k2,
                k3: d.k3,
                p1: d.p1,
                p2: d.p2,
            },
            covariance: std::array::from_fn(|i| std::array::from_fn(|j| self.covariance[(place(i), place(j))])),
            found: Some(Found { photos: self.photos.len() as u32, rms_px: self.rms_px, date, board }),
        };
        profile.check()?;
        Ok(profile)
    }
}
