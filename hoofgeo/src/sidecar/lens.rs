//! Lens profiles, `*.lens.json`.

use super::fault::{Fault, short};
use super::read::typed;
use super::text::{self, decode};
use super::{json, limits, time};
use crate::Result;
use nalgebra::{SMatrix, SymmetricEigen};
use serde::{Deserialize, Serialize};

/// What a calibration found of a camera and lens. Frame and pixels as in a sidecar.
#[derive(Debug, Clone, PartialEq)]
pub struct LensProfile {
    /// Which camera and lens.
    pub camera: CameraId,
    /// The frame it holds for.
    pub frame: Frame,
    /// Focal length, px.
    pub focal_px: f64,
    /// Principal point, px.
    pub principal_point_px: [f64; 2],
    /// Brown-Conrady coefficients, as OpenCV documents them.
    pub distortion: Distortion,
    /// Covariance in the order of [`LensProfile::ORDER`]; rows of zeros for what was held fixed.
    pub covariance: [[f64; 8]; 8],
    /// How it was found.
    pub found: Option<Found>,
}

/// The camera and lens as its photos name them.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct CameraId {
    /// EXIF Make.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub make: Option<String>,
    /// EXIF Model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// EXIF LensModel, or a name that tells a phone's lenses apart.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lens: Option<String>,
    /// EXIF FocalLength, mm: which zoom it holds for.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(max = limits::FOCAL_MM), extend("exclusiveMinimum" = 0)))]
    pub focal_mm: Option<f64>,
}

/// Size of the upright photo that a profile holds for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Frame {
    /// Width, px.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = limits::FRAME_PX)))]
    pub width_px: u32,
    /// Height, px.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = limits::FRAME_PX)))]
    pub height_px: u32,
}

/// The distortion model and its coefficients on normalised image coordinates.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Distortion {
    /// Which model.
    pub model: DistortionModel,
    /// Radial, second order.
    #[cfg_attr(feature = "schema", schemars(range(min = -limits::DISTORTION, max = limits::DISTORTION)))]
    pub k1: f64,
    /// Radial, fourth order.
    #[cfg_attr(feature = "schema", schemars(range(min = -limits::DISTORTION, max = limits::DISTORTION)))]
    pub k2: f64,
    /// Radial, sixth order.
    #[cfg_attr(feature = "schema", schemars(range(min = -limits::DISTORTION, max = limits::DISTORTION)))]
    pub k3: f64,
    /// Tangential, first.
    #[cfg_attr(feature = "schema", schemars(range(min = -limits::DISTORTION, max = limits::DISTORTION)))]
    pub p1: f64,
    /// Tangential, second.
    #[cfg_attr(feature = "schema", schemars(range(min = -limits::DISTORTION, max = limits::DISTORTION)))]
    pub p2: f64,
}

/// The distortion models a profile can be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum DistortionModel {
    /// Brown-Conrady.
    #[default]
    BrownConrady,
}

/// How a profile was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Found {
    /// From how many photos.
    pub photos: u32,
    /// Root mean square of the residuals, px.
    #[cfg_attr(feature = "schema", schemars(range(min = 0.0, max = limits::U_PX)))]
    pub rms_px: f64,
    /// When: ISO 8601 date, or date and time.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = time::PATTERN)))]
    pub date: Option<String>,
    /// With what target, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub board: Option<String>,
}

