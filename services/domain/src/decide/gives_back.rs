//! Does a decision give back? Computed: now, or at any recorded act of a thing or of what descends from it, some
//! limit has more left, a hold is gone, or an answer moves towards yes.

use crate::fact::{Label, What};
use crate::holds;
use crate::kit::{KitLife, kit_life};
use crate::limits::{At, Limits, kit_limits, roll_limits, stage_limits};
use crate::may_use::weigh;
use crate::question::{MayUseQuestion, When};
use crate::roll::{RollLife, roll_life};
use crate::say::{Say, left};
use crate::stage::{StageLife, stage_life, stages_of};
use crate::trace::descendants;
use crate::view::{View, WhatIf};
use shared_types::{Act, Instant, Kind, LimitName, StageName, Word};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

/// What it gives back, in words; empty when it only takes.
pub fn gives_back(view: View<'_>, what_if: &WhatIf, labels: &[Label], now: Instant) -> Vec<String> {
    let after = View { what_if: Some(what_if), ..view };
    let mut things: BTreeSet<Label> = labels.iter().copied().collect();
    for label in labels {
        things.extend(descendants(view, *label));
        things.extend(descendants(after, *label));
    }
    // A fact dated ahead shows only once its time has come.
    let changed = times_of_change(view, what_if);
    let mut gives = Vec::new();
    for thing in things {
        let mut times = BTreeSet::from([now]);
        times.extend(acts(view, thing).chain(acts(after, thing)));
        times.extend(changed.iter().copied().filter(|at| now < *at));
        for stage in asked(view, after, thing) {
            gives.extend(more(view, after, thing, stage.as_ref(), &times, now));
        }
    }
    gives.sort();
    gives.dedup();
    gives
}

fn times_of_change(view: View<'_>, what_if: &WhatIf) -> Vec<Instant> {
    let struck = what_if.strikes.and_then(|seq| {
        let thing = view.book.entry(seq)?.thing;
        view.book.all_facts(thing).iter().find(|fact| fact.seq == seq)
    });
    let changed = struck.into_iter().chain(what_if.instead.as_ref().map(|(fact, _)| fact));
    changed.flat_map(|fact| [1, 3_600_000].map(|ms| fact.latest().plus_ms(ms))).collect()
}

/// The times of a thing's recorded acts.
fn acts(view: View<'_>, thing: Label) -> impl Iterator<Item = Instant> {
    let acts = view.facts(thing).filter(|fact| {
        matches!(
            fact.what,
            What::Cut(_) | What::Laid(_) | What::TakenOut { .. } | What::RunStarted(_) | What::Issued { .. }
        )
    });
    acts.map(|fact| fact.latest())
}

fn asked(before: View<'_>, after: View<'_>, thing: Label) -> Vec<Option<StageName>> {
    match before.book.kind(thing) {
        Kind::Roll | Kind::Kit => vec![None],
        Kind::Part => {
            let stages: BTreeSet<StageName> =
                stages_of(before, thing).into_iter().chain(stages_of(after, thing)).collect();
            stages.into_iter().map(Some).collect()
        }
        _ => Vec::new(),
    }
}

/// A thing folded once, to be read at many times.
enum Folded {
    Roll(Arc<RollLife>),
    Kit(KitLife),
    Stage(Arc<StageLife>),
}

/// What a thing has at one time.
struct State {
    left: BTreeMap<LimitName, i64>,
    holds: BTreeSet<Uuid>,
    /// It is not there, used up, thrown away or in the oven.
    refused: bool,
}

impl<'b> Folded {
    fn of(view: View<'b>, thing: Label, stage: Option<&StageName>) -> Folded {
        match (view.book.kind(thing), stage) {
            (_, Some(stage)) => Folded::Stage(stage_life(view, thing, stage)),
            (Kind::Kit, None) => Folded::Kit(kit_life(view, thing)),
            (_, None) => Folded::Roll(roll_life(view, thing)),
        }
    }

    fn at(&self, view: View<'b>, at: Instant, say: &Say) -> State {
        let read = At::new(view, at);
        let (limits, refused): (Limits, bool) = match self {
            Folded::Roll(roll) => (roll_limits(read, roll), !roll.received_by(at) || roll.ended(at).is_some()),
            Folded::Kit(kit) => (kit_limits(read, kit), kit.held_at(at).next().is_none() || kit.ended(at).is_some()),
            Folded::Stage(stage) => {
                (stage_limits(read, stage), stage.lying(at).next().is_none() || stage.oven(at).run().is_some())
            }
        };
        let left = limits.rows.iter().filter_map(|limit| Some((limit.name, limit.state.left()?))).collect();
        State { left, holds: self.holds(view, at, say), refused }
    }

    fn holds(&self, view: View<'b>, at: Instant, say: &Say) -> BTreeSet<Uuid> {
        let by_rule = match self {
            Folded::Stage(stage) => holds::by_rule(view, stage, at, say),
            Folded::Roll(_) | Folded::Kit(_) => Vec::new(),
        };
        let placed = match (self, view.book.ever_held().is_empty()) {
            (_, true) => Vec::new(),
            (Folded::Roll(roll), _) => holds::in_force(view, &holds::above(view, roll.roll, at), at, say),
            (Folded::Kit(kit), _) => holds::in_force(view, &holds::above(view, kit.kit, at), at, say),
            (Folded::Stage(stage), _) => holds::in_force(view, &holds::above_stage(view, stage, at), at, say),
        };
        by_rule.into_iter().chain(placed).map(|hold| hold.hold).collect()
    }
}

fn more(
    before: View<'_>,
    after: View<'_>,
    thing: Label,
    stage: Option<&StageName>,
    times: &BTreeSet<Instant>,
    now: Instant,
) -> Option<String> {
    let say = Say::of(before, now);
    let (was, would_be) = (Folded::of(before, thing, stage), Folded::of(after, thing, stage));
    let name = before.book.name(thing).short();
    let seen = times.iter().find_map(|at| compare(name, &was.at(before, *at, &say), &would_be.at(after, *at, &say)));
    let towards_yes = || word(after, thing, stage, now) < word(before, thing, stage, now);
    seen.or_else(|| towards_yes().then(|| format!("{name} could be used again")))
}

fn compare(name: &str, old: &State, new: &State) -> Option<String> {
    for (limit, had) in &old.left {
        // A limit that no longer applies because nothing is there any more gives nothing back by itself.
        let gets = new.left.get(limit).map_or(0, |left| left.saturating_sub(*had));
        if 0 < gets {
            return Some(match limit {
                LimitName::Refreezes => format!("{name} gets back {gets} of its returns to the cold"),
                _ => format!("{name} gets back {} of {}", left(gets), crate::say::limit(*limit)),
            });
        }
    }
    if !old.holds.is_subset(&new.holds) {
        return Some(format!("A hold on {name} would be gone"));
    }
    (old.refused && !new.refused).then(|| format!("{name} could be used again"))
}

fn word(view: View<'_>, thing: Label, stage: Option<&StageName>, at: Instant) -> Word {
    let act = if stage.is_some() { Act::Oven } else { Act::Lay };
    let when = When { at, known: u64::MAX, now: at };
    let question = MayUseQuestion { thing: view.book.name(thing).clone(), act, job: None, stage: stage.cloned(), when };
    let against = weigh(view, thing, &question).map(|weighed| weighed.against).unwrap_or_default();
    against.iter().map(|one| one.word).max().unwrap_or(Word::Yes)
}
