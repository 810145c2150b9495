//! Which knowledge of the lens a photo is measured with, and the commands that look it up and judge it.

use crate::visits::headers::{self, FOCAL_35MM, Field, LENS_MODEL, MAKE, MODEL};
use crate::visits::{Folder, sidecar};
use serde_json::Value;

/// A small lens database (invented, but for the mount's name).
const DATABASE: &str = r#"<lensdatabase version="1">
  <mount><name>Canon EF</name></mount>
  <camera><maker>Fell Optical</maker><model>Fell R2</model><mount>Canon EF</mount><cropfactor>1.6</cropfactor></camera>
  <camera><maker>Fell Optical</maker><model>Pocket</model><mount>fellPocket</mount><cropfactor>6</cropfactor></camera>
  <lens><maker>Fell Optical</maker><model>Fell 18-55mm f/3.5-5.6</model><mount>Canon EF</mount><cropfactor>1.6</cropfactor>
    <calibration><distortion model="ptlens" focal="16" a="0.02" b="-0.07" c="0.015"/><distortion model="poly3" focal="55" k1="0.01"/></calibration></lens>
  <lens><maker>Fell Optical</maker><model>Fell 35mm f/2</model><mount>Canon EF</mount><cropfactor>1.6</cropfactor>
    <calibration><distortion model="poly3" focal="35" k1="0.01"/></calibration></lens>
  <lens><maker>Fell Optical</maker><model>Pocket &amp; compatibles</model><mount>fellPocket</mount><cropfactor>6</cropfactor><aspect-ratio>4:3</aspect-ratio>
    <calibration><distortion model="poly3" focal="4.33" k1="-0.05"/></calibration></lens>
</lensdatabase>"#;

/// A photo of this camera; 26 mm equivalent.
fn photo(model: &'static str, lens: Option<&'static str>) -> Vec<u8> {
    let mut exif = vec![(FOCAL_35MM, Field::Short(26))];
    exif.extend(lens.map(|l| (LENS_MODEL, Field::Text(l))));
    headers::with_exif(&[(MAKE, Field::Text("FELL OPTICAL")), (MODEL, Field::Text(model))], &exif)
}

/// A reflex camera's photo, a pocket camera's and one of a lens that is not known, with a database beside the visit.
fn folder() -> Folder {
    let folder = Folder::new();
    for (name, bytes) in [
        ("pocket.jpg", photo("Pocket", None)),
        ("reflex.jpg", photo("Fell R2", Some("18-55mm f/3.5-5.6"))),
        ("strange.jpg", photo("Fell R2", Some("Moor 20mm f/2"))),
    ] {
        folder.write(name, bytes);
        folder.write(&format!("{name}.hoof.json"), sidecar(name));
    }
    std::fs::create_dir(folder.root().join("database")).unwrap();
    std::fs::write(folder.root().join("database/all.xml"), DATABASE).unwrap();
    folder
}

fn cameras(folder: &Folder) -> Vec<Value> {
    let photos = folder.json("out/measurements.json")["photos"].clone();
    photos.as_array().unwrap().iter().map(|p| p["scene"]["camera"].clone()).collect()
}

#[test]
fn the_database_is_used_for_reflex_cameras_and_told_for_others() {
    let folder = folder();
    folder.run("measure visit --out out --no-pictures --no-lens-database").ends(0);
    for camera in cameras(&folder) {
        assert_eq!((&camera["lens_from"], &camera["lens_note"]), (&"exif".into(), &Value::Null));
    }
    let alone = folder.read("out/measurements.csv");
    folder.run("measure visit --out out --no-pictures --lens-database database").ends(0);
    let [pocket, reflex, strange] = <[Value; 3]>::try_from(cameras(&folder)).unwrap();
    let note = |camera: &Value| camera["lens_note"].as_str().unwrap().to_owned();
    assert_eq!((&pocket["lens_from"], &reflex["lens_from"]), (&"exif".into(), &"lens_database".into()));
    assert_eq!(strange["lens_from"], "exif");
    assert!(note(&pocket).contains("Pocket & compatibles") && note(&pocket).contains("not used"), "{pocket}");
    assert_eq!(note(&reflex), "lens database: Fell 18-55mm f/3.5-5.6 on Fell R2 at 16.25 mm");
    assert!(note(&strange).contains("no lens of this name"), "{strange}");
    // A fifth of each term is known less well than that there is none.
    let k1 = |camera: &Value| {
        (camera["distortion"]["k1"]["value"].as_f64().unwrap(), camera["distortion"]["k1"]["u"].as_f64().unwrap())
    };
    assert!(k1(&reflex).0 < -0.02 && k1(&reflex).1 < 0.05, "{reflex}");
    // What the database does not decide is measured as without it.
    let now = folder.read("out/measurements.csv");
    let lines =
        |text: &str, photo: &str| text.lines().filter(|l| l.starts_with(photo)).map(str::to_owned).collect::<Vec<_>>();
    for name in ["pocket", "strange"] {
        assert_eq!(lines(&now, name), lines(&alone, name));
    }
    assert_ne!(lines(&now, "reflex"), lines(&alone, "reflex"));
    let check = folder.run("check visit --lens-database database").ends(0);
    assert!(check.out().contains("note: lens database: Pocket & compatibles"), "{}", check.out());
}

