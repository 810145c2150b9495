//! What `hoofgeo check` says of a photo's quality.

use super::two_good;
use crate::visits::headers;

#[test]
fn check_says_which_photos_to_take_again() {
    let folder = two_good();
    // 800 x 600 px, 2 px/mm, all grey.
    let run = folder.run("check visit").ends(0);
    let coarse = "note: the photo shows the hoof with 2.1 px/mm only: use the camera's full size";
    assert_eq!(run.out().matches(coarse).count(), 2, "{}", run.out());
    assert!(!run.out().contains("blurred") && !run.out().contains("burnt out"), "{}", run.out());
    // Geometry needs no pixels; light does.
    let black = jpeg(2);
    folder.write("IMG_2.jpg", &black);
    folder.write("LF.jpg", &black);
    let run = folder.run("check visit").ends(1);
    assert_eq!(run.out().matches("100 % of the hoof is lost in black").count(), 2, "{}", run.out());
    assert!(
        run.out().contains("\nagain   LF.jpg: 100 % of the hoof is lost in black"),
        "without a sidecar: {}",
        run.out()
    );
    assert!(
        run.out()
            .ends_with("2 would be measured, 0 refused, 1 without a sidecar: mark them with `hoofgeo place visit`\n")
    );
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

/// A phone's folder before anything is marked: a line a photo, the most urgent first; what is no photo is named and left alone.
#[test]
fn bare_photos_are_sorted_by_urgency() {
    let folder = crate::visits::Folder::new();
    let grey = jpeg(128);
    folder.write("IMG_2041.jpg", &grey);
    folder.write("IMG_2042.jpg", &grey);
    folder.write("IMG_E2041.jpg", jpeg(120));
    folder.write("IMG_2043.jpg", jpeg(2));
    folder.write("IMG_2044.HEIC", &grey[..200]);
    for other in ["._IMG_2041.jpg", "IMG_2041.AAE", "IMG_2041.MOV", "walk.mp4"] {
        folder.write(other, "not a photo");
    }
    let before = folder.files();
    let run = folder.run("check visit").ends(1);
    assert_eq!(folder.files(), before);
    assert_eq!(run.err(), "");
    let lines: Vec<&str> = run.out().lines().collect();
    let starts = |i: usize, with: &str| assert!(lines[i].starts_with(with), "line {i}: {}", run.out());
    starts(0, "without a sidecar, the most urgent first:");
    starts(1, "again   IMG_2043.jpg: ");
    starts(2, "again   IMG_2044.HEIC: ");
    starts(3, "copy    IMG_E2041.jpg: ");
    starts(4, "double  IMG_2042.jpg: ");
    starts(5, "good    IMG_2041.jpg: ");
    assert!(lines[3].contains("measure IMG_2041.jpg beside it") && lines[4].contains("the same photo as IMG_2041.jpg"));
    let aside = run.out().lines().filter(|l| l.starts_with("aside ")).count();
    assert_eq!(aside, 4, "{}", run.out());
    assert!(run.out().contains("0 would be measured, 0 refused, 5 without a sidecar"), "{}", run.out());
    let header = folder.run("check visit --no-pixels").ends(1);
    assert!(
        !header.out().contains("lost in black") && header.out().contains("again   IMG_2044.HEIC"),
        "{}",
        header.out()
    );
}
