//! A roll: what it is by its receipts, how far it is used up, and its clocks.

use crate::clock::Clock;
use crate::cold::{Storage, is_cold, storage};
use crate::fact::{Fact, Label, Received, What};
use crate::history::{Before, Found, History, Start, Step, StepAct, fold, kit_history, step, steps};
use crate::thing::jobs;
use crate::view::View;
use chrono::{Days, Months, NaiveDate};
use chrono_tz::Tz;
use shared_types::{Instant, Kind, Refreezes, Revision, ShelfLife};
use std::collections::BTreeMap;
use std::sync::Arc;

/// One roll's life. Two receipts give two; for each limit the worse binds.
pub struct RollLife {
    pub roll: Label,
    pub lives: Vec<Life>,
    /// Its history without any receipt's opening, for where it is and what does not add up.
    pub history: Arc<History>,
    pub end: Option<End>,
    /// Millimetres left; less than none when more was cut than there was.
    pub length_left_mm: Option<i64>,
    /// Cuts beyond the length.
    pub beyond: Vec<u32>,
    /// Issued to.
    pub jobs: Vec<Label>,
}

/// A roll by one of its receipts.
#[derive(Clone)]
pub struct Life {
    pub receipt: Fact,
    pub received: Arc<Received>,
    pub revision: Option<Arc<Revision>>,
    pub clock: Clock,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct End {
    pub at: Instant,
    /// Its clocks stand from the latest it can have been.
    pub latest: Instant,
    pub seq: u32,
    pub disposed: bool,
}

pub fn roll_life(view: View<'_>, roll: Label) -> Arc<RollLife> {
    view.kept(roll, || {
        let mut steps = steps(view, roll);
        steps.extend(moved_in(view, roll));
        steps.sort_by_key(|step| step.at);
        roll_life_of(view, roll, &steps)
    })
}

fn roll_life_of(view: View<'_>, roll: Label, steps: &[Step]) -> RollLife {
    let receipts: Vec<(&Fact, &Arc<Received>)> = view
        .facts(roll)
        .filter_map(|fact| match &fact.what {
            What::Received(received) => Some((fact, received)),
            _ => None,
        })
        .collect();
    let used = used(view, roll, receipts.iter().map(|(_, received)| received.length_mm).min());
    let one = receipts.len() == 1;
    let storage = storage(view, roll);
    let mut history = None;
    let mut lives = Vec::with_capacity(receipts.len());
    for (receipt, received) in receipts {
        let start = start(view, receipt, received, storage);
        // Of several receipts each is read as if it were the only one.
        let own = |step: &&Step| step.act != StepAct::Received || step.seq == receipt.seq;
        let folded = match one {
            true => fold(view, steps, start),
            false => fold(view, &steps.iter().filter(own).copied().collect::<Vec<_>>(), start),
        };
        let opening = received.opening.as_ref();
        let clock = Clock::of(
            &folded,
            start.from,
            opening.map(|opening| opening.out_time_s.as_ms()),
            opening.map_or(0, |opening| opening.refreezes),
        );
        // Its clock stands where its own receipt's length was used up.
        let own_end = if one { used.end } else { self::used(view, roll, Some(received.length_mm)).end };
        let clock = match own_end {
            Some(end) => clock.ended(end.latest),
            None => clock,
        };
        let revision = view.revision(received.material, &received.revision);
        lives.push(Life {
            receipt: receipt.clone(),
            received: Arc::clone(received),
            revision: revision.cloned(),
            clock,
        });
        history.get_or_insert(folded);
    }
    let history = history.unwrap_or_else(|| {
        fold(view, steps, Start { from: Instant::MIN, before_first_fact: Before::Nothing, kit: false, storage })
    });
    RollLife {
        roll,
        lives,
        history: Arc::new(history),
        end: used.end,
        length_left_mm: used.left_mm,
        beyond: used.beyond,
        jobs: jobs(view, roll),
    }
}

fn start(view: View<'_>, receipt: &Fact, received: &Received, storage: Option<Storage>) -> Start {
    let from = received.counts_from(receipt.at);
    let before_first_fact = match received.from {
        Some(place) if view.place(place, from).is_some_and(|place| is_cold(place, storage)) => {
            Before::OnItsWay { place, since: from }
        }
        Some(_) | None => Before::Out { seq: receipt.seq, since: from },
    };
    // Without an opening nothing is known before the first fact, and no answer is given anyway.
    let before_first_fact = received.opening.as_ref().map_or(Before::Nothing, |_| before_first_fact);
    let from = received.opening.as_ref().map_or(Instant::MIN, |_| from);
    Start { from, before_first_fact, kit: false, storage }
}

/// So many things may stand one behind the other, each with a scan that a person said was the next one's. Beyond that, and
/// where they stand in a circle, each is read as it is without what is said to be its own.
const CHAIN: usize = 16;

/// What was found to be another thing's, by the thing it was scanned of; nothing yet of one that is being looked at.
type MovedOut = BTreeMap<Label, Vec<(u32, Label)>>;

/// Facts of another thing that a person said were this one's, while that mismatch arises.
pub fn moved_in(view: View<'_>, thing: Label) -> Vec<Step> {
    moved_into(view, thing, CHAIN, &mut MovedOut::from([(thing, Vec::new())]))
}

fn moved_into(view: View<'_>, thing: Label, chain: usize, known: &mut MovedOut) -> Vec<Step> {
    let named = view.facts(thing).filter_map(|fact| match fact.what {
        What::ActsOn(on) if on != 0 => Some(on),
        _ => None,
    });
    let thought_of = view.what_if.and_then(|what_if| what_if.settles.as_ref());
    let thought_of = thought_of.filter(|thought| thought.other == Some(thing)).map(|thought| thought.on);
    let mut moved: Vec<Step> = Vec::new();
    for on in named.chain(thought_of) {
        // Said twice to be this one's, it moves once.
        if moved.iter().all(|step| step.seq != on) {
            moved.extend(moved_step(view, thing, on, (chain, &mut *known)));
        }
    }
    moved
}

fn moved_step(view: View<'_>, thing: Label, on: u32, (chain, known): (usize, &mut MovedOut)) -> Option<Step> {
    let origin = view.book.entry(on)?.thing;
    if origin == thing {
        return None;
    }
    let fact = view.facts(origin).find(|fact| fact.seq == on)?;
    if !known.contains_key(&origin) {
        known.insert(origin, Vec::new());
        let mut own = steps(view, origin);
        if let Some(chain) = chain.checked_sub(1) {
            own.extend(moved_into(view, origin, chain, known));
            own.sort_by_key(|step| step.at);
        }
        let history = match view.book.kind(origin) {
            Kind::Roll => roll_life_of(view, origin, &own).history,
            _ => Arc::new(kit_history(view, origin, &own)),
        };
        known.insert(origin, history.moved_out.clone());
    }
    known.get(&origin)?.contains(&(on, thing)).then(|| step(view, thing, fact)).flatten()
}

struct Used {
    end: Option<End>,
    left_mm: Option<i64>,
    beyond: Vec<u32>,
}

/// How much of a roll is cut, laid or thrown away, and when nothing was left.
fn used(view: View<'_>, roll: Label, length_mm: Option<u64>) -> Used {
    let mut left = length_mm.map(|length| i64::try_from(length).unwrap_or(i64::MAX));
    let (mut end, mut beyond) = (None, Vec::new());
    for fact in view.facts(roll) {
        let (took, whole) = match &fact.what {
            What::Cut(cut) => {
                let items = cut.kits.iter().flat_map(|kit| &kit.items).chain(&cut.waste);
                (items.filter(|(of, _)| *of == roll).map(|(_, mm)| *mm).sum(), false)
            }
            What::Laid(laid) if laid.from == roll => (laid.length_mm.unwrap_or(0), false),
            What::Disposed { length_mm } => (length_mm.unwrap_or(0), length_mm.is_none()),
            _ => continue,
        };
        let before = left;
        left = left.map(|left| left.saturating_sub(i64::try_from(took).unwrap_or(i64::MAX)));
        if left.is_some_and(|left| left < 0) && 0 < took {
            beyond.push(fact.seq);
        }
        let used_up = before.is_some_and(|before| 0 < before) && left.is_some_and(|left| left <= 0);
        let disposed = matches!(fact.what, What::Disposed { .. });
        if end.is_none() && (whole || used_up) {
            end = Some(End {
                at: fact.at,
                latest: if disposed && view.waits(fact) { Instant::MAX } else { fact.latest() },
                seq: fact.seq,
                disposed,
            });
        }
    }
    Used { end, left_mm: left, beyond }
}

impl RollLife {
    pub fn received_by(&self, at: Instant) -> bool {
        self.lives.iter().any(|life| life.receipt.at <= at)
    }

