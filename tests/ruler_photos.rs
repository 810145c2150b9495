//! The ruler reader on real photographs: rows of a chessboard read as a comb (OpenCV's samples, Debian's package `opencv-doc`, against
//! OpenCV's corners in `fixtures/opencv`), and photographs without any ruler, in which none may be read: OpenCV's samples and those that
//! scikit-image carries. Both are read where they are, and skipped elsewhere.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stderr, reason = "tests")]

mod common;

use common::{fixture, rows};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::{Acceptance, Mark, find_metric_with, read_marked_with};
use nalgebra::Point2;
use rayon::prelude::*;
use std::path::PathBuf;
use std::process::Command;

/// The folder of OpenCV's photographs: `HOOFGEO_OPENCV_DATA`, or where the package puts them.
fn opencv_folder() -> Option<PathBuf> {
    let given = std::env::var_os("HOOFGEO_OPENCV_DATA").map(PathBuf::from);
    let found = given.into_iter().chain([PathBuf::from("/usr/share/doc/opencv-doc/examples/data")]);
    let found = found.into_iter().find(|f| f.join("left01.jpg").is_file());
    if found.is_none() {
        eprintln!("skipped: the package opencv-doc is not installed");
    }
    found
}

/// The folder of scikit-image's photographs, by the Python that `HOOFGEO_PYTHON` names.
fn skimage_folder() -> Option<PathBuf> {
    const SAY: &str = "import skimage, os; print(os.path.join(os.path.dirname(skimage.__file__), 'data'), end='')";
    let python = std::env::var_os("HOOFGEO_PYTHON");
    let said = python.and_then(|p| Command::new(p).args(["-c", SAY]).output().ok());
    let found = said.map(|o| PathBuf::from(String::from_utf8_lossy(&o.stdout).as_ref()));
    let found = found.filter(|f| f.join("brick.png").is_file());
    if found.is_none() {
        eprintln!("skipped: HOOFGEO_PYTHON names no Python that has scikit-image");
    }
    found
}

/// How steep the brightness is, softened: the edges between black and white squares become dark lines, one a square, as broad against
/// their distance as a ruler's.
fn edges(grey: &Grey) -> Grey {
    let smooth = grey.smoothed(1.0);
    let (w, h) = (i64::from(grey.width()), i64::from(grey.height()));
    let steep = |x: i64, y: i64| {
        let dx = smooth.at(x + 1, y) - smooth.at(x - 1, y);
        let dy = smooth.at(x, y + 1) - smooth.at(x, y - 1);
        (255.0 - dx.hypot(dy)) as f32
    };
    let values = (0..h).flat_map(|y| (0..w).map(move |x| (x, y))).map(|(x, y)| steep(x, y)).collect();
    Grey::from_values(grey.width(), grey.height(), values).unwrap().smoothed(4.0)
}

