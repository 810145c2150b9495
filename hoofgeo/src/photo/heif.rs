//! The size and turn of a HEIC's primary picture, from its boxes (ISO/IEC 14496-12 and 23008-12).
//!
//! A phone's HEIC holds the photo as a grid of tiles with a thumbnail, a depth map and a gain map beside it, each with a size of
//! its own: only the properties that `ipma` associates with the primary item (`pitm`) count.

use super::container::{Fault, Header, damaged, take};
use super::{Orientation, PhotoType, tags};
use crate::{Error, ErrorKind};
use std::io::{BufRead, Seek, SeekFrom};

/// The box of metadata holds no pixels; the largest real ones have some tens of kilobytes.
const MAX_META_BYTES: u64 = 16 << 20;

pub(super) fn read_header<R: BufRead + Seek>(r: &mut R) -> Result<Header, Fault> {
    let meta = find_meta(r)?;
    let primary = primary_item(&meta).ok_or_else(|| damaged("its boxes do not give the primary picture's size"))?;
    r.rewind()?;
    Ok(Header {
        photo_type: PhotoType::Heic,
        stored: primary.size,
        orientation: Some(primary.orientation),
        exif: tags::parse_container(r),
    })
}

/// The body of the file's `meta` box, after checking that the file is a HEIC.
fn find_meta<R: BufRead + Seek>(r: &mut R) -> Result<Vec<u8>, Fault> {
    let mut first = true;
    loop {
        let head = take(r, 8)?;
        let mut head = Bytes(&head);
        let (size, kind) = (head.u32().unwrap_or(0), head.array().unwrap_or_default());
        let body = match size {
            0 => u64::MAX, // to the end of the file
            1 => u64::from_be_bytes(take(r, 8)?.try_into().unwrap_or_default()).saturating_sub(16),
            n => u64::from(n).saturating_sub(8),
        };
        match &kind {
            b"ftyp" if first => check_brands(&take(r, body.min(4096))?)?,
            _ if first => return Err(damaged("ftyp is not its first box").into()),
            b"meta" if body <= MAX_META_BYTES => return Ok(take(r, body)?),
            b"meta" => return Err(damaged("its box of metadata is too large").into()),
            _ => {
                let step = i64::try_from(body).map_err(|_| damaged("no box of metadata"))?;
                r.seek(SeekFrom::Current(step)).map_err(|_| damaged("a box of impossible length"))?;
            }
        }
        first = false;
    }
}

fn check_brands(ftyp: &[u8]) -> Result<(), Error> {
    const HEVC: [&[u8]; 6] = [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"];
    let mut brands = ftyp.chunks_exact(4);
    if brands.any(|b| HEVC.contains(&b)) {
        return Ok(());
    }
    let avif = ftyp.chunks_exact(4).any(|b| b == b"avif");
    let what =
        if avif { "the file is an AVIF, which is not read" } else { "the file is a video or of an unknown type" };
    Err(Error::new(ErrorKind::Photo, what).help("export the photo as JPEG from the program that shows it"))
}

struct Primary {
    size: (u32, u32),
    orientation: Orientation,
}

fn primary_item(meta: &[u8]) -> Option<Primary> {
    let mut meta = Bytes(meta);
    meta.u32()?; // version and flags
    let (mut id, mut properties, mut associations) = (None, Vec::new(), Vec::new());
    while let Some((kind, mut body)) = meta.child() {
        match &kind {
            b"pitm" => {
                let version = body.u32()? >> 24;
                id = Some(if version == 0 { body.u16()?.into() } else { body.u32()? });
            }
            b"iprp" => {
                while let Some((kind, mut body)) = body.child() {
                    match &kind {
                        b"ipco" => properties = std::iter::from_fn(|| body.child()).collect(),
                        b"ipma" => associations.push(body),
                        _ => {}
                    }
                }
            }
            _ => {}
        }
    }
    let indices = associations.into_iter().find_map(|ipma| associated(ipma, id?))?;
    let (mut size, mut orientation) = (None, Orientation::Upright);
    for index in indices {
        let Some((kind, body)) = index.checked_sub(1).and_then(|i| properties.get(i)) else { continue };
        let mut body = Bytes(body.0);
        match kind {
            b"ispe" => {
                body.u32()?;
                size = Some((body.u32()?, body.u32()?));
            }
            // A clean aperture crops before any turn: what is left is the stored picture for every reader.
            b"clap" => {
                let (width, height) = ((body.u32()?, body.u32()?), (body.u32()?, body.u32()?));
                let pixels = |(n, d): (u32, u32)| n.checked_add(d / 2)?.checked_div(d);
                size = Some((pixels(width)?, pixels(height)?));
            }
            // Quarter turns anticlockwise.
            b"irot" => {
                orientation = orientation.then(match body.u8()? & 3 {
                    0 => Orientation::Upright,
                    1 => Orientation::TurnAnticlockwise,
                    2 => Orientation::HalfTurn,
                    _ => Orientation::TurnClockwise,
                });
            }
            // 0 exchanges top and bottom, 1 left and right.
            b"imir" => {
                orientation = orientation.then(match body.u8()? & 1 {
                    0 => Orientation::MirrorTopBottom,
                    _ => Orientation::MirrorLeftRight,
                });
            }
            _ => {}
        }
    }
    size.map(|size| Primary { size, orientation })
}

/// The property indices (from 1) of an item, in the order they are to be applied.
fn associated(mut ipma: Bytes<'_>, item: u32) -> Option<Vec<usize>> {
    let head = ipma.u32()?;
    let (version, wide) = (head >> 24, head & 1 == 1);
    for _ in 0..ipma.u32()? {
        let id = if version == 0 { ipma.u16()?.into() } else { ipma.u32()? };
        let mut indices = Vec::new();
        for _ in 0..ipma.u8()? {
            // The top bit says "essential".
            indices.push(if wide { usize::from(ipma.u16()? & 0x7fff) } else { usize::from(ipma.u8()? & 0x7f) });
        }
        if id == item {
            return Some(indices);
        }
    }
    None
}

/// A slice that is read from its front, big-endian.
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (head, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*head)
    }

    fn u8(&mut self) -> Option<u8> {
        self.array().map(|[b]| b)
    }

    fn u16(&mut self) -> Option<u16> {
        self.array().map(u16::from_be_bytes)
    }

    fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_be_bytes)
    }

    /// The next box inside this one: its type and its body.
    fn child(&mut self) -> Option<([u8; 4], Bytes<'a>)> {
        let (size, kind) = (self.u32()?, self.array()?);
        let len = match size {
            0 => self.0.len(),
            1 => usize::try_from(u64::from_be_bytes(self.array()?)).ok()?.checked_sub(16)?,
            n => usize::try_from(n).ok()?.checked_sub(8)?,
        };
        let (body, rest) = self.0.split_at_checked(len)?;
        self.0 = rest;
        Some((kind, Bytes(body)))
    }
}
