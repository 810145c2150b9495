//! Calibration against OpenCV on its own photographs, against Zhang's published data, and on sets that cannot be calibrated.
//!
//! Provenance: `fixtures/opencv/SOURCE.md`. OpenCV's pixels have (0, 0) in the middle of the top-left pixel, ours at its corner.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{agrees, case, external, fixture, near, number, numbers, rows};
use hoofgeo::calibrate::{BoardPhoto, BoardPoint, Calibration, Options, PARAMETERS, Parameter, Reason, calibrate};
use hoofgeo::sidecar::{CameraId, LensProfile};
use hoofgeo::{Error, ErrorKind};
use nalgebra::{Point2, Rotation3, Vector2, Vector3};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::Value;

const HALF: Vector2<f64> = Vector2::new(0.5, 0.5);

/// The photographs of one side with the corners of one detector; 25 mm is the squares' nominal size.
fn photographs(side: &str, detector: &str) -> Vec<BoardPhoto> {
    let photos =
        fixture("opencv/board_corners.json").into_iter().filter(|c| c["id"].as_str().unwrap().starts_with(side));
    let photos = photos.map(|c| {
        let corners = rows(&c[detector]);
        assert_eq!(corners.len(), 54);
        let points = corners.iter().enumerate().map(|(i, p)| BoardPoint {
            mm: Point2::new((i % 9) as f64 * 25.0, (i / 9) as f64 * 25.0),
            // OpenCV's corners are single-precision numbers, here with the fewest digits that give them back.
            pixel: Point2::new(f64::from(p[0] as f32), f64::from(p[1] as f32)) + HALF,
        });
        BoardPhoto { name: c["id"].as_str().unwrap().to_owned(), frame_px: (640, 480), points: points.collect() }
    });
    photos.collect()
}

/// As OpenCV calibrates: two focal lengths, no photo left out.
fn as_opencv(hold: &[Parameter]) -> Options {
    Options { square_pixels: false, hold: hold.iter().map(|&p| (p, 0.0)).collect(), significance: 0.0 }
}

/// Our order from OpenCV's fx fy cx cy k1 k2 p1 p2 k3.
const OPENCV_PLACE: [usize; PARAMETERS] = [0, 1, 2, 3, 4, 5, 8, 6, 7];

