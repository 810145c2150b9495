//! A JSON value as it stands in its text: keys in order, repeated ones too, and where each thing begins.

use jsonc_parser::ast::Value;
use jsonc_parser::common::Ranged as _;
use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use std::borrow::Cow;
use std::fmt;

/// A value. Read quickly, it does not know its position (0) nor how its numbers are spelled; see [`super::text`].
#[derive(Debug, PartialEq)]
pub(super) struct Node<'a> {
    /// Byte position in the text.
    pub(super) at: usize,
    pub(super) kind: Kind<'a>,
}

#[derive(Debug, PartialEq)]
pub(super) enum Kind<'a> {
    Null,
    Bool(bool),
    /// The number and its spelling. Infinite where it is too large.
    Number(f64, &'a str),
    Text(Cow<'a, str>),
    List(Vec<Node<'a>>),
    Object(Vec<Field<'a>>),
}

/// A key and its value.
#[derive(Debug, PartialEq)]
pub(super) struct Field<'a> {
    /// Byte position of the key's opening quote.
    pub(super) at: usize,
    pub(super) key: Cow<'a, str>,
    pub(super) value: Node<'a>,
}

impl<'a> Node<'a> {
    /// The value of a key of an object, the last of equal ones.
    pub(super) fn get(&self, key: &str) -> Option<&Field<'a>> {
        match &self.kind {
            Kind::Object(fields) => fields.iter().rev().find(|f| f.key == key),
            _ => None,
        }
    }
}

/// With positions.
impl<'a> From<Value<'a>> for Node<'a> {
    fn from(value: Value<'a>) -> Self {
        let at = value.range().start;
        let kind = match value {
            Value::NullKeyword(_) => Kind::Null,
            Value::BooleanLit(b) => Kind::Bool(b.value),
            // The grammar was checked, so this is a number.
            Value::NumberLit(n) => Kind::Number(n.value.parse().unwrap_or(f64::INFINITY), n.value),
            Value::StringLit(s) => Kind::Text(s.value),
            Value::Array(a) => Kind::List(a.elements.into_iter().map(Self::from).collect()),
            Value::Object(o) => Kind::Object(
                o.properties
                    .into_iter()
                    .map(|p| {
                        let at = p.name.range().start;
                        // Bare words are refused, so a name is always a string, which may be escaped.
                        let key = match p.name {
                            jsonc_parser::ast::ObjectPropName::String(s) => s.value,
                            jsonc_parser::ast::ObjectPropName::Word(w) => Cow::Borrowed(w.value),
                        };
                        Field { at, key, value: p.value.into() }
                    })
                    .collect(),
            ),
        };
        Self { at, kind }
    }
}

/// Without positions.
impl<'de: 'a, 'a> Deserialize<'de> for Node<'a> {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(Any).map(|kind| Self { at: 0, kind })
    }
}

struct Any;

impl<'de> Visitor<'de> for Any {
    type Value = Kind<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Kind<'de>, E> {
        Ok(Kind::Null)
    }

    fn visit_bool<E>(self, b: bool) -> Result<Kind<'de>, E> {
        Ok(Kind::Bool(b))
    }

    fn visit_f64<E>(self, x: f64) -> Result<Kind<'de>, E> {
        Ok(Kind::Number(x, ""))
    }

    #[allow(clippy::cast_precision_loss, reason = "rounded to the nearest, as if it were written with a point")]
    fn visit_u64<E>(self, n: u64) -> Result<Kind<'de>, E> {
        Ok(Kind::Number(n as f64, ""))
    }

    #[allow(clippy::cast_precision_loss, reason = "rounded to the nearest, as if it were written with a point")]
    fn visit_i64<E>(self, n: i64) -> Result<Kind<'de>, E> {
        Ok(Kind::Number(n as f64, ""))
    }

    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Kind<'de>, E> {
        Ok(Kind::Text(Cow::Borrowed(text)))
    }

    fn visit_str<E>(self, text: &str) -> Result<Kind<'de>, E> {
        Ok(Kind::Text(Cow::Owned(text.to_owned())))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Kind<'de>, A::Error> {
        // Most lists are points.
        let mut list = Vec::with_capacity(2);
        while let Some(node) = seq.next_element()? {
            list.push(node);
        }
        Ok(Kind::List(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Kind<'de>, A::Error> {
        let mut fields = Vec::with_capacity(2);
        while let Some(Key(key)) = map.next_key()? {
            fields.push(Field { at: 0, key, value: map.next_value()? });
        }
        Ok(Kind::Object(fields))
    }
}

/// A key, borrowed from the text where nothing in it is escaped.
struct Key<'a>(Cow<'a, str>);

impl<'de> Deserialize<'de> for Key<'de> {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Text;
        impl<'de> Visitor<'de> for Text {
            type Value = Key<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a key")
            }

            fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Key<'de>, E> {
                Ok(Key(Cow::Borrowed(text)))
            }

            fn visit_str<E>(self, text: &str) -> Result<Key<'de>, E> {
                Ok(Key(Cow::Owned(text.to_owned())))
            }
        }
        d.deserialize_str(Text)
    }
}
