//! What does not add up: derived from the facts, never stored, settled by a person in words.

use crate::book::Book;
use crate::cold;
use crate::fact::{DOUBTFUL_MS, Fact, Label, What};
use crate::finding::{Finding, shown};
use crate::history::{Puzzle, fits};
use crate::holds;
use crate::judge;
use crate::kit::kit_life;
use crate::opening;
use crate::part_checks;
use crate::puzzle::{dated, puzzle};
use crate::question::When;
use crate::rights;
use crate::roll::{RollLife, roll_life};
use crate::run_checks;
use crate::say::Say;
use crate::stage::{stage_life, stages_of};
use crate::view::View;
use shared_types::{Kind, Mismatch, Settlement};
use std::sync::Arc;

/// The mismatches that one entry brought about.
pub fn of_entry(book: &Book, seq: u64, when: When) -> Vec<Mismatch> {
    let view = View::new(book, when.known);
    let Ok(seq) = u32::try_from(seq) else { return Vec::new() };
    let mut all: Vec<Mismatch> =
        book.kept_under(seq).into_iter().flat_map(|label| of_thing(view, label, Some(seq))).collect();
    all.sort_by(|one, other| (&one.kind, &one.thing).cmp(&(&other.kind, &other.thing)));
    all
}

/// Everything about one thing that does not add up, settled or not.
pub fn all_of_thing(view: View<'_>, label: Label) -> Arc<Vec<Mismatch>> {
    view.kept(label, || of_thing(view, label, None))
}

/// Everything about one thing that does not add up, settled or not; about one entry only if asked so.
pub fn of_thing(view: View<'_>, label: Label, only: Option<u32>) -> Vec<Mismatch> {
    let say = Say::of(view, shared_types::Instant::MAX);
    let mut found = Vec::new();
    // Whether a settlement settles anything shows only beside everything that arises.
    let asked = only;
    let settles = |seq: u32| view.book.entry(seq).is_some_and(|meta| meta.kind == "mismatch_settled");
    let only = only.filter(|seq| !settles(*seq));
    match view.book.kind(label) {
        Kind::Roll => of_roll(view, label, only, &say, &mut found),
        Kind::Kit => of_kit(view, label, only, &say, &mut found),
        Kind::Part => of_part(view, label, only, &say, &mut found),
        Kind::Run => run_checks::of_run(view, label, &say, &mut found),
        Kind::Device => of_device(view, label, &mut found),
        _ => {}
    }
    for fact in view.facts(label).filter(|fact| only.is_none_or(|only| only == fact.seq)) {
        of_fact(view, label, fact, &say, &mut found);
    }
    of_settlements(view, label, only, &mut found);
    found.retain(|finding| asked.is_none_or(|asked| asked == finding.seq));
    found.sort_by_key(|finding| (finding.seq, finding.kind));
    found.dedup_by_key(|finding| (finding.seq, finding.kind));
    found.into_iter().filter_map(|finding| shown(view, label, finding, &say)).collect()
}

/// What an act did.
fn done(fact: &Fact) -> &'static str {
    match fact.what {
        What::TakenOut { .. } => "taken out",
        What::Cut(_) => "cut",
        What::Laid(_) => "laid",
        What::RunStarted(_) => "put into the oven",
        What::Disposed { .. } => "thrown away",
        _ => "used",
    }
}

fn of_roll(view: View<'_>, label: Label, only: Option<u32>, say: &Say, found: &mut Vec<Finding>) {
    let roll = roll_life(view, label);
    let name = view.book.name(label).short();
    found.extend(roll.history.found.iter().map(|one| puzzle(view, label, one, say)));
    if roll.lives.is_empty() {
        let first =
            view.facts(label).find(|fact| !matches!(fact.what, What::ActsOn(_) | What::Held(_) | What::SetAside));
        found.extend(first.map(|fact| Finding::new("not_received", fact.seq, format!("Nobody has received {name}."))));
    }
    found.extend(roll.lives.iter().skip(1).map(|life| {
        Finding::new(
            "received_twice",
            life.receipt.seq,
            format!("{name} was received twice; for each limit the worse receipt binds."),
        )
    }));
    found.extend(roll.lives.iter().filter_map(|life| opening::after_first_fact(view, label, life, say)));
    let beyond = |fact: &&Fact| roll.beyond.contains(&fact.seq);
    found.extend(view.facts(label).filter(beyond).map(|fact| {
        let say = format!("More of {name} was {} {} than was left of it.", done(fact), dated(fact.at, say));
        Finding::new("cut_beyond_length", fact.seq, say)
    }));
    of_end(view, label, roll.end, say, found);
    of_cuts(view, &roll, only, say, found);
    of_issues(view, label, only, found);
}

