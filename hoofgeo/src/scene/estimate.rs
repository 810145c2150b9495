//! The scene's most probable state and its covariance.

use super::params::{
    DISTORTION, LENS, LN_FOCAL, LN_MAGNIFICATION, PIVOT, ROLL, STRETCH, TILT_X, TILT_Y, UNKNOWNS, View3, angles,
};
use super::pose::{affine_poses, planar_poses};
use super::prior::LensPrior;
use crate::numeric::{LeastSquares, Options, Stop, covariance, minimise};
use crate::scale::Graduation;
use nalgebra::{Const, DMatrix, Matrix2, Point2, SMatrix, SVector, U1, Vector2};
use num_dual::DualSVec64;

type Dual = DualSVec64<UNKNOWNS>;

/// A vector of the scene's unknowns.
pub type State = SVector<f64, UNKNOWNS>;

/// A covariance of the scene's unknowns.
pub type Covariance = SMatrix<f64, UNKNOWNS, UNKNOWNS>;

/// What the estimate starts from.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Given<'a> {
    pub graduations: &'a [Graduation],
    pub u_px: f64,
    pub tilt_u: f64,
    pub stretch_u: f64,
    pub lens: &'a LensPrior,
}

/// One local optimum.
#[derive(Debug, Clone)]
pub(super) struct Optimum {
    pub state: State,
    /// Sum of squares of everything: graduations and priors.
    pub cost: f64,
    /// Covariance parts by source, in the order of [`System::rows`]; they add up to the covariance.
    pub parts: [Covariance; 4],
    /// Residual of each graduation, px (observed minus fitted).
    pub residuals: Vec<Vector2<f64>>,
    /// Covariance of each graduation's residual, px².
    pub residual_covariances: Vec<nalgebra::Matrix2<f64>>,
}

/// Place of the graduations' part in [`Optimum::parts`]; scale tolerance, lens and tilt follow.
pub(super) const GRADUATIONS: usize = 0;

/// How a graduation's residual is brought to unit variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Weight {
    /// The same standard uncertainty on both axes, px.
    Common(f64),
    /// Lower Cholesky factor of the pixel's covariance.
    Own(Matrix2<f64>),
}

impl Weight {
    /// The weight of a graduation; a covariance that is none falls back on the common uncertainty.
    pub(super) fn of(g: &Graduation, u_px: f64) -> Self {
        g.covariance_px.and_then(|c| c.cholesky()).map_or(Self::Common(u_px), |c| Self::Own(c.l()))
    }

    pub(super) fn whiten(&self, d: Vector2<f64>) -> Vector2<f64> {
        match self {
            Self::Common(u) => Vector2::new(d.x / u, d.y / u),
            Self::Own(l) => {
                let x = d.x / l[(0, 0)];
                Vector2::new(x, (d.y - l[(1, 0)] * x) / l[(1, 1)])
            }
        }
    }

    fn colour(&self, d: Vector2<f64>) -> Vector2<f64> {
        match self {
            Self::Common(u) => d * *u,
            Self::Own(l) => l * d,
        }
    }

    pub(super) fn whiten_covariance(&self, c: Matrix2<f64>) -> Matrix2<f64> {
        let [a, b] = [0, 1].map(|i| self.whiten(c.column(i).into_owned()));
        // Columns first, then rows.
        let half = Matrix2::from_columns(&[a, b]).transpose();
        let [a, b] = [0, 1].map(|i| self.whiten(half.column(i).into_owned()));
        Matrix2::from_columns(&[a, b])
    }

    fn colour_covariance(&self, c: Matrix2<f64>) -> Matrix2<f64> {
        match self {
            Self::Common(u) => Matrix2::from_fn(|i, j| u * u * c[(i, j)]),
            Self::Own(l) => l * c * l.transpose(),
        }
    }
}

/// The whitened least-squares system.
struct System<'a> {
    given: &'a Given<'a>,
    weights: Vec<Weight>,
    pivot: Point2<f64>,
    /// Unknowns that are solved for.
    free: Vec<usize>,
    /// The lens parameters among them and their whitening.
    lens_free: Vec<usize>,
    whitening: DMatrix<f64>,
    /// Values of the unknowns that are held fixed (the others are ignored).
    fixed: State,
}

