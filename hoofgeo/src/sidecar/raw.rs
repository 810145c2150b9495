//! The files as they are written: every key optional that may be absent or still empty (`null`).

use super::fault::{did_you_mean, list, short};
#[cfg(feature = "schema")]
use super::limits;
use super::model::{Gauge, Graduation, PhotoRef, Placement, PlaneSpec, ScaleKind, Snapped, Tolerance};
use crate::{Foot, Landmark, Line, PlaneName, Side, Stage, SubjectKind, View};
use serde::de::{self, Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, SerializeMap, Serializer};
use std::collections::BTreeMap;
use std::fmt;
use std::marker::PhantomData;

/// A sidecar as it stands in its file, before its visit is merged in: every key may still be missing. For programs that fill
/// one in step by step.
///
/// # Example: fill in a new sidecar
/// ```
/// use hoofgeo::sidecar::{Draft, Placement};
/// let mut draft = Draft::start("LF-side.jpg", 4032, 3024, None);
/// assert!(draft.landmarks.0.contains(&("toe_ground", None)));
/// for (name, slot) in &mut draft.landmarks.0 {
///     if *name == "toe_ground" {
///         *slot = Some(Placement::once([905.0, 2280.5]));
///     }
/// }
/// let sidecar = Draft::parse(&draft.to_json())?.sidecar(None)?;
/// assert_eq!(sidecar.landmarks.len(), 1);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(rename = "Sidecar"))]
#[serde(deny_unknown_fields)]
pub struct Draft {
    /// The format's name and version, `hoofgeo-sidecar/1`.
    #[cfg_attr(feature = "schema", schemars(extend("const" = super::Sidecar::FORMAT)))]
    #[allow(dead_code, reason = "checked on the tree, before everything else")]
    format: String,
    /// The photo it belongs to.
    pub photo: PhotoRef,
    /// Whose foot.
    pub subject: Option<SharedSubject>,
    /// Where the camera looks from.
    #[cfg_attr(feature = "schema", schemars(required))]
    pub view: Option<View>,
    /// The side of the foot that faces the camera in a lateral photo.
    pub side: Option<Side>,
    /// When in a visit the photo was taken.
    pub stage: Option<Stage>,
    /// ISO 8601 date, or date and time with or without an offset from UTC; the EXIF time where absent.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = super::time::PATTERN)))]
    pub taken: Option<String>,
    /// Who placed the landmarks.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub observer: Option<String>,
    /// The lens profile's file.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub lens: Option<String>,
    /// The scale in the photo.
    pub scale: Option<SharedScale>,
    /// Where planes lie behind the scale.
    #[serde(default)]
    pub planes: Planes,
    /// The landmarks by name; `None` is an empty slot, a landmark without a slot is not asked for.
    #[serde(default)]
    pub landmarks: LandmarkSlots,
    /// The lines by name, likewise.
    #[serde(default)]
    pub lines: LineSlots,
    /// What was measured with a gauge on the foot itself.
    pub gauge: Option<Gauge>,
    /// Free text.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub notes: Option<String>,
}

/// A subject of which a part may stand in the other file.
#[derive(Debug, Clone, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(rename = "Subject"))]
#[serde(deny_unknown_fields)]
pub struct SharedSubject {
    /// The animal's name or number.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub animal: Option<String>,
    /// Which foot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub foot: Option<Foot>,
    /// What kind of animal: which sizes are usual for it; an adult horse where it is not said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<SubjectKind>,
}

/// A scale of which a part may stand in the other file.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(rename = "Scale"))]
#[serde(deny_unknown_fields)]
pub struct SharedScale {
    /// What it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<ScaleKind>,
    /// How well it keeps its lengths.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<Tolerance>,
    /// Standard uncertainty of a graduation's image point per axis, px.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(max = limits::U_PX), extend("exclusiveMinimum" = 0)))]
    pub u_px: Option<f64>,
    /// Standard uncertainty of the scale plane's tilt against the image plane, per image axis, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(min = 0.0, max = limits::TILT_DEG)))]
    pub tilt_u_deg: Option<f64>,
    /// Whether a straight ruler is divided into millimetres or halves of them, so that it can be read without a mark: the lines of one in
    /// tenths of an inch look the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metric: Option<bool>,
    /// The graduations found in the photo; empty while none are.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(length(max = super::de::LONGEST_LIST)))]
    pub points: Option<Vec<Graduation>>,
}

/// Planes by name. One plane is taken whole from one file.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
#[serde(transparent)]
pub struct Planes(pub BTreeMap<PlaneName, PlaneSpec>);

