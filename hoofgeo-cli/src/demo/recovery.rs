//! Half a year of an invented horse whose underrun forefeet recover: six visits, five weeks apart, each trimmed.

use super::foot::{Foot3d, Trim};
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

/// What recovery adds from visit to visit, degrees: new horn comes down at a better angle.
const HEEL_STEEPER: f64 = 1.45;
const TOE_STEEPER: f64 = 0.45;

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

/// The trim of each visit: heels to just above the hard sole plane, toe dressed back.
fn trim(before: &Foot3d) -> Trim {
    Trim {
        toe_down: 3.2,
        heel_down: (before.heel_above_sole - 0.6).clamp(1.0, 6.0),
        toe_back: 4.4,
        flare: (before.flare - 1.6).max(1.0),
        breakover_at: 11.0,
    }
}

/// Before each trim.
fn before(foot: Foot, visit: usize) -> Foot3d {
    let Some(earlier) = visit.checked_sub(1) else { return at_first(foot) };
    let last = before(foot, earlier);
    let season = DAYS[visit].1;
    let after = last.trimmed(&trim(&last));
    let grown = after.grown(TOE_LONGER * season, HEEL_LONGER * season, GROWN * season);
    Foot3d {
        heel_angle: grown.heel_angle + HEEL_STEEPER,
        dorsal_angle: grown.dorsal_angle + TOE_STEEPER,
        flare: (grown.flare + 0.9).min(last.flare - 0.4),
        frog_width: grown.frog_width + 0.9,
        heel_half_width: grown.heel_half_width + 0.35,
        white_line_toe: (grown.white_line_toe - 0.5).max(2.4),
        wall_toe: grown.wall_toe.min(12.0),
        apex_at: grown.apex_at.min(last.apex_at - 0.6),
        sole_depth: grown.sole_depth.min(10.0),
        ..grown
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
                    let shape = before(foot, visit);
                    let shape = if stage == Stage::AfterTrim { shape.trimmed(&trim(&shape)) } else { shape };
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

    /// What is cut off or grown along a straight wall is told by the lengths alone.
    #[test]
    fn growth_and_recovery_are_what_they_are_meant_to_be() {
        let (first, second) = (before(Foot::LeftFore, 0), before(Foot::LeftFore, 1));
        let after = first.trimmed(&trim(&first));
        assert!((second.dorsal_length - after.dorsal_length - TOE_LONGER * DAYS[1].1).abs() < 1e-9);
        assert!((second.heel_length - after.heel_length - HEEL_LONGER * DAYS[1].1).abs() < 1e-9);
        assert!((second.first_ring - first.first_ring - GROWN * DAYS[1].1).abs() < 1e-9);
        // Growth itself turns both walls alike.
        let grown = after.grown(7.0, 5.0, 9.0);
        let difference = |f: &Foot3d| f.dorsal_angle - f.heel_angle;
        assert!((difference(&grown) - difference(&after)).abs() < 1e-9);
        for foot in [Foot::LeftFore, Foot::RightFore] {
            for visit in 1..6 {
                let (a, b) = (before(foot, visit - 1), before(foot, visit));
                assert!(difference(&b) < difference(&a) - 0.4, "{foot} {visit}");
                assert!((110.0..135.0).contains(&b.support_length) && (80.0..100.0).contains(&b.dorsal_length));
            }
        }
    }
}
