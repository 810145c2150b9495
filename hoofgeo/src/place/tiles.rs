//! Photos as tiles: decoded once, cut into small JPEGs at full size and at halves of it, the pixels let go.
//!
//! A photo of 48 megapixels takes 144 MB as pixels and some 15 MB as tiles. One photo is decoded at a time; the tiles of those used
//! last are kept, up to a stated number of bytes.

use crate::error::{Error, ErrorKind, Result};
use crate::photo::decode_upright;
use crate::picture::{encode_jpeg, resized};
use image::{GenericImageView, RgbImage};
use rayon::prelude::*;
use std::collections::VecDeque;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Side of a tile, px.
pub(super) const TILE: u32 = 512;

/// JPEG quality of the tiles: the eye finds no difference to the photo at several times its size.
const QUALITY: u8 = 92;

/// Tiles kept, bytes.
const MOST_BYTES: usize = 256 << 20;

/// The tiles of one photo.
#[derive(Debug)]
pub(super) struct Pyramid {
    /// Level 0 is the photo, each further level half the one before.
    levels: Vec<Level>,
}

#[derive(Debug)]
struct Level {
    columns: u32,
    tiles: Vec<Vec<u8>>,
}

impl Pyramid {
    fn new(photo: RgbImage) -> Result<Self> {
        let mut levels = Vec::new();
        let mut picture = photo;
        loop {
            levels.push(Level::new(&picture)?);
            let (width, height) = picture.dimensions();
            if width.max(height) <= TILE {
                return Ok(Self { levels });
            }
            let half = (width.div_ceil(2), height.div_ceil(2));
            let pixels = resized(&picture, half)?;
            picture = RgbImage::from_raw(half.0, half.1, pixels)
                .ok_or_else(|| Error::new(ErrorKind::Photo, "the photo cannot be made smaller"))?;
        }
    }

    /// One tile as JPEG.
    pub(super) fn tile(&self, level: usize, column: u32, row: u32) -> Option<&[u8]> {
        let level = self.levels.get(level)?;
        if column >= level.columns {
            return None;
        }
        let at = row.checked_mul(level.columns)?.checked_add(column)?;
        level.tiles.get(at as usize).map(Vec::as_slice)
    }

    fn bytes(&self) -> usize {
        self.levels.iter().flat_map(|l| &l.tiles).map(Vec::len).sum()
    }
}

impl Level {
    fn new(picture: &RgbImage) -> Result<Self> {
        let (width, height) = picture.dimensions();
        let (columns, rows) = (width.div_ceil(TILE), height.div_ceil(TILE));
        let tiles = (0..columns * rows)
            .into_par_iter()
            .map(|i| {
                let (x, y) = (i % columns * TILE, i / columns * TILE);
                let part = picture.view(x, y, TILE.min(width - x), TILE.min(height - y)).to_image();
                encode_jpeg(&part, QUALITY)
            })
            .collect::<Result<_>>()?;
        Ok(Self { columns, tiles })
    }
}

/// The tiles of the photos used last.
#[derive(Debug, Default)]
pub(super) struct Cache {
    /// By photo, the one used last at the end.
    kept: Mutex<VecDeque<(usize, Arc<Pyramid>)>>,
    /// Held while a photo is decoded.
    decoding: Mutex<()>,
}

impl Cache {
    /// A photo's tiles.
    ///
    /// # Errors
    /// Where the photo cannot be decoded.
    pub(super) fn of(&self, id: usize, photo: &Path) -> Result<Arc<Pyramid>> {
        if let Some(found) = self.find(id) {
            return Ok(found);
        }
        let _one_at_a_time = self.turn();
        // Another request may have waited for the same photo.
        if let Some(found) = self.find(id) {
            return Ok(found);
        }
        let made = Arc::new(Pyramid::new(decode_upright(photo)?).map_err(|e| e.in_file(photo))?);
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.push_back((id, Arc::clone(&made)));
        let mut bytes: usize = kept.iter().map(|(_, p)| p.bytes()).sum();
        while bytes > MOST_BYTES && kept.len() > 1 {
            if let Some((_, oldest)) = kept.pop_front() {
                bytes -= oldest.bytes();
            }
        }
        Ok(made)
    }

    /// Whose turn it is to decode a photo: two at a time would take the memory of two.
    pub(super) fn turn(&self) -> MutexGuard<'_, ()> {
        self.decoding.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn find(&self, id: usize) -> Option<Arc<Pyramid>> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let at = kept.iter().position(|(of, _)| *of == id)?;
        let found = kept.remove(at)?;
        kept.push_back(found.clone());
        Some(found.1)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// Every pixel lies in the tile that the page looks for it in, at every level.
    #[test]
    fn tiles_cover_the_photo() {
        let photo = RgbImage::from_fn(1300, 700, |x, y| image::Rgb([(x / 6) as u8, (y / 3) as u8, 128]));
        let pyramid = Pyramid::new(photo.clone()).unwrap();
        assert_eq!(pyramid.levels.len(), 3);
        let colour = |level: usize, x: u32, y: u32| {
            let jpeg = pyramid.tile(level, x / TILE, y / TILE).unwrap();
            let tile = image::load_from_memory(jpeg).unwrap().into_rgb8();
            *tile.get_pixel(x % TILE, y % TILE)
        };
        for (x, y) in [(0, 0), (511, 511), (512, 512), (1299, 699), (700, 300)] {
            for level in 0..3 {
                let (a, b) = (photo.get_pixel(x, y), colour(level, x >> level, y >> level));
                for c in 0..3 {
                    assert!(a.0[c].abs_diff(b.0[c]) < 8, "{x} {y} {level}: {a:?} {b:?}");
                }
            }
        }
        assert!(pyramid.tile(0, 3, 0).is_none() && pyramid.tile(0, 0, 2).is_none() && pyramid.tile(3, 0, 0).is_none());
        assert!(pyramid.tile(0, 0, u32::MAX).is_none());
    }
}
