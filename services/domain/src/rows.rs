//! Limits as rows of an answer, in seconds and in the yard's time.

use crate::limits::{At, Limit, LimitState, Limits};
use crate::roll::Missing;
use crate::say::{Say, ceil_s, days, floor_s, left, so_far};
use shared_types::{Kind, LimitName, LimitRow, ThingName};

pub fn rows(read: At<'_>, limits: &Limits, say: &Say) -> Vec<LimitRow> {
    limits.rows.iter().map(|limit| row(read, limit, say)).collect()
}

fn row(read: At<'_>, limit: &Limit, say: &Say) -> LimitRow {
    let mut row = LimitRow {
        limit: limit.name,
        item: read.view.book.name(limit.item).clone(),
        allowed_s: None,
        so_far_s: None,
        left_s: None,
        allowed: None,
        so_far: None,
        left: None,
        runs: false,
        ends_at: limit.state.ends_at(read.at).map(|at| say.stamp(at)),
        ends_on: None,
        none_by: None,
        missing: None,
        not_confirmed: false,
        left_s_if_never_started: None,
    };
    match &limit.state {
        LimitState::Clock { allowed, so_far, runs, oven, .. } => {
            let left = allowed.saturating_sub(*so_far);
            row.allowed_s = Some(floor_s(*allowed));
            row.so_far_s = Some(ceil_s(*so_far));
            row.left_s = Some(floor_s(left));
            row.runs = *runs;
            row.not_confirmed = oven.not_confirmed;
            row.left_s_if_never_started = oven.left_if_never.map(floor_s);
        }
        LimitState::NotLaid { allowed, .. } => {
            row.allowed_s = Some(floor_s(*allowed));
            row.so_far_s = Some(0);
            row.left_s = Some(floor_s(*allowed));
        }
        LimitState::Date { last_day, end, read_at, .. } => {
            row.left_s = Some(floor_s(end.since(*read_at)));
            row.ends_on = Some(last_day.to_string());
            // A date comes nearer always; it stands only once an act has tested it.
            row.runs = false;
        }
        LimitState::Count { allowed, so_far } => {
            row.allowed = Some(*allowed);
            row.so_far = Some(*so_far);
            row.left = Some(allowed.saturating_sub(*so_far));
        }
        LimitState::NoneBy(document) => row.none_by = Some(document.clone()),
        LimitState::Missing(missing) => row.missing = Some(missing_words(read, *missing, limit).0),
    }
    row
}

/// The wait for the oven of what was never laid. What is laid has one that runs, or stands as long as it took, no time
/// at all included.
pub fn is_not_laid(row: &LimitRow, of: &ThingName) -> bool {
    row.limit == LimitName::LayToCure && of.kind() != Kind::Part && row.so_far_s == Some(0) && !row.runs
}

const DAY_S: i64 = 86_400;

/// What a limit has left, in words. While an oven start is not confirmed, what is left if it never started stands
/// beside it.
pub fn left_words(row: &LimitRow) -> String {
    let shown = match (row.left_s, row.left) {
        (Some(seconds), _) => left_of(row.limit, seconds),
        (None, Some(count)) => count_left(count),
        (None, None) => return String::new(),
    };
    match row.left_s_if_never_started {
        Some(never) => format!("{shown}; {} if the oven never started", left_of(row.limit, never)),
        None => shown,
    }
}

/// Seconds of a limit: what is over is rounded up, what is left down.
pub fn left_of(name: LimitName, seconds: i64) -> String {
    match (name, seconds < 0) {
        (LimitName::ShelfLife, true) => "over".to_owned(),
        (LimitName::ShelfLife, false) => days(seconds / DAY_S),
        (_, true) => format!("{} over", so_far(seconds.saturating_neg().saturating_mul(1000))),
        (_, false) => left(seconds.saturating_mul(1000)),
    }
}

pub fn count_left(count: i64) -> String {
    if count < 0 { format!("{} over", count.saturating_neg()) } else { count.to_string() }
}

/// What is missing, in words, and what to do about it.
pub fn missing_words(read: At<'_>, missing: Missing, limit: &Limit) -> (String, String) {
    let item = read.view.book.name(limit.item);
    let short = item.short();
    let batch = batch_of(read, limit);
    match missing {
        Missing::Receipt => (format!("{short} is not received"), format!("Receive {short}.")),
        Missing::Cut if item.kind() == Kind::Kit => (
            format!("what was cut into {short}"),
            format!("Nobody recorded what was cut into {short}, which is laid in it: record its cut."),
        ),
        Missing::Cut => (
            format!("when {short} was cut into its kit"),
            format!("Nobody recorded when {short} was cut into the kit it was laid from."),
        ),
        Missing::Opening => (
            format!("the out-time {short} had when it came"),
            format!("Nobody stated how much out-time {short} had when it came: look at its card or certificate."),
        ),
        Missing::Revision => (
            format!("the limits of {short}'s material revision"),
            format!("The limits of {short}'s material revision are not entered yet."),
        ),
        Missing::Batch => {
            let batch = batch.as_ref().map_or("its batch", ThingName::short).to_owned();
            (format!("the dates of batch {batch}"), format!("The dates of batch {batch} are not registered yet."))
        }
        Missing::Stated(what) => (
            format!("the {what} of {short}'s material"),
            format!(
                "The material of {short} does not state a {what}. What is not stated is not unlimited: ask quality."
            ),
        ),
        Missing::Yard => ("the yard's zone".to_owned(), "The yard's zone is not declared yet.".to_owned()),
    }
}

fn batch_of(read: At<'_>, limit: &Limit) -> Option<ThingName> {
    read.view.facts(limit.item).find_map(|fact| match &fact.what {
        crate::fact::What::Received(received) => Some(read.view.book.name(received.batch).clone()),
        _ => None,
    })
}
