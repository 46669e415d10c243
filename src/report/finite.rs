//! A guard: no number that is not finite leaves in a document.
//!
//! The JSON encoder writes `null` for NaN and infinities without a word, so
//! that a mistake would look like an absent figure. This serializer walks a
//! document before it is encoded, keeps nothing, and refuses at the first such
//! number, naming the keys that lead to it.

use super::error::ReportError;
use crate::words::key_of;
use serde::Serialize;
use serde::ser;
use std::fmt::Display;

/// Refuses a document that holds a NaN or infinite number anywhere.
///
/// # Errors
/// [`ReportError::NotFinite`] with the place (`seats[2].loss_db[5]`) and the number.
pub fn refuse_non_finite<T: Serialize>(document: &T) -> Result<(), ReportError> {
    let mut walk = Walk { place: Vec::new() };
    document.serialize(&mut walk).map_err(|found| ReportError::NotFinite {
        place: walk.place.concat().trim_start_matches('.').to_owned(),
        found: found.0,
    })
}

/// Where the walk is: keys as `.key`, indices as `[3]`. After a refusal the
/// steps stay as they are, and so tell the place.
struct Walk {
    place: Vec<String>,
}

/// The number (or the complaint of a type's own serialization) as text.
#[derive(Debug)]
struct NonFinite(String);

impl Display for NonFinite {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}
impl std::error::Error for NonFinite {}
impl ser::Error for NonFinite {
    fn custom<T: Display>(message: T) -> Self {
        Self(message.to_string())
    }
}

impl Walk {
    fn step<T: Serialize + ?Sized>(&mut self, step: String, value: &T) -> Result<(), NonFinite> {
        self.place.push(step);
        value.serialize(&mut *self)?;
        self.place.pop();
        Ok(())
    }
}

macro_rules! harmless {
    ($($method:ident: $kind:ty),* $(,)?) => {
        $(fn $method(self, _: $kind) -> Result<(), NonFinite> { Ok(()) })*
    };
}

impl<'a> ser::Serializer for &'a mut Walk {
    type Ok = ();
    type Error = NonFinite;
    type SerializeSeq = List<'a>;
    type SerializeTuple = List<'a>;
    type SerializeTupleStruct = List<'a>;
    type SerializeTupleVariant = List<'a>;
    type SerializeMap = Keys<'a>;
    type SerializeStruct = Keys<'a>;
    type SerializeStructVariant = Keys<'a>;

    harmless! {
        serialize_bool: bool, serialize_char: char, serialize_str: &str, serialize_bytes: &[u8],
        serialize_i8: i8, serialize_i16: i16, serialize_i32: i32, serialize_i64: i64,
        serialize_u8: u8, serialize_u16: u16, serialize_u32: u32, serialize_u64: u64,
    }

    fn serialize_f32(self, value: f32) -> Result<(), NonFinite> {
        self.serialize_f64(f64::from(value))
    }
    fn serialize_f64(self, value: f64) -> Result<(), NonFinite> {
        if value.is_finite() { Ok(()) } else { Err(NonFinite(value.to_string())) }
    }
    fn serialize_none(self) -> Result<(), NonFinite> {
        Ok(())
    }
    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), NonFinite> {
        value.serialize(self)
    }
    fn serialize_unit(self) -> Result<(), NonFinite> {
        Ok(())
    }
    fn serialize_unit_struct(self, _: &'static str) -> Result<(), NonFinite> {
        Ok(())
    }
    fn serialize_unit_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
    ) -> Result<(), NonFinite> {
        Ok(())
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        value: &T,
    ) -> Result<(), NonFinite> {
        value.serialize(self)
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> Result<(), NonFinite> {
        self.step(format!(".{variant}"), value)
    }
    fn serialize_seq(self, _: Option<usize>) -> Result<List<'a>, NonFinite> {
        Ok(List { walk: self, index: 0, inside: None })
    }
    fn serialize_tuple(self, _: usize) -> Result<List<'a>, NonFinite> {
        self.serialize_seq(None)
    }
    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<List<'a>, NonFinite> {
        self.serialize_seq(None)
    }
    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<List<'a>, NonFinite> {
        Ok(List { walk: self, index: 0, inside: Some(variant) })
    }
    fn serialize_map(self, _: Option<usize>) -> Result<Keys<'a>, NonFinite> {
        Ok(Keys { walk: self, key: String::new(), inside: None })
    }
    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Keys<'a>, NonFinite> {
        self.serialize_map(None)
    }
    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Keys<'a>, NonFinite> {
        Ok(Keys { walk: self, key: String::new(), inside: Some(variant) })
    }
}

