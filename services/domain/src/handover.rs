//! What one shift tells the next: what is still out, what waits for an oven, what waits to be confirmed.

use crate::RULES;
use crate::book::Book;
use crate::calendar::Calendar;
use crate::fact::Label;
use crate::guard::guarded;
use crate::history::Spot;
use crate::jobs::{OpenJob, open_jobs};
use crate::kit::kit_life;
use crate::limits::{At, stage_limits};
use crate::lists::{alive, ends, mismatches};
use crate::may_use::{may_use, quality_first};
use crate::question::{MayUseQuestion, When};
use crate::roll::roll_life;
use crate::say::{Say, left};
use crate::stage::{Oven, stage_life};
use crate::thing::to_confirm;
use crate::view::View;
use shared_types::{Act, Handover, Instant, Kind, StageName, StillOut, ThingName, WaitsForOven, WaitsToConfirm, Word};
use std::sync::Arc;

pub fn handover(book: &Book, when: When) -> Handover {
    let view = View::new(book, when.known);
    let read = At::new(view, when.at);
    let say = Say::of(view, when.at);
    let jobs = open_jobs(read);
    let (mut out, mut waiting, mut waits) = (Vec::new(), Vec::new(), Vec::new());
    for label in book.labels() {
        match book.kind(label) {
            Kind::Roll | Kind::Kit => out.extend(guarded(|| still_out(book, read, label, when, &say)).flatten()),
            Kind::Part => waiting.extend(guarded(|| waits_for_oven(read, label, &jobs, &say)).unwrap_or_default()),
            _ => {}
        }
        waits.extend(guarded(|| waits_to_confirm(view, label, &say, when)).unwrap_or_default());
    }
    // What can't be said or is over comes first.
    out.sort_by(|one: &StillOut, other| {
        let by = |of: &StillOut| (of.last_ply_by.map(|by| by.at), of.heating_by.map(|by| by.at));
        (by(one), &one.thing).cmp(&(by(other), &other.thing))
    });
    soonest_first(&mut waiting);
    waits.sort_by_key(|one: &WaitsToConfirm| one.seq);
    let sentence = match out.len() {
        0 => "Nothing is out by the book.".to_owned(),
        count => format!("Still out by the book: {count}. Scan each where it lies."),
    };
    Handover {
        say: sentence,
        out,
        waiting,
        to_confirm: waits,
        mismatches: mismatches(book, when).mismatches.len() as u64,
        at: say.stamp(when.at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    }
}

/// What is laid and in no oven, or in a run that nobody confirmed, soonest first.
pub fn waiting_for_oven(book: &Book, when: When) -> Vec<WaitsForOven> {
    let view = View::new(book, when.known);
    let read = At::new(view, when.at);
    let (say, jobs) = (Say::of(view, when.at), open_jobs(read));
    let parts = book.labels().filter(|label| book.kind(*label) == Kind::Part);
    let mut waiting: Vec<WaitsForOven> =
        parts.flat_map(|part| guarded(|| waits_for_oven(read, part, &jobs, &say)).unwrap_or_default()).collect();
    soonest_first(&mut waiting);
    waiting
}

fn soonest_first(waiting: &mut [WaitsForOven]) {
    waiting.sort_by(|one, other| {
        (one.heating_by.map(|by| by.at), &one.part).cmp(&(other.heating_by.map(|by| by.at), &other.part))
    });
}

fn still_out(book: &Book, read: At<'_>, label: Label, when: When, say: &Say) -> Option<StillOut> {
    let history = match book.kind(label) {
        Kind::Roll => {
            // A roll without any receipt that stands is out by what was done with it, and nobody can say more.
            let roll = roll_life(read.view, label);
            let there = roll.lives.is_empty() || roll.received_by(read.at) || roll.history.spot(read.at).is_some();
            (there && roll.ended(read.at).is_none()).then(|| Arc::clone(&roll.history))?
        }
        _ if alive(read, label).is_empty() => return None,
        _ => kit_life(read.view, label).history,
    };
    let thing = book.name(label).clone();
    let question = MayUseQuestion { thing: thing.clone(), act: Act::Cut, job: None, stage: None, when };
    let answer = may_use(book, &question).ok()?;
    let (place, since) = match (history.spot(read.at), history.stretches.around(read.at)) {
        // A kit that was never put away is out since it was cut.
        (None, None) if book.kind(label) == Kind::Kit => {
            (None, kit_life(read.view, label).items.iter().map(|item| item.cut_at).min()?)
        }
        (spot, around) => {
            let place = match spot {
                Some((_, Spot::Out(place))) => place,
                Some((_, Spot::Inside(_) | Spot::OnItsWay(_))) | None => None,
            };
            (place, around?.0)
        }
    };
    let place = place.map(|place| book.code(place));
    let within = place.as_ref().map_or(String::new(), |place| format!(", in {place},"));
    // A time beside what may not be used would read as leave to use it until then.
    let usable = answer.answer < Word::CannotSay;
    let why = if answer.answer == Word::Yes { String::new() } else { format!(" {}", answer.why) };
    let last_ply_by = answer.last_ply_by.filter(|_| usable);
    let closed = last_ply_by.map_or(String::new(), |by| closed_then(read, by.at, say));
    Some(StillOut {
        say: format!(
            "{} is out{within} since {}. {}{why}{closed}",
            thing.short(),
            say.time(since, read.at),
            answer.say
        ),
        thing,
        place,
        since: say.stamp(since),
        last_ply_by,
        heating_by: answer.heating_by.filter(|_| usable),
    })
}

/// A last ply that could only go down while nobody is there: what that comes to in the yard's hours.
fn closed_then(read: At<'_>, by: Instant, say: &Say) -> String {
    let open = Calendar::of(read.view, read.at).last_open(by);
    match (open == by, open < read.at) {
        (true, _) => String::new(),
        (false, true) => " The yard is closed until then.".to_owned(),
        (false, false) => format!(" The yard is closed then: last ply down by {}.", say.time(open, read.at)),
    }
}

fn waits_for_oven(read: At<'_>, label: Label, jobs: &[OpenJob<'_>], say: &Say) -> Vec<WaitsForOven> {
    let stages = alive(read, label).into_iter().filter_map(|(stage, _)| stage);
    stages.map(|stage| waits(read, label, stage, jobs, say)).collect()
}

