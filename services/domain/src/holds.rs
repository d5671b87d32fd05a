//! Holds in force on a thing or on anything above it: what it was made from, their batches and materials, and the
//! places, runs and devices that a hold may name.

use crate::fact::{Fact, Label, What};
use crate::kit::{KitItem, kit_items};
use crate::say::Say;
use crate::stage::StageLife;
use crate::view::View;
use shared_types::{HoldView, Instant};
use std::collections::BTreeSet;

/// Everything that a hold on would hold this thing too, by an instant.
pub fn above(view: View<'_>, thing: Label, at: Instant) -> BTreeSet<Label> {
    let mut above = BTreeSet::from([thing]);
    add_touched(view, thing, at, &mut above);
    for item in kit_items(view, thing).into_iter().filter(|item| item.cut_at <= at) {
        add_item(view, item, &mut above);
    }
    above
}

/// The same for a stage: only what was named when it was laid.
pub fn above_stage(view: View<'_>, stage: &StageLife, at: Instant) -> BTreeSet<Label> {
    let mut above = BTreeSet::from([stage.part]);
    above.extend(stage.runs.iter().filter(|run| run.scanned_at <= at).map(|run| run.run));
    for item in stage.lying(at) {
        match item.kit {
            Some(kit) => {
                above.insert(kit);
                add_touched(view, kit, item.laid_at, &mut above);
                let cuts = kit_items(view, kit).into_iter().filter(|one| one.roll == item.roll);
                cuts.for_each(|one| add_item(view, one, &mut above));
                add_roll(view, item.roll, item.laid_at, &mut above);
            }
            None => add_roll(view, item.roll, item.laid_at, &mut above),
        }
    }
    above
}

fn add_item(view: View<'_>, item: KitItem, above: &mut BTreeSet<Label>) {
    add_roll(view, item.roll, item.cut_at, above);
}

fn add_roll(view: View<'_>, roll: Label, until: Instant, above: &mut BTreeSet<Label>) {
    above.insert(roll);
    add_touched(view, roll, until, above);
}

fn add_touched(view: View<'_>, thing: Label, until: Instant, above: &mut BTreeSet<Label>) {
    for fact in view.facts(thing).filter(|fact| fact.at <= until) {
        above.extend(fact.device);
        match &fact.what {
            What::Received(received) => {
                above.extend([received.batch, received.material]);
                above.extend(received.from);
            }
            What::PutAway { into: place, .. } | What::Seen { place, .. } => {
                above.insert(*place);
            }
            What::TakenOut { from, to } => above.extend(from.iter().chain(to)),
            What::Cut(cut) => {
                above.insert(cut.nest);
            }
            _ => {}
        }
    }
    // A batch is known by its receipt, also when that came later.
    for fact in view.facts(thing) {
        if let What::Received(received) = &fact.what {
            above.extend([received.batch, received.material]);
        }
    }
}

/// The holds in force on a roll or kit and on all above it. In a yard that never held anything nothing is looked for.
pub(crate) fn on(view: View<'_>, thing: Label, at: Instant, say: &Say) -> Vec<HoldView> {
    match view.book.ever_held().is_empty() {
        true => Vec::new(),
        false => in_force(view, &above(view, thing, at), at, say),
    }
}

/// The same for a stage.
pub(crate) fn on_stage(view: View<'_>, stage: &StageLife, at: Instant, say: &Say) -> Vec<HoldView> {
    match view.book.ever_held().is_empty() {
        true => Vec::new(),
        false => in_force(view, &above_stage(view, stage, at), at, say),
    }
}

/// The holds in force at an instant. One known now, asked before its time, is not.
pub fn in_force(view: View<'_>, above: &BTreeSet<Label>, at: Instant, say: &Say) -> Vec<HoldView> {
    let held = view.book.ever_held().intersection(above);
    let holds = held.flat_map(|label| view.facts(*label).filter_map(|fact| hold(view, *label, fact, at, say)));
    let mut holds: Vec<HoldView> = holds.collect();
    holds.sort_by_key(|hold| (hold.since.at, hold.hold));
    holds
}

fn hold(view: View<'_>, on: Label, fact: &Fact, at: Instant, say: &Say) -> Option<HoldView> {
    let What::Held(hold) = &fact.what else { return None };
    let lifted = view.lifted_at(fact.seq).is_some_and(|lifted| lifted <= at);
    (fact.at <= at && !lifted).then(|| HoldView {
        hold: view.book.id_of(fact.seq),
        on: view.book.name(on).clone(),
        why: hold.why.clone(),
        nonconformance: hold.nonconformance.clone(),
        since: say.stamp(fact.at),
        by: view.book.code(fact.by),
    })
}

/// Holds that a rule makes: a run that broke off, or an answer *not cured*, until quality lifts them.
pub fn by_rule(view: View<'_>, stage: &StageLife, at: Instant, say: &Say) -> Vec<HoldView> {
    let mut holds = Vec::new();
    for run in stage.runs.iter().filter(|run| run.scanned_at <= at) {
        let broke = run.interrupted.map(|seq| (seq, "its oven run broke off"));
        let not_cured = run.not_cured.map(|seq| (seq, "its oven run was answered: not cured"));
        for (seq, why) in broke.into_iter().chain(not_cured) {
            let Some(meta) = view.book.entry(seq) else { continue };
            let lifted = view.lifted_at(seq).is_some_and(|lifted| lifted <= at);
            // Heat that was broken off before the cure was under way holds from the start on.
            let since =
                if run.interrupted == Some(seq) && run.committed.is_none() { run.scanned_at } else { meta.occurred_at };
            if since <= at && !lifted {
                holds.push(HoldView {
                    hold: meta.id,
                    on: view.book.name(stage.part).clone(),
                    why: format!("{} ({})", why, view.book.name(run.run)),
                    nonconformance: None,
                    since: say.stamp(since),
                    by: view.book.code(meta.by),
                });
            }
        }
    }
    holds
}
