//! Laws that every measurement obeys, whatever its formula: looped over all of them, so that a new one is held to them too.
#![allow(clippy::unwrap_used, reason = "tests")]

mod synth;

use hoofgeo::measure::{ALL, Dual, Measurement, Need, Quantity, find};
use hoofgeo::placed::{Placed, Undefined};
use hoofgeo::{Landmark, Line, View};
use nalgebra::{Const, Point2, Rotation2, U1, Vector2};
use proptest::prelude::*;
use std::collections::BTreeSet;
use synth::{Places, foot};

/// The ids of the file contract.
const IDS: &[&str] = &[
    "dorsal_wall_angle",
    "heel_angle",
    "heel_toe_angle_difference",
    "dorsal_wall_length",
    "heel_length",
    "heel_toe_length_ratio",
    "toe_height",
    "heel_height",
    "heel_toe_height_ratio",
    "coronary_band_angle",
    "support_length",
    "heel_support_offset",
    "pastern_axis_deviation",
    "toe_flare",
    "flare_start",
    "toe_excess",
    "tubule_angle_toe",
    "tubule_angle_quarter",
    "tubule_angle_heel",
    "tubule_angle_gradient",
    "ring_spacing_toe",
    "ring_spacing_heel",
    "ring_divergence",
    "heel_above_sole_plane",
    "hoof_length",
    "hoof_width",
    "length_width_ratio",
    "toe_length_from_frog",
    "sole_toe_length",
    "white_line_width",
    "wall_thickness_toe",
    "frog_length",
    "frog_width",
    "frog_width_length_ratio",
    "heel_base_width",
    "heel_base_share",
    "toe_base_share",
    "medial_lateral_width_difference",
    "heel_length_difference",
    "bearing_area",
    "sole_area",
    "outline_area",
];

#[test]
fn ids_are_those_of_the_file_contract() {
    let ids: BTreeSet<_> = ALL.iter().map(|m| m.id).collect();
    assert_eq!(ids.len(), ALL.len(), "an id stands twice");
    assert_eq!(ids, IDS.iter().copied().collect());
    for m in ALL {
        assert!(find(m.id).is_some_and(|found| found.name == m.name));
    }
    assert!(find("no_such_thing").is_none());
}

#[test]
fn definitions_say_enough() {
    let mut names = BTreeSet::new();
    for m in ALL {
        assert!(names.insert(m.name), "{} stands twice", m.name);
        assert!(m.definition.len() > 30 && m.definition.ends_with('.'), "{}: {}", m.id, m.definition);
        assert!(!m.source.is_empty() && !m.needs.is_empty(), "{}", m.id);
        assert!(m.references.iter().all(|r| !r.says.is_empty() && !r.source.is_empty()), "{}", m.id);
    }
}

/// Every way to fulfil a list of needs, as flat lists.
fn ways(needs: &[Need]) -> Vec<Vec<Need>> {
    let mut all = vec![Vec::new()];
    for need in needs {
        let choices = match need {
            Need::Either(sets) => sets.iter().flat_map(|s| ways(s)).collect(),
            other => vec![vec![*other]],
        };
        all = all.iter().flat_map(|w: &Vec<Need>| choices.iter().map(move |c| [w.as_slice(), c].concat())).collect();
    }
    all
}

/// The foot with nothing but what a list of needs names; lines as short as allowed.
fn only(view: View, needs: &[Need]) -> (Places, Option<f64>) {
    let whole = foot(view);
    let (mut places, mut gauge) = (Places::default(), None);
    for need in needs {
        match *need {
            Need::Point(l) => {
                places.landmarks.insert(l, whole.landmarks[&l]);
            }
            Need::Line(l, least) => {
                let line = &whole.lines[&l];
                // The line's ends and points spread between them.
                let all = line.len();
                let n = least.max(places.lines.get(&l).map_or(0, Vec::len));
                // A closed outline loses points all round, an open one keeps its ends.
                let pick = |i: usize| match (l.info().closed, n) {
                    (true, _) => i * all / n,
                    (_, 1) => all - 1,
                    _ => i * (all - 1) / (n - 1),
                };
                places.lines.insert(l, (0..n).map(|i| line[pick(i)]).collect());
            }
            Need::Gauge => gauge = Some(3.0),
            Need::Either(_) => unreachable!("flattened"),
        }
    }
    (places, gauge)
}

/// Whether a foot has all that one way asks for.
fn fulfils(places: &Places, gauge: Option<f64>, way: &[Need]) -> bool {
    way.iter().all(|need| match *need {
        Need::Point(l) => places.landmarks.contains_key(&l),
        Need::Line(l, n) => places.lines.get(&l).is_some_and(|p| p.len() >= n),
        Need::Gauge => gauge.is_some(),
        Need::Either(_) => unreachable!("flattened"),
    })
}

