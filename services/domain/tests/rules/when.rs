//! Times and durations as a test writes them: "Tue 06:08", "Tue+1 06:00" a week later, "26:10" of hours and minutes.

use shared_types::{Instant, Stamp};

/// Monday 4 May 2026, midnight in Lisbon (UTC+1 in summer).
const MONDAY: &str = "2026-05-04T00:00:00+01:00";
const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// An instant: a weekday of the first week with a clock time, a week's number after a plus, or whole RFC 3339.
pub fn instant(text: &str) -> Instant {
    if text.contains('T') && text.contains('-') {
        return Stamp::parse(text).unwrap().at;
    }
    let (day, clock) = text.split_once(' ').unwrap();
    let (day, week) = day.split_once('+').map_or((day, 0), |(day, week)| (day, week.parse::<i64>().unwrap()));
    let day = i64::try_from(DAYS.iter().position(|name| *name == day).unwrap()).unwrap();
    Stamp::parse(MONDAY).unwrap().at.plus_ms((week * 7 + day) * 86_400_000 + clock_ms(clock))
}

/// `6:20`, `6:20:59`, `6:20:59.999`, `-0:00:01`: hours may pass 24.
pub fn clock_ms(text: &str) -> i64 {
    let (sign, text) = text.strip_prefix('-').map_or((1, text), |text| (-1, text));
    let (text, ms) = text.split_once('.').map_or((text, 0), |(text, ms)| (text, ms.parse::<i64>().unwrap()));
    let mut units = text.split(':').map(|unit| unit.parse::<i64>().unwrap());
    let (hours, minutes) = (units.next().unwrap(), units.next().unwrap());
    sign * (((hours * 60 + minutes) * 60 + units.next().unwrap_or(0)) * 1000 + ms)
}

/// The same in whole seconds.
pub fn seconds(text: &str) -> i64 {
    clock_ms(text).div_euclid(1000)
}

pub fn hours(hours: u64) -> shared_types::Seconds {
    (hours * 3600).try_into().unwrap()
}

#[test]
fn a_weekday_with_a_clock_time_is_an_instant_in_the_yards_zone() {
    assert_eq!(instant("Wed 06:02:11"), Stamp::parse("2026-05-06T06:02:11+01:00").unwrap().at);
    assert_eq!(instant("Sun+1 00:00"), Stamp::parse("2026-05-17T00:00:00+01:00").unwrap().at);
    assert_eq!((clock_ms("26:10"), clock_ms("-0:00:01"), clock_ms("0:00:00.001")), (94_200_000, -1_000, 1));
}
