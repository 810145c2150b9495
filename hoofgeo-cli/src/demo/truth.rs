//! What is true of a demo photo: every landmark and line in three dimensions, every measurement's value.
//!
//! The values are worked out here in plain `f64` from the solid foot, each in its definition's own plane: side view, the
//! mid-sagittal plane (x, y of the foot frame); sole view, the ground plane (x, z). Nothing of the library that measures
//! photos is used, so the two can be held against each other.

use super::foot::{Foot3d, Half, PASTERN_STRAIGHT};
use super::underside::Underside;
use hoofgeo::{Landmark, Line, View};
use nalgebra::{Point2, Point3, Vector2};
use serde::Serialize;
use std::collections::BTreeMap;

/// The truth of one photo. Names are those of the file formats; points are mm in the scale frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Truth {
    /// Landmarks, by name.
    pub landmarks: BTreeMap<&'static str, [f64; 3]>,
    /// Lines, by name.
    pub lines: BTreeMap<&'static str, Vec<[f64; 3]>>,
    /// Measurements by id, in their units: mm, mm², degrees, 1; angles from two landmarks.
    pub values: BTreeMap<&'static str, f64>,
    /// Those angles that come out otherwise when a line is fitted to the whole (bent) wall.
    pub values_line_fit: BTreeMap<&'static str, f64>,
}

/// Truth in the foot frame.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FootTruth {
    pub(crate) landmarks: BTreeMap<Landmark, Point3<f64>>,
    pub(crate) lines: BTreeMap<Line, Vec<Point3<f64>>>,
    pub(crate) values: BTreeMap<&'static str, f64>,
    pub(crate) values_line_fit: BTreeMap<&'static str, f64>,
}

impl FootTruth {
    pub(crate) fn new(foot: &Foot3d, view: View, underside: Option<&Underside>) -> Self {
        match (view, underside) {
            (View::Solar, Some(under)) => solar(foot, under),
            (View::Solar, None) => solar(foot, &Underside::new(foot, 0, 1.0)),
            (View::Lateral, _) => lateral(foot),
        }
    }
}

