//! Growth rings as the lines of a sidecar: the same rings, from the same one down, at toe and heel.

use super::{RingRow, WallRings, growth_rings};
use crate::Line;
use crate::pixels::read::{CORNERS, CORNERS_NEEDED, LineRead, Photo, rounded};
use crate::pixels::{Found, Mapping, PlaneMap};
use nalgebra::Point2;

const LINES: [Line; 2] = [Line::RingsToe, Line::RingsHeel];

/// What became of the two lines of rings, and their points where they were found.
///
/// `ring_divergence` compares rings by their number from above, so that both lines must begin with the same ring: where the wall between
/// does not say which ring is which, those at the heel are left out.
pub(in crate::pixels) fn read_rings(photo: &Photo<'_>) -> [LineRead; 2] {
    let drawn = LINES.map(|l| photo.is_kept(l));
    let [Some(a), Some(b), Some(c), Some(d)] = CORNERS.map(|l| photo.pixel(l)) else {
        return [0, 1].map(|k| (LINES[k], if drawn[k] { Found::Kept } else { Found::Needs(CORNERS_NEEDED) }, None));
    };
    if drawn == [true, true] {
        return LINES.map(|l| (l, Found::Kept, None));
    }
    if let Some(slant) = photo.slant() {
        let why = format!(
            "the camera looks at a slant of {slant:.0}°, where the wall's edges are not those of toe and heel: stand square to the foot"
        );
        return [0, 1].map(|k| (LINES[k], if drawn[k] { Found::Kept } else { Found::NotSeen(why.clone()) }, None));
    }
    let maps = LINES.map(|l| photo.map(l.info().plane));
    let seen = growth_rings(photo.grey, [&maps[0], &maps[1]], [a, b, c, d]);
    let depths = |k: usize| depths(&photo.sidecar.lines[&LINES[k]], &maps[k], [[a, b], [c, d]][k]);
    let take = match drawn {
        [true, _] => [None, seen.heel.as_ref().ok().and_then(|row| after_toe(&seen, row, &depths(0)))],
        [_, true] => [seen.toe.as_ref().ok().and_then(|row| after_heel(&seen, row, &depths(1))), None],
        _ => both(&seen),
    };
    let rows = [seen.toe, seen.heel];
    let mut rows =
        rows.into_iter().zip(take).zip(LINES).zip(drawn).map(|(((row, take), line), drawn)| match (row, take) {
            _ if drawn => (line, Found::Kept, None),
            (Ok(row), Some(range)) => {
                let points = row.rings[range.clone()].iter().map(|r| rounded(r.at)).collect();
                (line, Found::Rings(Box::new(RingRow { whole: range, ..row })), Some(points))
            }
            (Ok(row), None) => {
                let n = row.rings.len();
                (
                    line,
                    Found::NotSeen(format!("{n} rings are seen, but not which of them are those at the other end")),
                    None,
                )
            }
            (Err(why), _) => (line, Found::NotSeen(why.to_string()), None),
        });
    std::array::from_fn(|k| rows.next().unwrap_or((LINES[k], Found::Needs(CORNERS_NEEDED), None)))
}

type Part = Option<std::ops::Range<usize>>;

/// The parts of both rows that begin with the same ring.
fn both(seen: &WallRings) -> [Part; 2] {
    match (&seen.toe, &seen.heel) {
        (Ok(toe), Ok(heel)) => {
            let inside = |(i, k): &(usize, usize)| toe.whole.contains(i) && heel.whole.contains(k);
            let pairs: Vec<(usize, usize)> = seen.pairs.iter().copied().filter(inside).collect();
            let agree = pairs.windows(2).all(|w| (w[1].0 - w[0].0, w[1].1.wrapping_sub(w[0].1)) == (1, 1));
            match pairs.first() {
                Some((i, k)) if agree && pairs.len() > 1 => [Some(*i..toe.whole.end), Some(*k..heel.whole.end)],
                _ => [Some(toe.whole.clone()), None],
            }
        }
        (toe, heel) => [toe, heel].map(|r| r.as_ref().ok().map(|r| r.whole.clone())),
    }
}

/// The rings of the heel that are those drawn at the toe, from the first one on.
fn after_toe(seen: &WallRings, heel: &RingRow, toe: &[f64]) -> Part {
    let first = nearest(heel, seen.heel_depth(*toe.first()?)?)?;
    let known = heel.whole.end.min(first + toe.len());
    let follows = |k: usize| seen.heel_depth(toe[k - first]).and_then(|d| nearest(heel, d)) == Some(k);
    (heel.whole.contains(&first) && known > first + 1 && (first..known).all(follows)).then_some(first..known)
}

/// The rings of the toe that are those drawn at the heel, from the first one on, and those below.
fn after_heel(seen: &WallRings, toe: &RingRow, heel: &[f64]) -> Part {
    let spacing = seen.heel.as_ref().map_or_else(|_| toe.spacing_mm().0, |h| h.spacing_mm().0);
    let is = |k: usize, depth: f64| {
        seen.heel_depth(toe.rings[k].below_mm).is_some_and(|d| (d - depth).abs() < 0.38 * spacing)
    };
    let first = toe.whole.clone().find(|k| is(*k, heel[0]))?;
    let known = toe.whole.end.min(first + heel.len());
    (known > first + 1 && (first..known).all(|k| is(k, heel[k - first]))).then_some(first..toe.whole.end)
}

fn nearest(row: &RingRow, depth: f64) -> Option<usize> {
    let off = |k: &usize| (row.rings[*k].below_mm - depth).abs();
    let k = (0..row.rings.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(&k) < 0.38 * row.spacing_mm().0).then_some(k)
}

/// How deep drawn points lie below the coronet along the wall, mm.
fn depths(points: &[[f64; 2]], map: &PlaneMap, [coronet, ground]: [Point2<f64>; 2]) -> Vec<f64> {
    let Some((top, low)) = map.place(coronet).zip(map.place(ground)) else { return Vec::new() };
    let Some(down) = (low - top).try_normalize(1e-9) else { return Vec::new() };
    points.iter().filter_map(|p| map.place(Point2::from(*p))).map(|p| (p - top).dot(&down)).collect()
}
