//! Graduations that cannot be.

use super::Case;
use crate::visits::{SCALE, headers};

/// Corners of an ID-1 card (85.60 x 53.98 mm) seen square, two pixels to the millimetre.
const CARD: &str = r#"{ "mm": [0, 0], "at": [200, 500] }, { "mm": [85.6, 0], "at": [371.2, 500] }, { "mm": [85.6, 53.98], "at": [371.2, 392.04] }"#;

pub(crate) fn cases() -> Vec<Case> {
    let along = |points: &[(f64, f64, f64)]| {
        let points: Vec<_> = points.iter().map(|(mm, x, y)| format!(r#"{{ "mm": {mm}, "at": [{x}, {y}] }}"#)).collect();
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
    let flat: Vec<_> = legs.iter().map(|&(a, b, x, y)| (a, b, x + 1.1 * (500.0 - y), 500.0)).collect();
    vec![
        Case::edit("no-scale.jpg", &[(SCALE, "null")], ".hoof.json: no graduation of the scale is marked yet\nwrite graduations of the ruler, four or more and far apart, into the sidecar's scale.points: { \"mm\": 50, \"at\": [x, y] }, the pixel counted from the photo's top left corner"),
        Case::edit("scale-without-kind.jpg", &[("\"kind\": \"straight_ruler\",\n    ", "")], ".hoof.json:10:12: scale: `kind` is missing: write \"straight_ruler\", \"square_ruler\", \"card\" or \"board\""),
        Case::edit("scale-of-no-kind.jpg", &[("straight_ruler", "rule")], ".hoof.json:11:13: scale.kind: must be `straight_ruler`, `square_ruler`, `card` or `board`, not \"rule\""),
        Case::scale("no-graduation.jpg", straight, "", ".hoof.json: no graduation of the scale is marked yet\nwrite graduations of the ruler, four or more and far apart, into the sidecar's scale.points: { \"mm\": 50, \"at\": [x, y] }, the pixel counted from the photo's top left corner"),
        Case::scale("one-graduation.jpg", straight, &along(&[(0.0, 200.0, 500.0)]), ".hoof.json:10:50: scale.points: a straight ruler needs at least 2 points, here is 1"),
        Case::scale("two-graduations.jpg", straight, &along(&[(0.0, 200.0, 500.0), (200.0, 600.0, 500.0)]), ".hoof.json: 2 graduations are marked, at least 3 are needed, and no more graduations were read from the pixels: no graduations were found between the two marks\nmark a third, or give a lens profile or a photo whose EXIF has the focal length, then two are enough")
            .beside(headers::without_exif()),
        Case::scale(
            "graduations-at-one-place.jpg",
            straight,
            &along(&[(0.0, 200.0, 500.0), (50.0, 201.0, 500.0), (100.0, 202.0, 500.0), (150.0, 203.0, 500.0)]),
            ".hoof.json: the marked graduations lie within 3.0 px of each other\nmark graduations as far apart as the photo shows",
        ),
        Case::scale("label-twice.jpg", straight, &along(&[(50.0, 200.0, 500.0), (50.0, 600.0, 500.0)]), ".hoof.json:10:91: scale.points[1].mm: points [0] and [1] name the same place on the scale, 50 mm"),
        Case::scale("pixel-twice.jpg", straight, &along(&[(0.0, 200.0, 500.0), (50.0, 200.0, 500.0)]), ".hoof.json:10:100: scale.points[1].at: points [0] and [1] lie on the same pixel but differ in mm"),
        Case::edit("wrong-label.jpg", &[("\"mm\": 150", "\"mm\": 140")], ".hoof.json: graduation 140 mm does not fit the others: it lies 20.0 px from its place\nat that pixel the label 150 mm would fit; check which is meant"),
        Case::edit("wrong-pixel.jpg", &[("[500, 500]", "[507, 470]")], ".hoof.json: graduation 150 mm does not fit the others: it lies 30.8 px from its place\nno label fits that pixel either: mark the graduation again"),
        Case::edit(
            "swapped-graduations.jpg",
            &[("\"mm\": 50,", "\"mm\": 99,"), ("\"mm\": 100,", "\"mm\": 50,"), ("\"mm\": 99,", "\"mm\": 100,")],
            ".hoof.json: the graduations 100 and 50 mm look swapped\nexchange their labels",
        ),
        Case::edit("wrong-labels.jpg", &[("\"mm\": 50,", "\"mm\": 90,"), ("\"mm\": 150", "\"mm\": 110")], ".hoof.json: the graduations do not agree with each other: they scatter by 45.8 times the stated 1 px, most of all 90 mm by 78.5 px\ncheck labels and pixels, and mark more graduations so that a wrong one can be told"),
        Case::scale(
            "three-that-disagree.jpg",
            straight,
            &along(&[(0.0, 200.0, 500.0), (50.0, 300.0, 440.0), (100.0, 400.0, 500.0)]),
            ".hoof.json: the graduations do not agree with each other: they scatter by 34.5 times the stated 1 px, most of all 50 mm by 39.7 px\ncheck labels and pixels, and mark more graduations so that a wrong one can be told",
        ),
        Case::scale(
            "graduations-off-the-line.jpg",
            straight,
            &along(&[(0.0, 200.0, 500.0), (50.0, 300.0, 420.0), (100.0, 400.0, 590.0), (150.0, 500.0, 500.0)]),
            ".hoof.json: the graduations do not agree with each other: they scatter by 57.1 times the stated 1 px, most of all 100 mm by 78.6 px\ncheck labels and pixels, and mark more graduations so that a wrong one can be told",
        ),
        Case::edit("graduation-outside.jpg", &[("[600, 500]", "[6000, 500]")], ".hoof.json:18:26: scale.points[4].at: [6000, 500] lies outside the photo, which is 800 x 600 px\npixels are counted from the top left corner of the upright photo, x first"),
        Case::edit("graduation-off-the-ruler.jpg", &[("\"mm\": 150", "\"mm\": [150, 10]")], ".hoof.json:17:15: scale.points[3].mm: on a straight ruler y is 0\nwrite the distance along its edge as one number"),
        Case::edit("graduation-as-text.jpg", &[("\"mm\": 150", "\"mm\": \"150 mm\"")], ".hoof.json:17:15: scale.points[3].mm: must be a number or `[x, y]`, not the text \"150 mm\""),
        Case::scale("card-with-three.jpg", "card", CARD, ".hoof.json:10:40: scale.points: a card needs at least 4 points, here are 3"),
        Case::scale(
            "card-on-a-line.jpg",
            "card",
            &in_plane(&[
                (0.0, 0.0, 200.0, 500.0),
                (20.0, 0.0, 240.0, 500.0),
                (40.0, 0.0, 280.0, 500.0),
                (85.6, 0.0, 371.2, 500.0),
            ]),
            ".hoof.json:10:40: scale.points: the points of a card must not all lie on one line of the scale\nadd points of its other edge, or write \"straight_ruler\"",
        ),
        Case::scale("card-too-wide.jpg", "card", &card(r#"{ "mm": [0, 54], "at": [200, 392] }"#), ".hoof.json:10:174: scale.points[3].mm: [0, 54] lies off the card, which is 85.60 x 53.98 mm (ISO/IEC 7810 ID-1)"),
        Case::scale("card-with-number.jpg", "card", &card(r#"{ "mm": 54, "at": [200, 392] }"#), ".hoof.json:10:174: scale.points[3].mm: on a card `mm` is `[x, y]`, from one of its corners"),
        Case::scale("card-corner-wrong.jpg", "card", &card(r#"{ "mm": [0, 53.98], "at": [300, 300] }"#), ".hoof.json: the graduations do not agree with each other: they scatter by 15.1 times the stated 1 px, most of all [0, 53.98] mm by 7.5 px\ncheck labels and pixels, and mark more graduations so that a wrong one can be told"),
        Case::scale("square-mirrored.jpg", square, &in_plane(&mirrored), ".hoof.json: the scale appears mirrored: its y axis runs the wrong way round\nswap x and y in the graduations' mm, or use the photo as taken (selfie cameras mirror)"),
        Case::scale("square-with-wrong-label.jpg", square, &in_plane(&relabelled), ".hoof.json: graduation [0, 110] mm does not fit the others: it lies 20.0 px from its place\nat that pixel the label [0, 100] mm would fit; check which is meant"),
        Case::scale("square-on-a-line.jpg", square, &in_plane(&flat), ".hoof.json: the marked graduations lie on one line of the photo\ncheck the pixels of the graduations: a square's legs, or a card's corners, span an area"),
        Case::scale(
            "square-as-straight.jpg",
            square,
            &along(&[(0.0, 200.0, 500.0), (50.0, 300.0, 500.0), (100.0, 400.0, 500.0), (150.0, 500.0, 500.0)]),
            ".hoof.json:10:48: scale.points: the points of a square ruler must not all lie on one line of the scale\nadd points of its other edge, or write \"straight_ruler\"",
        ),
    ]
}
