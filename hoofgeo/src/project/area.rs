//! What a projected change of the bearing points means for the area that the foot covers, seen from the sole.

use super::Projection;
use crate::evaluate::{Function, Value, evaluate_function};
use crate::landmark::{Landmark, Line};
use crate::located::Located;
use crate::measure::geometry::{area, dot, frog_axis, from_to, midpoint};
use crate::measure::{Dual, Formula, OUTLINE_AREA};
use crate::numeric::{Real, constant, value};
use crate::placed::{Outcome, Placed, Undefined};
use crate::review::Estimate;
use crate::scene::Scene;
use nalgebra::{Const, U1};

/// The outline's area before and after.
#[derive(Debug, Clone)]
pub struct AreaProjection {
    /// As it is.
    pub before: Value,
    /// As it would be.
    pub after: Value,
    /// After minus before.
    pub change: Value,
}

/// Toe and heels moved back, mm, and the standard uncertainties of both.
struct Moved {
    back: [f64; 2],
    u: [f64; 2],
    change: bool,
}

/// Projects the area inside the outer wall's outline: its part ahead of the widest line is stretched along the frog's axis as the
/// toe's bearing point moves, the part behind it as the heels' do; widths stay. The moves come from the side view, and count as
/// independent of the sole's photo.
///
/// # Errors
/// `Landmark` where the sole's photo lacks the outline, the frog's axis or the widest points.
pub fn project_area(projection: &Projection, located: &Located, scene: &Scene) -> crate::Result<AreaProjection> {
    let moves = ["toe_bearing_point", "heel_bearing_point"]
        .map(|id| projection.find(id).map_or(Estimate::new(0.0, 0.0, None), |p| Estimate::from(&p.change)));
    let (back, u) = (moves.map(|m| m.value), moves.map(|m| m.u));
    let at = |back, u, change| evaluate_function(&OUTLINE_AREA, &Moved { back, u, change }, located, scene);
    let failed = |why: Undefined| {
        crate::Error::new(crate::ErrorKind::Landmark, format!("the area cannot be projected: {why}"))
            .help("it takes the line outer_wall, frog_apex, central_sulcus, widest_medial and widest_lateral")
    };
    Ok(AreaProjection {
        before: at([0.0; 2], [0.0; 2], false).map_err(failed)?,
        after: at(back, u, false).map_err(failed)?,
        change: at(back, u, true).map_err(failed)?,
    })
}

impl Moved {
    fn at<T: Real>(&self, p: &Placed<'_, T>, back: [T; 2]) -> Outcome<T> {
        let outline = p.line(Line::OuterWall, 3)?;
        let axis = frog_axis(p)?;
        let widest = midpoint(p.at(Landmark::WidestMedial)?, p.at(Landmark::WidestLateral)?);
        let ahead: Vec<T> = outline.iter().map(|q| dot(from_to(widest, *q), axis.forward)).collect();
        let end = |sign: f64| ahead.iter().copied().max_by(|a, b| (value(*a) * sign).total_cmp(&(value(*b) * sign)));
        let (front, rear) = end(1.0).zip(end(-1.0)).ok_or(Undefined::NoLine(Line::OuterWall, 3))?;
        if front <= constant(1.0) || rear >= constant(-1.0) {
            return Err(Undefined::Impossible("the widest points lie outside the outline"));
        }
        let stretch = [(front - back[0]) / front, (rear - back[1]) / rear];
        let moved: Vec<_> = outline
            .iter()
            .zip(&ahead)
            .map(|(q, s)| {
                let by = if *s > T::zero() { stretch[0] } else { stretch[1] };
                q + axis.forward * (*s * (by - T::one()))
            })
            .collect();
        let after = area(&moved)?;
        Ok(if self.change { after - area(outline)? } else { after })
    }
}

impl Function for Moved {
    fn value(&self, p: &Placed<'_, f64>) -> Outcome<f64> {
        self.at(p, self.back)
    }

    fn dual(&self, p: &Placed<'_, Dual>) -> Outcome<Dual> {
        self.at(p, self.back.map(Dual::from_re))
    }

    fn own_variance(&self, p: &Placed<'_, Dual>) -> Outcome<f64> {
        let seeded = [0, 1].map(|i| Dual::from_re(self.back[i]).derivative(i));
        let eps = self.at(p, seeded)?.eps.unwrap_generic(Const::<{ Formula::SEEDS }>, U1);
        Ok((0..2).map(|i| (eps[i] * self.u[i]).powi(2)).sum())
    }
}
