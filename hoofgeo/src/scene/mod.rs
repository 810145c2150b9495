//! The scene of a photo: what is known of camera, lens and scale pose once the graduations are taken into account.
//!
//! One estimator serves every scale and every state of knowledge: graduations and priors are whitened into one
//! least-squares system, its minimum is the most probable scene, and the inverse of its normal matrix the covariance
//! (maximum a posteriori with a Laplace approximation).

mod estimate;
pub mod params;
pub mod plane;
pub mod pose;
mod prior;
mod snoop;

pub use estimate::{Covariance, SharedResponse, State};
pub use prior::{LensPrior, LensSource};
pub use snoop::GraduationFit;

use crate::error::{Error, ErrorKind, Result};
use crate::scale::{self, Graduation, Tolerance};
use estimate::{GRADUATIONS, Given, Optimum, optima};
use nalgebra::{Point2, SVector};
use params::{DISTORTION, LN_FOCAL, LN_MAGNIFICATION, TILT_X, TILT_Y, UNKNOWNS, View3};

/// A second pose whose cost is within this of the first's is kept as a possibility.
const POSE_COST_MARGIN: f64 = 5.0;

/// Everything that an estimate starts from.
#[derive(Debug, Clone, PartialEq)]
pub struct SceneInput<'a> {
    /// The marked graduations.
    pub graduations: &'a [Graduation],
    /// Size of the upright photo, px.
    pub frame_px: (u32, u32),
    /// Standard uncertainty of a graduation's pixel, per axis.
    pub u_px: f64,
    /// Standard uncertainty of the scale plane's tilt against the image plane about each image axis, degrees; by default
    /// 5° where the graduations lie on one line and 30° where they do not.
    pub tilt_u_deg: Option<f64>,
    /// The scale's tolerance.
    pub tolerance: Tolerance,
    /// What is known of the lens.
    pub lens: LensPrior,
}

/// Something about a scene that the reader of its results has to know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum SceneFlag {
    /// The graduations contradict what was known of the lens; the estimate was made again as if nothing were known.
    LensPriorReplaced,
    /// The graduations contradict the stated tilt; the estimate was made again with a wide one.
    TiltPriorReplaced,
    /// Two camera positions fit almost equally well; the uncertainty covers both.
    TwoPoses,
    /// The graduations scatter more than stated; the uncertainty was widened by their scatter.
    GraduationsScatter,
    /// Only two graduations: nothing checks them.
    TwoGraduations,
    /// The camera looks at the scale from more than 35° off square.
    StrongTilt,
    /// The lens profile is of another camera, lens or zoom than the photo's header names; it was used on demand.
    LensForced,
    /// The graduations were read from the pixels.
    RulerRead,
    /// The photo was resized or zoomed digitally and may be a crop, which the focal length then hides.
    MayBeCropped,
}

impl SceneFlag {
    /// Every flag.
    pub const ALL: [Self; 9] = [
        Self::LensPriorReplaced,
        Self::TiltPriorReplaced,
        Self::TwoPoses,
        Self::GraduationsScatter,
        Self::TwoGraduations,
        Self::StrongTilt,
        Self::LensForced,
        Self::RulerRead,
        Self::MayBeCropped,
    ];

    /// The name used in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::LensPriorReplaced => "lens_prior_replaced",
            Self::TiltPriorReplaced => "tilt_prior_replaced",
            Self::TwoPoses => "two_poses",
            Self::GraduationsScatter => "graduations_scatter",
            Self::TwoGraduations => "two_graduations",
            Self::StrongTilt => "strong_tilt",
            Self::LensForced => "lens_forced",
            Self::RulerRead => "ruler_read",
            Self::MayBeCropped => "may_be_cropped",
        }
    }

    /// What it means and what to do about it.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::LensPriorReplaced => {
                "the graduations contradict the focal length or lens correction that EXIF or the lens database suggests; \
                 nothing was assumed of the lens instead: calibrate it for smaller uncertainties"
            }
            Self::TiltPriorReplaced => {
                "the graduations show a stronger tilt than stated; hold the camera square to the scale, or state the tilt"
            }
            Self::TwoPoses => {
                "two camera positions explain the graduations almost equally well; mark more graduations, farther apart, \
                 or take the photo from nearer"
            }
            Self::GraduationsScatter => {
                "the marked graduations scatter more than their stated uncertainty; mark them again"
            }
            Self::TwoGraduations => {
                "only two graduations are marked, so a wrong label would not be noticed; mark a third"
            }
            Self::StrongTilt => "the camera looks at the scale from far off square; hold it square to the scale",
            Self::LensForced => {
                "the lens profile is of another camera, lens or zoom than the photo's header names, and was used on demand: the \
                 stated uncertainty holds only if it is the right one after all"
            }
            Self::MayBeCropped => {
                "the photo was resized or zoomed digitally since the camera's lens formed it, and a crop looks the same: up to twice the \
                 focal length was allowed for; use the photo as the camera wrote it, or an L-shaped ruler"
            }
            Self::RulerRead => {
                "the ruler's graduations were read from the photo's pixels; look at the picture whether they lie on its lines"
            }
        }
    }
}

