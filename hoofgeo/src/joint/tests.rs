#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::measured::{MeasureOptions, Measured, measure};
use crate::scene::LensPrior;
use crate::sidecar::Sidecar;

/// A foot from the side with a drawn wall, and one from the sole with its outline.
const SIDECARS: [&str; 2] = [
    r#"{ "format": "hoofgeo-sidecar/1", "photo": { "file": "a.jpg", "width_px": 4000, "height_px": 3000 },
        "subject": { "foot": "LF" }, "view": "lateral", "side": "lateral",
        "scale": { "kind": "straight_ruler", "tilt_u_deg": 1.0, "points": [
            { "mm": 0, "at": [1000, 2500] }, { "mm": 50, "at": [1500, 2500] }, { "mm": 100, "at": [2000, 2500] },
            { "mm": 200, "at": [3000, 2500] } ] },
        "planes": { "measured": { "u_mm": 3, "tilt_u_deg": 1 }, "near_heel": { "behind_scale_mm": -30, "u_mm": 4, "tilt_u_deg": 1 } },
        "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "toe_ground": { "at": [1200, 2400] },
            "heel_coronet": { "at": [2659, 2150] }, "heel_ground": { "at": [2400, 2400] },
            "ground_front": { "at": [900, 2401] }, "ground_back": { "at": [2900, 2399] } },
        "lines": { "dorsal_wall": [[1723, 1730], [1600, 1890], [1480, 2040], [1340, 2222], [1200, 2400]] },
        "gauge": { "heel_above_sole_plane_mm": { "lateral": 3.0, "u_mm": 0.5 } } }"#,
    r#"{ "format": "hoofgeo-sidecar/1", "photo": { "file": "a.jpg", "width_px": 4000, "height_px": 3000 },
        "subject": { "foot": "LF" }, "view": "solar",
        "scale": { "kind": "straight_ruler", "tilt_u_deg": 1.0, "points": [
            { "mm": 0, "at": [1000, 2500] }, { "mm": 50, "at": [1500, 2500] }, { "mm": 100, "at": [2000, 2500] },
            { "mm": 200, "at": [3000, 2500] } ] },
        "planes": { "measured": { "u_mm": 3, "tilt_u_deg": 1 }, "sole": { "behind_scale_mm": 12, "u_mm": 3, "tilt_u_deg": 1 } },
        "landmarks": { "frog_apex": { "at": [2000, 1500] }, "central_sulcus": { "at": [2000, 2300] },
            "toe_outer": { "at": [2000, 1000] }, "widest_medial": { "at": [1400, 1650] }, "widest_lateral": { "at": [2620, 1650] },
            "heel_medial": { "at": [1560, 2310] }, "heel_lateral": { "at": [2450, 2310] } },
        "lines": { "outer_wall": [[2000, 1000], [2500, 1300], [2620, 1650], [2450, 2310], [1560, 2310], [1400, 1650], [1530, 1290]] } }"#,
];

fn measured(text: &str) -> Measured {
    let sidecar = Sidecar::parse(text, None).unwrap();
    measure(&sidecar, &LensPrior::exif((4000, 3000), 3000.0), &MeasureOptions::default()).unwrap()
}

/// The two ways to a value's own uncertainty are one sum.
#[test]
fn the_diagonal_holds_the_squares_of_u() {
    for text in SIDECARS {
        let m = measured(text);
        let responses: Vec<_> =
            m.values.iter().map(|v| Response::of_value(v, &m.located, &m.scene.covariance)).collect();
        let c = matrix(&responses, &m.located, &m.scene);
        assert!(m.values.len() > 5);
        for (i, v) in m.values.iter().enumerate() {
            assert!((c[(i, i)].sqrt() / v.u - 1.0).abs() < 1e-9, "{}: {} {}", v.measurement.id, c[(i, i)].sqrt(), v.u);
        }
        // A covariance: no combination of values has a negative variance.
        let d = DMatrix::from_diagonal(&c.diagonal().map(|v| 1.0 / v.sqrt()));
        let least = (&d * &c * &d).symmetric_eigenvalues().min();
        assert!(least > -1e-9, "{least}");
    }
}