fn lateral(foot: &Foot3d) -> FootTruth {
    let near = Half::Lateral;
    let (toe, toe_top) = (Point3::origin(), foot.toe_coronet());
    let (heel, heel_top) = (foot.heel_ground(near), foot.heel_coronet(near));
    let e = foot.heel_above_sole;
    let slope = foot.heel_angle.to_radians().tan();
    let (bulb, radii) = foot.bulb(near);
    let pastern = [foot.pastern(PASTERN_STRAIGHT - 14.0), foot.pastern(8.0)];
    let landmarks = BTreeMap::from([
        (Landmark::ToeCoronet, toe_top),
        (Landmark::ToeGround, toe),
        (Landmark::HeelCoronet, heel_top),
        (Landmark::HeelGround, heel),
        (Landmark::GroundFront, Point3::new(-14.0, 0.0, 0.0)),
        (Landmark::GroundBack, Point3::new(foot.support_length + 60.0, 0.0, 0.0)),
        (Landmark::PasternUpper, pastern[0]),
        (Landmark::PasternLower, pastern[1]),
        (Landmark::SolePlaneHeel, Point3::new(heel.x + e / slope, e, heel.z)),
        (Landmark::Breakover, Point3::new(foot.breakover_at, 0.0, 0.0)),
        (Landmark::HeelBulb, Point3::new(bulb.x + radii[0], bulb.y, bulb.z)),
    ]);

    let along = |v: f64, from: f64, to: f64, n: usize| -> Vec<Point3<f64>> {
        (0..n).map(|i| foot.wall(near, v, from + (to - from) * i as f64 / (n - 1) as f64)).collect()
    };
    let rings = |v: f64| -> Vec<Point3<f64>> {
        let length = (foot.wall(near, v, 0.0) - foot.wall(near, v, 1.0)).norm();
        (0..20)
            .filter(|k| foot.shows_ring(*k))
            .map(|k| foot.ring_below(v, k))
            .take_while(|below| *below < length - 5.0)
            .map(|below| foot.wall(near, v, below / length))
            .collect()
    };
    let ground = (0..6).map(|i| Point3::new(-14.0 + (foot.support_length + 74.0) * f64::from(i) / 5.0, 0.0, 0.0));
    let lines = BTreeMap::from([
        (Line::DorsalWall, along(0.0, 0.0, 1.0, 13)),
        (Line::HeelWall, along(2.0, 0.0, 1.0, 6)),
        (Line::Ground, ground.collect()),
        (Line::TubulesToe, along(0.3, 0.2, 0.8, 4)),
        (Line::TubulesQuarter, along(1.0, 0.2, 0.8, 4)),
        (Line::TubulesHeel, along(1.85, 0.2, 0.8, 4)),
        (Line::RingsToe, rings(0.0)),
        (Line::RingsHeel, rings(2.0)),
    ]);

    let dorsal = angle(toe, toe_top);
    let heel_angle = angle(heel, heel_top);
    let spacing = |line: &[Point3<f64>]| {
        line.windows(2).map(|w| (flat(w[1]) - flat(w[0])).norm()).sum::<f64>() / (line.len() - 1) as f64
    };
    let mut values = BTreeMap::from([
        ("dorsal_wall_angle", dorsal),
        ("heel_angle", heel_angle),
        ("heel_toe_angle_difference", dorsal - heel_angle),
        ("dorsal_wall_length", (flat(toe_top) - flat(toe)).norm()),
        ("heel_length", (flat(heel_top) - flat(heel)).norm()),
        ("heel_toe_length_ratio", (flat(heel_top) - flat(heel)).norm() / (flat(toe_top) - flat(toe)).norm()),
        ("toe_height", toe_top.y),
        ("heel_height", heel_top.y),
        ("heel_toe_height_ratio", heel_top.y / toe_top.y),
        ("coronary_band_angle", (toe_top.y - heel_top.y).atan2(heel_top.x - toe_top.x).to_degrees()),
        ("support_length", heel.x - toe.x),
        ("heel_support_offset", heel_top.x - heel.x),
        ("pastern_axis_deviation", angle(pastern[1], pastern[0]) - dorsal),
        ("tubule_angle_toe", fit_angle(&lines[&Line::TubulesToe])),
        ("tubule_angle_quarter", fit_angle(&lines[&Line::TubulesQuarter])),
        ("tubule_angle_heel", fit_angle(&lines[&Line::TubulesHeel])),
        ("tubule_angle_gradient", fit_angle(&lines[&Line::TubulesToe]) - fit_angle(&lines[&Line::TubulesHeel])),
        ("heel_above_sole_plane", e),
    ]);
    let (ring_toe, ring_heel) = (&lines[&Line::RingsToe], &lines[&Line::RingsHeel]);
    if ring_toe.len() > 1 && ring_heel.len() > 1 {
        values.insert("ring_spacing_toe", spacing(ring_toe));
        values.insert("ring_spacing_heel", spacing(ring_heel));
        // The lowest ring seen at both: how far it lies below the coronary line at either end.
        let lowest = ring_toe.len().min(ring_heel.len()) - 1;
        let coronet = flat(heel_top) - flat(toe_top);
        let below = |ring: Point3<f64>| coronet.normalize().perp(&(flat(ring) - flat(toe_top))).abs();
        let divergence = (below(ring_heel[lowest]) - below(ring_toe[lowest])) / coronet.norm();
        values.insert("ring_divergence", divergence.atan().to_degrees());
    }

    // The dorsal wall's thirds, from a fine profile.
    let upper = along(0.0, 0.0, 1.0 / 3.0, 400);
    let lower = along(0.0, 2.0 / 3.0, 1.0, 400);
    values.insert("toe_flare", fit_angle(&upper) - fit_angle(&lower));
    let (middle, direction) = fit(&upper);
    let reach = middle.x - direction.x * middle.y / direction.y;
    values.insert("toe_excess", reach - toe.x);
    let top = Vector2::new(toe_top.x, toe_top.y);
    let leaves = along(0.0, 0.0, 1.0, 4000).into_iter().map(flat).find(|p| direction.perp(&(p - middle)).abs() > 2.0);
    if let Some(p) = leaves {
        values.insert("flare_start", direction.dot(&(p - top)).abs());
    }
    let dorsal_fit = fit_angle(&along(0.0, 0.0, 1.0, 400));
    let values_line_fit = BTreeMap::from([
        ("dorsal_wall_angle", dorsal_fit),
        ("heel_toe_angle_difference", dorsal_fit - heel_angle),
        ("pastern_axis_deviation", angle(pastern[1], pastern[0]) - dorsal_fit),
    ]);
    FootTruth { landmarks, lines, values, values_line_fit }
}

