//! What cannot be, and what is rare: gross slips that no uncertainty covers.
//!
//! A wrong label, two landmarks exchanged, one on the wrong place: each gives a value with a small ± and no sense. What a value can be is
//! declared with its measurement ([`Plausible`](crate::measure::Plausible)), how landmarks stand to each other with the landmarks
//! ([`ORDERS`]); here a photo is held against both and against the foot that its own landmarks lead to expect.
//!
//! A value that is impossible is refused by name ([`Undefined::Beyond`](crate::placed::Undefined)); everything else is a [`Finding`],
//! which says what to exchange or which factor fits, and a flag on each value that it touches.

mod labels;
mod shape;

pub(crate) use labels::{unchecked, wrong_factor};

use crate::foot::SubjectKind;
use crate::landmark::{Landmark, Line, ORDERS, Order, Stands};
use crate::located::Located;
use crate::measure::{self, Measurement};
use crate::placed::Used;
use crate::scene::plane::PLANE;
use crate::sidecar::Sidecar;
use crate::{Foot, Side, View};
use nalgebra::{Matrix2, Point2, SMatrix, Vector2};
use serde::{Serialize, Serializer};
use shape::{Fit, Seen, fit, fit_to_earlier};

macro_rules! doubts {
    ($($(#[$doc:meta])* $name:ident $flag:literal $meaning:literal;)+) => {
        /// Why a value is not to be trusted as it stands, whatever its ±.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[non_exhaustive]
        pub enum Doubt { $($(#[$doc])* $name),+ }

        impl Doubt {
            /// Every doubt, in the order in which tables list their flags.
            pub const ALL: &[Self] = &[$(Self::$name),+];

            /// The flag's name in results.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$name => $flag),+ }
            }

            /// What it means and what to do about it.
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$name => $meaning),+ }
            }
        }
    };
}

doubts! {
    /// The labels of the graduations fit no foot, but do so times a factor.
    LabelsFactor "labels_factor"
        "no foot has this size; with the graduations' labels times a factor (centimetres or inches read as millimetres?) it would be \
         one: correct the labels, in mm";
    /// Three graduations that a misread label would fit as well.
    GraduationsUnchecked "graduations_unchecked"
        "three graduations of a straight ruler do not show whether a label was misread, or whether the ruler's end was taken for its \
         zero: mark a fourth, or let the ruler be read from the picture";
    /// Two landmarks look exchanged.
    LandmarksSwapped "landmarks_swapped" "two landmarks of this value look exchanged: exchange them, or mark them again";
    /// Two landmarks stand to each other as in no foot.
    LandmarkOrder "landmark_order" "two landmarks of this value stand to each other as in no foot: mark them again";
    /// A landmark lies far from where the others expect it.
    LandmarkUnexpected "landmark_unexpected"
        "a landmark of this value lies farther from where the others expect it than in one sound foot of a thousand: look at it again";
    /// The foot shows its toe or its medial side where the sidecar's foot and side would not.
    FootContradicted "foot_contradicted"
        "the landmarks show another foot, or its other side, than the sidecar says: check foot and side, and that the photo is no \
         mirror image";
    /// Such a value is rare.
    RareValue "rare_value"
        "such a value is rare, from pony to draught horse: check landmarks and graduations; where the animal is the reason, say so in \
         subject.kind (pony, draught, foal)";
}

impl Serialize for Doubt {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

/// A set of doubts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Doubts(u8);

impl Doubts {
    /// With one more.
    #[must_use]
    pub const fn and(self, doubt: Doubt) -> Self {
        Self(self.0 | 1 << doubt as u8)
    }

    /// Those of both.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether there are none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether a doubt is among them.
    pub const fn contains(self, doubt: Doubt) -> bool {
        self.0 >> doubt as u8 & 1 == 1
    }

    /// Them, in order.
    pub fn iter(self) -> impl Iterator<Item = Doubt> {
        Doubt::ALL.iter().copied().filter(move |d| self.contains(*d))
    }

    /// Their names in results.
    pub fn names(self) -> Vec<&'static str> {
        self.iter().map(Doubt::name).collect()
    }
}

impl FromIterator<Doubt> for Doubts {
    fn from_iter<I: IntoIterator<Item = Doubt>>(all: I) -> Self {
        all.into_iter().fold(Self::default(), Self::and)
    }
}

/// What was found out about a photo.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Finding {
    /// Which doubt it is.
    #[serde(rename = "flag")]
    pub doubt: Doubt,
    /// What was found, a sentence without a full stop.
    pub what: String,
    /// What to do.
    pub help: String,
    /// The landmarks that it is about; none where it is about the whole photo.
    #[serde(serialize_with = "names")]
    pub landmarks: Vec<Landmark>,
    /// The factor by which the graduations' labels would fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub factor: Option<f64>,
}

