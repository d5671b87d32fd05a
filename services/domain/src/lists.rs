//! Questions over the whole book: what runs out, what does not add up, what a label may mean.

use crate::book::Book;
use crate::fact::Label;
use crate::guard::guarded;
use crate::kit::kit_life;
use crate::limits::{At, Limit, LimitState, Limits, kit_limits, roll_limits, stage_limits};
use crate::question::When;
use crate::roll::roll_life;
use crate::say::{Say, floor_s, left, so_far};
use crate::stage::{Oven, stage_life, stages_of};
use crate::trace::boat_of;
use crate::view::View;
use crate::{RULES, mismatch};
use shared_types::{Code, Instant, Kind, LimitName, MismatchList, RunsOut, RunsOutLine, Scan, StageName};

pub fn scan(book: &Book, code: &Code) -> Scan {
    Scan { code: code.clone(), things: book.with_code(code), as_of_seq: book.last_seq() }
}

/// Every open mismatch of every thing, by entry.
pub fn mismatches(book: &Book, when: When) -> MismatchList {
    let view = View::new(book, when.known);
    let mut all: Vec<_> = book.labels().flat_map(|label| open_of(&mismatch::all_of_thing(view, label))).collect();
    all.sort_by(|one, other| (one.seq, &one.kind, &one.thing).cmp(&(other.seq, &other.kind, &other.thing)));
    MismatchList { mismatches: all, as_of_seq: u64::from(view.known) }
}

fn open_of(all: &[shared_types::Mismatch]) -> Vec<shared_types::Mismatch> {
    all.iter().filter(|one| one.settled_by.is_none()).cloned().collect()
}

/// What runs out within a horizon, soonest first, every limit of everything that can still be used.
pub fn runs_out(book: &Book, within_h: u32, when: When) -> RunsOut {
    let view = View::new(book, when.known);
    let read = At::new(view, when.at);
    let say = Say::of(view, when.at);
    let until = when.at.plus_ms(i64::from(within_h).saturating_mul(3_600_000));
    let mut lines = Vec::new();
    for label in book.labels() {
        // A thing whose fold fails is missing here and says so when it is asked for.
        for (stage, limits) in guarded(|| alive(read, label)).unwrap_or_default() {
            lines.extend(limits.rows.iter().filter_map(|limit| line(read, label, stage.as_ref(), limit, until, &say)));
        }
    }
    lines.sort_by(|one: &RunsOutLine, other| {
        (one.ends_at.at, &one.thing, one.limit).cmp(&(other.ends_at.at, &other.thing, other.limit))
    });
    RunsOut { within_h, lines, at: say.stamp(when.at), as_of_seq: u64::from(view.known), rules: RULES.to_owned() }
}

/// The limits of what is still to be used: rolls and kits not used up, stages laid and not in the oven.
pub(crate) fn alive(read: At<'_>, label: Label) -> Vec<(Option<StageName>, Limits)> {
    match read.view.book.kind(label) {
        Kind::Roll => {
            let roll = roll_life(read.view, label);
            let there = roll.received_by(read.at) && roll.ended(read.at).is_none();
            if there { vec![(None, roll_limits(read, &roll))] } else { Vec::new() }
        }
        Kind::Kit => {
            let kit = kit_life(read.view, label);
            let there = kit.held_at(read.at).next().is_some() && kit.ended(read.at).is_none();
            if there { vec![(None, kit_limits(read, &kit))] } else { Vec::new() }
        }
        Kind::Part if boat_of(read.view, label, read.at).is_none() => {
            let stages = stages_of(read.view, label).into_iter().map(|name| stage_life(read.view, label, &name));
            let open = stages.filter(|stage| {
                stage.lying(read.at).next().is_some() && !matches!(stage.oven(read.at), Oven::Started(_))
            });
            open.map(|stage| (Some(stage.stage.clone()), stage_limits(read, &stage))).collect()
        }
        _ => Vec::new(),
    }
}

/// When a limit ends if things stay where they are.
pub(crate) struct Ends {
    pub at: Instant,
    pub left_ms: i64,
    pub runs: bool,
}

/// `laid`: of a stage. None: nothing brings its end nearer.
pub(crate) fn ends(read: At<'_>, laid: bool, limit: &Limit) -> Option<Ends> {
    match &limit.state {
        // The tack of what is laid was tested when it was laid.
        LimitState::Clock { .. } if laid && limit.name == LimitName::TackLife => None,
        LimitState::Clock { allowed, so_far, runs, passed, oven } => {
            let never = oven.left_if_never.filter(|_| oven.not_confirmed);
            let left_ms = never.unwrap_or(allowed.saturating_sub(*so_far));
            let runs = *runs || never.is_some();
            Some(Ends { at: passed.or_else(|| runs.then(|| read.at.plus_ms(left_ms)))?, left_ms, runs })
        }
        LimitState::Date { end, read_at, tested: false, .. } => {
            Some(Ends { at: *end, left_ms: end.since(*read_at), runs: false })
        }
        _ => None,
    }
}

fn line(
    read: At<'_>,
    label: Label,
    stage: Option<&StageName>,
    limit: &Limit,
    until: Instant,
    say: &Say,
) -> Option<RunsOutLine> {
    let Ends { at: ends, left_ms: ms, runs } = ends(read, stage.is_some(), limit)?;
    if until < ends {
        return None;
    }
    let thing = read.view.book.name(label).clone();
    let of = stage.map_or(String::new(), |stage| format!(" {stage}"));
    let what = crate::say::limit(limit.name);
    let text = match ms < 0 {
        true => format!(
            "{}{of} is {} over its {what}, since {}.",
            thing.short(),
            so_far(ms.saturating_neg()),
            say.time(ends, read.at)
        ),
        false => format!("{}{of}: {what} ends {}, in {}.", thing.short(), say.time(ends, read.at), left(ms)),
    };
    Some(RunsOutLine {
        thing,
        stage: stage.cloned(),
        limit: limit.name,
        item: read.view.book.name(limit.item_at_worst()).clone(),
        ends_at: say.stamp(ends),
        left_s: floor_s(ms),
        runs,
        say: text,
    })
}