#[test]
fn opencv_photographs() {
    use Parameter::{K1, K2, K3, P1, P2};
    let models: [(&str, &[Parameter]); 4] =
        [("5coef", &[]), ("k1k2p1p2", &[K3]), ("k1k2_only", &[K3, P1, P2]), ("no_distortion", &[K1, K2, K3, P1, P2])];
    let mut compared = 0;
    for side in ["left", "right"] {
        for detector in ["subpix", "sb"] {
            for (model, hold) in models {
                let expected = &case("opencv/calibration.json", &format!("{side} {detector} {model}"))["expected"];
                let ours = calibrate(&photographs(side, detector), &as_opencv(hold)).unwrap();
                compare(&ours, expected);
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 16);
}

fn compare(ours: &Calibration, expected: &Value) {
    let k = rows(&expected["K"]);
    let mut theirs = vec![k[0][0], k[1][1], k[0][2] + 0.5, k[1][2] + 0.5];
    theirs.extend(numbers(&expected["dist"]));
    let u = numbers(&expected["std_intrinsics"]);
    let (x, formal) = (ours.parameters(), ours.formal.diagonal());
    for (i, place) in OPENCV_PLACE.into_iter().enumerate() {
        // Asked for: 0.05 standard uncertainties and 1 %. Both programs stop when further steps change less than 1e-5 of them.
        near(x[i], theirs[place], 1e-3 * u[place]);
        agrees(formal[i].sqrt(), u[place], 1e-4);
    }
    agrees(ours.rms_px, number(&expected["rms"]), 1e-8);
    let (rotations, translations) = (rows(&expected["rvecs"]), rows(&expected["tvecs"]));
    let pose_u = numbers(&expected["std_extrinsics"]);
    for (i, photo) in ours.photos.iter().enumerate() {
        agrees(photo.rms_px, numbers(&expected["per_view_rms"])[i], 1e-6);
        let theirs = Rotation3::from_scaled_axis(Vector3::from_row_slice(&rotations[i]));
        // ‖R - R′‖ = √8·sin(angle/2), √2 times a small angle; the arc cosine would lose half of the digits.
        let turn = (theirs.matrix() - photo.pose.rotation).norm() / std::f64::consts::SQRT_2;
        let u = &pose_u[6 * i..6 * i + 6];
        assert!(turn < 1e-2 * u[2], "{}: {turn}", photo.name);
        for a in 0..3 {
            near(photo.pose.translation[a], translations[i][a], 1e-3 * u[3 + a]);
            agrees(photo.pose_covariance[(3 + a, 3 + a)].sqrt(), u[3 + a], 1e-4);
        }
    }
}

/// The jackknife's standard deviations against those of an earlier program of ours on the same corners (leave-one-photo-out, another
/// solver with derivatives by dual numbers): left fx 0.614 px, and the ratios to the formal ones.
#[test]
fn jackknife_of_the_photographs() {
    use Parameter::{Cx, Cy, Fx, Fy, K1, K3};
    let places = [Fx, Fy, Cx, Cy, K1, K3];
    for (side, ratios) in
        [("left", [1.40, 1.41, 3.43, 2.58, 2.04, 2.09]), ("right", [2.21, 2.04, 2.65, 1.95, 2.77, 2.72])]
    {
        let ours = calibrate(&photographs(side, "subpix"), &as_opencv(&[])).unwrap();
        let u = |c: &hoofgeo::calibrate::Covariance, p: Parameter| c[(p as usize, p as usize)].sqrt();
        for (p, ratio) in places.into_iter().zip(ratios) {
            near(u(&ours.jackknife, p) / u(&ours.formal, p), ratio, 0.006); // printed to two decimals
        }
        for i in 0..PARAMETERS {
            let [honest, jackknife, formal] = [&ours.covariance, &ours.jackknife, &ours.formal].map(|c| c[(i, i)]);
            assert!(honest >= jackknife * (1.0 - 1e-12) && honest >= formal, "{i}: {honest} {jackknife} {formal}");
            // Not out of proportion either: OpenCV's 13 photos call for 1.3 to 3.4 times.
            assert!(honest < 16.0 * formal, "{i}: {honest} {formal}");
        }
    }
}

/// A set of good photos keeps them all, and gives a profile that can be written and read.
#[test]
fn a_profile_of_the_photographs() {
    for side in ["left", "right"] {
        let found = calibrate(&photographs(side, "subpix"), &Options::default()).unwrap();
        assert_eq!((found.photos.len(), found.left_out.len()), (13, 0), "{:?}", found.left_out);
        let camera = CameraId { model: Some(side.into()), ..CameraId::default() };
        let profile = found.profile(camera, Some("2026-11-25".into()), Some("9 x 6 corners, 25 mm".into())).unwrap();
        let read = LensProfile::parse(&profile.to_json()).unwrap();
        assert_eq!(read, profile);
        let how = read.found.unwrap();
        assert_eq!(how.photos, 13);
        agrees(how.rms_px, found.rms_px, 1e-12);
        for (i, parameter) in [0, 2, 3, 4, 5, 6, 7, 8].into_iter().enumerate() {
            agrees(read.covariance[i][i].sqrt(), found.standard_uncertainty()[parameter], 1e-12);
        }
        // One focal length instead of two, which differ by no more than 0.1 %.
        let two = calibrate(&photographs(side, "subpix"), &as_opencv(&[])).unwrap();
        near(found.focal_px[0], (two.focal_px[0] + two.focal_px[1]) / 2.0, 0.5);
        assert_eq!(two.profile(CameraId::default(), None, None).unwrap_err().kind(), ErrorKind::Usage);
    }
}

/// Corners of one photo displaced by as much as a blurred photo's are: named, left out, and the others give what they gave alone.
#[test]
fn one_bad_photo_is_left_out() {
    let mut photos = photographs("left", "subpix");
    let mut without = photos.clone();
    let bad = without.remove(4);
    let clean = calibrate(&without, &Options::default()).unwrap();
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(5);
    for p in &mut photos[4].points {
        p.pixel += Vector2::new(rng.random_range(-1.5..1.5), rng.random_range(-1.5..1.5));
    }
    let found = calibrate(&photos, &Options::default()).unwrap();
    assert_eq!(found.left_out.len(), 1, "{:?}", found.left_out);
    assert_eq!(found.left_out[0].name, bad.name);
    let Reason::Residuals { rms_px, others_px, probability } = found.left_out[0].reason else {
        panic!("{:?}", found.left_out[0].reason)
    };
    // Even displacement within ±1.5 px in both axes is 1.5·√(2/3) = 1.22 px RMS.
    near(rms_px, 1.22, 0.25);
    assert!(others_px < 0.3 && probability < 0.01, "{others_px} {probability}");
    for i in 0..PARAMETERS {
        near(found.parameters()[i], clean.parameters()[i], 1e-3 * clean.standard_uncertainty()[i]);
    }
    // A photo at another zoom fits a plane as well as the others, and no common camera.
    let mut photos = photographs("left", "subpix");
    for p in &mut photos[7].points {
        p.pixel = Point2::new(320.0, 240.0) + (p.pixel - Point2::new(320.0, 240.0)) * 0.7;
    }
    let found = calibrate(&photos, &Options::default()).unwrap();
    assert_eq!(found.left_out.len(), 1);
    assert_eq!(found.left_out[0].name, photos[7].name);
}

/// Corners counted in the wrong order, mirrored, or not numbers at all.
#[test]
fn photos_that_are_not_of_the_board_are_left_out() {
    let mut photos = photographs("right", "subpix");
    let pixels: Vec<_> = photos[1].points.iter().map(|p| p.pixel).collect();
    for (i, p) in photos[1].points.iter_mut().enumerate() {
        p.pixel = pixels[i % 6 * 9 + i / 6];
    }
    for p in &mut photos[6].points {
        p.pixel.x = 640.0 - p.pixel.x;
    }
    photos[9].points[3].pixel.x = f64::NAN;
    let found = calibrate(&photos, &Options::default()).unwrap();
    let reasons: Vec<_> = found.left_out.iter().map(|l| (l.name.as_str(), l.reason)).collect();
    assert!(
        matches!(
            reasons[..],
            [("right02", Reason::NotTheBoard { .. }), ("right11", Reason::Points), ("right07", Reason::Mirrored)]
        ),
        "{reasons:?}"
    );
}

/// Zhang's five views: the least-squares optimum without skew (computed by scipy), and his published values, which have one more
/// parameter (a skew of 0.2 px), within one of the standard uncertainties.
#[test]
fn zhang() {
    use Parameter::{K1, K2, K3, P1, P2};
    let Some(cases) = external("zhang1998_calibration.json") else { return };
    let named = |id: &str| cases.iter().find(|c| c["id"].as_str().unwrap().starts_with(id)).unwrap();
    let data = named("Zhang five views: data");
    let model = rows(&data["model_points_inch"]);
    let photos: Vec<BoardPhoto> = data["image_points_px"]
        .as_array()
        .unwrap()
        .iter()
        .enumerate()
        .map(|(i, view)| {
            let points = model.iter().zip(rows(view));
            let points = points.map(|(m, p)| BoardPoint {
                mm: Point2::new(m[0] * 25.4, m[1] * 25.4),
                pixel: Point2::new(p[0], p[1]) + HALF,
            });
            BoardPhoto { name: format!("CalibIm{}", i + 1), frame_px: (640, 480), points: points.collect() }
        })
        .collect();
    assert_eq!((photos.len(), photos[0].points.len()), (5, 256));
    let ours = calibrate(&photos, &as_opencv(&[K3, P1, P2])).unwrap();
    let optimum = named("least-squares optimum, zero skew");
    agrees(ours.rms_px.powi(2) * 1280.0, number(&optimum["sse"]), 1e-9);
    agrees(ours.sigma_px, number(&optimum["sigma_px"]), 1e-9);
    let names = ["alpha", "beta", "u0", "v0", "k1", "k2"];
    let published = &named("published result (with distortion)")["published"];
    for (i, name) in names.into_iter().enumerate() {
        let x = ours.parameters()[i] - if name.ends_with('0') { 0.5 } else { 0.0 };
        let u = number(&optimum["standard_uncertainty"][name]);
        near(x, number(&optimum["expected"][name]), 1e-3 * u);
        agrees(ours.formal[(i, i)].sqrt(), u, 1e-4);
        near(x, number(&published[name]), u);
    }
    let plain = calibrate(&photos, &as_opencv(&[K1, K2, K3, P1, P2])).unwrap();
    let published = &named("least-squares optimum, no distortion")["published"];
    // His skew of 0.05 px is a third of its uncertainty here.
    for (i, name) in names[..4].iter().enumerate() {
        let x = plain.parameters()[i] - if name.ends_with('0') { 0.5 } else { 0.0 };
        near(x, number(&published[*name]), plain.formal[(i, i)].sqrt());
    }
}

/// Photos of a made-up board and camera, turned by the given rotation vectors, 400 mm away.
fn made_up(turns: &[[f64; 3]], noise_px: f64, seed: u64) -> Vec<BoardPhoto> {
    let camera = hoofgeo::lens::Camera {
        focal: 2950.0,
        principal: Point2::new(2040.0, 1490.0),
        distortion: hoofgeo::lens::Distortion { k1: 0.05, k2: -0.1, k3: 0.0, p1: 0.0004, p2: -0.0002 },
    };
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let photo = |(k, turn): (usize, &[f64; 3])| {
        let turn = Rotation3::from_scaled_axis(Vector3::from(*turn));
        let middle = Vector3::new(0.0, 0.0, 400.0);
        let points = (0..54).map(|i| {
            let mm = Point2::new(f64::from(i % 9) * 25.0, f64::from(i / 9) * 25.0);
            let p = turn * Vector3::new(mm.x - 100.0, mm.y - 62.5, 0.0) + middle;
            let mut off = || rng.sample::<f64, _>(rand_distr::StandardNormal) * noise_px;
            BoardPoint { mm, pixel: camera.pixel(Point2::new(p.x / p.z, p.y / p.z)) + Vector2::new(off(), off()) }
        });
        BoardPhoto { name: format!("board-{k}"), frame_px: (4032, 3024), points: points.collect() }
    };
    turns.iter().enumerate().map(photo).collect()
}

const TURNS: [[f64; 3]; 10] = [
    [0.4, 0.0, 0.1],
    [-0.4, 0.1, 0.0],
    [0.0, 0.5, -0.2],
    [0.1, -0.5, 0.3],
    [0.3, 0.3, 1.5],
    [-0.3, 0.4, -1.4],
    [0.4, -0.3, 0.2],
    [0.05, 0.1, 3.0],
    [-0.5, -0.2, 0.8],
    [0.2, 0.6, -0.7],
];

/// Exact corners give the camera back exactly.
#[test]
fn exact_corners() {
    let found = calibrate(&made_up(&TURNS, 0.0, 1), &Options::default()).unwrap();
    let truth = [2950.0, 2950.0, 2040.0, 1490.0, 0.05, -0.1, 0.0, 0.0004, -0.0002];
    for (x, truth) in found.parameters().iter().zip(truth) {
        near(*x, truth, 1e-7 * truth.abs().max(1.0));
    }
}

/// Coverage on independent noise, 200 sets: the formal covariance's normalised squared error has the mean that χ² has, and the
/// one to rely on is on the safe side. Also that no more good photos are lost than the significance says.
#[test]
fn uncertainty_covers_the_error() {
    let truth = [2950.0, 2040.0, 1490.0, 0.05, -0.1, 0.0, 0.0004, -0.0002];
    let free = [0, 2, 3, 4, 5, 6, 7, 8];
    let (mut formal, mut honest, mut lost) = (0.0, 0.0, 0);
    const SETS: u64 = 200;
    for seed in 0..SETS {
        let found = calibrate(&made_up(&TURNS, 0.5, 100 + seed), &Options::default()).unwrap();
        lost += found.left_out.len();
        let x = found.parameters();
        let error = nalgebra::SVector::<f64, 8>::from_fn(|i, _| x[free[i]] - truth[i]);
        let squared = |c: &hoofgeo::calibrate::Covariance| {
            let c = nalgebra::SMatrix::<f64, 8, 8>::from_fn(|i, j| c[(free[i], free[j])]);
            error.dot(&(c.try_inverse().unwrap() * error)) / 8.0
        };
        formal += squared(&found.formal) / SETS as f64;
        honest += squared(&found.covariance) / SETS as f64;
    }
    // The mean of 200 values of χ²(8)/8 is 1 with a standard deviation of √(2/8/200) = 0.035.
    near(formal, 1.0, 0.11);
    assert!((0.3..1.0).contains(&honest), "{honest}");
    // Expected: 2 of 200 sets; 8 has a probability of 0.001.
    assert!(lost < 8, "{lost}");
}

#[track_caller]
fn refused(photos: &[BoardPhoto], says: &str) -> Error {
    let e = calibrate(photos, &Options::default()).unwrap_err();
    assert!(e.to_string().contains(says), "{e}");
    assert!(e.help_text().is_some(), "{e}");
    e
}

#[test]
fn sets_that_cannot_be_calibrated_are_named() {
    let good = made_up(&TURNS, 0.3, 3);
    refused(&good[..3], "needs 4 photos");
    // Only turned about the line of sight, and all tilted alike.
    for tilt in [0.0, 0.5] {
        let turns: Vec<[f64; 3]> = (0..8)
            .map(|i| {
                let about = Rotation3::from_axis_angle(&Vector3::z_axis(), f64::from(i));
                let turn = Rotation3::from_axis_angle(&Vector3::x_axis(), tilt) * about;
                turn.scaled_axis().into()
            })
            .collect();
        let e = calibrate(&made_up(&turns, 0.3, 4), &Options::default()).unwrap_err().to_string();
        assert!(e.contains("angle"), "{e}");
    }
    let mut mixed = good.clone();
    mixed[2].frame_px = (3024, 4032);
    refused(&mixed, "3024 x 4032: board-2");
    // Every photo counted as 6 x 9 instead of 9 x 6.
    let mut wrong = good.clone();
    for photo in &mut wrong {
        for (i, p) in photo.points.iter_mut().enumerate() {
            p.mm = Point2::new((i % 6) as f64 * 25.0, (i / 6) as f64 * 25.0);
        }
    }
    refused(&wrong, "not those of the board");
    let mut mirrored = good.clone();
    for photo in &mut mirrored[..4] {
        photo.points.iter_mut().for_each(|p| p.pixel.x = 4032.0 - p.pixel.x);
    }
    refused(&mirrored, "board-3: it shows the board mirrored");
    // Two zooms, half and half.
    let mut zooms = good.clone();
    for photo in &mut zooms[..5] {
        let centre = Point2::new(2016.0, 1512.0);
        photo.points.iter_mut().for_each(|p| p.pixel = centre + (p.pixel - centre) * 0.6);
    }
    refused(&zooms, "contradict each other");
    let options = Options { hold: vec![(Parameter::Fy, 3000.0)], ..Options::default() };
    assert_eq!(calibrate(&good, &options).unwrap_err().kind(), ErrorKind::Usage);
}
