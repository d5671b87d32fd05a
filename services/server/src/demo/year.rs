//! The ordinary year: deliveries, a stage of a boat's part a week, parts installed, what is past its life thrown away.

use chrono::{Datelike, Days, NaiveDate};
use serde_json::json;
use std::collections::VecDeque;

use super::{
    stock::Stock,
    story::{DAY, LAMINATOR, Story},
    work::{self, How, Shop},
    yard::{self, Part},
};

/// Rolls set apart when they come, for what happens near the end.
pub(super) const NEARLY_OUT_OF_LIFE: &str = "nearly out of life";
pub(super) const NEARLY_OUT_OF_TACK: &str = "nearly out of tack life";
pub(super) const WRONG_PLACARD: &str = "wrong placard";
pub(super) const HELD: &str = "held";

/// (week, sheet, rolls, what the first of them is set apart for)
const DELIVERIES: [(u64, usize, u32, Option<&str>); 22] = [
    (0, 0, 3, None),
    (0, 1, 2, None),
    (0, 2, 1, None),
    (8, 0, 2, None),
    (10, 1, 1, None),
    (15, 0, 2, None),
    (16, 2, 1, None),
    (20, 1, 1, None),
    (22, 0, 2, None),
    (28, 0, 2, None),
    (29, 1, 2, None),
    (30, 2, 1, None),
    (34, 0, 2, None),
    (37, 1, 1, None),
    (40, 0, 3, Some(NEARLY_OUT_OF_TACK)),
    (40, 2, 2, Some(NEARLY_OUT_OF_LIFE)),
    (44, 1, 1, None),
    (45, 0, 2, Some(WRONG_PLACARD)),
    (47, 0, 2, Some(HELD)),
    (48, 1, 1, None),
    (48, 0, 1, None),
    (48, 2, 1, None),
];

/// The first week in which each boat's parts are made, and how many of them are finished in the year.
const BUILT: [(u64, usize); 2] = [(3, 13), (34, 6)];

/// From these weeks on the first chance is taken for something worth telling.
const MISTYPED_FROM: u64 = 11;
const LATE_FROM: u64 = 24;
const LAST_WEEK: u64 = 49;

/// The day of a week, 0 for Monday; week 0 starts when the yard has stood for a week.
pub(super) fn day(story: &Story, week: u64, weekday: u64) -> NaiveDate {
    let first = story.first_day();
    let to_monday = 7 - u64::from(first.weekday().num_days_from_monday());
    first.checked_add_days(Days::new(7 + to_monday % 7 + 7 * week + weekday)).unwrap_or(first)
}

/// Writes the year up to about a week before its end. The answer is the stages for which there was no material.
pub(super) fn write(story: &mut Story, stock: &mut Stock, shop: &mut Shop) -> u32 {
    let mut missed = 0;
    let mut queues = [stages(0), stages(1)];
    for week in 0..=LAST_WEEK {
        for (_, sheet, rolls, kept_for) in DELIVERIES.iter().filter(|(at, ..)| *at == week) {
            stock.deliver(story, day(story, week, 0), *sheet, *rolls, *kept_for);
        }
        for ((boat, queue), (from, _)) in (0..).zip(queues.iter_mut()).zip(BUILT) {
            // Every seventh week there is no time for it.
            if from <= week && !(week + 3 * boat).is_multiple_of(7) {
                missed += this_week(story, stock, shop, queue, week, boat);
            }
        }
        if week.is_multiple_of(4) {
            stock.clear_out(story, day(story, week, 3));
        }
    }
    missed
}

type Queue = VecDeque<(Part, usize)>;

fn stages(boat: usize) -> Queue {
    let finished = BUILT.get(boat).map_or(0, |(_, finished)| *finished);
    let parts = yard::parts(boat).into_iter().take(finished);
    parts.flat_map(|part| (0..part.stages.len()).map(move |stage| (part.clone(), stage))).collect()
}

/// One stage of a boat on its own day; in every fifth week a second one two days later.
fn this_week(story: &mut Story, stock: &mut Stock, shop: &mut Shop, queue: &mut Queue, week: u64, boat: u64) -> u32 {
    let twice = week.is_multiple_of(5);
    let stage = queue.front().map_or(0, |(_, stage)| *stage);
    let how = match stage {
        _ if shop.mistyped.is_none() && MISTYPED_FROM <= week => How::Mistyped,
        1 if shop.laid_late.is_none() && LATE_FROM <= week && !twice => How::LateTakeOut,
        0 if !twice && story.rng.between(0, 2) == 0 => How::Overnight,
        _ => How::SameDay,
    };
    let mut missed = next_stage(story, stock, shop, queue, day(story, week, boat), how);
    if twice {
        missed += next_stage(story, stock, shop, queue, day(story, week, boat + 2), How::SameDay);
    }
    missed
}

fn next_stage(
    story: &mut Story,
    stock: &mut Stock,
    shop: &mut Shop,
    queue: &mut Queue,
    on: NaiveDate,
    how: How,
) -> u32 {
    let Some((part, stage)) = queue.pop_front() else { return 0 };
    if !work::stage(story, stock, shop, &part, stage, on, how) {
        queue.push_front((part, stage));
        return 1;
    }
    let is_last = stage + 1 == part.stages.len();
    let days = story.rng.between(4, 6);
    // The thirteenth part of the first boat is cured and waits to be installed.
    if is_last && part.code != "P-3113" {
        let at = story.clock(on, 11, 0).plus_ms(days * DAY);
        story.fact(at, "part_installed", &work::part_thing(&part), LAMINATOR, json!({ "boat": part.boat }));
    }
    0
}
