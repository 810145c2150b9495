//! The demo's two invented horses, their feet, and the visit in which they were photographed and trimmed.

use super::foot::{Foot3d, Trim};
use super::ruler::Finish;
use hoofgeo::{Foot, Stage, View};

/// How horn and hair look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coat {
    /// Horn, linear RGB: ground tone and the tone of its darker fibres.
    pub horn: [[f32; 3]; 2],
    /// Strength of dark pigment stripes, 0 to 1.
    pub stripes: f32,
    /// Hair of the pastern, linear RGB: dark and light strands.
    pub hair: [[f32; 3]; 2],
    /// Bare skin.
    pub skin: [f32; 3],
    /// Sole and frog.
    pub sole: [f32; 3],
    /// Frog.
    pub frog: [f32; 3],
    /// Inner, unpigmented wall.
    pub inner_wall: [f32; 3],
}

/// One foot of one horse at one stage.
#[derive(Debug, Clone, PartialEq)]
pub struct FootSpec {
    /// The horse's name.
    pub animal: &'static str,
    /// Which foot.
    pub foot: Foot,
    /// Before or after the trim.
    pub stage: Stage,
    /// Its shape.
    pub shape: Foot3d,
    /// Its colours.
    pub coat: Coat,
    /// Seed of everything irregular about it: flakes, stains, stripes.
    pub grain: u32,
}

/// How a photo is taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Shot {
    /// From the side or onto the sole.
    pub view: View,
    /// Size of the upright photo, px.
    pub size: [u32; 2],
    /// 35 mm equivalent of the focal length, as the camera writes it.
    pub focal_35mm: u16,
    /// Distance from the foot, mm.
    pub distance: f64,
    /// A square in place of a straight rule.
    pub square: bool,
    /// What the scale is made of.
    pub finish: Finish,
    /// Plank (true) or rubber mat under the foot.
    pub plank: bool,
    /// EXIF Orientation 6: stored lying, upright only after turning.
    pub turned: bool,
    /// Sensor noise; tests that look at edges leave it out.
    pub noise: bool,
    /// When it was taken, RFC 3339 with offset.
    pub taken: String,
}

/// One photo of the demo.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// The foot.
    pub spec: FootSpec,
    /// The photo.
    pub shot: Shot,
    /// Seed of the pose and the noise.
    pub seed: u64,
    /// Path of the photo below the demo's folder.
    pub file_name: String,
}

/// The dark-footed horse.
pub const DARK: &str = "Marlow";
/// The light-footed horse.
pub const LIGHT: &str = "Tansy";

pub(super) const DARK_COAT: Coat = Coat {
    horn: [[0.092, 0.081, 0.071], [0.036, 0.032, 0.030]],
    stripes: 0.0,
    hair: [[0.012, 0.009, 0.008], [0.085, 0.052, 0.032]],
    skin: [0.040, 0.034, 0.031],
    sole: [0.36, 0.31, 0.245],
    frog: [0.115, 0.100, 0.085],
    inner_wall: [0.44, 0.36, 0.25],
};

const LIGHT_COAT: Coat = Coat {
    horn: [[0.43, 0.325, 0.205], [0.27, 0.185, 0.105]],
    stripes: 0.75,
    hair: [[0.25, 0.20, 0.15], [0.60, 0.555, 0.48]],
    skin: [0.30, 0.205, 0.17],
    sole: [0.47, 0.40, 0.29],
    frog: [0.27, 0.235, 0.185],
    inner_wall: [0.58, 0.50, 0.36],
};

/// The shape of a foot before the trim.
fn shape(animal: &str, foot: Foot) -> Foot3d {
    let hind = matches!(foot, Foot::LeftHind | Foot::RightHind);
    let mut f = if animal == DARK {
        // Long toe, heels run forward: 51 degrees at the toe against 38 at the heel.
        Foot3d {
            dorsal_angle: 49.6,
            dorsal_length: 93.0,
            flare: 6.5,
            flare_at: 0.52,
            heel_angle: 38.4,
            heel_length: 41.0,
            support_length: 128.0,
            medial_heel_behind: 2.2,
            half_width_medial: 62.5,
            half_width_lateral: 65.5,
            widest_at: 62.0,
            heel_half_width: 34.0,
            coronet_half_width: 51.0,
            coronet_arch: 2.2,
            wall_toe: 12.5,
            wall_heel: 6.0,
            white_line_toe: 3.6,
            white_line_heel: 2.2,
            sole_depth: 9.5,
            apex_at: 45.0,
            frog_length: 87.0,
            frog_width: 52.0,
            pastern_angle: 53.5,
            ring_spacing_toe: 8.6,
            ring_spacing_heel: 7.4,
            first_ring: 15.0,
            breakover_at: 5.0,
            heel_above_sole: 5.5,
        }
    } else {
        // A rounder, steeper foot.
        Foot3d {
            dorsal_angle: 52.8,
            dorsal_length: 86.0,
            flare: 4.0,
            flare_at: 0.58,
            heel_angle: 47.0,
            heel_length: 37.0,
            support_length: 119.0,
            medial_heel_behind: -1.4,
            half_width_medial: 60.0,
            half_width_lateral: 62.0,
            widest_at: 57.0,
            heel_half_width: 35.5,
            coronet_half_width: 49.5,
            coronet_arch: 1.4,
            wall_toe: 11.0,
            wall_heel: 5.6,
            white_line_toe: 3.1,
            white_line_heel: 2.0,
            sole_depth: 8.0,
            apex_at: 38.5,
            frog_length: 84.0,
            frog_width: 57.0,
            pastern_angle: 54.5,
            ring_spacing_toe: 7.8,
            ring_spacing_heel: 8.3,
            first_ring: 13.0,
            breakover_at: 6.0,
            heel_above_sole: 4.0,
        }
    };
    if matches!(foot, Foot::RightFore | Foot::RightHind) {
        f.dorsal_angle += 1.3;
        f.dorsal_length -= 1.8;
        f.heel_angle += 2.1;
        f.support_length -= 1.6;
        f.half_width_medial -= 0.8;
        f.white_line_toe += 0.5;
        f.flare -= 1.2;
    }
    if hind {
        // Hind feet are steeper, narrower and more pointed.
        f.dorsal_angle += 2.4;
        f.heel_angle += 3.2;
        f.pastern_angle += 2.5;
        f.half_width_medial -= 4.5;
        f.half_width_lateral -= 5.0;
        f.widest_at += 4.0;
        f.coronet_half_width -= 3.5;
        f.heel_half_width -= 1.5;
        f.frog_width -= 4.0;
        f.sole_depth += 2.0;
        f.support_length -= 2.0;
    }
    f
}