#[test]
fn formulas_need_exactly_what_they_declare() {
    for m in ALL {
        for way in ways(m.needs) {
            let (places, gauge) = only(m.view, &way);
            // Each third of the wall needs two points of its own: five are the declared minimum, spread as they may be.
            match places.value(m, gauge) {
                Ok(v) => assert!(v.is_finite(), "{}: {v}", m.id),
                Err(Undefined::Impossible(why)) if why.contains("third") => continue,
                Err(e) => panic!("{} with {way:?}: {e}", m.id),
            }
            // Without one of them something is missing, and the message names what.
            for gone in &way {
                let rest: Vec<Need> = way.iter().filter(|n| *n != gone).copied().collect();
                let (places, gauge) = only(m.view, &rest);
                // Another way may be open still.
                if ways(m.needs).iter().any(|w| fulfils(&places, gauge, w)) {
                    continue;
                }
                let missing = places.value(m, gauge).expect_err(m.id);
                let declared = ways(m.needs).concat();
                let names_a_need = match missing {
                    Undefined::NoLandmark(l) => declared.contains(&Need::Point(l)),
                    Undefined::NoLine(l, n) => declared.contains(&Need::Line(l, n)),
                    Undefined::NoGauge => declared.contains(&Need::Gauge),
                    Undefined::Impossible(_) | Undefined::Beyond { .. } => false,
                };
                assert!(names_a_need, "{} without {gone:?}: {missing}", m.id);
            }
        }
    }
}

#[test]
fn too_short_a_line_is_reported_as_missing() {
    for m in ALL {
        for way in ways(m.needs) {
            for need in &way {
                let Need::Line(l, least) = *need else { continue };
                let (mut places, gauge) = only(m.view, &way);
                let line = places.lines.get_mut(&l).unwrap();
                line.truncate(least - 1);
                if line.is_empty() {
                    places.lines.remove(&l);
                }
                if ways(m.needs).iter().any(|w| fulfils(&places, gauge, w)) {
                    continue;
                }
                assert!(places.value(m, gauge).is_err(), "{} with {} points of {l}", m.id, least - 1);
            }
        }
    }
}

/// Landmarks placed where a trimmed or unusual foot has them: the standard foot with every point moved.
fn varied(view: View, seed: u64, by: f64) -> Places {
    let mut rng = synth::rng(seed);
    let moved = std::cell::RefCell::new(&mut rng);
    foot(view).map(|p| {
        let mut r = moved.borrow_mut();
        p + Vector2::new(synth::normal(&mut r), synth::normal(&mut r)) * by
    })
}

