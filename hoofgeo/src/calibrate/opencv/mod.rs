//! Reading a calibration that OpenCV wrote.

mod storage;

use crate::error::{Error, ErrorKind, Place, Result};
use crate::sidecar::{CameraId, Distortion, DistortionModel, Found, Frame, LensProfile};
use storage::{Entry, Value};

/// Focal lengths along x and y may differ by this share; hoofgeo's camera has one.
const LARGEST_ASPECT: f64 = 0.005;

/// Standard uncertainties assumed for a calibration that states none: focal length and principal point as shares (of itself, of
/// the frame's longer side), then k1, k2, k3, p1 and p2.
///
/// On OpenCV's own sample photographs they cover how far its published result lies from what other detectors and lens models give
/// on the same photographs (tested). Calibrating from
/// 13 photos gives focal length and principal point two to four times better.
const ASSUMED: Assumed = Assumed { focal: 0.005, principal: 0.005, k1: 0.03, k2: 0.05, k3: 0.05, p: 0.001 };

struct Assumed {
    focal: f64,
    principal: f64,
    k1: f64,
    k2: f64,
    k3: f64,
    p: f64,
}

/// Which camera of a file that holds a stereo pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum WhichCamera {
    /// `camera_matrix`, `cameraMatrix1` or `M1`, with its distortion.
    #[default]
    First,
    /// `cameraMatrix2` or `M2`, with its distortion.
    Second,
}

/// What a file of OpenCV's does not say.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ImportOptions {
    /// Which camera it is.
    pub camera: CameraId,
    /// Width and height of the photos it was calibrated with; needed where the file does not hold them.
    pub frame_px: Option<(u32, u32)>,
    /// Which of two cameras.
    pub which: WhichCamera,
}

/// A lens profile from a calibration that OpenCV wrote as YAML, XML or JSON.
///
/// Read are the camera matrix (`camera_matrix`, `cameraMatrix`, `M1`), the distortion (`distortion_coefficients`, `distCoeffs`,
/// `D1`; 4 or 5 coefficients in OpenCV's order, more only where the rest are zero), `image_width`, `image_height`, and, where they are
/// there, `avg_reprojection_error` and the number of photos; capitals and underscores do not matter. The principal point is moved
/// by half a pixel, because OpenCV counts from the middle of the top-left pixel.
///
/// Such a file states no uncertainty. Assumed, without correlations: focal length 0.5 %, principal point 0.5 % of the longer side,
/// k1 0.03, k2 0.05, k3 0.05, p1 and p2 0.001; coefficients that are exactly zero are taken as held. Calibrating from the photos with
/// [`super::calibrate`] is better.
///
/// # Errors
/// [`ErrorKind::Format`] with the line for what cannot be read; [`ErrorKind::Usage`] for what hoofgeo's camera cannot be: focal
/// lengths that differ by more than 0.5 %, a skew, a fisheye or rational lens model; and for a frame that is not known.
///
/// # Example
/// ```
/// use hoofgeo::calibrate::{ImportOptions, import_opencv};
/// let file = "%YAML:1.0
/// ---
/// image_width: 640
/// image_height: 480
/// camera_matrix: !!opencv-matrix
///    rows: 3
///    cols: 3
///    dt: d
///    data: [ 535.9, 0., 342.3, 0., 535.9, 235.6, 0., 0., 1. ]
/// distortion_coefficients: !!opencv-matrix
///    rows: 5
///    cols: 1
///    dt: d
///    data: [ -0.266, -0.0386, 0.00178, -0.000281, 0.238 ]
/// ";
/// let profile = import_opencv(file, &ImportOptions::default())?;
/// assert_eq!(profile.principal_point_px, [342.8, 236.1]);
/// assert_eq!((profile.distortion.p1, profile.distortion.k3), (0.00178, 0.238));
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn import_opencv(text: &str, options: &ImportOptions) -> Result<LensProfile> {
    let file = File(storage::read(text)?);
    file.refuse_other_models()?;
    let (focal_px, principal_point_px) = file.camera_matrix(options.which)?;
    let distortion = file.distortion(options.which)?;
    let frame = file.frame(options.frame_px)?;
    let profile = LensProfile {
        camera: options.camera.clone(),
        frame,
        focal_px,
        principal_point_px,
        distortion,
        covariance: assumed_covariance(focal_px, frame, &distortion),
        found: file.found(),
    };
    profile.check()?;
    Ok(profile)
}

