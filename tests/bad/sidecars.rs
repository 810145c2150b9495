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
        Case::edit(
            "photo-of-another-name.jpg",
            &[("\"photo-of-another-name.jpg\"", "\"LF.jpg\"")],
            ".hoof.json: photo.file says `LF.jpg`, but it stands beside `photo-of-another-name.jpg`\nwas the photo renamed? then write its new name into photo.file; else put the sidecar beside its own photo",
        ),
        Case::edit(
            "photo-in-a-folder.jpg",
            &[("\"photo-in-a-folder.jpg\"", "\"../LF.jpg\"")],
            ".hoof.json:3:22: photo.file: must be a file name without a folder\na photo and its sidecar stand in one folder",
        ),
        Case::edit(
            "photo-without-name.jpg",
            &[("\"photo-without-name.jpg\"", "\"\"")],
            ".hoof.json:3:22: photo.file: must name the photo's file",
        ),
        Case::edit(
            "half-a-pixel.jpg",
            &[("\"width_px\": 800", "\"width_px\": 800.5")],
            ".hoof.json:3:54: photo.width_px: must be a positive whole number, not the number 800.5",
        ),
        Case::edit(
            "negative-width.jpg",
            &[("\"width_px\": 800", "\"width_px\": -800")],
            ".hoof.json:3:56: photo.width_px: must be a positive whole number, not the number -800",
        ),
        Case::edit(
            "no-width.jpg",
            &[("\"width_px\": 800", "\"width_px\": 0")],
            ".hoof.json:3:50: photo.width_px: must be 1 to 100000 px, not 0",
        ),
        Case::edit(
            "width-as-text.jpg",
            &[("\"width_px\": 800", "\"width_px\": \"800\"")],
            ".hoof.json:3:55: photo.width_px: must be a number, not the text \"800\"",
        ),
        Case::edit(
            "no-view.jpg",
            &[("\"view\": \"lateral\"", "\"view\": null")],
            ".hoof.json:5:11: view: `view` is still empty: write \"lateral\" or \"solar\"",
        ),
        Case::edit(
            "view-misspelt.jpg",
            &[("\"view\": \"lateral\"", "\"view\": \"latteral\"")],
            ".hoof.json:5:11: view: must be `lateral` or `solar`, not \"latteral\"\ndid you mean `lateral`?",
        ),
        Case::edit(
            "no-foot.jpg",
            &[(", \"foot\": \"LF\"", "")],
            ".hoof.json:4:14: subject.foot: `foot` is still empty: write \"LF\", \"RF\", \"LH\" or \"RH\"",
        ),
        Case::edit(
            "foot-misspelt.jpg",
            &[("\"LF\"", "\"left front\"")],
            ".hoof.json:4:45: subject.foot: must be `LF`, `RF`, `LH` or `RH`, not \"left front\"",
        ),
        Case::edit(
            "blank-animal.jpg",
            &[("\"Kestrel\"", "\"  \"")],
            ".hoof.json:4:26: subject.animal: must not be empty text\nleave the key out, or write null",
        ),
        Case::edit(
            "date-of-another-form.jpg",
            &[("2026-05-04T09:30:00+01:00", "04.05.2026")],
            ".hoof.json:8:12: taken: \"04.05.2026\" is no date and time\nwrite it as 2026-05-04T09:30:00, 2026-05-04T09:30:00+01:00 or 2026-05-04",
        ),
        Case::edit(
            "no-such-day.jpg",
            &[("2026-05-04T09:30:00+01:00", "2026-02-30")],
            ".hoof.json:8:12: taken: \"2026-02-30\" is no date and time\nwrite it as 2026-05-04T09:30:00, 2026-05-04T09:30:00+01:00 or 2026-05-04",
        ),
        Case::edit(
            "outside-the-photo.jpg",
            &[(toe, "[240, 4800]")],
            ".hoof.json:23:27: landmarks.toe_ground.at: [240, 4800] lies outside the photo, which is 800 x 600 px\npixels are counted from the top left corner of the upright photo, x first",
        ),
        Case::edit(
            "negative-pixel.jpg",
            &[(toe, "[-1, 480]")],
            ".hoof.json:23:27: landmarks.toe_ground.at: [-1, 480] lies outside the photo, which is 800 x 600 px\npixels are counted from the top left corner of the upright photo, x first",
        ),
        Case::edit(
            "no-point.jpg",
            &[(toe, "[]")],
            ".hoof.json:23:27: landmarks.toe_ground.at: no point is given\nwrite `[x, y]`, or `null` for the whole landmark",
        ),
        Case::edit(
            "one-number.jpg",
            &[(toe, "[240]")],
            ".hoof.json:23:27: landmarks.toe_ground.at: must be `[x, y]`, two numbers, not 1",
        ),
        Case::edit(
            "bare-point.jpg",
            &[("{ \"at\": [240, 480] }", "[240, 480]")],
            ".hoof.json:23:19: landmarks.toe_ground: must be an object `{...}`, not a list `[...]`\nwrite { \"at\": [x, y] }",
        ),
        Case::edit(
            "perfect-click.jpg",
            &[(toe, "[240, 480], \"u_px\": 0")],
            ".hoof.json:23:47: landmarks.toe_ground.u_px: an uncertainty of 0 px claims a perfect mark\nleave the key out for the usual value",
        ),
        Case::edit(
            "negative-uncertainty.jpg",
            &[(toe, "[240, 480], \"u_mm\": -1")],
            ".hoof.json:23:47: landmarks.toe_ground.u_mm: an uncertainty cannot be negative, here it is -1",
        ),
        Case::edit(
            "tolerance-of-no-class.jpg",
            &[("\"class\": \"II\"", "\"class\": \"IV\"")],
            ".hoof.json:12:29: scale.tolerance.class: must be `I`, `II` or `III`, not \"IV\"",
        ),
        Case::edit(
            "tolerance-twice.jpg",
            &[("\"class\": \"II\"", "\"class\": \"II\", \"u_rel\": 0.001")],
            ".hoof.json:12:18: scale.tolerance: takes one of `class` or `u_rel`, not 2 keys",
        ),
        Case::edit(
            "coarse-ruler.jpg",
            &[("\"class\": \"II\"", "\"u_rel\": 0.5")],
            ".hoof.json:12:29: scale.tolerance.u_rel: 0.5 is too much to be meant, 0.1 is the most",
        ),
        Case::edit(
            "line-of-one-point.jpg",
            &[(lines, "\"lines\": { \"ground\": [[240, 480]] }")],
            ".hoof.json:27:24: lines.ground: a line needs at least 2 points, here is 1",
        ),
        Case::edit(
            "point-repeated.jpg",
            &[(lines, "\"lines\": { \"ground\": [[240, 480], [240, 480]] }")],
            ".hoof.json:27:37: lines.ground[1]: points [0] and [1] are the same",
        ),
        Case::edit(
            "too-many-points.jpg",
            &[(lines, &format!("\"lines\": {{ \"ground\": [{points}] }}"))],
            ".hoof.json:27:24: lines.ground: 2001 entries; 2000 at most are read",
        ),
        Case::edit(
            "landmark-as-line.jpg",
            &[(lines, "\"lines\": { \"breakover\": [[240, 480], [250, 480]] }")],
            ".hoof.json:27:14: lines.breakover: there is no line `breakover`\n`breakover` is a landmark: it goes under `landmarks`",
        ),
        Case::edit(
            "line-as-landmark.jpg",
            &[("\"toe_coronet\"", "\"dorsal_wall\"")],
            ".hoof.json:22:5: landmarks.dorsal_wall: there is no landmark `dorsal_wall`\n`dorsal_wall` is a line: it goes under `lines`",
        ),
        Case::edit(
            "solar-landmark.jpg",
            &[("\"toe_coronet\"", "\"frog_apex\"")],
            ".hoof.json:22:5: landmarks.frog_apex: `frog_apex` is a solar landmark, this photo is lateral",
        ),
        Case::edit(
            "gauge-without-value.jpg",
            &[(lines, "\"gauge\": { \"heel_above_sole_plane_mm\": {} }")],
            ".hoof.json:27:42: gauge.heel_above_sole_plane_mm: the gauge has no value: write `medial`, `lateral` or both",
        ),
        Case::edit(
            "plane-far-away.jpg",
            &[(lines, "\"planes\": { \"measured\": { \"behind_scale_mm\": 1e6 } }")],
            ".hoof.json:27:48: planes.measured.behind_scale_mm: 1000000 mm is too far to be meant, 10000 mm is the most",
        ),
        Case::edit(
            "crossing-outline.jpg",
            &with((lines, "\"lines\": { \"frog\": [[300, 200], [400, 300], [400, 200], [300, 300]] }")),
            ".hoof.json:21:47: lines.frog[2]: the outline crosses itself: its segment [0] to [1] meets the one from [2] to [3]\ngive the points in their order along the edge",
        ),
        Case::edit(
            "closed-by-hand.jpg",
            &with((lines, "\"lines\": { \"frog\": [[300, 200], [400, 200], [350, 400], [300, 200]] }")),
            ".hoof.json:21:59: lines.frog[3]: the last point repeats the first\nleave it out: the outline closes by itself",
        ),
        Case::edit(
            "nothing-placed.jpg",
            &[(LANDMARKS, "{ \"toe_ground\": null }")],
            ".hoof.json: no landmark or line is placed yet\nwrite each landmark's pixel into its slot under the sidecar's landmarks: { \"at\": [x, y] }",
        ),
        Case::edit(
            "behind-the-camera.jpg",
            &[(lines, "\"planes\": { \"measured\": { \"behind_scale_mm\": -5000 } }")],
            ".hoof.json: toe_coronet cannot lie on the midline plane: its line of sight does not meet it\ncheck its pixel, the graduations and the sidecar's planes",
        ),
        Case::edit(
            "heel-behind-the-camera.jpg",
            &[(lines, "\"planes\": { \"near_heel\": { \"behind_scale_mm\": -600 } }")],
            ".hoof.json: heel_coronet cannot lie on the near_heel plane: its line of sight does not meet it\ncheck its pixel, the graduations and the sidecar's planes",
        ),
    ]
}
