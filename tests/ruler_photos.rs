//! The ruler reader on real photographs: rows of a chessboard as combs (OpenCV's samples, Debian's package `opencv-doc`, against
//! OpenCV's corners in `fixtures/opencv`), and photographs without any ruler, in which none may be read: OpenCV's samples and those that
//! scikit-image carries. Both are read where they are, and skipped elsewhere.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stderr, reason = "tests")]

mod common;

use common::{fixture, opencv_photographs, rows, skimage_photographs};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::{Acceptance, Mark, Reading, find_metric_with, read_marked_with};
use nalgebra::{Point2, Vector2};
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

/// A numbered graduation that was measured by hand: mm and pixel.
type Numbered = (f64, Point2<f64>);

/// The photographs of rulers by strangers and what is known of them (`../shared/data/real-rulers`); skipped where they are not.
fn strangers_photographs() -> Option<(PathBuf, serde_json::Value)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/data/real-rulers");
    let Ok(text) = std::fs::read_to_string(folder.join("truth.json")) else {
        eprintln!("skipped: ../shared/data/real-rulers is not here");
        return None;
    };
    Some((folder, serde_json::from_str(&text).unwrap()))
}

fn numbered(v: &serde_json::Value) -> Numbered {
    let number = |v: &serde_json::Value| v.as_f64().unwrap();
    (number(&v["mm"]), Point2::new(number(&v["at"][0]), number(&v["at"][1])))
}

/// Label of a place by a reading, mm, and whether that lies among its lines.
fn label_at(reading: &Reading, place: Point2<f64>) -> (f64, bool) {
    let g = &reading.graduations;
    let i = (0..g.len()).min_by(|a, b| (g[*a].at - place).norm().total_cmp(&(g[*b].at - place).norm())).unwrap();
    let near = &g[i.saturating_sub(3)..(i + 4).min(g.len())];
    let (first, last) = (near[0], near[near.len() - 1]);
    let step = (last.at - first.at) / (last.mm - first.mm);
    let normal = Vector2::new(-g[i].direction.y, g[i].direction.x);
    let off = (place - g[i].at).dot(&normal) / step.dot(&normal);
    let among = off.abs() < 1.5 * reading.step_mm && (place - g[i].at).norm() < 12.0 * reading.evidence.period_px;
    (g[i].mm + off, among)
}

fn grey(path: &std::path::Path) -> Grey {
    Grey::of(&hoofgeo::photo::decode_upright(path).unwrap())
}

/// Twenty rulers of strangers, two numbered graduations of each measured by hand: what is found, and what is read between the two marks,
/// has their scale; a mark called 10 mm too much or too little never leads to a reading.
#[test]
fn rulers_of_strangers_are_read_right_or_refused() {
    let Some((folder, truth)) = strangers_photographs() else { return };
    let photos = truth["photos"].as_array().unwrap();
    let counts: Vec<[usize; 3]> = photos
        .par_iter()
        .enumerate()
        .map(|(i, photo)| {
            let name = photo["file"].as_str().unwrap();
            let grey = grey(&folder.join("photos").join(name));
            let ends = [numbered(&photo["a"]), numbered(&photo["b"])];
            let length = (ends[1].0 - ends[0].0).abs();
            let check = |reading: &Reading| {
                let [a, b] = ends.map(|(_, at)| label_at(reading, at));
                let error = (b.0 - a.0).abs() / length - 1.0;
                // From the other edge, or far beyond the last line, the label is drawn out along a straight line: that shows a wrong count
                // or a wrong unit alone.
                let allowed = if a.1 && b.1 { 0.003 } else { 0.05 };
                assert!(error.abs() < allowed, "{name}: {error}");
            };
            let found = find_metric_with(&grey, &Acceptance::default());
            found.iter().for_each(check);
            // About a pixel beside, as a person marks.
            let beside = |k: f64| Vector2::new((k * 7.3).sin(), (k * 3.1).cos());
            let marks = |off: f64| {
                let k = i as f64;
                let [(a, at), (b, bt)] = ends;
                [Mark { mm: a, at: at + beside(k) }, Mark { mm: b + off, at: bt + beside(k + 0.5) }]
            };
            let marked = read_marked_with(&grey, marks(0.0), &Acceptance::default());
            marked.iter().for_each(check);
            let mut noticed = 0;
            for off in [10.0, -10.0] {
                let wrong = read_marked_with(&grey, marks(off), &Acceptance::default());
                let e = wrong.expect_err(name);
                noticed += usize::from(e.kind() == hoofgeo::ErrorKind::Scale);
            }
            [usize::from(found.is_ok()), usize::from(marked.is_ok()), noticed]
        })
        .collect();
    let [found, marked, noticed] = [0, 1, 2].map(|i| counts.iter().map(|c| c[i]).sum::<usize>());
    eprintln!(
        "{found} of {} found, {marked} read between marks, {noticed} of {} wrong labels noticed",
        photos.len(),
        2 * photos.len()
    );
    assert!(found >= 16 && marked >= 16, "{found} {marked}");
}

/// Thirty-six more rulers of strangers that nobody measured: as many are read as were looked at by eye and found right.
#[test]
fn rulers_of_strangers_that_nobody_measured_are_read() {
    let Some((folder, truth)) = strangers_photographs() else { return };
    let photos = truth["rulers_without_points"].as_array().unwrap();
    let read = photos.par_iter().filter(|photo| {
        let grey = grey(&folder.join("photos").join(photo["file"].as_str().unwrap()));
        find_metric_with(&grey, &Acceptance::default()).is_ok()
    });
    let read = read.count();
    eprintln!("{read} of {}", photos.len());
    assert!(read >= 22, "{read}");
}

/// Sixty-one photographs of strangers that show no ruler, some things that look like one: nothing is read.
#[test]
fn nothing_is_read_where_strangers_photographed_no_ruler() {
    let Some((folder, truth)) = strangers_photographs() else { return };
    truth["without_ruler"].as_array().unwrap().par_iter().for_each(|photo| {
        let name = photo["file"].as_str().unwrap();
        if let Ok(reading) = find_metric_with(&grey(&folder.join("without-ruler").join(name)), &Acceptance::default()) {
            panic!("{name}: {:?} {:?}", reading.pattern, reading.evidence);
        }
    });
}
