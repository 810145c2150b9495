//! The examples of the formats' description.

/// A sidecar with every key.
pub(super) const SIDECAR: &str = include_str!("../../fixtures/formats/sidecar.json");

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
