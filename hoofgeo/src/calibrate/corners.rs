//! Finding the inner corners of a chessboard in a photo.

use super::{BoardPhoto, BoardPoint};
use crate::error::{Error, ErrorKind, Result};
use calib_targets_chessboard::{ChessboardDetector, ChessboardParams, DetectorConfig, GrayImageView, detect_corners};
use chess_corners::{ImageRefiner, OnRefinerReject};
use nalgebra::Point2;

/// Larger photos are reduced below this before corners are looked for. At 12 megapixels the detector fails on blurred photos and is
/// twice as far off on sharp ones as at a quarter of the size (measured on rendered boards with known corners).
const LONGEST_SIDE: u32 = 1600;

/// A chessboard: what is counted and measured on the print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chessboard {
    /// Inner corners along a row: one less than squares.
    pub columns: u32,
    /// Inner corners along a column.
    pub rows: u32,
    /// Side of a square, mm.
    pub square_mm: f64,
}

impl Chessboard {
    fn check(&self) -> Result<()> {
        let sensible = (2..=1000).contains(&self.columns) && (2..=1000).contains(&self.rows);
        if !sensible || self.columns * self.rows < 6 {
            let what = format!("a board of {} x {} inner corners cannot be used", self.columns, self.rows);
            return Err(Error::new(ErrorKind::Usage, what).help("9 x 6 (10 x 7 squares) is usual"));
        }
        if !(self.square_mm > 0.0 && self.square_mm.is_finite()) {
            return Err(Error::new(ErrorKind::Usage, format!("squares of {} mm cannot be", self.square_mm)));
        }
        Ok(())
    }
}

/// Finds a chessboard's inner corners in an upright photo's brightness, row by row, one byte a pixel.
///
/// All corners must be seen. Which of its corners the board begins at is left open: turned boards are different poses to a
/// calibration, nothing else.
///
/// # Errors
/// [`ErrorKind::Usage`] for a board or a buffer that cannot be; [`ErrorKind::Photo`], with the photo's name as the file, where
/// the board is not found whole.
pub fn find_chessboard(name: &str, frame_px: (u32, u32), brightness: &[u8], board: &Chessboard) -> Result<BoardPhoto> {
    board.check()?;
    let (width, height) = frame_px;
    if width == 0 || height == 0 || brightness.len() as u64 != u64::from(width) * u64::from(height) {
        let what = format!("{} bytes are not a photo of {width} x {height} px", brightness.len());
        return Err(Error::new(ErrorKind::Usage, what));
    }
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
    let refuse = |what: String| {
        Err(Error::new(ErrorKind::Photo, what).in_file(name).help(
            "the whole board has to be in the photo, sharp and evenly lit, with a white border; count its inner corners, one less \
             than squares",
        ))
    };
    let Some(found) = detector.detect(&corners) else {
        return refuse("no chessboard found".into());
    };
    let columns = 1 + found.corners.iter().map(|c| c.grid.u).max().unwrap_or(0);
    let rows = 1 + found.corners.iter().map(|c| c.grid.v).max().unwrap_or(0);
    let size = (board.columns as i32, board.rows as i32);
    let turned = size != (columns, rows);
    if turned && size != (rows, columns) || found.corners.len() as i32 != columns * rows {
        return refuse(format!(
            "the board has {} x {} inner corners, {} were found in {columns} columns and {rows} rows",
            board.columns,
            board.rows,
            found.corners.len()
        ));
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
    Ok(BoardPhoto { name: name.to_owned(), frame_px, points: points.collect() })
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
