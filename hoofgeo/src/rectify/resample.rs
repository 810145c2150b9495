//! A picture's pixels at other places: any smooth mapping, bilinear or bicubic.
//!
//! The mapping is worked out exactly at the nodes of a coarse grid and interpolated between them, so that a pixel costs two
//! additions instead of a projection; where a cell bends too much for that, its pixels are mapped one by one.

use image::RgbImage;
use nalgebra::{Point2, Vector2};
use rayon::prelude::*;

/// How a value between pixels is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Kernel {
    /// From the four nearest pixels.
    #[default]
    Bilinear,
    /// From the sixteen nearest, by cubic convolution with a = -1/2: sharper, slower.
    ///
    /// R. G. Keys, "Cubic convolution interpolation for digital image processing", IEEE Trans. ASSP 29 (1981) 1153-1160.
    Bicubic,
}

/// Most by which a source position may be off its exact place, px: a tenth of what a careful eye or an edge detector finds (chosen).
const PLACE_ERROR_PX: f64 = 0.008;

/// Cell sides that are tried, px. The smallest is taken where none is good enough; its bad cells are mapped pixel by pixel.
const CELLS: [usize; 3] = [32, 16, 8];

/// Share of bad cells up to which a cell side is good enough.
const BAD_CELLS: f64 = 0.01;

/// Makes a picture of `size` from `photo`: `map` gives for a place of the new picture, px, the place in the photo, px, and `None`
/// where there is none. Both have (0, 0) at the top-left corner of the top-left pixel. What lies outside the photo becomes
/// `outside`.
///
/// The mapping has to be smooth; positions are exact to 0.01 px. Values are those of the exact kernel to one grey level.
///
/// # Example: twice as large
/// ```
/// use hoofgeo::rectify::{Kernel, resample};
/// use image::{Rgb, RgbImage};
/// let photo = RgbImage::from_fn(20, 10, |x, _| Rgb([10 * x as u8, 0, 0]));
/// let large = resample(&photo, (40, 20), Kernel::Bilinear, [255; 3], &|p| Some(p / 2.0));
/// // The middle of the pixel at 20 lies at 10.25: a quarter of the way from the 10th pixel's centre 10.5 to the 9th's.
/// assert_eq!(large.get_pixel(20, 10), &Rgb([98, 0, 0]));
/// ```
pub fn resample(
    photo: &RgbImage,
    size: (u32, u32),
    kernel: Kernel,
    outside: [u8; 3],
    map: &(dyn Fn(Point2<f64>) -> Option<Point2<f64>> + Sync),
) -> RgbImage {
    let (width, height) = (size.0 as usize, size.1 as usize);
    let grid = Grid::new(width, height, map);
    let source = Source { pixels: photo.as_raw(), width: photo.width() as usize, height: photo.height() as usize };
    let mut out = RgbImage::new(size.0, size.1);
    let band = grid.cell * width * 3;
    if band > 0 && !photo.as_raw().is_empty() {
        out.as_flat_samples_mut().samples.par_chunks_mut(band).enumerate().for_each(|(row, band)| match kernel {
            Kernel::Bilinear => grid.fill::<Bilinear>(row, band, &source, outside),
            Kernel::Bicubic => grid.fill::<Bicubic>(row, band, &source, outside),
        });
    }
    out
}

type Map<'a> = &'a (dyn Fn(Point2<f64>) -> Option<Point2<f64>> + Sync);

/// The mapping at the nodes of a grid. A node lies on a pixel's centre; a cell is the square of pixels from a node to the next.
struct Grid<'a> {
    map: Map<'a>,
    cell: usize,
    width: usize,
    /// Nodes in a row.
    nodes: usize,
    /// Source places, NaN where there is none.
    places: Vec<Point2<f64>>,
    /// Cells whose pixels are mapped one by one.
    bad: Vec<bool>,
}

