//! Inputs made of inputs.

use super::{Rng, json};

/// Numbers at which programs err, as text.
const NUMBERS: [&str; 24] = [
    "0",
    "-0",
    "1",
    "-1",
    "0.0",
    "1e-320",
    "5e-324",
    "1e308",
    "-1e308",
    "1e400",
    "1e-400",
    "255",
    "256",
    "32767",
    "65535",
    "65536",
    "2147483647",
    "-2147483648",
    "4294967295",
    "4294967296",
    "9007199254740993",
    "18446744073709551615",
    "18446744073709551616",
    "0.1",
];

/// The same as they stand in binary files.
const INTEGERS: [u64; 16] =
    [0, 1, 2, 7, 8, 0x7f, 0x80, 0xff, 0x100, 0x7fff, 0x8000, 0xffff, 0x1_0000, 0x7fff_ffff, 0xffff_ffff, u64::MAX];

pub(super) struct Mutator {
    pub(super) rng: Rng,
    pub(super) words: &'static [&'static str],
    pub(super) json: bool,
}

impl Mutator {
    /// A new input from those that are known.
    pub(super) fn mutated(&mut self, corpus: &[Vec<u8>]) -> Vec<u8> {
        let mut input = corpus[self.rng.below(corpus.len())].clone();
        // Half of the JSON changes in its tree alone, and stays JSON.
        if self.json && !self.rng.one_in(4) {
            if let Some(changed) = json::mutated(&input, self.words, &mut self.rng) {
                input = changed;
            }
            if !self.rng.one_in(3) {
                return input;
            }
        }
        for _ in 0..1 + self.rng.below(4) {
            self.step(&mut input, corpus);
        }
        input
    }

    fn range(&mut self, length: usize) -> std::ops::Range<usize> {
        let from = self.rng.below(length + 1);
        let most = if self.rng.one_in(4) { length - from } else { (length - from).min(16) };
        from..from + self.rng.below(most + 1)
    }

    fn step(&mut self, input: &mut Vec<u8>, corpus: &[Vec<u8>]) {
        let at = self.rng.below(input.len());
        match self.rng.below(13) {
            0 if !input.is_empty() => input[at] ^= 1 << self.rng.below(8),
            1 if !input.is_empty() => input[at] = self.rng.next() as u8,
            2 => {
                let range = self.range(input.len());
                input.drain(range);
            }
            3 => {
                let range = self.range(input.len());
                let piece = input[range].to_vec();
                input.splice(at..at, piece);
            }
            4 => {
                let other = &corpus[self.rng.below(corpus.len())];
                let range = self.range(other.len());
                let to = self.range(input.len());
                input.splice(to, other[range].iter().copied());
            }
            5 => input.truncate(at),
            6 => {
                let other = &corpus[self.rng.below(corpus.len())];
                let from = self.rng.below(other.len());
                input.truncate(at);
                input.extend(&other[from..]);
            }
            7 | 8 if !self.words.is_empty() => {
                let word = self.words[self.rng.below(self.words.len())].bytes();
                let to = if self.rng.one_in(2) { at..at } else { self.range(input.len()) };
                input.splice(to, word);
            }
            9 | 10 => self.number(input, at),
            11 => self.integer(input, at),
            _ => {
                let byte = self.rng.next() as u8;
                let n = 1 + self.rng.below(4);
                input.splice(at..at, std::iter::repeat_n(byte, n));
            }
        }
    }

    /// Another number in the place of the next one.
    fn number(&mut self, input: &mut Vec<u8>, at: usize) {
        let is_part = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'e' | b'E');
        let Some(from) = input.iter().skip(at).position(u8::is_ascii_digit).map(|step| at + step) else { return };
        let to = from + input[from..].iter().take_while(|b| is_part(b)).count();
        let number = if self.rng.one_in(3) {
            self.rng.below(5000).to_string()
        } else {
            NUMBERS[self.rng.below(NUMBERS.len())].to_owned()
        };
        input.splice(from..to, number.into_bytes());
    }

    /// A binary number over what stands there.
    fn integer(&mut self, input: &mut [u8], at: usize) {
        let n = INTEGERS[self.rng.below(INTEGERS.len())];
        let n = if self.rng.one_in(3) { n.wrapping_sub(self.rng.below(9) as u64) } else { n };
        let width = [1, 2, 4, 8][self.rng.below(4)];
        let bytes = if self.rng.one_in(2) { n.to_le_bytes() } else { n.swap_bytes().to_be_bytes() };
        let bytes: Vec<u8> =
            if self.rng.one_in(2) { bytes[..width].to_vec() } else { bytes[..width].iter().rev().copied().collect() };
        for (to, byte) in input.iter_mut().skip(at).zip(bytes) {
            *to = byte;
        }
    }
}
