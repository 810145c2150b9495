//! The smooth curve through a person's clicks, and walking along polylines.

use nalgebra::{Point2, Vector2};

/// A piece of a centripetal Catmull-Rom curve from `p[1]` to `p[2]`, sampled at about `step`, its end left out.
///
/// C. Yuksel, S. Schaefer and J. Keyser, "Parameterization and applications of Catmull-Rom curves", Computer-Aided Design 43 (2011)
/// 747-755: with the square roots of the distances as parameter it neither loops nor strays far between its points.
pub(super) fn piece(p: [Point2<f64>; 4], step: f64) -> Vec<Point2<f64>> {
    let knot = |a: Point2<f64>, b: Point2<f64>| (b - a).norm().sqrt().max(1e-6);
    let t1 = knot(p[0], p[1]);
    let t2 = t1 + knot(p[1], p[2]);
    let t3 = t2 + knot(p[2], p[3]);
    let n = ((p[2] - p[1]).norm() / step).ceil().max(1.0) as usize;
    let mix = |a: Point2<f64>, b: Point2<f64>, ta: f64, tb: f64, t: f64| a + (b - a) * ((t - ta) / (tb - ta));
    (0..n)
        .map(|i| {
            let t = t1 + (t2 - t1) * i as f64 / n as f64;
            let (a, b, c) = (mix(p[0], p[1], 0.0, t1, t), mix(p[1], p[2], t1, t2, t), mix(p[2], p[3], t2, t3, t));
            let (d, e) = (mix(a, b, 0.0, t2, t), mix(b, c, t1, t3, t));
            mix(d, e, t1, t2, t)
        })
        .collect()
}

/// Points every `step` along a polyline, with its first and last, smoothed over `window` to either side; the ends stay.
pub(super) fn resampled(line: &[Point2<f64>], step: f64, window: f64) -> Vec<Point2<f64>> {
    let mut at = vec![0.0];
    for w in line.windows(2) {
        at.push(at[at.len() - 1] + (w[1] - w[0]).norm());
    }
    let length = at[at.len() - 1];
    let n = (length / step).round().max(1.0) as usize;
    let mut k = 0;
    let plain: Vec<Point2<f64>> = (0..=n)
        .map(|i| {
            let s = length * i as f64 / n as f64;
            while k + 2 < line.len() && at[k + 1] < s {
                k += 1;
            }
            let Some(next) = line.get(k + 1) else { return line[k] };
            line[k] + (next - line[k]) * ((s - at[k]) / (at[k + 1] - at[k]).max(1e-12)).clamp(0.0, 1.0)
        })
        .collect();
    let reach = (window * n as f64 / length.max(1e-9)).round() as usize;
    (0..=n)
        .map(|i| {
            // As far to both sides: the mean stays on a straight line up to its ends.
            let r = reach.min(i).min(n - i);
            let sum: Vector2<f64> = plain[i - r..=i + r].iter().map(|p| p.coords).sum();
            Point2::from(sum / (2 * r + 1) as f64)
        })
        .collect()
}

/// Direction of a polyline at a point of it, over `span` points to either side.
pub(super) fn direction(line: &[Point2<f64>], i: usize, span: usize) -> Vector2<f64> {
    let (a, b) = (i.saturating_sub(span), (i + span).min(line.len() - 1));
    (line[b] - line[a]).try_normalize(1e-9).unwrap_or_else(Vector2::x)
}

/// Distance of a point from a closed polygon.
pub(super) fn distance_to(polygon: &[Point2<f64>], p: Point2<f64>) -> f64 {
    (0..polygon.len())
        .map(|i| {
            let (a, b) = (polygon[i], polygon[(i + 1) % polygon.len()]);
            let d = b - a;
            let t = ((p - a).dot(&d) / d.norm_squared().max(1e-12)).clamp(0.0, 1.0);
            (p - (a + d * t)).norm()
        })
        .fold(f64::MAX, f64::min)
}

/// Twice the signed area of a closed polygon: positive where it runs clockwise as pictures show it (y down).
pub(super) fn doubled_area(polygon: &[Point2<f64>]) -> f64 {
    (0..polygon.len()).map(|i| polygon[i].coords.perp(&polygon[(i + 1) % polygon.len()].coords)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_through_eight_points_of_a_circle_is_nearly_it() {
        let at = |k: i32| {
            let (s, c) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
            Point2::new(60.0 * c, 60.0 * s)
        };
        for k in 0..8 {
            for p in piece([at(k - 1), at(k), at(k + 1), at(k + 2)], 1.0) {
                // The straight line between them lies 4.6 inside.
                assert!((p.coords.norm() - 60.0).abs() < 0.6, "{}", p.coords.norm());
            }
        }
    }

    #[test]
    fn resampling_keeps_ends_and_lengths() {
        let line = [Point2::new(0.0, 0.0), Point2::new(30.0, 0.0), Point2::new(30.0, 40.0)];
        let fine = resampled(&line, 0.5, 0.0);
        assert_eq!((fine.len(), fine[0], fine[140]), (141, line[0], line[2]));
        assert!(fine.windows(2).all(|w| (w[1] - w[0]).norm() < 0.501));
        let smooth = resampled(&line, 0.5, 3.0);
        assert_eq!((smooth[0], smooth[140]), (line[0], line[2]));
        assert!((smooth[20] - Point2::new(10.0, 0.0)).norm() < 1e-9, "a straight part stays");
        assert!(smooth.iter().all(|p| distance_to(&line, *p) < 2.0));
    }
}
