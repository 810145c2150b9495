//! Straight lines and bows through many points of one edge, which errs in stretches: neighbours are off together.
//!
//! The offsets from the chord are Legendre polynomials of the way along it, so that the slope of the best straight line, the bow and what
//! is left do not disturb each other. Tukey's biweight leaves out what is no part of the edge (P. J. Huber, *Robust Statistics*, 1981,
//! chapter 7; the constants 1.345 and 4.685 give 95 % efficiency for normal errors). Errors that hang together along the edge count with
//! their autocorrelations, up to the first that is not positive (after C. J. Geyer, "Practical Markov chain Monte Carlo", Statist. Sci. 7
//! (1992) 473-483): more points of the same edge do not make it more certain than it is. What the fit hides of
//! them in so short a series is given back.

use super::gradient::median;
use nalgebra::{DMatrix, DVector, Point2, Vector2};

/// Residuals below this are not scatter but rounding, in the points' unit.
const LEAST_SCATTER: f64 = 0.01;

/// A line through points of an edge, in the points' unit.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeFit {
    /// Middle of the line.
    pub middle: Point2<f64>,
    /// Direction from the first point to the last, of length 1.
    pub along: Vector2<f64>,
    /// Half its length.
    pub half: f64,
    /// Standard uncertainty of the direction, rad.
    pub u_direction: f64,
    /// Standard uncertainty of the middle across the line.
    pub u_across: f64,
    /// Mean curvature, one over the unit; positive where the edge bends to the left of its direction (in a frame with y upwards).
    pub curvature: f64,
    /// Its standard uncertainty; infinite where only a straight line was fitted.
    pub u_curvature: f64,
    /// Robust standard deviation of the points about the curve.
    pub scatter: f64,
    /// Which points belong to the edge, in their order.
    pub used: Vec<bool>,
    terms: DVector<f64>,
    covariance: DMatrix<f64>,
    chord: Vector2<f64>,
}

impl EdgeFit {
    /// Through points in their order along the edge, by a polynomial of `degree` 1 to 4 across the chord; `systematic` is how far whole
    /// thirds of the edge may be off on their own, by mud, hair or light, which the scatter does not show.
    ///
    /// `None` where there are fewer than `degree + 4` points, or all lie in one place.
    pub fn new(points: &[Point2<f64>], degree: usize, systematic: f64) -> Option<Self> {
        let degree = degree.clamp(1, 4);
        let [first, .., last] = points else { return None };
        if points.len() < degree + 4 {
            return None;
        }
        let chord = (last - first).try_normalize(1e-9)?;
        let normal = Vector2::new(-chord.y, chord.x);
        let origin = nalgebra::center(first, last);
        let half = (last - first).norm() / 2.0;
        let place = |p: &Point2<f64>| ((p - origin).dot(&chord) / half, (p - origin).dot(&normal));
        let local: Vec<(f64, f64)> = points.iter().map(place).collect();
        let n = local.len();
        let design = DMatrix::from_fn(n, degree + 1, |i, j| legendre(j, local[i].0));
        let offsets = DVector::from_iterator(n, local.iter().map(|l| l.1));
        let (terms, weights, scatter) = robust(&design, &offsets)?;
        let covariance = covariance(&design, &(&offsets - &design * &terms), &weights, scatter, systematic)?;
        let slope = terms[1] / half;
        let along = (chord + normal * slope).normalize();
        // The best straight line goes through the mean offset, not through the bow's top.
        let middle = origin + normal * terms[0];
        let (curvature, u_curvature) = if degree < 2 {
            (0.0, f64::INFINITY)
        } else {
            (3.0 * terms[2] / (half * half), 3.0 * covariance[(2, 2)].max(0.0).sqrt() / (half * half))
        };
        Some(Self {
            middle,
            along,
            half,
            u_direction: covariance[(1, 1)].max(0.0).sqrt() / half,
            u_across: covariance[(0, 0)].max(0.0).sqrt(),
            curvature,
            u_curvature,
            scatter,
            used: weights.iter().map(|w| *w > 0.0).collect(),
            terms,
            covariance,
            chord,
        })
    }

    /// The point of the fitted curve beside `p`, square to the chord, and its standard uncertainty across the edge.
    pub fn beside(&self, p: Point2<f64>) -> (Point2<f64>, f64) {
        let normal = Vector2::new(-self.chord.y, self.chord.x);
        let origin = self.middle - normal * self.terms[0];
        let t = (p - origin).dot(&self.chord) / self.half;
        let row = DVector::from_fn(self.terms.len(), |j, _| legendre(j, t));
        let at = origin + self.chord * (t * self.half) + normal * row.dot(&self.terms);
        (at, (row.transpose() * &self.covariance * &row)[(0, 0)].max(0.0).sqrt())
    }

