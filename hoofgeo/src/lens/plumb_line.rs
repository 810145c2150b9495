//! How much a lens bends straight lines, from edges that are straight in the world.
//!
//! A camera without distortion shows straight things straight. The radial term that makes edges of a photo straight again is the
//! lens's: Brown's plumb-line method, for edges that may or may not be straight.
//!
//! # Source
//! D. C. Brown, *Close-range camera calibration*, Photogrammetric Engineering 37 (1971) 855-866.

use super::Distortion;
use crate::numeric::{LeastSquares, Options, covariance, minimise};
use nalgebra::{DMatrix, Matrix4, Point2, Vector4};

/// An edge of a photo.
#[derive(Debug, Clone, PartialEq)]
pub struct PlumbEdge {
    /// Places along it in order, px.
    pub points: Vec<Point2<f64>>,
    /// Whether it is known to be straight, as a ruler's edge is.
    pub trusted: bool,
}

/// What the edges say of the lens.
///
/// Distortion here is on radii in units of half the frame's diagonal, so that `kappa1` is the relative shift of a corner;
/// [`PlumbLine::k1`] has it in units of the focal length.
#[derive(Debug, Clone, PartialEq)]
pub struct PlumbLine {
    /// Radial term of second order in units of half the diagonal.
    pub kappa1: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Half width of its 95 % interval.
    pub expanded: f64,
    /// Half the frame's diagonal, px.
    pub half_diagonal_px: f64,
    /// Which of the edges agree with each other, and were used.
    pub used: Vec<bool>,
    /// Share of the edges' evidence that the used ones carry.
    pub support: f64,
    /// Whether a trusted edge is among them.
    pub trusted_used: bool,
    /// Root mean square bow of the used edges, ends against middle, in the photo, px.
    pub bow_before_px: f64,
    /// The same after the correction.
    pub bow_after_px: f64,
}

/// Standard uncertainty of an unknown edge's straightness: ends against middle, as a share of its length. An estimate, set on 26
/// photographs of a printed board: 0.1 % covers the board's own calibration in 22 of them, this in 24 (`tests/plumb_line.rs`).
const EDGE_BOW: f64 = 1.5e-3;

/// The same of a ruler's edge (estimate, no source).
const RULER_BOW: f64 = 2e-4;

/// Standard uncertainty of the term of fourth order, in units of half the diagonal: the root mean square over the 4,421 ptlens
/// settings of the Lensfun database (2022) is 0.028.
const KAPPA2_U: f64 = 0.03;

/// Standard uncertainty of the principal point, as a share of the longer side, as [`crate::scene::LensPrior::exif`] has it.
const CENTRE_U: f64 = 0.01;

/// No photographic lens that is not a fisheye bends more; an edge that asks for more is bent itself.
const MOST_KAPPA1: f64 = 0.45;

/// Spread of single edges' values that the term of fourth order and the centre may cause.
const SINGLE_U: f64 = 0.015;

/// An edge whose bow is further than this many standard uncertainties from the others' is not straight.
const OUTLYING: f64 = 3.0;

/// With less of the evidence on one side, nothing is decided: the edges contradict each other.
const LEAST_SUPPORT: f64 = 0.35;

/// The most edges used, those that tell most.
const MOST_EDGES: usize = 80;

impl PlumbLine {
    /// The term in units of a focal length, px: k1 of Brown-Conrady.
    pub fn k1(&self, focal_px: f64) -> f64 {
        self.kappa1 * (focal_px / self.half_diagonal_px).powi(2)
    }

    /// Standard uncertainty of [`PlumbLine::k1`] at this focal length.
    pub fn u_k1(&self, focal_px: f64) -> f64 {
        self.u * (focal_px / self.half_diagonal_px).powi(2)
    }

    /// By how much the corner of the frame is shifted, px; negative towards the middle.
    pub fn corner_shift_px(&self) -> f64 {
        self.kappa1 * self.half_diagonal_px
    }

    /// Number of edges used.
    pub fn edges_used(&self) -> usize {
        self.used.iter().filter(|u| **u).count()
    }

    /// Whether the edges agree well enough for a verdict: two or more that carry a good part of all evidence, or a trusted one.
    pub fn is_decided(&self) -> bool {
        self.support >= LEAST_SUPPORT && (self.edges_used() >= 2 || self.trusted_used)
    }

