//! Every entry that names a thing, in the order in which it happened: who, what, what the screen had said, and who
//! struck or confirmed it.

use super::said::said;
use crate::http::{ask::beside, problems::Fault};
use crate::yard::Yard;
use actix_web::web;
use domain::{
    Book, When,
    fact::{Does, NEVER},
    say::Say,
    view::View,
};
use shared_types::{Code, Entry, Instant, Shown, ThingName};
use std::{collections::BTreeMap, sync::Arc};

/// As many entries stand on one page, as a list has rows.
pub(super) const PAGE: usize = 50;

/// What is looked up in the book, before the text is read from the archive.
pub(in super::super) struct Named {
    pub(super) seqs: Vec<u64>,
    /// Who confirmed which entry, and when.
    confirmed: BTreeMap<u64, (Code, Instant)>,
    /// The entry that struck it.
    struck: BTreeMap<u64, u64>,
    pub(super) pages: usize,
    /// From 1; 0 for all in one.
    pub(super) page: usize,
    pub(super) count: usize,
}

#[derive(Clone)]
pub(in super::super) struct Line {
    pub(in super::super) seq: u64,
    pub(in super::super) occurred: String,
    /// Where it differs from when it occurred.
    pub(in super::super) recorded: Option<String>,
    pub(in super::super) who: String,
    pub(in super::super) what: String,
    pub(in super::super) struck: Option<String>,
    /// Told, confirmed.
    pub(in super::super) notes: Vec<String>,
    pub(in super::super) shown: Option<String>,
    /// It may be struck.
    pub(in super::super) strikable: bool,
}

/// Which page of a history.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Page {
    Last,
    Number(usize),
    All,
}

impl Page {
    pub(super) fn read(text: &str) -> Result<Page, Fault> {
        match (text.trim(), text.trim().parse::<usize>()) {
            ("", _) => Ok(Page::Last),
            ("all", _) => Ok(Page::All),
            (_, Ok(number)) if 0 < number => Ok(Page::Number(number)),
            _ => {
                Err(Fault::cannot_read("A page of a history is a number from 1 on, or all.").field("/page", "no page"))
            }
        }
    }
}

pub(super) fn named(book: &Book, thing: &ThingName, when: When, page: Page) -> Named {
    let meta = |seq: &u64| u32::try_from(*seq).ok().and_then(|seq| book.entry(seq));
    let then = |seq: &u64| *seq <= when.known && meta(seq).is_some_and(|meta| meta.occurred_at <= when.at);
    let all: Vec<u64> = book.entries_of(thing).into_iter().filter(then).collect();
    let (count, pages) = (all.len(), all.len().div_ceil(PAGE).max(1));
    let page = match page {
        Page::All => 0,
        Page::Last => pages,
        Page::Number(number) => number.min(pages),
    };
    let seqs: Vec<u64> = match page {
        0 => all,
        number => all.into_iter().skip((number - 1) * PAGE).take(PAGE).collect(),
    };
    Named { pages, page, count, ..of_entries(book, seqs, when) }
}

/// The same for entries that are named one by one.
pub(in super::super) fn of_entries(book: &Book, seqs: Vec<u64>, when: When) -> Named {
    let (mut confirmed, mut struck) = (BTreeMap::new(), BTreeMap::new());
    for seq in &seqs {
        let Ok(short) = u32::try_from(*seq) else { continue };
        for act in book.acts_on(short).iter().filter(|act| matches!(act.does, Does::Confirms)) {
            let stands = act.struck_by == NEVER || when.known < u64::from(act.struck_by);
            if u64::from(act.seq) <= when.known && stands {
                confirmed.insert(*seq, (book.code(act.second.unwrap_or(act.by)), act.at));
            }
        }
        if let Some(by) = book
            .entry(short)
            .map(|meta| u64::from(meta.struck_by))
            .filter(|by| *by <= when.known && *by <= book.last_seq())
        {
            struck.insert(*seq, by);
        }
    }
    Named { count: seqs.len(), seqs, confirmed, struck, pages: 1, page: 0 }
}

