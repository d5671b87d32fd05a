//! The manager's morning: what will not be kept, what has to be cured tonight, what ends first, what there is not enough of.

use crate::book::Book;
use crate::calendar::Calendar;
use crate::handover::handover;
use crate::question::When;
use crate::take_out::{TakeOutQuestion, short};
use crate::view::View;
use crate::warnings::{WarningsQuestion, warnings};
use shared_types::{Instant, ShortLine, WaitsForOven, Warning, WarningAbout};

const TWO_WEEKS_MS: i64 = 14 * 86_400_000;

pub struct Today {
    pub misses: Vec<Warning>,
    /// Laid stages that have to be heating, or are planned to be, before the yard opens again, or of which nobody can
    /// say by when; and those in a run that nobody confirmed.
    pub tonight: Vec<WaitsForOven>,
    pub tonight_until: Instant,
    pub ends_first: Vec<Warning>,
    pub short: Vec<ShortLine>,
    pub mismatches: u64,
}

pub fn today(book: &Book, when: When) -> Today {
    let all = warnings(book, &WarningsQuestion::usual(when)).warnings;
    let (ends_first, misses) = all.into_iter().partition(|one| one.about == WarningAbout::LimitEnds);
    let tonight_until = Calendar::of(View::new(book, when.known), when.at).opens_again(when.at);
    let shift = handover(book, when);
    let soon = |one: &WaitsForOven| {
        let first = one.heating_by.into_iter().chain(one.oven_at).map(|stamp| stamp.at).min();
        // A run that nobody confirmed may not have started: then it is the stage that has to be heated first. And what
        // nobody can say an end of may have to be heated at once.
        one.run.is_some() || one.heating_by.is_none() || first.is_none_or(|first| first <= tonight_until)
    };
    let until = Some(when.at.plus_ms(TWO_WEEKS_MS));
    Today {
        misses,
        tonight: shift.waiting.into_iter().filter(soon).collect(),
        tonight_until,
        ends_first,
        short: short(book, &TakeOutQuestion { until, when }),
        mismatches: shift.mismatches,
    }
}
