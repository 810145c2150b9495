//! Where each landmark of a foot is to be expected from the others.
//!
//! The foot is drawn from a few numbers (wall angles, lengths, offsets) with their spread among sound and neglected feet; to first
//! order that makes the landmarks jointly normal. Size, place, turn and facing are free: a photo's landmarks are brought onto the
//! foot by the best similarity, each then tested against where all the others expect it.
//!
//! # Sources
//! Wall angles: Dyson et al. 2011, Vet J 190:364-371 (52.2° ± 3.7°, and 43.5° ± 6.3° at the heel). Wall length to heel length:
//! Stachurska et al. 2008, Arch Tierz 51:531. Support length: Iran J Vet Surg (Dareh-Shori horses). All other offsets and spreads:
//! estimates, no source, set so that feet of pony, riding horse, draught horse and foal, long and short, stay below the limit (the
//! table of slips in `VALIDATION.md`). The test: leave-one-out residuals of a generalised least-squares
//! fit, J. Haslett, *A simple derivation of deletion diagnostic results for the general linear model with correlated errors*,
//! J. R. Statist. Soc. B 61 (1999) 603-609.

use crate::foot::{SubjectKind, View};
use crate::landmark::Landmark;
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};
use std::sync::LazyLock;

/// A number that a foot is drawn from: mean and standard deviation.
type Drawn = (f64, f64);

/// Where those numbers put the landmarks.
type Places = fn(&[f64]) -> Vec<(Landmark, Vector2<f64>)>;

/// Angles in degrees, lengths in mm of a foot that stands on 125 mm; x back along the ground (or to the lateral side), y up (or forward).
const LATERAL: [Drawn; 25] = [
    (52.0, 4.0),  // 0 dorsal wall
    (8.0, 7.5),   // 1 heel wall flatter than that: heels that have run under are met every day
    (85.0, 4.2),  // 2 dorsal wall's length
    (36.0, 4.5),  // 3 heel's length
    (125.0, 2.0), // 4 support
    (0.0, 1.0),   // 5 heel's bearing point against the toe's, up
    (20.0, 18.0), // 6 ground point in front, before the toe
    (30.0, 20.0), // 7 ground point behind, behind the heel
    (0.0, 1.0),   // 8 ground in front, up
    (0.0, 1.0),   // 9 ground behind, up
    (2.0, 4.5),   // 10 pastern steeper than the dorsal wall
    (13.0, 4.5),  // 11 lower pastern point above the coronet
    (0.0, 2.5),   // 12 and across
    (56.0, 14.0), // 13 from there to the upper one
    (14.0, 7.5),  // 14 breakover behind the toe
    (0.0, 1.0),   // 15 and up
    (12.0, 4.0),  // 16 bulb behind the heel's coronet
    (-10.0, 4.0), // 17 and up
    (5.0, 3.2),   // 18 sole plane along the heel
    (0.0, 1.5),   // 19 and across
    (0.0, 1.0),   // 20 toe's bearing point, up
    (0.0, 1.2),   // 21 the coronet, across
    (0.0, 0.12),  // 22 horn grown long or cut short, toe and heel alike
    (0.0, 6.0),   // 23 far bulb behind the near one: uneven, and the foot turned
    (0.0, 4.0),   // 24 and up
];

fn lateral(p: &[f64]) -> Vec<(Landmark, Vector2<f64>)> {
    use Landmark as L;
    let along = |from: Vector2<f64>, length: f64, degrees: f64| {
        let (s, c) = degrees.to_radians().sin_cos();
        from + Vector2::new(c, s) * length
    };
    let (heel_angle, pastern, grown) = (p[0] - p[1], p[0] + p[10], 1.0 + p[22]);
    let toe = Vector2::new(0.0, p[20]);
    let heel = Vector2::new(p[4], p[5]);
    let coronet = along(along(toe, p[2] * grown, p[0]), p[21], p[0] + 90.0);
    let heel_coronet = along(heel, p[3] * grown, heel_angle);
    let lower = along(along(coronet, p[11], pastern), p[12], pastern + 90.0);
    vec![
        (L::ToeGround, toe),
        (L::HeelGround, heel),
        (L::ToeCoronet, coronet),
        (L::HeelCoronet, heel_coronet),
        (L::GroundFront, Vector2::new(-p[6], p[8])),
        (L::GroundBack, Vector2::new(p[4] + p[7], p[9])),
        (L::PasternLower, lower),
        (L::PasternUpper, along(lower, p[13], pastern)),
        (L::Breakover, toe + Vector2::new(p[14], p[15])),
        (L::HeelBulb, heel_coronet + Vector2::new(p[16], p[17])),
        (L::HeelBulbFar, heel_coronet + Vector2::new(p[16] + p[23], p[17] + p[24])),
        (L::SolePlaneHeel, along(along(heel, p[18], heel_angle), p[19], heel_angle + 90.0)),
    ]
}

