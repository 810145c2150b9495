//! Growth rings: where they cross the wall at toe and heel.
//!
//! A strip of the wall beside the toe, and one beside the heel, is sampled in the plane, lens and angle corrected, along lines that run as
//! the tubules do. Its bands are laid over each other along the rings, whose slant is the one at which the bands agree best
//! (`strip.rs`). Crests of the mean that stand out from the bands' disagreement are rings (`ridge.rs`); where the bands have nothing in
//! common, tubules, stains or smooth horn are all there is, and the wall is refused. The rings are followed along the wall and led back
//! from there to its edge, where the strip does not reach (`track.rs`). Strips between toe and heel say which ring is which at
//! both (`pair.rs`).
//!
//! Rings are sought as crests of brightness. Light from above draws a ring's crest towards its upper slope, by the same amount for all
//! rings of a photo: spacings keep clear of it, places do not, and [`Line::RingsToe`](crate::Line)'s own uncertainty holds it.

mod pair;
mod read;
mod ridge;
mod strip;
mod track;

pub(super) use read::read_rings;

use super::{Grey, Mapping};
use nalgebra::Point2;
use ridge::{Crest, Row, crests, events, row};
use std::fmt;
use std::ops::Range;
use strip::{Profile, Strip, Wall};
use track::{Edge, Stations};

/// Scales of the ridge filter, mm (chosen: rings lie 4 to 15 mm apart). The largest counts whose rings stand out nearly as clearly as
/// those of the best: a fine one takes the light's shoulders on a ring's slopes for rings.
const SCALES_MM: [f64; 3] = [1.2, 1.7, 2.4];
const NEARLY: f64 = 0.8;
/// Shares of the wall's length from toe to heel that the strips take (chosen: as near to the ends as the wall does not yet turn away; a flared toe lies behind the line between its
/// landmarks by up to 0.04).
const TOE: [f64; 2] = [0.05, 0.16];
const HEEL: [f64; 2] = [0.86, 0.97];
const BETWEEN: [[f64; 2]; 6] = [[0.12, 0.24], [0.22, 0.36], [0.36, 0.5], [0.5, 0.64], [0.62, 0.76], [0.74, 0.88]];
/// Fewest rings of a row.
const FEWEST: usize = 3;
/// Least share of the bands' variance that they have in common (chosen: rendered rows of rings have 0.55 and more, rasp marks and mud up to
/// 0.4, all else less).
const COHERENT: f64 = 0.45;
/// A ring is followed along the wall: one that is seen at fewer of the stations is a stain (chosen).
const FOLLOWED: f64 = 0.4;
/// Light falls otherwise on each ring's slopes and moves its crest: a standard uncertainty of single places, as a share of the filter's
/// standard deviation (chosen on rendered feet).
const LIGHT: f64 = 0.25;

/// One growth ring where it crosses the wall at the toe or at the heel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    /// Where it crosses the line between the wall's landmarks, px.
    pub at: Point2<f64>,
    /// The same in the plane, mm.
    pub place: Point2<f64>,
    /// Distance below the clicked coronet along that line, mm.
    pub below_mm: f64,
    /// Standard uncertainty of its place along the wall against the other rings', mm. Not in it: how well a ring is defined.
    pub u_mm: f64,
    /// How strong it is against its surroundings: the ridge filter's answer to the logarithm of the brightness.
    pub strength: f64,
    /// The same in standard uncertainties.
    pub significance: f64,
    /// Whether it cannot well be chance.
    pub certain: bool,
    /// Whether it is much stronger than the other rings.
    pub event: bool,
}

/// The rings of the wall at the toe or at the heel.
#[derive(Debug, Clone, PartialEq)]
pub struct RingRow {
    /// From the coronet down.
    pub rings: Vec<Ring>,
    /// The longest part of them without a gap in which a ring may be hidden: the part to measure spacings on.
    pub whole: Range<usize>,
    /// Crests besides that may be rings or not.
    pub doubtful: usize,
    /// Share of the variance along the wall that the bands of the strip have in common.
    pub coherence: f64,
    /// Standard deviation of the ridge filter that suits the rings, mm.
    pub scale_mm: f64,
}

