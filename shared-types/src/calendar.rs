//! When a yard is closed, and from when to when it works: weekdays and clock times in the yard's zone.

use crate::text::from_text;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{ObjectBuilder, RefOr, Schema, schema::Type},
};

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Weekday {
    Monday,
    Tuesday,
    Wednesday,
    Thursday,
    Friday,
    Saturday,
    Sunday,
}

impl Weekday {
    pub const ALL: [Weekday; 7] = [
        Weekday::Monday,
        Weekday::Tuesday,
        Weekday::Wednesday,
        Weekday::Thursday,
        Weekday::Friday,
        Weekday::Saturday,
        Weekday::Sunday,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Weekday::Monday => "monday",
            Weekday::Tuesday => "tuesday",
            Weekday::Wednesday => "wednesday",
            Weekday::Thursday => "thursday",
            Weekday::Friday => "friday",
            Weekday::Saturday => "saturday",
            Weekday::Sunday => "sunday",
        }
    }

    pub fn of(day: chrono::NaiveDate) -> Weekday {
        match chrono::Datelike::weekday(&day) {
            chrono::Weekday::Mon => Weekday::Monday,
            chrono::Weekday::Tue => Weekday::Tuesday,
            chrono::Weekday::Wed => Weekday::Wednesday,
            chrono::Weekday::Thu => Weekday::Thursday,
            chrono::Weekday::Fri => Weekday::Friday,
            chrono::Weekday::Sat => Weekday::Saturday,
            chrono::Weekday::Sun => Weekday::Sunday,
        }
    }
}

/// A time of day on a 24-hour clock, to the minute.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct ClockTime {
    minute_of_day: u16,
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a time of day; write it as 06:00 or 22:30")]
pub struct NotAClockTime(String);

impl ClockTime {
    pub fn parse(text: &str) -> Result<ClockTime, NotAClockTime> {
        let bad = || NotAClockTime(text.chars().take(60).collect());
        let (hour, minute) = text.trim().split_once(':').ok_or_else(bad)?;
        let number = |text: &str, below: u16| {
            let digits = text.len() == 2 && text.bytes().all(|byte| byte.is_ascii_digit());
            text.parse::<u16>().ok().filter(|number| digits && *number < below).ok_or_else(bad)
        };
        Ok(ClockTime { minute_of_day: number(hour, 24)? * 60 + number(minute, 60)? })
    }

    pub fn hour(self) -> u32 {
        u32::from(self.minute_of_day / 60)
    }

    pub fn minute(self) -> u32 {
        u32::from(self.minute_of_day % 60)
    }
}

impl fmt::Display for ClockTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}:{:02}", self.hour(), self.minute())
    }
}

impl Serialize for ClockTime {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for ClockTime {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from_text(from, ClockTime::parse)
    }
}

impl ToSchema for ClockTime {}
impl PartialSchema for ClockTime {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .pattern(Some("^([01][0-9]|2[0-3]):[0-5][0-9]$"))
            .description(Some("A time of day in the yard's zone, on a 24-hour clock"))
            .examples(["22:00"])
            .into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_of_day_is_two_digits_and_two() {
        assert_eq!(ClockTime::parse("06:05").unwrap().to_string(), "06:05");
        assert_eq!(ClockTime::parse("00:00").unwrap().minute(), 0);
        for bad in ["24:00", "6:00", "06:60", "06", "", "06:0x", "+6:00", "06:00:00"] {
            assert!(ClockTime::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn weekdays_are_the_calendars() {
        let day = |text: &str| Weekday::of(text.parse().unwrap());
        assert_eq!(day("2026-05-04"), Weekday::Monday);
        assert_eq!(day("2026-05-10"), Weekday::Sunday);
        let names = Weekday::ALL.map(|day| serde_json::to_value(day).unwrap());
        assert_eq!(names, Weekday::ALL.map(|day| serde_json::Value::from(day.name())));
    }
}
