//! Annotated pictures as part of a page.

use super::Photo;
use super::model::PhotoFigure;
use super::words;

/// Pixels of all pictures of a page together: at about 0.15 bytes each a page stays below some 6 MB.
const PIXELS: f64 = 24e6;

/// Widest and narrowest picture, px.
const WIDTH: [f64; 2] = [720.0, 1400.0];

/// Most pictures on a page.
pub(super) const MOST: usize = 40;

/// Width of each picture where a page has so many.
pub(super) fn width(pictures: usize) -> u32 {
    // Height of a picture with its strip, as a share of its width.
    const HIGH: f64 = 1.15;
    (PIXELS / pictures.clamp(1, MOST) as f64 / HIGH).sqrt().clamp(WIDTH[0], WIDTH[1]) as u32
}

/// A photo's picture with alternative text and caption.
pub(super) fn figure(photo: &Photo, width: u32, draw: bool) -> PhotoFigure {
    let s = &photo.shot;
    let what = format!("{} {}, {}", words::foot(s.foot), words::seen(s.view, s.side), words::stage(s.stage));
    let mut figure = PhotoFigure {
        src: None,
        width: 0,
        height: 0,
        alt: format!("Photo: {what}, {}, with the measured lines and their values drawn on it.", words::day(s.day)),
        caption: format!("{what}. {}", photo.report.name),
        missing: None,
    };
    if !draw {
        figure.missing = Some("left out: this page has pictures enough".to_owned());
    } else {
        match picture(photo, width) {
            Ok((bytes, (w, h))) => {
                figure.src = Some(format!("data:image/jpeg;base64,{}", base64(&bytes)));
                (figure.width, figure.height) = (w, h);
            }
            Err(why) => figure.missing = Some(why.to_string()),
        }
    }
    figure
}

#[cfg(feature = "pictures")]
fn picture(photo: &Photo, width: u32) -> crate::Result<(Vec<u8>, (u32, u32))> {
    use crate::file::{FileKind, read_file};
    use crate::picture::{PictureOptions, annotate_bytes};
    let r = &photo.report;
    let bytes = read_file(&r.path, FileKind::Photo)?;
    let options = PictureOptions { width, quality: 80, ..PictureOptions::default() };
    let jpeg = annotate_bytes(&bytes, &r.facts, &r.sidecar_as_read(), &r.measured, &options)?;
    let size = image::ImageReader::new(std::io::Cursor::new(&jpeg))
        .with_guessed_format()
        .ok()
        .and_then(|r| r.into_dimensions().ok())
        .unwrap_or((width, width));
    Ok((jpeg, size))
}

#[cfg(not(feature = "pictures"))]
fn picture(_: &Photo, _: u32) -> crate::Result<(Vec<u8>, (u32, u32))> {
    Err(crate::Error::new(crate::ErrorKind::Usage, "this program was built without pictures"))
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let word = three.iter().fold(0_u32, |w, b| w << 8 | u32::from(*b)) << (8 * (3 - three.len()));
        for i in 0..4 {
            let letter = LETTERS[(word >> (18 - 6 * i)) as usize & 63];
            out.push(if i <= three.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn base64_of_the_rfc() {
        let vectors = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (text, encoded) in vectors {
            assert_eq!(base64(text.as_bytes()), encoded);
        }
    }

    #[test]
    fn many_pictures_are_small_ones() {
        assert_eq!(width(4), 1400);
        assert_eq!(width(1000), width(MOST));
        assert!((800..1000).contains(&width(30)));
    }
}
