//! Quantities in a named unit, whole numbers, right by their type.

use serde::{Deserialize, Serialize};
use std::fmt;
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a quantity is a whole number from {least} to {most}, not {got}")]
pub struct NotPositive {
    least: u64,
    most: u64,
    got: u64,
}

/// A length in millimetres, 1 to 100 km: never zero.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "u64")]
#[schema(value_type = u32, minimum = 1, maximum = 100_000_000, example = 50_000)]
pub struct Millimetres(u32);

impl Millimetres {
    const MOST: u64 = 100_000_000;

    pub fn get(self) -> u64 {
        u64::from(self.0)
    }
}

impl TryFrom<u64> for Millimetres {
    type Error = NotPositive;
    fn try_from(value: u64) -> Result<Self, NotPositive> {
        let bad = NotPositive { least: 1, most: Self::MOST, got: value };
        if !(1..=Self::MOST).contains(&value) {
            return Err(bad);
        }
        u32::try_from(value).map(Millimetres).map_err(|_| bad)
    }
}

/// A duration in whole seconds, 0 to about 317 years.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "u64")]
#[schema(value_type = u64, minimum = 0, maximum = 10_000_000_000_u64, example = 864_000)]
pub struct Seconds(u64);

impl Seconds {
    const MOST: u64 = 10_000_000_000;

    pub fn get(self) -> u64 {
        self.0
    }

    pub fn as_ms(self) -> i64 {
        i64::try_from(self.0).unwrap_or(i64::MAX / 1000).saturating_mul(1000)
    }
}

impl TryFrom<u64> for Seconds {
    type Error = NotPositive;
    fn try_from(value: u64) -> Result<Self, NotPositive> {
        match value <= Self::MOST {
            true => Ok(Seconds(value)),
            false => Err(NotPositive { least: 0, most: Self::MOST, got: value }),
        }
    }
}

/// Millimetres shown as metres, cut off to the decimetre so that nothing reads as more than it is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Metres(pub u64);

impl fmt::Display for Metres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{} m", self.0 / 1000, self.0 % 1000 / 100)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_is_never_zero_and_never_absurd() {
        assert!(Millimetres::try_from(0).is_err());
        assert!(Millimetres::try_from(100_000_001).is_err());
        assert!(serde_json::from_str::<Millimetres>("-5").is_err());
        assert!(serde_json::from_str::<Millimetres>("1.5").is_err());
        assert_eq!(Metres(38_290).to_string(), "38.2 m");
    }
}
