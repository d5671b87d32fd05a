//! Quantities and times as people write them, turned into the API's whole numbers without a rounding step.

use chrono::{LocalResult, NaiveDateTime, Offset, TimeZone};
use chrono_tz::Tz;
use shared_types::{Instant, Millimetres, Seconds, Stamp, Weekday};

/// Thousandths of a decimal number: `-18.5` is -18500. At most three digits behind the point.
pub(crate) fn thousandths(text: &str) -> Option<i64> {
    let text = text.trim();
    let (negative, digits) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, part) = digits.split_once('.').unwrap_or((digits, "0"));
    let plain = |text: &str, most: usize| (1..=most).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
    if !plain(whole, 9) || !plain(part, 3) {
        return None;
    }
    let value = whole.parse::<i64>().ok()? * 1000 + format!("{part:0<3}").parse::<i64>().ok()?;
    Some(if negative { -value } else { value })
}

/// A day of the week by its name: `saturday`, in capitals or small letters.
pub(crate) fn weekday(text: &str) -> Result<Weekday, String> {
    let named = Weekday::ALL.into_iter().find(|day| day.name().eq_ignore_ascii_case(text.trim()));
    named.ok_or_else(|| format!("\"{}\" is no day of the week; write its whole name, such as saturday", short(text)))
}

/// Metres to millimetres: `38.2`.
pub(crate) fn metres(text: &str) -> Result<Millimetres, String> {
    let bad = || format!("\"{}\" is no length; write metres with a point, such as 38.2", short(text));
    let mm = thousandths(text).ok_or_else(bad)?;
    let mm = u64::try_from(mm).map_err(|_| format!("{} m is less than nothing", short(text)))?;
    Millimetres::try_from(mm).map_err(|_| format!("{} m is no length of a roll: 0.001 to 100000 m", short(text)))
}

/// Metres as people type them, with a point or a comma: `38.2`, `38,2` or `38,2 m`. Both at once, several, or three digits
/// behind a comma may be meant as thousands: that is asked for again.
pub(crate) fn typed_metres(text: &str) -> Result<Millimetres, String> {
    let text = text.trim();
    let text = text.strip_suffix('m').map_or(text, str::trim_end);
    if text.is_empty() {
        return Err("Say how many metres, such as 38.2".to_owned());
    }
    match text.split_once(',') {
        None => metres(text),
        Some((whole, part)) if !whole.contains('.') && !part.contains([',', '.']) && part.len() != 3 => {
            metres(&format!("{whole}.{part}"))
        }
        Some(_) => Err(format!(
            "\"{}\" can be read in two ways; write metres with one point, such as 38.2, or one comma with one or two \
             digits behind it, such as 38,2",
            short(text)
        )),
    }
}

/// Degrees Celsius to millidegrees: `-18`, `-18 C` or `-18.5 °C`.
pub(crate) fn millideg_c(text: &str) -> Result<i32, String> {
    let number = text.trim().trim_end_matches(['C', 'c']).trim_end().trim_end_matches('°');
    let value = thousandths(number).and_then(|value| i32::try_from(value).ok());
    match value {
        Some(value) if (-273_150..=1_000_000).contains(&value) => Ok(value),
        Some(_) => Err(format!("{} C is no temperature that a store or a material's sheet can have", short(number))),
        None => Err(format!("\"{}\" is no temperature; write degrees Celsius, such as -18 or \"-18 C\"", short(text))),
    }
}

/// A duration: `240 h`, `4 h 30 min`, `30 min`, `2 d`, or hours and minutes as on a paper card, `96:20`.
pub(crate) fn duration(text: &str) -> Result<Seconds, String> {
    let bad = || format!("\"{}\" is no duration; write 240 h, 4 h 30 min, or 96:20 (hours:minutes)", short(text));
    let seconds = match text.trim().split_once(':') {
        Some((hours, minutes)) => on_a_card(hours, minutes),
        None => in_units(text),
    };
    seconds.and_then(|seconds| Seconds::try_from(seconds).ok()).ok_or_else(bad)
}

fn on_a_card(hours: &str, minutes: &str) -> Option<u64> {
    // `parse` alone would take "+4".
    let whole = |text: &str| text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse::<u64>().ok()).flatten();
    match whole(minutes) {
        Some(min @ 0..60) if minutes.len() == 2 => whole(hours)?.checked_mul(3600)?.checked_add(min * 60),
        Some(_) | None => None,
    }
}

