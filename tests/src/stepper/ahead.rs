//! Looking ahead, for a job or without one: until when the last ply may go down, until when it must be heating, which
//! limit ends first, and what is left when the oven starts. Reckoned as if it were outside from the question on.

use serde_json::Value;

use super::Question;
use super::book::Book;
use super::calendar::end_of_day_ms;
use super::entry::{Entry, Minute, minute};
use super::item::{Item, Stated, stated};
use super::life::{cut_kits, list};
use super::limits::{Verdict, View};
use super::stage::waits_since;

/// The end of a limit in milliseconds, and its name.
type End = (i64, &'static str);

/// What can be said of the time to come. Milliseconds, spare time taken off.
#[derive(Clone, Debug, Default)]
pub struct Ahead {
    pub last_ply_ms: Option<i64>,
    pub heating_ms: Option<i64>,
    /// Every limit that ends first; several may end at once.
    pub first: Vec<&'static str>,
    /// For a job: what is left when its oven starts, were it laid at once.
    pub left_ms: Option<i64>,
    /// For a job: laid at once it would be too early for its oven.
    pub too_early: bool,
}

/// When the limits of one item end.
struct Ends {
    tack: Option<End>,
    out: Option<End>,
    shelf_at_lay: Option<End>,
    shelf_at_oven: Option<End>,
    shelf_now: Option<End>,
    /// How long it may lie, before anything of it is laid.
    may_lie_ms: Option<i64>,
    /// Laid: when it has lain too long.
    lies_until: Option<End>,
}

fn least(ends: &[Option<End>]) -> Option<End> {
    ends.iter().flatten().min().copied()
}

/// Adds to a view what lies ahead of these items.
pub fn look_ahead(book: &Book, items: &[Item], view: &mut View, question: &Question) {
    let laid = items.iter().any(|item| item.laid.is_some());
    let ends: Option<Vec<Ends>> = items.iter().map(|item| ends_of(book, item, view, question)).collect();
    let Some(ends) = ends.filter(|_| view.stop.is_some()) else { return };
    let spare_ms = book.spare_s() * 1000;
    let mut ahead = without_job(&ends, laid, question, spare_ms);
    if let Some(job) = &question.job {
        for_job(book, job, items, &ends, laid, view, question, &mut ahead);
    }
    ahead.last_ply_ms = ahead.last_ply_ms.filter(|_| !laid).map(|end| end - spare_ms);
    ahead.heating_ms = ahead.heating_ms.map(|end| end - spare_ms);
    view.ahead = Some(ahead);
}

fn ends_of(book: &Book, item: &Item, view: &View, question: &Question) -> Option<Ends> {
    let (material, at) = (book.material(item.receipt)?, question.at);
    let laid = item.laid.is_some();
    let clock = |key: &str, name: &'static str| match stated(material, key) {
        Stated::Limit(allowed) => {
            let allowed = allowed.as_i64()?;
            let passed =
                item.passed_ms(allowed, at).filter(|_| item.out_time_s(at).is_some_and(|so_far| allowed < so_far));
            let so_far = item.at_worst().out_time_s(at)?;
            Some((passed.unwrap_or(at * 60_000 + (allowed - so_far) * 1000), name))
        }
        _ => None,
    };
    let shelf = shelf_end(book, item, material);
    let tests = material["shelf_life"]["tested_at"].as_str().unwrap_or("oven");
    let took_out = item.shelf_life_tested("take_out", at).is_some() && (laid || item.outside(at));
    let limit = match stated(material, "lay_to_cure") {
        Stated::Limit(limit) => limit["limit_s"].as_i64().map(|s| s * 1000),
        _ => None,
    };
    Some(Ends {
        tack: clock("tack_life_s", "tack_life").filter(|_| !laid),
        out: clock("out_life_s", "out_life"),
        shelf_at_lay: shelf.filter(|_| tests == "lay" && !laid),
        // A start that is confirmed has tested it.
        shelf_at_oven: shelf.filter(|_| tests == "oven" && item.at_worst().stands_from.is_none()),
        shelf_now: shelf.filter(|_| tests == "take_out" && (!took_out || question.act == "take_out")),
        may_lie_ms: limit.filter(|_| !laid),
        lies_until: view.lies_until_ms.map(|end| (end, "lay_to_cure")),
    })
}

fn shelf_end(book: &Book, item: &Item, material: &Value) -> Option<End> {
    let Stated::Limit(limit) = stated(material, "shelf_life") else { return None };
    let months = u32::try_from(limit["months"].as_u64()?).ok()?;
    Some((end_of_day_ms(book.zone(), item.shelf_life(book, months)?), "shelf_life"))
}

