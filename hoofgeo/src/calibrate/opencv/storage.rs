//! The top level of a file that OpenCV's `FileStorage` writes, in its three spellings: YAML, XML, JSON.
//!
//! OpenCV's YAML is a dialect (`%YAML:1.0`, the tag `!!opencv-matrix`) that general readers refuse. Only what a calibration is made
//! of is read: numbers, words, matrices and lists of numbers at the top level; anything else is passed over.
//!
//! # Source
//! OpenCV documentation, "XML/YAML/JSON Persistence", and files written by OpenCV 4.11.

use crate::error::{Error, ErrorKind, Place, Result};
use jsonc_parser::ast;

/// A value at the top level.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Entry {
    pub(super) key: String,
    /// Line in the file, from 1.
    pub(super) line: usize,
    pub(super) value: Value,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    Number(f64),
    Text(String),
    /// Row by row; a plain list has one row.
    Matrix {
        rows: usize,
        cols: usize,
        data: Vec<f64>,
    },
    /// Something that no calibration is made of.
    Other,
}

pub(super) fn read(text: &str) -> Result<Vec<Entry>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let start = text.trim_start();
    if start.starts_with('<') {
        xml(text)
    } else if start.starts_with('{') {
        json(text)
    } else if text.contains(':') && !text.contains('\0') {
        yaml(text)
    } else {
        Err(Error::new(ErrorKind::Format, "this is no YAML, XML or JSON file of OpenCV's")
            .help("give the file that OpenCV's calibration wrote; unpack it first if it is compressed"))
    }
}

fn wrong(line: usize, what: impl Into<String>) -> Error {
    Error::new(ErrorKind::Format, what).at(Place { line, column: 1, path: String::new() })
}

fn line_at(text: &str, byte: usize) -> usize {
    1 + text.as_bytes().iter().take(byte).filter(|b| **b == b'\n').count()
}

/// A scalar as OpenCV spells it: `0.`, `-1.5e-02`, `"words"`.
fn scalar(text: &str) -> Value {
    let text = text.trim();
    let bare = text.strip_prefix('"').and_then(|t| t.strip_suffix('"'));
    match bare {
        Some(bare) => Value::Text(bare.replace("\\\"", "\"")),
        // Rust also reads `nan` and `infinity`, which here are words.
        None if text.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c)) => {
            text.parse().map_or_else(|_| Value::Text(text.to_owned()), Value::Number)
        }
        None => Value::Text(text.to_owned()),
    }
}

/// A matrix from its parts, whose numbers must be as many as it says.
fn matrix(line: usize, key: &str, rows: Option<&str>, cols: Option<&str>, data: Vec<f64>) -> Result<Value> {
    let count = |what: &str, text: Option<&str>| {
        let number = text.and_then(|t| t.trim().parse::<usize>().ok());
        number.ok_or_else(|| wrong(line, format!("the matrix `{key}` does not say how many {what} it has")))
    };
    let (rows, cols) = (count("rows", rows)?, count("cols", cols)?);
    if rows.checked_mul(cols) != Some(data.len()) {
        let what = format!("the matrix `{key}` should have {rows} x {cols} numbers, it has {}", data.len());
        return Err(wrong(line, what));
    }
    Ok(Value::Matrix { rows, cols, data })
}

fn numbers<'a>(line: usize, key: &str, words: impl Iterator<Item = &'a str>) -> Result<Vec<f64>> {
    words
        .map(str::trim)
        .filter(|w| !w.is_empty())
        .map(|w| match scalar(w) {
            Value::Number(x) => Ok(x),
            _ => Err(wrong(line, format!("`{key}`: `{w}` is not a number"))),
        })
        .collect()
}

fn yaml(text: &str) -> Result<Vec<Entry>> {
    let mut entries: Vec<(usize, &str, String)> = Vec::new();
    for (i, line) in text.lines().enumerate() {
        let content = line.trim();
        if content.is_empty() || content.starts_with(['#', '%']) || content.starts_with("---") || content == "..." {
            continue;
        }
        // A line that is set in belongs to the entry above it.
        if line.starts_with([' ', '\t', '-']) {
            let Some((_, _, body)) = entries.last_mut() else {
                return Err(wrong(i + 1, "the file begins in the middle of a value"));
            };
            body.push('\n');
            body.push_str(content);
        } else {
            let split = line.split_once(':').filter(|(_, rest)| rest.is_empty() || rest.starts_with(' '));
            let Some((key, rest)) = split else {
                return Err(wrong(i + 1, "a line here should be `name: value`"));
            };
            entries.push((i + 1, key.trim().trim_matches('"'), rest.trim().to_owned()));
        }
    }
    entries
        .into_iter()
        .map(|(line, key, body)| Ok(Entry { key: key.to_owned(), line, value: yaml_value(line, key, &body)? }))
        .collect()
}

