//! The lens database: its corrections against those of the database's own library, and the whole of it where it is installed.
#![allow(missing_docs, clippy::print_stderr, clippy::unwrap_used, reason = "tests; a skipped test says so")]

use hoofgeo::lens::database::{Database, LensEntry, Optics, Setting};
use hoofgeo::lens::{Calibrated, FILM_DIAGONAL_MM, Radial, RadialCorrection};
use hoofgeo::scale::{Graduation, ScaleKind, Tolerance};
use hoofgeo::scene::{LensPrior, LensSource, Scene, SceneFlag, SceneInput};
use nalgebra::Point2;
use serde_json::Value;

fn reference() -> Vec<Value> {
    let text = include_str!("../fixtures/lensfun/reference.json");
    let all: Value = serde_json::from_str(text).expect("JSON");
    all["cases"].as_array().expect("cases").clone()
}

fn number(v: &Value) -> f64 {
    v.as_f64().expect("a number")
}

fn model(name: &Value, terms: &Value) -> Radial {
    let terms: [f64; 3] = std::array::from_fn(|i| terms.get(i).map_or(0.0, number));
    let zero = match name.as_str() {
        Some("poly3") => Radial::Poly3 { k1: 0.0 },
        Some("poly5") => Radial::Poly5 { k1: 0.0, k2: 0.0 },
        _ => Radial::PtLens { a: 0.0, b: 0.0, c: 0.0 },
    };
    zero.with_terms(terms)
}

fn lens(case: &Value) -> LensEntry {
    let lens = &case["lens"];
    let settings = case["calibration_table"].as_array().expect("settings");
    LensEntry {
        maker: String::new(),
        model: lens["model"].as_str().expect("a name").to_owned(),
        mounts: Vec::new(),
        calibrated: Calibrated {
            crop: number(&lens["crop"]),
            aspect: number(&lens["aspect"][0]) / number(&lens["aspect"][1]),
        },
        projection: "rectilinear".to_owned(),
        off_centre: false,
        distortion: settings
            .iter()
            .map(|s| Setting { focal_mm: number(&s["focal"]), model: model(&s["model"], &s["terms"]) })
            .collect(),
        unknown_models: Vec::new(),
    }
}

fn frame(case: &Value) -> (u32, u32) {
    let side = |i: usize| u32::try_from(case["image_size"][i].as_u64().expect("a side")).expect("a side");
    (side(0), side(1))
}

/// The largest distance between our places in the photo and the reference's, px.
fn largest_miss(case: &Value, correction: &RadialCorrection) -> f64 {
    let half = |v: &Value| number(v) + 0.5;
    let points = case["points"].as_array().expect("points");
    let misses = points.iter().map(|p| {
        let photo = Point2::new(half(&p[2]), half(&p[3]));
        let forth = (correction.distorted(Point2::new(half(&p[0]), half(&p[1]))) - photo).norm();
        // And the way back, which the library does not give: to where the way forth began.
        let back = correction.corrected(photo).expect("inside the fold");
        forth.max((correction.distorted(back) - photo).norm())
    });
    misses.fold(0.0, f64::max)
}

#[test]
fn corrections_are_those_of_the_databases_own_library() {
    let mut interpolated = 0;
    for case in reference() {
        let lens = lens(&case);
        let focal = number(&case["focal_mm"]);
        let model = lens.at(focal).expect("calibrated there");
        interpolated += usize::from(lens.distortion.iter().all(|s| (s.focal_mm - focal).abs() > 1e-3));
        for (ours, theirs) in model.terms().iter().zip(case["terms"].as_array().expect("terms")) {
            // The library interpolates in single precision, and so is its 10.4 mm.
            assert!((ours - number(theirs)).abs() < 1e-7, "{}: {ours} for {theirs}", lens.model);
        }
        let correction = RadialCorrection::new(model, lens.calibrated, number(&case["camera"]["crop"]), frame(&case));
        let miss = largest_miss(&case, &correction);
        assert!(miss < 1e-3, "{} at {focal} mm: {miss} px", lens.model);
    }
    assert_eq!(interpolated, 3);
}

