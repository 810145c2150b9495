//! A z-buffer rasteriser that works band by band, two by two samples a pixel.
//!
//! Vertices are projected with the full lens, so edges lie where the truth says, to the sub-pixel; only the inside of a
//! triangle, a millimetre across, is interpolated as if the lens were straight there.

use super::camera::Camera;
use super::mesh::{Material, Mesh};
use nalgebra::Vector3;

/// Rows of pixels in a band.
pub(crate) const BAND: usize = 24;

/// Where a sample hit nothing.
pub(crate) const NOTHING: u32 = u32::MAX;

/// A projected vertex: sample coordinates and 1/depth.
#[derive(Debug, Clone, Copy)]
struct Seen {
    x: f32,
    y: f32,
    w: f32,
}

/// All meshes of a scene, projected and sorted into bands.
#[derive(Debug)]
pub(crate) struct Stage<'a> {
    meshes: &'a [Mesh],
    seen: Vec<Vec<Seen>>,
    bands: Vec<Vec<(u16, u32)>>,
    width: usize,
}

/// What a sample hit: the surface, interpolated.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hit {
    pub(crate) material: Material,
    pub(crate) point: Vector3<f32>,
    pub(crate) normal: Vector3<f32>,
    pub(crate) attributes: [f32; 5],
}

/// One band's samples: 1/depth, and mesh and triangle.
#[derive(Debug)]
pub(crate) struct Samples {
    pub(crate) depth: Vec<f32>,
    pub(crate) mesh: Vec<u16>,
    pub(crate) triangle: Vec<u32>,
}

impl<'a> Stage<'a> {
    pub(crate) fn new(meshes: &'a [Mesh], camera: &Camera) -> Self {
        let (width, height) = (camera.width as usize, camera.height as usize);
        let seen: Vec<Vec<Seen>> = meshes
            .iter()
            .map(|m| {
                m.points
                    .iter()
                    .map(|p| {
                        let [u, v] = camera.project(p);
                        Seen { x: 2.0 * u as f32, y: 2.0 * v as f32, w: (1.0 / camera.to_camera(p).z) as f32 }
                    })
                    .collect()
            })
            .collect();
        let mut bands = vec![Vec::new(); height.div_ceil(BAND)];
        for (m, (mesh, seen)) in meshes.iter().zip(&seen).enumerate() {
            for (t, triangle) in mesh.triangles.iter().enumerate() {
                let [a, b, c] = triangle.map(|i| seen[i as usize]);
                let (low_x, high_x) = (a.x.min(b.x).min(c.x), a.x.max(b.x).max(c.x));
                let (low_y, high_y) = (a.y.min(b.y).min(c.y), a.y.max(b.y).max(c.y));
                if high_x < 0.0 || low_x > 2.0 * width as f32 || high_y < 0.0 || low_y > 2.0 * height as f32 {
                    continue;
                }
                let first = (low_y.max(0.0) as usize / 2) / BAND;
                let last = ((high_y as usize / 2) / BAND).min(bands.len() - 1);
                for band in &mut bands[first..=last] {
                    band.push((m as u16, t as u32));
                }
            }
        }
        Self { meshes, seen, bands, width }
    }

    /// Rasterises one band; `keep` decides on samples of hair and of the underside's rim.
    pub(crate) fn samples(&self, band: usize, keep: impl Fn(Material, [f32; 5]) -> bool) -> Samples {
        let (columns, rows) = (2 * self.width, 2 * BAND);
        let mut out = Samples {
            depth: vec![0.0; columns * rows],
            mesh: vec![0; columns * rows],
            triangle: vec![NOTHING; columns * rows],
        };
        let top = (band * rows) as f32;
        for &(m, t) in &self.bands[band] {
            let mesh = &self.meshes[m as usize];
            let corners = mesh.triangles[t as usize];
            let [a, b, c] = corners.map(|i| self.seen[m as usize][i as usize]);
            let area = (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
            if area.abs() < 1e-9 {
                continue;
            }
            let inverse = 1.0 / area;
            let row_range = span(a.y - top, b.y - top, c.y - top, rows);
            let column_range = span(a.x, b.x, c.x, columns);
            let tested = matches!(mesh.material, Material::Hair | Material::Sole);
            for row in row_range {
                let y = top + row as f32 + 0.5;
                for column in column_range.clone() {
                    let x = column as f32 + 0.5;
                    let wb = ((x - a.x) * (c.y - a.y) - (y - a.y) * (c.x - a.x)) * inverse;
                    let wc = ((b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x)) * inverse;
                    let wa = 1.0 - wb - wc;
                    if wa < 0.0 || wb < 0.0 || wc < 0.0 {
                        continue;
                    }
                    let depth = wa * a.w + wb * b.w + wc * c.w;
                    let i = row * columns + column;
                    if depth <= out.depth[i] {
                        continue;
                    }
                    if tested {
                        let [p, q, r] = corners.map(|k| mesh.attributes[k as usize]);
                        let mixed = std::array::from_fn(|k| wa * p[k] + wb * q[k] + wc * r[k]);
                        if !keep(mesh.material, mixed) {
                            continue;
                        }
                    }
                    out.depth[i] = depth;
                    out.mesh[i] = m;
                    out.triangle[i] = t;
                }
            }
        }
        out
    }

    /// The surface that a sample hit; (x, y) in samples.
    pub(crate) fn hit(&self, m: u16, t: u32, x: f32, y: f32) -> Hit {
        let mesh = &self.meshes[m as usize];
        let corners = mesh.triangles[t as usize];
        let [a, b, c] = corners.map(|i| self.seen[m as usize][i as usize]);
        let inverse = 1.0 / ((b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x));
        let wb = (((x - a.x) * (c.y - a.y) - (y - a.y) * (c.x - a.x)) * inverse) * b.w;
        let wc = (((b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x)) * inverse) * c.w;
        let wa = (1.0 - wb / b.w - wc / c.w) * a.w;
        let sum = 1.0 / (wa + wb + wc);
        let (wa, wb, wc) = (wa * sum, wb * sum, wc * sum);
        let [p, q, r] = corners.map(|i| mesh.points[i as usize].coords.cast::<f32>());
        let [np, nq, nr] = corners.map(|i| mesh.normals[i as usize]);
        let [ap, aq, ar] = corners.map(|i| mesh.attributes[i as usize]);
        Hit {
            material: mesh.material,
            point: p * wa + q * wb + r * wc,
            normal: (np * wa + nq * wb + nr * wc).normalize(),
            attributes: std::array::from_fn(|k| wa * ap[k] + wb * aq[k] + wc * ar[k]),
        }
    }
}

/// The samples whose centres lie between the least and greatest of three coordinates.
fn span(a: f32, b: f32, c: f32, end: usize) -> std::ops::Range<usize> {
    let low = (a.min(b).min(c) - 0.5).ceil().max(0.0) as usize;
    let high = (a.max(b).max(c) - 0.5).floor() + 1.0;
    low..(high.max(0.0) as usize).min(end)
}