/// The most probable scene and its covariance.
#[derive(Debug, Clone)]
pub struct Scene {
    /// The most probable state.
    pub state: State,
    /// Its covariance; zero for what was held fixed.
    pub covariance: Covariance,
    /// The covariance's parts from graduations, scale tolerance, lens and unseen tilt; they add up to it.
    pub parts: [Covariance; 4],
    /// How the state answers to what it may share with the scenes of other photos.
    pub response: SharedResponse,
    /// The other pose that fits almost as well, and its probability.
    pub second: Option<(State, f64)>,
    /// Middle of the graduations on the scale, mm.
    pub pivot: Point2<f64>,
    /// Size of the upright photo, px.
    pub frame_px: (u32, u32),
    /// Whether the graduations span a plane.
    pub two_dimensional: bool,
    /// Where the knowledge of the lens came from, in the end.
    pub lens_source: LensSource,
    /// How well the graduations fit.
    pub fit: GraduationFit,
    /// What the reader has to know.
    pub flags: Vec<SceneFlag>,
}

/// A quantity with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

impl Scene {
    /// Estimates the scene.
    ///
    /// # Errors
    /// `Scale` where graduations are too few, degenerate, mirrored or contradict each other: the error names the graduation
    /// that is wrong, its residual and the label that would fit, where one does. `Scene` where no camera position explains
    /// them.
    pub fn estimate(input: &SceneInput<'_>) -> Result<Self> {
        let two_dimensional = scale::is_two_dimensional(input.graduations);
        snoop::check_geometry(input, two_dimensional)?;
        let span = scale::span(input.graduations);
        let tilt_deg = input.tilt_u_deg.unwrap_or(if two_dimensional { 30.0 } else { 5.0 });
        let wide_lens = LensPrior::unknown(input.frame_px);
        let given = Given {
            graduations: input.graduations,
            u_px: input.u_px,
            tilt_u: tilt_deg.max(1e-3).to_radians(),
            stretch_u: input.tolerance.relative_u(span),
            lens: &input.lens,
        };
        let mut tries = vec![(given.clone(), None)];
        // Three graduations on a line would let any wrong label pass for a strong distortion.
        let checked = two_dimensional || input.graduations.len() > 3;
        if checked && matches!(input.lens.source, LensSource::Exif | LensSource::ExifCropped | LensSource::Database) {
            tries.push((Given { lens: &wide_lens, ..given.clone() }, Some(SceneFlag::LensPriorReplaced)));
        }
        // Three graduations on a line determine place, size and lean along the line and check nothing: any wrong label would
        // pass for a strong lean.
        if tilt_deg < 20.0 && input.graduations.len() > 3 {
            tries.push((Given { tilt_u: 30f64.to_radians(), ..given.clone() }, Some(SceneFlag::TiltPriorReplaced)));
        }
        let mut first = None;
        for (given, flag) in tries {
            let found = optima(&given, two_dimensional);
            let Some(best) = found.first() else { continue };
            if snoop::is_consistent(&given, best) && !snoop::contradicts_entry(&given, best) {
                return Ok(Self::assemble(input, &given, found, two_dimensional, flag, 1.0));
            }
            first.get_or_insert((given, found));
        }
        let Some((given, found)) = first else {
            return Err(Error::new(ErrorKind::Scene, "no camera position explains the marked graduations")
                .help("check that each graduation's label and pixel belong together"));
        };
        let widen = snoop::accuse(&given, &found[0], two_dimensional)?;
        Ok(Self::assemble(input, &given, found, two_dimensional, Some(SceneFlag::GraduationsScatter), widen))
    }

