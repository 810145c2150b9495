//! Runs the fuzz harness for as long as you like, single-threaded:
//!
//! ```sh
//! cargo run -p hoofgeo --example fuzz -- TARGET SECONDS [SEED]     # or `all`: each target for so long
//! ```
//! Prints executions and findings of each target; the input of a finding is written to `TARGET.N.input` in the current folder, and
//! `--example fuzz -- TARGET FILE` runs it again. The exit code is 1 where anything was found.
#![allow(clippy::print_stdout, reason = "a program")]

#[path = "../../tests/fuzz/mod.rs"]
mod fuzz;

use fuzz::targets::ALL;
use std::process::ExitCode;
use std::time::{Duration, Instant};

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [name, what, more @ ..] = &words[..] else {
        println!("fuzz TARGET SECONDS [SEED]; targets: {}", ALL.iter().map(|t| t.name).collect::<Vec<_>>().join(", "));
        return ExitCode::from(2);
    };
    println!("debug assertions: {}", cfg!(debug_assertions));
    let mut found = false;
    for target in ALL.iter().filter(|t| t.name == name || name == "all") {
        let Ok(seconds) = what.parse::<u64>() else {
            // An input again, with its panic as it comes.
            let answer = std::fs::read(what).map(|input| (target.run)(&input));
            println!("{answer:?}");
            continue;
        };
        fuzz::listen();
        let seed = more.first().and_then(|s| s.parse().ok()).unwrap_or(1);
        let tally = fuzz::fuzz(target, seed, u64::MAX, Some(Instant::now() + Duration::from_secs(seconds)));
        println!(
            "{}: seed {seed}, {} executions, {} answers, {} findings, slowest {:.1} ms ({} bytes)",
            target.name,
            tally.executions,
            tally.answers,
            tally.findings.len(),
            tally.slowest.as_secs_f64() * 1e3,
            tally.slowest_input.len()
        );
        if tally.slowest > Duration::from_secs(1) {
            let _ = std::fs::write(format!("{}.slowest.input", target.name), &tally.slowest_input);
        }
        for (n, finding) in tally.findings.values().enumerate() {
            found = true;
            println!("  {}", finding.what);
            let _ = std::fs::write(format!("{}.{n}.input", target.name), &finding.input);
        }
    }
    ExitCode::from(u8::from(found))
}
