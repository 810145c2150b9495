//! Long edges of a picture that are straight or nearly so, as a lens bends straight things.
//!
//! Places of steepest brightness are found between pixels (Devernay 1995), linked into chains, cut where they turn, and pieces that
//! continue each other across gaps are joined: a ruler's edge is broken by its graduations, a board's lines change from black-white
//! to white-black at every corner.
//!
//! # Source
//! J. Canny, "A computational approach to edge detection", IEEE Trans. PAMI 8 (1986) 679-698; F. Devernay, *A non-maxima
//! suppression method for edge detection with sub-pixel accuracy*, INRIA research report 2724, 1995.

use super::Grey;
use super::gradient::vertex;
use nalgebra::{DMatrix, DVector, Point2, Vector2};

/// What counts as a long edge. Lengths are in px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightOptions {
    /// Standard deviation of the smoothing, px.
    pub sigma_px: f32,
    /// The least change of brightness per px at an edge's start, of 255.
    pub least_gradient: f32,
    /// The shortest edge, as a share of the picture's diagonal.
    pub least_length: f64,
    /// Pictures with a longer side than this are looked at in a size below it, px: what is lost is less than edges are straight, and
    /// soft edges become sharp.
    pub most_side: u32,
    /// The strongest bow, ends against middle, as a share of the length.
    pub most_bow: f64,
}

impl Default for StraightOptions {
    fn default() -> Self {
        Self { sigma_px: 1.0, least_gradient: 6.0, least_length: 0.08, most_side: 2500, most_bow: 0.07 }
    }
}

/// A long edge: places along it, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct LongEdge {
    /// Places of the edge, each the mean of a stretch of it; px.
    pub points: Vec<Point2<f64>>,
}

impl LongEdge {
    /// From end to end, px.
    pub fn length(&self) -> f64 {
        chord(&self.points)
    }
}

/// Chains shorter than this are texture.
const SHORTEST_PIECE: f64 = 12.0;

/// Places further than this from the smooth course of their edge belong to something else.
const STRAY_PX: f64 = 0.8;

/// Length of the stretches whose mean is a place of the edge, px: the smoothing ties neighbours together, so that single places
/// would pretend to more than they know. Longer edges have longer ones.
const STRETCH_PX: f64 = 8.0;

/// The most places of one edge.
const MOST_PLACES: f64 = 64.0;

/// The long edges of a picture, longest first.
///
/// # Example: a slanting edge
/// ```
/// use hoofgeo::pixels::{Grey, StraightOptions, long_edges};
/// let bright = |x: f32, y: f32| if x + 0.2 * y < 60.0 { 40.0 } else { 200.0 };
/// let values = (0..100).flat_map(|y| (0..120).map(move |x| bright(x as f32, y as f32))).collect();
/// let grey = Grey::from_values(120, 100, values).unwrap();
/// let edges = long_edges(&grey, &StraightOptions::default());
/// assert_eq!(edges.len(), 1);
/// assert!(edges[0].length() > 80.0);
/// ```
pub fn long_edges(grey: &Grey, options: &StraightOptions) -> Vec<LongEdge> {
    let times = grey.width().max(grey.height()).div_ceil(options.most_side.max(1));
    if times > 1 {
        let small = reduced(grey, times);
        let mut edges = long_edges(&small, &StraightOptions { most_side: u32::MAX, ..*options });
        edges.iter_mut().flat_map(|e| &mut e.points).for_each(|p| *p *= f64::from(times));
        return edges;
    }
    let field = EdgeField::new(grey, options);
    let mut pieces = Vec::new();
    for chain in field.chains() {
        cut(&chain, options.most_bow, &mut pieces);
    }
    let diagonal = f64::from(grey.width()).hypot(f64::from(grey.height()));
    let shortest = SHORTEST_PIECE.max(0.006 * diagonal);
    pieces.retain(|p| chord(p) >= shortest);
    pieces.sort_by(|a, b| chord(b).total_cmp(&chord(a)));
    let mut edges: Vec<LongEdge> = joined(pieces, options.most_bow)
        .into_iter()
        .filter(|p| chord(p) >= options.least_length * diagonal)
        .filter_map(|p| averaged(&p))
        .collect();
    edges.sort_by(|a, b| b.length().total_cmp(&a.length()));
    edges
}