fn solar(foot: &Foot3d, under: &Underside) -> FootTruth {
    let on_axis = |x: f64| under.point(x, 0.0);
    let side = |half: Half| half.sign();
    let (corner, rear) = (foot.frog_curve(1.0), foot.frog_curve(2.0));
    let widest = |half: Half| {
        let p = foot.ground_curve(half, 1.0);
        Point3::new(p.x, 0.0, side(half) * p.y)
    };
    let bulb = |half: Half| {
        let (centre, radii) = foot.bulb(half);
        Point3::new(centre.x + radii[0], centre.y, centre.z)
    };
    let landmarks = BTreeMap::from([
        (Landmark::ToeOuter, Point3::origin()),
        (Landmark::WhiteLineOuter, on_axis(foot.wall_toe)),
        (Landmark::WhiteLineInner, on_axis(foot.wall_toe + foot.white_line_toe)),
        (Landmark::FrogApex, on_axis(foot.apex_at)),
        (Landmark::CentralSulcus, on_axis(rear.x)),
        (Landmark::FrogBaseMedial, under.point(corner.x, -corner.y)),
        (Landmark::FrogBaseLateral, under.point(corner.x, corner.y)),
        (Landmark::HeelMedial, foot.heel_ground(Half::Medial)),
        (Landmark::HeelLateral, foot.heel_ground(Half::Lateral)),
        (Landmark::WidestMedial, widest(Half::Medial)),
        (Landmark::WidestLateral, widest(Half::Lateral)),
        (Landmark::BulbMedial, bulb(Half::Medial)),
        (Landmark::BulbLateral, bulb(Half::Lateral)),
        (Landmark::BreakoverSolar, Point3::new(foot.breakover_at, 0.0, 0.0)),
    ]);
    let lines = BTreeMap::from([
        (Line::OuterWall, outline(foot, 30, 0.0).into_iter().map(|p| Point3::new(p.x, 0.0, p.y)).collect::<Vec<_>>()),
        (Line::WhiteLine, outline(foot, 30, 1.0).into_iter().map(|p| under.point(p.x, p.y)).collect()),
        (Line::FrogOutline, frog_outline(foot, 12).into_iter().map(|p| under.point(p.x, p.y)).collect()),
    ]);

    let at = |l: Landmark| Vector2::new(landmarks[&l].x, landmarks[&l].z);
    let distance = |a: Landmark, b: Landmark| (at(a) - at(b)).norm();
    let (apex, sulcus) = (at(Landmark::FrogApex), at(Landmark::CentralSulcus));
    let forward = (apex - sulcus).normalize();
    let along = |v: Vector2<f64>| forward.dot(&(v - sulcus));
    let across = |v: Vector2<f64>| forward.perp(&(v - sulcus)).abs();
    let heels = (at(Landmark::HeelMedial) + at(Landmark::HeelLateral)) / 2.0;
    let widest_line = (at(Landmark::WidestMedial) + at(Landmark::WidestLateral)) / 2.0;
    let length = along(at(Landmark::ToeOuter)) - along(heels);
    let width = across(at(Landmark::WidestMedial)) + across(at(Landmark::WidestLateral));
    let frog_base = (at(Landmark::FrogBaseMedial) + at(Landmark::FrogBaseLateral)) / 2.0;
    let frog_length = along(apex) - along(frog_base);
    let frog_width = across(at(Landmark::FrogBaseMedial)) + across(at(Landmark::FrogBaseLateral));
    let heel_share = (along(widest_line) - along(heels)) / length;
    let outer = area(&outline(foot, 2000, 0.0));
    let inner = area(&outline(foot, 2000, 1.0));
    let values = BTreeMap::from([
        ("hoof_length", length),
        ("hoof_width", width),
        ("length_width_ratio", length / width),
        ("toe_length_from_frog", distance(Landmark::FrogApex, Landmark::ToeOuter)),
        ("sole_toe_length", distance(Landmark::FrogApex, Landmark::WhiteLineInner)),
        ("white_line_width", distance(Landmark::WhiteLineInner, Landmark::WhiteLineOuter)),
        ("wall_thickness_toe", distance(Landmark::WhiteLineOuter, Landmark::ToeOuter)),
        ("frog_length", frog_length),
        ("frog_width", frog_width),
        ("frog_width_length_ratio", frog_width / frog_length),
        ("heel_base_width", distance(Landmark::HeelMedial, Landmark::HeelLateral)),
        ("heel_base_share", heel_share),
        ("toe_base_share", 1.0 - heel_share),
        ("medial_lateral_width_difference", across(at(Landmark::WidestMedial)) - across(at(Landmark::WidestLateral))),
        // How much further the medial buttress reaches back.
        ("heel_length_difference", along(at(Landmark::HeelLateral)) - along(at(Landmark::HeelMedial))),
        ("outline_area", outer),
        ("bearing_area", outer - inner),
        ("sole_area", inner - area(&frog_outline(foot, 1000))),
    ]);
    FootTruth { landmarks, lines, values, values_line_fit: BTreeMap::new() }
}

