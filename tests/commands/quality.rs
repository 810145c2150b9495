//! What `hoofgeo check` says of a photo's quality.

use super::two_good;
use crate::visits::headers;

#[test]
fn check_says_which_photos_to_take_again() {
    let folder = two_good();
    // 800 x 600 px, 2 px/mm, all grey.
    let run = folder.run("check visit").ends(0);
    let coarse = "note: the photo shows the hoof with 2.0 px/mm only: use the camera's full size";
    assert_eq!(run.out().matches(coarse).count(), 2, "{}", run.out());
    assert!(!run.out().contains("blurred") && !run.out().contains("burnt out"), "{}", run.out());
    // Geometry needs no pixels; light does.
    let black = jpeg(2);
    folder.write("IMG_2.jpg", &black);
    folder.write("LF.jpg", &black);
    let run = folder.run("check visit").ends(1);
    assert_eq!(run.out().matches("note: 100 % of the hoof is lost in black").count(), 2, "{}", run.out());
    assert!(run.out().contains("\nphoto   LF.jpg\n        note: 100 %"), "a photo without a sidecar: {}", run.out());
    let run = folder.run("check visit --no-pixels").ends(1);
    assert!(run.out().contains(coarse) && !run.out().contains("black"), "{}", run.out());
    assert_eq!(folder.run("check visit --quiet").ends(1).out(), "");
}

/// A grey photo of the usual size with the usual EXIF, of this brightness.
fn jpeg(grey: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let pixels = vec![grey; usize::from(crate::visits::FRAME.0) * usize::from(crate::visits::FRAME.1)];
    let encoder = jpeg_encoder::Encoder::new(&mut bytes, 80);
    encoder.encode(&pixels, crate::visits::FRAME.0, crate::visits::FRAME.1, jpeg_encoder::ColorType::Luma).unwrap();
    headers::with_app1(&bytes, &headers::block(&[], &[(headers::FOCAL_35MM, headers::Field::Short(26))]))
}