/// A walk along a list; `inside` is the enum variant that holds it.
struct List<'a> {
    walk: &'a mut Walk,
    index: usize,
    inside: Option<&'static str>,
}

impl List<'_> {
    fn next<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NonFinite> {
        let variant = self.inside.map(|v| format!(".{v}")).unwrap_or_default();
        let step = format!("{variant}[{}]", self.index);
        self.index += 1;
        self.walk.step(step, value)
    }
}

/// A walk along keys; `inside` is the enum variant that holds them.
struct Keys<'a> {
    walk: &'a mut Walk,
    key: String,
    inside: Option<&'static str>,
}

impl Keys<'_> {
    fn next<T: Serialize + ?Sized>(&mut self, key: &str, value: &T) -> Result<(), NonFinite> {
        let variant = self.inside.map(|v| format!(".{v}")).unwrap_or_default();
        self.walk.step(format!("{variant}.{key}"), value)
    }
}

macro_rules! list {
    ($($kind:ident :: $method:ident),*) => {$(
        impl ser::$kind for List<'_> {
            type Ok = ();
            type Error = NonFinite;
            fn $method<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NonFinite> {
                self.next(value)
            }
            fn end(self) -> Result<(), NonFinite> { Ok(()) }
        }
    )*};
}
list!(
    SerializeSeq::serialize_element,
    SerializeTuple::serialize_element,
    SerializeTupleStruct::serialize_field,
    SerializeTupleVariant::serialize_field
);

macro_rules! keys {
    ($($kind:ident),*) => {$(
        impl ser::$kind for Keys<'_> {
            type Ok = ();
            type Error = NonFinite;
            fn serialize_field<T: Serialize + ?Sized>(
                &mut self,
                key: &'static str,
                value: &T,
            ) -> Result<(), NonFinite> {
                self.next(key, value)
            }
            fn end(self) -> Result<(), NonFinite> { Ok(()) }
        }
    )*};
}
keys!(SerializeStruct, SerializeStructVariant);

impl ser::SerializeMap for Keys<'_> {
    type Ok = ();
    type Error = NonFinite;
    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Result<(), NonFinite> {
        // A key that is not text cannot stand in JSON; the encoder says so later.
        self.key = key_of(key).unwrap_or_else(|| "?".to_owned());
        Ok(())
    }
    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NonFinite> {
        let key = std::mem::take(&mut self.key);
        self.next(&key, value)
    }
    fn end(self) -> Result<(), NonFinite> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Serialize)]
    struct Document {
        seats: Vec<Seat>,
        limit: Option<Limit>,
    }
    #[derive(Serialize)]
    struct Seat {
        loss_db: Vec<Option<f64>>,
    }
    #[derive(Serialize)]
    enum Limit {
        Window { low: f64, high: f64 },
        Pair(f64, f64),
    }

    fn place(document: &impl Serialize) -> Option<(String, String)> {
        match refuse_non_finite(document) {
            Ok(()) => None,
            Err(ReportError::NotFinite { place, found }) => Some((place, found)),
            Err(other) => panic!("{other}"),
        }
    }

    #[test]
    fn finite_and_absent_numbers_pass() {
        let document = Document {
            seats: vec![Seat { loss_db: vec![Some(1.0), None, Some(-0.0), Some(f64::MAX)] }],
            limit: Some(Limit::Window { low: 0.0, high: 1.0 }),
        };
        assert_eq!(place(&document), None);
    }

    #[test]
    fn the_place_of_a_bad_number_is_named() {
        let seat = |v| Seat { loss_db: vec![Some(0.0), Some(v)] };
        let document = Document { seats: vec![seat(1.0), seat(f64::NAN)], limit: None };
        assert_eq!(place(&document), Some(("seats[1].loss_db[1]".into(), "NaN".into())));
        let document = Document {
            seats: vec![],
            limit: Some(Limit::Window { low: 0.0, high: f64::INFINITY }),
        };
        assert_eq!(place(&document), Some(("limit.Window.high".into(), "inf".into())));
        let document = Document { seats: vec![], limit: Some(Limit::Pair(0.0, f64::NEG_INFINITY)) };
        assert_eq!(place(&document), Some(("limit.Pair[1]".into(), "-inf".into())));
        let map = std::collections::BTreeMap::from([("gap_m", f32::NAN)]);
        assert_eq!(place(&map), Some(("gap_m".into(), "NaN".into())));
    }
}
