//! Triangle meshes of the foot's surfaces, in the foot frame.

use super::foot::{Foot3d, Half};
use super::noise::{fractal, smooth};
use nalgebra::{Point3, Vector3};

/// What a surface is made of, with what its attributes mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Material {
    /// Wall horn: arc along the ground (mm), distance below the coronet (mm), v with sign, distance above the edge (mm).
    Horn,
    /// Haired skin: arc (mm), distance above the coronet (mm, negative where hair hangs over horn), shell, shade, bareness.
    Hair,
    /// The underside: x, z, openness to the sky, sunlight.
    Sole,
    /// The plank or mat that the foot stands on.
    Board,
    /// A small wooden block that holds the ruler.
    Prop,
    /// A work glove: angle round the finger, distance along it (mm).
    Glove,
}

/// A mesh of one material.
#[derive(Debug, Clone)]
pub(crate) struct Mesh {
    pub(crate) material: Material,
    pub(crate) points: Vec<Point3<f64>>,
    pub(crate) normals: Vec<Vector3<f32>>,
    pub(crate) attributes: Vec<[f32; 5]>,
    pub(crate) triangles: Vec<[u32; 3]>,
}

impl Mesh {
    /// A mesh over a grid of `columns` by `rows` points; `wrap` joins the last column to the first.
    pub(crate) fn grid(
        material: Material,
        columns: usize,
        rows: usize,
        wrap: bool,
        point: impl Fn(usize, usize) -> (Point3<f64>, [f32; 5]),
    ) -> Self {
        let mut mesh = Self { material, points: vec![], normals: vec![], attributes: vec![], triangles: vec![] };
        for r in 0..rows {
            for c in 0..columns {
                let (p, a) = point(c, r);
                mesh.points.push(p);
                mesh.attributes.push(a);
            }
        }
        let at = |c: usize, r: usize| (r * columns + c % columns) as u32;
        for r in 0..rows - 1 {
            for c in 0..columns - usize::from(!wrap) {
                mesh.triangles.push([at(c, r), at(c + 1, r), at(c, r + 1)]);
                mesh.triangles.push([at(c + 1, r), at(c + 1, r + 1), at(c, r + 1)]);
            }
        }
        mesh.find_normals();
        mesh
    }

    /// Vertex normals, weighted by the triangles' areas.
    pub(crate) fn find_normals(&mut self) {
        let mut normals = vec![Vector3::zeros(); self.points.len()];
        for t in &self.triangles {
            let [a, b, c] = t.map(|i| self.points[i as usize]);
            let n = (b - a).cross(&(c - a));
            for i in t {
                normals[*i as usize] += n;
            }
        }
        self.normals =
            normals.iter().map(|n| n.try_normalize(1e-12).unwrap_or_else(Vector3::y).cast::<f32>()).collect();
    }

    /// The mesh moved `by` mm along its normals (outward as `outward` says), with attribute 2 set to `shell`.
    fn shell(&self, by: f64, shell: f32, lean: Vector3<f64>) -> Self {
        let mut out = self.clone();
        for (p, n) in out.points.iter_mut().zip(&self.normals) {
            *p += n.cast::<f64>() * by + lean * by;
        }
        for a in &mut out.attributes {
            a[2] = shell;
        }
        out
    }
}

/// Signed v (-2 medial heel, 0 toe, 2 lateral heel) to half and v.
fn halves(v: f64) -> (Half, f64) {
    if v < 0.0 { (Half::Medial, -v) } else { (Half::Lateral, v) }
}

/// The wall's outer surface.
pub(crate) fn wall(foot: &Foot3d) -> Mesh {
    let (columns, rows) = (281, 49);
    let vs: Vec<f64> = (0..columns).map(|c| 4.0 * c as f64 / (columns - 1) as f64 - 2.0).collect();
    let mid: Vec<_> = vs
        .iter()
        .map(|v| {
            let (h, v) = halves(*v);
            foot.wall(h, v, 0.6)
        })
        .collect();
    let mut arc = vec![0.0; columns];
    for c in 1..columns {
        arc[c] = arc[c - 1] + (mid[c] - mid[c - 1]).norm();
    }
    let middle = arc[columns / 2];
    Mesh::grid(Material::Horn, columns, rows, false, |c, r| {
        let (half, v) = halves(vs[c]);
        let t = r as f64 / (rows - 1) as f64;
        let p = foot.wall(half, v, t);
        let length = (foot.wall(half, v, 0.0) - foot.wall(half, v, 1.0)).norm();
        (p, [(arc[c] - middle) as f32, (t * length) as f32, vs[c] as f32, ((1.0 - t) * length) as f32, 0.0])
    })
}

