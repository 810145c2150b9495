//! `projection.json`: the types that write it also give its schema.

use super::{CAUTIONS, FootProjection, Heels, VisitProjection};
use crate::evaluate::Value;
use crate::{Foot, Side, Stage};
use serde::Serialize;

/// The name and version of the format.
const FORMAT: &str = "hoofgeo-projection/1";

/// What measured feet would be after a trim or weeks of growth: geometry, not a cutting instruction.
#[derive(Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
struct ProjectionFile<'a> {
    /// The format's name and version, `hoofgeo-projection/1`.
    format: &'static str,
    /// Version of the program.
    version: &'static str,
    /// What is done.
    plan: PlanFile,
    /// Each lateral photo.
    feet: Vec<FootFile<'a>>,
    /// Photos that could not be projected, and why.
    refused: Vec<String>,
    /// What goes with every projection.
    cautions: &'static [&'static str],
}

/// What is done, mm.
#[derive(Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
struct PlanFile {
    /// In plain words.
    says: String,
    /// Whether the heels are brought to the hard sole plane.
    heels_to_sole_plane: bool,
    /// How much the heels are lowered, square to the ground.
    heels_lowered_mm: Option<f64>,
    /// How far the toe is dressed back along the ground.
    toe_back_mm: f64,
    /// How much the toe is lowered from below, square to the ground.
    toe_lowered_mm: f64,
    /// Weeks of growth.
    weeks: Option<f64>,
    /// Growth at the toe, net of wear, mm a month.
    toe_growth_mm_per_month: Option<f64>,
    /// Growth at the heel, net of wear, mm a month.
    heel_growth_mm_per_month: Option<f64>,
    /// Standard uncertainty of each rate, mm a month.
    growth_u_mm_per_month: Option<f64>,
}

/// One lateral photo.
#[derive(Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
struct FootFile<'a> {
    /// The photo.
    photo: &'a str,
    /// Whose foot.
    animal: &'a str,
    /// Which foot.
    foot: Foot,
    /// The side of the foot that it shows.
    side: Option<Side>,
    /// Before or after trimming.
    stage: Option<Stage>,
    /// The day it was taken.
    day: Option<&'a str>,
    /// The picture, relative to this file.
    picture: Option<&'a str>,
    /// The photo of the sole that the area comes from.
    sole: Option<&'a str>,
    /// The projected quantities.
    quantities: Vec<QuantityFile>,
}

/// One projected quantity.
#[derive(Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
struct QuantityFile {
    /// Its key.
    id: &'static str,
    /// Its unit: mm, deg, mm2.
    unit: &'static str,
    /// As the foot is.
    before: ValueFile,
    /// As it would be.
    after: ValueFile,
    /// After minus before.
    change: ValueFile,
}

/// A value and its uncertainty.
#[derive(Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
struct ValueFile {
    /// Best estimate.
    value: f64,
    /// Standard uncertainty.
    u: f64,
    /// Lower end of the 95 % interval.
    lower: f64,
    /// Its upper end.
    upper: f64,
}

impl From<&Value> for ValueFile {
    fn from(v: &Value) -> Self {
        Self { value: v.value, u: v.u, lower: v.interval[0], upper: v.interval[1] }
    }
}

fn quantity(before: &Value, after: &Value, change: &Value) -> QuantityFile {
    let m = before.measurement;
    QuantityFile {
        id: m.id,
        unit: m.quantity.unit(),
        before: before.into(),
        after: after.into(),
        change: change.into(),
    }
}

fn foot(f: &FootProjection) -> FootFile<'_> {
    let sides = f.projection.quantities.iter().map(|p| quantity(&p.before, &p.after, &p.change));
    let area = f.area.iter().map(|(_, a)| quantity(&a.before, &a.after, &a.change));
    FootFile {
        photo: &f.photo,
        animal: &f.animal,
        foot: f.foot,
        side: f.side,
        stage: f.stage,
        day: f.day.as_deref(),
        picture: f.picture.as_ref().and_then(|p| p.as_deref().ok()),
        sole: f.area.as_ref().map(|(name, _)| name.as_str()),
        quantities: sides.chain(area).collect(),
    }
}

impl VisitProjection {
    /// The content of `projection.json`.
    pub fn json(&self) -> String {
        let growth = self.plan.growth;
        let file = ProjectionFile {
            format: FORMAT,
            version: env!("CARGO_PKG_VERSION"),
            plan: PlanFile {
                says: self.plan.words(),
                heels_to_sole_plane: self.plan.heels == Heels::ToSolePlane,
                heels_lowered_mm: if let Heels::Lowered(mm) = self.plan.heels { Some(mm) } else { None },
                toe_back_mm: self.plan.toe_back_mm,
                toe_lowered_mm: self.plan.toe_lowered_mm,
                weeks: growth.map(|g| g.weeks),
                toe_growth_mm_per_month: growth.map(|g| g.toe_mm_per_month),
                heel_growth_mm_per_month: growth.map(|g| g.heel_mm_per_month),
                growth_u_mm_per_month: growth.map(|g| g.u_mm_per_month),
            },
            feet: self.feet.iter().map(foot).collect(),
            refused: self.refused.iter().map(ToString::to_string).collect(),
            cautions: CAUTIONS,
        };
        // Text keys and finite numbers always become JSON.
        let mut text = serde_json::to_string_pretty(&file).unwrap_or_default();
        text.push('\n');
        text
    }
}

/// The schema of `projection.json`.
#[cfg(feature = "schema")]
pub(super) fn schema() -> serde_json::Value {
    crate::sidecar::schema::of::<ProjectionFile<'static>>(FORMAT)
}