    /// Estimates the radial term; `None` where no edge tells anything of it.
    ///
    /// Each edge alone gives a value: the one that takes its bow away. Those of edges that are straight in the world agree, so
    /// the value on which most evidence agrees is taken (trusted edges decide where there are any), and refined over all edges
    /// near it with term of fourth order and principal point as unknowns of known spread. The uncertainty holds what an edge's
    /// own straightness leaves open, and is widened where the edges scatter more.
    pub fn estimate(edges: &[PlumbEdge], frame_px: (u32, u32)) -> Option<Self> {
        let half = f64::from(frame_px.0).hypot(f64::from(frame_px.1)) / 2.0;
        let centre = Point2::new(f64::from(frame_px.0) / 2.0, f64::from(frame_px.1) / 2.0);
        let scaled: Vec<Scaled> = edges
            .iter()
            .map(|e| Scaled {
                points: e.points.iter().map(|p| Point2::from((p - centre) / half)).collect(),
                bow_share: if e.trusted { RULER_BOW } else { EDGE_BOW },
            })
            .collect();
        let mut singles: Vec<(usize, Single)> =
            scaled.iter().enumerate().filter_map(|(i, e)| Some((i, e.alone()?))).collect();
        singles.sort_by(|a, b| a.1.u.total_cmp(&b.1.u));
        singles.truncate(MOST_EDGES);
        let weight = |s: &Single| 1.0 / (s.u * s.u + SINGLE_U * SINGLE_U);
        let agrees = |s: &Single, kappa: f64| (s.kappa - kappa).abs() < OUTLYING * s.u.hypot(SINGLE_U);
        let support = |kappa: f64, trusted: bool| -> f64 {
            let of = singles.iter().filter(|(i, s)| (!trusted || edges[*i].trusted) && agrees(s, kappa));
            of.map(|(_, s)| weight(s)).sum()
        };
        let any_trusted = singles.iter().any(|(i, s)| edges[*i].trusted && s.u < 0.05);
        let (_, start) = singles
            .iter()
            .filter(|(i, _)| !any_trusted || edges[*i].trusted)
            .map(|(_, s)| ((support(s.kappa, any_trusted), support(s.kappa, false)), s.kappa))
            .max_by(|a, b| a.0.0.total_cmp(&b.0.0).then(a.0.1.total_cmp(&b.0.1)))?;
        let centre_u = CENTRE_U * f64::from(frame_px.0.max(frame_px.1)) / half;
        let mut chosen: Vec<usize> = singles.iter().filter(|(_, s)| agrees(s, start)).map(|(i, _)| *i).collect();
        let mut found = None;
        for _ in 0..4 {
            let problem = Problem { edges: chosen.iter().map(|&i| &scaled[i]).collect(), centre_u };
            let (x, u, inflation, off) = problem.solve(start)?;
            let keep: Vec<usize> = chosen
                .iter()
                .zip(&off)
                .filter(|(_, o)| o.abs() < OUTLYING * inflation.max(1.0))
                .map(|(i, _)| *i)
                .collect();
            found = Some((x, u, inflation));
            if keep.len() == chosen.len() || keep.is_empty() {
                break;
            }
            chosen = keep;
        }
        let (x, u, inflation) = found?;
        let rms = |x: &Vector4<f64>| {
            let squares: f64 = chosen.iter().filter_map(|&i| scaled[i].bow(x)).map(|b| b.bow * b.bow).sum();
            (squares / chosen.len() as f64).sqrt() * half
        };
        // Where the edges themselves showed their spread, few of them know it badly.
        let spread = u * inflation.max(1.0);
        let k = if inflation > 1.0 { student(chosen.len().saturating_sub(1).max(1)) } else { 1.96 };
        let all: f64 = singles.iter().map(|(_, s)| weight(s)).sum();
        let with: f64 = singles.iter().filter(|(i, _)| chosen.contains(i)).map(|(_, s)| weight(s)).sum();
        Some(Self {
            kappa1: x[0],
            u: spread,
            expanded: k * spread,
            half_diagonal_px: half,
            used: (0..edges.len()).map(|i| chosen.contains(&i)).collect(),
            support: with / all,
            trusted_used: chosen.iter().any(|&i| edges[i].trusted),
            bow_before_px: rms(&Vector4::zeros()),
            bow_after_px: rms(&x),
        })
    }
}

/// Quantile of Student's distribution for a two-sided 95 % interval.
fn student(degrees_of_freedom: usize) -> f64 {
    use statrs::distribution::{ContinuousCDF, StudentsT};
    StudentsT::new(0.0, 1.0, degrees_of_freedom as f64).map_or(12.7, |t| t.inverse_cdf(0.975))
}

/// An edge on radii in units of half the diagonal.
struct Scaled {
    points: Vec<Point2<f64>>,
    bow_share: f64,
}

/// What one edge alone says.
struct Single {
    kappa: f64,
    u: f64,
}

/// The bow of an edge, ends against middle, and its standard uncertainty, in units of half the diagonal.
struct Bow {
    bow: f64,
    u: f64,
}

