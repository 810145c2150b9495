//! The least-squares problem: one camera and a pose for every photo, solved on its block structure.
//!
//! Photos share nothing but the camera, so that each photo's six pose parameters are eliminated from the normal equations on their
//! own (Schur complement); what is left has the size of the camera. Damping and stopping follow [`crate::numeric::minimise`].
//!
//! # Source
//! B. Triggs et al., *Bundle Adjustment: A Modern Synthesis*, 2000, section 6.1 (elimination); H. B. Nielsen, *Damping parameter in
//! Marquardt's method*, IMM-REP-1999-05 (gain ratio).

use super::{BoardPoint, PARAMETERS};
use crate::lens::Distortion;
use crate::scene::pose::PlanarPose;
use nalgebra::{
    Cholesky, Const, Matrix2, Matrix2x3, Matrix6, Point2, Rotation3, SMatrix, SVector, Vector2, Vector3, Vector6,
};

pub(super) type CameraVector = SVector<f64, PARAMETERS>;
pub(super) type CameraMatrix = SMatrix<f64, PARAMETERS, PARAMETERS>;
type Cross = SMatrix<f64, PARAMETERS, 6>;

/// With this damping a step is too small to change anything.
const LARGEST_DAMPING: f64 = 1e12;
/// Far more than any set tried takes.
const MAX_ITERATIONS: usize = 200;
/// Stop when this share of the residuals' variance is all that a step would still take off the sum of squares: every parameter is
/// then within 1e-5 of its standard uncertainty.
const DECREMENT: f64 = 1e-10;

/// Which of the camera's parameters are estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Free {
    pub(super) is_free: [bool; PARAMETERS],
    /// One focal length: the first stands for both.
    pub(super) square: bool,
}

impl Free {
    pub(super) fn indices(&self) -> Vec<usize> {
        (0..PARAMETERS).filter(|&i| self.is_free[i]).collect()
    }
}

/// Camera (order of [`super::Parameter`]) and one pose a photo.
#[derive(Debug, Clone)]
pub(super) struct State {
    pub(super) camera: CameraVector,
    pub(super) poses: Vec<PlanarPose>,
}

/// One photo's share of the normal equations.
#[derive(Debug, Clone)]
struct Block {
    camera: CameraMatrix,
    cross: Cross,
    pose: Matrix6<f64>,
    camera_gradient: CameraVector,
    pose_gradient: Vector6<f64>,
    sum_of_squares: f64,
}

/// The end of a fit. Its photos are those it was given, in their order.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub(super) state: State,
    blocks: Vec<Block>,
    free: Free,
    pub(super) sum_of_squares: f64,
    /// Residuals less parameters.
    pub(super) freedom: f64,
}

pub(super) fn distortion(camera: &CameraVector) -> Distortion<f64> {
    Distortion { k1: camera[4], k2: camera[5], k3: camera[6], p1: camera[7], p2: camera[8] }
}

/// The pixel of a board point; `None` behind the camera.
pub(super) fn project(camera: &CameraVector, pose: &PlanarPose, mm: Point2<f64>) -> Option<Point2<f64>> {
    let p = pose.rotation * Vector3::new(mm.x, mm.y, 0.0) + pose.translation;
    if p.z <= 0.0 {
        return None;
    }
    let d = distortion(camera).apply(Point2::new(p.x / p.z, p.y / p.z));
    Some(Point2::new(camera[2] + camera[0] * d.x, camera[3] + camera[1] * d.y))
}

/// Sum of squared residuals, px²; `None` where a point lies behind the camera.
pub(super) fn sum_of_squares(camera: &CameraVector, pose: &PlanarPose, points: &[BoardPoint]) -> Option<f64> {
    points.iter().map(|p| Some((project(camera, pose, p.mm)? - p.pixel).norm_squared())).sum()
}

