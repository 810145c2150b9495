//! Projection, undistortion, homography and planar pose against OpenCV, on made-up points and on OpenCV's own photographs.
//!
//! Provenance: `fixtures/opencv/SOURCE.md`. Coordinates stay in OpenCV's pixel convention throughout: both conventions differ
//! by a constant shift, which the principal point carries.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{agrees, case, fixture, near, number, numbers, rows};
use hoofgeo::lens::Distortion;
use hoofgeo::numeric::{LeastSquares, Options, Real, constant, covariance, minimise};
use hoofgeo::scene::pose::{PlanarPose, homography, planar_poses};
use nalgebra::{DMatrix, Matrix3, Point2, Rotation3, Vector3};
use num_dual::Dual64;
use serde_json::Value;

/// OpenCV's camera, whose pixels need not be square.
#[derive(Clone, Copy)]
struct Camera<T> {
    focal: [T; 2],
    principal: [T; 2],
    distortion: Distortion<T>,
}

impl<T: Real> Camera<T> {
    fn new(k: &Value, dist: &Value) -> Self {
        let k = rows(k);
        let c = constant::<T>;
        let d = numbers(dist);
        // OpenCV's order is k1 k2 p1 p2 k3; more coefficients belong to other models.
        assert!(d.len() <= 5, "{} coefficients", d.len());
        let d = |i: usize| c(d.get(i).copied().unwrap_or(0.0));
        let distortion = Distortion { k1: d(0), k2: d(1), p1: d(2), p2: d(3), k3: d(4) };
        Self { focal: [c(k[0][0]), c(k[1][1])], principal: [c(k[0][2]), c(k[1][2])], distortion }
    }

    fn pixel(&self, camera_point: Vector3<T>) -> [T; 2] {
        let p = self.distortion.apply(Point2::new(camera_point.x / camera_point.z, camera_point.y / camera_point.z));
        [self.principal[0] + self.focal[0] * p.x, self.principal[1] + self.focal[1] * p.y]
    }
}

impl Camera<f64> {
    fn distorted(&self, pixel: &[f64]) -> Point2<f64> {
        Point2::new((pixel[0] - self.principal[0]) / self.focal[0], (pixel[1] - self.principal[1]) / self.focal[1])
    }

    fn undistort(&self, pixel: &[f64]) -> Point2<f64> {
        self.distortion.remove(self.distorted(pixel)).unwrap()
    }
}

fn vector(v: &Value) -> Vector3<f64> {
    Vector3::from_row_slice(&numbers(v))
}

fn points(v: &Value) -> Vec<Point2<f64>> {
    rows(v).iter().map(|p| Point2::new(p[0], p[1])).collect()
}

/// Rotation by a rotation vector, after Rodrigues, generic so that it can be differentiated.
fn rotate<T: Real>(r: [T; 3], p: &[f64]) -> Vector3<T> {
    let p = Vector3::new(constant::<T>(p[0]), constant(p[1]), constant(p.get(2).copied().unwrap_or(0.0)));
    let r = Vector3::new(r[0], r[1], r[2]);
    let angle = r.dot(&r).sqrt();
    let axis = r / angle;
    p * angle.cos() + axis.cross(&p) * angle.sin() + axis * (axis.dot(&p) * (T::one() - angle.cos()))
}

#[test]
fn projection() {
    let mut compared = 0;
    for id in ["none", "k1k2p1p2", "k1k2p1p2k3"] {
        let c = case("opencv/projection.json", &format!("projectPoints {id}"));
        let camera = Camera::<f64>::new(&c["inputs"]["K"], &c["inputs"]["dist"]);
        let rotation = Rotation3::from_scaled_axis(vector(&c["inputs"]["rvec"]));
        for (object, image) in rows(&c["inputs"]["object_points"]).iter().zip(rows(&c["expected"]["image_points"])) {
            let pixel = camera.pixel(rotation * Vector3::from_row_slice(object) + vector(&c["inputs"]["tvec"]));
            for i in 0..2 {
                agrees(pixel[i], image[i], 1e-12); // both sides are closed forms: rounding alone
            }
            compared += 1;
        }
    }
    assert_eq!(compared, 36);
}

