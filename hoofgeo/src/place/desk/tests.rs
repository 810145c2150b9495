use super::*;
use crate::photo::tests::exif_writer::{ExifTag, with_exif};
use crate::sidecar::Placement;

/// A phone's photo, all grey.
fn photo() -> Vec<u8> {
    let mut jpeg = Vec::new();
    let encoder = jpeg_encoder::Encoder::new(&mut jpeg, 80);
    encoder.encode(&[128; 400 * 300], 400, 300, jpeg_encoder::ColorType::Luma).unwrap();
    with_exif(
        jpeg,
        [ExifTag::Make("Generic".into()), ExifTag::Model("Phone".into()), ExifTag::FocalLengthIn35mmFormat(26)],
    )
}

const PROFILE: &str = r#"{ "format": "hoofgeo-lens/1", "camera": { "make": "Generic", "model": "Phone" },
  "frame": { "width_px": 400, "height_px": 300 }, "focal_px": 300, "principal_point_px": [200, 150],
  "distortion": { "model": "brown_conrady", "k1": 0, "k2": 0, "k3": 0, "p1": 0, "p2": 0 },
  "order": ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"],
  "covariance": [[4,0,0,0,0,0,0,0],[0,1,0,0,0,0,0,0],[0,0,1,0,0,0,0,0],[0,0,0,0,0,0,0,0],[0,0,0,0,0,0,0,0],
    [0,0,0,0,0,0,0,0],[0,0,0,0,0,0,0,0],[0,0,0,0,0,0,0,0]] }"#;

#[test]
fn a_profile_chosen_by_itself_goes_into_a_folder_of_ones_own() {
    let dir = tempfile::tempdir().unwrap();
    let visit = dir.path().join("visit");
    std::fs::create_dir_all(visit.join("sub")).unwrap();
    std::fs::write(visit.join("phone.lens.json"), PROFILE).unwrap();
    std::fs::write(visit.join("sub/LF-side.jpg"), photo()).unwrap();
    let out = dir.path().join("mine");
    let options = PlaceOptions { observer: Some("MK".into()), out: Some(out.clone()), ..PlaceOptions::default() };
    let desk = Desk::open(&visit, options).unwrap();
    let opened = desk.open_photo(0).unwrap();
    let mut draft = opened.draft;
    draft.landmarks.0[0].1 = Some(Placement::once([100.0, 100.0]));
    let saved = desk.save(0, &opened.version, &draft, None).unwrap();
    assert!(matches!(saved, Saved::Written { .. }));
    let text = std::fs::read_to_string(out.join("sub/LF-side.jpg.hoof.json")).unwrap();
    assert!(text.contains("\"lens\": \"../phone.lens.json\""), "{text}");
    assert_eq!(std::fs::read_to_string(out.join("phone.lens.json")).unwrap(), PROFILE);
}

#[cfg(unix)]
#[test]
fn results_do_not_go_where_a_link_in_the_folder_leads() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("LF-side.jpg"), photo()).unwrap();
    let theirs = tempfile::tempdir().unwrap();
    std::os::unix::fs::symlink(theirs.path(), dir.path().join("results")).unwrap();
    let e = Desk::open(dir.path(), PlaceOptions::default()).unwrap_err();
    assert!(e.what().starts_with("is a link"), "{e}");
}
