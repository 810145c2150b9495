//! Half a year of an invented horse whose underrun forefeet recover: six visits, five weeks apart, each trimmed.

use super::foot::Foot3d;
use super::horses::{Case, DARK_COAT, FootSpec, Shot};
use super::ruler::Finish;
use hoofgeo::{Foot, Stage, View};
use serde_json::{Value as Json, json};

/// The horse.
pub const RECOVERING: &str = "Hazel";

/// One visit of the case.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    /// The day, which is also the name of its folder.
    pub day: &'static str,
    /// Its photos; their paths start with the folder.
    pub photos: Vec<Case>,
    /// What `visit.hoof.json` says.
    pub notes: Json,
}

/// Day, and the share of the usual growth since the visit before: less in winter, more in spring.
const DAYS: [(&str, f64); 6] = [
    ("2026-02-09", 0.0),
    ("2026-03-16", 0.90),
    ("2026-04-20", 1.00),
    ("2026-05-25", 1.12),
    ("2026-06-29", 1.10),
    ("2026-08-03", 1.04),
];

/// In five weeks: horn grown at the toe, and what toe and heel are longer by once wear is taken off, mm.
const GROWN: f64 = 9.2;
const TOE_LONGER: f64 = 7.8;
const HEEL_LONGER: f64 = 5.2;

/// How far the heels still reach beyond the hard sole plane after a trim, mm.
const LEFT_ON: f64 = 0.6;

/// Growth from a visit to the next, as a share of the usual; after the last visit as usual.
fn season(next: usize) -> f64 {
    DAYS.get(next).map_or(1.0, |d| d.1)
}

/// At the first visit: heels run forward under a long toe.
fn at_first(foot: Foot) -> Foot3d {
    let mut f = Foot3d {
        dorsal_angle: 48.4,
        dorsal_length: 96.0,
        flare: 7.0,
        flare_at: 0.52,
        heel_angle: 35.2,
        heel_length: 43.0,
        support_length: 127.0,
        medial_heel_behind: 1.8,
        half_width_medial: 61.5,
        half_width_lateral: 64.0,
        widest_at: 62.0,
        heel_half_width: 32.5,
        coronet_half_width: 50.5,
        coronet_arch: 2.0,
        wall_toe: 12.8,
        wall_heel: 6.0,
        white_line_toe: 4.6,
        white_line_heel: 2.3,
        sole_depth: 9.0,
        apex_at: 47.0,
        frog_length: 85.0,
        frog_width: 47.0,
        pastern_angle: 53.0,
        ring_spacing_toe: 8.6,
        ring_spacing_heel: 7.6,
        // Eight rings are still to come out from under the coronet.
        first_ring: 13.0 - 8.0 * 8.6,
        breakover_at: 5.0,
        heel_above_sole: 7.0,
    };
    if foot == Foot::RightFore {
        f.dorsal_angle += 1.6;
        f.heel_angle += 3.1;
        f.heel_length -= 2.5;
        f.dorsal_length -= 2.0;
        f.heel_above_sole -= 2.0;
    }
    f
}

/// Before the trim of a visit: month by month the heel stands steeper, the toe shorter, the frog wider.
fn before(foot: Foot, visit: usize) -> Foot3d {
    let first = at_first(foot);
    let n = visit as f64;
    let heel_angle = first.heel_angle + 2.0 * n;
    let spare = LEFT_ON + HEEL_LONGER * season(visit) * heel_angle.to_radians().sin();
    Foot3d {
        dorsal_angle: first.dorsal_angle + 0.9 * n,
        dorsal_length: first.dorsal_length - 1.2 * n,
        heel_angle,
        heel_length: first.heel_length - 0.9 * n,
        support_length: first.support_length - 1.0 * n,
        flare: first.flare - 0.9 * n,
        white_line_toe: first.white_line_toe - 0.35 * n,
        wall_toe: first.wall_toe - 0.3 * n,
        frog_width: first.frog_width + n,
        heel_half_width: first.heel_half_width + 0.4 * n,
        apex_at: first.apex_at - 1.2 * n,
        widest_at: first.widest_at - 0.6 * n,
        first_ring: first.first_ring + (1..=visit).map(|v| GROWN * season(v)).sum::<f64>(),
        heel_above_sole: if visit == 0 { first.heel_above_sole } else { spare },
        ..first
    }
}

/// After the trim of a visit: what then grows into the foot of the next one. Horn that comes down steeper in between is what recovers;
/// the trim itself leaves toe minus heel angle as it was.
fn after(foot: Foot, visit: usize) -> Foot3d {
    let (now, next) = (before(foot, visit), before(foot, visit + 1));
    let share = season(visit + 1);
    let cut = next.grown(-TOE_LONGER * share, -HEEL_LONGER * share, 0.0);
    Foot3d {
        heel_angle: cut.dorsal_angle - (now.dorsal_angle - now.heel_angle),
        first_ring: now.first_ring,
        flare: (now.flare - 3.0).max(1.0),
        half_width_medial: now.half_width_medial - 0.9,
        half_width_lateral: now.half_width_lateral - 1.4,
        wall_toe: now.wall_toe - 2.0,
        white_line_toe: now.white_line_toe - 0.3,
        heel_above_sole: LEFT_ON,
        sole_depth: now.sole_depth - 1.0,
        breakover_at: 11.0,
        ..cut
    }
}

