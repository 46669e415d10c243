//! A guard: no number that is not finite leaves in a document.
//!
//! The JSON encoder writes `null` for NaN and infinities without a word, so
//! that a mistake would look like an absent figure. This serializer walks a
//! document before it is encoded, keeps nothing, and refuses at the first such
//! number, naming the keys that lead to it.

use super::error::ReportError;
use crate::words::key_of;
use serde::{Serialize, ser};
use std::fmt::Display;

/// Refuses a document that holds a NaN or infinite number anywhere.
///
/// # Errors
/// [`ReportError::NotFinite`] with the place (`seats[2].loss_db[5]`) and the number.
pub fn refuse_non_finite<T: Serialize>(document: &T) -> Result<(), ReportError> {
    let mut walk = Walk { place: String::new() };
    document.serialize(&mut walk).map_err(|found| ReportError::NotFinite {
        place: walk.place.trim_start_matches('.').to_owned(),
        found: found.0,
    })
}

/// Where the walk is: keys as `.key`, indices as `[3]`. After a refusal the
/// steps stay as they are, and so tell the place.
struct Walk {
    place: String,
}

/// The number (or the complaint of a type's own serialization) as text.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
struct NonFinite(String);

impl ser::Error for NonFinite {
    fn custom<T: Display>(message: T) -> Self {
        Self(message.to_string())
    }
}

type Walked = Result<(), NonFinite>;

impl Walk {
    fn step<T: Serialize + ?Sized>(&mut self, step: &str, value: &T) -> Walked {
        let above = self.place.len();
        self.place += step;
        value.serialize(&mut *self)?;
        self.place.truncate(above);
        Ok(())
    }
}

macro_rules! harmless {
    ($($method:ident($($kind:ty),*)),* $(,)?) => {
        $(fn $method(self $(, _: $kind)*) -> Walked { Ok(()) })*
    };
}

impl<'a> ser::Serializer for &'a mut Walk {
    type Ok = ();
    type Error = NonFinite;
    type SerializeSeq = Inside<'a>;
    type SerializeTuple = Inside<'a>;
    type SerializeTupleStruct = Inside<'a>;
    type SerializeTupleVariant = Inside<'a>;
    type SerializeMap = Inside<'a>;
    type SerializeStruct = Inside<'a>;
    type SerializeStructVariant = Inside<'a>;

    harmless! {
        serialize_bool(bool), serialize_char(char), serialize_str(&str), serialize_bytes(&[u8]),
        serialize_i8(i8), serialize_i16(i16), serialize_i32(i32), serialize_i64(i64),
        serialize_u8(u8), serialize_u16(u16), serialize_u32(u32), serialize_u64(u64),
        serialize_none(), serialize_unit(), serialize_unit_struct(&'static str),
        serialize_unit_variant(&'static str, u32, &'static str),
    }

    fn serialize_f32(self, value: f32) -> Walked {
        self.serialize_f64(f64::from(value))
    }
    fn serialize_f64(self, value: f64) -> Walked {
        if value.is_finite() { Ok(()) } else { Err(NonFinite(value.to_string())) }
    }
    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Walked {
        value.serialize(self)
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &str, value: &T) -> Walked {
        value.serialize(self)
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> Walked {
        self.step(&format!(".{variant}"), value)
    }
    fn serialize_seq(self, _: Option<usize>) -> Result<Inside<'a>, NonFinite> {
        Ok(Inside { walk: self, variant: String::new(), index: 0, key: String::new() })
    }
    fn serialize_tuple(self, _: usize) -> Result<Inside<'a>, NonFinite> {
        self.serialize_seq(None)
    }
    fn serialize_tuple_struct(self, _: &str, _: usize) -> Result<Inside<'a>, NonFinite> {
        self.serialize_seq(None)
    }
    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Inside<'a>, NonFinite> {
        Ok(Inside { variant: format!(".{variant}"), ..self.serialize_seq(None)? })
    }
    fn serialize_map(self, _: Option<usize>) -> Result<Inside<'a>, NonFinite> {
        self.serialize_seq(None)
    }
    fn serialize_struct(self, _: &str, _: usize) -> Result<Inside<'a>, NonFinite> {
        self.serialize_seq(None)
    }
    fn serialize_struct_variant(
        self,
        name: &'static str,
        index: u32,
        variant: &'static str,
        n_fields: usize,
    ) -> Result<Inside<'a>, NonFinite> {
        self.serialize_tuple_variant(name, index, variant, n_fields)
    }
}

/// Inside a list, a tuple, a struct or a map.
struct Inside<'a> {
    walk: &'a mut Walk,
    /// Of the enum around it, as a step; empty outside of one.
    variant: String,
    /// Of the next item.
    index: usize,
    /// Of the next value of a map.
    key: String,
}

impl Inside<'_> {
    fn item<T: Serialize + ?Sized>(&mut self, value: &T) -> Walked {
        let step = format!("{}[{}]", self.variant, self.index);
        self.index += 1;
        self.walk.step(&step, value)
    }

    fn field<T: Serialize + ?Sized>(&mut self, key: &str, value: &T) -> Walked {
        self.walk.step(&format!("{}.{key}", self.variant), value)
    }
}

macro_rules! inside {
    ($($kind:ident::$method:ident($($key:ident)?) by $step:ident),* $(,)?) => {$(
        impl ser::$kind for Inside<'_> {
            type Ok = ();
            type Error = NonFinite;
            fn $method<T: Serialize + ?Sized>(
                &mut self,
                $($key: &'static str,)?
                value: &T,
            ) -> Walked {
                self.$step($($key,)? value)
            }
            fn end(self) -> Walked { Ok(()) }
        }
    )*};
}
inside!(
    SerializeSeq::serialize_element() by item,
    SerializeTuple::serialize_element() by item,
    SerializeTupleStruct::serialize_field() by item,
    SerializeTupleVariant::serialize_field() by item,
    SerializeStruct::serialize_field(key) by field,
    SerializeStructVariant::serialize_field(key) by field,
);

impl ser::SerializeMap for Inside<'_> {
    type Ok = ();
    type Error = NonFinite;
    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Walked {
        // A key that is not text cannot stand in JSON; the encoder says so later.
        self.key = key_of(key).unwrap_or_else(|| "?".to_owned());
        Ok(())
    }
    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Walked {
        let key = std::mem::take(&mut self.key);
        self.field(&key, value)
    }
    fn end(self) -> Walked {
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
