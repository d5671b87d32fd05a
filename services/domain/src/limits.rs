//! Limits applied: allowed, so far, left, ends at. Inclusive: so far equal to the limit is still within.

use crate::fact::Label;
use crate::history::{Until, last_take_out};
use crate::kit::KitLife;
use crate::roll::{Life, Missing, RollLife, end_of_day};
use crate::stage::{Oven, StageItem, StageLife};
use crate::view::View;
use crate::worst::worst;
use chrono::NaiveDate;
use chrono_tz::Tz;
use shared_types::{Instant, LayToCure, LayToCureFrom, LimitName, Refreezes, ShelfLife, StatedSeconds, TestedAt};

/// One limit of one roll's material.
#[derive(Clone, PartialEq, Debug)]
pub struct Limit {
    pub name: LimitName,
    pub item: Label,
    pub state: LimitState,
}

#[derive(Clone, PartialEq, Debug)]
pub enum LimitState {
    /// A clock in milliseconds.
    Clock {
        allowed: i64,
        so_far: i64,
        runs: bool,
        passed: Option<Instant>,
        oven: OvenMark,
    },
    /// Elapsed time that has not begun: nothing of it is laid.
    NotLaid {
        allowed: i64,
        from: LayToCureFrom,
    },
    /// A date; `read_at` is the instant it is read at, the act that tested it where that is past.
    Date {
        last_day: NaiveDate,
        end: Instant,
        read_at: Instant,
        by: TestedAt,
        tested: bool,
    },
    Count {
        allowed: i64,
        so_far: i64,
    },
    NoneBy(String),
    Missing(Missing),
}

/// What an oven start that is not confirmed means for a clock.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct OvenMark {
    pub not_confirmed: bool,
    pub left_if_never: Option<i64>,
    /// Of another item than ends first while the start counts.
    pub item_if_never: Option<Label>,
}

/// The limits of one thing: for each the worst of what it holds, and everything that is missing.
#[derive(Clone, Default, Debug)]
pub struct Limits {
    pub rows: Vec<Limit>,
    /// The limits of each roll's material, by each of its receipts.
    pub sets: Vec<Vec<Limit>>,
    pub missing: Vec<(LimitName, Label, Missing)>,
}

pub const ORDER: [LimitName; 5] =
    [LimitName::TackLife, LimitName::OutLife, LimitName::LayToCure, LimitName::ShelfLife, LimitName::Refreezes];

/// Default for "out long enough to warm": a roll in its bag, and kits.
pub const ROLL_WARMS_MS: i64 = 1_800_000;

/// What is read: the view, the instant, the yard's zone.
#[derive(Clone, Copy)]
pub struct At<'b> {
    pub view: View<'b>,
    pub at: Instant,
    pub zone: Option<Tz>,
}

