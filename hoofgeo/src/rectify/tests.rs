use super::*;
use crate::measured::{MeasureOptions, measure};
use crate::scale::ScaleKind;
use crate::scene::params::{
    DISTORTION, LN_FOCAL, LN_MAGNIFICATION, PIVOT, PRINCIPAL, ROLL, TILT_X, TILT_Y, UNKNOWNS, View3,
};
use crate::sidecar::{Graduation, Placement, PlaneSpec, Scale, Tolerance};
use crate::{Landmark, Line, PlaneName, View};
use nalgebra::Vector3;

const FRAME: (u32, u32) = (4000, 3000);

/// How a photo is taken: tilts and roll in degrees, k1, magnification.
#[derive(Clone, Copy)]
struct Shot {
    tilt: [f64; 2],
    roll: f64,
    k1: f64,
    px_per_mm: f64,
}

fn view(shot: Shot) -> View3<f64> {
    let mut x = [0.0; UNKNOWNS];
    x[LN_FOCAL] = 3000f64.ln();
    (x[PRINCIPAL], x[PRINCIPAL + 1]) = (2010.0, 1490.0);
    (x[PIVOT], x[PIVOT + 1]) = (1900.0, 1900.0);
    x[LN_MAGNIFICATION] = shot.px_per_mm.ln();
    (x[TILT_X], x[TILT_Y]) = (shot.tilt[0].to_radians(), shot.tilt[1].to_radians());
    x[ROLL] = shot.roll.to_radians();
    x[DISTORTION] = shot.k1;
    View3::new(&x, Point2::new(100.0, 0.0))
}

/// Places of landmarks before the measured plane (z = 0, behind the scale by 10 mm), mm.
const LATERAL: [(&str, [f64; 3]); 8] = [
    ("toe_coronet", [78.0, 126.0, 0.0]),
    ("toe_ground", [20.0, 52.0, 0.0]),
    ("heel_coronet", [172.0, 88.0, 30.0]),
    ("heel_ground", [146.0, 52.0, 30.0]),
    ("ground_front", [-10.0, 52.0, 0.0]),
    ("ground_back", [195.0, 53.0, 0.0]),
    ("pastern_upper", [118.0, 170.0, 0.0]),
    ("pastern_lower", [98.0, 146.0, 0.0]),
];
const SOLAR: [(&str, [f64; 3]); 7] = [
    ("toe_outer", [90.0, 190.0, 0.0]),
    ("frog_apex", [92.0, 140.0, -6.0]),
    ("central_sulcus", [95.0, 75.0, -12.0]),
    ("heel_medial", [60.0, 70.0, 0.0]),
    ("heel_lateral", [132.0, 72.0, 0.0]),
    ("widest_medial", [30.0, 125.0, 0.0]),
    ("widest_lateral", [158.0, 128.0, 0.0]),
];

