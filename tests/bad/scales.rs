//! Graduations that cannot be.

use super::Case;
use crate::visits::{SCALE, headers};

/// Corners of an ID-1 card (85.60 x 53.98 mm) seen square, two pixels to the millimetre.
const CARD: &str = r#"{ "mm": [0, 0], "at": [200, 500] }, { "mm": [85.6, 0], "at": [371.2, 500] }, { "mm": [85.6, 53.98], "at": [371.2, 392.04] }"#;

pub(crate) fn cases() -> Vec<Case> {
    let along = |points: &[(f64, f64, f64)]| {
        let points: Vec<_> =
            points.iter().map(|(mm, x, y)| format!(r#"{{ "mm": {mm}, "at": [{x}, {y}] }}"#)).collect();
        points.join(", ")
    };
    let in_plane = |points: &[(f64, f64, f64, f64)]| {
        let points: Vec<_> =
            points.iter().map(|(a, b, x, y)| format!(r#"{{ "mm": [{a}, {b}], "at": [{x}, {y}] }}"#)).collect();
        points.join(", ")
    };
    let card = |last: &str| format!("{CARD}, {last}");
    let (straight, square) = ("straight_ruler", "square_ruler");
    // A square ruler's two legs, seen square and from its face.
    let legs = [
        (0.0, 0.0, 200.0, 500.0),
        (50.0, 0.0, 300.0, 500.0),
        (100.0, 0.0, 400.0, 500.0),
        (150.0, 0.0, 500.0, 500.0),
        (0.0, 50.0, 200.0, 400.0),
        (0.0, 100.0, 200.0, 300.0),
        (0.0, 150.0, 200.0, 200.0),
    ];
    let mirrored: Vec<_> = legs.iter().map(|&(a, b, x, y)| (b, a, x, y)).collect();
    let relabelled: Vec<_> =
        legs.iter().map(|&(a, b, x, y)| if b == 100.0 { (0.0, 110.0, x, y) } else { (a, b, x, y) }).collect();
    let flat: Vec<_> = legs.iter().map(|&(a, b, x, y)| (a, b, x + (500.0 - y), 500.0 - 0.01 * b)).collect();
    vec![
        Case::edit("no-scale.jpg", &[(SCALE, "null")], "?"),
        Case::edit("scale-without-kind.jpg", &[("\"kind\": \"straight_ruler\",\n    ", "")], "?"),
        Case::edit("scale-of-no-kind.jpg", &[("straight_ruler", "rule")], "?"),
        Case::scale("no-graduation.jpg", straight, "", "?"),
        Case::scale("one-graduation.jpg", straight, &along(&[(0.0, 200.0, 500.0)]), "?"),
        Case::scale("two-graduations.jpg", straight, &along(&[(0.0, 200.0, 500.0), (200.0, 600.0, 500.0)]), "?")
            .beside(headers::without_exif()),
        Case::scale(
            "graduations-at-one-place.jpg",
            straight,
            &along(&[(0.0, 200.0, 500.0), (50.0, 201.0, 500.0), (100.0, 202.0, 500.0), (150.0, 203.0, 500.0)]),
            "?",
        ),
        Case::scale("label-twice.jpg", straight, &along(&[(50.0, 200.0, 500.0), (50.0, 600.0, 500.0)]), "?"),
        Case::scale("pixel-twice.jpg", straight, &along(&[(0.0, 200.0, 500.0), (50.0, 200.0, 500.0)]), "?"),
        Case::edit("wrong-label.jpg", &[("\"mm\": 150", "\"mm\": 140")], "?"),
        Case::edit("wrong-pixel.jpg", &[("[500, 500]", "[507, 470]")], "?"),
        Case::edit(
            "swapped-graduations.jpg",
            &[("\"mm\": 50,", "\"mm\": 99,"), ("\"mm\": 100,", "\"mm\": 50,"), ("\"mm\": 99,", "\"mm\": 100,")],
            "?",
        ),
        Case::edit("wrong-labels.jpg", &[("\"mm\": 50,", "\"mm\": 90,"), ("\"mm\": 150", "\"mm\": 110")], "?"),
        Case::scale(
            "three-that-disagree.jpg",
            straight,
            &along(&[(0.0, 200.0, 500.0), (50.0, 340.0, 500.0), (100.0, 400.0, 500.0)]),
            "?",
        ),
        Case::scale(
            "graduations-off-the-line.jpg",
            straight,
            &along(&[(0.0, 200.0, 500.0), (50.0, 300.0, 420.0), (100.0, 400.0, 590.0), (150.0, 500.0, 500.0)]),
            "?",
        ),
        Case::edit("graduation-outside.jpg", &[("[600, 500]", "[6000, 500]")], "?"),
        Case::edit("graduation-off-the-ruler.jpg", &[("\"mm\": 150", "\"mm\": [150, 10]")], "?"),
        Case::edit("graduation-as-text.jpg", &[("\"mm\": 150", "\"mm\": \"150 mm\"")], "?"),
        Case::scale("card-with-three.jpg", "card", CARD, "?"),
        Case::scale(
            "card-on-a-line.jpg",
            "card",
            &in_plane(&[
                (0.0, 0.0, 200.0, 500.0),
                (20.0, 0.0, 240.0, 500.0),
                (40.0, 0.0, 280.0, 500.0),
                (85.6, 0.0, 371.2, 500.0),
            ]),
            "?",
        ),
        Case::scale("card-too-wide.jpg", "card", &card(r#"{ "mm": [0, 54], "at": [200, 392] }"#), "?"),
        Case::scale("card-with-number.jpg", "card", &card(r#"{ "mm": 54, "at": [200, 392] }"#), "?"),
        Case::scale("card-corner-wrong.jpg", "card", &card(r#"{ "mm": [0, 53.98], "at": [300, 300] }"#), "?"),
        Case::scale("square-mirrored.jpg", square, &in_plane(&mirrored), "?"),
        Case::scale("square-with-wrong-label.jpg", square, &in_plane(&relabelled), "?"),
        Case::scale("square-on-a-line.jpg", square, &in_plane(&flat), "?"),
        Case::scale(
            "square-as-straight.jpg",
            square,
            &along(&[(0.0, 200.0, 500.0), (50.0, 300.0, 500.0), (100.0, 400.0, 500.0), (150.0, 500.0, 500.0)]),
            "?",
        ),
    ]
}
