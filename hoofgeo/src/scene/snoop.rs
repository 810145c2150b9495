//! Do the graduations agree with each other? And if not, which one is wrong?
//!
//! # Source
//! W. Baarda, *A testing procedure for use in geodetic networks*, Netherlands Geodetic Commission, Publications on Geodesy
//! 2(5), 1968 (data snooping).

use super::SceneInput;
use super::estimate::{Given, Optimum, Weight, middle, optima};
use super::params::{DISTORTION, View3};
use super::plane::{Plane, back_project};
use super::prior::LensSource;
use crate::error::{Error, ErrorKind, Result};
use crate::scale::{self, Graduation};
use nalgebra::{Matrix2, Point2, Vector2};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Significance of the tests: one sound photo in a thousand is questioned.
const SIGNIFICANCE: f64 = 0.001;

/// A camera that leans more than stated makes the graduations scatter by up to so many times the stated uncertainty; beyond, no
/// lean is to blame (found on leans of up to 45°).
const MOST_BY_LEANING: f64 = 15.0;

/// Where residuals are less than this share of what does not fit, the camera's lean is the rest.
const SMALL_PART: f64 = 0.25;

/// Graduations whose scatter is this many times the stated one cannot be measured with at all.
const LARGEST_SCATTER: f64 = 5.0;

/// How well the graduations fit.
#[derive(Debug, Clone, PartialEq)]
pub struct GraduationFit {
    /// Residual of each graduation, px: marked minus fitted.
    pub residuals_px: Vec<Vector2<f64>>,
    /// Weighted sum of squares of residuals and priors.
    pub chi_square: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: usize,
    /// Root mean square of the residuals per axis, px.
    pub rms_px: f64,
}

impl GraduationFit {
    pub(super) fn new(given: &Given<'_>, best: &Optimum) -> Self {
        let n = best.residuals.len().max(1) as f64;
        Self {
            chi_square: best.cost,
            degrees_of_freedom: degrees_of_freedom(given),
            rms_px: (best.residuals.iter().map(Vector2::norm_squared).sum::<f64>() / (2.0 * n)).sqrt(),
            residuals_px: best.residuals.clone(),
        }
    }
}

/// Observations and informative priors minus unknowns: the four flat unknowns (place, roll, magnification) use up four
/// observations, every other unknown comes with a prior of its own.
fn degrees_of_freedom(given: &Given<'_>) -> usize {
    (2 * given.graduations.len()).saturating_sub(4)
}

/// Value that a χ² of so many degrees of freedom exceeds with the given probability.
fn chi_square_limit(degrees_of_freedom: usize, probability: f64) -> f64 {
    match ChiSquared::new(degrees_of_freedom as f64) {
        Ok(d) if degrees_of_freedom > 0 => d.inverse_cdf(1.0 - probability),
        _ => f64::INFINITY,
    }
}

/// Whether the graduations agree with each other and with the priors.
pub(super) fn is_consistent(given: &Given<'_>, best: &Optimum) -> bool {
    // The test of the whole and the tests of the single graduations (Bonferroni: their joint significance is the same).
    let single = chi_square_limit(2, SIGNIFICANCE / best.residuals.len() as f64);
    best.cost <= chi_square_limit(degrees_of_freedom(given), SIGNIFICANCE)
        && (0..best.residuals.len()).all(|i| outlyingness(given, best, i) <= single)
}

/// Whether the graduations pull a distortion term away from the lens database's.
///
/// Tested for itself: an entry whose terms are known to a fifth is five standard uncertainties away from a picture that the camera
/// has corrected, which the test of the whole does not notice beside the graduations' own scatter.
pub(super) fn contradicts_entry(given: &Given<'_>, best: &Optimum) -> bool {
    let limit = chi_square_limit(1, SIGNIFICANCE / 3.0);
    let far = |i: usize| {
        let off = best.state[i] - given.lens.mean[i];
        given.lens.covariance[(i, i)] > 0.0 && off * off > limit * given.lens.covariance[(i, i)]
    };
    given.lens.source == LensSource::Database && (DISTORTION..DISTORTION + 3).any(far)
}

