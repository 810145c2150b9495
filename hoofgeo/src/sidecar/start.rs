//! A new sidecar to fill in: every slot of the view empty, and what the photo's file name tells already written.

use super::json;
use super::model::{PhotoRef, PlaneSpec, ScaleKind};
use super::raw::SharedScale;
use crate::located::{NEAR_HEEL_MM, PLANE_U_MM};
use crate::{Foot, Landmark, Line, PlaneName, Side, Stage, View};
use serde::Serialize;
use serde::ser::Serializer;
use std::collections::BTreeMap;

/// What a photo's file name tells. Two names that contradict each other tell nothing.
///
/// # Example: read a name
/// ```
/// use hoofgeo::{Foot, Stage, View, sidecar::Hints};
/// let hints = Hints::of("Bramble near-fore side after.jpg");
/// assert_eq!((hints.foot, hints.view, hints.stage), (Some(Foot::LeftFore), Some(View::Lateral), Some(Stage::AfterTrim)));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Hints {
    /// `LF`, `RF`, `LH`, `RH`; left or near, right or off, with fore, front, hind.
    pub foot: Option<Foot>,
    /// `lateral`, `side`, `medial`; `solar`, `sole`.
    pub view: Option<View>,
    /// `medial` in a side view. `lateral` names the view, not the side.
    pub side: Option<Side>,
    /// `before`, `pre`; `after`, `post`.
    pub stage: Option<Stage>,
}

impl Hints {
    /// Reads a file name, upper or lower case.
    pub fn of(file_name: &str) -> Self {
        let stem = file_name.rsplit_once('.').map_or(file_name, |(stem, _)| stem).to_lowercase();
        // `LF2` is the second photo of the left fore: numbers only count photos.
        let words: Vec<&str> = stem.split(|c: char| !c.is_alphabetic()).filter(|w| !w.is_empty()).collect();
        let has = |names: &[&str]| words.iter().any(|w| names.contains(w));
        let view = one([(View::Lateral, has(&["lateral", "side", "medial"])), (View::Solar, has(&["solar", "sole"]))]);
        let side = (view == Some(View::Lateral) && has(&["medial"]) && !has(&["lateral"])).then_some(Side::Medial);
        let stage = one([(Stage::BeforeTrim, has(&["before", "pre"])), (Stage::AfterTrim, has(&["after", "post"]))]);
        Self { foot: foot(&words), view, side, stage }
    }
}

/// The one value that is hinted at.
fn one<T: Copy, const N: usize>(candidates: [(T, bool); N]) -> Option<T> {
    let mut hinted = candidates.into_iter().filter(|(_, hinted)| *hinted);
    match (hinted.next(), hinted.next()) {
        (Some((value, _)), None) => Some(value),
        _ => None,
    }
}

fn foot(words: &[&str]) -> Option<Foot> {
    const LEFT: [&str; 2] = ["left", "near"];
    const RIGHT: [&str; 2] = ["right", "off"];
    const FORE: [&str; 2] = ["fore", "front"];
    const HIND: [&str; 1] = ["hind"];
    let spelled = |sides: &[&str], ends: &[&str]| {
        let pair = |a: &str, b: &str| sides.contains(&a) && ends.contains(&b);
        words.windows(2).any(|w| pair(w[0], w[1]))
            || words.iter().any(|w| sides.iter().any(|s| w.strip_prefix(s).is_some_and(|end| ends.contains(&end))))
    };
    let named = |short: &str, sides: &[&str], ends: &[&str]| words.contains(&short) || spelled(sides, ends);
    one([
        (Foot::LeftFore, named("lf", &LEFT, &FORE)),
        (Foot::RightFore, named("rf", &RIGHT, &FORE)),
        (Foot::LeftHind, named("lh", &LEFT, &HIND)),
        (Foot::RightHind, named("rh", &RIGHT, &HIND)),
    ])
}

/// The text of a new sidecar for a photo of this name and upright size.
///
/// What the name does not tell is written as `null`, and reading the sidecar then says what to write there. Where the
/// view is unknown the slots of both views are written; those of the view it turns out not to be stay empty and are
/// passed over.
pub fn template(photo_file_name: &str, width_px: u32, height_px: u32, taken: Option<&str>) -> String {
    let Hints { foot, view, side, stage } = Hints::of(photo_file_name);
    let views: &[View] = view.as_ref().map_or(View::ALL, std::slice::from_ref);
    let mut landmarks: Vec<_> = views.iter().flat_map(|v| Landmark::of(*v)).map(Landmark::name).collect();
    let mut seen = Vec::new();
    landmarks.retain(|name| {
        !seen.contains(name) && {
            seen.push(*name);
            true
        }
    });
    let lines = views.iter().flat_map(|v| Line::of(*v)).map(Line::name).collect();
    let plane = |behind, u| PlaneSpec { behind_scale_mm: Some(behind), u_mm: Some(u), tilt_u_deg: None };
    // What counts where nothing is said, for the person to see and to state better.
    let mut planes = BTreeMap::from([(PlaneName::Measured, plane(0.0, PLANE_U_MM))]);
    if view == Some(View::Lateral) {
        let [behind, u] = NEAR_HEEL_MM;
        planes.insert(PlaneName::NearHeel, plane(behind, u));
    }
    json::pretty(&Template {
        format: super::Sidecar::FORMAT,
        photo: PhotoRef { file: photo_file_name.to_owned(), width_px, height_px },
        subject: SubjectSlots { animal: None, foot },
        view,
        side: (view != Some(View::Solar)).then_some(side),
        stage,
        taken: taken.map(str::to_owned),
        observer: None,
        scale: SharedScale { kind: Some(ScaleKind::StraightRuler), points: Some(Vec::new()), ..SharedScale::default() },
        planes,
        landmarks: Empty(landmarks),
        lines: Empty(lines),
    })
}

