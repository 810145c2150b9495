//! The reader and the choice of an entry, on a small database of invented cameras.

use super::*;
use crate::ErrorKind;

/// Invented, but for the mounts' names.
const SMALL: &str = r#"<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE lensdatabase SYSTEM "lensfun-database.dtd">
<lensdatabase version="1">
  <mount><name>Canon EF</name><compat>M42</compat></mount>
  <mount><name>M42</name></mount>
  <mount><name>Sony E</name></mount>
  <camera><maker>Fell Optical</maker><model lang="de">Reflexkamera</model><model>Fell R2</model><mount>Canon EF</mount><cropfactor>1.6</cropfactor></camera>
  <camera><maker>Fell Optical</maker><model>Fell R1</model><mount>Canon EF</mount><cropfactor>1</cropfactor></camera>
  <camera><maker>Fell Optical</maker><model>Fell Pocket</model><mount>fellPocket</mount><cropfactor>6</cropfactor></camera>
  <camera><maker>Fell Optical</maker><model>Wide</model><variant>16:9</variant><mount>fellWide</mount><cropfactor>4.9</cropfactor></camera>
  <camera><maker>Fell Optical</maker><model>Wide</model><variant>4:3</variant><mount>fellWide</mount><cropfactor>5.4</cropfactor></camera>
  <lens><maker>Fell Optical</maker><model>Fell 20-60mm f/3.5-5.6 G</model><mount>Canon EF</mount><cropfactor>1.6</cropfactor>
    <calibration>
      <distortion model="ptlens" focal="20" a="0.02" b="-0.06" c="0.01"/>
      <distortion model="ptlens" focal="30" a="0.01" b="-0.02"/>
      <distortion model="ptlens" focal="60" b="0.01"/>
      <tca model="poly3" focal="20" vr="1.0001"/>
    </calibration></lens>
  <lens><maker>Fell Optical</maker><model>Fell 20-60mm f/3.5-5.6 G</model><mount>Canon EF</mount><cropfactor>1</cropfactor>
    <calibration><distortion model="poly3" focal="20" k1="-0.02"/><distortion model="poly3" focal="60" k1="0.01"/></calibration></lens>
  <lens><maker>Fell Optical</maker><model>Fell 50mm f/1.8</model><mount>Canon EF</mount><cropfactor>1.6</cropfactor>
    <calibration><distortion model="poly5" focal="50" k1="-0.01" k2="0.002"/></calibration></lens>
  <lens><maker>Old Works</maker><model>Old Works 50mm f/1.8</model><mount>M42</mount><cropfactor>1</cropfactor>
    <calibration><distortion model="poly3" focal="50" k1="-0.005"/></calibration></lens>
  <lens><maker>Fell Optical</maker><model>Fell 8mm f/2.8</model><mount>Canon EF</mount><type>fisheye</type><cropfactor>1</cropfactor>
    <calibration><distortion model="ptlens" focal="8" b="-0.1"/></calibration></lens>
  <lens><maker>Fell Optical</maker><model>Fell 100mm f/2</model><mount>Canon EF</mount><cropfactor>1</cropfactor>
    <calibration><distortion model="acm" focal="100" k1="0.1"/></calibration></lens>
  <lens><maker>Fell Optical</maker><model>Pocket &amp; compatibles</model><mount>fellPocket</mount><cropfactor>6</cropfactor>
    <aspect-ratio>4:3</aspect-ratio>
    <calibration><distortion model="ptlens" focal="4.25" a="0.02" b="-0.08" c="0.1"/></calibration></lens>
</lensdatabase>"#;

fn small() -> Database {
    let mut database = Database::default();
    database.add(SMALL).expect("a good database");
    database
}

fn optics(model: &str, lens: Option<&str>, focal_mm: Option<f64>) -> Optics {
    let text = |s: &str| Some(s.to_owned());
    Optics {
        make: text("FELL OPTICAL CORP."),
        model: text(model),
        lens: lens.and_then(text),
        focal_mm,
        focal_35mm: None,
    }
}

#[test]
fn entries_are_read_as_they_stand() {
    let database = small();
    assert_eq!((database.cameras.len(), database.lenses.len(), database.mounts.len()), (5, 7, 3));
    let lens = &database.lenses[0];
    assert_eq!(lens.distortion[1].model, Radial::PtLens { a: 0.01, b: -0.02, c: 0.0 });
    assert_eq!((lens.calibrated.aspect, database.lenses[6].calibrated.aspect), (1.5, 4.0 / 3.0));
    assert_eq!(database.lenses[5].unknown_models, ["acm"]);
    assert_eq!(database.cameras[0].model, "Fell R2");
}

