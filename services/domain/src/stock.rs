//! Lists of things of one kind, in the order of their codes. A page costs what it shows: no list folds the whole yard.

use crate::book::Book;
use crate::deliveries::delivered;
use crate::fact::{Label, Planned, Received, What};
use crate::guard::guarded;
use crate::jobs::cut_for;
use crate::limits::{At, LimitState, Limits, OvenMark};
use crate::mismatch;
use crate::question::When;
use crate::say::{Say, floor_s};
use crate::thing::{Standing, standing};
use crate::view::View;
use shared_types::{
    Code, EndsFirst, Instant, Kind, LimitName, NeedMet, Place, PlannedJob, StageName, StageView, State, StockRow,
    ThingName, Whereabouts,
};

/// What a list is asked for. What is not named is not looked at.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Filter {
    pub material: Option<Code>,
    /// The supplier's own number.
    pub batch: Option<Code>,
    pub place: Option<Code>,
    pub state: Option<State>,
    pub job: Option<Code>,
    pub boat: Option<Code>,
    pub held: Option<bool>,
    pub frozen: Option<bool>,
    /// Rolls that stand on a delivery's notes and that nobody received.
    pub missing: Option<bool>,
    /// Used up or thrown away.
    pub ended: Option<bool>,
}

/// A stretch of a list.
#[derive(Debug, Default)]
pub struct Stretch {
    pub rows: Vec<StockRow>,
    /// The last thing looked at, where more may come behind it.
    pub last: Option<ThingName>,
}

/// Rows from behind `after` on: at most so many, out of at most so many things looked at.
pub fn stretch(
    book: &Book,
    kind: Kind,
    filter: &Filter,
    after: Option<&ThingName>,
    most: usize,
    looked_at: usize,
    when: When,
) -> Stretch {
    let view = View::new(book, when.known);
    let read = At::new(view, when.at);
    let say = Say::of(view, when.at);
    let mut rows = Vec::new();
    for (place, (name, label)) in (1..).zip(book.in_order(kind, after)) {
        // A thing whose fold fails is missing here and says so when it is asked for.
        rows.extend(guarded(|| row(read, label, filter, &say)).flatten());
        if rows.len() == most || place == looked_at {
            return Stretch { rows, last: Some(name.clone()) };
        }
    }
    Stretch { rows, last: None }
}

/// The row of one thing, as its list has it.
pub fn one(book: &Book, thing: &ThingName, when: When) -> Option<StockRow> {
    let view = View::new(book, when.known);
    let label = book.label(thing)?;
    guarded(|| row(At::new(view, when.at), label, &Filter::default(), &Say::of(view, when.at)))?
}

fn row(read: At<'_>, label: Label, filter: &Filter, say: &Say) -> Option<StockRow> {
    let view = read.view;
    if !view.facts(label).any(|fact| fact.at <= read.at) || !cheaply(read, label, filter) {
        return None;
    }
    let kind = view.book.kind(label);
    let Standing { mut shown, limits, stages } = standing(read, label, say);
    let plan = if kind == Kind::Job { view.plan(label, read.at) } else { None };
    let part = plan.map(|plan| standing(read, plan.part, say));
    if let Some(Standing { shown: part, .. }) = &part {
        shown.whereabouts = part.whereabouts.clone();
        shown.say = part.say.clone();
    }
    let own_boat = |at: &Whereabouts| match at {
        Whereabouts::InBoat { boat, .. } => Some(boat.clone()),
        _ => None,
    };
    let planned_for = plan.and_then(|plan| plan.job.boat.clone());
    let boat = own_boat(&shown.whereabouts).or_else(|| planned_for.clone());
    let delivered = if kind == Kind::Delivery { delivered(read, label, say) } else { None };
    let jobs = if kind == Kind::Part { made_by(view, label) } else { shown.jobs };
    let ended = matches!(shown.whereabouts.state(), State::Consumed | State::Disposed);
    let ends_first = match (kind, part.as_ref()) {
        _ if ended => None,
        (Kind::Part, _) => first_of_stages(read, &shown.stages, &stages, say),
        (Kind::Job, Some(part)) => first_of_stages(read, &part.shown.stages, &part.stages, say),
        _ => first(read, &limits, None, say),
    };
    let came = delivered.as_ref();
    let keep = filter.place.as_ref().is_none_or(|place| shown.whereabouts.place() == Some(place))
        && filter.state.is_none_or(|state| shown.whereabouts.state() == state)
        && filter.job.as_ref().is_none_or(|job| jobs.contains(job))
        && filter.boat.as_ref().is_none_or(|of| boat.as_ref() == Some(of) || planned_for.as_ref() == Some(of))
        && filter.held.is_none_or(|held| shown.holds.is_empty() != held)
        && filter
            .material
            .as_ref()
            .is_none_or(|of| kind != Kind::Delivery || came.is_some_and(|came| came.materials.contains(of)))
        && filter.missing.is_none_or(|missing| came.is_some_and(|came| came.note.missing.is_empty() != missing))
        && filter.ended.is_none_or(|wanted| ended == wanted)
        && filter.frozen.is_none_or(|frozen| is_frozen(shown.declared.as_ref()) == Some(frozen));
    keep.then(|| StockRow {
        mismatches: mismatch::all_of_thing(view, label).iter().filter(|one| one.settled_by.is_none()).count() as u64,
        planned: plan.map(|plan| planned(read, label, plan, say)),
        thing: shown.thing,
        say: shown.say,
        whereabouts: shown.whereabouts,
        material: shown.material,
        revision: shown.revision,
        batch: shown.batch,
        length_left_mm: shown.length_left_mm,
        jobs,
        boat,
        ends_first,
        holds: shown.holds,
        delivered,
        declared: if kind == Kind::Job { None } else { shown.declared },
    })
}

