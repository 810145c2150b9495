//! The ruler, read from the pixels: its graduations found by their even distances, each located to a small part of a pixel, numbered
//! by two marks or by the lengths of its lines.
//!
//! # How
//! 1. Places that beat like graduations are found by the spectra of tiles of the photo (`search`), or follow from two marks.
//! 2. From there the comb of lines is followed both ways, window by window, with its distance, direction and lean (`trace`).
//! 3. Each line is located by the shape that all lines share, with its own standard uncertainty (`lines`).
//! 4. A projective comb, seen through a lens, is fitted to them; lines off it are rejected, and a comb that no straight ruler can show
//!    is refused (`comb`).
//! 5. The lengths of the lines tell millimetres from half millimetres, inches and things that are no ruler (`hierarchy`).
//!
//! 6. The numbers printed beside the lines tell which line is which, and millimetres from inches (`print`, `glyph`, `numbers`).
//!
//! # What a scale rests on
//! A wrong reading is worse than none. Two marks say how far apart two lines are, and the lines between them must count up to that.
//! Without marks the order of the lines' lengths and the numbers are all there is, and a rule in tenths of an inch or hundredths of a
//! foot has lines as long as one in millimetres: longer at every fifth line, longest at every tenth. So [`find_metric`] reads for somebody
//! who states that the rule is metric, and says by [`Print::metric`] whether the rule's own numbers show it: tens at every tenth line,
//! a printed unit, or the inches of its other edge, which lie 25.4 lines apart. Fives and tens may be equally long, as on calipers.
//! Beside that statement it asks for lines that are longer than their distance, as those of millimetres are. What is not certain is
//! refused with what to do, see [`Acceptance`].
//!
//! Where two marks are given and the lines that were found contradict their labels, the error is of kind
//! [`Scale`](crate::ErrorKind::Scale): the marks must not be measured with. Where nothing could be read, it is of kind
//! [`Scene`](crate::ErrorKind::Scene).

mod bar;
mod comb;
mod glyph;
mod hierarchy;
mod lines;
mod marked;
mod numbers;
mod patch;
mod print;
mod read;
mod search;
mod trace;
mod unmarked;
mod view;

pub use hierarchy::Pattern;
pub use marked::{read_marked, read_marked_with};
pub use unmarked::{find_metric, find_metric_with};

use crate::scale::Graduation;
use nalgebra::{Matrix2, Point2, Vector2};

/// A graduation that a person marked: near its line is near enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Its label, mm.
    pub mm: f64,
    /// Pixel of the upright photo, less than half a graduation from the line.
    pub at: Point2<f64>,
}

/// A graduation as it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadGraduation {
    /// Distance along the ruler, mm. From its zero where the lines were numbered by marks; else from one of the long lines.
    pub mm: f64,
    /// Pixel of the upright photo, on the middle of the short lines.
    pub at: Point2<f64>,
    /// Covariance of that pixel: small across the line, large along it.
    pub covariance_px: Matrix2<f64>,
    /// Standard uncertainty along the ruler, px.
    pub u_px: f64,
    /// Observed minus fitted, along the ruler, px.
    pub residual_px: f64,
    /// Direction of the line.
    pub direction: Vector2<f64>,
}

impl ReadGraduation {
    /// As the scene estimate takes it.
    pub fn observation(&self) -> Graduation {
        Graduation { label: Point2::new(self.mm, 0.0), pixel: self.at, covariance_px: Some(self.covariance_px) }
    }
}

/// How the lines were numbered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Numbering {
    /// By two marked graduations.
    Marks,
    /// By the lengths of the lines of a rule that was stated to be metric.
    Lengths,
    /// By the numbers that are printed on it.
    Numbers,
}

impl Numbering {
    /// The name used in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Marks => "marks",
            Self::Lengths => "lengths",
            Self::Numbers => "numbers",
        }
    }
}

/// What was read of the numbers printed on a ruler.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Print {
    /// How many different numbers were read.
    pub numbers: usize,
    /// Whether they show by themselves that the rule is metric: tens at every tenth line, a unit, or inches on its other edge.
    pub metric: bool,
    /// Whether they stand mirrored: the rule is seen from behind, or the photo is turned over.
    pub mirrored: bool,
}

