//! Instants are whole milliseconds UTC; a stamp remembers the offset it was written with; a day has no zone.

use crate::text::{Short, from_text};
use chrono::{DateTime, Datelike, FixedOffset, NaiveDate, SecondsFormat, TimeZone, Timelike, Utc};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{KnownFormat, ObjectBuilder, RefOr, Schema, SchemaFormat, schema::Type},
};

/// Milliseconds since 1970-01-01T00:00:00Z.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Instant(pub i64);

impl Instant {
    pub const MIN: Instant = Instant(i64::MIN / 4);
    pub const MAX: Instant = Instant(i64::MAX / 4);

    pub fn plus_ms(self, ms: i64) -> Instant {
        Instant(self.0.saturating_add(ms).clamp(Self::MIN.0, Self::MAX.0))
    }

    pub fn minus_ms(self, ms: i64) -> Instant {
        self.plus_ms(ms.saturating_neg())
    }

    /// Milliseconds from `earlier` to here; negative when it is later.
    pub fn since(self, earlier: Instant) -> i64 {
        self.0.saturating_sub(earlier.0)
    }
}

/// An instant as somebody wrote it: RFC 3339 with an offset, to the millisecond.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stamp {
    pub at: Instant,
    pub offset_s: i32,
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    #[error("\"{0}\" is not a time; write it as 2026-05-06T06:02:11.000+02:00")]
    NotATime(String),
    #[error("\"{0}\" is not a day; write it as 2026-01-31, or 2026-01 where only the month is known")]
    NotADay(String),
}

impl Stamp {
    pub fn utc(at: Instant) -> Stamp {
        Stamp { at, offset_s: 0 }
    }

    /// Reads RFC 3339. A leap second counts as the first second of the next minute. Finer parts than a
    /// millisecond are dropped.
    pub fn parse(text: &str) -> Result<Stamp, TimeError> {
        let parsed = DateTime::parse_from_rfc3339(text.trim()).map_err(|_| TimeError::NotATime(short(text)))?;
        Ok(Stamp { at: Instant(parsed.timestamp_millis()), offset_s: parsed.offset().local_minus_utc() })
    }

    fn in_its_offset(self) -> Option<DateTime<FixedOffset>> {
        let utc = DateTime::<Utc>::from_timestamp_millis(self.at.0)?;
        Some(FixedOffset::east_opt(self.offset_s)?.from_utc_datetime(&utc.naive_utc()))
    }
}

fn short(text: &str) -> String {
    text.chars().take(60).collect()
}

impl Stamp {
    /// As it is shown and stored. Stamps are written so often that this does not go through a format string.
    fn text(self) -> Short<29> {
        let mut text = Short::new();
        match self.in_its_offset().filter(|time| (0..=9999).contains(&time.year())) {
            Some(time) if self.offset_s % 60 == 0 => {
                let (date, minutes) = (time.date_naive(), self.offset_s.unsigned_abs() / 60);
                text.push_number(date.year().unsigned_abs(), 4);
                for (before, number) in [(b'-', date.month()), (b'-', date.day()), (b'T', time.hour())] {
                    text.push(before);
                    text.push_number(number, 2);
                }
                for number in [time.minute(), time.second()] {
                    text.push(b':');
                    text.push_number(number, 2);
                }
                text.push(b'.');
                text.push_number(time.timestamp_subsec_millis(), 3);
                text.push(if self.offset_s < 0 { b'-' } else { b'+' });
                text.push_number(minutes / 60, 2);
                text.push(b':');
                text.push_number(minutes % 60, 2);
            }
            Some(time) => text.push_str(&time.to_rfc3339_opts(SecondsFormat::Millis, false)),
            None if self.at.0 < 0 => text.push_str("0000-01-01T00:00:00.000+00:00"),
            None => text.push_str("9999-12-31T23:59:59.999+00:00"),
        }
        text
    }
}

impl fmt::Display for Stamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.text().as_str())
    }
}

impl Serialize for Stamp {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.text().as_str())
    }
}

impl<'de> Deserialize<'de> for Stamp {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from_text(from, Stamp::parse)
    }
}

/// A day, or a month where only that is known. Which day of the month counts is for the rules to say.
#[derive(Clone, Copy, PartialEq, Eq, Debug, PartialOrd, Ord)]
pub enum Day {
    Day(NaiveDate),
    Month { year: i32, month: u32 },
}