/// The sole: y forward from the heels, x from the frog's axis to the lateral side.
const SOLAR: [Drawn; 30] = [
    (130.0, 5.0), // 0 length
    (63.0, 3.8),  // 1 half width
    (0.0, 2.5),   // 2 toe off the axis
    (9.0, 2.2),   // 3 wall at the toe
    (3.5, 1.3),   // 4 white line
    (0.0, 1.3),   // 5 white line's outer edge off the axis
    (0.0, 1.3),   // 6 its inner edge
    (86.0, 5.7),  // 7 frog's apex
    (0.0, 2.5),   // 8 off the axis
    (-8.0, 5.7),  // 9 sulcus
    (0.0, 2.5),   // 10 off the axis
    (27.0, 3.8),  // 11 frog's half width
    (-5.0, 5.0),  // 12 frog's corners
    (0.0, 2.5),   // 13 and each: along, medial
    (0.0, 2.5),   // 14 along, lateral
    (0.0, 1.9),   // 15 across, medial
    (0.0, 1.9),   // 16 across, lateral
    (35.0, 4.4),  // 17 half distance of the heels
    (0.0, 2.5),   // 18 along, medial
    (0.0, 2.5),   // 19 along, lateral
    (0.0, 1.9),   // 20 across, medial
    (0.0, 1.9),   // 21 across, lateral
    (67.0, 5.7),  // 22 widest line
    (0.0, 6.0),   // 23 along, medial
    (0.0, 6.0),   // 24 along, lateral
    (0.0, 3.2),   // 25 across, medial
    (0.0, 3.2),   // 26 across, lateral
    (25.0, 4.4),  // 27 bulbs' half distance
    (-20.0, 5.7), // 28 bulbs
    (7.0, 3.8),   // 29 breakover behind the toe
];

fn solar(p: &[f64]) -> Vec<(Landmark, Vector2<f64>)> {
    use Landmark as L;
    let v = Vector2::new;
    let outer = p[0] - p[3];
    vec![
        (L::ToeOuter, v(p[2], p[0])),
        (L::WhiteLineOuter, v(p[2] + p[5], outer)),
        (L::WhiteLineInner, v(p[2] + p[5] + p[6], outer - p[4])),
        (L::FrogApex, v(p[8], p[7])),
        (L::CentralSulcus, v(p[10], p[9])),
        (L::FrogBaseMedial, v(p[15] - p[11], p[12] + p[13])),
        (L::FrogBaseLateral, v(p[16] + p[11], p[12] + p[14])),
        (L::HeelMedial, v(p[20] - p[17], p[18])),
        (L::HeelLateral, v(p[21] + p[17], p[19])),
        (L::WidestMedial, v(p[25] - p[1], p[22] + p[23])),
        (L::WidestLateral, v(p[26] + p[1], p[22] + p[24])),
        (L::BulbMedial, v(p[20] - p[27], p[28] + p[18])),
        (L::BulbLateral, v(p[21] + p[27], p[28] + p[19])),
        (L::BreakoverSolar, v(p[2], p[0] - p[29])),
    ]
}

/// How far any landmark strays on its own, per axis, mm of such a foot: hair, dirt, the plane it lies on.
const OWN_U_MM: f64 = 1.2;

/// How much more a foal's foot may differ in shape (estimate, no source).
const FOAL: f64 = 1.4;

/// The expected foot of one view.
struct Shape {
    landmarks: Vec<Landmark>,
    mean: Vec<Vector2<f64>>,
    /// Covariance of all coordinates, x and y of each landmark in turn.
    covariance: DMatrix<f64>,
}

