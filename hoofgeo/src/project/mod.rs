//! Trim projection: what a measured foot would be with its heels brought to the hard sole plane, its toe shortened, or left to grow.
//!
//! It is plane geometry and nothing more. Horn is taken off, or grows, along the walls as they were measured; both walls count as
//! straight, the bone as fixed; where the foot then stands follows from its two bearing points. Lowering a heel moves its bearing
//! point back along the horn by h / tan β, so the foot turns by atan(h / (L + h / tan β)), not by atan(h / L). A projection does not
//! say what should be done: it is no cutting instruction.
//!
//! The functions are generic over the scalar, as formulas are, so the uncertainty of everything measured is carried through with all
//! correlations, and before, after and their change have each their own.
//!
//! # Source
//! Geometry. Growth: Josseck et al. 1995, Equine Vet J 27:175-182. That lowering heels moves their bearing points back and
//! lengthens the base behind, and that shortening the toe shortens it in front: common practice, no source.
//!
//! # Example: heels lowered by 5 mm
//! ```
//! use hoofgeo::{measured::{MeasureOptions, locate}, project::{Heels, Plan, project}, scene::LensPrior, sidecar::Sidecar};
//! let sidecar = Sidecar::parse(r#"{
//!   "format": "hoofgeo-sidecar/1",
//!   "photo": { "file": "side.jpg", "width_px": 4000, "height_px": 3000 },
//!   "subject": { "foot": "LF" }, "view": "lateral", "side": "lateral",
//!   "scale": { "kind": "straight_ruler", "points": [
//!     { "mm": 0, "at": [1000, 2500] }, { "mm": 100, "at": [2000, 2500] }, { "mm": 200, "at": [3000, 2500] } ] },
//!   "planes": { "near_heel": { "behind_scale_mm": 0 } },
//!   "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "toe_ground": { "at": [1200, 2400] },
//!                  "heel_coronet": { "at": [2659, 2150] }, "heel_ground": { "at": [2400, 2400] } }
//! }"#, None)?;
//! let (scene, located) = locate(&sidecar, &LensPrior::exif((4000, 3000), 3000.0), &MeasureOptions::default())?;
//! let plan = Plan { heels: Heels::Lowered(5.0), ..Plan::default() };
//! let projection = project(&plan, &located, &scene)?;
//! let heel = projection.find("heel_bearing_point").map(|p| p.after.value);
//! assert!(heel.is_some_and(|back| (back - 5.2).abs() < 0.1));
//! # Ok::<(), hoofgeo::Error>(())
//! ```

mod area;
mod comparable;
#[cfg(feature = "files")]
mod folder;
#[cfg(feature = "files")]
mod json;
mod plan;
#[cfg(test)]
mod tests;
#[cfg(feature = "files")]
mod words;

pub use area::{AreaProjection, project_area};
pub use comparable::{Comparable, LEAST_PROBABILITY, comparable};
#[cfg(feature = "files")]
pub use folder::{FootProjection, ProjectOptions, VisitProjection, project_folder};
#[cfg(feature = "pictures")]
pub(crate) use plan::points;
pub use plan::{GROWTH_MM_PER_MONTH, GROWTH_U_MM_PER_MONTH, Growth, Heels, Plan};
#[cfg(feature = "pictures")]
pub(crate) use words::printed;

use crate::evaluate::{Value, evaluate_function, sample};
use crate::foot::View;
use crate::formula;
use crate::landmark::Landmark;
use crate::located::Located;
use crate::measure::{Measurement, Need, Plausible, Quantity};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed};
use crate::scene::Scene;
use crate::uncertainty::Summary;
use crate::{Error, ErrorKind};
use plan::{Projected as Function, What, When};
use rand::RngExt;
use rand_distr::StandardNormal;

/// Said with every projection.
pub const CAUTIONS: &[&str] = &[
    "This is geometry, not a cutting instruction: it shows where bearing points and angles would lie, not what should be done.",
    "Never below the hard sole plane. Go in small steps and look again; a change of more than some 3° at one trim is a lot (rule of \
     thumb).",
    "A photo does not show the bone. Lame, laminitic or growing animals and corrective trims belong with a vet and a qualified \
     farrier; local law comes first.",
];

/// One quantity before the plan, after it, and its change.
#[derive(Debug, Clone)]
pub struct Projected {
    /// As the foot is.
    pub before: Value,
    /// As it would be.
    pub after: Value,
    /// After minus before; what both share cancels.
    pub change: Value,
}

impl Projected {
    /// What it is.
    pub fn measurement(&self) -> &'static Measurement {
        self.before.measurement
    }
}

/// A foot's projection.
#[derive(Debug, Clone)]
pub struct Projection {
    /// What is done.
    pub plan: Plan,
    /// The projected quantities, in the order of [`QUANTITIES`].
    pub quantities: Vec<Projected>,
}

impl Projection {
    /// A quantity by its id.
    pub fn find(&self, id: &str) -> Option<&Projected> {
        self.quantities.iter().find(|p| p.measurement().id == id)
    }
}