/// One row of squares alone, by the middles of its edges: what lies further from their way than `reach` px is blank.
fn row_alone(edges: &Grey, middles: &[Point2<f64>], reach: f64) -> Grey {
    let end = |a: Point2<f64>, b: Point2<f64>| a + (a - b);
    let n = middles.len();
    let mut way = vec![end(middles[0], middles[1])];
    way.extend(middles);
    way.push(end(middles[n - 1], middles[n - 2]));
    let off = |p: Point2<f64>| {
        way.windows(2)
            .map(|s| {
                let along = s[1] - s[0];
                let t = ((p - s[0]).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
                (p - (s[0] + along * t)).norm()
            })
            .fold(f64::INFINITY, f64::min)
    };
    let low = way.iter().map(|p| p.y).fold(f64::INFINITY, f64::min) - reach;
    let high = way.iter().map(|p| p.y).fold(0.0, f64::max) + reach;
    let mut values = vec![255.0; edges.values().len()];
    for (i, value) in values.iter_mut().enumerate() {
        let (x, y) = (i as u32 % edges.width(), i as u32 / edges.width());
        let p = Point2::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
        if (low..high).contains(&p.y) && off(p) < reach {
            *value = edges.values()[i];
        }
    }
    Grey::from_values(edges.width(), edges.height(), values).unwrap()
}

/// Rows of the board between its first and its last corner: ten squares, so that the two outer edges and nine inner ones are lines, 22 to
/// 48 px apart. Every line read must lie on OpenCV's corner of its number.
#[test]
fn rows_of_a_real_chessboard_are_read_between_two_marks() {
    let Some(folder) = opencv_folder() else { return };
    let boards = fixture("opencv/board_corners.json");
    // A board has fewer lines than a ruler.
    let limits = Acceptance { lines_marked: 8, ..Acceptance::default() };
    let read: Vec<(String, Vec<f64>, Vec<String>)> = boards
        .par_iter()
        .map(|board| {
            let name = board["id"].as_str().unwrap();
            let picture = image::open(folder.join(format!("{name}.jpg"))).unwrap().into_luma8();
            let values = picture.as_raw().iter().map(|v| f32::from(*v)).collect();
            let grey = edges(&Grey::from_values(picture.width(), picture.height(), values).unwrap());
            let corners: Vec<Point2<f64>> =
                rows(&board["subpix"]).iter().map(|c| Point2::new(c[0] + 0.5, c[1] + 0.5)).collect();
            let (mut off, mut refused) = (Vec::new(), Vec::new());
            for row in 0..5 {
                // Halfway between two rows of corners, beside the edges of one row of squares.
                let middle = |i: usize| {
                    let (a, b) = (corners[row * 9 + i], corners[(row + 1) * 9 + i]);
                    Point2::from(0.5 * (a.coords + b.coords))
                };
                let middles: Vec<Point2<f64>> = (0..9).map(middle).collect();
                let grey = row_alone(&grey, &middles, 0.42 * (corners[row * 9 + 13] - corners[row * 9 + 4]).norm());
                let marks = [Mark { mm: 0.0, at: middle(0) }, Mark { mm: 8.0, at: middle(8) }];
                match read_marked_with(&grey, marks, &limits) {
                    Ok(reading) => {
                        for g in reading.graduations.iter().filter(|g| (-0.1..8.1).contains(&g.mm)) {
                            let i = g.mm.round() as usize;
                            let (a, b) = (corners[row * 9 + i], corners[(row + 1) * 9 + i]);
                            let along = (b - a).normalize();
                            off.push((g.at - a).x * along.y - (g.at - a).y * along.x);
                        }
                    }
                    Err(e) => refused.push(format!("row {row}: {e}")),
                }
            }
            (name.to_owned(), off, refused)
        })
        .collect();
    let mut all = Vec::new();
    for (name, off, refused) in &read {
        eprintln!("{name}: {} lines, {:.3} px RMS; {refused:?}", off.len(), rms(off));
        all.extend(off);
    }
    eprintln!("{} lines, {:.3} px RMS", all.len(), rms(&all));
    assert!(all.len() > 300 && rms(&all) < 0.5, "{} lines, {} px", all.len(), rms(&all));
}

fn rms(v: &[f64]) -> f64 {
    (v.iter().map(|x| x * x).sum::<f64>() / v.len().max(1) as f64).sqrt()
}

/// Photographs of boards, bricks, grass, pages of text, coins, faces, graphs: nothing in them is read as a ruler, at the usual limits and
/// at half the usual margin.
#[test]
fn no_ruler_is_read_where_there_is_none() {
    let limits = Acceptance::default();
    let limits = Acceptance { margin: 0.5 * limits.margin, ..limits };
    let mut photographs: Vec<PathBuf> = [opencv_folder(), skimage_folder()]
        .into_iter()
        .flatten()
        .flat_map(|folder| std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()))
        .filter(|p| p.extension().is_some_and(|e| ["jpg", "png"].iter().any(|known| e == *known)))
        .collect();
    photographs.sort();
    let seen: usize = photographs
        .par_iter()
        .map(|path| {
            let Ok(picture) = image::open(path) else { return 0 };
            if let Ok(reading) = find_metric_with(&Grey::of(&picture.into_rgb8()), &limits) {
                panic!("{}: {:?} {:?}", path.display(), reading.pattern, reading.evidence);
            }
            1
        })
        .sum();
    eprintln!("{seen} photographs");
}
