use super::super::*;
use super::exif_writer::{ExifTag as T, Ratio};
use super::{facts_of, fixture, jpeg_headers, ratio, with_exif};
use std::fs;

/// An invented phone, held upright.
fn phone() -> Vec<T> {
    vec![
        T::Orientation(6),
        T::Make("Example".into()),
        T::Model("Example phone".into()),
        T::LensModel("Example back camera 4.25mm f/1.8".into()),
        T::FocalLength(ratio(4.25)),
        T::FocalLengthIn35mmFormat(26),
        T::DigitalZoomRatio(ratio(1.0)),
        T::DateTimeOriginal("2026:05:04 09:30:00".into()),
        T::OffsetTimeOriginal("+01:00".into()),
        T::ExifImageWidth(4032),
        T::ExifImageHeight(3024),
    ]
}

#[test]
fn every_field_is_read_back() {
    let facts = facts_of(4032, 3024, phone());
    let text = |s: &str| Some(s.to_owned());
    assert_eq!(
        facts,
        PhotoFacts {
            photo_type: PhotoType::Jpeg,
            width_px: 3024,
            height_px: 4032,
            stored_width_px: 4032,
            stored_height_px: 3024,
            orientation: Orientation::TurnClockwise,
            make: text("Example"),
            model: text("Example phone"),
            lens_model: text("Example back camera 4.25mm f/1.8"),
            focal_mm: Some(4.25),
            focal_35mm: Some(26.0),
            digital_zoom: Some(1.0),
            taken: text("2026-05-04T09:30:00+01:00"),
            exif_width_px: Some(4032),
            exif_height_px: Some(3024),
            remarks: vec![],
        }
    );
    // A frame 4032 x 3024 has a diagonal of exactly 5040 px: 26 · 5040 / √(36² + 24²).
    let expected = 26.0 * 5040.0 / 36f64.hypot(24.0);
    assert!((facts.prior_focal_px().unwrap() - expected).abs() < 1e-9);
}

#[test]
fn a_photo_without_exif_says_so() {
    let facts = facts_from_bytes(&jpeg_headers(640, 480)).unwrap();
    assert_eq!((facts.width_px, facts.height_px, facts.orientation), (640, 480, Orientation::Upright));
    assert_eq!((&facts.remarks[..], facts.prior_focal_px(), facts.taken), (&[Remark::NoExif][..], None, None));
}

#[test]
fn no_zone_is_assumed_and_no_date_invented() {
    let taken = |date: &str, offset: Option<&str>| {
        let tags = [T::DateTimeOriginal(date.into())];
        let facts = facts_of(64, 48, tags.into_iter().chain(offset.map(|o| T::OffsetTimeOriginal(o.into()))));
        (facts.taken, facts.remarks)
    };
    let ok = |s: &str| (Some(s.to_owned()), vec![]);
    assert_eq!(taken("2026:05:04 09:30:00", None), ok("2026-05-04T09:30:00"));
    assert_eq!(taken("2026:05:04 09:30:00", Some("-03:30")), ok("2026-05-04T09:30:00-03:30"));
    assert_eq!(taken("2026:05:04 09:30:00", Some("   :  ")), ok("2026-05-04T09:30:00"));
    assert_eq!(taken("0000:00:00 00:00:00", None), (None, vec![]));
    assert_eq!(taken("    :  :     :  :  ", None), (None, vec![]));
    for wrong in ["2026:02:30 09:30:00", "2026:05:04", "2026:05:04 24:00:00", "2026:+5:04 09:30:00", "4 May 2026"] {
        assert_eq!(taken(wrong, None), (None, vec![Remark::InvalidDate { text: wrong.into() }]));
    }
    let (taken, remarks) = taken("2026:05:04 09:30:00", Some("+25:00"));
    assert_eq!(
        (taken.as_deref(), &remarks[..]),
        (Some("2026-05-04T09:30:00"), &[Remark::InvalidOffset { text: "+25:00".into() }][..])
    );
}

/// Whatever we print with an offset is RFC 3339 to an independent parser.
#[test]
fn a_time_with_offset_is_rfc_3339() {
    let text = facts_of(64, 48, phone()).taken.unwrap();
    let instant: jiff::Timestamp = text.parse().unwrap();
    assert_eq!(instant.to_string(), "2026-05-04T08:30:00Z");
}

#[test]
fn a_size_other_than_recorded_is_told_apart() {
    let recorded = |w, h, actual: (u16, u16), o| {
        facts_of(
            actual.0,
            actual.1,
            [T::ExifImageWidth(w), T::ExifImageHeight(h), T::FocalLengthIn35mmFormat(28), T::Orientation(o)],
        )
    };
    let resized = recorded(3552, 2000, (1278, 720), 1);
    assert_eq!(resized.remarks, [Remark::Resized { recorded: (3552, 2000), actual: (1278, 720) }]);
    assert!(resized.prior_focal_px().is_some(), "a smaller picture keeps its angle of view");
    let cropped = recorded(4352, 2904, (80, 80), 1);
    assert_eq!(cropped.remarks, [Remark::Cropped { recorded: (4352, 2904), actual: (80, 80) }]);
    assert_eq!(cropped.prior_focal_px(), None, "the camera's diagonal is not this frame's");
    assert_eq!(recorded(4032, 3024, (3024, 4032), 1).remarks, [], "turned by an editor");
    let twice = recorded(4032, 3024, (3024, 4032), 6);
    assert_eq!(twice.remarks, [Remark::TurnedTwice { orientation: Orientation::TurnClockwise }]);
}

