//! The size of the stored picture and the place of its EXIF, from the headers of JPEG, PNG, TIFF and WebP.
//!
//! Only headers are read; pixel data are skipped by seeking (a TIFF, whose parts may lie anywhere, is read whole).

use super::limits::MAX_TIFF_BYTES;
use super::{Orientation, PhotoType, heif, tags};
use crate::file::{FileKind, too_large};
use crate::{Error, ErrorKind};
use std::io::{self, BufRead, Read, Seek, SeekFrom};

/// What a container's headers say.
pub(super) struct Header {
    pub(super) photo_type: PhotoType,
    /// Width and height of the stored picture, px.
    pub(super) stored: (u32, u32),
    /// How the container itself says the picture is turned; then the EXIF's Orientation does not count.
    pub(super) orientation: Option<Orientation>,
    pub(super) exif: tags::Parsed,
}

/// Why a header could not be read.
pub(super) enum Fault {
    Read(io::Error),
    Photo(Error),
}

impl From<io::Error> for Fault {
    fn from(e: io::Error) -> Self {
        match e.kind() {
            io::ErrorKind::UnexpectedEof => Fault::Photo(truncated()),
            _ => Fault::Read(e),
        }
    }
}

impl From<Error> for Fault {
    fn from(e: Error) -> Self {
        Fault::Photo(e)
    }
}

const COPY_AGAIN: &str = "copy it again from the camera or the backup";

fn truncated() -> Error {
    Error::new(ErrorKind::Photo, "the photo is cut off: its file ends before the header does").help(COPY_AGAIN)
}

pub(super) fn damaged(what: &str) -> Error {
    Error::new(ErrorKind::Photo, format!("the photo's header is damaged: {what}")).help(COPY_AGAIN)
}

fn unsupported(what: &str) -> Error {
    Error::new(ErrorKind::Photo, what).help(
        "photos are read as JPEG, PNG, TIFF, WebP and HEIC; export the photo as JPEG from the program that shows it",
    )
}

/// An EXIF block is at most this long: a JPEG segment holds 64 KiB, and nothing here needs more.
const MAX_EXIF_BYTES: u32 = 1 << 20;

type Sized = ((u32, u32), Option<Vec<u8>>);

/// Reads the headers of whichever type the first bytes say.
pub(super) fn read_header<R: BufRead + Seek>(r: &mut R) -> Result<Header, Fault> {
    let mut head = [0; 12];
    let n = read_up_to(r, &mut head)?;
    r.rewind()?;
    let with =
        |photo_type, (stored, exif): Sized| Header { photo_type, stored, orientation: None, exif: tags::parse(exif) };
    match &head[..n] {
        [] => Err(Error::new(ErrorKind::Photo, "the file is empty").help(COPY_AGAIN).into()),
        [0, 0, 0, 0, 0, 0, 0, 0, ..] => {
            Err(Error::new(ErrorKind::Photo, "the file begins with zeros: it was not copied whole")
                .help(COPY_AGAIN)
                .into())
        }
        [0xff, 0xd8, ..] => Ok(with(PhotoType::Jpeg, jpeg(r)?)),
        [0x89, b'P', b'N', b'G', ..] => Ok(with(PhotoType::Png, png(r)?)),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P'] => Ok(with(PhotoType::WebP, webp(r)?)),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => tiff(r),
        [b'I', b'I', 43, 0, ..] | [b'M', b'M', 0, 43, ..] => {
            Err(unsupported("the file is a BigTIFF, which is not read").into())
        }
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => heif::read_header(r),
        _ => Err(unsupported("the file is not a photo of a known type").into()),
    }
}

