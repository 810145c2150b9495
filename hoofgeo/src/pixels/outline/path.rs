//! The path of least cost between two pixels of a grid.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// A path over the pixels of a grid, as column and row, and what it costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// From the first pixel to the last, each a neighbour of the one before (eight neighbours).
    pub pixels: Vec<[usize; 2]>,
    /// Sum of the steps' costs.
    pub cost: f64,
}

/// The path of least cost from one pixel of a grid of `width` by `height` to another, by steps to the eight neighbours. `step` is
/// the cost from a pixel to its neighbour, which must not be negative; `None` where there is no way. `None` where the goal is not
/// reached.
///
/// E. W. Dijkstra, "A note on two problems in connexion with graphs", Numerische Mathematik 1 (1959) 269-271.
///
/// # Example: round a wall
/// ```
/// use hoofgeo::pixels::least_cost_path;
/// let wall = |[x, y]: [usize; 2]| x == 2 && y < 4;
/// let step = |from: [usize; 2], to: [usize; 2]| {
///     let diagonal = from[0] != to[0] && from[1] != to[1];
///     (!wall(to)).then_some(if diagonal { 2f64.sqrt() } else { 1.0 })
/// };
/// let path = least_cost_path([5, 5], [0, 0], [4, 0], step).expect("the lowest row is open");
/// assert!(path.pixels.contains(&[2, 4]));
/// ```
pub fn least_cost_path(
    [width, height]: [usize; 2],
    from: [usize; 2],
    to: [usize; 2],
    step: impl Fn([usize; 2], [usize; 2]) -> Option<f64>,
) -> Option<Path> {
    const NONE: u32 = u32::MAX;
    let inside = |[x, y]: [usize; 2]| x < width && y < height;
    if !inside(from) || !inside(to) || width.checked_mul(height)? >= NONE as usize {
        return None;
    }
    let number = |[x, y]: [usize; 2]| y * width + x;
    let mut least = vec![f64::INFINITY; width * height];
    let mut before = vec![NONE; width * height];
    let mut open = BinaryHeap::new();
    least[number(from)] = 0.0;
    // Costs are not negative: their bits are in the order of their values.
    open.push(Reverse((0f64.to_bits(), number(from) as u32)));
    while let Some(Reverse((bits, here))) = open.pop() {
        let cost = f64::from_bits(bits);
        if cost > least[here as usize] {
            continue;
        }
        let at = [here as usize % width, here as usize / width];
        if at == to {
            break;
        }
        for y in at[1].saturating_sub(1)..=(at[1] + 1).min(height - 1) {
            for x in at[0].saturating_sub(1)..=(at[0] + 1).min(width - 1) {
                let Some(further) = step(at, [x, y]).filter(|_| [x, y] != at) else { continue };
                let (next, sum) = (number([x, y]), cost + further);
                if sum < least[next] {
                    least[next] = sum;
                    before[next] = here;
                    open.push(Reverse((sum.to_bits(), next as u32)));
                }
            }
        }
    }
    let cost = Some(least[number(to)]).filter(|c| c.is_finite())?;
    let mut pixels = vec![to];
    let mut here = number(to);
    while here != number(from) {
        here = before[here] as usize;
        pixels.push([here % width, here / width]);
    }
    pixels.reverse();
    Some(Path { pixels, cost })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The cost of a link as general-purpose libraries define it for an array of pixel costs: their mean, times the distance.
    fn geometric(costs: &[f64], width: usize) -> impl Fn([usize; 2], [usize; 2]) -> Option<f64> + '_ {
        move |a, b| {
            let d = if a[0] != b[0] && a[1] != b[1] { 2f64.sqrt() } else { 1.0 };
            Some(0.5 * d * (costs[a[1] * width + a[0]] + costs[b[1] * width + b[0]]))
        }
    }

    proptest! {
        #[test]
        fn a_path_costs_what_its_steps_cost_and_the_same_both_ways(
            costs in proptest::collection::vec(0.0..10.0_f64, 12 * 9),
            ends in (0..12usize, 0..9usize, 0..12usize, 0..9usize),
        ) {
            let (a, b) = ([ends.0, ends.1], [ends.2, ends.3]);
            let step = geometric(&costs, 12);
            let there = least_cost_path([12, 9], a, b, &step).expect("all is open");
            let back = least_cost_path([12, 9], b, a, &step).expect("all is open");
            prop_assert!((there.cost - back.cost).abs() < 1e-9);
            let sum: f64 = there.pixels.windows(2).map(|w| step(w[0], w[1]).expect("open")).sum();
            prop_assert!((there.cost - sum).abs() < 1e-9);
            prop_assert!(there.pixels.first() == Some(&a) && there.pixels.last() == Some(&b));
            prop_assert!(there.pixels.windows(2).all(|w| w[0][0].abs_diff(w[1][0]) <= 1 && w[0][1].abs_diff(w[1][1]) <= 1));
        }
    }

    fn number(v: &serde_json::Value) -> usize {
        v.as_u64().and_then(|n| usize::try_from(n).ok()).expect("a whole number")
    }

    fn agrees_on_routes(costs: &[f64], case: &serde_json::Value) {
        let size = [number(&case["width"]), number(&case["height"])];
        for route in case["routes"].as_array().expect("routes") {
            let end = |key: &str| [number(&route[key][0]), number(&route[key][1])];
            let found = least_cost_path(size, end("from"), end("to"), geometric(costs, size[0])).expect("all is open");
            let theirs = route["cost"].as_f64().expect("a cost");
            assert!((found.cost - theirs).abs() < 1e-9 * theirs, "{route}: {}", found.cost);
        }
    }

    /// `fixtures/paths/reference.json`: scikit-image's `route_through_array` and `MCP_Geometric` on arrays of a formula, and on the gradient
    /// of a photograph of a coin: the same least costs.
    #[test]
    fn paths_cost_what_a_reference_library_finds() {
        let all: serde_json::Value =
            serde_json::from_str(include_str!("../../../../fixtures/paths/reference.json")).expect("JSON");
        for case in all["formula"].as_array().expect("cases") {
            let [width, height, seed] = ["width", "height", "seed"].map(|k| number(&case[k]));
            let value = |x: usize, y: usize| {
                1.0 + ((x * 7919 + y * 104_729 + x * y * 31 + seed * 15_485_863) % 997) as f64 / 100.0
            };
            let costs: Vec<f64> = (0..height).flat_map(|y| (0..width).map(move |x| value(x, y))).collect();
            agrees_on_routes(&costs, case);
        }
        let coin = &all["coin"];
        let costs: Vec<f64> =
            coin["costs"].as_array().expect("costs").iter().map(|c| c.as_f64().expect("a cost")).collect();
        agrees_on_routes(&costs, coin);
    }

    #[test]
    fn where_there_is_no_way_there_is_no_path() {
        let closed = |_: [usize; 2], to: [usize; 2]| (to[0] != 1).then_some(1.0);
        assert_eq!(least_cost_path([3, 3], [0, 0], [2, 2], closed), None);
        assert_eq!(least_cost_path([3, 3], [0, 0], [3, 0], closed), None, "outside the grid");
    }
}
