//! Photos that are none, are cut off, or are not the ones that the landmarks were placed on.

use super::Case;
use crate::visits::headers::{
    Field, HEIGHT, ORIENTATION, WIDTH, block, claims, photo, plain, png_header, with_exif,
};

pub(crate) fn cases() -> Vec<Case> {
    let cut = |n: usize| photo()[..n].to_vec();
    let tiff = |entries: &[u8]| [b"II\x2a\0\x08\0\0\0".as_slice(), entries].concat();
    let raw = tiff(b"\x01\0\xfe\0\x04\0\x01\0\0\0\x01\0\0\0\0\0\0\0");
    vec![
        Case::photo("empty.jpg", Vec::new(), "?"),
        Case::photo("two-bytes.jpg", cut(2), "?"),
        Case::photo("cut-inside-the-header.jpg", cut(60), "?"),
        Case::photo("cut-before-its-size.jpg", cut(200), "?"),
        Case::photo("text-renamed.jpg", "Dear Ms Kay, the photos are in the other folder.", "?"),
        Case::photo("pdf-renamed.jpg", "%PDF-1.7\n", "?"),
        Case::photo("gif-renamed.jpg", "GIF89a\x20\x03\x58\x02", "?"),
        Case::photo("zeros.jpg", vec![0; 4096], "?"),
        Case::photo("no-size.jpg", [0xff, 0xd8, 0xff, 0xd9], "?"),
        Case::photo("negative-segment.jpg", [0xff, 0xd8, 0xff, 0xe1, 0, 1, 0, 0], "?"),
        Case::photo("no-height.jpg", claims(800, 0), "?"),
        Case::photo("huge.jpg", claims(65535, 65535), "?"),
        Case::photo("bomb.png", png_header(100_000, 100_000), "?"),
        Case::photo("sent-as-text.png", b"\x89PNG\n\n\x1a\n\0\0\0\x0dIHDR".as_slice(), "?"),
        Case::photo("no-ihdr.png", b"\x89PNG\r\n\x1a\n\0\0\0\0IEND\0\0\0\0\0\0\0\0".as_slice(), "?"),
        Case::photo("big.tiff", b"II\x2b\0\x08\0\0\0".as_slice(), "?"),
        Case::photo("no-size.tif", tiff(&[0; 6]), "?"),
        Case::photo("raw.tif", raw, "?"),
        Case::photo("no-frame.webp", b"RIFF\x04\0\0\0WEBP".as_slice(), "?"),
        Case::photo("cut.heic", b"\0\0\0\x18ftypheic\0\0\0\0heic".as_slice(), "?"),
        Case::photo("other-size.jpg", plain(640, 480), "?"),
        Case::photo("turned-since.jpg", plain(600, 800), "?"),
        Case::photo("turned-by-exif.jpg", with_exif(&[(ORIENTATION, Field::Short(6))], &[]), "?"),
        Case::photo(
            "cropped.jpg",
            with_exif(&[], &[(WIDTH, Field::Long(1600)), (HEIGHT, Field::Long(900))]),
            "?",
        ),
        Case::photo("exif-alone.jpg", block(&[], &[]), "?"),
        Case::photo("no-sidecar.jpg", photo(), "?").without_sidecar(),
        Case::photo("no-photo.jpg", photo(), "?").without_photo(),
    ]
}
