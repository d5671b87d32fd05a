//! Warnings as an iCalendar object (RFC 5545, with RFC 7986's refresh interval), written by hand: few lines are needed,
//! and each must be right to the octet.

use shared_types::{Instant, Warning, WarningAbout, Warnings};
use uuid::Uuid;

/// The names of events are made within this one, so that the same warning is the same event for ever.
const NAMESPACE: Uuid = Uuid::from_u128(0x6f9d_1c1e_5a0b_4e59_9f2c_3c1b_7a4d_8e21);
/// A content line has at most 75 octets before its break (section 3.1).
const LONGEST_LINE: usize = 75;

/// The calendar, with one event for each warning. What no longer holds is simply not in it.
pub(crate) fn written(warnings: &Warnings) -> String {
    let mut lines = Lines(String::new());
    lines.put("BEGIN", "VCALENDAR");
    lines.put("VERSION", "2.0");
    lines.put("PRODID", "-//Rimebook//Warnings//EN");
    lines.put("CALSCALE", "GREGORIAN");
    lines.text("NAME", &title(warnings));
    lines.put("REFRESH-INTERVAL;VALUE=DURATION", "PT15M");
    for warning in &warnings.warnings {
        event(&mut lines, warning, warnings.at.at);
    }
    lines.put("END", "VCALENDAR");
    lines.0
}

fn title(warnings: &Warnings) -> String {
    let of = [&warnings.material, &warnings.job].into_iter().flatten().map(ToString::to_string);
    let of: Vec<String> = of.collect();
    match of.is_empty() {
        true => "Runs out soon".to_owned(),
        false => format!("Runs out soon: {}", of.join(", ")),
    }
}

fn event(lines: &mut Lines, warning: &Warning, asked_at: Instant) {
    let uid = Uuid::new_v5(&NAMESPACE, warning.name.as_bytes());
    lines.put("BEGIN", "VEVENT");
    lines.put("UID", &uid.to_string());
    lines.put("DTSTAMP", &utc(asked_at));
    lines.put("DTSTART", &utc(warning.act_by.at));
    lines.text("SUMMARY", &summary(warning));
    lines.text("DESCRIPTION", &warning.say);
    let materials = warning.materials.iter().map(|material| escaped(material.as_str())).collect::<Vec<_>>();
    if !materials.is_empty() {
        lines.put("CATEGORIES", &materials.join(","));
    }
    // Nobody is busy because something runs out.
    lines.put("TRANSP", "TRANSPARENT");
    lines.put("BEGIN", "VALARM");
    lines.put("ACTION", "DISPLAY");
    lines.text("DESCRIPTION", &warning.say);
    lines.put("TRIGGER", "-PT1H");
    lines.put("END", "VALARM");
    lines.put("END", "VEVENT");
}

fn summary(warning: &Warning) -> String {
    let thing = warning.thing.short();
    let of = warning.stage.as_ref().map_or(String::new(), |stage| format!(" {stage}"));
    let job = warning.jobs.first().map_or(String::new(), |job| format!(" for {job}"));
    match (warning.about, warning.limit) {
        (WarningAbout::PlanPassed, _) => format!("{thing}: plan it again"),
        (WarningAbout::MissesLayUp, _) => format!("{thing}{of} will not make the lay-up{job}"),
        (WarningAbout::MissesOven, _) => format!("{thing}{of} will not make the oven{job}"),
        (WarningAbout::LimitEnds, limit) => {
            format!("{thing}{of}: {} ends", limit.map_or("a limit", domain::say::limit))
        }
    }
}

/// An instant in UTC (section 3.3.5, form 2), to the second downwards: never after the instant itself.
fn utc(at: Instant) -> String {
    let time = chrono::DateTime::from_timestamp(at.0.div_euclid(1000), 0);
    let time = time.filter(|time| (0..=9999).contains(&chrono::Datelike::year(time)));
    time.map_or_else(|| "00010101T000000Z".to_owned(), |time| time.format("%Y%m%dT%H%M%SZ").to_string())
}

/// TEXT (section 3.3.11): backslash, comma, semicolon and line breaks are written with a backslash; what is no text at
/// all is left out.
fn escaped(text: &str) -> String {
    let mut escaped = String::new();
    for c in text.chars() {
        match c {
            '\\' | ',' | ';' => escaped.extend(['\\', c]),
            '\n' => escaped.push_str("\\n"),
            c if c.is_control() => {}
            c => escaped.push(c),
        }
    }
    escaped
}

struct Lines(String);

impl Lines {
    fn text(&mut self, name: &str, text: &str) {
        self.put(name, &escaped(text));
    }

    /// One content line, folded before its 76th octet and between characters (section 3.1).
    fn put(&mut self, name: &str, value: &str) {
        let mut octets = 0;
        for c in name.chars().chain([':']).chain(value.chars()) {
            if LONGEST_LINE < octets + c.len_utf8() {
                self.0.push_str("\r\n ");
                octets = 1;
            }
            self.0.push(c);
            octets += c.len_utf8();
        }
        self.0.push_str("\r\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_is_written_in_utc_and_never_later() {
        assert_eq!(utc(Instant(0)), "19700101T000000Z");
        // 6 May 2026 06:02:11.999 +02:00
        assert_eq!(utc(Instant(1_778_040_131_999)), "20260506T040211Z");
        assert_eq!(utc(Instant(-1)), "19691231T235959Z");
    }

    /// RFC 5545 section 3.3.11.
    #[test]
    fn text_is_escaped() {
        assert_eq!(escaped("a;b,c\\d\ne\r"), "a\\;b\\,c\\\\d\\ne");
    }

    /// RFC 5545 section 3.1: no line is longer than 75 octets, and no character is torn.
    #[test]
    fn long_lines_are_folded_between_characters() {
        let mut lines = Lines(String::new());
        let text = "å".repeat(200);
        lines.put("SUMMARY", &text);
        assert!(lines.0.split("\r\n").all(|line| line.len() <= 75));
        assert!(lines.0.split("\r\n").take(2).all(|line| line.len() >= 74));
        assert_eq!(lines.0.replace("\r\n ", ""), format!("SUMMARY:{text}\r\n"));
    }
}
