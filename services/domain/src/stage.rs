//! A lay-up stage of a part: what lies in it since when, and whether its oven run started.

use crate::fact::{Fact, Label, What};
use crate::history::{Until, last_take_out};
use crate::kit::{kit_life, laid_items};
use crate::roll::{Life, roll_life};
use crate::view::View;
use shared_types::{Instant, Settlement, StageName};
use std::collections::BTreeMap;
use std::sync::Arc;

pub struct StageLife {
    pub part: Label,
    pub stage: StageName,
    pub items: Vec<StageItem>,
    /// When its lay-up was said to be complete: nominally, and at the earliest.
    pub completed: Vec<(Instant, Instant)>,
    pub runs: Vec<Run>,
}

/// One roll's plies in a stage.
pub struct StageItem {
    /// The kit itself, where nobody recorded what was cut into it.
    pub roll: Label,
    pub kit: Option<Label>,
    /// The first of these plies, at the earliest.
    pub first_ply: Instant,
    pub laid_at: Instant,
    /// The last of these plies, at the latest: what its tack is tested at.
    pub last_ply: Instant,
    pub seq: u32,
    /// Where its lay-up stands among the part's facts: what a run cures was laid before its start.
    pub place: usize,
    pub told: bool,
    /// Nobody recorded that it was cut into the kit before it was laid from it: how long it was out can't be said.
    pub cut_unknown: bool,
    /// The last take-out before it was laid.
    pub took_out: Option<Instant>,
    /// By each receipt of the roll: its clock through roll, kit and lay-up, as if no oven ever started.
    pub lives: Vec<Life>,
}

/// An oven run as far as it concerns a stage.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Run {
    pub run: Label,
    pub seq: u32,
    /// Where its start stands among the part's facts.
    pub place: usize,
    pub scanned_at: Instant,
    /// The scan at its earliest: how long it waits for its record is measured from here.
    pub earliest: Instant,
    /// The scan at its latest.
    pub start: Instant,
    /// The first entry by which its cure passed the commit, a chart's or record's that counts.
    pub committed: Option<u32>,
    pub interrupted: Option<u32>,
    /// Somebody answered *not cured*, in this entry.
    pub not_cured: Option<u32>,
    /// How long it stays provisional without a record.
    pub delay_ms: i64,
    pub told: bool,
}

/// What a stage's runs come to at an instant.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Oven {
    NotStarted,
    /// Scanned, no record yet.
    Provisional(Run),
    Started(Run),
}

const HOUR_MS: i64 = 3_600_000;

/// So long a start waits for its record where nobody says when its end was: then it never started.
pub(crate) const RECORD_DELAY_MS: i64 = 24 * HOUR_MS;

pub fn stages_of(view: View<'_>, part: Label) -> Vec<StageName> {
    let mut names: Vec<StageName> = Vec::new();
    for fact in view.facts(part) {
        match &fact.what {
            What::Laid(laid) if laid.part == part => names.push(laid.stage.clone()),
            What::LayupCompleted(stage) => names.push(stage.clone()),
            What::RunStarted(run) => {
                names.extend(run.stages.iter().filter(|(of, _)| *of == part).map(|(_, stage)| stage.clone()))
            }
            What::Planned(plan) if plan.part == part => names.extend(plan.job.stages.iter().cloned()),
            _ => {}
        }
    }
    let mut once = Vec::new();
    for name in names {
        if !once.contains(&name) {
            once.push(name);
        }
    }
    once
}

/// A stage's life, with those of the part's other stages kept until something of them changes.
pub fn stage_life(view: View<'_>, part: Label, stage: &StageName) -> Arc<StageLife> {
    let work = |stage: &StageName| Arc::new(stage_life_of(view, part, stage));
    if !view.is_plain() {
        return work(stage);
    }
    let all: Arc<Vec<Arc<StageLife>>> = view.kept(part, || stages_of(view, part).iter().map(work).collect());
    all.iter().find(|life| life.stage == *stage).map_or_else(|| work(stage), Arc::clone)
}

