//! Looking ahead through a job's planned lay-up and oven start, with the yard's spare time.

use crate::against::Against;
use crate::deadlines::{Bound, deadlines};
use crate::fact::{Label, Planned, What};
use crate::holds;
use crate::limits::{At, Limit, LimitState, first_of_material};
use crate::question::MayUseQuestion;
use crate::say::{Say, left, limit, so_far};
use crate::stage::{StageLife, stage_life, stages_of};
use crate::subject::Subject;
use shared_types::{Act, Code, Instant, Kind, LimitName, ThingName, Word};
use std::sync::Arc;

/// What comes of a plan. What is not laid yet may be laid as soon as now, whatever is planned: nothing more is said to
/// be left than that leaves.
#[derive(Default)]
pub(crate) struct PlanAnswer {
    /// All that stands against it; nothing, where everything holds through the plan.
    pub against: Vec<Against>,
    /// What the limit that ends first has left when the oven starts, were it laid now.
    pub life_left: Option<(i64, LimitName)>,
    /// Laid now it would not make the oven: its first ply must not be down before.
    pub first_ply_from: Option<Instant>,
    /// Until when it may wait for the oven, laid as soon as it may be.
    pub heating: Option<Bound>,
    /// The limit that ends first, were it laid now.
    pub ends_first: Option<Bound>,
}

fn cannot(say: String) -> Against {
    Against { word: Word::CannotSay, ..Against::no(say) }
}

/// Whether everything holds through the plan, and what is left then.
pub(crate) fn against_plan(
    read: At<'_>,
    subject: &Subject,
    question: &MayUseQuestion,
    job: &Code,
    spare_ms: i64,
    say: &Say,
) -> PlanAnswer {
    let at = read.at;
    let mut answer = PlanAnswer::default();
    let name = ThingName::new(Kind::Job, job);
    let label = read.view.book.label(&name);
    let Some((label, plan)) = label.and_then(|label| Some((label, read.view.plan(label, at)?))) else {
        answer.against.push(cannot(format!("Nobody has opened the job {job}.")));
        return answer;
    };
    answer.against = not_for(read, subject, job, label, plan);
    for hold in holds::in_force(read.view, &[label].into(), at, say) {
        answer.against.push(Against::no(format!("{job} is held: {}.", hold.why)));
    }
    let (lay_at, oven_at) = (plan.job.lay_at.at, plan.job.oven_at.at);
    let laying = question.act != Act::Oven;
    if (laying && lay_at < at) || oven_at < at {
        let (what, when) = if laying && lay_at < at { ("lay-up", lay_at) } else { ("oven start", oven_at) };
        let passed = format!("The planned {what} of {job} passed {}. Plan it again.", say.time(when, at));
        answer.against.push(cannot(passed));
        return answer;
    }
    let lay_by = lay_at.plus_ms(spare_ms);
    let oven_by = oven_at.plus_ms(spare_ms);
    let lying = lying_in(read, plan.part, question);
    for set in &subject.limits.sets {
        let ends = deadlines(set, at, question.act, subject.laid, 0);
        let tack = clock_end(set, LimitName::TackLife, at).filter(|_| laying && !subject.laid);
        let out = clock_end(set, LimitName::OutLife, at);
        let shelf = shelf_ends(set, subject.laid);
        let planned = if question.act == Act::Lay { at } else { lay_at };
        let cure = to_cure(read, set, planned, subject, &lying);
        let soonest = to_cure(read, set, planned.min(at), subject, &lying);
        let laid_tests = [tack, shelf.0].into_iter().flatten().map(|bound| (bound, lay_at, lay_by));
        let oven_tests = [out, shelf.1, cure].into_iter().flatten().map(|bound| (bound, oven_at, oven_by));
        for ((end, name), planned, by) in laid_tests.chain(oven_tests) {
            if end < by {
                answer.against.push(falls_short(read, question.act, job.as_str(), (end, name), planned, by, say));
            }
        }
        let first = [out, shelf.1, soonest].into_iter().flatten().min();
        let left = first.or(ends.heating).map(|(end, name)| (end.since(oven_at), name));
        answer.life_left = [answer.life_left, left].into_iter().flatten().min();
        answer.ends_first = [answer.ends_first, tack, shelf.0, first].into_iter().flatten().min();
        // As much later as it would be too early now.
        let too_early = soonest.filter(|(end, _)| *end < oven_by).map(|(end, _)| at.plus_ms(oven_by.since(end)));
        answer.first_ply_from = answer.first_ply_from.max(too_early);
        let heating = soonest.map(|(end, name)| (end.max(oven_by), name));
        answer.heating = [answer.heating, heating].into_iter().flatten().min();
    }
    answer
}