impl Planes {
    /// Whether none is given.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl<'de> Deserialize<'de> for Planes {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let entries = d.deserialize_option(Entries::<PlaneKey, PlaneSpec>(PhantomData))?;
        Ok(Self(entries.into_iter().filter_map(|(k, v)| Some((k.0, v?))).collect()))
    }
}

/// The landmark slots of a file, by name: which landmark a name means depends on the view.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LandmarkSlots(pub Vec<(&'static str, Option<Placement>)>);

impl<'de> Deserialize<'de> for LandmarkSlots {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let entries = d.deserialize_option(Entries::<LandmarkKey, Placement>(PhantomData))?;
        Ok(Self(entries.into_iter().map(|(k, v)| (k.0, v)).collect()))
    }
}

/// The line slots of a file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LineSlots(pub Vec<(&'static str, Option<Vec<[f64; 2]>>)>);

impl<'de> Deserialize<'de> for LineSlots {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let entries = d.deserialize_option(Entries::<LineKey, Vec<[f64; 2]>>(PhantomData))?;
        Ok(Self(entries.into_iter().map(|(k, v)| (k.0, v)).collect()))
    }
}

/// The entries of an object in order, a `null` value as `None`; no entries for `null` itself.
struct Entries<K, V>(PhantomData<(K, V)>);

impl<'de, K: Deserialize<'de>, V: Deserialize<'de>> Visitor<'de> for Entries<K, V> {
    type Value = Vec<(K, Option<V>)>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object `{...}`")
    }

    fn visit_none<E>(self) -> Result<Self::Value, E> {
        Ok(Vec::new())
    }

    fn visit_some<D: Deserializer<'de>>(self, d: D) -> Result<Self::Value, D::Error> {
        d.deserialize_map(self)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut entries = Vec::new();
        while let Some(key) = map.next_key()? {
            entries.push((key, map.next_value()?));
        }
        Ok(entries)
    }
}

/// A key out of a table of names.
macro_rules! key {
    ($name:ident($value:ty), $find:expr, $unknown:expr) => {
        struct $name($value);

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
                struct Key;
                impl Visitor<'_> for Key {
                    type Value = $name;

                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        f.write_str("a key")
                    }

                    fn visit_str<E: de::Error>(self, key: &str) -> Result<$name, E> {
                        $find(key).map($name).ok_or_else(|| E::custom($unknown(key)))
                    }
                }
                d.deserialize_identifier(Key)
            }
        }
    };
}

key!(LandmarkKey(&'static str), landmark_name, |key: &str| {
    let known = Landmark::ALL.iter().map(|l| l.name());
    unknown("landmark", key, known, line_name(key).map(|n| format!("`{n}` is a line: it goes under `lines`")))
});
key!(LineKey(&'static str), line_name, |key: &str| {
    let known = Line::ALL.iter().map(|l| l.name());
    unknown("line", key, known, landmark_name(key).map(|n| format!("`{n}` is a landmark: it goes under `landmarks`")))
});
key!(PlaneKey(PlaneName), |key: &str| PlaneName::ALL.iter().copied().find(|p| p.name() == key), |key: &str| {
    unknown("plane", key, PlaneName::ALL.iter().map(|p| p.name()), None)
});

fn landmark_name(key: &str) -> Option<&'static str> {
    Landmark::ALL.iter().map(|l| l.name()).find(|n| *n == key)
}

fn line_name(key: &str) -> Option<&'static str> {
    Line::ALL.iter().map(|l| l.name()).find(|n| *n == key)
}

/// A serde error from a fault's texts: what is wrong, a line break, what to do.
fn not_a_pair<E: de::Error>(values: usize) -> E {
    E::custom(super::fault::not_a_pair(values).into_text())
}

/// One text, because a serde visitor's error takes no more: what is wrong, a line break, what to do.
fn unknown(what: &str, key: &str, known: impl Iterator<Item = &'static str>, elsewhere: Option<String>) -> String {
    const MOST_LISTED: usize = 8;
    let known: Vec<_> = known.collect();
    let help = elsewhere.or_else(|| did_you_mean(key, known.iter().copied())).unwrap_or_else(|| {
        if known.len() > MOST_LISTED { EXPLAIN.to_owned() } else { format!("known here: {}", list(&known)) }
    });
    format!("there is no {what} `{}`\n{help}", short(key))
}

const EXPLAIN: &str = "`hoofgeo explain` lists them all";

