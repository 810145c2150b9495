//! What benches share: peers in Python, peak memory.
#![allow(dead_code, clippy::print_stdout, reason = "every bench takes its own part, and prints")]

use std::path::Path;
use std::process::Command;

/// Runs a peer with the Python that `HOOFGEO_PYTHON` names and prints what it says; elsewhere says that it was skipped.
pub(crate) fn peer(script: &str, input: &Path) {
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
