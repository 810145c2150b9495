//! The examples of the Guide's supplements (JCGM 101:2008 clause 9, JCGM 102:2011 clause 9) and two of other institutes.
//!
//! Provenance of every number: `fixtures/gum/SOURCE.md`.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{agrees, case, end_gauge, fixture, near, number, numbers};
use hoofgeo::uncertainty::{Agreement, Inputs, NormalVector, Summary, draw_blocks};
use nalgebra::DVector;
use num_dual::{Dual64, DualNum};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal, StudentT};
use rand_xoshiro::Xoshiro256PlusPlus as Rng;
use serde_json::Value;

/// Full-precision values were computed with 40 digits; this leaves room for rounding alone.
const EXACT: f64 = 1e-12;

/// Draws of every sample.
const DRAWS: usize = 1_000_000;

fn supplement(id: &str) -> Value {
    case("gum/jcgm101_102.json", id)
}

fn sample(seed: u64, coverage: f64, draw: impl Fn(&mut Rng) -> f64 + Sync) -> Summary {
    let y = draw_blocks(DRAWS, 1, seed, || (), |(), rng, _, out| out[0] = draw(rng));
    Summary::of(y.into_iter().next().unwrap(), coverage).unwrap()
}

fn normal(rng: &mut Rng, mean: f64, u: f64) -> f64 {
    let z: f64 = rng.sample(StandardNormal);
    mean + u * z
}

fn rectangular(rng: &mut Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * rng.random::<f64>()
}

fn student(rng: &mut Rng, dof: f64, mean: f64, scale: f64) -> f64 {
    mean + scale * StudentT::new(dof).unwrap().sample(rng)
}

/// The mean, u and both ends within four standard errors of the exact ones. u's own error needs the fourth moment; for no
/// distribution here does it exceed that of 12 times the normal one's.
#[track_caller]
fn matches(s: &Summary, mean: f64, u: f64, symmetric: &[f64], u_errors: f64) {
    let root = (s.draws as f64).sqrt();
    near(s.mean, mean, 4.0 * u / root);
    near(s.u, u, u_errors * 4.0 * u / (2.0_f64.sqrt() * root));
    for (i, expected) in symmetric.iter().enumerate() {
        near(s.symmetric[i], *expected, 5.0 * s.endpoint_u[i]); // endpoint_u is an estimate itself
    }
}

#[test]
fn jcgm101_9_2_additive() {
    let unit = 3.0_f64.sqrt();
    type Draw = fn(&mut Rng, f64) -> f64;
    let cases: [(&str, Draw, Agreement); 3] = [
        ("JCGM101 9.2.2 additive, normal", |rng, _| (0..4).map(|_| normal(rng, 0.0, 1.0)).sum(), Agreement::Holds),
        (
            // The exact ends, 3.88, are 0.04 from 3.92: within the tolerance of 0.05.
            "JCGM101 9.2.3 additive, rectangular same width",
            |rng, a| (0..4).map(|_| rectangular(rng, -a, a)).sum(),
            Agreement::Holds,
        ),
        (
            "JCGM101 9.2.4 additive, one dominant rectangular",
            |rng, a| (0..3).map(|_| rectangular(rng, -a, a)).sum::<f64>() + rectangular(rng, -10.0 * a, 10.0 * a),
            Agreement::Fails,
        ),
    ];
    for (id, draw, agreement) in cases {
        let c = supplement(id);
        let exact = &c["expected_exact"];
        let s = sample(92, 0.95, |rng| draw(rng, unit));
        matches(&s, 0.0, number(&exact["u"]), &numbers(&exact["interval"]), 1.0);
        // The same by the linear law, whose interval clause 8 then accepts or not.
        let mut x = Inputs::new();
        for i in 0..4 {
            x.add(i, 0.0, if i == 3 && agreement == Agreement::Fails { 10.0 } else { 1.0 }, None);
        }
        let linear = x.evaluate(|x| vec![x[0] + x[1] + x[2] + x[3]]).unwrap().combined(0);
        agrees(linear.u, number(&exact["u"]), EXACT);
        assert_eq!(s.check_linear(linear.value, linear.u, linear.dof).agreement, agreement, "{id}: {s:?}");
    }
}

fn mass<T: DualNum<Primitive = f64> + Copy>(x: &[T]) -> T {
    // The nominal 100 000 mg is taken off before the sum: it would cost eleven digits of the derivative-free part.
    (x[0] + x[1]) * ((x[2] - 1.2) * (x[3].recip() - x[4].recip()) + 1.0) - 100_000.0
}

