//! The stated intervals hold the truth as often as they say, over photos drawn from the stated priors.
//!
//! 2 000 photos of each kind of scale and view, a third each with EXIF, without and with a lens profile. k = 2 on normal errors is
//! 95.45 %. The full run, with a table, is the example `coverage`.
#![allow(clippy::unwrap_used, reason = "tests")]

mod synth;

use hoofgeo::View;
use hoofgeo::measured::MeasureOptions;
use hoofgeo::scale::ScaleKind;
use synth::count::{Tally, count, table};
use synth::{Known, Spec};

fn tally(kind: ScaleKind, view: View, photos: usize, repeats: usize, options: &MeasureOptions) -> Tally {
    Known::ALL.iter().fold(Tally::default(), |t, &known| {
        let spec = Spec { kind, view, known, repeats };
        t.merge(count(&spec, photos / 3 + 1, 7 + known as u64, options))
    })
}

/// Values of one photo share its scene's errors: the pooled share of 2 000 photos scatters by 0.15 % over six seeds;
/// each measurement's share by its own binomial 0.5 %, or 0.6 % where it is drawn in 1 400 of them.
fn check(name: &str, t: &Tally) {
    let pooled = t.total();
    let z = (pooled.normalised / pooled.values as f64).sqrt();
    assert!((0.94..=0.96).contains(&pooled.share()), "{name}: {:.4}\n{}", pooled.share(), table(t));
    // 1 where the stated standard uncertainty is the actual one.
    assert!((0.95..=1.05).contains(&z), "{name}: errors are {z:.3} times what is stated\n{}", table(t));
    for (id, c) in &t.by_id {
        // The start of a flare is stated too cautiously where the flare is slight: only those of 5° and more are measured, which
        // cuts off the longest errors.
        let most = if *id == "flare_start" { 0.995 } else { 0.98 };
        assert!((0.93..=most).contains(&c.share()), "{name} {id}: {:.4}\n{}", c.share(), table(t));
    }
    let refused = t.refusals() as f64 / t.photos as f64;
    assert!(refused < 0.005, "{name}: {:.2} % refused: {:?}", 100.0 * refused, t.refused);
}

fn both_views(kind: ScaleKind) {
    for view in View::ALL {
        let t = tally(kind, *view, 2000, 1, &MeasureOptions::default());
        assert!(t.photos >= 2000);
        check(&format!("{} {view}", kind.name()), &t);
    }
}

#[test]
fn straight_rulers() {
    both_views(ScaleKind::StraightRuler);
}

#[test]
fn square_rulers() {
    both_views(ScaleKind::SquareRuler);
}

#[test]
fn cards() {
    both_views(ScaleKind::Card);
}

#[test]
fn boards() {
    both_views(ScaleKind::Board);
}

/// Landmarks placed three times each: their spread is known from 6 n degrees of freedom only, Student's t makes up for it.
#[test]
fn repeated_placements() {
    for view in View::ALL {
        let t = tally(ScaleKind::SquareRuler, *view, 900, 3, &MeasureOptions::default());
        let share = t.total().share();
        assert!((0.94..=0.965).contains(&share), "{view}: {share:.4}");
    }
}

/// Intervals from draws where the linear ones fail: 400 photos, whose pooled share scatters by 0.6 %.
#[test]
fn intervals_from_draws() {
    let options = MeasureOptions { draws: 1000, seed: 3, ..MeasureOptions::default() };
    for (kind, view) in [(ScaleKind::StraightRuler, View::Lateral), (ScaleKind::Card, View::Lateral)] {
        let t = tally(kind, view, 400, 1, &options);
        let share = t.total().share();
        assert!((0.935..=0.968).contains(&share), "{} {view}: {share:.4}", kind.name());
        assert!(t.monte_carlo > 0);
    }
}
