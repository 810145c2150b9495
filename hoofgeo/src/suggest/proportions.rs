//! A foot's usual proportions, and how far feet differ in them: where a [`Shape`](super::Shape) begins.
//!
//! Each row is a number, its standard deviation between feet and where it is from. The deviations are wider than published ones of one
//! breed, for a shape has to fit every horse. `points` makes a foot of the numbers; the covariance of its points follows from theirs.

use crate::View;
use crate::landmark::{Landmark, Line};
use nalgebra::{DMatrix, DVector};

/// A proportion: value, standard deviation.
type Row = [f64; 2];

/// Seen from the side: the toe's bearing point is the origin, x runs back along the ground, y up; mm and degrees.
const LATERAL: &[Row] = &[
    [130.0, 10.0], // 0 bearing length: sole length 130.1 ± 8.2 mm after a trim (ten horses, Iran J Vet Surg; wider here)
    [52.0, 5.0],   // 1 toe angle: 52.2 ± 3.7° (Dyson et al., Vet J 2011;190:364, as quoted by others; wider here)
    [87.0, 12.0],  // 2 dorsal wall length: 88.3 ± 11.9 before, 85.3 ± 10.4 mm after a trim (Iran J Vet Surg)
    [43.5, 8.0],   // 3 heel angle: 43.5 ± 6.3° (Dyson et al. 2011, as quoted by others; wider here)
    [36.0, 7.0],   // 4 heel length: a half to a third of the dorsal wall (Stachurska et al. 2008; classical rule)
    [2.0, 4.5],    // 5 pastern's angle less the toe's: straight, ± 3 to 5° (common practice, no source)
    [16.0, 6.0],   // 6 lower pastern point above the coronet, along the pastern (estimate, no source)
    [55.0, 14.0],  // 7 upper pastern point above the lower one (estimate, no source)
    [20.0, 6.0],   // 8 bulb behind the heel's coronet (estimate, no source)
    [-4.0, 6.0],   // 9 bulb above it (estimate, no source)
    [13.0, 6.0],   // 10 breakover behind the toe (estimate, no source)
    [6.0, 4.0],    // 11 sole plane above the bearing point, along the heel (estimate, no source)
    [32.0, 18.0],  // 12 ground marked before the toe (estimate, no source)
    [32.0, 18.0],  // 13 ground marked behind the heel (estimate, no source)
];

/// Seen from the sole: the middle between the buttresses is the origin, x runs to the lateral side, y along the frog's axis to the toe.
const SOLAR: &[Row] = &[
    [125.0, 10.0], // 0 length from the buttresses to the toe (estimate beside the sole length above)
    [1.0, 0.06],   // 1 width to length: fore round, hind narrower (school rule; common practice, no source)
    [0.33, 0.045], // 2 toe before the frog's apex: a third of the length (laminitis charity page, trimming schools)
    [0.667, 0.05], // 3 frog's length to the foot's (school rule)
    [0.62, 0.10], // 4 frog's width to its length: 0.67 and more sound, 0.5 to 0.6 proportionate (Adams & Stashak 7th ed. p. 1099; a podiatry text)
    [0.60, 0.07], // 5 width across the buttresses to the foot's (common practice, no source)
    [0.50, 0.05], // 6 widest part, from the toe: the middle (Duckett's rule; 40 to 50 % in others)
    [9.0, 2.0],   // 7 wall at the toe: 5 to 10 mm (a veterinary encyclopaedia)
    [3.0, 1.0],   // 8 white line: 2 to 4 mm (a livery yard's text)
    [0.17, 0.04], // 9 bulb beside the axis, of the width (estimate, no source)
    [-13.0, 6.0], // 10 bulb behind the buttresses (estimate, no source)
    [8.0, 5.0],   // 11 breakover behind the toe (estimate, no source)
    [-3.0, 5.0],  // 12 end of the sulcus behind the frog's base (estimate, no source)
    [0.0, 3.0],   // 13 lateral half wider than the medial one (medial side usually steeper; estimate, no source)
    [0.0, 3.0],   // 14 lateral buttress ahead of the medial one (estimate, no source)
];