#[test]
fn a_lens_is_found_by_its_words_or_its_figures() {
    let database = small();
    for name in ["FELL 20-60mm F3.5-5.6 G", "20.0-60.0 mm f/3.5-5.6"] {
        let found = database.find(&optics("FELL R2", Some(name), Some(20.0)), None).expect(name);
        assert_eq!(found.model, Radial::PtLens { a: 0.02, b: -0.06, c: 0.01 }, "{name}");
        // The larger sensor needs the calibration that was made on a larger one.
        let full = database.find(&optics("Fell R1", Some(name), Some(20.0)), None).expect(name);
        assert_eq!(full.model, Radial::Poly3 { k1: -0.02 }, "{name}");
    }
}

#[test]
fn a_fixed_lens_needs_no_name_and_an_equivalent_is_enough() {
    let database = small();
    let mut pocket = optics("Fell Pocket", None, Some(4.25));
    assert_eq!(database.find(&pocket, None).expect("fixed").lens.model, "Pocket & compatibles");
    pocket.lens = Some("main camera".to_owned());
    assert!(database.find(&pocket, None).is_ok());
    (pocket.focal_mm, pocket.focal_35mm) = (None, Some(26.0));
    assert_eq!(database.find(&pocket, None).map(|m| m.focal_from), Ok(FocalFrom::Equivalent));
    assert!(!database.find(&pocket, None).expect("fixed").camera.is_reflex());
}

#[test]
fn nothing_is_guessed() {
    let database = small();
    let why = |model: &str, lens: Option<&str>, mm: Option<f64>| {
        let no = database.find(&optics(model, lens, mm), None).expect_err("no entry");
        (no.why, no.candidates)
    };
    let list = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
    let zoom = "Fell 20-60mm f/3.5-5.6 G";
    assert_eq!(why("Fell R3", None, None).0, Why::CameraUnknown);
    assert!(why("Fell R3", None, None).1.contains(&"Fell R1".to_owned()));
    assert_eq!(why("Wide", None, None), (Why::CameraAmbiguous, list(&["Wide (16:9)", "Wide (4:3)"])));
    assert_eq!(
        why("Fell R2", None, Some(50.0)),
        // One of them is not known to reach 50 mm or not.
        (Why::LensNotStated, list(&["Fell 100mm f/2", zoom, "Fell 50mm f/1.8", "Old Works 50mm f/1.8"]))
    );
    assert_eq!(why("Fell R2", Some("50mm f/1.8"), Some(50.0)).0, Why::LensAmbiguous);
    assert_eq!(why("Fell R2", Some("Moor 35mm f/2"), Some(35.0)).0, Why::LensUnknown);
    assert_eq!(why("Fell R2", Some(zoom), Some(70.0)).0, Why::FocalOutside(70.0));
    assert_eq!(why("Fell R2", Some(zoom), None).0, Why::FocalNotStated);
    assert_eq!(why("Fell R1", Some("Fell 50mm f/1.8"), Some(50.0)).0, Why::SensorTooLarge);
    assert_eq!(why("Fell R1", Some("Fell 8mm f/2.8"), Some(8.0)).0, Why::NotRectilinear("fisheye".to_owned()));
    assert_eq!(why("Fell R1", Some("Fell 100mm f/2"), Some(100.0)).0, Why::NoDistortion(list(&["acm"])));
    assert_eq!(database.find(&Optics::default(), None).expect_err("nothing").why, Why::CameraNotStated);
    // The user's own choice.
    let chosen = database.find(&optics("Fell R2", None, Some(50.0)), Some("old works 50mm f/1.8")).expect("named");
    assert_eq!(chosen.model, Radial::Poly3 { k1: -0.005 });
}

#[test]
fn broken_files_are_named_with_their_place() {
    for (text, what, line) in [
        ("<lensdatabase>\n<camera></lens>", "is no XML", 2),
        ("<html/>", "<html> is not the root", 1),
        ("<lensdatabase>\n\n<camera><maker>A</maker></camera></lensdatabase>", "<camera> has no <model>", 3),
        (&SMALL.replace("b=\"-0.06\"", "b=\"-0,06\""), "b: `-0,06` is not a number", 14),
        (&SMALL.replacen("<cropfactor>1.6<", "<cropfactor>0<", 1), "`0` is no crop factor", 7),
    ] {
        let error = Database::default().add(text).expect_err(what);
        assert_eq!(error.kind(), ErrorKind::Format);
        assert!(error.what().contains(what), "{error}");
        assert_eq!(error.place().map(|p| p.line), Some(line), "{error}");
    }
    let empty = tempfile::tempdir().expect("a folder");
    assert!(Database::read(empty.path()).expect_err("empty").what().contains("holds no file"));
}
