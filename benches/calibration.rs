//! Calibration from 13 photos of 54 corners (OpenCV's sample photographs, `fixtures/opencv/SOURCE.md`), and OpenCV from the same
//! corners in the same run, where a Python with `cv2` is found: `python3`, or what `HOOFGEO_PYTHON` names, such as that of
//! `python3 -m venv cv && cv/bin/pip install opencv-python-headless`.
#![allow(missing_docs, clippy::unwrap_used, reason = "bench")]

use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::calibrate::{BoardPhoto, BoardPoint, Options, calibrate};
use nalgebra::Point2;
use serde_json::Value;
use std::hint::black_box;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap()
}

fn corners() -> PathBuf {
    root().join("fixtures/opencv/board_corners.json")
}

fn photographs(side: &str) -> Vec<BoardPhoto> {
    let cases: Vec<Value> = serde_json::from_str(&std::fs::read_to_string(corners()).unwrap()).unwrap();
    let photos = cases.iter().filter(|c| c["id"].as_str().unwrap().starts_with(side)).map(|c| {
        let corners = c["subpix"].as_array().unwrap().iter().enumerate();
        let points = corners.map(|(i, p)| BoardPoint {
            mm: Point2::new((i % 9) as f64 * 25.0, (i / 9) as f64 * 25.0),
            pixel: Point2::new(p[0].as_f64().unwrap() + 0.5, p[1].as_f64().unwrap() + 0.5),
        });
        BoardPhoto { name: c["id"].as_str().unwrap().into(), frame_px: (640, 480), points: points.collect() }
    });
    photos.collect()
}

/// OpenCV in a process of its own, which times itself.
struct Peer {
    process: Child,
    ask: ChildStdin,
    answers: BufReader<ChildStdout>,
    version: String,
}

impl Peer {
    #[allow(clippy::print_stderr, reason = "what was skipped has to be said")]
    fn start() -> Option<Self> {
        let python = std::env::var_os("HOOFGEO_PYTHON").unwrap_or_else(|| "python3".into());
        let script = root().join("benches/peers/opencv_calibrate.py");
        let mut command = Command::new(python);
        command.arg(script).arg(corners()).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        let started = command.spawn().ok().and_then(|mut process| {
            let (ask, mut answers) = (process.stdin.take()?, BufReader::new(process.stdout.take()?));
            let mut version = String::new();
            answers.read_line(&mut version).ok().filter(|&n| n > 0)?;
            Some(Self { process, ask, answers, version: version.trim().to_owned() })
        });
        if started.is_none() {
            eprintln!("skipped: OpenCV, no Python with cv2 (name one by HOOFGEO_PYTHON)");
        }
        started
    }

    fn time(&mut self, side: &str, work: &str, count: u64) -> Duration {
        writeln!(self.ask, "{side} {work} {count}").unwrap();
        let mut answer = String::new();
        self.answers.read_line(&mut answer).unwrap();
        Duration::from_nanos(answer.trim().parse().unwrap())
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// With everything that a calibration does: start, refinement, 13 fits without one photo, both covariances, the test for bad photos.
fn calibration(c: &mut Criterion) {
    let mut peer = Peer::start();
    for side in ["left", "right"] {
        let photos = photographs(side);
        for (name, square_pixels) in [("one focal length", true), ("two focal lengths", false)] {
            let options = Options { square_pixels, ..Options::default() };
            c.bench_function(&format!("calibration/{side}, {name}"), |b| {
                b.iter(|| calibrate(black_box(&photos), &options).unwrap());
            });
        }
        let Some(peer) = &mut peer else { continue };
        for (work, name) in [("fit", "one fit"), ("jackknife", "and 13 without a photo")] {
            let name = format!("calibration/{side}, OpenCV {}, {name}", peer.version);
            c.bench_function(&name, |b| b.iter_custom(|count| peer.time(side, work, count)));
        }
    }
}

criterion_group!(benches, calibration);
criterion_main!(benches);
