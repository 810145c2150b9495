//! Repeatable noise for textures: hashes of lattice points, smoothed between them.

/// A well-mixed hash of two lattice coordinates and a seed.
pub(crate) fn hash(x: i32, y: i32, seed: u32) -> u32 {
    let mut h =
        (x as u32).wrapping_mul(0x8da6_b343) ^ (y as u32).wrapping_mul(0xd816_3841) ^ seed.wrapping_mul(0xcb1a_b31f);
    h = (h ^ (h >> 15)).wrapping_mul(0x2c1b_3c6d);
    h = (h ^ (h >> 12)).wrapping_mul(0x297a_2d39);
    h ^ (h >> 15)
}

/// Uniform in 0..1 at a lattice point.
pub(crate) fn unit(x: i32, y: i32, seed: u32) -> f32 {
    (hash(x, y, seed) >> 8) as f32 * (1.0 / 16_777_216.0)
}

/// Uniform in 0..1 at a lattice point, with one round of mixing: its upper bits are good enough for smooth noise.
fn lattice(x: i32, y: i32, seed: u32) -> f32 {
    let h =
        (x as u32).wrapping_mul(0x8da6_b343) ^ (y as u32).wrapping_mul(0xd816_3841) ^ seed.wrapping_mul(0xcb1a_b31f);
    let h = (h ^ (h >> 15)).wrapping_mul(0x2c1b_3c6d);
    ((h ^ (h >> 13)) & 0xff_ffff) as f32 * (1.0 / 16_777_216.0)
}

/// The integer below; quicker than `f32::floor`, which is a library call on older processors.
fn floor(x: f32) -> i32 {
    let i = x as i32;
    i - i32::from(x < i as f32)
}

/// Smooth noise in -1..1, with a wavelength of about two units.
pub(crate) fn value(x: f32, y: f32, seed: u32) -> f32 {
    let (ix, iy) = (floor(x), floor(y));
    let (sx, sy) = (x - ix as f32, y - iy as f32);
    let (tx, ty) = (sx * sx * (3.0 - 2.0 * sx), sy * sy * (3.0 - 2.0 * sy));
    let top = mix(lattice(ix, iy, seed), lattice(ix + 1, iy, seed), tx);
    let low = mix(lattice(ix, iy + 1, seed), lattice(ix + 1, iy + 1, seed), tx);
    2.0 * mix(top, low, ty) - 1.0
}

/// Sum of `octaves` of smooth noise, each half as strong and twice as fine as the one before; about -1..1.
pub(crate) fn fractal(mut x: f32, mut y: f32, octaves: u32, seed: u32) -> f32 {
    let (mut sum, mut weight) = (0.0, 0.5);
    for i in 0..octaves {
        sum += weight * value(x, y, seed.wrapping_add(i * 7919));
        weight *= 0.5;
        // Turned by 37 degrees as well, or the lattice would show.
        (x, y) = (1.62 * x - 1.22 * y + 17.1, 1.22 * x + 1.62 * y - 9.7);
    }
    sum
}

/// As [`fractal`], without the turn: for fibres, which must all run one way.
pub(crate) fn fibres(mut x: f32, mut y: f32, octaves: u32, seed: u32) -> f32 {
    let (mut sum, mut weight) = (0.0, 0.5);
    for i in 0..octaves {
        sum += weight * value(x, y, seed.wrapping_add(i * 7919));
        weight *= 0.5;
        (x, y) = (2.03 * x + 17.1, 2.03 * y - 9.7);
    }
    sum
}

/// Distances to the nearest and second nearest of scattered points (one a cell), and the nearest one's own number.
pub(crate) fn cells(x: f32, y: f32, seed: u32) -> (f32, f32, f32) {
    let (ix, iy) = (floor(x), floor(y));
    let (mut first, mut second, mut id) = (9.0_f32, 9.0_f32, 0.0);
    for cy in iy - 1..=iy + 1 {
        for cx in ix - 1..=ix + 1 {
            let dx = cx as f32 + unit(cx, cy, seed) - x;
            let dy = cy as f32 + unit(cx, cy, seed ^ 0x5bd1) - y;
            let d = dx * dx + dy * dy;
            if d < first {
                (second, first, id) = (first, d, unit(cx, cy, seed ^ 0x77));
            } else if d < second {
                second = d;
            }
        }
    }
    (first.sqrt(), second.sqrt(), id)
}

/// Linear mix of two numbers.
pub(crate) fn mix(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// 0 below `a`, 1 above `b`, smooth between.
pub(crate) fn smooth(a: f32, b: f32, x: f32) -> f32 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