    /// How many points belong to the edge.
    pub fn count(&self) -> usize {
        self.used.iter().filter(|u| **u).count()
    }
}

/// Legendre's polynomial of degree `j`.
fn legendre(j: usize, t: f64) -> f64 {
    match j {
        0 => 1.0,
        1 => t,
        2 => (3.0 * t * t - 1.0) / 2.0,
        3 => (5.0 * t * t - 3.0) * t / 2.0,
        _ => (35.0 * t.powi(4) - 30.0 * t * t + 3.0) / 8.0,
    }
}

/// Terms, weights and scatter: Huber's weights to start, then Tukey's.
fn robust(design: &DMatrix<f64>, offsets: &DVector<f64>) -> Option<(DVector<f64>, Vec<f64>, f64)> {
    let n = design.nrows();
    let mut weights = vec![1.0; n];
    let mut terms = solve(design, offsets, &weights)?;
    let mut scatter = LEAST_SCATTER;
    for round in 0..40 {
        let residuals = offsets - design * &terms;
        let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
        scatter = (median(&mut sizes)? / 0.6745).max(LEAST_SCATTER);
        weights = residuals
            .iter()
            .map(|r| {
                let t = r.abs() / scatter;
                if round < 15 { (1.345 / t.max(1e-12)).min(1.0) } else { (1.0 - (t / 4.685).powi(2)).max(0.0).powi(2) }
            })
            .collect();
        if weights.iter().filter(|w| **w > 0.0).count() < design.ncols() + 2 {
            return None;
        }
        let next = solve(design, offsets, &weights)?;
        let change = (&next - &terms).amax();
        terms = next;
        if round > 16 && change < 1e-9 {
            break;
        }
    }
    Some((terms, weights, scatter))
}

fn normal_matrix(design: &DMatrix<f64>, weights: &[f64]) -> DMatrix<f64> {
    let weighted = DMatrix::from_fn(design.nrows(), design.ncols(), |i, j| design[(i, j)] * weights[i]);
    design.transpose() * weighted
}

fn solve(design: &DMatrix<f64>, offsets: &DVector<f64>, weights: &[f64]) -> Option<DVector<f64>> {
    let right = DVector::from_fn(design.ncols(), |j, _| {
        (0..design.nrows()).map(|i| design[(i, j)] * weights[i] * offsets[i]).sum::<f64>()
    });
    Some(normal_matrix(design, weights).cholesky()?.solve(&right))
}

/// The errors' variance, and how far they hang together at distances of one point, two points and on, up to where that ends; from
/// residuals as far as their weights let them count.
///
/// The fit takes as much away as p errors hold, or τ times as much where errors hang together (τ = 1 + 2 Σ correlations): that is given back.
fn variance_and_correlation(scores: &[f64], used: &[f64], p: f64) -> (f64, Vec<f64>) {
    let n = scores.len();
    let count: f64 = used.iter().sum();
    let products: Vec<(f64, f64)> = (1..n / 4)
        .map(|k| {
            let pairs = (0..n - k).map(|i| (scores[i] * scores[i + k], used[i] * used[i + k]));
            pairs.fold((0.0, 0.0), |s, (product, pair)| (s.0 + product, s.1 + pair))
        })
        .collect();
    let squares: f64 = scores.iter().map(|s| s * s).sum();
    let mut variance = squares / (count - p).max(1.0);
    if variance <= 0.0 {
        return (variance, Vec::new());
    }
    let first = products.iter().map(|(sum, pairs)| sum / (pairs - p).max(1.0) / variance);
    let mut correlation: Vec<f64> = first.take_while(|c| *c > 0.0).map(|c| c.min(1.0)).collect();
    for _ in 0..3 {
        let taken = p * (1.0 + 2.0 * correlation.iter().sum::<f64>()).min(count / (2.0 * p));
        variance = squares / (count - taken).max(1.0);
        for (c, (sum, pairs)) in correlation.iter_mut().zip(&products) {
            *c = (sum / pairs.max(1.0) / variance + taken / count).min(1.0);
        }
    }
    (variance, correlation)
}

