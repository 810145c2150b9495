//! What benches share: peers in Python, peak memory.
#![allow(dead_code, clippy::print_stdout, reason = "every bench takes its own part, and prints")]

use image::{Rgb, RgbImage};
use std::ffi::OsStr;
use std::path::Path;
use std::process::Command;

/// The size of a 12-megapixel photo.
pub(crate) const SIZE: (u32, u32) = (4032, 3024);

/// A photo of that size, with edges and noise all over it.
pub(crate) fn photo() -> RgbImage {
    let mut noise = 1u32;
    RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let ring = if (x / 37 + y / 53) % 2 == 0 { 40.0 } else { 0.0 };
        let v = 60.0 + f64::from(x) * 90.0 / f64::from(SIZE.0) + ring + f64::from(noise >> 28);
        Rgb([v as u8, (v * 0.95) as u8, (v * 0.86) as u8])
    })
}

/// A photo as a file that Python reads without loss.
pub(crate) fn ppm(photo: &RgbImage) -> tempfile::NamedTempFile {
    let file = tempfile::Builder::new().suffix(".ppm").tempfile().expect("a temporary file");
    let mut bytes = format!("P6\n{} {}\n255\n", photo.width(), photo.height()).into_bytes();
    bytes.extend(photo.as_raw());
    std::fs::write(file.path(), bytes).expect("a temporary file");
    file
}

/// Runs a peer on its input (a file, or what it is to do as JSON) with the Python that `HOOFGEO_PYTHON` names and prints what it says;
/// elsewhere says that it was skipped.
pub(crate) fn peer(script: &str, input: impl AsRef<OsStr>) {
    let Some(python) = std::env::var_os("HOOFGEO_PYTHON") else {
        println!("{script} is skipped: HOOFGEO_PYTHON names no Python for it");
        return;
    };
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../benches/peers").join(script);
    match Command::new(python).arg(path).arg(input).output() {
        Ok(o) if o.status.success() => println!("{}", String::from_utf8_lossy(&o.stdout)),
        Ok(o) => println!("{script} failed: {}", String::from_utf8_lossy(&o.stderr)),
        Err(e) => println!("{script} could not be run: {e}"),
    }
}

/// Prints the most memory that `work` took beyond what was in use before it, as Linux counts resident pages; nothing elsewhere.
pub(crate) fn peak_memory<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let before = status_mb("VmRSS");
    // Starts the count of the peak anew.
    let reset = std::fs::write("/proc/self/clear_refs", "5").is_ok();
    let result = work();
    if let (true, Some(before), Some(peak)) = (reset, before, status_mb("VmHWM")) {
        println!("{what}: {:.0} MB at most beyond the {before:.0} MB in use before", peak - before);
    }
    result
}

fn status_mb(name: &str) -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with(name))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}
