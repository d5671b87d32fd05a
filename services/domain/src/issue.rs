//! Giving a roll or kit to a job: refused unless it may be used for it, through its plan.

use crate::fact::Label;
use crate::limits::LimitState;
use crate::may_use::weigh;
use crate::question::{MayUseQuestion, When};
use crate::refusal::Refusal;
use crate::view::View;
use shared_types::{Act, Code, Instant, Kind, LimitName, ThingName, Word};

/// What is asked before a roll or kit is given to a job.
pub fn for_issue(thing: ThingName, job: &Code, when: When) -> MayUseQuestion {
    let act = if thing.kind() == Kind::Kit { Act::Lay } else { Act::TakeOut };
    MayUseQuestion { thing, act, job: Some(job.clone()), stage: None, when }
}

/// Whether a roll or kit may be given to a job: it must be usable for it, through its plan.
pub(crate) fn may_issue(view: View<'_>, label: Label, job: &Code, at: Instant) -> Result<(), Refusal> {
    let question = for_issue(view.book.name(label).clone(), job, When { at, known: u64::MAX, now: at });
    let weighed = weigh(view, label, &question).map_err(|error| Refusal::CannotBeUsed { say: error.to_string() })?;
    let Some(word) = weighed.against.iter().map(|one| one.word).max() else { return Ok(()) };
    let first = weighed.against.iter().find(|one| one.word == word);
    let say =
        weighed.against.iter().filter(|one| one.word == word).map(|one| one.say.as_str()).collect::<Vec<_>>().join(" ");
    let over = |name| weighed.subject.limits.get(name).is_some_and(LimitState::is_over);
    Err(
        match (
            weighed.subject.holds.is_empty(),
            weighed.subject.refusals.is_empty(),
            word,
            first.and_then(|one| one.limit),
        ) {
            (false, _, _, _) => Refusal::OnHold { say, holds: weighed.subject.holds },
            (_, false, _, _) => Refusal::CannotBeUsed { say },
            (_, _, Word::CannotSay, _) => Refusal::CannotSay { say },
            (_, _, _, Some(LimitName::ShelfLife)) if over(LimitName::ShelfLife) => Refusal::PastShelfLife { say },
            (_, _, _, Some(name)) if over(name) => Refusal::OutLifeUsedUp { say },
            (_, _, _, _) => Refusal::NotEnoughLifeForJob { say },
        },
    )
}