impl Day {
    pub fn parse(text: &str) -> Result<Day, TimeError> {
        let text = text.trim();
        let bad = || TimeError::NotADay(short(text));
        let well_formed =
            text.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() });
        match (well_formed, text.len()) {
            (true, 10) => NaiveDate::parse_from_str(text, "%Y-%m-%d").map(Day::Day).map_err(|_| bad()),
            (true, 7) => {
                let first = NaiveDate::parse_from_str(&format!("{text}-01"), "%Y-%m-%d").map_err(|_| bad())?;
                Ok(Day::Month { year: first.year(), month: first.month() })
            }
            (true | false, _) => Err(bad()),
        }
    }

    /// The first day it may mean.
    pub fn first(self) -> Option<NaiveDate> {
        match self {
            Day::Day(day) => Some(day),
            Day::Month { year, month } => NaiveDate::from_ymd_opt(year, month, 1),
        }
    }

    /// The last day it may mean.
    pub fn last(self) -> Option<NaiveDate> {
        match self {
            Day::Day(day) => Some(day),
            Day::Month { year, month: 12 } => NaiveDate::from_ymd_opt(year, 12, 31),
            Day::Month { year, month } => NaiveDate::from_ymd_opt(year, month + 1, 1)?.pred_opt(),
        }
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Day::Day(day) => write!(f, "{}", day.format("%Y-%m-%d")),
            Day::Month { year, month } => write!(f, "{year:04}-{month:02}"),
        }
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from_text(from, Day::parse)
    }
}

impl ToSchema for Stamp {}
impl PartialSchema for Stamp {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .format(Some(SchemaFormat::KnownFormat(KnownFormat::DateTime)))
            .description(Some("RFC 3339 with an offset, to the millisecond"))
            .examples(["2026-05-06T06:02:11.000+02:00"])
            .into()
    }
}

impl ToSchema for Day {}
impl PartialSchema for Day {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .pattern(Some("^[0-9]{4}-[0-9]{2}(-[0-9]{2})?$"))
            .description(Some("A day, or a month where only the month is known"))
            .examples(["2026-01-31", "2026-01"])
            .into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3339 section 5.8; the first and third millisecond values are in public test suites, the leap seconds
    /// are from memory of the same section.
    #[test]
    fn the_examples_of_rfc_3339_are_read_to_the_millisecond() {
        let ms = |text: &str| Stamp::parse(text).unwrap().at.0;
        assert_eq!(ms("1985-04-12T23:20:50.52Z"), 482_196_050_520);
        assert_eq!(ms("1996-12-19T16:39:57-08:00"), 851_042_397_000);
        assert_eq!(ms("1937-01-01T12:00:27.87+00:20"), -1_041_337_172_130);
        assert_eq!(ms("1990-12-31T23:59:60Z"), ms("1991-01-01T00:00:00Z"));
        assert_eq!(ms("1990-12-31T15:59:60-08:00"), ms("1991-01-01T00:00:00Z"));
    }

    #[test]
    fn a_stamp_is_written_with_the_offset_it_came_with() {
        let text = "2026-05-06T06:02:11.000+02:00";
        assert_eq!(Stamp::parse(text).unwrap().to_string(), text);
    }

    /// Against chrono's own writing of RFC 3339.
    #[test]
    fn a_stamp_is_written_as_chrono_writes_it() {
        let instants = [0, -1, 1_778_043_731_999, 951_782_400_000, -62_167_219_200_000, 253_402_300_799_999];
        for at in instants {
            for offset_s in [0, 7_200, -28_800, 20_700, -34_200, 3_599, 50_400] {
                let stamp = Stamp { at: Instant(at), offset_s };
                let time = stamp.in_its_offset().unwrap();
                if (0..=9999).contains(&time.year()) {
                    assert_eq!(stamp.to_string(), time.to_rfc3339_opts(SecondsFormat::Millis, false));
                    assert_eq!(serde_json::to_string(&stamp).unwrap(), format!("\"{stamp}\""));
                }
            }
        }
    }

    #[test]
    fn a_time_without_an_offset_is_refused_in_words() {
        assert!(Stamp::parse("2026-05-06T06:02:11").unwrap_err().to_string().contains("+02:00"));
    }

    #[test]
    fn a_month_means_from_its_first_to_its_last_day() {
        let february = Day::parse("2028-02").unwrap();
        assert_eq!(february.last().unwrap().to_string(), "2028-02-29");
        assert_eq!(february.first().unwrap().to_string(), "2028-02-01");
        for bad in ["2026-13", "2026-02-30", "26-01", "2026/01", "+026-01", ""] {
            assert!(Day::parse(bad).is_err(), "{bad}");
        }
    }
}
