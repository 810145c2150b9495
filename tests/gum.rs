//! The guides' own examples through the project's own uncertainty code: JCGM 100 (GUM), 101 and 102.
//!
//! Provenance of every number: `fixtures/gum/SOURCE.md`.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{agrees, case, fixture, near, number, numbers, rows};
use hoofgeo::numeric::{LeastSquares, Options, covariance, minimise};
use hoofgeo::uncertainty::{
    Agreement, Inputs, NormalVector, Summary, coverage_factor, draw_blocks, effective_dof, propagate, student_t_factor,
};
use nalgebra::{DMatrix, DVector, dmatrix};
use num_dual::{Dual64, DualNum};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal, StudentT};
use rand_xoshiro::Xoshiro256PlusPlus as Rng;
use serde_json::Value;

/// Full-precision values were computed with 40 digits; this leaves room for rounding alone.
const EXACT: f64 = 1e-12;

/// Draws of the Monte Carlo tests.
const DRAWS: usize = 1_000_000;

// ---------------------------------------------------------------------------------------------------------------- JCGM 100

/// H.1's nine inputs, in the order of [`end_gauge`].
fn end_gauge_inputs(c: &Value) -> Inputs<&'static str> {
    let mut x = Inputs::new();
    let names = ["l_S", "d0", "d1", "d2", "alpha_S", "theta_bar", "Delta", "delta_alpha", "delta_theta"];
    let groups =
        ["standard", "comparison", "comparison", "comparison", "alpha", "theta", "theta", "delta alpha", "delta theta"];
    for (name, group) in names.into_iter().zip(groups) {
        let q = &c["inputs"][name];
        let value = q["value"].as_f64().unwrap_or(0.0); // Delta and the differences are zero on average
        x.add(group, value, number(&q["u"]), q["dof"].as_f64());
    }
    x
}

fn end_gauge<T: DualNum<Primitive = f64> + Copy>(x: &[T]) -> T {
    let [l, d0, d1, d2, alpha, theta, cycle, delta_alpha, delta_theta] = x else { panic!("nine inputs") };
    *l + *d0 + *d1 + *d2 - *l * (*delta_alpha * (*theta + *cycle) + *alpha * *delta_theta)
}

#[test]
fn h1_end_gauge() {
    let c = case("gum/jcgm100.json", "H.1 end gauge");
    let exact = &c["expected_full_precision"];
    let l = end_gauge_inputs(&c).evaluate(|x| vec![end_gauge(x), x[1] + x[2] + x[3], x[5] + x[6]]).unwrap();
    let (l, d, theta) = (l.combined(0), l.combined(1), l.combined(2));
    agrees(l.value, number(&exact["l_nm"]), EXACT);
    agrees(l.u, number(&exact["uc_nm"]), EXACT);
    agrees(l.dof.unwrap(), number(&exact["nu_eff"]), EXACT);
    agrees(d.u, number(&exact["u_d_nm"]), EXACT);
    agrees(d.dof.unwrap(), number(&exact["nu_d"]), EXACT);
    agrees(theta.u, number(&exact["u_theta"]), EXACT);
    assert_eq!(theta.dof, None);

    // The contributions of H.1.3 are the square roots of the variance shares.
    let contributions = &exact["contributions_nm"];
    for (group, name) in
        [("standard", "l_S"), ("comparison", "d"), ("delta alpha", "delta_alpha"), ("delta theta", "delta_theta")]
    {
        agrees(l.budget.share(group).sqrt() * l.u, number(&contributions[name]), 1e-9);
    }
    assert_eq!(l.budget.largest().unwrap().0, "standard");
    assert_eq!((l.budget.share("alpha"), l.budget.share("theta")), (0.0, 0.0));

    // The Guide truncates 16.7 degrees of freedom to 16.
    let t99 = student_t_factor(0.99, Some(l.dof.unwrap().floor()));
    near(t99, number(&c["expected_published"]["t99"]), 0.005);
    agrees(t99 * l.u, number(&exact["U99_nm"]), 1e-9);
    assert_eq!((t99 * l.u).ceil(), number(&c["expected_published"]["U99_nm"]));
}