/// The terms' covariance from errors that hang together, and whole thirds of the edge off by `systematic` on their own.
///
/// Of independent errors it is that of Huber, chapter 7.6: the mean square of the scores ψ = w r over the square of their mean derivative.
fn covariance(
    design: &DMatrix<f64>,
    residuals: &DVector<f64>,
    weights: &[f64],
    scatter: f64,
    systematic: f64,
) -> Option<DMatrix<f64>> {
    let (n, p) = (design.nrows(), design.ncols());
    let inverse = normal_matrix(design, weights).try_inverse()?;
    let used: Vec<f64> = weights.iter().map(|w| f64::from(u8::from(*w > 0.0))).collect();
    let scores: Vec<f64> = weights.iter().zip(residuals).map(|(w, r)| w * r).collect();
    let derivative = |r: &f64| {
        let t2 = (r / (4.685 * scatter)).powi(2).min(1.0);
        (1.0 - t2) * (1.0 - 5.0 * t2)
    };
    let steep: f64 = residuals.iter().map(derivative).sum();
    let bread = &inverse * (weights.iter().sum::<f64>() / steep.max(1.0));
    let (variance, correlation) = variance_and_correlation(&scores, &used, p as f64);
    let own = DMatrix::from_fn(n, p, |i, j| design[(i, j)] * used[i]);
    let mut middle = own.transpose() * &own;
    for (k, c) in correlation.iter().enumerate().map(|(k, c)| (k + 1, c)) {
        let gamma = own.rows(0, n - k).transpose() * own.rows(k, n - k);
        middle += (&gamma + gamma.transpose()) * *c;
    }
    let mut covariance = &bread * middle * &bread * variance;
    for third in 0..3 {
        let off = DVector::from_fn(p, |j, _| {
            let inside = |i: &usize| i * 3 / n == third;
            (0..n).filter(inside).map(|i| design[(i, j)] * weights[i] * systematic).sum::<f64>()
        });
        let moved = &inverse * off;
        covariance += &moved * moved.transpose();
    }
    Some(covariance)
}

/// An edge seen at a station: its way along the chord, its offset, and its slope with the sign that says which side is brighter.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    pub(super) s: f64,
    pub(super) o: f64,
    pub(super) strength: f64,
}

/// One straight edge among what the stations show.
pub(super) struct Straightest {
    /// Which edge of each station belongs to it.
    pub(super) members: Vec<Option<usize>>,
    /// Strength that stands behind it, 1 where every station shows it as strongly as its strongest edges.
    pub(super) support: f64,
    /// The same of the next best edge that keeps apart from it.
    pub(super) rival: f64,
    /// How far apart the two are, at the most.
    pub(super) rival_off: f64,
}

/// The straight edge of one polarity that most of the stations agree on: all lines through one edge of the first and one of the last
/// stations are tried (consensus of M. A. Fischler and R. C. Bolles, Commun. ACM 24 (1981) 381-395, without chance).
pub(super) fn straightest(stations: &[Vec<Seen>], tolerance: f64, apart: f64) -> Option<Straightest> {
    let strongest = stations.iter().map(|s| s.iter().map(|e| e.strength.abs()).fold(0.0, f64::max));
    let mut seen: Vec<f64> = strongest.filter(|m| *m > 0.0).collect();
    let typical = median(&mut seen)?;
    let (support, line, sign) = best(stations, tolerance, typical)?;
    let off = |e: &Seen| e.o - line.0 - line.1 * e.s;
    let rest: Vec<Vec<Seen>> =
        stations.iter().map(|s| s.iter().filter(|e| off(e).abs() > apart).copied().collect()).collect();
    let next = best(&rest, tolerance, typical);
    let ends = stations.iter().flatten().fold((f64::MAX, f64::MIN), |m, e| (m.0.min(e.s), m.1.max(e.s)));
    let rival_off = next.as_ref().map_or(0.0, |(_, l, _)| {
        [ends.0, ends.1].map(|s| (l.0 - line.0 + (l.1 - line.1) * s).abs()).into_iter().fold(0.0, f64::max)
    });
    let members = stations
        .iter()
        .map(|s| {
            let near = s.iter().enumerate().filter(|(_, e)| e.strength * sign > 0.0 && off(e).abs() <= tolerance);
            near.max_by(|a, b| a.1.strength.abs().total_cmp(&b.1.strength.abs())).map(|(i, _)| i)
        })
        .collect();
    Some(Straightest { members, support, rival: next.map_or(0.0, |n| n.0), rival_off })
}

