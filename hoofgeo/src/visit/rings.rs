//! Growth rings of a photo, and which of them a person means.

use crate::Line;
use crate::error::{Error, ErrorKind, Result};
use crate::evaluate::Value;
use crate::follow;
use crate::measured::{MeasureOptions, locate};
use crate::pixels::{Found, Reading};
use crate::scene::LensPrior;
use std::str::FromStr;

/// A ring this near to the distance that was named is the one that is meant, mm.
const NEAR_MM: f64 = 4.0;

/// How deep a growth ring of a new sidecar lies.
#[derive(Debug, Clone)]
pub struct RingDepth {
    /// [`Line::RingsToe`] or [`Line::RingsHeel`].
    pub line: Line,
    /// Its number from the coronet down, the first is 1.
    pub number: usize,
    /// Its distance below the coronet, mm.
    pub below: Value,
    /// Whether the picture shows it much stronger than its fellows; `None` where somebody drew it.
    pub event: Option<bool>,
}

/// A growth ring, as a person names it.
///
/// # Example
/// ```
/// use hoofgeo::visit::RingName;
/// assert_eq!("3".parse::<RingName>()?, RingName::Number(3));
/// assert_eq!("24 mm".parse::<RingName>()?, RingName::Below(24.0));
/// # Ok::<(), hoofgeo::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RingName {
    /// By its number from the coronet down; the first is 1.
    Number(usize),
    /// By its distance below the coronet, mm.
    Below(f64),
}

impl FromStr for RingName {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let name = match text.trim().strip_suffix("mm") {
            Some(mm) => mm.trim().parse().ok().filter(|mm| (0.0..=200.0).contains(mm)).map(Self::Below),
            None => text.trim().parse().ok().filter(|n| (1..=12).contains(n)).map(Self::Number),
        };
        name.ok_or_else(|| {
            Error::new(ErrorKind::Usage, format!("`{text}` is no ring"))
                .help("name a ring by its number from the coronet down, such as 3, or by its distance, such as 24mm")
        })
    }
}

/// The rings at toe and heel that are meant, each once: those named, or without a name those that the picture shows much stronger than
/// their fellows.
pub fn rings_meant<'a>(rings: &'a [RingDepth], names: &[RingName]) -> Vec<&'a RingDepth> {
    let mut meant: Vec<&RingDepth> = Vec::new();
    for line in [Line::RingsToe, Line::RingsHeel] {
        let of: Vec<&RingDepth> = rings.iter().filter(|r| r.line == line).collect();
        if names.is_empty() {
            meant.extend(of.iter().filter(|r| r.event == Some(true)));
        }
        for name in names {
            let ring = match name {
                RingName::Number(n) => of.iter().find(|r| r.number == *n),
                RingName::Below(mm) => {
                    let off = |r: &RingDepth| (r.below.value - mm).abs();
                    let nearest = of.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
                    nearest.filter(|r| off(r) < r.below.expanded().max(NEAR_MM))
                }
            };
            // It may have been named before, by its number or by its distance.
            meant.extend(ring.filter(|r| !meant.iter().any(|m| (m.line, m.number) == (r.line, r.number))));
        }
    }
    meant
}

/// The rings of a new sidecar, drawn or found.
pub(super) fn ring_depths(reading: &Reading, lens: &LensPrior, how: &MeasureOptions) -> Result<Vec<RingDepth>> {
    let sidecar = &reading.sidecar;
    if ![Line::RingsToe, Line::RingsHeel].iter().any(|l| sidecar.lines.contains_key(l)) {
        return Ok(Vec::new());
    }
    let (scene, located) = locate(sidecar, lens, how)?;
    let event = |line: Line, k: usize| {
        reading.found.iter().find_map(|(l, f)| match f {
            Found::Rings(row) if *l == line => row.rings[row.whole.clone()].get(k).map(|r| r.event),
            _ => None,
        })
    };
    let depths = follow::ring_depths(&located, &scene);
    Ok([Line::RingsToe, Line::RingsHeel]
        .into_iter()
        .zip(depths)
        .flat_map(|(line, values)| (0..).zip(values).map(move |(k, below)| (line, k, below)))
        .map(|(line, k, below)| RingDepth { line, number: k + 1, below, event: event(line, k) })
        .collect())
}