fn sidecar(shot: Shot, kind: ScaleKind, side: View) -> Sidecar {
    let v = view(shot);
    let mut noise = 7u32;
    // Marks are off by up to half a pixel.
    let mut mark = |p: Point2<f64>| {
        let mut off = || {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(noise >> 8) / f64::from(1 << 24) - 0.5
        };
        [p.x + off(), p.y + off()]
    };
    let text = format!(
        r#"{{ "format": "hoofgeo-sidecar/1", "photo": {{ "file": "a.jpg", "width_px": {}, "height_px": {} }},
        "subject": {{ "foot": "LF" }}, "view": "{side}", "side": "lateral", "landmarks": {{ "breakover": null }} }}"#,
        FRAME.0, FRAME.1
    )
    .replace(if side == View::Solar { "\"side\": \"lateral\"," } else { "\u{0}" }, "");
    let mut s = Sidecar::parse(&text, None).expect("reads");
    let labels: Vec<[f64; 2]> = match kind {
        ScaleKind::StraightRuler => (0..5).map(|i| [50.0 * f64::from(i), 0.0]).collect(),
        ScaleKind::Card => vec![[0.0, 0.0], [85.6, 0.0], [85.6, 53.98], [0.0, 53.98]],
        _ => [[0, 0], [50, 0], [100, 0], [150, 0], [200, 0], [0, 30], [0, 60], [0, 90], [0, 120]]
            .map(|p| p.map(f64::from))
            .into(),
    };
    let points = labels.into_iter().map(|mm| {
        let at = mark(v.graduation_pixel(Point2::from(mm)).expect("in front"));
        if kind == ScaleKind::StraightRuler { Graduation::along(mm[0], at) } else { Graduation::in_plane(mm, at) }
    });
    let tolerance = (kind == ScaleKind::StraightRuler).then_some(Tolerance::Class(crate::scale::RuleClass::II));
    s.scale = Some(Scale { kind, tolerance, u_px: None, tilt_u_deg: None, metric: None, points: points.collect() });
    let plane =
        |behind: f64, u_mm: f64| PlaneSpec { behind_scale_mm: Some(behind), u_mm: Some(u_mm), tilt_u_deg: None };
    s.planes.insert(PlaneName::Measured, plane(10.0, 4.0));
    let (near, own) = if side == View::Lateral { (PlaneName::NearHeel, -20.0) } else { (PlaneName::Sole, 19.0) };
    s.planes.insert(near, plane(own, 8.0));
    let all: &[(&str, [f64; 3])] = if side == View::Lateral { &LATERAL } else { &SOLAR };
    for (name, [x, y, z]) in all {
        let at = mark(v.pixel(Vector3::new(*x, *y, z - 10.0)).expect("in front"));
        let mut placement = Placement::once(at);
        if *name == "toe_ground" {
            placement.at.push([at[0] + 2.0, at[1] - 1.0]);
        }
        s.landmarks.insert(Landmark::find(side, name).expect("known"), placement);
    }
    if side == View::Lateral {
        let wall = (0..5).map(|i| {
            let t = f64::from(i) / 4.0;
            mark(v.pixel(Vector3::new(78.0 - 58.0 * t, 126.0 - 74.0 * t, -10.0)).expect("in front"))
        });
        s.lines.insert(Line::DorsalWall, wall.collect());
    }
    // Everything lies in the frame.
    Sidecar::parse(&s.to_json(), None).expect("reads")
}

fn lens(source: &str) -> LensPrior {
    match source {
        "exif" => LensPrior::exif(FRAME, 3050.0),
        "profile" => {
            let u = [15.0, 8.0, 8.0, 0.004, 0.01, 0.0, 0.0002, 0.0002];
            let covariance = nalgebra::SMatrix::from_fn(|i, j| if i == j { u[i] * u[i] } else { 0.0 });
            LensPrior::profile([3010.0, 2005.0, 1495.0, -0.03, 0.01, 0.0, 0.0, 0.0], &covariance)
        }
        _ => LensPrior::unknown(FRAME),
    }
}

/// Of all values: the greatest difference in units of u, and the least and the greatest ratio of their u, picture to photo.
fn compare(shot: Shot, kind: ScaleKind, side: View, source: &str, px_per_mm: Option<f64>) -> (f64, [f64; 2]) {
    let s = sidecar(shot, kind, side);
    let lens = lens(source);
    let photo = measure(&s, &lens, &MeasureOptions::default()).expect("measures");
    let options = RectifyOptions { px_per_mm, ..RectifyOptions::default() };
    let rectified = rectify(&s, &lens, &MeasureOptions::default(), &options, "flat.jpg").expect("rectifies");
    // As their files say it.
    let new = Sidecar::parse(&rectified.sidecar.to_json(), None).expect("reads back");
    let profile = LensProfile::parse(&rectified.lens.to_json()).expect("reads back");
    let prior = profile.prior(rectified.sheet.size).expect("its own frame");
    let picture = measure(&new, &prior, &MeasureOptions::default()).expect("measures again");
    assert_eq!(photo.values.len(), picture.values.len());
    assert!(photo.values.len() > 5);
    let (mut value, mut u) = (0.0f64, [f64::INFINITY, 0.0f64]);
    for (a, b) in photo.values.iter().zip(&picture.values) {
        assert_eq!(a.measurement.id, b.measurement.id);
        value = value.max((a.value - b.value).abs() / a.u);
        u = [u[0].min(b.u / a.u), u[1].max(b.u / a.u)];
    }
    (value, u)
}