impl<'a> Grid<'a> {
    fn new(width: usize, height: usize, map: Map<'a>) -> Self {
        let mut best = Self::with_cell(width, height, map, CELLS[0]);
        for cell in &CELLS[1..] {
            let bad = best.bad.iter().filter(|b| **b).count();
            if bad as f64 <= BAD_CELLS * best.bad.len() as f64 {
                break;
            }
            best = Self::with_cell(width, height, map, *cell);
        }
        best
    }

    fn with_cell(width: usize, height: usize, map: Map<'a>, cell: usize) -> Self {
        let nodes = width.div_ceil(cell) + 1;
        let rows = height.div_ceil(cell) + 1;
        let places: Vec<_> = (0..nodes * rows)
            .into_par_iter()
            .with_min_len(nodes)
            .map(|i| place(map, (i % nodes * cell) as f64, (i / nodes * cell) as f64))
            .collect();
        let mut grid = Self { map, cell, width, nodes, places, bad: Vec::new() };
        grid.bad = (0..(nodes - 1) * (rows - 1))
            .into_par_iter()
            .with_min_len(nodes)
            .map(|i| grid.error(i % (nodes - 1), i / (nodes - 1), rows) > PLACE_ERROR_PX)
            .collect();
        grid
    }

    /// How far interpolation may be off within a cell, px: an eighth of the second differences along and across, which for a parabola
    /// is the deviation of its chord. Infinite where a place is missing or there are too few nodes to tell.
    fn error(&self, column: usize, row: usize, rows: usize) -> f64 {
        if self.nodes < 3 || rows < 3 {
            return f64::INFINITY;
        }
        let bend = |column: usize, row: usize, along: usize| {
            // At the rim the next node within tells.
            let (column, row) = match along {
                1 => (column.clamp(1, self.nodes - 2), row),
                _ => (column, row.clamp(1, rows - 2)),
            };
            let at = row * self.nodes + column;
            let p = |i: usize| self.places[i].coords;
            (p(at - along) + p(at + along) - 2.0 * p(at)).norm()
        };
        let corners = [(column, row), (column + 1, row), (column, row + 1), (column + 1, row + 1)];
        // `max` would lose a NaN.
        let most = |along: usize| {
            let bends = corners.map(|(c, r)| bend(c, r, along));
            if bends.iter().any(|b| b.is_nan()) { f64::INFINITY } else { bends.into_iter().fold(0.0, f64::max) }
        };
        (most(1) + most(self.nodes)) / 8.0
    }

    /// Source places of a cell's top left, top right, bottom left and bottom right node.
    fn corners(&self, column: usize, row: usize) -> [Point2<f64>; 4] {
        let first = row * self.nodes + column;
        [first, first + 1, first + self.nodes, first + self.nodes + 1].map(|i| self.places[i])
    }

    /// Fills one row of cells.
    fn fill<K: Sample>(&self, row: usize, band: &mut [u8], source: &Source<'_>, outside: [u8; 3]) {
        let sampler = K::new();
        for column in 0..self.nodes - 1 {
            let first = column * self.cell;
            let columns = self.cell.min(self.width - first);
            let lines = band.chunks_exact_mut(self.width * 3).map(|line| &mut line[first * 3..(first + columns) * 3]);
            if self.bad[row * (self.nodes - 1) + column] {
                for (y, line) in lines.enumerate() {
                    for (x, pixel) in line.as_chunks_mut::<3>().0.iter_mut().enumerate() {
                        let at = place(self.map, (first + x) as f64, (row * self.cell + y) as f64);
                        *pixel = sampler.anywhere(source, at, outside);
                    }
                }
                continue;
            }
            let corners = self.corners(column, row);
            let inside = corners.iter().all(|p| source.holds(*p, K::REACH));
            let [a, b, c, d] = corners.map(|p| p.coords);
            let n = self.cell as f64;
            for (y, line) in lines.enumerate() {
                let down = y as f64 / n;
                let from = a + (c - a) * down;
                let to = b + (d - b) * down;
                let step = (to - from) / n;
                let line = line.as_chunks_mut::<3>().0;
                if inside {
                    sampler.along(source, from, step, line);
                } else {
                    for (x, pixel) in line.iter_mut().enumerate() {
                        *pixel = sampler.anywhere(source, Point2::from(from + step * x as f64), outside);
                    }
                }
            }
        }
    }
}