fn without_job(ends: &[Ends], laid: bool, question: &Question, spare_ms: i64) -> Ahead {
    let each = |of: &dyn Fn(&Ends) -> Option<End>| ends.iter().filter_map(of).min();
    let last_ply = each(&|end| least(&[end.tack, end.out, end.shelf_at_lay, end.shelf_at_oven]));
    // What is laid together waits from the same last ply, which is down by its end less the spare time, for the one that
    // may lie the shortest.
    let may_lie_ms = ends.iter().filter_map(|end| end.may_lie_ms).min();
    let waits = last_ply.zip(may_lie_ms).map(|((end, _), ms)| (end - spare_ms + ms, "lay_to_cure"));
    let heating = least(&[each(&|end| least(&[end.out, end.shelf_at_oven, end.lies_until])), waits.filter(|_| !laid)]);
    let now = each(&|end| end.shelf_now).filter(|_| !laid);
    let first = if laid { heating } else { least(&[last_ply, heating, now]) };
    let named = ends.iter().flat_map(|end| {
        [
            end.tack,
            end.out,
            end.shelf_at_lay,
            end.shelf_at_oven,
            end.lies_until,
            end.shelf_now.filter(|_| question.act != "oven"),
        ]
    });
    let named = named.flatten().chain(waits);
    Ahead {
        last_ply_ms: last_ply.map(|(end, _)| end),
        heating_ms: heating.map(|(end, _)| end),
        first: ending_at(first, named),
        ..Ahead::default()
    }
}

fn ending_at(first: Option<End>, all: impl Iterator<Item = End>) -> Vec<&'static str> {
    all.filter(|(end, _)| first.is_some_and(|(first, _)| first == *end)).map(|(_, name)| name).collect()
}

/// The plan of a job that was known and made by then.
fn plan<'log>(book: &Book<'log>, job: &str, at: Minute) -> Option<&'log Entry> {
    let thing = format!("job/{job}");
    let plans = book.entries.iter().copied().filter(|entry| entry.thing == thing && entry.at <= at);
    plans.filter(|entry| matches!(entry.kind.as_str(), "open_job" | "replan_job")).max_by_key(|entry| entry.order())
}

#[allow(clippy::too_many_arguments, reason = "one look at one plan")]
fn for_job(
    book: &Book,
    job: &str,
    items: &[Item],
    ends: &[Ends],
    laid: bool,
    view: &mut View,
    question: &Question,
    ahead: &mut Ahead,
) {
    let at = question.at;
    let Some(plan) = plan(book, job, at) else {
        return view.because(Verdict::CannotSay, format!("nobody opened {job}"));
    };
    let part = plan.text("part").unwrap_or_default();
    if is_for_another(book, job, part, question) {
        view.because(Verdict::No, format!("it is not for {job}"));
    }
    let time = |key: &str| plan.text(key).map_or(Minute::MAX / 120_000, minute);
    let (lay_at, oven_at) = (time("lay_at"), time("oven_at"));
    if oven_at < at || !laid && lay_at < at {
        return view.because(Verdict::CannotSay, format!("what {job} planned has passed"));
    }
    let spare_ms = book.spare_s() * 1000;
    let (lay_by, oven_by) = (lay_at * 60_000 + spare_ms, oven_at * 60_000 + spare_ms);
    let mut all: Vec<End> = Vec::new();
    let mut left: Vec<i64> = Vec::new();
    let mut heating: Vec<i64> = ahead.heating_ms.into_iter().collect();
    for (item, end) in items.iter().zip(ends) {
        // Asked to be laid it is laid now, else when that is planned; at the soonest now.
        let first_ply = if question.act == "lay" { at } else { lay_at };
        let there = waits_since(book, part, item, at);
        let waits = |ply: Minute| {
            end.may_lie_ms.map(|ms| (there.map_or(ply, |there| there.min(ply)) * 60_000 + ms, "lay_to_cure"))
        };
        let (cure, soonest) = match laid {
            true => (end.lies_until, end.lies_until),
            false => (waits(first_ply), waits(at)),
        };
        let misses_lay = [end.tack, end.shelf_at_lay].into_iter().flatten().any(|(end, _)| end < lay_by);
        let misses_oven = [end.out, end.shelf_at_oven, cure].into_iter().flatten().any(|(end, _)| end < oven_by);
        if misses_lay || misses_oven {
            view.because(Verdict::No, format!("{} does not last through {job}", item.roll));
        }
        let first = least(&[end.out, end.shelf_at_oven, soonest]);
        left.extend(first.map(|(end, _)| end - oven_at * 60_000));
        all.extend([end.tack, end.shelf_at_lay, first].into_iter().flatten());
        ahead.too_early |= soonest.is_some_and(|(end, _)| end < oven_by);
        heating.extend(soonest.map(|(end, _)| end.max(oven_by)));
        all.extend([end.out, end.shelf_at_oven, soonest].into_iter().flatten());
    }
    ahead.left_ms = left.into_iter().min();
    ahead.heating_ms = heating.into_iter().min();
    if let Some(first) = all.iter().min().copied() {
        ahead.first = ending_at(Some(first), all.into_iter());
    }
}

/// A part that another job makes, a kit that was cut for another.
fn is_for_another(book: &Book, job: &str, part: &str, question: &Question) -> bool {
    if let Some(asked) = question.thing.strip_prefix("part/") {
        return asked != part;
    }
    let cut_for = |cut: &&Entry| cut_kits(cut).any(|kit| kit == question.thing);
    let jobs: Vec<&str> = book
        .of_kind("nest_cut")
        .filter(cut_for)
        .flat_map(|cut| list(&cut.body["kits"]))
        .filter(|kit| kit["kit"].as_str() == question.thing.strip_prefix("kit/"))
        .filter_map(|kit| kit["job"].as_str())
        .collect();
    !jobs.is_empty() && !jobs.contains(&job)
}