fn names<S: Serializer>(landmarks: &[Landmark], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(landmarks.iter().map(|l| l.name()))
}

impl Finding {
    /// Whether it touches a value that was made of `used`.
    pub fn touches(&self, measurement: &Measurement, used: &Used) -> bool {
        match self.doubt {
            Doubt::FootContradicted => {
                used.gauge
                    || [measure::MEDIAL_LATERAL_WIDTH_DIFFERENCE.id, measure::HEEL_LENGTH_DIFFERENCE.id]
                        .contains(&measurement.id)
            }
            _ => self.landmarks.is_empty() || used.landmarks().any(|l| self.landmarks.contains(&l)),
        }
    }

    fn new(doubt: Doubt, what: impl Into<String>, help: impl Into<String>, landmarks: Vec<Landmark>) -> Self {
        Self { doubt, what: what.into(), help: help.into(), landmarks, factor: None }
    }

    /// What and help, as one sentence without a full stop.
    pub fn text(&self) -> String {
        format!("{}: {}", self.what, self.help)
    }
}

/// χ² with two degrees of freedom that one sound landmark in a thousand exceeds.
const UNEXPECTED: f64 = 13.815_5;

/// What an exchange of two landmarks has to gain, and how well they must fit afterwards, in standard deviations above the mean of
/// their χ².
const SWAP_GAIN: f64 = 20.0;
const SWAP_FIT: f64 = 5.0;

/// Sizes against a foot of 125 mm: such feet exist.
const SIZES: [f64; 2] = [0.46, 1.85];

/// How far the camera may be tilted without a straight ruler's showing it: what lies in a plane of its own is seen moved by this share of
/// its depth (the model's default, 5°).
const UNSEEN_TILT: f64 = 0.087;

/// A broken order shows from here on, mm of a foot of 125 mm.
const ORDER_SLACK: f64 = 6.0;

/// A landmark on an edge may lie so far from the line that was drawn along it, mm of a foot of 125 mm (estimate, no source).
const OFF_LINE: f64 = 18.0;

/// How a photo's landmarks fit a foot.
pub(crate) enum Looks {
    /// There are too few landmarks to tell.
    Unknown,
    /// No foot has the size; size against one of 125 mm.
    WrongSize(f64),
    /// It has the size of a foot; what is doubted of its landmarks.
    Foot(Vec<Finding>),
}

/// Holds a photo's landmarks against the foot that they lead to expect.
pub(crate) fn look(sidecar: &Sidecar, located: &Located) -> Looks {
    let kind = sidecar.subject.kind.unwrap_or(SubjectKind::Adult);
    let seen = seen(sidecar, located);
    let Some(found) = fit(sidecar.view, kind, &seen) else { return Looks::Unknown };
    let [small, large] = match kind {
        SubjectKind::Foal => [0.5 * SIZES[0], SIZES[1]],
        SubjectKind::Pony => [0.8 * SIZES[0], SIZES[1]],
        _ => SIZES,
    };
    if !(small..=large).contains(&found.size) {
        // Exchanged landmarks shrink the foot that fits them, a wrong label all feet.
        return match swapped(sidecar.view, kind, &seen, &found) {
            Some((pairs, fitting)) if (small..=large).contains(&fitting.size) => {
                Looks::Foot(exchanges(&seen, &pairs, &fitting))
            }
            _ => Looks::WrongSize(found.size),
        };
    }
    let mut findings = shaped(sidecar, kind, &seen, &found);
    if findings.is_empty() {
        findings.extend(off_lines(sidecar, located, found.size));
        findings.extend(other_foot(sidecar, &found));
    }
    Looks::Foot(findings)
}

/// A landmark that lies far from where earlier photos of the same foot, from the same side, have it.
pub fn against_earlier(sidecar: &Sidecar, located: &Located, earlier: &[(&Sidecar, &Located)]) -> Option<Finding> {
    if earlier.is_empty() {
        return None;
    }
    let before: Vec<Vec<Seen>> = earlier.iter().map(|(s, l)| seen(s, l)).collect();
    let (common, found) = fit_to_earlier(sidecar.view, &seen(sidecar, located), &before)?;
    let far = (0..common.len()).filter(|&i| found.distances[i] > UNEXPECTED);
    let worst = far.max_by(|&a, &b| found.distances[a].total_cmp(&found.distances[b]))?;
    let landmark = common[worst].landmark;
    Some(Finding::new(
        Doubt::LandmarkUnexpected,
        format!("{landmark} lies {:.0} mm from where this foot's earlier photos have it", found.off_mm[worst]),
        format!("look at {landmark} again, here and there"),
        vec![landmark],
    ))
}

