//! Sidecars of the right form that say what cannot be.

use super::Case;
use crate::visits::LANDMARKS;

pub(crate) fn cases() -> Vec<Case> {
    let lines = "\"lines\": {}";
    let toe = "[240, 480]";
    let points = (0..2001).map(|i| format!("[{}, 300]", f64::from(i) * 0.3)).collect::<Vec<_>>().join(", ");
    let solar = [("\"lateral\",\n  \"side\": \"lateral\"", "\"solar\""), (LANDMARKS, "{}")];
    let with = |change: (&'static str, &'static str)| [solar[0], solar[1], change];
    vec![
        Case::edit("photo-of-another-name.jpg", &[("\"photo-of-another-name.jpg\"", "\"LF.jpg\"")], "?"),
        Case::edit("photo-in-a-folder.jpg", &[("\"photo-in-a-folder.jpg\"", "\"../LF.jpg\"")], "?"),
        Case::edit("photo-without-name.jpg", &[("\"photo-without-name.jpg\"", "\"\"")], "?"),
        Case::edit("half-a-pixel.jpg", &[("\"width_px\": 800", "\"width_px\": 800.5")], "?"),
        Case::edit("negative-width.jpg", &[("\"width_px\": 800", "\"width_px\": -800")], "?"),
        Case::edit("no-width.jpg", &[("\"width_px\": 800", "\"width_px\": 0")], "?"),
        Case::edit("width-as-text.jpg", &[("\"width_px\": 800", "\"width_px\": \"800\"")], "?"),
        Case::edit("no-view.jpg", &[("\"view\": \"lateral\"", "\"view\": null")], "?"),
        Case::edit("view-misspelt.jpg", &[("\"view\": \"lateral\"", "\"view\": \"latteral\"")], "?"),
        Case::edit("no-foot.jpg", &[(", \"foot\": \"LF\"", "")], "?"),
        Case::edit("foot-misspelt.jpg", &[("\"LF\"", "\"left front\"")], "?"),
        Case::edit("blank-animal.jpg", &[("\"Kestrel\"", "\"  \"")], "?"),
        Case::edit("date-of-another-form.jpg", &[("2026-05-04T09:30:00+01:00", "04.05.2026")], "?"),
        Case::edit("no-such-day.jpg", &[("2026-05-04T09:30:00+01:00", "2026-02-30")], "?"),
        Case::edit("outside-the-photo.jpg", &[(toe, "[240, 4800]")], "?"),
        Case::edit("negative-pixel.jpg", &[(toe, "[-1, 480]")], "?"),
        Case::edit("no-point.jpg", &[(toe, "[]")], "?"),
        Case::edit("one-number.jpg", &[(toe, "[240]")], "?"),
        Case::edit("bare-point.jpg", &[("{ \"at\": [240, 480] }", "[240, 480]")], "?"),
        Case::edit("perfect-click.jpg", &[(toe, "[240, 480], \"u_px\": 0")], "?"),
        Case::edit("negative-uncertainty.jpg", &[(toe, "[240, 480], \"u_mm\": -1")], "?"),
        Case::edit("tolerance-of-no-class.jpg", &[("\"class\": \"II\"", "\"class\": \"IV\"")], "?"),
        Case::edit("tolerance-twice.jpg", &[("\"class\": \"II\"", "\"class\": \"II\", \"u_rel\": 0.001")], "?"),
        Case::edit("coarse-ruler.jpg", &[("\"class\": \"II\"", "\"u_rel\": 0.5")], "?"),
        Case::edit("line-of-one-point.jpg", &[(lines, "\"lines\": { \"ground\": [[240, 480]] }")], "?"),
        Case::edit("point-repeated.jpg", &[(lines, "\"lines\": { \"ground\": [[240, 480], [240, 480]] }")], "?"),
        Case::edit("too-many-points.jpg", &[(lines, &format!("\"lines\": {{ \"ground\": [{points}] }}"))], "?"),
        Case::edit("landmark-as-line.jpg", &[(lines, "\"lines\": { \"breakover\": [[240, 480], [250, 480]] }")], "?"),
        Case::edit("line-as-landmark.jpg", &[("\"toe_coronet\"", "\"dorsal_wall\"")], "?"),
        Case::edit("solar-landmark.jpg", &[("\"toe_coronet\"", "\"frog_apex\"")], "?"),
        Case::edit("gauge-without-value.jpg", &[(lines, "\"gauge\": { \"heel_above_sole_plane_mm\": {} }")], "?"),
        Case::edit("plane-far-away.jpg", &[(lines, "\"planes\": { \"measured\": { \"behind_scale_mm\": 1e6 } }")], "?"),
        Case::edit(
            "crossing-outline.jpg",
            &with((lines, "\"lines\": { \"frog\": [[300, 200], [400, 300], [400, 200], [300, 300]] }")),
            "?",
        ),
        Case::edit(
            "closed-by-hand.jpg",
            &with((lines, "\"lines\": { \"frog\": [[300, 200], [400, 200], [350, 400], [300, 200]] }")),
            "?",
        ),
        Case::edit("nothing-placed.jpg", &[(LANDMARKS, "{ \"toe_ground\": null }")], "?"),
        Case::edit(
            "behind-the-camera.jpg",
            &[(lines, "\"planes\": { \"measured\": { \"behind_scale_mm\": -5000 } }")],
            "?",
        ),
        Case::edit(
            "heel-behind-the-camera.jpg",
            &[(lines, "\"planes\": { \"near_heel\": { \"behind_scale_mm\": -600 } }")],
            "?",
        ),
    ]
}