/// Whether it is for this job at all: its material, the job a kit was cut for, the part a job makes.
fn not_for(read: At<'_>, subject: &Subject, job: &Code, label: Label, plan: &Planned) -> Vec<Against> {
    let book = read.view.book;
    let name = book.name(subject.label).short();
    if subject.laid {
        let makes = book.name(plan.part).short();
        let other = subject.label != plan.part;
        return other.then(|| Against::no(format!("{job} makes {makes}, not {name}."))).into_iter().collect();
    }
    if book.kind(subject.label) == Kind::Kit {
        let jobs = kit_jobs(read, subject.label);
        let other = !jobs.is_empty() && !jobs.contains(&label);
        let cut_for = jobs.iter().map(|job| book.name(*job).short()).collect::<Vec<_>>().join(", ");
        return other.then(|| Against::no(format!("{name} was cut for {cut_for}."))).into_iter().collect();
    }
    let needs: Vec<&str> = plan.job.needs.iter().map(|need| need.material.as_str()).collect();
    let lives = subject.lives_of(subject.label);
    let other =
        lives.iter().map(|life| book.name(life.received.material).short()).find(|material| !needs.contains(material));
    match other {
        Some(material) if !needs.is_empty() => {
            vec![Against::no(format!("{job} needs {}; {name} is {material}.", needs.join(", ")))]
        }
        Some(_) | None => Vec::new(),
    }
}

fn kit_jobs(read: At<'_>, kit: Label) -> Vec<Label> {
    let cuts = read.view.facts(kit).filter_map(|fact| match &fact.what {
        What::Cut(cut) => Some(cut),
        _ => None,
    });
    cuts.flat_map(|cut| cut.kits.iter().filter(|one| one.kit == kit).map(|one| one.job)).collect()
}

fn falls_short(
    read: At<'_>,
    act: Act,
    job: &str,
    (end, name): (Instant, LimitName),
    planned: Instant,
    by: Instant,
    say: &Say,
) -> Against {
    let at = read.at;
    let when = say.time(planned, at);
    let (spare, on_top) = match planned <= end {
        true => (", spare time included", format!(", and {} of spare time comes on top", left(by.since(planned)))),
        false => ("", String::new()),
    };
    let late = so_far(by.since(end));
    let text = match name {
        LimitName::LayToCure if act == Act::Lay => {
            format!(
                "If its first ply went down now, the oven for {job}, planned {when}, would come {late} too late for its lay-to-cure limit{spare}."
            )
        }
        LimitName::LayToCure => {
            format!("The oven for {job}, planned {when}, comes {late} too late for its lay-to-cure limit{spare}.")
        }
        _ => {
            let what = if name == LimitName::TackLife { "last ply of" } else { "oven for" };
            let has = match end < at {
                true => format!("It is {} over its {}", so_far(at.since(end)), limit(name)),
                false => format!("{} of {} left", left(end.since(at)), limit(name)),
            };
            format!("{has}; the {what} {job} is planned in {}{on_top}.", left(planned.since(at)))
        }
    };
    Against { limit: Some(name), ends: Some(end), ..Against::no(text) }
}

fn clock_end(set: &[Limit], name: LimitName, at: Instant) -> Option<(Instant, LimitName)> {
    set.iter().find_map(|limit| match limit.state {
        LimitState::Clock { passed, .. } if limit.name == name => {
            Some((passed.unwrap_or_else(|| at.plus_ms(limit.state.left_at_worst().unwrap_or(0))), name))
        }
        _ => None,
    })
}

type Ends = (Option<(Instant, LimitName)>, Option<(Instant, LimitName)>);

/// The shelf life's end, where the lay-up or the oven will test it.
fn shelf_ends(set: &[Limit], laid: bool) -> Ends {
    use shared_types::TestedAt;
    set.iter()
        .find_map(|limit| match limit.state {
            LimitState::Date { end, by: TestedAt::Lay, tested: false, .. } if !laid => {
                Some((Some((end, limit.name)), None))
            }
            LimitState::Date { end, by: TestedAt::Oven, tested: false, .. } => Some((None, Some((end, limit.name)))),
            _ => None,
        })
        .unwrap_or((None, None))
}

/// Lay-to-cure's end: from the first ply of this material that lies there, else from the first that will, at this time.
fn to_cure(
    read: At<'_>,
    set: &[Limit],
    first_ply: Instant,
    subject: &Subject,
    lying: &[Arc<StageLife>],
) -> Option<Bound> {
    let name = LimitName::LayToCure;
    set.iter().find_map(|limit| match limit.state {
        LimitState::Clock { .. } if limit.name == name => clock_end(set, name, read.at),
        LimitState::NotLaid { allowed, .. } => {
            let lives = subject.lives_of(limit.item);
            let there = lying
                .iter()
                .flat_map(|stage| lives.iter().filter_map(|life| first_of_material(stage, life, read.at)))
                .min();
            let from = there.map_or(first_ply, |there| there.min(first_ply));
            Some((from.plus_ms(allowed), name))
        }
        _ => None,
    })
}

/// The stages of the job's part in which something lies that no oven has started.
fn lying_in<'b>(read: At<'b>, part: Label, question: &MayUseQuestion) -> Vec<Arc<StageLife>> {
    if question.act == Act::Oven {
        return Vec::new();
    }
    let named = |stage: &shared_types::StageName| question.stage.as_ref().is_none_or(|asked| asked == stage);
    let stages = stages_of(read.view, part).into_iter().filter(named).map(|stage| stage_life(read.view, part, &stage));
    stages.filter(|stage| matches!(stage.oven(read.at), crate::stage::Oven::NotStarted)).collect()
}
