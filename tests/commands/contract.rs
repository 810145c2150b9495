//! The examples of the formats' description.

/// A sidecar with every key.
pub(super) const SIDECAR: &str = r#"{
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

/// A lens profile; its covariance is left out.
pub(super) const LENS: &str = r#"{
  "format": "hoofgeo-lens/1",
  "camera": { "make": "Generic", "model": "Phone", "lens": "main" },
  "frame": { "width_px": 4032, "height_px": 3024 },
  "focal_px": 2950.4,
  "principal_point_px": [2016.0, 1512.0],
  "distortion": { "model": "brown_conrady", "k1": -0.021, "k2": 0.008, "k3": 0, "p1": 0.0001, "p2": -0.0002 },
  "order": ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"],
  "covariance": [[]],
  "found": { "photos": 13, "rms_px": 0.21, "date": "2026-05-04", "board": "9x6 inner corners, 25 mm" }
}
"#;