impl Block {
    /// Linearises one photo. A pose turns by a rotation vector applied in the camera's frame after the rotation.
    fn new(camera: &CameraVector, pose: &PlanarPose, points: &[BoardPoint], free: &Free) -> Option<Self> {
        let mut block = Self {
            camera: CameraMatrix::zeros(),
            cross: Cross::zeros(),
            pose: Matrix6::zeros(),
            camera_gradient: CameraVector::zeros(),
            pose_gradient: Vector6::zeros(),
            sum_of_squares: 0.0,
        };
        let lens = distortion(camera);
        let focal = Vector2::new(camera[0], camera[1]);
        for point in points {
            let turned = pose.rotation * Vector3::new(point.mm.x, point.mm.y, 0.0);
            let p = turned + pose.translation;
            if p.z <= 0.0 {
                return None;
            }
            let n = Point2::new(p.x / p.z, p.y / p.z);
            let d = lens.apply(n);
            let residual =
                Vector2::new(camera[2] + focal.x * d.x - point.pixel.x, camera[3] + focal.y * d.y - point.pixel.y);
            let by_camera = camera_derivative(n, d, &focal, free);
            let by_direction = Matrix2::from_diagonal(&focal) * lens.derivative(n);
            let by_point: Matrix2x3<f64> = by_direction * Matrix2x3::new(1.0, 0.0, -n.x, 0.0, 1.0, -n.y) / p.z;
            let mut by_pose = SMatrix::<f64, 2, 6>::zeros();
            by_pose.fixed_view_mut::<2, 3>(0, 0).copy_from(&(-by_point * turned.cross_matrix()));
            by_pose.fixed_view_mut::<2, 3>(0, 3).copy_from(&by_point);
            block.camera += by_camera.transpose() * by_camera;
            block.cross += by_camera.transpose() * by_pose;
            block.pose += by_pose.transpose() * by_pose;
            block.camera_gradient += by_camera.transpose() * residual;
            block.pose_gradient += by_pose.transpose() * residual;
            block.sum_of_squares += residual.norm_squared();
        }
        Some(block)
    }
}

/// Derivative of a pixel by the camera's parameters; columns of zeros for what is held.
fn camera_derivative(n: Point2<f64>, d: Point2<f64>, focal: &Vector2<f64>, free: &Free) -> SMatrix<f64, 2, PARAMETERS> {
    let r2 = n.coords.norm_squared();
    let (r4, r6) = (r2 * r2, r2 * r2 * r2);
    let (fx, fy) = (focal.x, focal.y);
    let xy = 2.0 * n.x * n.y;
    let mut j = SMatrix::<f64, 2, PARAMETERS>::from_row_slice(&[
        d.x,
        0.0,
        1.0,
        0.0,
        fx * n.x * r2,
        fx * n.x * r4,
        fx * n.x * r6,
        fx * xy,
        fx * (r2 + 2.0 * n.x * n.x), //
        0.0,
        d.y,
        0.0,
        1.0,
        fy * n.y * r2,
        fy * n.y * r4,
        fy * n.y * r6,
        fy * (r2 + 2.0 * n.y * n.y),
        fy * xy,
    ]);
    if free.square {
        j[(1, 0)] = j[(1, 1)];
    }
    for (mut column, is_free) in j.column_iter_mut().zip(free.is_free) {
        if !is_free {
            column.fill(0.0);
        }
    }
    j
}

/// Normal equations with the poses eliminated.
struct Reduced {
    camera: Cholesky<f64, Const<PARAMETERS>>,
    poses: Vec<Cholesky<f64, Const<6>>>,
}

struct Step {
    camera: CameraVector,
    poses: Vec<Vector6<f64>>,
    /// gᵀ·step, negative.
    slope: f64,
    /// stepᵀ·D·step, D the diagonal of the normal equations.
    length: f64,
}

impl Reduced {
    /// `None` where something is not determined.
    fn new(blocks: &[Block], free: &Free, damping: f64) -> Option<Self> {
        let mut camera: CameraMatrix = blocks.iter().map(|b| b.camera).sum();
        for i in 0..PARAMETERS {
            camera[(i, i)] = if free.is_free[i] { camera[(i, i)] * (1.0 + damping) } else { 1.0 };
        }
        let diagonal = camera.diagonal();
        let mut poses = Vec::with_capacity(blocks.len());
        for b in blocks {
            let mut pose = b.pose;
            for i in 0..6 {
                pose[(i, i)] *= 1.0 + damping;
            }
            let pose = pose.cholesky()?;
            camera -= b.cross * pose.solve(&b.cross.transpose());
            poses.push(pose);
        }
        // What elimination leaves of a parameter's own weight; rounding leaves about 1e-16 times a few hundred points.
        let determined = (0..PARAMETERS).all(|i| camera[(i, i)] > 1e-13 * diagonal[i]);
        let camera = camera.cholesky().filter(|_| determined)?;
        Some(Self { camera, poses })
    }

