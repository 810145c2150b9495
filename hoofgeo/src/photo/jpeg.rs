//! What a JPEG's markers say of the work to decode it (ITU-T T.81, annex B).

use super::limits::{MAX_SCANNED_MEGAPIXELS, MAX_SCANS};
use crate::{Error, ErrorKind};

/// A JPEG as far as its markers tell.
#[derive(Debug, Default)]
pub(super) struct Outline {
    /// Whether the end marker is reached. Decoders fill what is missing with grey and say nothing; a ruler's graduation must not
    /// be placed there.
    whole: bool,
    scans: usize,
    frame: Option<Frame>,
    /// Bytes from the first scan to the end.
    scanned: u64,
}

#[derive(Debug)]
struct Frame {
    progressive: bool,
    size: [u64; 2],
    /// Horizontal and vertical sampling factors of each component.
    sampling: Vec<[u64; 2]>,
}

impl Frame {
    /// From a frame header behind its length.
    fn read(code: u8, header: &[u8]) -> Option<Self> {
        let [_precision, h1, h0, w1, w0, _count, components @ ..] = header else { return None };
        let sampling = components.chunks_exact(3).map(|c| [u64::from(c[1] >> 4), u64::from(c[1] & 15)]).collect();
        let side = |high: &u8, low: &u8| u64::from(u16::from_be_bytes([*high, *low]));
        Some(Self { progressive: code == 0xc2, size: [side(w1, w0), side(h1, h0)], sampling })
    }

    fn pixels(&self) -> u64 {
        self.size[0] * self.size[1]
    }

    /// Blocks of 8 x 8 coefficients of all components; `padded` to whole units of interleaved scans (T.81, A.2).
    fn blocks(&self, padded: bool) -> u64 {
        let most = [0, 1].map(|axis| self.sampling.iter().map(|s| s[axis]).max().unwrap_or(1).max(1));
        let along = |s: &[u64; 2], axis: usize| {
            let units = self.size[axis].div_ceil(8 * most[axis]) * s[axis];
            if padded { units } else { (self.size[axis] * s[axis]).div_ceil(8 * most[axis]) }
        };
        self.sampling.iter().map(|s| along(s, 0) * along(s, 1)).sum()
    }
}

impl Outline {
    pub(super) fn of(bytes: &[u8]) -> Self {
        let (mut outline, mut at, mut first_scan) = (Self::default(), 2, None);
        while let Some(&[prefix, code]) = bytes.get(at..at + 2) {
            at += match (prefix, code) {
                (0xff, 0xd9) => {
                    outline.whole = true;
                    break;
                }
                (0xff, 0xff) => 1,
                (0xff, 0x00 | 0x01 | 0xd0..=0xd8) => 2,
                (0xff, _) => {
                    let Some(&[high, low]) = bytes.get(at + 2..at + 4) else { break };
                    let length = usize::from(u16::from_be_bytes([high, low]));
                    match code {
                        0xda => {
                            outline.scans += 1;
                            first_scan.get_or_insert(at);
                        }
                        0xc0..=0xcf if !matches!(code, 0xc4 | 0xc8 | 0xcc) && outline.frame.is_none() => {
                            outline.frame = bytes.get(at + 4..at + 2 + length).and_then(|h| Frame::read(code, h));
                        }
                        _ => {}
                    }
                    2 + length
                }
                _ => match bytes[at..].iter().position(|&b| b == 0xff) {
                    Some(step) => step,
                    None => break,
                },
            };
        }
        outline.scanned = first_scan.map_or(0, |first| at.saturating_sub(first) as u64);
        outline
    }

    /// Whether everything is there that the frame needs at the least. A block takes a bit in a progressive picture and two in
    /// another: no Huffman code is shorter (T.81, annex C), one bit says the difference of its mean, one its end.
    pub(super) fn is_whole(&self) -> bool {
        let enough = self.frame.as_ref().is_none_or(|f| {
            let bits = f.blocks(false) * if f.progressive { 1 } else { 2 };
            self.scanned >= bits / 8
        });
        self.whole && enough
    }

    /// Whether decoding it stays within the limits of scans.
    pub(super) fn check_scans(&self) -> Result<(), Error> {
        let pixels = self.frame.as_ref().map_or(0, Frame::pixels);
        if self.scans <= MAX_SCANS && self.scans as u64 * pixels <= MAX_SCANNED_MEGAPIXELS * 1_000_000 {
            return Ok(());
        }
        let what = format!("the JPEG is made of {} scans of {:.1} megapixels", self.scans, pixels as f64 / 1e6);
        let help = format!(
            "no camera writes more than {MAX_SCANS}, or so many of so large a picture; export it again as JPEG, not progressive"
        );
        Err(Error::new(ErrorKind::Photo, what).help(help))
    }

    /// Memory that its decoder takes beside the file and the pixels: all coefficients, two bytes each, where they come in several
    /// scans.
    pub(super) fn coefficient_bytes(&self) -> u64 {
        self.frame.as_ref().map_or(0, |f| if f.progressive || self.scans > 1 { f.blocks(true) * 64 * 2 } else { 0 })
    }
}
