//! Length, width and proportions of the foot from the sole.

use super::{FROG_APEX, SULCUS};
use crate::foot::View;
use crate::formula;
use crate::landmark::Landmark;
use crate::measure::geometry::{FrogAxis, dot, frog_axis, from_to, midpoint};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed, Undefined};
use nalgebra::Point2;

const HEELS: [Need; 2] = [Need::Point(Landmark::HeelMedial), Need::Point(Landmark::HeelLateral)];
const WIDEST: [Need; 2] = [Need::Point(Landmark::WidestMedial), Need::Point(Landmark::WidestLateral)];
const TOE: Need = Need::Point(Landmark::ToeOuter);

/// Length of the foot.
pub const HOOF_LENGTH: Measurement = Measurement {
    id: "hoof_length",
    name: "Hoof length",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis from half-way between the heel buttresses' rearmost bearing points to the \
                 outermost wall at the toe.",
    needs: &[TOE, HEELS[0], HEELS[1], FROG_APEX, SULCUS],
    source: "Stachurska et al. 2011, Anim Sci Pap Rep 29:213-222",
    references: &[],
    plausible: Plausible::estimated([45.0, 300.0], [64.0, 225.0]),
    formula: formula!(hoof_length),
};

fn hoof_length<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    Ok(ahead_of_heels(p, p.at(Landmark::ToeOuter)?)?.1)
}

/// The frog's axis, and how far a point lies ahead of the middle of the heel buttresses along it.
fn ahead_of_heels<T: Real>(p: &Placed<'_, T>, point: Point2<T>) -> Outcome<(FrogAxis<T>, T)> {
    let axis = frog_axis(p)?;
    let heels = midpoint(p.at(Landmark::HeelMedial)?, p.at(Landmark::HeelLateral)?);
    Ok((axis, dot(from_to(heels, point), axis.forward)))
}

/// Width of the foot.
pub const HOOF_WIDTH: Measurement = Measurement {
    id: "hoof_width",
    name: "Hoof width",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Greatest width of the bearing wall, square to the frog's axis.",
    needs: &[WIDEST[0], WIDEST[1], FROG_APEX, SULCUS],
    source: "Stachurska et al. 2011, Anim Sci Pap Rep 29:213-222",
    references: &[Reference {
        says: "5.9 to 7.3 % of the chest's girth by breed (77 mares); fore wider than hind",
        source: "Stachurska et al. 2011, Anim Sci Pap Rep 29:213-222",
    }],
    plausible: Plausible::estimated([40.0, 300.0], [56.0, 225.0]),
    formula: formula!(hoof_width),
};

fn hoof_width<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let axis = frog_axis(p)?;
    Ok(dot(from_to(p.at(Landmark::WidestMedial)?, p.at(Landmark::WidestLateral)?), axis.across).abs())
}

/// Length over width.
pub const LENGTH_WIDTH_RATIO: Measurement = Measurement {
    id: "length_width_ratio",
    name: "Length to width",
    view: View::Solar,
    quantity: Quantity::Ratio,
    definition: "Hoof length divided by hoof width.",
    needs: &[TOE, HEELS[0], HEELS[1], WIDEST[0], WIDEST[1], FROG_APEX, SULCUS],
    source: COMMON_PRACTICE,
    references: &[Reference { says: "about 1 fore, above 1 hind (hind feet are narrower)", source: COMMON_PRACTICE }],
    plausible: Plausible::estimated([0.5, 2.0], [0.75, 1.5]),
    formula: formula!(length_width_ratio),
};

fn length_width_ratio<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let width = hoof_width(p)?;
    if width <= T::zero() {
        return Err(Undefined::Impossible("the widest points have no distance across"));
    }
    Ok(hoof_length(p)? / width)
}

/// Share of the length behind the widest line.
pub const HEEL_BASE_SHARE: Measurement = Measurement {
    id: "heel_base_share",
    name: "Share behind the widest line",
    view: View::Solar,
    quantity: Quantity::Ratio,
    definition: "Part of the hoof length that lies behind half-way between the widest points.",
    needs: &[TOE, HEELS[0], HEELS[1], WIDEST[0], WIDEST[1], FROG_APEX, SULCUS],
    source: "O'Grady, Guidelines for trimming the equine foot, AAEP 2009 (50:50)",
    references: &[Reference {
        says: "0.5 (50:50), or 0.5 to 0.6",
        source: "O'Grady, AAEP 2009; Ovnicek, BEVA Congress 2010 (they disagree)",
    }],
    plausible: Plausible::estimated([0.0, 1.0], [0.2, 0.78]),
    formula: formula!(heel_base_share),
};

fn heel_base_share<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let widest = midpoint(p.at(Landmark::WidestMedial)?, p.at(Landmark::WidestLateral)?);
    let (_, behind) = ahead_of_heels(p, widest)?;
    let whole = hoof_length(p)?;
    if whole <= T::zero() {
        return Err(Undefined::Impossible("the toe lies behind the heels on the frog's axis"));
    }
    Ok(behind / whole)
}

/// Share of the length before the widest line.
pub const TOE_BASE_SHARE: Measurement = Measurement {
    id: "toe_base_share",
    name: "Share before the widest line",
    view: View::Solar,
    quantity: Quantity::Ratio,
    definition: "Part of the hoof length that lies before half-way between the widest points.",
    needs: &[TOE, HEELS[0], HEELS[1], WIDEST[0], WIDEST[1], FROG_APEX, SULCUS],
    source: "O'Grady, Guidelines for trimming the equine foot, AAEP 2009 (50:50)",
    references: &[Reference {
        says: "0.5 (50:50), or 0.4 to 0.5",
        source: "O'Grady, AAEP 2009; Ovnicek, BEVA Congress 2010 (they disagree)",
    }],
    plausible: Plausible::estimated([0.0, 1.0], [0.22, 0.8]),
    formula: formula!(toe_base_share),
};

fn toe_base_share<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    Ok(T::one() - heel_base_share(p)?)
}

/// Asymmetry of the two halves.
pub const MEDIAL_LATERAL_WIDTH_DIFFERENCE: Measurement = Measurement {
    id: "medial_lateral_width_difference",
    name: "Medial minus lateral half width",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance of the medial widest point from the frog's axis minus that of the lateral one.",
    needs: &[WIDEST[0], WIDEST[1], FROG_APEX, SULCUS],
    source: COMMON_PRACTICE,
    references: &[Reference {
        says: "the medial half is usually the narrower; symmetry is not to be forced",
        source: "Kane et al. 1998, Am J Vet Res 59; common practice",
    }],
    plausible: Plausible::estimated([-90.0, 90.0], [-32.0, 32.0]),
    formula: formula!(medial_lateral_width_difference),
};

fn medial_lateral_width_difference<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let axis = frog_axis(p)?;
    let off = |q| dot(from_to(axis.apex, q), axis.across);
    let (medial, lateral) = (off(p.at(Landmark::WidestMedial)?), off(p.at(Landmark::WidestLateral)?));
    if medial * lateral > T::zero() {
        return Err(Undefined::Impossible("both widest points lie on the same side of the frog's axis"));
    }
    Ok(medial.abs() - lateral.abs())
}
