//! Past acts judged: was everything within its life, as was known then and as is known now?

use crate::against::tests;
use crate::fact::{Fact, Label, What};
use crate::kit::KitLife;
use crate::limits::{At, Limits, kit_limits, limits_when_laid, roll_limits, stage_limits};
use crate::roll::{Missing, RollLife};
use crate::say::floor_s;
use crate::stage::{Oven, StageLife, stage_life, stages_of};
use crate::view::View;
use shared_types::{Act, Instant, Judgement, LifeLeft, LimitName, StageName, TestedAt, Word};
use std::sync::Arc;

/// One limit at one act: milliseconds or counts left.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct AtAct {
    pub name: LimitName,
    pub item: Label,
    pub left: i64,
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Judged {
    pub act: Act,
    pub limits: Vec<AtAct>,
    pub missing: Vec<(LimitName, Label, Missing)>,
}

/// What a roll's own fact does with it, if its life is tested by that.
pub fn act_of_roll(roll: Label, fact: &Fact) -> Option<Act> {
    match &fact.what {
        What::Cut(cut) => {
            let used = cut.kits.iter().flat_map(|kit| &kit.items).any(|(of, _)| *of == roll);
            used.then_some(Act::Cut)
        }
        What::TakenOut { .. } => Some(Act::TakeOut),
        _ => None,
    }
}

pub fn roll_act(view: View<'_>, roll: &RollLife, fact: &Fact, act: Act) -> Judged {
    let read = At::new(view, fact.latest());
    judge(act, &roll_limits(read, roll), false)
}

/// A kit's take-out, if the fact is one; its cut is judged for each roll, its lay-up in the stage.
pub fn kit_act(view: View<'_>, kit: &KitLife, fact: &Fact) -> Option<Judged> {
    matches!(fact.what, What::TakenOut { .. })
        .then(|| judge(Act::TakeOut, &kit_limits(At::new(view, fact.latest()), kit), false))
}

/// A lay-up or an oven start in one of a part's stages, judged.
#[derive(Clone, Debug)]
pub struct StageAct {
    pub stage: StageName,
    pub seq: u32,
    pub at: Instant,
    pub judged: Judged,
}

/// Every act in every stage of a part, kept until something of it changes.
pub fn stage_acts(view: View<'_>, part: Label) -> Arc<Vec<StageAct>> {
    view.kept(part, || {
        let mut all = Vec::new();
        for stage in stages_of(view, part) {
            let life = stage_life(view, part, &stage);
            all.extend(view.facts(part).filter_map(|fact| {
                let judged = stage_act(view, &life, fact)?;
                Some(StageAct { stage: stage.clone(), seq: fact.seq, at: fact.at, judged })
            }));
        }
        all
    })
}

/// A lay-up or an oven start in a stage, if the fact is one.
pub fn stage_act(view: View<'_>, stage: &StageLife, fact: &Fact) -> Option<Judged> {
    match &fact.what {
        What::Laid(laid) if laid.part == stage.part && laid.stage == stage.stage => {
            let read = At::new(view, fact.latest());
            Some(judge(Act::Lay, &limits_when_laid(read, stage, fact.seq), false))
        }
        What::RunStarted(started) => {
            let run = stage.runs.iter().find(|run| run.seq == fact.seq && run.run == started.run)?;
            // A start that is not confirmed is judged as the scan says; whether it lapsed is for the limits to show.
            let read = At::new(view, run.start);
            matches!(run.state(run.start), Oven::Started(_) | Oven::Provisional(_))
                .then(|| judge(Act::Oven, &stage_limits(read, stage), true))
        }
        _ => None,
    }
}

fn judge(act: Act, limits: &Limits, laid: bool) -> Judged {
    let tested = |name: LimitName, state: &crate::limits::LimitState| match state {
        crate::limits::LimitState::Date { by, .. } => {
            matches!(
                (act, by),
                (Act::TakeOut, TestedAt::TakeOut) | (Act::Lay, TestedAt::Lay) | (Act::Oven, TestedAt::Oven)
            )
        }
        _ => tests(act, name, laid),
    };
    let all = limits.sets.iter().flatten().filter(|limit| tested(limit.name, &limit.state));
    let left = all.filter_map(|limit| Some(AtAct { name: limit.name, item: limit.item, left: limit.state.left()? }));
    let missing = limits.missing.iter().filter(|(name, _, _)| tests(act, *name, laid) || *name == LimitName::ShelfLife);
    Judged { act, limits: left.collect(), missing: missing.copied().collect() }
}

impl Judged {
    pub fn over(&self) -> impl Iterator<Item = &AtAct> {
        self.limits.iter().filter(|limit| limit.left < 0)
    }

    /// As it is shown: what is over, or else the least left of each limit.
    pub fn shown(&self, view: View<'_>) -> Judgement {
        let answer = match (self.over().next().is_some(), self.missing.is_empty()) {
            (true, _) => Word::No,
            (false, false) => Word::CannotSay,
            (false, true) => Word::Yes,
        };
        let mut limits: Vec<LifeLeft> = self
            .limits
            .iter()
            .map(|limit| LifeLeft {
                limit: limit.name,
                item: view.book.name(limit.item).clone(),
                left: if limit.name == LimitName::Refreezes { limit.left } else { floor_s(limit.left) },
            })
            .collect();
        limits.sort_by(|one, other| (one.limit, one.left, &one.item).cmp(&(other.limit, other.left, &other.item)));
        limits.dedup_by_key(|limit| limit.limit);
        Judgement { answer, limits }
    }
}
