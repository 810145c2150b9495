//! Golden data for the tests in this folder.
#![allow(dead_code, reason = "every test crate uses a part of it")]

use num_dual::DualNum;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_path_buf()
}

fn read(path: &Path) -> Value {
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The cases of a file in `fixtures/`; where each comes from stands in the `SOURCE.md` beside it.
pub(crate) fn fixture(name: &str) -> Vec<Value> {
    match read(&root().join("fixtures").join(name)) {
        Value::Array(cases) => cases,
        _ => panic!("{name}: not a list of cases"),
    }
}

/// One case of a file in `fixtures/`.
pub(crate) fn case(name: &str, id: &str) -> Value {
    fixture(name).into_iter().find(|c| c["id"] == id).unwrap_or_else(|| panic!("{name}: no case {id}"))
}

/// The cases of a data set that is not part of the project; `None`, with a note, where it is not there.
#[allow(clippy::print_stderr, reason = "a skipped test has to say so")]
pub(crate) fn external(name: &str) -> Option<Vec<Value>> {
    let found = root().ancestors().map(|a| a.join("shared/reference/external").join(name)).find(|p| p.is_file());
    let Some(path) = found else {
        eprintln!("skipped: {name} is not here (shared/reference/external beside the workspace)");
        return None;
    };
    read(&path)["cases"].as_array().cloned()
}

/// The folder of OpenCV's sample photographs: `HOOFGEO_OPENCV_DATA`, or where Debian's package puts them; `None`, with a note, where they
/// are not.
#[allow(clippy::print_stderr, reason = "a skipped test has to say so")]
pub(crate) fn opencv_photographs() -> Option<PathBuf> {
    let given = std::env::var_os("HOOFGEO_OPENCV_DATA").map(PathBuf::from);
    let found = given.into_iter().chain([PathBuf::from("/usr/share/doc/opencv-doc/examples/data")]);
    let found = found.into_iter().find(|f| f.join("left01.jpg").is_file());
    if found.is_none() {
        eprintln!("skipped: the package opencv-doc is not installed");
    }
    found
}

/// The folder of scikit-image's photographs, by the Python that `HOOFGEO_PYTHON` names; `None`, with a note, where they are not.
#[allow(clippy::print_stderr, reason = "a skipped test has to say so")]
pub(crate) fn skimage_photographs() -> Option<PathBuf> {
    const SAY: &str = "import skimage, os; print(os.path.join(os.path.dirname(skimage.__file__), 'data'), end='')";
    let python = std::env::var_os("HOOFGEO_PYTHON");
    let said = python.and_then(|p| Command::new(p).args(["-c", SAY]).output().ok());
    let found = said.map(|o| PathBuf::from(String::from_utf8_lossy(&o.stdout).as_ref()));
    let found = found.filter(|f| f.join("brick.png").is_file());
    if found.is_none() {
        eprintln!("skipped: HOOFGEO_PYTHON names no Python that has scikit-image");
    }
    found
}

/// A number.
pub(crate) fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("not a number: {v}"))
}

/// A list of numbers.
pub(crate) fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap_or_else(|| panic!("not a list: {v}")).iter().map(number).collect()
}

/// A list of lists of numbers.
pub(crate) fn rows(v: &Value) -> Vec<Vec<f64>> {
    v.as_array().unwrap_or_else(|| panic!("not a list: {v}")).iter().map(numbers).collect()
}

/// Asserts |a - b| ≤ tolerance.
#[track_caller]
pub(crate) fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}: off by {:e}", a - b);
}

/// Asserts that `a` agrees with `b` to a relative tolerance.
#[track_caller]
pub(crate) fn agrees(a: f64, b: f64, relative: f64) {
    near(a, b, relative * b.abs());
}

/// Length of an end gauge, nm (JCGM 100:2008 H.1, JCGM 101:2008 9.5): l_S, d0, d1, d2, α_S, θ̄, Δ, δα, δθ.
pub(crate) fn end_gauge<T: DualNum<Primitive = f64> + Copy>(x: &[T]) -> T {
    let [l, d0, d1, d2, alpha, theta, cycle, delta_alpha, delta_theta] = x else { panic!("nine inputs") };
    *l + *d0 + *d1 + *d2 - *l * (*delta_alpha * (*theta + *cycle) + *alpha * *delta_theta)
}
