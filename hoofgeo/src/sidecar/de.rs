//! Reads types out of the tree through serde. Every fault carries the byte position of the very key or value it is
//! about, which a reader that works on the text alone cannot give (it knows only how far it has read).

use super::fault::{Fault, Step, short};
use super::text::Document;
use super::tree::{Field, Kind, Node};
use serde::Deserialize;
use serde::de::value::StrDeserializer;
use serde::de::{self, DeserializeSeed, Deserializer, EnumAccess, MapAccess, SeqAccess, VariantAccess, Visitor};
use std::borrow::Cow;

/// The longest list that a file may hold (points of a line, graduations, placements).
pub(super) const LONGEST_LIST: usize = 2000;

/// A value of type `T` from a whole document.
pub(super) fn read<'t, T: Deserialize<'t>>(document: &'t Document<'_>) -> Result<T, Fault> {
    T::deserialize(De { value: document.root() })
}

struct De<'t, 'a> {
    value: &'t Node<'a>,
}

/// What a value is, for messages.
fn describe(value: &Node<'_>) -> String {
    match &value.kind {
        Kind::Text(text) => format!("the text \"{}\"", short(text)),
        Kind::Number(_, text) => format!("the number {}", short(text)),
        Kind::Bool(b) => b.to_string(),
        Kind::Object(_) => "an object `{...}`".to_owned(),
        Kind::List(_) => "a list `[...]`".to_owned(),
        Kind::Null => "null".to_owned(),
    }
}

impl<'t, 'a> De<'t, 'a> {
    fn start(&self) -> usize {
        self.value.at
    }

    fn wrong(&self, expected: &str) -> Fault {
        Fault::new(format!("must be {expected}, not {}", describe(self.value))).at(self.start())
    }

    fn number(&self) -> Result<f64, Fault> {
        match &self.value.kind {
            Kind::Number(x, _) if x.is_finite() => Ok(*x),
            Kind::Number(_, text) => {
                Err(Fault::new(format!("{} is not a number that can be meant here", short(text))).at(self.start()))
            }
            _ => Err(self.wrong("a number")),
        }
    }

    fn text(&self) -> Result<&'t Cow<'a, str>, Fault> {
        match &self.value.kind {
            Kind::Text(text) => Ok(text),
            _ => Err(self.wrong("text in double quotes")),
        }
    }

    fn fields(&self) -> Result<&'t [Field<'a>], Fault> {
        match &self.value.kind {
            Kind::Object(fields) => Ok(fields),
            _ => Err(self.wrong("an object `{...}`")),
        }
    }

    fn elements(&self) -> Result<&'t [Node<'a>], Fault> {
        let Kind::List(list) = &self.value.kind else { return Err(self.wrong("a list `[...]`")) };
        if list.len() > LONGEST_LIST {
            let what = format!("{} entries; {LONGEST_LIST} at most are read", list.len());
            return Err(Fault::new(what).at(self.start()));
        }
        Ok(list)
    }

    fn map<V: Visitor<'t>>(self, visitor: V) -> Result<V::Value, Fault> {
        let start = self.start();
        visitor.visit_map(Fields { fields: self.fields()?, next: 0 }).map_err(|e| e.at(start))
    }

    fn seq<V: Visitor<'t>>(self, visitor: V) -> Result<V::Value, Fault> {
        let start = self.start();
        visitor.visit_seq(Elements { rest: self.elements()?.iter(), index: 0 }).map_err(|e| e.at(start))
    }
}

impl<'de> Deserializer<'de> for De<'de, '_> {
    type Error = Fault;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        let start = self.start();
        match &self.value.kind {
            Kind::Object(_) => self.map(visitor),
            Kind::List(_) => self.seq(visitor),
            Kind::Number(..) => visitor.visit_f64(self.number()?),
            Kind::Text(text) => visitor.visit_borrowed_str(text),
            Kind::Bool(b) => visitor.visit_bool(*b),
            Kind::Null => visitor.visit_unit(),
        }
        .map_err(|e: Fault| e.at(start))
    }

    fn deserialize_f64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        visitor.visit_f64(self.number()?)
    }

    fn deserialize_u32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        let x = self.number()?;
        if x.fract() != 0.0 || !(0.0..=f64::from(u32::MAX)).contains(&x) {
            return Err(self.wrong("a positive whole number"));
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and in range, see above")]
        visitor.visit_u32(x as u32)
    }

    fn deserialize_str<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        let start = self.start();
        visitor.visit_borrowed_str(self.text()?).map_err(|e: Fault| e.at(start))
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        self.deserialize_str(visitor)
    }

    fn deserialize_identifier<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        self.deserialize_str(visitor)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        match self.value.kind {
            Kind::Null => visitor.visit_none(),
            _ => visitor.visit_some(self),
        }
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(self, _: &'static str, visitor: V) -> Result<V::Value, Fault> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        self.seq(visitor)
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, length: usize, visitor: V) -> Result<V::Value, Fault> {
        if let Kind::List(list) = &self.value.kind
            && list.len() != length
        {
            let fault = match (length, list.len()) {
                (2, n) => super::fault::not_a_pair(n),
                (_, n) => Fault::new(format!("must be a list of {length} values, not {n}")),
            };
            return Err(fault.at(self.start()));
        }
        self.seq(visitor)
    }

    fn deserialize_map<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        self.map(visitor)
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        keys: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        if keys.contains(&"at") && matches!(self.value.kind, Kind::List(_)) {
            return Err(self.wrong("an object `{...}`").help("write { \"at\": [x, y] }"));
        }
        self.map(visitor)
    }

    /// A name, or an object with the one key that says which case it is.
    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        names: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        let start = self.start();
        match &self.value.kind {
            Kind::Object(fields) => match fields.as_slice() {
                [f] => visitor.visit_enum(Case { key: &f.key, value: Some(&f.value), at: f.at }),
                // One that nobody knows tells more than that there are too many.
                many => match many.iter().find(|f| !names.contains(&&*f.key)) {
                    Some(f) => Err(super::fault::unknown_key(&f.key, names).at(f.at).within(&*f.key)),
                    None => {
                        Err(Fault::new(format!("takes one of {}, not {} keys", super::fault::list(names), many.len())))
                    }
                },
            },
            Kind::Text(text) => visitor.visit_enum(Case { key: text, value: None, at: start }),
            _ => Err(self.wrong(&super::fault::list(names))),
        }
        .map_err(|e: Fault| e.at(start))
    }

    fn deserialize_ignored_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        visitor.visit_unit()
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u64 u128 f32 char bytes byte_buf unit unit_struct tuple_struct
    }
}