fn stage_life_of(view: View<'_>, part: Label, stage: &StageName) -> StageLife {
    let mut items = Vec::new();
    let mut completed = Vec::new();
    let mut kits = BTreeMap::new();
    let mut rolls = BTreeMap::new();
    for (place, fact) in view.facts(part).enumerate() {
        match &fact.what {
            What::Laid(laid) if laid.part == part && laid.stage == *stage => {
                let first = laid.from_at.map_or(fact.at, |from| from.min(fact.at));
                let item = |roll, kit, cut_unknown, took_out, lives| StageItem {
                    roll,
                    kit,
                    first_ply: first.minus_ms(i64::from(fact.uncertain_ms)),
                    laid_at: fact.at,
                    last_ply: fact.latest(),
                    seq: fact.seq,
                    place,
                    told: view.waits(fact),
                    cut_unknown,
                    took_out,
                    lives,
                };
                let until_laid = Until::Act { at: fact.at, seq: fact.seq };
                if !laid.from_kit {
                    let roll = rolls.entry(laid.from).or_insert_with(|| roll_life(view, laid.from));
                    let out = |life: &Life| Life { clock: life.clock.clone().then_out(fact.at), ..life.clone() };
                    let took_out = last_take_out(view, [(&*roll.history, until_laid)]);
                    items.push(item(laid.from, None, false, took_out, roll.lives.iter().map(out).collect()));
                    continue;
                }
                let kit = kits.entry(laid.from).or_insert_with(|| kit_life(view, laid.from));
                let of_kit = laid_items(view, fact, laid);
                if of_kit.is_empty() {
                    items.push(item(laid.from, Some(laid.from), true, None, Vec::new()));
                }
                for of in of_kit {
                    let roll = match kit.rolls.get(&of.roll) {
                        Some(roll) => roll,
                        None => rolls.entry(of.roll).or_insert_with(|| roll_life(view, of.roll)),
                    };
                    let way = [(&*roll.history, of.until_cut()), (&*kit.history, until_laid)];
                    let took_out = last_take_out(view, way);
                    let in_kit = |life: &Life| life.clock.clone().then(of.cut_at, &kit.history).then_out(fact.at);
                    let lives = roll.lives.iter().map(|life| Life { clock: in_kit(life), ..life.clone() }).collect();
                    let unknown = of.seq == fact.seq || fact.at < of.cut_at;
                    items.push(item(of.roll, Some(laid.from), unknown, took_out, lives));
                }
            }
            What::LayupCompleted(of) if of == stage && !view.waits(fact) => {
                completed.push((fact.at, fact.earliest()));
            }
            _ => {}
        }
    }
    StageLife { part, stage: stage.clone(), items, completed, runs: runs(view, part, stage) }
}

/// The oven runs that name a stage, in occurred order.
pub fn runs(view: View<'_>, part: Label, stage: &StageName) -> Vec<Run> {
    let started = view.facts(part).enumerate().filter_map(|(place, fact)| match &fact.what {
        What::RunStarted(run) if run.stages.iter().any(|(of, name)| *of == part && name == stage) => {
            Some((place, fact, run.run))
        }
        _ => None,
    });
    started.map(|(place, fact, run)| read_run(view, place, fact, run)).collect()
}

fn read_run(view: View<'_>, place: usize, start: &Fact, run: Label) -> Run {
    let mut interrupted: Option<(Instant, u32)> = None;
    for fact in view.facts(run) {
        if matches!(fact.what, What::RunInterrupted { .. }) && interrupted.is_none() {
            interrupted = Some((fact.earliest(), fact.seq));
        }
    }
    let (mut committed, mut cured, mut not_cured) = (None, false, None);
    let ends = || view.facts(run).filter(|fact| !view.waits(fact));
    let denied = |by: &Fact| {
        ends().any(|other| other.seq != by.seq && matches!(other.what, What::RunEnded { cured: Some(false), .. }))
    };
    for fact in ends() {
        let What::RunEnded { committed_at, cured: answer, .. } = fact.what else { continue };
        // A commit outside its run, after the run broke off, or later than the chart was read, confirms nothing; nor
        // does one while another entry says that it was not cured. By the times as they were said: a clock that is less
        // sure makes no commit fit.
        let broken_by = |at: Instant| interrupted.is_some_and(|(broke, _)| broke < at);
        let denied = answer != Some(false) && denied(fact);
        let in_run = |at| commit_fits(start, at) || start.at <= at && looked_into(view, run, fact);
        let fits = |at: Instant| in_run(at) && at <= fact.at && !broken_by(at) && !denied;
        committed = committed.or_else(|| committed_at.is_some_and(fits).then_some(fact.seq));
        cured |= answer == Some(true);
        if answer == Some(false) {
            not_cured = Some(fact.seq);
        }
    }
    Run {
        run,
        seq: start.seq,
        place,
        scanned_at: start.at,
        earliest: start.earliest(),
        start: start.latest(),
        committed,
        interrupted: interrupted.map(|(_, seq)| seq),
        not_cured,
        delay_ms: if cured { 72 * HOUR_MS } else { RECORD_DELAY_MS },
        told: view.waits(start),
    }
}

