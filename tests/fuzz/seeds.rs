//! Good inputs to begin with. Horses and cameras are invented.

use super::targets::BETWEEN;
use hoofgeo::image::codecs::jpeg::JpegEncoder;
use hoofgeo::image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use hoofgeo::placement::PlacementTable;
use hoofgeo::review::Rules;
use hoofgeo::visit::{Outputs, Part, ResultFile, Stop, VisitOptions, measure_folder};
use std::io::Cursor;
use std::path::PathBuf;
use std::sync::OnceLock;

fn fixture(name: &str) -> Vec<u8> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(name);
    std::fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

const LATERAL: &str = r#"{
  "format": "hoofgeo-sidecar/1",
  "photo": { "file": "side.png", "width_px": 96, "height_px": 64 },
  "subject": { "animal": "Kestrel", "foot": "LF" },
  "view": "lateral", "side": "lateral", "stage": "before_trim", "taken": "2026-05-04T09:30:00+01:00", "observer": "MK",
  "scale": { "kind": "straight_ruler", "tolerance": { "class": "II" }, "points": [
    { "mm": 0, "at": [10, 55] }, { "mm": 50, "at": [30, 55] }, { "mm": 100, "at": [50, 55], "u_px": 0.5 }, { "mm": 200, "at": [90, 55] } ] },
  "planes": { "near_heel": { "behind_scale_mm": -30, "u_mm": 10 } },
  "landmarks": {
    "toe_coronet": { "at": [34.4, 24.6] }, "toe_ground": { "at": [[14, 48], [14.5, 48.2]] },
    "heel_coronet": { "at": [63, 36] }, "heel_ground": { "at": [58, 48] }, "dorsal_mid": null },
  "lines": { "outer_wall": [[34, 25], [30, 30], [26, 36], [20, 42], [14, 48]] },
  "gauge": { "dorsal_wall_angle_deg": 50 },
  "notes": "wet hoof"
}"#;

const SOLAR: &str = r#"{
  "format": "hoofgeo-sidecar/1",
  "photo": { "file": "sole.png", "width_px": 4000, "height_px": 3000 },
  "subject": { "animal": "Marlow", "foot": "RH" },
  "view": "solar",
  "scale": { "kind": "card_id1", "points": [ { "mm": [0, 0], "at": [500, 500] }, { "mm": [85.6, 0], "at": [1356, 510] },
    { "mm": [85.6, 53.98], "at": [1350, 1050] }, { "mm": [0, 53.98], "at": [495, 1040] } ] },
  "lens": "phone.lens.json",
  "landmarks": {}, "lines": {}
}"#;

pub(super) fn sidecars() -> Vec<Vec<u8>> {
    let mut all: Vec<Vec<u8>> = [LATERAL, SOLAR].map(|s| s.as_bytes().to_vec()).to_vec();
    all.push(fixture("bench/lateral.json"));
    all.push(fixture("formats/sidecar.json"));
    all
}

pub(super) fn visits() -> Vec<Vec<u8>> {
    let whole = r#"{ "format": "hoofgeo-visit/1", "subject": { "animal": "Kestrel" }, "observer": "MK", "taken": "2026-05-04",
        "scale": { "kind": "straight_ruler", "tolerance": { "class": "II" }, "metric": true }, "notes": "wet hoof" }"#;
    [whole, "{}", r#"{ "lens": "phone.lens.json", "planes": { "near_heel": { "behind_scale_mm": -30, "u_mm": 10 } } }"#]
        .map(|s| s.as_bytes().to_vec())
        .to_vec()
}

pub(super) fn lenses() -> Vec<Vec<u8>> {
    calibrations()
        .iter()
        .filter_map(|text| {
            let text = std::str::from_utf8(text).ok()?;
            hoofgeo::calibrate::import_opencv(text, &hoofgeo::calibrate::ImportOptions::default()).ok()
        })
        .map(|profile| profile.to_json().into_bytes())
        .collect()
}

pub(super) fn rules() -> Vec<Vec<u8>> {
    vec![Rules::own_text().as_bytes().to_vec()]
}

pub(super) fn placements() -> Vec<Vec<u8>> {
    let spread =
        r#"{ "within_along_mm": 0.5, "within_across_mm": 0.7, "between_along_mm": 0.4, "between_across_mm": 0 }"#;
    let text = &format!(
        r#"{{ "format": "hoofgeo-placement/1", "observers": 2, "photos": 12, "lateral": {{ "toe_ground": {spread} }}, "solar": {{}} }}"#
    );
    let mut all = vec![text.as_bytes().to_vec()];
    all.extend(PlacementTable::parse(text).map(|table| table.to_json().into_bytes()));
    all
}

