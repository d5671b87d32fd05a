//! The thing a question is about, read at one instant: limits, where it is, what refuses it outright.

use crate::cold;
use crate::fact::{Label, What};
use crate::history::{Found, History, Spot};
use crate::holds;
use crate::kit::{KitLife, kit_life};
use crate::limits::{At, Limits, kit_limits, roll_limits, stage_limits};
use crate::question::{MayUseQuestion, NotAsked};
use crate::roll::{Life, RollLife, roll_life};
use crate::say::Say;
use crate::stage::{Oven, StageLife, stage_life, stages_of};
use crate::view::View;
use crate::whereabouts::heated;
use shared_types::{Act, HoldView, Instant, Kind, StageName};
use std::sync::Arc;

pub(crate) struct Subject {
    pub label: Label,
    pub limits: Limits,
    pub refusals: Vec<String>,
    pub holds: Vec<HoldView>,
    pub found: Vec<Found>,
    pub notes: Vec<String>,
    /// Its out-time runs at the instant.
    pub runs: bool,
    pub out_since: Option<Instant>,
    /// It is a stage: its plies are laid.
    pub laid: bool,
    pub stage: Option<Arc<StageLife>>,
    /// The frozen place it was in last.
    pub home: Option<Label>,
    pub rolls: Vec<Arc<RollLife>>,
    refreezes: bool,
}

pub(crate) fn subject<'b>(
    read: At<'b>,
    label: Label,
    question: &MayUseQuestion,
    say: &Say,
) -> Result<Subject, NotAsked> {
    match read.view.book.kind(label) {
        Kind::Roll => Ok(of_roll(read, label, say)),
        Kind::Kit => Ok(of_kit(read, label, say)),
        Kind::Part => of_stage(read, label, question, say),
        kind => Err(NotAsked::DoesNotFit(format!(
            "Only a roll, a kit or a part can be used; {} is a {kind}.",
            question.thing
        ))),
    }
}

fn empty(label: Label, limits: Limits) -> Subject {
    Subject {
        label,
        limits,
        refusals: Vec::new(),
        holds: Vec::new(),
        found: Vec::new(),
        notes: Vec::new(),
        runs: false,
        out_since: None,
        laid: false,
        stage: None,
        home: None,
        rolls: Vec::new(),
        refreezes: false,
    }
}

fn of_roll<'b>(read: At<'b>, label: Label, say: &Say) -> Subject {
    let roll = roll_life(read.view, label);
    let name = read.view.book.name(label).short();
    let mut subject: Subject = empty(label, roll_limits(read, &roll));
    if roll.lives.is_empty() {
        subject.refusals.push(format!("Nobody has received {name}."));
    } else if !roll.received_by(read.at) {
        let first = roll.lives.iter().map(|life| life.receipt.at).min().unwrap_or(read.at);
        subject.refusals.push(format!("{name} was received only {}.", say.time(first, read.at)));
    }
    ended(&mut subject, roll.ended(read.at), name, read, say);
    place_it(&mut subject, &roll.history, read);
    subject.out_since = roll.history.stretches.around(read.at).map(|(since, _)| since);
    subject.found = roll.found().to_vec();
    subject.rolls.push(roll);
    finish(&mut subject, read, say);
    subject
}

fn of_kit<'b>(read: At<'b>, label: Label, say: &Say) -> Subject {
    let kit = kit_life(read.view, label);
    let name = read.view.book.name(label).short();
    let mut subject: Subject = empty(label, kit_limits(read, &kit));
    match kit.items.iter().map(|item| item.cut_at).min() {
        None => subject.refusals.push(format!("Nobody has cut a kit {name}.")),
        Some(first) if read.at < first => {
            subject.refusals.push(format!("{name} was cut only {}.", say.time(first, read.at)))
        }
        Some(_) => {}
    }
    for roll in kit.held_at(read.at).filter_map(|item| kit.rolls.get(&item.roll)).filter(|roll| roll.lives.is_empty()) {
        subject
            .refusals
            .push(format!("{}, which it was cut from, is not received.", read.view.book.name(roll.roll).short()));
    }
    subject.refusals.dedup();
    ended(&mut subject, kit.ended(read.at), name, read, say);
    place_it(&mut subject, &kit.history, read);
    // A kit is out since its roll came out.
    let out_since = |item: &crate::kit::KitItem| {
        let lives = kit.rolls.get(&item.roll).into_iter().flat_map(|roll| &roll.lives);
        lives.filter_map(|life| life.clock.clone().then(item.cut_at, &kit.history).out_since(read.at)).min()
    };
    let own = kit.history.stretches.around(read.at).map(|(since, _)| since);
    subject.out_since = kit.held_at(read.at).filter_map(out_since).chain(own).min();
    subject.found = kit.history.found.clone();
    let KitLife { rolls, .. } = kit;
    subject.rolls = rolls.into_values().collect();
    finish(&mut subject, read, say);
    subject
}

