//! A lens profile made of a database entry.

use super::{Match, Optics};
use crate::lens::BrownConradyFit;
use crate::scene::LensPrior;
use crate::sidecar::{CameraId, Distortion, DistortionModel, Found, Frame, LensProfile};

impl Match<'_> {
    /// The entry as a lens profile for photos of this size, px, with the fit that made it; `None` where the photo's header states no
    /// focal length.
    ///
    /// The profile carries the uncertainty of the entry: 20 % of each term, 3 % of the focal length.
    ///
    /// # Example: a profile from the system's database
    /// ```no_run
    /// use hoofgeo::{lens::database::{Database, Optics}, photo};
    /// let facts = photo::read_facts("side.jpg")?;
    /// let optics = Optics::from(&facts);
    /// if let Some(database) = Database::system()? {
    ///     match database.find(&optics, None) {
    ///         Ok(found) => println!("{:?}", found.profile(&optics, (facts.width_px, facts.height_px))),
    ///         Err(no) => println!("{no}: {}", no.candidates.join(", ")),
    ///     }
    /// }
    /// # Ok::<(), hoofgeo::Error>(())
    /// ```
    pub fn profile(&self, optics: &Optics, frame_px: (u32, u32)) -> Option<(LensProfile, BrownConradyFit)> {
        let focal_px = self.focal_px(optics, frame_px)?;
        let fit = self.correction(frame_px).brown_conrady(focal_px);
        let prior = LensPrior::database(frame_px, &fit);
        // The prior is of ln(focal), the profile of the focal length.
        let scale = |i: usize| if i == 0 { focal_px } else { 1.0 };
        let covariance =
            std::array::from_fn(|i| std::array::from_fn(|j| prior.covariance[(i, j)] * scale(i) * scale(j)));
        let terms: Vec<String> = self.model.named_terms().map(|(n, t)| format!("{n} {t:.6}")).collect();
        let profile = LensProfile {
            camera: CameraId {
                make: optics.make.clone(),
                model: optics.model.clone(),
                lens: optics.lens.clone(),
                focal_mm: optics.focal_mm,
            },
            frame: Frame { width_px: frame_px.0, height_px: frame_px.1 },
            focal_px,
            principal_point_px: [fit.centre.x, fit.centre.y],
            distortion: Distortion {
                model: DistortionModel::BrownConrady,
                k1: fit.distortion.k1,
                k2: fit.distortion.k2,
                k3: fit.distortion.k3,
                p1: 0.0,
                p2: 0.0,
            },
            covariance,
            found: Some(Found {
                photos: 0,
                rms_px: fit.residual_rms_px,
                date: None,
                board: Some(format!(
                    "no board: Lensfun database (CC BY-SA 3.0), {} on {} at {} mm, {} {}",
                    self.lens.model,
                    self.camera.model,
                    self.focal_mm,
                    self.model.name(),
                    terms.join(" ")
                )),
            }),
        };
        Some((profile, fit))
    }
}