/// Hair that hangs over the uppermost horn, in layers.
pub(crate) fn fringe(foot: &Foot3d) -> Vec<Mesh> {
    let (columns, rows) = (281, 8);
    (1..=3)
        .map(|layer| {
            Mesh::grid(Material::Hair, columns, rows, false, |c, r| {
                let (half, v) = halves(4.0 * c as f64 / (columns - 1) as f64 - 2.0);
                let top = foot.wall(half, v, 0.0);
                let length = (foot.wall(half, v, 1.0) - top).norm();
                let below = 9.0 * r as f64 / (rows - 1) as f64 - 1.0;
                let p = foot.wall(half, v, below / length);
                let out = Vector3::new(p.x - top.x - 12.0 * (1.0 - v), 6.0, half.sign() * p.z.abs() * 0.6).normalize();
                let lift = 0.35 * f64::from(layer) * (1.0 - 0.5 * below / 8.0);
                let arc = coronet_arc(foot, half, v);
                (p + out * lift, [arc as f32, -below as f32, 1.0 + layer as f32, 1.0, 0.0])
            })
        })
        .collect()
}

/// A length along the coronary band that the hair's texture goes by.
fn coronet_arc(foot: &Foot3d, half: Half, v: f64) -> f64 {
    half.sign() * v * 0.5 * (foot.coronet_half_width + foot.support_length) * 0.72
}

/// Pastern and fetlock: solid skin, and shells that hold the hair.
pub(crate) fn pastern(foot: &Foot3d) -> Vec<Mesh> {
    let (columns, rows) = (260, 130);
    let solid = Mesh::grid(Material::Hair, columns, rows, true, |c, r| {
        let round = c as f64 / columns as f64 * 2.0 - 1.0;
        let s = -10.0 + 290.0 * (r as f64 / (rows - 1) as f64).powf(1.25);
        let (p, arc, bare) = pastern_point(foot, round, s);
        let shade = smooth(-14.0, 18.0, s as f32) * 0.35 + 0.65;
        (p, [arc as f32, (s + 10.0) as f32, 0.0, shade, bare as f32])
    });
    let mut solid = solid;
    // Normals point outward whichever way the grid runs.
    let centre = pastern_point(foot, 0.0, 40.0).0 + Vector3::new(25.0, 0.0, 0.0);
    let probe = rows / 2 * columns + columns / 2;
    if solid.normals[probe].cast::<f64>().dot(&(solid.points[probe] - centre)) < 0.0 {
        for n in &mut solid.normals {
            *n = -*n;
        }
    }
    let lean = Vector3::new(-0.25, -0.9, 0.0);
    // The outermost first: what it covers need not be looked at again.
    let mut out: Vec<_> =
        (1..=4).rev().map(|k| solid.shell(0.42 * f64::from(k), k as f32, lean * (0.2 * f64::from(k)))).collect();
    out.push(solid);
    out
}

/// A point of the skin; `round` runs from -1 (behind) over 0 (front) to 1 (behind), lateral side positive.
fn pastern_point(foot: &Foot3d, round: f64, s: f64) -> (Point3<f64>, f64, f64) {
    let half = if round < 0.0 { Half::Medial } else { Half::Lateral };
    let (a, heel_share) = (round.abs(), 0.76);
    let v = (2.0 * a / heel_share).min(2.0);
    // The loop where the skin meets the horn, closed over the bulbs behind.
    let mut rim = foot.coronet_curve(half, v);
    if a > heel_share {
        let q = (a - heel_share) / (1.0 - heel_share);
        let heel = foot.heel_coronet(half);
        let (sin, cos) = (q * std::f64::consts::FRAC_PI_2).sin_cos();
        rim = Point3::new(heel.x - 3.0 + 3.0 * cos, heel.y * (1.0 - 0.42 * sin), heel.z * cos);
    }
    // The ring at height s: an ellipse from the dorsal outline to the palmar one, flattened where it lies over bone.
    let front = foot.pastern(s);
    let heel = foot.heel_coronet(Half::Lateral);
    let t = (s / 46.0).clamp(0.0, 1.0);
    let t = t * t * (3.0 - 2.0 * t);
    let low = (heel.y - foot.toe_coronet().y).atan2(heel.x - foot.toe_coronet().x);
    let upright = ((s - 80.0) / 80.0).clamp(0.0, 1.0);
    let high = ((foot.pastern_angle - 90.0) * (1.0 - 0.85 * upright)).to_radians();
    let tilt = low + (high - low) * t;
    let fetlock = ((s - 70.0) / 70.0).clamp(0.0, 1.0);
    let fetlock = fetlock * fetlock * (3.0 - 2.0 * fetlock);
    let run = heel.x - foot.toe_coronet().x;
    let depth = (run + 8.0) * (1.0 - t) + (0.61 * run + 17.0 * fetlock) * t;
    let wide = (foot.coronet_half_width * 0.98) * (1.0 - t) + (0.62 * foot.coronet_half_width + 8.0 * fetlock) * t;
    let back = front + Vector3::new(tilt.cos(), tilt.sin(), 0.0) * depth;
    let (sin, cos) = (round * std::f64::consts::PI).sin_cos();
    let middle = nalgebra::center(&front, &back);
    let mut ring = middle + (front - back) * (0.5 * cos);
    ring.z = wide * sin.signum() * sin.abs().powf(0.9);
    // Tendons behind the pastern leave a hollow at its sides.
    let hollow = 1.0 - 0.10 * t * (-((a - 0.68) / 0.14_f64).powi(2)).exp();
    ring.z *= hollow;
    let m = ((s + 10.0) / 14.0).clamp(0.0, 1.0);
    let m = m * m * (3.0 - 2.0 * m);
    let p = Point3::from(rim.coords * (1.0 - m) + ring.coords * m);
    // The coronary band swells a little over the horn.
    let out = Vector3::new(-cos, 0.25, sin).normalize();
    let swell = if s < 2.0 { 1.4 * (1.0 - ((s + 3.5) / 6.5).powi(2)).max(0.0) } else { 0.0 };
    let (p, on_bulb) = over_bulb(foot, half, p + out * swell);
    let behind = ((a - heel_share) / 0.06).clamp(0.0, 1.0);
    let height = (p.y - 0.25 * heel.y) / (0.45 * heel.y);
    let bare = on_bulb * behind * (1.0 - height.clamp(0.0, 1.0));
    (p, coronet_arc(foot, half, a * 2.0 / heel_share), bare)
}

