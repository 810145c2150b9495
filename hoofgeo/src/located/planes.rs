//! Where landmarks' planes lie: as the sidecar states it, else by default.
//!
//! What is said of nothing widens, never narrows: each default has an uncertainty at least as wide as any usual statement of it. All
//! of them are estimates, no source.

use super::turn::Turn;
use crate::numeric::Real;
use crate::scene::State;
use crate::scene::plane::PLANE;
use crate::sidecar::{PlaneSpec, Sidecar};
use crate::{PlaneName, View};

/// Standard uncertainty of a plane's distance behind the scale where nothing is said of it, mm.
pub const PLANE_U_MM: f64 = 8.0;

/// Standard uncertainty of a plane's tilts where nothing is said of them, degrees: nobody stands a foot truer than that without saying
/// so.
pub const PLANE_TILT_U_DEG: f64 = 5.0;

/// How far the near heel's plane lies behind the measured one where nothing is said of it, and the standard uncertainty of that, mm.
pub const NEAR_HEEL_MM: [f64; 2] = [-30.0, 15.0];

/// How far sole and frog lie behind the bearing plane where nothing is said of it, and the standard uncertainty of that, mm.
pub const SOLE_MM: [f64; 2] = [12.0, 8.0];

/// The tilt about the scale's Y axis among a plane's unknowns: what a foot that is turned in its stand has.
pub(super) const TILT_Y: usize = 2;

/// A plane with its standard uncertainties: distance (mm) and two tilts (rad).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneState {
    /// Its name.
    pub name: PlaneName,
    /// Distance behind the scale and tilts.
    pub mean: [f64; PLANE],
    /// Standard uncertainties.
    pub u: [f64; PLANE],
    /// Whether it is known by its distance from the measured plane, not from the scale: `u` is then that of the distance and of the
    /// tilts between the two, and wherever the measured plane goes this one goes along.
    pub relative: bool,
    /// How its tilt about the scale's Y axis goes along with the scene's unknowns, rad per unit: zero unless the photo shows how the foot
    /// is turned.
    pub by_scene: State,
}

impl PlaneState {
    fn new(name: PlaneName, spec: &PlaneSpec, behind: f64, u: f64) -> Self {
        let tilt = spec.tilt_u_deg.unwrap_or(PLANE_TILT_U_DEG).to_radians();
        let mean = [spec.behind_scale_mm.unwrap_or(behind), 0.0, 0.0];
        Self { name, mean, u: [spec.u_mm.unwrap_or(u), tilt, tilt], relative: false, by_scene: State::zeros() }
    }

    /// The plane's unknowns at `own`, the measured plane's being at `measured` and `at` its most probable ones.
    pub(crate) fn with<T: Real>(&self, own: [T; PLANE], measured: &[T; PLANE], at: &[f64; PLANE]) -> [T; PLANE] {
        if !self.relative {
            return own;
        }
        std::array::from_fn(|k| own[k] + measured[k] - crate::numeric::constant::<T>(at[k]))
    }

    /// Standard uncertainties against the scale, the measured plane's among them where this one goes along with it.
    pub fn u_behind_scale(&self, measured: &Self) -> [f64; PLANE] {
        std::array::from_fn(|k| if self.relative { self.u[k].hypot(measured.u[k]) } else { self.u[k] })
    }
}

/// The planes with the measured one turned as the photo shows; those that go along with it turn too.
pub(super) fn turned(planes: &mut [PlaneState], turn: &Turn) {
    let by = turn.mean - planes[0].mean[TILT_Y];
    for plane in planes.iter_mut().filter(|p| p.relative) {
        plane.mean[TILT_Y] += by;
    }
    let measured = &mut planes[0];
    (measured.mean[TILT_Y], measured.u[TILT_Y], measured.by_scene) = (turn.mean, turn.u, turn.by_scene);
}

/// The planes used, the measured one first, and each name's place among them.
pub(super) fn planes(sidecar: &Sidecar) -> (Vec<PlaneState>, [usize; PlaneName::ALL.len()]) {
    let given = |name| sidecar.planes.get(&name);
    let measured = given(PlaneName::Measured).copied().unwrap_or_default();
    // Midline (lateral) and ground (solar) are other names of the measured plane, unless given on their own.
    let mut planes = vec![PlaneState::new(PlaneName::Measured, &measured, 0.0, PLANE_U_MM)];
    let mut slot = [0; PlaneName::ALL.len()];
    for name in PlaneName::ALL {
        let apart = match (name, sidecar.view) {
            (PlaneName::NearHeel, View::Lateral) => Some(NEAR_HEEL_MM),
            (PlaneName::Sole, View::Solar) => Some(SOLE_MM),
            _ => None,
        };
        let state = match (given(*name), apart) {
            _ if *name == PlaneName::Measured => continue,
            // Without a distance it is known from the measured plane alone.
            (Some(spec), Some([behind, u])) if spec.behind_scale_mm.is_none() => {
                PlaneState { relative: true, ..PlaneState::new(*name, spec, planes[0].mean[0] + behind, u) }
            }
            (None, Some([behind, u])) => PlaneState {
                relative: true,
                ..PlaneState::new(*name, &PlaneSpec::default(), planes[0].mean[0] + behind, u)
            },
            (Some(spec), _) => PlaneState::new(*name, spec, 0.0, PLANE_U_MM),
            (None, None) => continue,
        };
        slot[*name as usize] = planes.len();
        planes.push(state);
    }
    (planes, slot)
}
