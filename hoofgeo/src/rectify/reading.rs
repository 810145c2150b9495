//! How far a length or an angle read off the picture can be trusted, before its ends are placed.

use super::sheet::Sheet;
use crate::error::Result;
use crate::located::Located;
use crate::scene::params::{UNKNOWNS, View3};
use crate::scene::plane::{PLANE, Plane, back_project};
use crate::scene::{Scene, State};
use crate::uncertainty::{NormalVector, Summary, draw_blocks};
use nalgebra::{DMatrix, DVector, Point2};
use rand::RngExt;
use rand_distr::StandardNormal;

/// Expanded uncertainties (95 %) of what is read off a picture with perfect clicks, in its middle: from the scale, the camera's
/// place, the lens and the measured plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Of a length along the picture's x, relative.
    pub along: f64,
    /// Of a length along its y, relative.
    pub across: f64,
    /// Of an angle, degrees: of the right angle between the two.
    pub angle_deg: f64,
}

/// Draws of the scene: the uncertainty is then good to 3 %.
const DRAWS: usize = 2000;

impl Reading {
    pub(super) fn new(scene: &Scene, located: &Located, sheet: &Sheet) -> Result<Self> {
        let (w, h) = (f64::from(sheet.size.0), f64::from(sheet.size.1));
        let middle = sheet.place(Point2::new(w / 2.0, h / 2.0));
        let one_mm = |x: f64, y: f64| sheet.place(Point2::new(w / 2.0 + x, h / 2.0 + y)) - middle;
        let (x, y) = (one_mm(sheet.px_per_mm, 0.0), one_mm(0.0, sheet.px_per_mm));
        // A quarter of the shorter side to each side of the middle.
        let reach = w.min(h) / sheet.px_per_mm / 4.0;
        let (view, plane) = sheet.view_and_plane();
        let ends = [middle - x * reach, middle + x * reach, middle - y * reach, middle + y * reach];
        let mean = DVector::from_column_slice(scene.state.as_slice());
        let state =
            NormalVector::new(mean, &DMatrix::from_column_slice(UNKNOWNS, UNKNOWNS, scene.covariance.as_slice()))?;
        let second: Option<(State, f64)> = scene.second.map(|(s, p)| (s - scene.state, p));
        let (mean, u) = (located.planes[0].mean, located.planes[0].u);
        let rays: Option<Vec<_>> = ends
            .iter()
            .map(|e| {
                let pixel = view.pixel(plane.lift(*e))?;
                Some((pixel, view.camera.undistort(pixel)?))
            })
            .collect();
        let rays = rays.unwrap_or_default();
        let columns = draw_blocks(
            DRAWS,
            3,
            1,
            || [0.0; UNKNOWNS],
            |x, rng, _, out| {
                state.draw(rng, x);
                if let Some((shift, p)) = &second
                    && rng.random::<f64>() < *p
                {
                    x.iter_mut().zip(shift.iter()).for_each(|(x, d)| *x += d);
                }
                let plane: [f64; PLANE] =
                    std::array::from_fn(|k| mean[k] + u[k] * rng.sample::<f64, _>(StandardNormal));
                let (view, plane) = (View3::<f64>::new(x, scene.pivot), Plane::new(&plane));
                let place = |(pixel, direction): &(Point2<f64>, Point2<f64>)| {
                    back_project(&view, &plane, None, *pixel, view.camera.undistort_near(*pixel, *direction)?)
                };
                let places: Option<Vec<_>> = rays.iter().map(place).collect();
                if let Some([a, b, c, d]) = places.as_deref() {
                    let (x, y) = (b - a, d - c);
                    out[0] = x.norm() / (2.0 * reach);
                    out[1] = y.norm() / (2.0 * reach);
                    out[2] = x.perp(&y).abs().atan2(x.dot(&y)).to_degrees();
                }
            },
        );
        // Half of the interval's length; a photo whose plane cannot be held on to says so.
        let half =
            |c: &Vec<f64>| Summary::at_95(c.clone()).map_or(f64::INFINITY, |s| (s.shortest[1] - s.shortest[0]) / 2.0);
        Ok(Self { along: half(&columns[0]), across: half(&columns[1]), angle_deg: half(&columns[2]) })
    }
}
