//! Corners of OpenCV's sample photographs (Debian's package `opencv-doc`, read where it is installed) and the calibration from
//! them, against OpenCV's own (`fixtures/opencv/SOURCE.md`); rendered boards, whose corners are known.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{case, fixture, near, numbers, rows};
use hoofgeo::ErrorKind;
use hoofgeo::calibrate::{BoardPhoto, Chessboard, Options, Paper, calibrate, find_chessboard};
use hoofgeo::scene::pose::homography;
use nalgebra::{Matrix3, Point2};

const BOARD: Chessboard = Chessboard { columns: 9, rows: 6, square_mm: 25.0 };

fn photograph(folder: &std::path::Path, name: &str) -> hoofgeo::Result<BoardPhoto> {
    let image = image::open(folder.join(format!("{name}.jpg"))).unwrap().into_luma8();
    find_chessboard(name, image.dimensions(), image.as_raw(), &BOARD)
}

#[test]
fn opencv_photographs() {
    let Some(folder) = common::opencv_photographs() else { return };
    let (mut square, mut count) = (0.0, 0);
    for side in ["left", "right"] {
        let mut photos = Vec::new();
        for c in fixture("opencv/board_corners.json") {
            let name = c["id"].as_str().unwrap();
            if !name.starts_with(side) {
                continue;
            }
            let photo = photograph(&folder, name).unwrap();
            assert_eq!(photo.points.len(), 54, "{name}");
            // The nearest of OpenCV's corners: where the board begins is left open.
            let opencv = rows(&c["subpix"]);
            for p in &photo.points {
                let off = opencv.iter().map(|q| (p.pixel - Point2::new(q[0] + 0.5, q[1] + 0.5)).norm_squared());
                square += off.fold(f64::INFINITY, f64::min);
                count += 1;
            }
            photos.push(photo);
        }
        // All nine parameters within three standard uncertainties of those from OpenCV's corners.
        let options = Options { square_pixels: false, significance: 0.0, ..Options::default() };
        let found = calibrate(&photos, &options).unwrap();
        let expected = &case("opencv/calibration.json", &format!("{side} subpix 5coef"))["expected"];
        let (k, d) = (rows(&expected["K"]), numbers(&expected["dist"]));
        let theirs = [k[0][0], k[1][1], k[0][2] + 0.5, k[1][2] + 0.5, d[0], d[1], d[4], d[2], d[3]];
        for (i, theirs) in theirs.into_iter().enumerate() {
            near(found.parameters()[i], theirs, 3.0 * found.standard_uncertainty()[i]);
        }
        assert!(found.rms_px < 0.21, "{}", found.rms_px);
    }
    assert_eq!(count, 26 * 54);
    // OpenCV's two detectors differ by 0.14 to 0.47 px RMS on a photo.
    let rms = (square / f64::from(count)).sqrt();
    assert!(rms < 0.2, "{rms}");
}

/// A rendered board: eight samples a pixel each way through a homography.
fn rendered(map: Matrix3<f64>, (w, h): (u32, u32), samples: u32) -> Vec<u8> {
    let back = map.try_inverse().unwrap();
    let mut pixels = Vec::with_capacity((w * h) as usize);
    for y in 0..h {
        for x in 0..w {
            let mut white = 0;
            for s in 0..samples * samples {
                let (dx, dy) = (f64::from(s % samples) + 0.5, f64::from(s / samples) + 0.5);
                let at = Point2::new(f64::from(x) + dx / f64::from(samples), f64::from(y) + dy / f64::from(samples));
                let p = back.transform_point(&at);
                // Ten by seven squares; the corner of the first inner corner is (0, 0).
                let inside = (-1.0..9.0).contains(&p.x) && (-1.0..6.0).contains(&p.y);
                white += u32::from(!inside || (p.x.floor() + p.y.floor()).rem_euclid(2.0) == 1.0);
            }
            pixels.push((30 + 200 * white / (samples * samples)) as u8);
        }
    }
    pixels
}

