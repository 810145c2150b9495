//! Every landmark and line: its name in files, what it is, how to find it, how well it is defined.
//!
//! This is the only place where they are declared. The file formats, the JSON Schema, the documentation and the
//! placement uncertainties follow from these two tables.
//!
//! # How well a landmark is defined
//! `Spread` is the standard uncertainty of the anatomical point itself, for one trained person on a clean, dry
//! hoof. No per-landmark standard deviation in millimetres was found in print for horses (published work reports the
//! agreement of derived measures, e.g. White et al. 2008, Equine Vet J 40:623-628), so every value here is an estimate
//! to start with, no source; a sidecar's `u_mm` replaces it. Where a point's spread depends on what nobody states, the value covers
//! it: a toe that may be rolled (1 mm along the ground where it is sharp, 2 to 4 mm where it is not), a frog that may be untrimmed
//! (2 to 4 mm along it), a breakover (2 to 4 mm), a coronet hidden by the heel's bulb (2 to 3 mm both ways).

use crate::foot::{PlaneName, View};
use std::fmt;

/// The direction that an oval spread is aligned with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// From `toe_ground` to `toe_coronet`.
    DorsalWall,
    /// From `heel_ground` to `heel_coronet`.
    HeelWall,
    /// From `toe_ground` to `heel_ground`.
    Ground,
    /// From `central_sulcus` to `frog_apex`.
    Frog,
}

impl Axis {
    /// The two landmarks that give the direction, from and to.
    pub const fn ends(self) -> (Landmark, Landmark) {
        match self {
            Self::DorsalWall => (Landmark::ToeGround, Landmark::ToeCoronet),
            Self::HeelWall => (Landmark::HeelGround, Landmark::HeelCoronet),
            Self::Ground => (Landmark::ToeGround, Landmark::HeelGround),
            Self::Frog => (Landmark::CentralSulcus, Landmark::FrogApex),
        }
    }
}

/// Standard uncertainty in mm of where an anatomical point is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// The same in both directions (per axis).
    Round(f64),
    /// Different along and across a direction; where that direction's landmarks are not placed, the larger value
    /// counts both ways.
    Oval {
        /// Along the axis, mm.
        along: f64,
        /// Across the axis, mm.
        across: f64,
        /// The axis.
        axis: Axis,
    },
}

/// The visible edge that a landmark lies on by its definition: what the picture can sharpen across that edge, never along it.
///
/// No polarity is declared: dark horn before a light board and light horn before a dark barn are both usual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contour {
    /// The line whose edge it is; its `u_mm` is how well that edge is defined.
    pub line: Line,
    /// The direction that the edge runs in there, or square to it.
    pub axis: Axis,
    /// Whether the edge runs square to the axis.
    pub square: bool,
    /// Where the edge is looked at, mm along it from the landmark, in the axis's sense: an edge that ends at the landmark is looked at on
    /// one side alone.
    pub span_mm: [f64; 2],
}

const fn edge(line: Line, axis: Axis, span_mm: [f64; 2]) -> Option<Contour> {
    Some(Contour { line, axis, square: false, span_mm })
}

const fn edge_across(line: Line, axis: Axis) -> Option<Contour> {
    Some(Contour { line, axis, square: true, span_mm: [-3.0, 3.0] })
}

/// What is known of a landmark, besides its identity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LandmarkInfo {
    /// The name in files.
    pub name: &'static str,
    /// The view it is seen in.
    pub view: View,
    /// The plane it lies on.
    pub plane: PlaneName,
    /// What it is.
    pub definition: &'static str,
    /// How to find it on a photo.
    pub find: &'static str,
    /// How well it is defined.
    pub spread: Spread,
    /// The edge it lies on, if its definition names one that is seen.
    pub contour: Option<Contour>,
}