/// What can be told without folding a thing's history.
fn cheaply(read: At<'_>, label: Label, filter: &Filter) -> bool {
    let view = read.view;
    let of_material = |material: &Code| match view.book.kind(label) {
        Kind::Roll => received(view, label).is_some_and(|received| view.book.code(received.material) == *material),
        Kind::Batch => view.book.name(label).code().split_once('/').is_some_and(|(of, _)| of == material.as_str()),
        Kind::Job => {
            view.plan(label, read.at).is_some_and(|plan| plan.job.needs.iter().any(|need| need.material == *material))
        }
        _ => true,
    };
    let of_batch = |batch: &Code| match view.book.kind(label) {
        Kind::Roll => {
            received(view, label).is_some_and(|received| view.book.name(received.batch).short() == batch.as_str())
        }
        _ => true,
    };
    filter.material.as_ref().is_none_or(of_material) && filter.batch.as_ref().is_none_or(of_batch)
}

fn received<'b>(view: View<'b>, roll: Label) -> Option<&'b Received> {
    view.facts(roll).find_map(|fact| match &fact.what {
        What::Received(received) if received.roll == roll => Some(&**received),
        _ => None,
    })
}

fn is_frozen(declared: Option<&serde_json::Value>) -> Option<bool> {
    serde_json::from_value::<Place>(declared?.clone()).ok().map(|place| place.frozen)
}

/// The jobs that were planned to make a part.
fn made_by(view: View<'_>, part: Label) -> Vec<Code> {
    let mut jobs: Vec<Code> = view
        .facts(part)
        .filter(|fact| matches!(&fact.what, What::Planned(plan) if plan.part == part))
        .filter_map(|fact| view.book.entry(fact.seq))
        .map(|meta| view.book.code(meta.thing))
        .collect();
    jobs.sort();
    jobs.dedup();
    jobs
}

fn first_of_stages(read: At<'_>, stages: &[StageView], limits: &[Limits], say: &Say) -> Option<EndsFirst> {
    let waits = |stage: &StageView| !matches!(stage.whereabouts, Whereabouts::InRun { confirmed: true, .. });
    let waiting = stages.iter().zip(limits).filter(|(stage, _)| waits(stage));
    waiting.filter_map(|(stage, limits)| first(read, limits, Some(&stage.stage), say)).min_by_key(soonest)
}

fn soonest(one: &EndsFirst) -> (bool, i64) {
    order(one.ends_at.map(|ends| ends.at), one.left_s)
}

/// What ends at a known instant before what stands still.
fn order(ends: Option<Instant>, left_s: i64) -> (bool, i64) {
    (ends.is_none(), ends.map_or(left_s, |ends| ends.0))
}

/// The limit that ends first: what runs before what stands still. In a run that nobody confirmed it runs on.
fn first(read: At<'_>, limits: &Limits, stage: Option<&StageName>, say: &Say) -> Option<EndsFirst> {
    let ends = limits.rows.iter().filter_map(|limit| {
        let (oven, runs) = match &limit.state {
            LimitState::Clock { oven, runs, .. } => (*oven, *runs),
            LimitState::Date { .. } => (OvenMark::default(), false),
            _ => return None,
        };
        let ends = limit.state.ends_at(read.at);
        // What was not laid yet waits for no cure.
        if limit.name == LimitName::LayToCure && ends.is_none() && !oven.not_confirmed {
            return None;
        }
        let never = oven.left_if_never.map(floor_s);
        let left_s = never.or(limit.state.left().map(floor_s))?;
        let never_ends = never.map(|left_s| read.at.plus_ms(left_s.saturating_mul(1_000)));
        let ends = ends.into_iter().chain(never_ends).min();
        Some((limit, ends, left_s, runs || never.is_some()))
    });
    let (limit, ends, left_s, runs) = ends.min_by_key(|(_, ends, left_s, _)| order(*ends, *left_s))?;
    Some(EndsFirst {
        limit: limit.name,
        item: read.view.book.name(limit.item_at_worst()).clone(),
        stage: stage.cloned(),
        ends_at: ends.map(|at| say.stamp(at)),
        left_s,
        runs,
    })
}

fn planned(read: At<'_>, job: Label, planned: &Planned, say: &Say) -> PlannedJob {
    let (view, plan) = (read.view, &planned.job);
    let mut issued = Vec::new();
    for fact in view.facts(job) {
        match &fact.what {
            What::Issued { thing, job: to } if *to == job => issued.push(view.book.name(*thing).clone()),
            What::Cut(nest) => {
                let kits = nest.kits.iter().filter(|kit| kit.job == job);
                issued.extend(kits.map(|kit| view.book.name(kit.kit).clone()));
            }
            _ => {}
        }
    }
    issued.sort();
    issued.dedup();
    let cut = cut_for(read, job, planned);
    let needs = plan.needs.iter().map(|need| {
        let material = view.book.label(&ThingName::new(Kind::Material, &need.material));
        NeedMet {
            material: need.material.clone(),
            length_mm: need.length_mm.get(),
            cut_mm: material.and_then(|material| cut.get(&material)).copied().unwrap_or(0),
        }
    });
    PlannedJob {
        part: ThingName::new(Kind::Part, &plan.part),
        boat: plan.boat.clone(),
        lay_at: say.stamp(plan.lay_at.at),
        oven_at: say.stamp(plan.oven_at.at),
        needs: needs.collect(),
        issued,
    }
}
