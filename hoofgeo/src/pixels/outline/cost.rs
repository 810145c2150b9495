//! What it costs to follow an edge from pixel to pixel.

use crate::pixels::Grey;
use crate::pixels::gradient::Gradient;
use nalgebra::{Point2, Vector2};
use std::f32::consts::PI;

/// Weights of Laplacian zero crossing, gradient direction and gradient size (Mortensen and Barrett 1995).
const ZERO: f32 = 0.43;
const DIRECTION: f32 = 0.43;
const SIZE: f32 = 0.14;
/// Weight of the squared distance from the curve through the clicks, as a share of the corridor's half width: of two edges alike the
/// nearer one is meant (chosen).
const DISTANCE: f32 = 0.15;
/// The gradient that costs nothing, as a quantile of the corridor's: the largest of all is often a highlight's (chosen).
const STRONG: f64 = 0.97;

/// The costs of the links between the pixels of a corridor about a curve.
///
/// E. N. Mortensen and W. A. Barrett, "Intelligent scissors for image composition", Proc. SIGGRAPH 95 (1995) 191-198; "Interactive
/// segmentation with intelligent scissors", Graphical Models and Image Processing 60 (1998) 349-384. Every link's cost is multiplied
/// by its length, so that a path costs the same in all directions.
pub(super) struct EdgeCost {
    gradient: Gradient,
    /// Whether the Laplacian changes its sign here.
    zero: Vec<bool>,
    /// Distance from the curve as a share of the half width; infinite outside the corridor.
    away: Vec<f32>,
    strong: f32,
    /// Side on which the edge is brighter, seen along the path: +1 to its right (down the picture when walking right), -1 to its
    /// left, 0 either.
    brighter: f32,
}

impl EdgeCost {
    /// For a corridor of half width `reach` px about a polyline; derivatives at the scale `sigma` px. `None` where the corridor holds
    /// no pixel or no gradient.
    pub(super) fn new(grey: &Grey, curve: &[Point2<f64>], reach: f64, sigma: f64, brighter: f64) -> Option<Self> {
        let first = curve.first()?;
        let (low, high) = curve.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)));
        let margin = Vector2::repeat(reach + 2.0);
        let gradient = Gradient::new(grey, low - margin, high + margin, sigma);
        let ([left, top], [width, height]) = gradient.extent();
        if width < 3 || height < 3 {
            return None;
        }
        let away = corridor(curve, reach, [left, top], [width, height]);
        let mut sizes: Vec<f32> = (0..width * height)
            .filter(|i| away[*i].is_finite())
            .map(|i| gradient.at(i % width, i / width).norm())
            .collect();
        if sizes.is_empty() {
            return None;
        }
        let k = ((sizes.len() - 1) as f64 * STRONG) as usize;
        let strong = *sizes.select_nth_unstable_by(k, f32::total_cmp).1;
        let zero = zero_crossings(&gradient, [width, height]);
        (strong > 0.0).then_some(Self { gradient, zero, away, strong, brighter: brighter as f32 })
    }

    /// Width and height of the grid.
    pub(super) fn size(&self) -> [usize; 2] {
        self.gradient.extent().1
    }

    /// The grid's pixel at a place of the photo.
    pub(super) fn pixel(&self, place: Point2<f64>) -> Option<[usize; 2]> {
        let ([left, top], [width, height]) = self.gradient.extent();
        let at = |v: f64, first: i64, n: usize| usize::try_from(v.floor() as i64 - first).ok().filter(|k| *k < n);
        Some([at(place.x, left, width)?, at(place.y, top, height)?])
    }

    /// The place of a grid pixel's centre in the photo.
    pub(super) fn place(&self, [x, y]: [usize; 2]) -> Point2<f64> {
        let ([left, top], _) = self.gradient.extent();
        Point2::new((left + x as i64) as f64 + 0.5, (top + y as i64) as f64 + 0.5)
    }

    /// The cost of the link between two neighbours; `None` out of the corridor.
    pub(super) fn link(&self, from: [usize; 2], to: [usize; 2]) -> Option<f64> {
        let width = self.size()[0];
        let at = to[1] * width + to[0];
        let away = self.away[at];
        if !away.is_finite() {
            return None;
        }
        let step = Vector2::new(to[0] as f32 - from[0] as f32, to[1] as f32 - from[1] as f32);
        let length = step.norm();
        let gradient = self.gradient.at(to[0], to[1]);
        let size = gradient.norm();
        // Down the picture from a step to the right: its right-hand side.
        let right = Vector2::new(-step.y, step.x);
        let edge = if size <= 0.0 || self.brighter * gradient.dot(&right) < 0.0 {
            ZERO + DIRECTION + SIZE
        } else {
            let turn = |g: Vector2<f32>| {
                let n = g.norm();
                let along = if n > 0.0 { (g.perp(&step) / (n * length)).abs().min(1.0) } else { 0.0 };
                along.acos() / PI
            };
            let direction = turn(gradient) + turn(self.gradient.at(from[0], from[1]));
            let zero = if self.zero[at] { 0.0 } else { ZERO };
            zero + DIRECTION * direction + SIZE * (1.0 - (size / self.strong).min(1.0))
        };
        Some(f64::from(length * (edge + DISTANCE * away * away)))
    }
}

/// Distances from a polyline as shares of `reach`; infinite beyond.
fn corridor(curve: &[Point2<f64>], reach: f64, [left, top]: [i64; 2], [width, height]: [usize; 2]) -> Vec<f32> {
    let mut away = vec![f32::INFINITY; width * height];
    let clamp = |v: f64, first: i64, n: usize| (v as i64 - first).clamp(0, n as i64) as usize;
    for (i, a) in curve.iter().enumerate() {
        let b = curve[(i + 1).min(curve.len() - 1)];
        let (low, high) = (a.inf(&b), a.sup(&b));
        let d = b - a;
        for y in clamp(low.y - reach, top, height)..clamp(high.y + reach + 1.0, top, height) {
            for x in clamp(low.x - reach, left, width)..clamp(high.x + reach + 1.0, left, width) {
                let p = Point2::new((left + x as i64) as f64 + 0.5, (top + y as i64) as f64 + 0.5);
                let t = ((p - a).dot(&d) / d.norm_squared().max(1e-12)).clamp(0.0, 1.0);
                let share = ((p - (a + d * t)).norm() / reach) as f32;
                let here = &mut away[y * width + x];
                if share <= 1.0 && share < *here {
                    *here = share;
                }
            }
        }
    }
    away
}

/// Where the Laplacian changes its sign towards a neighbour, on the pixel that is nearer to zero.
fn zero_crossings(gradient: &Gradient, [width, height]: [usize; 2]) -> Vec<bool> {
    let mut laplacian = vec![0f32; width * height];
    for y in 1..height - 1 {
        for x in 1..width - 1 {
            let (dx, dy) =
                (gradient.at(x + 1, y).x - gradient.at(x - 1, y).x, gradient.at(x, y + 1).y - gradient.at(x, y - 1).y);
            laplacian[y * width + x] = dx + dy;
        }
    }
    let mut zero = vec![false; width * height];
    for y in 1..height - 1 {
        for x in 1..width - 1 {
            let i = y * width + x;
            let here = laplacian[i];
            let crosses = |j: usize| laplacian[j] * here < 0.0 && here.abs() <= laplacian[j].abs();
            zero[i] = here == 0.0 || [i - 1, i + 1, i - width, i + width].into_iter().any(crosses);
        }
    }
    zero
}