fn yaml_value(line: usize, key: &str, body: &str) -> Result<Value> {
    let list = |from: &str| {
        let inside = from.trim().strip_prefix('[').and_then(|t| t.split_once(']'));
        inside.map(|(inside, _)| inside.replace('\n', " "))
    };
    let tagged = body.starts_with("!!opencv-matrix");
    // Field of a nested map; `data` may go on over several lines.
    let field = |name: &str| {
        let mut after = 0;
        body.split_inclusive('\n').find_map(|l| {
            let start = after;
            after += l.len();
            l.strip_prefix(name)?.starts_with(':').then(|| &body[start + name.len() + 1..])
        })
    };
    let first_line = |name: &str| field(name).and_then(|t| t.lines().next());
    if tagged || (body.starts_with('\n') && field("data").is_some() && field("rows").is_some()) {
        let Some(data) = field("data").and_then(list) else {
            return Err(wrong(line, format!("the matrix `{key}` has no data, or they do not end with `]`")));
        };
        return matrix(line, key, first_line("rows"), first_line("cols"), numbers(line, key, data.split(','))?);
    }
    if body.starts_with('[') {
        let Some(inside) = list(body) else {
            return Err(wrong(line, format!("the list `{key}` does not end")));
        };
        return Ok(numbers(line, key, inside.split(',')).map_or(Value::Other, row));
    }
    Ok(if body.contains('\n') || body.is_empty() { Value::Other } else { scalar(body) })
}

fn row(data: Vec<f64>) -> Value {
    Value::Matrix { rows: 1, cols: data.len(), data }
}

fn xml(text: &str) -> Result<Vec<Entry>> {
    let document = roxmltree::Document::parse(text).map_err(|e| {
        let pos = e.pos();
        Error::new(ErrorKind::Format, format!("this is no correct XML: {e}")).at(Place {
            line: pos.row as usize,
            column: pos.col as usize,
            path: String::new(),
        })
    })?;
    let root = document.root_element();
    if root.tag_name().name() != "opencv_storage" {
        let what =
            format!("an XML file of OpenCV's begins with <opencv_storage>, this one with <{}>", root.tag_name().name());
        return Err(wrong(1, what));
    }
    let entries = root.children().filter(roxmltree::Node::is_element).map(|node| {
        let line = document.text_pos_at(node.range().start).row as usize;
        let key = node.tag_name().name();
        let child = |name: &str| node.children().find(|c| c.has_tag_name(name)).and_then(|c| c.text());
        let value = if node.attribute("type_id") == Some("opencv-matrix") {
            let data = child("data").unwrap_or_default().split_ascii_whitespace();
            matrix(line, key, child("rows"), child("cols"), numbers(line, key, data)?)?
        } else if node.children().any(|c| c.is_element()) {
            Value::Other
        } else {
            let text = node.text().unwrap_or_default();
            let words = text.split_ascii_whitespace();
            match numbers(line, key, words.clone()) {
                Ok(data) if data.len() > 1 => row(data),
                _ => scalar(text),
            }
        };
        Ok(Entry { key: key.to_owned(), line, value })
    });
    entries.collect()
}

fn json(text: &str) -> Result<Vec<Entry>> {
    // OpenCV writes its comments into JSON.
    let parsed = jsonc_parser::parse_to_ast(text, &Default::default(), &Default::default())
        .map_err(|e| wrong(line_at(text, e.range().start), format!("this is no correct JSON: {}", e.kind())))?;
    let Some(ast::Value::Object(root)) = parsed.value else {
        return Err(wrong(1, "a JSON file of OpenCV's is an object"));
    };
    let entries = root.properties.iter().map(|property| {
        let key = property.name.as_str();
        let line = line_at(text, property.range.start);
        let list = |value: &ast::Value<'_>| match value {
            ast::Value::Array(a) => a
                .elements
                .iter()
                .map(|e| if let ast::Value::NumberLit(n) = e { n.value.parse().ok() } else { None })
                .collect(),
            _ => None::<Vec<f64>>,
        };
        let value = match &property.value {
            ast::Value::NumberLit(n) => scalar(n.value),
            ast::Value::StringLit(s) => Value::Text(s.value.clone().into_owned()),
            value @ ast::Value::Array(_) => list(value).map_or(Value::Other, row),
            ast::Value::Object(o) if o.get("type_id").is_some() && o.get("data").is_some() => {
                let number = |name: &str| match o.get(name).map(|p| &p.value) {
                    Some(ast::Value::NumberLit(n)) => Some(n.value),
                    _ => None,
                };
                match o.get("data").and_then(|p| list(&p.value)) {
                    Some(data) => matrix(line, key, number("rows"), number("cols"), data)?,
                    None => {
                        return Err(wrong(line, format!("the matrix `{key}` holds something that is not a number")));
                    }
                }
            }
            _ => Value::Other,
        };
        Ok(Entry { key: key.to_owned(), line, value })
    });
    entries.collect()
}
