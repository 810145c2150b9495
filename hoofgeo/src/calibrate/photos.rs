//! The photos of a calibration: which can be used, which are left out, and what is wrong with a whole set.

use super::bundle::State;
use super::start::Flat;
use super::{Calibration, Covariance, FEWEST_PHOTOS};
use crate::error::{Error, ErrorKind, Result};
use nalgebra::Point2;
use std::fmt;

/// Fewest points of a photo: they leave twice as many residuals as the pose takes.
const FEWEST_POINTS: usize = 6;
/// How far a board's points may be off a plane's picture, relative to their spread. Distortion brings OpenCV's sample photographs to
/// 1.8 % and a wide lens (k1 = -0.4, f = 0.6 frame widths) to 7 %; a board of 9 x 6 corners counted as 6 x 9 or 8 x 6 is off by 74 %.
const LARGEST_MISFIT: f64 = 0.15;
/// Boards seen from angles this near to each other count as one angle. Chosen; that nearly parallel
/// boards do not determine the camera is in Zhang (2000).
const ONE_ANGLE_DEG: f64 = 10.0;
/// A focal length less certain than this is none.
const VAGUE_FOCAL: f64 = 0.05;
/// RMS residuals above this share of the longer side of the frame: not one camera. Chosen; a strong lens fitted without any
/// distortion reaches 0.24 %.
const LARGEST_RMS: f64 = 0.005;

/// A point of the board and where it appears.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoardPoint {
    /// On the board, mm.
    pub mm: Point2<f64>,
    /// In the photo; (0, 0) is the top-left corner of its top-left pixel.
    pub pixel: Point2<f64>,
}

/// A photo of the board.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardPhoto {
    /// What messages call it; usually the file's name.
    pub name: String,
    /// Width and height of the photo.
    pub frame_px: (u32, u32),
    /// The points found in it.
    pub points: Vec<BoardPoint>,
}

/// A photo that was not used.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// The photo's name.
    pub name: String,
    /// Why.
    pub reason: Reason,
}

/// Why a photo was not used.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Reason {
    /// It has too few points, or a number that is not finite.
    Points,
    /// Its points are no flat board's of this size.
    NotTheBoard {
        /// RMS distance from a plane's picture, relative to the points' spread.
        misfit: f64,
    },
    /// It shows the board mirrored, or its points are counted the other way round, unlike the others.
    Mirrored,
    /// Its residuals are larger than the other photos' let expect.
    Residuals {
        /// Its RMS residual under a fit that does not contain it, px.
        rms_px: f64,
        /// The other photos' (geometric mean).
        others_px: f64,
        /// Probability of a photo so far off in a set of good ones; below [`super::Options::significance`].
        probability: f64,
    },
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Points => write!(f, "fewer than {FEWEST_POINTS} points, or points that span no plane"),
            Self::NotTheBoard { misfit } => {
                write!(f, "its points are not those of the board, they are off by {:.0} % of its size", 100.0 * misfit)
            }
            Self::Mirrored => write!(f, "it shows the board mirrored, unlike the others"),
            Self::Residuals { rms_px, others_px, probability } => write!(
                f,
                "its corners are off by {rms_px:.2} px, those of the others by {others_px:.2} px \
                 (probability {probability:.1e} among good photos)"
            ),
        }
    }
}

/// The photos in use.
pub(super) struct Set<'a> {
    all: usize,
    used: Vec<(&'a BoardPhoto, Flat)>,
    left_out: Vec<LeftOut>,
}

pub(super) fn refuse(what: impl Into<String>, help: &str) -> Error {
    Error::new(ErrorKind::Scene, what).help(help)
}

pub(super) fn too_few(photos: usize) -> Error {
    refuse(format!("a calibration needs {FEWEST_PHOTOS} photos of the board or more, here are {photos}"), MORE_ANGLES)
}

pub(super) const MORE_ANGLES: &str = "photograph the board 10 to 20 times, tilted 20 to 45 degrees to all four sides, also with the camera \
     turned by a quarter, and up to the frame's corners";
pub(super) const SAME_SETTINGS: &str =
    "use photos of one camera at one zoom, all of one size, as the camera wrote them";

impl<'a> Set<'a> {
    pub(super) fn new(photos: &'a [BoardPhoto]) -> Result<Self> {
        if photos.len() < FEWEST_PHOTOS {
            return Err(too_few(photos.len()));
        }
        one_frame(photos)?;
        let mut set = Self { all: photos.len(), used: Vec::with_capacity(photos.len()), left_out: Vec::new() };
        for photo in photos {
            let finite =
                photo.points.iter().all(|p| p.mm.coords.iter().chain(p.pixel.coords.iter()).all(|v| v.is_finite()));
            match Flat::new(photo).filter(|_| finite && photo.points.len() >= FEWEST_POINTS) {
                None => set.note(photo, Reason::Points),
                Some(flat) if flat.misfit > LARGEST_MISFIT => {
                    set.note(photo, Reason::NotTheBoard { misfit: flat.misfit })
                }
                Some(flat) => set.used.push((photo, flat)),
            }
        }
        set.check_left_out(
            "count the board's inner corners again (a board of 10 x 7 squares has 9 x 6 of them), and look whether they were found \
             in these photos",
        )?;
        set.drop_mirrored()?;
        Ok(set)
    }

    fn note(&mut self, photo: &BoardPhoto, reason: Reason) {
        self.left_out.push(LeftOut { name: photo.name.clone(), reason });
    }