/// The source place of the pixel in a column and row of the new picture.
fn place(map: Map<'_>, column: f64, row: f64) -> Point2<f64> {
    map(Point2::new(column + 0.5, row + 0.5)).unwrap_or(Point2::new(f64::NAN, f64::NAN))
}

/// The photo, RGB row by row.
struct Source<'a> {
    pixels: &'a [u8],
    width: usize,
    height: usize,
}

impl Source<'_> {
    /// Whether a place lies farther than `reach` from all borders.
    fn holds(&self, p: Point2<f64>, reach: f64) -> bool {
        p.x >= reach && p.y >= reach && p.x <= self.width as f64 - reach && p.y <= self.height as f64 - reach
    }

    /// A pixel; outside the photo the nearest one.
    fn at(&self, x: i64, y: i64) -> [f32; 3] {
        let x = x.clamp(0, self.width as i64 - 1) as usize;
        let y = y.clamp(0, self.height as i64 - 1) as usize;
        let i = (y * self.width + x) * 3;
        [self.pixels[i], self.pixels[i + 1], self.pixels[i + 2]].map(f32::from)
    }

    fn any<const N: usize>(&self, p: Point2<f64>, weights: impl Fn(f64) -> [f32; N], outside: [u8; 3]) -> [u8; 3] {
        if !self.holds(p, 0.0) {
            return outside;
        }
        let (u, v) = (p.x - 0.5, p.y - 0.5);
        let (column, row) = (u.floor(), v.floor());
        let (wx, wy) = (weights(u - column), weights(v - row));
        let before = (N / 2 - 1) as i64;
        let mut sum = [0f32; 3];
        for (j, wy) in wy.into_iter().enumerate() {
            for (i, wx) in wx.into_iter().enumerate() {
                let pixel = self.at(column as i64 + i as i64 - before, row as i64 + j as i64 - before);
                for (s, p) in sum.iter_mut().zip(pixel) {
                    *s += wx * wy * p;
                }
            }
        }
        sum.map(to_byte)
    }
}

fn to_byte(x: f32) -> u8 {
    // `as` ends at 0 and 255.
    (x + 0.5) as u8
}

/// A kernel at work.
trait Sample {
    /// How far from the border all pixels that it needs exist, px.
    const REACH: f64;

    fn new() -> Self;

