//! Reads the geometry of a sidecar without any image crate: `cargo run -p hoofgeo --no-default-features --example geometry`.
#![allow(clippy::print_stdout, reason = "an example")]

use hoofgeo::measured::{MeasureOptions, measure};
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::uncertainty::print;

fn main() -> hoofgeo::Result<()> {
    let sidecar = Sidecar::parse(include_str!("../../fixtures/bench/lateral.json"), None)?;
    let lens = LensPrior::exif((sidecar.photo.width_px, sidecar.photo.height_px), 3028.7);
    let measured = measure(&sidecar, &lens, &MeasureOptions::default())?;
    let camera = measured.scene.distance_mm();
    println!("The camera stood {} from the ruler.", print(camera.value, 2.0 * camera.u, "mm"));
    for (landmark, index) in
        hoofgeo::Landmark::ALL.iter().filter_map(|l| Some((l, measured.located.index.landmark(*l)?)))
    {
        let place = measured.located.places[index];
        println!("{:<16}{:8.1} mm{:8.1} mm", landmark.name(), place.x, place.y);
    }
    for v in &measured.values {
        println!("{:<28}{}", v.measurement.name, print(v.value, v.expanded(), v.measurement.quantity.unit()));
    }
    Ok(())
}