/// Lifts skin that lies inside a heel bulb onto its surface, with a smooth join; and says how near the bulb it is.
fn over_bulb(foot: &Foot3d, half: Half, p: Point3<f64>) -> (Point3<f64>, f64) {
    const JOIN: f64 = 0.3;
    let (centre, radii) = foot.bulb(half);
    let d = p - centre;
    let e = (0..3).map(|k| (d[k] / radii[k]).powi(2)).sum::<f64>().sqrt().max(1e-6);
    let h = (JOIN - (e - 1.0).abs()).max(0.0) / JOIN;
    let lifted = e.max(1.0) + 0.25 * JOIN * h * h;
    (centre + d * (lifted / e), ((1.6 - e) / 0.4).clamp(0.0, 1.0))
}

/// One heel bulb: bare skin below, where the haired skin ends.
pub(crate) fn bulb(foot: &Foot3d, half: Half) -> Mesh {
    let (centre, radii) = foot.bulb(half);
    let mut mesh = Mesh::grid(Material::Hair, 72, 37, true, |c, r| {
        let (sb, cb) = (c as f64 / 72.0 * std::f64::consts::TAU).sin_cos();
        let (sa, ca) = (r as f64 / 36.0 * std::f64::consts::PI).sin_cos();
        let p = centre + Vector3::new(radii[0] * sa * cb, radii[1] * ca, radii[2] * sa * sb);
        (p, [p.z as f32, p.y as f32, 0.0, smooth(-4.0, 18.0, p.y as f32) * 0.65 + 0.35, 1.0])
    });
    for (n, p) in mesh.normals.iter_mut().zip(&mesh.points) {
        let d = p - centre;
        *n = Vector3::from_fn(|k, _| d[k] / (radii[k] * radii[k])).normalize().cast();
    }
    mesh
}

/// A gloved finger: a tapering tube with a rounded end at `tip`.
pub(crate) fn finger(root: Point3<f64>, tip: Point3<f64>, radius: f64) -> Mesh {
    let (columns, rows) = (48, 60);
    let axis = (tip - root).normalize();
    let side = axis.cross(&Vector3::z()).normalize();
    let front = side.cross(&axis);
    let length = (tip - root).norm();
    Mesh::grid(Material::Glove, columns, rows, true, |c, r| {
        let round = c as f64 / columns as f64 * std::f64::consts::TAU;
        // Along the tube, then over the cap.
        let s = (r as f64 / (rows - 1) as f64).powf(0.8) * length;
        let from_tip = length - s;
        let cap = if from_tip < radius { (1.0 - (1.0 - from_tip / radius).powi(2)).max(0.0).sqrt() } else { 1.0 };
        let taper = 1.0 - 0.12 * s / length + 0.05 * (s / 13.0).sin();
        let bulge = radius * cap * taper;
        let (sin, cos) = round.sin_cos();
        let lean = 0.6 * f64::from(fractal(s as f32 * 0.09, round as f32 * 0.8, 3, 96));
        let p = root + axis * s + (side * cos + front * (0.82 * sin)) * (bulge + lean * cap);
        (p, [round as f32, s as f32, 0.0, 1.0, 0.0])
    })
}

/// A box between two corners, in whatever frame they are in.
pub(crate) fn cuboid(material: Material, low: Point3<f64>, high: Point3<f64>) -> Mesh {
    let mut mesh = Mesh { material, points: vec![], normals: vec![], attributes: vec![], triangles: vec![] };
    for axis in 0..3 {
        for (side, sign) in [(low, -1.0), (high, 1.0)] {
            let base = mesh.points.len() as u32;
            for corner in 0..4 {
                let mut p = low;
                p[axis] = side[axis];
                p[(axis + 1) % 3] = if corner & 1 == 0 { low } else { high }[(axis + 1) % 3];
                p[(axis + 2) % 3] = if corner & 2 == 0 { low } else { high }[(axis + 2) % 3];
                let mut n = Vector3::zeros();
                n[axis] = sign;
                mesh.points.push(p);
                mesh.normals.push(n);
                mesh.attributes.push([0.0; 5]);
            }
            mesh.triangles.extend([[base, base + 1, base + 2], [base + 1, base + 3, base + 2]]);
        }
    }
    mesh
}
