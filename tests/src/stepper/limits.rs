//! The rows of an answer: for each limit the worst of what a thing holds, and how bad the answer must be at least.

use serde_json::Value;

use super::ahead::Ahead;
use super::book::Book;
use super::entry::Minute;
use super::item::{Item, Stated, stated};

/// Answers from the best to the worst: of several that apply the worst is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    Yes,
    NotYet,
    CannotSay,
    No,
    Stop,
}

/// One limit. Seconds, or counts for refreezes.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub limit: &'static str,
    /// `roll/R-42`: the worst of what the thing holds.
    pub item: String,
    /// Another item is as bad, so the answer may name that one.
    pub shared: bool,
    /// What is allowed, and how much of it is gone. A shelf life has neither.
    pub allowed: Option<i64>,
    pub so_far: Option<i64>,
    pub left: i64,
    /// A shelf life's clock is the calendar.
    pub runs: Option<bool>,
    /// If it runs: when it ends, were it outside from now on, or when it ended. Milliseconds.
    pub ends_at_ms: Option<i64>,
    pub ends_on: Option<String>,
    /// When it passed, if it is over.
    pub passed_ms: Option<i64>,
}

/// What can be said of a thing.
#[derive(Clone, Debug)]
pub struct View {
    /// The answer is this or worse.
    pub at_least: Verdict,
    /// The answer is *stop*, or it is not; unknown where nothing is known of its limits.
    pub stop: Option<bool>,
    pub why: Vec<String>,
    /// Out-time of each thing that it holds, in milliseconds.
    pub out_time_ms: Vec<(String, i64)>,
    pub rows: Vec<Row>,
    /// When what is laid has lain too long, if an oven start that is not confirmed never was. Milliseconds.
    pub lies_until_ms: Option<i64>,
    /// What lies ahead, where that can be said.
    pub ahead: Option<Ahead>,
}

impl View {
    pub fn refused(verdict: Verdict, why: &str) -> Self {
        View {
            at_least: verdict,
            stop: None,
            why: vec![why.to_owned()],
            out_time_ms: Vec::new(),
            rows: Vec::new(),
            lies_until_ms: None,
            ahead: None,
        }
    }

    pub fn because(&mut self, verdict: Verdict, why: String) {
        self.at_least = self.at_least.max(verdict);
        self.why.push(why);
    }

    pub fn row(&self, limit: &str) -> Option<&Row> {
        self.rows.iter().find(|row| row.limit == limit)
    }
}

/// What the items have left, and what an act would say to it. `all_known`: nothing in it is a stranger to the book.
pub fn view(book: &Book, items: &[Item], act: &str, at: Minute) -> View {
    let mut view = View {
        at_least: Verdict::Yes,
        stop: Some(false),
        why: Vec::new(),
        out_time_ms: Vec::new(),
        rows: Vec::new(),
        lies_until_ms: None,
        ahead: None,
    };
    let known: Vec<(&Item, &Value)> =
        items.iter().filter_map(|item| Some((item, book.material(item.receipt)?))).collect();
    let opened = items.iter().all(|item| item.receipt.body["opening"].is_object());
    if known.len() < items.len() || items.is_empty() {
        view.stop = None;
        view.because(Verdict::CannotSay, "nobody stated what its material is".to_owned());
        return view;
    }
    if opened {
        let times = items.iter().filter_map(|item| Some((item.roll.clone(), item.out_time_s(at)? * 1000)));
        view.out_time_ms = times.collect();
        for (limit, key) in [("tack_life", "tack_life_s"), ("out_life", "out_life_s")] {
            let rows = known.iter().filter_map(|(item, material)| out_row(item, material, limit, key, at));
            add_worst(&mut view, rows.collect());
        }
        let rows = known.iter().filter_map(|(item, material)| refreezes_row(item, material, at));
        add_worst(&mut view, rows.collect());
    } else {
        view.stop = None;
        view.because(Verdict::CannotSay, "its opening out-time is not stated".to_owned());
    }
    let rows = known.iter().filter_map(|(item, material)| shelf_row(book, item, material, at));
    add_worst(&mut view, rows.collect());
    judge(book, &mut view, &known, act, at);
    view
}

/// The worst row of one limit: of those that are over the one that passed first, else the one with the least left.
pub fn add_worst(view: &mut View, rows: Vec<Row>) {
    let key = |row: &Row| (row.passed_ms.unwrap_or(i64::MAX), row.left);
    let least = rows.iter().map(key).min();
    let mut worst = rows.into_iter().filter(|row| Some(key(row)) == least);
    if let Some(mut row) = worst.next() {
        row.shared = worst.any(|other| (&other.item, other.allowed) != (&row.item, row.allowed));
        view.rows.push(row);
    }
}