    /// Fills a row of pixels whose source places follow each other by `step`, all of them within reach.
    fn along(&self, source: &Source<'_>, from: Vector2<f64>, step: Vector2<f64>, line: &mut [[u8; 3]]);

    /// One pixel, wherever its source place lies.
    fn anywhere(&self, source: &Source<'_>, at: Point2<f64>, outside: [u8; 3]) -> [u8; 3];
}

/// A coordinate as a whole pixel and a fraction of 32 bits.
fn fixed(x: f64) -> i64 {
    (x * 4_294_967_296.0) as i64
}

struct Bilinear;

/// Bits of a bilinear weight: two of them and a byte fit into 31 bits.
const WEIGHT: u32 = 11;

impl Sample for Bilinear {
    const REACH: f64 = 1.0;

    fn new() -> Self {
        Self
    }

    #[inline]
    fn along(&self, source: &Source<'_>, from: Vector2<f64>, step: Vector2<f64>, line: &mut [[u8; 3]]) {
        let stride = source.width * 3;
        let (mut x, mut y) = (fixed(from.x - 0.5), fixed(from.y - 0.5));
        let (dx, dy) = (fixed(step.x), fixed(step.y));
        let fraction = |x: i64| (x >> (32 - WEIGHT)) as i32 & ((1 << WEIGHT) - 1);
        for pixel in line {
            let at = (y >> 32) as usize * stride + (x >> 32) as usize * 3;
            let (fx, fy) = (fraction(x), fraction(y));
            let lines = source.pixels[at..].first_chunk::<6>().zip(source.pixels[at + stride..].first_chunk::<6>());
            // They are there, since all lies within reach.
            let Some((above, below)) = lines else { continue };
            for c in 0..3 {
                let across = |row: &[u8; 6]| {
                    let (a, b) = (i32::from(row[c]), i32::from(row[c + 3]));
                    (a << WEIGHT) + (b - a) * fx
                };
                let (above, below) = (across(above), across(below));
                let sum = (above << WEIGHT) + (below - above) * fy;
                pixel[c] = ((sum + (1 << (2 * WEIGHT - 1))) >> (2 * WEIGHT)) as u8;
            }
            x += dx;
            y += dy;
        }
    }

    fn anywhere(&self, source: &Source<'_>, at: Point2<f64>, outside: [u8; 3]) -> [u8; 3] {
        source.any(at, |t| [1.0 - t as f32, t as f32], outside)
    }
}

/// Weights of four neighbours, at so many places between two pixels.
struct Bicubic(Vec<[f32; 4]>);

/// Bits of the place between two pixels: a step of 1/1024 px changes a value by no more than 0.4 levels.
const PHASE: u32 = 10;

impl Sample for Bicubic {
    const REACH: f64 = 2.0;

    fn new() -> Self {
        let phases = f64::from(1u32 << PHASE);
        // In the middle of each step.
        Self((0..1u32 << PHASE).map(|i| crate::pixels::keys((f64::from(i) + 0.5) / phases).map(|w| w as f32)).collect())
    }

    #[inline]
    fn along(&self, source: &Source<'_>, from: Vector2<f64>, step: Vector2<f64>, line: &mut [[u8; 3]]) {
        let stride = source.width * 3;
        let (mut x, mut y) = (fixed(from.x - 0.5), fixed(from.y - 0.5));
        let (dx, dy) = (fixed(step.x), fixed(step.y));
        let phase = |x: i64| (x >> (32 - PHASE)) as usize & ((1 << PHASE) - 1);
        for pixel in line {
            let at = ((y >> 32) as usize - 1) * stride + ((x >> 32) as usize - 1) * 3;
            let (wx, wy) = (self.0[phase(x)], self.0[phase(y)]);
            // Down first: four pixels of three colours side by side.
            let mut columns = [0f32; 12];
            for (j, w) in wy.into_iter().enumerate() {
                // Of fixed length, so that it becomes vector instructions; it is there, since all lies within reach.
                let Some(line) = source.pixels[at + j * stride..].first_chunk::<12>() else { continue };
                for (sum, p) in columns.iter_mut().zip(line) {
                    *sum += w * f32::from(*p);
                }
            }
            for (c, value) in pixel.iter_mut().enumerate() {
                *value = to_byte((0..4).map(|i| wx[i] * columns[3 * i + c]).sum());
            }
            x += dx;
            y += dy;
        }
    }

    fn anywhere(&self, source: &Source<'_>, at: Point2<f64>, outside: [u8; 3]) -> [u8; 3] {
        source.any(at, |t| crate::pixels::keys(t).map(|w| w as f32), outside)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lens::{Camera, Distortion};
    use nalgebra::{Matrix3, Vector3};

    /// A strongly tilted view through a strongly distorting lens, source size 1600 x 1200.
    fn wide(p: Point2<f64>) -> Option<Point2<f64>> {
        let h = Matrix3::new(0.00066, 0.0001, -0.5, -0.00005, 0.0006, -0.33, 0.00005, 0.00013, 0.85);
        let c = h * Vector3::new(p.x, p.y, 1.0);
        let camera = Camera {
            focal: 1500.0,
            principal: Point2::new(810.0, 595.0),
            distortion: Distortion { k1: -0.25, k2: 0.08, k3: 0.0, p1: 0.001, p2: -0.0006 },
        };
        (c.z > 0.1).then(|| camera.pixel(Point2::new(c.x / c.z, c.y / c.z)))
    }

    /// Every pixel's interpolated source place against the exact one.
    #[test]
    fn places_are_exact_to_a_hundredth_of_a_pixel() {
        let (width, height) = (1500, 1100);
        let grid = Grid::new(width, height, &wide);
        let (mut worst, mut checked) = (0.0f64, 0);
        for y in 0..height {
            for x in 0..width {
                let (column, row) = (x / grid.cell, y / grid.cell);
                if grid.bad[row * (grid.nodes - 1) + column] {
                    continue;
                }
                let [a, b, c, d] = grid.corners(column, row).map(|p| p.coords);
                let n = grid.cell as f64;
                let (right, down) = ((x % grid.cell) as f64 / n, (y % grid.cell) as f64 / n);
                let (from, to) = (a + (c - a) * down, b + (d - b) * down);
                let exact = place(&wide, x as f64, y as f64);
                worst = worst.max((from + (to - from) * right - exact.coords).norm());
                checked += 1;
            }
        }
        assert!(checked > width * height * 9 / 10, "{checked}");
        assert!(worst < 0.01 && worst > 1e-6, "{worst}");
    }

    /// The fast path against the kernel written out, on a picture of noise: no value is off by more than a level.
    #[test]
    fn values_are_those_of_the_exact_kernel() {
        let mut noise = 1u32;
        let photo = RgbImage::from_fn(1600, 1200, |_, _| {
            image::Rgb([0; 3].map(|_: u8| {
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (noise >> 24) as u8
            }))
        });
        let source = Source { pixels: photo.as_raw(), width: 1600, height: 1200 };
        // A turn and a slight shrink: the mapping is linear, so cells are exact.
        let turn = |p: Point2<f64>| Some(Point2::new(1.02 * p.x - 0.11 * p.y + 60.0, 0.11 * p.x + 1.02 * p.y - 20.0));
        let size = (1500, 1100);
        let linear = resample(&photo, size, Kernel::Bilinear, [9, 8, 7], &turn);
        let cubic = resample(&photo, size, Kernel::Bicubic, [9, 8, 7], &turn);
        let (mut worst, mut outside) = ([0u8; 2], 0);
        for (x, y, pixel) in linear.enumerate_pixels() {
            let p = place(&turn, f64::from(x), f64::from(y));
            outside += usize::from(!source.holds(p, 0.0));
            let exact = [
                (pixel, source.any(p, |t| [1.0 - t as f32, t as f32], [9, 8, 7])),
                (cubic.get_pixel(x, y), source.any(p, |t| crate::pixels::keys(t).map(|w| w as f32), [9, 8, 7])),
            ];
            for (worst, (got, exact)) in worst.iter_mut().zip(exact) {
                *worst = got.0.iter().zip(exact).fold(*worst, |w, (a, b)| w.max(a.abs_diff(b)));
            }
        }
        assert!(worst[0] <= 1 && worst[1] <= 1, "{worst:?}");
        assert!(outside > 1000, "the mapping leaves the photo somewhere");
        assert_ne!(linear, cubic);
    }

    #[test]
    fn no_place_and_no_pixel_are_outside() {
        let photo = RgbImage::from_pixel(8, 8, image::Rgb([200; 3]));
        let nowhere = resample(&photo, (5, 3), Kernel::Bicubic, [1, 2, 3], &|_| None);
        assert!(nowhere.pixels().all(|p| p.0 == [1, 2, 3]));
        assert_eq!(resample(&RgbImage::new(0, 0), (2, 2), Kernel::Bilinear, [0; 3], &Some).dimensions(), (2, 2));
        assert_eq!(resample(&photo, (0, 7), Kernel::Bilinear, [0; 3], &Some).dimensions(), (0, 7));
        let same = resample(&photo, (8, 8), Kernel::Bilinear, [0; 3], &Some);
        assert_eq!(same, photo);
    }
}
