#![allow(clippy::unwrap_used, reason = "tests")]
use super::*;

use crate::{Foot, Landmark, Line, PlaneName, Side, Stage, View};

mod bad;
mod bad_others;

/// The contract's own example of a sidecar.
pub(super) const EXAMPLE: &str = include_str!("../../../../fixtures/formats/sidecar.json");

/// A lens profile after the contract's example, with a covariance.
pub(super) const LENS: &str = r#"{
  "format": "hoofgeo-lens/1",
  "camera": { "make": "Generic", "model": "Phone", "lens": "main" },
  "frame": { "width_px": 4032, "height_px": 3024 },
  "focal_px": 2950.4,
  "principal_point_px": [2016.0, 1512.0],
  "distortion": { "model": "brown_conrady", "k1": -0.021, "k2": 0.008, "k3": 0, "p1": 0.0001, "p2": -0.0002 },
  "order": ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"],
  "covariance": [
    [25.0, 1.0, 0, 0.001, 0, 0, 0, 0],
    [1.0, 4.0, 0, 0, 0, 0, 0, 0],
    [0, 0, 4.0, 0, 0, 0, 0, 0],
    [0.001, 0, 0, 1e-6, -2e-6, 0, 0, 0],
    [0, 0, 0, -2e-6, 1e-5, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 1e-9, 0],
    [0, 0, 0, 0, 0, 0, 0, 1e-9]
  ],
  "found": { "photos": 13, "rms_px": 0.21, "date": "2026-05-04", "board": "9x6 inner corners, 25 mm" }
}
"#;

#[test]
fn the_contracts_example_reads_as_it_says() {
    let s = Sidecar::parse(EXAMPLE, None).unwrap();
    assert_eq!((s.photo.file.as_str(), s.photo.width_px, s.photo.height_px), ("near-fore-side.jpg", 4032, 3024));
    assert_eq!((s.subject.animal.as_str(), s.subject.foot), ("Bramble", Foot::LeftFore));
    assert_eq!((s.view, s.side, s.stage), (View::Lateral, Some(Side::Lateral), Some(Stage::BeforeTrim)));
    let scale = s.scale.as_ref().unwrap();
    assert_eq!((scale.kind, scale.tolerance), (ScaleKind::StraightRuler, Some(Tolerance::Class(RuleClass::II))));
    assert_eq!(scale.points[1], Graduation::along(50.0, [1190.1, 2404.2]));
    assert_eq!(s.planes[&PlaneName::NearHeel].behind_scale_mm, Some(-20.0));
    assert_eq!(s.landmarks[&Landmark::ToeGround].at, [[905.0, 2280.5], [907.0, 2279.0]]);
    assert_eq!(s.landmarks[&Landmark::HeelGround].u_mm, Some(1.5));
    assert_eq!(s.lines[&Line::TubulesToe].len(), 2);
    assert_eq!(s.gauge.heel_above_sole_plane_mm.unwrap().lateral, Some(3.0));
    assert!(s.empty_slots().is_empty());
}

#[test]
fn what_is_written_reads_back_the_same() {
    let s = Sidecar::parse(EXAMPLE, None).unwrap();
    assert_eq!(Sidecar::parse(&s.to_json(), None).unwrap(), s, "{}", s.to_json());
    let lens = LensProfile::parse(LENS).unwrap();
    assert_eq!(LensProfile::parse(&lens.to_json()).unwrap(), lens, "{}", lens.to_json());
}

