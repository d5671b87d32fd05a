//! Warnings of limits that end, of everything that can still be used.

use super::{Asked, Found};
use crate::fact::{Label, What};
use crate::history::{History, Spot};
use crate::jobs::{OpenJob, material_of};
use crate::kit::kit_life;
use crate::limits::{Limit, LimitState};
use crate::lists::{Ends, alive, ends};
use crate::may_use::quality_first;
use crate::roll::roll_life;
use crate::stage::stage_life;
use crate::subject::one_return_too_many;
use crate::wording::{RETURN_ENDS_IT, told_put_away};
use shared_types::{Act, Instant, Kind, LimitName, StageName, WarningAbout, WarningAct, WarningWho};
use std::sync::Arc;

/// Under this a retest comes too late, and the roll has to be planned first. Common practice, no source: a retest
/// takes weeks.
const RETEST_MS: i64 = 14 * 86_400_000;

pub(super) fn of(asked: &Asked<'_>, label: Label) -> Vec<Found> {
    let mut found = Vec::new();
    for (stage, limits) in alive(asked.read, label) {
        let rows = limits.rows.iter();
        found.extend(rows.filter_map(|limit| warning(asked, label, stage.as_ref(), limit)));
    }
    found
}

fn warning(asked: &Asked<'_>, label: Label, stage: Option<&StageName>, limit: &Limit) -> Option<Found> {
    let end = ends(asked.read, stage.is_some(), limit)?;
    let jobs = asked.jobs_of(label, stage);
    let act_by = match limit.state {
        // A date's last day is worked to its end.
        LimitState::Date { .. } => asked.calendar.last_open(end.at),
        _ => asked.act_by(end.at),
    };
    let (who, act) = who(stage, limit, &end, !jobs.is_empty());
    let quality = match act {
        WarningAct::Heat => quality_first(asked.read, label, stage, Act::Oven),
        WarningAct::Lay => quality_first(asked.read, label, stage, Act::Lay),
        _ => None,
    };
    let (who, act) = match (&quality, act) {
        (None, _) => (who, act),
        (Some(_), WarningAct::Lay) => (WarningWho::Clerk, WarningAct::PutAway),
        (Some(_), _) => (WarningWho::Quality, WarningAct::Decide),
    };
    let away = away(asked, label, act, act_by);
    let (who, act) = match (act, away) {
        (WarningAct::PutAway, Away::Ends) if 0 <= end.left_ms => (WarningWho::Manager, WarningAct::PlanFirst),
        (WarningAct::PutAway, Away::Ends | Away::Ended) => (WarningWho::Quality, WarningAct::Decide),
        _ => (who, act),
    };
    let mut say = match quality.as_ref().zip(stage) {
        Some((why, stage)) => judged_first(asked, label, stage, limit, act_by, &end, why),
        None => sentence(asked, label, stage, act, limit, act_by, &end, &jobs, away),
    };
    if let (Some(why), None) = (&quality, stage) {
        say.push_str(&format!(" Quality has to say first whether it may be laid. {why}"));
    }
    if act == WarningAct::PutAway {
        say.extend(told_put_away(asked.read.view, label, asked.read.at, &asked.say).map(|told| format!(" {told}")));
    }
    Some(Found {
        about: WarningAbout::LimitEnds,
        thing: label,
        stage: stage.cloned(),
        limit: Some(limit.name),
        item: Some(limit.item_at_worst()),
        // The material is that whose limit it is.
        rolls: vec![limit.item_at_worst()],
        jobs: jobs.into_iter().map(|job| job.code.clone()).collect(),
        who,
        act,
        act_by,
        ends_at: end.at,
        left_ms: end.left_ms,
        runs: end.runs,
        say,
    })
}

/// What putting it away does to it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Away {
    Keeps,
    /// It is one return to the cold too many.
    Ends,
    /// There was one too many already.
    Ended,
}

/// By the last instant for it, or now where that has passed.
fn away(asked: &Asked<'_>, label: Label, act: WarningAct, act_by: Instant) -> Away {
    if !matches!(act, WarningAct::PutAway | WarningAct::Lay) {
        return Away::Keeps;
    }
    match one_return_too_many(asked.read, label, act_by.max(asked.read.at), &asked.say) {
        None => Away::Keeps,
        Some(0) => Away::Ends,
        Some(_) => Away::Ended,
    }
}

fn who(stage: Option<&StageName>, limit: &Limit, end: &Ends, has_job: bool) -> (WarningWho, WarningAct) {
    // What is over and runs on is in no run that anybody could confirm.
    let over = matches!(limit.state, LimitState::Clock { runs: true, .. }) && limit.state.is_over();
    let unconfirmed = matches!(&limit.state, LimitState::Clock { oven, .. } if oven.not_confirmed) && !over;
    match (stage, &limit.state) {
        (Some(_), _) if unconfirmed => (WarningWho::Oven, WarningAct::ConfirmHeat),
        (Some(_), _) if end.left_ms < 0 => (WarningWho::Quality, WarningAct::Decide),
        (Some(_), _) => (WarningWho::Oven, WarningAct::Heat),
        (None, LimitState::Clock { runs: true, .. }) if end.left_ms < 0 || !has_job => {
            (WarningWho::Clerk, WarningAct::PutAway)
        }
        (None, LimitState::Clock { runs: true, .. }) => (WarningWho::Laminator, WarningAct::Lay),
        (None, _) if end.left_ms < 0 => (WarningWho::Quality, WarningAct::Decide),
        (None, _) if RETEST_MS <= end.left_ms => (WarningWho::Quality, WarningAct::Retest),
        (None, _) => (WarningWho::Manager, WarningAct::PlanFirst),
    }
}