/// Upright, lying on its side and in perspective, small and reduced from a larger frame, found where it was drawn.
#[test]
fn rendered_boards() {
    let maps = [
        (Matrix3::new(50.0, 6.0, 110.3, -5.0, 48.0, 120.7, 0.01, -0.008, 1.0), (640, 480), 8),
        (Matrix3::new(6.0, -50.0, 480.2, 47.0, 5.0, 40.6, 0.008, 0.006, 1.0), (640, 480), 8),
        (Matrix3::new(190.0, 20.0, 900.0, -18.0, 200.0, 800.0, 0.006, 0.008, 1.0), (3264, 2448), 2),
    ];
    for (map, frame, samples) in maps {
        let photo = find_chessboard("board.png", frame, &rendered(map, frame, samples), &BOARD).unwrap();
        // Counted in order and not mirrored: one homography takes the board to the photo, the way round it was drawn.
        let (mm, pixels): (Vec<_>, Vec<_>) = photo.points.iter().map(|p| (p.mm, p.pixel)).unzip();
        let h = homography(&mm, &pixels).unwrap();
        assert!(h.determinant() * h[(2, 2)] > 0.0);
        for (m, p) in mm.iter().zip(&pixels) {
            assert!((h.transform_point(m) - p).norm() < 1.0, "{m} {p}");
        }
        let factor = f64::from(frame.0.div_ceil(1600));
        for p in &photo.points {
            let corners = (0..54).map(|i| map.transform_point(&Point2::new(f64::from(i % 9), f64::from(i / 9))));
            let off = corners.map(|c| (c - p.pixel).norm()).fold(f64::INFINITY, f64::min);
            // 0.03 px RMS is usual on blurred boards (2-D); unblurred ones are harder. Reduced photos are refined at full size: in
            // px of the reduced one that is less still.
            assert!(off < if factor > 1.0 { 0.05 * factor } else { 0.15 }, "{off} at {}", p.pixel);
        }
    }
}

#[test]
fn what_is_no_board_is_refused() {
    let map = Matrix3::new(50.0, 6.0, 110.3, -5.0, 48.0, 120.7, 0.01, -0.008, 1.0);
    let pixels = rendered(map, (640, 480), 4);
    let wrong = Chessboard { columns: 8, ..BOARD };
    let e = find_chessboard("a.jpg", (640, 480), &pixels, &wrong).unwrap_err();
    assert!(
        e.kind() == ErrorKind::Photo && e.to_string().contains("9 x 6 inner corners were found, the board has 8 x 6"),
        "{e}"
    );
    let e = find_chessboard("a.jpg", (640, 480), &[128; 640 * 480], &BOARD).unwrap_err();
    assert!(e.to_string().contains("no chessboard"), "{e}");
    assert_eq!(find_chessboard("a.jpg", (640, 481), &pixels, &BOARD).unwrap_err().kind(), ErrorKind::Usage);
}

/// The sheet to print, drawn by an SVG renderer at 150 dpi, shows the board that it says, in true size.
#[test]
fn a_printed_board_is_found() {
    for (paper, board) in [(Paper::A4, BOARD), (Paper::Letter, Chessboard { columns: 7, rows: 5, square_mm: 30.0 })] {
        let sheet = board.sheet(paper).unwrap();
        let options = resvg::usvg::Options { dpi: 150.0, ..Default::default() };
        let tree = resvg::usvg::Tree::from_str(&sheet.to_svg(), &options).unwrap();
        let size = tree.size().to_int_size();
        let mut canvas = resvg::tiny_skia::Pixmap::new(size.width(), size.height()).unwrap();
        resvg::render(&tree, Default::default(), &mut canvas.as_mut());
        let brightness: Vec<u8> = canvas.pixels().iter().map(|p| p.red()).collect();
        let photo = find_chessboard("board.svg", (size.width(), size.height()), &brightness, &board).unwrap();
        let (mm, pixels): (Vec<_>, Vec<_>) = photo.points.iter().map(|p| (p.mm, p.pixel)).unzip();
        let end = mm.len() - 1;
        let scale = (pixels[end] - pixels[0]).norm() / (mm[end] - mm[0]).norm();
        near(scale, 150.0 / 25.4, 0.002);
        let middle = pixels.iter().map(|p| p.coords).sum::<nalgebra::Vector2<f64>>() / mm.len() as f64;
        near(middle.x, f64::from(size.width()) / 2.0, 1.0);
    }
}
