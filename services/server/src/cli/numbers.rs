//! Numbers as the command line takes them; what is none is said in words.

use std::{num::IntErrorKind, num::ParseIntError, str::FromStr};

pub(super) fn whole<T: FromStr<Err = ParseIntError>>(text: &str) -> Result<T, String> {
    text.trim().parse().map_err(|error: ParseIntError| {
        match error.kind() {
            IntErrorKind::PosOverflow => "the number is larger than any that counts here",
            _ => "write a whole number, 0 or more",
        }
        .to_owned()
    })
}
