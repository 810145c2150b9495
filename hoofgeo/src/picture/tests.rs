#![allow(clippy::unwrap_used, reason = "tests")]

use super::space::Space;
use super::*;
use crate::measure::{self, Measurement};
use crate::measured::{MeasureOptions, measure};
use crate::scene::LensPrior;
use crate::scene::params::{DISTORTION, LN_FOCAL, LN_MAGNIFICATION, PIVOT, PRINCIPAL, ROLL, TILT_X, UNKNOWNS, View3};
use crate::{ErrorKind, Landmark};
use image::Rgb;
use nalgebra::{SMatrix, Vector3};
use serde_json::{Value as Json, json};

/// A foot seen from the side, mm in the ruler's frame.
const LATERAL: &[(&str, [f64; 2])] = &[
    ("toe_coronet", [78.0, 96.0]),
    ("toe_ground", [20.0, 22.0]),
    ("heel_coronet", [172.0, 58.0]),
    ("heel_ground", [146.0, 22.0]),
    ("ground_front", [-10.0, 22.0]),
    ("ground_back", [190.0, 22.0]),
    ("pastern_upper", [132.0, 160.0]),
    ("pastern_lower", [98.0, 120.0]),
    ("heel_bulb", [184.0, 48.0]),
];
const LATERAL_LINES: &[(&str, &[[f64; 2]])] = &[
    ("dorsal_wall", &[[78.0, 96.0], [66.0, 80.5], [54.0, 65.0], [43.0, 50.5], [32.0, 36.0], [20.0, 22.0]]),
    ("rings_toe", &[[70.0, 86.0], [62.0, 75.0], [54.0, 65.0]]),
    ("tubules_quarter", &[[110.0, 70.0], [86.0, 40.0]]),
];
/// A foot seen from below.
const SOLAR: &[(&str, [f64; 2])] = &[
    ("toe_outer", [90.0, 160.0]),
    ("white_line_outer", [90.0, 151.0]),
    ("white_line_inner", [90.0, 148.0]),
    ("frog_apex", [90.0, 120.0]),
    ("central_sulcus", [90.0, 50.0]),
    ("frog_base_medial", [66.0, 52.0]),
    ("frog_base_lateral", [114.0, 52.0]),
    ("heel_medial", [60.0, 40.0]),
    ("heel_lateral", [121.0, 41.0]),
    ("widest_medial", [28.0, 100.0]),
    ("widest_lateral", [154.0, 98.0]),
];
const SOLAR_LINES: &[(&str, &[[f64; 2]])] = &[(
    "outer_wall",
    &[[90.0, 160.0], [130.0, 146.0], [154.0, 98.0], [121.0, 41.0], [60.0, 40.0], [28.0, 100.0], [50.0, 146.0]],
)];

/// A camera that shows 270 mm across its frame.
fn camera((w, h): (u32, u32), k1: f64) -> View3<f64> {
    let mut x = [0.0; UNKNOWNS];
    x[LN_FOCAL] = (1.2 * f64::from(w)).ln();
    (x[PRINCIPAL], x[PRINCIPAL + 1]) = (f64::from(w) / 2.0, f64::from(h) / 2.0);
    x[DISTORTION] = k1;
    x[TILT_X] = 0.03;
    x[ROLL] = -0.02;
    (x[PIVOT], x[PIVOT + 1]) = (f64::from(w) * 0.44, f64::from(h) * 0.93);
    x[LN_MAGNIFICATION] = (f64::from(w) / 270.0).ln();
    View3::new(&x, Point2::new(75.0, 0.0))
}

/// A photo's sidecar and what was measured on it; lens known.
fn case(view: View, size: (u32, u32), k1: f64, animal: &str) -> (Sidecar, Measured) {
    let camera = camera(size, k1);
    let at = |p: &[f64; 2]| {
        let q = camera.pixel(Vector3::new(p[0], p[1], 0.0)).unwrap();
        json!([q.x, q.y])
    };
    let (landmarks, lines) = if view == View::Lateral { (LATERAL, LATERAL_LINES) } else { (SOLAR, SOLAR_LINES) };
    let points: Vec<Json> =
        [0.0, 50.0, 100.0, 150.0].iter().map(|mm| json!({"mm": mm, "at": at(&[*mm, 0.0])})).collect();
    let object = |entries: Vec<(&str, Json)>| {
        entries.into_iter().map(|(k, v)| (k.to_owned(), v)).collect::<serde_json::Map<_, _>>()
    };
    let text = json!({
        "format": "hoofgeo-sidecar/1",
        "photo": { "file": "a.jpg", "width_px": size.0, "height_px": size.1 },
        "subject": { "animal": animal, "foot": "LF" },
        "view": view.name(),
        "scale": { "kind": "straight_ruler", "points": points },
        "landmarks": object(landmarks.iter().map(|(n, p)| (*n, json!({"at": at(p)}))).collect()),
        "lines": object(lines.iter().map(|(n, ps)| (*n, ps.iter().map(at).collect())).collect()),
    });
    let sidecar = Sidecar::parse(&text.to_string(), None).unwrap();
    let c = &camera.camera;
    let mean = [c.focal, c.principal.x, c.principal.y, k1, 0.0, 0.0, 0.0, 0.0];
    let lens = LensPrior::profile(mean, &(SMatrix::<f64, 8, 8>::identity() * 1e-6));
    let measured = measure(&sidecar, &lens, &MeasureOptions::default()).unwrap();
    (sidecar, measured)
}

