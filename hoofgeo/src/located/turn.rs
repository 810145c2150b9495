//! How far the foot is turned against the ruler, where the photo shows it: by both heel bulbs.
//!
//! The bulbs stand side by side, square to the foot's midline. From the side the far one is seen right behind the near one; in a foot
//! that is turned about the vertical it comes out ahead or behind. The turn at which both lie at one place along the measured plane is
//! a further observation of that plane's tilt about the scale's Y axis, beside what is believed of it without (JCGM 100:2008, 5.1;
//! the weighted mean of the two).

use super::planes::TILT_Y;
use super::{CLICK_U_PX, Dual, MEASURED, OWN, PIXEL, PLANE, PlaneState, UNKNOWNS};
use crate::landmark::{Landmark, Spread};
use crate::scene::params::View3;
use crate::scene::plane::{Plane, back_project};
use crate::scene::{Scene, State, variance};
use crate::sidecar::{Placement, Sidecar};
use nalgebra::{Const, Point2, SVector, U1};
use num_dual::DualNum;

/// Half the distance of the bulbs' rearmost points, and its standard uncertainty, mm (estimate, no source).
const HALF_DISTANCE_MM: [f64; 2] = [25.0, 6.0];

/// Standard uncertainty of how far one bulb stands behind the other in a foot that stands straight, mm (estimate, no source).
const UNEVEN_MM: f64 = 3.0;

/// A turn that no foot stands in is no turn, rad.
const MOST: f64 = 0.6;

/// Where the measured plane's tilt about the scale's Y axis is after the bulbs.
pub(super) struct Turn {
    /// The most probable tilt, rad.
    pub(super) mean: f64,
    /// What of its uncertainty is its own, rad.
    pub(super) u: f64,
    /// How it goes along with the scene's unknowns.
    pub(super) by_scene: State,
}

/// `None` where not both bulbs are placed, or they show no turn that a foot could stand in.
pub(super) fn turn(scene: &Scene, sidecar: &Sidecar, measured: &PlaneState) -> Option<Turn> {
    let at = |l| sidecar.landmarks.get(&l).filter(|p: &&Placement| !p.at.is_empty());
    let bulbs = [(Landmark::HeelBulb, -1.0), (Landmark::HeelBulbFar, 1.0)];
    let [near, far] = bulbs.map(|(l, side)| at(l).map(|p| (l, p, side)));
    let (near, far) = (near?, far?);
    let view = scene.view();
    let seeded: [Dual; UNKNOWNS] = std::array::from_fn(|i| Dual::from_re(scene.state[i]).derivative(i));
    let dual_view = View3::new(&seeded, scene.pivot);
    let mean = measured.mean;
    // How far along the measured plane the near bulb stands behind the far one, if the foot is turned by so much; with its derivatives.
    let apart = |tilt: f64| -> Option<(f64, SVector<f64, { super::INPUTS }>)> {
        let tilt = Dual::from_re(tilt).derivative(MEASURED + TILT_Y);
        let half = Dual::from_re(HALF_DISTANCE_MM[0]).derivative(OWN);
        let plane = |side: f64| {
            let square = DualNum::cos(&tilt) * mean[1].cos();
            Plane::new(&[half * side / square + mean[0], Dual::from_re(mean[1]), tilt])
        };
        let base = plane(0.0);
        let place = |(_, placed, side): &(Landmark, &Placement, f64), seed: usize| {
            let pixel = super::mean(&placed.at);
            let seen =
                Point2::new(Dual::from_re(pixel.x).derivative(seed), Dual::from_re(pixel.y).derivative(seed + 1));
            back_project(&dual_view, &plane(*side), Some(&base), seen, view.camera.undistort(pixel)?)
        };
        let d = place(&near, PIXEL)?.x - place(&far, OWN + 1)?.x;
        Some((d.re, d.eps.unwrap_generic(Const::<{ super::INPUTS }>, U1)))
    };
    let mut tilt = mean[TILT_Y];
    for _ in 0..8 {
        let (d, by) = apart(tilt)?;
        let step = d / by[MEASURED + TILT_Y];
        tilt = (tilt - step).clamp(-MOST, MOST);
        if step.abs() < 1e-9 {
            break;
        }
    }
    let (left, by) = apart(tilt)?;
    let slope = by[MEASURED + TILT_Y];
    if left.abs() > 1e-3 || !slope.is_normal() {
        return None;
    }
    let click = |(l, placed, _): &(Landmark, &Placement, f64), seed: usize| {
        let u_px = placed.u_px.unwrap_or(CLICK_U_PX / (placed.at.len() as f64).sqrt());
        let u_mm = placed.u_mm.unwrap_or(match l.info().spread {
            Spread::Round(u) => u,
            Spread::Oval { along, across, .. } => along.max(across),
        });
        (by[seed].powi(2) + by[seed + 1].powi(2)) * u_px * u_px + u_mm * u_mm
    };
    let local =
        (click(&near, PIXEL) + click(&far, OWN + 1) + UNEVEN_MM.powi(2) + (by[OWN] * HALF_DISTANCE_MM[1]).powi(2))
            / (slope * slope);
    let by_scene: State = -by.fixed_rows::<UNKNOWNS>(0) / slope;
    let believed = measured.u[TILT_Y].powi(2);
    let weight = believed / (believed + local + variance(&by_scene, &scene.covariance));
    Some(Turn {
        mean: mean[TILT_Y] + weight * (tilt - mean[TILT_Y]),
        u: ((1.0 - weight).powi(2) * believed + weight * weight * local).sqrt(),
        by_scene: by_scene * weight,
    })
}

/// What the most probable turn has to be, in its standard uncertainties, to be told.
const TOLD: f64 = 2.0;

impl PlaneState {
    /// The turn that both heel bulbs show, rad, and its standard uncertainty, where it is told from none.
    pub(crate) fn shown_turn(&self, scene: &Scene) -> Option<(f64, f64)> {
        let u = self.u[TILT_Y].hypot(variance(&self.by_scene, &scene.covariance).sqrt());
        let shown = self.by_scene != State::zeros() && self.mean[TILT_Y].abs() > TOLD * u;
        shown.then_some((self.mean[TILT_Y], u))
    }

    /// Its most probable unknowns where the scene's are off theirs by so much.
    pub(crate) fn mean_at(&self, off: &State) -> [f64; PLANE] {
        let mut mean = self.mean;
        mean[TILT_Y] += self.by_scene.dot(off);
        mean
    }
}