/// What follows from two values has the uncertainty that a formula of its own has: toe minus heel, and the ratio of the two lengths.
#[test]
fn a_difference_has_the_uncertainty_of_its_formula() {
    let m = measured(SIDECARS[0]);
    let c = covariance(&m.values, &m.located, &m.scene);
    let of = |id: &str| m.values.iter().position(|v| v.measurement.id == id).unwrap();
    let (toe, heel, difference) = (of("dorsal_wall_angle"), of("heel_angle"), of("heel_toe_angle_difference"));
    let variance = c[(toe, toe)] + c[(heel, heel)] - 2.0 * c[(toe, heel)];
    assert!((variance.sqrt() / m.values[difference].u - 1.0).abs() < 1e-6);
    let (length, heel, ratio) = (of("dorsal_wall_length"), of("heel_length"), of("heel_toe_length_ratio"));
    let (a, b) = (m.values[heel].value, m.values[length].value);
    let gradient = [(heel, 1.0 / b), (length, -a / (b * b))];
    let variance: f64 = gradient.iter().flat_map(|(i, g)| gradient.map(|(j, h)| g * h * c[(*i, j)])).sum();
    // To first order in the ratio alone.
    assert!((variance.sqrt() / m.values[ratio].u - 1.0).abs() < 0.02);
}

/// The draws scatter, and hang together, as the covariance says.
#[test]
fn draws_hang_together_as_the_covariance_says() {
    const N: usize = 40_000;
    for text in SIDECARS {
        let m = measured(text);
        let c = covariance(&m.values, &m.located, &m.scene);
        let drawn = draws(&m.values, &m.located, &m.scene, N, 7).unwrap();
        let whole: Vec<usize> = (0..N).filter(|k| drawn.iter().all(|v| v[*k].is_finite())).collect();
        assert!(whole.len() > N * 99 / 100);
        let mean: Vec<f64> =
            drawn.iter().map(|v| whole.iter().map(|k| v[*k]).sum::<f64>() / whole.len() as f64).collect();
        let sample = |i: usize, j: usize| {
            let products = whole.iter().map(|k| (drawn[i][*k] - mean[i]) * (drawn[j][*k] - mean[j]));
            products.sum::<f64>() / whole.len() as f64
        };
        for (i, a) in m.values.iter().enumerate() {
            for (j, b) in m.values.iter().enumerate().take(i) {
                let ids = [a.measurement.id, b.measurement.id];
                // Points that formulas pick (where flare starts, thirds of a wall) bend too much for a linear result.
                if ids.iter().any(|id| id.contains("flare") || id.contains("excess")) {
                    continue;
                }
                let drawn = sample(i, j) / (sample(i, i) * sample(j, j)).sqrt();
                let linear = c[(i, j)] / (c[(i, i)] * c[(j, j)]).sqrt();
                // A correlation of 40 000 draws has a standard deviation of 0.005 at most; the rest is curvature.
                assert!((drawn - linear).abs() < 0.04, "{ids:?}: {drawn} {linear}");
            }
        }
    }
}

/// Points' covariances are those of their draws; what all have in common takes no part in their distance.
#[test]
fn points_scatter_as_stated_and_move_together() {
    const N: usize = 40_000;
    let m = measured(SIDECARS[0]);
    let all = points(&m.located, &m.scene);
    assert_eq!(all.len(), 6 + 5);
    assert_eq!(all[6].name, PointName::Line(Line::DorsalWall, 1));
    let landmarks = landmark_covariance(&m.located, &m.scene);
    for (i, p) in all.iter().take(6).enumerate() {
        let own = landmarks.fixed_view::<2, 2>(2 * i, 2 * i);
        assert!((own - p.covariance).norm() < 1e-9 * p.covariance.norm());
    }
    let indices: Vec<usize> = super::landmarks(&m.located).map(|(_, i)| i).collect();
    let at = |p: &Placed<'_, f64>, out: &mut [f64]| {
        for (k, (l, _)) in super::landmarks(&m.located).enumerate() {
            let p = p.at(l).unwrap();
            out[2 * k] = p.x;
            out[2 * k + 1] = p.y;
        }
    };
    let drawn = sample(&m.located, &m.scene, N, 3, 12, &|p, _, out| at(p, out)).unwrap();
    assert_eq!(indices.len(), 6);
    let mean: Vec<f64> = drawn.iter().map(|v| v.iter().sum::<f64>() / N as f64).collect();
    for i in 0..12 {
        for j in 0..12 {
            let c: f64 = (0..N).map(|k| (drawn[i][k] - mean[i]) * (drawn[j][k] - mean[j])).sum::<f64>() / N as f64;
            let scale = (landmarks[(i, i)] * landmarks[(j, j)]).sqrt();
            assert!((c - landmarks[(i, j)]).abs() < 0.04 * scale, "{i} {j}: {c} {}", landmarks[(i, j)]);
        }
    }
}
