//! A stage of a part: what was laid in it, how long its plies have waited, and whether its oven run counts.

use std::collections::BTreeMap;

use super::ahead::look_ahead;
use super::book::Book;
use super::entry::{Entry, Minute};
use super::item::{Item, Stated, stated};
use super::life::{list, receipts, roll_life};
use super::limits::{Row, Verdict, View, add_worst, judge_row, view};
use super::{Question, cut_into, kit_items};

const MINUTES_A_DAY: Minute = 24 * 60;

pub fn stage(book: &Book, part: &str, stage: &str, question: &Question) -> View {
    let at = question.at;
    let lays: Vec<&Entry> = lays(book, part, stage).into_iter().filter(|laid| laid.at <= at).collect();
    if lays.is_empty() {
        return View::refused(Verdict::No, "nothing was laid by then");
    }
    let runs = runs(book, part, stage);
    let mut items = Vec::new();
    for laid in &lays {
        let Some(held) = laid_items(book, laid) else {
            return View::refused(Verdict::CannotSay, "a stranger was laid in it");
        };
        // A run cures what was laid before its start.
        let after: Vec<&Run> = runs.iter().filter(|run| laid.order() < run.start.order()).collect();
        let start = cure_start(&after, at);
        let (stands_from, unconfirmed) = (start.map(|(start, _)| start), start.is_some_and(|(_, sure)| !sure));
        items.extend(held.into_iter().map(|item| Item { laid: Some(laid), stands_from, unconfirmed, ..item }));
    }
    let mut view = view(book, &items, &question.act, at);
    let waits = items.iter().filter_map(|item| lay_to_cure(book, part, stage, &items, item, at));
    add_worst(&mut view, waits.collect());
    let at_worst = items.iter().filter_map(|item| lay_to_cure(book, part, stage, &items, &item.at_worst(), at));
    view.lies_until_ms = at_worst.map(|row| row.passed_ms.unwrap_or(at * 60_000 + row.left * 1000)).min();
    look_ahead(book, &items, &mut view, question);
    if question.act == "oven" {
        if let Some(row) = view.row("lay_to_cure").cloned() {
            judge_row(book, &mut view, &row);
        }
        // Lay-to-cure is known even where the opening out-time is not, but out-life may then be over as well.
        if items.iter().all(|item| item.stands_from.is_some_and(|stands| stands <= at)) {
            view.because(Verdict::No, "it is in its run".to_owned());
        }
    }
    if runs.iter().any(|run| run.interrupted.is_some() && !run.is_confirmed() && run.start.at <= at) {
        view.because(Verdict::CannotSay, "it was heated and the run broken off".to_owned());
    }
    if runs.iter().any(|run| run.not_cured_at.is_some_and(|denied| denied.max(run.start.at) <= at)) {
        view.because(Verdict::No, "it was answered: not cured".to_owned());
    }
    view
}

/// All acts that laid something in this stage.
fn lays<'log>(book: &Book<'log>, part: &str, stage: &str) -> Vec<&'log Entry> {
    let thing = format!("part/{part}");
    book.of_kind("plies_laid").filter(|laid| laid.thing == thing && laid.text("stage") == Some(stage)).collect()
}

/// From a kit the items that are named, else all of it; from a roll that roll. None if one of them is a stranger.
fn laid_items<'log>(book: &Book<'log>, laid: &Entry) -> Option<Vec<Item<'log>>> {
    let from = laid.text("from")?;
    if from.starts_with("kit/") {
        let named = named_items(laid);
        let is_meant = |roll: &String| named.is_empty() || named.contains(roll);
        let held = kit_items(book, from, laid.at, &is_meant).filter(|held| !held.is_empty())?;
        // One that is named and was not cut into it by then is a stranger as well.
        return named.iter().all(|roll| held.iter().any(|item| item.roll == *roll)).then_some(held);
    }
    let receipts = receipts(book, from);
    let item = |receipt: &'log Entry| Item {
        roll: from.to_owned(),
        receipt,
        in_roll: roll_life(book, from, receipt),
        in_kit: None,
        laid: None,
        stands_from: None,
        unconfirmed: false,
    };
    (!receipts.is_empty()).then(|| receipts.into_iter().map(item).collect())
}

fn named_items(laid: &Entry) -> Vec<String> {
    list(&laid.body["items"]).filter_map(|code| code.as_str()).map(|code| format!("roll/{code}")).collect()
}