impl RingRow {
    /// Mean distance of successive rings of the whole part, mm, and its standard uncertainty in the picture (the photo's scale is
    /// not in it).
    pub fn spacing_mm(&self) -> (f64, f64) {
        let rings = &self.rings[self.whole.clone()];
        let (first, last, n) = (&rings[0], &rings[rings.len() - 1], (rings.len() - 1) as f64);
        ((last.below_mm - first.below_mm) / n, first.u_mm.hypot(last.u_mm) / n)
    }

    /// How many rings the wall shows, and the standard uncertainty of that: a ring that is not certain, and a doubtful crest, count as a
    /// toss of a coin.
    pub fn number(&self) -> (f64, f64) {
        let certain = self.rings.iter().filter(|r| r.certain).count();
        let open = (self.rings.len() - certain + self.doubtful) as f64;
        (self.rings.len() as f64, 0.5 * open.sqrt())
    }
}

impl fmt::Display for RingRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ((spacing, u), (n, u_n)) = (self.spacing_mm(), self.number());
        write!(
            f,
            "found: {n:.0} rings ± {:.0}, {} of them in a row {spacing:.1} mm ± {:.1} mm apart",
            2.0 * u_n,
            self.whole.len(),
            2.0 * u
        )?;
        let row = &self.rings[self.whole.clone()];
        let events: Vec<String> = (1..).zip(row).filter(|(_, r)| r.event).map(|(k, _)| k.to_string()).collect();
        if events.is_empty() { Ok(()) } else { write!(f, ", ring {} much stronger than the others", events.join(", ")) }
    }
}

/// Why no rings were found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoRings {
    /// The wall is too short or leaves the photo.
    TooSmall,
    /// Nothing runs across the wall: tubules, stains or smooth horn are all there is.
    NothingAcross,
    /// So many rings stand out in a row, too few.
    TooFew(usize),
}

impl fmt::Display for NoRings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooSmall => f.write_str("the wall is too short in the photo"),
            Self::NothingAcross => f.write_str(
                "no rings stand out from tubules and stains: clean the wall, light it from above and the side",
            ),
            Self::TooFew(n) => {
                write!(
                    f,
                    "{n} rings follow each other without a gap; four with two plain ones among them are needed, or three plain ones"
                )
            }
        }
    }
}

/// What a wall shows of its growth rings.
#[derive(Debug, Clone, PartialEq)]
pub struct WallRings {
    /// At the toe.
    pub toe: Result<RingRow, NoRings>,
    /// At the heel.
    pub heel: Result<RingRow, NoRings>,
    /// Which ring at the toe is which at the heel (places in their rows); empty where the wall between does not say.
    pub pairs: Vec<(usize, usize)>,
    course: Option<pair::Course>,
}

impl WallRings {
    /// How deep, mm below the clicked coronet, a ring should lie at the heel that lies so deep at the toe; `None` where the wall
    /// between does not say.
    pub fn heel_depth(&self, toe_mm: f64) -> Option<f64> {
        self.course.map(|c| c.depth(toe_mm, 1.0))
    }
}

