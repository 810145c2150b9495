//! One measured photo, as far as following a case needs it.

use super::rings;
use crate::error::{Error, ErrorKind, Result};
use crate::evaluate::{Shared, Value};
use crate::measure::Measurement;
use crate::measured::Measured;
use crate::scale::{ScaleKind, Tolerance};
use crate::scene::LensPrior;
use crate::sidecar::Sidecar;
use crate::{Foot, Side, Stage, View};
use jiff::civil::Date;

/// How a value was made: only values made in one way are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Way {
    /// The method as results name it, see [`Value::method`].
    pub method: &'static str,
    /// The line from toe to heel stood in for the ground.
    pub bearing_line: bool,
}

/// One measured value of one photo.
#[derive(Debug, Clone)]
pub struct Reading {
    /// What was measured.
    pub measurement: &'static Measurement,
    /// The value, in the measurement's unit.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom.
    pub dof: Option<f64>,
    /// Sensitivities to what other photos share.
    pub shared: Shared,
    /// How it was made.
    pub way: Way,
}

impl Reading {
    pub(super) fn of(value: &Value) -> Self {
        Self {
            measurement: value.measurement,
            value: value.value,
            u: value.u,
            dof: value.dof,
            shared: value.shared,
            way: Way { method: value.method(), bearing_line: value.used.bearing_line },
        }
    }
}

/// A lens, to be told from others.
#[derive(Debug, Clone, PartialEq)]
pub struct LensIdentity {
    /// The camera, where no profile names it: make, model and lens as its photos say.
    pub camera: Option<String>,
    /// What was known of it for this frame.
    pub prior: LensPrior,
}

/// A measured photo of a case.
#[derive(Debug, Clone)]
pub struct Shot {
    /// Its name, for people.
    pub photo: String,
    /// Whose foot.
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// Seen from where.
    pub view: View,
    /// The side that faces the camera; lateral where a lateral photo does not say.
    pub side: Option<Side>,
    /// Before or after a trim.
    pub stage: Option<Stage>,
    /// The day of the visit.
    pub day: Date,
    /// The lens; `None` where it cannot be told from others.
    pub lens: Option<LensIdentity>,
    /// Kind and tolerance of the scale.
    pub scale: Option<(ScaleKind, Tolerance)>,
    /// Fingerprint of the photo's file, where it is known.
    pub photo_sha256: Option<String>,
    /// The sidecar without the photo's name: two photos of one day that have it in common, pixel for pixel, are copies of one.
    pub(super) marks: String,
    /// What was measured.
    pub readings: Vec<Reading>,
    /// Distances of the growth rings below the coronet at the toe and at the heel, from the uppermost down.
    pub rings: [Vec<Reading>; 2],
    /// What the practitioner noted: heading and text.
    pub remarks: Vec<(String, String)>,
}

impl Shot {
    /// From a photo's sidecar and what was measured. `taken` is when, by the sidecar or the photo's header; `lens` says which lens
    /// it was, see [`LensIdentity`].
    ///
    /// # Errors
    /// `Usage` where the animal is not named or the day is not known: such a photo belongs to no case.
    pub fn new(
        photo: &str,
        sidecar: &Sidecar,
        measured: &Measured,
        taken: Option<&str>,
        lens: Option<LensIdentity>,
    ) -> Result<Self> {
        let animal = sidecar.subject.animal.trim();
        if animal.is_empty() {
            return Err(Error::new(ErrorKind::Usage, format!("{photo}: no animal is named, so it belongs to no case"))
                .help("write the animal's name into subject.animal of the sidecar or of visit.hoof.json"));
        }
        let day = taken.and_then(|t| t.get(..10)).and_then(|d| d.parse().ok()).ok_or_else(|| {
            Error::new(ErrorKind::Usage, format!("{photo}: when it was taken is not known"))
                .help("write \"taken\": \"2026-05-04\" into the sidecar or visit.hoof.json")
        })?;
        let side = (sidecar.view == View::Lateral).then(|| sidecar.side.unwrap_or(Side::Lateral));
        Ok(Self {
            photo: photo.to_owned(),
            animal: animal.to_owned(),
            foot: sidecar.subject.foot,
            view: sidecar.view,
            side,
            stage: sidecar.stage,
            day,
            // A prior that the graduations contradicted was put aside: nothing is shared then.
            lens: lens.filter(|l| l.prior.source == measured.scene.lens_source),
            scale: sidecar.scale.as_ref().map(|s| (s.kind, s.tolerance.unwrap_or_else(|| Tolerance::assumed(s.kind)))),
            photo_sha256: None,
            marks: marks(sidecar),
            readings: measured.values.iter().map(Reading::of).collect(),
            rings: rings::readings(measured),
            remarks: Vec::new(),
        })
    }

    /// Whether this shows what another one shows already: the same file, or on one day the same marks on the same pixels. Feet that
    /// stand side by side in one picture are told apart.
    pub fn repeats(&self, other: &Self) -> bool {
        let place = |s: &Self| (s.foot, s.view, s.side);
        let one_file = self.photo_sha256.is_some() && self.photo_sha256 == other.photo_sha256;
        place(self) == place(other) && (one_file || (self.day == other.day && self.marks == other.marks))
    }

    /// The same with what the practitioner noted.
    #[must_use]
    pub fn with_remarks(mut self, remarks: impl IntoIterator<Item = (&'static str, String)>) -> Self {
        self.remarks.extend(remarks.into_iter().map(|(k, v)| (k.to_owned(), v)));
        self
    }
}

/// What a sidecar says, but for the photo's name.
fn marks(sidecar: &Sidecar) -> String {
    let mut nameless = sidecar.clone();
    nameless.photo.file.clear();
    nameless.to_json()
}

/// What sets one row of values of an animal apart from another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// Which foot.
    pub foot: Foot,
    /// Seen from where.
    pub view: View,
    /// The side that faces the camera.
    pub side: Option<Side>,
    /// Before or after a trim.
    pub stage: Option<Stage>,
}

impl Key {
    pub(super) fn of(shot: &Shot) -> Self {
        Self { foot: shot.foot, view: shot.view, side: shot.side, stage: shot.stage }
    }
}