fn in_units(text: &str) -> Option<u64> {
    let mut rest = text.trim();
    let mut total = 0_u64;
    let mut last_unit = u64::MAX;
    while !rest.is_empty() {
        let (number, after) = rest.split_at(rest.find(|c: char| !c.is_ascii_digit())?);
        let after = after.trim_start();
        let (unit, behind) = after.split_at(after.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(after.len()));
        let unit = match unit {
            "d" | "day" | "days" => 86_400,
            "h" => 3600,
            "min" => 60,
            "s" => 1,
            _ => return None,
        };
        // Larger units come first, each once: "30 min 4 h" is more likely a slip than a duration.
        if last_unit <= unit {
            return None;
        }
        last_unit = unit;
        total = total.checked_add(number.parse::<u64>().ok()?.checked_mul(unit)?)?;
        rest = behind.trim_start();
    }
    (last_unit != u64::MAX).then_some(total)
}

/// A day as people write it, `7.5.2026` (day, month, year), is `2026-05-07`; what comes behind stays. With slashes nobody
/// can tell the day from the month.
pub(crate) fn plain_day(text: &str) -> Result<String, String> {
    let text = text.trim();
    let (day, rest) = text.split_at(text.find(' ').unwrap_or(text.len()));
    if day.contains('/') {
        return Err(format!("\"{}\" can be read in two ways; write 2026-05-07, or 7.5.2026 for 7 May", short(day)));
    }
    let parts: Vec<&str> = day.split('.').collect();
    Ok(match parts.as_slice() {
        [day, month, year] if year.len() == 4 => match (day.parse::<u8>(), month.parse::<u8>(), year.parse::<u16>()) {
            (Ok(day), Ok(month), Ok(year)) => format!("{year:04}-{month:02}-{day:02}{rest}"),
            _ => text.to_owned(),
        },
        _ => text.to_owned(),
    })
}

/// A time in the yard's zone, `2026-05-04 06:00` or `4.5.2026 06:00`, or one with an offset,
/// `2026-05-04T06:00:00+02:00`.
pub(crate) fn time_in(zone: Tz, text: &str) -> Result<Stamp, String> {
    if let Ok(stamp) = Stamp::parse(text) {
        return Ok(stamp);
    }
    let text = plain_day(text)?.replacen('T', " ", 1);
    let local = ["%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M:%S%.3f"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(&text, form).ok())
        .ok_or_else(|| format!("\"{}\" is no time; write 2026-05-04 06:00, with an offset if need be", short(&text)))?;
    match zone.from_local_datetime(&local) {
        LocalResult::Single(time) => {
            let offset_s = time.offset().fix().local_minus_utc();
            Ok(Stamp { at: Instant(time.timestamp_millis()), offset_s })
        }
        LocalResult::Ambiguous(..) => {
            Err(format!("{text} comes twice in {zone}, the clocks go back that night; write it with its offset"))
        }
        LocalResult::None => Err(format!("{text} never comes in {zone}, the clocks go forward that night")),
    }
}