/// A profile as it stands in its file.
#[derive(Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(rename = "LensProfile"))]
#[serde(deny_unknown_fields)]
pub(super) struct LensFile {
    /// The format's name and version, `hoofgeo-lens/1`.
    #[cfg_attr(feature = "schema", schemars(extend("const" = LensProfile::FORMAT)))]
    format: String,
    #[serde(default)]
    camera: CameraId,
    frame: Frame,
    /// Focal length, px.
    #[cfg_attr(feature = "schema", schemars(range(max = limits::FOCAL_PX), extend("exclusiveMinimum" = 0)))]
    focal_px: f64,
    /// Principal point, px.
    #[cfg_attr(feature = "schema", schemars(with = "super::schema::PrincipalPoint"))]
    principal_point_px: [f64; 2],
    distortion: Distortion,
    /// What the rows and columns of `covariance` stand for.
    #[cfg_attr(feature = "schema", schemars(extend("const" = LensProfile::ORDER)))]
    order: Vec<String>,
    /// Symmetric, positive semi-definite; rows of zeros for what was held fixed.
    covariance: [[f64; 8]; 8],
    /// How it was found.
    #[serde(skip_serializing_if = "Option::is_none")]
    found: Option<Found>,
}

impl LensProfile {
    /// The name and version that a profile's `format` must give.
    pub const FORMAT: &str = "hoofgeo-lens/1";

    /// The name of the lens of a rectified picture, which was cut out of what a camera square to the measured plane would have seen:
    /// that camera's principal point may lie outside the picture.
    pub const RECTIFIED: &str = "of a rectified picture";

    /// What the rows and columns of the covariance stand for.
    pub const ORDER: [&str; 8] = ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"];

    /// Reads a profile.
    ///
    /// # Errors
    /// [`crate::ErrorKind::Format`], with line, column and JSON path, for everything that does not follow the format.
    pub fn parse(text: &str) -> Result<Self> {
        text::parse(text, |document| {
            let LensFile {
                format: _,
                camera,
                frame,
                focal_px,
                principal_point_px,
                distortion,
                order,
                covariance,
                found,
            } = typed(document, Self::FORMAT, true)?;
            check_order(&order)?;
            let profile = Self { camera, frame, focal_px, principal_point_px, distortion, covariance, found };
            check(&profile)?;
            Ok(profile)
        })
    }

    /// Reads a profile from a file's bytes, which must be UTF-8.
    ///
    /// # Errors
    /// As [`LensProfile::parse`]; other encodings are named.
    pub fn parse_bytes(bytes: &[u8]) -> Result<Self> {
        Self::parse(decode(bytes)?)
    }

    /// Checks a profile that was made by a program as strictly as one that was read.
    ///
    /// # Errors
    /// As [`LensProfile::parse`], without line and column.
    pub fn check(&self) -> Result<()> {
        check(self).map_err(|fault| fault.into_error(None))
    }

    /// The profile's text.
    pub fn to_json(&self) -> String {
        let Self { camera, frame, focal_px, principal_point_px, distortion, covariance, found } = self.clone();
        json::pretty_rows(&LensFile {
            format: Self::FORMAT.to_owned(),
            camera,
            frame,
            focal_px,
            principal_point_px,
            distortion,
            order: Self::ORDER.map(str::to_owned).into(),
            covariance,
            found,
        })
    }
}

fn check_order(order: &[String]) -> Result<(), Fault> {
    let expected = LensProfile::ORDER;
    for (i, (given, expected)) in order.iter().zip(expected).enumerate() {
        if given != expected {
            let what = format!("must be \"{expected}\", not \"{}\"", short(given));
            return Err(Fault::new(what)
                .help("reorder the covariance to this order: focal_px, cx, cy, k1, k2, k3, p1, p2")
                .within(i)
                .within("order"));
        }
    }
    if order.len() != expected.len() {
        let what = format!("must name {} parameters; here are {}", expected.len(), order.len());
        return Err(Fault::new(what).within("order"));
    }
    Ok(())
}

