//! Where the new picture lies in the measured plane: its axes, its size, its resolution, and the way to the photo's pixels.

use super::RectifyOptions;
use crate::error::{Error, ErrorKind, Result};
use crate::lens::Camera;
use crate::located::Located;
use crate::measure::geometry::{frog_axis, ground};
use crate::scene::Scene;
use crate::scene::params::View3;
use crate::scene::plane::{Plane, back_project, camera_position};
use crate::{View, lens};
use nalgebra::{Matrix2, Matrix3, Point2, Vector2, Vector3};

/// Resolutions that are easy to divide by in the head, px/mm. Each is a whole number of dots per centimetre.
const HANDY: [f64; 12] = [0.5, 1.0, 2.0, 4.0, 5.0, 8.0, 10.0, 16.0, 20.0, 25.0, 40.0, 50.0];

/// How much finer than the photo a picture may be made: beyond that a click on it would count for more than one on the photo
/// (chosen).
const FINEST: f64 = 1.2;

/// The margin around hoof and scale, as a share of their longer side, and at least so many mm (chosen).
const MARGIN: f64 = 0.15;
const LEAST_MARGIN_MM: f64 = 10.0;

/// Most pixels of a picture, and most along a side: a JPEG has 65,535 at most (ITU-T T.81).
const MOST_PIXELS: f64 = 100e6;
const MOST_ALONG_A_SIDE: f64 = 30_000.0;

/// Where the photo shows a place with less than this share of the resolution that it has at the hoof, the plane is seen nearly edge
/// on, or far away: its picture would be a smear (chosen).
const LEAST_SHARE: f64 = 0.125;

/// The new picture as a part of the measured plane.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Its size, px.
    pub size: (u32, u32),
    /// Its resolution, px/mm: exact.
    pub px_per_mm: f64,
    /// The photo's own resolution at the hoof, px/mm.
    pub photo_px_per_mm: f64,
    /// What is horizontal in it.
    pub level: Level,
    /// Its top-left corner in the measured plane, mm.
    origin: Point2<f64>,
    /// Direction of its x axis in the measured plane.
    right: Vector2<f64>,
    view: View3<f64>,
    plane: Plane<f64>,
    /// From the picture's pixels to the camera frame, up to scale.
    to_camera: Matrix3<f64>,
    /// Depth in the camera frame below which nothing is shown.
    nearest: f64,
}

/// What a picture's axes follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// The ground is horizontal, the foot above it.
    Ground,
    /// The frog's axis is vertical, the toe on top.
    Frog,
    /// The scale's nearer axis is horizontal, as in the photo.
    Scale,
}

impl Level {
    /// In words.
    pub const fn says(self) -> &'static str {
        match self {
            Self::Ground => "the ground is horizontal",
            Self::Frog => "the frog's axis is vertical, the toe on top",
            Self::Scale => "the scale is horizontal or vertical",
        }
    }
}

impl Sheet {
    pub(super) fn new(
        scene: &Scene,
        located: &Located,
        view: View,
        marked: &[Point2<f64>],
        options: &RectifyOptions,
    ) -> Result<Self> {
        let camera_view = scene.view();
        let plane = Plane::new(&located.planes[0].mean);
        let mut sheet = Self {
            size: (0, 0),
            px_per_mm: 1.0,
            photo_px_per_mm: 0.0,
            level: Level::Scale,
            origin: Point2::origin(),
            right: Vector2::x(),
            view: camera_view,
            plane,
            to_camera: Matrix3::identity(),
            nearest: 1e-6,
        };
        sheet.update();
        let places: Option<Vec<_>> = marked.iter().map(|p| sheet.place_of(*p)).collect();
        let places = places.filter(|p| !p.is_empty()).ok_or_else(edge_on)?;
        let middle = Point2::from(places.iter().map(|p| p.coords).sum::<Vector2<f64>>() / places.len() as f64);
        sheet.photo_px_per_mm = sheet.photo_resolution(middle).ok_or_else(edge_on)?;
        for p in &places {
            if sheet.photo_resolution(*p).is_none_or(|r| r < LEAST_SHARE * sheet.photo_px_per_mm) {
                return Err(edge_on());
            }
        }
        (sheet.level, sheet.right) = sheet.upright(located, view, middle);
        // In the picture's directions, mm.
        let (least, most) = extent(places.iter().map(|p| sheet.along(*p)));
        let margin = (MARGIN * (most - least).max()).max(LEAST_MARGIN_MM);
        let (mut least, mut most) = (least.add_scalar(-margin), most.add_scalar(margin));
        if let Some((a, b)) = sheet.footprint(scene.frame_px) {
            (least, most) = (least.sup(&a), most.inf(&b));
        }
        let extent_mm = most - least;
        sheet.px_per_mm = resolution(options.px_per_mm, sheet.photo_px_per_mm, extent_mm)?;
        sheet.size = [extent_mm.x, extent_mm.y].map(|mm| (mm * sheet.px_per_mm).ceil().max(1.0) as u32).into();
        sheet.origin = Point2::from(sheet.right * least.x + sheet.down() * least.y);
        sheet.nearest = LEAST_SHARE * sheet.depth(middle);
        sheet.update();
        Ok(sheet)
    }