/// A sidecar with its slots still empty, in the order of the contract. `None` is written as `null`.
#[derive(Serialize)]
struct Template {
    format: &'static str,
    photo: PhotoRef,
    subject: SubjectSlots,
    view: Option<View>,
    #[serde(skip_serializing_if = "Option::is_none")]
    side: Option<Option<Side>>,
    stage: Option<Stage>,
    #[serde(skip_serializing_if = "Option::is_none")]
    taken: Option<String>,
    observer: Option<String>,
    scale: SharedScale,
    planes: BTreeMap<PlaneName, PlaneSpec>,
    landmarks: Empty,
    lines: Empty,
}

#[derive(Serialize)]
struct SubjectSlots {
    animal: Option<String>,
    foot: Option<Foot>,
}

struct Empty(Vec<&'static str>);

impl Serialize for Empty {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_map(self.0.iter().map(|name| (name, None::<()>)))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;
    use crate::sidecar::Sidecar;

    #[test]
    fn names_of_feet() {
        for (name, foot) in [
            ("LF.jpg", Some(Foot::LeftFore)),
            ("IMG_20260504_rh2.JPG", Some(Foot::RightHind)),
            ("near-fore-side.jpg", Some(Foot::LeftFore)),
            ("Off Hind sole.jpeg", Some(Foot::RightHind)),
            ("offfore.png", Some(Foot::RightFore)),
            ("leftHind.png", Some(Foot::LeftHind)),
            ("right front.png", Some(Foot::RightFore)),
            ("golf.jpg", None),
            ("LF and RF.jpg", None),
            ("IMG_0001.jpg", None),
            ("", None),
        ] {
            assert_eq!(Hints::of(name).foot, foot, "{name}");
        }
    }

    #[test]
    fn names_of_views_and_stages() {
        let h = |name| Hints::of(name);
        assert_eq!(h("LF-medial-pre.jpg").side, Some(Side::Medial));
        assert_eq!(h("LF-medial-pre.jpg").view, Some(View::Lateral));
        assert_eq!(h("LF-medial-pre.jpg").stage, Some(Stage::BeforeTrim));
        assert_eq!(h("LF_Sole_post.jpg").view, Some(View::Solar));
        assert_eq!(h("LF_Sole_post.jpg").stage, Some(Stage::AfterTrim));
        assert_eq!(h("before-and-after.jpg").stage, None);
        assert_eq!(h("side-sole.jpg").view, None);
        assert_eq!(h("console.jpg").view, None);
    }

    #[test]
    fn a_template_with_all_hints_reads_back_with_every_slot_empty() {
        for (name, view) in [("LF-side.jpg", View::Lateral), ("LF-sole.jpg", View::Solar)] {
            let text = template(name, 4032, 3024, Some("2026-05-04T09:30:00"));
            let s = Sidecar::parse(&text, None).unwrap();
            assert_eq!(s.view, view);
            assert_eq!(s.empty_slots().len(), Landmark::of(view).count() + Line::of(view).count() + 1, "{text}");
            assert_eq!(s.planes.contains_key(&PlaneName::NearHeel), view == View::Lateral);
        }
    }

    #[test]
    fn a_template_without_hints_says_what_to_write_and_then_reads() {
        let text = template("IMG_0001.jpg", 4032, 3024, None);
        let e = Sidecar::parse(&text, None).unwrap_err();
        assert!(e.to_string().ends_with("`view` is still empty: write \"lateral\" or \"solar\""), "{e}");
        for view in View::ALL {
            let text = text.replace("\"view\": null", &format!("\"view\": \"{view}\""));
            let e = Sidecar::parse(&text, None).unwrap_err();
            assert!(e.what().starts_with("`foot` is still empty"), "{e}");
            let text = text.replace("\"foot\": null", "\"foot\": \"RH\"");
            let s = Sidecar::parse(&text, None).unwrap();
            assert_eq!(s.empty_slots().len(), Landmark::of(*view).count() + Line::of(*view).count() + 1);
        }
    }

    #[test]
    fn a_template_looks_like_this() {
        let text = template("LF-side.jpg", 4032, 3024, None);
        let head = r#"{
  "format": "hoofgeo-sidecar/1",
  "photo": {
    "file": "LF-side.jpg",
    "width_px": 4032,
    "height_px": 3024
  },
  "subject": {
    "animal": null,
    "foot": "LF"
  },
  "view": "lateral",
  "side": null,
  "stage": null,
  "observer": null,
  "scale": {
    "kind": "straight_ruler",
    "points": []
  },
  "planes": {
    "measured": { "behind_scale_mm": 0, "u_mm": 8 },
    "near_heel": { "behind_scale_mm": -30, "u_mm": 15 }
  },
  "landmarks": {
    "toe_coronet": null,
"#;
        assert!(text.starts_with(head), "{text}");
    }
}
