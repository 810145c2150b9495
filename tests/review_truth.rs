//! Run under, low or neither, on rendered feet whose truth is known, marked as a person would.
#![allow(clippy::unwrap_used, reason = "tests")]

use hoofgeo::measured::{MeasureOptions, measure};
use hoofgeo::review::{HeelConclusion, PhotoValues, Rules, review_feet};
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use hoofgeo_cli::demo::{self, Case, Heel};

/// The conclusions on one heel by so many people, each with a photo of their own.
fn conclusions(heel: Heel, people: u64) -> Vec<HeelConclusion> {
    let mut case: Case = demo::cases().remove(0);
    case.spec = demo::foot_with_heel(heel);
    case.shot.size = [1210, 907];
    // What counts are the landmarks: the pixels are only looked at by people.
    case.shot.noise = false;
    // A square shows the camera's tilt, as a careful photographer would have it.
    case.shot.square = true;
    (0..people)
        .map(|seed| {
            case.seed = 500 + seed;
            let photo = case.render();
            let placed = demo::place_like_a_person(&photo, case.shot.view, case.seed);
            let sidecar = Sidecar::parse(&demo::sidecar(&case, &photo, &placed).to_string(), None).unwrap();
            let frame = (photo.camera.width, photo.camera.height);
            let focal = f64::from(photo.exif.focal_35mm) * f64::from(frame.0).hypot(f64::from(frame.1)) / 43.27;
            let measured = measure(&sidecar, &LensPrior::exif(frame, focal), &MeasureOptions::default()).unwrap();
            let values = PhotoValues::new("a.jpg", &sidecar, &measured, None);
            review_feet(&[values], &Rules::default())[0].heels[0].conclusion
        })
        .collect()
}

/// A heel that has run under is called so by most of the people; a low or sound one is called what it is, or at least not run under, by most;
/// nobody calls a heel what it is not. An open verdict is no mistake, a wrong one is.
#[test]
fn heels_are_called_what_they_are() {
    use HeelConclusion::{Low, Neither, NotDecided, NotRunUnder, RunUnder};
    for (heel, right, allowed) in [
        (Heel::RunUnder, RunUnder, [NotDecided, NotDecided]),
        (Heel::Low, Low, [NotRunUnder, NotDecided]),
        (Heel::Sound, Neither, [NotRunUnder, NotDecided]),
    ] {
        let all = conclusions(heel, 6);
        let hits = all.iter().filter(|c| **c == right || (right != RunUnder && **c == NotRunUnder)).count();
        assert!(all.contains(&right), "{heel:?}: {all:?}");
        assert!(all.iter().all(|c| *c == right || allowed.contains(c)), "{heel:?}: {all:?}");
        assert!(hits >= 4, "{heel:?}: {all:?}");
    }
}