fn of_cuts(view: View<'_>, roll: &RollLife, only: Option<u32>, say: &Say, found: &mut Vec<Finding>) {
    let acts = view.facts(roll.roll).filter(|fact| only.is_none_or(|only| only == fact.seq));
    for (fact, act) in acts.filter_map(|fact| Some((fact, judge::act_of_roll(roll.roll, fact)?))) {
        judged(view, fact, &judge::roll_act(view, roll, fact, act), found);
        let above = || holds::above(view, roll.roll, fact.at);
        held(view, roll.roll, fact, above, say, found);
    }
}

fn held(
    view: View<'_>,
    label: Label,
    fact: &Fact,
    above: impl FnOnce() -> std::collections::BTreeSet<Label>,
    say: &Say,
    found: &mut Vec<Finding>,
) {
    if view.book.ever_held().is_empty() {
        return;
    }
    let holds = holds::in_force(view, &above(), fact.at, say);
    if let Some(hold) = holds.first() {
        let name = view.book.name(label).short();
        let on = if hold.on == *view.book.name(label) { "it" } else { hold.on.short() };
        let text = format!("{name} was {} {} while {on} was held: {}.", done(fact), dated(fact.at, say), hold.why);
        found.push(Finding::new("acted_while_held", fact.seq, text));
    }
}

fn judged(view: View<'_>, fact: &Fact, judgement: &judge::Judged, found: &mut Vec<Finding>) {
    for over in judgement.over() {
        let item = view.book.name(over.item).short();
        let by = match over.name {
            shared_types::LimitName::Refreezes if over.left == -1 => "1 return to the cold".to_owned(),
            shared_types::LimitName::Refreezes => format!("{} returns to the cold", over.left.saturating_neg()),
            _ => crate::say::so_far(over.left.saturating_neg()),
        };
        found.push(Finding::new(
            "limit_over_at_act",
            fact.seq,
            format!(
                "{item} was {by} over its {} when it was {} {}.",
                crate::say::limit(over.name),
                done(fact),
                dated(fact.at, &Say::of(view, fact.at))
            ),
        ));
    }
}

fn of_kit(view: View<'_>, label: Label, only: Option<u32>, say: &Say, found: &mut Vec<Finding>) {
    let kit = kit_life(view, label);
    found.extend(kit.history.found.iter().map(|one| puzzle(view, label, one, say)));
    if kit.items.is_empty() {
        let first =
            view.facts(label).find(|fact| !matches!(fact.what, What::ActsOn(_) | What::Held(_) | What::SetAside));
        let name = view.book.name(label).short();
        found.extend(first.map(|fact| Finding::new("not_received", fact.seq, format!("Nobody has cut a kit {name}."))));
    }
    of_end(view, label, kit.end, say, found);
    for fact in view.facts(label).filter(|fact| only.is_none_or(|only| only == fact.seq)) {
        let Some(judgement) = judge::kit_act(view, &kit, fact) else { continue };
        judged(view, fact, &judgement, found);
        held(view, label, fact, || holds::above(view, label, fact.at), say, found);
    }
    of_issues(view, label, only, found);
}

/// Something was done with what was thrown away.
fn of_end(view: View<'_>, label: Label, end: Option<crate::roll::End>, say: &Say, found: &mut Vec<Finding>) {
    let Some(end) = end.filter(|end| end.disposed) else { return };
    let name = view.book.name(label).short();
    for fact in view.facts(label).filter(|fact| end.at < fact.at) {
        let used = matches!(
            fact.what,
            What::Cut(_) | What::Laid(_) | What::TakenOut { .. } | What::PutAway { .. } | What::Seen { .. }
        );
        if used {
            let text =
                format!("{name} was thrown away {}, and yet something was done with it later.", dated(end.at, say));
            found.push(Finding::new("acted_after_disposed", fact.seq, text));
        }
    }
}

fn of_part(view: View<'_>, label: Label, only: Option<u32>, say: &Say, found: &mut Vec<Finding>) {
    for stage in stages_of(view, label) {
        let life = stage_life(view, label, &stage);
        for fact in view.facts(label).filter(|fact| only.is_none_or(|only| only == fact.seq)) {
            let Some(judgement) = judge::stage_act(view, &life, fact) else { continue };
            judged(view, fact, &judgement, found);
            held(view, label, fact, || holds::above_stage(view, &life, fact.at), say, found);
            part_checks::laid_wrongly(view, label, fact, &life, say, found);
        }
    }
    part_checks::installed_wrongly(view, label, only, say, found);
}

