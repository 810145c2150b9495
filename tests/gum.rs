//! The Guide's own examples (JCGM 100:2008, annexes G and H) through the project's own uncertainty code.
//!
//! Provenance of every number: `fixtures/gum/SOURCE.md`.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{agrees, case, end_gauge, near, number, numbers, rows};
use hoofgeo::numeric::{LeastSquares, Options, covariance, minimise};
use hoofgeo::uncertainty::{
    Agreement, Inputs, NormalVector, Summary, coverage_factor, draw_blocks, effective_dof, propagate, student_t_factor,
};
use nalgebra::{DMatrix, DVector, dmatrix};
use num_dual::DualNum;
use serde_json::Value;

/// Full-precision values were computed with 40 digits; this leaves room for rounding alone.
const EXACT: f64 = 1e-12;

/// H.1's nine inputs, in the order of `end_gauge`.
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
        1_000_000,
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
    for (i, row) in covariances.iter().enumerate() {
        for (j, expected) in row.iter().enumerate() {
            agrees(y.covariance[(i, j)], *expected, 1e-9);
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