impl<'b> At<'b> {
    pub fn new(view: View<'b>, at: Instant) -> At<'b> {
        let zone = view.yard(at).and_then(|yard| yard.zone.parse().ok());
        At { view, at, zone }
    }
}

pub fn roll_limits(read: At<'_>, roll: &RollLife) -> Limits {
    let took_out = last_take_out(read.view, [(&*roll.history, Until::At(read.at))]);
    let out = roll.history.runs(read.at);
    let mut all = Vec::new();
    for life in &roll.lives {
        all.push(material_limits(read, roll.roll, life, &Tested { take_out: took_out, out, ..Tested::default() }));
    }
    worst(read, all)
}

pub fn kit_limits(read: At<'_>, kit: &KitLife) -> Limits {
    let mut all = Vec::new();
    for item in kit.held_at(read.at) {
        // A kit that was never put away is out since its roll's take-out.
        let of_roll = kit.rolls.get(&item.roll).map(|roll| (&*roll.history, item.until_cut()));
        let take_out = last_take_out(read.view, of_roll.into_iter().chain([(&*kit.history, Until::At(read.at))]));
        let tested = Tested { take_out, out: kit.history.runs(read.at), ..Tested::default() };
        for life in kit.rolls.get(&item.roll).into_iter().flat_map(|roll| &roll.lives) {
            let clock = life.clock.clone().then(item.cut_at, &kit.history);
            let clock = match kit.end {
                Some(end) => clock.ended(end.latest),
                None => clock,
            };
            all.push(material_limits(read, item.roll, &Life { clock, ..life.clone() }, &tested));
        }
        if kit.rolls.get(&item.roll).is_none_or(|roll| roll.lives.is_empty()) {
            all.push(unreceived(item.roll));
        }
    }
    worst(read, all)
}

pub fn stage_limits(read: At<'_>, stage: &StageLife) -> Limits {
    let mut all = Vec::new();
    for item in stage.lying(read.at) {
        if item.cut_unknown {
            all.push(all_missing(item.roll, Missing::Cut));
            continue;
        }
        let oven = stage.oven_of(item, read.at);
        for life in &item.lives {
            let first_ply = first_of_material(stage, life, read.at).unwrap_or(item.first_ply);
            let tested = Tested {
                out: true,
                take_out: item.took_out,
                laid: Some((item.last_ply, first_ply, stage.completed_by(read.at))),
                started: oven.run().map(|run| (run.start, matches!(oven, Oven::Provisional(_)) || run.told)),
            };
            all.push(material_limits(read, item.roll, life, &tested));
        }
        if item.lives.is_empty() {
            all.push(unreceived(item.roll));
        }
    }
    worst(read, all)
}

/// The limits at one lay-up, of what it laid, as they stood at its last ply.
pub fn limits_when_laid(read: At<'_>, stage: &StageLife, seq: u32) -> Limits {
    let mut sets = Vec::new();
    for item in stage.items.iter().filter(|item| item.seq == seq) {
        if item.cut_unknown {
            sets.push(all_missing(item.roll, Missing::Cut));
            continue;
        }
        sets.extend(item.lives.iter().map(|life| {
            let first_ply = first_of_material(stage, life, item.last_ply).unwrap_or(item.first_ply);
            let tested =
                Tested { laid: Some((item.last_ply, first_ply, stage.completed_by(read.at))), ..Tested::default() };
            material_limits(At { at: item.last_ply, ..read }, item.roll, life, &tested)
        }));
        sets.extend(item.lives.is_empty().then(|| unreceived(item.roll)));
    }
    worst(read, sets)
}

/// The first ply of this material in the stage, whichever revision or roll; of what nobody knows it may be.
pub fn first_of_material(stage: &StageLife, life: &Life, at: Instant) -> Option<Instant> {
    let same = |item: &&StageItem| {
        let unknown = item.cut_unknown || item.lives.is_empty();
        unknown || item.lives.iter().any(|other| other.received.material == life.received.material)
    };
    stage.lying(at).filter(same).map(|item| item.first_ply).min()
}

/// Which tests lie behind: at the take-out, at the lay-up, at the oven start.
#[derive(Clone, Copy, Default)]
struct Tested {
    take_out: Option<Instant>,
    /// It is still out by that take-out; from the cold it would have to be taken out again.
    out: bool,
    /// The last ply, the first ply of the material, and lay-up complete.
    laid: Option<(Instant, Instant, Option<Instant>)>,
    /// The oven's start, and whether it is still to be confirmed.
    started: Option<(Instant, bool)>,
}

fn material_limits(read: At<'_>, item: Label, life: &Life, tested: &Tested) -> Vec<Limit> {
    let limit = |name, state| Limit { name, item, state };
    let Some(revision) = &life.revision else {
        return ORDER.into_iter().map(|name| limit(name, LimitState::Missing(Missing::Revision))).collect();
    };
    let seconds = |stated: &Option<StatedSeconds>, name: &'static str, stops: Option<(Instant, bool)>| match stated {
        None => LimitState::Missing(Missing::Stated(name)),
        Some(StatedSeconds::None(none)) => LimitState::NoneBy(none.none_by.clone()),
        Some(StatedSeconds::Limit(allowed)) => clock_state(read.at, life, allowed.as_ms(), stops),
    };
    let tack_stops = tested.laid.map(|(last_ply, _, _)| (last_ply, false));
    vec![
        limit(LimitName::TackLife, seconds(&revision.tack_life_s, "tack life", tack_stops)),
        limit(LimitName::OutLife, seconds(&revision.out_life_s, "out-life", tested.started)),
        limit(LimitName::LayToCure, lay_to_cure(read.at, revision.lay_to_cure.as_ref(), tested)),
        limit(LimitName::ShelfLife, shelf_life(read, life, tested)),
        limit(LimitName::Refreezes, refreezes(read.at, life, revision.refreezes.as_ref())),
    ]
}

