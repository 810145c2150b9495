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
    /// A plane that landmarks lie on, each with its own distance behind the scale.
    #[non_exhaustive]
    PlaneName {
        /// The plane that everything is measured in: the foot's midline plane in a lateral photo, the bearing
        /// plane in a solar one.
        Measured = "measured",
        /// The foot's mid-sagittal plane (lateral photos). Coincides with `measured` unless given.
        Midline = "midline",
        /// The plane of the heel wall nearer to the camera (lateral photos).
        NearHeel = "near_heel",
        /// The bearing plane (solar photos). Coincides with `measured` unless given.
        Ground = "ground",
        /// The plane of sole and frog, recessed behind the bearing plane (solar photos).
        Sole = "sole",
    }
}