fn assumed_covariance(focal_px: f64, frame: Frame, d: &Distortion) -> [[f64; 8]; 8] {
    let longer = f64::from(frame.width_px.max(frame.height_px));
    let (f, c) = (ASSUMED.focal * focal_px, ASSUMED.principal * longer);
    let estimated = |value: f64, u: f64| if value == 0.0 { 0.0 } else { u };
    let u = [
        f,
        c,
        c,
        estimated(d.k1, ASSUMED.k1),
        estimated(d.k2, ASSUMED.k2),
        estimated(d.k3, ASSUMED.k3),
        estimated(d.p1, ASSUMED.p),
        estimated(d.p2, ASSUMED.p),
    ];
    std::array::from_fn(|i| std::array::from_fn(|j| if i == j { u[i] * u[i] } else { 0.0 }))
}

struct File(Vec<Entry>);

fn at(entry: &Entry, kind: ErrorKind, what: impl Into<String>) -> Error {
    Error::new(kind, what).at(Place { line: entry.line, column: 1, path: entry.key.clone() })
}

impl File {
    /// The first of the given names that is there; capitals and underscores do not matter.
    fn find(&self, names: &[&str]) -> Option<&Entry> {
        let plain = |key: &str| key.replace('_', "").to_ascii_lowercase();
        names.iter().find_map(|name| self.0.iter().find(|e| plain(&e.key) == *name))
    }

    fn number(&self, names: &[&str]) -> Option<f64> {
        self.find(names).and_then(|e| if let Value::Number(x) = e.value { Some(x) } else { None })
    }

    fn matrix(&self, what: &str, names: &[&str], which: WhichCamera) -> Result<(&Entry, usize, usize, &[f64])> {
        let Some(entry) = self.find(names) else {
            let second = if which == WhichCamera::Second { " of a second camera" } else { "" };
            return Err(Error::new(ErrorKind::Format, format!("there is no {what}{second} in this file")).help(
                format!("it should be called `{}`; is this the file of the calibration?", names.join("` or `")),
            ));
        };
        match &entry.value {
            Value::Matrix { rows, cols, data } => Ok((entry, *rows, *cols, data)),
            _ => Err(at(entry, ErrorKind::Format, "this should be a matrix")),
        }
    }

    fn camera_matrix(&self, which: WhichCamera) -> Result<(f64, [f64; 2])> {
        let names: &[&str] = match which {
            WhichCamera::First => &["cameramatrix", "cameramatrix1", "m1"],
            WhichCamera::Second => &["cameramatrix2", "m2"],
        };
        let (entry, rows, cols, k) = self.matrix("camera matrix", names, which)?;
        let &[fx, skew, cx, zero, fy, cy, zero_too, and_zero, one] = k else {
            return Err(at(entry, ErrorKind::Format, format!("a camera matrix is 3 x 3, this is {rows} x {cols}")));
        };
        let plain = rows == 3 && zero == 0.0 && zero_too == 0.0 && and_zero == 0.0 && one == 1.0;
        if !(plain && fx > 0.0 && fy > 0.0) {
            return Err(at(entry, ErrorKind::Format, "this is no camera matrix [fx 0 cx; 0 fy cy; 0 0 1]"));
        }
        let focal = (fx + fy) / 2.0;
        if (fx - fy).abs() > LARGEST_ASPECT * focal || skew.abs() > LARGEST_ASPECT * focal {
            let what =
                format!("the focal lengths are {fx} and {fy} px with a skew of {skew}: pixels that are not square");
            return Err(at(entry, ErrorKind::Usage, what).help(
                "hoofgeo's camera has square pixels, as practically every camera has: such a difference comes from too few or too \
                 similar photos, or from photos stretched in one direction; calibrate with a fixed aspect ratio",
            ));
        }
        Ok((focal, [cx + 0.5, cy + 0.5]))
    }

