//! Jobs that are still to be made: their plan, what was cut for them, what was given to them, what is laid.

use crate::against::Against;
use crate::book::Book;
use crate::fact::{Label, Planned, What};
use crate::kit::kit_life;
use crate::limits::At;
use crate::may_use::{Weighed, weigh};
use crate::question::{MayUseQuestion, When};
use crate::roll::roll_life;
use crate::stage::{Oven, stage_life, stages_of};
use crate::trace::boat_of;
use crate::view::View;
use shared_types::{Act, Code, Instant, Kind, StageName, ThingName, Word};
use std::collections::{BTreeMap, BTreeSet};

/// A job some of whose stages no oven has started.
pub(crate) struct OpenJob<'b> {
    pub code: Code,
    pub plan: &'b Planned,
    /// Kits cut for it or given to it, of which something is not laid yet.
    pub kits: BTreeSet<Label>,
    /// Rolls given to it that are not used up.
    pub issued: BTreeSet<Label>,
    /// Stages in which something lies that no oven has started.
    pub lying: Vec<StageName>,
    /// Stages of the plan that no oven has started and in which nothing lies.
    pub to_lay: Vec<StageName>,
    /// Millimetres cut for it, or laid straight from a roll, by material.
    pub cut_mm: BTreeMap<Label, u64>,
}

pub(crate) fn open_jobs(read: At<'_>) -> Vec<OpenJob<'_>> {
    let labels = read.view.book.labels().filter(|label| read.view.book.kind(*label) == Kind::Job);
    labels.filter_map(|label| crate::guard::guarded(|| open_job(read, label))?).collect()
}

fn open_job(read: At<'_>, label: Label) -> Option<OpenJob<'_>> {
    let (view, at) = (read.view, read.at);
    let plan: &Planned = view.plan(label, at)?;
    if boat_of(view, plan.part, at).is_some() {
        return None;
    }
    let mut job = OpenJob {
        code: view.book.code(label),
        plan,
        kits: BTreeSet::new(),
        issued: BTreeSet::new(),
        lying: Vec::new(),
        to_lay: Vec::new(),
        cut_mm: cut_for(read, label, plan),
    };
    stages(read, &mut job);
    if job.lying.is_empty() && job.to_lay.is_empty() {
        return None;
    }
    for fact in view.facts(label).filter(|fact| fact.at <= at) {
        match &fact.what {
            What::Issued { thing, .. } if view.book.kind(*thing) == Kind::Roll => {
                job.issued.insert(*thing);
            }
            What::Issued { thing, .. } => {
                job.kits.insert(*thing);
            }
            What::Cut(cut) => job.kits.extend(cut.kits.iter().filter(|kit| kit.job == label).map(|kit| kit.kit)),
            _ => {}
        }
    }
    job.issued.retain(|roll| roll_life(view, *roll).ended(at).is_none());
    job.kits.retain(|kit| kit_life(view, *kit).ended(at).is_none());
    Some(job)
}

/// Millimetres cut for a job, or laid straight from a roll in its stages, by material. What was cut and thrown away has
/// to be cut again, and does not count.
pub(crate) fn cut_for(read: At<'_>, job: Label, plan: &Planned) -> BTreeMap<Label, u64> {
    let (view, at) = (read.view, read.at);
    let by_then = |of: Label| view.facts(of).filter(move |fact| fact.at <= at);
    let thrown = |kit: Label| kit_life(view, kit).ended(at).is_some_and(|end| end.disposed);
    let cuts = by_then(job).filter_map(|fact| match &fact.what {
        What::Cut(cut) => Some(cut),
        _ => None,
    });
    let kits = cuts.flat_map(|cut| &cut.kits).filter(|kit| kit.job == job && !thrown(kit.kit));
    let laid = by_then(plan.part).filter_map(|fact| match &fact.what {
        What::Laid(laid) if !laid.from_kit && plan.job.stages.contains(&laid.stage) => {
            Some((laid.from, laid.length_mm.unwrap_or(0)))
        }
        _ => None,
    });
    let mut sums = BTreeMap::<Label, u64>::new();
    for (roll, mm) in kits.flat_map(|kit| kit.items.iter().copied()).chain(laid) {
        if let Some(material) = material_of(view, roll) {
            let sum = sums.entry(material).or_default();
            *sum = sum.saturating_add(mm);
        }
    }
    sums
}

fn stages(read: At<'_>, job: &mut OpenJob<'_>) {
    let part = job.plan.part;
    let mut names = job.plan.job.stages.clone();
    if names.is_empty() {
        names = stages_of(read.view, part);
    }
    for name in names {
        let stage = stage_life(read.view, part, &name);
        let lies = stage.lying(read.at).next().is_some();
        match (stage.oven(read.at), lies) {
            (Oven::NotStarted, true) => job.lying.push(name),
            (Oven::NotStarted, false) => job.to_lay.push(name),
            (Oven::Provisional(_) | Oven::Started(_), _) => {}
        }
    }
}

/// What a roll is made of, by its first receipt.
pub(crate) fn material_of(view: View<'_>, roll: Label) -> Option<Label> {
    view.facts(roll).find_map(|fact| match &fact.what {
        What::Received(received) => Some(received.material),
        _ => None,
    })
}

impl OpenJob<'_> {
    /// What is needed by its plan and not cut yet, by material.
    pub(crate) fn still_needed(&self, view: View<'_>) -> BTreeMap<Label, u64> {
        let mut needed: BTreeMap<Label, u64> = BTreeMap::new();
        for need in &self.plan.job.needs {
            let name = ThingName::new(Kind::Material, &need.material);
            if let Some(material) = view.book.label(&name) {
                let sum = needed.entry(material).or_default();
                *sum = sum.saturating_add(need.length_mm.get());
            }
        }
        for (material, cut) in &self.cut_mm {
            if let Some(sum) = needed.get_mut(material) {
                *sum = sum.saturating_sub(*cut);
            }
        }
        needed.retain(|_, mm| 0 < *mm);
        needed
    }

    /// Given rolls of which the job still takes something.
    pub(crate) fn still_given(&self, view: View<'_>) -> impl Iterator<Item = Label> {
        let needed = self.still_needed(view);
        let all = self.plan.job.needs.is_empty();
        let of = move |roll: &Label| all || material_of(view, *roll).is_some_and(|of| needed.contains_key(&of));
        self.issued.iter().copied().filter(of)
    }
}

/// A job that a roll could still be cut for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct JobNeeds {
    pub job: Code,
    /// The roll was issued to it.
    pub given: bool,
    /// Millimetres of the roll's material that were planned and not cut yet.
    pub length_mm: u64,
    pub lay_at: Instant,
}