macro_rules! quantities {
    ($($place:literal $id:literal $name:literal $quantity:ident $definition:literal;)+) => {
        /// What is projected, in order.
        pub static QUANTITIES: [Measurement; WHAT] = [$(Measurement {
            id: $id,
            name: $name,
            view: View::Lateral,
            quantity: Quantity::$quantity,
            definition: $definition,
            needs: NEEDS,
            source: "geometry",
            references: &[],
            plausible: Plausible::ANY,
            formula: formula!(undisturbed::<_, $place>),
        }),+];
    };
}

const WHAT: usize = What::ALL.len();
const NEEDS: &[Need] = &[
    Need::Point(Landmark::ToeGround),
    Need::Point(Landmark::HeelGround),
    Need::Point(Landmark::ToeCoronet),
    Need::Point(Landmark::HeelCoronet),
];

quantities! {
    0 "dorsal_wall_angle" "Dorsal wall angle" Angle
        "Dorsal wall angle, turned by what the line between the bearing points turns by.";
    1 "heel_angle" "Heel angle" Angle
        "Heel angle, turned by what the line between the bearing points turns by.";
    2 "heel_toe_angle_difference" "Toe minus heel angle" Angle
        "Dorsal wall angle minus heel angle: a flat trim leaves it as it is.";
    3 "support_length" "Support length" Length
        "Distance between the bearing points of toe and heel.";
    4 "dorsal_wall_length" "Dorsal wall length" Length
        "Distance from the toe's bearing point to the coronary band, along the dorsal wall.";
    5 "heel_length" "Heel length" Length
        "Distance from the heel's bearing point to the coronary band, along the heel wall.";
    6 "toe_bearing_point" "Toe bearing point moves back" Length
        "How far the toe's bearing point lies behind where it is now, along the present ground.";
    7 "heel_bearing_point" "Heel bearing point moves back" Length
        "How far the heel's bearing point lies behind where it is now, along the present ground.";
    8 "base_in_front" "Base in front" Length
        "Distance along the present ground from the toe's bearing point to below the middle of the coronary band.";
    9 "base_behind" "Base behind" Length
        "Distance along the present ground from below the middle of the coronary band to the heel's bearing point.";
}

/// A quantity of the foot as it is.
fn undisturbed<T: Real, const PLACE: usize>(p: &Placed<'_, T>) -> Outcome<T> {
    let plan = Plan::default();
    Function { plan: &plan, what: What::ALL[PLACE], when: When::Before }.at(p, &[T::zero(); 5])
}

const WHENS: [When; 3] = [When::Before, When::After, When::Change];

/// Projects a plan onto a foot seen from the side.
///
/// # Errors
/// `Landmark` where a bearing or coronary point is missing, or the plan needs the hard sole plane and neither gauge nor landmark
/// gives it.
pub fn project(plan: &Plan, located: &Located, scene: &Scene) -> crate::Result<Projection> {
    let mut quantities = Vec::with_capacity(WHAT);
    for (what, measurement) in What::ALL.into_iter().zip(&QUANTITIES) {
        let value = |when| evaluate_function(measurement, &Function { plan, what, when }, located, scene);
        let [before, after, change] = WHENS.map(value);
        let failed = |why: crate::placed::Undefined| {
            let help = if plan.heels == Heels::ToSolePlane {
                "it takes toe_ground, toe_coronet, heel_ground, heel_coronet, and the gauge reading or sole_plane_heel"
            } else {
                "it takes toe_ground, toe_coronet, heel_ground and heel_coronet"
            };
            Error::new(ErrorKind::Landmark, format!("this foot cannot be projected: {why}")).help(help)
        };
        quantities.push(Projected {
            before: before.map_err(failed)?,
            after: after.map_err(failed)?,
            change: change.map_err(failed)?,
        });
    }
    Ok(Projection { plan: *plan, quantities })
}

/// Draws the joint distribution (JCGM 101:2008) of the projected quantities after the plan and of their changes: one pair of summaries
/// for each of [`QUANTITIES`], none where a quantity is undefined.
///
/// # Errors
/// `Usage` where the scene's covariance is not one.
pub fn monte_carlo(
    plan: &Plan,
    located: &Located,
    scene: &Scene,
    draws: usize,
    seed: u64,
) -> crate::Result<Vec<[Option<Summary>; 2]>> {
    let columns = sample(located, scene, draws, seed, 2 * WHAT, &|placed, rng, out| {
        let deviations: [f64; 5] = std::array::from_fn(|_| rng.sample(StandardNormal));
        for (k, (what, measurement)) in What::ALL.into_iter().zip(&QUANTITIES).enumerate() {
            for (j, when) in [When::After, When::Change].into_iter().enumerate() {
                if let Ok(v) = (Function { plan, what, when }).drawn(placed, &deviations) {
                    out[2 * k + j] = v * measurement.quantity.factor();
                }
            }
        }
    })?;
    let mut summaries = columns.into_iter().map(Summary::at_95);
    Ok(std::iter::from_fn(|| Some([summaries.next()?, summaries.next()?])).collect())
}

/// The schema of `projection.json`.
#[cfg(all(feature = "schema", feature = "files"))]
pub fn projection_schema() -> serde_json::Value {
    json::schema()
}
