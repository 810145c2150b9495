//! Wrong labels: a factor that all of them are off by, and what three graduations cannot show.

use super::{Doubt, Finding, Looks, look};
use crate::error::Result;
use crate::located::Located;
use crate::scale::Graduation;
use crate::scene::{Scene, SceneInput};
use crate::sidecar::Sidecar;
use nalgebra::Vector2;

/// Factors that labels are off by in practice, and what was read for millimetres.
const FACTORS: [(f64, &str); 6] = [
    (10.0, "centimetres"),
    (25.4, "inches"),
    (2.54, "tenths of an inch taken for half centimetres, or inches for centimetres,"),
    (0.1, "tenths of a millimetre"),
    (1.0 / 25.4, "1/25.4 inch"),
    (1.0 / 2.54, "centimetres taken for inches"),
];

/// Gives the scene and the landmarks' places by other graduations.
type Locate<'a> = dyn Fn(&[Graduation]) -> Result<(Scene, Located)> + 'a;

/// What is wrong with the labels of a foot of no possible size: the factor with which the photo shows one.
pub(crate) fn wrong_factor(
    sidecar: &Sidecar,
    graduations: &[Graduation],
    size: Option<f64>,
    locate: &Locate<'_>,
) -> Option<Finding> {
    let fits = |factor: f64| {
        let other: Vec<Graduation> =
            graduations.iter().map(|g| Graduation { label: (g.label.coords * factor).into(), ..*g }).collect();
        let (_, located) = locate(&other).ok()?;
        match look(sidecar, &located) {
            // Of several factors the one without other doubts.
            Looks::Foot(findings) => Some(findings.len()),
            _ => None,
        }
    };
    let fitting: Vec<(usize, f64, &str)> =
        FACTORS.into_iter().filter_map(|(factor, unit)| fits(factor).map(|doubts| (doubts, factor, unit))).collect();
    let least = fitting.iter().map(|f| f.0).min();
    // A large foot in centimetres and a small one in inches look alike: all that fit are named.
    let best: Vec<(f64, &str)> = fitting.iter().filter(|f| Some(f.0) == least).map(|f| (f.1, f.2)).collect();
    let seen = size.map_or_else(
        || "by the graduations' labels no landmark has a place".to_owned(),
        |s| format!("by the graduations' labels the foot is some {} mm long, which no foot is", round(125.0 * s)),
    );
    let (help, factor) = match best.first() {
        Some((first, _)) => {
            let times = best.iter().map(|(factor, _)| match *factor {
                f if f >= 1.0 => format!("times {f}"),
                f => format!("divided by {}", round(1.0 / f)),
            });
            let units = best.iter().map(|(_, unit)| *unit).collect::<Vec<_>>().join(" or ");
            let times = times.collect::<Vec<_>>().join(" or ");
            (format!("the labels fit {times}: were {units} read for millimetres? write them in mm"), Some(*first))
        }
        None => {
            size?;
            (
                "check the graduations' labels and pixels, and whether it is a foal's foot (subject.kind)".to_owned(),
                None,
            )
        }
    };
    Some(Finding { factor, ..Finding::new(Doubt::LabelsFactor, seen, help, Vec::new()) })
}

fn round(x: f64) -> f64 {
    if x < 10.0 { (x * 100.0).round() / 100.0 } else { x.round() }
}

/// A label misread by so much is not noticed by whoever reads it, mm.
const MISREAD_MM: f64 = 10.0;

/// How far a ruler's end lies before its zero, mm (common practice, no source).
const END_MM: [f64; 3] = [3.0, 5.0, 8.0];

/// Whether three graduations of a straight ruler would fit as well with one of them misread by a centimetre, or with the ruler's end
/// taken for its zero.
///
/// Place, size and lean along the ruler take all but one number of what three points on a line say, and the lens and the tilt that is
/// allowed for take part of that.
pub(crate) fn unchecked(input: &SceneInput<'_>, scene: &Scene) -> Option<Finding> {
    let g = input.graduations;
    if g.len() != 3 || scene.two_dimensional || g.iter().any(|g| g.covariance_px.is_some()) {
        return None;
    }
    let lowest = (0..3).min_by(|&a, &b| g[a].label.x.total_cmp(&g[b].label.x))?;
    let fits = |i: usize, by: f64| {
        let mut other = g.to_vec();
        other[i].label += Vector2::new(by, 0.0);
        let apart = (0..3).all(|k| k == i || (other[k].label - other[i].label).norm() > 1.0);
        apart && Scene::estimate(&SceneInput { graduations: &other, ..input.clone() }).is_ok()
    };
    let label = |x: f64| format!("{x} mm");
    let zero = g[lowest].label.x == 0.0;
    let end = zero && END_MM.iter().any(|e| fits(lowest, -e));
    let misread = || (0..3).find(|&i| fits(i, MISREAD_MM) || fits(i, -MISREAD_MM));
    let what = if end {
        "three graduations do not show whether 0 mm is the ruler's zero or its end".to_owned()
    } else {
        let i = misread()?;
        format!("three graduations do not show whether the label {} was misread by a centimetre", label(g[i].label.x))
    };
    Some(Finding::new(
        Doubt::GraduationsUnchecked,
        what,
        "mark a fourth graduation, or let the ruler be read from the picture",
        Vec::new(),
    ))
}