macro_rules! landmarks {
    ($($variant:ident $name:literal $view:ident $plane:ident $spread:expr, $contour:expr; $definition:literal; $find:literal;)+) => {
        /// A point that a person places on a photo. The names are the trade's own.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[non_exhaustive]
        pub enum Landmark { $(#[doc = $definition] $variant),+ }

        impl Landmark {
            /// Every landmark, in the order of the file contract.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// What is known of it.
            pub const fn info(self) -> LandmarkInfo {
                match self {
                    $(Self::$variant => LandmarkInfo {
                        name: $name, view: View::$view, plane: PlaneName::$plane,
                        definition: $definition, find: $find, spread: $spread, contour: $contour,
                    }),+
                }
            }
        }
    };
}

macro_rules! lines {
    ($($variant:ident $name:literal $view:ident $plane:ident $closed:literal $u:literal; $definition:literal;)+) => {
        /// A row of points that a person places along an edge.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[non_exhaustive]
        pub enum Line { $(#[doc = $definition] $variant),+ }

        impl Line {
            /// Every line, in the order of the file contract.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// What is known of it.
            pub const fn info(self) -> LineInfo {
                match self {
                    $(Self::$variant => LineInfo {
                        name: $name, view: View::$view, plane: PlaneName::$plane, closed: $closed,
                        definition: $definition, u_mm: $u,
                    }),+
                }
            }
        }
    };
}

/// What is known of a line, besides its identity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineInfo {
    /// The name in files.
    pub name: &'static str,
    /// The view it is seen in.
    pub view: View,
    /// The plane it lies on.
    pub plane: PlaneName,
    /// Whether it is a closed outline.
    pub closed: bool,
    /// What it follows.
    pub definition: &'static str,
    /// How well the edge is defined, mm: per point and axis for an open line; for a closed outline the standard
    /// uncertainty of the whole edge lying too far out or in. See [`LineInfo::edge_mm`].
    pub u_mm: f64,
}

impl LineInfo {
    /// How a drawn edge errs, mm: as a whole, and wandering slowly along it ([`located::Edge`](crate::located::Edge)). What wanders has
    /// twice the standard uncertainty of the whole (estimate, no source).
    pub const fn edge_mm(&self) -> [f64; 2] {
        if self.closed { [self.u_mm, 2.0 * self.u_mm] } else { [0.5 * self.u_mm, self.u_mm] }
    }
}

use Axis::{DorsalWall, Frog, Ground, HeelWall};
use Spread::{Oval, Round};

landmarks! {
    ToeCoronet "toe_coronet" Lateral Midline Oval { along: 1.5, across: 0.5, axis: DorsalWall }, None;
        "Coronary band at the dorsal midline: where the horn of the dorsal wall meets haired skin.";
        "Part the hair; on the foot's front edge take the step from hair to shiny horn.";
    ToeGround "toe_ground" Lateral Midline Oval { along: 2.5, across: 1.0, axis: Ground }, edge(Line::DorsalWall, DorsalWall, [0.5, 6.0]);
        "Foremost point of the dorsal wall at the bearing edge.";
        "Where the front edge leaves the ground line; on a rolled toe it lies behind the wall's projection.";
    HeelCoronet "heel_coronet" Lateral NearHeel Oval { along: 2.5, across: 2.5, axis: HeelWall }, None;
        "Palmar end of the coronary band at the heel, before the hairline turns over the bulb.";
        "The last clear horn under the hair at the back of the near side.";
    HeelGround "heel_ground" Lateral NearHeel Round(1.5), edge(Line::Ground, Ground, [-6.0, -0.5]);
        "Rearmost bearing point of the heel wall.";
        "Follow the near heel wall down to the ground: not the bulb, not the far heel.";
    GroundFront "ground_front" Lateral Midline Round(0.5), edge(Line::Ground, Ground, [-5.0, 5.0]);
        "A point of the ground or block in front, under the foot's midline.";
        "On the upper edge of the block or the ground line, well in front of the toe.";
    GroundBack "ground_back" Lateral Midline Round(0.5), edge(Line::Ground, Ground, [-5.0, 5.0]);
        "A point of the ground or block behind, under the foot's midline.";
        "On the upper edge of the block or the ground line, well behind the heel.";
    PasternUpper "pastern_upper" Lateral Midline Round(2.0), None;
        "Upper of two points of the dorsal pastern outline.";
        "On the front edge of the pastern just below the fetlock.";
    PasternLower "pastern_lower" Lateral Midline Round(2.0), None;
        "Lower of two points of the dorsal pastern outline.";
        "On the front edge of the pastern just above the coronet.";
    SolePlaneHeel "sole_plane_heel" Lateral NearHeel Round(1.5), None;
        "Where the hard sole plane at the seat of corn meets the heel wall.";
        "Not visible on a standing foot: mark it on the wall from the lifted foot, loose horn picked out.";
    Breakover "breakover" Lateral Midline Oval { along: 3.0, across: 1.0, axis: Ground }, None;
        "Hindmost point at which the toe first leaves the ground when the foot rolls.";
        "The start of the bevel or roll on the bearing edge.";
    HeelBulb "heel_bulb" Lateral NearHeel Round(1.0), None;
        "Rearmost point of the near bulb.";
        "On the outline of the near heel bulb.";
    HeelBulbFar "heel_bulb_far" Lateral Midline Round(1.0), None;
        "Rearmost point of the far bulb.";
        "Right behind the near bulb, where it can be seen: together they show how far the foot is turned against the ruler.";

    ToeOuter "toe_outer" Solar Ground Round(1.0), edge_across(Line::OuterWall, Frog);
        "Outermost wall at the toe on the frog's axis.";
        "Where the line through sulcus and frog apex leaves the wall in front.";
    WhiteLineInner "white_line_inner" Solar Ground Round(0.5), edge_across(Line::WhiteLine, Frog);
        "Inner edge of the white line at the toe, on the frog's axis.";
        "Where the sole ends and the yellowish line begins; rasp or brush lightly first.";
    WhiteLineOuter "white_line_outer" Solar Ground Round(0.5), edge_across(Line::WhiteLine, Frog);
        "Outer edge of the white line at the toe, on the frog's axis.";
        "Where the yellowish line ends and the wall's inner horn begins.";
    FrogApex "frog_apex" Solar Sole Oval { along: 3.0, across: 1.0, axis: Frog }, None;
        "Foremost end of the frog's own horn.";
        "Pare or brush away loose frog: an overgrown tongue lies in front of the true apex.";
    CentralSulcus "central_sulcus" Solar Sole Round(2.0), None;
        "Rearmost point of the central sulcus.";
        "The bottom of the groove at its rear end, not its shadow.";
    FrogBaseMedial "frog_base_medial" Solar Sole Oval { along: 3.0, across: 1.5, axis: Frog }, None;
        "Medial rear corner of the frog, at its greatest width.";
        "On the edge of the frog's horn, not on the groove's wall.";
    FrogBaseLateral "frog_base_lateral" Solar Sole Oval { along: 3.0, across: 1.5, axis: Frog }, None;
        "Lateral rear corner of the frog, at its greatest width.";
        "On the edge of the frog's horn, not on the groove's wall.";
    HeelMedial "heel_medial" Solar Ground Round(1.5), None;
        "Rearmost bearing point of the medial heel buttress.";
        "The last bearing horn at the angle of wall and bar, medial side.";
    HeelLateral "heel_lateral" Solar Ground Round(1.5), None;
        "Rearmost bearing point of the lateral heel buttress.";
        "The last bearing horn at the angle of wall and bar, lateral side.";
    WidestMedial "widest_medial" Solar Ground Oval { along: 4.5, across: 1.0, axis: Frog }, edge(Line::OuterWall, Frog, [-3.0, 3.0]);
        "Outermost wall on the medial side, at the foot's widest part.";
        "Greatest width square to the frog's axis: the width is well defined, its place along the foot is not.";
    WidestLateral "widest_lateral" Solar Ground Oval { along: 4.5, across: 1.0, axis: Frog }, edge(Line::OuterWall, Frog, [-3.0, 3.0]);
        "Outermost wall on the lateral side, at the foot's widest part.";
        "Greatest width square to the frog's axis: the width is well defined, its place along the foot is not.";
    BulbMedial "bulb_medial" Solar Sole Round(1.5), None;
        "Rearmost point of the medial heel bulb.";
        "On the bulb's outline.";
    BulbLateral "bulb_lateral" Solar Sole Round(1.5), None;
        "Rearmost point of the lateral heel bulb.";
        "On the bulb's outline.";
    BreakoverSolar "breakover" Solar Ground Round(2.0), None;
        "Start of the bevel across the toe, on the frog's axis.";
        "Where the bearing surface ends and the roll begins.";
}

lines! {
    DorsalWall "dorsal_wall" Lateral Midline false 0.5; "The dorsal wall's outline, from the coronet to the ground.";
    HeelWall "heel_wall" Lateral NearHeel false 1.0; "The near heel wall's outline, from the coronet to the ground.";
    Ground "ground" Lateral Midline false 0.5; "The bearing line, or the edge of the block the foot stands on.";
    TubulesToe "tubules_toe" Lateral Midline false 0.7; "Along one visible horn tubule at the toe, from above down.";
    TubulesQuarter "tubules_quarter" Lateral NearHeel false 0.7; "Along one visible horn tubule at the quarter, from above down.";
    TubulesHeel "tubules_heel" Lateral NearHeel false 0.7; "Along one visible horn tubule at the heel, from above down.";
    RingsToe "rings_toe" Lateral Midline false 1.0; "Where successive growth rings cross the wall at the toe, from the coronet down.";
    RingsHeel "rings_heel" Lateral NearHeel false 1.5; "Where the same growth rings cross the heel wall, from the coronet down.";
    OuterWall "outer_wall" Solar Ground true 0.5; "The wall's outer edge, all round and across the heels.";
    WhiteLine "white_line" Solar Ground true 0.5; "The white line's inner edge (where the sole ends), all round and across the heels.";
    FrogOutline "frog" Solar Sole true 1.0; "The edge of the frog's horn.";
}

/// How one landmark stands to another in every foot (anatomy; trade sheet of the project's sources, no single one).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Order {
    /// The one.
    pub first: Landmark,
    /// How it stands to the other.
    pub stands: Stands,
    /// The other.
    pub second: Landmark,
}

/// A relation of two landmarks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Ahead of it: nearer to the toe, along the ground or the frog's axis.
    Ahead,
    /// Above it, square to the ground.
    Above,
    /// On the other side of the frog's axis: the first is the medial one.
    Across,
}

impl Stands {
    /// How the first stands to the second, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ahead => "ahead of",
            Self::Above => "above",
            Self::Across => "across the frog's axis from",
        }
    }

    /// What is said of the first where the order is broken.
    pub const fn broken(self) -> &'static str {
        match self {
            Self::Ahead => "lies behind",
            Self::Above => "lies below",
            Self::Across => "lies on the side of",
        }
    }
}