/// H.1.7: second-order terms raise u from 32 nm to 34 nm. A normal sample contains them exactly.
#[test]
fn h1_second_order_terms_by_monte_carlo() {
    let c = case("gum/jcgm100.json", "H.1 end gauge");
    let inputs = end_gauge_inputs(&c);
    let linear = inputs.evaluate(|x| vec![end_gauge(x)]).unwrap().combined(0);
    let mean: Vec<f64> = (0..9).map(|i| inputs.evaluate(|x| vec![x[i]]).unwrap().values[0]).collect();
    let normal = NormalVector::new(DVector::from_vec(mean), &inputs.covariance()).unwrap();
    let y = draw_blocks(
        DRAWS,
        1,
        1,
        || [0.0; 9],
        |x, rng, _, out| {
            normal.draw(rng, x);
            out[0] = end_gauge(x);
        },
    );
    let s = Summary::at_95(y.into_iter().next().unwrap()).unwrap();
    let exact = number(&c["expected_full_precision"]["uc_with_second_order_nm"]);
    // u/sqrt(2M) is 0.07 % of u; four of them.
    agrees(s.u, exact, 0.003);
    assert_eq!(s.check_linear(linear.value, linear.u, None).agreement, Agreement::Fails);
}

#[test]
fn h2_resistance_reactance_impedance() {
    let c = case("gum/jcgm100.json", "H.2 resistance, reactance, impedance");
    let readings = ["V_volt", "I_ampere", "phi_radian"].map(|n| numbers(&c["inputs"][n]));
    let n = readings[0].len() as f64;
    let means = readings.each_ref().map(|r| r.iter().sum::<f64>() / n);
    let cov = DMatrix::from_fn(3, 3, |i, j| {
        let products = readings[i].iter().zip(&readings[j]).map(|(a, b)| (a - means[i]) * (b - means[j]));
        products.sum::<f64>() / (n * (n - 1.0))
    });
    let mut x = Inputs::new();
    for (i, name) in ["V", "I", "phi"].into_iter().enumerate() {
        x.add(name, means[i], cov[(i, i)].sqrt(), Some(n - 1.0));
    }
    for (i, j) in [(0, 1), (0, 2), (1, 2)] {
        x.correlate(i, j, cov[(i, j)] / (cov[(i, i)] * cov[(j, j)]).sqrt()).unwrap();
    }
    let y = x
        .evaluate(|x| {
            let z = x[0] / x[1];
            vec![z * x[2].cos(), z * x[2].sin(), z]
        })
        .unwrap();

    let (exact, published) = (&c["expected_full_precision_approach1"], &c["expected_published"]);
    // The readings' own rounding to 1e-16 of 5 V against deviations of 1e-3 V leaves 1e-12 of the covariances.
    for (i, name) in ["R", "X", "Z"].into_iter().enumerate() {
        let result = y.combined(i);
        agrees(result.value, number(&exact[name]), EXACT);
        agrees(result.u, number(&exact[format!("u{name}")]), 1e-9);
        near(result.value, number(&published[name]), 0.0006);
        near(result.u, number(&published[format!("u{name}")]), 0.001); // see SOURCE.md for u(X)
        // Every result is a function of the same five sets: four degrees of freedom, k = 2.78.
        agrees(result.dof.unwrap(), 4.0, 1e-9);
        near(result.k, 2.776, 0.0005);
        near(result.budget.shares.iter().map(|s| s.1).sum::<f64>(), 1.0, EXACT);
    }
    for (i, j, name) in [(0, 1, "r_RX"), (0, 2, "r_RZ"), (1, 2, "r_XZ")] {
        agrees(y.correlation(i, j), number(&exact[name]), 1e-9);
        near(y.correlation(i, j), number(&published[name]), 0.0006);
    }
    let covariances = rows(&exact["cov_outputs"]);
    for i in 0..3 {
        for j in 0..3 {
            agrees(y.covariance[(i, j)], covariances[i][j], 1e-9);
        }
    }
}

struct Line {
    t: Vec<f64>,
    b: Vec<f64>,
}

impl LeastSquares for Line {
    fn parameters(&self) -> usize {
        2
    }

    fn residuals(&self) -> usize {
        self.t.len()
    }

    fn evaluate(&self, y: &[f64], residuals: &mut [f64], jacobian: Option<&mut DMatrix<f64>>) -> bool {
        for (r, (t, b)) in residuals.iter_mut().zip(self.t.iter().zip(&self.b)) {
            *r = y[0] + y[1] * t - b;
        }
        if let Some(j) = jacobian {
            j.column_mut(0).fill(1.0);
            j.column_mut(1).copy_from_slice(&self.t);
        }
        true
    }
}