/// What is trimmed off it.
fn trim(animal: &str, foot: Foot) -> Trim {
    let small = if matches!(foot, Foot::RightFore | Foot::RightHind) { 0.7 } else { 0.0 };
    if animal == DARK {
        Trim { toe_down: 3.2, heel_down: 5.5, toe_back: 5.0 - small, flare: 1.5, breakover_at: 11.0 }
    } else {
        Trim { toe_down: 2.6, heel_down: 4.0, toe_back: 2.8 - small, flare: 1.0, breakover_at: 9.0 }
    }
}

/// A foot of one of the two horses.
pub fn foot(animal: &'static str, foot: Foot, stage: Stage) -> FootSpec {
    let before = shape(animal, foot);
    let shape = match stage {
        Stage::BeforeTrim => before,
        Stage::AfterTrim => before.trimmed(&trim(animal, foot)),
    };
    let number = Foot::ALL.iter().position(|f| *f == foot).unwrap_or(0) as u32;
    let coat = if animal == DARK { DARK_COAT } else { LIGHT_COAT };
    FootSpec { animal, foot, stage, shape, coat, grain: 100 * u32::from(animal == LIGHT) + 10 * number + 5 }
}

/// A heel to tell others from, for tests and teaching; the demo's visit has none that is merely low.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heel {
    /// Horn beyond the hard sole plane, run forward.
    RunUnder,
    /// At the hard sole plane, as steep as the toe, the coronary band near the ground.
    Low,
    /// Neither.
    Sound,
}

/// The dark-footed horse's left fore foot with such a heel.
pub fn foot_with_heel(heel: Heel) -> FootSpec {
    let mut spec = foot(DARK, Foot::LeftFore, Stage::BeforeTrim);
    let own = spec.shape.clone();
    spec.shape = match heel {
        Heel::RunUnder => Foot3d { heel_angle: 35.0, heel_length: 43.0, heel_above_sole: 7.0, flare: 2.0, ..own },
        Heel::Low => Foot3d { heel_angle: 50.0, heel_length: 23.0, heel_above_sole: 0.5, flare: 2.0, ..own },
        Heel::Sound => Foot3d { heel_angle: 49.0, heel_length: 43.0, heel_above_sole: 0.5, flare: 2.0, ..own },
    };
    spec
}

/// Every photo of the demo: one visit, two horses, four feet, both views, before and after the trim.
pub fn cases() -> Vec<Case> {
    let mut out = Vec::new();
    for animal in [DARK, LIGHT] {
        for (stage, hour) in [(Stage::BeforeTrim, 9), (Stage::AfterTrim, 11)] {
            for f in Foot::ALL {
                for view in View::ALL {
                    let n = out.len() as u32;
                    let dark = animal == DARK;
                    let minute = 3 * (n % 16) + 7;
                    let turned = *view == View::Solar && !dark;
                    let shot = Shot {
                        view: *view,
                        size: if turned { [1512, 2016] } else { [2016, 1512] },
                        focal_35mm: if *view == View::Lateral { 108 } else { 72 },
                        distance: match view {
                            View::Lateral => 1180.0,
                            View::Solar => {
                                if turned {
                                    650.0
                                } else {
                                    735.0
                                }
                            }
                        },
                        square: (*view == View::Solar) == dark,
                        finish: if dark { Finish::Steel } else { Finish::Plastic },
                        plank: dark,
                        turned,
                        noise: true,
                        taken: format!(
                            "2026-04-18T{:02}:{minute:02}:{:02}+02:00",
                            hour + 3 * u32::from(!dark),
                            (37 * n) % 60
                        ),
                    };
                    let stage_name = if stage == Stage::BeforeTrim { "before" } else { "after" };
                    let file_name = format!("{}/{}-{}-{stage_name}.jpg", animal.to_lowercase(), f.name(), view.name());
                    let seed = 1000 + u64::from(n);
                    out.push(Case { spec: foot(animal, *f, stage), shot, seed, file_name });
                }
            }
        }
    }
    out
}
