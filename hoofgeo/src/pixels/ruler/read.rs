//! From a comb that was followed to a reading: what both ways of reading share.

use super::comb::Comb;
use super::lines::{Line, lines};
use super::trace::Track;
use super::view::View;
use super::{Acceptance, Evidence, Numbering, ReadGraduation, Reading};
use crate::error::{Error, ErrorKind, Result};
use nalgebra::{Matrix2, Vector2};

/// Lines that may be missing in one piece before their number is in doubt.
const SURE_GAP: i32 = 4;
/// The right number of lines in a gap leaves residuals smaller by this factor than any other.
const CLEARER: f64 = 0.6;
/// A piece of the comb with fewer lines than this is given up where its numbers are in doubt.
const LEAST_PIECE: usize = 8;

/// A comb with the way it was seen.
pub(super) struct Seen<'a> {
    pub comb: Comb,
    pub track: Track,
    pub view: View<'a>,
}

/// A track's comb in a view.
pub(super) fn seen<'a>(view: &View<'a>, track: &Track) -> Option<Seen<'a>> {
    Some(Seen { comb: comb_of(view, track)?, track: track.clone(), view: *view })
}

/// The comb of a track's lines. Behind a gap (a finger, glare) the count may have slipped: there every count that could be is tried,
/// and the smaller piece is given up where the lines do not clearly say which is right.
pub(super) fn comb_of(view: &View, track: &Track) -> Option<Comb> {
    let found = lines(view, track, 3);
    let u_across = track.scatter_px.max(0.05 * track.local(0.0).period()).max(0.3);
    let frame = view.frame();
    let fit = |lines: &[Line]| Comb::fit(lines, frame, u_across);
    // The longest piece grows by its neighbours, one gap at a time.
    let mut pieces: Vec<Vec<Line>> = Vec::new();
    for line in found {
        match pieces.last_mut() {
            Some(p) if p.last().is_some_and(|l| line.number - l.number <= SURE_GAP) => p.push(line),
            _ => pieces.push(vec![line]),
        }
    }
    let start = (0..pieces.len()).max_by_key(|i| pieces[*i].len())?;
    let mut whole = pieces[start].clone();
    for side in [pieces[start + 1..].to_vec(), pieces[..start].iter().rev().cloned().collect()] {
        // What a gap has shifted holds for all that lies behind it.
        let mut shifted = 0;
        for piece in side {
            if piece.len() < LEAST_PIECE {
                continue;
            }
            let tries: Vec<(i32, Vec<Line>, f64)> = (-2..=2)
                .filter_map(|s| {
                    let moved = piece.iter().map(|l| Line { number: l.number + shifted + s, ..*l });
                    let mut lines: Vec<Line> = whole.iter().copied().chain(moved).collect();
                    lines.sort_by_key(|l| l.number);
                    let apart = lines.windows(2).all(|w| w[1].number > w[0].number);
                    let comb = if apart { fit(&lines) } else { None }?;
                    // A count that throws out lines to fit is none.
                    (comb.rejected * 8 <= lines.len()).then_some((s, lines, comb.rms_px.hypot(0.01)))
                })
                .collect();
            let mut order: Vec<usize> = (0..tries.len()).collect();
            order.sort_by(|a, b| tries[*a].2.total_cmp(&tries[*b].2));
            let Some(&best) = order.first() else { break };
            if order.get(1).is_some_and(|next| tries[best].2 > CLEARER * tries[*next].2) {
                break;
            }
            shifted += tries[best].0;
            whole.clone_from(&tries[best].1);
        }
    }
    fit(&whole)
}

pub(super) fn evidence(track: &Track, comb: &Comb) -> Evidence {
    let (first, last) = (comb.lines[0], comb.lines[comb.lines.len() - 1]);
    // What a finger or glare hides in one piece is no line missed.
    let missed: i32 = comb.lines.windows(2).map(|w| w[1].number - w[0].number - 1).filter(|gap| *gap < SURE_GAP).sum();
    let lines = comb.lines.len();
    Evidence {
        lines,
        found: lines as f64 / (lines as f64 + f64::from(missed)),
        rms_px: comb.rms_px,
        systematic_px: comb.systematic_px,
        period_px: track.local(0.5 * f64::from(first.number + last.number)).period(),
        bend_px: comb.bend_px,
        line_length: track.length,
        margin: f64::INFINITY,
        agree: 1.0,
    }
}

/// Whether the lines are those of one straight ruler.
pub(super) fn check_comb(e: &Evidence, least: usize, limits: &Acceptance) -> Result<()> {
    if e.lines < least {
        return Err(
            refused(format!("only {} lines of the ruler are to be seen, {least} are needed", e.lines)).help(BY_HAND)
        );
    }
    if e.found < limits.found {
        return Err(refused(format!("only {:.0} % of the ruler's lines are to be seen", 100.0 * e.found)).help(BY_HAND));
    }
    // What neither perspective nor a lens explains makes a scale uncertain by its share of the ruler's length. It is stated with the
    // graduations; refused is what would spoil the scale.
    let lines = e.lines as f64;
    let systematic = (limits.systematic_share * lines).clamp(limits.systematic, limits.systematic_most);
    let bend = limits.bend.max(limits.bend_share * lines);
    if e.bend_px > (bend * e.period_px).max(0.5) || e.systematic_px > (systematic * e.period_px).max(0.1) {
        return Err(refused(format!(
            "the ruler is not straight: its edge is off by {:.1} px, its lines by {:.1} px",
            e.bend_px, e.systematic_px
        ))
        .help("lay a straight, stiff ruler into the photo; a tape that bends cannot be measured with"));
    }
    if e.rms_px > (limits.rms + 0.7 * systematic) * e.period_px {
        return Err(refused(format!("the ruler's lines scatter by {:.2} px", e.rms_px)).help(BY_HAND));
    }
    Ok(())
}

pub(super) fn reading(
    track: &Track,
    comb: &Comb,
    evidence: Evidence,
    step_mm: f64,
    numbering: Numbering,
    pattern: Option<super::Pattern>,
    label: impl Fn(i32) -> f64,
) -> Reading {
    let mut graduations: Vec<ReadGraduation> = comb
        .lines
        .iter()
        .zip(&comb.u_px)
        .zip(&comb.residuals)
        .map(|((l, u), r)| {
            let normal = Vector2::new(-l.direction.y, l.direction.x);
            let along = l.step.normalize();
            // Along its line, a point is known as well as the band's middle.
            let u_long = track.scatter_px.max(comb.bend_px).max(0.1 * l.step.norm()).max(0.5);
            let u_across = u * along.dot(&normal).abs();
            let covariance_px: Matrix2<f64> = l.direction * l.direction.transpose() * (u_long * u_long)
                + normal * normal.transpose() * (u_across * u_across);
            ReadGraduation {
                mm: label(l.number),
                at: l.at,
                covariance_px,
                u_px: *u,
                residual_px: *r,
                direction: l.direction,
            }
        })
        .collect();
    graduations.sort_by(|a, b| a.mm.total_cmp(&b.mm));
    Reading { graduations, numbering, step_mm, pattern, print: None, evidence, lengths: Vec::new() }
}

pub(super) const TWO_MARKS: &str = "mark two of its graduations with their mm, far from each other";
pub(super) const BY_HAND: &str = "mark three or more graduations by hand";

/// Nothing certain could be read.
pub(super) fn refused(what: impl Into<String>) -> Error {
    Error::new(ErrorKind::Scene, what)
}

/// What was read contradicts what somebody said.
pub(super) fn contradicted(what: impl Into<String>) -> Error {
    Error::new(ErrorKind::Scale, what)
}
