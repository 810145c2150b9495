//! Edges to a fraction of a pixel, along a line across them, and the chain of edges that follows a wall.

use super::Grey;
use super::gradient::{kernels, median, vertex};
use nalgebra::{Point2, Vector2};
use std::f64::consts::PI;

/// Steps of a profile to a pixel.
const STEPS: f64 = 2.0;

/// One edge on a profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePoint {
    /// Where it is, px.
    pub at: Point2<f64>,
    /// Distance along the normal from where it was looked for, px.
    pub offset: f64,
    /// Its slope, brightness per px; positive where it grows brighter along the normal.
    pub slope: f64,
    /// Standard uncertainty of the place across the edge from the noise, px.
    pub u_px: f64,
}

/// How to look for an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeOptions {
    /// How far to either side, px.
    pub reach: f64,
    /// Standard deviation of the derivative filter, px.
    pub sigma: f64,
    /// Half width of the band that is averaged along the edge, px.
    pub band: f64,
    /// Standard deviation of a pixel's noise.
    pub noise: f64,
}

/// The edges on the line through `at` along `normal`, in their order on it; those that noise alone makes are left out.
///
/// The brightness is averaged along the edge and filtered by the derivative of a Gaussian; a blurred step answers with a bell,
/// whose middle the parabola through the logarithms of its three highest values gives exactly. The uncertainty is Canny's
/// localisation for a step in white noise (J. Canny, "A computational approach to edge detection", IEEE Trans. PAMI 8 (1986)
/// 679-698).
pub fn edges_along(grey: &Grey, at: Point2<f64>, normal: Vector2<f64>, options: &EdgeOptions) -> Vec<EdgePoint> {
    let Some(normal) = normal.try_normalize(1e-9) else { return Vec::new() };
    let along = Vector2::new(-normal.y, normal.x);
    let sigma = options.sigma.max(0.7);
    let (_, slope) = kernels(sigma * STEPS);
    let margin = (slope.len() / 2) as i64;
    let reach = (options.reach * STEPS).ceil() as i64;
    let rows = options.band.max(0.0).round() as i64;
    let mut profile = Vec::with_capacity((2 * (reach + margin) + 1) as usize);
    for i in -(reach + margin)..=reach + margin {
        let middle = at + normal * (i as f64 / STEPS);
        let values = (-rows..=rows).map(|r| grey.sample(middle + along * r as f64));
        let Some(sum) = values.sum::<Option<f64>>() else { return Vec::new() };
        profile.push(sum / (2 * rows + 1) as f64);
    }
    let answers: Vec<f64> = (0..=2 * reach as usize)
        .map(|i| STEPS * slope.iter().zip(&profile[i..]).map(|(k, v)| k * v).sum::<f64>())
        .collect();
    // White noise through a Gaussian derivative: its standard deviation, and that of the answer's slope.
    let white = options.noise.max(1.0 / 12f64.sqrt()) / ((2 * rows + 1) as f64).sqrt();
    let (noise, noise_slope) =
        (white / (4.0 * PI.sqrt() * sigma.powi(3)).sqrt(), white * (3.0 / (8.0 * PI.sqrt() * sigma.powi(5))).sqrt());
    let mut found = Vec::new();
    for i in 1..answers.len().saturating_sub(1) {
        let [a, b, c] = [i - 1, i, i + 1].map(|k| answers[k].abs());
        let one_sign = answers[i - 1] * answers[i] > 0.0 && answers[i + 1] * answers[i] > 0.0;
        if !(one_sign && b >= a && b > c && b > 5.0 * noise) {
            continue;
        }
        let (la, lb, lc) = (a.ln(), b.ln(), c.ln());
        let bend = la - 2.0 * lb + lc;
        let offset = (i as f64 - reach as f64 + vertex(la, lb, lc)) / STEPS;
        // The bell's second derivative at its top, per px³.
        let curvature = b * bend.abs() * STEPS * STEPS;
        found.push(EdgePoint { at: at + normal * offset, offset, slope: answers[i], u_px: noise_slope / curvature });
    }
    found
}

/// The chain of edges, one a station, that is strong and smooth and of one polarity: least cost by dynamic programming over the
/// candidates of neighbouring stations (A. A. Amini, T. E. Weymouth and R. C. Jain, "Using dynamic programming for solving
/// variational problems in vision", IEEE Trans. PAMI 12 (1990) 855-867). `None` where a fifth of the stations show no edge.
pub fn chain(stations: &[Vec<EdgePoint>], stiffness_px: f64) -> Option<Vec<EdgePoint>> {
    [1.0, -1.0]
        .into_iter()
        .filter_map(|sign| one_polarity(stations, stiffness_px, sign))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|c| c.0)
}