fn of_device(view: View<'_>, label: Label, found: &mut Vec<Finding>) {
    let name = view.book.name(label).short();
    for (before, next, seq) in view.book.counter_gaps(label, view.known) {
        let (first, last) = (before + 1, next - 1);
        let gap = if first == last {
            format!("{name}: {first} never arrived.")
        } else {
            format!("{name}: {first} to {last} never arrived.")
        };
        found.push(Finding::new("counter_gap", seq, gap));
    }
}

/// A decision judged again at its own time, with today's facts.
fn of_issues(view: View<'_>, label: Label, only: Option<u32>, found: &mut Vec<Finding>) {
    for fact in view.facts(label).filter(|fact| only.is_none_or(|only| only == fact.seq)) {
        let What::Issued { thing, job } = fact.what else { continue };
        if thing != label {
            continue;
        }
        if let Err(refusal) = crate::issue::may_issue(view, label, &view.book.code(job), fact.at) {
            let name = view.book.name(label).short();
            let (job, at) = (view.book.name(job).short(), dated(fact.at, &Say::of(view, fact.at)));
            let text = format!(
                "{name} was issued to {job} {at}. By what is known now it would have been refused then: {refusal}"
            );
            found.push(Finding::new("decision_would_be_refused", fact.seq, text));
        }
    }
}

/// A settlement whose mismatch no longer arises does nothing, and is a mismatch itself.
fn of_settlements(view: View<'_>, label: Label, only: Option<u32>, found: &mut Vec<Finding>) {
    let arises: Vec<(u32, &str)> = found.iter().map(|one| (one.seq, one.kind)).collect();
    let open = found.iter().filter(|one| one.settled_by.is_none() && is_puzzle(one.kind));
    let not_followed: Vec<(u32, &str)> = open.map(|one| (one.seq, one.kind)).collect();
    let settlements = view.facts(label).filter(|_| only.is_none()).filter_map(|fact| {
        let What::ActsOn(on) = fact.what else { return None };
        let (_, kind, other) = view.settlements(on).find(|(by, _, _)| *by == fact.seq)?;
        if other == Some(label) {
            return None;
        }
        let last = || view.settlement(label, kind, on).filter(|(by, _, _)| *by == fact.seq);
        let why = match (arises.contains(&(on, kind)), not_followed.contains(&(on, kind))) {
            (false, _) => "it does not arise",
            (true, true) => last().map(|(_, answer, _)| not_meant(answer))?,
            (true, false) => return None,
        };
        let text = format!("What was said of entry {on}, about {}, settles nothing: {why}.", words(kind));
        Some(Finding::new("settles_nothing", fact.seq, text))
    });
    let settlements: Vec<Finding> = settlements.collect();
    found.extend(settlements);
    for one in found.iter_mut().filter(|one| one.settled_by.is_none() && !is_puzzle(one.kind)) {
        one.settled_by = view.settlement(label, one.kind, one.seq).map(|(by, _, _)| by);
        one.ask = one.ask.take().filter(|_| one.settled_by.is_none());
    }
}

/// Why an answer is not followed though its question stands.
fn not_meant(answer: &Settlement) -> &'static str {
    match answer {
        Settlement::OutSince(_) | Settlement::PutAwayAt(_) => "it names a time after that scan",
        Settlement::Other(_) => "nobody received or cut what it names",
        _ => "it can't be meant for that",
    }
}

fn is_puzzle(kind: &str) -> bool {
    puzzle_named(kind).is_some()
}

/// The kind of puzzle a mismatch's name means, if it is one about where a thing was.
pub fn puzzle_named(kind: &str) -> Option<Puzzle> {
    use Puzzle::*;
    let all =
        [OutWhileOut, InWhileIn, InWhileInElsewhere, SeenInsideWhileOut, ActedWhileInside, PutAwayNotAfterTakeOut];
    all.into_iter().find(|puzzle| puzzle.name() == kind)
}