impl<'a> System<'a> {
    fn new(given: &'a Given<'a>) -> Option<Self> {
        let (lens_free, whitening) = given.lens.whitening()?;
        let mut free = lens_free.clone();
        free.extend(LENS..UNKNOWNS);
        let mut fixed = State::zeros();
        fixed.fixed_rows_mut::<LENS>(0).copy_from(&given.lens.mean);
        if given.stretch_u <= 0.0 {
            free.retain(|&i| i != STRETCH);
        }
        let weights = given.graduations.iter().map(|g| Weight::of(g, given.u_px)).collect();
        Some(Self { given, weights, pivot: middle(given.graduations), free, lens_free, whitening, fixed })
    }

    fn full(&self, x: &[f64]) -> State {
        let mut state = self.fixed;
        for (&i, v) in self.free.iter().zip(x) {
            state[i] = *v;
        }
        state
    }

    fn reduced(&self, state: &State) -> Vec<f64> {
        self.free.iter().map(|&i| state[i]).collect()
    }

    /// Rows of the graduations, the scale's tolerance, the lens and the tilt.
    fn rows(&self) -> [std::ops::Range<usize>; 4] {
        let g = 2 * self.given.graduations.len();
        let s = g + usize::from(self.given.stretch_u > 0.0);
        let l = s + self.lens_free.len();
        [0..g, g..s, s..l, l..l + 2]
    }

    /// Derivative of the prior's rows; they do not depend on the state.
    fn prior_jacobian(&self, j: &mut DMatrix<f64>) {
        let [_, stretch, lens, tilt] = self.rows();
        let column = |unknown: usize| self.free.iter().position(|&f| f == unknown);
        if let (Some(c), false) = (column(STRETCH), stretch.is_empty()) {
            j[(stretch.start, c)] = 1.0 / self.given.stretch_u;
        }
        for (k, unknown) in self.lens_free.iter().enumerate() {
            if let Some(c) = column(*unknown) {
                for r in 0..self.lens_free.len() {
                    j[(lens.start + r, c)] = self.whitening[(r, k)];
                }
            }
        }
        for (r, unknown) in [TILT_X, TILT_Y].into_iter().enumerate() {
            if let Some(c) = column(unknown) {
                j[(tilt.start + r, c)] = 1.0 / self.given.tilt_u;
            }
        }
    }
}

impl LeastSquares for System<'_> {
    fn parameters(&self) -> usize {
        self.free.len()
    }

    fn residuals(&self) -> usize {
        self.rows()[3].end
    }

    fn evaluate(&self, x: &[f64], r: &mut [f64], jacobian: Option<&mut DMatrix<f64>>) -> bool {
        let state = self.full(x);
        if state[TILT_X].abs().max(state[TILT_Y].abs()) > 1.5 {
            return false;
        }
        let [_, stretch, lens, tilt] = self.rows();
        if let Some(j) = jacobian {
            let seeded: [Dual; UNKNOWNS] = std::array::from_fn(|i| Dual::from_re(state[i]).derivative(i));
            let view = View3::new(&seeded, self.pivot);
            for (k, g) in self.given.graduations.iter().enumerate() {
                let Some(p) = view.graduation_pixel(g.label) else { return false };
                let whitened = self.weights[k].whiten(Vector2::new(p.x.re - g.pixel.x, p.y.re - g.pixel.y));
                (r[2 * k], r[2 * k + 1]) = (whitened.x, whitened.y);
                let dx = p.x.eps.unwrap_generic(Const::<UNKNOWNS>, U1);
                let dy = p.y.eps.unwrap_generic(Const::<UNKNOWNS>, U1);
                for (c, &unknown) in self.free.iter().enumerate() {
                    let whitened = self.weights[k].whiten(Vector2::new(dx[unknown], dy[unknown]));
                    (j[(2 * k, c)], j[(2 * k + 1, c)]) = (whitened.x, whitened.y);
                }
            }
            self.prior_jacobian(j);
        } else {
            let view = View3::<f64>::new(&state.into(), self.pivot);
            for (k, g) in self.given.graduations.iter().enumerate() {
                let Some(p) = view.graduation_pixel(g.label) else { return false };
                let whitened = self.weights[k].whiten(p - g.pixel);
                (r[2 * k], r[2 * k + 1]) = (whitened.x, whitened.y);
            }
        }
        if !stretch.is_empty() {
            r[stretch.start] = state[STRETCH] / self.given.stretch_u;
        }
        for (row, out) in r[lens].iter_mut().enumerate() {
            *out = (0..=row)
                .map(|k| {
                    let i = self.lens_free[k];
                    self.whitening[(row, k)] * (state[i] - self.given.lens.mean[i])
                })
                .sum();
        }
        r[tilt.start] = state[TILT_X] / self.given.tilt_u;
        r[tilt.start + 1] = state[TILT_Y] / self.given.tilt_u;
        true
    }
}

