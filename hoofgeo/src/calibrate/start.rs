//! A start for the least squares: focal length and principal point in closed form, a pose for every photo.

use super::bundle::{CameraVector, State, sum_of_squares};
use super::{BoardPhoto, BoardPoint, Parameter};
use crate::scene::pose::{PlanarPose, homography, planar_poses};
use nalgebra::{DMatrix, DVector, Matrix3, Point2, Vector2};

/// Focal lengths a photo can have, in longer sides of the frame: from beyond fisheye to a strong telephoto lens.
const FOCAL_RANGE: [f64; 2] = [0.2, 30.0];
/// Beyond this share of the frame from its centre a principal point of the closed form is not believed (it knows no distortion).
const FAR_OFF: f64 = 0.25;
/// Focal length where nothing can be had from the photos, in longer sides of the frame: that of a phone's main camera.
const USUAL_FOCAL: f64 = 1.2;

/// A photo's homography from board to frame, and how far its points are off it.
pub(super) struct Flat {
    pub(super) homography: Matrix3<f64>,
    /// RMS distance of the pixels from the homography's, relative to their RMS distance from their middle.
    pub(super) misfit: f64,
    /// Whether the board's axes turn the same way in the photo as on the board.
    pub(super) same_hand: bool,
}

impl Flat {
    /// `None` where the points span no plane.
    pub(super) fn new(photo: &BoardPhoto) -> Option<Self> {
        let (mm, pixels): (Vec<_>, Vec<_>) = photo.points.iter().map(|p| (p.mm, p.pixel)).unzip();
        let h = homography(&mm, &pixels)?;
        let n = pixels.len() as f64;
        let centre = |v: &[Point2<f64>]| v.iter().map(|p| p.coords).sum::<Vector2<f64>>() / n;
        let (middle, board_middle) = (centre(&pixels), centre(&mm));
        let square = |v: Vector2<f64>| v.norm_squared();
        let spread = pixels.iter().map(|p| square(p.coords - middle)).sum::<f64>();
        let off = mm.iter().zip(&pixels).map(|(m, p)| square(h.transform_point(m) - p)).sum::<f64>();
        // Sign of the derivative's determinant, det(H)/w³, at the board's middle.
        let w = (h * board_middle.push(1.0)).z;
        let turn = h.determinant() * w;
        let misfit = (off / spread).sqrt();
        (misfit.is_finite() && turn != 0.0).then_some(Self { homography: h, misfit, same_hand: turn > 0.0 })
    }
}

/// The best start: of the closed form and of a principal point at the centre, whichever comes nearer to the pixels.
pub(super) fn start(
    photos: &[&[BoardPoint]],
    flats: &[&Flat],
    frame: (u32, u32),
    hold: &[(Parameter, f64)],
    square: bool,
) -> Option<State> {
    let (w, h) = (f64::from(frame.0), f64::from(frame.1));
    let longer = w.max(h);
    let centre = Vector2::new(w / 2.0, h / 2.0);
    // Homographies to coordinates around 1, for the sake of the equations' condition.
    let normalise =
        Matrix3::new(1.0 / longer, 0.0, -centre.x / longer, 0.0, 1.0 / longer, -centre.y / longer, 0.0, 0.0, 1.0);
    let maps: Vec<Matrix3<f64>> = flats.iter().map(|f| normalise * f.homography).collect();
    let believable = |f: f64| (FOCAL_RANGE[0]..=FOCAL_RANGE[1]).contains(&f);
    let closed = zhang(&maps).filter(|&[fx, fy, cx, cy]| {
        believable(fx) && believable(fy) && cx.abs() < FAR_OFF * w / longer && cy.abs() < FAR_OFF * h / longer
    });
    let central = central_focal(&maps).filter(|&f| believable(f)).unwrap_or(USUAL_FOCAL);
    let starts = closed.into_iter().chain([[central, central, 0.0, 0.0], [USUAL_FOCAL, USUAL_FOCAL, 0.0, 0.0]]);
    let states = starts.filter_map(|[fx, fy, cx, cy]| {
        let mut camera = CameraVector::zeros();
        for (i, v) in [fx * longer, fy * longer, cx * longer + centre.x, cy * longer + centre.y].into_iter().enumerate()
        {
            camera[i] = v;
        }
        if square {
            camera[0] = (camera[0] * camera[1]).sqrt();
        }
        for &(parameter, value) in hold {
            camera[parameter as usize] = value;
        }
        if square {
            camera[1] = camera[0];
        }
        let poses = photos.iter().map(|points| pose(&camera, points)).collect::<Option<Vec<_>>>()?;
        let sum = poses
            .iter()
            .zip(photos)
            .map(|(pose, points)| sum_of_squares(&camera, pose, points))
            .sum::<Option<f64>>()?;
        sum.is_finite().then_some((sum, State { camera, poses }))
    });
    states.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, state)| state)
}