/// A backdrop between dark and light with grain.
fn photo((w, h): (u32, u32)) -> RgbImage {
    RgbImage::from_fn(w, h, |x, y| {
        let grain = x.wrapping_mul(2_654_435_761).wrapping_add(y.wrapping_mul(40_503)) >> 28;
        let v = (40 + 150 * x / w.max(1) + grain) as u8;
        Rgb([v, v, v.saturating_add(6)])
    })
}

const SIZE: (u32, u32) = (1200, 900);

fn is_ivory(p: &Rgb<u8>) -> bool {
    p.0.iter().zip([0xff, 0xfb, 0xee]).all(|(a, b): (&u8, u8)| a.abs_diff(b) < 40)
}

#[test]
fn the_same_input_gives_the_same_picture_with_a_strip_below() {
    for view in [View::Lateral, View::Solar] {
        let (sidecar, measured) = case(view, SIZE, 0.0, "Bramble");
        let draw = || annotate(photo(SIZE), &sidecar, &measured, &PictureOptions::default()).unwrap();
        let picture = draw();
        assert!(picture == draw());
        assert_eq!(picture.width(), SIZE.0);
        assert!(picture.height() > SIZE.1);
        assert_eq!(picture.get_pixel(3, picture.height() - 2), &Rgb(style::PAPER));
        let jpeg = encode_jpeg(&picture, 90).unwrap();
        assert_eq!(image::load_from_memory(&jpeg).unwrap().into_rgb8().dimensions(), picture.dimensions());
    }
}

#[test]
fn marks_stand_on_their_pixels_and_leave_them_open() {
    let (sidecar, measured) = case(View::Lateral, SIZE, 0.0, "Bramble");
    let picture = annotate(photo(SIZE), &sidecar, &measured, &PictureOptions::default()).unwrap();
    let radius = marks::RADIUS * unit(SIZE.0);
    for (landmark, placement) in &sidecar.landmarks {
        let [x, y] = placement.at[0];
        let ring = (0..32).filter(|k| {
            let (s, c) = (f64::from(*k) * std::f64::consts::TAU / 32.0).sin_cos();
            is_ivory(picture.get_pixel((x + radius * c) as u32, (y + radius * s) as u32))
        });
        // Lines of other colours may run into a mark from a few directions.
        assert!(ring.count() >= 26, "{landmark}");
        if *landmark == Landmark::HeelBulb {
            let (x, y) = (x as u32, y as u32);
            assert_eq!(picture.get_pixel(x, y), photo(SIZE).get_pixel(x, y), "no line runs through the bulb");
        }
    }
}

#[test]
fn a_straight_line_bends_as_the_lens_does() {
    for (k1, least, most) in [(0.0, 0.0, 1e-6), (-0.2, 2.0, 40.0)] {
        let (sidecar, measured) = case(View::Lateral, SIZE, k1, "Bramble");
        let space = Space::new(&measured.scene, &measured.located);
        let spot = |l| space.landmark(l).unwrap();
        let line = space.straight(spot(Landmark::GroundFront), spot(Landmark::GroundBack));
        let (a, b) = (line[0], line[line.len() - 1]);
        let normal = nalgebra::Vector2::new(a.y - b.y, b.x - a.x).normalize();
        let sag = line.iter().map(|p| (p - a).dot(&normal).abs()).fold(0.0, f64::max);
        assert!(sag >= least && sag <= most, "k1 {k1}: {sag} px");
        // The picture shows the bent line, not its chord.
        let picture = annotate(photo(SIZE), &sidecar, &measured, &PictureOptions::default()).unwrap();
        let on_line =
            line[4..line.len() - 4].iter().filter(|p| is_ivory(picture.get_pixel(p.x as u32, p.y as u32))).count();
        assert!(on_line > line.len() / 2, "{on_line} of {}", line.len());
    }
}

