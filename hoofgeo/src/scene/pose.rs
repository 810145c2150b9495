//! Homography of a plane and the two poses that fit it.

use nalgebra::{DMatrix, Matrix2, Matrix3, Point2, Vector2, Vector3};

/// The homography that takes plane points to image points, by the direct linear transform on normalised points.
///
/// At least four points, no three of them on a line; `None` where they are degenerate. Scaled so that the last element is 1
/// where it is not 0.
///
/// # Source
/// R. Hartley & A. Zisserman, *Multiple View Geometry*, 2nd ed. 2003, algorithm 4.2.
pub fn homography(plane: &[Point2<f64>], image: &[Point2<f64>]) -> Option<Matrix3<f64>> {
    if plane.len() < 4 || plane.len() != image.len() {
        return None;
    }
    let (tp, ti) = (normaliser(plane)?, normaliser(image)?);
    let mut a = DMatrix::zeros(2 * plane.len(), 9);
    for (i, (p, q)) in plane.iter().zip(image).enumerate() {
        let (p, q) = (tp.transform_point(p), ti.transform_point(q));
        for (row, (coordinate, offset)) in [(q.x, 0), (q.y, 3)].into_iter().enumerate() {
            let r = 2 * i + row;
            for (j, v) in [p.x, p.y, 1.0].into_iter().enumerate() {
                a[(r, offset + j)] = v;
                a[(r, 6 + j)] = -coordinate * v;
            }
        }
    }
    // The null vector of A is the eigenvector of the smallest eigenvalue of AᵀA.
    let eigen = (a.transpose() * a).symmetric_eigen();
    let mut order: Vec<usize> = (0..9).collect();
    order.sort_by(|&i, &j| eigen.eigenvalues[i].total_cmp(&eigen.eigenvalues[j]));
    if eigen.eigenvalues[order[1]] <= 1e-12 * eigen.eigenvalues[order[8]] {
        return None;
    }
    let v = eigen.eigenvectors.column(order[0]);
    let h = Matrix3::from_row_slice(v.as_slice());
    let h = ti.try_inverse()? * h * tp;
    let scale = if h[(2, 2)].abs() > 1e-12 * h.norm() { h[(2, 2)] } else { h.norm() };
    Some(h / scale)
}

/// Moves the points' middle to the origin and their mean distance to √2.
fn normaliser(points: &[Point2<f64>]) -> Option<Matrix3<f64>> {
    let n = points.len() as f64;
    let middle = points.iter().map(|p| p.coords).sum::<Vector2<f64>>() / n;
    let mean = points.iter().map(|p| (p.coords - middle).norm()).sum::<f64>() / n;
    if !(mean.is_finite() && mean > 0.0) {
        return None;
    }
    let s = std::f64::consts::SQRT_2 / mean;
    Some(Matrix3::new(s, 0.0, -s * middle.x, 0.0, s, -s * middle.y, 0.0, 0.0, 1.0))
}

/// A pose of a plane: rotation and translation to the camera frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanarPose {
    /// Rotation from the plane's frame to the camera's.
    pub rotation: Matrix3<f64>,
    /// The plane's origin in the camera frame.
    pub translation: Vector3<f64>,
}

/// The two poses of a plane whose points appear at undistorted normalised image coordinates.
///
/// The plane's local scaling at the middle of its points leaves two rotations, mirror images about the line of sight; in
/// weak perspective both fit almost equally well. The translation is the least-squares one for each rotation.
///
/// # Source
/// T. Collins & A. Bartoli, *Infinitesimal plane-based pose estimation*, Int. J. Computer Vision 109 (2014) 252-286.
pub fn planar_poses(plane: &[Point2<f64>], image: &[Point2<f64>]) -> Option<[PlanarPose; 2]> {
    let (middle, centred) = centred(plane);
    let (v, jacobian) = local_map(&homography(&centred, image)?)?;
    poses_of(middle, &centred, image, v, &jacobian)
}

/// The same from the affine map that fits best: coarser, but good for any three points that are not on one line.
pub fn affine_poses(plane: &[Point2<f64>], image: &[Point2<f64>]) -> Option<[PlanarPose; 2]> {
    let (middle, centred) = centred(plane);
    let v = image.iter().map(|p| p.coords).sum::<Vector2<f64>>() / image.len() as f64;
    let (mut pp, mut ip) = (Matrix2::zeros(), Matrix2::zeros());
    for (p, q) in centred.iter().zip(image) {
        pp += p.coords * p.coords.transpose();
        ip += (q.coords - v) * p.coords.transpose();
    }
    let jacobian = ip * pp.try_inverse()?;
    poses_of(middle, &centred, image, v, &jacobian)
}

fn centred(plane: &[Point2<f64>]) -> (Vector2<f64>, Vec<Point2<f64>>) {
    let middle = plane.iter().map(|p| p.coords).sum::<Vector2<f64>>() / plane.len() as f64;
    (middle, plane.iter().map(|p| p - middle).collect())
}