/// An object's keys and values in order. Refuses a repeated key.
struct Fields<'t, 'a> {
    fields: &'t [Field<'a>],
    next: usize,
}

impl<'t> MapAccess<'t> for Fields<'t, '_> {
    type Error = Fault;

    fn next_key_seed<K: DeserializeSeed<'t>>(&mut self, seed: K) -> Result<Option<K::Value>, Fault> {
        let Some(field) = self.fields.get(self.next) else { return Ok(None) };
        let key = &*field.key;
        // Keys before this one were all known and different, so this is never a long search.
        if self.fields[..self.next].iter().any(|f| f.key == key) {
            return Err(Fault::new(format!("the key `{}` is given twice", short(key)))
                .help("keep one of the two")
                .at(field.at)
                .within(key));
        }
        self.next += 1;
        seed.deserialize(StrDeserializer::new(key)).map(Some).map_err(|e: Fault| e.at(field.at).within(key))
    }

    fn next_value_seed<V: DeserializeSeed<'t>>(&mut self, seed: V) -> Result<V::Value, Fault> {
        let Some(field) = self.next.checked_sub(1).and_then(|i| self.fields.get(i)) else {
            return Err(de::Error::custom("a value was asked for before its key"));
        };
        seed.deserialize(De { value: &field.value }).map_err(|e| e.within(&*field.key))
    }
}

struct Elements<'t, 'a> {
    rest: std::slice::Iter<'t, Node<'a>>,
    index: usize,
}

impl<'t> SeqAccess<'t> for Elements<'t, '_> {
    type Error = Fault;

    fn next_element_seed<S: DeserializeSeed<'t>>(&mut self, seed: S) -> Result<Option<S::Value>, Fault> {
        let Some(value) = self.rest.next() else { return Ok(None) };
        let index = self.index;
        self.index += 1;
        seed.deserialize(De { value }).map(Some).map_err(|e| e.within(index))
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.rest.len())
    }
}

/// One case of an enum.
struct Case<'t, 'a> {
    key: &'t str,
    value: Option<&'t Node<'a>>,
    at: usize,
}

impl<'t, 'a> EnumAccess<'t> for Case<'t, 'a> {
    type Error = Fault;
    type Variant = Content<'t, 'a>;

    fn variant_seed<V: DeserializeSeed<'t>>(self, seed: V) -> Result<(V::Value, Self::Variant), Fault> {
        let Self { key, value, at } = self;
        // A plain name that is wrong is the value itself; a key that is wrong is a step of the path.
        let name = seed.deserialize(StrDeserializer::new(key)).map_err(|e: Fault| match value {
            Some(_) => e.at(at).within(key),
            None => e.at(at),
        })?;
        Ok((name, Content { key, value, at }))
    }
}

struct Content<'t, 'a> {
    key: &'t str,
    value: Option<&'t Node<'a>>,
    at: usize,
}

impl<'t> VariantAccess<'t> for Content<'t, '_> {
    type Error = Fault;

    fn unit_variant(self) -> Result<(), Fault> {
        match self.value {
            None => Ok(()),
            Some(_) => Err(Fault::new(format!("must be the plain text \"{}\"", self.key)).at(self.at)),
        }
    }

    fn newtype_variant_seed<T: DeserializeSeed<'t>>(self, seed: T) -> Result<T::Value, Fault> {
        match self.value {
            Some(value) => seed.deserialize(De { value }).map_err(|e| e.within(Step::from(self.key))),
            None => Err(Fault::new(format!("must be an object `{{ \"{}\": ... }}`", self.key)).at(self.at)),
        }
    }

    fn tuple_variant<V: Visitor<'t>>(self, _: usize, _: V) -> Result<V::Value, Fault> {
        Err(de::Error::custom("no such case exists"))
    }

    fn struct_variant<V: Visitor<'t>>(self, _: &'static [&'static str], _: V) -> Result<V::Value, Fault> {
        Err(de::Error::custom("no such case exists"))
    }
}
