//! Where foot, scale, ground and camera stand.
//!
//! # The scene frame
//! Right-handed, Z towards the camera, mm. Side view: X to the right of the picture, Y up from the ground. Sole view: X
//! to the right, Y to the top, where the toe points. Right feet are the left foot's mirror image.

use super::camera::{Camera, look_at};
use super::foot::Half;
use super::horses::{FootSpec, Shot};
use super::light::Light;
use super::mesh::{self, Material, Mesh};
use super::photo::Stance;
use super::ruler::Ruler;
use super::underside::Underside;
use hoofgeo::{Foot, View};
use nalgebra::{Matrix3, Point3, Vector3};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// Diagonal of the 36 mm by 24 mm frame that 35 mm equivalents refer to.
pub(crate) const DIAGONAL_35MM: f64 = 43.266_615_305_567_87;

/// Everything that a photo shows, in the scene frame.
#[derive(Debug)]
pub(crate) struct Scene {
    pub(crate) meshes: Vec<Mesh>,
    pub(crate) ruler: Ruler,
    pub(crate) camera: Camera,
    pub(crate) light: Light,
    pub(crate) underside: Option<Underside>,
    /// Turns the foot frame into the scene frame (a rotation, or a reflection for right feet).
    pub(crate) foot_to_scene: Matrix3<f64>,
}

/// Height of the plank or mat.
const BOARD: f64 = 42.0;