/// What a kind of mismatch is called among people.
pub fn words(kind: &str) -> &'static str {
    match kind {
        "out_while_out" => "a take-out while it was out",
        "in_while_in" => "a put-away where it was already",
        "in_while_in_elsewhere" => "a put-away elsewhere without a take-out",
        "seen_inside_while_out" => "a sighting in the cold while it was out",
        "acted_while_inside" => "a use while it was in the cold",
        "put_away_not_after_take_out" => "a put-away that is not surely after its take-out",
        "acted_while_held" => "a use while it was held",
        "acted_after_disposed" => "a use after it was thrown away",
        "limit_over_at_act" => "a limit that was over when it was used",
        "cut_beyond_length" => "more cut than there was",
        "not_received" => "a use of what nobody received or cut",
        "received_twice" => "a second receipt",
        "opening_after_receipt" | "opening_after_first_fact" => "an out-time stated as of too late",
        "laid_not_in_kit" => "plies laid from a kit that has none of them",
        "laid_twice" => "plies laid that were laid already",
        "laid_after_oven_start" => "plies laid after its oven started",
        "installed_not_cured" => "a part installed without its cure",
        "installed_twice" => "a part installed in two boats",
        "removed_not_installed" => "a part removed from where it was not",
        "started_twice" => "a run started twice",
        "in_two_runs" => "a stage in two oven runs at once",
        "commit_outside_run" => "a cure under way before its start or too long after it",
        "ends_contradict" => "ends of a run that contradict each other",
        "decision_would_be_refused" => "a decision that would be refused today",
        "settles_nothing" => "an answer that settles nothing",
        "place_too_warm" => "a freezer that may be too warm for it",
        "place_not_declared" => "a place that nobody declared",
        "begun_wrongly" => "a first ply before there was anything to lay, or after the last",
        "device_said_otherwise" => "a time that its device does not say",
        "clock_doubtful" => "a time that is not sure",
        "counter_gap" => "scans that never arrived",
        "set_aside" => "something that could not be read",
        "role_does_not_fit" => "a fact from a role that does not fit",
        _ => "what does not add up",
    }
}

/// Whether an answer can be meant for a mismatch.
pub fn answer_fits(kind: &str, answer: &Settlement) -> bool {
    puzzle_named(kind).is_none_or(|puzzle| fits(puzzle, answer))
}

fn of_fact(view: View<'_>, label: Label, fact: &Fact, say: &Say, found: &mut Vec<Finding>) {
    let Some(meta) = view.book.entry(fact.seq).filter(|meta| meta.thing == label) else { return };
    let name = view.book.name(label).short();
    if matches!(fact.what, What::SetAside) {
        found.push(Finding::new(
            "set_aside",
            fact.seq,
            format!("Something about {name} was sent that could not be read; it is kept as it came."),
        ));
    }
    if let What::Received(received) = &fact.what
        && received.opening.as_ref().is_some_and(|opening| fact.at < opening.as_of.at)
    {
        let text =
            format!("The out-time {name} came with is said to be as of after it came; it counts from its receipt.");
        found.push(Finding::new("opening_after_receipt", fact.seq, text));
    }
    if fact.marks.said_otherwise && view.waits(fact) {
        let at = dated(meta.occurred_at, say);
        let text = format!(
            "{name}: its device does not say that it was {at}. It counts where it takes life, until somebody confirms it."
        );
        let ask = Some(format!("Was it {at}? Confirm it, or strike it and write the right time."));
        found.push(Finding { ask, ..Finding::new("device_said_otherwise", fact.seq, text) });
    }
    if let Some(why) = rights::misfit(view.book, fact.seq) {
        found.push(Finding::new("role_does_not_fit", fact.seq, format!("{name}: {why}")));
    }
    let ahead = meta.occurred_at.since(meta.recorded_at);
    if DOUBTFUL_MS < ahead || DOUBTFUL_MS < i64::from(fact.uncertain_ms) {
        found.push(Finding::new(
            "clock_doubtful",
            fact.seq,
            format!("The time of this entry about {name} is not sure: the clock was wrong."),
        ));
    }
    if let What::PutAway { into, .. } = fact.what
        && let Some(why) = cold::why_out(view, label, into, fact.at)
    {
        found.push(Finding::new("place_too_warm", fact.seq, format!("{name}: {why}")));
    }
    let undeclared = match fact.what {
        What::PutAway { into: place, .. } | What::Seen { place, .. } => {
            Some(place).filter(|place| view.place(*place, fact.at).is_none())
        }
        _ => None,
    };
    if let Some(place) = undeclared {
        let place = view.book.name(place).short();
        found.push(Finding::new(
            "place_not_declared",
            fact.seq,
            format!("Nobody has declared {place}: {name} counts as out there."),
        ));
    }
}