/// A kit is used up by the act that lays the last of its items, or all of them at once; named items stay in it until
/// then, and what is cut into it later opens it again. Its clocks stand from that act's latest instant.
pub fn kit_used_up(book: &Book, label: &str) -> Option<(Minute, Option<Minute>)> {
    let of_kit = |fact: &&&Entry| match fact.kind.as_str() {
        "nest_cut" => super::life::cut_kits(fact).any(|kit| kit == label),
        "plies_laid" => fact.text("from") == Some(label),
        _ => false,
    };
    let mut facts: Vec<&&Entry> = book.entries.iter().filter(of_kit).collect();
    facts.sort_by_key(|fact| fact.order());
    // What it ever held, and whether that is in it still.
    let mut held: BTreeMap<String, bool> = BTreeMap::new();
    let mut used_up = None;
    for fact in facts {
        if fact.kind == "nest_cut" {
            held.extend(cut_into(fact, label).into_iter().map(|roll| (roll, true)));
            used_up = None;
            continue;
        }
        let named = named_items(fact);
        held.iter_mut()
            .filter(|(roll, _)| named.is_empty() || named.contains(roll))
            .for_each(|(_, there)| *there = false);
        if !held.is_empty() && held.values().all(|there| !there) {
            used_up = used_up.or(Some((fact.at, Some(fact.latest()))));
        }
    }
    used_up
}

/// How long the plies of one material have waited in this stage: since its first ply at the earliest, or since the
/// lay-up was complete where the sheet says so and that was recorded.
fn lay_to_cure(book: &Book, part: &str, stage: &str, all: &[Item], item: &Item, at: Minute) -> Option<Row> {
    let Stated::Limit(limit) = stated(book.material(item.receipt)?, "lay_to_cure") else { return None };
    let same_material = all.iter().filter(|other| other.material_code() == item.material_code());
    let first_ply = same_material.filter_map(|other| other.laid).map(began).min()?;
    let from = match limit["from"].as_str() {
        Some("complete") => completed(book, part, stage, at).unwrap_or(first_ply),
        _ => first_ply,
    };
    let until = item.stands_from.map_or(at, |stands| at.min(stands));
    let (allowed, so_far) = (limit["limit_s"].as_i64()?, (until - from) * 60);
    let runs = item.stands_from.is_none_or(|stands| at < stands);
    Some(Row {
        limit: "lay_to_cure",
        item: item.roll.clone(),
        shared: false,
        allowed: Some(allowed),
        so_far: Some(so_far),
        left: allowed - so_far,
        runs: Some(runs),
        ends_at_ms: runs.then_some(from * 60_000 + allowed * 1000),
        ends_on: None,
        passed_ms: (allowed < so_far).then_some(from * 60_000 + allowed * 1000),
    })
}

/// Since when plies of an item's material lie in a part that no oven has started; what nobody knows may be of it, and a roll
/// that was received twice may be of either material.
pub fn waits_since(book: &Book, part: &str, item: &Item, at: Minute) -> Option<Minute> {
    let receipts = receipts(book, &item.roll);
    let may_be: Vec<&str> = receipts.iter().filter_map(|receipt| receipt.text("material")).collect();
    let thing = format!("part/{part}");
    let mut stages: Vec<&str> =
        book.of_kind("plies_laid").filter(|laid| laid.thing == thing).filter_map(|laid| laid.text("stage")).collect();
    stages.sort_unstable();
    stages.dedup();
    let mut since = Vec::new();
    for stage in stages {
        let lays: Vec<&Entry> = lays(book, part, stage).into_iter().filter(|laid| laid.at <= at).collect();
        let runs = runs(book, part, stage);
        let waits = |laid: &&Entry| {
            let after: Vec<&Run> = runs.iter().filter(|run| laid.order() < run.start.order()).collect();
            cure_start(&after, at).is_none()
        };
        if lays.iter().any(waits) {
            let of_it = |laid: &&&Entry| {
                let held = laid_items(book, laid);
                held.is_none_or(|held| held.iter().any(|other| may_be.contains(&other.material_code())))
            };
            since.extend(lays.iter().filter(of_it).map(|laid| began(laid)));
        }
    }
    since.into_iter().min()
}

/// When the laying of a range of plies began, at the earliest.
fn began(laid: &Entry) -> Minute {
    laid.text("from_at").map_or(laid.at, |from| super::minute(from).min(laid.at)) - laid.uncertain
}