/// Whether a cure can have been under way then: not before its start, and not later than a start without a record is
/// taken for one. Which of two such times is wrong, a person has to say.
pub(crate) fn commit_fits(start: &Fact, at: Instant) -> bool {
    (0..=RECORD_DELAY_MS).contains(&at.since(start.at))
}

/// The name of a commit that is outside its run, as something that does not add up.
pub(crate) const COMMIT_OUTSIDE_RUN: &str = "commit_outside_run";

/// Two people looked at a commit that is late, and it stands.
fn looked_into(view: View<'_>, run: Label, end: &Fact) -> bool {
    let answer = view.settlement(run, COMMIT_OUTSIDE_RUN, end.seq);
    answer.is_some_and(|(_, answer, _)| matches!(answer, Settlement::LookedInto(true)))
}

/// What went wrong with a run once its cure was under way: what was in it stays in it and is held.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Spoiled {
    BrokeOff,
    NotCured,
}

impl Run {
    /// Nothing is contradicted by that, and nothing is to be struck.
    pub fn spoiled(self) -> Option<Spoiled> {
        let not_cured = self.not_cured.map(|_| Spoiled::NotCured);
        self.interrupted.map(|_| Spoiled::BrokeOff).or(not_cured).filter(|_| self.committed.is_some())
    }

    /// Whether a hold that came of how it went is not lifted yet.
    pub fn is_held(self, view: View<'_>, at: Instant) -> bool {
        let mut holds = self.interrupted.into_iter().chain(self.not_cured);
        holds.any(|seq| view.lifted_at(seq).is_none_or(|lifted| at < lifted))
    }

    /// Whether its clock-stopping start holds at an instant.
    pub fn state(self, at: Instant) -> Oven {
        let waiting =
            self.interrupted.is_none() && self.not_cured.is_none() && at.since(self.earliest) <= self.delay_ms;
        match (self.committed.is_some(), waiting) {
            (true, _) => Oven::Started(self),
            (false, true) => Oven::Provisional(self),
            (false, false) => Oven::NotStarted,
        }
    }
}

impl StageLife {
    /// What the runs come to for all that lies in it: for that of which least is known. Plies laid after a start are not
    /// in that run.
    pub fn oven(&self, at: Instant) -> Oven {
        let each = self.lying(at).map(|item| self.oven_of(item, at));
        each.min_by_key(|oven| oven.known()).unwrap_or_else(|| self.oven_after(at, |_| true))
    }

    /// What the runs come to for some of its plies.
    pub fn oven_of(&self, item: &StageItem, at: Instant) -> Oven {
        self.oven_after(at, |run| item.place < run.place)
    }

    /// The first run that really started, else the last that may have.
    fn oven_after(&self, at: Instant, was_in: impl Fn(&Run) -> bool) -> Oven {
        let runs = || self.runs.iter().filter(|run| run.scanned_at <= at && was_in(run));
        let by_then = || runs().map(|run| run.state(at));
        let started = || by_then().filter(|state| matches!(state, Oven::Started(_)));
        // Started twice under one label, it may have been the later.
        let first = started().next().and_then(Oven::run);
        let started = started().filter(|state| state.run().map(|run| run.run) == first.map(|run| run.run)).last();
        started.or_else(|| by_then().rfind(|state| matches!(state, Oven::Provisional(_)))).unwrap_or(Oven::NotStarted)
    }

    /// What lies in it by an instant and was laid only after a run had begun.
    pub fn laid_after(&self, run: &Run, at: Instant) -> impl Iterator<Item = &StageItem> {
        let after = run.place;
        self.lying(at).filter(move |item| after < item.place)
    }

    /// When its lay-up was complete for the first time, at the earliest, as far as it was by an instant.
    pub fn completed_by(&self, at: Instant) -> Option<Instant> {
        self.completed.iter().filter(|(nominal, _)| *nominal <= at).map(|(_, earliest)| *earliest).min()
    }

    /// What lies in it at an instant.
    pub fn lying(&self, at: Instant) -> impl Iterator<Item = &StageItem> {
        self.items.iter().filter(move |item| item.laid_at <= at)
    }

    /// When something was laid in it for the first time.
    pub fn first_laid(&self) -> Option<Instant> {
        self.items.iter().map(|item| item.laid_at).min()
    }
}

impl Oven {
    fn known(self) -> u8 {
        match self {
            Oven::NotStarted => 0,
            Oven::Provisional(_) => 1,
            Oven::Started(_) => 2,
        }
    }

    pub fn run(self) -> Option<Run> {
        match self {
            Oven::NotStarted => None,
            Oven::Provisional(run) | Oven::Started(run) => Some(run),
        }
    }
}