/// Baarda's test value of one graduation for both axes together: χ² with two degrees of freedom where both are checked by
/// the other graduations.
fn outlyingness(given: &Given<'_>, best: &Optimum, i: usize) -> f64 {
    let g = &given.graduations[i];
    // With a covariance of its own, the axes are those of the whitened residual.
    let (covariance, residual, variance) = match Weight::of(g, given.u_px) {
        Weight::Common(u) => (best.residual_covariances[i], best.residuals[i], u * u),
        own @ Weight::Own(_) => {
            (own.whiten_covariance(best.residual_covariances[i]), own.whiten(best.residuals[i]), 1.0)
        }
    };
    let eigen = covariance.symmetric_eigen();
    let r = eigen.eigenvectors.transpose() * residual;
    // A direction whose redundancy is below 1 % is not checked by anything: its residual says nothing.
    (0..2).filter(|&k| eigen.eigenvalues[k] > 0.01 * variance).map(|k| r[k] * r[k] / eigen.eigenvalues[k]).sum()
}

/// Refuses what cannot be a scale before any estimate is tried.
pub(super) fn check_geometry(input: &SceneInput<'_>, two_dimensional: bool) -> Result<()> {
    let g = input.graduations;
    let on_axis = g.iter().all(|g| g.label.y == 0.0);
    if !two_dimensional && !on_axis {
        return Err(Error::new(ErrorKind::Scale, "the scale's graduations lie on one line of the scale")
            .help("mark at least four that do not: some on each leg of the square, or all four corners of the card"));
    }
    let least = if input.lens.source == LensSource::Unknown { 3 } else { 2 };
    if g.len() < least {
        return Err(Error::new(
            ErrorKind::Scale,
            format!("{} graduations are marked, at least {least} are needed", g.len()),
        )
        .help(if least == 3 {
            "mark a third, or give a lens profile or a photo whose EXIF has the focal length, then two are enough"
        } else {
            "mark two graduations as far apart as the photo shows"
        }));
    }
    let extent = pixel_extent(g);
    if extent.is_nan() || extent <= 10.0 * input.u_px {
        return Err(Error::new(
            ErrorKind::Scale,
            format!("the marked graduations lie within {extent:.1} px of each other"),
        )
        .help("mark graduations as far apart as the photo shows"));
    }
    if two_dimensional {
        let area = orientation(g);
        if area > 0.0 {
            return Err(Error::new(
                ErrorKind::Scale,
                "the scale appears mirrored: its y axis runs the wrong way round",
            )
            .help("swap x and y in the graduations' mm, or use the photo as taken (selfie cameras mirror)"));
        }
        if area.abs() < 1e-3 {
            return Err(Error::new(ErrorKind::Scale, "the marked graduations lie on one line of the photo")
                .help("check the pixels of the graduations: a square's legs, or a card's corners, span an area"));
        }
    }
    Ok(())
}

fn pixel_extent(g: &[Graduation]) -> f64 {
    let pixels: Vec<Graduation> = g.iter().map(|g| Graduation::marked(g.pixel, g.pixel)).collect();
    scale::span(&pixels)
}

/// Determinant of the affine map from labels to pixels, relative to its size: negative where the scale is seen from its
/// face (its y runs up, the photo's down).
fn orientation(g: &[Graduation]) -> f64 {
    let m = middle(g);
    let n = g.len() as f64;
    let p = g.iter().map(|g| g.pixel.coords).sum::<Vector2<f64>>() / n;
    let (mut ll, mut pl) = (Matrix2::zeros(), Matrix2::zeros());
    for g in g {
        let (l, d) = (g.label - m, g.pixel.coords - p);
        ll += l * l.transpose();
        pl += d * l.transpose();
    }
    let map = ll.try_inverse().map_or_else(Matrix2::zeros, |inverse| pl * inverse);
    let size = map.norm_squared();
    if size > 0.0 { map.determinant() / size } else { 0.0 }
}

