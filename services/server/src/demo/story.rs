//! What is written in the demo's year: steps in time, each a fact or a decision as a client would post it.

use chrono::{Days, NaiveDate, Offset, TimeZone};
use chrono_tz::Tz;
use serde_json::{Value, json};
use shared_types::{Instant, Stamp};
use uuid::Uuid;

use super::rng::Rng;

pub(super) const MINUTE: i64 = 60_000;
pub(super) const HOUR: i64 = 60 * MINUTE;
pub(super) const DAY: i64 = 24 * HOUR;
pub(super) const ZONE: Tz = chrono_tz::Europe::Oslo;

/// Badges of invented people.
pub(super) const CLERK: &str = "B-17";
pub(super) const CUTTER: &str = "B-22";
pub(super) const LAMINATOR: &str = "B-23";
pub(super) const OVEN_HAND: &str = "B-31";
pub(super) const QUALITY: &str = "B-04";
pub(super) const SECOND_QUALITY: &str = "B-05";
pub(super) const THIRD_QUALITY: &str = "B-06";

/// One thing posted at one moment.
#[derive(Debug)]
pub(super) struct Step {
    /// When the server takes it.
    pub(super) at: Instant,
    pub(super) posted: Value,
}

/// The year as it is being made up.
#[derive(Debug)]
pub(super) struct Story {
    pub(super) rng: Rng,
    pub(super) until: Instant,
    steps: Vec<Step>,
}

impl Story {
    pub(super) fn new(seed: u64, until: Instant) -> Story {
        // Whole minutes read better on a card.
        Story { rng: Rng::new(seed), until: Instant(until.0 - until.0.rem_euclid(MINUTE)), steps: Vec::new() }
    }

    /// The steps in the order in which they are posted; what was made up first comes first within one moment.
    pub(super) fn into_steps(mut self) -> Vec<Step> {
        self.steps.sort_by_key(|step| step.at);
        self.steps
    }

    /// The first day of the demo's year.
    pub(super) fn first_day(&self) -> NaiveDate {
        let last = self.today();
        last.checked_sub_days(Days::new(365)).unwrap_or(last)
    }

    /// The last day of it.
    pub(super) fn today(&self) -> NaiveDate {
        let last = chrono::DateTime::from_timestamp_millis(self.until.0).unwrap_or_default();
        last.with_timezone(&ZONE).date_naive()
    }

    /// A local time of a day.
    pub(super) fn clock(&self, day: NaiveDate, hour: u32, minute: u32) -> Instant {
        let local = day.and_hms_opt(hour, minute, 0).unwrap_or_default();
        let ms = ZONE.from_local_datetime(&local).earliest().map_or(0, |time| time.timestamp_millis());
        Instant(ms)
    }

    pub(super) fn fact(&mut self, at: Instant, kind: &str, thing: &str, by: &str, body: Value) -> Uuid {
        self.told(at, at, kind, thing, by, body)
    }

    /// A fact that was posted later than it happened.
    pub(super) fn told(
        &mut self,
        posted: Instant,
        at: Instant,
        kind: &str,
        thing: &str,
        by: &str,
        body: Value,
    ) -> Uuid {
        let (id, fact) = self.made_up(at, kind, thing, by, body);
        self.steps.push(Step { at: posted, posted: fact });
        id
    }

    /// A fact that is not posted by itself, but stands instead of a struck one.
    pub(super) fn made_up(&mut self, at: Instant, kind: &str, thing: &str, by: &str, body: Value) -> (Uuid, Value) {
        let id = self.rng.id();
        let fact = json!({"id": id, "kind": kind, "thing": thing, "occurred_at": stamp(at), "by": by, "body": body});
        (id, fact)
    }

    pub(super) fn decide(&mut self, at: Instant, decide: &str, thing: &str, by: &str, body: Value) -> Uuid {
        let id = self.rng.id();
        self.steps
            .push(Step { at, posted: json!({"id": id, "decide": decide, "thing": thing, "by": by, "body": body}) });
        id
    }

    /// A decision that gives something back.
    pub(super) fn decide_together(
        &mut self,
        at: Instant,
        decide: &str,
        thing: &str,
        by: [&str; 2],
        body: Value,
    ) -> Uuid {
        let id = self.rng.id();
        let [first, second] = by;
        let second = json!({ "by": second });
        let posted = json!({"id": id, "decide": decide, "thing": thing, "by": first, "second": second, "body": body});
        self.steps.push(Step { at, posted });
        id
    }
}

/// The instant with the yard's offset.
pub(super) fn stamp(at: Instant) -> Stamp {
    let offset = chrono::DateTime::from_timestamp_millis(at.0).unwrap_or_default().with_timezone(&ZONE).offset().fix();
    Stamp { at, offset_s: offset.local_minus_utc() }
}