/// OpenCV's derivatives of projected points by pose, camera matrix and distortion, against dual numbers through our lens.
#[test]
fn projection_derivatives() {
    let c = case("opencv/projection.json", "projectPoints k1k2p1p2k3");
    let k = rows(&c["inputs"]["K"]);
    let mut x = numbers(&c["inputs"]["rvec"]);
    x.extend(numbers(&c["inputs"]["tvec"]));
    x.extend([k[0][0], k[1][1], k[0][2], k[1][2]]);
    x.extend(numbers(&c["inputs"]["dist"]));
    let jacobian = rows(&c["expected"]["jacobian"]);
    let project = |x: &[Dual64], p: &[f64]| {
        let camera = Camera {
            focal: [x[6], x[7]],
            principal: [x[8], x[9]],
            distortion: Distortion { k1: x[10], k2: x[11], p1: x[12], p2: x[13], k3: x[14] },
        };
        camera.pixel(rotate([x[0], x[1], x[2]], p) + Vector3::new(x[3], x[4], x[5]))
    };
    let mut x: Vec<Dual64> = x.into_iter().map(Dual64::from_re).collect();
    assert_eq!((x.len(), jacobian[0].len()), (15, 15));
    for j in 0..15 {
        x[j].eps = 1.0;
        let column = jacobian.iter().map(|r| r[j].abs()).fold(0.0, f64::max);
        for (i, p) in rows(&c["inputs"]["object_points"]).iter().enumerate() {
            for (axis, pixel) in project(&x, p).iter().enumerate() {
                near(pixel.eps, jacobian[2 * i + axis][j], 1e-10 * column);
            }
        }
        x[j].eps = 0.0;
    }
}

#[test]
fn undistortion() {
    let mut compared = 0;
    for c in fixture("opencv/undistortion.json") {
        let expected = &c["expected"];
        let solution =
            ["newton_solution_normalized", "true_normalized"].into_iter().find(|n| !expected[*n].is_null()).unwrap();
        let camera = Camera::<f64>::new(&c["inputs"]["K"], &c["inputs"]["dist"]);
        for (pixel, p) in rows(&c["inputs"]["image_points"]).iter().zip(rows(&expected[solution])) {
            let q = camera.undistort(pixel);
            for i in 0..2 {
                // 1e-6 px was asked for; Newton's method gives the last digits, also in the corner of a whole frame.
                near(q[i] * camera.focal[i], p[i] * camera.focal[i], 1e-9);
            }
            compared += 1;
        }
    }
    assert_eq!(compared, 12 + 12 + 20);
}

#[test]
fn homography_of_exact_points() {
    let c = case("opencv/homography.json", "findHomography exact 4 points");
    let h = homography(&points(&c["inputs"]["src"]), &points(&c["inputs"]["dst"])).unwrap();
    let truth = rows(&c["expected"]["H_true"]);
    let opencv = rows(&c["expected"]["H_opencv"]);
    for i in 0..3 {
        for j in 0..3 {
            agrees(h[(i, j)], truth[i][j], 1e-9);
            // OpenCV rounds the points to single precision, 6e-8; the small perspective terms suffer forty-fold.
            agrees(h[(i, j)], opencv[i][j], 5e-6);
        }
    }

    // The homography of a plane seen in a known pose, from its images of four points.
    let c = case("opencv/homography.json", "plane-to-image homography from pose");
    let camera = Camera::<f64>::new(&c["inputs"]["K"], &Value::Array(Vec::new()));
    let rotation = Rotation3::from_scaled_axis(vector(&c["inputs"]["rvec"]));
    let plane = [(0.0, 0.0), (80.0, 5.0), (90.0, 60.0), (-10.0, 50.0)].map(|(x, y)| Point2::new(x, y));
    let image = plane
        .map(|p| Point2::from(camera.pixel(rotation * Vector3::new(p.x, p.y, 0.0) + vector(&c["inputs"]["tvec"]))));
    let h = homography(&plane, &image).unwrap();
    for (i, row) in rows(&c["expected"]["H"]).iter().enumerate() {
        for (j, expected) in row.iter().enumerate() {
            agrees(h[(i, j)], *expected, 1e-9);
        }
    }
}

#[test]
fn homography_of_noisy_points_is_the_normalised_dlt() {
    let c = case("opencv/homography.json", "findHomography noisy 54 points");
    let h = homography(&points(&c["inputs"]["src"]), &points(&c["inputs"]["dst"])).unwrap();
    let dlt = rows(&c["expected"]["H_dlt_isotropic_normalised"]);
    let (best, cov) = (rows(&c["expected"]["H_least_squares_transfer"]), rows(&c["expected"]["cov_h8"]));
    for i in 0..3 {
        for j in 0..3 {
            agrees(h[(i, j)], dlt[i][j], 1e-7); // the null vector comes from AᵀA, which halves the digits
            if 3 * i + j < 8 {
                // An algebraic estimate, but within half a standard uncertainty of the optimum.
                near(h[(i, j)], best[i][j], 0.5 * cov[3 * i + j][3 * i + j].sqrt());
            }
        }
    }
}

