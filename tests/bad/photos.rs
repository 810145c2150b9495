//! Photos that are none, are cut off, or are not the ones that the landmarks were placed on.

use super::Case;
use crate::visits::headers::{Field, HEIGHT, ORIENTATION, WIDTH, block, claims, photo, plain, png_header, with_exif};

pub(crate) fn cases() -> Vec<Case> {
    let cut = |n: usize| photo()[..n].to_vec();
    let tiff = |entries: &[u8]| [b"II\x2a\0\x08\0\0\0".as_slice(), entries].concat();
    let raw = tiff(b"\x01\0\xfe\0\x04\0\x01\0\0\0\x01\0\0\0\0\0\0\0");
    vec![
        Case::photo("empty.jpg", Vec::new(), ": the file is empty\ncopy it again from the camera or the backup"),
        Case::photo("two-bytes.jpg", cut(2), ": the photo is cut off: its file ends before the header does\ncopy it again from the camera or the backup"),
        Case::photo("cut-inside-the-header.jpg", cut(60), ": the photo is cut off: its file ends before the header does\ncopy it again from the camera or the backup"),
        Case::photo("cut-before-its-size.jpg", cut(200), ": the photo is cut off: its file ends before the header does\ncopy it again from the camera or the backup"),
        Case::photo("text-renamed.jpg", "Dear Ms Kay, the photos are in the other folder.", ": the file is not a photo of a known type\nphotos are read as JPEG, PNG, TIFF, WebP and HEIC; export the photo as JPEG from the program that shows it"),
        Case::photo("pdf-renamed.jpg", "%PDF-1.7\n", ": the file is not a photo of a known type\nphotos are read as JPEG, PNG, TIFF, WebP and HEIC; export the photo as JPEG from the program that shows it"),
        Case::photo("gif-renamed.jpg", "GIF89a\x20\x03\x58\x02", ": the file is not a photo of a known type\nphotos are read as JPEG, PNG, TIFF, WebP and HEIC; export the photo as JPEG from the program that shows it"),
        Case::photo("zeros.jpg", vec![0; 4096], ": the file begins with zeros: it was not copied whole\ncopy it again from the camera or the backup"),
        Case::photo("no-size.jpg", [0xff, 0xd8, 0xff, 0xd9], ": the photo's header is damaged: no size in it (no frame header before the first scan)\ncopy it again from the camera or the backup"),
        Case::photo("negative-segment.jpg", [0xff, 0xd8, 0xff, 0xe1, 0, 1, 0, 0], ": the photo's header is damaged: a segment of negative length\ncopy it again from the camera or the backup"),
        Case::photo("no-height.jpg", claims(800, 0), ": the photo says that it is 800 x 0 px\ncopy it again from the camera or the backup"),
        Case::photo("huge.jpg", claims(65535, 65535), ": the photo says that it is 65535 x 65535 px, more than 250 megapixels\ncheck that it is a camera's photo and whole; a stitched panorama cannot be measured"),
        Case::photo("bomb.png", png_header(100_000, 100_000), ": the photo says that it is 100000 x 100000 px, more than 250 megapixels\ncheck that it is a camera's photo and whole; a stitched panorama cannot be measured"),
        Case::photo("sent-as-text.png", b"\x89PNG\n\n\x1a\n\0\0\0\x0dIHDR".as_slice(), ": the photo's header is damaged: no PNG signature (was it sent as text?)\ncopy it again from the camera or the backup"),
        Case::photo("no-ihdr.png", b"\x89PNG\r\n\x1a\n\0\0\0\0IEND\0\0\0\0\0\0\0\0".as_slice(), ": the photo's header is damaged: IHDR is not its first chunk\ncopy it again from the camera or the backup"),
        Case::photo("big.tiff", b"II\x2b\0\x08\0\0\0".as_slice(), ": the file is a BigTIFF, which is not read\nphotos are read as JPEG, PNG, TIFF, WebP and HEIC; export the photo as JPEG from the program that shows it"),
        Case::photo("no-size.tif", tiff(&[0; 6]), ": the photo's header is damaged: no size in its first directory\ncopy it again from the camera or the backup"),
        Case::photo("raw.tif", raw, ": the file is a camera's raw picture, which is not read\nphotos are read as JPEG, PNG, TIFF, WebP and HEIC; export the photo as JPEG from the program that shows it"),
        Case::photo("no-frame.webp", b"RIFF\x04\0\0\0WEBP".as_slice(), ": the photo's header is damaged: no size in it (no VP8, VP8L or VP8X chunk)\ncopy it again from the camera or the backup"),
        Case::photo("cut.heic", b"\0\0\0\x18ftypheic\0\0\0\0heic".as_slice(), ": the photo is cut off: its file ends before the header does\ncopy it again from the camera or the backup"),
        Case::photo("other-size.jpg", plain(640, 480), ": upright it has 640 x 480 px, its sidecar says 800 x 600 px\nuse the photo that the landmarks were placed on, or place them again on this one"),
        Case::photo("turned-since.jpg", plain(600, 800), ": upright it has 600 x 800 px, its sidecar says 800 x 600 px; it was turned since\nuse the photo that the landmarks were placed on, or place them again on this one"),
        Case::photo("turned-by-exif.jpg", with_exif(&[(ORIENTATION, Field::Short(6))], &[]), ": upright it has 600 x 800 px, its sidecar says 800 x 600 px; it was turned since\nuse the photo that the landmarks were placed on, or place them again on this one"),
        Case::photo(
            "cropped.jpg",
            with_exif(&[], &[(WIDTH, Field::Long(1600)), (HEIGHT, Field::Long(900))]),
            ": was cropped: the camera recorded 1600 x 900 px, the file has 800 x 600 px\nuse the photo as the camera stored it: a crop hides where the lens's middle was",
        ),
        Case::photo("exif-alone.jpg", block(&[], &[]), ": the photo's header is damaged: no size in its first directory\ncopy it again from the camera or the backup"),
        Case::photo("no-sidecar.jpg", photo(), ": has no sidecar\n`hoofgeo start FOLDER` writes one with empty slots").without_sidecar(),
        Case::photo("no-photo.jpg", photo(), ".hoof.json: the photo that this sidecar belongs to is missing\nput no-photo.jpg beside it, or remove the sidecar").without_photo(),
    ]
}
