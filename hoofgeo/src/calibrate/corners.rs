//! Finding the inner corners of a chessboard in a photo.

use super::refine::refine;
use super::{BoardPhoto, BoardPoint, Chessboard};
use crate::error::{Error, ErrorKind, Result};
use calib_targets_chessboard::{ChessboardDetector, ChessboardParams, DetectorConfig, GrayImageView, detect_corners};
use chess_corners::{ImageRefiner, OnRefinerReject};
use nalgebra::Point2;
use rayon::prelude::*;

/// Larger photos are reduced below this before corners are looked for. At 12 megapixels the detector fails on blurred photos and is
/// twice as far off on sharp ones as at a quarter of the size (measured on rendered boards with known corners). The corners
/// found are then placed at full size in wide windows, which halves the rest (`examples/corners.rs`). Photos that are not reduced
/// stay as found: refining changes nothing for the better on OpenCV's photographs of 640 x 480 px.
const LONGEST_SIDE: u32 = 1600;

/// Why a board was not found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NotFound {
    /// No board at all.
    Nothing,
    /// No whole board, in a photo without a sharp edge.
    Blurred,
    /// A whole board of another size.
    Another {
        /// Its inner corners along the longer side.
        columns: u32,
        /// Along the shorter side.
        rows: u32,
    },
    /// Parts of a board.
    Part {
        /// Corners found.
        corners: usize,
    },
}

impl NotFound {
    pub(super) fn error(self, board: &Chessboard) -> Error {
        let Chessboard { columns, rows, .. } = board;
        let (what, help) = match self {
            Self::Nothing => ("no chessboard found".to_owned(), WHOLE_AND_SHARP),
            Self::Blurred => (
                "the photo is blurred: the board was not found whole".to_owned(),
                "hold still and let the camera focus on the board, in more light",
            ),
            Self::Another { columns: c, rows: r } => (
                format!("{c} x {r} inner corners were found, the board has {columns} x {rows}"),
                "count the print's inner corners, one less than squares, and state that size; or show the whole board",
            ),
            Self::Part { corners } => {
                (format!("{corners} of the board's {} inner corners were found", columns * rows), WHOLE_AND_SHARP)
            }
        };
        Error::new(ErrorKind::Photo, what).help(help)
    }
}

const WHOLE_AND_SHARP: &str = "the whole board has to be in the photo, sharp and evenly lit, with a white border; count its inner \
                               corners, one less than squares";

/// Finds a chessboard's inner corners in an upright photo's brightness, row by row, one byte a pixel.
///
/// All corners must be seen. Which of its corners the board begins at is left open: turned boards are different poses to a
/// calibration, nothing else. A mirrored photo is told from others where the board lets it be
/// ([`Chessboard::shows_mirroring`]): its points are counted the other way round.
///
/// # Errors
/// [`ErrorKind::Usage`] for a board or a buffer that cannot be; [`ErrorKind::Photo`], with the photo's name as the file, where
/// the board is not found whole: it says whether the photo is blurred or shows a board of another size.
pub fn find_chessboard(name: &str, frame_px: (u32, u32), brightness: &[u8], board: &Chessboard) -> Result<BoardPhoto> {
    board.check()?;
    let (width, height) = frame_px;
    if width == 0 || height == 0 || brightness.len() as u64 != u64::from(width) * u64::from(height) {
        let what = format!("{} bytes are not a photo of {width} x {height} px", brightness.len());
        return Err(Error::new(ErrorKind::Usage, what));
    }
    let points = search(frame_px, brightness, board)?.map_err(|why| why.error(board).in_file(name))?;
    Ok(BoardPhoto { name: name.to_owned(), frame_px, points })
}

/// The board's points, or why there are none. `brightness` has a byte for each pixel of the frame.
pub(super) fn search(
    (width, height): (u32, u32),
    brightness: &[u8],
    board: &Chessboard,
) -> Result<std::result::Result<Vec<BoardPoint>, NotFound>> {
    let factor = width.max(height).div_ceil(LONGEST_SIDE);
    let reduced;
    let (data, w, h) = if factor == 1 {
        (brightness, width as usize, height as usize)
    } else {
        reduced = reduce(brightness, width as usize, height as usize, factor as usize);
        (reduced.as_slice(), (width / factor) as usize, (height / factor) as usize)
    };
    let refined = DetectorConfig::chess_multiscale()
        .with_refiner(ImageRefiner::saddle_point())
        .with_chess(|c| c.on_refiner_reject = OnRefinerReject::KeepCenterOfMass);
    let corners = detect_corners(&GrayImageView { width: w, height: h, data }, &refined);
    let detector = ChessboardDetector::new(ChessboardParams::default())
        .map_err(|e| Error::new(ErrorKind::Photo, format!("the corner detector does not run: {e}")))?;
    let lost = |why| if is_blurred(data, w) { NotFound::Blurred } else { why };
    let Some(found) = detector.detect(&corners) else {
        return Ok(Err(lost(NotFound::Nothing)));
    };
    let columns = 1 + found.corners.iter().map(|c| c.grid.u).max().unwrap_or(0);
    let rows = 1 + found.corners.iter().map(|c| c.grid.v).max().unwrap_or(0);
    let size = (board.columns as i32, board.rows as i32);
    let turned = size != (columns, rows);
    if found.corners.len() as i32 != columns * rows {
        return Ok(Err(lost(NotFound::Part { corners: found.corners.len() })));
    }
    if turned && size != (rows, columns) {
        let (columns, rows) = (columns.max(rows) as u32, columns.min(rows) as u32);
        return Ok(Err(NotFound::Another { columns, rows }));
    }
    let scale = f64::from(factor);
    let points = found.corners.iter().map(|c| {
        // A quarter turn keeps right right and left left; exchanging rows and columns would mirror the board.
        let (i, j) = if turned { (c.grid.v, columns - 1 - c.grid.u) } else { (c.grid.u, c.grid.v) };
        // The detector counts from the middle of the top-left pixel.
        let pixel = |x: f32| (f64::from(x) + 0.5) * scale;
        BoardPoint {
            mm: Point2::new(f64::from(i), f64::from(j)) * board.square_mm,
            pixel: Point2::new(pixel(c.position.x), pixel(c.position.y)),
        }
    });
    let mut points: Vec<BoardPoint> = points.collect();
    if factor > 1 {
        let spacing = spacing(&points);
        points = points
            .into_par_iter()
            .zip(spacing)
            .map(|(p, spacing)| BoardPoint { pixel: refine(brightness, (width, height), p.pixel, spacing, scale), ..p })
            .collect();
    }
    if board.shows_mirroring() && !first_square_is_dark(&points, brightness, width, board) {
        let right = f64::from(board.columns - 1) * board.square_mm;
        points.iter_mut().for_each(|p| p.mm.x = right - p.mm.x);
    }
    Ok(Ok(points))
}