fn seen(sidecar: &Sidecar, located: &Located) -> Vec<Seen> {
    let landmarks = sidecar.landmarks.keys().filter_map(|l| Some((*l, located.index.landmark(*l)?)));
    landmarks
        .map(|(landmark, i)| {
            let p = &located.points[i];
            let plane = &located.planes[p.plane];
            let own = p.by_own * SMatrix::<f64, PLANE, PLANE>::from_diagonal(&plane.u.map(|u| u * u).into());
            let behind = if plane.relative { 0.0 } else { located.planes[0].mean[0] };
            let (depth, by_depth) = match p.plane {
                0 => (0.0, p.by_measured.column(0).into_owned()),
                _ => (plane.mean[0] - behind, p.by_own.column(0).into_owned()),
            };
            let leans = Matrix2::identity() * (depth * UNSEEN_TILT).powi(2);
            let covariance = p.by_pixel * p.by_pixel.transpose() * (p.u_px * p.u_px)
                + p.anatomy
                + own * p.by_own.transpose()
                + leans;
            Seen { landmark, place: located.places[i].coords, covariance, depth, by_depth }
        })
        .collect()
}

/// Exchanged landmarks, broken orders, and landmarks where none is expected.
fn shaped(sidecar: &Sidecar, kind: SubjectKind, seen: &[Seen], found: &Fit) -> Vec<Finding> {
    let far: Vec<usize> = (0..seen.len()).filter(|&i| found.distances[i] > UNEXPECTED).collect();
    let broken = broken_order(seen, found);
    if far.is_empty() && broken.is_none() {
        return Vec::new();
    }
    if let Some((pairs, fitting)) = swapped(sidecar.view, kind, seen, found) {
        return exchanges(seen, &pairs, &fitting);
    }
    let mut findings = Vec::new();
    if let Some(worst) = far.iter().copied().max_by(|&a, &b| found.distances[a].total_cmp(&found.distances[b])) {
        let landmark = seen[worst].landmark;
        let others: Vec<_> = far.iter().map(|&i| seen[i].landmark).filter(|l| *l != landmark).collect();
        let or = match &others[..] {
            [] => String::new(),
            others => {
                let names: Vec<_> = others.iter().map(|l| l.name()).collect();
                format!("; if it is right, look at {}", names.join(", "))
            }
        };
        let what = format!("{landmark} lies {:.0} mm from where the other landmarks expect it", found.off_mm[worst]);
        let about = std::iter::once(landmark).chain(others).collect();
        findings.push(Finding::new(Doubt::LandmarkUnexpected, what, format!("look at {landmark} again{or}"), about));
    }
    if let Some(o) = broken {
        let what = format!("{} {} {}", o.first, o.stands.broken(), o.second);
        let help = format!("mark {} and {} again", o.first, o.second);
        findings.push(Finding::new(Doubt::LandmarkOrder, what, help, vec![o.first, o.second]));
    }
    findings
}

/// A finding for each two landmarks that fit if exchanged.
fn exchanges(seen: &[Seen], pairs: &Pairs, fitting: &Fit) -> Vec<Finding> {
    let finding = |&(a, b): &(Landmark, Landmark)| {
        let order = order_of(seen, fitting, a, b);
        let names = format!("{a} and {b} look exchanged");
        Finding::new(
            Doubt::LandmarksSwapped,
            order.map_or_else(|| names.clone(), |o| format!("{names}: {} {} {}", o.first, o.stands.broken(), o.second)),
            format!("exchange {a} and {b}"),
            vec![a, b],
        )
    };
    pairs.iter().map(finding).collect()
}

/// How far the first of an order stands ahead of, above or across from the second, mm of the expected foot.
fn stands(view: View, order: &Order, first: Vector2<f64>, second: Vector2<f64>) -> f64 {
    let d = first - second;
    match (view, order.stands) {
        (View::Lateral, Stands::Ahead) => -d.x,
        (View::Lateral, _) | (View::Solar, Stands::Ahead) => d.y,
        (View::Solar, _) => -d.x,
    }
}

/// The order that is broken most.
fn broken_order(seen: &[Seen], found: &Fit) -> Option<&'static Order> {
    let place = |l| seen.iter().position(|s| s.landmark == l).map(|i| found.places[i]);
    ORDERS
        .iter()
        .filter_map(|o| Some((stands(o.first.info().view, o, place(o.first)?, place(o.second)?), o)))
        .filter(|(ahead, _)| *ahead < -ORDER_SLACK)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, o)| o)
}

/// The order that an exchange of two landmarks breaks, where they have one; `fitting` is the fit of the exchanged ones.
fn order_of(seen: &[Seen], fitting: &Fit, a: Landmark, b: Landmark) -> Option<&'static Order> {
    let place = |l| seen.iter().position(|s| s.landmark == l).map(|i| fitting.places[i]);
    let (at_a, at_b) = (place(a)?, place(b)?);
    ORDERS.iter().find(|o| {
        let (first, second) = if o.first == a { (at_b, at_a) } else { (at_a, at_b) };
        ((o.first, o.second) == (a, b) || (o.first, o.second) == (b, a))
            && stands(a.info().view, o, first, second) < 0.0
    })
}