    /// Leaves out the few that turn the other way than the rest.
    fn drop_mirrored(&mut self) -> Result<()> {
        let same = self.used.iter().filter(|(_, flat)| flat.same_hand).count();
        let majority = 2 * same > self.used.len();
        let (used, mirrored): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.used).into_iter().partition(|(_, flat)| flat.same_hand == majority);
        self.used = used;
        for (photo, _) in mirrored {
            self.note(photo, Reason::Mirrored);
        }
        self.check_left_out(
            "use the photos as the camera wrote them, not mirrored as a front camera shows them, and count the corners of every \
             photo from the same corner in the same order",
        )
    }

    /// Leaves out a photo in use.
    pub(super) fn leave_out(&mut self, index: usize, reason: Reason) -> Result<()> {
        let (photo, _) = self.used.remove(index);
        self.note(photo, reason);
        self.check_left_out(SAME_SETTINGS)
    }

    /// No more than a quarter may go, and enough must stay.
    fn check_left_out(&self, help: &str) -> Result<()> {
        if 4 * self.left_out.len() <= self.all && self.used.len() >= FEWEST_PHOTOS || self.left_out.is_empty() {
            return Ok(());
        }
        let list: Vec<String> = self.left_out.iter().map(|l| format!("{}: {}", l.name, l.reason)).collect();
        let what = format!(
            "{} of {} photos of the board cannot be used, which leaves too few\n  {}",
            list.len(),
            self.all,
            list.join("\n  ")
        );
        Err(refuse(what, help))
    }

    pub(super) fn points(&self) -> Vec<&'a [BoardPoint]> {
        self.used.iter().map(|(photo, _)| photo.points.as_slice()).collect()
    }

    pub(super) fn flats(&self) -> Vec<&Flat> {
        self.used.iter().map(|(_, flat)| flat).collect()
    }

    pub(super) fn names(&self) -> impl Iterator<Item = &'a str> {
        self.used.iter().map(|(photo, _)| photo.name.as_str())
    }

    pub(super) fn left_out(&self) -> &[LeftOut] {
        &self.left_out
    }

    pub(super) fn frame_px(&self) -> (u32, u32) {
        self.used.first().map_or((0, 0), |(photo, _)| photo.frame_px)
    }

    pub(super) fn undetermined(&self) -> Error {
        refuse(
            format!(
                "these {} photos of the board do not determine the camera: they show it from too few different angles",
                self.used.len()
            ),
            MORE_ANGLES,
        )
    }

    /// Without one photo the others do not determine the camera.
    pub(super) fn rests_on(&self, index: usize) -> Error {
        let name = self.names().nth(index).unwrap_or_default();
        refuse(
            format!("the calibration rests on `{name}` alone: without it the others do not determine the camera"),
            MORE_ANGLES,
        )
    }

    /// Whether the board was seen from different angles.
    pub(super) fn check_angles(&self, state: &State) -> Result<()> {
        let normals: Vec<_> = state.poses.iter().map(|p| p.rotation.column(2).into_owned()).collect();
        let pairs = normals.iter().enumerate().flat_map(|(i, a)| normals[..i].iter().map(move |b| a.angle(b)));
        let widest = pairs.fold(0.0, f64::max).to_degrees();
        if widest < ONE_ANGLE_DEG {
            let what = format!(
                "all photos show the board from one angle (they differ by {widest:.1} degrees at most): the focal length cannot be \
                 told from the distance"
            );
            return Err(refuse(what, MORE_ANGLES));
        }
        Ok(())
    }

    pub(super) fn check_result(&self, found: &Calibration) -> Result<()> {
        let (w, h) = found.frame_px;
        let longer = f64::from(w.max(h));
        if found.rms_px > LARGEST_RMS * longer {
            let what = format!(
                "the photos fit no common camera and board: the corners are off by {:.1} px on the whole",
                found.rms_px
            );
            return Err(refuse(what, SAME_SETTINGS));
        }
        let vague = |c: &Covariance| (0..2).any(|i| c[(i, i)].sqrt() > VAGUE_FOCAL * found.focal_px[i]);
        if vague(&found.formal) {
            return Err(self.undetermined());
        }
        if vague(&found.covariance) {
            let what = format!(
                "the photos contradict each other: the focal length of {:.0} px changes by {:.0} % with the choice of photos",
                found.focal_px[0],
                100.0 * found.covariance[(0, 0)].sqrt() / found.focal_px[0]
            );
            return Err(refuse(what, SAME_SETTINGS));
        }
        Ok(())
    }
}

/// All frames are of one size.
fn one_frame(photos: &[BoardPhoto]) -> Result<()> {
    let mut sizes: Vec<((u32, u32), Vec<&str>)> = Vec::new();
    for photo in photos {
        match sizes.iter_mut().find(|(size, _)| *size == photo.frame_px) {
            Some((_, names)) => names.push(&photo.name),
            None => sizes.push((photo.frame_px, vec![&photo.name])),
        }
    }
    if sizes.len() == 1 {
        return Ok(());
    }
    let few = |names: &[&str]| match names {
        [first, _, _, _, ..] => format!("{} photos such as {first}", names.len()),
        _ => names.join(", "),
    };
    let list: Vec<String> = sizes.iter().map(|((w, h), names)| format!("{w} x {h}: {}", few(names))).collect();
    Err(refuse(format!("the photos are of different sizes\n  {}", list.join("\n  ")), SAME_SETTINGS))
}