/// By when a laid stage has to be heating, and what holds it up; nothing of one that is cured or empty.
pub fn stage_waits(book: &Book, part: &ThingName, stage: &StageName, when: When) -> Option<WaitsForOven> {
    let view = View::new(book, when.known);
    let (read, say) = (At::new(view, when.at), Say::of(view, when.at));
    let label = book.label(part)?;
    let waits_still = alive(read, label).into_iter().any(|(name, _)| name.as_ref() == Some(stage));
    waits_still.then(|| waits(read, label, stage.clone(), &[], &say))
}

fn waits(read: At<'_>, label: Label, name: StageName, jobs: &[OpenJob<'_>], say: &Say) -> WaitsForOven {
    let (view, at) = (read.view, read.at);
    let stage = stage_life(view, label, &name);
    let limits = stage_limits(read, &stage);
    let spare_ms = view.yard(at).map_or(0, |yard| yard.spare_s.as_ms());
    let heating_by = limits.rows.iter().filter_map(|limit| ends(read, true, limit)).map(|end| end.at).min();
    let ends = heating_by.map(|end| end.minus_ms(spare_ms));
    let heating_by = ends.map(|end| Calendar::of(view, at).last_open(end));
    let quality = quality_first(read, label, Some(&name), Act::Oven);
    let run = match stage.oven(at) {
        Oven::Provisional(run) => Some(view.book.name(run.run).clone()),
        Oven::NotStarted | Oven::Started(_) => None,
    };
    let job = jobs.iter().find(|job| job.plan.part == label && job.lying.contains(&name));
    let part = view.book.name(label).clone();
    let missing = limits.missing.iter().any(|(limit, _, _)| *limit != shared_types::LimitName::TackLife);
    let open = |by: Instant| format!("{}, in {}", say.time(by, at), left(by.since(at)));
    let mut by = match (&quality, heating_by) {
        (Some(why), _) if missing => format!("quality has to say first whether it may be cured. {why}"),
        (Some(why), Some(_)) => {
            let ages = match ends.filter(|ends| at <= *ends) {
                Some(ends) => format!("its time ends {}", open(ends)),
                None => "its time is over".to_owned(),
            };
            format!("quality has to say first whether it may be cured. {why} It ages while it waits: {ages}.")
        }
        (Some(why), None) => format!("quality has to say first whether it may be cured. {why}"),
        (None, _) if missing => {
            "can't say by when it has to be heating: something of what lies in it is not stated.".to_owned()
        }
        (None, Some(by)) if by < at => format!("heating had to start by {}.", say.time(by, at)),
        (None, Some(by)) => format!("heating by {}.", open(by)),
        (None, None) => "nothing limits when it has to be heating.".to_owned(),
    };
    if let Some(ends) = ends.filter(|ends| heating_by < Some(*ends) && at <= *ends && !missing) {
        by.push_str(&match quality {
            Some(_) => " The yard is closed then.".to_owned(),
            None => format!(" The yard is closed when its time ends, {}.", say.time(ends, at)),
        });
    }
    let planned = job.map_or(String::new(), |job| {
        format!(" {} plans the oven for {}.", job.code, say.time(job.plan.job.oven_at.at, at))
    });
    let text = match &run {
        Some(run) => {
            format!(
                "{} {name} is in run {}, not confirmed yet. If that never started: {by}{planned}",
                part.short(),
                run.short()
            )
        }
        None => format!("{} {name}: {by}{planned}", part.short()),
    };
    WaitsForOven {
        part,
        stage: name,
        run,
        // A time beside what quality has to judge first would read as leave to heat it until then.
        heating_by: heating_by.filter(|_| !missing && quality.is_none()).map(|by| say.stamp(by)),
        oven_at: job.map(|job| say.stamp(job.plan.job.oven_at.at)),
        say: text,
    }
}

fn waits_to_confirm(view: View<'_>, label: Label, say: &Say, when: When) -> Vec<WaitsToConfirm> {
    let name = view.book.name(label);
    let waiting = to_confirm(view, label, say).into_iter();
    waiting
        .map(|one| WaitsToConfirm {
            say: format!(
                "{} told {} that {} {}.",
                one.by,
                say.time(one.occurred_at.at, when.at),
                name.short(),
                happened(&one.kind)
            ),
            thing: name.clone(),
            entry: one.entry,
            seq: one.seq,
            kind: one.kind,
            occurred_at: one.occurred_at,
            by: one.by,
        })
        .collect()
}

/// What a fact says happened to its thing.
fn happened(kind: &str) -> &'static str {
    match kind {
        "roll_received" => "was received",
        "roll_put_away" | "kit_put_away" => "was put away",
        "roll_taken_out" | "kit_taken_out" => "was taken out",
        "seen" => "was seen",
        "nest_cut" => "was cut",
        "plies_laid" => "had plies laid",
        "layup_completed" => "had its lay-up completed",
        "oven_run_started" => "was started",
        "oven_run_ended" => "ended",
        "oven_run_interrupted" => "broke off",
        "part_installed" => "was installed",
        "part_removed" => "was removed",
        "disposed" => "was thrown away",
        _ => "changed",
    }
}