impl Serialize for Placement {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        let mut map = s.serialize_map(None)?;
        match self.at.as_slice() {
            [one] => map.serialize_entry("at", one)?,
            several => map.serialize_entry("at", several)?,
        }
        for (key, value) in [("u_px", self.u_px), ("u_mm", self.u_mm)] {
            if let Some(value) = value {
                map.serialize_entry(key, &value)?;
            }
        }
        super::json::some(&mut map, "snapped", &self.snapped)?;
        map.end()
    }
}

/// A landmark as it stands in a file.
#[derive(serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(rename = "Placement"))]
#[serde(deny_unknown_fields)]
pub(super) struct PlacementFile {
    /// One point `[x, y]`, or several placements of the same landmark.
    at: OneOrMore,
    /// Standard uncertainty of placing it per axis, px; replaces the default.
    #[cfg_attr(feature = "schema", schemars(range(max = limits::U_PX), extend("exclusiveMinimum" = 0)))]
    u_px: Option<f64>,
    /// Standard uncertainty of the anatomical point per axis, mm; replaces the default.
    #[cfg_attr(feature = "schema", schemars(range(min = 0.0, max = limits::MM)))]
    u_mm: Option<f64>,
    /// Where it was clicked, if `at` is one point that was moved from there to an edge of the picture.
    snapped: Option<Snapped>,
}

impl<'de> Deserialize<'de> for Placement {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let PlacementFile { at, u_px, u_mm, snapped } = PlacementFile::deserialize(d)?;
        Ok(Self { at: at.0, u_px, u_mm, snapped })
    }
}

/// `[x, y]` or `[[x, y], ...]`.
pub(super) struct OneOrMore(Vec<[f64; 2]>);

impl<'de> Deserialize<'de> for OneOrMore {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Points;
        impl<'de> Visitor<'de> for Points {
            type Value = OneOrMore;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("`[x, y]` or a list of such points")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<OneOrMore, A::Error> {
                match seq.next_element::<NumberOrPair>()? {
                    None => {
                        Err(de::Error::custom("no point is given\nwrite `[x, y]`, or `null` for the whole landmark"))
                    }
                    Some(NumberOrPair::Number(x)) => {
                        let mut numbers = vec![x];
                        while let Some(number) = seq.next_element()? {
                            numbers.push(number);
                        }
                        match numbers.as_slice() {
                            [x, y] => Ok(OneOrMore(vec![[*x, *y]])),
                            other => Err(not_a_pair(other.len())),
                        }
                    }
                    Some(NumberOrPair::Pair(p)) => {
                        let mut all = vec![p];
                        while let Some(p) = seq.next_element()? {
                            all.push(p);
                        }
                        Ok(OneOrMore(all))
                    }
                }
            }
        }
        d.deserialize_seq(Points)
    }
}

pub(super) enum NumberOrPair {
    Number(f64),
    Pair([f64; 2]),
}

impl<'de> Deserialize<'de> for NumberOrPair {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Either;
        impl<'de> Visitor<'de> for Either {
            type Value = NumberOrPair;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number or `[x, y]`")
            }

            fn visit_f64<E>(self, x: f64) -> Result<NumberOrPair, E> {
                Ok(NumberOrPair::Number(x))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<NumberOrPair, A::Error> {
                let mut numbers = Vec::with_capacity(2);
                while let Some(number) = seq.next_element::<f64>()? {
                    numbers.push(number);
                }
                match numbers.as_slice() {
                    [x, y] => Ok(NumberOrPair::Pair([*x, *y])),
                    other => Err(not_a_pair(other.len())),
                }
            }
        }
        d.deserialize_any(Either)
    }
}

/// A graduation as it stands in a file.
#[derive(serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(rename = "Graduation"))]
#[serde(deny_unknown_fields)]
pub(super) struct GraduationFile {
    /// Distance along a straight edge, or `[x, y]` in the scale's own plane, mm.
    mm: NumberOrPair,
    /// Where it is in the photo, px.
    #[cfg_attr(feature = "schema", schemars(with = "super::schema::Pixel"))]
    at: [f64; 2],
}

impl Serialize for NumberOrPair {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Number(x) => x.serialize(s),
            Self::Pair(p) => p.serialize(s),
        }
    }
}

impl Serialize for Graduation {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        let mm = if self.is_number { NumberOrPair::Number(self.mm[0]) } else { NumberOrPair::Pair(self.mm) };
        GraduationFile { mm, at: self.at }.serialize(s)
    }
}

impl<'de> Deserialize<'de> for Graduation {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let GraduationFile { mm, at } = GraduationFile::deserialize(d)?;
        Ok(match mm {
            NumberOrPair::Number(x) => Self::along(x, at),
            NumberOrPair::Pair(p) => Self::in_plane(p, at),
        })
    }
}