    pub fn found(&self) -> &[Found] {
        &self.history.found
    }

    pub fn ended(&self, at: Instant) -> Option<End> {
        self.end.filter(|end| end.at <= at)
    }
}

impl Life {
    /// How long out makes a refreeze, where the material says.
    pub fn refreeze_after_ms(&self) -> Option<i64> {
        match &self.revision.as_ref()?.refreezes {
            Some(Refreezes::Limit(limit)) => limit.after_s.map(|after| after.as_ms()),
            Some(Refreezes::None(_)) | None => None,
        }
    }

    /// The last day of its shelf life, or what is missing to say it.
    pub fn last_day(&self, view: View<'_>) -> Result<Option<NaiveDate>, Missing> {
        let revision = self.revision.as_ref().ok_or(Missing::Revision)?;
        let dates: Vec<_> = view.registrations(self.received.batch).collect();
        let certificate = dates.iter().filter_map(|batch| batch.certificate_ends?.last()).min();
        match &revision.shelf_life {
            None => Err(Missing::Stated("shelf life")),
            Some(ShelfLife::None(_)) => Ok(certificate),
            Some(ShelfLife::Limit(_)) if dates.is_empty() => Err(Missing::Batch),
            Some(ShelfLife::Limit(limit)) => {
                let own = dates.iter().filter_map(|batch| after_months(batch.made_on.first()?, limit.months)).min();
                Ok(own.into_iter().chain(certificate).min())
            }
        }
    }
}

/// What is missing where an answer can't be given.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Missing {
    Receipt,
    /// When it was cut into the kit it was laid from.
    Cut,
    Opening,
    Revision,
    Batch,
    /// A limit that the material's revision does not state.
    Stated(&'static str),
    Yard,
}

/// Whole months on, the day clamped to the month's end.
pub fn after_months(day: NaiveDate, months: u16) -> Option<NaiveDate> {
    day.checked_add_months(Months::new(u32::from(months)))
}

/// The last millisecond of a day in the yard's zone.
pub fn end_of_day(day: NaiveDate, zone: Tz) -> Instant {
    let next = day.checked_add_days(Days::new(1)).unwrap_or(day);
    start_of_day(next, zone).minus_ms(1)
}

/// The first instant of a day: midnight, or the first moment there is where the clock was put forward over it, were it
/// by the whole day.
pub fn start_of_day(day: NaiveDate, zone: Tz) -> Instant {
    let quarters = (0..24_u32).flat_map(|hour| [0, 15, 30, 45].map(|minute| (hour, minute)));
    let days = [Some(day), day.succ_opt()].into_iter().flatten();
    let first = days
        .flat_map(|day| quarters.clone().filter_map(move |(hour, minute)| day.and_hms_opt(hour, minute, 0)))
        .find_map(|time| time.and_local_timezone(zone).earliest());
    first.map_or(Instant::MAX, |time| Instant(time.timestamp_millis()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// FED-STD-793 paragraphs 3.3 and 3.4: made 2005-05, 24 months; the initial end is derived in the text.
    #[test]
    fn the_depot_example_ends_in_may_2007() {
        let made = shared_types::Day::parse("2005-05").unwrap().first().unwrap();
        assert_eq!(after_months(made, 24).unwrap().format("%Y-%m").to_string(), "2007-05");
    }

    /// Samoa left out 30 December 2011 (the time zone database): the day before ends where the 31st begins.
    #[test]
    fn a_day_that_a_zone_left_out_begins_and_ends_at_once() {
        let zone = Tz::Pacific__Apia;
        let begins = start_of_day(day("2011-12-31"), zone);
        assert_eq!(start_of_day(day("2011-12-30"), zone), begins);
        assert_eq!(end_of_day(day("2011-12-29"), zone), begins.minus_ms(1));
        assert_eq!(end_of_day(day("2011-12-30"), zone), begins.minus_ms(1));
    }

    /// Common practice, no source: the day is clamped to the month's end.
    #[test]
    fn months_are_counted_to_the_same_day_or_the_months_end() {
        let table = [
            ("2025-08-31", 6, "2026-02-28"),
            ("2027-08-31", 6, "2028-02-29"),
            ("2026-01-31", 1, "2026-02-28"),
            ("2026-01-30", 13, "2027-02-28"),
            ("2024-02-29", 12, "2025-02-28"),
            ("2024-02-29", 48, "2028-02-29"),
            ("2026-05-15", 12, "2027-05-15"),
            ("2026-12-31", 2, "2027-02-28"),
            ("2026-03-31", 0, "2026-03-31"),
        ];
        for (made, months, ends) in table {
            assert_eq!(after_months(day(made), months).unwrap(), day(ends), "{made} + {months}");
        }
    }

    /// Common practice, no source: a day ends with its last millisecond in the yard's zone, also on the nights on
    /// which the clocks change, and where midnight itself is skipped.
    #[test]
    fn a_day_ends_where_the_yard_is() {
        let table = [
            ("2026-08-12", "Europe/Lisbon", "2026-08-12T23:59:59.999+01:00"),
            ("2026-03-29", "Europe/Lisbon", "2026-03-29T23:59:59.999+01:00"),
            ("2026-10-25", "Europe/Lisbon", "2026-10-25T23:59:59.999+00:00"),
            ("2026-03-28", "Europe/Oslo", "2026-03-28T23:59:59.999+01:00"),
            ("2026-02-28", "Pacific/Auckland", "2026-02-28T23:59:59.999+13:00"),
            // Midnight was skipped on 6 September 2026 in this zone: the day before ends where the gap begins.
            ("2026-09-05", "America/Santiago", "2026-09-05T23:59:59.999-04:00"),
        ];
        for (last, zone, ends) in table {
            let zone: Tz = zone.parse().unwrap();
            assert_eq!(end_of_day(day(last), zone), shared_types::Stamp::parse(ends).unwrap().at, "{last} {zone}");
        }
    }
}
