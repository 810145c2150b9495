//! Second-order terms of the propagation, for the unknowns that need them: tilts.
//!
//! A camera square to the hoof is where lengths and angles react to tilts in second order only: the first-order sensitivities
//! vanish and would promise too much. For an angle, the product of the two tilts counts most, since it turns one of the plane's
//! axes against the other: 5° about each make 0.4°. A plane before the measured one, such as the near heel's, adds its distance: times a
//! lean it is the shift of its points against the others.
//!
//! # Source
//! JCGM 100:2008, 5.1.2 note and H.1.7. For independent normal deviations of unit variance with second derivatives f_ij the
//! mean square deviation from f at the estimate is, to second order, ½ Σ f_ij² + (½ Σ f_ii)²; the second term is the square of the
//! mean's shift, which the note leaves out and which an interval around the estimate has to cover.

use crate::evaluate::Function;
use crate::located::Located;
use crate::placed::Placed;
use crate::scene::params::{TILT_X, UNKNOWNS, View3};
use crate::scene::plane::PLANE;
use crate::scene::{Scene, State};
use nalgebra::{Matrix2, Point2};

/// Tilts known better than this, rad, have no second-order terms worth the time: half its square is 0.01°.
const WELL_KNOWN: f64 = 0.02;

/// Distances of planes known better than this, mm, likewise: times a lean of 5° it is 0.4 mm.
const WELL_KNOWN_MM: f64 = 5.0;

/// Places at one standard uncertainty to either side along each direction, and at both of a pair together.
#[derive(Debug, Clone)]
pub struct SecondOrder {
    /// How many of the directions belong to the scene; the others to the planes.
    scene: usize,
    single: Vec<[Vec<Point2<f64>>; 2]>,
    /// For each pair i < j, in order.
    pair: Vec<[Vec<Point2<f64>>; 2]>,
}

/// Mean square deviations of second order.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Deviation {
    /// From the scene's tilts.
    pub scene: f64,
    /// From the planes' tilts, and other planes' distances, alone or together with the scene's tilts.
    pub plane: f64,
}

/// A deviation of everything: of the scene, or of one of the planes.
struct Direction {
    state: State,
    plane: (usize, [f64; PLANE]),
}