/// Finds the graduation that is to blame and refuses the scale by its name. Where none can be named, the graduations merely
/// scatter: gives the factor by which their part of the covariance grows.
pub(super) fn accuse(given: &Given<'_>, best: &Optimum, two_dimensional: bool) -> Result<f64> {
    let mut suspects: Vec<(usize, f64)> =
        (0..best.residuals.len()).map(|i| (i, outlyingness(given, best, i))).collect();
    // Of equal test values (where one graduation checks the others) the larger residual counts, then the order; rounded, so that
    // every machine names the same.
    let rounded = |(i, t): (usize, f64)| ((t * 1e3).round(), (best.residuals[i].norm() * 10.0).round());
    suspects.sort_by(|a, b| rounded(*b).partial_cmp(&rounded(*a)).unwrap_or(std::cmp::Ordering::Equal));
    let enough = given.graduations.len() > if two_dimensional { 4 } else { 3 };
    if enough {
        // Without the culprit the others agree. Where that holds for several, none can be told.
        let freed: Vec<(usize, Optimum)> = suspects
            .iter()
            .take(4)
            .filter_map(|&(i, _)| {
                let rest = without(given.graduations, i);
                let given = Given { graduations: &rest, ..given.clone() };
                let fit = optima(&given, two_dimensional).into_iter().next()?;
                is_consistent(&given, &fit).then_some((i, fit))
            })
            .collect();
        match &freed[..] {
            [] => {}
            [(i, fit)] => return Err(wrong_graduation(given, *i, fit)),
            [(i, a), (_, b), ..] if b.cost - a.cost > 10.0 => return Err(wrong_graduation(given, *i, a)),
            several => {
                let names: Vec<_> = several.iter().map(|(i, _)| label(given.graduations[*i].label)).collect();
                return Err(Error::new(
                    ErrorKind::Scale,
                    format!("one of the graduations {} is wrong, which one cannot be told", names.join(", ")),
                )
                .help("check their labels and pixels, and mark more graduations"));
            }
        }
        let likely: Vec<usize> = suspects.iter().take(8).map(|s| s.0).collect();
        if let Some((i, j)) = swapped(given, &likely, two_dimensional) {
            let [a, b] = [i, j].map(|i| label(given.graduations[i].label));
            return Err(Error::new(ErrorKind::Scale, format!("the graduations {a} and {b} mm look swapped"))
                .help("exchange their labels"));
        }
    }
    let ratio = best.cost / degrees_of_freedom(given).max(1) as f64;
    if ratio > LARGEST_SCATTER * LARGEST_SCATTER || !enough {
        let (worst, _) = suspects[0];
        // What the residuals do not hold was paid by the camera's stated attitude.
        let apart: f64 = best.residuals.iter().map(|r| r.norm_squared()).sum::<f64>() / (given.u_px * given.u_px);
        let leant = (best.cost - apart).max(0.0).sqrt();
        let may_lean = !two_dimensional && given.lens.source != LensSource::Profile;
        if may_lean && ratio <= MOST_BY_LEANING * MOST_BY_LEANING && apart < SMALL_PART * best.cost {
            return Err(Error::new(
                ErrorKind::Scale,
                format!(
                    "the graduations do not agree with each other, unless the camera leant by {leant:.1} times the standard uncertainty \
                     that is stated for that"
                ),
            )
            .help(
                "check labels and pixels, and mark more graduations so that a wrong one can be told; where the camera did lean so far, \
                 state it: scale.tilt_u_deg",
            ));
        }
        return Err(Error::new(
            ErrorKind::Scale,
            format!(
                "the graduations do not agree with each other: they scatter by {:.1} times the stated {} px, most of all \
                 {} mm by {:.1} px",
                ratio.sqrt(),
                given.u_px,
                label(given.graduations[worst].label),
                best.residuals[worst].norm()
            ),
        )
        .help(if given.lens.source == LensSource::Profile {
            "check labels and pixels, and whether the lens profile is of this camera and lens; mark more graduations so that a \
             wrong one can be told"
        } else if two_dimensional || ratio > MOST_BY_LEANING * MOST_BY_LEANING {
            "check labels and pixels, and mark more graduations so that a wrong one can be told"
        } else {
            "check labels and pixels, and mark more graduations so that a wrong one can be told; where the camera leant \
             along the ruler more than usual, state it: scale.tilt_u_deg"
        }));
    }
    Ok(ratio)
}