/// The orders of all landmarks that have one.
pub const ORDERS: &[Order] = {
    use Landmark as L;
    use Stands::{Above, Across, Ahead};
    const fn order(first: Landmark, stands: Stands, second: Landmark) -> Order {
        Order { first, stands, second }
    }
    &[
        order(L::ToeGround, Ahead, L::HeelGround),
        order(L::ToeCoronet, Ahead, L::HeelCoronet),
        order(L::ToeGround, Ahead, L::ToeCoronet),
        order(L::ToeCoronet, Above, L::ToeGround),
        order(L::HeelCoronet, Above, L::HeelGround),
        order(L::PasternUpper, Above, L::PasternLower),
        order(L::PasternLower, Above, L::ToeGround),
        order(L::GroundFront, Ahead, L::GroundBack),
        order(L::ToeGround, Ahead, L::HeelBulb),
        order(L::ToeGround, Ahead, L::HeelBulbFar),
        order(L::ToeOuter, Ahead, L::WhiteLineInner),
        order(L::WhiteLineOuter, Ahead, L::WhiteLineInner),
        order(L::ToeOuter, Ahead, L::FrogApex),
        order(L::FrogApex, Ahead, L::CentralSulcus),
        order(L::ToeOuter, Ahead, L::HeelMedial),
        order(L::ToeOuter, Ahead, L::HeelLateral),
        order(L::WidestMedial, Ahead, L::HeelMedial),
        order(L::WidestLateral, Ahead, L::HeelLateral),
        order(L::HeelMedial, Across, L::HeelLateral),
        order(L::WidestMedial, Across, L::WidestLateral),
        order(L::FrogBaseMedial, Across, L::FrogBaseLateral),
        order(L::BulbMedial, Across, L::BulbLateral),
    ]
};