impl Scene {
    pub(crate) fn new(spec: &FootSpec, shot: &Shot, seed: u64, stance: &Stance) -> Self {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut about = |spread: f64| rng.random_range(-spread..=spread);
        let hand = if matches!(spec.foot, Foot::LeftFore | Foot::LeftHind) { 1.0 } else { -1.0 };
        let foot = &spec.shape;
        let foot_to_scene = match shot.view {
            View::Lateral => Matrix3::from_diagonal(&Vector3::new(hand, 1.0, 1.0)),
            View::Solar => Matrix3::new(0.0, 0.0, hand, -1.0, 0.0, 0.0, 0.0, -1.0, 0.0),
        };
        let mut ruler = Ruler {
            finish: shot.finish,
            length: 150.0,
            second_arm: None,
            width: 26.0,
            covered: None,
            rotation: Matrix3::identity(),
            origin: Point3::origin(),
        };
        // A straight rule stands or lies upright in the picture: its X axis points up.
        let upright = Matrix3::new(0.0, -1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0);
        let (target, mut extra);
        match shot.view {
            View::Lateral => {
                let gap = 20.0 + about(3.0);
                let z = about(3.5);
                if shot.square {
                    ruler.length = 80.0;
                    ruler.second_arm = Some(150.0);
                    let left = if hand > 0.0 { -gap - 85.0 } else { gap };
                    ruler.origin = Point3::new(left, 0.0, z);
                } else {
                    ruler.rotation = upright;
                    let edge = if hand > 0.0 { -gap } else { gap + ruler.width };
                    ruler.origin = Point3::new(edge, 5.0, z);
                }
                target = Point3::new(hand * if shot.square { 38.0 } else { 58.0 } + about(6.0), 76.0 + about(5.0), 0.0);
                extra = vec![mesh::cuboid(
                    Material::Board,
                    Point3::new(-330.0, -BOARD, -150.0),
                    Point3::new(330.0, 0.0, 96.0),
                )];
                let x = ruler.origin.x;
                let (low, high) = if shot.square { (x - 7.0, x + 30.0) } else { (x - ruler.width - 9.0, x + 8.0) };
                extra.push(mesh::cuboid(
                    Material::Prop,
                    Point3::new(low, 0.0, z - 34.0),
                    Point3::new(high, 33.0, z - 1.2),
                ));
            }
            View::Solar => {
                let z = 1.0 + about(0.8);
                let gap = 9.0 + about(3.0);
                let left = -foot.half_width_medial.max(foot.half_width_lateral) - gap;
                if shot.square {
                    ruler.second_arm = Some(200.0);
                    ruler.origin =
                        Point3::new(left - ruler.width, -foot.heel_coronet(Half::Lateral).x - 27.0 - ruler.width, z);
                } else {
                    ruler.rotation = upright;
                    ruler.length = 300.0;
                    ruler.origin = Point3::new(left, -foot.support_length - 150.0 + about(6.0), z);
                }
                target = Point3::new(
                    -14.0 + about(4.0),
                    -0.5 * foot.support_length - if shot.square { 37.0 } else { 18.0 } + about(4.0),
                    0.0,
                );
                extra = vec![];
                if shot.square {
                    // A gloved hand holds the square from below the frame.
                    let thumb = 75.0 + about(4.0);
                    ruler.covered = Some([thumb - 26.0, thumb + 18.0]);
                    let (x, y) = (ruler.origin.x + thumb, ruler.origin.y);
                    let finger = |root: [f64; 3], tip: [f64; 3], radius| {
                        let at = |p: [f64; 3]| Point3::new(x + p[0], y + p[1], z + p[2]);
                        mesh::finger(at(root), at(tip), radius)
                    };
                    extra.push(finger([-14.0, -110.0, 14.0], [2.0, 17.0, 8.5], 11.5));
                    extra.push(finger([14.0, -110.0, -16.0], [19.0, 18.0, -12.0], 10.5));
                    extra.push(finger([34.0, -110.0, -18.0], [40.0, 14.0, -13.0], 10.0));
                    extra.push(finger([-32.0, -110.0, -30.0], [-22.0, -8.0, -22.0], 17.0));
                }
            }
        }
        let (tilt_x, tilt_y, roll) = match shot.view {
            View::Lateral => (2.2 + about(1.0), about(2.0), about(1.2)),
            View::Solar => (about(3.0), about(3.0), about(3.5)),
        };
        let [tilt_x, tilt_y] = stance.held.unwrap_or([tilt_x, tilt_y]);
        let (sp, cp) = f64::to_radians(tilt_x + stance.tilt[0]).sin_cos();
        let (sy, cy) = f64::to_radians(tilt_y + stance.tilt[1]).sin_cos();
        let distance = shot.distance * (1.0 + about(0.04));
        let eye = target + Vector3::new(sy * cp, sp, cy * cp) * distance;
        let (rotation, translation) = look_at(&eye, &target, &Vector3::y(), roll.to_radians());
        let [width, height] = shot.size;
        let diagonal = f64::from(width).hypot(f64::from(height));
        let camera = Camera {
            width,
            height,
            // The camera's own figure is rounded: the true focal length differs a little from what it writes.
            focal_px: f64::from(shot.focal_35mm) * diagonal / DIAGONAL_35MM * 1.006,
            principal_point_px: [
                f64::from(width) / 2.0 + 0.0025 * diagonal,
                f64::from(height) / 2.0 - 0.0018 * diagonal,
            ],
            radial: [0.016, -0.009, 0.0],
            tangential: [2.5e-4, -1.5e-4],
            rotation,
            translation,
        };
        let mut light = match shot.view {
            View::Lateral => Light {
                sun: Vector3::new(-0.60 + 0.1 * about(1.0) as f32, 0.66, 0.45).normalize(),
                up: Vector3::new(0.0, 1.0, 0.15).normalize(),
                sun_colour: Vector3::new(2.55, 2.34, 2.02),
                sky_colour: Vector3::new(0.60, 0.67, 0.79),
                ground_colour: Vector3::new(0.22, 0.195, 0.16),
            },
            View::Solar => Light {
                sun: Vector3::new(-0.66 + 0.1 * about(1.0) as f32, 0.56, 0.48).normalize(),
                up: Vector3::new(-0.1, 0.45, 0.85).normalize(),
                sun_colour: Vector3::new(2.5, 2.32, 2.04),
                sky_colour: Vector3::new(0.58, 0.63, 0.72),
                ground_colour: Vector3::new(0.20, 0.185, 0.165),
            },
        };
        if let Some(sun) = stance.sun {
            light.sun = Vector3::from(sun).cast::<f32>().normalize();
        }
        let mut meshes = mesh::pastern(foot);
        meshes.extend([mesh::wall(foot), mesh::bulb(foot, Half::Medial), mesh::bulb(foot, Half::Lateral)]);
        meshes.extend(mesh::fringe(foot));
        let underside = (shot.view == View::Solar).then(|| {
            let rough = if spec.stage == hoofgeo::Stage::AfterTrim { 0.25 } else { 1.0 };
            Underside::new(foot, spec.grain, rough)
        });
        if let Some(under) = &underside {
            let sun = foot_to_scene.transpose() * light.sun.cast::<f64>();
            meshes.push(under.mesh(sun));
        }
        for m in &mut meshes {
            for p in &mut m.points {
                *p = Point3::from(foot_to_scene * p.coords);
            }
            let turn = foot_to_scene.cast::<f32>();
            for n in &mut m.normals {
                *n = turn * *n;
            }
        }
        meshes.append(&mut extra);
        Self { meshes, ruler, camera, light, underside, foot_to_scene }
    }
}