/// The reference's entries found again by name in the installed database, and every entry turned into Brown-Conrady terms.
#[test]
fn the_installed_database_is_read_whole() {
    let Some(database) = Database::system().expect("a sound database") else {
        eprintln!("skipped: no lens database is installed (Debian's package liblensfun-data-v1)");
        return;
    };
    assert!(database.cameras.len() > 800 && database.lenses.len() > 1000, "{}", database.folder.display());
    if database.timestamp == Some(1_645_386_247) {
        assert_eq!((database.cameras.len(), database.lenses.len()), (883, 1172));
        let settings = |name: &str| {
            let all = database.lenses.iter().flat_map(|l| &l.distortion);
            all.filter(|s| s.model.name() == name).count()
        };
        assert_eq!(["ptlens", "poly3", "poly5"].map(settings), [4421 - DOUBLED, 871, 5]);
        for case in reference() {
            installed(&database, &case);
        }
    }
    let mut misses = Vec::new();
    let frame = (6000, 4000);
    for lens in database.lenses.iter().filter(|l| l.projection == "rectilinear") {
        for s in &lens.distortion {
            let correction = RadialCorrection::new(s.model, lens.calibrated, lens.calibrated.crop, frame);
            let focal_px = s.focal_mm * lens.calibrated.crop * 6000_f64.hypot(4000.0) / FILM_DIAGONAL_MM;
            let fit = correction.brown_conrady(focal_px);
            assert!(fit.covariance.cholesky().is_some(), "{} {s:?}", lens.model);
            misses.push((fit.residual_rms_px, format!("{} at {} mm", lens.model, s.focal_mm)));
        }
    }
    misses.sort_by(|a, b| a.0.total_cmp(&b.0));
    let at = |share: f64| &misses[(share * (misses.len() - 1) as f64) as usize];
    eprintln!(
        "Brown-Conrady terms miss {} settings at 24 megapixels by {:.2} px RMS in the median, {:.2} px at 95 %, at most {:.1} px: {}",
        misses.len(),
        at(0.5).0,
        at(0.95).0,
        at(1.0).0,
        at(1.0).1
    );
    assert!(at(0.5).0 < 0.3 && at(0.95).0 < 2.0);
}

/// Settings written twice for one focal length.
const DOUBLED: usize = 2;

fn installed(database: &Database, case: &Value) {
    let name = |key: &str| case["camera"][key].as_str().map(str::to_owned);
    let lens = case["lens"]["model"].as_str().expect("a name");
    let optics =
        Optics { make: name("maker"), model: name("model"), focal_mm: case["focal_mm"].as_f64(), ..Optics::default() };
    let found = database.find(&optics, Some(lens)).unwrap_or_else(|e| panic!("{lens}: {e}"));
    assert_eq!(found.lens.model, lens);
    // One case of the reference takes the calibration on the larger of two sensors.
    if (found.lens.calibrated.crop - number(&case["lens"]["crop"])).abs() < 1e-3 {
        let miss = largest_miss(case, &found.correction(frame(case)));
        assert!(miss < 1e-3, "{lens}: {miss} px");
    }
}

/// A picture that was corrected already, measured with the entry of the uncorrected lens: the graduations say so.
#[test]
fn an_entry_that_the_graduations_contradict_is_not_believed() {
    let frame = (4000, 3000);
    let square =
        |x: f64, y: f64| Graduation::marked(Point2::new(x, y), Point2::new(300.0 + 17.0 * x, 2800.0 - 17.0 * y));
    let mut graduations: Vec<Graduation> = (0..=8).map(|i| square(25.0 * f64::from(i), 0.0)).collect();
    graduations.extend((1..=6).map(|i| square(0.0, 25.0 * f64::from(i))));
    let scene = |k1: f64| {
        let calibrated = Calibrated { crop: 1.6, aspect: 4.0 / 3.0 };
        let correction = RadialCorrection::new(Radial::Poly3 { k1 }, calibrated, 1.6, frame);
        let lens = LensPrior::database(frame, &correction.brown_conrady(3000.0));
        let input = SceneInput {
            graduations: &graduations,
            frame_px: frame,
            u_px: 1.0,
            tilt_u_deg: None,
            tolerance: Tolerance::assumed(ScaleKind::SquareRuler),
            lens,
        };
        Scene::estimate(&input).expect("a scene")
    };
    let contradicted = scene(-0.06);
    assert_eq!(contradicted.flags.first(), Some(&SceneFlag::LensPriorReplaced), "{:?}", contradicted.flags);
    assert_eq!(contradicted.lens_source, LensSource::Unknown);
    let believed = scene(-0.0005);
    assert_eq!(believed.lens_source, LensSource::Database);
    assert!(believed.focal_px().u < contradicted.focal_px().u);
}
