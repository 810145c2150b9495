//! Rectifying a 12-megapixel photo on two threads.
//!
//! The peers run beside it: `imageproc`'s warp here, and OpenCV through `benches/peers/opencv_rectify.py` where `HOOFGEO_PYTHON` names a
//! Python that has `opencv-python-headless`; elsewhere it is skipped.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, reason = "bench")]

mod common;

use common::{SIZE, photo, ppm};
use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::measured::MeasureOptions;
use hoofgeo::rectify::{Kernel, Rectified, RectifyOptions, draw, rectify};
use hoofgeo::scene::LensPrior;
use hoofgeo::scene::params::{
    DISTORTION, LN_FOCAL, LN_MAGNIFICATION, PIVOT, PRINCIPAL, TILT_X, TILT_Y, UNKNOWNS, View3,
};
use hoofgeo::sidecar::Sidecar;
use image::{Rgb, RgbImage};
use imageproc::geometric_transformations::{Border, Interpolation, Projection, warp_into};
use nalgebra::{Matrix3, Point2, SMatrix};
use serde_json::json;
use std::hint::black_box;

const THREADS: usize = 2;

/// A square that fills the frame, the camera tilted by 8° and 6°, a lens with 4 % of distortion: the picture has about the photo's size.
fn case() -> Rectified {
    let mut x = [0.0; UNKNOWNS];
    (x[LN_FOCAL], x[LN_MAGNIFICATION]) = (3100f64.ln(), 15f64.ln());
    (x[PRINCIPAL], x[PRINCIPAL + 1], x[PIVOT], x[PIVOT + 1]) = (2016.0, 1512.0, 2016.0, 1512.0);
    (x[TILT_X], x[TILT_Y], x[DISTORTION]) = (8f64.to_radians(), -6f64.to_radians(), -0.04);
    let view = View3::new(&x, Point2::new(110.0, 75.0));
    let at = |x: f64, y: f64| {
        let p = view.graduation_pixel(Point2::new(x, y)).unwrap();
        format!("[{}, {}]", p.x, p.y)
    };
    let mark = |x: f64, y: f64| format!(r#"{{ "mm": [{x}, {y}], "at": {} }}"#, at(x, y));
    let text = format!(
        r#"{{ "format": "hoofgeo-sidecar/1", "photo": {{ "file": "a.jpg", "width_px": {}, "height_px": {} }},
        "subject": {{ "foot": "LF" }}, "view": "lateral", "side": "lateral",
        "scale": {{ "kind": "square_ruler", "points": [{}] }},
        "landmarks": {{ "toe_ground": {{ "at": {} }}, "heel_ground": {{ "at": {} }}, "toe_coronet": {{ "at": {} }} }} }}"#,
        SIZE.0,
        SIZE.1,
        [mark(0.0, 0.0), mark(100.0, 0.0), mark(220.0, 0.0), mark(0.0, 70.0), mark(0.0, 150.0)].join(", "),
        at(30.0, 20.0),
        at(200.0, 20.0),
        at(90.0, 140.0)
    );
    let sidecar = Sidecar::parse(&text, None).unwrap();
    let mut covariance = SMatrix::<f64, 8, 8>::identity() * 1e-8;
    (covariance[(0, 0)], covariance[(1, 1)], covariance[(2, 2)]) = (2500.0, 2500.0, 2500.0);
    let lens = LensPrior::profile([3100.0, 2016.0, 1512.0, -0.04, 0.01, 0.0, 0.0, 0.0], &covariance);
    let options = RectifyOptions { px_per_mm: Some(15.0), ..RectifyOptions::default() };
    rectify(&sidecar, &lens, &MeasureOptions::default(), &options, "flat.jpg").unwrap()
}

/// The homography from the photo without its lens to the picture, from four of the picture's places.
fn homography(r: &Rectified) -> Matrix3<f64> {
    let (w, h) = (f64::from(r.sheet.size.0), f64::from(r.sheet.size.1));
    let places = [(0.2, 0.2), (0.8, 0.2), (0.8, 0.8), (0.2, 0.8)].map(|(x, y)| Point2::new(w * x, h * y));
    let photo = places.map(|p| r.sheet.source(p).unwrap());
    hoofgeo::scene::pose::homography(&photo, &places).unwrap()
}

fn rectification(c: &mut Criterion) {
    rayon::ThreadPoolBuilder::new().num_threads(THREADS).build_global().unwrap();
    let (photo, rectified) = (photo(), case());
    println!("photo {} x {}, picture {} x {}", SIZE.0, SIZE.1, rectified.sheet.size.0, rectified.sheet.size.1);
    opencv(&photo, &rectified);
    let mut group = c.benchmark_group("rectify_12mp");
    group.sample_size(20);
    for kernel in [Kernel::Bilinear, Kernel::Bicubic] {
        let options = RectifyOptions { kernel, ..RectifyOptions::default() };
        group.bench_function(format!("{kernel:?}"), |b| b.iter(|| draw(black_box(&photo), &rectified, &options)));
    }
    let h = homography(&rectified);
    let projection = Projection::from_matrix(std::array::from_fn(|i| h[(i / 3, i % 3)] as f32)).unwrap();
    for (name, interpolation) in [("bilinear", Interpolation::Bilinear), ("bicubic", Interpolation::Bicubic)] {
        group.sample_size(10).bench_function(format!("imageproc warp, {name}, lens left in"), |b| {
            let mut out = RgbImage::new(rectified.sheet.size.0, rectified.sheet.size.1);
            b.iter(|| {
                warp_into(black_box(&photo), projection, interpolation, Border::Constant(Rgb([255; 3])), &mut out)
            });
        });
    }
    group.finish();
}

/// OpenCV on the same photo, camera and picture; prints its figures.
fn opencv(photo: &RgbImage, r: &Rectified) {
    let file = ppm(photo);
    let new = r.sheet.camera();
    // OpenCV's pixels have their centres on whole numbers.
    let matrix = |f: f64, x: f64, y: f64| [[f, 0.0, x - 0.5], [0.0, f, y - 0.5], [0.0, 0.0, 1.0]];
    let k = Matrix3::new(3100.0, 0.0, 2016.0, 0.0, 3100.0, 1512.0, 0.0, 0.0, 1.0);
    let k_new = Matrix3::new(new.focal, 0.0, new.principal.x, 0.0, new.focal, new.principal.y, 0.0, 0.0, 1.0);
    // The rotation is what is left of the homography; the lens bends it a little, which changes no time.
    let rotation = k_new.try_inverse().unwrap() * homography(r) * k;
    let svd = rotation.svd(true, true);
    let rotation = svd.u.unwrap() * svd.v_t.unwrap();
    let rotation = rotation * rotation.determinant().signum();
    let rotation = [0, 1, 2].map(|i| [0, 1, 2].map(|j| rotation[(i, j)]));
    let case = json!({
        "threads": THREADS, "photo": file.path(), "camera": matrix(3100.0, 2016.0, 1512.0),
        "distortion": [-0.04, 0.01, 0.0, 0.0, 0.0],
        "rotation": rotation,
        "new_camera": matrix(new.focal, new.principal.x, new.principal.y),
        "size": [r.sheet.size.0, r.sheet.size.1],
    });
    common::peer("opencv_rectify.py", case.to_string());
}

criterion_group!(benches, rectification);
criterion_main!(benches);
