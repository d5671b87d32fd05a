//! Words for people: times in the yard's zone with weekday and 24-hour clock, durations in hours and minutes.

use crate::view::View;
use chrono::{DateTime, Datelike, LocalResult, NaiveDateTime, Offset, TimeZone, Timelike, Utc};
use chrono_tz::Tz;
use shared_types::{Instant, LimitName, Stamp};

/// How this yard writes a time.
#[derive(Clone, Debug)]
pub struct Say {
    pub zone: Tz,
    pub call: String,
    pub dates: Dates,
}

/// Whether a day that is near goes by its weekday alone.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Dates {
    Near,
    /// Never: what is kept is read on another day.
    Full,
}

const HOUR: i64 = 3_600_000;
const MINUTE: i64 = 60_000;
const DAY: i64 = 24 * HOUR;

impl Say {
    pub fn of(view: View<'_>, at: Instant) -> Say {
        let yard = view.yard(at);
        let zone = yard.and_then(|yard| yard.zone.parse().ok()).unwrap_or(Tz::UTC);
        let call = yard.and_then(|yard| yard.on_call.clone()).unwrap_or_else(|| "quality".to_owned());
        Say { zone, call, dates: Dates::Near }
    }

    /// The same for what is kept, such as a file: every time with its date and its year.
    pub fn in_full(&self) -> Say {
        Say { dates: Dates::Full, ..self.clone() }
    }

    fn local(&self, at: Instant) -> Option<DateTime<Tz>> {
        Some(self.zone.from_utc_datetime(&DateTime::<Utc>::from_timestamp_millis(at.0)?.naive_utc()))
    }

    pub fn stamp(&self, at: Instant) -> Stamp {
        // Before there were zones, offsets had seconds, which can't be written.
        let offset_s = self.local(at).map_or(0, |local| local.offset().fix().local_minus_utc() / 60 * 60);
        Stamp { at, offset_s }
    }

    /// `Thu 14:10`; `Thu 7 May 14:10` when it is not within six days of `near`, with the year in another year. Of what
    /// is past by three days and more with its date: the same weekday is nearer ahead.
    pub fn time(&self, at: Instant, near: Instant) -> String {
        let ahead = at.since(near);
        self.near(at, near, (-3 * DAY..6 * DAY).contains(&ahead))
    }

    /// A time that is past, beside others that are to come: with its date unless it is of today.
    pub fn past(&self, at: Instant, near: Instant) -> String {
        let day = |at| self.local(at).map(|local| local.date_naive());
        self.near(at, near, day(at) == day(near))
    }

    fn near(&self, at: Instant, near: Instant, close: bool) -> String {
        let (Some(local), Some(here)) = (self.local(at), self.local(near)) else {
            return UNWRITABLE.to_owned();
        };
        let full = self.dates == Dates::Full;
        self.written(local, full || !close, full || !close && local.year() != here.year())
    }

    /// What a clock shows twice, in the night in which it is put back, says which of the two it is.
    fn written(&self, local: DateTime<Tz>, date: bool, year: bool) -> String {
        let shown = local.naive_local();
        let words = written(shown, date, year);
        match self.zone.from_local_datetime(&shown) {
            LocalResult::Ambiguous(first, _) if first == local => words + " (before the clocks go back)",
            LocalResult::Ambiguous(..) => words + " (after the clocks go back)",
            LocalResult::Single(_) | LocalResult::None => words,
        }
    }

    /// `Wed 6 May 2026 06:02`.
    pub fn whole_time(&self, at: Instant) -> String {
        self.local(at).map_or_else(|| UNWRITABLE.to_owned(), |local| self.written(local, true, true))
    }
}

const UNWRITABLE: &str = "a time that can't be written";
const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// A time, with its date and its year or without. Put together by hand: every answer says several.
fn written(local: NaiveDateTime, date: bool, year: bool) -> String {
    let word = |words: &[&'static str], at: u32| words.get(at as usize).copied().unwrap_or_default();
    let mut words = String::with_capacity(24);
    words.push_str(word(&WEEKDAYS, local.weekday().num_days_from_monday()));
    if date {
        words.push(' ');
        words.push_str(&local.day().to_string());
        words.push(' ');
        words.push_str(word(&MONTHS, local.month0()));
    }
    if year {
        words.push(' ');
        words.push_str(&local.year().to_string());
    }
    for (before, number) in [(' ', local.hour()), (':', local.minute())] {
        let digits = [number / 10, number % 10].map(|digit| char::from_digit(digit, 10).unwrap_or('0'));
        words.push(before);
        words.extend(digits);
    }
    words
}

/// `6 h 20 min`, cut off to the minute downwards: -1 s reads -1 min.
pub fn left(ms: i64) -> String {
    let minutes = ms.div_euclid(MINUTE);
    let (hours, minutes) = (minutes.unsigned_abs() / 60, minutes.unsigned_abs() % 60);
    let mut words = String::with_capacity(20);
    words.push_str(if ms < 0 { "-" } else { "" });
    if 0 < hours {
        words.push_str(&hours.to_string());
        words.push_str(" h");
    }
    if 0 < hours && 0 < minutes {
        words.push(' ');
    }
    if hours == 0 || 0 < minutes {
        words.push_str(&minutes.to_string());
        words.push_str(" min");
    }
    words
}

/// Out-time so far, rounded up to the minute.
pub fn so_far(ms: i64) -> String {
    left(ms.saturating_add(MINUTE - 1))
}

/// `1 day`, `3 days`
pub fn days(count: i64) -> String {
    if count == 1 { "1 day".to_owned() } else { format!("{count} days") }
}

/// `-18 °C`, `-17.5 °C`
pub fn degrees(millideg_c: i32) -> String {
    let (sign, all) = (if millideg_c < 0 { "-" } else { "" }, millideg_c.unsigned_abs());
    match all % 1000 {
        0 => format!("{sign}{} °C", all / 1000),
        rest => format!("{sign}{}.{} °C", all / 1000, format!("{rest:03}").trim_end_matches('0')),
    }
}

pub fn limit(name: LimitName) -> &'static str {
    match name {
        LimitName::TackLife => "tack life",
        LimitName::OutLife => "out-life",
        LimitName::LayToCure => "lay-to-cure limit",
        LimitName::ShelfLife => "shelf life",
        LimitName::Refreezes => "refreezes",
    }
}

