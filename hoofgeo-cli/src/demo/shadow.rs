//! Shadows on the ground: the foot's and the ruler's, cast by the sun, and the darkness where they stand.

use super::mesh::{Material, Mesh};
use nalgebra::Vector3;

const CELL: f32 = 2.0;
const SIDE: usize = 340;
const HALF: f32 = CELL * SIDE as f32 / 2.0;

/// Shares of sun and sky that reach the ground, on a grid.
#[derive(Debug)]
pub(crate) struct Shadow {
    sun: Vec<f32>,
    sky: Vec<f32>,
}

impl Shadow {
    pub(crate) fn new<'a>(
        meshes: impl Iterator<Item = &'a Mesh> + Clone,
        sun: &Vector3<f32>,
        extra: &[[Vector3<f32>; 4]],
    ) -> Self {
        let mut cast = vec![0.0_f32; SIDE * SIDE];
        let mut near = vec![0.0_f32; SIDE * SIDE];
        for mesh in meshes {
            if matches!(mesh.material, Material::Board | Material::Sole) {
                continue;
            }
            for t in &mesh.triangles {
                let p = t.map(|i| mesh.points[i as usize].coords.cast::<f32>());
                fill(&mut cast, p.map(|p| land(p, sun)));
                if p[0].y < 26.0 {
                    fill(&mut near, p.map(|p| [p.x, p.z]));
                }
            }
        }
        for quad in extra {
            let p = quad.map(|p| land(p, sun));
            fill(&mut cast, [p[0], p[1], p[2]]);
            fill(&mut cast, [p[0], p[2], p[3]]);
        }
        blur(&mut cast, 2);
        blur(&mut cast, 2);
        let mut wide = near.clone();
        blur(&mut near, 2);
        blur(&mut near, 2);
        blur(&mut wide, 8);
        blur(&mut wide, 8);
        let sky = near.iter().zip(&wide).map(|(n, w)| (1.0 - 0.55 * n - 0.65 * w).max(0.06)).collect();
        Self { sun: cast.iter().map(|c| 1.0 - 0.92 * c.min(1.0)).collect(), sky }
    }

    /// Shares of sun and sky at (x, z) of the ground.
    pub(crate) fn at(&self, x: f32, z: f32) -> (f32, f32) {
        let gx = ((x + HALF) / CELL - 0.5).clamp(0.0, SIDE as f32 - 1.01);
        let gz = ((z + HALF) / CELL - 0.5).clamp(0.0, SIDE as f32 - 1.01);
        let (c, r) = (gx as usize, gz as usize);
        let (tx, tz) = (gx - c as f32, gz - r as f32);
        let read = |g: &[f32]| {
            let i = r * SIDE + c;
            (g[i] * (1.0 - tx) + g[i + 1] * tx) * (1.0 - tz) + (g[i + SIDE] * (1.0 - tx) + g[i + SIDE + 1] * tx) * tz
        };
        (read(&self.sun), read(&self.sky))
    }
}

/// Where a point's shadow falls on the ground.
fn land(p: Vector3<f32>, sun: &Vector3<f32>) -> [f32; 2] {
    let q = p - sun * (p.y.max(0.0) / sun.y);
    [q.x, q.z]
}

/// Marks the cells of a triangle; those that it only touches by its corners as well.
fn fill(grid: &mut [f32], t: [[f32; 2]; 3]) {
    let cell = t.map(|p| [(p[0] + HALF) / CELL, (p[1] + HALF) / CELL]);
    let [a, b, c] = cell;
    let bound = |k: usize| {
        let low = a[k].min(b[k]).min(c[k]).floor().max(0.0) as usize;
        let high = (a[k].max(b[k]).max(c[k]).ceil().max(0.0) as usize).min(SIDE);
        low..high
    };
    let area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    for r in bound(1) {
        for col in bound(0) {
            let (x, y) = (col as f32 + 0.5, r as f32 + 0.5);
            let wb = ((x - a[0]) * (c[1] - a[1]) - (y - a[1]) * (c[0] - a[0])) / area;
            let wc = ((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])) / area;
            if area.abs() < 1.0 || (wb >= 0.0 && wc >= 0.0 && wb + wc <= 1.0) {
                grid[r * SIDE + col] = 1.0;
            }
        }
    }
}

fn blur(grid: &mut [f32], radius: usize) {
    let norm = 1.0 / (2 * radius + 1) as f32;
    let mut line = vec![0.0; SIDE];
    for (stride, step) in [(1, SIDE), (SIDE, 1)] {
        for l in 0..SIDE {
            for (i, v) in line.iter_mut().enumerate() {
                *v = grid[l * step + i * stride];
            }
            for i in 0..SIDE {
                let low = i.saturating_sub(radius);
                let high = (i + radius).min(SIDE - 1);
                grid[l * step + i * stride] = line[low..=high].iter().sum::<f32>() * norm;
            }
        }
    }
}
