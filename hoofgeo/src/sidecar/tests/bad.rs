//! Bad documents, each with the exact text of its error.

use super::bad_others::{BAD_BYTES, BAD_LENS, BAD_VISIT, NO_COVARIANCE};
use super::{EXAMPLE, LENS};
use crate::sidecar::{LensProfile, Sidecar, Visit};

/// Bad sidecars: the contract's example with one text replaced.
pub(super) const BAD: &[(&str, &str, &str)] = &[
    // keys
    (r#""observer""#, r#""observr""#, "line 9 column 3: observr: unknown key `observr`\n  did you mean `observer`?"),
    (
        r#""heel_ground": {"#,
        r#""heel_grund": {"#,
        "line 29 column 5: landmarks.heel_grund: there is no landmark `heel_grund`\n  did you mean `heel_ground`?",
    ),
    (
        r#""u_mm": 1.5"#,
        r#""u_m": 1.5"#,
        "line 29 column 46: landmarks.heel_ground.u_m: unknown key `u_m`\n  did you mean `u_mm`?",
    ),
    (
        r#""u_mm": 1.5"#,
        r#""banana": 1.5"#,
        "line 29 column 46: landmarks.heel_ground.banana: unknown key `banana`\n  known here: `at`, `u_px`, `u_mm`, `snapped`, `pen_mark`, `carried` or `suggested`",
    ),
    (
        r#""tubules_toe""#,
        r#""tubule_toe""#,
        "line 31 column 14: lines.tubule_toe: there is no line `tubule_toe`\n  did you mean `tubules_toe`?",
    ),
    (
        r#""tubules_toe""#,
        r#""toe_ground""#,
        "line 31 column 14: lines.toe_ground: there is no line `toe_ground`\n  `toe_ground` is a landmark: it goes under `landmarks`",
    ),
    (
        r#""toe_coronet""#,
        r#""dorsal_wall""#,
        "line 27 column 5: landmarks.dorsal_wall: there is no landmark `dorsal_wall`\n  `dorsal_wall` is a line: it goes under `lines`",
    ),
    (
        r#""near_heel""#,
        r#""nearheel""#,
        "line 24 column 5: planes.nearheel: there is no plane `nearheel`\n  did you mean `near_heel`?",
    ),
    (
        r#""observer": "MK""#,
        r#""view": "solar""#,
        "line 9 column 3: view: the key `view` is given twice\n  keep one of the two",
    ),
    (
        r#""toe_coronet""#,
        r#""toe_ground""#,
        "line 28 column 5: landmarks.toe_ground: the key `toe_ground` is given twice\n  keep one of the two",
    ),
    (
        r#""u_mm": 1.5"#,
        r#""at": [1, 2]"#,
        "line 29 column 46: landmarks.heel_ground.at: the key `at` is given twice\n  keep one of the two",
    ),
    (
        r#""toe_coronet""#,
        r#""toe_outer""#,
        "line 27 column 5: landmarks.toe_outer: `toe_outer` is a solar landmark, this photo is lateral",
    ),
    (r#""tubules_toe""#, r#""frog""#, "line 31 column 14: lines.frog: `frog` is a solar line, this photo is lateral"),
    // format
    (
        "hoofgeo-sidecar/1",
        "hoofgeo-sidecar/2",
        "line 2 column 13: format: must be \"hoofgeo-sidecar/1\", not \"hoofgeo-sidecar/2\"\n  this program reads version 1",
    ),
    (
        "hoofgeo-sidecar/1",
        "hoofgeo-lens/1",
        "line 2 column 13: format: must be \"hoofgeo-sidecar/1\", not \"hoofgeo-lens/1\"\n  this is a file of another kind under this name",
    ),
    (
        r#""format": "hoofgeo-sidecar/1","#,
        "",
        "line 1 column 1: the key `format` is missing\n  write \"format\": \"hoofgeo-sidecar/1\"",
    ),
    // what is missing or empty
    (r#""view": "lateral","#, "", "line 1 column 1: view: `view` is still empty: write \"lateral\" or \"solar\""),
    (
        r#""view": "lateral""#,
        r#""view": null"#,
        "line 5 column 11: view: `view` is still empty: write \"lateral\" or \"solar\"",
    ),
    (
        r#", "foot": "LF""#,
        "",
        "line 4 column 14: subject.foot: `foot` is still empty: write \"LF\", \"RF\", \"LH\" or \"RH\"",
    ),
    (r#", "height_px": 3024"#, "", "line 3 column 12: photo: the key `height_px` is missing"),
    (
        r#""kind": "straight_ruler","#,
        "",
        "line 11 column 12: scale: `kind` is missing: write \"straight_ruler\", \"square_ruler\", \"card\" or \"board\"",
    ),
    (r#""at": [1320.5, 1105.0]"#, r#""u_px": 2"#, "line 27 column 20: landmarks.toe_coronet: the key `at` is missing"),
    (
        r#""animal": "Bramble""#,
        r#""animal": " ""#,
        "line 4 column 26: subject.animal: must not be empty text\n  leave the key out, or write null",
    ),
    // types
    (
        r#""at": [1320.5, 1105.0]"#,
        r#""at": ["1320.5", 1105.0]"#,
        "line 27 column 29: landmarks.toe_coronet.at[0]: must be a number or `[x, y]`, not the text \"1320.5\"",
    ),
    (
        r#""at": [1320.5, 1105.0]"#,
        r#""at": [1320.5]"#,
        "line 27 column 28: landmarks.toe_coronet.at: must be `[x, y]`, two numbers, not 1",
    ),
    (
        r#""at": [1320.5, 1105.0]"#,
        r#""at": [1320.5, 1105.0, 0]"#,
        "line 27 column 28: landmarks.toe_coronet.at: must be `[x, y]`, two numbers, not 3\n  the decimal mark is a point, not a comma",
    ),
    (
        r#""at": [1320.5, 1105.0]"#,
        r#""at": []"#,
        "line 27 column 28: landmarks.toe_coronet.at: no point is given\n  write `[x, y]`, or `null` for the whole landmark",
    ),
    (
        r#""at": [1320.5, 1105.0]"#,
        r#""at": {"x": 1320.5, "y": 1105.0}"#,
        "line 27 column 28: landmarks.toe_coronet.at: must be a list `[...]`, not an object `{...}`",
    ),
    (
        "[907.0, 2279.0]",
        "907.0",
        "line 28 column 45: landmarks.toe_ground.at[1]: must be a list `[...]`, not the number 907.0",
    ),
    (
        "[907.0, 2279.0]",
        "[907.0]",
        "line 28 column 45: landmarks.toe_ground.at[1]: must be `[x, y]`, two numbers, not 1",
    ),
    ("[1190.1, 2404.2]", "[1190.1]", "line 18 column 26: scale.points[1].at: must be `[x, y]`, two numbers, not 1"),
    ("4032", "4032.5", "line 3 column 56: photo.width_px: must be a positive whole number, not the number 4032.5"),
    ("4032", "\"4032\"", "line 3 column 56: photo.width_px: must be a number, not the text \"4032\""),
    (
        r#""foot": "LF""#,
        r#""foot": "FL""#,
        "line 4 column 45: subject.foot: must be `LF`, `RF`, `LH` or `RH`, not \"FL\"",
    ),
    (
        r#""kind": "straight_ruler""#,
        r#""kind": "straight ruler""#,
        "line 12 column 13: scale.kind: must be `straight_ruler`, `square_ruler`, `card` or `board`, not \"straight ruler\"\n  did you mean `straight_ruler`?",
    ),
    (
        r#""view": "lateral""#,
        r#""view": "latral""#,
        "line 5 column 11: view: must be `lateral` or `solar`, not \"latral\"\n  did you mean `lateral`?",
    ),
    (
        r#""stage": "before_trim""#,
        r#""stage": true"#,
        "line 7 column 12: stage: must be `before_trim` or `after_trim`, not true",
    ),
    (
        r#"{ "class": "II" }"#,
        r#"{ "class": "IV" }"#,
        "line 13 column 29: scale.tolerance.class: must be `I`, `II` or `III`, not \"IV\"",
    ),
    (
        r#"{ "class": "II" }"#,
        r#"{ "class": "II", "u_rel": 1e-4 }"#,
        "line 13 column 18: scale.tolerance: takes one of `class` or `u_rel`, not 2 keys",
    ),
    (
        r#"{ "class": "II" }"#,
        r#"{ "klass": "II" }"#,
        "line 13 column 20: scale.tolerance.klass: must be `class` or `u_rel`, not \"klass\"\n  did you mean `class`?",
    ),
    (r#"{ "class": "II" }"#, r#""II""#, "line 13 column 18: scale.tolerance: must be `class` or `u_rel`, not \"II\""),
    (
        r#""mm": 50"#,
        r#""mm": "5 cm""#,
        "line 18 column 15: scale.points[1].mm: must be a number or `[x, y]`, not the text \"5 cm\"",
    ),
    (r#""landmarks": {"#, r#""landmarks": [{"#, "line 31 column 10: a colon has no place here"),
    (
        r#"{ "medial": 2.5, "lateral": 3.0, "u_mm": 0.5 }"#,
        "3",
        "line 32 column 42: gauge.heel_above_sole_plane_mm: must be an object `{...}`, not the number 3",
    ),
    (
        r#""notes": "free text""#,
        r#""notes": ["free text"]"#,
        "line 33 column 12: notes: must be text in double quotes, not a list `[...]`",
    ),
    // numbers
    (
        "1320.5",
        "4032.5",
        "line 27 column 28: landmarks.toe_coronet.at: [4032.5, 1105] lies outside the photo, which is 4032 x 3024 px\n  pixels are counted from the top left corner of the upright photo, x first",
    ),
    (
        "[907.0, 2279.0]",
        "[-0.5, 2279.0]",
        "line 28 column 45: landmarks.toe_ground.at[1]: [-0.5, 2279] lies outside the photo, which is 4032 x 3024 px\n  pixels are counted from the top left corner of the upright photo, x first",
    ),
    (
        "[1010, 2020]",
        "[1010, 3025]",
        "line 31 column 44: lines.tubules_toe[1]: [1010, 3025] lies outside the photo, which is 4032 x 3024 px\n  pixels are counted from the top left corner of the upright photo, x first",
    ),
    (
        "2404.2",
        "24042",
        "line 18 column 26: scale.points[1].at: [1190.1, 24042] lies outside the photo, which is 4032 x 3024 px\n  pixels are counted from the top left corner of the upright photo, x first",
    ),
    ("1320.5", "1e999", "line 27 column 29: landmarks.toe_coronet.at[0]: 1e999 is not a number that can be meant here"),
    ("4032", "0", "line 3 column 56: photo.width_px: must be 1 to 100000 px, not 0"),
    ("4032", "1000000", "line 3 column 56: photo.width_px: must be 1 to 100000 px, not 1000000"),
    ("4032", "-4032", "line 3 column 56: photo.width_px: must be a positive whole number, not the number -4032"),
    (
        r#""u_mm": 1.5"#,
        r#""u_mm": -1.5"#,
        "line 29 column 54: landmarks.heel_ground.u_mm: an uncertainty cannot be negative, here it is -1.5",
    ),
    (
        r#""u_mm": 1.5"#,
        r#""carried": { "from_photo": "b.jpg", "at": [1, 2], "u_px": 0 }"#,
        "line 29 column 104: landmarks.heel_ground.carried.u_px: an uncertainty of 0 px claims a perfect mark\n  leave the key out for the usual value",
    ),
    (
        r#""u_mm": 1.5"#,
        r#""snapped": { "from": [2101, 2299], "edge": [1, 0], "u_px": 0 }"#,
        "line 29 column 105: landmarks.heel_ground.snapped.u_px: an uncertainty of 0 px claims a perfect mark\n  leave the key out for the usual value",
    ),
    (
        r#""u_mm": 1.5"#,
        r#""snapped": { "from": [2101, 2299], "edge": [0, 0], "u_px": 0.2 }"#,
        "line 29 column 89: landmarks.heel_ground.snapped.edge: [0, 0] is no direction",
    ),
    (
        "[[905.0, 2280.5], [907.0, 2279.0]]",
        r#"[[905.0, 2280.5], [907.0, 2279.0]], "snapped": { "from": [901, 2281], "edge": [1, 0], "u_px": 0.2 }"#,
        "line 28 column 74: landmarks.toe_ground.snapped: only a landmark placed once can have been moved to an edge\n  repeated placements show how far clicks scatter: leave `snapped` out",
    ),
    (
        r#""u_px": 1.0"#,
        r#""u_px": 0"#,
        "line 14 column 13: scale.u_px: an uncertainty of 0 px claims a perfect mark\n  leave the key out for the usual value",
    ),
    (
        r#""tilt_u_deg": 3"#,
        r#""tilt_u_deg": 120"#,
        "line 23 column 66: planes.measured.tilt_u_deg: 120 is too much to be meant, 90 is the most",
    ),
    (
        r#"{ "class": "II" }"#,
        r#"{ "u_rel": -0.0002 }"#,
        "line 13 column 29: scale.tolerance.u_rel: an uncertainty cannot be negative, here it is -0.0002",
    ),
    (
        r#""behind_scale_mm": -20"#,
        r#""behind_scale_mm": -20000"#,
        "line 24 column 39: planes.near_heel.behind_scale_mm: -20000 mm is too far to be meant, 10000 mm is the most",
    ),
    (
        r#""medial": 2.5, "lateral": 3.0, "u_mm""#,
        r#""u_mm""#,
        "line 32 column 42: gauge.heel_above_sole_plane_mm: the gauge has no value: write `medial`, `lateral` or both",
    ),
    // text
    (
        "2026-05-04T09:30:00+01:00",
        "04.05.2026 09:30",
        "line 8 column 12: taken: \"04.05.2026 09:30\" is no date and time\n  write it as 2026-05-04T09:30:00, 2026-05-04T09:30:00+01:00 or 2026-05-04",
    ),
    (
        "2026-05-04T09:30:00+01:00",
        "2026-02-30T09:30:00",
        "line 8 column 12: taken: \"2026-02-30T09:30:00\" is no date and time\n  write it as 2026-05-04T09:30:00, 2026-05-04T09:30:00+01:00 or 2026-05-04",
    ),
    (
        "near-fore-side.jpg",
        "visit/near-fore-side.jpg",
        "line 3 column 22: photo.file: must be a file name without a folder\n  a photo and its sidecar stand in one folder",
    ),
    ("near-fore-side.jpg", "", "line 3 column 22: photo.file: must name the photo's file"),
    // lines and scales
    (
        "[[1250, 1300], [1010, 2020]]",
        "[[1250, 1300]]",
        "line 31 column 29: lines.tubules_toe: a line needs at least 2 points, here is 1",
    ),
    (
        "[[1250, 1300], [1010, 2020]]",
        "[[1250, 1300], [1250, 1300]]",
        "line 31 column 44: lines.tubules_toe[1]: points [0] and [1] are the same",
    ),
    (
        r#""mm": 50"#,
        r#""mm": 150"#,
        "line 19 column 15: scale.points[2].mm: points [1] and [2] name the same place on the scale, 150 mm",
    ),
    (
        r#""mm": 50"#,
        r#""mm": [50, 2]"#,
        "line 18 column 15: scale.points[1].mm: on a straight ruler y is 0\n  write the distance along its edge as one number",
    ),
    (
        "[1190.1, 2404.2]",
        "[812.4, 2410.0]",
        "line 18 column 26: scale.points[1].at: points [0] and [1] lie on the same pixel but differ in mm",
    ),
    (
        "straight_ruler",
        "square_ruler",
        "line 16 column 15: scale.points: a square ruler needs at least 4 points, here are 3",
    ),
    (
        "straight_ruler",
        "card",
        "line 17 column 15: scale.points[0].mm: on a card `mm` is `[x, y]`, from one of its corners",
    ),
    // the JSON itself
    (r#""observer": "MK","#, r#""observer": "MK""#, "line 9 column 19: a comma is missing here"),
    (r#""notes": "free text""#, r#""notes": "free text","#, "line 33 column 23: no comma may follow the last entry"),
    (
        r#""notes": "free text""#,
        r#""notes": "free text" // really"#,
        "line 33 column 24: a comment is not allowed here\n  write it into the key `notes`",
    ),
    (r#""observer": "MK""#, r#""observer": 'MK'"#, "line 9 column 15: text stands in double quotes"),
    (r#""observer": "MK""#, r#""observer": MK"#, "line 9 column 15: `MK` is not JSON\n  text stands in double quotes"),
    (r#""observer": "MK""#, r#"observer: "MK""#, "line 9 column 3: a key stands in double quotes"),
    (r#""observer": "MK""#, r#""observer" "MK""#, "line 9 column 14: a colon must follow the key"),
    (r#""observer": "MK""#, r#""observer": "#, "line 9 column 15: a value is missing before this comma"),
    ("1320.5", "NaN", "line 27 column 29: a number must be finite"),
    ("1320.5", "0x52", "line 27 column 29: a number must be decimal"),
    ("1320.5", "+1320.5", "line 27 column 29: a number takes no plus sign"),
    (
        "1320.5",
        "1320,5",
        "line 27 column 28: landmarks.toe_coronet.at: must be `[x, y]`, two numbers, not 3\n  the decimal mark is a point, not a comma",
    ),
    ("1320.5", "01320", "line 27 column 30: a number must not begin with 0"),
    ("\"free text\"\n}\n", "\"free text\"\n", "line 1 column 1: this object has no end: a `}` is missing"),
    ("\"free text\"\n}\n", "\"free text\"\n}}\n", "line 34 column 2: something follows the end of the object"),
    ("\"free text\"\n}\n", "\"free text\n}\n", "line 33 column 12: this text has no end: a closing quote is missing"),
    (
        "free text",
        "free\ttext",
        "line 33 column 16: not JSON: control character (\\u0000-\\u001F) found while parsing a string",
    ),
    ("free text", r"free \x41 text", "line 33 column 18: not JSON: invalid escape"),
];

/// Bad scales of two dimensions and closed outlines, as whole documents after this head.
const HEAD: &str = r#"{ "format": "hoofgeo-sidecar/1", "photo": { "file": "a.jpg", "width_px": 400, "height_px": 300 },
  "subject": { "foot": "LF" }, "view": "solar",
  "#;

const BAD_SOLAR: &[(&str, &str)] = &[
    (
        r#""lines": { "frog": [[1, 1], [9, 9], [9, 1], [1, 9]] }}"#,
        "line 3 column 39: lines.frog[2]: the outline crosses itself: its segment [0] to [1] meets the one from [2] to [3]\n  give the points in their order along the edge",
    ),
    (
        r#""lines": { "frog": [[1, 1], [9, 9]] }}"#,
        "line 3 column 22: lines.frog: a closed outline needs at least 3 points, here are 2",
    ),
    (
        r#""lines": { "frog": [[1, 1], [9, 1], [5, 9], [1, 1]] }}"#,
        "line 3 column 47: lines.frog[3]: the last point repeats the first\n  leave it out: the outline closes by itself",
    ),
    (
        r#""lines": { "frog": [[1, 1], [9, 1], [5, 1], [5, 9]] }}"#,
        "line 3 column 31: lines.frog[1]: the outline crosses itself: its segment [0] to [1] meets the one from [1] to [2]\n  give the points in their order along the edge",
    ),
    (
        r#""lines": { "ground": [[1, 1], [9, 1]] }}"#,
        "line 3 column 14: lines.ground: `ground` is a lateral line, this photo is solar",
    ),
    (
        r#""landmarks": { "heel_ground": { "at": [1, 1] } }}"#,
        "line 3 column 18: landmarks.heel_ground: `heel_ground` is a lateral landmark, this photo is solar",
    ),
    (
        r#""landmarks": { "Toe-Outer": null }}"#,
        "line 3 column 18: landmarks[\"Toe-Outer\"]: there is no landmark `Toe-Outer`\n  did you mean `toe_outer`?",
    ),
    (
        r#""scale": { "kind": "card", "points": [{ "mm": [0, 0], "at": [0, 0] }, { "mm": [85.6, 0], "at": [90, 0] },
    { "mm": [85.6, 53.98], "at": [90, 60] }, { "mm": [0, 54], "at": [0, 60] }] }}"#,
        "line 4 column 54: scale.points[3].mm: [0, 54] lies off the card, which is 85.60 x 53.98 mm (ISO/IEC 7810 ID-1)",
    ),
    (
        r#""scale": { "kind": "board", "points": [{ "mm": 0, "at": [0, 0] }, { "mm": 25, "at": [90, 0] },
    { "mm": 50, "at": [180, 0] }, { "mm": [75, 0.01], "at": [270, 60] }] }}"#,
        "line 3 column 41: scale.points: the points of a board must not all lie on one line of the scale\n  add points of its other edge, or write \"straight_ruler\"",
    ),
    (
        r#""scale": { "kind": "straight_ruler", "points": [{ "mm": 0, "at": [1, 1] }] }}"#,
        "line 3 column 50: scale.points: a straight ruler needs at least 2 points, here is 1",
    ),
    (
        r#""scale": { "kind": "straight_ruler", "points": [{ "mm": 99999, "at": [1, 1] }] }}"#,
        "line 3 column 59: scale.points[0].mm: 99999 mm is too far to be meant, 10000 mm is the most",
    ),
    (
        r#""gauge": {}, "scale": { "kind": "straight_ruler", "points": [null] }}"#,
        "line 3 column 64: scale.points[0]: must be an object `{...}`, not null",
    ),
    (
        r#""landmarks": { "breakover": [1, 1] }}"#,
        "line 3 column 31: landmarks.breakover: must be an object `{...}`, not a list `[...]`\n  write { \"at\": [x, y] }",
    ),
    (
        r#""landmarks": { "b\u00e9\n": [1, 1] }}"#,
        "line 3 column 18: landmarks[\"bé\\n\"]: there is no landmark `bé\\n`\n  `hoofgeo explain` lists them all",
    ),
    (
        r#""notes": "é", "landmarks": { "ü.ü": [1, 1] }}"#,
        "line 3 column 32: landmarks[\"ü.ü\"]: there is no landmark `ü.ü`\n  `hoofgeo explain` lists them all",
    ),
];

fn error<T>(result: crate::Result<T>) -> String {
    match result {
        Ok(_) => "accepted".to_owned(),
        Err(e) => e.to_string(),
    }
}

/// The example with one text replaced, which must be in it.
pub(super) fn edited(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from}");
    text.replacen(from, to, 1)
}

/// Every bad document: whether a sidecar (0), lens profile (1) or visit (2), its text, its error.
pub(super) fn all() -> Vec<(usize, String, &'static str)> {
    let mut all = Vec::new();
    all.extend(BAD.iter().map(|(from, to, e)| (0, edited(EXAMPLE, from, to), *e)));
    all.extend(BAD_SOLAR.iter().map(|(rest, e)| (0, format!("{HEAD}{rest}"), *e)));
    all.extend(BAD_LENS.iter().map(|(from, to, e)| (1, edited(LENS, from, to), *e)));
    all.extend(BAD_VISIT.iter().map(|(text, e)| (2, (*text).to_owned(), *e)));
    all
}

#[test]
fn each_bad_document_is_refused_in_these_words() {
    assert!(all().len() >= 40);
    for (which, text, expected) in all() {
        let got = match which {
            0 => error(Sidecar::parse(&text, None)),
            1 => error(LensProfile::parse(&text)),
            _ => error(Visit::parse(&text)),
        };
        assert_eq!(got, expected, "{text}");
    }
    for (bytes, expected) in BAD_BYTES {
        assert_eq!(error(Sidecar::parse_bytes(bytes, None)), *expected, "{bytes:?}");
    }
}

#[test]
fn a_matrix_that_is_no_covariance_is_refused() {
    let (head, tail) = LENS.split_once("\"covariance\": ").unwrap();
    let (_, tail) = tail.split_once("],\n  \"found\"").unwrap();
    let text = format!("{head}\"covariance\": {NO_COVARIANCE},\n  \"found\"{tail}");
    // The eigenvalue of that correlation matrix is 1 - 2 * 0.9.
    assert_eq!(
        error(LensProfile::parse(&text)),
        "line 9 column 17: covariance: the matrix is no covariance: its correlations have the negative eigenvalue -8.00e-1"
    );
}

#[test]
fn nesting_is_bounded() {
    for (open, close) in [("[", "]"), ("{\"a\":", "}")] {
        let text = format!("{}1{}", open.repeat(100_000), close.repeat(100_000));
        assert!(error(Sidecar::parse(&text, None)).ends_with("nested too deep"));
    }
    let list = format!("{HEAD}\"landmarks\": {{ \"toe_outer\": {{ \"at\": [{}[1,1]] }} }}}}", "[1,1],".repeat(2000));
    assert!(error(Sidecar::parse(&list, None)).ends_with("2001 entries; 2000 at most are read"));
}
