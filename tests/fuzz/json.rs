//! Changes of a JSON tree.

use super::Rng;
use serde_json::{Map, Number, Value};

/// A text of a changed tree; none where the input is no JSON.
pub(super) fn mutated(input: &[u8], words: &[&str], rng: &mut Rng) -> Option<Vec<u8>> {
    let mut tree: Value = serde_json::from_slice(input).ok()?;
    for _ in 0..1 + rng.below(3) {
        let all = count(&tree);
        let donor = nth(&tree, &mut rng.below(all)).cloned().unwrap_or_default();
        let mut at = rng.below(all);
        change(&mut tree, &mut at, words, &donor, rng);
    }
    serde_json::to_vec(&tree).ok()
}

fn count(value: &Value) -> usize {
    1 + match value {
        Value::Array(all) => all.iter().map(count).sum(),
        Value::Object(all) => all.values().map(count).sum::<usize>(),
        _ => 0,
    }
}

fn nth<'v>(value: &'v Value, at: &mut usize) -> Option<&'v Value> {
    if *at == 0 {
        return Some(value);
    }
    *at -= 1;
    match value {
        Value::Array(all) => all.iter().find_map(|v| nth(v, at)),
        Value::Object(all) => all.values().find_map(|v| nth(v, at)),
        _ => None,
    }
}

/// Changes the node that is `at` steps away; whether it was come upon.
fn change(value: &mut Value, at: &mut usize, words: &[&str], donor: &Value, rng: &mut Rng) -> bool {
    if *at == 0 {
        replace(value, words, donor, rng);
        return true;
    }
    *at -= 1;
    match value {
        Value::Array(all) => all.iter_mut().any(|v| change(v, at, words, donor, rng)),
        Value::Object(all) => all.values_mut().any(|v| change(v, at, words, donor, rng)),
        _ => false,
    }
}

fn word(words: &[&str], rng: &mut Rng) -> String {
    words.get(rng.below(words.len())).copied().unwrap_or("x").to_owned()
}

fn number(rng: &mut Rng) -> Value {
    const TELLING: [f64; 14] = [
        0.0,
        -0.0,
        1.0,
        -1.0,
        0.5,
        1e-300,
        1e300,
        -1e300,
        5e-324,
        f64::MAX,
        1e5,
        1e-9,
        4294967296.0,
        9007199254740993.0,
    ];
    match rng.below(4) {
        0 => Value::from(rng.below(5000)),
        1 => Value::from(rng.next() as i64),
        2 => Number::from_f64((rng.next() as i32) as f64 / 1000.0).map_or(Value::Null, Value::Number),
        _ => Number::from_f64(TELLING[rng.below(TELLING.len())]).map_or(Value::Null, Value::Number),
    }
}

fn replace(value: &mut Value, words: &[&str], donor: &Value, rng: &mut Rng) {
    let which = rng.below(12);
    match (which, &mut *value) {
        (0 | 1, Value::Number(n)) => {
            let scaled = n.as_f64().unwrap_or(1.0) * [0.5, 2.0, -1.0, 1.001, 10.0][rng.below(5)];
            *value = Number::from_f64(scaled).map_or(Value::Null, Value::Number);
        }
        (0..=3, Value::Number(_)) => *value = number(rng),
        (0..=2, Value::String(text)) => {
            *value = Value::String(match rng.below(4) {
                0 => word(words, rng),
                1 => text.chars().rev().collect(),
                2 => text.repeat(1 + rng.below(3)),
                _ => format!("{text}\u{0}\u{1b}é{}", '\u{10ffff}'),
            });
        }
        (0 | 1, Value::Array(all)) if !all.is_empty() => {
            let at = rng.below(all.len());
            all.remove(at);
        }
        (2 | 3, Value::Array(all)) => {
            let at = rng.below(all.len() + 1);
            let new = all.get(rng.below(all.len())).cloned().unwrap_or_else(|| donor.clone());
            all.insert(at, new);
        }
        (4, Value::Array(all)) => all.reverse(),
        (0 | 1, Value::Object(all)) if !all.is_empty() => {
            let key = all.keys().nth(rng.below(all.len())).cloned().unwrap_or_default();
            all.remove(&key);
        }
        (2..=4, Value::Object(all)) => {
            all.insert(word(words, rng), donor.clone());
        }
        (5, Value::Object(all)) if !all.is_empty() => {
            let key = all.keys().nth(rng.below(all.len())).cloned().unwrap_or_default();
            if let Some(moved) = all.remove(&key) {
                all.insert(word(words, rng), moved);
            }
        }
        (6, _) => *value = Value::Null,
        (7, _) => *value = Value::Array(vec![value.take()]),
        (8, _) => *value = number(rng),
        (9, _) => *value = Value::Object(Map::from_iter([(word(words, rng), value.take())])),
        (10, _) => *value = Value::String(word(words, rng)),
        _ => *value = donor.clone(),
    }
}