fn out_row(item: &Item, material: &Value, limit: &'static str, key: &str, at: Minute) -> Option<Row> {
    let Stated::Limit(allowed) = stated(material, key) else { return None };
    let (allowed, so_far, runs) = (allowed.as_i64()?, item.out_time_s(at)?, item.runs(at));
    let left = allowed - so_far;
    let passed_ms = item.passed_ms(allowed, at).filter(|_| left < 0);
    let ends_at_ms = match (runs, left < 0) {
        (false, _) => None,
        (true, false) => Some(at * 60_000 + left * 1000),
        (true, true) => passed_ms,
    };
    let row = Row { allowed: Some(allowed), so_far: Some(so_far), runs: Some(runs), ends_at_ms, ..bare(item, limit) };
    let row = Row { passed_ms, ..row };
    Some(Row { left, ..row })
}

fn refreezes_row(item: &Item, material: &Value, at: Minute) -> Option<Row> {
    let Stated::Limit(limit) = stated(material, "refreezes") else { return None };
    let (allowed, so_far) = (limit["allowed"].as_i64()?, item.refreezes(material, at)?);
    Some(Row { allowed: Some(allowed), so_far: Some(so_far), left: allowed - so_far, ..bare(item, "refreezes") })
}

fn shelf_row(book: &Book, item: &Item, material: &Value, at: Minute) -> Option<Row> {
    let Stated::Limit(limit) = stated(material, "shelf_life") else { return None };
    let months = u32::try_from(limit["months"].as_u64()?).ok()?;
    let ends_on = item.shelf_life(book, months)?;
    let read_at = item.shelf_life_read_at(tested_at(material), at);
    let left = item.shelf_life_left_s(book, ends_on, read_at);
    Some(Row { left, ends_on: Some(ends_on.to_string()), ..bare(item, "shelf_life") })
}

fn bare(item: &Item, limit: &'static str) -> Row {
    let (item, shared) = (item.roll.clone(), false);
    Row {
        limit,
        item,
        shared,
        allowed: None,
        so_far: None,
        left: 0,
        runs: None,
        ends_at_ms: None,
        ends_on: None,
        passed_ms: None,
    }
}

fn tested_at(material: &Value) -> &str {
    material["shelf_life"]["tested_at"].as_str().unwrap_or("oven")
}

/// A limit that the act tests and that is over stops whoever is at work while its clock runs; everything else that
/// is over refuses.
fn judge(book: &Book, view: &mut View, known: &[(&Item, &Value)], act: &str, at: Minute) {
    let tested: &[(&str, &str)] = match act {
        "cut" | "lay" => &[("tack_life", "tack_life_s"), ("out_life", "out_life_s")],
        "oven" => &[("out_life", "out_life_s")],
        _ => &[],
    };
    for (limit, key) in tested {
        if known.iter().any(|(_, material)| matches!(stated(material, key), Stated::Nothing)) {
            view.because(Verdict::CannotSay, format!("nobody stated the {limit}"));
        }
        if let Some(row) = view.row(limit).cloned() {
            judge_row(book, view, &row);
        }
    }
    if view.row("refreezes").is_some_and(|row| row.left < 0) {
        view.because(Verdict::No, "too many refreezes".to_owned());
    }
    for (item, material) in known {
        let Some(row) = shelf_row(book, item, material, at) else { continue };
        let tests_again = act == "take_out" && tested_at(material) == "take_out";
        // A start that is confirmed has tested it as well.
        let in_oven = tested_at(material) == "oven" && item.laid.is_some() && item.at_worst().stands_from.is_some();
        let done = item.shelf_life_tested(tested_at(material), at).is_some() && !tests_again || in_oven;
        let ends_on = row.ends_on.as_deref().and_then(|day| day.parse().ok());
        let left_now = ends_on.map(|day| item.shelf_life_left_s(book, day, at));
        if !done && left_now.is_some_and(|left| left < 0) {
            view.because(Verdict::No, format!("past its shelf life, {}", item.roll));
        }
    }
}

/// Over and running: stop. Over, or less left than the yard's spare time: no.
pub fn judge_row(book: &Book, view: &mut View, row: &Row) {
    if row.left < 0 && row.runs == Some(true) {
        view.stop = view.stop.map(|_| true);
        view.because(Verdict::Stop, format!("{} is over and runs", row.limit));
    } else if row.left < book.spare_s() {
        view.because(Verdict::No, format!("{} has {} s left", row.limit, row.left));
    }
}