/// What makes each point stand apart from its neighbours' proportions, mm, in either direction (estimate, no source).
const OWN_MM: f64 = 1.5;
/// Points of an outline beside what landmarks say of it (estimate, no source).
const OUTLINE_MM: f64 = 2.5;

/// How many points stand for an outline.
pub(super) const fn vertices(line: Line) -> usize {
    match line {
        Line::OuterWall | Line::WhiteLine => 14,
        Line::FrogOutline => 8,
        _ => 0,
    }
}

/// The usual places of all points of a view and their covariance, mm: the landmarks in the order of the contract, then the outlines'.
pub(super) fn gaussian(view: View) -> (DVector<f64>, DMatrix<f64>) {
    let rows = match view {
        View::Lateral => LATERAL,
        View::Solar => SOLAR,
    };
    let numbers: Vec<f64> = rows.iter().map(|r| r[0]).collect();
    let at = |numbers: &[f64]| DVector::from_vec(points(view, numbers).into_iter().flatten().collect());
    let mean = at(&numbers);
    let mut covariance = DMatrix::zeros(mean.len(), mean.len());
    for (i, row) in rows.iter().enumerate() {
        let moved = |by: f64| {
            let mut n = numbers.clone();
            n[i] += by * row[1];
            at(&n)
        };
        // Of one standard deviation, to both sides: what the points do over the range that counts.
        let by = (moved(1.0) - moved(-1.0)) / 2.0;
        covariance += &by * by.transpose();
    }
    let landmarks = 2 * Landmark::of(view).count();
    for i in 0..mean.len() {
        covariance[(i, i)] += if i < landmarks { OWN_MM } else { OUTLINE_MM }.powi(2);
    }
    (mean, covariance)
}

fn points(view: View, n: &[f64]) -> Vec<[f64; 2]> {
    match view {
        View::Lateral => Landmark::of(view).map(|l| lateral(l, n)).collect(),
        View::Solar => {
            let lines = Line::of(view).flat_map(|line| (0..vertices(line)).map(move |k| (line, k)));
            Landmark::of(view).map(|l| solar(l, n)).chain(lines.map(|(line, k)| outline(line, k, n))).collect()
        }
    }
}

fn lateral(landmark: Landmark, n: &[f64]) -> [f64; 2] {
    let along = |from: [f64; 2], length: f64, degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        [from[0] + length * cos, from[1] + length * sin]
    };
    let (toe, heel) = ([0.0, 0.0], [n[0], 0.0]);
    let coronet = along(toe, n[2], n[1]);
    let heel_coronet = along(heel, n[4], n[3]);
    let lower = along(coronet, n[6], n[1] + n[5]);
    match landmark {
        Landmark::ToeCoronet => coronet,
        Landmark::HeelCoronet => heel_coronet,
        Landmark::HeelGround => heel,
        Landmark::GroundFront => [-n[12], 0.0],
        Landmark::GroundBack => [n[0] + n[13], 0.0],
        Landmark::PasternLower => lower,
        Landmark::PasternUpper => along(lower, n[7], n[1] + n[5]),
        Landmark::SolePlaneHeel => along(heel, n[11], n[3]),
        Landmark::Breakover => [n[10], 0.0],
        Landmark::HeelBulb => [heel_coronet[0] + n[8], heel_coronet[1] + n[9]],
        _ => toe,
    }
}

/// A foot's length and width, the place of its widest part, its half widths there and at the buttresses: medial negative.
struct Rim {
    length: f64,
    widest: f64,
    half: [f64; 2],
    heel: [f64; 2],
    heel_y: [f64; 2],
}