impl Shape {
    fn new(drawn: &[Drawn], place: Places) -> Self {
        let at: Vec<f64> = drawn.iter().map(|d| d.0).collect();
        let (landmarks, mean): (Vec<_>, Vec<_>) = place(&at).into_iter().unzip();
        let n = 2 * mean.len();
        let mut covariance = DMatrix::identity(n, n) * (OWN_U_MM * OWN_U_MM);
        for (k, (_, sd)) in drawn.iter().enumerate() {
            // Half the difference over one standard deviation to either side.
            let moved = |by: f64| {
                let mut p = at.clone();
                p[k] += by;
                place(&p)
            };
            let (plus, minus) = (moved(*sd), moved(-sd));
            let column = DVector::from_fn(n, |i, _| (plus[i / 2].1[i % 2] - minus[i / 2].1[i % 2]) / 2.0);
            covariance += &column * column.transpose();
        }
        Self { landmarks, mean, covariance }
    }

    fn of(view: View) -> &'static Self {
        static OF_LATERAL: LazyLock<Shape> = LazyLock::new(|| Shape::new(&LATERAL, lateral));
        static OF_SOLAR: LazyLock<Shape> = LazyLock::new(|| Shape::new(&SOLAR, solar));
        match view {
            View::Lateral => &OF_LATERAL,
            View::Solar => &OF_SOLAR,
        }
    }
}

/// A landmark where it was placed, mm, with the covariance of placing it and of where its own plane lies.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    pub(super) landmark: Landmark,
    pub(super) place: Vector2<f64>,
    pub(super) covariance: Matrix2<f64>,
    /// How far its plane lies behind the measured one, mm, and how its place moves with that.
    pub(super) depth: f64,
    pub(super) by_depth: Vector2<f64>,
}

impl Seen {
    /// Two landmarks exchanged: each is then seen in the other's plane.
    pub(super) fn exchange(seen: &mut [Self], i: usize, j: usize) {
        let (a, b) = (seen[i], seen[j]);
        for (k, old, other) in [(i, a, b), (j, b, a)] {
            seen[k] = Self {
                landmark: other.landmark,
                place: old.place + old.by_depth * (other.depth - old.depth),
                depth: other.depth,
                ..old
            };
        }
    }
}

/// Landmarks brought onto the expected foot.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// Size against a foot of 125 mm.
    pub(super) size: f64,
    /// Each landmark's place on the expected foot, mm.
    pub(super) places: Vec<Vector2<f64>>,
    /// Whether the photo shows it mirrored: toe to the right, or medial side to the right of the toe.
    pub(super) mirrored: bool,
    /// How far each lies from where the others expect it, mm in the photo.
    pub(super) off_mm: Vec<f64>,
    /// The same against what is known of it: χ² with two degrees of freedom.
    pub(super) distances: Vec<f64>,
    /// The same of all together, and its degrees of freedom.
    pub(super) cost: f64,
    pub(super) degrees_of_freedom: usize,
    /// What a residual counts in the cost, similarity fitted, and that times the residuals.
    projector: DMatrix<f64>,
    weighted: DVector<f64>,
}

impl Fit {
    /// What two landmarks have in the cost: without them it would be lower by this, and wherever they lay instead it could not be lower
    /// still (to first order in the similarity).
    pub(super) fn share_of(&self, i: usize, j: usize) -> f64 {
        let rows = [2 * i, 2 * i + 1, 2 * j, 2 * j + 1];
        let own = nalgebra::Matrix4::from_fn(|r, c| self.projector[(rows[r], rows[c])]);
        let d = nalgebra::Vector4::from_fn(|r, _| self.weighted[rows[r]]);
        // Of four landmarks or fewer the others say nothing.
        own.cholesky().map_or(f64::INFINITY, |own| d.dot(&own.solve(&d)))
    }
}

/// A similarity a z + b on complex numbers, mirrored or not.
type Complex = nalgebra::Complex<f64>;