impl Landmark {
    /// The landmark of this name in this view.
    pub fn find(view: View, name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|l| l.info().view == view && l.info().name == name)
    }

    /// The landmarks of a view.
    pub fn of(view: View) -> impl Iterator<Item = Self> {
        Self::ALL.iter().copied().filter(move |l| l.info().view == view)
    }

    /// The name in files.
    pub const fn name(self) -> &'static str {
        self.info().name
    }

    /// Whether the ground that a foot stands on can hide it: it lies at the bearing edge or on the ground.
    pub const fn meets_ground(self) -> bool {
        matches!(self, Self::ToeGround | Self::HeelGround | Self::GroundFront | Self::GroundBack | Self::Breakover)
    }

    /// The direction that counts as "along" where placements are compared: that of its spread, else the ground line or the frog's axis.
    pub const fn contour(self) -> Axis {
        let info = self.info();
        match (info.spread, info.view) {
            (Spread::Oval { axis, .. }, _) => axis,
            (Spread::Round(_), View::Lateral) => Axis::Ground,
            (Spread::Round(_), View::Solar) => Axis::Frog,
        }
    }
}

impl Spread {
    /// The same spread, so many times as wide.
    #[must_use]
    pub fn widened(self, by: f64) -> Self {
        match self {
            Self::Round(u) => Self::Round(u * by),
            Self::Oval { along, across, axis } => Self::Oval { along: along * by, across: across * by, axis },
        }
    }