/// Middle of the graduations on the scale, mm.
pub(super) fn middle(graduations: &[Graduation]) -> Point2<f64> {
    let n = graduations.len().max(1) as f64;
    Point2::from(graduations.iter().map(|g| g.label.coords).sum::<Vector2<f64>>() / n)
}

/// The local optima reached from every start, best first, without repeats. Empty where no start leads anywhere.
pub(super) fn optima(given: &Given<'_>, two_dimensional: bool) -> Vec<Optimum> {
    let Some(system) = System::new(given) else { return Vec::new() };
    let starts = if two_dimensional { starts_from_plane(given) } else { starts_from_line(given) };
    let mut found: Vec<Optimum> = Vec::new();
    for start in starts {
        let fit = minimise(&system, &system.reduced(&start), &Options { decrement: 1e-9, ..Options::default() });
        if !fit.is_good() && fit.stop != Stop::TooManyEvaluations {
            continue;
        }
        let state = system.full(&fit.x);
        let same =
            |o: &Optimum| (o.state[TILT_X] - state[TILT_X]).abs() + (o.state[TILT_Y] - state[TILT_Y]).abs() < 1e-4;
        if found.iter().any(same) {
            continue;
        }
        if let Some(optimum) = finish(&system, state, fit.sum_of_squares, &fit.residuals, &fit.jacobian) {
            found.push(optimum);
        }
    }
    found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    found
}

/// Covariances at an optimum.
fn finish(system: &System<'_>, state: State, cost: f64, residuals: &[f64], jacobian: &DMatrix<f64>) -> Option<Optimum> {
    let sigma = covariance(jacobian)?;
    // The estimate responds to the whitened observations by Σ Jᵀ; the rows of one source give that source's part of the
    // covariance, and Σ Jᵀ J Σ = Σ makes the parts add up.
    let response = &sigma * jacobian.transpose();
    let parts = system.rows().map(|rows| {
        let part = response.columns_range(rows).into_owned();
        let part = &part * part.transpose();
        let mut full = Covariance::zeros();
        for (i, &fi) in system.free.iter().enumerate() {
            for (j, &fj) in system.free.iter().enumerate() {
                full[(fi, fj)] = part[(i, j)];
            }
        }
        full
    });
    let count = system.given.graduations.len();
    let residual_covariances = (0..count)
        .map(|k| {
            let rows = jacobian.rows(2 * k, 2);
            let fitted = rows * response.columns(2 * k, 2);
            let free = Matrix2::from_fn(|i, j| f64::from(u8::from(i == j)) - fitted[(i, j)]);
            system.weights[k].colour_covariance(free)
        })
        .collect();
    let residuals =
        (0..count).map(|k| system.weights[k].colour(Vector2::new(-residuals[2 * k], -residuals[2 * k + 1]))).collect();
    Some(Optimum { state, cost, parts, residuals, residual_covariances })
}

/// The lens at its prior mean, everything else at zero.
fn blank(given: &Given<'_>) -> State {
    let mut state = State::zeros();
    state.fixed_rows_mut::<LENS>(0).copy_from(&given.lens.mean);
    state
}

/// Tilts within this of square to the camera, rad, are reached from a start square to it.
const NEARLY_SQUARE: f64 = 0.2;

/// Barrel distortions to start from where the lens may have one; a standard uncertainty of k1 above [`WIDE_K1_U`] says so. The
/// last is that of a wide lens as it looks at a focal length assumed a third too long.
const BARREL_K1: [f64; 3] = [0.0, -0.25, -0.5];
const WIDE_K1_U: f64 = 0.1;