/// The same at a sentence's start.
pub fn limit_first(name: LimitName) -> &'static str {
    match name {
        LimitName::TackLife => "Tack life",
        LimitName::OutLife => "Out-life",
        LimitName::LayToCure => "The lay-to-cure limit",
        LimitName::ShelfLife => "Shelf life",
        LimitName::Refreezes => "Its refreezes",
    }
}

/// Seconds rounded down, as what is left is stored and answered.
pub fn floor_s(ms: i64) -> i64 {
    ms.div_euclid(1000)
}

/// Seconds rounded up, as what is so far is stored and answered.
pub fn ceil_s(ms: i64) -> i64 {
    ms.saturating_add(999).div_euclid(1000)
}

/// An entry's kind as people read it.
pub fn entry_kind(kind: &str) -> String {
    kind.replace('_', " ").replace("layup", "lay-up")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against chrono's own writing of dates.
    #[test]
    fn times_are_written_as_chrono_writes_them() {
        let say = Say { zone: Tz::Europe__Lisbon, call: String::new(), dates: Dates::Near };
        for hours in 0..9_000 {
            let at = Instant(1_767_225_600_000 + hours * 7 * 3_600_000 + hours * 61_000);
            let local = say.local(at).unwrap();
            if say.zone.from_local_datetime(&local.naive_local()).single().is_none() {
                continue;
            }
            assert_eq!(say.whole_time(at), local.format("%a %-d %b %Y %H:%M").to_string());
            assert_eq!(say.time(at, at), local.format("%a %H:%M").to_string());
            assert_eq!(say.in_full().time(at, at), say.whole_time(at));
        }
    }

    /// Thu 26 Nov 2026 (the weekday by chrono): a weekday stands alone only where it can't be taken for another.
    #[test]
    fn a_day_that_could_be_taken_for_another_has_its_date() {
        let say = Say { zone: Tz::UTC, call: String::new(), dates: Dates::Near };
        let now = Stamp::parse("2026-11-26T17:00:00Z").unwrap().at;
        let at = |text: &str| Stamp::parse(text).unwrap().at;
        for (text, time, past) in [
            ("2026-11-20T20:00:00Z", "Fri 20 Nov 20:00", "Fri 20 Nov 20:00"),
            ("2026-11-23T22:00:00Z", "Mon 22:00", "Mon 23 Nov 22:00"),
            ("2026-11-26T06:00:00Z", "Thu 06:00", "Thu 06:00"),
            ("2025-11-26T06:00:00Z", "Wed 26 Nov 2025 06:00", "Wed 26 Nov 2025 06:00"),
        ] {
            assert_eq!((say.time(at(text), now).as_str(), say.past(at(text), now).as_str()), (time, past));
        }
        assert_eq!(say.time(at("2026-12-02T16:59:00Z"), now), "Wed 16:59");
        assert_eq!(say.time(at("2026-12-02T17:00:00Z"), now), "Wed 2 Dec 17:00");
    }

    /// Europe/Lisbon, 25 October 2026, 02:00 to 01:00 (the time zone database).
    #[test]
    fn the_hour_that_a_clock_shows_twice_says_which() {
        let say = Say { zone: Tz::Europe__Lisbon, call: String::new(), dates: Dates::Near };
        let words = |text: &str| {
            let at = Stamp::parse(text).unwrap().at;
            say.time(at, at)
        };
        assert_eq!(words("2026-10-25T00:59:00+01:00"), "Sun 00:59");
        assert_eq!(words("2026-10-25T01:30:00+01:00"), "Sun 01:30 (before the clocks go back)");
        assert_eq!(words("2026-10-25T01:30:00+00:00"), "Sun 01:30 (after the clocks go back)");
        assert_eq!(words("2026-10-25T02:00:00+00:00"), "Sun 02:00");
        assert_eq!(words("2026-03-29T02:00:00+01:00"), "Sun 02:00");
    }

    #[test]
    fn what_is_left_is_cut_off_and_what_is_so_far_is_rounded_up() {
        assert_eq!(left(22_800_000), "6 h 20 min");
        assert_eq!(left(22_799_999), "6 h 19 min");
        assert_eq!(left(-1_000), "-1 min");
        assert_eq!(left(-3_600_000), "-1 h");
        assert_eq!(left(59_999), "0 min");
        assert_eq!(so_far(60_001), "2 min");
        assert_eq!((floor_s(-1), floor_s(1_999), ceil_s(1), ceil_s(2_000)), (-1, 1, 1, 2));
    }
}
