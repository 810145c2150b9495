//! The ruler reader on real photographs: rows of a chessboard as combs (OpenCV's samples, Debian's package `opencv-doc`, against
//! OpenCV's corners in `fixtures/opencv`), and photographs without any ruler, in which none may be read: OpenCV's samples and those that
//! scikit-image carries. Both are read where they are, and skipped elsewhere.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stderr, reason = "tests")]

mod common;

use common::{fixture, opencv_photographs, rows, skimage_photographs};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::{Acceptance, Mark, find_metric_with, read_marked_with};
use nalgebra::Point2;
use rayon::prelude::*;
use std::path::PathBuf;

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

/// Rows of the board between its first and its last corner: the two outer edges and nine inner ones are lines, 22 to 48 px apart. They are
/// fewer than the reader needs to follow a comb, and in these photos strongly bent and in perspective: it must refuse them, or else read
/// every line where OpenCV has the corner of its number. A count that is one off is always refused.
#[test]
fn rows_of_a_real_chessboard_are_refused_or_right() {
    let Some(folder) = opencv_photographs() else { return };
    let boards = fixture("opencv/board_corners.json");
    // A board has fewer lines than a ruler.
    let limits = Acceptance { lines_marked: 8, ..Acceptance::default() };
    let read: usize = boards
        .par_iter()
        .map(|board| {
            let name = board["id"].as_str().unwrap();
            let picture = image::open(folder.join(format!("{name}.jpg"))).unwrap().into_luma8();
            let values = picture.as_raw().iter().map(|v| f32::from(*v)).collect();
            let edges = edges(&Grey::from_values(picture.width(), picture.height(), values).unwrap());
            let corners: Vec<Point2<f64>> =
                rows(&board["subpix"]).iter().map(|c| Point2::new(c[0] + 0.5, c[1] + 0.5)).collect();
            let mut read = 0;
            for row in 0..5 {
                // Halfway between two rows of corners, beside the edges of one row of squares.
                let side = |i: usize| (corners[row * 9 + i], corners[(row + 1) * 9 + i]);
                let middles: Vec<Point2<f64>> = (0..9).map(|i| nalgebra::center(&side(i).0, &side(i).1)).collect();
                let square = (side(4).1 - side(4).0).norm();
                let grey = row_alone(&edges, &middles, 0.42 * square);
                let marks = |mm: f64| [Mark { mm: 0.0, at: middles[0] }, Mark { mm, at: middles[8] }];
                for wrong in [7.0, 9.0] {
                    assert!(read_marked_with(&grey, marks(wrong), &limits).is_err(), "{name} row {row}: {wrong}");
                }
                let Ok(reading) = read_marked_with(&grey, marks(8.0), &limits) else { continue };
                read += 1;
                for g in reading.graduations.iter().filter(|g| (-0.1..8.1).contains(&g.mm)) {
                    let (a, b) = side(g.mm.round() as usize);
                    let along = (b - a).normalize();
                    let off = ((g.at - a).x * along.y - (g.at - a).y * along.x).abs();
                    assert!(off < 0.1 * square, "{name} row {row}, {} squares: {off} px", g.mm);
                }
            }
            read
        })
        .sum();
    eprintln!("{read} of {} rows read", 5 * boards.len());
}

/// Photographs of boards, bricks, grass, pages of text, coins, faces, graphs: nothing in them is read as a ruler, at the usual limits and
/// at half the usual margin.
#[test]
fn no_ruler_is_read_where_there_is_none() {
    let limits = Acceptance::default();
    let limits = Acceptance { margin: 0.5 * limits.margin, ..limits };
    let mut photographs: Vec<PathBuf> = [opencv_photographs(), skimage_photographs()]
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