/// Each corner's distance from the nearest other, px.
fn spacing(points: &[BoardPoint]) -> Vec<f64> {
    let nearest = |i: usize| {
        let others = points.iter().enumerate().filter(|(j, _)| *j != i);
        others.map(|(_, q)| (q.pixel - points[i].pixel).norm()).fold(f64::INFINITY, f64::min)
    };
    (0..points.len()).map(nearest).collect()
}

/// Whether the square between the first two corners of the first two rows is darker than its neighbours, on the sum over all
/// squares between corners.
fn first_square_is_dark(points: &[BoardPoint], brightness: &[u8], width: u32, board: &Chessboard) -> bool {
    let mut grid = vec![Point2::origin(); points.len()];
    let columns = board.columns as usize;
    for p in points {
        let place = p.mm / board.square_mm;
        grid[place.y.round() as usize * columns + place.x.round() as usize] = p.pixel;
    }
    let squares = (0..board.rows as usize - 1).flat_map(|j| (0..columns - 1).map(move |i| (i, j)));
    let difference = squares.map(|(i, j)| {
        let at = |i: usize, j: usize| grid[j * columns + i].coords;
        let middle = (at(i, j) + at(i + 1, j) + at(i, j + 1) + at(i + 1, j + 1)) / 4.0;
        let value = brightness.get(middle.y as usize * width as usize + middle.x as usize).copied().unwrap_or(0);
        if (i + j) % 2 == 0 { f64::from(value) } else { -f64::from(value) }
    });
    difference.sum::<f64>() < 0.0
}

/// No step between two pixels' neighbours is higher than this share of the photo's contrast: an edge blurred by a Gaussian of 3 px
/// reaches it. Chosen; rendered boards are not found any more where they are blurred by half a square.
const SHARP_STEP: f64 = 0.25;

/// Whether a photo with something in it has no sharp edge: the steepest steps (one pixel in a thousand has such) against the
/// contrast between its dark and bright parts (5 % each).
fn is_blurred(data: &[u8], width: usize) -> bool {
    let mut brightness = [0u32; 256];
    let mut steps = [0u32; 256];
    for (row, next) in data.chunks_exact(width).zip(data.chunks_exact(width).skip(2)) {
        for x in 2..width {
            let step = row[x].abs_diff(row[x - 2]).max(row[x].abs_diff(next[x]));
            brightness[usize::from(row[x])] += 1;
            steps[usize::from(step)] += 1;
        }
    }
    let level = |histogram: &[u32; 256], share: f64| {
        let wanted = share * f64::from(histogram.iter().sum::<u32>());
        let mut sum = 0.0;
        let found = histogram.iter().position(|&n| {
            sum += f64::from(n);
            sum >= wanted
        });
        found.unwrap_or(255) as f64
    };
    let contrast = level(&brightness, 0.95) - level(&brightness, 0.05);
    contrast > 30.0 && level(&steps, 0.999) < SHARP_STEP * contrast
}

/// Means over squares of `factor` pixels; what is left over at the right and bottom is dropped.
fn reduce(data: &[u8], width: usize, height: usize, factor: usize) -> Vec<u8> {
    let (w, h) = (width / factor, height / factor);
    let area = (factor * factor) as u32;
    let mut reduced = Vec::with_capacity(w * h);
    let mut sums = vec![0u32; w];
    for rows in data.chunks_exact(width * factor).take(h) {
        sums.fill(0);
        for row in rows.chunks_exact(width) {
            for (sum, pixels) in sums.iter_mut().zip(row.chunks_exact(factor)) {
                *sum += pixels.iter().map(|&p| u32::from(p)).sum::<u32>();
            }
        }
        reduced.extend(sums.iter().map(|s| ((s + area / 2) / area) as u8));
    }
    reduced
}
