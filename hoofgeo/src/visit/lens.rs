//! Which knowledge of the lens a photo is measured with.

use crate::error::{Error, ErrorKind, Result};
use crate::photo::{Orientation, PhotoFacts};
use crate::scene::LensPrior;
use crate::sidecar::{LensProfile, Sidecar};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// The lens profiles read so far, shared between threads.
#[derive(Debug, Default)]
pub struct Lenses {
    known: Mutex<HashMap<PathBuf, Result<Arc<LensProfile>>>>,
    force: bool,
}

/// The lens knowledge chosen for a photo.
#[derive(Debug, Clone)]
pub struct LensUsed {
    /// What is known before the graduations are looked at.
    pub prior: LensPrior,
    /// The profile's file as the sidecar names it.
    pub profile: Option<String>,
    /// By what the photo's header contradicts the profile, where the profile is used all the same.
    pub forced: Option<String>,
}

impl Lenses {
    /// Uses a profile also where the photo's header names another camera, lens or zoom; [`LensUsed::forced`] says so.
    #[must_use]
    pub fn forced(mut self, force: bool) -> Self {
        self.force = force;
        self
    }

    /// The profile that the sidecar names, else the photo's EXIF focal length, else nothing.
    ///
    /// # Errors
    /// Where the profile cannot be read, is of another camera, or does not fit the photo's proportions.
    pub fn choose(&self, sidecar: &Sidecar, facts: &PhotoFacts, folder: &Path) -> Result<LensUsed> {
        let frame = (sidecar.photo.width_px, sidecar.photo.height_px);
        if let Some(name) = &sidecar.lens {
            let path = folder.join(name);
            let profile = self.read(&path)?;
            let forced = match same_camera(&profile, facts, name) {
                Err(e) if self.force => Some(e.what().to_owned()),
                same => same.map(|()| None)?,
            };
            let prior = turned_prior(&profile, facts, frame)?;
            return Ok(LensUsed { prior, profile: Some(name.clone()), forced });
        }
        let prior = match facts.prior_focal_px() {
            Some(focal_px) => LensPrior::exif(frame, focal_px),
            None => LensPrior::unknown(frame),
        };
        Ok(LensUsed { prior, profile: None, forced: None })
    }

    fn read(&self, path: &Path) -> Result<Arc<LensProfile>> {
        let mut known = self.known.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(found) = known.get(path) {
            return found.clone();
        }
        let found = std::fs::read(path)
            .map_err(|e| {
                Error::io(path, "the lens profile cannot be read", &e).help(
                    "`lens` is a path from the folder of the sidecar or visit.hoof.json that names it; leave it out to \
                     measure without a profile",
                )
            })
            .and_then(|bytes| LensProfile::parse_bytes(&bytes).map(Arc::new).map_err(|e| e.in_file(path)));
        known.insert(path.to_path_buf(), found.clone());
        found
    }
}

/// Focal lengths of one zoom may differ by this share; chosen, as in calibrating.
const ONE_ZOOM: f64 = 0.01;

/// Refuses a profile whose camera contradicts the photo's header. What either does not say is no contradiction.
fn same_camera(profile: &LensProfile, facts: &PhotoFacts, name: &str) -> Result<()> {
    let pairs = [
        ("make", &profile.camera.make, &facts.make),
        ("model", &profile.camera.model, &facts.model),
        ("lens", &profile.camera.lens, &facts.lens_model),
    ];
    for (what, ours, theirs) in pairs {
        if let (Some(a), Some(b)) = (ours, theirs)
            && !a.trim().eq_ignore_ascii_case(b.trim())
        {
            let mut help = "name the profile of the photo's own camera, or leave `lens` out".to_owned();
            if what == "lens" {
                // A profile may call its lens by a name of its own.
                help += &format!("; if it is the same lens, write \"{b}\" into the profile's camera.lens");
            }
            let text = format!("its lens profile {name} is of the camera {what} `{a}`, the photo is of `{b}`");
            return Err(Error::new(ErrorKind::Usage, text).help(help));
        }
    }
    if let (Some(ours), Some(theirs)) = (profile.camera.focal_mm, facts.focal_mm)
        && (theirs / ours - 1.0).abs() > ONE_ZOOM
    {
        let text = format!("its lens profile {name} is of the focal length {ours} mm, the photo of {theirs} mm");
        return Err(Error::new(ErrorKind::Usage, text).help(
            "calibrate at the zoom that you photograph with, name the profile of this zoom, or leave `lens` out",
        ));
    }
    Ok(())
}

