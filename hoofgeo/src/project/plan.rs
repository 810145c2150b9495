//! What is to be done to a foot, and what its points become: plane geometry in the measured plane, generic over the scalar.

use crate::evaluate::Function;
use crate::landmark::Landmark;
use crate::measure::geometry::{angle_between, dorsal_wall, dot, from_to, ground, heel_wall, length, midpoint, unit};
use crate::measure::{self, Dual, Formula};
use crate::numeric::{Real, constant};
use crate::placed::{Outcome, Placed, Undefined};
use nalgebra::{Const, Point2, U1, Vector2};

/// Days of a calendar month.
pub(super) const MONTH_DAYS: f64 = 365.25 / 12.0;

/// Growth of the wall at the toe, mm a month: 7 mm in 28 days (Josseck et al. 1995, Equine Vet J 27:175-182).
pub const GROWTH_MM_PER_MONTH: f64 = 7.0 / 28.0 * MONTH_DAYS;

/// Standard uncertainty of a growth rate net of wear, mm a month: adult horses are said to grow 6 to 10 mm a month (trade press),
/// taken as rectangular, (10 - 6) / 2 / √3. It is the same for a rate of the user's own: wear is the dominant unknown.
pub const GROWTH_U_MM_PER_MONTH: f64 = 1.154_700_538_379_251_5;

/// What is done to the heels.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Heels {
    /// Nothing.
    #[default]
    Left,
    /// Lowered to the hard sole plane, as the gauge or the landmark says; a heel that ends there or above it is left.
    ToSolePlane,
    /// Lowered by so much, square to the ground, mm.
    Lowered(f64),
}

/// Growth net of wear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growth {
    /// For how many weeks.
    pub weeks: f64,
    /// At the toe along the dorsal wall, mm a month.
    pub toe_mm_per_month: f64,
    /// At the heel along the heel wall, mm a month.
    pub heel_mm_per_month: f64,
    /// Standard uncertainty of each rate, mm a month; the two count as independent.
    pub u_mm_per_month: f64,
}

impl Growth {
    /// So many weeks at the published rate, toe and heel alike.
    pub const fn weeks(weeks: f64) -> Self {
        Self {
            weeks,
            toe_mm_per_month: GROWTH_MM_PER_MONTH,
            heel_mm_per_month: GROWTH_MM_PER_MONTH,
            u_mm_per_month: GROWTH_U_MM_PER_MONTH,
        }
    }

    const fn months(&self) -> f64 {
        self.weeks * 7.0 / MONTH_DAYS
    }
}

/// A trim, and growth after it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Plan {
    /// What is done to the heels.
    pub heels: Heels,
    /// How far the toe is dressed back along the ground, its wall kept parallel, mm.
    pub toe_back_mm: f64,
    /// How much the toe is lowered from below, square to the ground, mm.
    pub toe_lowered_mm: f64,
    /// Growth after the trim.
    pub growth: Option<Growth>,
}

/// Numbers that a plan brings along: heels lowered, toe dressed back, toe lowered, growth at toe and at heel, mm.
const AMOUNTS: usize = 5;

impl Plan {
    fn amounts(&self) -> [f64; AMOUNTS] {
        let lowered = if let Heels::Lowered(mm) = self.heels { mm } else { 0.0 };
        let [toe, heel] =
            self.growth.map_or([0.0; 2], |g| [g.toe_mm_per_month, g.heel_mm_per_month].map(|r| r * g.months()));
        [lowered, self.toe_back_mm, self.toe_lowered_mm, toe, heel]
    }

    fn amounts_u(&self) -> [f64; AMOUNTS] {
        let grown = self.growth.map_or(0.0, |g| g.u_mm_per_month * g.months());
        [0.0, 0.0, 0.0, grown, grown]
    }
}

/// A foot's side as the projection sees it: bearing points, walls as straight lines, ground.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Side<T: Real> {
    pub(crate) toe: Point2<T>,
    pub(crate) heel: Point2<T>,
    pub(crate) toe_top: Point2<T>,
    pub(crate) heel_top: Point2<T>,
    pub(crate) toe_up: Vector2<T>,
    pub(crate) heel_up: Vector2<T>,
    pub(crate) back: Vector2<T>,
    pub(crate) up: Vector2<T>,
}

/// Walls flatter than this against the ground (sine) are not projected: the points would run away.
const FLATTEST: f64 = 0.1;

impl<T: Real> Side<T> {
    pub(crate) fn new(p: &Placed<'_, T>) -> Outcome<Self> {
        let g = ground(p)?;
        let side = Self {
            toe: p.at(Landmark::ToeGround)?,
            heel: p.at(Landmark::HeelGround)?,
            toe_top: p.at(Landmark::ToeCoronet)?,
            heel_top: p.at(Landmark::HeelCoronet)?,
            toe_up: dorsal_wall(p)?.along,
            heel_up: heel_wall(p)?.along,
            back: g.back,
            up: g.up(p)?,
        };
        let least = constant(FLATTEST);
        if dot(side.toe_up, side.up) < least || dot(side.heel_up, side.up) < least {
            return Err(Undefined::Impossible("a wall lies too flat on the ground to be projected"));
        }
        Ok(side)
    }

