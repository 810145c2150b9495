//! Does a photo need a lens profile, or has the camera corrected it already?

use super::FILM_DIAGONAL_MM;
use super::plumb_line::{PlumbEdge, PlumbLine};
use crate::photo::PhotoFacts;
use crate::pixels::{Grey, LongEdge, StraightOptions, long_edges};
use crate::sidecar::Sidecar;
use nalgebra::{Point2, Vector2};

/// What the edges of a photo say of its lens.
#[derive(Debug, Clone)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// The estimate; none where no edge tells anything.
    pub estimate: Option<PlumbLine>,
    /// Long edges found.
    pub edges: Vec<PlumbEdge>,
    /// Focal length, px, that makes k1 of the estimate: EXIF's, or that of 26 mm equivalent where EXIF has none.
    pub focal_px: f64,
    /// Whether EXIF states the focal length.
    pub focal_is_stated: bool,
}

/// Whether a photo is corrected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Straight things are straight, as far as a measurement from EXIF alone allows for.
    Corrected,
    /// Straight things are bent: measured without a profile, the photo is wrong towards its margins.
    NeedsProfile,
    /// The edges do not decide it.
    CannotTell,
}

impl Verdict {
    /// What it means and what to do, in one sentence.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Corrected => {
                "consistent with a picture that the camera has corrected already: measure it without a profile, or with one \
                 made from this camera's photos of a board, never with a profile of its uncorrected lens"
            }
            Self::NeedsProfile => {
                "not corrected: calibrate the lens with photos of a board (`hoofgeo lens calibrate`), or look it up \
                 (`hoofgeo lens find`)"
            }
            Self::CannotTell => {
                "cannot tell: take a photo of long straight edges near its margins, a ruler, a door frame or floor tiles, all of \
                 them sharp"
            }
        }
    }
}

/// Half of what a measurement from EXIF alone allows k1 to be at 95 %, see [`crate::scene::LensPrior::exif`].
const ALLOWED_K1: f64 = 0.02;

/// 35 mm equivalent of a phone's main camera, for photos that state none (common practice, no source).
const USUAL_FOCAL_35MM: f64 = 26.0;

/// An edge runs along the scale when it turns no further from it …
const ALONG_DEG: f64 = 6.0;

/// … and lies no further aside, as a share of the marked length.
const ALONG_ASIDE: f64 = 0.12;

/// Judges a photo by its straight edges (see [`PlumbLine::estimate`]). Edges along the scale of the photo's sidecar, where there is
/// one, are taken for the ruler's and decide.
///
/// # Example
/// ```no_run
/// use hoofgeo::{lens::judge, photo, pixels::Grey};
/// let facts = photo::read_facts("side.jpg")?;
/// let judged = judge(&Grey::of(&photo::decode_upright("side.jpg")?), &facts, None);
/// println!("{}", judged.verdict.meaning());
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn judge(grey: &Grey, facts: &PhotoFacts, sidecar: Option<&Sidecar>) -> Judgement {
    let frame = (grey.width(), grey.height());
    let lines = sidecar.map(scale_lines).unwrap_or_default();
    let edges: Vec<PlumbEdge> = long_edges(grey, &StraightOptions::default())
        .into_iter()
        .map(|e| PlumbEdge { trusted: lines.iter().any(|l| l.has_along(&e)), points: e.points })
        .collect();
    let stated = facts.prior_focal_px();
    let diagonal = f64::from(frame.0).hypot(f64::from(frame.1));
    let focal_px = stated.unwrap_or(USUAL_FOCAL_35MM * diagonal / FILM_DIAGONAL_MM);
    let estimate = PlumbLine::estimate(&edges, frame);
    let verdict = verdict(estimate.as_ref(), focal_px);
    Judgement { verdict, estimate, edges, focal_px, focal_is_stated: stated.is_some() }
}

fn verdict(estimate: Option<&PlumbLine>, focal_px: f64) -> Verdict {
    let Some(e) = estimate.filter(|e| e.is_decided()) else { return Verdict::CannotTell };
    let share = e.expanded / e.u;
    let (k1, half) = (e.k1(focal_px).abs(), share * e.u_k1(focal_px));
    if k1 - half > ALLOWED_K1 {
        Verdict::NeedsProfile
    } else if k1 + half < 2.0 * ALLOWED_K1 {
        Verdict::Corrected
    } else {
        Verdict::CannotTell
    }
}

/// A line of the scale's graduations, px.
struct ScaleLine {
    from: Point2<f64>,
    along: Vector2<f64>,
    length: f64,
}

