//! Warnings of plans that will not be kept: by the same rules as *may I use it for this job*, spare time included.

use super::{Asked, Found};
use crate::fact::Label;
use crate::jobs::{ForJob, OpenJob, for_job};
use crate::limits::{At, LimitState};
use crate::may_use::Weighed;
use shared_types::{Instant, Kind, LimitName, StageName, ThingName, WarningAbout, WarningAct, WarningWho, Word};

pub(super) fn of(asked: &Asked<'_>, job: &OpenJob<'_>) -> Vec<Found> {
    let at = asked.read.at;
    let (lay_at, oven_at) = (job.plan.job.lay_at.at, job.plan.job.oven_at.at);
    let to_lay = !job.to_lay.is_empty() || !job.kits.is_empty();
    if oven_at < at {
        return vec![passed(asked, job, "oven start", oven_at)];
    }
    if lay_at < at && to_lay {
        return vec![passed(asked, job, "lay-up", lay_at)];
    }
    let given = job.still_given(asked.read.view).chain(job.kits.iter().copied());
    let given = given.filter_map(|label| check(asked, job, label, None));
    let laid = job.lying.iter().filter_map(|stage| check(asked, job, job.plan.part, Some(stage)));
    given.chain(laid).collect()
}

/// A planned time that has passed undone is no plan.
fn passed(asked: &Asked<'_>, job: &OpenJob<'_>, what: &str, planned: Instant) -> Found {
    let (book, at) = (asked.read.view.book, asked.read.at);
    let stages: Vec<&str> = job.lying.iter().chain(&job.to_lay).map(StageName::as_str).collect();
    let say = format!(
        "Manager: plan {} again. Its {what} was planned {}, and {} ({}) is in no oven.",
        job.code,
        asked.say.time(planned, at),
        book.name(job.plan.part).short(),
        stages.join(", ")
    );
    let rolls = job.issued.iter().copied();
    Found {
        about: WarningAbout::PlanPassed,
        thing: book.label(&ThingName::new(Kind::Job, &job.code)).unwrap_or(job.plan.part),
        stage: None,
        limit: None,
        item: None,
        rolls: rolls.collect(),
        jobs: vec![job.code.clone()],
        who: WarningWho::Manager,
        act: WarningAct::Replan,
        act_by: asked.calendar.last_open(planned),
        ends_at: planned,
        left_ms: planned.since(at),
        runs: true,
        say,
    }
}

fn check(asked: &Asked<'_>, job: &OpenJob<'_>, label: Label, stage: Option<&StageName>) -> Option<Found> {
    let at = asked.read.at;
    let lay_at = job.plan.job.lay_at.at;
    let ForJob { weighed, stands } = for_job(asked.read, job, label, stage)?;
    let word = weighed.against.iter().map(|one| one.word).max()?;
    let first = weighed.against.iter().filter(|one| one.word == word).min_by_key(|one| (one.ends.is_none(), one.ends));
    let (limit, ends) = first.map_or((None, None), |one| (one.limit, one.ends));
    let about = match (stage, limit) {
        (None, None | Some(LimitName::TackLife)) => WarningAbout::MissesLayUp,
        _ => WarningAbout::MissesOven,
    };
    let planned = if about == WarningAbout::MissesOven { job.plan.job.oven_at.at } else { lay_at };
    let ends_at = ends.unwrap_or(planned);
    let saved_by = put_away_by(&weighed, job, at).filter(|_| !stands && stage.is_none());
    let (who, act, act_by) = match saved_by {
        Some(by) => (WarningWho::Clerk, WarningAct::PutAway, asked.calendar.last_open(by)),
        None if !weighed.subject.holds.is_empty() || word == Word::CannotSay => {
            (WarningWho::Quality, WarningAct::Decide, asked.calendar.last_open(ends_at.min(planned)))
        }
        None => (WarningWho::Manager, WarningAct::Replan, asked.calendar.last_open(ends_at.min(planned))),
    };
    Some(Found {
        about,
        thing: label,
        stage: stage.cloned(),
        limit,
        item: None,
        rolls: weighed.subject.rolls.iter().map(|roll| roll.roll).chain(laid_rolls(&weighed, at)).collect(),
        jobs: vec![job.code.clone()],
        who,
        act,
        act_by,
        ends_at,
        left_ms: ends_at.since(at),
        runs: !stands,
        say: sentence(asked, job, label, &weighed, word, (about, planned), (act, act_by), stands),
    })
}

