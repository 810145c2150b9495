#![allow(clippy::unwrap_used, reason = "tests")]
use super::*;

use crate::{Foot, Landmark, Line, PlaneName, Side, Stage, View};

mod bad;

/// The contract's own example of a sidecar.
pub(super) const EXAMPLE: &str = r#"{
  "format": "hoofgeo-sidecar/1",
  "photo": { "file": "near-fore-side.jpg", "width_px": 4032, "height_px": 3024 },
  "subject": { "animal": "Bramble", "foot": "LF" },
  "view": "lateral",
  "side": "lateral",
  "stage": "before_trim",
  "taken": "2026-05-04T09:30:00+01:00",
  "observer": "MK",
  "lens": "phone.lens.json",
  "scale": {
    "kind": "straight_ruler",
    "tolerance": { "class": "II" },
    "u_px": 1.0,
    "tilt_u_deg": 5.0,
    "points": [
      { "mm": 0,   "at": [812.4, 2410.0] },
      { "mm": 50,  "at": [1190.1, 2404.2] },
      { "mm": 150, "at": [1944.8, 2392.9] }
    ]
  },
  "planes": {
    "measured": { "behind_scale_mm": 0, "u_mm": 5, "tilt_u_deg": 3 },
    "near_heel": { "behind_scale_mm": -20, "u_mm": 8 }
  },
  "landmarks": {
    "toe_coronet": { "at": [1320.5, 1105.0] },
    "toe_ground": { "at": [[905.0, 2280.5], [907.0, 2279.0]] },
    "heel_ground": { "at": [2102.0, 2291.0], "u_mm": 1.5 }
  },
  "lines": { "tubules_toe": [[1250, 1300], [1010, 2020]] },
  "gauge": { "heel_above_sole_plane_mm": { "medial": 2.5, "lateral": 3.0, "u_mm": 0.5 } },
  "notes": "free text"
}
"#;

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
    println!("{}{}", s.to_json(), lens.to_json());
}
