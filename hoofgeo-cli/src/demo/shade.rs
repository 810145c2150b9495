//! What the surfaces look like: horn, hair, sole, frog, wood and rubber, all procedural.

use super::foot::Foot3d;
use super::horses::FootSpec;
use super::light::{Finish, Light, Rgb};
use super::mesh::Material;
use super::noise::{cells, fractal, mix, smooth, unit, value};
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

impl Shader<'_> {
    /// Whether a sample of hair or of the underside's rim is there at all.
    pub(crate) fn keeps(&self, material: Material, a: [f32; 5]) -> bool {
        match material {
            Material::Hair => hair_is_there(a, self.spec.grain),
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

    fn horn(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let [arc, below, v, above, _] = hit.attributes;
        let (seed, foot, coat) = (self.spec.grain, &self.spec.shape, &self.spec.coat);
        let mut n = hit.normal;
        // The grid runs so that normals point inward on one side of mirrored feet: outward is away from the foot's core.
        if n.dot(to_eye) < 0.0 {
            n = -n;
        }
        let down = self.foot_to_scene * Vector3::new(-0.68, -0.73, 0.0);
        let down = (down - n * n.dot(&down)).normalize();
        let side = n.cross(&down);

        let (ring_height, ring_slope) = rings(foot, v.abs(), below, arc, seed);
        let dressed = if self.trimmed() {
            smooth(0.95, 0.55, v.abs() + 0.1 * value(below * 0.2, arc * 0.1, seed)) * smooth(42.0, 26.0, above)
        } else {
            0.0
        };
        let fine = value(arc * 1.9, below * 0.045, seed + 1);
        let finer = value(arc * 4.6, below * 0.10, seed + 2);
        let broad = fractal(arc * 0.09, below * 0.025, 3, seed + 3);
        let patch = fractal(arc * 0.05, below * 0.06, 3, seed + 4);
        let smoothed = 1.0 - 0.85 * dressed;
        let relief = 0.10 * fine + 0.07 * finer + 0.10 * fractal(arc * 0.35, below * 0.04, 2, seed + 5);
        n = (n - down * (ring_slope * smoothed) + side * relief).normalize();

        let mut colour = rgb(coat.horn[1])
            .lerp(&rgb(coat.horn[0]), (0.58 + 0.55 * broad + 0.20 * fine + 0.13 * finer).clamp(0.0, 1.3));
        // Pigment stripes run down the tubules.
        if coat.stripes > 0.0 {
            let s = value(arc * 0.085, below * 0.004, seed + 6) + 0.35 * value(arc * 0.45, below * 0.008, seed + 7);
            let stripe = coat.stripes * smooth(0.28, 0.62, s) * (0.75 + 0.25 * fine);
            colour = colour.lerp(&Vector3::new(0.085, 0.068, 0.055), stripe);
            colour = colour.lerp(&Vector3::new(0.60, 0.46, 0.31), 0.35 * smooth(0.2, 0.6, -s));
        }
        // Rings: worn crests catch dust, hollows hold dirt.
        colour *= 1.0 + 0.30 * (ring_height - 0.35) * smoothed;
        // Young horn under the coronet is covered by a pale, flaking film.
        let film_edge = 9.0 + 5.0 * fractal(arc * 0.14, 3.0, 3, seed + 8);
        let film = smooth(film_edge + 4.0, film_edge - 4.0, below)
            * (0.55 + 0.35 * fractal(arc * 0.5, below * 0.5, 3, seed + 9));
        colour =
            colour.lerp(&(rgb(coat.horn[0]) * 1.15 + Vector3::new(0.10, 0.095, 0.085)), 0.55 * film.clamp(0.0, 1.0));
        // Lower down the horn is bleached and scuffed.
        let weather = smooth(45.0, 4.0, above);
        colour = colour.lerp(&(colour * 0.8 + Vector3::new(0.075, 0.066, 0.054)), weather * (0.45 + 0.4 * patch));
        let scuff = smooth(0.22, 0.55, fractal(arc * 0.40, below * 0.055, 4, seed + 10) + 0.3 * patch);
        colour = colour.lerp(&(colour * 1.1 + Vector3::new(0.028, 0.026, 0.023)), 0.7 * scuff);
        // Fine cracks rise from the ground.
        let line = value(arc * 0.42, below * 0.012, seed + 11).abs();
        let reach = 9.0 + 22.0 * unit((arc * 0.42).floor() as i32, 5, seed + 12).powi(3);
        let crack = smooth(0.035, 0.012, line) * smooth(reach, reach * 0.4, above) * (1.0 - dressed);
        colour *= 1.0 - 0.6 * crack;
        // Dried mud: a splashed band at the ground, specks above.
        let mud_line = 5.0 + 9.0 * (fractal(arc * 0.06, 1.0, 4, seed + 13) + 0.15);
        let mud_noise = fractal(arc * 0.25, below * 0.25, 4, seed + 14);
        let mut mud = smooth(mud_line + 3.0, mud_line - 4.0, above + 6.0 * mud_noise);
        mud = mud.max(smooth(0.50, 0.60, fractal(arc * 0.26, below * 0.30, 5, seed + 15) + 0.10 * weather) * 0.8);
        mud *= if self.trimmed() { 0.25 * smooth(4.0, 12.0, above) } else { 0.85 };
        let mud_colour = Vector3::new(0.20, 0.155, 0.105) * (1.0 + 0.35 * mud_noise);
        colour = colour.lerp(&mud_colour, mud);
        // Where the rasp went the horn is pale, matt and scratched across.
        if self.trimmed() {
            let edge = smooth(5.5, 2.5, above + 0.8 * fine).max(dressed);
            let marks = value(arc * 0.22 + below * 0.35, below * 2.6 + arc * 0.25, seed + 16);
            let fresh = rgb(coat.horn[0]) * 1.18 + Vector3::new(0.045, 0.04, 0.032);
            colour = colour.lerp(&(fresh * (1.0 + 0.16 * marks + 0.10 * finer)), 0.8 * edge);
            n = (n + down * (0.10 * marks * edge)).normalize();
        }
        let gloss = (0.70 - 0.35 * weather - 0.8 * mud - 0.55 * dressed + 0.25 * patch - 0.3 * film).clamp(0.06, 1.0);
        // Shadow of the hair above, and of the ground below.
        let open = mix(0.62, 1.0, smooth(-1.0, 9.0, below)) * mix(0.55, 1.0, smooth(0.0, 11.0, above));
        let lit = mix(0.72, 1.0, smooth(0.0, 6.0, below));
        let f = Finish { colour, gloss, sharp: mix(18.0, 42.0, gloss), lit, open, wrap: 0.08 };
        self.light.shade(&n, to_eye, &f)
    }

    fn hair(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let [arc, s, shell, shade, bare] = hit.attributes;
        let (seed, coat) = (self.spec.grain, &self.spec.coat);
        let bend = bend(arc, s, seed);
        let clump = fractal(arc * 0.12 + 0.2 * bend, s * 0.05, 4, seed + 21);
        let strand = value((arc + bend) * 2.6, s * 0.13, seed + 22);
        let fine = value((arc + bend) * 6.0, s * 0.26, seed + 23);
        let t = (0.36 + 0.30 * clump + 0.20 * strand + 0.20 * fine + 0.03 * shell).clamp(0.0, 1.15);
        let mut colour = rgb(coat.hair[0]).lerp(&rgb(coat.hair[1]), t);
        let dust = smooth(0.05, 0.6, fractal(arc * 0.07, s * 0.06, 3, seed + 24)) * smooth(40.0, -5.0, s);
        colour = colour.lerp(&Vector3::new(0.21, 0.17, 0.125), 0.30 * dust);
        let p = self.foot_to_scene.transpose() * hit.point;
        let wrinkle = fractal(p.z * 0.16 + p.y * 0.10, p.x * 0.09 + p.y * 0.16, 5, seed + 30);
        let pore = value(p.x * 0.9 + p.z * 1.1, p.y * 1.3, seed + 31);
        let skin = rgb(coat.skin).lerp(&Vector3::new(0.20, 0.165, 0.125), (0.20 + 0.55 * wrinkle).clamp(0.0, 1.0));
        let bald = smooth(0.35, 0.75, bare + 0.30 * strand * (1.0 - bare) + 0.25 * wrinkle * (1.0 - bare));
        colour = colour.lerp(&(skin * (1.0 + 0.3 * wrinkle + 0.12 * pore)), bald);
        // Hair shines along a band square to it (Kajiya and Kay 1989).
        let lean = 0.22 * strand + 0.3 * value(arc * 0.3, s * 0.08, seed + 25);
        let grow = self.foot_to_scene * Vector3::new(-0.55, -0.83, 0.0);
        let side = hit.normal.cross(&grow);
        let tangent = (grow + side * lean + hit.normal * (0.18 * fine)).normalize();
        let (tl, tv) = (tangent.dot(&self.light.sun), tangent.dot(to_eye));
        let sine = |c: f32| (1.0 - c * c).max(0.0).sqrt();
        let shine = (sine(tl) * sine(tv) - tl * tv).max(0.0).powf(26.0);
        let depth = mix(mix(0.50, 1.06, (shell / 4.0).min(1.0)), 1.0, bald);
        let strands = side * ((0.5 * lean + 0.22 * strand) * (1.0 - bald));
        let n = (hit.normal + strands + Vector3::new(0.22 * pore, 0.3 * wrinkle, 0.2 * pore) * bald).normalize();
        let facing = smooth(-0.35, 0.5, hit.normal.dot(&self.light.sun));
        let f = Finish {
            colour: colour * depth,
            gloss: 0.0,
            sharp: 1.0,
            lit: shade,
            open: shade * mix(0.75, 1.0, (shell / 4.0).max(bald)),
            wrap: 0.35,
        };
        self.light.shade(&n, to_eye, &f)
            + self.light.sun_colour.component_mul(&(colour * 0.5 + Vector3::repeat(0.035)))
                * (0.55 * shine * facing * shade * (1.0 - bald))
    }

    fn sole(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let Some(under) = self.underside else { return Rgb::zeros() };
        let [x, z, open, lit, _] = hit.attributes;
        let (seed, foot, coat) = (self.spec.grain, &self.spec.shape, &self.spec.coat);
        let at = under.place(f64::from(x), f64::from(z));
        let (wall, white) = foot.wall_at(f64::from(at.v.abs()));
        let (wall, white) = (wall as f32, white as f32);
        let clean = if self.trimmed() { 1.0 } else { 0.0 };
        // The wall's and the white line's fine structure runs square to the outline: `arc` counts along it.
        let arc = at.v * 75.0;
        let mut n = hit.normal;
        let jitter = 0.18 * value(arc * 0.35, 3.0, seed + 40);
        let broad = fractal(x * 0.035, z * 0.035, 3, seed + 41);

        // Wall: dark outer horn, pale inner horn, ends of tubules as fine stipple, rasp marks after the trim.
        let stipple = value(x * 3.2, z * 3.2, seed + 42);
        let rasp = value(x * 0.16 + z * 0.10, (z - 0.35 * x) * 1.5, seed + 43) * mix(0.25, 1.0, clean);
        let share = at.inside / wall;
        let pigment = smooth(0.80, 0.45, share + 0.07 * value(arc * 0.25, share * 2.0, seed + 44));
        let mut wall_colour = rgb(coat.inner_wall).lerp(&(rgb(coat.horn[0]) * 1.35), pigment);
        if coat.stripes > 0.0 {
            let s = value(at.v * 6.5, 0.3 * share, seed + 6)
                + 0.35 * value(at.v * 30.0, 0.0, seed + 7)
                + 0.35 * value(arc * 0.3, share * 2.5, seed + 59);
            wall_colour = wall_colour.lerp(&Vector3::new(0.12, 0.10, 0.085), 0.8 * pigment * smooth(0.30, 0.6, s));
        }
        wall_colour *= 1.0 + 0.10 * stipple + 0.10 * rasp + 0.18 * broad;
        let lamella = value(arc * 1.5, at.inside * 0.12, seed + 45);
        // White line: waxy, yellowish, striped by the lamellae.
        let wax = Vector3::new(0.60, 0.47, 0.255) * mix(0.74, 1.0, clean) * (1.0 + 0.20 * lamella + 0.15 * broad);
        let pit = smooth(0.45, 0.60, fractal(arc * 0.22, at.inside * 0.22, 3, seed + 46)) * mix(0.9, 0.45, clean);
        let wax = wax.lerp(&Vector3::new(0.09, 0.072, 0.055), pit);
        // Sole: layered, chalky flakes before, pared and waxy after.
        let (wx, wz) = (fractal(x * 0.13, z * 0.13, 3, seed + 56), fractal(x * 0.13, z * 0.13, 3, seed + 57));
        let (near, next, id) = cells(x * 0.10 + 1.1 * wx + 0.5 * broad, z * 0.085 + 1.1 * wz, seed + 47);
        let crack = smooth(0.10, 0.0, next - near)
            * smooth(-0.15, 0.35, fractal(x * 0.09, z * 0.09, 2, seed + 58))
            * mix(0.26, 0.05, clean);
        let grain = fractal(x * 0.45, z * 0.45, 5, seed + 48);
        // Strokes of the knife leave facets.
        let (facet_a, facet_b, facet) = cells(x * 0.055 + 0.5 * wx * 0.4 + z * 0.03, z * 0.11 - x * 0.03, seed + 60);
        let facet_edge = smooth(0.05, 0.0, facet_b - facet_a) * clean;
        let stain = fractal(x * 0.07, z * 0.07, 4, seed + 49);
        let mut sole =
            rgb(coat.sole) * (0.92 + mix(0.22, 0.08, clean) * (id - 0.5) + 0.34 * grain + 0.2 * stipple * 0.5);
        sole = sole.lerp(&Vector3::new(0.25, 0.225, 0.185), smooth(0.05, 0.45, stain) * mix(0.55, 0.3, clean));
        sole = sole.lerp(&(rgb(coat.sole) * 1.28), smooth(0.1, 0.5, -stain) * 0.45);
        sole *= (1.0 - crack) * (1.0 + 0.14 * (facet - 0.5) * clean) * (1.0 + 0.10 * facet_edge);
        let layer = super::underside::layer(x, z, seed);
        sole *= 1.0 + (0.30 * (layer.0 - 0.5) - 0.28 * layer.1) * mix(1.0, 0.25, clean);
        sole = sole.lerp(&(sole * 0.72), smooth(26.0, 6.0, -at.in_frog + 14.0) * 0.5);
        // Packed dirt lies deep, and over everything before the trim.
        let dirt_noise = fractal(x * 0.16, z * 0.16, 5, seed + 50);
        let soil = Vector3::new(0.105, 0.082, 0.058) * (1.0 + 0.5 * fractal(x * 0.8, z * 0.8, 3, seed + 51));

        let to_white = smooth(-0.22, 0.22, at.inside - wall - jitter);
        let to_sole = smooth(-0.25, 0.25, at.inside - wall - white + jitter);
        let seam = (-((at.inside - wall - white) / 0.35).powi(2)).exp();
        let mut colour = wall_colour.lerp(&wax, to_white).lerp(&sole, to_sole);
        colour *= 1.0 - 0.35 * seam * mix(1.0, 0.6, clean);
        let bar = smooth(0.35, 0.8, at.bar) * to_sole * smooth(0.0, -2.0, at.in_frog);
        let bar_horn =
            rgb(coat.inner_wall).lerp(&(rgb(coat.horn[0]) * 1.4), 0.45 + 0.3 * broad) * (1.0 + 0.15 * stipple);
        colour = colour.lerp(&(bar_horn * (0.82 + 0.25 * grain)), 0.62 * bar);
        let mut gloss = 0.12 + 0.22 * to_white * (1.0 - to_sole) + 0.10 * clean;

        // Frog: rubber with creases; ragged before, pared after.
        let frog_share = smooth(-0.5, 0.5, at.in_frog);
        let crease = fractal(x * 0.10, z * 0.32, 4, seed + 52);
        let fissure = smooth(0.05, 0.0, value(x * 0.055 + 0.25 * crease, z * 0.16, seed + 61).abs())
            * smooth(-0.1, 0.4, fractal(x * 0.05, z * 0.05, 2, seed + 62));
        let scuff = fractal(x * 0.7, z * 0.35, 4, seed + 63);
        let frog = rgb(coat.frog)
            * mix(0.92, 1.2, clean)
            * (1.0 + 0.55 * crease + 0.30 * scuff + 0.16 * stipple)
            * (1.0 - 0.6 * fissure);
        let pared = smooth(0.0, 0.5, fractal(x * 0.05, z * 0.05, 2, seed + 53) + 0.2) * clean;
        let frog = frog.lerp(&(rgb(coat.frog) * 1.9 + Vector3::new(0.05, 0.045, 0.035)), 0.6 * pared);
        colour = colour.lerp(&frog, frog_share);
        gloss = mix(gloss, 0.22, frog_share);
        let skin = smooth(-5.0, 3.0, x - foot.support_length as f32 + 2.5 * crease)
            * (1.0 - frog_share)
            * smooth(1.5, -2.5, at.inside);
        let wrinkle = fractal(z * 0.16, x * 0.12, 5, seed + 30);
        let bulb = rgb(coat.skin).lerp(&Vector3::new(0.20, 0.165, 0.125), (0.22 + 0.55 * wrinkle).clamp(0.0, 1.0))
            * (1.0 + 0.3 * wrinkle);
        colour = colour.lerp(&bulb, skin);

        let deep = smooth(0.80, 0.45, open);
        let film = (smooth(0.05, 0.55, dirt_noise + 0.45 * deep) * mix(0.9, 0.30, clean))
            .max(0.85 * deep * mix(1.0, 0.8, clean));
        let on_wall = 1.0 - to_sole;
        let film = film * mix(1.0, mix(0.55, 0.10, clean), on_wall);
        colour = colour.lerp(&soil, film);
        gloss *= 1.0 - 0.8 * film;

        // The bevel across the toe, and the wall's rounded outer edge.
        let bevel =
            smooth(foot.breakover_at as f32 + 0.8, foot.breakover_at as f32 - 0.8, x) * smooth(1.0, 0.55, at.v.abs());
        let toe_out = self.foot_to_scene * Vector3::new(-1.0, 0.0, 0.0);
        n = (n + toe_out * (0.42 * bevel)).normalize();
        let round = smooth(1.3, 0.0, at.inside) * smooth(0.0, -5.0, x - foot.support_length as f32);
        let middle = self.foot_to_scene * Vector3::new(x - foot.widest_at as f32, 0.0, z).normalize();
        n = (n + middle * (0.7 * round)).normalize();
        let rough = 0.22 * (1.0 - frog_share) * to_sole * mix(1.0, 0.5, clean) + 0.06;
        let bump = Vector3::new(
            rough * fractal(x * 0.6 + 9.0, z * 0.6, 3, seed + 54),
            rough * fractal(x * 0.6, z * 0.6 + 31.0, 3, seed + 55),
            0.0,
        ) + Vector3::new(0.06 * rasp, 0.05 * rasp, 0.0) * (1.0 - to_sole);
        n = (n + bump * 1.6).normalize();
        let tilt =
            Vector3::new(unit((facet * 997.0) as i32, 1, seed) - 0.5, unit((facet * 997.0) as i32, 2, seed) - 0.5, 0.0);
        n = (n + tilt * (0.28 * clean * to_sole)).normalize();
        n = (n + Vector3::new(0.45 * crease, 0.35 * scuff, 0.0) * (frog_share * mix(0.8, 0.4, clean))).normalize();
        let dark = smooth(0.0, 0.95, open);
        let f =
            Finish { colour, gloss, sharp: 22.0, lit: lit * mix(0.4, 1.0, dark), open: 0.12 + 0.88 * dark, wrap: 0.15 };
        self.light.shade(&n, to_eye, &f)
    }

    fn board(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let p = hit.point;
        let on_top = smooth(0.4, 0.7, hit.normal.y);
        let across = mix(p.y * 1.4 + 200.0, p.z, on_top);
        let (lit, open) = if on_top > 0.5 { self.shadow.map_or((1.0, 1.0), |s| s.at(p.x, p.z)) } else { (1.0, 0.85) };
        let mut n = hit.normal;
        let (mut colour, gloss);
        if self.plank {
            let wave = 3.0 * value(p.x * 0.008, across * 0.03, 60) + 1.2 * value(p.x * 0.02, across * 0.07, 61);
            let ring = value(2.0, (across + 4.0 * wave) * 0.42, 62) * 0.6
                + 0.4 * value(p.x * 0.01, (across + 4.0 * wave) * 1.1, 63);
            let fibre = value(p.x * 0.09, across * 2.4, 64) * 0.6 + 0.4 * value(p.x * 0.2, across * 5.5, 65);
            let grey = fractal(p.x * 0.012, across * 0.05, 3, 66);
            colour = Vector3::new(0.255, 0.205, 0.150)
                .lerp(&Vector3::new(0.27, 0.25, 0.225), (0.5 + 0.8 * grey).clamp(0.0, 1.0));
            colour *= 0.95 + 0.30 * ring + 0.20 * fibre;
            let check = smooth(0.05, 0.01, value(p.x * 0.006, across * 0.23, 67).abs())
                * smooth(0.0, 0.4, value(p.x * 0.02, across * 0.1, 68));
            colour *= 1.0 - 0.65 * check;
            n = (n + Vector3::new(0.0, 0.0, 0.14 * fibre)).normalize();
            gloss = 0.05;
        } else {
            let speck = value(p.x * 1.7, across * 1.7, 70);
            let (near, _, id) = cells(p.x * 0.11, across * 0.11, 71);
            let dimple = smooth(0.42, 0.30, near);
            colour = Vector3::new(0.050, 0.049, 0.047) * (1.0 + 0.30 * speck + 0.10 * (id - 0.5));
            colour *= 1.0 - 0.25 * dimple * on_top + 0.20 * fractal(p.x * 0.25, across * 0.4, 3, 75);
            let dust = smooth(-0.1, 0.7, fractal(p.x * 0.03, across * 0.045, 5, 72) + 0.25 * speck * 0.5 + 0.08);
            colour = colour.lerp(&Vector3::new(0.20, 0.18, 0.15), 0.34 * dust);
            n = (n + Vector3::new(0.12 * speck, 0.0, 0.1 * value(p.x * 0.8, across * 0.8, 73))).normalize();
            gloss = 0.25 * (1.0 - dust);
        }
        let crumbs = smooth(0.42, 0.56, fractal(p.x * 0.22, across * 0.22, 4, 74)) * on_top;
        colour = colour.lerp(&Vector3::new(0.16, 0.125, 0.085), 0.7 * crumbs);
        // A used, rounded edge.
        let edge = smooth(3.0, 0.0, p.y.abs()) * smooth(3.0, 0.0, (96.0 - p.z).abs());
        n = (n + Vector3::new(0.0, 0.6, 0.5) * edge).normalize();
        colour *= 1.0 + 0.25 * edge;
        self.light.shade(&n, to_eye, &Finish { gloss, lit, open, ..Finish::matte(colour) })
    }

    /// Worn leather: creases across the fingers, dark where it is handled.
    fn glove(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let [round, along, ..] = hit.attributes;
        let crease = fractal(round * 0.6, along * 0.30, 4, 90);
        let grain = value(round * 9.0, along * 1.6, 91);
        let pore = value(round * 22.0, along * 3.4, 92);
        let worn = fractal(round * 0.8 + 5.0, along * 0.05, 3, 93);
        let mut colour = Vector3::new(0.235, 0.150, 0.085) * (0.92 + 0.30 * crease + 0.10 * grain + 0.10 * pore);
        colour = colour.lerp(&Vector3::new(0.105, 0.082, 0.062), smooth(0.0, 0.45, worn) * 0.75);
        let fold = smooth(0.06, 0.0, value(round * 0.5, along * 0.13, 94).abs());
        colour *= 1.0 - 0.35 * fold;
        let n = (hit.normal + Vector3::new(0.28 * crease, 0.38 * crease + 0.12 * grain, 0.0)).normalize();
        self.light.shade(&n, to_eye, &Finish { gloss: 0.22, sharp: 14.0, open: 0.9, ..Finish::matte(colour) })
    }

    fn prop(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let p = hit.point;
        let grain = value(p.x * 0.5 + 0.4 * value(p.x * 0.1, p.y * 0.05, 80), p.y * 0.03, 81);
        let fibre = value(p.x * 3.1, p.y * 0.15 + p.z * 0.1, 82);
        let colour = Vector3::new(0.46, 0.33, 0.20) * (0.9 + 0.16 * grain + 0.10 * fibre);
        let open = mix(0.5, 1.0, smooth(0.0, 14.0, p.y));
        self.light.shade(&hit.normal, to_eye, &Finish { open, gloss: 0.06, ..Finish::matte(colour) })
    }
}

/// Height (0 to 1) and slope of the growth rings' relief.
fn rings(foot: &Foot3d, v: f32, below: f32, arc: f32, seed: u32) -> (f32, f32) {
    let spacing = foot.ring_spacing(f64::from(v)) as f32;
    let q = below / spacing - (foot.first_ring / foot.ring_spacing_toe) as f32;
    let (mut height, mut slope) = (0.0, 0.0);
    let nearest = q.round() as i32;
    for k in nearest - 1..=nearest + 1 {
        if k < 0 {
            continue;
        }
        let d = (q - Foot3d::ring(k as usize) as f32) / 0.26;
        let strength = 0.30 + 0.75 * unit(k, 1, seed + 90) + 0.30 * value(arc * 0.05, k as f32 * 7.0, seed + 91);
        let bell = strength * (-d * d).exp();
        height += bell;
        slope += -2.0 * d / 0.26 / spacing * bell;
    }
    (height, 0.75 * slope)
}

/// How far locks of hair lean to one side.
fn bend(arc: f32, s: f32, seed: u32) -> f32 {
    1.1 * value(arc * 0.07, s * 0.035, seed + 20) + 0.4 * value(arc * 0.45, s * 0.10, seed + 27)
}

/// Whether a strand of hair is there: the outer shells, and the ends over the horn, are ever thinner.
fn hair_is_there([arc, s, shell, _, bare]: [f32; 5], seed: u32) -> bool {
    if shell < 0.5 && s >= 0.0 {
        return true;
    }
    let bend = bend(arc, s, seed);
    let strand = value((arc + bend) * 2.6, s * 0.13, seed + 22);
    if s < 0.0 {
        // Hanging ends: each lock has its own length.
        let lock = value((arc + bend) * 0.35, 7.0, seed + 26);
        let reach = 2.4 + 2.0 * lock + 1.8 * value((arc + bend) * 2.2, 3.0, seed + 28) - 0.3 * shell;
        return -s < reach && strand > -0.65;
    }
    strand + 0.5 * value((arc + bend) * 6.0, s * 0.26, seed + 23) > -0.75 + 0.30 * shell + 2.5 * bare
}
