//! What a photo's results hold beyond its values: points in the measured plane, covariances, draws.

use super::record::PhotoRecord;
use crate::error::Result;
use crate::joint::{self, PlanePoint, PointName};
use crate::measure::Measurement;
use crate::photo::Sha256Hex;
use crate::visit::photo::PhotoReport;
use serde::{Deserialize, Serialize};
use serde_json::{Value as Json, json};

/// Which of them a run's entries hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Details {
    pub(super) points: bool,
    pub(super) covariances: bool,
    /// How many draws.
    pub(super) draws: usize,
    /// The draws' seed.
    pub(super) seed: u64,
}

/// A landmark or a line's point in the measured plane.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[non_exhaustive]
pub struct RecordedPoint {
    /// The landmark's or line's name.
    pub name: String,
    /// Number of a line's point, from 1; none for a landmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<usize>,
    /// Where it was placed, px of the upright photo.
    pub at_px: [f64; 2],
    /// Its place in the measured plane, mm, see [`PlanePoint::place`].
    pub at_mm: [f64; 2],
    /// Standard uncertainties of its place, mm.
    pub u_mm: [f64; 2],
    /// Covariance of x and y, mm².
    pub cov_xy_mm2: f64,
}

/// A covariance as its lower triangle.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[non_exhaustive]
pub struct RecordedCovariance {
    /// The quantities, in order.
    pub of: Vec<String>,
    /// Row i holds the covariances of quantity i with the quantities 0 to i.
    pub rows: Vec<Vec<f64>>,
}

/// The covariances of a photo.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[non_exhaustive]
pub struct RecordedCovariances {
    /// Of its values, in the products of their units.
    pub values: RecordedCovariance,
    /// Of its landmarks' places, mm²: `toe_ground.x`, `toe_ground.y` and so on.
    pub landmarks: RecordedCovariance,
}

/// Two quantities of a photo.
#[derive(Clone, Copy)]
pub(super) struct Pair<'a> {
    pub(super) kind: &'static str,
    pub(super) quantities: [&'a str; 2],
    pub(super) units: [&'static str; 2],
    pub(super) covariance: f64,
    pub(super) correlation: f64,
}

/// A value in one of the draws.
#[derive(Clone, Copy)]
pub(super) struct Drawn<'a> {
    /// From 1.
    pub(super) draw: usize,
    pub(super) measurement: &'a Measurement,
    pub(super) value: f64,
}

impl RecordedPoint {
    fn of(p: &PlanePoint) -> Self {
        let (name, number) = match p.name {
            PointName::Landmark(l) => (l.name(), None),
            PointName::Line(l, n) => (l.name(), Some(n)),
        };
        Self {
            name: name.to_owned(),
            number,
            at_px: p.pixel.into(),
            at_mm: p.place.into(),
            u_mm: [p.covariance[(0, 0)].sqrt(), p.covariance[(1, 1)].sqrt()],
            cov_xy_mm2: p.covariance[(0, 1)],
        }
    }
}

impl RecordedCovariance {
    /// None where a number of it is none: JSON could not hold it.
    fn of(names: Vec<String>, covariance: &nalgebra::DMatrix<f64>) -> Option<Self> {
        let rows = (0..names.len()).map(|i| (0..=i).map(|j| covariance[(i, j)]).collect()).collect();
        covariance.iter().all(|c| c.is_finite()).then_some(Self { of: names, rows })
    }

    /// Every pair, each once, a quantity with itself among them.
    fn pairs(&self) -> impl Iterator<Item = ([&str; 2], f64, f64)> {
        let variance = |i: usize| self.rows.get(i).and_then(|row| row.get(i)).copied().unwrap_or(f64::NAN);
        self.of.iter().zip(&self.rows).enumerate().flat_map(move |(i, (a, row))| {
            row.iter().zip(&self.of).enumerate().map(move |(j, (c, b))| {
                let correlation = if i == j { 1.0 } else { c / (variance(i) * variance(j)).sqrt() };
                ([a.as_str(), b.as_str()], *c, correlation)
            })
        })
    }
}

