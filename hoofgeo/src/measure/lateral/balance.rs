//! The foot as a whole from the side: coronary band, support, pastern.

use super::toe::dorsal_wall_angle;
use super::{DORSAL_WALL, GROUND};
use crate::foot::View;
use crate::formula;
use crate::landmark::Landmark;
use crate::measure::geometry::{angle_between, dot, from_to, ground, length};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed};

/// Slope of the coronary band.
pub const CORONARY_BAND_ANGLE: Measurement = Measurement {
    id: "coronary_band_angle",
    name: "Coronary band angle",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle of the line from the coronary band at the toe to that at the heel against the ground, positive where \
                 it falls towards the heel.",
    needs: &[Need::Point(Landmark::ToeCoronet), Need::Point(Landmark::HeelCoronet), GROUND],
    source: "White et al. 2008, Equine Vet J 40:623-628",
    references: &[
        Reference {
            says: "20-25° normal; above 30° asks for a radiograph",
            source: "D. Taylor, AAEP talk, as reported by the trade press",
        },
        Reference { says: "larger in lame than in sound feet", source: "Dyson et al. 2011, Vet J 190:364-371" },
    ],
    plausible: Plausible::estimated([-40.0, 75.0], [-5.0, 56.0]),
    formula: formula!(coronary_band_angle),
};

fn coronary_band_angle<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let band = from_to(p.at(Landmark::ToeCoronet)?, p.at(Landmark::HeelCoronet)?);
    length(band)?;
    let g = ground(p)?;
    Ok((-dot(band, g.up(p)?)).atan2(dot(band, g.back)))
}

/// Length that the foot stands on.
pub const SUPPORT_LENGTH: Measurement = Measurement {
    id: "support_length",
    name: "Support length",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Distance along the ground from the toe's bearing edge to the heel's rearmost bearing point.",
    needs: &[Need::Point(Landmark::ToeGround), Need::Point(Landmark::HeelGround), GROUND],
    source: "Clayton et al. 2011, Aust Vet J 89:305-311",
    references: &[
        Reference {
            says: "136.9 ± 9.4 mm before and 130.1 ± 8.2 mm after a trim (10 horses, fore feet, radiographs)",
            source: "Effects of hoof trimming on radiographic measurements, Dareh-Shori horse, Iran J Vet Surg",
        },
        Reference {
            says: "grew while heels moved back over a year of maintenance trims",
            source: "Clayton et al. 2011, Aust Vet J 89:305-311",
        },
    ],
    plausible: Plausible::estimated([45.0, 300.0], [64.0, 225.0]),
    formula: formula!(support_length),
};

fn support_length<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let support = from_to(p.at(Landmark::ToeGround)?, p.at(Landmark::HeelGround)?);
    Ok(dot(support, ground(p)?.back))
}

/// Break of the axis between pastern and hoof.
pub const PASTERN_AXIS_DEVIATION: Measurement = Measurement {
    id: "pastern_axis_deviation",
    name: "Pastern axis deviation",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle of the dorsal pastern outline against the ground minus the dorsal wall angle: positive broken back \
                 (hoof flatter than pastern), negative broken forward. It depends on the stance: the cannon must be vertical.",
    needs: &[Need::Point(Landmark::PasternUpper), Need::Point(Landmark::PasternLower), DORSAL_WALL, GROUND],
    source: "Adams & Stashak, Lameness in Horses, 7th ed., ch. 11",
    references: &[
        Reference { says: "0° straight; ± 3-5° tolerated", source: COMMON_PRACTICE },
        Reference {
            says: "misaligned in 72.8 % of lame fore feet",
            source: "American Farriers Journal review, as quoted by others",
        },
    ],
    plausible: Plausible::estimated([-70.0, 70.0], [-30.0, 30.0]),
    formula: formula!(pastern_axis_deviation),
};

fn pastern_axis_deviation<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let pastern = from_to(p.at(Landmark::PasternLower)?, p.at(Landmark::PasternUpper)?);
    Ok(angle_between(ground(p)?.back, pastern)? - dorsal_wall_angle(p)?)
}
