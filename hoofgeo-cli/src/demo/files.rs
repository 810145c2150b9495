//! Demo photos as files: JPEG with EXIF, the sidecar, and the truth beside them.

use super::horses::Case;
use super::photo::{ExifFacts, Photo};
use super::place::{GRADUATION_PX, Placed};
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, ErrorKind, Result, View};
use image::RgbImage;
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use serde_json::{Map, Value as Json, json};
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// JPEG quality of the demo's photos.
const QUALITY: u8 = 92;

/// The photo as a JPEG file with its EXIF header, stored as its Orientation says.
///
/// # Errors
/// Where the header or the picture cannot be encoded; neither happens with pictures of the demo's sizes.
pub fn jpeg(photo: &Photo) -> Result<Vec<u8>> {
    let failed = |what: String| Error::new(ErrorKind::Photo, what).in_file(&photo.file_name);
    let turned;
    let stored: &RgbImage = if photo.exif.orientation == 6 {
        turned = image::imageops::rotate270(&photo.pixels);
        &turned
    } else {
        &photo.pixels
    };
    let header = exif_header(&photo.exif, stored.dimensions())
        .map_err(|e| failed(format!("cannot write the photo's header: {e}")))?;
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, QUALITY);
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    let size = |n: u32| u16::try_from(n).map_err(|_| failed(format!("a JPEG cannot be {n} px wide or high")));
    let (width, height) = (size(stored.width())?, size(stored.height())?);
    encoder
        .add_exif_metadata(&header)
        .and_then(|()| encoder.encode(stored.as_raw(), width, height, ColorType::Rgb))
        .map_err(|e| failed(format!("cannot encode the photo: {e}")))?;
    Ok(bytes)
}

/// The EXIF block (a TIFF structure, CIPA DC-008) of a photo.
fn exif_header(facts: &ExifFacts, (width, height): (u32, u32)) -> std::result::Result<Vec<u8>, exif::Error> {
    let text = |tag, s: &str| Field { tag, ifd_num: In::PRIMARY, value: Value::Ascii(vec![s.as_bytes().to_vec()]) };
    let short = |tag, n: u16| Field { tag, ifd_num: In::PRIMARY, value: Value::Short(vec![n]) };
    let long = |tag, n: u32| Field { tag, ifd_num: In::PRIMARY, value: Value::Long(vec![n]) };
    let ratio = |tag, num: u32, denom: u32| Field {
        tag,
        ifd_num: In::PRIMARY,
        value: Value::Rational(vec![Rational { num, denom }]),
    };
    // "2026-04-18T09:07:00+02:00" becomes "2026:04:18 09:07:00" and "+02:00".
    let (time, offset) = facts.taken.split_at(facts.taken.len().min(19));
    let time = time.replacen('-', ":", 2).replace('T', " ");
    let fields = [
        text(Tag::Make, facts.make),
        text(Tag::Model, facts.model),
        short(Tag::Orientation, facts.orientation),
        ratio(Tag::XResolution, 72, 1),
        ratio(Tag::YResolution, 72, 1),
        short(Tag::ResolutionUnit, 2),
        Field { tag: Tag::ExifVersion, ifd_num: In::PRIMARY, value: Value::Undefined(b"0232".to_vec(), 0) },
        text(Tag::DateTimeOriginal, &time),
        text(Tag::OffsetTimeOriginal, offset),
        ratio(Tag::FocalLength, (facts.focal_mm * 1000.0).round() as u32, 1000),
        short(Tag::FocalLengthIn35mmFilm, facts.focal_35mm),
        long(Tag::PixelXDimension, width),
        long(Tag::PixelYDimension, height),
        short(Tag::ColorSpace, 1),
    ];
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut out = Cursor::new(Vec::new());
    writer.write(&mut out, false)?;
    Ok(out.into_inner())
}

