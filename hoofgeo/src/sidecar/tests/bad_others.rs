//! Bad lens profiles, visits and bytes, each with the exact text of its error.

/// Bad lens profiles: the example with one text replaced.
pub(super) const BAD_LENS: &[(&str, &str, &str)] = &[
    (
        r#""order": ["focal_px", "cx", "cy""#,
        r#""order": ["focal_px", "cy", "cx""#,
        "line 8 column 25: order[1]: must be \"cx\", not \"cy\"\n  reorder the covariance to this order: focal_px, cx, cy, k1, k2, k3, p1, p2",
    ),
    (r#", "p2"],"#, "],", "line 8 column 12: order: must name 8 parameters; here are 7"),
    (
        "[25.0, 1.0, 0,",
        "[25.0, 0, 0,",
        "line 10 column 12: covariance[0][1]: the matrix is not symmetric: [0][1] is 0, [1][0] is 1",
    ),
    ("[25.0, 1.0, 0,", "[25.0, 1.0,", "line 10 column 5: covariance[0]: must be a list of 8 values, not 7"),
    ("[25.0,", "[-25.0,", "line 10 column 6: covariance[0][0]: the variance of focal_px is -25, it cannot be negative"),
    ("[0, 0, 0, 0, 0, 0, 1e-9, 0],\n", "", "line 9 column 17: covariance: must be a list of 8 values, not 7"),
    (
        "[0, 0, 0, 0, 0, 0, 1e-9, 0]",
        "[0, 0, 0, 0, 0, 1e-9, 1e-9, 0]",
        "line 15 column 24: covariance[5][6]: the matrix is not symmetric: [5][6] is 0, [6][5] is 0.000000001",
    ),
    (
        "[0.001, 0, 0, 1e-6,",
        "[0.001, 0, 0, 0,",
        "line 10 column 20: covariance[0][3]: focal_px or k1 is held fixed (variance 0), so this must be 0",
    ),
    (
        "1e-6, -2e-6",
        "1e-7, -2e-6",
        "line 13 column 25: covariance[3][4]: a covariance of -0.000002 means a correlation above 1",
    ),
    (
        "\"brown_conrady\"",
        "\"fisheye\"",
        "line 7 column 28: distortion.model: must be `brown_conrady`, not \"fisheye\"",
    ),
    ("\"k3\": 0,", "", "line 7 column 17: distortion: the key `k3` is missing"),
    (
        "\"k1\": -0.021",
        "\"k1\": -2100",
        "line 7 column 51: distortion.k1: -2100 is too much to be meant, 1000 is the most",
    ),
    ("2950.4", "0", "line 5 column 15: focal_px: a focal length of 0 px cannot be"),
    (
        "2016.0",
        "20160",
        "line 6 column 25: principal_point_px: [20160, 1512] lies outside the frame, which is 4032 x 3024 px",
    ),
    ("\"rms_px\": 0.21", "\"rms_px\": -0.21", "line 19 column 38: found.rms_px: an RMS of -0.21 px cannot be"),
    ("2026-05-04", "May 2026", "line 19 column 52: found.date: \"May 2026\" is no date\n  write it as 2026-05-04"),
    (
        "\"covariance\"",
        "\"covariances\"",
        "line 9 column 3: covariances: unknown key `covariances`\n  did you mean `covariance`?",
    ),
];

/// A covariance whose pairs are each possible, but not all three together.
pub(super) const NO_COVARIANCE: &str =
    "[[1, 0.9, -0.9, 0, 0, 0, 0, 0], [0.9, 1, 0.9, 0, 0, 0, 0, 0], [-0.9, 0.9, 1, 0, 0, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 0, 0]]";

/// Bad visits.
pub(super) const BAD_VISIT: &[(&str, &str)] = &[
    (
        r#"{ "view": "lateral" }"#,
        "line 1 column 3: view: unknown key `view`\n  known here: `format`, `subject`, `taken`, `observer`, `lens`, `scale`, `planes`, `surface`, `notes`, `interval_weeks`, `ground`, `diet`, `turnout`, `lameness` or `vet`",
    ),
    (
        r#"{ "format": "hoofgeo-visit/9" }"#,
        "line 1 column 13: format: must be \"hoofgeo-visit/1\", not \"hoofgeo-visit/9\"\n  this program reads version 1",
    ),
    (r#"{ "format": 1 }"#, "line 1 column 13: format: must be \"hoofgeo-visit/1\""),
    (
        r#"{ "taken": "yesterday" }"#,
        "line 1 column 12: taken: \"yesterday\" is no date and time\n  write it as 2026-05-04T09:30:00, 2026-05-04T09:30:00+01:00 or 2026-05-04",
    ),
    (
        r#"{ "subject": { "animal": "" } }"#,
        "line 1 column 26: subject.animal: must not be empty text\n  leave the key out, or write null",
    ),
    (
        r#"{ "scale": { "tolerance": { "u_rel": 0.5 } } }"#,
        "line 1 column 38: scale.tolerance.u_rel: 0.5 is too much to be meant, 0.1 is the most",
    ),
    (
        r#"{ "scale": { "kind": "card", "points": [{ "mm": [0, 0], "at": [0, 0] }] } }"#,
        "line 1 column 40: scale.points: a card needs at least 4 points, here is 1",
    ),
    (
        r#"{ "planes": { "sole": { "u_mm": -1 } } }"#,
        "line 1 column 33: planes.sole.u_mm: an uncertainty cannot be negative, here it is -1",
    ),
    (r#"{ "diet": " " }"#, "line 1 column 11: diet: must not be empty text\n  leave the key out, or write null"),
    (
        r#"{ "interval_weeks": 0 }"#,
        "line 1 column 21: interval_weeks: 0 weeks cannot be meant: more than 0 and at most 52",
    ),
    ("[]", "line 1 column 1: must be an object `{...}`, not a list `[...]`"),
    ("", "the file is empty\n  write a new one with `hoofgeo start`"),
    (" \n", "the file is empty\n  write a new one with `hoofgeo start`"),
    ("{", "line 1 column 1: this object has no end: a `}` is missing"),
];

/// Bytes that are no UTF-8 text.
pub(super) const BAD_BYTES: &[(&[u8], &str)] = &[
    (b"\xff\xfe{\0}\0", "the text is UTF-16, not UTF-8\n  save it again as UTF-8"),
    (b"\xfe\xff\0{\0}", "the text is UTF-16, not UTF-8\n  save it again as UTF-8"),
    (b"{\0}\0", "the text is UTF-16 without a byte order mark, not UTF-8\n  save it again as UTF-8"),
    (b"\0{\0}", "the text is UTF-16 without a byte order mark, not UTF-8\n  save it again as UTF-8"),
    (b"\xff\xfe\0\0{\0\0\0", "the text is UTF-32, not UTF-8\n  save it again as UTF-8"),
    (
        b"{ \"notes\":\n \"Fr\xfchling\" }",
        "line 2 column 5: the text is not UTF-8: byte 0xFC (`ü` in Latin-1)\n  save it again as UTF-8",
    ),
    (b"\xff\xd8\xff\xe0\0\x10JFIF", "line 1 column 1: this is not text\n  is it another file under this name?"),
    (b"\xef\xbb\xbf", "the file is empty\n  write a new one with `hoofgeo start`"),
    (b"", "the file is empty\n  write a new one with `hoofgeo start`"),
];
