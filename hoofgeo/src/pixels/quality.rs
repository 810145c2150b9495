//! Whether a photo will do, before anyone drives home: what can be seen of its quality, and what to do about it.
//!
//! Blur and light are judged on the hoof, not on the background: within the outline of the landmarks and lines where a sidecar has them, in
//! the middle of the frame where it has not. Every limit stands in [`LIMITS`].

use super::blur::{Rectangle, blur_px};
use crate::landmark::{Landmark, Line};
use crate::located::Located;
use crate::picture::hull;
use crate::scene::Scene;
use crate::sidecar::Sidecar;
use image::RgbImage;
use nalgebra::{Point2, Vector2};
use serde::{Serialize, Serializer};
use std::fmt;

/// A limit beyond which a photo is remarked on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// What is limited.
    pub what: &'static str,
    /// The limit.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

macro_rules! limits {
    ($($(#[$doc:meta])* $name:ident $value:literal $unit:literal $what:literal, $source:literal;)+) => {
        $($(#[$doc])* pub const $name: Limit = Limit { what: $what, value: $value, unit: $unit, source: $source };)+
        /// Every limit.
        pub const LIMITS: &[Limit] = &[$($name),+];
    };
}

limits! {
    /// Blur where the scale is known.
    BLUR_MM 0.5 "mm" "blur of the hoof, standard deviation, most",
        "estimate, no source: as well as the best landmarks are defined";
    /// Blur where it is not.
    BLUR_SHARE 0.001 "of the longer side" "blur of the hoof where no scale is marked, most", "estimate, no source";
    /// White.
    WHITE 0.03 "of the hoof" "burnt out to white, most", "estimate, no source";
    /// Black.
    BLACK 0.15 "of the hoof" "lost in black, most", "estimate, no source";
    /// Resolution.
    RESOLUTION 4.0 "px/mm" "resolution at the hoof, least", "estimate, no source: 1.5 px, a usual click, are then 0.4 mm";
    /// Span of the scale.
    SPAN 0.6 "of the hoof" "span of the marked graduations, least",
        "common practice, no source: a ruler as long as what is measured with it";
    /// Distance of the scale.
    DISTANCE 0.5 "of the hoof" "gap between scale and hoof, most", "estimate, no source";
    /// Tilt.
    TILT 15.0 "deg" "tilt of the camera against the scale, most",
        "estimate, no source: what stands 30 mm before the plane is then shown 8 mm off";
    /// Distance from the border.
    BORDER 0.01 "of the longer side" "distance of the hoof from the photo's border, least", "estimate, no source";
}

/// Brightness from which a pixel counts as white, and up to which as black (estimates, no source).
const WHITE_FROM: u8 = 250;
const BLACK_TO: u32 = 8;

/// Something about a photo that makes it worth taking again, and how. None of them stops a measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum QualityRemark {
    /// The hoof is blurred.
    Blurred {
        /// Standard deviation, px.
        px: f64,
        /// The same on the hoof, mm, where the scale is known.
        mm: Option<f64>,
    },
    /// Parts of the hoof are burnt out to white.
    BurntOut {
        /// Share of the hoof.
        share: f64,
    },
    /// Parts of the hoof are lost in black.
    Black {
        /// Share of the hoof.
        share: f64,
    },
    /// The photo is too coarse.
    Coarse {
        /// Resolution at the hoof, px/mm.
        px_per_mm: f64,
    },
    /// The marked graduations span too little.
    ShortScale {
        /// Distance between the outermost ones, mm.
        span_mm: f64,
        /// Length of the hoof, mm.
        hoof_mm: f64,
    },
    /// The scale lies too far from the hoof.
    FarScale {
        /// Gap between them in the measured plane, mm.
        gap_mm: f64,
        /// Length of the hoof, mm.
        hoof_mm: f64,
    },
    /// The camera was tilted against the scale.
    Tilted {
        /// By how much, degrees.
        deg: f64,
        /// Expanded uncertainty (k = 2), degrees.
        expanded_deg: f64,
    },
    /// The hoof reaches the photo's border.
    CutOff {
        /// A landmark or line that does.
        name: &'static str,
    },
}

impl fmt::Display for QualityRemark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = |share: f64| 100.0 * share;
        match *self {
            Self::Blurred { px, mm } => {
                write!(f, "the hoof is blurred by {px:.1} px")?;
                if let Some(mm) = mm {
                    write!(f, ", {mm:.1} mm")?;
                }
                f.write_str(": tap on the hoof to focus, hold the camera still or rest it, have the foot held still, take more light")
            }
            Self::BurntOut { share } => write!(
                f,
                "{:.0} % of the hoof is burnt out to white: dry the hoof, no flash, out of the sun, or set the exposure lower",
                percent(share)
            ),
            Self::Black { share } => write!(
                f,
                "{:.0} % of the hoof is lost in black: light it from the side, or set the exposure higher",
                percent(share)
            ),
            Self::Coarse { px_per_mm } => write!(
                f,
                "the photo shows the hoof with {px_per_mm:.1} px/mm only: use the camera's full size, and let hoof and ruler fill the \
                 frame"
            ),
            Self::ShortScale { span_mm, hoof_mm } => write!(
                f,
                "the marked graduations span {span_mm:.0} mm of a hoof of {hoof_mm:.0} mm: mark them farther apart, or use a longer ruler"
            ),
            Self::FarScale { gap_mm, hoof_mm } => write!(
                f,
                "the ruler lies {gap_mm:.0} mm away from a hoof of {hoof_mm:.0} mm: hold it right beside the hoof"
            ),
            Self::Tilted { deg, expanded_deg } => write!(
                f,
                "the camera was tilted by {deg:.0}° ± {expanded_deg:.0}° against the scale: hold it square to the hoof"
            ),
            Self::CutOff { name } => {
                write!(f, "the hoof reaches the photo's border ({name}): step back until all of it is in the frame")
            }
        }
    }
}

impl Serialize for QualityRemark {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// What a photo's pixels say of its quality.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Pixels {
    /// Standard deviation of the blur of the hoof's edges, px; none where it shows hardly any.
    pub blur_px: Option<f64>,
    /// Share of the hoof that is burnt out to white.
    pub white: f64,
    /// Share of the hoof that is lost in black.
    pub black: f64,
}

/// What is wrong with a photo: with its pixels and, where its sidecar gives a scene, with how it was taken.
///
/// # Example: a photo without a sidecar, all black
/// ```
/// use hoofgeo::pixels::quality::{QualityRemark, inspect};
/// let photo = image::RgbImage::new(800, 600);
/// assert!(matches!(inspect(&photo, None, None)[..], [QualityRemark::Black { share: 1.0 }]));
/// ```
pub fn inspect(photo: &RgbImage, sidecar: Option<&Sidecar>, scene: Option<(&Scene, &Located)>) -> Vec<QualityRemark> {
    let hoof = sidecar.map(hoof_pixels).unwrap_or_default();
    let px_per_mm = scene.and_then(|(_, located)| resolution(located));
    let mut remarks = of_pixels(&look(photo, &hoof), photo.dimensions(), px_per_mm);
    if let Some((sidecar, (scene, located))) = sidecar.zip(scene) {
        remarks.extend(of_scene(sidecar, scene, located));
    }
    remarks.extend(sidecar.and_then(cut_off));
    remarks
}

/// Looks at the pixels of the hoof, whose outline these points span; at the middle of the photo where there are fewer than three.
pub fn look(photo: &RgbImage, hoof: &[Point2<f64>]) -> Pixels {
    let (width, height) = photo.dimensions();
    let (w, h) = (f64::from(width), f64::from(height));
    let middle = [(0.25, 0.25), (0.75, 0.25), (0.75, 0.75), (0.25, 0.75)].map(|(x, y)| Point2::new(x * w, y * h));
    let outline = hull(if hoof.len() < 3 { &middle } else { hoof });
    let (white, black) = extremes(photo, &outline);
    // The hoof's own contour counts: a little around it.
    let (mut least, mut most) = (Vector2::new(w, h), Vector2::zeros());
    for p in &outline {
        (least, most) = (least.inf(&p.coords), most.sup(&p.coords));
    }
    let margin = 0.03 * (most - least).max();
    let from = least.add_scalar(-margin).sup(&Vector2::zeros()).map(|v| v.floor() as u32);
    let to = most.add_scalar(margin).inf(&Vector2::new(w, h)).map(|v| v.ceil() as u32);
    let region = Rectangle {
        x: from.x.min(width),
        y: from.y.min(height),
        width: to.x.min(width).saturating_sub(from.x),
        height: to.y.min(height).saturating_sub(from.y),
    };
    Pixels { blur_px: blur_px(photo, region), white, black }
}

/// What is remarkable about a hoof's pixels.
pub fn of_pixels(pixels: &Pixels, (width, height): (u32, u32), px_per_mm: Option<f64>) -> Vec<QualityRemark> {
    let mut remarks = Vec::new();
    if let Some(px) = pixels.blur_px {
        let mm = px_per_mm.map(|r| px / r);
        let blurred = match mm {
            Some(mm) => mm > BLUR_MM.value,
            None => px > BLUR_SHARE.value * f64::from(width.max(height)),
        };
        // One pixel is the sharpest that a photo can be: where that is too coarse, its resolution is to blame.
        if blurred && px > 1.0 {
            remarks.push(QualityRemark::Blurred { px, mm });
        }
    }
    if pixels.white > WHITE.value {
        remarks.push(QualityRemark::BurntOut { share: pixels.white });
    }
    if pixels.black > BLACK.value {
        remarks.push(QualityRemark::Black { share: pixels.black });
    }
    remarks
}

/// What is remarkable about how a photo was taken. It needs no pixels.
pub fn of_scene(sidecar: &Sidecar, scene: &Scene, located: &Located) -> Vec<QualityRemark> {
    let mut remarks = Vec::new();
    if let Some(px_per_mm) = resolution(located).filter(|r| *r < RESOLUTION.value) {
        remarks.push(QualityRemark::Coarse { px_per_mm });
    }
    let hoof: Vec<Point2<f64>> = hoof_points(located).map(|i| located.places[i]).collect();
    let hoof_mm = longest(&hoof);
    let labels: Vec<_> = sidecar.scale.iter().flat_map(|s| &s.points).map(|g| Point2::from(g.mm)).collect();
    if hoof_mm > 0.0 && !labels.is_empty() {
        let span_mm = longest(&labels);
        if span_mm < SPAN.value * hoof_mm {
            remarks.push(QualityRemark::ShortScale { span_mm, hoof_mm });
        }
        let gap_mm = gap(&hull(&hoof), &labels);
        if gap_mm > DISTANCE.value * hoof_mm {
            remarks.push(QualityRemark::FarScale { gap_mm, hoof_mm });
        }
    }
    if scene.two_dimensional {
        let [x, y] = scene.tilts_deg();
        let deg = x.value.hypot(y.value);
        if deg > TILT.value {
            let u = ((x.value * x.u).powi(2) + (y.value * y.u).powi(2)).sqrt() / deg;
            remarks.push(QualityRemark::Tilted { deg, expanded_deg: 2.0 * u });
        }
    }
    remarks
}

/// The hoof's landmark or line that comes nearest to the photo's border, where that is too near.
pub fn cut_off(sidecar: &Sidecar) -> Option<QualityRemark> {
    let (w, h) = (f64::from(sidecar.photo.width_px), f64::from(sidecar.photo.height_px));
    let room = |p: &Point2<f64>| p.x.min(p.y).min(w - p.x).min(h - p.y);
    let nearest = named_pixels(sidecar).min_by(|a, b| room(&a.1).total_cmp(&room(&b.1)))?;
    (room(&nearest.1) < BORDER.value * w.max(h)).then_some(QualityRemark::CutOff { name: nearest.0 })
}

/// Landmarks that lie on the hoof itself.
fn on_hoof(landmark: Landmark) -> bool {
    use Landmark::{GroundBack, GroundFront, PasternLower, PasternUpper};
    !matches!(landmark, GroundFront | GroundBack | PasternUpper | PasternLower)
}

fn named_pixels(sidecar: &Sidecar) -> impl Iterator<Item = (&'static str, Point2<f64>)> + '_ {
    let landmarks = sidecar.landmarks.iter().filter(|(l, _)| on_hoof(**l));
    let landmarks = landmarks.flat_map(|(l, p)| p.at.iter().map(|at| (l.name(), Point2::from(*at))));
    let lines = sidecar.lines.iter().filter(|(l, _)| **l != Line::Ground);
    landmarks.chain(lines.flat_map(|(l, points)| points.iter().map(|at| (l.name(), Point2::from(*at)))))
}

/// The pixels of a sidecar's landmarks and lines that lie on the hoof.
pub fn hoof_pixels(sidecar: &Sidecar) -> Vec<Point2<f64>> {
    named_pixels(sidecar).map(|(_, p)| p).collect()
}

fn hoof_points(located: &Located) -> impl Iterator<Item = usize> + '_ {
    let landmarks = Landmark::ALL.iter().filter(|l| on_hoof(**l)).filter_map(|l| located.index.landmark(*l));
    landmarks.chain(Line::ALL.iter().filter(|l| **l != Line::Ground).filter_map(|l| located.index.line(*l)).flatten())
}

/// Pixels per mm at the hoof: the mean of its points, each by the root of the area's ratio.
pub fn resolution(located: &Located) -> Option<f64> {
    let all: Vec<f64> =
        hoof_points(located).map(|i| 1.0 / located.points[i].by_pixel.determinant().abs().sqrt()).collect();
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    mean.is_finite().then_some(mean)
}

/// Shares of near-white and near-black pixels within a convex outline.
fn extremes(photo: &RgbImage, outline: &[Point2<f64>]) -> (f64, f64) {
    // Some half a million pixels tell a share to a tenth of a per cent.
    const SAMPLES: f64 = 5e5;
    let (width, height) = (photo.width() as usize, photo.height() as usize);
    let step = ((width * height) as f64 / SAMPLES).sqrt().max(1.0) as usize;
    let (mut white, mut black, mut all) = (0u32, 0u32, 0u32);
    for y in (0..height).step_by(step) {
        let Some((from, to)) = crossing(outline, y as f64 + 0.5) else { continue };
        let (from, to) = (from.max(0.0) as usize, (to.max(0.0) as usize).min(width));
        for x in (from..to).step_by(step) {
            let i = (y * width + x) * 3;
            let [r, g, b] = [0, 1, 2].map(|c| photo.as_raw()[i + c]);
            all += 1;
            white += u32::from(r.min(g).min(b) >= WHITE_FROM);
            black += u32::from(u32::from(r.max(g).max(b)) <= BLACK_TO);
        }
    }
    let share = |n: u32| if all > 0 { f64::from(n) / f64::from(all) } else { 0.0 };
    (share(white), share(black))
}

/// Where a convex outline begins and ends on a row.
fn crossing(outline: &[Point2<f64>], y: f64) -> Option<(f64, f64)> {
    let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
    for (i, a) in outline.iter().enumerate() {
        let b = &outline[(i + 1) % outline.len()];
        if (a.y <= y) != (b.y <= y) {
            let x = a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y);
            (from, to) = (from.min(x), to.max(x));
        }
    }
    (from < to).then_some((from, to))
}