/// The first time this stage's lay-up was said to be complete. It gives time back, so what is only told waits.
fn completed(book: &Book, part: &str, stage: &str, at: Minute) -> Option<Minute> {
    let thing = format!("part/{part}");
    let complete = book.of_kind("layup_completed").filter(|fact| fact.thing == thing && fact.at <= at);
    let firm = complete.filter(|fact| fact.text("stage") == Some(stage) && !book.only_told(fact));
    firm.map(Entry::earliest).min()
}

/// One run that this stage was in.
struct Run<'log> {
    start: &'log Entry,
    interrupted: Option<Minute>,
    /// When a firm end says that the cycle passed the point of no return, unless another says that it did not cure.
    committed: Vec<(Minute, bool)>,
    answered_cured: bool,
    not_cured_at: Option<Minute>,
    only_told: bool,
}

impl Run<'_> {
    /// What is said to have passed that point after the run was broken off, before it began, or so long after that
    /// without a record it would have lapsed, confirms nothing; the last may be looked into by two, and then it does.
    fn is_confirmed(&self) -> bool {
        let in_time = |committed: Minute| self.interrupted.is_none_or(|broken| committed <= broken);
        let waited = |committed: Minute| committed - self.start.at;
        self.committed.iter().any(|(committed, looked_into)| {
            in_time(*committed) && 0 <= waited(*committed) && (*looked_into || waited(*committed) <= MINUTES_A_DAY)
        })
    }
}

fn runs<'log>(book: &Book<'log>, part: &str, stage: &str) -> Vec<Run<'log>> {
    let names_it =
        |start: &&Entry| list(&start.body["stages"]).any(|held| held["part"] == part && held["stage"] == stage);
    let mut starts: Vec<&Entry> = book.of_kind("oven_run_started").filter(names_it).collect();
    starts.sort_by_key(|start| start.order());
    let read = |end: &Entry| end.text("committed_at").map(super::minute);
    let run = |start: &'log Entry| {
        let broken = book.of_kind("oven_run_interrupted").filter(|fact| fact.thing == start.thing);
        // The end of a run gives back, so what is only told waits.
        let ends: Vec<&Entry> =
            book.of_kind("oven_run_ended").filter(|end| end.thing == start.thing && !book.only_told(end)).collect();
        let denied = |by: &&&Entry| ends.iter().any(|other| other.id != by.id && other.body["cured"] == false);
        let believed = ends.iter().filter(|end| end.body["cured"] == false || !denied(end));
        Run {
            start,
            interrupted: broken.map(Entry::earliest).min(),
            // Nobody read a chart before it was drawn.
            committed: believed
                .filter_map(|end| Some((read(end).filter(|committed| *committed <= end.at)?, looked_into(book, end))))
                .collect(),
            answered_cured: ends.iter().any(|end| end.body["cured"] == true),
            not_cured_at: ends.iter().filter(|end| end.body["cured"] == false).map(|end| end.at).max(),
            only_told: book.only_told(start),
        }
    };
    starts.into_iter().map(run).collect()
}

/// Somebody looked into a commit that is late, and it may rest.
fn looked_into(book: &Book, end: &Entry) -> bool {
    let about = |settled: &&Entry| {
        let mismatch = &settled.body["mismatch"];
        mismatch["kind"] == "commit_outside_run" && mismatch["entry"].as_str() == Some(&end.id)
    };
    let last = book.of_kind("settle").filter(about).max_by_key(|settled| settled.seq);
    last.is_some_and(|settled| settled.body["answer"]["looked_into"] == true)
}

/// From when on the limits stand, and whether that is sure: the start of the run at its latest, if it is confirmed, or
/// while its record may still come. Broken off before the point of no return, or without a record for too long, it never
/// started.
fn cure_start(runs: &[&Run], at: Minute) -> Option<(Minute, bool)> {
    let runs = || runs.iter().copied().filter(|run| run.start.at <= at);
    let confirmed = || runs().filter(|run| run.is_confirmed());
    // Where one label was started twice, at the later of its starts.
    let first = confirmed().next().map(|run| &run.start.thing);
    let confirmed = confirmed().rfind(|run| Some(&run.start.thing) == first);
    let confirmed = confirmed.map(|run| (run.start.latest(), !run.only_told));
    let may_still_come = |run: &&Run| {
        let delay = if run.answered_cured { 3 * MINUTES_A_DAY } else { MINUTES_A_DAY };
        run.interrupted.is_none() && run.not_cured_at.is_none() && at - run.start.earliest() <= delay
    };
    let provisional = || runs().rfind(may_still_come).map(|run| (run.start.latest(), false));
    confirmed.or_else(provisional)
}
