//! A second opinion on how long material may still be used: slow, simple, and without a line of the product's rules.
//!
//! It reads a log, walks through each thing's facts once for the marks they leave, and then goes through time minute
//! by minute and asks of each minute whether the thing was outside. All times must be whole minutes.

mod ahead;
mod book;
pub mod calendar;
mod entry;
mod item;
mod life;
mod limits;
mod marks;
mod stage;
mod walk;

pub use ahead::Ahead;
pub use entry::{Entry, Minute, minute, read_log};
pub use limits::{Row, Verdict, View};

use book::Book;
use item::Item;
use life::{kit_life, list, receipts, roll_life};

/// "May I use it?", for one act at one time, as known at one position of the log.
#[derive(Clone, Debug)]
pub struct Question {
    /// `roll/R-1`, `kit/K-1`, `part/P-1`.
    pub thing: String,
    /// `take_out`, `cut`, `lay`, `oven`.
    pub act: String,
    /// Of a part.
    pub stage: Option<String>,
    /// `J-1`: what it is asked for, if it is for anything.
    pub job: Option<String>,
    pub at: Minute,
    pub known: u64,
}

/// What can be said, minute by minute.
pub fn ask(log: &[Entry], question: &Question) -> View {
    let book = Book::known(log, question.known);
    match (question.thing.split_once('/'), &question.stage) {
        (Some(("roll", _)), _) => roll(&book, question),
        (Some(("kit", _)), _) => kit(&book, question),
        (Some(("part", part)), Some(stage)) => stage::stage(&book, part, stage, question),
        _ => View::refused(Verdict::Yes, "not a roll, a kit or a stage of a part"),
    }
}

/// What does not add up about a roll or kit: the id of the entry and the kind of the mismatch, settled or not.
pub fn mismatches(log: &[Entry], thing: &str, known: u64) -> Vec<(String, &'static str)> {
    let mut found: Vec<(String, &'static str)> = Vec::new();
    for life in life::lives(&Book::known(log, known), thing) {
        found.extend(life.mismatches().iter().cloned());
    }
    found.sort();
    found.dedup();
    found
}

fn roll(book: &Book, question: &Question) -> View {
    let label = &question.thing;
    let receipts = receipts(book, label);
    if receipts.iter().all(|receipt| question.at < receipt.at) {
        return View::refused(Verdict::No, "not received by then");
    }
    // Of two receipts each is taken in turn, and the worse binds.
    let mut used_up = false;
    let items: Vec<Item> = receipts
        .iter()
        .map(|receipt| {
            let end = end_of_roll(book, label, receipt);
            used_up |= end.is_some_and(|(end, _)| end <= question.at);
            let stands_from = end.and_then(|(_, stands_from)| stands_from);
            let in_roll = roll_life(book, label, receipt);
            Item { roll: label.clone(), receipt, in_roll, in_kit: None, laid: None, stands_from, unconfirmed: false }
        })
        .collect();
    finish(book, &items, used_up, question)
}

/// When a roll is used up or disposed of, and from when on its clocks therefore stand.
fn end_of_roll(book: &Book, label: &str, receipt: &Entry) -> Option<(Minute, Option<Minute>)> {
    let code = label.strip_prefix("roll/");
    let of_roll = |item: &&serde_json::Value| item["roll"].as_str() == code;
    let length = |item: &serde_json::Value| item["length_mm"].as_i64().unwrap_or(0);
    let mut left = receipt.body["length_mm"].as_i64().unwrap_or(i64::MAX);
    let mut facts: Vec<&&Entry> = book.entries.iter().collect();
    facts.sort_by_key(|fact| fact.order());
    let mut used_up = None;
    for fact in facts {
        left -= match fact.kind.as_str() {
            "nest_cut" => {
                let items = list(&fact.body["kits"]).flat_map(|kit| list(&kit["items"]));
                items.chain(list(&fact.body["waste"])).filter(of_roll).map(length).sum()
            }
            "plies_laid" if fact.text("from") == Some(label) => length(&fact.body),
            _ => 0,
        };
        if left <= 0 && used_up.is_none() {
            used_up = Some((fact.at, Some(fact.latest())));
        }
    }
    earlier(used_up, disposal(book, label))
}

/// A disposal that was only told refuses, and stops no clock.
fn disposal(book: &Book, label: &str) -> Option<(Minute, Option<Minute>)> {
    let disposed = book.of_kind("disposed").filter(|fact| fact.thing == label && fact.body["length_mm"].is_null());
    let ends = disposed.map(|fact| (fact.at, (!book.only_told(fact)).then(|| fact.latest())));
    ends.fold(None, |first, end| earlier(first, Some(end)))
}

fn earlier(
    one: Option<(Minute, Option<Minute>)>,
    other: Option<(Minute, Option<Minute>)>,
) -> Option<(Minute, Option<Minute>)> {
    match (one, other) {
        (Some(one), Some(other)) => {
            let stands = one.1.into_iter().chain(other.1).min();
            Some((one.0.min(other.0), stands))
        }
        (one, other) => one.or(other),
    }
}

fn kit(book: &Book, question: &Question) -> View {
    let label = &question.thing;
    let items = kit_items(book, label, question.at, &|_| true);
    if items.as_ref().is_some_and(Vec::is_empty) {
        return View::refused(Verdict::No, "not cut by then");
    }
    let end = earlier(stage::kit_used_up(book, label), disposal(book, label));
    let stands_from = end.and_then(|(_, stands)| stands);
    let mut items = items.unwrap_or_default();
    items.iter_mut().for_each(|item| item.stands_from = stands_from);
    finish(book, &items, end.is_some_and(|(end, _)| end <= question.at), question)
}

/// The rolls that were cut into a kit by an instant, each with its cut.
fn cuts_into<'log>(book: &Book<'log>, label: &str, at: Minute) -> Vec<(&'log Entry, String)> {
    let cuts = book.of_kind("nest_cut").filter(|cut| cut.at <= at);
    cuts.flat_map(|cut| cut_into(cut, label).into_iter().map(move |roll| (cut, roll))).collect()
}