/// Finds the rings of a wall between its four landmarks (px: coronet and ground at the toe, then at the heel). `maps` lead to the plane of
/// the toe and to that of the heel.
pub fn growth_rings(grey: &Grey, maps: [&dyn Mapping; 2], corners: [Point2<f64>; 4]) -> WallRings {
    let look = |map: &dyn Mapping, shares: [f64; 2], edge: Edge| -> Result<(RingRow, Profile, f64), NoRings> {
        let wall = wall(map, corners).ok_or(NoRings::TooSmall)?;
        let strip = Strip::sample(grey, map, &wall, shares).ok_or(NoRings::TooSmall)?;
        let mut found = best_scale(&strip)?;
        let stations = Stations::sample(grey, map, &wall, edge, found.sigma);
        let (slant, from, x) = (found.profile.slant, strip.share, edge.x(&wall, strip.share));
        let follow = |row: &Row| stations.follow(&row.rings, slant, from, x).ok_or(NoRings::TooSmall);
        let mut at_edge = follow(&found.row)?;
        if at_edge.seen.iter().any(|s| *s < FOLLOWED) {
            let rings = found.row.rings.iter().zip(&at_edge.seen);
            let kept: Vec<Crest> = rings.filter(|(_, s)| **s >= FOLLOWED).map(|(c, _)| *c).collect();
            found.row = row(&kept).filter(is_enough).ok_or(NoRings::TooFew(kept.len()))?;
            at_edge = follow(&found.row)?;
        }
        let strong = events(&found.row.rings);
        let ring = |((c, event), (below, u)): ((&Crest, &bool), &(f64, f64))| {
            let place = wall.at(edge.share(), *below);
            Some(Ring {
                at: map.pixel(place)?,
                place,
                below_mm: *below,
                u_mm: u.hypot(LIGHT * found.sigma),
                strength: c.strength,
                significance: c.z,
                certain: c.is_certain(),
                event: *event,
            })
        };
        let rings = found.row.rings.iter().zip(&strong).zip(&at_edge.rings);
        let row = RingRow {
            rings: rings.map(ring).collect::<Option<Vec<_>>>().ok_or(NoRings::TooSmall)?,
            whole: found.row.whole,
            doubtful: found.row.doubtful,
            coherence: found.profile.coherence,
            scale_mm: found.sigma,
        };
        Ok((row, found.profile, found.sigma))
    };
    let (toe, heel) = (look(maps[0], TOE, Edge::Toe), look(maps[1], HEEL, Edge::Heel));
    let mut course = None;
    let mut pairs = Vec::new();
    if let Ok((row, profile, sigma)) = &toe {
        let spacing = row.spacing_mm().0;
        let mut strips = vec![((TOE[0] + TOE[1]) / 2.0, profile.clone())];
        let sides = wall(maps[1], corners);
        for shares in BETWEEN.into_iter().chain([HEEL]) {
            let strip = sides.and_then(|w| Strip::sample(grey, maps[1], &w, shares));
            strips.extend(strip.map(|s| {
                let ridges = s.ridges(*sigma);
                (s.share, ridges.profile(ridges.slant()))
            }));
        }
        course = pair::course(&strips, spacing);
        if let (Some(c), Ok((at_heel, ..))) = (&course, &heel) {
            let depths = |r: &RingRow| r.rings.iter().map(|r| r.below_mm).collect::<Vec<_>>();
            pairs = pair::pairs(c, &depths(row), &depths(at_heel), at_heel.spacing_mm().0);
        }
    }
    WallRings { toe: toe.map(|t| t.0), heel: heel.map(|h| h.0), pairs, course }
}

fn wall(map: &dyn Mapping, corners: [Point2<f64>; 4]) -> Option<Wall> {
    let [a, b, c, d] = corners.map(|p| map.place(p));
    Some(Wall { corners: [a?, b?, c?, d?] })
}

/// Rasp marks make a few doubtful rings: at least two must be certain, and all of three.
fn is_enough(row: &Row) -> bool {
    let whole = &row.rings[row.whole.clone()];
    let certain = whole.iter().filter(|c| c.is_certain()).count();
    certain >= 2 && (whole.len() > FEWEST || whole.len() == FEWEST && certain == FEWEST)
}

struct Found {
    row: Row,
    profile: Profile,
    sigma: f64,
}

/// The rings of a strip at the largest scale at which they stand out nearly as well as at any and none is lost.
fn best_scale(strip: &Strip) -> Result<Found, NoRings> {
    let mut refused = NoRings::NothingAcross;
    let mut all: Vec<(Found, f64)> = Vec::new();
    let mut finest: Option<Vec<Crest>> = None;
    for sigma in SCALES_MM {
        let ridges = strip.ridges(sigma);
        let profile = ridges.profile(ridges.slant());
        if profile.coherence < COHERENT {
            continue;
        }
        let seen = crests(&profile);
        let found = row(&seen);
        let finer = finest.get_or_insert(seen);
        match found {
            Some(row) if is_enough(&row) => {
                if !row.hides(finer) {
                    // No ring counts for more than a clear one.
                    let score: f64 = row.rings[row.whole.clone()].iter().map(|c| c.z.min(12.0)).sum();
                    all.push((Found { row, profile, sigma }, score));
                }
            }
            few => {
                let before = if let NoRings::TooFew(n) = refused { n } else { 0 };
                refused = NoRings::TooFew(few.map_or(0, |r| r.whole.len()).max(before));
            }
        }
    }
    let best = all.iter().map(|f| f.1).fold(0.0, f64::max);
    all.into_iter().rev().find(|f| f.1 >= NEARLY * best).map(|f| f.0).ok_or(refused)
}

#[cfg(test)]
mod tests;
