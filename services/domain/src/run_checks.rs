//! What does not add up about an oven run: started twice under one label, with a stage in it that was in another run, or
//! ended in two ways that can't both be.

use crate::fact::{Fact, Label, What};
use crate::finding::{Finding, shown};
use crate::puzzle::dated;
use crate::say::{Say, left, so_far};
use crate::stage::{COMMIT_OUTSIDE_RUN, RECORD_DELAY_MS, commit_fits};
use crate::view::View;
use shared_types::{Instant, Mismatch, StageName};
use std::collections::BTreeSet;

/// What somebody said came of a run.
#[derive(Clone, Copy)]
struct Said {
    seq: u32,
    at: Instant,
    committed_at: Option<Instant>,
    cured: Option<bool>,
    broke_off: bool,
}

impl Said {
    fn of(fact: &Fact) -> Option<Said> {
        let said = Said { seq: fact.seq, at: fact.at, committed_at: None, cured: None, broke_off: false };
        match fact.what {
            What::RunEnded { committed_at, cured, .. } => Some(Said { committed_at, cured, ..said }),
            What::RunInterrupted { .. } => Some(Said { broke_off: true, ..said }),
            _ => None,
        }
    }

    fn contradicts(self, other: Said) -> bool {
        let differ = |one: Option<bool>, other: Option<bool>| one.zip(other).is_some_and(|(one, other)| one != other);
        let two_commits = self.committed_at.zip(other.committed_at).is_some_and(|(one, other)| one != other);
        two_commits || differ(self.cured, other.cured) || self.denies(other) || other.denies(self)
    }

    /// What was not cured was under way by no other entry; what broke off was neither cured nor under way later.
    fn denies(self, other: Said) -> bool {
        let later = other.committed_at.is_some_and(|committed| self.at < committed);
        match self.broke_off {
            true => other.cured == Some(true) || later,
            false => self.cured == Some(false) && other.cured != Some(false) && other.committed_at.is_some(),
        }
    }

    fn words(self, say: &Say) -> String {
        match (self.broke_off, self.cured, self.committed_at) {
            (true, ..) => "it broke off".to_owned(),
            (false, Some(false), _) => "it was not cured".to_owned(),
            (false, _, Some(at)) => format!("its cure was under way {}", dated(at, say)),
            (false, Some(true), None) => "it was cured".to_owned(),
            (false, None, None) => "it ended".to_owned(),
        }
    }
}

pub(crate) const IN_TWO_RUNS: &str = "in_two_runs";

pub(crate) fn of_run(view: View<'_>, run: Label, say: &Say, found: &mut Vec<Finding>) {
    of_run_with(view, run, None, say, found);
}

/// `part`: only its stages are looked for in other runs.
fn of_run_with(view: View<'_>, run: Label, part: Option<Label>, say: &Say, found: &mut Vec<Finding>) {
    let name = view.book.name(run).short();
    let started = |fact: &&Fact| matches!(&fact.what, What::RunStarted(started) if started.run == run);
    let starts: Vec<&Fact> = view.facts(run).filter(started).collect();
    for (first, again) in
        starts.first().into_iter().flat_map(|first| starts.iter().skip(1).map(move |one| (first, one)))
    {
        let (first, at) = (dated(first.at, say), dated(again.at, say));
        let text = format!("{name} was started {first} and again {at}: what was in both waits until the later start.");
        let ask = Some(format!("Which start of {name} is right? Strike the other one."));
        found.push(Finding { ask, ..Finding::new("started_twice", again.seq, text) });
    }
    found.extend(starts.iter().filter_map(|start| in_two_runs(view, start, part, say)));
    found.extend(view.facts(run).filter_map(|end| outside_run(name, &starts, end, say)));
    let all: Vec<Said> = view.facts(run).filter_map(Said::of).collect();
    for (place, later) in all.iter().enumerate() {
        let Some(earlier) = all.iter().take(place).find(|earlier| later.contradicts(**earlier)) else { continue };
        let said = |one: &Said| format!("{} that {}", dated(one.at, say), one.words(say));
        let text = format!("Of {name} it was said {}, and {}.", said(earlier), said(later));
        let ask = Some(format!("What came of {name}? Strike what is wrong."));
        found.push(Finding { ask, ..Finding::new("ends_contradict", later.seq, text) });
    }
}