/// The picture in a size so many times smaller: means of squares of pixels.
fn reduced(grey: &Grey, times: u32) -> Grey {
    let (width, height) = (grey.width() / times, grey.height() / times);
    let (row, n) = (grey.width() as usize, times as usize);
    let mean = |x: usize, y: usize| {
        let rows = (y * n..(y + 1) * n).map(|y| &grey.values()[y * row + x * n..y * row + (x + 1) * n]);
        rows.flatten().sum::<f32>() / (n * n) as f32
    };
    let values = (0..height as usize).flat_map(|y| (0..width as usize).map(move |x| (x, y)));
    Grey::from_values(width, height, values.map(|(x, y)| mean(x, y)).collect()).expect("one value for each pixel")
}

/// Where brightness changes steepest: one place at most for each pixel.
struct EdgeField {
    width: usize,
    height: usize,
    /// Place and unit gradient of the pixels on an edge.
    places: Vec<Option<(Point2<f64>, Vector2<f64>)>>,
    strength: Vec<f32>,
    strong: f32,
}

impl EdgeField {
    fn new(grey: &Grey, options: &StraightOptions) -> Self {
        let smooth = grey.smoothed(options.sigma_px);
        let (width, height) = (grey.width() as usize, grey.height() as usize);
        let v = smooth.values();
        let mut gradient = vec![Vector2::<f32>::zeros(); v.len()];
        for y in 1..height.saturating_sub(1) {
            for x in 1..width.saturating_sub(1) {
                let i = y * width + x;
                gradient[i] = Vector2::new(v[i + 1] - v[i - 1], v[i + width] - v[i - width]) / 2.0;
            }
        }
        let strength: Vec<f32> = gradient.iter().map(Vector2::norm).collect();
        // Texture and noise set the level above which an edge may start.
        let mut sample: Vec<f32> = strength.iter().step_by(7).copied().collect();
        let middle = sample.len() / 2;
        let median = if sample.is_empty() { 0.0 } else { *sample.select_nth_unstable_by(middle, f32::total_cmp).1 };
        let strong = options.least_gradient.max(4.0 * median);
        let mut places = vec![None; v.len()];
        // At the border the smoothing has a part of its neighbours alone.
        let margin = (4.0 * options.sigma_px).ceil() as usize + 3;
        for y in margin..height.saturating_sub(margin) {
            for x in margin..width.saturating_sub(margin) {
                let i = y * width + x;
                let (g, m) = (gradient[i], strength[i]);
                if m < strong / 2.0 {
                    continue;
                }
                let across = if g.x.abs() >= g.y.abs() { 1 } else { width };
                let (before, behind) = (strength[i - across], strength[i + across]);
                if !(m >= before && m > behind) {
                    continue;
                }
                let shift = vertex(f64::from(before), f64::from(m), f64::from(behind));
                let mut place = Point2::new(x as f64 + 0.5, y as f64 + 0.5);
                place[usize::from(across != 1)] += shift;
                places[i] = Some((place, g.cast::<f64>() / f64::from(m)));
            }
        }
        Self { width, height, places, strength, strong }
    }

    /// Places linked along their edges.
    fn chains(&self) -> Vec<Vec<Point2<f64>>> {
        let mut taken = vec![false; self.places.len()];
        let mut chains = Vec::new();
        for start in 0..self.places.len() {
            if taken[start] || self.strength[start] < self.strong || self.places[start].is_none() {
                continue;
            }
            taken[start] = true;
            let mut chain = self.follow(start, -1.0, &mut taken);
            chain.reverse();
            chain.extend(self.places[start].map(|(p, _)| p));
            chain.extend(self.follow(start, 1.0, &mut taken));
            if chain.len() as f64 >= 0.7 * SHORTEST_PIECE {
                chains.push(chain);
            }
        }
        chains
    }

