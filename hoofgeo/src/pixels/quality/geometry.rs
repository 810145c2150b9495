//! How a photo was taken: resolution, ruler, tilt, frame. It needs no pixels.

use super::remark::{BORDER, DISTANCE, QualityRemark, RESOLUTION, SPAN, TILT};
use crate::landmark::{Landmark, Line};
use crate::located::Located;
use crate::picture::hull;
use crate::scene::Scene;
use crate::sidecar::Sidecar;
use nalgebra::Point2;

/// What is remarkable about how a photo was taken. It needs no pixels.
pub fn of_scene(sidecar: &Sidecar, scene: &Scene, located: &Located) -> Vec<QualityRemark> {
    let mut remarks = Vec::new();
    if let Some(px_per_mm) = resolution(located).filter(|r| *r < RESOLUTION.value) {
        remarks.push(QualityRemark::Coarse { px_per_mm });
    }
    let hoof: Vec<Point2<f64>> = hoof_points(located).map(|i| located.places[i]).collect();
    let hoof_mm = longest(&hoof);
    let labels: Vec<_> = sidecar.scale.iter().flat_map(|s| &s.points).map(|g| Point2::from(g.mm)).collect();
    if hoof_mm > 0.0 && !labels.is_empty() {
        let span_mm = longest(&labels);
        if span_mm < SPAN.value * hoof_mm {
            remarks.push(QualityRemark::ShortScale { span_mm, hoof_mm });
        }
        let gap_mm = gap(&hull(&hoof), &labels);
        if gap_mm > DISTANCE.value * hoof_mm {
            remarks.push(QualityRemark::FarScale { gap_mm, hoof_mm });
        }
    }
    if scene.two_dimensional {
        let [x, y] = scene.tilts_deg();
        let deg = x.value.hypot(y.value);
        if deg > TILT.value {
            let u = ((x.value * x.u).powi(2) + (y.value * y.u).powi(2)).sqrt() / deg;
            remarks.push(QualityRemark::Tilted { deg, expanded_deg: 2.0 * u });
        }
    }
    remarks
}

/// The hoof's landmark or line that comes nearest to the photo's border, where that is too near.
pub fn cut_off(sidecar: &Sidecar) -> Option<QualityRemark> {
    let (w, h) = (f64::from(sidecar.photo.width_px), f64::from(sidecar.photo.height_px));
    let room = |p: &Point2<f64>| p.x.min(p.y).min(w - p.x).min(h - p.y);
    let nearest = named_pixels(sidecar).min_by(|a, b| room(&a.1).total_cmp(&room(&b.1)))?;
    (room(&nearest.1) < BORDER.value * w.max(h)).then_some(QualityRemark::CutOff { name: nearest.0 })
}

/// Landmarks that lie on the hoof itself.
fn on_hoof(landmark: Landmark) -> bool {
    use Landmark::{GroundBack, GroundFront, PasternLower, PasternUpper};
    !matches!(landmark, GroundFront | GroundBack | PasternUpper | PasternLower)
}

fn named_pixels(sidecar: &Sidecar) -> impl Iterator<Item = (&'static str, Point2<f64>)> + '_ {
    let landmarks = sidecar.landmarks.iter().filter(|(l, _)| on_hoof(**l));
    let landmarks = landmarks.flat_map(|(l, p)| p.at.iter().map(|at| (l.name(), Point2::from(*at))));
    let lines = sidecar.lines.iter().filter(|(l, _)| **l != Line::Ground);
    landmarks.chain(lines.flat_map(|(l, points)| points.iter().map(|at| (l.name(), Point2::from(*at)))))
}

/// The pixels of a sidecar's landmarks and lines that lie on the hoof.
pub fn hoof_pixels(sidecar: &Sidecar) -> Vec<Point2<f64>> {
    named_pixels(sidecar).map(|(_, p)| p).collect()
}

fn hoof_points(located: &Located) -> impl Iterator<Item = usize> + '_ {
    let landmarks = Landmark::ALL.iter().filter(|l| on_hoof(**l)).filter_map(|l| located.index.landmark(*l));
    landmarks.chain(Line::ALL.iter().filter(|l| **l != Line::Ground).filter_map(|l| located.index.line(*l)).flatten())
}

/// Pixels per mm at the hoof: the mean of its points, each by the root of the area's ratio.
pub fn resolution(located: &Located) -> Option<f64> {
    let all: Vec<f64> =
        hoof_points(located).map(|i| 1.0 / located.points[i].by_pixel.determinant().abs().sqrt()).collect();
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    mean.is_finite().then_some(mean)
}

/// The longest distance between two of the points.
pub(crate) fn longest(points: &[Point2<f64>]) -> f64 {
    let hull = hull(points);
    hull.iter().enumerate().flat_map(|(i, a)| hull[i + 1..].iter().map(move |b| (b - a).norm())).fold(0.0, f64::max)
}

/// The gap between the hoof's outline and the scale's edges: what lies between two graduations in one row or column.
pub(super) fn gap(hoof: &[Point2<f64>], labels: &[Point2<f64>]) -> f64 {
    let mut least = f64::INFINITY;
    for (i, a) in labels.iter().enumerate() {
        for b in labels[i..].iter().filter(|b| a.x == b.x || a.y == b.y) {
            let along = b - a;
            for p in hoof {
                let t =
                    if along.norm() > 0.0 { ((p - a).dot(&along) / along.norm_squared()).clamp(0.0, 1.0) } else { 0.0 };
                least = least.min((p - (a + along * t)).norm());
            }
        }
    }
    least
}