    fn assemble(
        input: &SceneInput<'_>,
        given: &Given<'_>,
        mut found: Vec<Optimum>,
        two_dimensional: bool,
        flag: Option<SceneFlag>,
        widen: f64,
    ) -> Self {
        let rival = found.get(1).map(|o| (o.state, o.cost));
        let best = found.swap_remove(0);
        let mut flags: Vec<SceneFlag> = flag.into_iter().collect();
        let second = rival.and_then(|(state, cost)| {
            let margin = cost - best.cost;
            // Probability of the second under equal covariances; the margin is in units of χ².
            (margin < POSE_COST_MARGIN).then(|| (state, 1.0 / (1.0 + (margin / 2.0).exp())))
        });
        if second.is_some() {
            flags.push(SceneFlag::TwoPoses);
        }
        if input.graduations.len() == 2 {
            flags.push(SceneFlag::TwoGraduations);
        }
        let tilt = best.state[TILT_X].hypot(best.state[TILT_Y]);
        if tilt > 35f64.to_radians() {
            flags.push(SceneFlag::StrongTilt);
        }
        if input.graduations.iter().any(|g| g.covariance_px.is_some()) {
            flags.push(SceneFlag::RulerRead);
        }
        if given.lens.source == LensSource::ExifCropped {
            flags.push(SceneFlag::MayBeCropped);
        }
        let mut parts = best.parts;
        parts[GRADUATIONS] *= widen;
        Self {
            state: best.state,
            covariance: parts.iter().sum(),
            parts,
            response: best.response,
            second,
            pivot: estimate::middle(input.graduations),
            frame_px: input.frame_px,
            two_dimensional,
            lens_source: given.lens.source,
            fit: GraduationFit::new(given, &best),
            flags,
        }
    }

    /// Camera, pose and stretch on plain numbers.
    pub fn view(&self) -> View3<f64> {
        View3::new(&self.state.into(), self.pivot)
    }

    /// Focal length, px.
    pub fn focal_px(&self) -> Known {
        let f = self.state[LN_FOCAL].exp();
        Known { value: f, u: f * self.covariance[(LN_FOCAL, LN_FOCAL)].sqrt() }
    }

    /// Magnification at the middle of the graduations, px/mm.
    pub fn magnification(&self) -> Known {
        let m = self.state[LN_MAGNIFICATION].exp();
        Known { value: m, u: m * self.covariance[(LN_MAGNIFICATION, LN_MAGNIFICATION)].sqrt() }
    }

    /// Distance from the camera to the middle of the graduations along its axis, mm.
    pub fn distance_mm(&self) -> Known {
        let d = (self.state[LN_FOCAL] - self.state[LN_MAGNIFICATION]).exp();
        let c = &self.covariance;
        let v =
            c[(LN_FOCAL, LN_FOCAL)] + c[(LN_MAGNIFICATION, LN_MAGNIFICATION)] - 2.0 * c[(LN_FOCAL, LN_MAGNIFICATION)];
        Known { value: d, u: d * v.max(0.0).sqrt() }
    }

    /// Tilts of the scale plane about the image's x and y axes, degrees.
    pub fn tilts_deg(&self) -> [Known; 2] {
        [TILT_X, TILT_Y].map(|i| Known {
            value: self.state[i].to_degrees(),
            u: self.covariance[(i, i)].max(0.0).sqrt().to_degrees(),
        })
    }

    /// Distortion coefficients k1, k2, k3, p1, p2.
    pub fn distortion(&self) -> [Known; 5] {
        std::array::from_fn(|k| {
            let i = DISTORTION + k;
            Known { value: self.state[i], u: self.covariance[(i, i)].max(0.0).sqrt() }
        })
    }
}

/// Sum of `g C gᵀ`, the variance that a covariance gives to a quantity with sensitivities `g`.
pub fn variance(g: &SVector<f64, UNKNOWNS>, c: &Covariance) -> f64 {
    (c * g).dot(g)
}
