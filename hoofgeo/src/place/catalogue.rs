//! What the page needs to know of landmarks, lines and scales: taken from their declarations, with a drawing of our own of where each
//! lies.

use super::live::title;
use crate::landmark::{Landmark, Line};
use crate::scale::{RuleClass, ScaleKind, Tolerance};
use crate::suggest::Shape;
use crate::{Foot, Side, Stage, SubjectKind, View};
use serde_json::{Map, Value as Json, json};

/// The drawings' size, in their own units.
pub(super) const DRAWING: [f64; 2] = [200.0, 150.0];

/// Everything at once.
pub(super) fn catalogue() -> Json {
    let views: Map<String, Json> = View::ALL.iter().map(|v| (v.name().to_owned(), view(*v))).collect();
    let names = |all: &[&str]| all.iter().map(|n| json!({ "name": n, "title": title(n) })).collect::<Vec<_>>();
    let feet = Foot::ALL.iter().map(|f| json!({ "name": f.name(), "title": foot(*f) })).collect::<Vec<_>>();
    let kinds = [ScaleKind::StraightRuler, ScaleKind::SquareRuler, ScaleKind::Card, ScaleKind::Board];
    let kinds: Vec<Json> = kinds
        .into_iter()
        .map(|k| {
            let corners: &[[f64; 2]] =
                if k == ScaleKind::Card { &[[0.0, 0.0], [85.6, 0.0], [85.6, 53.98], [0.0, 53.98]] } else { &[] };
            json!({
                "name": k.name(),
                "title": scale(k).0,
                "hint": scale(k).1,
                "plane": k.is_two_dimensional(),
                "least": if k.is_two_dimensional() { 4 } else { 2 },
                "corners": corners,
                "assumed": Tolerance::assumed(k),
            })
        })
        .collect();
    let classes = [RuleClass::I, RuleClass::II, RuleClass::III];
    json!({
        "drawing": DRAWING,
        "views": views,
        "feet": feet,
        "sides": names(&Side::ALL.iter().map(|s| s.name()).collect::<Vec<_>>()),
        "stages": names(&Stage::ALL.iter().map(|s| s.name()).collect::<Vec<_>>()),
        "animals": names(&SubjectKind::ALL.iter().map(|k| k.name()).collect::<Vec<_>>()),
        "kinds": kinds,
        "classes": classes,
    })
}

fn view(view: View) -> Json {
    let landmarks: Vec<Json> = asked(view)
        .map(|l| {
            let i = l.info();
            json!({
                "name": i.name, "title": title(i.name), "definition": i.definition, "find": i.find, "spot": spot(l),
            })
        })
        .collect();
    let lines: Vec<Json> = Line::of(view)
        .map(|l| {
            let i = l.info();
            json!({
                "name": i.name, "title": title(i.name), "definition": i.definition, "closed": i.closed, "path": path(l),
            })
        })
        .collect();
    let title = match view {
        View::Lateral => "From the side",
        View::Solar => "From the sole",
    };
    json!({ "title": title, "landmarks": landmarks, "lines": lines, "drawing": outlines(view) })
}

/// A view's landmarks in the order in which they are asked for: those first that tell most of where the others lie.
pub(super) fn asked(view: View) -> impl Iterator<Item = Landmark> {
    let first = Shape::tells_most(view);
    first.iter().copied().chain(Landmark::of(view).filter(|l| !first.contains(l)))
}

const fn foot(foot: Foot) -> &'static str {
    match foot {
        Foot::LeftFore => "Left fore",
        Foot::RightFore => "Right fore",
        Foot::LeftHind => "Left hind",
        Foot::RightHind => "Right hind",
    }
}

const fn scale(kind: ScaleKind) -> (&'static str, &'static str) {
    match kind {
        ScaleKind::StraightRuler => (
            "Straight ruler",
            "Click two graduations far apart and give their mm: the others are read from the picture. Or mark four or more yourself.",
        ),
        ScaleKind::SquareRuler => {
            ("L-shaped ruler", "Click graduations on both legs, two or more on each; give mm along both legs.")
        }
        ScaleKind::Card => ("Card (ID-1)", "Click the four corners in turn, round the card, along a long edge first."),
        ScaleKind::Board => ("Printed board", "Click four corners or more; give mm along both sides."),
    }
}

/// Where a landmark lies on its view's drawing. From the side the toe is on the left; from the sole it is at the top, medial on the
/// left.
pub(super) const fn spot(l: Landmark) -> [f64; 2] {
    match l {
        Landmark::ToeCoronet => [84.0, 60.0],
        Landmark::ToeGround => [32.0, 128.0],
        Landmark::HeelCoronet => [163.0, 97.0],
        Landmark::HeelGround => [139.0, 128.0],
        Landmark::GroundFront => [12.0, 128.0],
        Landmark::GroundBack => [189.0, 128.0],
        Landmark::PasternUpper => [115.0, 17.0],
        Landmark::PasternLower => [93.0, 48.0],
        Landmark::SolePlaneHeel => [145.0, 120.0],
        Landmark::Breakover => [44.0, 128.0],
        Landmark::HeelBulb => [178.0, 104.0],
        Landmark::HeelBulbFar => [183.0, 97.0],
        Landmark::ToeOuter => [100.0, 8.0],
        Landmark::WhiteLineInner => [100.0, 26.0],
        Landmark::WhiteLineOuter => [100.0, 20.0],
        Landmark::FrogApex => [100.0, 66.0],
        Landmark::CentralSulcus => [100.0, 130.0],
        Landmark::FrogBaseMedial => [80.0, 121.0],
        Landmark::FrogBaseLateral => [120.0, 121.0],
        Landmark::HeelMedial => [62.0, 127.0],
        Landmark::HeelLateral => [138.0, 127.0],
        Landmark::WidestMedial => [42.0, 76.0],
        Landmark::WidestLateral => [158.0, 76.0],
        Landmark::BulbMedial => [80.0, 142.0],
        Landmark::BulbLateral => [120.0, 142.0],
        Landmark::BreakoverSolar => [100.0, 13.0],
    }
}

