//! Lens profiles that are missing, bad, or of another camera.

use super::Case;
use crate::visits::headers::{self, FOCAL_35MM, Field, LENS_MODEL, MAKE, MODEL};
use crate::visits::{Folder, SCALE, replaced};

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

/// Writes the profiles, in a folder of their own: beside the photos, those that match would be taken by themselves.
pub(crate) fn write(folder: &Folder) {
    let profile = |name: &str, changes: &[(&str, &str)]| {
        folder.write(&format!("lenses/{name}.lens.json"), replaced(PROFILE, changes));
    };
    profile("good", &[]);
    profile("other-make", &[("Generic", "Example Optics")]);
    profile("other-lens", &[("\"Phone\"", "\"Phone\", \"lens\": \"wide\"")]);
    profile("wide-frame", &[("\"height_px\": 600", "\"height_px\": 450")]);
    // A lens whose picture folds back on itself beyond some radius.
    profile("strong", &[("-0.02", "-0.9")]);
    profile("barrel", &[("-0.02", "-0.3")]);
    profile("not-json", &[("\"focal_px\": 601,", "\"focal_px\": ,")]);
    profile("no-focal", &[("\"focal_px\": 601,", "\"focal_px\": -601,")]);
    profile("not-symmetric", &[("[4, 0, 0,", "[4, 0.5, 0,")]);
    profile("negative-variance", &[("[4, 0, 0,", "[-4, 0, 0,")]);
    // Correlations of 0.9, 0.9 and -0.9: each can be, the three together cannot.
    profile(
        "no-covariance",
        &[
            ("[4, 0, 0,", "[4, 1.8, 1.8,"),
            ("[0, 1, 0,", "[1.8, 1, -0.9,"),
            ("[0, 0, 1, 0, 0, 0, 0, 0]", "[1.8, -0.9, 1, 0, 0, 0, 0, 0]"),
        ],
    );
    profile("other-order", &[("\"cx\", \"cy\"", "\"cy\", \"cx\"")]);
    folder.write("lenses/folder.lens.json/x", "");
}

pub(crate) fn cases() -> Vec<Case> {
    let lens = |name, profile: &str, text| {
        Case::edit(name, &[("\"MK\",", &format!("\"MK\", \"lens\": \"lenses/{profile}.lens.json\","))], text)
    };
    let exif = [(MAKE, Field::Text("Generic")), (MODEL, Field::Text("Phone"))];
    let named = headers::with_exif(&exif, &[(FOCAL_35MM, Field::Short(26)), (LENS_MODEL, Field::Text("Back camera"))]);
    // Graduations in the middle, where a barrel lens does little, and a landmark in the corner, which it does not reach.
    let middle = r#"{ "kind": "straight_ruler", "points": [{ "mm": 0, "at": [300, 300] }, { "mm": 50, "at": [400, 300] }, { "mm": 100, "at": [500, 300] }] }"#;
    let corner =
        [(SCALE, middle), ("[240, 480]", "[5, 595]"), ("\"MK\",", "\"MK\", \"lens\": \"lenses/barrel.lens.json\",")];
    vec![
        Case::edit("landmark-beyond-the-lens.jpg", &corner, ".hoof.json: toe_ground lies where the lens model cannot be inverted\ncheck its pixel and the lens profile; keep the hoof near the middle of the photo"),
        lens("lens-missing.jpg", "nowhere", "lenses/nowhere.lens.json: the lens profile cannot be read: No such file or directory (os error 2)\n`lens` is a path from the folder of the sidecar or visit.hoof.json that names it; leave it out to measure without a profile; lens-missing.jpg is measured with this file"),
        lens("lens-folder.jpg", "folder", "lenses/folder.lens.json: the lens profile cannot be read: it is a folder, not a regular file\n`lens` is a path from the folder of the sidecar or visit.hoof.json that names it; leave it out to measure without a profile; lens-folder.jpg is measured with this file"),
        lens("lens-of-another-make.jpg", "other-make", ".hoof.json: its lens profile lenses/other-make.lens.json is of the camera make `Example Optics`, the photo is of `Generic`\nname the profile of the photo's own camera, or leave `lens` out"),
        lens("lens-of-another-lens.jpg", "other-lens", ".hoof.json: its lens profile lenses/other-lens.lens.json is of the camera lens `wide`, the photo is of `Back camera`\nname the profile of the photo's own camera, or leave `lens` out; if it is the same lens, write \"Back camera\" into the profile's camera.lens").beside(named),
        lens("lens-of-another-frame.jpg", "wide-frame", ".hoof.json: the lens profile is for photos of 800 x 450 px, this one has 800 x 600 px\nuse a profile made from photos held the same way up and uncropped, or leave the profile out"),
        lens("lens-not-json.jpg", "not-json", "lenses/not-json.lens.json:5:15: a value is missing before this comma\nlens-not-json.jpg is measured with this file"),
        lens("lens-without-focal-length.jpg", "no-focal", "lenses/no-focal.lens.json:5:15: focal_px: a focal length of -601 px cannot be\nlens-without-focal-length.jpg is measured with this file"),
        lens("lens-not-symmetric.jpg", "not-symmetric", "lenses/not-symmetric.lens.json:10:9: covariance[0][1]: the matrix is not symmetric: [0][1] is 0.5, [1][0] is 0\nlens-not-symmetric.jpg is measured with this file"),
        lens("lens-negative-variance.jpg", "negative-variance", "lenses/negative-variance.lens.json:10:6: covariance[0][0]: the variance of focal_px is -4, it cannot be negative\nlens-negative-variance.jpg is measured with this file"),
        lens("lens-no-covariance.jpg", "no-covariance", "lenses/no-covariance.lens.json:9:17: covariance: the matrix is no covariance: its correlations have the negative eigenvalue -8.00e-1\nlens-no-covariance.jpg is measured with this file"),
        lens("lens-other-order.jpg", "other-order", "lenses/other-order.lens.json:8:25: order[1]: must be \"cx\", not \"cy\"\nreorder the covariance to this order: focal_px, cx, cy, k1, k2, k3, p1, p2; lens-other-order.jpg is measured with this file"),
        lens("lens-too-strong.jpg", "strong", ".hoof.json: the graduations do not agree with each other: they scatter by 17.1 times the stated 1 px, most of all 0 mm by 22.1 px\ncheck labels and pixels, and whether the lens profile is of this camera and lens; mark more graduations so that a wrong one can be told"),
    ]
}