    fn down(&self) -> Vector2<f64> {
        // Y of the plane points up where X points right, as seen from the camera.
        Vector2::new(self.right.y, -self.right.x)
    }

    /// A place of the measured plane in the picture's directions from the plane's origin, mm.
    fn along(&self, place: Point2<f64>) -> Vector2<f64> {
        Vector2::new(place.coords.dot(&self.right), place.coords.dot(&self.down()))
    }

    fn update(&mut self) {
        let p = |x: f64, y: f64| self.view.pose.to_camera(self.plane.lift(self.place(Point2::new(x, y))));
        let (o, x, y) = (p(0.0, 0.0), p(1.0, 0.0), p(0.0, 1.0));
        self.to_camera = Matrix3::from_columns(&[x - o, y - o, o]);
    }

    /// The place in the measured plane of a pixel of the picture, mm.
    pub fn place(&self, pixel: Point2<f64>) -> Point2<f64> {
        self.origin + (self.right * pixel.x + self.down() * pixel.y) / self.px_per_mm
    }

    /// The picture's pixel of a place in the measured plane, mm.
    pub fn pixel(&self, place: Point2<f64>) -> Point2<f64> {
        let d = place - self.origin;
        Point2::new(d.dot(&self.right), d.dot(&self.down())) * self.px_per_mm
    }

    /// The photo's pixel that the picture shows at one of its own; `None` where the camera cannot see it.
    pub fn source(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        let c = self.to_camera * Vector3::new(pixel.x, pixel.y, 1.0);
        let direction = Point2::new(c.x / c.z, c.y / c.z);
        let seen = c.z >= self.nearest && self.view.camera.distortion.is_one_to_one_at(direction);
        seen.then(|| self.view.camera.pixel(direction))
    }

    /// The picture's pixel that shows one of the photo's: undoes [`Sheet::source`].
    pub fn target(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        self.place_of(pixel).map(|p| self.pixel(p))
    }

    /// Where a photo's pixel meets the measured plane, mm.
    fn place_of(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        let near = self.view.camera.undistort(pixel)?;
        back_project(&self.view, &self.plane, None, pixel, near)
    }

    /// Pixels of the picture per pixel of the photo, at one of the photo's: the root of the area's ratio.
    pub fn magnification(&self, pixel: Point2<f64>) -> Option<f64> {
        let at = |x: f64, y: f64| self.target(pixel + Vector2::new(x, y));
        let (x, y) = (at(0.5, 0.0)? - at(-0.5, 0.0)?, at(0.0, 0.5)? - at(0.0, -0.5)?);
        Some(Matrix2::from_columns(&[x, y]).determinant().abs().sqrt())
    }

    /// Pixels of the photo per mm at a place of the measured plane: the root of the area's ratio.
    fn photo_resolution(&self, place: Point2<f64>) -> Option<f64> {
        let at = |x: f64, y: f64| self.view.pixel(self.plane.lift(place + Vector2::new(x, y)));
        let (x, y) = (at(0.5, 0.0)? - at(-0.5, 0.0)?, at(0.0, 0.5)? - at(0.0, -0.5)?);
        Some(Matrix2::from_columns(&[x, y]).determinant().abs().sqrt())
    }

    fn depth(&self, place: Point2<f64>) -> f64 {
        self.view.pose.to_camera(self.plane.lift(place)).z
    }

    /// The direction in the measured plane that is made horizontal, left to right.
    fn upright(&self, located: &Located, view: View, middle: Point2<f64>) -> (Level, Vector2<f64>) {
        let placed = located.placed();
        // Right of a direction that points up.
        let right_of = |up: Vector2<f64>| Vector2::new(up.y, -up.x);
        match view {
            View::Lateral => {
                if let Ok(up) = ground(&placed).and_then(|g| g.up(&placed)) {
                    return (Level::Ground, right_of(up));
                }
            }
            View::Solar => {
                if let Ok(axis) = frog_axis(&placed) {
                    return (Level::Frog, right_of(axis.forward));
                }
            }
        }
        let on_photo = |d: Vector2<f64>| {
            let at = |place| self.view.pixel(self.plane.lift(place)).unwrap_or_default();
            (at(middle + d) - at(middle)).x
        };
        let axes = [Vector2::x(), Vector2::y(), -Vector2::x(), -Vector2::y()];
        let nearest = axes.into_iter().max_by(|a, b| on_photo(*a).total_cmp(&on_photo(*b)));
        (Level::Scale, nearest.unwrap_or(Vector2::x()))
    }