#[test]
fn jcgm101_9_3_mass_calibration() {
    let c = supplement("JCGM101 9.3 mass calibration");
    let exact = &c["expected_exact"];
    let mut x = Inputs::new();
    for (i, (value, u)) in [
        (100_000.0, 0.050),
        (1.234, 0.020),
        (1.20, 0.10 / 3.0_f64.sqrt()),
        (8000.0, 1000.0 / 3.0_f64.sqrt()),
        (8000.0, 50.0 / 3.0_f64.sqrt()),
    ]
    .into_iter()
    .enumerate()
    {
        x.add(i, value, u, None);
    }
    let linear = x.evaluate(|x| vec![mass(x)]).unwrap().combined(0);
    near(linear.value, number(&exact["GUF_first"]["y"]), 1e-9); // 1e5 mg leave 1e-11 mg
    agrees(linear.u, number(&exact["GUF_first"]["u"]), 1e-9);
    let s = sample(93, 0.95, |rng| {
        mass(&[
            normal(rng, 100_000.0, 0.050),
            normal(rng, 1.234, 0.020),
            rectangular(rng, 1.10, 1.30),
            rectangular(rng, 7000.0, 9000.0),
            rectangular(rng, 7950.0, 8050.0),
        ])
    });
    matches(&s, number(&exact["mean"]), number(&exact["u"]), &numbers(&exact["interval_symmetric"]), 1.0);
    // The optimum is flat: test the length, not the ends.
    let shortest = numbers(&exact["interval_shortest"]);
    near(s.shortest[1] - s.shortest[0], shortest[1] - shortest[0], 0.001);
    assert_eq!(s.check_linear(linear.value, linear.u, None).agreement, Agreement::Fails);
}

#[test]
fn jcgm101_9_4_comparison_loss() {
    let cases: Vec<Value> = fixture("gum/jcgm101_102.json")
        .into_iter()
        .filter(|c| c["id"].as_str().unwrap().starts_with("JCGM101 9.4"))
        .collect();
    assert_eq!(cases.len(), 6);
    for c in cases {
        let input = |name: &str| number(&c["inputs"][name]);
        let (u, r) = (input("u"), input("r"));
        let exact = &c["expected_exact"];
        let mut x = Inputs::new();
        x.add("x1", input("x1"), u, None);
        x.add("x2", input("x2"), u, None);
        x.correlate(0, 1, r).unwrap();
        let linear = x.evaluate(|x| vec![x[0] * x[0] + x[1] * x[1]]).unwrap().combined(0);
        near(linear.value, number(&exact["GUF_first_order"]["y"]), 1e-18);
        near(linear.u, number(&exact["GUF_first_order"]["u"]), 1e-18);
        let pair = NormalVector::new(DVector::from_vec(vec![input("x1"), input("x2")]), &x.covariance()).unwrap();
        let s = sample(94, 0.95, |rng| {
            let mut x = [0.0; 2];
            pair.draw(rng, &mut x);
            x[0] * x[0] + x[1] * x[1]
        });
        // Kurtosis of up to 15 (chi-square with one degree of freedom) against the normal 3: sqrt(14/2) times the error.
        matches(
            &s,
            number(&exact["mean"]),
            number(&exact["u"]),
            &numbers(&exact["interval_symmetric"]),
            7.0_f64.sqrt(),
        );
        let shortest = numbers(&exact["interval_shortest"]);
        near(s.shortest[1] - s.shortest[0], shortest[1] - shortest[0], 10.0 * s.endpoint_u[1]);
        assert_eq!(s.check_linear(linear.value, linear.u, None).agreement, Agreement::Fails, "{}", c["id"]);
    }
}

/// Rectangular with limits that are themselves uncertain by ±d (JCGM 101, 6.4.3).
fn curvilinear_trapezoid(rng: &mut Rng, a: f64, b: f64, d: f64) -> f64 {
    let from = rectangular(rng, a - d, a + d);
    rectangular(rng, from, a + b - from)
}

#[test]
fn jcgm101_9_5_gauge_block() {
    let c = supplement("JCGM101 9.5 gauge block");
    let s = sample(95, 0.99, |rng| {
        let x = [
            student(rng, 18.0, 50_000_623.0, 25.0),
            student(rng, 24.0, 215.0, 6.0),
            student(rng, 5.0, 0.0, 4.0),
            student(rng, 8.0, 0.0, 7.0),
            rectangular(rng, 9.5e-6, 13.5e-6),
            normal(rng, -0.1, 0.2),
            0.5 * (std::f64::consts::PI * rng.random::<f64>()).cos(),
            curvilinear_trapezoid(rng, -1.0e-6, 1.0e-6, 0.1e-6),
            curvilinear_trapezoid(rng, -0.050, 0.050, 0.025),
        ];
        end_gauge(&x) - 50e6
    });
    let (long_run, published) = (&c["expected_recomputed"], &c["expected_published"]["MCM"]);
    // The reference is a Monte Carlo run too, of 20 times as many draws.
    matches(&s, number(&long_run["mean"]), number(&long_run["u"]), &numbers(&long_run["interval_symmetric"]), 1.5);
    near(s.mean, number(&published["y"]), 0.5);
    near(s.u, number(&published["u"]), 0.5);
    for (end, expected) in s.shortest.into_iter().zip(numbers(&published["interval"])) {
        near(end, expected, 1.5); // half a digit, and the shortest interval's flat optimum
    }
}