fn without(graduations: &[Graduation], i: usize) -> Vec<Graduation> {
    graduations.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, g)| *g).collect()
}

/// Two of the likely graduations whose labels have to be exchanged for all to agree.
fn swapped(given: &Given<'_>, likely: &[usize], two_dimensional: bool) -> Option<(usize, usize)> {
    let pairs =
        likely.iter().enumerate().flat_map(|(k, &i)| likely[k + 1..].iter().map(move |&j| (i.min(j), i.max(j))));
    pairs.into_iter().find(|&(i, j)| {
        let mut g = given.graduations.to_vec();
        (g[i].label, g[j].label) = (g[j].label, g[i].label);
        let given = Given { graduations: &g, ..given.clone() };
        optima(&given, two_dimensional).first().is_some_and(|best| is_consistent(&given, best))
    })
}

/// The error that names graduation `i`; `fit` was made without it.
fn wrong_graduation(given: &Given<'_>, i: usize, fit: &Optimum) -> Error {
    let rest = without(given.graduations, i);
    let wrong = given.graduations[i];
    let view = View3::<f64>::new(&fit.state.into(), middle(&rest));
    let off = view.graduation_pixel(wrong.label).map_or(f64::NAN, |p| (p - wrong.pixel).norm());
    let line = given.graduations.iter().all(|g| g.label.y == 0.0);
    let mut error = Error::new(
        ErrorKind::Scale,
        format!("graduation {} mm does not fit the others: it lies {off:.1} px from its place", label(wrong.label)),
    );
    error = match fitting_label(given, &view, wrong.pixel, line).filter(|l| !rest.iter().any(|g| g.label == *l)) {
        Some(fits) if fits != wrong.label => {
            error.help(format!("at that pixel the label {} mm would fit; check which is meant", label(fits)))
        }
        _ => error.help("no label fits that pixel either: mark the graduation again"),
    };
    error
}

/// The roundest label whose place in the photo is the graduation's pixel, if there is one.
fn fitting_label(given: &Given<'_>, view: &View3<f64>, pixel: Point2<f64>, line: bool) -> Option<Point2<f64>> {
    let near = view.camera.undistort(pixel)?;
    let plane = Plane::new(&[0.0, 0.0, 0.0]);
    let place = back_project(view, &plane, None, pixel, near)? / view.stretch;
    // Scatter of the mark itself and of the place that the others foretell.
    let slack = 5.0 * given.u_px;
    [10.0, 5.0, 1.0].into_iter().find_map(|step| {
        // Adding 0 makes -0, which nobody writes on a ruler, 0.
        let round = |v: f64| (v / step).round() * step + 0.0;
        let label = Point2::new(round(place.x), if line { 0.0 } else { round(place.y) });
        let off = (view.graduation_pixel(label)? - pixel).norm();
        (off <= slack).then_some(label)
    })
}

fn label(p: Point2<f64>) -> String {
    if p.y == 0.0 { format!("{}", p.x) } else { format!("[{}, {}]", p.x, p.y) }
}