    /// The places that follow `from`, to the left or the right of its gradient.
    fn follow(&self, from: usize, side: f64, taken: &mut [bool]) -> Vec<Point2<f64>> {
        let mut out = Vec::new();
        let mut here = from;
        while let Some((place, gradient)) = self.places[here] {
            let ahead = Vector2::new(-gradient.y, gradient.x) * side;
            let (x, y) = ((here % self.width) as i64, (here / self.width) as i64);
            let mut best: Option<(f64, usize)> = None;
            for dy in -2..=2_i64 {
                for dx in -2..=2_i64 {
                    let (nx, ny) = (x + dx, y + dy);
                    if nx < 0 || ny < 0 || nx >= self.width as i64 || ny >= self.height as i64 {
                        continue;
                    }
                    let next = ny as usize * self.width + nx as usize;
                    let Some((p, g)) = self.places[next].filter(|_| !taken[next]) else { continue };
                    let step = p - place;
                    let forward = step.dot(&ahead);
                    let sideways = step.dot(&gradient).abs();
                    // The edge may turn by 25° from place to place: rough grain does, corners turn further.
                    if forward <= 0.1 || g.dot(&gradient) < 0.9 || sideways > 0.6 * forward + 0.3 {
                        continue;
                    }
                    let cost = forward + 2.0 * sideways;
                    if best.is_none_or(|(c, _)| cost < c) {
                        best = Some((cost, next));
                    }
                }
            }
            let Some((_, next)) = best else { break };
            taken[next] = true;
            out.extend(self.places[next].map(|(p, _)| p));
            here = next;
        }
        out
    }
}

fn chord(points: &[Point2<f64>]) -> f64 {
    match points {
        [first, .., last] => (last - first).norm(),
        _ => 0.0,
    }
}

/// Cuts a chain where it turns, until every piece bows no more than allowed (Douglas and Peucker's rule).
fn cut(chain: &[Point2<f64>], most_bow: f64, pieces: &mut Vec<Vec<Point2<f64>>>) {
    let [first, .., last] = chain else { return };
    let along = last - first;
    let length = along.norm();
    if chain.len() < 6 {
        return;
    }
    let normal = Vector2::new(-along.y, along.x) / length.max(1e-9);
    let off = |p: &Point2<f64>| if length < 3.0 { (p - first).norm() } else { (p - first).dot(&normal).abs() };
    let (at, most) =
        chain.iter().enumerate().map(|(i, p)| (i, off(p))).max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0, 0.0));
    let smooth = || Course::of(chain).is_some_and(|c| chain.iter().all(|p| c.off(p).abs() < 2.0 * STRAY_PX));
    if most > 1.0 + most_bow * length || (most > 1.0 && !smooth()) {
        let at = at.clamp(1, chain.len() - 2);
        cut(&chain[..=at], most_bow, pieces);
        cut(&chain[at..], most_bow, pieces);
    } else if most <= 1.0 || smooth() {
        pieces.push(chain.to_vec());
    }
}

/// The smooth course of an edge: a polynomial of third degree across its chord (second where it is short).
struct Course {
    origin: Point2<f64>,
    along: Vector2<f64>,
    half: f64,
    terms: DVector<f64>,
}

impl Course {
    fn of(points: &[Point2<f64>]) -> Option<Self> {
        Self::of_degree(points, 3)
    }

    fn of_degree(points: &[Point2<f64>], degree: usize) -> Option<Self> {
        let [first, .., last] = points else { return None };
        let half = (last - first).norm() / 2.0;
        if half < 2.0 || points.len() <= degree + 1 {
            return None;
        }
        let mut course = Self {
            origin: nalgebra::center(first, last),
            along: (last - first) / (2.0 * half),
            half,
            terms: DVector::zeros(0),
        };
        let local: Vec<(f64, f64)> = points.iter().map(|p| course.local(p)).collect();
        let a = DMatrix::from_fn(local.len(), degree + 1, |i, j| local[i].0.powi(j as i32));
        let b = DVector::from_fn(local.len(), |i, _| local[i].1);
        course.terms = (a.transpose() * &a).cholesky()?.solve(&(a.transpose() * b));
        Some(course)
    }

    /// Place along the chord, −1 to 1, and across it, px.
    fn local(&self, p: &Point2<f64>) -> (f64, f64) {
        let d = p - self.origin;
        (d.dot(&self.along) / self.half, self.along.x * d.y - self.along.y * d.x)
    }

    fn across(&self, t: f64) -> f64 {
        self.terms.iter().rev().fold(0.0, |sum, c| sum * t + c)
    }

    /// Slope of the course against its chord.
    fn slope(&self, t: f64) -> f64 {
        let terms = self.terms.iter().enumerate().skip(1);
        terms.map(|(j, c)| c * j as f64 * t.powi(j as i32 - 1)).sum::<f64>() / self.half
    }

    /// How far a place lies from the course, px.
    fn off(&self, p: &Point2<f64>) -> f64 {
        let (t, across) = self.local(p);
        across - self.across(t)
    }
}

