//! Speed of measuring: sidecars per second without pixels, and Monte Carlo draws.
//!
//! `cargo bench -p hoofgeo --bench pipeline`
#![allow(missing_docs, clippy::unwrap_used, reason = "a bench")]

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use hoofgeo::measured::{MeasureOptions, measure};
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use rayon::prelude::*;
use std::hint::black_box;

/// A lateral photo's sidecar as a practitioner fills it in: a straight ruler with seven graduations, eleven landmarks.
const LATERAL: &str = include_str!("../fixtures/bench/lateral.json");

fn lens() -> LensPrior {
    LensPrior::exif((4032, 3024), 3028.7)
}

fn sidecars(c: &mut Criterion) {
    let lens = lens();
    let mut group = c.benchmark_group("sidecars");
    group.throughput(Throughput::Elements(1));
    group.bench_function("parse", |b| b.iter(|| Sidecar::parse(black_box(LATERAL), None).unwrap()));
    let sidecar = Sidecar::parse(LATERAL, None).unwrap();
    group.bench_function("measure", |b| {
        b.iter(|| measure(black_box(&sidecar), &lens, &MeasureOptions::default()).unwrap());
    });
    const BATCH: u64 = 1000;
    group.throughput(Throughput::Elements(BATCH)).sample_size(20);
    group.bench_function("parse and measure on all cores", |b| {
        b.iter(|| {
            (0..BATCH).into_par_iter().for_each(|_| {
                let sidecar = Sidecar::parse(black_box(LATERAL), None).unwrap();
                black_box(measure(&sidecar, &lens, &MeasureOptions::default()).unwrap());
            });
        });
    });
    group.finish();
}

fn draws(c: &mut Criterion) {
    let (lens, sidecar) = (lens(), Sidecar::parse(LATERAL, None).unwrap());
    let mut group = c.benchmark_group("monte carlo");
    group.sample_size(10);
    group.bench_function("100,000 draws of one lateral photo", |b| {
        b.iter_batched(
            || MeasureOptions { draws: 100_000, seed: 1, ..MeasureOptions::default() },
            |options| black_box(measure(&sidecar, &lens, &options).unwrap()),
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(benches, sidecars, draws);
criterion_main!(benches);
