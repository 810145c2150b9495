//! What the surfaces look like: horn, hair, sole, frog, wood and rubber, all procedural.

mod hair;
mod horn;
mod sole;
mod things;

use super::horses::FootSpec;
use super::light::{Light, Rgb};
use super::mesh::Material;
use super::raster::Hit;
use super::shadow::Shadow;
use super::underside::Underside;
use hoofgeo::Stage;
use nalgebra::{Matrix3, Vector3};

/// Everything that shading needs to know.
#[derive(Debug)]
pub(crate) struct Shader<'a> {
    pub(crate) spec: &'a FootSpec,
    pub(crate) light: &'a Light,
    pub(crate) eye: Vector3<f32>,
    pub(crate) foot_to_scene: Matrix3<f32>,
    pub(crate) underside: Option<&'a Underside>,
    pub(crate) shadow: Option<&'a Shadow>,
    pub(crate) plank: bool,
}

fn rgb(c: [f32; 3]) -> Rgb {
    Vector3::from(c)
}

/// Bare skin, blotched by its wrinkles and by dust.
fn bare_skin(skin: [f32; 3], wrinkle: f32) -> Rgb {
    let dusty = rgb(skin) * 0.6 + Vector3::new(0.055, 0.045, 0.034);
    rgb(skin).lerp(&dusty, (0.45 + 0.9 * wrinkle).clamp(0.0, 1.0)) * (1.0 + 0.3 * wrinkle)
}

impl Shader<'_> {
    /// Whether a sample of hair or of the underside's rim is there at all.
    pub(crate) fn keeps(&self, material: Material, a: [f32; 5]) -> bool {
        match material {
            Material::Hair => hair::is_there(a, self.spec.grain),
            Material::Sole => self.underside.is_none_or(|u| u.covers(f64::from(a[0]), f64::from(a[1])) > 0.0),
            _ => true,
        }
    }

    /// The light that a surface sends to the camera.
    pub(crate) fn colour(&self, hit: &Hit) -> Rgb {
        let to_eye = (self.eye - hit.point).normalize();
        let mut hit = *hit;
        // Shells of hair are seen from within at the rim: their normals stay as they are.
        let shell = hit.material == Material::Hair && hit.attributes[1] >= 0.0;
        if hit.normal.dot(&to_eye) < 0.0 && hit.material != Material::Horn && !shell {
            hit.normal = -hit.normal;
        }
        match hit.material {
            Material::Horn => self.horn(&hit, &to_eye),
            Material::Hair => self.hair(&hit, &to_eye),
            Material::Sole => self.sole(&hit, &to_eye),
            Material::Board => self.board(&hit, &to_eye),
            Material::Prop => self.prop(&hit, &to_eye),
            Material::Glove => self.glove(&hit, &to_eye),
        }
    }

    fn trimmed(&self) -> bool {
        self.spec.stage == Stage::AfterTrim
    }
}
