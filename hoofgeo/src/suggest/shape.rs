//! A foot's shape as a normal distribution of its points, and what some of them say of the others.

use super::align::Aligned;
use super::proportions::gaussian;
#[cfg(feature = "pictures")]
use super::proportions::vertices;
use crate::landmark::Landmark;
#[cfg(feature = "pictures")]
use crate::landmark::Line;
use crate::{Foot, View};
use nalgebra::{DMatrix, DVector, Matrix2, Point2};

/// A photo is taken upright to about this, degrees (estimate, no source): which way round a foot stands is told by it too.
const UPRIGHT_DEG: f64 = 12.0;
/// What a foot of the other side of the body costs where the foot is stated: a photo may be mirrored, but hardly ever is.
const OTHER_SIDE: f64 = 16.0;

/// The points of a view in a foot's own frame, mm, as jointly normal.
#[derive(Debug, Clone)]
pub struct Shape {
    pub(super) view: View,
    pub(super) landmarks: Vec<Landmark>,
    pub(super) mean: DVector<f64>,
    pub(super) covariance: DMatrix<f64>,
}

/// A landmark that is not placed: where it is expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// Which.
    pub landmark: Landmark,
    /// Where, px.
    pub at: [f64; 2],
    /// Standard uncertainty, mm in a foot of usual size: in its least certain direction; of one of two points that stand for a line, which may
    /// lie anywhere along it, in its most certain one.
    pub u_mm: f64,
}

/// An outline as it is expected.
#[cfg(feature = "pictures")]
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PredictedLine {
    pub(super) line: Line,
    pub(super) points: Vec<[f64; 2]>,
    pub(super) u_mm: f64,
}

/// Whether a landmark is one of two that stand for a line, wherever on it they lie.
const fn stands_for_a_line(l: Landmark) -> bool {
    matches!(l, Landmark::PasternUpper | Landmark::PasternLower | Landmark::GroundFront | Landmark::GroundBack)
}

/// Everything that placed landmarks say.
pub(super) struct Given {
    aligned: Aligned,
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
}

impl Shape {
    /// The shape of feet in general, from published proportions.
    pub fn prior(view: View) -> Self {
        let (mean, covariance) = gaussian(view);
        Self { view, landmarks: Landmark::of(view).collect(), mean, covariance }
    }

    /// The view that it is seen in.
    pub const fn view(&self) -> View {
        self.view
    }

    /// The landmarks that, placed first, tell most of where the others lie.
    pub const fn tells_most(view: View) -> &'static [Landmark] {
        match view {
            View::Lateral => &[Landmark::ToeCoronet, Landmark::ToeGround, Landmark::HeelCoronet, Landmark::HeelGround],
            View::Solar => &[Landmark::ToeOuter, Landmark::HeelMedial, Landmark::HeelLateral, Landmark::FrogApex],
        }
    }

    /// Where the landmarks are expected that are not among those `placed` (px). Fewer than two placed tell nothing. Which `foot` it is
    /// helps to tell medial from lateral on a sole.
    pub fn predict(&self, placed: &[(Landmark, [f64; 2])], foot: Option<Foot>) -> Vec<Predicted> {
        let Some(given) = self.given(placed, foot) else { return Vec::new() };
        let open = |l: &Landmark| placed.iter().all(|(p, _)| p != l);
        let all = self.landmarks.iter().enumerate().filter(|(_, l)| open(l));
        all.filter_map(|(i, l)| {
            let (at, [least, most]) = given.point(i)?;
            Some(Predicted { landmark: *l, at, u_mm: if stands_for_a_line(*l) { least } else { most } })
        })
        .collect()
    }

    #[cfg(feature = "pictures")]
    pub(super) fn outlines(&self, placed: &[(Landmark, [f64; 2])], foot: Option<Foot>) -> Vec<PredictedLine> {
        let Some(given) = self.given(placed, foot) else { return Vec::new() };
        let mut from = self.landmarks.len();
        let mut out = Vec::new();
        for line in Line::of(self.view) {
            let n = if 2 * from < self.mean.len() { vertices(line) } else { 0 };
            let points: Option<Vec<_>> = (from..from + n).map(|i| given.point(i)).collect();
            from += n;
            if let Some(points) = points.filter(|p| !p.is_empty()) {
                let u_mm = points.iter().map(|(_, [_, u])| *u).fold(0.0, f64::max);
                out.push(PredictedLine { line, points: points.into_iter().map(|(at, _)| at).collect(), u_mm });
            }
        }
        out
    }

    pub(super) fn given(&self, placed: &[(Landmark, [f64; 2])], foot: Option<Foot>) -> Option<Given> {
        let number = |l: &Landmark| self.landmarks.iter().position(|own| own == l);
        let seen: Vec<_> = placed.iter().filter_map(|(l, at)| Some((number(l)?, *at))).collect();
        let candidates = [false, true].into_iter().filter_map(|mirrored| {
            let aligned = Aligned::new(&self.mean, &self.covariance, &seen, mirrored)?;
            let cost = match self.view {
                View::Lateral => (aligned.similarity.turn().to_degrees() / UPRIGHT_DEG).powi(2),
                // From the sole, the toe up, the lateral side of a left foot lies to the right.
                View::Solar => foot.map_or(0.0, |f| {
                    let left = matches!(f, Foot::LeftFore | Foot::LeftHind);
                    if left == mirrored { OTHER_SIDE } else { 0.0 }
                }),
            };
            Some((aligned.misfit + cost, aligned))
        });
        let (_, aligned) = candidates.min_by(|a, b| a.0.total_cmp(&b.0))?;
        let (mean, covariance) = aligned.posterior(&self.mean, &self.covariance);
        Some(Given { aligned, mean, covariance })
    }
}