/// Brings landmarks onto the expected foot; `None` for fewer than three, or for landmarks that coincide.
pub(super) fn fit(view: View, kind: SubjectKind, seen: &[Seen]) -> Option<Fit> {
    let shape = Shape::of(view);
    let at: Vec<usize> =
        seen.iter().map(|s| shape.landmarks.iter().position(|l| *l == s.landmark)).collect::<Option<_>>()?;
    let mean: Vec<Vector2<f64>> = at.iter().map(|&i| shape.mean[i]).collect();
    let wider = if kind == SubjectKind::Foal { FOAL * FOAL } else { 1.0 };
    let n = 2 * at.len();
    let own = DMatrix::from_fn(n, n, |i, j| shape.covariance[(2 * at[i / 2] + i % 2, 2 * at[j / 2] + j % 2)] * wider);
    fit_to(&mean, &own, seen)
}

/// How far a landmark of one foot moves from one photo to a later one besides being placed anew, per axis, mm of a foot of 125 mm:
/// growth, trims and wear, the stance (estimates, no source).
const fn moves(landmark: Landmark) -> f64 {
    use Landmark as L;
    match landmark {
        L::GroundFront | L::GroundBack => 30.0,
        L::PasternUpper => 14.0,
        L::ToeGround | L::HeelGround | L::Breakover | L::BreakoverSolar => 8.0,
        L::ToeOuter | L::HeelMedial | L::HeelLateral | L::WidestMedial | L::WidestLateral => 6.0,
        _ => 4.0,
    }
}

/// Brings landmarks onto the mean of this foot's earlier photos; those that all of them have.
pub(super) fn fit_to_earlier(view: View, seen: &[Seen], earlier: &[Vec<Seen>]) -> Option<(Vec<Seen>, Fit)> {
    let common: Vec<Seen> =
        seen.iter().copied().filter(|s| earlier.iter().all(|e| e.iter().any(|o| o.landmark == s.landmark))).collect();
    // Each earlier photo as it lies on the expected foot: sizes and turns are then alike.
    let on_foot: Vec<Fit> = earlier
        .iter()
        .map(|e| {
            let of: Option<Vec<Seen>> =
                common.iter().map(|s| e.iter().copied().find(|o| o.landmark == s.landmark)).collect();
            fit(view, SubjectKind::Foal, &of?)
        })
        .collect::<Option<_>>()?;
    let n = on_foot.len() as f64;
    let mean: Vec<Vector2<f64>> =
        (0..common.len()).map(|i| on_foot.iter().map(|f| f.places[i]).sum::<Vector2<f64>>() / n).collect();
    let own = DMatrix::from_diagonal(&DVector::from_fn(2 * common.len(), |i, _| {
        let landmark = &common[i / 2];
        let size = on_foot.iter().map(|f| f.size).sum::<f64>() / n;
        // Those photos' landmarks were placed as these were.
        moves(landmark.landmark).powi(2) + landmark.covariance.trace() / 2.0 / (size * size) / n
    }));
    let fit = fit_to(&mean, &own, &common)?;
    Some((common, fit))
}

