//! What goes with the new picture: its sidecar, and the camera that would have taken it.
//!
//! Turning a picture of a plane square is what a camera at the same place would have seen, had it been turned square to the plane.
//! So nothing of the measurement model changes: the same scale, the same planes, another lens. The sidecar says that the picture
//! shows the scale where the photo's scene has it, and the lens profile hands on what was not known of the photo's lens.

use super::sheet::Sheet;
use super::{Reading, lens_name};
use crate::error::{Error, ErrorKind, Result};
use crate::lens::{Camera, Distortion};
use crate::located::{CLICK_U_PX, Located};
use crate::measured::{GRADUATION_U_PX, MeasureOptions};
use crate::scale::Graduation;
use crate::scene::params::LENS;
use crate::scene::{LensPrior, LensSource, Scene, SceneFlag};
use crate::sidecar::{self, CameraId, Frame, LensProfile, Sidecar};
use nalgebra::{DMatrix, DVector, Point2, SMatrix};
use std::borrow::Cow;

/// The sidecar with the graduations that the photo was measured with, where those are others than it marks. A sidecar has one uncertainty
/// for all of them: the middle one of theirs along the ruler.
pub(super) fn with_graduations<'a>(sidecar: &'a Sidecar, how: &MeasureOptions) -> Cow<'a, Sidecar> {
    let mut sidecar = Cow::Borrowed(sidecar);
    if let Some(graduations) = &how.graduations
        && let Some(scale) = &mut sidecar.to_mut().scale
    {
        let flat = |g: &Graduation| g.label.y == 0.0;
        let straight = graduations.iter().all(flat);
        let point = |g: &Graduation| {
            let at = g.pixel.into();
            if straight {
                sidecar::Graduation::along(g.label.x, at)
            } else {
                sidecar::Graduation::in_plane(g.label.into(), at)
            }
        };
        scale.points = graduations.iter().map(point).collect();
        let along = |g: &Graduation| g.covariance_px.map(|c| c.symmetric_eigenvalues().min().max(0.0).sqrt());
        let mut u: Vec<f64> = graduations.iter().filter_map(along).collect();
        u.sort_by(f64::total_cmp);
        scale.u_px = u.get(u.len() / 2).copied().or(scale.u_px);
    }
    sidecar
}

/// The sidecar of the picture.
pub(super) fn sidecar(
    old: &Sidecar,
    scene: &Scene,
    located: &Located,
    sheet: &Sheet,
    file: &str,
    reading: &Reading,
) -> Result<Sidecar> {
    let mut new = old.clone();
    new.photo.file = file.to_owned();
    (new.photo.width_px, new.photo.height_px) = sheet.size;
    new.lens = Some(lens_name(file));
    let moved = |p: [f64; 2]| {
        let moved = sheet.target(Point2::from(p));
        moved.map(|p| [p.x, p.y]).ok_or_else(|| lost("a landmark"))
    };
    let magnification = |p: [f64; 2]| sheet.magnification(Point2::from(p)).ok_or_else(|| lost("a landmark"));
    if let Some(scale) = &mut new.scale {
        let middle = scale.points.iter().fold([0.0; 2], |sum, g| [sum[0] + g.at[0], sum[1] + g.at[1]]);
        let n = scale.points.len().max(1) as f64;
        let mut u_px = scale.u_px.unwrap_or(GRADUATION_U_PX) * magnification(middle.map(|x| x / n))?;
        if scene.flags.contains(&SceneFlag::GraduationsScatter) {
            u_px *= (scene.fit.chi_square / scene.fit.degrees_of_freedom.max(1) as f64).sqrt();
        }
        scale.u_px = Some(u_px);
        if scene.flags.contains(&SceneFlag::TiltPriorReplaced) {
            // What the estimate took in its place.
            scale.tilt_u_deg = Some(30.0);
        }
        if scene.second.is_some() {
            // Here the second pose leans by the angle between the two, and would count for less: nothing is said of the tilt instead.
            scale.tilt_u_deg = Some(90.0);
        }
        for g in &mut scale.points {
            // Where the scene has it, not where it was marked: the marks have moved the scene already, and would do so again.
            let seen = scene.view().graduation_pixel(Point2::from(g.mm)).ok_or_else(|| lost("a graduation"))?;
            g.at = moved([seen.x, seen.y])?;
        }
    }
    for (landmark, placement) in &mut new.landmarks {
        let index = located.index.landmark(*landmark).ok_or_else(|| lost(landmark.name()))?;
        let point = &located.points[index];
        if !point.repeated {
            let stretch = magnification([point.pixel.x, point.pixel.y])?;
            match &mut placement.carried {
                Some(carried) if placement.u_px.is_none() => carried.u_px *= stretch,
                _ => placement.u_px = Some(placement.u_px.unwrap_or(CLICK_U_PX) * stretch),
            }
        }
        if let (Some(s), [at]) = (&mut placement.snapped, placement.at.as_slice()) {
            let length = s.edge[0].hypot(s.edge[1]);
            let ahead = moved([at[0] + s.edge[0] / length, at[1] + s.edge[1] / length])?;
            let here = moved(*at)?;
            s.u_px *= magnification([point.pixel.x, point.pixel.y])?;
            (s.from, s.edge) = (moved(s.from)?, [ahead[0] - here[0], ahead[1] - here[1]]);
        }
        for at in &mut placement.at {
            *at = moved(*at)?;
        }
    }
    for at in new.lines.values_mut().flatten() {
        *at = moved(*at)?;
    }
    let made = notes(old, scene, sheet, reading);
    new.notes = Some(match &old.notes {
        Some(notes) => format!("{notes}\n{made}"),
        None => made,
    });
    Ok(new)
}