/// The profile as a prior for the upright photo. A profile whose frame fits the photo as stored, but not as it stands upright, was
/// made with the camera held the other way: it is turned with the photo.
fn turned_prior(profile: &LensProfile, facts: &PhotoFacts, frame: (u32, u32)) -> Result<LensPrior> {
    let upright = profile.prior(frame);
    let stored = (facts.stored_width_px, facts.stored_height_px);
    match (upright, facts.orientation) {
        (Ok(prior), o) if o.swaps_axes() || o == Orientation::Upright => Ok(prior),
        (upright, o) => match profile.prior(stored) {
            Ok(prior) => Ok(turned(prior, o, stored)),
            Err(_) => upright,
        },
    }
}

/// A prior of the stored frame turned to the upright one: the principal point moves, and the tangential terms (p2, p1) turn like
/// a vector of the image.
fn turned(mut prior: LensPrior, orientation: Orientation, stored: (u32, u32)) -> LensPrior {
    let at = |p: [f64; 2]| orientation.apply(p, stored);
    let origin = at([0.0, 0.0]);
    // The orientation's matrix of 0 and ±1.
    let (x, y) = (at([1.0, 0.0]), at([0.0, 1.0]));
    let m = [[x[0] - origin[0], y[0] - origin[0]], [x[1] - origin[1], y[1] - origin[1]]];
    let mut map = nalgebra::SMatrix::<f64, 8, 8>::identity();
    for r in 0..2 {
        for c in 0..2 {
            map[(1 + r, 1 + c)] = m[r][c];
            // (p2, p1) stand at places 7 and 6.
            map[(7 - r, 7 - c)] = m[r][c];
        }
    }
    let centre = at([prior.mean[1], prior.mean[2]]);
    prior.mean = map * prior.mean;
    (prior.mean[1], prior.mean[2]) = (centre[0], centre[1]);
    prior.covariance = map * prior.covariance * map.transpose();
    prior
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lens::{Camera, Distortion};
    use nalgebra::{Point2, SMatrix};

    /// A pixel seen through the stored frame's lens, then turned, is the pixel seen through the turned lens.
    #[test]
    fn turning_the_lens_is_turning_the_photo() {
        let stored = (400, 300);
        let camera = |m: &nalgebra::SVector<f64, 8>| Camera {
            focal: m[0].exp(),
            principal: Point2::new(m[1], m[2]),
            distortion: Distortion { k1: m[3], k2: m[4], k3: m[5], p1: m[6], p2: m[7] },
        };
        let mean = [350.0, 205.0, 143.0, -0.2, 0.05, 0.0, 0.003, -0.002];
        let prior = LensPrior::profile(mean, &SMatrix::identity());
        for o in Orientation::ALL {
            let turned = turned(prior.clone(), o, stored);
            for (x, y) in [(0.3, 0.1), (-0.2, 0.35), (0.0, -0.4)] {
                let before = camera(&prior.mean).pixel(Point2::new(x, y));
                let ray = o.apply([x, y], (0, 0));
                let after = camera(&turned.mean).pixel(Point2::from(ray));
                assert!((Point2::from(o.apply([before.x, before.y], stored)) - after).norm() < 1e-9, "{o}");
            }
        }
    }
}