/// The text of these entries in words.
pub(in super::super) async fn lines(
    yard: &web::Data<Yard>,
    named: &Named,
    say: &Say,
    when: When,
) -> Result<Vec<Line>, Fault> {
    let own = entries(yard, named.seqs.clone()).await?;
    let strikers = entries(yard, named.struck.values().copied().collect()).await?;
    let strikers: BTreeMap<u64, Arc<Entry>> = strikers.into_iter().map(|entry| (entry.seq, entry)).collect();
    let time = |at| say.time(at, when.now);
    let line = |entry: &Entry| {
        let striker = named.struck.get(&entry.seq).and_then(|seq| strikers.get(seq));
        let struck = striker.map(|by| struck_words(by, &time(by.occurred_at.at)));
        let mut notes = Vec::new();
        match (entry.told, named.confirmed.get(&entry.seq)) {
            (true, Some((by, at))) => notes.push(format!("told, confirmed by {by} {}", time(*at))),
            (true, None) if entry.second.is_none() && struck.is_none() => notes.push("told, not confirmed".to_owned()),
            (true, None) => notes.push("told".to_owned()),
            (false, _) => {}
        }
        Line {
            seq: entry.seq,
            occurred: time(entry.occurred_at.at),
            recorded: recorded(entry, say, when),
            who: who(entry),
            what: said(entry, say, when.now),
            strikable: struck.is_none() && may_be_struck(entry.body.plain_kind()),
            struck,
            notes,
            shown: entry.shown.as_ref().map(|shown| shown_words(shown, say, when)),
        }
    };
    Ok(own.iter().map(|entry| line(entry)).collect())
}

/// When the log took it, where that is another minute than when it happened.
pub(in super::super) fn recorded(entry: &Entry, say: &Say, when: When) -> Option<String> {
    let apart = entry.recorded_at.since(entry.occurred_at.at).saturating_abs();
    (60_000 <= apart).then(|| say.time(entry.recorded_at, when.now))
}

/// These entries: at once where they were read lately, else beside the workers.
pub(in super::super) async fn entries(yard: &web::Data<Yard>, seqs: Vec<u64>) -> Result<Vec<Arc<Entry>>, Fault> {
    if let Some(entries) = yard.at_hand(&seqs) {
        return Ok(entries);
    }
    let unread =
        |error: std::io::Error| Fault::went_wrong(format!("The history could not be read from the disk: {error}."));
    let yard = yard.clone();
    beside(move || yard.read_back(&seqs).map_err(unread)).await
}

pub(in super::super) fn struck_words(by: &Entry, at: &str) -> String {
    let why = match &by.body {
        shared_types::Body::EntryStruck(strike) => format!(": {}", strike.why),
        _ => String::new(),
    };
    format!("struck by {} {at}, entry {}{why}", by.by, by.seq)
}

pub(in super::super) fn may_be_struck(kind: &str) -> bool {
    !matches!(kind, "entry_struck" | "log_loaded" | "log_cut" | "clock_checked")
}

pub(in super::super) fn who(entry: &Entry) -> String {
    let second = entry.second.as_ref().map_or(String::new(), |second| format!(" with {}", second.by));
    let device = entry.device.as_ref().map_or(String::new(), |device| format!(" on {device}"));
    format!("{}{second}{device}", entry.by)
}

fn shown_words(shown: &Shown, say: &Say, when: When) -> String {
    let answer = match shown.answer.as_str() {
        "not_yet" => "not yet",
        "cannot_say" => "can't say yet",
        other => other,
    };
    let until = shown.until.map_or(String::new(), |until| format!(", heating by {}", say.time(until.at, when.now)));
    format!("{answer}{until}, as of entry {}", shown.as_of_seq)
}

/// How this view's yard writes times.
pub(super) fn say(book: &Book, when: When) -> Say {
    Say::of(View::new(book, when.known), when.now)
}