fn notes(old: &Sidecar, scene: &Scene, sheet: &Sheet, reading: &Reading) -> String {
    let mut text = format!(
        "Rectified from {}: {} px/mm in the measured plane, {}. Of a length read off it {:.2} % along the picture's x and {:.2} % \
         along its y are uncertain (U, 95 %), of an angle {:.2} deg, by scale, camera, lens and plane; placing the ends comes on top. \
         What lies before the plane is shown too large, what lies behind it too small. The graduations stand where the photo's scene \
         has them; its residuals were {:.2} px RMS and cannot be checked here.",
        old.photo.file,
        sheet.px_per_mm,
        sheet.level.says(),
        100.0 * reading.along,
        100.0 * reading.across,
        reading.angle_deg,
        scene.fit.rms_px
    );
    for flag in &scene.flags {
        text += &format!(" Of the photo: {}.", flag.meaning());
    }
    text
}

fn lost(what: &str) -> Error {
    Error::new(ErrorKind::Landmark, format!("{what} has no place in the picture"))
        .help("check its pixel, and keep it near the hoof")
}

/// The picture's camera, and what is not known of it.
pub(super) fn profile(scene: &Scene, lens: &LensPrior, sheet: &Sheet) -> LensProfile {
    // The prior that the scene was estimated with in the end.
    let unknown = LensPrior::unknown(scene.frame_px);
    let prior = if scene.lens_source == LensSource::Unknown { &unknown } else { lens };
    let camera = sheet.camera();
    let c = covariance(prior, sheet, &camera);
    // The profile has the focal length in place of its logarithm.
    let unit = |i: usize| if i == 0 { camera.focal } else { 1.0 };
    let round = |i: usize, j: usize| c[(i, j)] * unit(i) * unit(j);
    LensProfile {
        camera: CameraId { lens: Some(LensProfile::RECTIFIED.to_owned()), ..CameraId::default() },
        frame: Frame { width_px: sheet.size.0, height_px: sheet.size.1 },
        focal_px: camera.focal,
        principal_point_px: [camera.principal.x, camera.principal.y],
        distortion: crate::sidecar::Distortion::default(),
        covariance: std::array::from_fn(|i| std::array::from_fn(|j| round(i, j))),
        found: None,
    }
}

