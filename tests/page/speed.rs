//! How fast values follow a mark that is dragged. Figures to read, not to hold: run by hand on a quiet machine.

use super::chromium::Chromium;
use super::hands::on_screen;
use super::program::{Folder, Program, target};
use hoofgeo::Landmark;
use std::time::{Duration, Instant};

const PHOTO: &str = "LF-lateral-before.jpg";

/// A mouse sends a hundred or so a second.
const BETWEEN_MOVES: Duration = Duration::from_millis(8);
const MOVES: usize = 1000;

/// From each move of a mark until the values of it, or of a later one, stand on the page.
#[test]
#[ignore = "prints a figure"]
#[allow(clippy::print_stdout, reason = "its figure is what it is for")]
fn values_while_a_mark_is_dragged() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO)]);
    let aim = target(PHOTO);
    std::fs::write(folder.path("LF-lateral-before.jpg.hoof.json"), aim.to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    tab.until("hoofgeo.store.values.values?.length > 10");
    let at = on_screen(&tab, aim.landmarks[&Landmark::HeelCoronet].at[0]);
    tab.mouse("mousePressed", at);
    let since = Instant::now();
    for i in 0..MOVES {
        let turn = i as f64 / 40.0;
        tab.mouse("mouseMoved", [at[0] + 12.0 * turn.sin(), at[1] + 12.0 * turn.cos()]);
        std::thread::sleep((since + BETWEEN_MOVES * (i as u32 + 1)).saturating_duration_since(Instant::now()));
    }
    let seconds = since.elapsed().as_secs_f64();
    tab.mouse("mouseReleased", at);
    let took = tab.eval("hoofgeo.took");
    let mut took: Vec<f64> = took.as_array().unwrap().iter().map(|t| t.as_f64().unwrap()).collect();
    assert!(took.len() > MOVES / 4, "{} moves were seen", took.len());
    took.sort_by(f64::total_cmp);
    let part = |share: f64| took[((took.len() - 1) as f64 * share).round() as usize];
    println!(
        "{} moves in {seconds:.1} s; from move to values: median {:.1} ms, 95th percentile {:.1} ms, most {:.1} ms",
        took.len(),
        part(0.5),
        part(0.95),
        part(1.0)
    );
}
