//! How the stored pixels must be turned to stand as any viewer shows them.

use serde::Serialize;
use std::fmt;

/// The EXIF Orientation (tag 0x0112, Exif 2.32 section 4.6.4): how the stored picture is turned to stand upright.
///
/// The numbers are the standard's; a name says what is done to the *stored* picture to make it upright.
/// Points are in the corner convention: (0, 0) is the outer corner of the top-left pixel, whose centre is (0.5, 0.5), so
/// that a frame's far corner is (width, height) and a mirrored x is `width - x`.
///
/// # Example: a phone held upright stores its picture lying on its side
/// ```
/// use hoofgeo::photo::Orientation;
/// let o = Orientation::from_exif(6).unwrap();
/// assert_eq!(o.upright_size((4032, 3024)), (3024, 4032));
/// // The stored top-left corner is seen at the top right.
/// assert_eq!(o.apply([0.0, 0.0], (4032, 3024)), [3024.0, 0.0]);
/// assert_eq!(o.invert([3024.0, 0.0], (4032, 3024)), [0.0, 0.0]);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize)]
#[serde(into = "u8")]
#[repr(u8)]
pub enum Orientation {
    /// 1: stored upright.
    #[default]
    Upright = 1,
    /// 2: left and right are exchanged.
    MirrorLeftRight = 2,
    /// 3: turned by 180°.
    HalfTurn = 3,
    /// 4: top and bottom are exchanged.
    MirrorTopBottom = 4,
    /// 5: mirrored about the diagonal through the stored top-left corner.
    Transpose = 5,
    /// 6: turned by 90° clockwise.
    TurnClockwise = 6,
    /// 7: mirrored about the diagonal through the stored top-right corner.
    Transverse = 7,
    /// 8: turned by 90° anticlockwise.
    TurnAnticlockwise = 8,
}

impl Orientation {
    /// All eight, in the order of their EXIF numbers.
    pub const ALL: [Self; 8] = [
        Self::Upright,
        Self::MirrorLeftRight,
        Self::HalfTurn,
        Self::MirrorTopBottom,
        Self::Transpose,
        Self::TurnClockwise,
        Self::Transverse,
        Self::TurnAnticlockwise,
    ];

    /// The orientation with this EXIF number; none outside 1 to 8.
    pub fn from_exif(number: u32) -> Option<Self> {
        Self::ALL.get(usize::try_from(number).ok()?.checked_sub(1)?).copied()
    }

    /// The EXIF number, 1 to 8.
    pub const fn exif(self) -> u8 {
        self as u8
    }

    /// Whether the stored width becomes the upright height.
    pub const fn swaps_axes(self) -> bool {
        self.exif() >= 5
    }

    /// Whether the stored picture is a mirror image.
    pub const fn mirrors(self) -> bool {
        matches!(self, Self::MirrorLeftRight | Self::MirrorTopBottom | Self::Transpose | Self::Transverse)
    }

    /// The upright (width, height) of a picture with this stored (width, height).
    pub const fn upright_size(self, (width, height): (u32, u32)) -> (u32, u32) {
        if self.swaps_axes() { (height, width) } else { (width, height) }
    }

    /// The upright point of a stored point, both in px in the corner convention; `stored_size` is (width, height).
    pub fn apply(self, [x, y]: [f64; 2], stored_size: (u32, u32)) -> [f64; 2] {
        let (w, h) = (f64::from(stored_size.0), f64::from(stored_size.1));
        match self {
            Self::Upright => [x, y],
            Self::MirrorLeftRight => [w - x, y],
            Self::HalfTurn => [w - x, h - y],
            Self::MirrorTopBottom => [x, h - y],
            Self::Transpose => [y, x],
            Self::TurnClockwise => [h - y, x],
            Self::Transverse => [h - y, w - x],
            Self::TurnAnticlockwise => [y, w - x],
        }
    }

    /// The stored point of an upright point: undoes [`apply`](Self::apply). `stored_size` is the stored (width, height).
    pub fn invert(self, upright: [f64; 2], stored_size: (u32, u32)) -> [f64; 2] {
        self.inverse().apply(upright, self.upright_size(stored_size))
    }

    /// The orientation that undoes this one. Only the two quarter turns are not their own.
    #[must_use]
    pub const fn inverse(self) -> Self {
        match self {
            Self::TurnClockwise => Self::TurnAnticlockwise,
            Self::TurnAnticlockwise => Self::TurnClockwise,
            other => other,
        }
    }

    /// This one first, `next` after it.
    #[must_use]
    pub fn then(self, next: Self) -> Self {
        // The eight send a point off the square's axes of symmetry to eight different places, exactly in binary.
        let (point, unit) = ([0.25, 0.125], (1, 1));
        let image = next.apply(self.apply(point, unit), unit);
        Self::ALL.into_iter().find(|o| o.apply(point, unit) == image).unwrap_or_default()
    }
}

impl From<Orientation> for u8 {
    fn from(o: Orientation) -> Self {
        o.exif()
    }
}

impl fmt::Display for Orientation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Upright => "upright",
            Self::MirrorLeftRight => "mirrored left to right",
            Self::HalfTurn => "turned by 180°",
            Self::MirrorTopBottom => "mirrored top to bottom",
            Self::Transpose => "mirrored and turned by 90° (transposed)",
            Self::TurnClockwise => "turned by 90° clockwise",
            Self::Transverse => "mirrored and turned by 90° (transversed)",
            Self::TurnAnticlockwise => "turned by 90° anticlockwise",
        })
    }
}
