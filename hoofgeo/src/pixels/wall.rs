//! The dorsal wall's outline against what lies behind it, and the wall's line, bow and flare from it.

use super::fit::EdgeFit;
use super::gradient::noise;
use super::{EdgeOptions, EdgePoint, Grey, Mapping, chain, edges_along};
use nalgebra::{Point2, Vector2};
use std::fmt;

/// Where edges are looked for, as shares of the wall from coronet to ground: hair and mud lie beyond (chosen).
const SHARES: [f64; 2] = [0.06, 0.94];
/// Stations.
const STATIONS: usize = 37;
/// How far from the line between the two landmarks, mm: a flare of 10° bows the wall by 4 mm, a click is 1 mm off.
const REACH_MM: f64 = 5.0;
/// A wall bends less from one station to the next; second differences above this are another edge, mm (chosen on rendered feet).
const BEND_MM: f64 = 0.15;
/// Most stations that may bend more. Right outlines of rendered feet had up to 5 %, wrong ones 25 % and more.
const BENT: f64 = 0.1;

/// Whole thirds of an outline may be off by this on their own, mm: mud, hair, a shadow along the wall (chosen on rendered feet).
const SYSTEMATIC_MM: f64 = 0.1;

/// A wall's line in the plane, from above down, with how it bends.
#[derive(Debug, Clone, PartialEq)]
pub struct WallFit {
    /// The straight line that fits best, mm, and its bow.
    pub line: EdgeFit,
    /// Mean curvature, 1/mm; positive where the wall is hollow in front, as a flared one is.
    pub curvature: f64,
    /// Its standard uncertainty.
    pub u_curvature: f64,
    /// Direction of the upper third minus that of the lower one, rad; positive where the lower part lies flatter.
    pub flare: f64,
    /// Its standard uncertainty.
    pub u_flare: f64,
}

/// The wall's line from its outline, in the plane; `forwards` points about where the toe does, in the plane. `None` where too few points
/// are left to fit a line and its thirds.
pub fn wall_fit(outline: &[EdgePoint], map: &dyn Mapping, forwards: Vector2<f64>) -> Option<WallFit> {
    let places: Vec<Point2<f64>> = outline.iter().map(|e| map.place(e.at)).collect::<Option<_>>()?;
    let line = EdgeFit::new(&places, 4, SYSTEMATIC_MM)?;
    let third = places.len() / 3;
    // Parts of a third are short enough to be off by less.
    let upper = EdgeFit::new(&places[..third], 1, SYSTEMATIC_MM / 2.0)?;
    let lower = EdgeFit::new(&places[places.len() - third..], 1, SYSTEMATIC_MM / 2.0)?;
    // Down the wall, forwards lies to one side; what turns there lies flatter.
    let side = line.along.perp(&forwards).signum();
    let flare = side * upper.along.perp(&lower.along).atan2(upper.along.dot(&lower.along));
    Some(WallFit {
        curvature: side * line.curvature,
        u_curvature: line.u_curvature,
        flare,
        u_flare: upper.u_direction.hypot(lower.u_direction),
        line,
    })
}

/// Why a wall's outline was not found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoOutline {
    /// Too few stations show an edge.
    NoEdge,
    /// What was found is not smooth: the wall hardly stands out from the background.
    NotSmooth,
}

impl fmt::Display for NoOutline {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoEdge => "the wall's outline shows no edge between its two landmarks: check them",
            Self::NotSmooth => "the wall hardly stands out: put a plain, lighter or darker board behind the foot",
        })
    }
}

/// The outline of a wall between its landmarks at the coronet and at the ground, px, from above down, at 37 stations at most.
/// `px_per_mm` is the magnification there. No point lies farther than 5 mm from the line between the landmarks.
///
/// # Errors
/// [`NoOutline`] where no smooth edge is found: a wrong outline is worse than none.
pub fn wall_outline(
    grey: &Grey,
    coronet: Point2<f64>,
    ground: Point2<f64>,
    px_per_mm: f64,
) -> Result<Vec<EdgePoint>, NoOutline> {
    let down = ground - coronet;
    let normal = Vector2::new(-down.y, down.x).try_normalize(1e-9).ok_or(NoOutline::NoEdge)?;
    let margin = Vector2::repeat(REACH_MM * px_per_mm);
    let (low, high) = (coronet.inf(&ground) - margin, coronet.sup(&ground) + margin);
    let options = EdgeOptions {
        reach: REACH_MM * px_per_mm,
        sigma: (0.15 * px_per_mm).max(1.2),
        band: 0.4 * px_per_mm,
        noise: noise(grey, low, high),
    };
    let stations: Vec<Vec<EdgePoint>> = (0..STATIONS)
        .map(|i| SHARES[0] + (SHARES[1] - SHARES[0]) * i as f64 / (STATIONS - 1) as f64)
        .map(|t| edges_along(grey, coronet + down * t, normal, &options))
        .collect();
    let found = chain(&stations, px_per_mm).ok_or(NoOutline::NoEdge)?;
    let bends = found.windows(3).map(|w| (w[0].offset - 2.0 * w[1].offset + w[2].offset).abs() / px_per_mm);
    let bent = bends.filter(|b| *b > BEND_MM).count();
    if bent as f64 > BENT * (found.len() - 2) as f64 { Err(NoOutline::NotSmooth) } else { Ok(found) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wall from (100, 20) to (40, 280) that bows by up to 12 px, on a background `contrast` brighter, with grain and stripes.
    fn photo(contrast: f64, grain: f64) -> Grey {
        let value = |x: u32, y: u32| {
            let t = (f64::from(y) + 0.5 - 20.0) / 260.0;
            let edge = 100.0 - 60.0 * t + 48.0 * t * (1.0 - t);
            let h = (x.wrapping_mul(0x8da6_b343) ^ y.wrapping_mul(0xd816_3841)).wrapping_mul(0x2c1b_3c6d);
            let noise = f64::from((h ^ (h >> 15)).wrapping_mul(0x297a_2d39) >> 8) / f64::from(1 << 24) - 0.5;
            let stripes = 2.5 * (f64::from(x) * 0.9).sin();
            let outside = 1.0 / (1.0 + ((f64::from(x) + 0.5 - edge) / 0.7).exp());
            (80.0 + contrast * outside + stripes * (1.0 - outside) + 2.0 * grain * noise) as f32
        };
        let values = (0..300).flat_map(|y| (0..200).map(move |x| value(x, y))).collect();
        Grey::from_values(200, 300, values).expect("200 by 300")
    }

    #[test]
    fn a_bowed_wall_is_followed_and_a_hidden_one_refused() {
        let (coronet, ground) = (Point2::new(102.0, 20.0), Point2::new(39.0, 280.0));
        let found = wall_outline(&photo(70.0, 8.0), coronet, ground, 5.0).expect("an outline");
        assert_eq!(found.len(), STATIONS);
        for e in &found {
            let t = (e.at.y - 20.0) / 260.0;
            let off = e.at.x - (100.0 - 60.0 * t + 48.0 * t * (1.0 - t));
            assert!(off.abs() < 0.35, "{e:?}: {off} px");
        }
        assert!(wall_outline(&photo(0.0, 20.0), coronet, ground, 5.0).is_err(), "nothing but texture");
        assert_eq!(wall_outline(&photo(0.0, 0.0), ground, ground, 5.0), Err(NoOutline::NoEdge));
    }
}
