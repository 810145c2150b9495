//! A fuzzer of our own, for stable Rust and one process: mutated inputs, kept where an answer is new.
//!
//! An input is made of one that is known by flipped bits, spliced, cut and repeated pieces, telling numbers and words of the
//! format, and, where it is JSON, changes of its tree. What a target answers (the words of its error without names and numbers)
//! stands in for coverage: an input with a new answer is kept and mutated on.
#![allow(dead_code, reason = "the example and the test use parts of it")]

mod json;
mod mutate;
pub(crate) mod seeds;
pub(crate) mod targets;

use mutate::Mutator;
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, HashSet};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

/// Something that reads what other people have written.
pub(crate) struct Target {
    pub(crate) name: &'static str,
    /// Reads an input; its answer.
    pub(crate) run: fn(&[u8]) -> u64,
    /// Good inputs, and telling bad ones.
    pub(crate) seeds: fn() -> Vec<Vec<u8>>,
    /// Words of the format.
    pub(crate) words: &'static [&'static str],
    pub(crate) json: bool,
}

/// Numbers that repeat: SplitMix64 (Steele, Lea, Flood 2014), from memory.
pub(crate) struct Rng(pub(crate) u64);

impl Rng {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Below `n`; 0 where there is nothing below it.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { (self.next() % n as u64) as usize }
    }

    pub(crate) fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }
}

/// A panic.
#[derive(Debug, Clone)]
pub(crate) struct Finding {
    /// Where, and its words.
    pub(crate) what: String,
    pub(crate) input: Vec<u8>,
}

/// What a run of one target came to.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    pub(crate) executions: u64,
    /// Inputs with a new answer.
    pub(crate) answers: usize,
    pub(crate) slowest: Duration,
    pub(crate) slowest_input: Vec<u8>,
    /// One for each place.
    pub(crate) findings: BTreeMap<String, Finding>,
}

thread_local! {
    static LAST_PANIC: RefCell<String> = const { RefCell::new(String::new()) };
    static RUNS: Cell<bool> = const { Cell::new(false) };
}

/// Keeps the panics of targets quiet, and their words; others are told as ever.
pub(crate) fn listen() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        if !RUNS.get() {
            return usual(info);
        }
        let place = info.location().map(|l| format!("{}:{}", l.file(), l.line())).unwrap_or_default();
        LAST_PANIC.with(|last| *last.borrow_mut() = format!("{place}: {}", info.payload_as_str().unwrap_or_default()));
    }));
}

/// How many inputs are kept.
const MOST_KEPT: usize = 2048;

/// Longest input, bytes.
const LONGEST: usize = 1 << 16;

/// Runs a target on mutated inputs until enough were run, or it is time.
pub(crate) fn fuzz(target: &Target, seed: u64, executions: u64, until: Option<Instant>) -> Tally {
    let seeds = (target.seeds)();
    let mut corpus = seeds.clone();
    let mut mutator = Mutator { rng: Rng(seed), words: target.words, json: target.json };
    let (mut tally, mut answers) = (Tally::default(), HashSet::new());
    for input in &seeds {
        run(target, input, &mut tally, &mut answers);
    }
    while tally.executions < executions
        && (tally.executions % 64 != 0 || until.is_none_or(|until| Instant::now() < until))
    {
        // Half of the inputs are made of good ones, or what is kept would wander off into what is refused at its first byte.
        let from = if mutator.rng.one_in(2) { &seeds } else { &corpus };
        let mut input = mutator.mutated(from);
        input.truncate(LONGEST);
        if run(target, &input, &mut tally, &mut answers) {
            if corpus.len() < MOST_KEPT {
                corpus.push(input);
            } else {
                let at = mutator.rng.below(MOST_KEPT);
                corpus[at] = input;
            }
        }
    }
    tally
}

/// Runs one input; whether its answer is new.
fn run(target: &Target, input: &[u8], tally: &mut Tally, answers: &mut HashSet<u64>) -> bool {
    let since = Instant::now();
    RUNS.set(true);
    let answer = catch_unwind(AssertUnwindSafe(|| (target.run)(input)));
    RUNS.set(false);
    let took = since.elapsed();
    if took > tally.slowest {
        (tally.slowest, tally.slowest_input) = (took, input.to_vec());
    }
    tally.executions += 1;
    match answer {
        Ok(answer) => {
            let new = answers.len() < 100_000 && answers.insert(answer);
            tally.answers += usize::from(new);
            new
        }
        Err(_) => {
            let what = LAST_PANIC.with(|last| last.borrow().clone());
            let place = what.split(": ").next().unwrap_or_default().to_owned();
            tally.findings.entry(place).or_insert_with(|| Finding { what, input: input.to_vec() });
            false
        }
    }
}
