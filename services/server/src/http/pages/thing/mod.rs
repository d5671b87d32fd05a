//! A thing's own page: may it be used, its limits, its out-time card, and its whole history with what the screen had said.

mod facts;
pub(super) mod history;
pub(super) mod rows;
pub(super) mod said;
mod sheets;
pub(super) mod shown;

use super::{answer, assets::Assets, foot::Foot, in_a_query, named::Named, page, see};
use crate::http::{
    ask::{AtKnown, ask, nobody},
    fallback::in_a_path,
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, web};
use askama::Template;
use domain::view::View;
use history::Page;
use serde::Deserialize;
use shown::Shown;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ThingQuery {
    /// A time as people write it, in the yard's zone unless it says otherwise.
    #[serde(default)]
    at: String,
    /// An entry's number; an empty field of the form asks for nothing.
    #[serde(default)]
    known: String,
    #[serde(default)]
    page: String,
    /// `card` or `history`: as a table for a spreadsheet.
    #[serde(default)]
    csv: String,
    /// The entry that was written just now, and whether it had been before.
    #[serde(default)]
    done: Option<u64>,
    #[serde(default)]
    again: Option<u8>,
}

#[derive(Template)]
#[template(path = "thing.html")]
struct ThingPage {
    assets: Assets,
    foot: Foot,
    name: String,
    kind: &'static str,
    /// Its address without a query.
    address: String,
    /// `As of .., as known at entry ..`, where that was asked.
    asked: Option<String>,
    /// What was asked for as a time and can't be read.
    problem: Option<String>,
    at: String,
    known: String,
    /// The same `at` and `known`, to go on with.
    carried: String,
    done: Option<String>,
    shown: Shown,
    lines: Vec<history::Line>,
    page: usize,
    pages: usize,
    count: usize,
}

#[actix_web::routes]
#[get("/thing/{kind}/{code}")]
#[get("/thing/batch/{material}/{batch}")]
#[head("/thing/{kind}/{code}")]
#[head("/thing/batch/{material}/{batch}")]
pub(crate) async fn thing_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    named: Named,
    query: web::Query<ThingQuery>,
) -> HttpResponse {
    answer(&request, one(&request, &yard, named, query.into_inner()).await)
}

async fn one(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    named: Named,
    query: ThingQuery,
) -> Result<HttpResponse, Fault> {
    let written = named.written.clone();
    let thing = named.thing()?;
    let address = format!("/thing/{}", in_a_path(&thing));
    if written != thing.to_string() {
        let rest = request.query_string();
        return Ok(see(&if rest.is_empty() { address } else { format!("{address}?{rest}") }));
    }
    let known = known(&query.known)?;
    let wanted = Page::read(&query.page)?;
    let sheet = sheets::Sheet::read(&query.csv)?;
    let wanted = if sheet == Some(sheets::Sheet::History) { Page::All } else { wanted };
    let (as_of, problem) = match super::then(yard, &query.at) {
        Ok(at) => (at, None),
        Err(problem) if sheet.is_none() => (None, Some(problem)),
        Err(problem) => return Err(Fault::cannot_read(problem).field("/at", "no time")),
    };
    let asked = AtKnown { at: as_of, known };
    let (shown, named, when, say) = ask(yard, |book| {
        let when = asked.when(yard, book)?;
        let mut shown = shown::shown(book, &thing, when)?.ok_or_else(|| nobody(&thing))?;
        let say = history::say(book, when);
        // A file is read on another day.
        let say = if sheet.is_some() { say.in_full() } else { say };
        if sheet == Some(sheets::Sheet::Card) {
            shown.cards = shown::cards(book, &thing, when, &say);
        }
        Ok((shown, history::named(book, &thing, when, wanted), when, say))
    })?;
    let lines = history::lines(yard, &named, &say, when).await?;
    let last = yard.read().last_seq();
    let done = query.done.filter(|seq| (1..=last).contains(seq));
    let entry = history::entries(yard, done.into_iter().collect()).await?.into_iter().next();
    match sheet {
        Some(sheets::Sheet::Card) => return sheets::card(&thing, &shown.cards),
        Some(sheets::Sheet::History) => return sheets::history(&thing, &lines),
        None => {}
    }
    let again = if query.again == Some(1) { "It was written before, once: " } else { "Written: " };
    let done = entry.map(|entry| {
        let time = say.time(entry.recorded_at, when.now);
        format!(
            "{again}{}, by {}, {time}, entry {}.",
            said::said(&entry, &say, when.now),
            history::who(&entry),
            entry.seq
        )
    });
    let at = as_of.map(|_| format!("As of {}", say.whole_time(when.at)));
    let then = known.map(|known| format!("{} known at entry {known}", if at.is_some() { "as" } else { "As" }));
    let words: Vec<String> = at.into_iter().chain(then).collect();
    let carried = [("at", as_of.map(|at| at.to_string())), ("known", known.map(|known| known.to_string()))];
    let carried: Vec<String> =
        carried.into_iter().filter_map(|(name, value)| Some(format!("{name}={}", in_a_query(&value?)))).collect();
    let foot = Foot::of(yard, View::new(&yard.read(), when.known), when);
    page(
        if problem.is_some() { StatusCode::BAD_REQUEST } else { StatusCode::OK },
        &ThingPage {
            assets: Assets::new(),
            foot,
            name: thing.short().to_owned(),
            kind: thing.kind().as_str(),
            address,
            asked: (!words.is_empty()).then(|| words.join(", ")),
            problem,
            at: query.at.trim().chars().take(100).collect(),
            known: known.map_or(String::new(), |known| known.to_string()),
            carried: carried.join("&"),
            done,
            shown,
            lines,
            page: named.page,
            pages: named.pages,
            count: named.count,
        },
    )
}

fn known(text: &str) -> Result<Option<u64>, Fault> {
    match text.trim() {
        "" => Ok(None),
        text => text.parse().map(Some).map_err(|_| {
            let detail = "\"As known at\" takes the number of an entry, such as 300.";
            Fault::cannot_read(detail).field("/known", "a whole number is expected, 0 or more")
        }),
    }
}
