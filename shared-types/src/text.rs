//! Values as short texts: read from JSON without copying the text first, written without the formatting machinery.

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

/// A text of at most `N` ASCII characters, put together in place. What does not fit is left out.
pub(crate) struct Short<const N: usize> {
    bytes: [u8; N],
    length: usize,
}

impl<const N: usize> Short<N> {
    pub(crate) const fn new() -> Self {
        Short { bytes: [0; N], length: 0 }
    }

    pub(crate) fn push(&mut self, ascii: u8) {
        if let Some(byte) = self.bytes.get_mut(self.length) {
            *byte = ascii & 0x7f;
            self.length += 1;
        }
    }

    /// A number with so many decimal digits, zeros in front.
    pub(crate) fn push_number(&mut self, number: u32, digits: u32) {
        for place in (0..digits).rev() {
            let digit = number / 10_u32.saturating_pow(place) % 10;
            self.push(b'0' + u8::try_from(digit).unwrap_or_default());
        }
    }

    pub(crate) fn push_str(&mut self, ascii: &str) {
        ascii.bytes().for_each(|byte| self.push(byte));
    }

    pub(crate) fn as_str(&self) -> &str {
        self.bytes.get(..self.length).and_then(|bytes| str::from_utf8(bytes).ok()).unwrap_or_default()
    }
}