fn check(p: &LensProfile) -> Result<(), Fault> {
    let Frame { width_px, height_px } = p.frame;
    for (key, side) in [("width_px", width_px), ("height_px", height_px)] {
        if !(1..=limits::FRAME_PX).contains(&side) {
            let what = format!("must be 1 to {} px, not {side}", limits::FRAME_PX);
            return Err(Fault::new(what).within(key).within("frame"));
        }
    }
    if !(p.focal_px > 0.0 && p.focal_px <= limits::FOCAL_PX) {
        let what = format!("a focal length of {} px cannot be", p.focal_px);
        return Err(Fault::new(what).within("focal_px"));
    }
    if let Some(mm) = p.camera.focal_mm.filter(|mm| !(*mm > 0.0 && *mm <= limits::FOCAL_MM)) {
        return Err(Fault::new(format!("a focal length of {mm} mm cannot be")).within("focal_mm").within("camera"));
    }
    let [cx, cy] = p.principal_point_px;
    let far = if p.camera.lens.as_deref() == Some(LensProfile::RECTIFIED) { limits::FOCAL_PX } else { 0.0 };
    if !((-far..=f64::from(width_px) + far).contains(&cx) && (-far..=f64::from(height_px) + far).contains(&cy)) {
        let what = format!("[{cx}, {cy}] lies outside the frame, which is {width_px} x {height_px} px");
        return Err(Fault::new(what).within("principal_point_px"));
    }
    let Distortion { model: _, k1, k2, k3, p1, p2 } = p.distortion;
    for (key, value) in [("k1", k1), ("k2", k2), ("k3", k3), ("p1", p1), ("p2", p2)] {
        if value.abs() > limits::DISTORTION || value.is_nan() {
            let what = format!("{value} is too much to be meant, {} is the most", limits::DISTORTION);
            return Err(Fault::new(what).within(key).within("distortion"));
        }
    }
    if let Some(found) = &p.found {
        let fault = match &found.date {
            Some(date) if !time::is_valid(date) => Some(
                Fault::new(format!("\"{}\" is no date", short(date))).help("write it as 2026-05-04").within("date"),
            ),
            _ if !(0.0..=limits::U_PX).contains(&found.rms_px) => {
                Some(Fault::new(format!("an RMS of {} px cannot be", found.rms_px)).within("rms_px"))
            }
            _ => None,
        };
        if let Some(fault) = fault {
            return Err(fault.within("found"));
        }
    }
    covariance(&p.covariance).map_err(|e| e.within("covariance"))
}

/// Symmetric and positive semi-definite, judged on the correlations: the parameters' units differ by many orders.
fn covariance(c: &[[f64; 8]; 8]) -> Result<(), Fault> {
    /// Room for figures rounded to seven digits when they were written.
    const ROUNDED: f64 = 1e-6;
    for (i, row) in c.iter().enumerate() {
        if !(row[i] >= 0.0 && row[i].is_finite()) {
            let what = format!("the variance of {} is {}, it cannot be negative", LensProfile::ORDER[i], row[i]);
            return Err(Fault::new(what).within(i).within(i));
        }
    }
    let mut correlation = SMatrix::<f64, 8, 8>::identity();
    for i in 0..8 {
        for j in 0..8 {
            let scale = (c[i][i] * c[j][j]).sqrt();
            let (a, b) = (c[i][j], c[j][i]);
            let fault = if !a.is_finite() || (a - b).abs() > ROUNDED * scale {
                format!("the matrix is not symmetric: [{i}][{j}] is {a}, [{j}][{i}] is {b}")
            } else if scale == 0.0 && a != 0.0 {
                format!(
                    "{} or {} is held fixed (variance 0), so this must be 0",
                    LensProfile::ORDER[i],
                    LensProfile::ORDER[j]
                )
            } else if a.abs() > scale * (1.0 + ROUNDED) {
                format!("a covariance of {a} means a correlation above 1")
            } else {
                if scale > 0.0 {
                    correlation[(i, j)] = (a + b) / 2.0 / scale;
                }
                continue;
            };
            return Err(Fault::new(fault).within(j).within(i));
        }
    }
    let least = SymmetricEigen::new(correlation).eigenvalues.min();
    // Eight rounded rows move an eigenvalue by no more than eight roundings (Weyl).
    if least < -8.0 * ROUNDED {
        return Err(Fault::new(format!(
            "the matrix is no covariance: its correlations have the negative eigenvalue {least:.2e}"
        )));
    }
    Ok(())
}