#[test]
fn regions_are_at_least_those_of_the_click() {
    let (_, measured) = case(View::Lateral, SIZE, 0.0, "Bramble");
    let space = Space::new(&measured.scene, &measured.located);
    for i in 0..measured.located.points.len() {
        let (outline, longest) = space.region(i).unwrap();
        let p = &measured.located.points[i];
        // 2.4477 is the radius of a plane 95 % region.
        assert!(longest >= 2.4477 * p.u_px && longest < 0.1 * f64::from(SIZE.0), "{longest}");
        let furthest = outline.iter().map(|q| (q - p.pixel).norm()).fold(0.0, f64::max);
        assert!(furthest <= longest * (1.0 + 1e-9) && furthest > 0.98 * longest);
    }
}

#[test]
fn hostile_names_are_drawn_as_text() {
    let names = [
        "<script>&\"' </text>]]>",
        "\u{202e}\u{0}\u{7}\n\r\t",
        "名前 🐴 اسم שם",
        "a\u{fffe}b\u{301}\u{301}\u{301}",
        &"long ".repeat(4000),
        "",
    ];
    for name in names {
        let (mut sidecar, measured) = case(View::Lateral, (390, 300), 0.0, "x");
        sidecar.subject.animal = name.to_owned();
        sidecar.taken = Some(name.to_owned());
        annotate(photo((390, 300)), &sidecar, &measured, &PictureOptions::default()).unwrap();
    }
}

#[test]
fn tiny_flat_and_tall_photos_and_any_number_of_values() {
    for size in [(8, 6), (40, 30), (3000, 60), (60, 3000), (2400, 1800)] {
        for view in [View::Lateral, View::Solar] {
            let (sidecar, mut measured) = case(view, (400, 300), 0.0, "Bramble");
            // The foot reaches far out of the frame of most of these.
            measured.scene.frame_px = size;
            for values in [0, 1, 7, 1000] {
                let options = PictureOptions { values, ..PictureOptions::default() };
                annotate(photo(size), &sidecar, &measured, &options).unwrap();
            }
            measured.values.clear();
            annotate(photo(size), &sidecar, &measured, &PictureOptions::default()).unwrap();
        }
    }
}

#[test]
fn what_cannot_be_drawn_is_an_error() {
    let (sidecar, mut measured) = case(View::Lateral, SIZE, 0.0, "Bramble");
    let kind = |r: Result<RgbImage>| r.unwrap_err().kind();
    let options = PictureOptions::default();
    assert_eq!(kind(annotate(photo((900, 1200)), &sidecar, &measured, &options)), ErrorKind::Photo, "turned");
    measured.scene.frame_px = (66_000, 2);
    assert_eq!(
        kind(annotate(RgbImage::new(66_000, 2), &sidecar, &measured, &options)),
        ErrorKind::Photo,
        "wider than a JPEG"
    );
}

#[test]
fn a_measurement_of_ones_own_is_drawn_with_its_key() {
    static OWN: Measurement = Measurement { id: "own_length", name: "Own length", ..measure::DORSAL_WALL_LENGTH };
    let (sidecar, mut measured) = case(View::Lateral, SIZE, 0.0, "Bramble");
    let draw = |m: &Measured| annotate(photo(SIZE), &sidecar, m, &PictureOptions::default()).unwrap();
    measured.values.clear();
    let without = draw(&measured);
    measured.values.push(crate::evaluate::evaluate(&OWN, &measured.located, &measured.scene).unwrap());
    let with = draw(&measured);
    let (a, b) = (LATERAL[0].1, LATERAL[1].1);
    let middle = camera(SIZE, 0.0).pixel(Vector3::new((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0, 0.0)).unwrap();
    let differs = (0..SIZE.1)
        .flat_map(|y| (0..SIZE.0).map(move |x| (x, y)))
        .filter(|(x, y)| with.get_pixel(*x, *y) != without.get_pixel(*x, *y));
    let near = differs.filter(|(x, y)| (Point2::new(f64::from(*x), f64::from(*y)) - middle).norm() < 12.0).count();
    assert!(near > 20, "a line from landmark to landmark: {near}");
}

#[test]
fn a_jpeg_in_gives_a_jpeg_out() {
    let (sidecar, measured) = case(View::Solar, SIZE, 0.0, "Bramble");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.jpg");
    let bytes = encode_jpeg(&photo(SIZE), 92).unwrap();
    std::fs::write(&path, &bytes).unwrap();
    let jpeg = annotate_file(&path, &sidecar, &measured, &PictureOptions::default()).unwrap();
    let picture = image::load_from_memory(&jpeg).unwrap().into_rgb8();
    assert!(picture.width() == SIZE.0 && picture.height() > SIZE.1);
    assert_eq!(std::fs::read(&path).unwrap(), bytes, "the photo stays as it was");
    let missing = annotate_file(folder.path().join("b.jpg"), &sidecar, &measured, &PictureOptions::default());
    assert!(missing.unwrap_err().file().unwrap().ends_with("b.jpg"));
}