fn notes(visit: usize) -> Json {
    let mut notes = json!({
        "format": "hoofgeo-visit/1",
        "observer": "JR",
        "interval_weeks": 5,
        "notes": "Demonstration: rendered feet of an invented horse. No real animal.",
    });
    let more: &[(&str, &str)] = match visit {
        0 => &[
            ("ground", "wet paddock, hard yard"),
            ("diet", "hay, some oats"),
            ("lameness", "short in front on stones, lands toe first"),
            ("vet", "seen on 2 February: no laminitis; trim at short intervals"),
        ],
        1 => &[("diet", "oats stopped, hay weighed")],
        2 => &[("ground", "gravel track, four hours a day"), ("lameness", "level on soft ground")],
        3 => &[("turnout", "track day and night, with two companions")],
        4 => &[("lameness", "lands heel first at walk")],
        _ => &[("vet", "seen on 30 July: sound at walk and trot"), ("turnout", "ridden twice a week on tracks")],
    };
    for (key, text) in more {
        notes[*key] = json!(text);
    }
    notes
}

/// The six visits, each with both forefeet from the side, before and after the trim, and their soles before it.
pub fn visits() -> Vec<Visit> {
    let shots =
        [(View::Lateral, Stage::BeforeTrim), (View::Solar, Stage::BeforeTrim), (View::Lateral, Stage::AfterTrim)];
    DAYS.iter()
        .enumerate()
        .map(|(visit, (day, _))| {
            let mut photos = Vec::new();
            for foot in [Foot::LeftFore, Foot::RightFore] {
                for (view, stage) in shots {
                    let shape = if stage == Stage::AfterTrim { after(foot, visit) } else { before(foot, visit) };
                    let n = photos.len() as u64;
                    let lateral = view == View::Lateral;
                    let (hour, stage_name) = if stage == Stage::BeforeTrim { (9, "before") } else { (10, "after") };
                    let shot = Shot {
                        view,
                        size: [2016, 1512],
                        focal_35mm: if lateral { 108 } else { 72 },
                        distance: if lateral { 1180.0 } else { 735.0 },
                        square: true,
                        finish: Finish::Steel,
                        plank: true,
                        turned: false,
                        noise: true,
                        taken: format!("{day}T{hour:02}:{:02}:00+01:00", 10 + 5 * n),
                    };
                    photos.push(Case {
                        spec: FootSpec {
                            animal: RECOVERING,
                            foot,
                            stage,
                            shape,
                            coat: DARK_COAT,
                            grain: 300 + u32::from(foot == Foot::RightFore),
                        },
                        shot,
                        seed: 7000 + 100 * visit as u64 + n,
                        file_name: format!("{day}/{}-{}-{stage_name}.jpg", foot.name(), view.name()),
                    });
                }
            }
            Visit { day, photos, notes: notes(visit) }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What grew along a wall is told by its lengths, and trims leave toe minus heel angle alone.
    #[test]
    fn growth_and_recovery_are_what_they_are_meant_to_be() {
        let difference = |f: &Foot3d| f.dorsal_angle - f.heel_angle;
        for foot in [Foot::LeftFore, Foot::RightFore] {
            for visit in 0..6 {
                let (now, cut, next) = (before(foot, visit), after(foot, visit), before(foot, visit + 1));
                assert!((next.dorsal_length - cut.dorsal_length - TOE_LONGER * season(visit + 1)).abs() < 1e-9);
                assert!((next.heel_length - cut.heel_length - HEEL_LONGER * season(visit + 1)).abs() < 1e-9);
                assert!((difference(&cut) - difference(&now)).abs() < 1e-9);
                assert!(difference(&next) < difference(&now) - 1.0 && next.heel_angle > now.heel_angle);
                for f in [&now, &cut] {
                    assert!((105.0..135.0).contains(&f.support_length), "{}", f.support_length);
                    assert!((75.0..100.0).contains(&f.dorsal_length) && (25.0..45.0).contains(&f.heel_length));
                    assert!((44.0..60.0).contains(&f.dorsal_angle) && (30.0..52.0).contains(&f.heel_angle));
                }
            }
        }
    }

    /// Growth turns both walls alike, and its opposite undoes it.
    #[test]
    fn grown_and_cut_back_is_as_before() {
        let f = before(Foot::LeftFore, 2);
        let grown = f.grown(7.0, 5.0, 9.0);
        assert!((grown.dorsal_angle - grown.heel_angle - f.dorsal_angle + f.heel_angle).abs() < 1e-9);
        let back = grown.grown(-7.0, -5.0, -9.0);
        for (a, b) in [
            (back.dorsal_angle, f.dorsal_angle),
            (back.heel_length, f.heel_length),
            (back.support_length, f.support_length),
            (back.first_ring, f.first_ring),
        ] {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
    }
}