/// Thousandths as a decimal number with no more digits than it needs: -18500 is `-18.5`.
pub(crate) fn say_thousandths(value: i64) -> String {
    let (sign, value) = (if value < 0 { "-" } else { "" }, value.unsigned_abs());
    let text = format!("{sign}{}.{:03}", value / 1000, value % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Seconds as on a paper card, `96:20`, if they are whole minutes.
pub(crate) fn say_as_on_a_card(seconds: Seconds) -> String {
    match (seconds.get() / 60, seconds.get() % 60) {
        (minutes, 0) => format!("{}:{:02}", minutes / 60, minutes % 60),
        _ => say_duration(seconds),
    }
}

/// Seconds as people say them: `96 h 20 min`.
pub(crate) fn say_duration(seconds: Seconds) -> String {
    let s = seconds.get();
    match (s / 3600, s % 3600 / 60, s % 60) {
        (0, 0, s) => format!("{s} s"),
        (h, 0, 0) => format!("{h} h"),
        (0, min, 0) => format!("{min} min"),
        (h, min, 0) => format!("{h} h {min} min"),
        (h, min, s) => format!("{h} h {min} min {s} s"),
    }
}

fn short(text: &str) -> String {
    text.trim().chars().filter(|c| !c.is_control()).take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_are_read_as_people_write_them() {
        let s = |text| duration(text).map(Seconds::get);
        assert_eq!(s("240 h"), Ok(864_000));
        assert_eq!(s("4 h 30 min"), Ok(16_200));
        assert_eq!(s("4h30min"), Ok(16_200));
        assert_eq!(s("96:20"), Ok(346_800));
        assert_eq!(s("0:00"), Ok(0));
        assert_eq!(s("2 d"), Ok(172_800));
        for bad in
            ["", "240", "h", "-4 h", "1.5 h", "96:5", "96:60", "30 min 4 h", "4 h 4 h", "4 weeks", "96:20:00", ":20"]
        {
            assert!(s(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn decimals_become_thousandths_exactly() {
        assert_eq!(thousandths("-18.5"), Some(-18_500));
        assert_eq!(thousandths("\u{2212}18"), Some(-18_000));
        assert_eq!(thousandths("-0.05"), Some(-50));
        assert_eq!(thousandths("38.29"), Some(38_290));
        for bad in ["", ".", "1.", ".5", "1.2345", "1,5", "1e3", "NaN", "--1", "9999999999"] {
            assert_eq!(thousandths(bad), None, "{bad}");
        }
    }

    #[test]
    fn temperatures_are_in_celsius_and_say_so() {
        assert_eq!(millideg_c("-18"), Ok(-18_000));
        assert_eq!(millideg_c("-18.5 \u{b0}C"), Ok(-18_500));
        assert!(millideg_c("0 F").is_err_and(|say| say.contains("Celsius")));
        assert!(millideg_c("-300").is_err());
    }

    #[test]
    fn a_length_less_than_nothing_is_said_to_be_so() {
        assert_eq!(metres("38.2").map(Millimetres::get), Ok(38_200));
        assert!(metres("-1").is_err_and(|say| say.contains("less than nothing")));
        assert!(metres("0").is_err());
        assert!(metres("38,2").is_err_and(|say| say.contains("with a point")));
    }

    #[test]
    fn a_length_is_typed_with_a_point_or_a_comma_and_never_read_in_two_ways() {
        for (text, mm) in [("38.2", 38_200), ("38,2", 38_200), ("12,5 m", 12_500), (" 7 m ", 7_000), ("1.234", 1_234)] {
            assert_eq!(typed_metres(text).map(Millimetres::get), Ok(mm), "{text}");
        }
        for text in ["1.234,5", "1,234.5", "1,234", "1,2,3"] {
            assert!(typed_metres(text).is_err_and(|say| say.contains("in two ways")), "{text}");
        }
        for text in ["", "m", "two", ",5", "-1,5", "1,"] {
            assert!(typed_metres(text).is_err(), "{text}");
        }
    }

    /// Common practice, no source: European clocks went forward on 2026-03-29 and go back on 2026-10-25.
    #[test]
    fn a_local_time_that_comes_twice_or_never_is_asked_for_again() {
        let zone = chrono_tz::Europe::Lisbon;
        let read = |text| time_in(zone, text).map(|stamp| stamp.to_string());
        assert_eq!(read("2026-05-04 06:00"), Ok("2026-05-04T06:00:00.000+01:00".to_owned()));
        assert_eq!(read("2026-05-04T06:00:00"), Ok("2026-05-04T06:00:00.000+01:00".to_owned()));
        assert_eq!(read("2026-05-04T06:00:00+02:00"), Ok("2026-05-04T06:00:00.000+02:00".to_owned()));
        assert!(read("2026-10-25 01:30").is_err_and(|say| say.contains("twice")));
        assert!(read("2026-03-29 01:30").is_err_and(|say| say.contains("never")));
        // Day first, with points, as it is written in most of Europe (common practice, no source).
        assert_eq!(read("4.5.2026 06:00"), Ok("2026-05-04T06:00:00.000+01:00".to_owned()));
        assert_eq!(read("04.05.2026 06:00"), Ok("2026-05-04T06:00:00.000+01:00".to_owned()));
        assert!(read("4.13.2026 06:00").is_err() && read("4.5.26 06:00").is_err());
        for text in ["04/05/2026", "07/05/2026 06:00"] {
            assert!(read(text).is_err_and(|say| say.contains("in two ways; write 2026-05-07, or 7.5.2026")), "{text}");
        }
    }

    #[test]
    fn what_is_said_is_what_was_read() {
        for text in ["96 h 20 min", "240 h", "30 min", "0 s", "1 h 0 min 1 s"] {
            assert_eq!(say_duration(duration(text).unwrap()), text);
        }
        for text in ["96:20", "0:00", "0:05", "100:00", "1 h 0 min 1 s"] {
            assert_eq!(say_as_on_a_card(duration(text).unwrap()), text);
        }
        for text in ["38.2", "50", "0", "-18", "-0.05", "100.001", "-18.5"] {
            assert_eq!(say_thousandths(thousandths(text).unwrap()), text);
        }
    }
}