/// Pose of a plane by least squares on pixels: rotation vector and translation.
struct Pose<'a> {
    camera: Camera<f64>,
    plane: &'a [Vec<f64>],
    image: &'a [Vec<f64>],
}

impl LeastSquares for Pose<'_> {
    fn parameters(&self) -> usize {
        6
    }

    fn residuals(&self) -> usize {
        2 * self.plane.len()
    }

    fn evaluate(&self, x: &[f64], residuals: &mut [f64], jacobian: Option<&mut DMatrix<f64>>) -> bool {
        let mut dual: Vec<Dual64> = x.iter().map(|x| Dual64::from_re(*x)).collect();
        let d = &self.camera.distortion;
        let lift = Dual64::from_re;
        let camera = Camera {
            focal: self.camera.focal.map(lift),
            principal: self.camera.principal.map(lift),
            distortion: Distortion { k1: lift(d.k1), k2: lift(d.k2), k3: lift(d.k3), p1: lift(d.p1), p2: lift(d.p2) },
        };
        let pixels = |x: &[Dual64], i: usize| {
            camera.pixel(rotate([x[0], x[1], x[2]], &self.plane[i]) + Vector3::new(x[3], x[4], x[5]))
        };
        for i in 0..self.plane.len() {
            for (axis, pixel) in pixels(&dual, i).into_iter().enumerate() {
                residuals[2 * i + axis] = pixel.re - self.image[i][axis];
            }
        }
        if let Some(jacobian) = jacobian {
            for j in 0..6 {
                dual[j].eps = 1.0;
                for i in 0..self.plane.len() {
                    for (axis, pixel) in pixels(&dual, i).into_iter().enumerate() {
                        jacobian[(2 * i + axis, j)] = pixel.eps;
                    }
                }
                dual[j].eps = 0.0;
            }
        }
        residuals.iter().all(|r| r.is_finite())
    }
}

fn parameters(rotation: &Matrix3<f64>, translation: &Vector3<f64>) -> Vec<f64> {
    let r = Rotation3::from_matrix_unchecked(*rotation).scaled_axis();
    vec![r.x, r.y, r.z, translation.x, translation.y, translation.z]
}

/// As far down as the arithmetic goes.
fn to_the_end() -> Options {
    Options { decrement: 0.0, relative_decrement: 1e-22, ..Options::default() }
}

/// Angle in degrees between two rotations, one of them a rotation vector; by the chord, which resolves the smallest angles.
fn angle_between(rotation: &Matrix3<f64>, vector: Vector3<f64>) -> f64 {
    let chord = (rotation - Rotation3::from_scaled_axis(vector).matrix()).norm() / 8.0_f64.sqrt();
    (2.0 * chord.min(1.0).asin()).to_degrees()
}

/// How far a pose is off: degrees, and mm of the origin.
fn miss(pose: &PlanarPose, expected: &Value) -> (f64, f64) {
    let shift = (pose.translation - vector(&expected["tvec"])).norm();
    (angle_between(&pose.rotation, vector(&expected["rvec"])), shift)
}

#[test]
fn planar_pose_of_exact_points_is_the_truth() {
    for c in fixture("opencv/planar_pose.json") {
        let camera = Camera::<f64>::new(&c["inputs"]["K"], &c["inputs"]["dist"]);
        let image: Vec<_> = rows(&c["inputs"]["image_points_exact"]).iter().map(|p| camera.undistort(p)).collect();
        let poses = planar_poses(&points(&c["inputs"]["object_points"]), &image).unwrap();
        let truth = &c["expected"]["true"];
        let (angle, shift) = poses.iter().map(|p| miss(p, truth)).min_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
        assert!(angle < 1e-6 && shift < 1e-6, "{}: {angle} deg, {shift} mm", c["id"]);
    }
}

#[test]
fn both_poses_of_a_plane() {
    for c in fixture("opencv/planar_pose.json") {
        let camera = Camera::<f64>::new(&c["inputs"]["K"], &c["inputs"]["dist"]);
        let image: Vec<_> = rows(&c["inputs"]["image_points_noisy"]).iter().map(|p| camera.undistort(p)).collect();
        let poses = planar_poses(&points(&c["inputs"]["object_points"]), &image).unwrap();
        let mut taken = Vec::new();
        for ippe in c["expected"]["ippe_two_solutions"].as_array().unwrap() {
            let misses = poses.iter().map(|p| miss(p, ippe)).enumerate();
            let (which, (angle, shift)) = misses.min_by(|a, b| a.1.0.total_cmp(&b.1.0)).unwrap();
            // Both start from a homography, OpenCV from another estimator: they differ by less than a thirtieth of what
            // the noise of 0.25 px leaves uncertain (0.03 to 0.14 degrees).
            assert!(angle < 0.003 && shift < 0.003, "{}: {angle} deg, {shift} mm", c["id"]);
            taken.push(which);
        }
        assert_ne!(taken[0], taken[1], "{}: one pose twice", c["id"]);
    }
}