#[test]
fn the_picture_measures_as_its_photo() {
    let shots = [
        Shot { tilt: [0.0, 0.0], roll: 0.0, k1: 0.0, px_per_mm: 7.0 },
        Shot { tilt: [4.0, -3.0], roll: 2.0, k1: -0.02, px_per_mm: 7.0 },
        Shot { tilt: [-14.0, 9.0], roll: 12.0, k1: -0.05, px_per_mm: 7.0 },
        Shot { tilt: [22.0, -18.0], roll: -30.0, k1: -0.08, px_per_mm: 7.0 },
    ];
    for side in [View::Lateral, View::Solar] {
        for kind in [ScaleKind::StraightRuler, ScaleKind::SquareRuler, ScaleKind::Card] {
            for source in ["exif", "profile", "none"] {
                // A straight ruler's tilt is stated to 5 degrees.
                let shots = if kind == ScaleKind::StraightRuler { &shots[..2] } else { &shots };
                for (i, shot) in shots.iter().enumerate() {
                    for px_per_mm in [Some(7.0), None] {
                        let (value, [least, most]) = compare(*shot, kind, side, source, px_per_mm);
                        let case =
                            format!("{side} {kind:?} {source} {i} {px_per_mm:?}: {value} u, u {least} to {most}");
                        assert!(value < 1e-3, "{case}");
                        // Nothing known of the lens leaves room for 20 % of distortion, which no other camera's axis can hold exactly.
                        let unknown = if source == "none" { 0.05 } else { 0.0 };
                        // Clicks on lines: the photo shows from 6.8 to 7.4 px/mm, the picture 7 or 5.
                        assert!(least > 0.965 - unknown, "{case}");
                        assert!(
                            most < if px_per_mm.is_some() { 1.02 + 2.0 * unknown } else { 1.10 + unknown },
                            "{case}"
                        );
                    }
                }
            }
        }
    }
}

/// Along the ground, and up; true lengths at any place of the picture.
#[test]
fn the_picture_is_upright_and_to_scale() {
    let shot = Shot { tilt: [-12.0, 8.0], roll: 40.0, k1: -0.06, px_per_mm: 7.0 };
    for (side, level, low, high) in [
        (View::Lateral, Level::Ground, ["ground_front", "ground_back"], "toe_coronet"),
        (View::Solar, Level::Frog, ["central_sulcus", "frog_apex"], "toe_outer"),
    ] {
        let s = sidecar(shot, ScaleKind::SquareRuler, side);
        let r = rectify(&s, &lens("profile"), &MeasureOptions::default(), &RectifyOptions::default(), "flat.jpg")
            .expect("rectifies");
        assert_eq!((r.sheet.level, r.sheet.px_per_mm), (level, 5.0));
        let at = |name: &str| Point2::from(r.sidecar.landmarks[&Landmark::find(side, name).expect("known")].at[0]);
        let line = at(low[1]) - at(low[0]);
        let off = if side == View::Lateral { line.y } else { line.x };
        // The frog lies behind the plane, where parallax shifts it a little.
        assert!(off.abs() < if side == View::Lateral { 1e-6 } else { 6.0 }, "{line:?}");
        assert!(at(high).y < at(low[0]).y, "the foot stands upright");
        // Not mirrored: places of the scale frame turn the same way.
        let [a, b, c] = [0, 4, 8].map(|i| Point2::from(r.sidecar.scale.as_ref().expect("there").points[i].at));
        assert!((b - a).perp(&(c - a)) < 0.0, "y points down in a picture");
        // The scale lies 10 mm before the plane and looks larger by that, the same everywhere.
        let enlarged = [(b - a).norm() / 5.0 / 200.0, (c - a).norm() / 5.0 / 120.0];
        assert!((enlarged[0] / enlarged[1] - 1.0).abs() < 1e-3, "{enlarged:?}");
        assert!((1.0..1.05).contains(&enlarged[0]), "{enlarged:?}");
        // There and back.
        for (x, y) in [(10.0, 10.0), (300.5, 400.25)] {
            let p = Point2::new(x, y);
            let there = r.sheet.source(p).expect("seen");
            assert!((r.sheet.target(there).expect("back") - p).norm() < 1e-6);
        }
        assert!(r.reading.angle_deg > 0.05 && r.reading.angle_deg < 5.0, "{:?}", r.reading);
        if side == View::Solar {
            // The width lies along the picture's x, nearly in its middle: its uncertainty without that of its landmarks is the reading's.
            let measured = measure(&s, &lens("profile"), &MeasureOptions::default()).expect("measures");
            let width = measured.values.iter().find(|v| v.measurement.id == "hoof_width").expect("measured");
            let own = 1.0 - width.budget.share(crate::uncertainty::Source::Landmarks);
            let ratio = r.reading.along / (2.0 * width.u * own.sqrt() / width.value);
            assert!((0.75..1.33).contains(&ratio), "{ratio}, {:?}", r.reading);
        }
    }
}