fn same(
    m: &Measurement,
    a: hoofgeo::placed::Outcome<f64>,
    b: hoofgeo::placed::Outcome<f64>,
    factor: f64,
) -> Result<(), String> {
    match (a, b) {
        (Ok(a), Ok(b)) if (a * factor - b).abs() <= 1e-9 * (1.0 + (a * factor).abs()) => Ok(()),
        (Err(a), Err(b)) if a == b => Ok(()),
        (a, b) => Err(format!("{}: {a:?} x {factor} against {b:?}", m.id)),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Where the scale lies, and how it is turned, does not matter.
    #[test]
    fn values_do_not_depend_on_position_or_direction(
        seed in any::<u64>(), angle in -3.2..3.2f64, x in -500.0..500.0f64, y in -500.0..500.0f64
    ) {
        let turn = Rotation2::new(angle);
        for m in ALL {
            let p = varied(m.view, seed, 0.7);
            let q = p.map(|p| turn * p + Vector2::new(x, y));
            same(m, p.value(m, Some(3.0)), q.value(m, Some(3.0)), 1.0).map_err(TestCaseError::fail)?;
        }
    }

    /// A foot that faces left measures the same as one that faces right; a left foot the same as a right one.
    #[test]
    fn values_do_not_depend_on_the_side_the_foot_faces(seed in any::<u64>()) {
        for m in ALL {
            let p = varied(m.view, seed, 0.7);
            let q = p.map(|p| Point2::new(-p.x, p.y));
            same(m, p.value(m, Some(3.0)), q.value(m, Some(3.0)), 1.0).map_err(TestCaseError::fail)?;
        }
    }

    /// Lengths grow with the foot, areas with its square, angles and ratios not at all.
    #[test]
    fn values_have_the_dimension_that_they_say(seed in any::<u64>(), scale in 0.5..2.0f64) {
        // The start of a flare has 2 mm in its definition, so that it does not grow with the foot.
        for m in ALL.iter().filter(|m| m.id != "flare_start") {
            let p = varied(m.view, seed, 0.7);
            let q = p.map(|p| p * scale);
            let factor = match m.quantity {
                Quantity::Length => scale,
                Quantity::Area => scale * scale,
                Quantity::Angle | Quantity::Ratio => 1.0,
            };
            same(m, p.value(m, None), q.value(m, None), factor).map_err(TestCaseError::fail)?;
        }
    }

    /// Automatic derivatives are the limits of central differences.
    #[test]
    fn derivatives_are_those_of_differences(seed in any::<u64>(), which in any::<prop::sample::Index>()) {
        for m in ALL {
            let p = varied(m.view, seed, 0.7);
            let (index, points) = p.list();
            let i = which.index(points.len());
            let mut dual: Vec<Point2<Dual>> = points.iter().map(|p| p.map(Dual::from_re)).collect();
            dual[i].x = dual[i].x.derivative(0);
            dual[i].y = dual[i].y.derivative(1);
            let got = (m.formula.dual)(&Placed::new(&index, &dual, None));
            let value = |points: &[Point2<f64>]| (m.formula.value)(&Placed::new(&index, points, None));
            // 1e-4 mm: truncation errors below 1e-8 of the value, rounding below 1e-10.
            let h = 1e-4;
            let shifted = |d: Vector2<f64>| { let mut q = points.clone(); q[i] += d; value(&q) };
            for axis in 0..2 {
                let mut d = Vector2::zeros();
                d[axis] = h;
                let (Ok(a), Ok(b), Ok(g)) = (shifted(d), shifted(-d), &got) else { continue };
                let expected = (a - b) / (2.0 * h);
                let eps = g.eps.unwrap_generic(Const::<{ hoofgeo::measure::Formula::SEEDS }>, U1)[axis];
                prop_assert!((eps - expected).abs() < 1e-6 * (1.0 + expected.abs()), "{} by {i}: {eps} {expected}", m.id);
                prop_assert!((g.re - value(&points).unwrap()).abs() < 1e-12 * (1.0 + g.re.abs()));
            }
        }
    }
}

/// Medial and lateral landmarks exchanged: symmetric measurements keep their value, the signed ones turn over.
#[test]
fn exchanging_the_sides_turns_only_the_signed_differences() {
    use Landmark::{
        BulbLateral, BulbMedial, FrogBaseLateral, FrogBaseMedial, HeelLateral, HeelMedial, WidestLateral, WidestMedial,
    };
    let signed = ["medial_lateral_width_difference", "heel_length_difference"];
    let pairs = [
        (HeelMedial, HeelLateral),
        (WidestMedial, WidestLateral),
        (FrogBaseMedial, FrogBaseLateral),
        (BulbMedial, BulbLateral),
    ];
    for seed in 0..20 {
        let p = varied(View::Solar, seed, 2.0);
        let mut q = p.clone();
        for (a, b) in pairs {
            q.landmarks.insert(a, p.landmarks[&b]);
            q.landmarks.insert(b, p.landmarks[&a]);
        }
        for m in hoofgeo::measure::of(View::Solar) {
            let factor = if signed.contains(&m.id) { -1.0 } else { 1.0 };
            same(m, p.value(m, None), q.value(m, None), factor).unwrap();
        }
    }
}

/// The signed differences have the sign that their definitions say.
#[test]
fn signs_follow_the_definitions() {
    let mut p = foot(View::Solar);
    let value = |p: &Places, id: &str| p.value(find(id).unwrap(), None).unwrap();
    p.landmarks.get_mut(&Landmark::HeelMedial).unwrap().y -= 4.0;
    assert!((value(&p, "heel_length_difference") - 4.0).abs() < 1e-12, "medial reaches farther back");
    p.landmarks.get_mut(&Landmark::WidestMedial).unwrap().x -= 3.0;
    assert!((value(&p, "medial_lateral_width_difference") - 3.0).abs() < 1e-12, "medial is the wider half");
    let l = foot(View::Lateral);
    for id in ["coronary_band_angle", "heel_support_offset", "toe_flare", "toe_excess", "heel_toe_angle_difference"] {
        assert!(value(&l, id) > 0.0, "{id}");
    }
}

#[test]
fn lines_named_in_needs_belong_to_the_view() {
    for m in ALL {
        for need in ways(m.needs).concat() {
            match need {
                Need::Point(l) => assert_eq!(l.info().view, m.view, "{}", m.id),
                Need::Line(l, n) => assert!(l.info().view == m.view && n > 0, "{}", m.id),
                _ => {}
            }
        }
    }
    assert!(Line::ALL.iter().all(|l| l.info().u_mm > 0.0));
}