/// Tiny pictures in each container, plain and with EXIF, and the HEIC of the fixtures.
pub(super) fn pictures() -> Vec<Vec<u8>> {
    // Stripes as a ruler has them, and something else beside.
    let rgb = RgbImage::from_fn(64, 40, |x, y| {
        let on = y < 20 && x % 4 < 2 && (y < 10 || x % 20 < 2);
        Rgb(if on { [20; 3] } else { [(x * 3) as u8, (y * 5) as u8, 180] })
    });
    let colour = DynamicImage::ImageRgb8(rgb.clone());
    let mut all = Vec::new();
    for (picture, format) in [
        (colour.clone(), ImageFormat::Png),
        (DynamicImage::ImageRgb16(colour.to_rgb16()), ImageFormat::Png),
        (DynamicImage::ImageLumaA8(colour.to_luma_alpha8()), ImageFormat::Png),
        (colour.clone(), ImageFormat::Tiff),
        (DynamicImage::ImageLuma16(colour.to_luma16()), ImageFormat::Tiff),
        (colour.clone(), ImageFormat::WebP),
        (DynamicImage::ImageRgba8(colour.to_rgba8()), ImageFormat::WebP),
    ] {
        let mut bytes = Vec::new();
        if picture.write_to(&mut Cursor::new(&mut bytes), format).is_ok() {
            all.push(bytes);
        }
    }
    for quality in [40, 95] {
        let mut jpeg = Vec::new();
        if JpegEncoder::new_with_quality(&mut jpeg, quality).encode_image(&rgb).is_ok() {
            all.push(jpeg.clone());
            jpeg.splice(2..2, app1());
            all.push(jpeg);
        }
    }
    all.extend(["turned.heic", "mirrored.heic", "unturned.heic"].map(|name| fixture(&format!("exif/{name}"))));
    all
}

/// An EXIF segment with orientation, date, equivalent focal length and digital zoom.
fn app1() -> Vec<u8> {
    let mut block = b"Exif\0\0II*\0\x08\0\0\0".to_vec();
    let entry = |tag: u16, kind: u16, count: u32, value: u32| {
        [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes(), &value.to_le_bytes()].concat()
    };
    block.extend(2u16.to_le_bytes());
    block.extend(entry(0x0112, 3, 1, 6));
    block.extend(entry(0x8769, 4, 1, 38));
    block.extend([0; 4]);
    block.extend(3u16.to_le_bytes());
    block.extend(entry(0x9003, 2, 20, 80));
    block.extend(entry(0xa404, 5, 1, 100));
    block.extend(entry(0xa405, 3, 1, 26));
    block.extend([0; 4]);
    block.extend(b"2026:05:04 09:30:00\0");
    block.extend([1, 0, 0, 0, 1, 0, 0, 0]);
    [&[0xff, 0xe1], &(block.len() as u16 + 2).to_be_bytes()[..], &block].concat()
}

pub(super) fn landmarks() -> Vec<Vec<u8>> {
    let with_outline = b"LM=2\n-1 -1\n3 4.5\nOUTLINES=1\nPOINTS=3\n0 0\n1 0\n0 1\nCOMMENT=mm\nVARIABLES=a\n".to_vec();
    vec![fixture("morphometrics/digitised.tps"), with_outline]
}

pub(super) fn calibrations() -> Vec<Vec<u8>> {
    let mut all: Vec<Vec<u8>> = ["left_intrinsics.json", "left_intrinsics.xml", "left_intrinsics.yml", "stereo.yml"]
        .map(|name| fixture(&format!("opencv/storage/{name}")))
        .to_vec();
    all.push(
        b"%YAML:1.0\n---\nimage_width: 640\nimage_height: 480\ncamera_matrix: !!opencv-matrix\n   rows: 3\n   cols: 3\n   dt: d\n   \
          data: [ 535.9, 0., 342.3, 0., 535.9, 235.6, 0., 0., 1. ]\ndistortion_coefficients: !!opencv-matrix\n   rows: 5\n   cols: 1\n   \
          dt: d\n   data: [ -0.266, -0.0386, 0.00178, -0.000281, 0.238 ]\n"
            .to_vec(),
    );
    all
}