impl ScaleLine {
    fn has_along(&self, edge: &LongEdge) -> bool {
        let ([first, .., last], slack) = (&edge.points[..], ALONG_ASIDE * self.length) else { return false };
        let direction = (last - first).normalize();
        let near = |p: &Point2<f64>| {
            let d = p - self.from;
            let (t, s) = (d.dot(&self.along), self.along.x * d.y - self.along.y * d.x);
            s.abs() < slack && (-self.length..2.0 * self.length).contains(&t)
        };
        direction.dot(&self.along).abs() > ALONG_DEG.to_radians().cos() && edge.points.iter().all(near)
    }
}

/// The rows and columns of a scale's graduations: a ruler's one line, a square's two legs, a card's four sides.
fn scale_lines(sidecar: &Sidecar) -> Vec<ScaleLine> {
    let points = sidecar.scale.as_ref().map_or(&[][..], |s| &s.points);
    let mut lines: Vec<ScaleLine> = Vec::new();
    for axis in 0..2 {
        let mut levels: Vec<f64> = points.iter().map(|g| g.mm[axis]).collect();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        for level in levels {
            let row = points.iter().filter(|g| g.mm[axis] == level);
            let by_place = |a: &&_, b: &&_| {
                let mm = |g: &crate::sidecar::Graduation| g.mm[1 - axis];
                mm(a).total_cmp(&mm(b))
            };
            let (Some(a), Some(b)) = (row.clone().min_by(by_place), row.max_by(by_place)) else { continue };
            let along = Point2::from(b.at) - Point2::from(a.at);
            if along.norm() > 30.0 {
                lines.push(ScaleLine { from: Point2::from(a.at), along: along.normalize(), length: along.norm() });
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A straight edge along y = `at` in a frame whose lens has this kappa1, slanting a little.
    fn edge(at: f64, kappa1: f64, trusted: bool) -> PlumbEdge {
        let lens = crate::lens::Distortion { k1: kappa1, ..crate::lens::Distortion::none() };
        let (centre, half) = (Point2::new(800.0, 600.0), 1000.0);
        let points = (0..50).map(|i| {
            let x = -0.6 + f64::from(i) / 49.0 * 1.2;
            centre + lens.apply(Point2::new(x, (at - 600.0) / 1000.0 + 0.03 * x)).coords * half
        });
        PlumbEdge { points: points.collect(), trusted }
    }

    fn judged(edges: &[PlumbEdge]) -> Verdict {
        verdict(PlumbLine::estimate(edges, (1600, 1200)).as_ref(), 1200.0)
    }

    #[test]
    fn verdicts_follow_the_interval() {
        let all = |kappa1: f64| {
            [60.0, 100.0, 180.0, 250.0, 330.0, 400.0, 450.0, 750.0, 800.0, 870.0, 950.0, 1020.0, 1100.0, 1140.0]
                .map(|y| edge(y, kappa1, false))
        };
        // Edges at one distance from the middle alone leave the term of fourth order open.
        assert_eq!(judged(&[edge(100.0, 0.0, false), edge(1100.0, 0.0, false)]), Verdict::CannotTell);
        assert_eq!(judged(&all(-0.15)), Verdict::NeedsProfile);
        assert_eq!(judged(&all(0.06)), Verdict::NeedsProfile);
        assert_eq!(judged(&all(0.001)), Verdict::Corrected);
        assert_eq!(judged(&[]), Verdict::CannotTell);
        // One edge alone may be bent itself; a ruler's is not.
        assert_eq!(judged(&[edge(100.0, -0.15, false)]), Verdict::CannotTell);
        assert_eq!(judged(&[edge(100.0, -0.15, true)]), Verdict::NeedsProfile);
        // Edges towards the middle stay straight whatever the lens does.
        assert_eq!(judged(&[edge(600.0, -0.15, true)]), Verdict::CannotTell);
    }

    /// Trusted edges outvote the others.
    #[test]
    fn the_ruler_decides() {
        let mut edges = vec![edge(150.0, -0.1, true), edge(190.0, -0.1, true)];
        edges.extend([1000.0, 1050.0, 1100.0].map(|y| edge(y, 0.05, false)));
        let found = PlumbLine::estimate(&edges, (1600, 1200)).expect("an estimate");
        assert!((found.kappa1 + 0.1).abs() < found.expanded, "{found:?}");
        assert_eq!(found.used, [true, true, false, false, false]);
    }
}