/// A clock of out-time that stands from `stops` on.
fn clock_state(at: Instant, life: &Life, allowed: i64, stops: Option<(Instant, bool)>) -> LimitState {
    let until = stops.map_or(at, |(stop, _)| stop.min(at));
    let Some(so_far) = life.clock.so_far_ms(until) else { return LimitState::Missing(Missing::Opening) };
    let passed = if allowed < so_far { life.clock.reached(allowed, until) } else { None };
    let if_never = || life.clock.so_far_ms(at).map(|so_far| allowed - so_far);
    LimitState::Clock {
        allowed,
        so_far,
        runs: life.clock.runs(at) && stops.is_none_or(|(stop, _)| at < stop),
        passed,
        oven: oven_mark(stops, if_never),
    }
}

fn oven_mark(stops: Option<(Instant, bool)>, left_if_never: impl FnOnce() -> Option<i64>) -> OvenMark {
    match stops {
        Some((_, true)) => OvenMark { not_confirmed: true, left_if_never: left_if_never(), item_if_never: None },
        Some((_, false)) | None => OvenMark::default(),
    }
}

fn lay_to_cure(at: Instant, stated: Option<&LayToCure>, tested: &Tested) -> LimitState {
    let limit = match stated {
        None => return LimitState::Missing(Missing::Stated("lay-to-cure limit")),
        Some(LayToCure::None(none)) => return LimitState::NoneBy(none.none_by.clone()),
        Some(LayToCure::Limit(limit)) => limit,
    };
    let allowed = limit.limit_s.as_ms();
    let Some((_, first_ply, completed)) = tested.laid else { return LimitState::NotLaid { allowed, from: limit.from } };
    // Lay-up complete, where the sheet says so and it was recorded.
    let from = match limit.from {
        LayToCureFrom::FirstPly => first_ply,
        LayToCureFrom::Complete => completed.unwrap_or(first_ply),
    };
    let until = tested.started.map_or(at, |(start, _)| start.min(at));
    let so_far = until.since(from).max(0);
    LimitState::Clock {
        allowed,
        so_far,
        runs: tested.started.is_none_or(|(start, _)| at < start),
        passed: (allowed < so_far).then(|| from.plus_ms(allowed)),
        oven: oven_mark(tested.started, || Some(allowed - at.since(from).max(0))),
    }
}

fn shelf_life(read: At<'_>, life: &Life, tested: &Tested) -> LimitState {
    let last_day = match life.last_day(read.view) {
        Ok(Some(day)) => day,
        Ok(None) => {
            let none_by = life.revision.as_ref().and_then(|revision| match &revision.shelf_life {
                Some(ShelfLife::None(none)) => Some(none.none_by.clone()),
                Some(ShelfLife::Limit(_)) | None => None,
            });
            return none_by.map_or(LimitState::Missing(Missing::Batch), LimitState::NoneBy);
        }
        Err(missing) => return LimitState::Missing(missing),
    };
    let Some(zone) = read.zone else { return LimitState::Missing(Missing::Yard) };
    let by = tested_at(life);
    let act = match by {
        TestedAt::TakeOut => tested.take_out,
        TestedAt::Lay => tested.laid.map(|(last_ply, _, _)| last_ply),
        TestedAt::Oven => tested.started.map(|(start, _)| start),
    };
    let started = tested.started.map_or(read.at, |(start, _)| start.min(read.at));
    let stands = life.clock.until(started);
    let tested = act.is_some()
        && match by {
            TestedAt::TakeOut => tested.out || tested.laid.is_some(),
            TestedAt::Lay => true,
            // A start that is not confirmed may never have been.
            TestedAt::Oven => tested.started.is_some_and(|(_, not_confirmed)| !not_confirmed),
        };
    LimitState::Date { last_day, end: end_of_day(last_day, zone), read_at: act.unwrap_or(stands), by, tested }
}

