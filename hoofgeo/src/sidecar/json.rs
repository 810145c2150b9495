//! Writing: objects of the outer two levels one key a line, everything within them on one line.

use super::model::{Scale, Sidecar, Visit};
use serde::ser::{Serialize, SerializeMap, Serializer};
use serde_json::ser::{CompactFormatter, Formatter};
use std::collections::BTreeMap;
use std::io::{self, Write};

/// The text of `value`, ending in a line break.
pub(super) fn pretty<T: Serialize>(value: &T) -> String {
    with_layout(value, Layout::default())
}

/// As [`pretty`], each row of a matrix on a line of its own.
pub(super) fn pretty_rows<T: Serialize>(value: &T) -> String {
    with_layout(value, Layout { matrix: true, ..Layout::default() })
}

fn with_layout<T: Serialize>(value: &T, layout: Layout) -> String {
    let mut out = Vec::with_capacity(2048);
    let mut serializer = serde_json::Serializer::with_formatter(&mut out, layout);
    // Nothing here can fail: the sink is memory, every key is text and the checks let no non-finite number in.
    let done = value.serialize(&mut serializer);
    debug_assert!(done.is_ok());
    out.push(b'\n');
    String::from_utf8(out).unwrap_or_default()
}

/// Objects nested deeper than this stand on one line.
const OPEN: usize = 2;

#[derive(Default)]
struct Layout {
    /// How many objects are open.
    objects: usize,
    /// The open arrays: whether each value of it begins a line.
    arrays: Vec<bool>,
    /// Arrays within arrays begin a line, as objects within arrays always do.
    matrix: bool,
    empty: bool,
    /// A comma was written and the space after it is due, unless a line break takes its place.
    space: bool,
}

impl Layout {
    fn line<W: Write + ?Sized>(&mut self, w: &mut W, depth: usize) -> io::Result<()> {
        self.space = false;
        w.write_all(b"\n")?;
        (0..depth).try_for_each(|_| w.write_all(b"  "))
    }

    /// Begins a line for the next value where it stands in an array.
    fn row<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        match self.arrays.last_mut() {
            Some(rows) => {
                *rows = true;
                self.line(w, self.objects + 1)
            }
            None => self.due(w),
        }
    }

    fn due<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        if std::mem::take(&mut self.space) { w.write_all(b" ") } else { Ok(()) }
    }
}

impl Formatter for Layout {
    fn begin_object<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        self.row(w)?;
        self.objects += 1;
        self.empty = true;
        w.write_all(b"{")
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        if !first {
            w.write_all(b",")?;
        }
        self.empty = false;
        if self.objects <= OPEN && self.arrays.is_empty() { self.line(w, self.objects) } else { w.write_all(b" ") }
    }

    fn begin_object_value<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        w.write_all(b": ")
    }

    fn end_object<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        let depth = self.objects;
        self.objects -= 1;
        if !std::mem::take(&mut self.empty) {
            if depth <= OPEN && self.arrays.is_empty() { self.line(w, depth - 1)? } else { w.write_all(b" ")? }
        }
        w.write_all(b"}")
    }

    fn begin_array<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        if self.matrix {
            self.row(w)?
        } else {
            self.due(w)?
        }
        self.arrays.push(false);
        w.write_all(b"[")
    }

    fn begin_array_value<W: Write + ?Sized>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        self.space = !first;
        if first { Ok(()) } else { w.write_all(b",") }
    }

    fn end_array<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        if self.arrays.pop() == Some(true) {
            self.line(w, self.objects)?;
        }
        w.write_all(b"]")
    }

    /// The shortest text that reads back as the same number; no exponent and no `.0` where people would write none.
    fn write_f64<W: Write + ?Sized>(&mut self, w: &mut W, x: f64) -> io::Result<()> {
        self.due(w)?;
        if x == 0.0 || (1e-4..1e15).contains(&x.abs()) { write!(w, "{x}") } else { write!(w, "{x:e}") }
    }

    fn write_u32<W: Write + ?Sized>(&mut self, w: &mut W, n: u32) -> io::Result<()> {
        self.due(w)?;
        CompactFormatter.write_u32(w, n)
    }

    fn begin_string<W: Write + ?Sized>(&mut self, w: &mut W) -> io::Result<()> {
        self.due(w)?;
        w.write_all(b"\"")
    }
}

/// A map's entries in order, `None` as an empty slot.
pub(super) struct Slots<'s, V>(pub(super) Vec<(&'static str, Option<&'s V>)>);

impl<V: Serialize> Serialize for Slots<'_, V> {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_map(self.0.iter().map(|(k, v)| (k, v)))
    }
}

impl Sidecar {
    /// The sidecar's text. Empty slots stay.
    pub fn to_json(&self) -> String {
        pretty(self)
    }
}

impl Visit {
    /// The visit's text, with its `format`.
    pub fn to_json(&self) -> String {
        pretty(&Self { format: Some(Self::FORMAT.to_owned()), ..self.clone() })
    }
}

impl Serialize for Sidecar {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        let Self { photo, subject, view, side, stage, surface, taken, observer, lens, scale, planes, .. } = self;
        let mut map = s.serialize_map(None)?;
        map.serialize_entry("format", Self::FORMAT)?;
        map.serialize_entry("photo", photo)?;
        map.serialize_entry("subject", subject)?;
        map.serialize_entry("view", view)?;
        some(&mut map, "side", side)?;
        some(&mut map, "stage", stage)?;
        some(&mut map, "surface", surface)?;
        some(&mut map, "taken", taken)?;
        some(&mut map, "observer", observer)?;
        some(&mut map, "lens", lens)?;
        some::<_, Scale>(&mut map, "scale", scale)?;
        if !planes.is_empty() {
            map.serialize_entry("planes", planes)?;
        }
        let landmarks = crate::Landmark::of(*view).map(|l| (l.name(), self.landmarks.get(&l)));
        self.slots(&mut map, "landmarks", landmarks)?;
        let lines = crate::Line::of(*view).map(|l| (l.name(), self.lines.get(&l)));
        self.slots(&mut map, "lines", lines)?;
        if !self.gauge.is_empty() {
            map.serialize_entry("gauge", &self.gauge)?;
        }
        some(&mut map, "notes", &self.notes)?;
        map.end()
    }
}

impl Sidecar {
    fn slots<'s, M: SerializeMap, V: Serialize + 's>(
        &self,
        map: &mut M,
        key: &'static str,
        all: impl Iterator<Item = (&'static str, Option<&'s V>)>,
    ) -> Result<(), M::Error> {
        let prefix = format!("{key}.");
        let empty: BTreeMap<&str, ()> =
            self.empty.iter().filter_map(|p| p.strip_prefix(&prefix)).map(|n| (n, ())).collect();
        let kept: Vec<_> = all.filter(|(name, v)| v.is_some() || empty.contains_key(name)).collect();
        if kept.is_empty() { Ok(()) } else { map.serialize_entry(key, &Slots(kept)) }
    }
}

pub(super) fn some<M: SerializeMap, V: Serialize>(
    map: &mut M,
    key: &'static str,
    value: &Option<V>,
) -> Result<(), M::Error> {
    match value {
        Some(value) => map.serialize_entry(key, value),
        None => Ok(()),
    }
}
