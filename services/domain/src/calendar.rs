//! When somebody is there to act: the yard's open days and its hours. What was not declared is not assumed, and a yard
//! that declared nothing is always open.

use crate::roll::{end_of_day, start_of_day};
use crate::view::View;
use chrono::{DateTime, Days, NaiveDate, TimeZone, Utc};
use chrono_tz::Tz;
use shared_types::{ClockTime, Instant, Weekday, Yard};

/// So far is looked for an open day; a yard closed for longer has no last day before.
const FARTHEST_DAYS: u64 = 400;

/// The hours in which somebody is there.
#[derive(Clone, Copy)]
pub struct Calendar<'b> {
    yard: Option<&'b Yard>,
    zone: Tz,
}

impl<'b> Calendar<'b> {
    pub fn of(view: View<'b>, at: Instant) -> Calendar<'b> {
        let yard = view.yard(at);
        let zone = yard.and_then(|yard| yard.zone.parse().ok()).unwrap_or(Tz::UTC);
        Calendar { yard, zone }
    }

    /// The last instant, not after this one, at which the yard is open. Itself where no open day is found.
    pub fn last_open(&self, at: Instant) -> Instant {
        let Some(day) = self.day_of(at) else { return at };
        // A night shift lasts at most until the next day's begins, so the first found is the last that began.
        let days = (0..FARTHEST_DAYS).filter_map(|back| day.checked_sub_days(Days::new(back)));
        let open = days.filter_map(|day| self.hours(day)).find(|(from, _)| *from <= at);
        open.map_or(at, |(_, until)| until.min(at))
    }

    /// The hours of the first open day whose work begins after an instant.
    pub fn opens_after(&self, at: Instant) -> Option<(Instant, Instant)> {
        let day = self.day_of(at)?;
        let days = (0..FARTHEST_DAYS).filter_map(|on| day.checked_add_days(Days::new(on)));
        days.filter_map(|day| self.hours(day)).find(|(from, _)| at < *from)
    }

    /// The end of the next open day after the day of an instant.
    pub fn end_of_next_day(&self, at: Instant) -> Instant {
        let tomorrow = self.day_of(at).map(|day| end_of_day(day, self.zone)).unwrap_or(at);
        self.opens_after(tomorrow).map_or(tomorrow, |(_, until)| until)
    }

    /// When work begins again after an instant; a day later where the yard does not say when its days begin.
    pub fn opens_again(&self, at: Instant) -> Instant {
        let says = self.yard.is_some_and(|yard| yard.shift_start.is_some());
        let opens = if says { self.opens_after(at).map(|(from, _)| from) } else { None };
        opens.unwrap_or_else(|| at.plus_ms(86_400_000))
    }

    fn day_of(&self, at: Instant) -> Option<NaiveDate> {
        let utc = DateTime::<Utc>::from_timestamp_millis(at.0)?;
        Some(self.zone.from_utc_datetime(&utc.naive_utc()).date_naive())
    }

    fn closed(&self, day: NaiveDate) -> bool {
        let on = |closed: &shared_types::Day| {
            closed.first().zip(closed.last()).is_some_and(|(first, last)| (first..=last).contains(&day))
        };
        self.yard.is_some_and(|yard| yard.closed_weekdays.contains(&Weekday::of(day)) || yard.closed_on.iter().any(on))
    }

    /// From when to when an open day is worked.
    fn hours(&self, day: NaiveDate) -> Option<(Instant, Instant)> {
        if self.closed(day) {
            return None;
        }
        let (start, end) = self.yard.map_or((None, None), |yard| (yard.shift_start, yard.shift_end));
        let from = start.map_or_else(|| start_of_day(day, self.zone), |start| self.on(day, start));
        let until = match end {
            None => end_of_day(day, self.zone),
            Some(end) if start.is_some_and(|start| end <= start) => {
                day.checked_add_days(Days::new(1)).map_or(from, |next| self.on(next, end))
            }
            Some(end) => self.on(day, end),
        };
        Some((from, until.max(from)))
    }

    /// A clock time of a day; where the clock was put forward over it, the first moment after.
    fn on(&self, day: NaiveDate, time: ClockTime) -> Instant {
        let minutes = (time.hour() * 60 + time.minute())..(24 * 60);
        let first = minutes
            .step_by(15)
            .find_map(|minute| day.and_hms_opt(minute / 60, minute % 60, 0)?.and_local_timezone(self.zone).earliest());
        first.map_or_else(|| end_of_day(day, self.zone), |time| Instant(time.timestamp_millis()))
    }
}
