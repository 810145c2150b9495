//! JSON Schemas (2020-12) of the files, from the types that read them and the tables of landmarks and lines.
//!
//! What a schema cannot say only the reader checks: points inside their photo's frame, graduations that repeat, the
//! number of points a kind of scale needs, outlines that cross themselves, dates that do not exist, covariances that
//! are none, an edge without a direction or on a landmark placed several times, and repeated keys.

use super::de::LONGEST_LIST;
use super::lens::LensFile;
use super::limits;
use super::model::{PlaneSpec, Visit};
use super::raw::{Draft, GraduationFile, LandmarkSlots, LineSlots, NumberOrPair, OneOrMore, PlacementFile, Planes};
use super::{Graduation, LensProfile, Placement, Sidecar};
use crate::{Landmark, Line, PlaneName, View};
use schemars::{JsonSchema, Schema, SchemaGenerator, generate::SchemaSettings, json_schema};
use serde_json::{Map, Value, json};
use std::borrow::Cow;
use std::collections::BTreeSet;

/// The schema of a photo's sidecar.
pub fn sidecar() -> Value {
    let mut schema = of::<Draft>(Sidecar::FORMAT);
    let conditions: Vec<Value> = View::ALL
        .iter()
        .map(|view| {
            let absent = |all: Vec<(&str, View)>| -> Map<String, Value> {
                let own: BTreeSet<_> = all.iter().filter(|(_, v)| v == view).map(|(n, _)| *n).collect();
                all.iter()
                    .filter(|(n, _)| !own.contains(n))
                    .map(|(n, _)| ((*n).to_owned(), json!({ "type": "null" })))
                    .collect()
            };
            let landmarks = absent(Landmark::ALL.iter().map(|l| (l.name(), l.info().view)).collect());
            let mut lines = absent(Line::ALL.iter().map(|l| (l.name(), l.info().view)).collect());
            // An empty list is as empty as null.
            lines
                .values_mut()
                .for_each(|s| *s = json!({ "anyOf": [{ "type": "null" }, { "type": "array", "maxItems": 0 }] }));
            json!({
                "if": { "properties": { "view": { "const": view.name() } } },
                "then": { "properties": {
                    "landmarks": { "properties": landmarks },
                    "lines": { "properties": lines },
                } },
            })
        })
        .collect();
    schema["allOf"] = Value::Array(conditions);
    schema
}

/// The schema of what a visit's sidecars share.
pub fn visit() -> Value {
    of::<Visit>(Visit::FORMAT)
}

/// The schema of a lens profile.
pub fn lens() -> Value {
    of::<LensFile>(LensProfile::FORMAT)
}

pub(crate) fn of<T: JsonSchema>(id: &str) -> Value {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<T>();
    schema.insert("$id".to_owned(), Value::String(format!("urn:hoofgeo:{}", id.replace('/', ":"))));
    schema.to_value()
}

/// `[x, y]` of the upright photo.
pub(super) struct Pixel;

/// `[x, y]`, outside the picture where that is a rectified one.
pub(super) struct PrincipalPoint;

macro_rules! schema {
    ($type:ty, $name:literal, $make:expr) => {
        impl JsonSchema for $type {
            fn schema_name() -> Cow<'static, str> {
                $name.into()
            }

            fn inline_schema() -> bool {
                true
            }

            fn json_schema(generator: &mut SchemaGenerator) -> Schema {
                let make: fn(&mut SchemaGenerator) -> Schema = $make;
                make(generator)
            }
        }
    };
}

schema!(PrincipalPoint, "PrincipalPoint", |_| json_schema!({
    "type": "array",
    "items": { "type": "number", "minimum": -limits::FOCAL_PX, "maximum": limits::FOCAL_PX },
    "minItems": 2,
    "maxItems": 2,
}));

schema!(Pixel, "Pixel", |_| json_schema!({
    "type": "array",
    "items": { "type": "number", "minimum": 0, "maximum": limits::FRAME_PX },
    "minItems": 2,
    "maxItems": 2,
}));

schema!(OneOrMore, "OneOrMore", |generator| {
    let one = generator.subschema_for::<Pixel>();
    json_schema!({ "anyOf": [one, { "type": "array", "items": one, "minItems": 1, "maxItems": LONGEST_LIST }] })
});

schema!(NumberOrPair, "NumberOrPair", |_| {
    let number = json!({ "type": "number", "minimum": -limits::MM, "maximum": limits::MM });
    json_schema!({ "anyOf": [number, { "type": "array", "items": number, "minItems": 2, "maxItems": 2 }] })
});

schema!(Graduation, "Graduation", GraduationFile::json_schema);
schema!(Placement, "Placement", PlacementFile::json_schema);

schema!(LandmarkSlots, "Landmarks", |generator| {
    let placement = generator.subschema_for::<PlacementFile>();
    named(Landmark::ALL.iter().map(|l| {
        let info = l.info();
        let words = format!("{} ({}) {}", info.definition, info.view, info.find);
        (info.name, words, json!({ "anyOf": [placement, { "type": "null" }] }))
    }))
    .describe("Points placed on the photo; null while a slot is empty.")
});

schema!(LineSlots, "Lines", |generator| {
    let pixel = generator.subschema_for::<Pixel>();
    named(Line::ALL.iter().map(|l| {
        let info = l.info();
        let least = if info.closed { 3 } else { 2 };
        let points = json!({ "type": "array", "items": pixel, "minItems": least, "maxItems": LONGEST_LIST });
        let words = format!("{} ({})", info.definition, info.view);
        (info.name, words, json!({ "anyOf": [points, { "type": "array", "maxItems": 0 }, { "type": "null" }] }))
    }))
    .describe("Rows of points along edges; null or [] while a slot is empty.")
});

schema!(Planes, "Planes", |generator| {
    let plane = generator.subschema_for::<PlaneSpec>();
    named(
        PlaneName::ALL
            .iter()
            .map(|p| (p.name(), format!("The plane `{p}`."), json!({ "anyOf": [plane, { "type": "null" }] }))),
    )
    .describe("Where planes lie behind the scale.")
});

trait Describe {
    fn describe(self, words: &str) -> Self;
}

impl Describe for Schema {
    fn describe(mut self, words: &str) -> Self {
        self.insert("description".to_owned(), words.into());
        self
    }
}

/// An object, or null, with these keys and no others. Names that two views share get both descriptions.
fn named(entries: impl Iterator<Item = (&'static str, String, Value)>) -> Schema {
    let mut properties = Map::new();
    for (name, words, mut schema) in entries {
        let words = match properties.get(name).and_then(|s: &Value| s["description"].as_str()) {
            Some(other) => format!("{other} / {words}"),
            None => words,
        };
        schema["description"] = words.into();
        properties.insert(name.to_owned(), schema);
    }
    json_schema!({ "type": ["object", "null"], "properties": properties, "additionalProperties": false })
}
