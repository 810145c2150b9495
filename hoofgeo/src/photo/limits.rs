//! What a photo may claim and take: every limit of reading photos, once. README, "Limits", tells them to users.
//!
//! All are judged from the header before memory is taken: a few bytes must not cost gigabytes.

/// Larger pictures are refused, in millions of pixels: no camera makes them, a damaged or hostile header claims them.
pub const MAX_MEGAPIXELS: u64 = 250;

/// Longest side of a photo, px: JPEG can say no more (ITU-T T.81).
pub const MAX_SIDE_PX: u32 = 65_535;

/// Most scans of a JPEG. Cameras and editors write up to some ten; each takes as long as the whole picture.
pub const MAX_SCANS: usize = 64;

/// Scans times megapixels of a JPEG: ten scans of the largest picture, and all scans of one of 39 megapixels.
#[cfg(feature = "pictures")]
pub(super) const MAX_SCANNED_MEGAPIXELS: u64 = 2500;

/// The largest TIFF, bytes. Its parts may lie anywhere, so its header is read from a copy of the whole: half of what a photo may have.
pub(super) const MAX_TIFF_BYTES: u64 = crate::file::FileKind::Photo.most_bytes() / 2;

/// Memory for decoding one photo, its file included, bytes: 500 MB, and ten bytes a pixel for pictures beyond 50 megapixels.
pub const fn max_decode_bytes(pixels: u64) -> u64 {
    let by_size = pixels * 10;
    if by_size > 500_000_000 { by_size } else { 500_000_000 }
}