    fn step(&self, blocks: &[Block], free: &Free) -> Step {
        let mut rest: CameraVector = blocks.iter().map(|b| b.camera_gradient).sum();
        let gradient = rest;
        for (b, pose) in blocks.iter().zip(&self.poses) {
            rest -= b.cross * pose.solve(&b.pose_gradient);
        }
        let camera = -self.camera.solve(&rest);
        let mut step =
            Step { camera, poses: Vec::with_capacity(blocks.len()), slope: gradient.dot(&camera), length: 0.0 };
        let mut diagonal = CameraVector::zeros();
        for (b, pose) in blocks.iter().zip(&self.poses) {
            let d = -pose.solve(&(b.pose_gradient + b.cross.transpose() * camera));
            step.slope += b.pose_gradient.dot(&d);
            step.length += b.pose.diagonal().dot(&d.component_mul(&d));
            diagonal += b.camera.diagonal();
            step.poses.push(d);
        }
        step.length +=
            (0..PARAMETERS).filter(|&i| free.is_free[i]).map(|i| diagonal[i] * camera[i].powi(2)).sum::<f64>();
        step
    }
}

impl State {
    fn moved(&self, step: &Step, free: &Free) -> Self {
        let mut camera = self.camera + step.camera;
        if free.square {
            camera[1] = camera[0];
        }
        let poses = self.poses.iter().zip(&step.poses).map(|(pose, d)| {
            let turn = Rotation3::from_scaled_axis(Vector3::new(d[0], d[1], d[2]));
            PlanarPose {
                rotation: turn * pose.rotation,
                translation: pose.translation + Vector3::new(d[3], d[4], d[5]),
            }
        });
        Self { camera, poses: poses.collect() }
    }

    fn linearise(&self, photos: &[&[BoardPoint]], free: &Free) -> Option<Vec<Block>> {
        // A lens without a focal length is none.
        if !(self.camera[0] > 0.0 && self.camera[1] > 0.0) {
            return None;
        }
        let pairs = self.poses.iter().zip(photos);
        pairs.map(|(pose, points)| Block::new(&self.camera, pose, points, free)).collect()
    }
}

/// Refines `start`; `None` where the photos do not determine the camera.
pub(super) fn refine(photos: &[&[BoardPoint]], start: State, free: &Free) -> Option<Fit> {
    let blocks = start.linearise(photos, free)?;
    let residuals = 2 * photos.iter().map(|p| p.len()).sum::<usize>();
    let parameters = free.indices().len() + 6 * photos.len();
    let freedom = residuals.checked_sub(parameters).filter(|&d| d > 0)? as f64;
    Fit { state: start, sum_of_squares: total(&blocks), blocks, free: *free, freedom }.descend(photos)
}

fn total(blocks: &[Block]) -> f64 {
    blocks.iter().map(|b| b.sum_of_squares).sum()
}

impl Fit {
    /// The fit of all photos but one. `photos` are those of this fit.
    pub(super) fn without(&self, photos: &[&[BoardPoint]], left_out: usize) -> Option<Self> {
        let mut rest = self.clone();
        rest.blocks.remove(left_out);
        rest.state.poses.remove(left_out);
        rest.sum_of_squares = total(&rest.blocks);
        rest.freedom -= 2.0 * photos[left_out].len() as f64 - 6.0;
        let others: Vec<_> = photos.iter().enumerate().filter(|(i, _)| *i != left_out).map(|(_, p)| *p).collect();
        if rest.freedom > 0.0 { rest.descend(&others) } else { None }
    }

