//! The look: ivory lines cased in ink that stand out from dark and light horn alike, and a paper strip below the photo.
//!
//! Every kind of line differs from the others in width or dashes too, so that nothing depends on colour. Sizes are in units of
//! the picture's width / 390: a text of 9 units is 9 px high on a phone 390 px wide, and 3.9 mm on paper 170 mm wide.

/// A colour of the plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Colour {
    /// Lines on the photo.
    Ivory,
    /// Angles and the scale: what was read off.
    Amber,
    /// Text and casings.
    Ink,
    /// Small print.
    Slate,
    /// Thin rules in the strip.
    Rule,
}

/// The strip's ground.
pub(super) const PAPER: [u8; 3] = [0xf6, 0xf3, 0xea];

impl Colour {
    pub(super) const fn hex(self) -> &'static str {
        match self {
            Self::Ivory => "#fffbee",
            Self::Amber => "#ffca45",
            Self::Ink => "#16202a",
            Self::Slate => "#4a545e",
            Self::Rule => "#b9b4a4",
        }
    }
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pen {
    pub(super) colour: Colour,
    pub(super) width: f64,
    /// Colour and width of the rim on either side.
    pub(super) casing: Option<(Colour, f64)>,
    pub(super) casing_opacity: f64,
    /// Lengths of dash and gap.
    pub(super) dash: Option<[f64; 2]>,
}

impl Pen {
    /// How far the drawn line reaches to either side of its points.
    pub(super) fn reach(&self) -> f64 {
        self.width / 2.0 + self.casing.map_or(0.0, |c| c.1) + 1.5
    }
}

/// What a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stroke {
    /// A line that a value was taken from.
    Measured,
    /// Its prolongation, or a line of reference.
    Prolonged,
    /// A placed row of points.
    Placed,
    /// A symmetry axis: long dashes.
    Axis,
    /// A dimension line with its ends.
    Dimension,
    /// From a dimension line to what it measures.
    Witness,
    /// An angle's arc.
    Arc,
    /// A graduation.
    Graduation,
    /// A landmark's mark.
    Mark,
    /// A region of uncertainty.
    Ellipse,
    /// From a label to its place.
    Leader,
}

impl Stroke {
    /// The pen for pictures whose unit is `u` px.
    pub(super) fn pen(self, u: f64) -> Pen {
        let (colour, width, rim, opacity, dash) = match self {
            Self::Measured => (Colour::Ivory, 1.2, 0.65, 0.85, None),
            Self::Prolonged => (Colour::Ivory, 0.7, 0.45, 0.7, Some([2.6, 2.6])),
            Self::Placed => (Colour::Ivory, 0.75, 0.5, 0.75, None),
            Self::Axis => (Colour::Ivory, 0.75, 0.5, 0.75, Some([8.0, 2.4])),
            Self::Dimension => (Colour::Ivory, 0.8, 0.5, 0.85, None),
            Self::Witness => (Colour::Ivory, 0.5, 0.4, 0.6, Some([1.2, 1.6])),
            Self::Arc => (Colour::Amber, 1.2, 0.65, 0.85, None),
            Self::Graduation => (Colour::Amber, 0.9, 0.5, 0.85, None),
            Self::Mark => (Colour::Ivory, 0.85, 0.55, 0.9, None),
            Self::Ellipse => (Colour::Amber, 0.5, 0.35, 0.7, None),
            Self::Leader => (Colour::Ivory, 0.55, 0.4, 0.8, None),
        };
        Pen {
            colour,
            width: width * u,
            casing: Some((Colour::Ink, rim * u)),
            casing_opacity: opacity,
            dash: dash.map(|d: [f64; 2]| d.map(|x| x * u)),
        }
    }
}