impl SecondOrder {
    /// `None` where all tilts are well known, or a point leaves its plane on the way.
    pub(crate) fn new(located: &Located, scene: &Scene) -> Option<Self> {
        let mut directions = Vec::new();
        let tilts = scene.covariance.fixed_columns::<2>(TILT_X).into_owned();
        let own: Matrix2<f64> = tilts.fixed_rows::<2>(TILT_X).into_owned();
        let eigen = own.symmetric_eigen();
        for (variance, axis) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
            if *variance > WELL_KNOWN * WELL_KNOWN {
                // The other unknowns follow the tilts as far as they are correlated with them.
                directions.push(Direction { state: tilts * axis / variance.sqrt(), plane: (0, [0.0; PLANE]) });
            }
        }
        let scene_directions = directions.len();
        for (slot, known) in located.planes.iter().enumerate() {
            // The measured plane's distance moves everything alike; that of another plane moves its points the further the more the
            // camera or the plane leans.
            let least = [if slot == 0 { f64::INFINITY } else { WELL_KNOWN_MM }, WELL_KNOWN, WELL_KNOWN];
            for k in (0..PLANE).filter(|&k| known.u[k] > least[k]) {
                let mut step = [0.0; PLANE];
                step[k] = known.u[k];
                directions.push(Direction { state: State::zeros(), plane: (slot, step) });
            }
        }
        if directions.is_empty() {
            return None;
        }
        let at = |steps: &[(usize, f64)]| {
            let mut state = scene.state;
            let off = steps.iter().map(|&(i, step)| directions[i].state * step).sum();
            state += off;
            let mut planes = located.means_at(&off);
            for &(i, step) in steps {
                let (slot, by) = directions[i].plane;
                planes[slot].iter_mut().zip(by).for_each(|(p, d)| *p += d * step);
            }
            let state: [f64; UNKNOWNS] = state.into();
            located.places_with(&View3::new(&state, scene.pivot), &planes)
        };
        let n = directions.len();
        let single: Option<Vec<_>> = (0..n).map(|i| Some([at(&[(i, 1.0)])?, at(&[(i, -1.0)])?])).collect();
        let pair: Option<Vec<_>> = (0..n)
            .flat_map(|i| (i + 1..n).map(move |j| (i, j)))
            .map(|(i, j)| Some([at(&[(i, 1.0), (j, 1.0)])?, at(&[(i, -1.0), (j, -1.0)])?]))
            .collect();
        Some(Self { scene: scene_directions, single: single?, pair: pair? })
    }

    /// A formula's mean square deviation of second order; none where it is not defined on the way.
    pub(crate) fn deviation(&self, function: &dyn Function, located: &Located, value: f64) -> Option<Deviation> {
        let gauge = located.gauge.map(|g| g.0);
        let f = |places: &[Point2<f64>]| function.value(&Placed::new(&located.index, places, gauge)).ok();
        let Bends { own, mixed } = self.bends(&f, value)?;
        let n = own.len();
        let mut out = Deviation::default();
        let half_trace = |part: &[f64]| 0.5 * part.iter().sum::<f64>();
        let (all, scene) = (half_trace(&own), half_trace(&own[..self.scene]));
        out.scene += scene * scene;
        out.plane += all * all - scene * scene;
        for (i, b) in own.iter().enumerate() {
            let part = if i < self.scene { &mut out.scene } else { &mut out.plane };
            *part += 0.5 * b * b;
        }
        let pairs = (0..n).flat_map(|i| i + 1..n);
        for (j, mixed) in pairs.zip(mixed) {
            let part = if j < self.scene { &mut out.scene } else { &mut out.plane };
            // f_ij and f_ji.
            *part += mixed * mixed;
        }
        // The shift of the mean may have opposite signs in the two parts.
        if out.plane < 0.0 {
            out = Deviation { scene: (out.scene + out.plane).max(0.0), plane: 0.0 };
        }
        Some(out)
    }

    /// A function's second derivatives, per standard uncertainties; none where it is not defined on the way.
    pub(crate) fn bends(&self, f: &dyn Fn(&[Point2<f64>]) -> Option<f64>, value: f64) -> Option<Bends> {
        // f(+) + f(−) − 2 f(0) along each direction: the second derivative.
        let bend = |places: &[Vec<Point2<f64>>; 2]| Some(f(&places[0])? + f(&places[1])? - 2.0 * value);
        let own = self.single.iter().map(bend).collect::<Option<Vec<f64>>>()?;
        let n = own.len();
        let pairs = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
        let mixed = pairs.zip(&self.pair).map(|((i, j), at)| Some(0.5 * (bend(at)? - own[i] - own[j])));
        let mixed = mixed.collect::<Option<Vec<f64>>>()?;
        Some(Bends { own, mixed })
    }
}

/// Second derivatives of a function along the directions, and mixed ones of each pair i < j, in order.
#[derive(Debug, Clone)]
pub(crate) struct Bends {
    own: Vec<f64>,
    mixed: Vec<f64>,
}

impl Bends {
    /// What two functions' second-order deviations have in common, the product of their means' shifts with it: of a function with
    /// itself its mean square deviation.
    pub(crate) fn covariance(&self, other: &Self) -> f64 {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let trace = |a: &[f64]| a.iter().sum::<f64>();
        0.5 * dot(&self.own, &other.own) + dot(&self.mixed, &other.mixed) + 0.25 * trace(&self.own) * trace(&other.own)
    }

    /// In another unit.
    pub(crate) fn times(mut self, factor: f64) -> Self {
        self.own.iter_mut().chain(&mut self.mixed).for_each(|b| *b *= factor);
        self
    }
}