fn of_stage<'b>(read: At<'b>, label: Label, question: &MayUseQuestion, say: &Say) -> Result<Subject, NotAsked> {
    let name = read.view.book.name(label).short();
    if matches!(question.act, Act::TakeOut | Act::Cut) {
        return Err(NotAsked::DoesNotFit(format!(
            "{name} is a part: ask whether it may be laid on or go into the oven."
        )));
    }
    let stages = stages_of(read.view, label);
    let Some(stage) = pick_stage(&stages, question.stage.as_ref(), name)? else {
        let mut subject: Subject = empty(label, Limits::default());
        subject.laid = true;
        subject.refusals.push(format!("Nothing is laid in {name}."));
        return Ok(subject);
    };
    let stage = stage_life(read.view, label, &stage);
    let mut subject: Subject = empty(label, stage_limits(read, &stage));
    subject.laid = true;
    match stage.first_laid() {
        None => subject.refusals.push(format!("Nothing is laid in {name} {}.", stage.stage)),
        Some(first) if read.at < first => {
            subject.refusals.push(format!(
                "The first ply of {name} {} was laid only {}.",
                stage.stage,
                say.time(first, read.at)
            ));
        }
        Some(_) => {}
    }
    if let Some(run) = stage.oven(read.at).run() {
        let run_name = read.view.book.name(run.run).short();
        let confirmed = matches!(stage.oven(read.at), Oven::Started(_)) && !run.told;
        let since = say.time(run.scanned_at, read.at);
        subject.refusals.push(match confirmed {
            true => heated(&format!("{name} {}", stage.stage), run, run_name, &since),
            false => format!("{name} {} is in run {run_name} since {since}, not confirmed yet.", stage.stage),
        });
    }
    for item in stage.lying(read.at).filter(|item| item.lives.is_empty() && item.kit != Some(item.roll)) {
        subject
            .refusals
            .push(format!("{}, which is laid in it, is not received.", read.view.book.name(item.roll).short()));
    }
    subject.runs = subject
        .limits
        .rows
        .iter()
        .any(|limit| matches!(limit.state, crate::limits::LimitState::Clock { runs: true, .. }));
    let above = holds::above_stage(read.view, &stage, read.at);
    subject.holds = holds::in_force(read.view, &above, read.at, say);
    subject.holds.extend(holds::by_rule(read.view, &stage, read.at, say));
    if stage.lying(read.at).any(|item| item.told) {
        subject.notes.push(
            "Part of its lay-up was told, not scanned: it is not accepted until somebody else confirms it.".to_owned(),
        );
    }
    subject.stage = Some(stage);
    Ok(subject)
}

fn pick_stage(stages: &[StageName], asked: Option<&StageName>, part: &str) -> Result<Option<StageName>, NotAsked> {
    match (asked, stages) {
        (Some(asked), _) => Ok(Some(asked.clone())),
        (None, []) => Ok(None),
        (None, [only]) => Ok(Some(only.clone())),
        (None, several) => {
            let names: Vec<&str> = several.iter().map(StageName::as_str).collect();
            Err(NotAsked::NameTheStage(format!(
                "{part} has several lay-up stages: {}. Name one with stage=.",
                names.join(", ")
            )))
        }
    }
}

fn ended(subject: &mut Subject, end: Option<crate::roll::End>, name: &str, read: At<'_>, say: &Say) {
    if let Some(end) = end {
        let how = if end.disposed { "was thrown away" } else { "was used up" };
        subject.refusals.push(format!("{name} {how} {}.", say.time(end.at, read.at)));
    }
}