    /// Bearing points of toe and heel after the plan.
    pub(crate) fn after(&self, p: &Placed<'_, T>, plan: &Plan, amounts: &[T; AMOUNTS]) -> Outcome<[Point2<T>; 2]> {
        let [lowered, toe_back, toe_lowered, toe_grown, heel_grown] = *amounts;
        let spare = match plan.heels {
            Heels::ToSolePlane => {
                let spare = measure::heel_above_sole_plane(p)?;
                if spare > T::zero() { spare } else { T::zero() }
            }
            Heels::Left | Heels::Lowered(_) => lowered,
        };
        let up_heel = spare / dot(self.heel_up, self.up) - heel_grown;
        let up_toe = toe_lowered / dot(self.toe_up, self.up) - toe_grown;
        Ok([self.toe + self.back * toe_back + self.toe_up * up_toe, self.heel + self.heel_up * up_heel])
    }
}

/// What is projected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum What {
    ToeAngle,
    HeelAngle,
    Difference,
    Support,
    Wall,
    HeelLength,
    ToeMoves,
    HeelMoves,
    Front,
    Behind,
}

impl What {
    pub(super) const ALL: [Self; 10] = [
        Self::ToeAngle,
        Self::HeelAngle,
        Self::Difference,
        Self::Support,
        Self::Wall,
        Self::HeelLength,
        Self::ToeMoves,
        Self::HeelMoves,
        Self::Front,
        Self::Behind,
    ];

    /// Its value on a side whose bearing points are where `toe` and `heel` are.
    fn of<T: Real>(self, side: &Side<T>, toe: Point2<T>, heel: Point2<T>) -> Outcome<T> {
        // The foot stands on its bearing points: what they turn by, both walls turn by.
        let turn = || -> Outcome<T> {
            let old = unit(from_to(side.toe, side.heel))?;
            let across = if dot(Vector2::new(-old.y, old.x), side.up) < T::zero() {
                Vector2::new(old.y, -old.x)
            } else {
                Vector2::new(-old.y, old.x)
            };
            let new = from_to(toe, heel);
            Ok(dot(new, across).atan2(dot(new, old)))
        };
        let middle = midpoint(side.toe_top, side.heel_top);
        match self {
            Self::ToeAngle => Ok(angle_between(side.back, side.toe_up)? - turn()?),
            Self::HeelAngle => Ok(angle_between(side.back, side.heel_up)? - turn()?),
            Self::Difference => Ok(angle_between(side.back, side.toe_up)? - angle_between(side.back, side.heel_up)?),
            Self::Support => length(from_to(toe, heel)),
            Self::Wall => Ok(dot(from_to(toe, side.toe_top), side.toe_up)),
            Self::HeelLength => Ok(dot(from_to(heel, side.heel_top), side.heel_up)),
            Self::ToeMoves => Ok(dot(from_to(side.toe, toe), side.back)),
            Self::HeelMoves => Ok(dot(from_to(side.heel, heel), side.back)),
            Self::Front => Ok(dot(from_to(toe, middle), side.back)),
            Self::Behind => Ok(dot(from_to(middle, heel), side.back)),
        }
    }
}

/// Before the plan, after it, or the change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum When {
    Before,
    After,
    Change,
}

/// One projected quantity as a function of a photo's points.
#[derive(Debug, Clone, Copy)]
pub(super) struct Projected<'a> {
    pub(super) plan: &'a Plan,
    pub(super) what: What,
    pub(super) when: When,
}

impl Projected<'_> {
    pub(super) fn at<T: Real>(&self, p: &Placed<'_, T>, amounts: &[T; AMOUNTS]) -> Outcome<T> {
        let side = Side::new(p)?;
        let before = || self.what.of(&side, side.toe, side.heel);
        let after = || {
            let [toe, heel] = side.after(p, self.plan, amounts)?;
            self.what.of(&side, toe, heel)
        };
        match self.when {
            When::Before => before(),
            When::After => after(),
            When::Change => Ok(after()? - before()?),
        }
    }

    /// On plain numbers with the plan's amounts moved by so many standard uncertainties.
    pub(super) fn drawn(&self, p: &Placed<'_, f64>, deviations: &[f64; AMOUNTS]) -> Outcome<f64> {
        let (mean, u) = (self.plan.amounts(), self.plan.amounts_u());
        self.at(p, &std::array::from_fn(|i| mean[i] + u[i] * deviations[i]))
    }
}

impl Function for Projected<'_> {
    fn value(&self, p: &Placed<'_, f64>) -> Outcome<f64> {
        self.at(p, &self.plan.amounts())
    }

    fn dual(&self, p: &Placed<'_, Dual>) -> Outcome<Dual> {
        self.at(p, &self.plan.amounts().map(Dual::from_re))
    }

    fn own_variance(&self, p: &Placed<'_, Dual>) -> Outcome<f64> {
        let mean = self.plan.amounts();
        let seeded = std::array::from_fn(|i| Dual::from_re(mean[i]).derivative(i));
        let eps = self.at(p, &seeded)?.eps.unwrap_generic(Const::<{ Formula::SEEDS }>, U1);
        Ok(self.plan.amounts_u().iter().enumerate().map(|(i, u)| (eps[i] * u).powi(2)).sum())
    }
}

/// The bearing points of a photo after a plan, mm in the measured plane, for drawing.
#[cfg(feature = "pictures")]
pub(crate) fn points(p: &Placed<'_, f64>, plan: &Plan) -> Outcome<(Side<f64>, [Point2<f64>; 2])> {
    let side = Side::new(p)?;
    let after = side.after(p, plan, &plan.amounts())?;
    Ok((side, after))
}
