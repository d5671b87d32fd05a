//! One page of a list, worked out in stretches, so that the book is held for none of them long: the first at once, what a
//! filter makes of more beside the workers.

use super::{List, cursor, set};
use crate::{
    http::{
        ask::{AtKnown, ask, beside},
        problems::Fault,
    },
    yard::Yard,
};
use actix_web::web;
use domain::{
    RULES, When,
    say::Say,
    stock::{Filter, Stretch, stretch},
    view::View,
};
use shared_types::{Stamp, Stock, StockRow, ThingName};

/// Rows of a page where nobody says how many, and the most that anybody gets.
const ROWS: u64 = 50;
const MOST: u64 = 200;
/// Things looked at under one read lock, and for one page.
const UNDER_ONE_LOCK: usize = 100;
const FOR_ONE_PAGE: usize = 4_000;

/// Which page.
#[derive(Default, Clone)]
pub(crate) struct Paged {
    pub(crate) cursor: Option<String>,
    pub(crate) limit: Option<u64>,
    pub(crate) at: Option<Stamp>,
    pub(crate) known: Option<u64>,
}

/// A page, and where the list goes on.
pub(crate) struct Page {
    pub(crate) stock: Stock,
    pub(crate) when: When,
    /// As it stands in an address behind `?`.
    pub(crate) next: Option<String>,
    /// The same, for the program that goes on by itself.
    pub(crate) paged: Option<Paged>,
}

pub(crate) async fn page(
    yard: &web::Data<Yard>,
    list: &'static List,
    filter: Filter,
    paged: Paged,
) -> Result<Page, Fault> {
    let mut reading = Reading::begin(yard, list, &filter, &paged)?;
    // Mostly the first stretch fills the page, and takes no longer than a thing's own.
    reading.stretch(yard, list, &filter)?;
    if reading.goes_on() {
        let (shared, asked) = (yard.clone(), filter.clone());
        let whole = beside(move || {
            while reading.goes_on() {
                reading.stretch(&shared, list, &asked)?;
            }
            Ok(reading)
        });
        reading = whole.await?;
    }
    reading.page(yard, list, &filter)
}

/// A page that is being read.
struct Reading {
    when: When,
    limit: u64,
    items: Vec<StockRow>,
    /// The last thing that was looked at, and how many were.
    after: Option<ThingName>,
    looked_at: usize,
    more: bool,
}

impl Reading {
    fn begin(yard: &Yard, list: &List, filter: &Filter, paged: &Paged) -> Result<Reading, Fault> {
        let limit = match paged.limit.unwrap_or(ROWS) {
            0 => return Err(Fault::cannot_read("limit is at least 1.").field("/limit", "at least 1")),
            limit => limit.min(MOST),
        };
        let (when, after) = begin(yard, list, filter, paged)?;
        Ok(Reading { when, limit, items: Vec::new(), after, looked_at: 0, more: true })
    }

    fn wanted(&self) -> usize {
        usize::try_from(self.limit).unwrap_or(usize::MAX).saturating_sub(self.items.len())
    }

    fn goes_on(&self) -> bool {
        self.more && 0 < self.wanted() && self.looked_at < FOR_ONE_PAGE
    }

    /// Looks at so many things as the book may be held for.
    fn stretch(&mut self, yard: &Yard, list: &List, filter: &Filter) -> Result<(), Fault> {
        let (wanted, when) = (self.wanted(), self.when);
        let Stretch { rows, last } =
            ask(yard, |book| Ok(stretch(book, list.kind, filter, self.after.as_ref(), wanted, UNDER_ONE_LOCK, when)))?;
        self.items.extend(rows);
        self.more = last.is_some();
        self.after = last.or(self.after.take());
        self.looked_at += UNDER_ONE_LOCK;
        Ok(())
    }

    fn page(self, yard: &Yard, list: &List, filter: &Filter) -> Result<Page, Fault> {
        let Reading { when, limit, items, after, more, .. } = self;
        let on = after.filter(|_| more).map(|after| cursor::write(list, filter, when, &after));
        let next = on.as_ref().map(|cursor| {
            let mut query: Vec<String> = set(filter)
                .iter()
                .map(|(name, value)| format!("{name}={}", super::super::pages::in_a_query(value)))
                .collect();
            query.push(format!("limit={limit}"));
            query.push(format!("cursor={cursor}"));
            query.join("&")
        });
        let at = ask(yard, |book| Ok(Say::of(View::new(book, when.known), when.at).stamp(when.at)))?;
        let stock = Stock {
            items,
            next: next.as_ref().map(|next| format!("/api/v1/{}?{next}", list.name)),
            at,
            as_of_seq: when.known,
            rules: RULES.to_owned(),
        };
        Ok(Page {
            stock,
            when,
            next,
            paged: on.map(|cursor| Paged { cursor: Some(cursor), limit: Some(limit), ..Paged::default() }),
        })
    }
}

/// The moment of the list and where its page begins.
fn begin(yard: &Yard, list: &List, filter: &Filter, paged: &Paged) -> Result<(When, Option<ThingName>), Fault> {
    let asked = AtKnown { at: paged.at, known: paged.known };
    let when = ask(yard, |book| {
        Ok(When { known: asked.when(yard, book)?.known.min(book.last_seq()), ..asked.when(yard, book)? })
    })?;
    let Some(text) = &paged.cursor else { return Ok((when, None)) };
    let place = cursor::read(text, list, filter)?;
    let other = paged.at.is_some_and(|at| at.at != place.at) || paged.known.is_some_and(|known| known != place.known);
    if other || when.known < place.known {
        let detail = "The cursor belongs to a list of another moment. Begin the list again without one.";
        return Err(Fault::cannot_read(detail).field("/cursor", "another at or known"));
    }
    Ok((When { at: place.at, known: place.known, now: when.now }, Some(place.after)))
}
