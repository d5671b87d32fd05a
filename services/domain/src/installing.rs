//! May a part be installed? Only with the record of a confirmed cure, within life, and while nothing holds it.

use crate::RULES;
use crate::book::Book;
use crate::cure::cure;
use crate::fact::{Label, Planned, What};
use crate::guard::guarded;
use crate::holds;
use crate::judge::{Judged, stage_act};
use crate::may_use::clock_doubt;
use crate::mismatch::all_of_thing;
use crate::question::When;
use crate::run_checks::{self, IN_TWO_RUNS};
use crate::say::{Say, limit, so_far};
use crate::stage::{stage_life, stages_of};
use crate::trace::boat_of;
use crate::view::View;
use shared_types::{Code, Instant, Kind, LimitName, MayInstall, ThingName, Word};
use std::collections::BTreeSet;

/// The worst word that applies wins, with every reason for it. None: nobody has named the part.
pub fn may_install(book: &Book, part: &ThingName, boat: Option<&Code>, when: When) -> Option<MayInstall> {
    let view = View::new(book, when.known);
    let label = book.label(part)?;
    let found =
        guarded(|| (against(view, label, when), boat.map_or_else(Vec::new, |boat| doubts(view, label, boat, when))));
    let failed = || (vec![(Word::CannotSay, "Its history can't be worked out.".to_owned())], Vec::new());
    let (mut against, mut notes) = found.unwrap_or_else(failed);
    against.extend(clock_doubt(view, when).map(|why| (Word::CannotSay, why)));
    // What is doubtful about the pair of them is the answer, unless something worse is.
    if against.iter().all(|(word, _)| *word <= Word::CannotSay) {
        against.extend(notes.drain(..).map(|doubt| (Word::CannotSay, doubt)));
    }
    let answer = against.iter().map(|(word, _)| *word).max().unwrap_or(Word::Yes);
    let say = match answer {
        Word::Yes | Word::NotYet => format!("{} may be installed.", part.short()),
        Word::CannotSay => "Can't say yet.".to_owned(),
        Word::No | Word::Stop => format!("Do not install {}.", part.short()),
    };
    let why = against.into_iter().filter(|(word, _)| *word == answer).map(|(_, why)| why);
    let why: Vec<String> = if answer == Word::Yes { vec![ready(part)] } else { why.collect() };
    Some(MayInstall {
        answer,
        part: part.clone(),
        boat: boat.cloned(),
        say,
        why,
        notes,
        at: Say::of(view, when.at).stamp(when.at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    })
}

/// What makes it doubtful that this part belongs in this boat.
fn doubts(view: View<'_>, part: Label, boat: &Code, when: When) -> Vec<String> {
    let (book, name) = (view.book, view.book.name(part).short());
    let mut doubts = Vec::new();
    let planned = planned(view, part, when.at).pop().and_then(|(job, plan)| Some((job, plan.job.boat.as_ref()?)));
    if let Some((job, other)) = planned.filter(|(_, planned)| *planned != boat) {
        doubts.push(format!("{name} was planned for boat {other}, by {}.", book.name(job).short()));
    }
    match book.label(&ThingName::new(Kind::Boat, boat)) {
        None => doubts.push(format!("Nobody has named a boat {boat} before.")),
        Some(boat) => {
            let lists = view.facts(boat).filter(|fact| fact.at <= when.at).filter_map(|fact| match &fact.what {
                What::BoatList(parts) => Some(parts),
                _ => None,
            });
            if lists.last().is_some_and(|parts| !parts.contains(&part)) {
                doubts.push(format!("{name} is not on the list of boat {}.", book.name(boat).short()));
            }
        }
    }
    doubts
}

/// The jobs that make a part, each with its last plan; the one that was planned last stands last.
fn planned(view: View<'_>, part: Label, at: Instant) -> Vec<(Label, &Planned)> {
    let mut plans: Vec<(Label, &Planned)> = Vec::new();
    for fact in view.facts(part).filter(|fact| fact.at <= at) {
        let What::Planned(plan) = &fact.what else { continue };
        let Some(meta) = view.book.entry(fact.seq) else { continue };
        plans.retain(|(job, _)| *job != meta.thing);
        plans.push((meta.thing, plan));
    }
    // A job that was planned anew for another part makes this one no more.
    plans.retain(|(job, plan)| plan.part == part && view.plan(*job, at).is_none_or(|last| last.part == part));
    plans
}

/// All that stands against it.
fn against(view: View<'_>, label: Label, when: When) -> Vec<(Word, String)> {
    let (book, part) = (view.book, view.book.name(label));
    let say = Say::of(view, when.at);
    let mut against: Vec<(Word, String)> = Vec::new();
    let planned = planned(view, label, when.at);
    let mut above = BTreeSet::from([label]);
    let stages = stages_of(view, label);
    if stages.is_empty() {
        against.push((Word::CannotSay, format!("Nobody has recorded what {} is made of.", part.short())));
    }
    for name in stages {
        let stage = stage_life(view, label, &name);
        if stage.lying(when.at).next().is_none() {
            // A stage of older plans is no stage any more, once no job plans it.
            if !planned.is_empty() && planned.iter().all(|(_, plan)| !plan.job.stages.contains(&name)) {
                continue;
            }
            against.push((Word::CannotSay, format!("{name}: nothing is laid, by the book.")));
            continue;
        }
        let cure = cure(view, &stage, when.at, &say);
        if !cure.confirmed {
            against.push((Word::No, format!("{name}: no confirmed cure.")));
        }
        against.extend(cure.in_doubt.iter().map(|why| (Word::CannotSay, format!("{name}: {why}"))));
        if cure.lay_up_told {
            let why = format!("{name}: part of its lay-up was told and nobody confirmed it yet.");
            against.push((Word::CannotSay, why));
        }
        let facts = view.facts(label).filter(|fact| fact.at <= when.at);
        let acts: Vec<Judged> = facts.filter_map(|fact| stage_act(view, &stage, fact)).collect();
        against.extend(acts.iter().flat_map(Judged::over).min_by_key(|limit| limit.left).map(|over| {
            let item = book.name(over.item).short();
            let by = match over.name {
                LimitName::Refreezes => format!("{item} went back into the cold too often"),
                of => format!("{item} was {} over its {}", so_far(over.left.saturating_neg()), limit(of)),
            };
            (Word::No, format!("{name}: {by}."))
        }));
        against.extend(acts.iter().flat_map(|act| &act.missing).next().map(|(of, item, _)| {
            (Word::CannotSay, format!("{name}: the {} of {} is missing.", limit(*of), book.name(*item).short()))
        }));
        above.extend(holds::above_stage(view, &stage, when.at));
        against.extend(cure.held.iter().map(|hold| (Word::No, format!("Held: {}.", hold.why.trim_end_matches('.')))));
    }
    let held = holds::in_force(view, &above, when.at, &say).into_iter();
    against.extend(held.map(|hold| {
        let on = if hold.on == *part { String::new() } else { format!(" with {}", hold.on.short()) };
        let since = say.time(hold.since.at, when.at);
        (Word::No, format!("Held{on} since {since}: {}.", hold.why.trim_end_matches('.')))
    }));
    // Whose plies they are, and which run heated it, is not known before somebody has said so.
    let (own, of_runs) = (all_of_thing(view, label), run_checks::of_part(view, label, &Say::of(view, Instant::MAX)));
    let laid_twice = own.iter().filter(|one| one.kind == "laid_twice");
    let twice = laid_twice.chain(of_runs.iter().filter(|one| one.kind == IN_TWO_RUNS));
    let open = twice.filter(|one| one.settled_by.is_none() && one.at.at <= when.at);
    against.extend(open.map(|one| (Word::CannotSay, one.say.clone())));
    if let Some((boat, seq)) = boat_of(view, label, when.at) {
        let since =
            book.entry(seq).map_or(String::new(), |meta| format!(" since {}", say.time(meta.occurred_at, when.at)));
        against.push((Word::No, format!("It is in boat {}{since}.", book.name(boat).short())));
    }
    against
}

fn ready(part: &ThingName) -> String {
    format!("All that is laid of {} was laid and cured within life, and nothing holds it.", part.short())
}