#[test]
fn npl_logarithm_of_a_rectangular_quantity() {
    let c = supplement("NPL DEM-ES-011 9.2 y=ln(x)");
    let exact = &c["expected_exact"];
    let mut x = Inputs::new();
    x.add("x", 0.6, 0.5 / 3.0_f64.sqrt(), None);
    let linear = x.evaluate(|x| vec![x[0].ln()]).unwrap().combined(0);
    agrees(linear.value, number(&exact["guf_y"]), EXACT);
    agrees(linear.u, number(&exact["guf_u"]), EXACT);
    let s = sample(96, 0.95, |rng| rectangular(rng, 0.1, 1.1).ln());
    near(s.mean, number(&exact["mean"]), 4.0 * s.u / 1000.0);
    near(s.u, number(&exact["u"]), 4.0 * s.u / 1414.0);
    for (end, expected) in s.shortest.into_iter().zip(numbers(&exact["interval_shortest"])) {
        near(end, expected, 0.005); // the density is steepest at the upper end, where the interval stops
    }
    assert_eq!(s.check_linear(linear.value, linear.u, None).agreement, Agreement::Fails);
}

#[test]
fn tn1900_e13_thermal_expansion() {
    let c = supplement("NIST TN 1900 E13 thermal expansion");
    let mut x = Inputs::new();
    for (name, value, u) in [("L0", 1.4999, 0.0001), ("L1", 1.5021, 0.0002), ("T0", 288.15, 0.02), ("T1", 373.10, 0.05)]
    {
        x.add(name, value, u, Some(3.0));
    }
    let alpha = x.evaluate(|x| vec![(x[1] - x[0]) / (x[0] * (x[3] - x[2]))]).unwrap().combined(0);
    agrees(alpha.value, number(&c["expected_GUF_value"]), 1e-11); // the difference of lengths loses three digits
    near(alpha.u, number(&c["expected_published"]["GUM"]["u"]), 0.005e-6);
    assert_eq!(alpha.budget.largest().unwrap().0, "L1");
}

#[test]
fn jcgm102_9_3_coordinates_to_modulus_and_phase() {
    let cases: Vec<Value> = fixture("gum/jcgm101_102.json")
        .into_iter()
        .filter(|c| c["id"].as_str().unwrap().starts_with("JCGM102 9.3"))
        .collect();
    assert_eq!(cases.len(), 6);
    for c in cases {
        let input = |name: &str| number(&c["inputs"][name]);
        let mut x = Inputs::new();
        x.add("x1", input("x1"), input("u"), None);
        x.add("x2", input("x2"), input("u"), None);
        x.correlate(0, 1, input("r12")).unwrap();
        let polar = |x: &[Dual64]| vec![(x[0] * x[0] + x[1] * x[1]).sqrt(), x[1].atan2(x[0])];
        let linear = x.evaluate(polar).unwrap();
        let expected = &c["expected_GUF"];
        agrees(linear.combined(0).u, number(&expected["u_r"]), EXACT);
        agrees(linear.combined(1).u, number(&expected["u_theta"]), EXACT);
        near(linear.correlation(0, 1), number(&expected["corr"]), EXACT);

        let exact = &c["expected_recomputed_numeric"];
        let pair = NormalVector::new(DVector::from_vec(vec![input("x1"), input("x2")]), &x.covariance()).unwrap();
        let y = draw_blocks(
            DRAWS,
            2,
            102,
            || [0.0; 2],
            |x, rng, _, out| {
                pair.draw(rng, x);
                out[0] = x[0].hypot(x[1]);
                out[1] = x[1].atan2(x[0]);
            },
        );
        let s = [0, 1].map(|i| Summary::at_95(y[i].clone()).unwrap());
        let root = (DRAWS as f64).sqrt();
        for (s, name) in s.iter().zip(["r", "theta"]) {
            near(s.mean, number(&exact[format!("mean_{name}")]), 4.0 * s.u / root);
            // Heavy tails of the phase where the origin lies within reach: thrice the normal error.
            near(s.u, number(&exact[format!("u_{name}")]), 3.0 * 4.0 * s.u / (2.0 * root * root).sqrt());
        }
        let products = y[0].iter().zip(&y[1]).map(|(r, t)| (r - s[0].mean) * (t - s[1].mean)).sum::<f64>();
        near(products / DRAWS as f64 / (s[0].u * s[1].u), number(&exact["corr"]), 2.0 * 4.0 / root);
    }
}
