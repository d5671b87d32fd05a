//! Reading a value from JSON text without copying the text first.

use serde::{Deserializer, de::Error, de::Visitor};
use std::{fmt, marker::PhantomData};

pub(crate) fn from_text<'de, D, T, E>(from: D, read: fn(&str) -> Result<T, E>) -> Result<T, D::Error>
where
    D: Deserializer<'de>,
    E: fmt::Display,
{
    from.deserialize_str(Text { read, gives: PhantomData })
}

struct Text<T, E> {
    read: fn(&str) -> Result<T, E>,
    gives: PhantomData<T>,
}

impl<T, E: fmt::Display> Visitor<'_> for Text<T, E> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a text")
    }

    fn visit_str<R: Error>(self, text: &str) -> Result<T, R> {
        (self.read)(text).map_err(R::custom)
    }
}