#[test]
fn resolutions_that_cannot_be_are_refused() {
    let s =
        sidecar(Shot { tilt: [0.0, 0.0], roll: 0.0, k1: 0.0, px_per_mm: 7.0 }, ScaleKind::SquareRuler, View::Lateral);
    let at = |px_per_mm| {
        let options = RectifyOptions { px_per_mm: Some(px_per_mm), ..RectifyOptions::default() };
        rectify(&s, &lens("exif"), &MeasureOptions::default(), &options, "flat.jpg")
    };
    for (px_per_mm, what) in [
        (0.0, "whole number"),
        (-3.0, "whole number"),
        (f64::NAN, "whole number"),
        (f64::INFINITY, "finer than the photo"),
        (2.55, "whole number"),
        (9.0, "finer than the photo"),
    ] {
        let e = at(px_per_mm).expect_err("refused");
        assert!(e.what().contains(what) && e.help_text().is_some(), "{px_per_mm}: {e}");
    }
    assert_eq!(at(2.5).expect("fine").sheet.px_per_mm, 2.5);
    let coarse = at(0.1).expect("fine").sheet.size;
    assert!(coarse.0 < 40 && coarse.1 < 40, "{coarse:?}");
}

/// What the resolution tag says (JFIF 1.02): unit 2 is dots per centimetre.
#[test]
fn the_file_says_its_exact_resolution() {
    let picture = RgbImage::from_pixel(30, 20, image::Rgb([200, 180, 160]));
    let jpeg = encode(&picture, 2.5, 92).expect("encodes");
    let jfif = jpeg.windows(5).position(|w| w == b"JFIF\0").expect("JFIF");
    assert_eq!(&jpeg[jfif + 7..jfif + 12], [2, 0, 25, 0, 25]);
    assert!(encode(&picture, 2.55, 92).is_err() && encode(&picture, f64::NAN, 92).is_err());
}

/// Where two poses fit a photo, its picture must not claim to know more than the photo does.
#[test]
fn a_photo_with_two_poses_gives_a_picture_no_surer_of_itself() {
    let mut seen = 0;
    for tilt in [3.0, 5.0, 7.0, 9.0, 12.0] {
        for source in ["exif", "profile"] {
            let shot = Shot { tilt: [tilt, -0.6 * tilt], roll: 4.0, k1: -0.02, px_per_mm: 2.0 };
            let mut s = sidecar(shot, ScaleKind::Card, View::Solar);
            // From 1.5 m away a card's perspective is lost in its marks.
            s.scale.as_mut().expect("there").u_px = Some(2.0);
            let lens = lens(source);
            if scene(&s, &lens, &MeasureOptions::default()).expect("a scene").second.is_none() {
                continue;
            }
            seen += 1;
            let photo = measure(&s, &lens, &MeasureOptions::default()).expect("measures");
            let r = rectify(&s, &lens, &MeasureOptions::default(), &RectifyOptions::default(), "flat.jpg")
                .expect("rectifies");
            let prior = r.lens.prior(r.sheet.size).expect("its own frame");
            let picture = measure(&r.sidecar, &prior, &MeasureOptions::default()).expect("measures again");
            for (a, b) in photo.values.iter().zip(&picture.values) {
                let case =
                    format!("{tilt} {source} {}: {} ± {}, {} ± {}", a.measurement.id, a.value, a.u, b.value, b.u);
                // Found: the same to 1e-9, their u 0.999 to 1.03 times the photo's.
                assert!((a.value - b.value).abs() < 1e-3 * a.u && (0.99..1.06).contains(&(b.u / a.u)), "{case}");
            }
        }
    }
    assert!(seen > 3, "{seen} photos had two poses");
}