fn laid_rolls(weighed: &Weighed<'_>, at: Instant) -> Vec<Label> {
    let stage = weighed.subject.stage.iter();
    stage.flat_map(|stage| stage.lying(at).map(|item| item.roll).collect::<Vec<_>>()).collect()
}

/// The last instant at which putting it away saves the plan: from its lay-up on it has to be out again, spare time
/// included. None: that does not save it.
fn put_away_by(weighed: &Weighed<'_>, job: &OpenJob<'_>, at: Instant) -> Option<Instant> {
    let saves = |one: &crate::against::Against| {
        one.word == Word::No
            && one.ends.is_some()
            && matches!(one.limit, Some(LimitName::TackLife | LimitName::OutLife))
    };
    if !weighed.against.iter().all(saves) {
        return None;
    }
    let mut by = Instant::MAX;
    for limit in weighed.subject.limits.sets.iter().flatten() {
        let oven_ms = job.plan.job.oven_at.at.since(job.plan.job.lay_at.at);
        let needs_ms = match limit.name {
            LimitName::TackLife => weighed.spare_ms,
            LimitName::OutLife => weighed.spare_ms.saturating_add(oven_ms),
            _ => 0,
        };
        match &limit.state {
            LimitState::Clock { allowed, so_far, .. } => {
                by = by.min(at.plus_ms(allowed.saturating_sub(*so_far)).minus_ms(needs_ms));
            }
            // One more return to the cold must be allowed.
            LimitState::Count { allowed, so_far } if allowed <= so_far => return None,
            _ => {}
        }
    }
    Some(by).filter(|by| at <= *by && *by <= job.plan.job.lay_at.at)
}

#[allow(clippy::too_many_arguments, reason = "one sentence of all that a warning knows")]
fn sentence(
    asked: &Asked<'_>,
    job: &OpenJob<'_>,
    label: Label,
    weighed: &Weighed<'_>,
    word: Word,
    (about, planned): (WarningAbout, Instant),
    (act, act_by): (WarningAct, Instant),
    stands: bool,
) -> String {
    let At { view, at, .. } = asked.read;
    let stage = weighed.subject.stage.as_ref().map_or(String::new(), |stage| format!(" {}", stage.stage));
    let thing = format!("{}{stage}", view.book.name(label).short());
    let job = &job.code;
    let what = if about == WarningAbout::MissesOven { "oven start" } else { "lay-up" };
    let mut reasons: Vec<&str> =
        weighed.against.iter().filter(|one| one.word == word).map(|one| one.say.as_str()).collect();
    reasons.dedup();
    let reasons = reasons.join(" ");
    let when = asked.say.time(planned, at);
    let by = asked.by(act_by);
    let then = if stands { "Taken out only for its lay-up: " } else { "" };
    match (act, word) {
        (WarningAct::PutAway, _) => format!(
            "Clerk: put {thing} away {by}, and take it out again for {job}. Left out it will not make the {what}, planned {when}. {reasons}"
        ),
        (WarningAct::Decide, Word::CannotSay) => {
            format!(
                "Quality: say {by} what is missing: whether {thing} makes the {what} of {job}, planned {when}, can't be said. {reasons}"
            )
        }
        (WarningAct::Decide, _) => {
            format!("Quality: decide {by}. {thing} will not make the {what} of {job}, planned {when}. {reasons}")
        }
        (_, _) => format!(
            "Manager: plan {job} again or give it another roll, {by}. {thing} will not make the {what}, planned {when}. {then}{reasons}"
        ),
    }
}