fn fit_to(mean: &[Vector2<f64>], own: &DMatrix<f64>, seen: &[Seen]) -> Option<Fit> {
    if seen.len() < 3 {
        return None;
    }
    // A photo from the other side shows the mirror image; which it is, plain least squares tells.
    let (mirrored, a, b) = [false, true]
        .into_iter()
        .filter_map(|mirrored| {
            let z: Vec<Vector2<f64>> = seen.iter().map(|s| reflect(s.place, mirrored)).collect();
            let (a, b) = similarity(mean, &z)?;
            // Relative to the size: shrinking everything to a point is no fit.
            let rest: f64 = mean.iter().zip(&z).map(|(m, z)| (back(*z, a, b) - m).norm_squared()).sum();
            Some((mirrored, a, b, rest))
        })
        .min_by(|x, y| x.3.total_cmp(&y.3))
        .map(|(mirrored, a, b, _)| (mirrored, a, b))?;
    let n = 2 * seen.len();
    let (mut a, mut b) = (a, b);
    let mut out = None;
    // The covariance turns and grows with the foot: a second round has it right.
    for _ in 0..2 {
        let size = a.norm();
        let places: Vec<Vector2<f64>> = seen.iter().map(|s| back(reflect(s.place, mirrored), a, b)).collect();
        let mut v = own.clone();
        // Hair and dirt are no smaller on a small foot.
        let hair = OWN_U_MM * OWN_U_MM * (1.0 / (size * size) - 1.0).max(0.0);
        for (i, s) in seen.iter().enumerate() {
            let turn = Matrix2::new(a.re, a.im, -a.im, a.re) / (size * size);
            let flip = if mirrored { Matrix2::new(-1.0, 0.0, 0.0, 1.0) } else { Matrix2::identity() };
            let noise = turn * flip * s.covariance * flip * turn.transpose();
            for (r, c) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
                v[(2 * i + r, 2 * i + c)] += noise[(r, c)] + if r == c { hair } else { 0.0 };
            }
        }
        let inverse = v.cholesky()?.inverse();
        // Small changes of size and turn, and of place.
        let design = DMatrix::from_fn(n, 4, |i, k| {
            let m = mean[i / 2];
            match (k, i % 2) {
                (0, r) => m[r],
                (1, 0) => -m.y,
                (1, _) => m.x,
                (k, r) => f64::from(u8::from(k == r + 2)),
            }
        });
        let weighted = &inverse * &design;
        let normal = (design.transpose() * &weighted).cholesky()?;
        let r = DVector::from_fn(n, |i, _| places[i / 2][i % 2] - mean[i / 2][i % 2]);
        let change = normal.solve(&(weighted.transpose() * &r));
        let projector = &inverse - &weighted * normal.solve(&weighted.transpose());
        let pr = &projector * &r;
        let (off_mm, distances) = (0..seen.len())
            .map(|i| {
                let d = Vector2::new(pr[2 * i], pr[2 * i + 1]);
                // With three landmarks one number alone is left: a direction that nothing checks says nothing.
                let own = projector.fixed_view::<2, 2>(2 * i, 2 * i).into_owned().symmetric_eigen();
                let most = own.eigenvalues.max();
                (0..2)
                    .filter(|&k| own.eigenvalues[k] > 1e-6 * most && most > 1e-9)
                    .map(|k| (own.eigenvectors.column(k).dot(&d), own.eigenvalues[k]))
                    .fold((0.0f64, 0.0), |(off, chi), (d, e)| (off.hypot(size * d / e), chi + d * d / e))
            })
            .unzip();
        let cost = r.dot(&pr).max(0.0);
        let degrees_of_freedom = n - 4;
        out =
            Some(Fit { size, places, mirrored, off_mm, distances, cost, degrees_of_freedom, projector, weighted: pr });
        let (scale, shift) = (Complex::new(1.0 + change[0], change[1]), Complex::new(change[2], change[3]));
        (a, b) = (a * scale, b + a * shift);
    }
    out.filter(|f| f.size.is_finite() && f.distances.iter().all(|d| d.is_finite()))
}

fn reflect(p: Vector2<f64>, mirrored: bool) -> Vector2<f64> {
    if mirrored { Vector2::new(-p.x, p.y) } else { p }
}

/// The place on the expected foot of a place in the photo.
fn back(z: Vector2<f64>, a: Complex, b: Complex) -> Vector2<f64> {
    let w = (Complex::new(z.x, z.y) - b) / a;
    Vector2::new(w.re, w.im)
}

/// The similarity that takes `from` to `to` best.
fn similarity(from: &[Vector2<f64>], to: &[Vector2<f64>]) -> Option<(Complex, Complex)> {
    let n = from.len() as f64;
    let middle = |p: &[Vector2<f64>]| p.iter().sum::<Vector2<f64>>() / n;
    let (mf, mt) = (middle(from), middle(to));
    let (mut top, mut bottom) = (Complex::new(0.0, 0.0), 0.0);
    for (f, t) in from.iter().zip(to) {
        let (f, t) = (f - mf, t - mt);
        top += Complex::new(f.x, -f.y) * Complex::new(t.x, t.y);
        bottom += f.norm_squared();
    }
    let a = top / bottom;
    let b = Complex::new(mt.x, mt.y) - a * Complex::new(mf.x, mf.y);
    (a.norm() > 1e-9 && a.norm().is_finite()).then_some((a, b))
}
