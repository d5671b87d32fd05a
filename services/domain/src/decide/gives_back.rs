//! Does a decision give back? Computed: now, or at any recorded act of a thing or of what descends from it, some
//! limit has more left, a hold is gone, or an answer moves towards yes.

use crate::fact::{Label, What};
use crate::may_use::weigh;
use crate::question::{MayUseQuestion, When};
use crate::say::left;
use crate::stage::stages_of;
use crate::trace::descendants;
use crate::view::{View, WhatIf};
use shared_types::{Act, Instant, Kind, LimitName, StageName, Word};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What it gives back, in words; empty when it only takes.
pub fn gives_back(view: View<'_>, what_if: &WhatIf, labels: &[Label], now: Instant) -> Vec<String> {
    let after = View { what_if: Some(what_if), ..view };
    let mut things: BTreeSet<Label> = labels.iter().copied().collect();
    for label in labels {
        things.extend(descendants(view, *label));
        things.extend(descendants(after, *label));
    }
    let mut gives = Vec::new();
    for thing in things {
        let mut times = BTreeSet::from([now]);
        times.extend(acts(view, thing).chain(acts(after, thing)));
        for stage in asked(view, after, thing) {
            gives.extend(times.iter().find_map(|at| more(view, after, thing, stage.as_ref(), *at)));
        }
    }
    gives.sort();
    gives.dedup();
    gives
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

struct State {
    word: Word,
    left: BTreeMap<LimitName, i64>,
    holds: BTreeSet<Uuid>,
}

fn state(view: View<'_>, thing: Label, stage: Option<&StageName>, at: Instant) -> Option<State> {
    let act = if stage.is_some() { Act::Oven } else { Act::Lay };
    let when = When { at, known: u64::MAX, now: at };
    let question = MayUseQuestion { thing: view.book.name(thing).clone(), act, job: None, stage: stage.cloned(), when };
    let weighed = weigh(view, thing, &question).ok()?;
    let rows = weighed.subject.limits.rows.iter();
    Some(State {
        word: weighed.against.iter().map(|one| one.word).max().unwrap_or(Word::Yes),
        left: rows.filter_map(|limit| Some((limit.name, limit.state.left()?))).collect(),
        holds: weighed.subject.holds.iter().map(|hold| hold.hold).collect(),
    })
}

fn more(before: View<'_>, after: View<'_>, thing: Label, stage: Option<&StageName>, at: Instant) -> Option<String> {
    let old = state(before, thing, stage, at)?;
    let new = state(after, thing, stage, at)?;
    let name = before.book.name(thing).short();
    for (limit, had) in &old.left {
        let gets = new.left.get(limit).copied().unwrap_or(i64::MIN).saturating_sub(*had);
        // A limit that no longer applies because nothing is there any more gives nothing back by itself.
        if 0 < gets && new.left.contains_key(limit) {
            return Some(match limit {
                LimitName::Refreezes => format!("{name} gets back {gets} of its returns to the cold"),
                _ => format!("{name} gets back {} of {}", left(gets), crate::say::limit(*limit)),
            });
        }
    }
    if !old.holds.is_subset(&new.holds) {
        return Some(format!("A hold on {name} would be gone"));
    }
    (new.word < old.word).then(|| format!("{name} could be used again"))
}
