//! What runs out soon, and what will not make its plan: who has to do what by when.
//!
//! A limit is warned of as `runs_out` lists it; a plan is reckoned as `may_use` answers for a job, spare time included.
//! The act stands before the end of the limit, less the spare time, at an instant at which somebody is there.

mod limits;
mod plans;
mod words;

use crate::RULES;
use crate::book::Book;
use crate::calendar::Calendar;
use crate::fact::Label;
use crate::guard::guarded;
use crate::jobs::{OpenJob, material_of, open_jobs};
use crate::limits::At;
use crate::question::When;
use crate::say::{Dates, Say, floor_s};
use crate::view::View;
use shared_types::{
    Code, Instant, LimitName, StageName, ThingName, Warning, WarningAbout, WarningAct, WarningWho, Warnings,
};

/// What is asked: how far to look ahead, of one job or material or of all.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WarningsQuestion {
    /// Of clocks that run.
    pub within_h: u32,
    /// Of shelf lives: a retest takes weeks.
    pub shelf_within_h: u32,
    pub job: Option<Code>,
    pub material: Option<Code>,
    pub when: When,
    /// In full where the sentences are kept and read later: then none says how long it is until then.
    pub dates: Dates,
}

impl WarningsQuestion {
    /// A week of out-life.
    pub const WITHIN_H: u32 = 168;
    /// Eight weeks of shelf life.
    pub const SHELF_WITHIN_H: u32 = 1_344;

    /// Of everything, as far ahead as usual.
    pub fn usual(when: When) -> WarningsQuestion {
        let (within_h, shelf_within_h) = (WarningsQuestion::WITHIN_H, WarningsQuestion::SHELF_WITHIN_H);
        WarningsQuestion { within_h, shelf_within_h, job: None, material: None, when, dates: Dates::Near }
    }
}

/// What all warnings of one question stand on.
struct Asked<'b> {
    read: At<'b>,
    say: Say,
    calendar: Calendar<'b>,
    spare_ms: i64,
    jobs: Vec<OpenJob<'b>>,
}

/// One warning before it is put into words.
struct Found {
    about: WarningAbout,
    thing: Label,
    stage: Option<StageName>,
    limit: Option<LimitName>,
    /// The roll whose limit it is, and all rolls it is about.
    item: Option<Label>,
    rolls: Vec<Label>,
    jobs: Vec<Code>,
    who: WarningWho,
    act: WarningAct,
    act_by: Instant,
    ends_at: Instant,
    left_ms: i64,
    runs: bool,
    say: String,
}

pub fn warnings(book: &Book, question: &WarningsQuestion) -> Warnings {
    let view = View::new(book, question.when.known);
    let at = question.when.at;
    let read = At::new(view, at);
    let asked = Asked {
        read,
        say: Say { dates: question.dates, ..Say::of(view, at) },
        calendar: Calendar::of(view, at),
        spare_ms: view.yard(at).map_or(0, |yard| yard.spare_s.as_ms()),
        jobs: open_jobs(read),
    };
    let until = |hours: u32| at.plus_ms(i64::from(hours).saturating_mul(3_600_000));
    let (until, shelf_until) = (until(question.within_h), until(question.shelf_within_h));
    // The act is what must fall into the horizon: so a limit that ends while the yard is closed does not hide behind it.
    let near = |found: &Found| match found.limit {
        Some(LimitName::ShelfLife) => found.act_by <= shelf_until,
        Some(_) | None => found.act_by <= until,
    };
    let mut all: Vec<Warning> = Vec::new();
    for label in book.labels() {
        let found = guarded(|| limits::of(&asked, label)).unwrap_or_default();
        all.extend(found.into_iter().filter(near).map(|found| written(&asked, found)));
    }
    for job in &asked.jobs {
        let found = guarded(|| plans::of(&asked, job)).unwrap_or_default();
        all.extend(found.into_iter().map(|found| written(&asked, found)));
    }
    all.retain(|one| question.job.as_ref().is_none_or(|job| one.jobs.contains(job)));
    all.retain(|one| question.material.as_ref().is_none_or(|material| one.materials.contains(material)));
    all.sort_by(|one, other| (one.act_by.at, &one.name).cmp(&(other.act_by.at, &other.name)));
    Warnings {
        within_h: question.within_h,
        shelf_within_h: question.shelf_within_h,
        job: question.job.clone(),
        material: question.material.clone(),
        warnings: all,
        at: asked.say.stamp(at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    }
}

fn written(asked: &Asked<'_>, mut found: Found) -> Warning {
    let book = asked.read.view.book;
    if asked.say.dates == Dates::Full {
        found.say.push_str(&format!(" Said {}.", asked.say.whole_time(asked.read.at)));
    }
    let thing = book.name(found.thing).clone();
    let materials = found.rolls.iter().filter_map(|roll| material_of(asked.read.view, *roll));
    let mut materials: Vec<Code> = materials.map(|material| book.code(material)).collect();
    materials.sort();
    materials.dedup();
    Warning {
        name: name(&found, &thing),
        about: found.about,
        thing,
        stage: found.stage,
        limit: found.limit,
        item: found.item.map(|item| book.name(item).clone()),
        materials,
        jobs: found.jobs,
        who: found.who,
        act: found.act,
        act_by: asked.say.stamp(found.act_by),
        ends_at: asked.say.stamp(found.ends_at),
        left_s: floor_s(found.left_ms),
        runs: found.runs,
        say: found.say,
    }
}

/// The same as long as it is about the same: not the time, which moves, and not the words.
fn name(found: &Found, thing: &ThingName) -> String {
    let stage = found.stage.as_ref().map_or(String::new(), |stage| format!(" {stage}"));
    let limit = found.limit.map_or("plan", crate::say::limit);
    match found.about {
        WarningAbout::LimitEnds => format!("{thing}{stage}: {limit}"),
        WarningAbout::MissesLayUp | WarningAbout::MissesOven => {
            format!("{thing}{stage} for {}: plan", found.jobs.first().map_or("", Code::as_str))
        }
        WarningAbout::PlanPassed => format!("{thing}: plan"),
    }
}

impl Asked<'_> {
    /// The jobs still to be made that a roll or kit was given to or cut for, or that a stage is part of.
    fn jobs_of(&self, label: Label, stage: Option<&StageName>) -> Vec<&OpenJob<'_>> {
        let of = |job: &&OpenJob<'_>| match stage {
            Some(stage) => job.plan.part == label && (job.lying.contains(stage) || job.plan.job.stages.contains(stage)),
            None => job.kits.contains(&label) || job.still_given(self.read.view).any(|roll| roll == label),
        };
        self.jobs.iter().filter(of).collect()
    }

    /// By when an act must be done so that it comes before this end: less the spare time, while somebody is there.
    fn act_by(&self, end: Instant) -> Instant {
        self.calendar.last_open(end.minus_ms(self.spare_ms))
    }
}
