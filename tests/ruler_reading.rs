//! The ruler read from rendered photos with known truth; the full rates are `examples/ruler_rates.rs`.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod synth_ruler;

use hoofgeo::pixels::ruler::{Mark, Numbering, find_metric, read_marked};
use hoofgeo::scale::Tolerance;
use hoofgeo::scene::{LensPrior, Scene, SceneInput};
use nalgebra::Point2;
use rayon::prelude::*;
use synth_ruler::{DECIMAL_LONG, FRAME, Picture, other, ruler};

fn rms(v: &[f64]) -> f64 {
    (v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64).sqrt()
}

/// Pictures of rulers of all looks, tilted up to 40°, blurred, noisy, dirty, hidden in part.
#[test]
fn graduations_are_found_and_exact() {
    let pictures: Vec<Picture> = (2000..2024).into_par_iter().map(|seed| ruler(seed).render()).collect();
    let readable: Vec<&Picture> = pictures.iter().filter(|p| p.is_readable()).collect();
    assert!(readable.len() > 8, "{}", readable.len());
    let (mut px, mut normalised, mut found) = (Vec::new(), Vec::new(), 0);
    let read: Vec<_> = pictures.par_iter().map(|p| find_metric(&p.grey).ok()).collect();
    for (p, read) in pictures.iter().zip(&read) {
        let Some(reading) = read else { continue };
        let compared = p.compare(reading).unwrap();
        assert!(compared.scale.abs() < 0.005 && compared.label < 0.5, "{}: {:+.4}", p.spec.seed, compared.scale);
        found += usize::from(p.is_readable());
        px.extend(compared.px);
        normalised.extend(compared.normalised);
    }
    // A few pictures: the rate itself is shown by the example.
    assert!(found * 10 >= readable.len() * 8, "{found} of {}", readable.len());
    assert!(rms(&px) < 0.1, "{} px", rms(&px));
    assert!((0.5..1.3).contains(&rms(&normalised)), "{}", rms(&normalised));
}

/// Inch rules, bent tapes, fabric, bricks, grass, stripes, tubules: nothing of that is read as millimetres. Nor are rules in tenths of an
/// inch and hundredths of a foot, whose lines come in the order of a millimetre rule's, where those are as long as they mostly are;
/// with longer ones they look like a millimetre rule, which is why somebody has to state that the rule is metric.
#[test]
fn what_is_no_straight_millimetre_ruler_is_refused() {
    (3000..3020).into_par_iter().for_each(|seed| {
        let (kind, spec) = other(seed);
        if kind == DECIMAL_LONG {
            return;
        }
        let picture = spec.render();
        let Ok(reading) = find_metric(&picture.grey) else { return };
        // The other edge of an inch rule may be in millimetres: what is read must then be true.
        let right = picture.compare(&reading).is_some_and(|c| c.scale.abs() < 0.01 && c.label < 0.5);
        assert!(right && picture.spec.bend_mm.is_none(), "{kind} {seed}: {:?}", reading.evidence);
    });
}

fn readable_picture() -> Picture {
    (2000..).map(|seed| ruler(seed).render()).find(|p| p.is_readable() && p.spec.hidden.is_empty()).unwrap()
}

/// Two marks beside their lines number all lines; wrong labels are refused; the scene takes the graduations with their uncertainties.
#[test]
fn two_marks_number_the_lines() {
    let p = readable_picture();
    let inside = |q: &Point2<f64>| (30.0..1170.0).contains(&q.x) && (30.0..870.0).contains(&q.y);
    let seen: Vec<(f64, Point2<f64>)> = (0..=p.spec.rule.as_ref().unwrap().length as u32)
        .map(|mm| (f64::from(mm), p.view.pixel(Point2::new(f64::from(mm), 1.0))))
        .filter(|(_, q)| inside(q))
        .collect();
    let (a, b) = (seen[3], seen[seen.len() - 4]);
    let off = nalgebra::Vector2::new(0.7, -0.6);
    let marks = [Mark { mm: a.0, at: a.1 + off }, Mark { mm: b.0, at: b.1 - off }];
    let reading = read_marked(&p.grey, marks).unwrap();
    assert_eq!(reading.numbering, Numbering::Marks);
    for g in &reading.graduations {
        let x = p.view.on_rule(g.at).unwrap().x;
        assert!((x - g.mm).abs() < 0.3, "{} mm read, {x} true", g.mm);
    }
    // One line more between the marks than their labels say.
    let wrong = [marks[0], Mark { mm: b.0 - 1.0, at: marks[1].at }];
    assert!(read_marked(&p.grey, wrong).is_err());
    let graduations = reading.observations();
    let input = |graduations| SceneInput {
        graduations,
        frame_px: FRAME,
        u_px: 1.0,
        tilt_u_deg: Some(30.0),
        tolerance: Tolerance::URel(1e-5),
        lens: LensPrior::unknown(FRAME),
    };
    let scene = Scene::estimate(&input(&graduations)).unwrap();
    // Of the same graduations taken for clicks of 1 px, magnification is less certain.
    let clicks: Vec<_> = graduations.iter().map(|g| hoofgeo::scale::Graduation::marked(g.label, g.pixel)).collect();
    let clicked = Scene::estimate(&input(&clicks)).unwrap();
    assert!(scene.magnification().u < clicked.magnification().u);
    assert!(scene.flags.iter().any(|f| f.name() == "ruler_read"));
}