/// How a line runs on its view's drawing.
pub(super) const fn path(l: Line) -> &'static [[f64; 2]] {
    match l {
        Line::DorsalWall => &[[84.0, 60.0], [58.0, 94.0], [32.0, 128.0]],
        Line::HeelWall => &[[163.0, 97.0], [151.0, 112.5], [139.0, 128.0]],
        Line::Ground => &[[12.0, 128.0], [100.0, 128.0], [189.0, 128.0]],
        Line::TubulesToe => &[[91.0, 68.0], [70.0, 95.5], [49.0, 123.0]],
        Line::TubulesQuarter => &[[124.0, 82.0], [108.0, 103.0], [92.0, 124.0]],
        Line::TubulesHeel => &[[153.0, 97.0], [142.0, 111.0], [131.0, 125.0]],
        Line::RingsToe => &[[75.0, 72.0], [64.0, 86.0], [53.0, 101.0], [42.0, 115.0]],
        Line::RingsHeel => &[[158.0, 103.5], [153.0, 110.0], [148.0, 116.5], [143.0, 123.0]],
        Line::OuterWall => &[
            [100.0, 8.0],
            [72.0, 16.0],
            [50.0, 42.0],
            [42.0, 76.0],
            [48.0, 106.0],
            [62.0, 127.0],
            [100.0, 132.0],
            [138.0, 127.0],
            [152.0, 106.0],
            [158.0, 76.0],
            [150.0, 42.0],
            [128.0, 16.0],
        ],
        Line::WhiteLine => &[
            [100.0, 24.0],
            [79.0, 30.0],
            [62.0, 50.0],
            [55.0, 77.0],
            [59.0, 103.0],
            [70.0, 118.0],
            [100.0, 124.0],
            [130.0, 118.0],
            [141.0, 103.0],
            [145.0, 77.0],
            [138.0, 50.0],
            [121.0, 30.0],
        ],
        Line::FrogOutline => &[
            [100.0, 66.0],
            [90.0, 90.0],
            [80.0, 121.0],
            [92.0, 128.0],
            [100.0, 118.0],
            [108.0, 128.0],
            [120.0, 121.0],
            [110.0, 90.0],
        ],
    }
}

/// The drawing itself: what kind of line, and an SVG path.
pub(super) const fn parts(view: View) -> &'static [(&'static str, &'static str)] {
    match view {
        View::Lateral => &[
            ("ground", "M4 128H196"),
            ("horn", "M84 60C110 66 140 84 163 97L139 128H32Z"),
            (
                "skin",
                "M84 60C88 52 92 50 93 48L115 17L120 6M163 97C170 98 178 100 178 104C178 110 168 109 160 108M178 104C176 84 164 70 168 46L174 6",
            ),
            ("fine", "M91 68L49 123M108 74L72 124M124 82L92 124M140 89L113 124M153 97L131 125"),
        ],
        View::Solar => &[
            ("horn", "M62 127C46 112 40 92 42 76C44 40 72 8 100 8C128 8 156 40 158 76C160 92 154 112 138 127"),
            (
                "skin",
                "M62 127C62 140 76 146 84 141C92 137 96 133 100 130C104 133 108 137 116 141C124 146 138 140 138 127",
            ),
            ("fine", "M69 119C57 104 54 90 55 77C57 48 78 24 100 24C122 24 143 48 145 77C146 90 143 104 131 119"),
            ("fine", "M62 127L69 119L88 96M138 127L131 119L112 96"),
            ("frog", "M100 66L80 121C86 129 94 129 100 118C106 129 114 129 120 121Z"),
            ("fine", "M100 118V130"),
        ],
    }
}

fn outlines(view: View) -> Json {
    parts(view).iter().map(|(kind, d)| json!({ "kind": kind, "d": d })).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_landmark_has_a_place_of_its_own_on_its_drawing() {
        for view in View::ALL {
            let spots: Vec<_> = Landmark::of(*view).map(spot).collect();
            for (i, a) in spots.iter().enumerate() {
                assert!(a[0] > 0.0 && a[1] > 0.0 && a[0] < DRAWING[0] && a[1] < DRAWING[1]);
                for b in &spots[i + 1..] {
                    assert!((a[0] - b[0]).hypot(a[1] - b[1]) > 4.0, "{a:?} {b:?}");
                }
            }
            for line in Line::of(*view) {
                assert!(path(line).iter().flatten().all(|x| *x > 0.0 && *x < DRAWING[0]), "{line}");
            }
        }
        // The ends of a line are the landmarks at its ends.
        assert_eq!(path(Line::DorsalWall)[0], spot(Landmark::ToeCoronet));
        assert_eq!(path(Line::HeelWall)[2], spot(Landmark::HeelGround));
    }
}