/// The pose of a photo's board under a given camera.
fn pose(camera: &CameraVector, points: &[BoardPoint]) -> Option<PlanarPose> {
    let lens = super::bundle::distortion(camera);
    let (mm, image): (Vec<_>, Vec<_>) = points
        .iter()
        .map(|p| {
            let distorted = Point2::new((p.pixel.x - camera[2]) / camera[0], (p.pixel.y - camera[3]) / camera[1]);
            (p.mm, lens.remove(distorted).unwrap_or(distorted))
        })
        .unzip();
    let poses = planar_poses(&mm, &image)?;
    let scored = poses.into_iter().filter_map(|p| Some((sum_of_squares(camera, &p, points)?, p)));
    scored.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, p)| p)
}

/// Focal lengths and principal point without skew from homographies: fx, fy, cx, cy in the homographies' unit.
///
/// # Source
/// Z. Zhang, *A flexible new technique for camera calibration*, IEEE PAMI 22 (2000) 1330-1334, section 3.1 and appendix B.
fn zhang(maps: &[Matrix3<f64>]) -> Option<[f64; 4]> {
    // Rows v12 and v11 - v22 for the image of the absolute conic: B11, B22, B13, B23, B33; B12 = 0 without skew.
    let v = |h: &Matrix3<f64>, i: usize, j: usize| {
        [
            h[(0, i)] * h[(0, j)],
            h[(1, i)] * h[(1, j)],
            h[(2, i)] * h[(0, j)] + h[(0, i)] * h[(2, j)],
            h[(2, i)] * h[(1, j)] + h[(1, i)] * h[(2, j)],
            h[(2, i)] * h[(2, j)],
        ]
    };
    let mut a = DMatrix::zeros(2 * maps.len(), 5);
    for (k, h) in maps.iter().enumerate() {
        // Every photo has the same say: its homography is known up to a factor.
        let scale = h.column(0).norm() * h.column(1).norm();
        let (cross, first, second) = (v(h, 0, 1), v(h, 0, 0), v(h, 1, 1));
        for j in 0..5 {
            a[(2 * k, j)] = cross[j] / scale;
            a[(2 * k + 1, j)] = (first[j] - second[j]) / scale;
        }
    }
    let eigen = (a.transpose() * a).symmetric_eigen();
    let b = eigen.eigenvectors.column(eigen.eigenvalues.imin());
    let (cx, cy) = (-b[2] / b[0], -b[3] / b[1]);
    let lambda = b[4] - b[2] * b[2] / b[0] - b[3] * b[3] / b[1];
    let (fx, fy) = ((lambda / b[0]).sqrt(), (lambda / b[1]).sqrt());
    [fx, fy, cx, cy].iter().all(|x| x.is_finite()).then_some([fx, fy, cx, cy])
}

/// The focal length for square pixels and a principal point at the origin (the same equations with ω = diag(1/f², 1/f², 1)).
fn central_focal(maps: &[Matrix3<f64>]) -> Option<f64> {
    let mut a = DVector::zeros(2 * maps.len());
    let mut b = DVector::zeros(2 * maps.len());
    for (k, h) in maps.iter().enumerate() {
        let scale = h.column(0).norm() * h.column(1).norm();
        a[2 * k] = (h[(0, 0)] * h[(0, 1)] + h[(1, 0)] * h[(1, 1)]) / scale;
        b[2 * k] = -h[(2, 0)] * h[(2, 1)] / scale;
        a[2 * k + 1] = (h.fixed_view::<2, 1>(0, 0).norm_squared() - h.fixed_view::<2, 1>(0, 1).norm_squared()) / scale;
        b[2 * k + 1] = (h[(2, 1)].powi(2) - h[(2, 0)].powi(2)) / scale;
    }
    let inverse_square = a.dot(&b) / a.norm_squared();
    (inverse_square > 0.0).then(|| inverse_square.sqrt().recip())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    /// Exact homographies give the camera back exactly, by both closed forms.
    #[test]
    fn exact_homographies_give_the_camera_back() {
        let camera = |cx: f64, cy: f64, fy: f64| Matrix3::new(1.1, 0.0, cx, 0.0, fy, cy, 0.0, 0.0, 1.0);
        let maps = |k: Matrix3<f64>| {
            [(0.4, 0.1, 0.3), (-0.2, 0.5, 1.0), (0.3, -0.4, -0.6)].map(|(x, y, z)| {
                let r = Rotation3::from_euler_angles(x, y, z).into_inner();
                k * Matrix3::from_columns(&[
                    r.column(0).into(),
                    r.column(1).into(),
                    nalgebra::Vector3::new(-0.2, 0.1, 3.0),
                ])
            })
        };
        let got = zhang(&maps(camera(0.03, -0.02, 1.2))).unwrap();
        for (a, b) in got.into_iter().zip([1.1, 1.2, 0.03, -0.02]) {
            assert!((a - b).abs() < 1e-9, "{got:?}");
        }
        assert!((central_focal(&maps(camera(0.0, 0.0, 1.1))).unwrap() - 1.1).abs() < 1e-9);
    }
}