#[test]
fn unusable_values_are_named_and_not_used() {
    let with = |tag| facts_of(4000, 3000, [tag]);
    let f = with(T::Orientation(0));
    assert_eq!((f.orientation, &f.remarks[..]), (Orientation::Upright, &[Remark::InvalidOrientation { value: 0 }][..]));
    let f = with(T::FocalLengthIn35mmFormat(0));
    assert_eq!((f.focal_35mm, f.prior_focal_px(), f.remarks), (None, None, vec![]));
    let f = with(T::FocalLengthIn35mmFormat(65535));
    assert_eq!((f.prior_focal_px(), f.remarks), (None, vec![Remark::ImplausibleFocal35 { mm: 65535.0 }]));
    assert_eq!(with(T::FocalLength(Ratio(0, 0))).focal_mm, None);
    let f = with(T::DigitalZoomRatio(ratio(0.0)));
    assert_eq!((f.digital_zoom, f.remarks), (Some(1.0), vec![]));
    assert_eq!(with(T::DigitalZoomRatio(ratio(1.000661813))).remarks, [], "a phone's way of writing none");
    assert_eq!(with(T::DigitalZoomRatio(ratio(2.0))).remarks, [Remark::DigitalZoom { ratio: 2.0 }]);
    // Colour codes in a camera's name must not reach a terminal.
    assert_eq!(with(T::Model("\u{1b}[31mX ".into())).model.as_deref(), Some("[31mX"));
    assert_eq!(with(T::Model("   ".into())).model, None);
}

#[test]
fn a_focal_plane_resolution_kept_from_before_reduction_is_noticed() {
    let plane = |per_unit, unit| {
        facts_of(100, 68, [T::FocalPlaneXResolution(ratio(per_unit)), T::FocalPlaneResolutionUnit(unit)]).remarks
    };
    let Some(Remark::ImplausibleFocalPlaneResolution { sensor_width_mm }) = plane(4000.0, 2).pop() else { panic!() };
    assert!((sensor_width_mm - 100.0 * 25.4 / 4000.0).abs() < 1e-9);
    assert_eq!(plane(100.0 / 2.36, 3), [], "100 px at 42.4 per cm is 23.6 mm, an APS-C sensor");
}

#[test]
fn a_damaged_exif_costs_only_itself() {
    let mut photo = with_exif(jpeg_headers(4032, 3024), phone());
    // The date's count: its text would now reach far beyond the block.
    let at = photo.windows(4).position(|w| w == [0x90, 0x03, 0, 2] || w == [0x03, 0x90, 2, 0]).unwrap();
    photo[at + 4..at + 8].copy_from_slice(&[0x7f; 4]);
    let facts = facts_from_bytes(&photo).unwrap();
    assert_eq!((facts.width_px, facts.taken.as_deref()), (3024, None));
    assert_eq!(facts.make.as_deref(), Some("Example"));
    assert!(matches!(&facts.remarks[..], [Remark::PartialExif { .. }]), "{:?}", facts.remarks);
}

/// What libheif shows of each is written in fixtures/exif/SOURCE.md.
#[test]
fn heic_follows_the_container_and_the_primary_picture() {
    let read = |name: &str| read_facts(fixture(name)).unwrap();
    let turned = read("turned.heic");
    assert_eq!((turned.photo_type, turned.orientation), (PhotoType::Heic, Orientation::TurnClockwise));
    // Not the thumbnail's 32 x 24.
    assert_eq!((turned.stored_width_px, turned.stored_height_px), (64, 48));
    assert_eq!((turned.width_px, turned.height_px), (48, 64));
    assert_eq!((turned.focal_mm, turned.focal_35mm), (Some(4.25), Some(26.0)));
    assert_eq!(turned.taken.as_deref(), Some("2026-05-04T09:30:00+01:00"));
    assert_eq!(turned.lens_model.as_deref(), Some("Example back camera 4.25mm f/1.8"));
    assert_eq!(turned.remarks, []);
    let mirrored = read("mirrored.heic");
    assert_eq!((mirrored.orientation, &mirrored.remarks[..]), (Orientation::Transpose, &[][..]));
    let unturned = read("unturned.heic");
    assert_eq!((unturned.width_px, unturned.height_px), (64, 48));
    let differ = Remark::OrientationsDiffer { container: Orientation::Upright, exif: Orientation::TurnClockwise };
    assert_eq!(unturned.remarks, [differ]);
}

#[test]
fn one_read_gives_the_same_as_two() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("a.jpg");
    fs::write(&path, with_exif(jpeg_headers(4032, 3024), phone())).unwrap();
    let (facts, sha) = read_facts_and_fingerprint(&path).unwrap();
    assert_eq!((facts, sha), (read_facts(&path).unwrap(), fingerprint(&path).unwrap()));
}

/// FIPS 180-4 examples: "abc" and one million times "a" (NIST's published example values).
#[test]
fn fingerprints_are_sha_256() {
    let abc = Sha256Hex::of(b"abc").to_string();
    assert_eq!(abc, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    let file = tempfile::NamedTempFile::new().unwrap();
    fs::write(file.path(), vec![b'a'; 1_000_000]).unwrap();
    let million = fingerprint(file.path()).unwrap().to_string();
    assert_eq!(million, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}