pub fn tested_at(life: &Life) -> TestedAt {
    match life.revision.as_ref().map(|revision| &revision.shelf_life) {
        Some(Some(ShelfLife::Limit(limit))) => limit.tested_at,
        Some(Some(ShelfLife::None(_)) | None) | None => TestedAt::Oven,
    }
}

fn refreezes(at: Instant, life: &Life, stated: Option<&Refreezes>) -> LimitState {
    let limit = match stated {
        None => return LimitState::Missing(Missing::Stated("refreezes")),
        Some(Refreezes::None(none)) => return LimitState::NoneBy(none.none_by.clone()),
        Some(Refreezes::Limit(limit)) => limit,
    };
    if life.clock.opening_ms.is_none() {
        return LimitState::Missing(Missing::Opening);
    }
    let stated_ms = limit.after_s.map(|after| after.as_ms());
    let after_ms = |one: &crate::history::Return| stated_ms.unwrap_or(if one.of_kit { 0 } else { ROLL_WARMS_MS });
    LimitState::Count { allowed: i64::from(limit.allowed), so_far: life.clock.refreezes(at, after_ms) }
}

/// Plies of a roll that nobody received: nothing is known of them.
fn unreceived(item: Label) -> Vec<Limit> {
    all_missing(item, Missing::Receipt)
}

fn all_missing(item: Label, missing: Missing) -> Vec<Limit> {
    ORDER.into_iter().map(|name| Limit { name, item, state: LimitState::Missing(missing) }).collect()
}

impl Limits {
    pub fn get(&self, name: LimitName) -> Option<&LimitState> {
        self.rows.iter().find(|limit| limit.name == name).map(|limit| &limit.state)
    }
}

impl Limit {
    /// Whose it is, if an oven start that is not confirmed never was.
    pub fn item_at_worst(&self) -> Label {
        match self.state {
            LimitState::Clock { oven, .. } => oven.item_if_never.unwrap_or(self.item),
            _ => self.item,
        }
    }
}

impl LimitState {
    /// When a clock that runs reaches its limit, or when what is passed was.
    pub fn ends_at(&self, at: Instant) -> Option<Instant> {
        match self {
            LimitState::Clock { allowed, so_far, runs, passed, .. } => {
                passed.or_else(|| runs.then(|| at.plus_ms(allowed.saturating_sub(*so_far))))
            }
            LimitState::Date { end, read_at, .. } => (end < read_at).then_some(*end),
            LimitState::NotLaid { .. } | LimitState::Count { .. } | LimitState::NoneBy(_) | LimitState::Missing(_) => {
                None
            }
        }
    }

    /// Milliseconds or counts left, where there is a number.
    pub fn left(&self) -> Option<i64> {
        match self {
            LimitState::Clock { allowed, so_far, .. } | LimitState::Count { allowed, so_far } => {
                Some(allowed.saturating_sub(*so_far))
            }
            LimitState::NotLaid { allowed, .. } => Some(*allowed),
            LimitState::Date { end, read_at, .. } => Some(end.since(*read_at)),
            LimitState::NoneBy(_) | LimitState::Missing(_) => None,
        }
    }

    /// The same, if an oven start that is not confirmed never was.
    pub fn left_at_worst(&self) -> Option<i64> {
        match self {
            LimitState::Clock { oven, .. } => self.left().into_iter().chain(oven.left_if_never).min(),
            _ => self.left(),
        }
    }

    pub fn is_over(&self) -> bool {
        self.left().is_some_and(|left| left < 0)
    }
}
