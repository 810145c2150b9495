use super::geometry::gap;
use super::*;

#[test]
fn the_hull_leaves_out_what_lies_inside() {
    let p = |x: f64, y: f64| Point2::new(x, y);
    let hull = hull(&[p(0.0, 0.0), p(2.0, 1.0), p(4.0, 0.0), p(4.0, 3.0), p(2.0, 2.0), p(0.0, 3.0)]);
    assert_eq!(hull, [p(0.0, 0.0), p(4.0, 0.0), p(4.0, 3.0), p(0.0, 3.0)]);
    assert_eq!(longest(&hull), 5.0);
    assert_eq!(crossing(&hull, 1.0), Some((0.0, 4.0)));
    assert_eq!(crossing(&hull, 3.5), None);
    assert_eq!(gap(&hull, &[p(-10.0, -7.0), p(30.0, -7.0)]), 7.0);
    assert_eq!(gap(&hull, &[p(10.0, 10.0)]), (36.0f64 + 49.0).sqrt());
    assert!(longest(&[]) == 0.0 && longest(&[p(1.0, 1.0)]) == 0.0);
}

#[test]
fn every_limit_says_where_it_comes_from() {
    assert_eq!(LIMITS.len(), 9);
    for l in LIMITS {
        assert!(l.value > 0.0 && l.source.contains("no source") && !l.what.is_empty(), "{}", l.what);
    }
}

#[test]
fn light_is_judged_on_the_hoof_alone() {
    let hoof = [(20.0, 20.0), (80.0, 20.0), (80.0, 80.0), (20.0, 80.0)].map(|(x, y)| Point2::new(x, y));
    let inside = |x: u32, y: u32| (20..80).contains(&x) && (20..80).contains(&y);
    let photo =
        |on: u8, off: u8| RgbImage::from_fn(100, 100, |x, y| image::Rgb([if inside(x, y) { on } else { off }; 3]));
    let dark_ground = look(&photo(120, 0), &hoof);
    assert!(dark_ground.white == 0.0 && dark_ground.black == 0.0);
    assert!(look(&photo(255, 0), &hoof).white > 0.99);
    assert!(look(&photo(3, 120), &hoof).black > 0.99);
    let remarks = of_pixels(&look(&photo(255, 0), &hoof), (100, 100), None);
    assert!(matches!(remarks[..], [.., QualityRemark::BurntOut { .. }]), "{remarks:?}");
}

/// A lateral photo of 4000 x 3000 px seen square: a foot 120 mm long, a ruler below it.
fn remarks(px_per_mm: f64, ruler: [f64; 2], below: f64, left: f64, square: bool, lean: f64) -> Vec<QualityRemark> {
    let at = |x: f64, y: f64| {
        // A plane that leans back: what is higher is farther away.
        let shrink = 1.0 + lean * (y - 40.0) / 1000.0;
        format!("[{}, {}]", left + px_per_mm * (x - 60.0) / shrink + px_per_mm * 60.0, 2400.0 - px_per_mm * y / shrink)
    };
    let label = |x: f64, y: f64| if square { format!("[{x}, {y}]") } else { format!("{x}") };
    let mut points: Vec<_> = (0..4)
        .map(|i| ruler[0] + (ruler[1] - ruler[0]) * f64::from(i) / 3.0)
        .map(|x| format!(r#"{{ "mm": {}, "at": {} }}"#, label(x, 0.0), at(x, -below)))
        .collect();
    if square {
        points.extend(
            [40.0, 100.0].map(|y| format!(r#"{{ "mm": [{}, {y}], "at": {} }}"#, ruler[0], at(ruler[0], y - below))),
        );
    }
    let text = format!(
        r#"{{ "format": "hoofgeo-sidecar/1", "photo": {{ "file": "a.jpg", "width_px": 4000, "height_px": 3000 }},
        "subject": {{ "foot": "LF" }}, "view": "lateral", "side": "lateral",
        "scale": {{ "kind": "{}", "tilt_u_deg": 30, "points": [{}] }},
        "planes": {{ "near_heel": {{ "behind_scale_mm": 0 }} }},
        "landmarks": {{ "toe_ground": {{ "at": {} }}, "heel_ground": {{ "at": {} }}, "toe_coronet": {{ "at": {} }} }} }}"#,
        if square { "square_ruler" } else { "straight_ruler" },
        points.join(", "),
        at(0.0, 0.0),
        at(120.0, 0.0),
        at(50.0, 70.0)
    );
    let sidecar = Sidecar::parse(&text, None).expect("reads");
    let lens = crate::scene::LensPrior::exif((4000, 3000), 10.0 * 300.0);
    let (scene, located) = crate::measured::locate(&sidecar, &lens, &Default::default()).expect("a scene");
    of_scene(&sidecar, &scene, &located).into_iter().chain(cut_off(&sidecar)).collect()
}

#[test]
fn geometry_is_remarked_on_where_it_must_be_and_nowhere_else() {
    use QualityRemark::{Coarse, CutOff, FarScale, ShortScale, Tilted};
    let good = remarks(10.0, [0.0, 150.0], 15.0, 1000.0, false, 0.0);
    assert!(good.is_empty(), "{good:?}");
    let good = remarks(10.0, [0.0, 150.0], 15.0, 1000.0, true, 0.1);
    assert!(good.is_empty(), "{good:?}");
    assert!(matches!(remarks(3.0, [0.0, 150.0], 15.0, 1000.0, false, 0.0)[..], [Coarse { .. }]));
    let short = remarks(10.0, [0.0, 60.0], 15.0, 1000.0, false, 0.0);
    assert!(
        matches!(short[..], [ShortScale { span_mm, hoof_mm }] if span_mm == 60.0 && (hoof_mm - 120.0).abs() < 1.0),
        "{short:?}"
    );
    assert!(remarks(10.0, [0.0, 80.0], 15.0, 1000.0, false, 0.0).is_empty());
    let far = remarks(6.0, [0.0, 150.0], 75.0, 1000.0, false, 0.0);
    assert!(matches!(far[..], [FarScale { gap_mm, .. }] if (gap_mm - 75.0).abs() < 1.0), "{far:?}");
    assert!(remarks(6.0, [0.0, 150.0], 50.0, 1000.0, false, 0.0).is_empty());
    let near_border = remarks(10.0, [0.0, 150.0], 15.0, 20.0, false, 0.0);
    assert!(matches!(near_border[..], [CutOff { name: "toe_ground" }]), "{near_border:?}");
    assert!(remarks(10.0, [0.0, 150.0], 15.0, 60.0, false, 0.0).is_empty());
    // The plane leans by atan of so much of the distance, 300 mm: 1 on 1000 mm is 16.7 degrees.
    let tilted = remarks(10.0, [0.0, 150.0], 15.0, 1000.0, true, 1.0);
    assert!(matches!(tilted[..], [Tilted { deg, expanded_deg }] if deg > 15.0 && expanded_deg < deg), "{tilted:?}");
    for r in [good, short, far, near_border, tilted].concat() {
        assert!(r.to_string().contains(": "), "{r} says what to do");
    }
}
