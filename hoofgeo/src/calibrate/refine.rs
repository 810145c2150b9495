//! Corners found on a reduced photo, placed at full size.

use nalgebra::{Matrix2, Point2, Vector2};

/// Standard deviation of the smoothing before gradients are taken, px. Chosen by `examples/corners.rs`.
const SMOOTH: f64 = 2.0;
/// Pixels to either side that the smoothing takes in: three standard deviations.
const REACH: i64 = 6;
/// Half a window in distances to the nearest corner: as wide as it can be without edges of other corners. Chosen by
/// `examples/corners.rs`: narrower ones are further off on rendered boards and real ones.
const SHARE: f64 = 0.4;
/// Wider windows cost time and gain nothing, px.
const WIDEST: f64 = 80.0;
/// The windows that are worth it: below, the smoothing fills them.
const NARROWEST: f64 = 8.0;
const STEPS: usize = 30;

/// A corner: the point that every gradient of its window is at right angles to the way to. Stays at the start where the window is too
/// small, or where it leads further than `most` px away.
///
/// # Source
/// W. Förstner & E. Gülch, *A fast operator for detection and precise location of distinct points, corners and centres of circular
/// features*, ISPRS Intercommission Workshop, Interlaken 1987. Smoothing, window and weights are chosen.
pub(super) fn refine(
    brightness: &[u8],
    (width, height): (u32, u32),
    start: Point2<f64>,
    spacing: f64,
    most: f64,
) -> Point2<f64> {
    let half = (SHARE * spacing).min(WIDEST);
    if half < NARROWEST {
        return start;
    }
    let gradients = gradients(brightness, (i64::from(width), i64::from(height)), start, half as i64);
    let mut p = start;
    for _ in 0..STEPS {
        let (mut a, mut b) = (Matrix2::zeros(), Vector2::zeros());
        for (place, g) in &gradients {
            let at = place - p;
            let weighted = g * (-2.0 * at.norm_squared() / (half * half)).exp();
            a += weighted * g.transpose();
            b += weighted * g.dot(&at);
        }
        let Some(inverse) = a.try_inverse() else { return start };
        let step = inverse * b;
        p += step;
        if (p - start).norm().partial_cmp(&most).is_none_or(std::cmp::Ordering::is_gt) {
            return start;
        }
        if step.norm() < 1e-4 {
            break;
        }
    }
    p
}

/// The smoothed brightness's gradients in a square window about a place, each with its pixel's centre.
fn gradients(
    brightness: &[u8],
    (width, height): (i64, i64),
    about: Point2<f64>,
    half: i64,
) -> Vec<(Point2<f64>, Vector2<f64>)> {
    let (left, top) = (about.x as i64 - half - 1, about.y as i64 - half - 1);
    // One pixel more on either side than the window, for the differences.
    let side = (2 * half + 3) as usize;
    let tall = side + 2 * REACH as usize;
    let kernel: Vec<f64> = (-REACH..=REACH).map(|k| (-0.5 * (k as f64 / SMOOTH).powi(2)).exp()).collect();
    let sum: f64 = kernel.iter().sum();
    let at = |x: i64, y: i64| {
        let (x, y) = (x.clamp(0, width - 1), y.clamp(0, height - 1));
        f64::from(brightness[(y * width + x) as usize])
    };
    let mut along = Vec::with_capacity(side * tall);
    for y in 0..tall as i64 {
        for x in 0..side as i64 {
            let from = left + x - REACH;
            along.push((from..).zip(&kernel).map(|(x, k)| k * at(x, top + y - REACH)).sum::<f64>() / sum);
        }
    }
    let smooth = |x: usize, y: usize| {
        kernel.iter().enumerate().map(|(k, weight)| weight * along[(y + k) * side + x]).sum::<f64>() / sum
    };
    let smooth: Vec<f64> = (0..side * side).map(|i| smooth(i % side, i / side)).collect();
    let inner = (1..side - 1).flat_map(|y| (1..side - 1).map(move |x| (x, y)));
    inner
        .map(|(x, y)| {
            let i = y * side + x;
            let place = Point2::new((left + x as i64) as f64 + 0.5, (top + y as i64) as f64 + 0.5);
            (place, Vector2::new(smooth[i + 1] - smooth[i - 1], smooth[i + side] - smooth[i - side]))
        })
        .collect()
}
