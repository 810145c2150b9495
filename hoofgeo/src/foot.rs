//! Which foot, seen from where, at which stage of a visit.

use serde::{Deserialize, Serialize};
use std::fmt;

macro_rules! named {
    ($(#[$meta:meta])* $name:ident { $($(#[$vm:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        pub enum $name { $($(#[$vm])* #[serde(rename = $text)] $variant),+ }

        impl $name {
            /// Every value, in the order of the file contract.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The name used in files.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $text),+ }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { f.pad(self.name()) }
        }
    };
}

named! {
    /// One of the horse's four feet.
    Foot {
        /// Left fore.
        LeftFore = "LF",
        /// Right fore.
        RightFore = "RF",
        /// Left hind.
        LeftHind = "LH",
        /// Right hind.
        RightHind = "RH",
    }
}

named! {
    /// Where the camera looks from.
    View {
        /// From the side, at the height of the bearing surface.
        Lateral = "lateral",
        /// Square onto the lifted foot's sole.
        Solar = "solar",
    }
}

named! {
    /// A side of the foot.
    Side {
        /// The outer side of the limb.
        Lateral = "lateral",
        /// The inner side of the limb.
        Medial = "medial",
    }
}

named! {
    /// When in a visit the photo was taken.
    Stage {
        /// Before trimming.
        BeforeTrim = "before_trim",
        /// After trimming.
        AfterTrim = "after_trim",
    }
}

named! {
    /// What the foot stands on in a lateral photo.
    Surface {
        /// Concrete, a board, a block: the bearing edge is seen.
        Hard = "hard",
        /// Earth, sand, bedding: the bearing edge sinks in.
        Soft = "soft",
        /// Grass, which hides the bearing edge.
        Grass = "grass",
    }
}

impl Surface {
    /// How much of the bearing edge may be hidden upward, mm: the root mean square of what no photo shows (estimates, no source).
    pub const fn hidden_mm(self) -> f64 {
        match self {
            Self::Hard => 0.0,
            Self::Soft => 4.0,
            Self::Grass => 6.0,
        }
    }
}

named! {
    /// What kind of animal a foot belongs to: which sizes are usual for it.
    SubjectKind {
        /// A grown riding horse or cob.
        Adult = "adult",
        /// A grown pony, donkey or mule.
        Pony = "pony",
        /// A grown draught horse.
        Draught = "draught",
        /// A foal or yearling.
        Foal = "foal",
    }
}

named! {
    /// What became of a landmark that the program had offered.
    Suggestion {
        /// It was accepted as offered, not clicked.
        Accepted = "accepted",
    }
}

named! {
    /// A plane that landmarks lie on, each with its own distance behind the scale.
    #[non_exhaustive]
    PlaneName {
        /// The plane that everything is measured in: the foot's midline plane in a lateral photo, the bearing
        /// plane in a solar one.
        Measured = "measured",
        /// The foot's mid-sagittal plane (lateral photos). Coincides with `measured` unless given.
        Midline = "midline",
        /// The plane of the heel wall nearer to the camera (lateral photos): some 30 mm nearer than `measured` unless given.
        NearHeel = "near_heel",
        /// The bearing plane (solar photos). Coincides with `measured` unless given.
        Ground = "ground",
        /// The plane of sole and frog, recessed behind the bearing plane (solar photos): some 12 mm deep unless given.
        Sole = "sole",
    }
}