/// Joins pieces that continue each other.
fn joined(pieces: Vec<Vec<Point2<f64>>>, most_bow: f64) -> Vec<Vec<Point2<f64>>> {
    let mut pieces: Vec<Option<Vec<Point2<f64>>>> = pieces.into_iter().map(Some).collect();
    let mut edges = Vec::new();
    for i in 0..pieces.len() {
        let Some(mut edge) = pieces[i].take() else { continue };
        // First on from its end, then from its start.
        for _ in 0..2 {
            while let Some((next, longer)) = continuation(&edge, &pieces, most_bow) {
                pieces[next] = None;
                edge = longer;
            }
            edge.reverse();
        }
        edges.push(edge);
    }
    edges
}

/// The nearest piece that continues an edge from its end, and the edge with it.
fn continuation(
    edge: &[Point2<f64>],
    pieces: &[Option<Vec<Point2<f64>>>],
    most_bow: f64,
) -> Option<(usize, Vec<Point2<f64>>)> {
    let end = edge.last()?;
    let length = chord(edge);
    // The bend at the end is known well enough to look half an edge ahead, not further.
    let reach = (0.5 * length).max(SHORTEST_PIECE);
    let course = Course::of_degree(edge, if length < 80.0 { 1 } else { 2 })?;
    let heading = (course.along + Vector2::new(-course.along.y, course.along.x) * course.slope(1.0)).normalize();
    let mut best: Option<(f64, usize, bool)> = None;
    for (i, piece) in pieces.iter().enumerate() {
        let Some([first, .., last]) = piece.as_deref() else { continue };
        for (near, far, turned) in [(first, last, false), (last, first, true)] {
            let gap = (near - end).dot(&heading);
            if !(-2.0..=reach).contains(&gap) || best.is_some_and(|(g, ..)| gap >= g) {
                continue;
            }
            let sideways = |p: &Point2<f64>| course.off(p).abs();
            let direction = (far - near).normalize();
            // A short piece's own direction is uncertain; what lies beyond is uncertain by the bend.
            let turn = 0.04 + 1.5 / (far - near).norm().max(1.0);
            if direction.dot(&heading) > 0.0
                && (heading.x * direction.y - heading.y * direction.x).abs() < turn.min(0.12)
                && sideways(near) < 0.7 + 0.03 * gap.max(0.0)
            {
                best = Some((gap, i, turned));
            }
        }
    }
    let (_, i, turned) = best?;
    let mut longer = edge.to_vec();
    let piece = pieces[i].as_ref()?;
    if turned {
        longer.extend(piece.iter().rev());
    } else {
        longer.extend(piece.iter());
    }
    let course = Course::of(&longer)?;
    let off: Vec<f64> = longer.iter().map(|p| course.off(p)).collect();
    let rms = (off.iter().map(|o| o * o).sum::<f64>() / off.len() as f64).sqrt();
    let bow = (course.across(1.0) + course.across(-1.0)) / 2.0 - course.across(0.0);
    (rms < STRAY_PX / 2.0 && bow.abs() < 1.0 + most_bow * 2.0 * course.half).then_some((i, longer))
}

/// Means of stretches, without strays; `None` where too few are left.
fn averaged(points: &[Point2<f64>]) -> Option<LongEdge> {
    let course = Course::of(points)?;
    let kept: Vec<Point2<f64>> = points.iter().filter(|p| course.off(p).abs() < STRAY_PX).copied().collect();
    let course = Course::of(&kept)?;
    let stretch = STRETCH_PX.max(2.0 * course.half / MOST_PLACES);
    let mut bins: std::collections::BTreeMap<i64, Vec<Point2<f64>>> = std::collections::BTreeMap::new();
    for p in &kept {
        let bin = (course.local(p).0 * course.half / stretch).floor() as i64;
        bins.entry(bin).or_default().push(*p);
    }
    // A stretch with few places is one that the edge hardly crosses.
    let full = |b: &Vec<Point2<f64>>| b.len() as f64 >= 0.4 * stretch;
    let points: Vec<_> = bins
        .values()
        .filter(|b| full(b))
        .map(|b| Point2::from(b.iter().map(|p| p.coords).sum::<Vector2<f64>>() / b.len() as f64))
        .collect();
    (points.len() >= 6).then_some(LongEdge { points })
}