#[test]
fn refined_planar_pose_and_its_covariance() {
    for c in fixture("opencv/planar_pose.json") {
        let camera = Camera::<f64>::new(&c["inputs"]["K"], &c["inputs"]["dist"]);
        let (plane, image) = (rows(&c["inputs"]["object_points"]), rows(&c["inputs"]["image_points_noisy"]));
        let undistorted: Vec<_> = image.iter().map(|p| camera.undistort(p)).collect();
        let problem = Pose { camera, plane: &plane, image: &image };
        let fits = planar_poses(&points(&c["inputs"]["object_points"]), &undistorted)
            .unwrap()
            .map(|p| minimise(&problem, &parameters(&p.rotation, &p.translation), &to_the_end()));
        let fit = fits.into_iter().min_by(|a, b| a.sum_of_squares.total_cmp(&b.sum_of_squares)).unwrap();
        let best = &c["expected"]["least_squares_noisy"];
        agrees(fit.sum_of_squares, number(&best["sse"]), 1e-10);
        let s2 = fit.sum_of_squares / (2.0 * plane.len() as f64 - 6.0);
        agrees(s2.sqrt(), number(&best["sigma_px"]), 1e-10);
        let cov = covariance(&fit.jacobian).unwrap() * s2;
        let (expected, expected_cov) = (numbers(&best["params"]), rows(&best["cov"]));
        for i in 0..6 {
            let u = expected_cov[i][i].sqrt();
            near(fit.x[i], expected[i], 1e-5 * u); // the reference stopped within 1e-6 of its own uncertainty
            for j in 0..6 {
                near(cov[(i, j)], expected_cov[i][j], 1e-5 * u * expected_cov[j][j].sqrt());
            }
        }
    }
}

/// Real photographs: at the joint optimum of a calibration each view's pose is the optimum for its lens, so fitting the poses
/// alone must give the calibration's poses and residuals back.
#[test]
fn poses_of_the_board_in_real_photographs() {
    let corners = fixture("opencv/board_corners.json");
    let plane: Vec<Vec<f64>> = (0..54).map(|i| vec![f64::from(i % 9) * 25.0, f64::from(i / 9) * 25.0]).collect();
    let flat: Vec<_> = plane.iter().map(|p| Point2::new(p[0], p[1])).collect();
    let mut views = 0;
    for c in fixture("opencv/calibration.json").iter().filter(|c| !c["inputs"].is_null()) {
        let (inputs, expected) = (&c["inputs"], &c["expected"]);
        let camera = Camera::<f64>::new(&expected["K"], &expected["dist"]);
        for (v, view) in inputs["views"].as_array().unwrap().iter().enumerate() {
            let id = format!("{}{}", inputs["side"].as_str().unwrap(), view.as_str().unwrap());
            let found = corners.iter().find(|c| c["id"] == id.as_str()).unwrap();
            // Single precision, as OpenCV had them.
            let image: Vec<Vec<f64>> = rows(&found[inputs["corners"].as_str().unwrap()])
                .iter()
                .map(|p| p.iter().map(|x| f64::from(*x as f32)).collect())
                .collect();
            let undistorted: Vec<_> = image.iter().map(|p| camera.undistort(p)).collect();
            let problem = Pose { camera, plane: &plane, image: &image };
            let fit = planar_poses(&flat, &undistorted)
                .unwrap()
                .map(|p| minimise(&problem, &parameters(&p.rotation, &p.translation), &to_the_end()))
                .into_iter()
                .min_by(|a, b| a.sum_of_squares.total_cmp(&b.sum_of_squares))
                .unwrap();
            let rms = (fit.sum_of_squares / 54.0).sqrt();
            agrees(rms, number(&expected["per_view_rms"][v]), 1e-9);
            let rotation = Rotation3::from_scaled_axis(Vector3::from_row_slice(&fit.x[..3]));
            let angle = angle_between(rotation.matrix(), vector(&expected["rvecs"][v]));
            let shift = (Vector3::from_row_slice(&fit.x[3..]) - vector(&expected["tvecs"][v])).norm();
            // The reference's optimiser stopped within about 1e-9 of its optimum.
            assert!(angle < 1e-6 && shift < 1e-6, "{id}: {angle} deg, {shift} mm");
            views += 1;
        }
    }
    assert_eq!(views, 16 * 13);
}