/// The sidecar of a photo, as `hoofgeo-sidecar/1` has it.
pub fn sidecar(case: &Case, photo: &Photo, placed: &Placed) -> Json {
    let tenth = |v: f64| (v * 100.0).round() / 100.0;
    let at = |p: &[f64; 2]| json!([tenth(p[0]), tenth(p[1])]);
    let solar = case.shot.view == View::Solar;
    let shape = &case.spec.shape;
    let points: Vec<Json> = placed
        .graduations
        .iter()
        .map(
            |(mm, px)| {
                if case.shot.square { json!({"mm": mm, "at": at(px)}) } else { json!({"mm": mm[0], "at": at(px)}) }
            },
        )
        .collect();
    let mut scale = json!({
        "kind": if case.shot.square { "square_ruler" } else { "straight_ruler" },
        "tolerance": { "class": "II" },
        "u_px": GRADUATION_PX,
        "points": points,
    });
    if !case.shot.square {
        scale["tilt_u_deg"] = json!(5.0);
    }
    // What a person with a tape measure would say, to the nearest 5 mm.
    let near_five = |v: f64| (v / 5.0).round() * 5.0;
    let planes = if solar {
        json!({
            "measured": { "behind_scale_mm": 1.0, "u_mm": 1.5, "tilt_u_deg": 1.5 },
            "sole": { "behind_scale_mm": near_five(1.0 + 0.6 * shape.sole_depth), "u_mm": 4.0 },
        })
    } else {
        json!({
            "measured": { "behind_scale_mm": 0.0, "u_mm": 5.0, "tilt_u_deg": 3.0 },
            "near_heel": { "behind_scale_mm": -near_five(shape.heel_half_width), "u_mm": 8.0 },
        })
    };
    let landmarks: Map<String, Json> =
        placed.landmarks.iter().map(|(n, p)| ((*n).into(), json!({"at": at(p)}))).collect();
    let lines: Map<String, Json> =
        placed.lines.iter().map(|(n, ps)| ((*n).into(), ps.iter().map(at).collect())).collect();
    let mut out = json!({
        "format": "hoofgeo-sidecar/1",
        "photo": {
            "file": base_name(&photo.file_name),
            "width_px": photo.camera.width,
            "height_px": photo.camera.height,
        },
        "subject": { "animal": case.spec.animal, "foot": case.spec.foot.name() },
        "view": case.shot.view.name(),
        "stage": case.spec.stage.name(),
        "taken": case.shot.taken,
        "observer": "JR",
        "scale": scale,
        "planes": planes,
        "landmarks": landmarks,
        "lines": lines,
    });
    if !solar {
        out["side"] = json!("lateral");
        out["gauge"] = json!({ "heel_above_sole_plane_mm": {
            "medial": near_half(shape.heel_above_sole * 0.9),
            "lateral": near_half(shape.heel_above_sole),
            "u_mm": 0.5,
        }});
    }
    out
}

fn near_half(v: f64) -> f64 {
    (2.0 * v).round() / 2.0
}

fn base_name(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or(path)
}

/// Everything true of a photo, as JSON: the camera, landmarks and lines in mm and px, graduations, values.
///
/// # Errors
/// Where a number of it is not finite.
pub fn truth_json(photo: &Photo) -> Result<Vec<u8>> {
    let whole = json!({
        "photo": base_name(&photo.file_name),
        "camera": photo.camera,
        "exif": photo.exif,
        "graduations": photo.graduations,
        "truth": photo.truth,
        "landmarks_px": photo.landmarks_px,
        "lines_px": photo.lines_px,
    });
    pretty(&whole).map_err(|e| Error::new(ErrorKind::Format, e).in_file(&photo.file_name))
}

fn pretty(value: &Json) -> std::result::Result<Vec<u8>, String> {
    let mut text = serde_json::to_vec_pretty(value).map_err(|e| e.to_string())?;
    text.push(b'\n');
    Ok(text)
}