    /// Standard uncertainty across a direction that runs along `axis`, or square to it, mm.
    pub fn across(self, axis: Axis, square: bool) -> f64 {
        match self {
            Self::Round(u) => u,
            Self::Oval { along, across, axis: own } if own == axis => {
                if square {
                    along
                } else {
                    across
                }
            }
            Self::Oval { along, across, .. } => along.max(across),
        }
    }
}

impl Line {
    /// Whether it follows one edge, so that its points err together; the rings that cross a wall are found one by one.
    pub const fn is_edge(self) -> bool {
        !matches!(self, Self::RingsToe | Self::RingsHeel)
    }

    /// The line of this name in this view.
    pub fn find(view: View, name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|l| l.info().view == view && l.info().name == name)
    }

    /// The lines of a view.
    pub fn of(view: View) -> impl Iterator<Item = Self> {
        Self::ALL.iter().copied().filter(move |l| l.info().view == view)
    }

    /// The name in files.
    pub const fn name(self) -> &'static str {
        self.info().name
    }
}

impl fmt::Display for Landmark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn an_order_is_of_two_landmarks_of_one_view() {
        for order in ORDERS {
            assert!(order.first != order.second && order.first.info().view == order.second.info().view);
            if order.stands == Stands::Across {
                assert!(order.first.name().ends_with("medial") && order.second.name().ends_with("lateral"));
            }
        }
    }

    #[test]
    fn names_are_unique_within_a_view() {
        for view in View::ALL {
            let names: Vec<_> = Landmark::of(*view).map(Landmark::name).collect();
            assert_eq!(names.iter().collect::<BTreeSet<_>>().len(), names.len());
            for l in Landmark::of(*view) {
                assert_eq!(Landmark::find(*view, l.name()), Some(l));
            }
            for l in Line::of(*view) {
                assert_eq!(Line::find(*view, l.name()), Some(l));
            }
        }
    }
}