type Pairs = Vec<(Landmark, Landmark)>;

/// The two landmarks that fit if exchanged, or toe and heel altogether.
fn swapped(view: View, kind: SubjectKind, seen: &[Seen], found: &Fit) -> Option<(Pairs, Fit)> {
    // No exchange can gain more than all there is.
    if found.cost <= SWAP_GAIN {
        return None;
    }
    let n = seen.len();
    let at = |l| seen.iter().position(|s| s.landmark == l);
    // Nor than the two landmarks have in it; half of that leaves room for what bends.
    let worth = |&(i, j): &(usize, usize)| found.share_of(i, j) > 0.5 * SWAP_GAIN;
    let singles = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j))).filter(worth).map(|pair| vec![pair]);
    let whole = at(Landmark::ToeGround)
        .zip(at(Landmark::HeelGround))
        .zip(at(Landmark::ToeCoronet).zip(at(Landmark::HeelCoronet)));
    let both = whole.map(|(ground, coronet)| vec![ground, coronet]);
    let dof = found.degrees_of_freedom as f64;
    singles
        .chain(both)
        .filter_map(|pairs| {
            let mut other = seen.to_vec();
            for &(i, j) in &pairs {
                Seen::exchange(&mut other, i, j);
            }
            let fit = fit(view, kind, &other)?;
            let fits = fit.cost < found.cost - SWAP_GAIN && fit.cost < dof + SWAP_FIT * (2.0 * dof).sqrt();
            fits.then_some((pairs, fit))
        })
        .min_by(|a, b| a.1.cost.total_cmp(&b.1.cost))
        .map(|(pairs, fit)| (pairs.into_iter().map(|(i, j)| (seen[i].landmark, seen[j].landmark)).collect(), fit))
}

/// Landmarks that lie away from the line drawn along their edge.
fn off_lines(sidecar: &Sidecar, located: &Located, size: f64) -> Vec<Finding> {
    let mut findings = Vec::new();
    for landmark in sidecar.landmarks.keys() {
        let Some(line) = landmark.info().contour.map(|c| c.line) else { continue };
        let Some((range, i)) = located.index.line(line).zip(located.index.landmark(*landmark)) else { continue };
        let off = distance_to(line, &located.places[range], located.places[i]);
        if off > OFF_LINE * size {
            findings.push(Finding::new(
                Doubt::LandmarkUnexpected,
                format!("{landmark} lies {off:.0} mm from the line {line}"),
                format!("look at {landmark} and at the line again"),
                vec![*landmark],
            ));
        }
    }
    findings
}

/// Distance from a line, an open one prolonged at both ends.
fn distance_to(line: Line, points: &[Point2<f64>], p: Point2<f64>) -> f64 {
    let n = points.len();
    let closed = line.info().closed;
    let segments = if closed { n } else { n.saturating_sub(1) };
    (0..segments)
        .map(|i| {
            let (a, b) = (points[i], points[(i + 1) % n]);
            let d = b - a;
            let low = if !closed && i == 0 { f64::NEG_INFINITY } else { 0.0 };
            let high = if !closed && i + 1 == segments { f64::INFINITY } else { 1.0 };
            let t = ((p - a).dot(&d) / d.norm_squared().max(1e-12)).clamp(low, high);
            (p - (a + d * t)).norm()
        })
        .fold(f64::INFINITY, f64::min)
}

/// Whether the foot shows itself as its name and side would: from the lateral side a left foot's toe points to the left, and on the
/// sole, toe up, a left foot's medial side is on the left.
fn other_foot(sidecar: &Sidecar, found: &Fit) -> Option<Finding> {
    let left = matches!(sidecar.subject.foot, Foot::LeftFore | Foot::LeftHind);
    let (expected, what) = match (sidecar.view, sidecar.side) {
        (View::Lateral, None) => return None,
        (View::Lateral, Some(side)) => (left != (side == Side::Lateral), "the toe points the other way"),
        (View::Solar, _) => (!left, "the medial landmarks lie on the lateral side"),
    };
    (expected != found.mirrored).then(|| {
        let who = format!(
            "{} foot{}",
            if left { "left" } else { "right" },
            match sidecar.side {
                Some(side) if sidecar.view == View::Lateral => format!(" seen from its {side} side"),
                _ => String::new(),
            }
        );
        Finding::new(
            Doubt::FootContradicted,
            format!("{what} than on a {who}"),
            if sidecar.view == View::Lateral {
                "check foot and side, and that the photo is no mirror image"
            } else {
                "check the foot, exchange medial and lateral, and see that the photo is no mirror image"
            },
            Vec::new(),
        )
    })
}