/// What the database said of a photo goes along with its copy as a profile of its own.
#[test]
fn a_lens_of_the_database_goes_along() {
    let folder = folder();
    folder.run("measure visit --out out --no-pictures --lens-database database").ends(0);
    let before = cameras(&folder);
    folder.run("read visit --lens-database database --out copy").ends(0);
    let lens = folder.json("copy/reflex.jpg.hoof.json")["lens"].as_str().unwrap().to_owned();
    assert!(lens.starts_with("lenses/database-") && lens.ends_with(".lens.json"), "{lens}");
    assert_eq!(folder.json("copy/pocket.jpg.hoof.json")["lens"], Value::Null);
    folder.run("measure copy --out out --no-pictures --no-lens-database").ends(0);
    let after = cameras(&folder);
    assert_eq!(after[1]["lens_profile"], lens.as_str());
    for photo in 0..3 {
        for known in ["focal_px", "distortion"] {
            assert_eq!(before[photo][known], after[photo][known], "{photo}");
        }
    }
}

#[test]
fn a_profile_in_the_folder_is_taken_where_it_matches() {
    let folder = folder();
    let run = folder.run("lens find visit/reflex.jpg --database database --out visit/fell.lens.json").ends(0);
    for text in [
        "entry    Fell 18-55mm f/3.5-5.6 on Fell R2, at 16.25 mm",
        "model    ptlens a = 0.02",
        "px off",
        "written  visit/fell.lens.json",
    ] {
        assert!(run.out().contains(text), "{text} in\n{}", run.out());
    }
    folder.run("measure visit --out out --no-pictures --no-lens-database").ends(0);
    let used = |photo: usize| cameras(&folder)[photo]["lens_profile"].clone();
    // The profile names camera and lens, so it fits the one photo alone.
    assert_eq!([used(0), used(1), used(2)], [Value::Null, "fell.lens.json".into(), Value::Null]);

    // From a folder above, and named the more precisely of two.
    folder.write("morning/reflex.jpg", photo("Fell R2", Some("18-55mm f/3.5-5.6")));
    folder.write("morning/reflex.jpg.hoof.json", sidecar("reflex.jpg"));
    let profile = folder.read("visit/fell.lens.json");
    let lens = "\"lens\": \"18-55mm f/3.5-5.6\"";
    assert!(profile.contains(lens), "{profile}");
    let without_lens: String = profile.lines().filter(|l| !l.contains(lens)).map(|l| l.to_owned() + "\n").collect();
    let without_lens = if without_lens.contains("\"model\": \"Fell R2\",\n  }") {
        without_lens.replace("\"model\": \"Fell R2\",\n", "\"model\": \"Fell R2\"\n")
    } else {
        profile.replace(&format!(", {lens}"), "")
    };
    folder.write("any.lens.json", &without_lens);
    folder.write("broken.lens.json", "{");
    folder.run("measure visit --out out --no-pictures --no-lens-database").ends(0);
    let used: Vec<_> = cameras(&folder).iter().map(|c| c["lens_profile"].clone()).collect();
    assert_eq!(used, ["../fell.lens.json".into(), Value::Null, "fell.lens.json".into(), Value::from("any.lens.json")]);

    // Two that say the same of themselves.
    folder.write("copy.lens.json", profile);
    let run = folder.run("measure visit --out out --no-pictures --no-lens-database").ends(1);
    assert!(
        run.err().contains("two lens profiles match this photo equally well: copy.lens.json and fell.lens.json\n        name the right one"),
        "{}",
        run.err()
    );
}

#[test]
fn find_names_what_could_be_meant() {
    let folder = folder();
    let run = folder.run("lens find visit/strange.jpg --database database").ends(1);
    assert!(run.out().contains("no entry the lens database has no lens of this name for this camera"), "{}", run.out());
    folder.write("unknown.jpg", photo("Fell R9", None));
    let run = folder.run("lens find visit/unknown.jpg --database database").ends(1);
    assert!(run.out().contains("no such camera") && run.out().contains("lens calibrate"), "{}", run.out());
    let run = folder.run("lens find visit/strange.jpg --database visit").ends(2);
    assert!(run.err().contains("holds no file of a lens database"), "{}", run.err());
    let pocket = folder.run("lens find visit/pocket.jpg --database database").ends(0);
    assert!(pocket.out().contains("does not use the entry by itself"), "{}", pocket.out());
    std::fs::write(folder.root().join("database/bad.xml"), "<lensdatabase>\n<lens/></lensdatabase>").unwrap();
    let run = folder.run("measure visit --out out --lens-database database").ends(2);
    assert!(run.err().contains("bad.xml:2:1: <lens> has no <maker>"), "{}", run.err());
}

#[test]
fn judge_says_when_it_cannot_tell() {
    let folder = folder();
    let run = folder.run("lens judge visit/pocket.jpg").ends(1);
    assert!(run.out().contains("0 long edges") && run.out().contains("cannot tell"), "{}", run.out());
    folder.run("lens judge visit/nowhere.jpg").ends(2);
}