fn one_polarity(stations: &[Vec<EdgePoint>], stiffness_px: f64, sign: f64) -> Option<(Vec<EdgePoint>, f64)> {
    let kept: Vec<Vec<EdgePoint>> =
        stations.iter().map(|s| s.iter().copied().filter(|e| e.slope * sign > 0.0).collect()).collect();
    let used: Vec<&Vec<EdgePoint>> = kept.iter().filter(|s: &&Vec<_>| !s.is_empty()).collect();
    if used.len() < 3 || used.len() * 5 < stations.len() * 4 {
        return None;
    }
    let mut strongest: Vec<f64> =
        stations.iter().map(|s| s.iter().map(|e| e.slope.abs()).fold(0.0, f64::max)).collect();
    let typical = median(&mut strongest).filter(|m| *m > 0.0)?;
    let own = |e: &EdgePoint| 1.0 / (0.1 + e.slope.abs() / typical);
    let mut costs: Vec<Vec<(f64, usize)>> = vec![used[0].iter().map(|e| (own(e), 0)).collect()];
    for pair in used.windows(2) {
        let before = costs.last()?;
        let row = pair[1]
            .iter()
            .map(|e| {
                let step =
                    |(k, p): (usize, &EdgePoint)| (before[k].0 + ((e.offset - p.offset) / stiffness_px).powi(2), k);
                let (cost, from) =
                    pair[0].iter().enumerate().map(step).fold((f64::MAX, 0), |m, c| if c.0 < m.0 { c } else { m });
                (cost + own(e), from)
            })
            .collect();
        costs.push(row);
    }
    let last = costs.last()?;
    let mut here = (0..last.len()).min_by(|a, b| last[*a].0.total_cmp(&last[*b].0))?;
    let total = last[here].0 / used.len() as f64;
    let mut chain = Vec::with_capacity(used.len());
    for k in (0..used.len()).rev() {
        chain.push(used[k][here]);
        here = costs[k][here].1;
    }
    chain.reverse();
    Some((chain, total))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(v: &serde_json::Value) -> f64 {
        v.as_f64().expect("number")
    }

    fn options(noise: f64, band: f64) -> EdgeOptions {
        EdgeOptions { reach: 6.0, sigma: 1.5, band, noise }
    }

    /// The blurred steps of `fixtures/shapes/shapes.json`: closed form, with the error of a plain parabola (up to 0.07 px) beside it.
    #[test]
    fn blurred_steps_are_found_where_they_are() {
        let text = include_str!("../../../fixtures/shapes/shapes.json");
        let all: serde_json::Value = serde_json::from_str(text).expect("JSON");
        let cases = all.as_array().or_else(|| all["cases"].as_array()).expect("cases");
        let steps =
            cases.iter().find(|c| c["id"].as_str().is_some_and(|id| id.starts_with("sub-pixel"))).expect("steps");
        for row in steps["rows"].as_array().expect("rows") {
            let (truth, blur) = (number(&row["true"]), number(&row["sigma"]));
            let step = |x: f64| statrs::function::erf::erf((x - truth) / (blur * std::f64::consts::SQRT_2));
            // The fixture counts from the middle of the first pixel.
            let values = (0..30).flat_map(|_| (0..40).map(|x| (100.0 + 80.0 * step(f64::from(x))) as f32)).collect();
            let grey = Grey::from_values(40, 30, values).expect("40 by 30");
            let found = edges_along(&grey, Point2::new(20.0 - 8.0, 15.5), Vector2::x(), &options(0.0, 2.0));
            assert_eq!(found.len(), 1, "{truth} {blur}: {found:?}");
            assert!((found[0].at.x - 0.5 - truth).abs() < 0.004, "{truth} {blur}: {}", found[0].at.x - 0.5);
        }
    }

    #[test]
    fn the_uncertainty_is_the_scatter_in_noise() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(4);
        let (mut squares, mut stated, n) = (0.0, 0.0, 400);
        for _ in 0..n {
            let values = (0..15).flat_map(|_| 0..40).map(|x| {
                let noise: f64 = StandardNormal.sample(&mut rng);
                let step = statrs::function::erf::erf((f64::from(x) + 0.5 - 20.3) / (1.1 * std::f64::consts::SQRT_2));
                (100.0 + 30.0 * step + 5.0 * noise) as f32
            });
            let grey = Grey::from_values(40, 15, values.collect()).expect("40 by 15");
            let found = edges_along(&grey, Point2::new(20.0, 7.5), Vector2::x(), &options(5.0, 2.0));
            let best = found.iter().max_by(|a, b| a.slope.total_cmp(&b.slope)).expect("an edge of 12 times the noise");
            squares += (best.at.x - 20.3).powi(2);
            stated += best.u_px.powi(2);
        }
        let ratio = (squares / stated).sqrt();
        // 400 draws give a standard deviation within 3.5 %; interpolation between pixels smooths a little.
        assert!((0.85..1.12).contains(&ratio), "scatter over stated: {ratio}");
    }
}
