//! The fuzz harness for some seconds: fixed seeds, bounded numbers of inputs. `cargo run -p hoofgeo --example fuzz` runs it for hours.
#![allow(missing_docs, reason = "tests")]

mod fuzz;

use fuzz::targets::ALL;

/// Inputs of a target whose inputs take a microsecond; slower ones get fewer.
fn executions(name: &str) -> u64 {
    match name {
        "headers" | "requests" => 20_000,
        "measure" | "pixels" => 300,
        "join" => 900,
        _ => 3_000,
    }
}

#[test]
fn no_input_makes_a_reader_panic() {
    fuzz::listen();
    for target in ALL {
        for seed in [1, 2] {
            let tally = fuzz::fuzz(target, seed, executions(target.name), None);
            let findings: Vec<&str> = tally.findings.values().map(|f| f.what.as_str()).collect();
            assert!(findings.is_empty(), "{}: {findings:#?}", target.name);
            assert_eq!(tally.executions, executions(target.name), "{}", target.name);
            // The words of the errors differ: the inputs reach something.
            assert!(tally.answers >= 3, "{}: {} answers", target.name, tally.answers);
        }
    }
}

/// The harness sees a panic, and keeps its input: otherwise the test above could not fail.
#[test]
fn a_panic_is_found() {
    fuzz::listen();
    let target = fuzz::Target {
        name: "broken",
        run: |bytes| {
            assert!(!bytes.windows(4).any(|w| w == b"HTTP"), "found");
            bytes.len() as u64
        },
        seeds: || vec![b"abc".to_vec()],
        words: &["HTTP"],
        json: false,
    };
    let tally = fuzz::fuzz(&target, 1, 10_000, None);
    let finding = tally.findings.values().next().expect("a finding");
    assert!(finding.what.contains("found") && finding.input.windows(4).any(|w| w == b"HTTP"), "{finding:?}");
}