/// The wall's outline from the medial heel over the toe to the lateral heel: the outer edge (`inward` 0) or the white
/// line's inner edge (1). Straight across the heels. x and z.
fn outline(foot: &Foot3d, per_half: i32, inward: f64) -> Vec<Point2<f64>> {
    (-per_half..=per_half)
        .map(|i| {
            let v = 2.0 * f64::from(i) / f64::from(per_half);
            let half = if v < 0.0 { Half::Medial } else { Half::Lateral };
            let (wall, white) = foot.wall_at(v.abs());
            let p = foot.ground_curve(half, v.abs()) + foot.ground_normal(half, v.abs()) * (inward * (wall + white));
            Point2::new(p.x, half.sign() * p.y)
        })
        .collect()
}

/// The frog's outline from the sulcus round the medial side, the apex and the lateral side.
fn frog_outline(foot: &Foot3d, per_part: i32) -> Vec<Point2<f64>> {
    let n = 2 * per_part;
    (-n..n)
        .map(|i| {
            let p = foot.frog_curve((f64::from(i) / f64::from(per_part)).abs());
            Point2::new(p.x, if i < 0 { -p.y } else { p.y })
        })
        .collect()
}

/// Area inside a closed polygon (the shoelace formula).
fn area(polygon: &[Point2<f64>]) -> f64 {
    let next = polygon.iter().cycle().skip(1);
    0.5 * polygon.iter().zip(next).map(|(a, b)| a.x * b.y - b.x * a.y).sum::<f64>().abs()
}

fn flat(p: Point3<f64>) -> Vector2<f64> {
    Vector2::new(p.x, p.y)
}

/// Angle in degrees at the ground of the line from `low` to `high`; 90 is upright, less leans back.
fn angle(low: Point3<f64>, high: Point3<f64>) -> f64 {
    (high.y - low.y).atan2(high.x - low.x).to_degrees()
}

/// The line that the squared distances of the points are least from: its middle and its upward direction.
fn fit(points: &[Point3<f64>]) -> (Vector2<f64>, Vector2<f64>) {
    let n = points.len() as f64;
    let middle = points.iter().copied().map(flat).sum::<Vector2<f64>>() / n;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for d in points.iter().map(|p| flat(*p) - middle) {
        xx += d.x * d.x;
        xy += d.x * d.y;
        yy += d.y * d.y;
    }
    let turn = 0.5 * (2.0 * xy).atan2(xx - yy);
    let direction = Vector2::new(turn.cos(), turn.sin());
    (middle, if direction.y < 0.0 { -direction } else { direction })
}