    /// The photo's extent in the picture's directions, mm; `None` where it reaches the plane's horizon.
    fn footprint(&self, (width, height): (u32, u32)) -> Option<(Vector2<f64>, Vector2<f64>)> {
        const STEPS: u32 = 16;
        let (w, h) = (f64::from(width), f64::from(height));
        let border = (0..STEPS).flat_map(|i| {
            let t = f64::from(i) / f64::from(STEPS);
            [(w * t, 0.0), (w, h * t), (w * (1.0 - t), h), (0.0, h * (1.0 - t))]
        });
        let places: Option<Vec<_>> = border.map(|(x, y)| self.place_of(Point2::new(x, y))).collect();
        Some(extent(places?.into_iter().map(|p| self.along(p))))
    }

    /// The camera that would have taken this picture: from the same place, square to the measured plane, without distortion.
    pub fn camera(&self) -> Camera<f64> {
        let position = camera_position(&self.view.pose);
        let foot = self.plane.drop(position);
        let distance = (self.plane.lift(foot) - position).norm();
        Camera { focal: distance * self.px_per_mm, principal: self.pixel(foot), distortion: lens::Distortion::none() }
    }

    /// The direction of a photo's ray for that camera, from its direction for the photo's own.
    pub(super) fn turned(&self, direction: Point2<f64>) -> Point2<f64> {
        let ray = self.view.pose.to_scale_direction(Vector3::new(direction.x, direction.y, 1.0));
        let zero = self.plane.lift(Point2::origin());
        let axis = |d: Vector2<f64>| self.plane.lift(Point2::from(d)) - zero;
        let (right, down) = (axis(self.right), axis(self.down()));
        let ahead = ray.dot(&right.cross(&down));
        Point2::new(ray.dot(&right) / ahead, ray.dot(&down) / ahead)
    }

    /// The photo's camera.
    pub(super) fn photo_camera(&self) -> &Camera<f64> {
        &self.view.camera
    }

    /// The photo's own pose and measured plane.
    pub(super) fn view_and_plane(&self) -> (&View3<f64>, &Plane<f64>) {
        (&self.view, &self.plane)
    }
}

fn extent(points: impl Iterator<Item = Vector2<f64>>) -> (Vector2<f64>, Vector2<f64>) {
    let none = (Vector2::repeat(f64::INFINITY), Vector2::repeat(f64::NEG_INFINITY));
    points.fold(none, |(a, b), p| (a.inf(&p), b.sup(&p)))
}

/// The picture's resolution: what was asked for, else the finest handy one that is not finer than the photo.
fn resolution(asked: Option<f64>, own: f64, extent_mm: Vector2<f64>) -> Result<f64> {
    let fits = |r: f64| {
        let (w, h) = (extent_mm.x * r, extent_mm.y * r);
        w * h <= MOST_PIXELS && w.max(h) <= MOST_ALONG_A_SIDE
    };
    let Some(asked) = asked else {
        let fine = HANDY.iter().rev().copied().find(|r| *r <= own && fits(*r));
        return fine.ok_or_else(|| {
            Error::new(
                ErrorKind::Photo,
                format!("the photo shows the hoof with {own:.2} px/mm: too little for a picture"),
            )
            .help("use the photo in its full size, taken from nearer")
        });
    };
    if asked.is_nan() || asked <= 0.0 || (asked * 10.0 - (asked * 10.0).round()).abs() > 1e-9 {
        return Err(Error::new(
            ErrorKind::Usage,
            format!("{asked} px/mm is not a whole number of dots per centimetre"),
        )
        .help("ask for a multiple of 0.1 px/mm"));
    }
    if asked > FINEST * own {
        let text = format!("{asked} px/mm is finer than the photo, which shows the hoof with {own:.1} px/mm");
        let most = ((own * FINEST * 10.0).floor() / 10.0).max(0.1);
        return Err(Error::new(ErrorKind::Usage, text).help(format!("ask for {most} px/mm or less")));
    }
    if !fits(asked) {
        let text = format!(
            "the picture would have {:.0} x {:.0} px at {asked} px/mm",
            extent_mm.x * asked,
            extent_mm.y * asked
        );
        return Err(Error::new(ErrorKind::Usage, text).help("ask for fewer px/mm"));
    }
    Ok(asked)
}

fn edge_on() -> Error {
    Error::new(ErrorKind::Scene, "the measured plane is seen nearly edge on; a picture of it would be a smear")
        .help("check the graduations, or photograph the hoof and the scale more squarely")
}