/// Starts from the straight line that fits best: square to the camera and, where the priors leave room for it, leaning by 29°
/// either way along the line and about it, each without and with barrel distortion. Foreshortening along the line and distortion
/// explain each other well enough to make the descent from one start end in the wrong valley.
fn starts_from_line(given: &Given<'_>) -> Vec<State> {
    let wide = given.lens.covariance[(DISTORTION, DISTORTION)].sqrt() > WIDE_K1_U;
    let mut starts = Vec::new();
    for barrel in BARREL_K1.into_iter().take(if wide { 3 } else { 1 }) {
        let square = start_from_line(given, barrel);
        starts.push(square);
        if given.tilt_u > NEARLY_SQUARE {
            // Across the line, which runs to (cos, −sin) of the roll in the image, and about the line itself.
            let (s, c) = square[ROLL].sin_cos();
            for (x, y) in [(s, c), (-s, -c), (c, -s), (-c, s)] {
                let mut state = square;
                (state[TILT_X], state[TILT_Y]) = (0.5 * x, 0.5 * y);
                starts.push(state);
            }
        }
    }
    starts
}

/// A scale square to the camera, from the straight line that fits the undistorted pixels best; `barrel` is added to k1.
fn start_from_line(given: &Given<'_>, barrel: f64) -> State {
    let mut state = blank(given);
    state[DISTORTION] += barrel;
    let camera = View3::<f64>::new(&state.into(), Point2::origin()).camera;
    let n = given.graduations.len() as f64;
    let pixels: Vec<Vector2<f64>> = given
        .graduations
        .iter()
        .map(|g| {
            camera.undistort(g.pixel).map_or(g.pixel.coords, |p| camera.principal.coords + p.coords * camera.focal)
        })
        .collect();
    let label = middle(given.graduations);
    let pixel = pixels.iter().sum::<Vector2<f64>>() / n;
    let (mut along, mut total) = (Vector2::zeros(), 0.0);
    for (g, p) in given.graduations.iter().zip(&pixels) {
        let d = g.label.x - label.x;
        along += (p - pixel) * d;
        total += d * d;
    }
    along /= total;
    (state[PIVOT], state[PIVOT + 1]) = (pixel.x, pixel.y);
    // R without tilt takes X to (cos roll, −sin roll).
    state[ROLL] = (-along.y).atan2(along.x);
    state[LN_MAGNIFICATION] = along.norm().ln();
    state
}

/// The two closed-form poses of the homography and those of the affine map, for the lens's prior mean.
fn starts_from_plane(given: &Given<'_>) -> Vec<State> {
    let base = blank(given);
    let view = View3::<f64>::new(&base.into(), Point2::origin());
    let plane: Vec<_> = given.graduations.iter().map(|g| g.label).collect();
    let (focal, principal) = (view.camera.focal, view.camera.principal);
    let image: Vec<_> = given
        .graduations
        .iter()
        .map(|g| view.camera.undistort(g.pixel).unwrap_or_else(|| Point2::from((g.pixel - principal) / focal)))
        .collect();
    let pivot = middle(given.graduations);
    let mut starts = Vec::new();
    // The affine poses serve where the homography is not to be had (four of five graduations on one leg of a square) or is drowned
    // in noise.
    for pose in [planar_poses(&plane, &image), affine_poses(&plane, &image)].into_iter().flatten().flatten() {
        // Seen from behind (a mirrored photo): start face-on, the fit then tells how bad it is.
        let (a, b, roll) = angles(&pose.rotation);
        let c = pose.rotation * nalgebra::Vector3::new(pivot.x, pivot.y, 0.0) + pose.translation;
        if c.z <= 0.0 || a.abs().max(b.abs()) > 1.4 {
            continue;
        }
        let mut state = base;
        (state[TILT_X], state[TILT_Y], state[ROLL]) = (a, b, roll);
        state[PIVOT] = principal.x + focal * c.x / c.z;
        state[PIVOT + 1] = principal.y + focal * c.y / c.z;
        state[LN_MAGNIFICATION] = state[LN_FOCAL] - c.z.ln();
        starts.push(state);
    }
    starts
}