/// The jobs that still need what this roll is made of: those it was issued to first, then by their planned lay-up.
pub fn jobs_needing(book: &Book, roll: &ThingName, when: When) -> Vec<JobNeeds> {
    let view = View::new(book, when.known);
    let Some(label) = book.label(roll) else { return Vec::new() };
    let Some(material) = material_of(view, label) else { return Vec::new() };
    let jobs = open_jobs(At::new(view, when.at)).into_iter().filter_map(|job| {
        let length_mm = *job.still_needed(view).get(&material)?;
        let given = job.issued.contains(&label);
        Some(JobNeeds { job: job.code, given, length_mm, lay_at: job.plan.job.lay_at.at })
    });
    let mut jobs: Vec<JobNeeds> = jobs.collect();
    jobs.sort_by(|one, other| (!one.given, one.lay_at, &one.job).cmp(&(!other.given, other.lay_at, &other.job)));
    jobs
}

/// What was weighed for a job, and whether the thing stands in the cold and was taken as staying there until it is laid.
pub(crate) struct ForJob<'b> {
    pub weighed: Weighed<'b>,
    pub stands: bool,
}

/// Whether a roll, kit or stage makes its job's plan. What is out is taken as staying out; what stands in the cold as
/// coming out for its lay-up.
pub(crate) fn for_job<'b>(
    read: At<'b>,
    job: &OpenJob<'_>,
    label: Label,
    stage: Option<&StageName>,
) -> Option<ForJob<'b>> {
    let ask = |act, at| {
        let when = When { at, known: u64::from(read.view.known), now: read.at };
        let thing = read.view.book.name(label).clone();
        let question = MayUseQuestion { thing, act, job: Some(job.code.clone()), stage: stage.cloned(), when };
        weigh(read.view, label, &question).ok()
    };
    let act = if stage.is_some() { Act::Oven } else { Act::Cut };
    let mut now = ask(act, read.at)?;
    let lay_at = job.plan.job.lay_at.at;
    match stage.is_none() && !now.subject.runs {
        true => Some(ForJob { weighed: ask(Act::Lay, lay_at)?, stands: true }),
        false => {
            // What is known against it by then, a hold for one, is against it whether it is out already or not.
            let against = |one: &Against| one.word != Word::Yes;
            if stage.is_none() && read.at < lay_at && !now.against.iter().any(against) {
                now.against.extend(ask(Act::Lay, lay_at)?.against.into_iter().filter(against));
            }
            Some(ForJob { weighed: now, stands: false })
        }
    }
}