/// Sidecars that are right: the contract's example with one text replaced.
pub(super) const GOOD: &[(&str, &str)] = &[
    (r#""toe_coronet": { "at": [1320.5, 1105.0] }"#, r#""toe_coronet": null"#),
    (r#""toe_coronet": { "at": [1320.5, 1105.0] }"#, r#""toe_outer": null, "frog_apex": null"#),
    (
        r#""tubules_toe": [[1250, 1300], [1010, 2020]]"#,
        r#""ground": null, "rings_toe": [], "frog": null, "white_line": []"#,
    ),
    (r#""landmarks": {"#, r#""landmarks": { "breakover": { "at": [[0, 0], [4032, 3024]], "u_px": 2, "u_mm": 0 },"#),
    (r#""u_mm": 1.5"#, r#""snapped": { "from": [2101, 2299.25], "edge": [-0.6, 0.8], "u_px": 0.2 }, "u_mm": 1.5"#),
    (r#""u_mm": 1.5"#, r#""pen_mark": true, "suggested": "accepted""#),
    (r#""u_mm": 1.5"#, r#""pen_mark": false, "suggested": null, "carried": null"#),
    (r#""u_mm": 1.5"#, r#""carried": { "from_photo": "before.jpg", "at": [5000, 9.5], "u_px": 0.4 }"#),
    (r#""stage": "before_trim""#, r#""surface": "grass""#),
    (r#""foot": "LF""#, r#""foot": "LF", "kind": "foal""#),
    (r#""taken": "2026-05-04T09:30:00+01:00""#, r#""taken": "2026-05-04""#),
    (r#""taken": "2026-05-04T09:30:00+01:00""#, r#""taken": null"#),
    (r#""observer": "MK""#, r#""observer": "Çağla \u00e9""#),
    (r#"{ "class": "II" }"#, r#"{ "u_rel": 2e-4 }"#),
    (r#"{ "class": "II" }"#, "null"),
    (r#""mm": 50"#, r#""mm": [50, 0]"#),
    (r#""mm": 50"#, r#""mm": -50.25"#),
    ("4032", "4032.0"),
    ("4032", "4.032e3"),
    (r#""stage": "before_trim","#, ""),
    (r#""side": "lateral""#, r#""side": null"#),
    (r#""near_heel": { "behind_scale_mm": -20, "u_mm": 8 }"#, r#""near_heel": {}, "midline": null"#),
    (r#", "lateral": 3.0, "u_mm": 0.5"#, ""),
    (r#"{ "medial": 2.5, "lateral": 3.0, "u_mm": 0.5 }"#, "null"),
    (r#""notes": "free text""#, r#""notes": "two\nlines, a quote \" and \\""#),
];

/// The same by the reader that errors come from.
fn with_positions(text: &str) -> Sidecar {
    Sidecar::from_document(&text::Document::with_positions(text).unwrap(), None).unwrap()
}

#[test]
fn good_variants_read_and_survive_writing() {
    for (from, to) in GOOD {
        let s = Sidecar::parse(&bad::edited(EXAMPLE, from, to), None).unwrap();
        assert_eq!(Sidecar::parse(&s.to_json(), None).unwrap(), s, "{to}");
        assert!(s.check().is_ok());
        assert_eq!(with_positions(&bad::edited(EXAMPLE, from, to)), s, "{to}");
    }
    let with_mark = format!("\u{feff}{EXAMPLE}");
    assert_eq!(Sidecar::parse_bytes(with_mark.as_bytes(), None).unwrap(), Sidecar::parse(EXAMPLE, None).unwrap());
}

#[test]
fn empty_slots_are_named_but_not_those_of_the_other_view() {
    let lines = r#""lines": { "ground": null, "rings_toe": [], "frog": null }"#;
    let text = bad::edited(EXAMPLE, r#""lines": { "tubules_toe": [[1250, 1300], [1010, 2020]] }"#, lines);
    let text = bad::edited(&text, r#"{ "at": [2102.0, 2291.0], "u_mm": 1.5 }"#, "null");
    let s = Sidecar::parse(&text, None).unwrap();
    assert_eq!(s.empty_slots(), ["landmarks.heel_ground", "lines.ground", "lines.rings_toe"]);
}

#[test]
fn a_program_that_builds_a_sidecar_is_held_to_the_same_rules() {
    let photo = PhotoRef { file: "a.jpg".to_owned(), width_px: 400, height_px: 300 };
    let mut s = Sidecar::new(photo, Foot::RightHind, View::Solar);
    assert!(s.check().is_ok());
    s.landmarks.insert(Landmark::FrogApex, Placement::once([401.0, 2.0]));
    assert!(s.check().unwrap_err().to_string().starts_with("landmarks.frog_apex.at: [401, 2] lies outside the photo"));
    s.landmarks.clear();
    s.landmarks.insert(Landmark::ToeGround, Placement::once([1.0, 2.0]));
    assert!(s.check().is_err());
    s.landmarks.clear();
    s.lines.insert(Line::FrogOutline, vec![[f64::NAN, 1.0], [2.0, 2.0], [3.0, 1.0]]);
    assert!(s.check().is_err());
}

mod visits {
    use super::*;

    const PHOTO: &str =
        r#"{ "format": "hoofgeo-sidecar/1", "photo": { "file": "a.jpg", "width_px": 400, "height_px": 300 },"#;
    const POINTS: &str = r#""points": [{ "mm": 0, "at": [1, 200] }, { "mm": 100, "at": [301, 200] }]"#;

    fn merged(rest: &str, visit: &str) -> crate::Result<Sidecar> {
        Sidecar::parse(&format!("{PHOTO} \"view\": \"lateral\" {rest} }}"), Some(&Visit::parse(visit)?))
    }

    #[test]
    fn the_sidecars_own_value_wins_key_by_key() {
        let visit = r#"{ "format": "hoofgeo-visit/1", "subject": { "animal": "Juniper", "foot": "LF" }, "observer": "AB",
            "lens": "a.lens.json", "taken": "2026-05-04", "notes": "wet",
            "planes": { "measured": { "u_mm": 3 }, "near_heel": { "behind_scale_mm": -25 } } }"#;
        let s = merged(
            r#", "subject": { "foot": "RH", "animal": null }, "observer": null, "notes": "dry",
            "planes": { "measured": { "behind_scale_mm": 4 }, "near_heel": null }"#,
            visit,
        )
        .unwrap();
        assert_eq!((s.subject.animal.as_str(), s.subject.foot), ("Juniper", Foot::RightHind));
        assert_eq!(s.observer.as_deref(), Some("AB"));
        assert_eq!((s.lens.as_deref(), s.taken.as_deref()), (Some("a.lens.json"), Some("2026-05-04")));
        assert_eq!(s.notes.as_deref(), Some("dry"));
        // One plane is taken whole from one file.
        assert_eq!(s.planes[&PlaneName::Measured].u_mm, None);
        assert_eq!(s.planes[&PlaneName::NearHeel].behind_scale_mm, Some(-25.0));
    }

    #[test]
    fn a_scale_without_points_gives_what_the_sidecars_lacks() {
        let visit = r#"{ "subject": { "foot": "LF" },
            "scale": { "kind": "straight_ruler", "tolerance": { "class": "I" }, "u_px": 2, "tilt_u_deg": 4 } }"#;
        let s = merged(&format!(r#", "scale": {{ "u_px": 0.5, {POINTS} }}"#), visit).unwrap().scale.unwrap();
        assert_eq!((s.kind, s.tolerance), (ScaleKind::StraightRuler, Some(Tolerance::Class(RuleClass::I))));
        assert_eq!((s.u_px, s.tilt_u_deg, s.points.len()), (Some(0.5), Some(4.0), 2));
        // Another kind of scale is another thing: nothing of the visit's holds for it.
        let own = r#", "scale": { "kind": "square_ruler", "points": [] }"#;
        let s = merged(own, visit).unwrap();
        assert_eq!(s.empty_slots(), ["scale.points"]);
        assert_eq!(s.scale.unwrap().tolerance, None);
        // No scale of its own: the visit's, its points an empty slot.
        assert_eq!(merged("", visit).unwrap().empty_slots(), ["scale.points"]);
    }

    #[test]
    fn a_visit_says_once_that_its_ruler_is_metric() {
        let visit = r#"{ "subject": { "foot": "LF" }, "scale": { "kind": "straight_ruler", "metric": true } }"#;
        let scale = |own: &str| merged(own, visit).unwrap().scale.unwrap();
        assert_eq!(scale("").metric, Some(true));
        assert_eq!(scale(r#", "scale": { "kind": "straight_ruler", "points": [] }"#).metric, Some(true));
        // Another ruler in one of the photos.
        assert_eq!(scale(r#", "scale": { "metric": false }"#).metric, Some(false));
        assert_eq!(scale(r#", "scale": { "kind": "card" }"#).metric, None);
        let e = merged("", r#"{ "scale": { "kind": "card", "metric": true } }"#).unwrap_err();
        assert!(e.to_string().contains("only a straight ruler can be said to be metric"), "{e}");
    }

    #[test]
    fn a_scale_with_points_is_taken_whole_or_not_at_all() {
        let visit = format!(
            r#"{{ "subject": {{ "foot": "LF" }}, "scale": {{ "kind": "straight_ruler", "u_px": 2, {POINTS} }} }}"#
        );
        assert_eq!(merged("", &visit).unwrap().scale.unwrap().points.len(), 2);
        let own = r#", "scale": { "kind": "straight_ruler", "points": [{ "mm": 0, "at": [5, 5] }, { "mm": 9, "at": [50, 5] }] }"#;
        assert_eq!(merged(own, &visit).unwrap().scale.unwrap().u_px, None);
        let empty = r#", "scale": { "kind": "straight_ruler", "points": [] }"#;
        assert_eq!(merged(empty, &visit).unwrap().scale.unwrap().points.len(), 2);
    }

    #[test]
    fn what_does_not_fit_names_the_visit() {
        let points = POINTS.replace("301", "401");
        let visit =
            format!(r#"{{ "subject": {{ "foot": "LF" }}, "scale": {{ "kind": "straight_ruler", {points} }} }}"#);
        assert_eq!(
            merged("", &visit).unwrap_err().to_string(),
            "what the visit shares does not fit: scale.points[1].at: [401, 200] lies outside the photo, which is 400 x 300 px\n  \
             pixels are counted from the top left corner of the upright photo, x first"
        );
        assert!(merged("", "{}").unwrap_err().to_string().contains("`foot` is still empty"));
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        let text = format!(
            r#"{{ "format": "hoofgeo-visit/1", "scale": {{ "kind": "straight_ruler", {POINTS} }}, "planes": {{ "sole": {{}} }},
                "interval_weeks": 5.5, "ground": "hard track", "vet": "no finding" }}"#
        );
        let v = Visit::parse(&text).unwrap();
        assert_eq!(Visit::parse(&v.to_json()).unwrap(), v);
    }
}

#[cfg(feature = "schema")]
mod schemas {
    use super::*;
    use jsonschema::Validator;
    use serde_json::Value;

    /// What only the reader can see (module `schema` lists it).
    const READER_ONLY: &[&str] = &[
        "lies outside the photo",
        "is no direction",
        "only a landmark placed once",
        "lies outside the frame",
        "ruler needs at least",
        "a card needs at least",
        "name the same place",
        "on the same pixel",
        "on a straight ruler",
        "on a card",
        "off the card",
        "one line of the scale",
        "are the same",
        "crosses itself",
        "repeats the first",
        "\"2026-02-30T09:30:00\"",
        "the gauge has no value",
        // A visit may give these.
        "`foot` is still empty",
        "`kind` is missing",
        // Covariances.
        "not symmetric",
        "held fixed",
        "correlation above 1",
        "the variance of",
    ];

    fn validator(schema: &Value) -> Validator {
        jsonschema::draft202012::new(schema).unwrap()
    }

    #[test]
    fn schemas_are_of_draft_2020_12() {
        for schema in [schema::sidecar(), schema::visit(), schema::lens()] {
            assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
            assert!(jsonschema::draft202012::meta::is_valid(&schema));
        }
    }

    #[test]
    fn good_documents_are_good_in_both() {
        let sidecar = validator(&schema::sidecar());
        let mut texts: Vec<String> = GOOD.iter().map(|(from, to)| bad::edited(EXAMPLE, from, to)).collect();
        texts.extend([
            EXAMPLE.to_owned(),
            template("LF-side.jpg", 40, 30, None),
            template("LF-sole.jpg", 40, 30, None),
        ]);
        texts.push(template("LF.jpg", 40, 30, None).replace("\"view\": null", "\"view\": \"solar\""));
        for text in texts {
            assert!(Sidecar::parse(&text, None).is_ok());
            let value: Value = serde_json::from_str(&text).unwrap();
            let errors: Vec<_> = sidecar.iter_errors(&value).map(|e| e.to_string()).collect();
            assert!(errors.is_empty(), "{errors:?} {text}");
        }
        assert!(validator(&schema::lens()).is_valid(&serde_json::from_str(LENS).unwrap()));
        assert!(validator(&schema::visit()).is_valid(&serde_json::json!({ "format": null, "planes": { "sole": {} } })));
    }

    #[test]
    fn bad_documents_are_bad_in_both() {
        let schemas = [validator(&schema::sidecar()), validator(&schema::lens()), validator(&schema::visit())];
        let (mut compared, mut differ) = (0, Vec::new());
        for (which, text, error) in bad::all() {
            // Of two equal keys a JSON library keeps one, so a validator never sees both.
            let twice = error.contains("is given twice");
            let Some(value) = serde_json::from_str::<Value>(&text).ok().filter(|_| !twice) else { continue };
            // A schema knows no frame, but that no pixel is below 0.
            let reader_only = READER_ONLY.iter().any(|words| error.contains(words)) && !error.contains(": [-");
            compared += usize::from(!reader_only);
            if schemas[which].is_valid(&value) != reader_only {
                differ.push(error);
            }
        }
        assert!(differ.is_empty(), "{}", differ.join("\n"));
        assert!(compared >= 60, "{compared}");
    }

    #[test]
    fn every_landmark_and_line_is_described() {
        let schema = schema::sidecar();
        for (key, names) in [
            ("landmarks", Landmark::ALL.iter().map(|l| (l.name(), l.info().definition)).collect::<Vec<_>>()),
            ("lines", Line::ALL.iter().map(|l| (l.name(), l.info().definition)).collect()),
        ] {
            for (name, definition) in names {
                let words = schema["properties"][key]["properties"][name]["description"].as_str().unwrap();
                assert!(words.contains(definition), "{words}");
            }
        }
    }
}

mod mutations {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]

        #[test]
        fn arbitrary_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = Sidecar::parse_bytes(&bytes, None);
            let _ = Visit::parse_bytes(&bytes);
            let _ = LensProfile::parse_bytes(&bytes);
        }

        #[test]
        fn arbitrary_json_like_text_never_panics(text in r#"[\[\]{},:"\\ \-+.eE0-9ntrufalsxé\u{85}\u{2028}/*'IN]{0,80}"#) {
            let _ = Sidecar::parse(&text, None);
            let _ = Visit::parse(&format!("{{ \"scale\": {text} }}"));
        }

        /// A damaged example is refused with a place inside it, or reads, and then what is written reads the same.
        #[test]
        fn a_damaged_example_is_refused_or_survives_writing(
            lens in any::<bool>(),
            at in any::<prop::sample::Index>(),
            cut in 0usize..12,
            put in r#"[\[\]{},:"\\ \-.e0-9n\nü]{0,6}|null|\[\]|\{\}|1e999|"at""#,
        ) {
            let original = if lens { LENS } else { EXAMPLE };
            let chars: Vec<char> = original.chars().collect();
            let at = at.index(chars.len());
            let end = (at + cut).min(chars.len());
            let text: String = chars[..at].iter().copied().chain(put.chars()).chain(chars[end..].iter().copied()).collect();
            let fault = if lens {
                match LensProfile::parse(&text) {
                    Ok(p) => { prop_assert_eq!(LensProfile::parse(&p.to_json()).unwrap(), p); None }
                    Err(e) => Some(e),
                }
            } else {
                match Sidecar::parse(&text, None) {
                    Ok(s) => {
                        prop_assert_eq!(&Sidecar::parse(&s.to_json(), None).unwrap(), &s);
                        prop_assert_eq!(with_positions(&text), s);
                        None
                    }
                    Err(e) => Some(e),
                }
            };
            if let Some(e) = fault {
                let place = e.place().unwrap();
                let line = text.split('\n').nth(place.line - 1).unwrap();
                prop_assert!(place.column <= line.chars().count() + 1, "{}", e);
                // Whatever is accepted is JSON to another reader, and whatever is not JSON is refused.
            } else {
                prop_assert!(serde_json::from_str::<serde_json::Value>(&text).is_ok());
            }
        }
    }
}

#[test]
fn what_is_said_of_a_mark_and_of_the_ground_stays() {
    let text = bad::edited(
        EXAMPLE,
        r#""u_mm": 1.5"#,
        r#""pen_mark": true, "carried": { "from_photo": "b.jpg", "at": [5, 9], "u_px": 0.4 }, "suggested": "accepted""#,
    );
    let visit = Visit::parse(r#"{ "surface": "soft", "subject": { "kind": "pony" } }"#).unwrap();
    assert_eq!(
        Visit::parse(&visit.to_json()).unwrap(),
        Visit { format: Some(Visit::FORMAT.to_owned()), ..visit.clone() }
    );
    let s = Sidecar::parse(&text, Some(&visit)).unwrap();
    assert_eq!((s.surface, s.subject.kind), (Some(crate::Surface::Soft), Some(crate::SubjectKind::Pony)));
    let mark = &s.landmarks[&Landmark::HeelGround];
    assert_eq!((mark.pen_mark, mark.suggested), (true, Some(crate::Suggestion::Accepted)));
    assert_eq!(mark.carried.as_ref().map(|c| (c.from_photo.as_str(), c.u_px)), Some(("b.jpg", 0.4)));
    // A program that fills the file in step by step keeps them, too.
    let draft = Draft::parse(&text).unwrap();
    assert_eq!(Draft::parse(&draft.to_json()).unwrap(), draft);
    assert!(draft.to_json().contains("\"pen_mark\": true") && draft.to_json().contains("\"carried\""));
    // The photo's own word goes before the visit's.
    let own = bad::edited(&text, r#""stage": "before_trim""#, r#""surface": "hard""#);
    assert_eq!(Sidecar::parse(&own, Some(&visit)).unwrap().surface, Some(crate::Surface::Hard));
}
