//! Days, months and the yard's midnight, worked out by hand for zones that keep the common European summer time.

use chrono::{Datelike, NaiveDate, Weekday};

/// The last day of a shelf life that is stated as a day, or as a month whose last day it then is.
pub fn last_day(text: &str) -> Option<NaiveDate> {
    full_date(text).or_else(|| month_of(text).map(|first| add_months(first, 1)).and_then(|next| next.pred_opt()))
}

/// A day of manufacture, stated as a day, or as a month whose first day it then is.
pub fn first_day(text: &str) -> Option<NaiveDate> {
    full_date(text).or_else(|| month_of(text))
}

/// The same day `months` later, or that month's last day where it has no such day.
pub fn add_months(from: NaiveDate, months: u32) -> NaiveDate {
    let count = from.year() * 12 + from.month0() as i32 + months as i32;
    let (year, month) = (count.div_euclid(12), count.rem_euclid(12) as u32 + 1);
    // From the wanted day downwards, the first one that this month has.
    (1..=from.day()).rev().find_map(|day| NaiveDate::from_ymd_opt(year, month, day)).unwrap_or(from)
}

/// The last millisecond of a day in the zone, in milliseconds since 1970 UTC.
pub fn end_of_day_ms(zone: &str, day: NaiveDate) -> i64 {
    let next = day.succ_opt().unwrap_or(day);
    let midnight_utc = next.and_hms_opt(0, 0, 0).map_or(0, |local| local.and_utc().timestamp_millis());
    midnight_utc - offset_hours_at_midnight(zone, next) * 3_600_000 - 1
}

/// Hours ahead of UTC when `day` begins. In the European Union summer time begins and ends at 01:00 UTC on the last
/// Sundays of March and October (Directive 2000/84/EC, articles 2 and 3, from memory), hours after the midnight that
/// begins those Sundays in Central Europe: at that midnight the change is still to come.
fn offset_hours_at_midnight(zone: &str, day: NaiveDate) -> i64 {
    match zone {
        "UTC" | "Etc/UTC" => 0,
        "Europe/Berlin" | "Europe/Vienna" | "Europe/Zurich" | "Europe/Amsterdam" | "Europe/Copenhagen" => {
            let summer = day > last_sunday(day.year(), 3) && day <= last_sunday(day.year(), 10);
            if summer { 2 } else { 1 }
        }
        other => panic!("the stepper does not know the zone {other}"),
    }
}

fn last_sunday(year: i32, month: u32) -> NaiveDate {
    (1..=31)
        .rev()
        .filter_map(|day| NaiveDate::from_ymd_opt(year, month, day))
        .find(|day| day.weekday() == Weekday::Sun)
        .unwrap_or_default()
}

fn full_date(text: &str) -> Option<NaiveDate> {
    text.parse().ok()
}

fn month_of(text: &str) -> Option<NaiveDate> {
    format!("{text}-01").parse().ok()
}