impl RecordedCovariances {
    fn of(report: &PhotoReport) -> Option<Self> {
        let m = &report.measured;
        let values = m.values.iter().map(|v| v.measurement.id.to_owned()).collect();
        let axes = |(l, _): (crate::Landmark, usize)| ["x", "y"].map(|axis| format!("{}.{axis}", l.name()));
        let landmarks = joint::landmarks(&m.located).flat_map(axes).collect();
        Some(Self {
            values: RecordedCovariance::of(values, &joint::covariance(&m.values, &m.located, &m.scene))?,
            landmarks: RecordedCovariance::of(landmarks, &joint::landmark_covariance(&m.located, &m.scene))?,
        })
    }

    /// Every pair of values, and every pair of landmarks' coordinates.
    pub(super) fn pairs(&self) -> impl Iterator<Item = Pair<'_>> {
        let unit = |id: &str| crate::measure::find(id).map_or("", |m| m.quantity.unit());
        let values = self.values.pairs().map(move |(quantities, covariance, correlation)| Pair {
            kind: VALUES,
            quantities,
            units: quantities.map(unit),
            covariance,
            correlation,
        });
        let landmarks = self.landmarks.pairs().map(|(quantities, covariance, correlation)| Pair {
            kind: LANDMARKS,
            quantities,
            units: ["mm"; 2],
            covariance,
            correlation,
        });
        values.chain(landmarks)
    }
}

/// The kinds of [`Pair`].
pub(super) const VALUES: &str = "values";
pub(super) const LANDMARKS: &str = "landmarks";

impl PhotoRecord {
    /// With what a run's entries hold beyond the values.
    pub(super) fn with(mut self, details: Details, report: &PhotoReport) -> Result<Self> {
        let m = &report.measured;
        if details.points {
            self.points = Some(joint::points(&m.located, &m.scene).iter().map(RecordedPoint::of).collect());
        }
        if details.covariances {
            self.covariances = RecordedCovariances::of(report);
        }
        if details.draws > 0 {
            let seed = seed_of(details.seed, &self.name);
            let draws = joint::draws(&m.values, &m.located, &m.scene, details.draws, seed)?;
            let finite = |v: Vec<f64>| v.into_iter().map(|x| x.is_finite().then_some(x)).collect();
            self.draws = Some(draws.into_iter().map(finite).collect());
        }
        Ok(self)
    }

    /// Each draw's values, draw by draw.
    pub(super) fn drawn(&self) -> impl Iterator<Item = Drawn<'_>> {
        let draws = self.draws.as_deref().unwrap_or_default();
        let most = draws.iter().map(Vec::len).max().unwrap_or(0);
        (0..most).flat_map(move |k| {
            self.values.iter().zip(draws).filter_map(move |(v, all)| {
                let value = (*all.get(k)?)?;
                Some(Drawn { draw: k + 1, measurement: v.measurement, value })
            })
        })
    }
}

/// What `measurements.json` says of them, added to a photo's entry.
pub(super) fn add_to(entry: &mut Json, record: &PhotoRecord) {
    if let Some(object) = entry.as_object_mut() {
        let parts = [
            ("points", record.points.as_ref().map(|p| json!(p))),
            ("covariances", record.covariances.as_ref().map(|c| json!(c))),
            ("draws", record.draws.as_ref().map(|d| json!(d))),
        ];
        object.extend(parts.into_iter().filter_map(|(name, part)| Some((name.to_owned(), part?))));
    }
}

/// Each photo's draws have a seed of their own, by its path in the set: errors of two photos do not go together, and no part or order
/// of a run changes them.
fn seed_of(seed: u64, name: &str) -> u64 {
    let hash = Sha256Hex::of(format!("{seed} {name}").as_bytes());
    hash.bytes().iter().take(8).fold(0, |n, byte| n << 8 | u64::from(*byte))
}