/// A ruler's graduations with everything that speaks for and against them.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The graduations, by rising mm.
    pub graduations: Vec<ReadGraduation>,
    /// How they were numbered.
    pub numbering: Numbering,
    /// Distance of two neighbouring lines, mm.
    pub step_mm: f64,
    /// What rule has lines of such lengths, where that was asked.
    pub pattern: Option<Pattern>,
    /// The numbers printed on it, where they were looked for and read.
    pub print: Option<Print>,
    /// The statistics that decided.
    pub evidence: Evidence,
    /// Length of the lines beyond the middle of the short ones, by rank, in line distances; empty where it was not asked.
    pub lengths: Vec<f64>,
}

/// The statistics by which a reading is accepted or refused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// Lines that fit the comb.
    pub lines: usize,
    /// Share of the lines between the first and the last that were found and fit, long hidden pieces left out.
    pub found: f64,
    /// Root mean square of the residuals along the ruler, px.
    pub rms_px: f64,
    /// The same of their moving mean, px: bent or uneven.
    pub systematic_px: f64,
    /// Distance of two lines in the middle, px.
    pub period_px: f64,
    /// Root mean square distance of the lines' middles from a straight edge seen through the lens, px.
    pub bend_px: f64,
    /// Length of the short lines, line distances.
    pub line_length: f64,
    /// Logarithm of the likelihood ratio of the lengths' pattern to the best one of another scale; infinite where marks or printed numbers decide.
    pub margin: f64,
    /// Share of the lines whose length is that of their place in the pattern.
    pub agree: f64,
}

/// What a reading must reach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Acceptance {
    /// Least number of lines, numbered by their lengths.
    pub lines: usize,
    /// Least number of lines, numbered by marks.
    pub lines_marked: usize,
    /// Least share of lines found.
    pub found: f64,
    /// Most residual, in line distances.
    pub rms: f64,
    /// Most systematic residual of a short row, in line distances …
    pub systematic: f64,
    /// … of a longer one, as a share of its length …
    pub systematic_share: f64,
    /// … and of any, in line distances: beyond, lines might be counted wrongly.
    pub systematic_most: f64,
    /// Most bend of the edge of a short row, in line distances …
    pub bend: f64,
    /// … and of a longer one, as a share of its length; half a pixel is always allowed, as it is to the systematic residual a tenth.
    pub bend_share: f64,
    /// Least margin.
    pub margin: f64,
    /// Least share of lengths that agree.
    pub agree: f64,
    /// Least length of the short lines, mm if they are millimetres: tenths of an inch have the same pattern as millimetres, but mostly
    /// lines hardly longer than their distance.
    pub line_length: f64,
}

impl Default for Acceptance {
    /// Chosen on 400 rendered photos and on every second of 56 real ones, and held against as many fresh ones as VALIDATION.md says (`examples/ruler_rates.rs`).
    fn default() -> Self {
        Self {
            lines: 18,
            lines_marked: 10,
            found: 0.7,
            rms: 0.08,
            systematic: 0.03,
            systematic_share: 0.001,
            systematic_most: 0.2,
            bend: 0.25,
            bend_share: 0.01,
            margin: 12.0,
            agree: 0.75,
            line_length: 1.25,
        }
    }
}

impl Reading {
    /// The graduations as observations for [`Scene::estimate`](crate::scene::Scene::estimate).
    pub fn observations(&self) -> Vec<Graduation> {
        self.graduations.iter().map(ReadGraduation::observation).collect()
    }

    /// The graduations as a sidecar's `scale`, with the median of their standard uncertainties as its `u_px`.
    pub fn scale_json(&self) -> serde_json::Value {
        let rounded = |v: f64| (v * 1000.0).round() / 1000.0;
        let mut u: Vec<f64> = self.graduations.iter().map(|g| g.u_px).collect();
        u.sort_by(f64::total_cmp);
        let points: Vec<_> = self
            .graduations
            .iter()
            .map(|g| serde_json::json!({ "mm": g.mm, "at": [rounded(g.at.x), rounded(g.at.y)] }))
            .collect();
        let u_px = u.get(u.len() / 2).map_or(1.0, |u| rounded(u.max(0.01)));
        serde_json::json!({ "kind": "straight_ruler", "u_px": u_px, "points": points })
    }

    /// Magnification at the first and the last graduation, px/mm along the ruler.
    pub fn px_per_mm(&self) -> [f64; 2] {
        let g = &self.graduations;
        let slope = |g: &[ReadGraduation]| match (g.first(), g.last()) {
            (Some(a), Some(b)) if b.mm > a.mm => (b.at - a.at).norm() / (b.mm - a.mm),
            _ => f64::NAN,
        };
        let n = 6.min(g.len());
        [slope(&g[..n]), slope(&g[g.len() - n..])]
    }
}