    fn distortion(&self, which: WhichCamera) -> Result<Distortion> {
        let names: &[&str] = match which {
            WhichCamera::First => {
                &["distortioncoefficients", "distortioncoefficients1", "distcoeffs", "distcoeffs1", "d1"]
            }
            WhichCamera::Second => &["distortioncoefficients2", "distcoeffs2", "d2"],
        };
        let (entry, rows, cols, d) = self.matrix("distortion", names, which)?;
        if !matches!(d.len(), 4 | 5 | 8 | 12 | 14) || (rows != 1 && cols != 1) {
            let what = format!("4, 5, 8, 12 or 14 distortion coefficients are usual, here are {rows} x {cols}");
            return Err(at(entry, ErrorKind::Format, what));
        }
        if d.iter().skip(5).any(|&x| x != 0.0) {
            return Err(at(entry, ErrorKind::Usage, "this is OpenCV's rational, thin prism or tilted lens model")
                .help("hoofgeo's has k1, k2, k3, p1 and p2: calibrate again with five coefficients"));
        }
        let k3 = d.get(4).copied().unwrap_or(0.0);
        Ok(Distortion { model: DistortionModel::BrownConrady, k1: d[0], k2: d[1], k3, p1: d[2], p2: d[3] })
    }

    fn refuse_other_models(&self) -> Result<()> {
        let fisheye = self.find(&["fisheyemodel"]).filter(|e| e.value != Value::Number(0.0));
        let named = self.find(&["distortionmodel"]).filter(
            |e| !matches!(&e.value, Value::Text(name) if ["plumb_bob", "rational_polynomial"].contains(&name.as_str())),
        );
        match fisheye.or(named) {
            None => Ok(()),
            Some(entry) => {
                Err(at(entry, ErrorKind::Usage, "this is a fisheye lens model, or one that is not known here")
                    .help("hoofgeo's is Brown-Conrady: calibrate the camera with OpenCV's standard model"))
            }
        }
    }

    fn frame(&self, given: Option<(u32, u32)>) -> Result<Frame> {
        let whole = |x: f64| (x >= 1.0 && x <= f64::from(u32::MAX) && x.fract() == 0.0).then_some(x as u32);
        let sides = self.number(&["imagewidth"]).zip(self.number(&["imageheight"]));
        let size = || match &self.find(&["imagesize"])?.value {
            Value::Matrix { data, .. } => data.first().copied().zip(data.get(1).copied()),
            _ => None,
        };
        let stated = sides.or_else(size).and_then(|(w, h)| whole(w).zip(whole(h)));
        match (stated, given) {
            (Some(a), Some(b)) if a != b => Err(Error::new(
                ErrorKind::Usage,
                format!("the file is of a frame of {} x {} px, not {} x {}", a.0, a.1, b.0, b.1),
            )
            .help("leave the frame out; a profile serves other sizes of the same camera's photos too")),
            (Some((width_px, height_px)), _) | (None, Some((width_px, height_px))) => Ok(Frame { width_px, height_px }),
            (None, None) => Err(Error::new(ErrorKind::Usage, "the file does not say how large the photos were")
                .help("give the width and height of the photos that the camera was calibrated with")),
        }
    }

    fn found(&self) -> Option<Found> {
        let rms_px = self.number(&["avgreprojectionerror"])?;
        let counted = self.number(&["nframes", "nrofframes"]);
        let listed = || match self.find(&["perviewreprojectionerrors"])?.value {
            Value::Matrix { rows, cols, .. } => Some((rows * cols) as f64),
            _ => None,
        };
        let photos = counted.or_else(listed).filter(|&n| n >= 1.0 && n.fract() == 0.0 && n <= f64::from(u32::MAX))?;
        Some(Found {
            photos: photos as u32,
            rms_px,
            date: None,
            board: Some("read from a file of OpenCV's; uncertainties assumed".to_owned()),
        })
    }
}