fn fit_angle(points: &[Point3<f64>]) -> f64 {
    let (_, d) = fit(points);
    d.y.atan2(d.x).to_degrees()
}

#[cfg(test)]
mod tests {
    use super::super::horses::{self, cases};
    use super::*;
    use hoofgeo::{Foot, Stage};

    #[test]
    fn every_landmark_line_and_measurement_has_a_truth() {
        for case in cases() {
            let view = case.shot.view;
            let truth = FootTruth::new(&case.spec.shape, view, None);
            // The far bulb is hidden behind the near one in feet that stand straight.
            for l in Landmark::of(view).filter(|l| *l != Landmark::HeelBulbFar) {
                assert!(truth.landmarks.contains_key(&l), "{l}");
            }
            for l in Line::of(view) {
                assert!(truth.lines[&l].len() >= 2, "{l}");
            }
            assert!(truth.values.values().all(|v| v.is_finite()));
            assert!(truth.values.len() >= if view == View::Lateral { 22 } else { 18 });
        }
    }

    #[test]
    fn truth_says_what_the_parameters_say() {
        for case in cases() {
            let f = &case.spec.shape;
            let truth = FootTruth::new(f, case.shot.view, None).values;
            let expected: &[(&str, f64)] = match case.shot.view {
                View::Lateral => &[
                    ("dorsal_wall_angle", f.dorsal_angle),
                    ("dorsal_wall_length", f.dorsal_length),
                    ("heel_angle", f.heel_angle),
                    ("heel_length", f.heel_length),
                    ("support_length", f.support_length),
                    ("pastern_axis_deviation", f.pastern_angle - f.dorsal_angle),
                    ("heel_above_sole_plane", f.heel_above_sole),
                ],
                View::Solar => &[
                    ("hoof_length", f.support_length + f.medial_heel_behind / 2.0),
                    ("hoof_width", f.half_width_medial + f.half_width_lateral),
                    ("frog_length", 0.9 * f.frog_length),
                    ("frog_width", f.frog_width),
                    ("white_line_width", f.white_line_toe),
                    ("wall_thickness_toe", f.wall_toe),
                    ("toe_length_from_frog", f.apex_at),
                    ("heel_length_difference", f.medial_heel_behind),
                ],
            };
            for (id, value) in expected {
                assert!((truth[id] - value).abs() < 1e-9, "{id}: {} is not {value}", truth[id]);
            }
        }
    }

    #[test]
    fn a_bent_wall_has_the_flare_it_was_given() {
        // The bend lies between the thirds, so each third is straight and the fit exact.
        let mut foot = horses::foot(horses::DARK, Foot::LeftFore, Stage::BeforeTrim).shape;
        foot.flare_at = 0.5;
        let truth = FootTruth::new(&foot, View::Lateral, None).values;
        assert!((truth["toe_flare"] - foot.flare).abs() < 1e-6);
    }

    #[test]
    fn a_flat_trim_leaves_the_difference_of_the_angles() {
        let before = horses::foot(horses::DARK, Foot::LeftFore, Stage::BeforeTrim).shape;
        let trim = Trim { toe_down: 2.0, heel_down: 6.0, toe_back: 0.0, flare: before.flare, breakover_at: 5.0 };
        let after = before.trimmed(&trim);
        assert!(after.dorsal_angle < before.dorsal_angle, "lowering the heels flattens the foot");
        let change = (after.dorsal_angle - after.heel_angle) - (before.dorsal_angle - before.heel_angle);
        assert!(change.abs() < 1e-9);
    }

    use super::super::foot::Trim;

    #[test]
    fn an_outline_of_an_ellipse_like_foot_has_about_its_area() {
        // A hoof lies between the ellipse and the rectangle round it.
        let foot = horses::foot(horses::LIGHT, Foot::LeftFore, Stage::BeforeTrim).shape;
        let v = FootTruth::new(&foot, View::Solar, None).values;
        let box_area = v["hoof_length"] * v["hoof_width"];
        let ratio = v["outline_area"] / box_area;
        assert!((0.75..0.9).contains(&ratio), "{ratio}");
        assert!(v["bearing_area"] + v["sole_area"] < v["outline_area"]);
    }
}