/// The poses whose local map at the plane's middle is this.
fn poses_of(
    middle: Vector2<f64>,
    centred: &[Point2<f64>],
    image: &[Point2<f64>],
    v: Vector2<f64>,
    jacobian: &Matrix2<f64>,
) -> Option<[PlanarPose; 2]> {
    let rotations = rotations_of(v, jacobian)?;
    let mut poses = rotations.map(|rotation| {
        let t = translation(centred, image, &rotation)?;
        // Back to the plane's own origin.
        let shift = rotation * Vector3::new(middle.x, middle.y, 0.0);
        Some(PlanarPose { rotation, translation: t - shift })
    });
    Some([poses[0].take()?, poses[1].take()?])
}

/// Image of the plane's origin and derivative of the homography there.
fn local_map(h: &Matrix3<f64>) -> Option<(Vector2<f64>, Matrix2<f64>)> {
    let w = h[(2, 2)];
    if w.abs() <= 1e-12 * h.norm() {
        return None;
    }
    let v = Vector2::new(h[(0, 2)], h[(1, 2)]) / w;
    let j = Matrix2::from_fn(|r, c| (h[(r, c)] - v[r] * h[(2, c)]) / w);
    Some((v, j))
}

fn rotations_of(v: Vector2<f64>, jacobian: &Matrix2<f64>) -> Option<[Matrix3<f64>; 2]> {
    // Rotation that takes the optical axis to the line of sight.
    let sight = Vector3::new(v.x, v.y, 1.0);
    let to_sight = nalgebra::Rotation3::rotation_between(&Vector3::z(), &sight)?.into_inner();
    let b = Matrix2::from_fn(|r, c| to_sight[(r, c)] - v[r] * to_sight[(2, c)]);
    let a = b.try_inverse()? * jacobian;
    let gamma = a.singular_values().max();
    if !(gamma.is_finite() && gamma > 0.0) {
        return None;
    }
    let r22 = a / gamma;
    let rest = Matrix2::identity() - r22.transpose() * r22;
    let bx = rest[(0, 0)].max(0.0).sqrt();
    let by = rest[(1, 1)].max(0.0).sqrt() * if rest[(0, 1)] < 0.0 { -1.0 } else { 1.0 };
    Some([1.0, -1.0].map(|sign| {
        let first = Vector3::new(r22[(0, 0)], r22[(1, 0)], sign * bx);
        let second = Vector3::new(r22[(0, 1)], r22[(1, 1)], sign * by);
        let local = Matrix3::from_columns(&[first, second, first.cross(&second)]);
        // Rounding leaves `local` a hair off a rotation: the nearest one, by its polar part.
        let svd = (to_sight * local).svd(true, true);
        match (svd.u, svd.v_t) {
            (Some(u), Some(vt)) => u * vt,
            _ => to_sight * local,
        }
    }))
}

/// The translation that fits best for a given rotation (linear least squares).
fn translation(plane: &[Point2<f64>], image: &[Point2<f64>], r: &Matrix3<f64>) -> Option<Vector3<f64>> {
    let (mut ata, mut atb) = (Matrix3::zeros(), Vector3::zeros());
    for (p, q) in plane.iter().zip(image) {
        let x = r * Vector3::new(p.x, p.y, 0.0);
        for (row, rhs) in
            [(Vector3::new(1.0, 0.0, -q.x), q.x * x.z - x.x), (Vector3::new(0.0, 1.0, -q.y), q.y * x.z - x.y)]
        {
            ata += row * row.transpose();
            atb += row * rhs;
        }
    }
    ata.try_inverse().map(|inverse| inverse * atb)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scene() -> (Vec<Point2<f64>>, Vec<Point2<f64>>, PlanarPose) {
        let plane: Vec<_> = (0..12).map(|i| Point2::new(f64::from(i % 4) * 20.0, f64::from(i / 4) * 25.0)).collect();
        let rotation = super::super::params::rotation(0.3, -0.4, 0.2);
        let translation = Vector3::new(-20.0, 10.0, 400.0);
        let image = plane
            .iter()
            .map(|p| {
                let c = rotation * Vector3::new(p.x, p.y, 0.0) + translation;
                Point2::new(c.x / c.z, c.y / c.z)
            })
            .collect();
        (plane, image, PlanarPose { rotation, translation })
    }

    #[test]
    fn one_of_the_two_poses_is_the_true_one() {
        let (plane, image, truth) = scene();
        let poses = planar_poses(&plane, &image).expect("two poses");
        let off = |p: &PlanarPose| (p.rotation - truth.rotation).norm() + (p.translation - truth.translation).norm();
        assert!(poses.iter().any(|p| off(p) < 1e-8), "{poses:?}");
        for p in poses {
            assert!((p.rotation.determinant() - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn points_on_a_line_have_no_homography() {
        let line: Vec<_> = (0..5).map(|i| Point2::new(f64::from(i), 2.0 * f64::from(i))).collect();
        assert!(homography(&line, &line).is_none());
    }
}
