//! Which ring at the heel is which at the toe: rings are followed round the wall, strip by strip.

use super::strip::{Profile, STEP_MM};

/// A way in which depths at the toe may go over into depths at a share of the wall: `depth · (1 + widening · share^bend) + tilt · share +
/// arch · 4 share (1 − share)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Course {
    /// How much wider the rings lie at the heel, as a share.
    widening: f64,
    /// On a round wall seen from the side most of the way round lies near the toe.
    bend: f64,
    /// How much deeper than at the toe the clicked coronary line lies at the heel, mm.
    tilt: f64,
    /// How far the coronary band arches above the straight line, mm; negative, as rings lie higher there.
    arch: f64,
}

impl Course {
    pub(super) fn depth(&self, toe: f64, share: f64) -> f64 {
        toe * (1.0 + self.widening * share.powf(self.bend))
            + self.tilt * share
            + self.arch * 4.0 * share * (1.0 - share)
    }
}

/// What is tried (ranges chosen: rings up to half as wide at the heel, up to 70 % wider, and half a ring up or down).
fn courses() -> impl Iterator<Item = Course> {
    (-14..=20).flat_map(|w| {
        [0.5, 1.0].into_iter().flat_map(move |bend| {
            (-4..=4).flat_map(move |t| {
                (-4..=2).map(move |a| Course {
                    widening: 0.035 * f64::from(w),
                    bend,
                    tilt: f64::from(t),
                    arch: f64::from(a),
                })
            })
        })
    })
}

/// Two courses that differ by this share of the rings' distance at the heel take one ring for another.
const OTHER: f64 = 0.7;
/// The best course must agree so much better than the best that would pair other rings (chosen).
const CLEARLY: f64 = 1.06;
/// Least agreement of the strips: the share of their energy that they have in common (chosen).
const AGREES: f64 = 0.35;

/// The course that the strips' profiles agree on best; `None` where another one that pairs other rings is nearly as good. `spacing` is the
/// usual distance of the rings at the toe, mm.
pub(super) fn course(strips: &[(f64, Profile)], spacing: f64) -> Option<Course> {
    let deepest = strips.iter().map(|(_, p)| p.first + (p.mean.len() - 1) as f64 * STEP_MM);
    let last = deepest.fold(f64::MAX, f64::min);
    let normal: Vec<(f64, f64, Vec<f64>)> = strips
        .iter()
        .map(|(share, p)| {
            let energy = p.mean.iter().map(|v| v * v).sum::<f64>() / p.mean.len() as f64;
            (*share, p.first, p.mean.iter().map(|v| v / energy.sqrt().max(1e-12)).collect())
        })
        .collect();
    let agreement = |c: &Course| {
        let (mut together, mut each) = (0.0, 0.0);
        let mut toe = 2.0;
        while toe < last {
            let (mut sum, mut squares, mut n) = (0.0, 0.0, 0.0);
            for (share, first, values) in &normal {
                let t = (c.depth(toe, *share) - first) / STEP_MM;
                if t >= 0.0 && (t as usize) < values.len() {
                    let v = values[t as usize];
                    (sum, squares, n) = (sum + v, squares + v * v, n + 1.0);
                }
            }
            if n > 0.6 * normal.len() as f64 {
                together += sum * sum / n;
                each += squares;
            }
            toe += 0.45;
        }
        if each > 0.0 { together / each } else { 0.0 }
    };
    let mut all: Vec<(Course, f64)> = courses().map(|c| (c, agreement(&c))).collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    let best = all.first().filter(|b| b.1 > AGREES)?;
    let middle = 0.6 * last;
    let at_heel = spacing * (1.0 + best.0.widening);
    let other = all.iter().find(|c| (c.0.depth(middle, 1.0) - best.0.depth(middle, 1.0)).abs() > OTHER * at_heel);
    (other.is_none_or(|o| best.1 > CLEARLY * o.1)).then_some(best.0)
}

/// Pairs of places in two rows of depths, toe and heel, that a course takes for one ring.
pub(super) fn pairs(course: &Course, toe: &[f64], heel: &[f64], spacing: f64) -> Vec<(usize, usize)> {
    let near = 0.38 * spacing;
    let off = |i: usize, k: usize| (heel[k] - course.depth(toe[i], 1.0)).abs();
    let nearest = |n: usize, off: &dyn Fn(usize) -> f64| (0..n).min_by(|a, b| off(*a).total_cmp(&off(*b)));
    (0..toe.len())
        .filter_map(|i| {
            let k = nearest(heel.len(), &|k| off(i, k)).filter(|k| off(i, *k) < near)?;
            // Each the other's nearest.
            (nearest(toe.len(), &|j| off(j, k)) == Some(i)).then_some((i, k))
        })
        .collect()
}