fn place_it(subject: &mut Subject, history: &History, read: At<'_>) {
    subject.runs = history.runs(read.at) && subject.refusals.is_empty();
    let until = history.spots.partition_point(|(since, _)| *since <= read.at);
    let past = history.spots.get(..until).unwrap_or_default();
    let last = past.iter().rev().find_map(|(_, spot)| match spot {
        Spot::Inside(place) => Some(*place),
        Spot::OnItsWay(_) | Spot::Out(_) => None,
    });
    let warm = last.and_then(|last| cold::why_out(read.view, subject.label, last, read.at));
    // Nobody is sent to put it where it would count as out.
    subject.home = last.filter(|_| warm.is_none());
    if matches!(past.last(), Some((_, Spot::Inside(_)))) {
        subject.notes.extend(warm);
    }
    // Goods-in's put-away is no return: nothing of a roll's was put away before it.
    let goods_in = read.view.book.kind(subject.label) == Kind::Roll && last.is_none();
    subject.refreezes = history.runs(read.at) && !goods_in;
}

/// Holds and notes of a roll or a kit.
fn finish(subject: &mut Subject, read: At<'_>, say: &Say) {
    subject.holds = holds::on(read.view, subject.label, read.at, say);
    let book = read.view.book;
    for fact in read.view.facts(subject.label).filter(|fact| fact.marks.told && read.view.waits(fact)) {
        if matches!(fact.what, What::PutAway { .. } | What::Seen { .. }) {
            let by = book.code(fact.by);
            subject.notes.push(format!(
                "{by} told that it was put away {}: not counted until somebody else confirms it.",
                say.time(fact.at, read.at)
            ));
        }
    }
    if let Some(home) = subject.home.filter(|_| !subject.runs) {
        let home = book.name(home).short();
        let received = subject.rolls.iter().any(|roll| !roll.lives.is_empty());
        let stated = cold::storage(read.view, subject.label).is_some();
        let unstated = if stated || !received { "" } else { ", and no storage limit is stated that it could be above" };
        subject.notes.push(format!("{home} has no readings: it counts as cold{unstated}."));
    }
}

impl Subject {
    /// What does not add up and is not settled: its own, and of the rolls it was cut from.
    pub(crate) fn open_puzzles(&self) -> impl Iterator<Item = (Label, &Found)> {
        let above = self.rolls.iter().filter(|roll| roll.roll != self.label);
        let above = above.flat_map(|roll| roll.found().iter().map(|found| (roll.roll, found)));
        let own = self.found.iter().map(|found| (self.label, found));
        above.chain(own).filter(|(_, found)| found.settled_by.is_none())
    }

    pub(crate) fn lives_of(&self, roll: Label) -> &[Life] {
        self.rolls.iter().find(|life| life.roll == roll).map_or(&[], |life| &life.lives)
    }

    /// ` in F1`, or nothing where nobody knows.
    pub(crate) fn home_words(&self, view: View<'_>) -> String {
        self.home.map_or(String::new(), |home| format!(" in {}", view.book.name(home).short()))
    }

    /// Whether putting it away now would count as a refreeze.
    pub(crate) fn would_refreeze(&self, at: Instant) -> bool {
        let after_ms = self.rolls.iter().flat_map(|roll| &roll.lives).filter_map(|life| life.refreeze_after_ms()).min();
        let kit = self.rolls.iter().all(|roll| roll.roll != self.label);
        let after_ms = after_ms.unwrap_or(if kit { 0 } else { crate::limits::ROLL_WARMS_MS });
        self.refreezes && self.out_since.is_some_and(|since| after_ms < at.since(since))
    }

    /// How many returns to the cold are left, where putting it away now would be one too many. Less than none: there was
    /// one too many already.
    pub(crate) fn one_return_too_many(&self, at: Instant) -> Option<i64> {
        let left = |limit: &crate::limits::Limit| match limit.state {
            crate::limits::LimitState::Count { .. } => limit.state.left(),
            _ => None,
        };
        let left = self.limits.rows.iter().filter_map(left).min()?;
        (left <= 0 && self.would_refreeze(at)).then_some(left)
    }
}

/// The same of a roll or a kit that is looked at for itself.
pub(crate) fn one_return_too_many(read: At<'_>, label: Label, at: Instant, say: &Say) -> Option<i64> {
    let subject = match read.view.book.kind(label) {
        Kind::Roll => of_roll(read, label, say),
        Kind::Kit => of_kit(read, label, say),
        _ => return None,
    };
    subject.one_return_too_many(at)
}