fn read_up_to<R: BufRead>(r: &mut R, buffer: &mut [u8]) -> io::Result<usize> {
    let mut n = 0;
    while n < buffer.len() {
        match r.read(&mut buffer[n..]) {
            Ok(0) => break,
            Ok(k) => n += k,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(n)
}

fn array<const N: usize, R: BufRead>(r: &mut R) -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    r.read_exact(&mut bytes)?;
    Ok(bytes)
}

/// Reads `len` bytes, allocating as they come: a false length costs no memory.
pub(super) fn take<R: BufRead>(r: &mut R, len: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    r.by_ref().take(len).read_to_end(&mut bytes)?;
    if (bytes.len() as u64) < len { Err(io::ErrorKind::UnexpectedEof.into()) } else { Ok(bytes) }
}

fn skip<R: Seek>(r: &mut R, n: u32) -> io::Result<()> {
    r.seek_relative(i64::from(n))
}

/// ITU-T T.81 annex B: marker segments up to the first scan, the frame header (SOFn) with the size, EXIF in APP1.
fn jpeg<R: BufRead + Seek>(r: &mut R) -> Result<Sized, Fault> {
    r.seek(SeekFrom::Start(2))?;
    let (mut size, mut exif) = (None, None);
    loop {
        let marker = jpeg_marker(r)?;
        if matches!(marker, 0x00 | 0x01 | 0xd0..=0xd8) {
            continue; // stuffing, TEM, RSTn, SOI: they carry no length
        }
        if matches!(marker, 0xd9 | 0xda) {
            break; // EOI, SOS: the headers are over
        }
        let len =
            u16::from_be_bytes(array(r)?).checked_sub(2).ok_or_else(|| damaged("a segment of negative length"))?;
        match marker {
            0xc0..=0xcf if !matches!(marker, 0xc4 | 0xc8 | 0xcc) && len >= 5 => {
                let [_precision, h1, h0, w1, w0] = array(r)?;
                size.get_or_insert((u16::from_be_bytes([w1, w0]), u16::from_be_bytes([h1, h0])));
                skip(r, u32::from(len) - 5)?;
            }
            0xe1 if exif.is_none() => {
                let segment = take(r, len.into())?;
                exif = segment.strip_prefix(b"Exif\0\0").map(<[u8]>::to_vec);
            }
            _ => skip(r, len.into())?,
        }
    }
    let (w, h) = size.ok_or_else(|| damaged("no size in it (no frame header before the first scan)"))?;
    Ok(((w.into(), h.into()), exif))
}

fn jpeg_marker<R: BufRead>(r: &mut R) -> io::Result<u8> {
    while array(r)? != [0xff] {}
    loop {
        let [code] = array(r)?;
        if code != 0xff {
            return Ok(code);
        }
    }
}

/// W3C PNG (third edition): IHDR first, eXIf anywhere but between the IDAT chunks.
fn png<R: BufRead + Seek>(r: &mut R) -> Result<Sized, Fault> {
    if array(r)? != *b"\x89PNG\r\n\x1a\n" {
        return Err(damaged("no PNG signature (was it sent as text?)").into());
    }
    let ([len, kind], [w, h]) = ([array(r)?, array(r)?], [array(r)?, array(r)?]);
    if &kind != b"IHDR" || u32::from_be_bytes(len) != 13 {
        return Err(damaged("IHDR is not its first chunk").into());
    }
    let size = (u32::from_be_bytes(w), u32::from_be_bytes(h));
    skip(r, 5 + 4)?;
    let mut exif = None;
    while !r.fill_buf()?.is_empty() {
        let len = u32::from_be_bytes(array(r)?);
        match &array(r)? {
            b"eXIf" if len <= MAX_EXIF_BYTES => exif = Some(bare(take(r, len.into())?)),
            b"IEND" => break,
            _ => skip(r, len)?,
        }
        if exif.is_some() {
            break;
        }
        skip(r, 4)?;
    }
    Ok((size, exif))
}

/// Some writers put JPEG's identifier before the EXIF of other containers.
fn bare(mut exif: Vec<u8>) -> Vec<u8> {
    if exif.starts_with(b"Exif\0\0") {
        exif.drain(..6);
    }
    exif
}

/// RFC 9649: RIFF chunks; the canvas size in VP8X, else the frame's in VP8 or VP8L; EXIF behind the pixels.
fn webp<R: BufRead + Seek>(r: &mut R) -> Result<Sized, Fault> {
    let [_, _, _, _, l0, l1, l2, l3, _, _, _, _] = array(r)?;
    let end = 8 + u64::from(u32::from_le_bytes([l0, l1, l2, l3]));
    let (mut size, mut exif) = (None, None);
    while exif.is_none() && r.stream_position()? < end && !r.fill_buf()?.is_empty() {
        let kind: [u8; 4] = array(r)?;
        let len = u32::from_le_bytes(array(r)?);
        let padded = i64::from(len) + i64::from(len & 1);
        let used = match &kind {
            b"VP8X" if size.is_none() => {
                let [_, _, _, _, w0, w1, w2, h0, h1, h2] = array(r)?;
                let plus_one = |b0, b1, b2| u32::from_le_bytes([b0, b1, b2, 0]) + 1;
                size = Some((plus_one(w0, w1, w2), plus_one(h0, h1, h2)));
                10
            }
            b"VP8 " if size.is_none() => {
                let [_, _, _, s0, s1, s2, w0, w1, h0, h1] = array(r)?;
                if [s0, s1, s2] != [0x9d, 0x01, 0x2a] {
                    return Err(damaged("no start code in the VP8 frame").into());
                }
                let fourteen_bits = |b0, b1| u32::from(u16::from_le_bytes([b0, b1]) & 0x3fff);
                size = Some((fourteen_bits(w0, w1), fourteen_bits(h0, h1)));
                10
            }
            b"VP8L" if size.is_none() => {
                let [signature, b0, b1, b2, b3] = array(r)?;
                if signature != 0x2f {
                    return Err(damaged("no signature in the VP8L frame").into());
                }
                let bits = u32::from_le_bytes([b0, b1, b2, b3]);
                size = Some(((bits & 0x3fff) + 1, (bits >> 14 & 0x3fff) + 1));
                5
            }
            b"EXIF" if len <= MAX_EXIF_BYTES => {
                exif = Some(bare(take(r, len.into())?));
                i64::from(len)
            }
            _ => 0,
        };
        r.seek_relative(padded - used)?;
    }
    Ok((size.ok_or_else(|| damaged("no size in it (no VP8, VP8L or VP8X chunk)"))?, exif))
}

/// TIFF 6.0: the first directory has the size, and the EXIF is a directory of the same file.
fn tiff<R: BufRead + Seek>(r: &mut R) -> Result<Header, Fault> {
    let mut bytes = Vec::new();
    r.take(MAX_TIFF_BYTES + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > MAX_TIFF_BYTES {
        return Err(too_large(FileKind::Photo, MAX_TIFF_BYTES).into());
    }
    let exif = tags::parse(Some(bytes));
    if exif.is_reduced_or_raw() {
        return Err(unsupported("the file is a camera's raw picture, which is not read").into());
    }
    match exif.tiff_size() {
        Some(stored) => Ok(Header { photo_type: PhotoType::Tiff, stored, orientation: None, exif }),
        None => Err(damaged("no size in its first directory").into()),
    }
}