/// The longest distance between two of the points.
fn longest(points: &[Point2<f64>]) -> f64 {
    let hull = hull(points);
    hull.iter().enumerate().flat_map(|(i, a)| hull[i + 1..].iter().map(move |b| (b - a).norm())).fold(0.0, f64::max)
}

/// The gap between the hoof's outline and the scale's edges: what lies between two graduations in one row or column.
fn gap(hoof: &[Point2<f64>], labels: &[Point2<f64>]) -> f64 {
    let mut least = f64::INFINITY;
    for (i, a) in labels.iter().enumerate() {
        for b in labels[i..].iter().filter(|b| a.x == b.x || a.y == b.y) {
            let along = b - a;
            for p in hoof {
                let t =
                    if along.norm() > 0.0 { ((p - a).dot(&along) / along.norm_squared()).clamp(0.0, 1.0) } else { 0.0 };
                least = least.min((p - (a + along * t)).norm());
            }
        }
    }
    least
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hull_leaves_out_what_lies_inside() {
        let p = |x: f64, y: f64| Point2::new(x, y);
        let hull = hull(&[p(0.0, 0.0), p(2.0, 1.0), p(4.0, 0.0), p(4.0, 3.0), p(2.0, 2.0), p(0.0, 3.0)]);
        assert_eq!(hull, [p(0.0, 0.0), p(4.0, 0.0), p(4.0, 3.0), p(0.0, 3.0)]);
        assert_eq!(longest(&hull), 5.0);
        assert_eq!(crossing(&hull, 1.0), Some((0.0, 4.0)));
        assert_eq!(crossing(&hull, 3.5), None);
        assert_eq!(gap(&hull, &[p(-10.0, -7.0), p(30.0, -7.0)]), 7.0);
        assert_eq!(gap(&hull, &[p(10.0, 10.0)]), (36.0f64 + 49.0).sqrt());
        assert!(longest(&[]) == 0.0 && longest(&[p(1.0, 1.0)]) == 0.0);
    }

    #[test]
    fn every_limit_says_where_it_comes_from() {
        assert_eq!(LIMITS.len(), 9);
        for l in LIMITS {
            assert!(l.value > 0.0 && l.source.contains("no source") && !l.what.is_empty(), "{}", l.what);
        }
    }

    #[test]
    fn light_is_judged_on_the_hoof_alone() {
        let hoof = [(20.0, 20.0), (80.0, 20.0), (80.0, 80.0), (20.0, 80.0)].map(|(x, y)| Point2::new(x, y));
        let inside = |x: u32, y: u32| (20..80).contains(&x) && (20..80).contains(&y);
        let photo =
            |on: u8, off: u8| RgbImage::from_fn(100, 100, |x, y| image::Rgb([if inside(x, y) { on } else { off }; 3]));
        let dark_ground = look(&photo(120, 0), &hoof);
        assert!(dark_ground.white == 0.0 && dark_ground.black == 0.0);
        assert!(look(&photo(255, 0), &hoof).white > 0.99);
        assert!(look(&photo(3, 120), &hoof).black > 0.99);
        let remarks = of_pixels(&look(&photo(255, 0), &hoof), (100, 100), None);
        assert!(matches!(remarks[..], [.., QualityRemark::BurntOut { .. }]), "{remarks:?}");
    }

    /// A lateral photo of 4000 x 3000 px seen square: a foot 120 mm long, a ruler below it.
    fn remarks(px_per_mm: f64, ruler: [f64; 2], below: f64, left: f64, square: bool, lean: f64) -> Vec<QualityRemark> {
        let at = |x: f64, y: f64| {
            // A plane that leans back: what is higher is farther away.
            let shrink = 1.0 + lean * (y - 40.0) / 1000.0;
            format!(
                "[{}, {}]",
                left + px_per_mm * (x - 60.0) / shrink + px_per_mm * 60.0,
                2400.0 - px_per_mm * y / shrink
            )
        };
        let label = |x: f64, y: f64| if square { format!("[{x}, {y}]") } else { format!("{x}") };
        let mut points: Vec<_> = (0..4)
            .map(|i| ruler[0] + (ruler[1] - ruler[0]) * f64::from(i) / 3.0)
            .map(|x| format!(r#"{{ "mm": {}, "at": {} }}"#, label(x, 0.0), at(x, -below)))
            .collect();
        if square {
            points.extend(
                [40.0, 100.0].map(|y| format!(r#"{{ "mm": [{}, {y}], "at": {} }}"#, ruler[0], at(ruler[0], y - below))),
            );
        }
        let text = format!(
            r#"{{ "format": "hoofgeo-sidecar/1", "photo": {{ "file": "a.jpg", "width_px": 4000, "height_px": 3000 }},
            "subject": {{ "foot": "LF" }}, "view": "lateral", "side": "lateral",
            "scale": {{ "kind": "{}", "tilt_u_deg": 30, "points": [{}] }},
            "landmarks": {{ "toe_ground": {{ "at": {} }}, "heel_ground": {{ "at": {} }}, "toe_coronet": {{ "at": {} }} }} }}"#,
            if square { "square_ruler" } else { "straight_ruler" },
            points.join(", "),
            at(0.0, 0.0),
            at(120.0, 0.0),
            at(50.0, 70.0)
        );
        let sidecar = Sidecar::parse(&text, None).expect("reads");
        let lens = crate::scene::LensPrior::exif((4000, 3000), 10.0 * 300.0);
        let (scene, located) = crate::measured::locate(&sidecar, &lens).expect("a scene");
        of_scene(&sidecar, &scene, &located).into_iter().chain(cut_off(&sidecar)).collect()
    }

    #[test]
    fn geometry_is_remarked_on_where_it_must_be_and_nowhere_else() {
        use QualityRemark::{Coarse, CutOff, FarScale, ShortScale, Tilted};
        let good = remarks(10.0, [0.0, 150.0], 15.0, 1000.0, false, 0.0);
        assert!(good.is_empty(), "{good:?}");
        let good = remarks(10.0, [0.0, 150.0], 15.0, 1000.0, true, 0.1);
        assert!(good.is_empty(), "{good:?}");
        assert!(matches!(remarks(3.0, [0.0, 150.0], 15.0, 1000.0, false, 0.0)[..], [Coarse { .. }]));
        let short = remarks(10.0, [0.0, 60.0], 15.0, 1000.0, false, 0.0);
        assert!(
            matches!(short[..], [ShortScale { span_mm, hoof_mm }] if span_mm == 60.0 && (hoof_mm - 120.0).abs() < 1.0),
            "{short:?}"
        );
        assert!(remarks(10.0, [0.0, 80.0], 15.0, 1000.0, false, 0.0).is_empty());
        let far = remarks(6.0, [0.0, 150.0], 75.0, 1000.0, false, 0.0);
        assert!(matches!(far[..], [FarScale { gap_mm, .. }] if (gap_mm - 75.0).abs() < 1.0), "{far:?}");
        assert!(remarks(6.0, [0.0, 150.0], 50.0, 1000.0, false, 0.0).is_empty());
        let near_border = remarks(10.0, [0.0, 150.0], 15.0, 20.0, false, 0.0);
        assert!(matches!(near_border[..], [CutOff { name: "toe_ground" }]), "{near_border:?}");
        assert!(remarks(10.0, [0.0, 150.0], 15.0, 60.0, false, 0.0).is_empty());
        // The plane leans by atan of so much of the distance, 300 mm: 1 on 1000 mm is 16.7 degrees.
        let tilted = remarks(10.0, [0.0, 150.0], 15.0, 1000.0, true, 1.0);
        assert!(matches!(tilted[..], [Tilted { deg, expanded_deg }] if deg > 15.0 && expanded_deg < deg), "{tilted:?}");
        for r in [good, short, far, near_border, tilted].concat() {
            assert!(r.to_string().contains(": "), "{r} says what to do");
        }
    }
}
