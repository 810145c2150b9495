//! Growth rings and outlines read from rendered feet, held against the truth: a small part of the tables in VALIDATION.md, on other seeds
//! (`hoofgeo-cli/examples/wall_rates.rs` makes them).
#![allow(missing_docs, clippy::print_stderr, clippy::unwrap_used, reason = "tests")]

mod walls;

use walls::{Condition, outline, ring};

/// Most rows have as many rings as there are between their ends, spacings within 4 % and two standard uncertainties of the true ones; one may
/// begin with the edge of the pale film under the hair, and is then as far off as that is from the first ring. The walls are the first of
/// the table's, as they come. Since the person's errors at toe and heel are drawn as wide as the trade states them, one row in ten is
/// miscounted and a pairing of toe and heel can be one ring off.
#[test]
fn rings_of_rendered_walls_are_counted_and_measured() {
    let (mut found, mut near, mut miscounted, mut paired_wrongly) = (0, 0, 0, 0);
    for seed in 62_000..62_010 {
        let seen = ring(seed, Condition::Plain, true);
        eprintln!("{seed}: {:?}", seen.why);
        for row in seen.rows.iter().flatten() {
            found += 1;
            miscounted += usize::from(row.miscounted);
            near +=
                usize::from(!row.miscounted && row.spacing_error_percent.abs() < 4.0 && row.spacing_over_u.abs() < 2.0);
            assert!(row.miscounted || row.spacing_over_u.abs() < 2.5, "{seed}: {row:?}");
        }
        paired_wrongly += usize::from(seen.paired == Some(false));
    }
    assert!(
        found >= 8 && miscounted <= 2 && near * 2 >= found && paired_wrongly <= 1,
        "{found} rows of 20, {near} near, {miscounted} miscounted, {paired_wrongly} paired wrongly"
    );
    let slanting = ring(20_010, Condition::Tilt(12.0), true);
    assert!(slanting.rows.iter().all(Option::is_none) && slanting.why[0].contains("slant"), "{:?}", slanting.why);
}

#[test]
fn walls_without_rings_show_none() {
    for seed in [20_000, 20_003] {
        let seen = ring(seed, Condition::Plain, false);
        assert!(seen.rows.iter().all(Option::is_none), "{seed}: {:?}", seen.why);
    }
}

/// From eight clicks: the polygon of the clicks is some 5 % too small. The outline's own area is within 2 %, whatever the scale is.
#[test]
fn outlines_of_rendered_soles_have_the_true_area() {
    for (seed, condition) in [(20_002, Condition::Plain), (20_007, Condition::Shadow)] {
        let [wall, white, _] = outline(seed, condition, 8);
        let wall = wall.unwrap();
        assert!(wall.area_error_percent.abs() < 2.0 && wall.area_over_u.abs() < 2.0, "{seed}: {wall:?}");
        assert!(
            wall.clicked_own_percent < -3.0 && wall.own_error_percent.abs() < 2.0 && wall.rms_mm < 0.6,
            "{seed}: {wall:?}"
        );
        if let Some(white) = white {
            assert!(white.area_error_percent.abs() < 3.0 && white.rms_mm < 0.8, "{seed}: {white:?}");
        }
    }
}