    fn descend(mut self, photos: &[&[BoardPoint]]) -> Option<Self> {
        let free = self.free;
        let (mut damping, mut growth) = (1e-3, 2.0);
        if !self.sum_of_squares.is_finite() {
            return None;
        }
        for _ in 0..MAX_ITERATIONS {
            // The undamped step decides on convergence; where the normal equations are singular only progress does.
            let full = Reduced::new(&self.blocks, &free, 0.0).map(|r| r.step(&self.blocks, &free));
            if let Some(full) = &full {
                let enough = DECREMENT * self.sum_of_squares / self.freedom;
                if -full.slope <= enough.max(f64::MIN_POSITIVE) {
                    return Some(self);
                }
            }
            loop {
                let step = Reduced::new(&self.blocks, &free, damping).map(|r| r.step(&self.blocks, &free));
                let Some(step) = step else {
                    damping *= 10.0;
                    if damping > LARGEST_DAMPING {
                        return None;
                    }
                    continue;
                };
                // Twice the reduction of half the sum of squares that the linear model promises.
                let promised = damping * step.length - step.slope;
                let state = self.state.moved(&step, &free);
                let blocks = state.linearise(photos, &free);
                let sum = blocks.as_deref().map_or(f64::INFINITY, total);
                let gain = (self.sum_of_squares - sum) / promised;
                if let Some(blocks) = blocks.filter(|_| sum.is_finite() && gain > 0.0) {
                    (self.state, self.blocks, self.sum_of_squares) = (state, blocks, sum);
                    damping *= (1.0 - (2.0 * gain - 1.0).powi(3)).clamp(1e-2, 2.0);
                    growth = 2.0;
                    break;
                }
                damping *= growth;
                growth *= 2.0;
                // Rounding hides any further progress: this is the optimum if the camera is determined there at all.
                if !damping.is_finite() || damping > LARGEST_DAMPING {
                    return full.map(|_| self);
                }
            }
        }
        None
    }

    /// Sum of squared residuals of one photo.
    pub(super) fn photo_sum(&self, photo: usize) -> f64 {
        self.blocks[photo].sum_of_squares
    }

    /// Variance of a residual coordinate, px².
    pub(super) fn variance(&self) -> f64 {
        self.sum_of_squares / self.freedom
    }

    /// σ²(JᵀJ)⁻¹ of the camera (zeros for what is held) and of every pose (rotation vector in the camera's frame, translation).
    pub(super) fn covariance(&self) -> Option<(CameraMatrix, Vec<Matrix6<f64>>)> {
        let reduced = Reduced::new(&self.blocks, &self.free, 0.0)?;
        let mut camera = reduced.camera.inverse();
        for i in (0..PARAMETERS).filter(|&i| !self.free.is_free[i]) {
            camera.row_mut(i).fill(0.0);
            camera.column_mut(i).fill(0.0);
        }
        let poses = self.blocks.iter().zip(&reduced.poses).map(|(b, pose)| {
            let carried = pose.solve(&b.cross.transpose());
            (pose.inverse() + carried * camera * carried.transpose()) * self.variance()
        });
        let poses = poses.collect();
        Some((camera * self.variance(), poses))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// The gradient that the normal equations use is that of the sum of squares, by differences in every direction.
    #[test]
    fn derivatives_match_differences() {
        let camera = CameraVector::from([500.0, 510.0, 330.0, 240.0, -0.25, 0.08, -0.02, 0.001, -0.002]);
        let pose = PlanarPose {
            rotation: Rotation3::from_scaled_axis(Vector3::new(0.3, -0.4, 0.2)).into_inner(),
            translation: Vector3::new(-60.0, -40.0, 350.0),
        };
        let mut points = Vec::new();
        for i in 0..20 {
            let mm = Point2::new(f64::from(i % 5) * 30.0, f64::from(i / 5) * 30.0);
            let miss = Vector2::new(f64::from(i % 3) - 1.2, f64::from(i % 4) - 1.4);
            points.push(BoardPoint { mm, pixel: project(&camera, &pose, mm).unwrap() + miss });
        }
        let free = Free { is_free: [true; PARAMETERS], square: false };
        let block = Block::new(&camera, &pose, &points, &free).unwrap();
        let half = |s: &State| 0.5 * sum_of_squares(&s.camera, &s.poses[0], &points).unwrap();
        let state = State { camera, poses: vec![pose] };
        for i in 0..PARAMETERS + 6 {
            let at = |h: f64| {
                let mut step =
                    Step { camera: CameraVector::zeros(), poses: vec![Vector6::zeros()], slope: 0.0, length: 0.0 };
                if i < PARAMETERS {
                    step.camera[i] = h
                } else {
                    step.poses[0][i - PARAMETERS] = h
                }
                half(&state.moved(&step, &free))
            };
            let ours = if i < PARAMETERS { block.camera_gradient[i] } else { block.pose_gradient[i - PARAMETERS] };
            let h = 1e-5;
            let differences = (at(h) - at(-h)) / (2.0 * h);
            assert!((ours - differences).abs() < 1e-6 * (1.0 + ours.abs()), "{i}: {ours} {differences}");
        }
    }
}