/// A laid stage that nobody may heat before quality has spoken.
fn judged_first(
    asked: &Asked<'_>,
    label: Label,
    stage: &StageName,
    limit: &Limit,
    act_by: Instant,
    end: &Ends,
    why: &str,
) -> String {
    let book = asked.read.view.book;
    let because = format!(" by {}", book.name(limit.item_at_worst()).short());
    let ends = asked.ends_words(limit.name, act_by, end, &because);
    let (thing, by) = (book.name(label).short(), asked.by(act_by));
    format!("Quality: say {by} whether {thing} {stage} may be cured. {why} {ends} It ages while you wait.")
}

#[allow(clippy::too_many_arguments, reason = "one sentence of all that a warning knows")]
fn sentence(
    asked: &Asked<'_>,
    label: Label,
    stage: Option<&StageName>,
    act: WarningAct,
    limit: &Limit,
    act_by: Instant,
    end: &Ends,
    jobs: &[&OpenJob<'_>],
    away: Away,
) -> String {
    let view = asked.read.view;
    let book = view.book;
    let of = stage.map_or(String::new(), |stage| format!(" {stage}"));
    let thing = format!("{}{of}", book.name(label).short());
    let by = asked.by(act_by);
    let because = match limit.item_at_worst() == label {
        true => String::new(),
        false => format!(" by {}", book.name(limit.item_at_worst()).short()),
    };
    let why = asked.ends_words(limit.name, act_by, end, &because);
    let job = jobs.iter().map(|job| job.code.as_str()).collect::<Vec<_>>().join(" and ");
    let call = &asked.say.call;
    match act {
        WarningAct::PutAway if end.left_ms < 0 => {
            format!("Clerk: put {thing} away{} now, then call {call}. {why}", home(asked, label))
        }
        WarningAct::PutAway => format!("Clerk: put {thing} away{} {by}. {why}", home(asked, label)),
        WarningAct::Lay => match away {
            Away::Keeps => format!("Laminator: lay {thing} for {job} {by}; else put it away. {why}"),
            Away::Ends => format!("Laminator: lay {thing} for {job} {by}. {why} {RETURN_ENDS_IT}"),
            Away::Ended => format!("Laminator: lay {thing} for {job} {by}. {why}"),
        },
        WarningAct::PlanFirst if away == Away::Ends => {
            format!("Manager: plan {thing} first, {by}. {why} {RETURN_ENDS_IT}")
        }
        WarningAct::Heat => format!("Oven: have {thing} heating {by}. {why}"),
        WarningAct::ConfirmHeat => {
            let run = stage.and_then(|stage| stage_life(view, label, stage).oven(asked.read.at).run());
            let run = run.map_or(String::new(), |run| format!(" {}", book.name(run.run).short()));
            let ends = asked.say.time(end.at, asked.read.at);
            let ended = if end.left_ms < 0 { "ended" } else { "ends" };
            format!(
                "Oven: look {by} whether run{run} with {thing} really started. If it did not, its {}{because} {ended} {ends}.",
                crate::say::limit(limit.name)
            )
        }
        WarningAct::Retest => {
            let batch = batch(asked, limit.item_at_worst());
            format!("Quality: have {batch} tested again {by}, or have {thing} planned first. {why}")
        }
        WarningAct::PlanFirst => {
            let first = if job.is_empty() { String::new() } else { format!(" for {job}") };
            format!("Manager: plan {thing} first{first}, {by}. {why} A retest takes longer.")
        }
        WarningAct::Decide if stage.is_some() => {
            let ages = if limit.name == LimitName::ShelfLife { "" } else { " It ages while you wait." };
            format!("Quality: say now what becomes of {thing}; call {call}. {why}{ages}")
        }
        WarningAct::Decide if away == Away::Ends => {
            format!("Quality: say what becomes of {thing}. {why} {RETURN_ENDS_IT}")
        }
        WarningAct::Decide | WarningAct::Replan => format!("Quality: say what becomes of {thing}. {why}"),
    }
}

fn batch(asked: &Asked<'_>, roll: Label) -> String {
    let book = asked.read.view.book;
    let received = asked.read.view.facts(roll).find_map(|fact| match &fact.what {
        What::Received(received) => Some(received.batch),
        _ => None,
    });
    let of = material_of(asked.read.view, roll).map_or(String::new(), |of| format!(" of {}", book.name(of).short()));
    received
        .map_or_else(|| book.name(roll).short().to_owned(), |batch| format!("batch {}{of}", book.name(batch).short()))
}

fn history(asked: &Asked<'_>, label: Label) -> Arc<History> {
    match asked.read.view.book.kind(label) {
        Kind::Roll => Arc::clone(&roll_life(asked.read.view, label).history),
        _ => kit_life(asked.read.view, label).history,
    }
}

/// ` in F1`: where it was kept last, or nothing where nobody knows.
fn home(asked: &Asked<'_>, label: Label) -> String {
    let history = history(asked, label);
    let past = history.spots.iter().rev().filter(|(since, _)| *since <= asked.read.at);
    let home = past.map(|(_, spot)| *spot).find_map(|spot| match spot {
        Spot::Inside(place) => Some(place),
        Spot::OnItsWay(_) | Spot::Out(_) => None,
    });
    home.map_or(String::new(), |home| format!(" in {}", asked.read.view.book.name(home).short()))
}
