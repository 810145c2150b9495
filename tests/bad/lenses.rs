//! Lens profiles that are missing, bad, or of another camera.

use super::Case;
use crate::visits::headers::{self, FOCAL_35MM, Field, LENS_MODEL, MAKE, MODEL};
use crate::visits::{Folder, replaced};

/// A phone's profile (invented).
const PROFILE: &str = r#"{
  "format": "hoofgeo-lens/1",
  "camera": { "make": "Generic", "model": "Phone" },
  "frame": { "width_px": 800, "height_px": 600 },
  "focal_px": 601,
  "principal_point_px": [400, 300],
  "distortion": { "model": "brown_conrady", "k1": -0.02, "k2": 0, "k3": 0, "p1": 0, "p2": 0 },
  "order": ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"],
  "covariance": [
    [4, 0, 0, 0, 0, 0, 0, 0],
    [0, 1, 0, 0, 0, 0, 0, 0],
    [0, 0, 1, 0, 0, 0, 0, 0],
    [0, 0, 0, 1e-6, 0, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 0, 0],
    [0, 0, 0, 0, 0, 0, 0, 0]
  ]
}
"#;

/// Writes the profiles.
pub(crate) fn write(folder: &Folder) {
    let profile = |name: &str, changes: &[(&str, &str)]| {
        folder.write(&format!("{name}.lens.json"), replaced(PROFILE, changes));
    };
    profile("good", &[]);
    profile("other-make", &[("Generic", "Example Optics")]);
    profile("other-lens", &[("\"Phone\"", "\"Phone\", \"lens\": \"wide\"")]);
    profile("wide-frame", &[("\"height_px\": 600", "\"height_px\": 450")]);
    // A lens whose picture folds back on itself beyond some radius.
    profile("strong", &[("-0.02", "-0.9")]);
    profile("not-json", &[("\"focal_px\": 601,", "\"focal_px\": ,")]);
    profile("no-focal", &[("\"focal_px\": 601,", "\"focal_px\": -601,")]);
    profile("not-symmetric", &[("[4, 0, 0,", "[4, 0.5, 0,")]);
    profile("negative-variance", &[("[4, 0, 0,", "[-4, 0, 0,")]);
    // Correlations of 0.9, 0.9 and -0.9: each can be, the three together cannot.
    profile("no-covariance", &[
        ("[4, 0, 0,", "[4, 1.8, 1.8,"),
        ("[0, 1, 0,", "[1.8, 1, -0.9,"),
        ("[0, 0, 1, 0, 0, 0, 0, 0]", "[1.8, -0.9, 1, 0, 0, 0, 0, 0]"),
    ]);
    profile("other-order", &[("\"cx\", \"cy\"", "\"cy\", \"cx\"")]);
    folder.write("folder.lens.json/x", "");
}

pub(crate) fn cases() -> Vec<Case> {
    let lens = |name, profile: &str, text| {
        Case::edit(name, &[("\"MK\",", &format!("\"MK\", \"lens\": \"{profile}.lens.json\","))], text)
    };
    let exif = [(MAKE, Field::Text("Generic")), (MODEL, Field::Text("Phone"))];
    let named = headers::with_exif(&exif, &[(FOCAL_35MM, Field::Short(26)), (LENS_MODEL, Field::Text("Back camera"))]);
    vec![
        lens("lens-missing.jpg", "nowhere", "?"),
        lens("lens-folder.jpg", "folder", "?"),
        lens("lens-of-another-make.jpg", "other-make", "?"),
        lens("lens-of-another-lens.jpg", "other-lens", "?").beside(named),
        lens("lens-of-another-frame.jpg", "wide-frame", "?"),
        lens("lens-not-json.jpg", "not-json", "?"),
        lens("lens-without-focal-length.jpg", "no-focal", "?"),
        lens("lens-not-symmetric.jpg", "not-symmetric", "?"),
        lens("lens-negative-variance.jpg", "negative-variance", "?"),
        lens("lens-no-covariance.jpg", "no-covariance", "?"),
        lens("lens-other-order.jpg", "other-order", "?"),
        lens("lens-too-strong.jpg", "strong", "?"),
    ]
}