/// The covariance of the new camera's ln(focal), principal point and distortion that moves the picture's rays as the old one's moves
/// them: each old parameter's effect on a grid of rays is fitted by the new parameters, by least squares.
fn covariance(prior: &LensPrior, sheet: &Sheet, new: &Camera<f64>) -> SMatrix<f64, LENS, LENS> {
    const GRID: u32 = 9;
    let u: Vec<f64> = (0..LENS).map(|i| prior.covariance[(i, i)].sqrt()).collect();
    let free: Vec<usize> = (0..LENS).filter(|i| u[*i] > 0.0).collect();
    let mut out = SMatrix::zeros();
    if free.is_empty() {
        return out;
    }
    let mut by_old = vec![Vec::new(); free.len()];
    let mut by_new = vec![Vec::new(); free.len()];
    for i in 0..GRID * GRID {
        let share = |k: u32| f64::from(k) / f64::from(GRID - 1);
        let pixel = Point2::new(share(i % GRID) * f64::from(sheet.size.0), share(i / GRID) * f64::from(sheet.size.1));
        let Some(on_photo) = sheet.source(pixel) else { continue };
        let ray = |step: f64, k: usize| {
            let camera = moved(sheet.photo_camera(), k, step);
            camera.undistort(on_photo).map(|d| sheet.turned(d))
        };
        // A tenth of the uncertainty to either side.
        let effects: Option<Vec<_>> =
            free.iter().map(|&k| Some((ray(0.1 * u[k], k)? - ray(-0.1 * u[k], k)?) / 0.2)).collect();
        let Some(effects) = effects else { continue };
        let p = Point2::new((pixel.x - new.principal.x) / new.focal, (pixel.y - new.principal.y) / new.focal);
        for (n, (&k, effect)) in free.iter().zip(effects).enumerate() {
            by_old[n].extend([effect.x, effect.y]);
            // With no distortion to undo, a ray moves against its pixel.
            let pixel = moved(new, k, u[k]).distortion.apply(p) - p;
            let step = match k {
                0 => p.coords * u[0],
                1 => nalgebra::Vector2::new(u[1] / new.focal, 0.0),
                2 => nalgebra::Vector2::new(0.0, u[2] / new.focal),
                _ => pixel,
            };
            by_new[n].extend([-step.x, -step.y]);
        }
    }
    let matrix = |columns: &[Vec<f64>]| {
        DMatrix::from_columns(&columns.iter().map(|c| DVector::from_column_slice(c)).collect::<Vec<_>>())
    };
    let svd = matrix(&by_new).svd(true, true);
    // In units of the old standard uncertainties. What hardly moves the rays is not asked for.
    let least = 1e-4 * svd.singular_values.max();
    let Ok(map) = svd.solve(&matrix(&by_old), least) else { return prior.covariance };
    let n = free.len();
    let correlation = DMatrix::from_fn(n, n, |i, j| prior.covariance[(free[i], free[j])] / (u[free[i]] * u[free[j]]));
    let c = &map * correlation * map.transpose();
    for i in 0..n {
        for j in 0..n {
            let symmetric = (c[(i, j)] + c[(j, i)]) / 2.0;
            // A thousandth of the old uncertainty in each keeps it invertible.
            let floor = if i == j { 1e-6 } else { 0.0 };
            out[(free[i], free[j])] = (symmetric + floor) * u[free[i]] * u[free[j]];
        }
    }
    out
}

/// A camera with one of its parameters (ln focal, principal point, k1 k2 k3 p1 p2) moved.
fn moved(camera: &Camera<f64>, k: usize, step: f64) -> Camera<f64> {
    let mut c = *camera;
    let d: &mut Distortion<f64> = &mut c.distortion;
    match k {
        0 => c.focal *= step.exp(),
        1 => c.principal.x += step,
        2 => c.principal.y += step,
        3 => d.k1 += step,
        4 => d.k2 += step,
        5 => d.k3 += step,
        6 => d.p1 += step,
        _ => d.p2 += step,
    }
    c
}