impl Given {
    /// A point's pixel and its standard uncertainties in the most and the least certain direction, mm.
    fn point(&self, i: usize) -> Option<([f64; 2], [f64; 2])> {
        let at = self.aligned.similarity.pixel(Point2::new(self.mean[2 * i], self.mean[2 * i + 1]))?;
        let own = Matrix2::from_fn(|r, c| self.covariance[(2 * i + r, 2 * i + c)]);
        let variances = own.symmetric_eigenvalues();
        let [least, most] = [variances.min(), variances.max()].map(|v| v.max(0.0).sqrt());
        (at.iter().all(|v| v.is_finite()) && most.is_finite()).then_some((at, [least, most]))
    }

    /// All points in the foot's frame, and how well they are known.
    pub(super) fn whole(&self) -> (&DVector<f64>, &DMatrix<f64>) {
        (&self.mean, &self.covariance)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// The usual foot, as a photo shows it: turned, moved, enlarged, and mirrored where asked.
    fn photo(shape: &Shape, mirrored: bool, turn: f64) -> Vec<(Landmark, [f64; 2])> {
        let (sin, cos) = turn.to_radians().sin_cos();
        let at = |i: usize| {
            let (x, y) = (shape.mean[2 * i] * if mirrored { -1.0 } else { 1.0 }, shape.mean[2 * i + 1]);
            [2000.0 + 8.0 * (x * cos - y * sin), 1500.0 - 8.0 * (x * sin + y * cos)]
        };
        shape.landmarks.iter().enumerate().map(|(i, l)| (*l, at(i))).collect()
    }

    #[test]
    fn the_usual_foot_is_found_whichever_way_round() {
        for (view, mirrored, turn) in [
            (View::Lateral, false, 4.0),
            (View::Lateral, true, -6.0),
            (View::Solar, false, 35.0),
            (View::Solar, true, 170.0),
        ] {
            let shape = Shape::prior(view);
            let all = photo(&shape, mirrored, turn);
            let foot = Some(if mirrored { Foot::RightFore } else { Foot::LeftFore });
            // Three of the sole lie on its axis: the foot says which side is which.
            let (placed, rest) = all.split_at(4);
            for p in shape.predict(placed, foot) {
                let truth = rest.iter().find(|(l, _)| *l == p.landmark).unwrap().1;
                let off = (p.at[0] - truth[0]).hypot(p.at[1] - truth[1]) / 8.0;
                assert!(off < 0.2, "{view} {}: {off} mm", p.landmark);
                assert!(p.u_mm > 1.0 && p.u_mm < 40.0, "{view} {}: ± {}", p.landmark, p.u_mm);
            }
            assert!(shape.predict(&placed[..1], foot).is_empty());
        }
    }

    #[test]
    fn more_landmarks_make_the_others_surer() {
        let shape = Shape::prior(View::Lateral);
        let all = photo(&shape, false, 0.0);
        let u =
            |n: usize| shape.predict(&all[..n], None).iter().find(|p| p.landmark == Landmark::HeelBulb).unwrap().u_mm;
        assert!(u(2) > u(3) && u(3) > u(4), "{} {} {}", u(2), u(3), u(4));
    }
}