/// The rolls that one cut cut into a kit.
fn cut_into(cut: &Entry, label: &str) -> Vec<String> {
    let kits = list(&cut.body["kits"]).filter(|kit| kit["kit"].as_str() == label.strip_prefix("kit/"));
    let items = kits.flat_map(|kit| list(&kit["items"])).filter_map(|item| item["roll"].as_str());
    let mut rolls: Vec<String> = items.map(|code| format!("roll/{code}")).collect();
    rolls.sort_unstable();
    rolls.dedup();
    rolls
}

/// Of what a kit holds at an instant the rolls that are meant; none if one of them is a stranger.
fn kit_items<'log>(
    book: &Book<'log>,
    label: &str,
    at: Minute,
    is_meant: &dyn Fn(&String) -> bool,
) -> Option<Vec<Item<'log>>> {
    let life = kit_life(book, label);
    let mut items = Vec::new();
    for (cut, roll) in cuts_into(book, label, at).into_iter().filter(|(_, roll)| is_meant(roll)) {
        let receipts = receipts(book, &roll);
        if receipts.is_empty() {
            return None;
        }
        for receipt in receipts {
            let in_roll = roll_life(book, &roll, receipt);
            let in_kit = Some((cut, life.clone()));
            let roll = roll.clone();
            items.push(Item { roll, receipt, in_roll, in_kit, laid: None, stands_from: None, unconfirmed: false });
        }
    }
    Some(items)
}

fn finish(book: &Book, items: &[Item], used_up: bool, question: &Question) -> View {
    let mut view = limits::view(book, items, &question.act, question.at);
    ahead::look_ahead(book, items, &mut view, question);
    if used_up {
        view.because(Verdict::No, "used up or disposed of".to_owned());
    }
    view
}
