//! Whether a row of points can be a line or a closed outline.

use super::fault::Fault;

/// Enough points, no two neighbours the same, and a closed outline that does not cross itself.
pub(super) fn check(points: &[[f64; 2]], closed: bool) -> Result<(), Fault> {
    let (least, what) = if closed { (3, "a closed outline") } else { (2, "a line") };
    if points.len() < least {
        let are = if points.len() == 1 { "is" } else { "are" };
        return Err(Fault::new(format!("{what} needs at least {least} points, here {are} {}", points.len())));
    }
    for (i, pair) in points.windows(2).enumerate() {
        if pair[0] == pair[1] {
            return Err(Fault::new(format!("points [{i}] and [{}] are the same", i + 1)).within(i + 1));
        }
    }
    if !closed {
        return Ok(());
    }
    if points.first() == points.last() {
        return Err(Fault::new("the last point repeats the first")
            .help("leave it out: the outline closes by itself")
            .within(points.len() - 1));
    }
    match crossing(points) {
        Some((i, j)) => {
            let n = points.len();
            Err(Fault::new(format!(
                "the outline crosses itself: its segment [{i}] to [{}] meets the one from [{j}] to [{}]",
                i + 1,
                (j + 1) % n
            ))
            .help("give the points in their order along the edge")
            .within(j))
        }
        None => Ok(()),
    }
}

/// The first two segments of a closed outline, `i < j`, that meet where they should not.
fn crossing(points: &[[f64; 2]]) -> Option<(usize, usize)> {
    let n = points.len();
    let segment = |i: usize| (points[i], points[(i + 1) % n]);
    for i in 0..n {
        let a = segment(i);
        for j in i + 1..n {
            let b = segment(j);
            let meets = if j == i + 1 {
                turns_back(a.0, a.1, b.1)
            } else if (j + 1) % n == i {
                turns_back(b.0, b.1, a.1)
            } else {
                meet(a, b)
            };
            if meets {
                return Some((i, j));
            }
        }
    }
    None
}

/// Twice the signed area of a triangle: which side of a-b the point c lies on.
fn side(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether b-c runs back over a-b.
fn turns_back(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> bool {
    side(a, b, c) == 0.0 && (a[0] - b[0]) * (c[0] - b[0]) + (a[1] - b[1]) * (c[1] - b[1]) > 0.0
}

/// Whether two segments share a point.
fn meet((a, b): ([f64; 2], [f64; 2]), (c, d): ([f64; 2], [f64; 2])) -> bool {
    // Boxes first: nearly all pairs of an outline are told apart by them.
    for k in 0..2 {
        if a[k].max(b[k]) < c[k].min(d[k]) || c[k].max(d[k]) < a[k].min(b[k]) {
            return false;
        }
    }
    let opposite = |p: f64, q: f64| (p <= 0.0 && q >= 0.0) || (p >= 0.0 && q <= 0.0);
    opposite(side(a, b, c), side(a, b, d)) && opposite(side(c, d, a), side(c, d, b))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Points in order of their angle round a centre make a star-shaped outline, which never crosses itself;
        /// exchanging two points that are not neighbours of a convex one makes it cross.
        #[test]
        fn ordered_round_a_centre(n in 5usize..40, shift in 0usize..40, radii in prop::collection::vec(0.5f64..1.0, 40)) {
            let angle = |i: usize| std::f64::consts::TAU * i as f64 / n as f64;
            let star: Vec<_> = (0..n).map(|i| [radii[i] * angle(i).cos(), radii[i] * angle(i).sin()]).collect();
            prop_assert!(check(&star, true).is_ok());
            let mut convex: Vec<_> = (0..n).map(|i| [angle(i).cos(), angle(i).sin()]).collect();
            let i = shift % n;
            convex.swap(i, (i + 2) % n);
            prop_assert!(check(&convex, true).is_err());
        }
    }

    #[test]
    fn a_spike_and_a_touch_are_faults() {
        assert!(check(&[[0.0, 0.0], [4.0, 0.0], [2.0, 0.0], [2.0, 3.0]], true).is_err());
        assert!(check(&[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [2.0, 0.0], [0.0, 4.0]], true).is_err());
        assert!(check(&[[0.0, 0.0], [4.0, 0.0], [8.0, 0.0], [4.0, 5.0]], true).is_ok());
    }
}