#[test]
fn h3_thermometer_line() {
    let c = case("gum/jcgm100.json", "H.3 thermometer calibration line");
    let t0 = number(&c["inputs"]["t0"]);
    let t: Vec<f64> = numbers(&c["inputs"]["t_degC"]).iter().map(|t| t - t0).collect();
    let line = Line { t, b: numbers(&c["inputs"]["b_degC"]) };
    let options = Options { decrement: 0.0, relative_decrement: 1e-24, ..Options::default() };
    let fit = minimise(&line, &[0.0, 0.0], &options);
    assert!(fit.is_good(), "{:?}", fit.stop);
    let dof = (line.t.len() - 2) as f64;
    let s2 = fit.sum_of_squares / dof;
    let cov = covariance(&fit.jacobian).unwrap() * s2;
    let (exact, published) = (&c["expected_full_precision"], &c["expected_published"]);
    assert_eq!(dof, number(&exact["dof"]));
    let r = cov[(0, 1)] / (cov[(0, 0)] * cov[(1, 1)]).sqrt();
    for (value, name, half_digit) in [
        (fit.x[0], "y1", 0.00005),
        (fit.x[1], "y2", 0.000005),
        (cov[(0, 0)].sqrt(), "s_y1", 0.00005),
        (cov[(1, 1)].sqrt(), "s_y2", 0.000005),
        (r, "r", 0.005),
        (s2.sqrt(), "s", 0.00005),
    ] {
        // The normal equations square a condition number of about 30.
        agrees(value, number(&exact[name]), 1e-10);
        near(value, number(&published[name]), half_digit * 1.01);
    }
    for (residual, expected) in fit.residuals.iter().zip(numbers(&exact["residuals"])) {
        near(-residual, expected, 1e-12); // of 0.16 °C, through normal equations of condition 1e3
    }

    // H.3.4: the correction at 30 °C, by both ways in.
    let at = number(&c["inputs"]["predict_at"]) - t0;
    agrees(propagate(&dmatrix![1.0, at], &cov)[(0, 0)].sqrt(), number(&exact["u_b30"]), 1e-9);
    let mut x = Inputs::new();
    x.add("intercept", fit.x[0], cov[(0, 0)].sqrt(), Some(dof));
    x.add("slope", fit.x[1], cov[(1, 1)].sqrt(), Some(dof));
    x.correlate(0, 1, r).unwrap();
    let b = x.evaluate(|y| vec![y[0] + y[1] * at]).unwrap().combined(0);
    agrees(b.value, number(&exact["b30"]), 1e-10);
    agrees(b.u, number(&exact["u_b30"]), 1e-9);
    near(b.u, number(&published["u_b30"]), 0.00005);
    agrees(b.dof.unwrap(), dof, 1e-9);
    assert!(b.budget.share("slope") > 1.0, "the negative correlation makes the intercept's share negative");
}

#[test]
fn g41_effective_degrees_of_freedom() {
    let c = case("gum/jcgm100.json", "G.4.1 Welch-Satterthwaite example");
    let (u, dof) = (numbers(&c["inputs"]["u_rel_percent"]), numbers(&c["inputs"]["dof"]));
    let mut x = Inputs::new();
    for i in 0..3 {
        x.add(i, 1.0, u[i] / 100.0, Some(dof[i]));
    }
    let y = x.evaluate(|x| vec![x[0] * x[1] * x[2]]).unwrap().combined(0);
    let (exact, published) = (&c["expected_full_precision"], &c["expected_published"]);
    agrees(y.u * 100.0, number(&exact["uc_rel_percent"]), EXACT);
    agrees(y.dof.unwrap(), number(&exact["nu_eff"]), EXACT);
    agrees(
        effective_dof(y.u * 100.0, [0, 1, 2].map(|i| (u[i], Some(dof[i])))).unwrap(),
        number(&exact["nu_eff"]),
        EXACT,
    );
    agrees(student_t_factor(0.95, Some(19.0)), number(&exact["t95_19"]), 1e-9);
    near(y.k, number(&published["t95"]), 0.005);
    near(y.expanded * 100.0, number(&published["U95_percent"]), 0.05);
}

#[test]
fn table_g2() {
    let c = case("gum/jcgm100.json", "Table G.2 t_p(nu)");
    let p = numbers(&c["p"]);
    let mut compared = 0;
    for row in c["rows"].as_array().unwrap() {
        let dof = row["dof"].as_f64();
        for (&p, expected) in p.iter().zip(numbers(&row["t"])) {
            // The inverse of the incomplete beta function is iterated to about 1e-10.
            agrees(student_t_factor(p, dof), expected, 1e-8);
            compared += 1;
        }
        if let Some(dof) = dof {
            near(coverage_factor(Some(dof)), numbers(&row["t"])[2].max(2.0), 1e-6);
        }
    }
    assert!(compared >= 6 * 20, "only {compared} values");
}

// ---------------------------------------------------------------------------------------------------- JCGM 101, sampled

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
    for i in 0..2 {
        near(s.symmetric[i], symmetric[i], 5.0 * s.endpoint_u[i]); // endpoint_u is an estimate itself
    }
}

#[test]
fn jcgm101_9_2_additive() {
    let unit = 3.0_f64.sqrt();
    let cases: [(&str, fn(&mut Rng, f64) -> f64, Agreement); 3] = [
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

// ------------------------------------------------------------------------------------------------ JCGM 102, several results

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