impl Scaled {
    /// The bow that is left when the lens (kappa1, kappa2, centre) is taken out; `None` beyond its fold.
    fn bow(&self, x: &Vector4<f64>) -> Option<Bow> {
        let lens = Distortion { k1: x[0], k2: x[1], ..Distortion::none() };
        let shift = nalgebra::Vector2::new(x[2], x[3]);
        let points: Option<Vec<_>> = self.points.iter().map(|p| lens.remove(p - shift)).collect();
        let points = points?;
        let (first, last) = (points.first()?, points.last()?);
        let along = last - first;
        let (half, middle) = (along.norm() / 2.0, nalgebra::center(first, last));
        let along = along.normalize();
        // Legendre's polynomials up to the third keep the bow apart from what else the lens leaves.
        let rows: Vec<([f64; 4], f64)> = points
            .iter()
            .map(|p| {
                let d = p - middle;
                let t = d.dot(&along) / half;
                ([1.0, t, (3.0 * t * t - 1.0) / 2.0, t * (5.0 * t * t - 3.0) / 2.0], along.x * d.y - along.y * d.x)
            })
            .collect();
        let mut normal = Matrix4::zeros();
        let mut right = Vector4::zeros();
        for (row, y) in &rows {
            let row = Vector4::from(*row);
            normal += row * row.transpose();
            right += row * *y;
        }
        let inverse = normal.cholesky()?.inverse();
        let fit = inverse * right;
        let squares: f64 = rows.iter().map(|(row, y)| (y - Vector4::from(*row).dot(&fit)).powi(2)).sum();
        let variance = squares / (rows.len() - 4).max(1) as f64;
        // Ends minus middle of the second polynomial is 3/2.
        let noise = 1.5 * (variance * inverse[(2, 2)]).sqrt();
        Some(Bow { bow: 1.5 * fit[2], u: noise.hypot(self.bow_share * 2.0 * half).max(1e-7) })
    }

    /// The value that alone takes the edge's bow away, with its uncertainty; `None` where the edge says nothing of the lens or is
    /// bent too much to be straight in the world.
    fn alone(&self) -> Option<Single> {
        let at = |kappa: f64| self.bow(&Vector4::new(kappa, 0.0, 0.0, 0.0));
        let (mut a, mut b) = (0.0, -0.02);
        let (mut bow_a, mut bow_b) = (at(a)?.bow, at(b)?.bow);
        for _ in 0..12 {
            let slope = (bow_b - bow_a) / (b - a);
            let next: f64 = b - bow_b / slope;
            // An edge towards the middle stays straight whatever the lens does.
            if !next.is_finite() || next.abs() > 2.0 * MOST_KAPPA1 {
                return None;
            }
            (a, bow_a) = (b, bow_b);
            b = next.clamp(-MOST_KAPPA1, MOST_KAPPA1);
            // Beyond the fold of a barrel lens there is no bow to be had: halve the step.
            let mut found = at(b);
            for _ in 0..6 {
                if found.is_none() {
                    b = (a + b) / 2.0;
                    found = at(b);
                }
            }
            bow_b = found?.bow;
            if (b - a).abs() < 1e-7 {
                break;
            }
        }
        let end = at(b)?;
        let h = 1e-3;
        let slope = (at(b + h)?.bow - at(b - h)?.bow) / (2.0 * h);
        let u = (end.u / slope).abs();
        (b.abs() < MOST_KAPPA1 && u < 0.3).then_some(Single { kappa: b, u })
    }
}

/// Bows of edges that are straight in the world, in their standard uncertainties; unknown are kappa1, kappa2 and the centre.
struct Problem<'a> {
    edges: Vec<&'a Scaled>,
    centre_u: f64,
}

impl Problem<'_> {
    /// The most probable lens, the standard uncertainty of kappa1, by how much the edges scatter more than stated, and each
    /// edge's bow in its standard uncertainties.
    fn solve(&self, start: f64) -> Option<(Vector4<f64>, f64, f64, Vec<f64>)> {
        let fit = minimise(self, &[start, 0.0, 0.0, 0.0], &Options::default());
        let u = covariance(&fit.jacobian)?[(0, 0)].sqrt();
        let n = self.edges.len();
        let free = n.saturating_sub(1).max(1) as f64;
        let inflation = (fit.sum_of_squares / free).sqrt();
        fit.is_good().then(|| (Vector4::from_column_slice(&fit.x), u, inflation, fit.residuals[..n].to_vec()))
    }
}

impl LeastSquares for Problem<'_> {
    fn parameters(&self) -> usize {
        4
    }

    fn residuals(&self) -> usize {
        self.edges.len() + 3
    }

    fn evaluate(&self, x: &[f64], residuals: &mut [f64], jacobian: Option<&mut DMatrix<f64>>) -> bool {
        let x = Vector4::from_column_slice(x);
        let n = self.edges.len();
        let mut u = vec![1.0; n];
        for (i, e) in self.edges.iter().enumerate() {
            let Some(b) = e.bow(&x) else { return false };
            residuals[i] = b.bow / b.u;
            u[i] = b.u;
        }
        let spread = [KAPPA2_U, self.centre_u, self.centre_u];
        for (k, s) in spread.iter().enumerate() {
            residuals[n + k] = x[k + 1] / s;
        }
        let Some(j) = jacobian else { return true };
        j.fill(0.0);
        for (k, s) in spread.iter().enumerate() {
            j[(n + k, k + 1)] = 1.0 / s;
        }
        const H: f64 = 1e-5;
        for k in 0..4 {
            let mut moved = [x, x];
            moved[0][k] += H;
            moved[1][k] -= H;
            for (i, e) in self.edges.iter().enumerate() {
                let (Some(a), Some(b)) = (e.bow(&moved[0]), e.bow(&moved[1])) else { return false };
                j[(i, k)] = (a.bow - b.bow) / (2.0 * H) / u[i];
            }
        }
        true
    }
}
