//! What results say of one photo, apart from where it comes from: read off a measured photo, or read back from its entry.

use super::details::{RecordedCovariances, RecordedPoint};
use crate::evaluate::Value;
use crate::foot::{Foot, Side, Stage, View};
use crate::measure::{self, Measurement};
use crate::measured::{flag_meaning, flag_names};
use crate::photo::Sha256Hex;
use crate::visit::photo::PhotoReport;
use crate::visit::placements::PlacementNote;
use serde::de::{Deserializer, Error as _, IgnoredAny};
use serde::{Deserialize, Serialize, Serializer};
use std::borrow::Cow;
use std::collections::BTreeMap;

/// A photo's values as `measurements.json` has them, without budgets and scene: the content of every table.
#[derive(Debug, Clone, Deserialize, Serialize)]
#[non_exhaustive]
pub struct PhotoRecord {
    /// Path relative to the folder.
    #[serde(rename = "photo")]
    pub name: String,
    /// Fingerprint of the photo's file.
    pub photo_sha256: Sha256Hex,
    /// Fingerprint of the sidecar's file.
    pub sidecar_sha256: Sha256Hex,
    /// Whose foot.
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// Where the camera looks from.
    pub view: View,
    /// Which side of the foot faces the camera.
    pub side: Option<Side>,
    /// Before or after trimming.
    pub stage: Option<Stage>,
    /// When it was taken, RFC 3339 as far as it is known.
    pub taken: Option<String>,
    /// Who placed the landmarks.
    pub observer: Option<String>,
    /// The table that the spread of placing was taken from.
    #[serde(default)]
    pub placement: Option<PlacementNote>,
    /// Path of the annotated picture relative to the results.
    pub picture: Option<String>,
    /// The values, in the order of [`measure::ALL`].
    #[serde(rename = "measurements")]
    pub values: Vec<RecordedValue>,
    /// Landmarks and points of lines in the measured plane, where the results hold them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub points: Option<Vec<RecordedPoint>>,
    /// The covariance of the values, and that of the landmarks' places, where the results hold them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariances: Option<RecordedCovariances>,
    /// Joint draws of the values, where the results hold them: each value's in the order of `values`, none where a draw has no value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub draws: Option<Vec<Vec<Option<f64>>>>,
}

/// One value of a [`PhotoRecord`].
#[derive(Debug, Clone, Deserialize, Serialize)]
#[non_exhaustive]
pub struct RecordedValue {
    /// What was measured.
    #[serde(deserialize_with = "by_id", serialize_with = "as_id")]
    pub measurement: &'static Measurement,
    /// Best estimate, in the measurement's unit.
    #[serde(deserialize_with = "number")]
    pub value: f64,
    /// Standard uncertainty.
    #[serde(deserialize_with = "number")]
    pub u: f64,
    /// Coverage factor.
    #[serde(deserialize_with = "number")]
    pub k: f64,
    /// Expanded uncertainty.
    #[serde(deserialize_with = "number")]
    pub expanded: f64,
    /// Lower end of the 95 % interval.
    #[serde(deserialize_with = "number")]
    pub lower: f64,
    /// Upper end of the 95 % interval.
    #[serde(deserialize_with = "number")]
    pub upper: f64,
    /// How it was made.
    pub method: String,
    /// What the reader has to know, by name, in the order of [`flag_names`].
    #[serde(deserialize_with = "flags", serialize_with = "with_meanings")]
    pub flags: Vec<String>,
}

impl PhotoRecord {
    /// Of a photo measured now, without points, covariances and draws.
    pub(in crate::visit) fn of(report: &PhotoReport) -> Self {
        let (s, measured) = (&report.sidecar, &report.measured);
        let value = |v: &Value| RecordedValue {
            measurement: v.measurement,
            value: v.value,
            u: v.u,
            k: v.k,
            expanded: v.expanded(),
            lower: v.interval[0],
            upper: v.interval[1],
            method: v.method().to_owned(),
            flags: in_order(measured.flags(v).into_iter().map(str::to_owned).collect()),
        };
        Self {
            name: report.name.clone(),
            photo_sha256: report.photo_sha256,
            sidecar_sha256: report.sidecar_sha256,
            animal: s.subject.animal.clone(),
            foot: s.subject.foot,
            view: s.view,
            side: s.side,
            stage: s.stage,
            taken: report.taken().map(str::to_owned),
            observer: s.observer.clone(),
            placement: report.placement.clone(),
            picture: report.picture.as_ref().and_then(|p| p.as_ref().ok()).cloned(),
            values: measured.values.iter().map(value).collect(),
            points: None,
            covariances: None,
            draws: None,
        }
    }

    /// Everything that the photo's values are flagged with, in the order of [`flag_names`].
    pub fn flags(&self) -> Vec<&str> {
        let has = |name: &&str| self.values.iter().any(|v| v.flags.iter().any(|f| f == name));
        flag_names().filter(has).collect()
    }
}

fn by_id<'de, D: Deserializer<'de>>(from: D) -> Result<&'static Measurement, D::Error> {
    let id = Cow::<str>::deserialize(from)?;
    measure::find(&id).ok_or_else(|| D::Error::custom(format!("no measurement is called `{id}`")))
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks for it")]
fn as_id<S: Serializer>(measurement: &&Measurement, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(measurement.id)
}

/// JSON has no sign for what is no number and writes null.
fn number<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    Ok(Option::deserialize(from)?.unwrap_or(f64::NAN))
}

fn flags<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<String>, D::Error> {
    Ok(in_order(BTreeMap::<String, IgnoredAny>::deserialize(from)?.into_keys().collect()))
}

fn in_order(mut flags: Vec<String>) -> Vec<String> {
    flags.sort_by_key(|flag| flag_names().position(|name| name == flag).unwrap_or(usize::MAX));
    flags.dedup();
    flags
}

fn with_meanings<S: Serializer>(flags: &[String], to: S) -> Result<S::Ok, S::Error> {
    to.collect_map(flags.iter().map(|f| (f, flag_meaning(f))))
}