impl Rim {
    fn of(n: &[f64]) -> Self {
        let (length, width) = (n[0], n[0] * n[1]);
        let base = width * n[5];
        Self {
            length,
            widest: length * (1.0 - n[6]),
            half: [-(width - n[13]) / 2.0, (width + n[13]) / 2.0],
            heel: [-base / 2.0, base / 2.0],
            heel_y: [-n[14] / 2.0, n[14] / 2.0],
        }
    }

    /// The rim from the medial buttress (0) over the toe (1/2) to the lateral one (1), `inset` mm within it.
    fn at(&self, t: f64, inset: f64) -> [f64; 2] {
        let side = usize::from(t > 0.5);
        // 0 at the buttress, 1 at the toe.
        let s = 1.0 - (2.0 * t - 1.0).abs();
        let sign = if side == 0 { 1.0 } else { -1.0 };
        let (half, heel) = (self.half[side] + sign * inset, self.heel[side] + sign * inset * 0.6);
        let top = self.length - inset;
        if s < 0.45 {
            let u = s / 0.45;
            let from = self.heel_y[side];
            [heel + (half - heel) * (u * std::f64::consts::FRAC_PI_2).sin(), from + (self.widest - from) * u]
        } else {
            let (sin, cos) = ((s - 0.45) / 0.55 * std::f64::consts::FRAC_PI_2).sin_cos();
            [half * cos, self.widest + (top - self.widest) * sin]
        }
    }
}

fn solar(landmark: Landmark, n: &[f64]) -> [f64; 2] {
    let rim = Rim::of(n);
    let apex = n[0] * (1.0 - n[2]);
    let frog = n[0] * n[3];
    let (base, half_frog) = (apex - frog, frog * n[4] / 2.0);
    let width = n[0] * n[1];
    match landmark {
        Landmark::WhiteLineInner => [0.0, n[0] - n[7] - n[8]],
        Landmark::WhiteLineOuter => [0.0, n[0] - n[7]],
        Landmark::FrogApex => [0.0, apex],
        Landmark::CentralSulcus => [0.0, base + n[12]],
        Landmark::FrogBaseMedial => [-half_frog, base],
        Landmark::FrogBaseLateral => [half_frog, base],
        Landmark::HeelMedial => [rim.heel[0], rim.heel_y[0]],
        Landmark::HeelLateral => [rim.heel[1], rim.heel_y[1]],
        Landmark::WidestMedial => [rim.half[0], rim.widest],
        Landmark::WidestLateral => [rim.half[1], rim.widest],
        Landmark::BulbMedial => [-width * n[9], n[10]],
        Landmark::BulbLateral => [width * n[9], n[10]],
        Landmark::BreakoverSolar => [0.0, n[0] - n[11]],
        _ => [0.0, n[0]],
    }
}

fn outline(line: Line, k: usize, n: &[f64]) -> [f64; 2] {
    let rim = Rim::of(n);
    if line != Line::FrogOutline {
        let inset = if line == Line::WhiteLine { n[7] + n[8] } else { 0.0 };
        return rim.at(k as f64 / (vertices(line) - 1) as f64, inset);
    }
    let [apex, medial, lateral, sulcus] =
        [Landmark::FrogApex, Landmark::FrogBaseMedial, Landmark::FrogBaseLateral, Landmark::CentralSulcus]
            .map(|l| solar(l, n));
    // The frog's sides are hollow: narrower at half its length than a triangle.
    let side = |base: [f64; 2], share: f64, hollow: f64| {
        [apex[0] + (base[0] - apex[0]) * share * hollow, apex[1] + (base[1] - apex[1]) * share]
    };
    match k {
        0 => apex,
        1 => side(medial, 0.35, 0.9),
        2 => side(medial, 0.7, 0.88),
        3 => medial,
        4 => [sulcus[0], sulcus[1] + 4.0],
        5 => lateral,
        6 => side(lateral, 0.7, 0.88),
        _ => side(lateral, 0.35, 0.9),
    }
}
