//! What a reader of a photo's header should know beside its values.

use super::Orientation;
use serde::{Serialize, Serializer};
use std::fmt;

/// Something about a photo's header that a careful person would want to know. None of them stops a measurement.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Remark {
    /// There is no EXIF at all.
    NoExif,
    /// A part of the EXIF could not be read.
    PartialExif {
        /// What the reader stumbled over.
        why: String,
    },
    /// The Orientation is not one of the standard's eight; the stored pixels are taken as upright.
    InvalidOrientation {
        /// The number found.
        value: u32,
    },
    /// A HEIC container turns its picture otherwise than its EXIF says; the container is followed, as viewers do.
    OrientationsDiffer {
        /// What the container says.
        container: Orientation,
        /// What the EXIF says.
        exif: Orientation,
    },
    /// The pixels seem to have been turned upright already, yet the Orientation says to turn them (again).
    TurnedTwice {
        /// What the Orientation says.
        orientation: Orientation,
    },
    /// The size that the camera recorded differs from the photo's, in the same proportions.
    Resized {
        /// Stored size the camera recorded, px.
        recorded: (u32, u32),
        /// Stored size of the photo, px.
        actual: (u32, u32),
    },
    /// The size that the camera recorded differs from the photo's, in other proportions.
    Cropped {
        /// Stored size the camera recorded, px.
        recorded: (u32, u32),
        /// Stored size of the photo, px.
        actual: (u32, u32),
    },
    /// The camera enlarged the middle of its picture.
    DigitalZoom {
        /// By how much.
        ratio: f64,
    },
    /// The 35 mm equivalent focal length cannot be right and is not used.
    ImplausibleFocal35 {
        /// The value found, mm.
        mm: f64,
    },
    /// The focal-plane resolution implies an impossible sensor. It is never used for measuring.
    ImplausibleFocalPlaneResolution {
        /// Width of the sensor it implies, mm.
        sensor_width_mm: f64,
    },
    /// The date the photo was taken is not a date.
    InvalidDate {
        /// The text found.
        text: String,
    },
    /// The offset from UTC is not one; the date is kept without.
    InvalidOffset {
        /// The text found.
        text: String,
    },
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoExif => write!(
                f,
                "no EXIF: nothing is known of the camera. Messengers and editors remove it; use the photo as the camera \
                 wrote it"
            ),
            Self::PartialExif { why } => write!(f, "the EXIF is damaged ({why}); what could be read is used"),
            Self::InvalidOrientation { value } => {
                write!(f, "EXIF Orientation {value} does not exist (1 to 8 do); the pixels are taken as upright")
            }
            Self::OrientationsDiffer { container, exif } => write!(
                f,
                "the container says {container}, the EXIF says {exif}; the container is followed, as viewers do"
            ),
            Self::TurnedTwice { orientation } => write!(
                f,
                "the photo was turned upright without taking back its EXIF Orientation ({orientation}), as some converters of \
                 HEIC do: it lies on its side, here as in any viewer. Measurements are not affected"
            ),
            Self::Resized { recorded: (rw, rh), actual: (w, h) } => write!(
                f,
                "the camera recorded {rw} x {rh} px, the photo has {w} x {h}: resized since. A crop that kept the \
                 proportions would look the same, so up to twice the focal length is allowed for"
            ),
            Self::Cropped { recorded: (rw, rh), actual: (w, h) } => write!(
                f,
                "the camera recorded {rw} x {rh} px, the photo has {w} x {h}: cropped since. Its focal length in px and \
                 its centre are unknown; use the uncropped photo"
            ),
            Self::DigitalZoom { ratio } => write!(
                f,
                "digital zoom {ratio:.2}: cameras differ in whether the 35 mm equivalent contains it; step closer \
                 or use a lens profile instead"
            ),
            Self::ImplausibleFocal35 { mm } => {
                write!(f, "a 35 mm equivalent focal length of {mm} mm cannot be right and is not used")
            }
            Self::ImplausibleFocalPlaneResolution { sensor_width_mm } => write!(
                f,
                "the EXIF focal-plane resolution implies a sensor {sensor_width_mm:.2} mm wide: probably kept from before the \
                 photo was resized"
            ),
            Self::InvalidDate { text } => write!(f, "the EXIF date \"{text}\" is not a date"),
            Self::InvalidOffset { text } => {
                write!(f, "the EXIF offset from UTC \"{text}\" is not one; the date is kept without")
            }
        }
    }
}

impl Serialize for Remark {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