/// Writes `NAME.jpg`, `NAME.jpg.hoof.json` and `NAME.truth.json` below `folder`, each whole or not at all, and returns
/// the photo's path.
///
/// # Errors
/// Where the folder cannot be made or a file not written.
pub fn write(folder: &Path, case: &Case, photo: &Photo, placed: &Placed) -> Result<PathBuf> {
    let path = folder.join(&photo.file_name);
    if let Some(parent) = path.parent() {
        std::fs::create_dir_all(parent).map_err(|e| Error::io(parent, "cannot make the folder", &e))?;
    }
    let side = pretty(&sidecar(case, photo, placed)).map_err(|e| Error::new(ErrorKind::Format, e).in_file(&path))?;
    write_whole(&path, &jpeg(photo)?)?;
    write_whole(&path.with_extension("jpg.hoof.json"), &side)?;
    write_whole(&path.with_extension("truth.json"), &truth_json(photo)?)?;
    Ok(path)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::super::{cases, place_like_a_person, quick_scene};
    use super::*;

    #[test]
    fn the_header_reads_back() {
        let mut photo = quick_scene(View::Solar, 1);
        photo.exif.orientation = 6;
        let bytes = jpeg(&photo).unwrap();
        let header = exif::Reader::new().read_from_container(&mut Cursor::new(&bytes)).unwrap();
        let field = |tag| header.get_field(tag, In::PRIMARY).unwrap();
        let number = |tag| field(tag).value.get_uint(0).unwrap();
        assert_eq!(number(Tag::Orientation), 6);
        assert_eq!(number(Tag::FocalLengthIn35mmFilm), 72);
        assert_eq!((number(Tag::PixelXDimension), number(Tag::PixelYDimension)), (600, 800));
        let Value::Ascii(time) = &field(Tag::DateTimeOriginal).value else { panic!("not text") };
        assert_eq!(time[0], b"2026:04:18 09:00:00");
        let Value::Ascii(offset) = &field(Tag::OffsetTimeOriginal).value else { panic!("not text") };
        assert_eq!(offset[0], b"+02:00");
        // The 35 mm equivalent on the frame's diagonal is the true focal length within 1 %.
        let f = f64::from(number(Tag::FocalLengthIn35mmFilm)) * 1000.0 / 43.27;
        assert!((f / photo.camera.focal_px - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_turned_photo_is_upright_once_its_orientation_is_applied() {
        let mut photo = quick_scene(View::Solar, 1);
        photo.exif.orientation = 6;
        let stored = image::load_from_memory(&jpeg(&photo).unwrap()).unwrap().into_rgb8();
        assert_eq!(stored.dimensions(), (600, 800));
        let upright = image::imageops::rotate90(&stored);
        // JPEG at quality 92 with halved colour: a few levels of error on noisy grain, far less than another picture's.
        let mean =
            upright.as_raw().iter().zip(photo.pixels.as_raw()).map(|(a, b)| f64::from(a.abs_diff(*b))).sum::<f64>()
                / upright.as_raw().len() as f64;
        assert!(mean < 4.0, "{mean}");
    }

    #[test]
    fn files_are_written_and_say_what_was_placed() {
        let folder = tempfile::tempdir().unwrap();
        let mut case = cases().remove(1);
        case.shot.size = [400, 300];
        let photo = case.render();
        let placed = place_like_a_person(&photo, case.shot.view, 5);
        let path = write(folder.path(), &case, &photo, &placed).unwrap();
        let side: Json = serde_json::from_slice(&std::fs::read(path.with_extension("jpg.hoof.json")).unwrap()).unwrap();
        assert_eq!(side["photo"]["file"], "LF-solar-before.jpg");
        assert_eq!(side["photo"]["width_px"], 400);
        let x = side["landmarks"]["frog_apex"]["at"][0].as_f64().unwrap();
        assert!((x - placed.landmarks["frog_apex"][0]).abs() <= 0.005 + 1e-9);
        let truth: Json = serde_json::from_slice(&std::fs::read(path.with_extension("truth.json")).unwrap()).unwrap();
        assert_eq!(truth["truth"]["values"]["frog_width"], 52.0);
        assert_eq!(std::fs::read_dir(path.parent().unwrap()).unwrap().count(), 3, "nothing half-written is left");
    }
}