pub(super) fn databases() -> Vec<Vec<u8>> {
    vec![
        br#"<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE lensdatabase SYSTEM "lensfun-database.dtd">
<lensdatabase version="1">
  <mount><name>Fell</name><compat>M42</compat></mount>
  <camera><maker>Fell Optical</maker><model lang="de">Reflexkamera</model><model>Fell R2</model><mount>Fell</mount><cropfactor>1.6</cropfactor></camera>
  <camera><maker>Fell Optical</maker><model>Fell Pocket</model><mount>fellPocket</mount><cropfactor>6</cropfactor></camera>
  <camera><maker>Fell Optical</maker><model>Wide</model><variant>16:9</variant><mount>fellWide</mount><cropfactor>4.9</cropfactor></camera>
  <lens><maker>Fell Optical</maker><model>Fell 20-60mm f/3.5-5.6 G</model><mount>Fell</mount><cropfactor>1.6</cropfactor>
    <calibration><distortion model="ptlens" focal="20" a="0.02" b="-0.06" c="0.01"/><distortion model="ptlens" focal="30" a="0.01"/>
      <distortion model="poly3" focal="40" k1="-0.02"/><distortion model="poly5" focal="50" k1="-0.01" k2="0.002"/></calibration></lens>
  <lens><maker>Fell Optical</maker><model>Pocket &amp; compatibles</model><mount>fellPocket</mount><cropfactor>6</cropfactor>
    <aspect-ratio>4:3</aspect-ratio><calibration><distortion model="ptlens" focal="4.25" a="0.02" b="-0.08" c="0.1"/></calibration></lens>
</lensdatabase>"#
            .to_vec(),
    ]
}

/// The files of a part with one photo, by name; made once, by measuring.
pub(super) fn part() -> &'static [(String, Vec<u8>)] {
    static FILES: OnceLock<Vec<(String, Vec<u8>)>> = OnceLock::new();
    FILES.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let visit = folder.path().join("visit");
        std::fs::create_dir(&visit).expect("a folder");
        RgbImage::from_pixel(96, 64, Rgb([120; 3])).save(visit.join("side.png")).expect("a picture");
        std::fs::write(visit.join("side.png.hoof.json"), LATERAL).expect("a sidecar");
        std::fs::write(visit.join("none.png"), "no picture").expect("a file");
        let part: Part = "1/1".parse().expect("a part");
        let outputs =
            Outputs::in_folder(folder.path().join("results")).with_files([ResultFile::JsonLines]).with_part(Some(part));
        measure_folder(&visit, &outputs, &VisitOptions::default(), &Stop::new(), &mut |_| {}).expect("results");
        let mut files: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder.path().join("results"))
            .expect("results")
            .map(|e| e.expect("a file"))
            .filter(|e| e.path().is_file())
            .map(|e| (e.file_name().to_string_lossy().into_owned(), std::fs::read(e.path()).expect("a file")))
            .collect();
        files.sort();
        files
    })
}

pub(super) fn parts() -> Vec<Vec<u8>> {
    vec![part().iter().map(|(_, content)| content.as_slice()).collect::<Vec<_>>().join(&BETWEEN)]
}

/// Lines of a manifest, and a photo's line with its entry.
pub(super) fn journals() -> Vec<Vec<u8>> {
    let of = |part_of_name: &str| {
        part()
            .iter()
            .find(|(name, _)| name.contains(part_of_name))
            .map(|(_, content)| content.clone())
            .unwrap_or_default()
    };
    let (manifest, entries) = (of("manifest"), of("measurements"));
    let photo =
        String::from_utf8_lossy(&manifest).lines().find(|l| l.contains("entry_sha256")).unwrap_or_default().to_owned();
    let record = [photo.as_bytes(), b"\t", entries.as_slice()].concat();
    vec![manifest, record]
}

#[cfg(feature = "place")]
pub(super) fn requests() -> Vec<Vec<u8>> {
    vec![
        b"GET /api/visit HTTP/1.1\r\nHost: 127.0.0.1:50000\r\nX-Hoofgeo-Key: 00\r\nConnection: keep-alive\r\n\r\n"
            .to_vec(),
        b"POST /api/photo/0 HTTP/1.1\r\nHost: localhost:50000\r\nContent-Length: 11\r\n\r\n{\"draft\":{}}".to_vec(),
    ]
}