/// Stages put into this run while another with them was open by the book: begun no longer ago than a start waits for its
/// record, and nobody said before what came of it. It changes no limit: of two runs the first that is confirmed counts; the part is
/// installed once somebody has said which it was.
fn in_two_runs(view: View<'_>, again: &Fact, part: Option<Label>, say: &Say) -> Option<Finding> {
    let What::RunStarted(started) = &again.what else { return None };
    let asked = started.stages.iter().filter(|(of, _)| part.is_none_or(|part| part == *of));
    let told: Vec<String> = asked.filter_map(|stage| still_in(view, again, started.run, stage, say)).collect();
    let name = view.book.name(started.run).short();
    let (first, more) = told.split_first()?;
    let ask = match more.is_empty() {
        true => format!(
            "Which run was it in? Strike the start that is wrong, or say what came of the other run before {name}."
        ),
        false => format!(
            "Which run were they in? Strike the start that is wrong, or say what came of the other run before {name}."
        ),
    };
    let text = format!(
        "{name} was started {} with {first}{}.",
        dated(again.at, say),
        more.iter().map(|one| format!(", and with {one}")).collect::<String>()
    );
    Some(Finding { ask: Some(ask), ..Finding::new(IN_TWO_RUNS, again.seq, text) })
}

/// `P-1 skin, which was in RUN-1 since Tue 5 May 2026 12:00`
fn still_in(view: View<'_>, again: &Fact, run: Label, stage: &(Label, StageName), say: &Say) -> Option<String> {
    let before = view.facts(stage.0).take_while(|fact| fact.seq != again.seq);
    let open = before.filter(|fact| match &fact.what {
        What::RunStarted(other) => {
            let waits = again.at.since(fact.at) <= RECORD_DELAY_MS;
            let ended =
                || view.facts(other.run).filter_map(Said::of).any(|end| fact.at <= end.at && end.at <= again.at);
            other.run != run && other.stages.contains(stage) && waits && !ended()
        }
        _ => false,
    });
    let first = open.last()?;
    let What::RunStarted(other) = &first.what else { return None };
    let (part, other) = (view.book.name(stage.0).short(), view.book.name(other.run).short());
    Some(format!("{part} {}, which was in {other} since {}", stage.1, dated(first.at, say)))
}

/// A cure said to be under way before any start of its run, or so long after that the start was taken for none by then.
fn outside_run(name: &str, starts: &[&Fact], end: &Fact, say: &Say) -> Option<Finding> {
    let What::RunEnded { committed_at: Some(committed), .. } = end.what else { return None };
    let fits = starts.iter().any(|start| commit_fits(start, committed));
    let start = starts.last().filter(|_| !fits)?;
    let apart = committed.since(start.at);
    let how = match apart < 0 {
        true => format!("{} before its start", so_far(apart.saturating_neg())),
        false => format!("{} after its start, {} at most are believed", so_far(apart), left(RECORD_DELAY_MS)),
    };
    let (committed, started) = (dated(committed, say), dated(start.at, say));
    let text = format!(
        "Of {name}, started {started}, the cure is said to have been under way {committed}: {how}. It confirms nothing."
    );
    let ask = Some(format!("When was the cure of {name} under way? Strike what is wrong and write it again."));
    Some(Finding { ask, ..Finding::new(COMMIT_OUTSIDE_RUN, end.seq, text) })
}

/// The same of the runs a part was in, to be seen with the part.
pub(crate) fn of_part(view: View<'_>, part: Label, say: &Say) -> Vec<Mismatch> {
    let runs: BTreeSet<Label> = view
        .facts(part)
        .filter_map(|fact| match &fact.what {
            What::RunStarted(started) => Some(started.run),
            _ => None,
        })
        .collect();
    let mut all = Vec::new();
    for run in runs {
        let mut found = Vec::new();
        of_run_with(view, run, Some(part), say, &mut found);
        for mut one in found {
            one.settled_by = view.settlement(run, one.kind, one.seq).map(|(by, _, _)| by);
            one.ask = one.ask.filter(|_| one.settled_by.is_none());
            all.extend(shown(view, run, one, say));
        }
    }
    all
}

/// What does not add up about a run, and nobody has settled, in sentences.
pub struct Doubts {
    /// What was said of it that can't all be.
    pub contradictions: Vec<String>,
    /// What was in it was in another run by the book.
    pub in_two_runs: Vec<String>,
}

pub fn doubts(view: View<'_>, run: Label, say: &Say) -> Doubts {
    let mut found = Vec::new();
    of_run(view, run, say, &mut found);
    found.retain(|one| view.settlement(run, one.kind, one.seq).is_none());
    let (two, own): (Vec<Finding>, _) = found.into_iter().partition(|one| one.kind == IN_TWO_RUNS);
    let said = |all: Vec<Finding>| all.into_iter().map(|one| one.say).collect();
    Doubts { contradictions: said(own), in_two_runs: said(two) }
}

/// What was said of a run's end that can't all be, in words, while nobody has settled it.
pub(crate) fn ends_in_doubt(view: View<'_>, run: Label) -> Option<String> {
    let mut found = Vec::new();
    of_run(view, run, &Say::of(view, Instant::MAX), &mut found);
    let open = |one: &Finding| one.kind == "ends_contradict" && view.settlement(run, one.kind, one.seq).is_none();
    found.into_iter().find(open).map(|one| one.say)
}