/// Support, offset and slope, and polarity of the best line.
fn best(stations: &[Vec<Seen>], tolerance: f64, typical: f64) -> Option<(f64, (f64, f64), f64)> {
    let n = stations.len();
    let (early, late) = (&stations[..n * 2 / 5], &stations[n - n * 2 / 5..]);
    let mut best: Option<(f64, (f64, f64), f64)> = None;
    for a in early.iter().flatten() {
        for b in late.iter().flatten().filter(|b| b.strength * a.strength > 0.0) {
            let slope = (b.o - a.o) / (b.s - a.s);
            let level = a.o - slope * a.s;
            let sign = a.strength.signum();
            let of = |s: &Vec<Seen>| {
                let near =
                    s.iter().filter(|e| e.strength * sign > 0.0 && (e.o - level - slope * e.s).abs() <= tolerance);
                near.map(|e| (e.strength.abs() / typical).min(1.0)).fold(0.0, f64::max)
            };
            let support = stations.iter().map(of).sum::<f64>() / n as f64;
            if best.is_none_or(|(most, ..)| support > most) {
                best = Some((support, (level, slope), sign));
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;

    /// 37 points over 80 mm, errors of 0.1 mm that hang together over `stretch` neighbours, a bow of `bow` mm.
    fn edge(rng: &mut Xoshiro256PlusPlus, stretch: usize, bow: f64) -> Vec<Point2<f64>> {
        let white: Vec<f64> = (0..37 + stretch).map(|_| StandardNormal.sample(rng)).collect();
        (0..37)
            .map(|i| {
                let t = i as f64 / 18.0 - 1.0;
                let e: f64 = white[i..i + stretch].iter().sum::<f64>() / (stretch as f64).sqrt();
                Point2::new(40.0 * t, bow * (1.0 - t * t) + 0.1 * e)
            })
            .collect()
    }

    #[test]
    fn stated_uncertainties_are_the_scatter_where_errors_hang_together_too() {
        for stretch in [1, 3, 5] {
            let mut rng = Xoshiro256PlusPlus::seed_from_u64(7);
            let (mut squares, mut bends) = ((0.0, 0.0), (0.0, 0.0));
            for _ in 0..400 {
                let fit = EdgeFit::new(&edge(&mut rng, stretch, 1.0), 2, 0.0).expect("37 points");
                squares.0 += (fit.along.y / fit.along.x).atan().powi(2);
                squares.1 += fit.u_direction.powi(2);
                bends.0 += (fit.curvature + 2.0 / 1600.0).powi(2);
                bends.1 += fit.u_curvature.powi(2);
            }
            // 400 draws give these within 3.5 %; a fit that knew nothing of how errors hang together would have 1.7 and 2.2.
            for (what, (true_, stated)) in [("direction", squares), ("curvature", bends)] {
                let ratio = (true_ / stated).sqrt();
                assert!((0.85..1.1).contains(&ratio), "{what}, stretch {stretch}: {ratio}");
            }
        }
    }

    #[test]
    fn lumps_of_mud_do_not_turn_it() {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(3);
        let mut points = edge(&mut rng, 1, 0.0);
        for p in &mut points[4..10] {
            p.y += 2.0;
        }
        let fit = EdgeFit::new(&points, 1, 0.0).expect("37 points");
        assert!((fit.along.y / fit.along.x).abs() < 3.0 * fit.u_direction.max(5e-4), "{fit:?}");
        assert!(!fit.used[4..10].iter().any(|u| *u) && fit.count() >= 29);
        let (at, u) = fit.beside(Point2::new(10.0, 1.0));
        assert!(at.y.abs() < 0.1 && u < 0.05 && (at.x - 10.0).abs() < 0.05);
    }

    proptest::proptest! {
        #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]
        #[test]
        fn turning_and_moving_the_points_turns_and_moves_the_line(seed in 0u64..1000, angle in -3.0..3.0f64, x in -500.0..500.0f64) {
            let points = edge(&mut Xoshiro256PlusPlus::seed_from_u64(seed), 2, 0.7);
            let turned = nalgebra::Rotation2::new(angle);
            let moved: Vec<Point2<f64>> = points.iter().map(|p| turned * p + Vector2::new(x, -x)).collect();
            let (a, b) = (EdgeFit::new(&points, 3, 0.1).expect("a fit"), EdgeFit::new(&moved, 3, 0.1).expect("a fit"));
            proptest::prop_assert!((turned * a.along - b.along).norm() < 1e-7);
            proptest::prop_assert!((turned * a.middle + Vector2::new(x, -x) - b.middle).norm() < 1e-6);
            proptest::prop_assert!((a.u_direction / b.u_direction - 1.0).abs() < 1e-5, "{} {}", a.u_direction, b.u_direction);
            proptest::prop_assert!((a.curvature - b.curvature).abs() < 1e-9);
        }
    }

    #[test]
    fn two_edges_compete_and_one_does_not() {
        let station = |i: usize, edges: &[(f64, f64)]| {
            edges
                .iter()
                .map(|(o, strength)| Seen { s: i as f64, o: o + 0.01 * i as f64, strength: *strength })
                .collect()
        };
        let one: Vec<Vec<Seen>> =
            (0..20).map(|i| station(i, &[(1.0, 10.0), (0.3 * (i % 7) as f64 - 3.0, 3.0)])).collect();
        let found = straightest(&one, 0.1, 0.4).expect("an edge");
        assert!(found.support > 0.99 && found.rival < 0.3 && found.members.iter().all(|m| *m == Some(0)));
        let two: Vec<Vec<Seen>> = (0..20).map(|i| station(i, &[(1.0, 10.0), (-1.0, -8.0)])).collect();
        assert!(straightest(&two, 0.1, 0.4).expect("an edge").rival > 0.7);
    }
}
