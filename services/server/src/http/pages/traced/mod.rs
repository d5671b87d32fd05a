//! The trace of anything: what it is made from or what it went into, as a nested list or as a ruled build sheet.

mod answer;
mod build;

use super::{assets::Assets, claim::claim, foot::Foot, in_a_query, named::Named, page, see};
use crate::{
    http::{
        ask::{AtKnown, ask, ask_beside, nobody, nobody_has},
        fallback::in_a_path,
        problems::{Answer, Fault},
    },
    tree::{Item, Step, Tree, tree, usual_direction},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, route, web};
use askama::Template;
use build::Build;
use domain::view::View;
use serde::Deserialize;
use shared_types::{Code, Direction, Kind, NameError, ThingName};

#[derive(Template)]
#[template(path = "find.html")]
struct FindPage {
    assets: Assets,
    foot: Foot,
    code: String,
    problem: Option<String>,
    things: Vec<ThingName>,
}

#[derive(Template)]
#[template(path = "traced.html")]
struct TracePage {
    assets: Assets,
    foot: Foot,
    thing: ThingName,
    /// The page's own address, without a question.
    address: String,
    /// `direction=..`, `at=..` and `known=..`, as they were asked, for links.
    direction: &'static str,
    carried: String,
    at: String,
    known: String,
    /// `As known at entry 300`, where that was asked.
    asked: Option<String>,
    claim: Vec<String>,
    shown: Shown,
    print: String,
}

enum Shown {
    List(Tree),
    Sheet(Build),
}

/// Everything a page can be asked, as it stands in the address; an empty field of the form asks for nothing.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    #[serde(default)]
    direction: String,
    #[serde(default)]
    at: String,
    #[serde(default)]
    known: String,
    #[serde(default, rename = "as")]
    form: String,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    List,
    Sheet,
    Csv,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Find {
    #[serde(default)]
    code: String,
}

/// Which thing? A code, or a kind and a code.
#[route("/trace", method = "GET", method = "HEAD")]
pub(crate) async fn find_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Find>) -> HttpResponse {
    super::answer(&request, find(&yard, query.code.trim()))
}

fn find(yard: &Yard, text: &str) -> Result<HttpResponse, Fault> {
    let address = |thing: &ThingName| format!("/trace/{}", in_a_path(thing));
    let unread = |error: NameError| Fault::cannot_read(format!("{error}."));
    let found = match (text, text.contains('/')) {
        ("", _) => Ok(Vec::new()),
        (_, true) => text.to_lowercase().split_once('/').map_or(Ok(Vec::new()), |(kind, _)| {
            let code = text.split_once('/').map_or("", |(_, code)| code);
            // What stands before the slash and is no kind of thing is a batch's material: `PM-101/B-123`.
            let named = match kind.parse::<Kind>() {
                Ok(_) => ThingName::from_parts(kind, code),
                Err(no_kind) => batch_of_known(yard, text)?.ok_or(no_kind),
            };
            named.map(|thing| vec![thing]).map_err(unread)
        }),
        (_, false) => Code::new(text).map_err(unread).and_then(|code| {
            ask(yard, |book| match book.with_code(&code) {
                none if none.is_empty() => Err(Fault::not_found(nobody_has(book, &code))),
                found => Ok(found),
            })
        }),
    };
    if let Ok([one]) = found.as_deref() {
        return Ok(see(&address(one)));
    }
    let (status, things, problem) = match found {
        Ok(things) => (StatusCode::OK, things, None),
        Err(fault) => (fault.status(), Vec::new(), Some(fault.to_string())),
    };
    let foot = ask(yard, |book| Ok(Foot::of(yard, View::new(book, u64::MAX), domain::When::now(yard.now()))))?;
    page(status, &FindPage { assets: Assets::new(), foot, code: text.to_owned(), problem, things })
}

/// The batch that is written with its material, of a material that the book knows.
fn batch_of_known(yard: &Yard, text: &str) -> Result<Option<ThingName>, Fault> {
    let Ok(batch) = ThingName::from_parts("batch", text) else { return Ok(None) };
    let material = batch.code().split_once('/').and_then(|(material, _)| Code::new(material).ok());
    let material = material.map(|code| ThingName::new(Kind::Material, &code));
    let known = ask(yard, |book| Ok(material.is_some_and(|material| book.label(&material).is_some())))?;
    Ok(known.then_some(batch))
}

#[actix_web::routes]
#[get("/trace/{kind}/{code}")]
#[get("/trace/batch/{material}/{batch}")]
#[head("/trace/{kind}/{code}")]
#[head("/trace/batch/{material}/{batch}")]
pub(crate) async fn trace_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    named: Named,
    query: web::Query<Asked>,
) -> HttpResponse {
    super::answer(&request, one(&yard, named, &query).await)
}

/// The way that was asked for, or the usual one of such a thing.
pub(super) fn way(asked: &str, thing: &ThingName) -> Result<Direction, Fault> {
    match asked.trim() {
        "" => Ok(usual_direction(thing.kind())),
        text => read_direction(text),
    }
}

async fn one(yard: &web::Data<Yard>, named: Named, query: &Asked) -> Result<HttpResponse, Fault> {
    let thing = named.thing()?;
    let direction = way(&query.direction, &thing)?;
    let form = form(&query.form)?;
    let asked = AtKnown { at: super::asked_then(yard, &query.at)?, known: read_known(&query.known)? };
    let (shared, named) = (yard.clone(), thing.clone());
    let (claim, shown, foot) = ask_beside(yard, move |book| {
        let when = asked.when(&shared, book)?;
        let trace = domain::trace(book, &named, direction, when).ok_or_else(|| nobody(&named))?;
        // A boat's claim is made from its sheet, so that both are there at once.
        let boat = named.kind() == Kind::Boat && direction == Direction::MadeFrom;
        let (claim, parts) = match boat.then(|| domain::build_sheet(book, &named, when)).flatten() {
            Some(sheet) => (claim(named.short(), &sheet), Some(sheet.parts)),
            None => (answer::answer(book, &trace, when), None),
        };
        let shown = match (form, parts) {
            (Form::List, _) => Shown::List(tree(&trace)),
            (Form::Sheet | Form::Csv, Some(parts)) => Shown::Sheet(Build { parts, loose: Vec::new() }),
            (Form::Sheet | Form::Csv, None) => Shown::Sheet(build::build(book, &trace, when)),
        };
        Ok((claim, shown, Foot::of(&shared, View::new(book, when.known), when)))
    })
    .await?;
    if let (Form::Csv, Shown::Sheet(build)) = (form, &shown) {
        return build::csv(build, &thing);
    }
    let direction = match direction {
        Direction::MadeFrom => "made_from",
        Direction::WentInto => "went_into",
    };
    let fields = [("at", query.at.trim()), ("known", query.known.trim())];
    let carried = fields.iter().filter(|(_, value)| !value.is_empty());
    let carried = carried.map(|(name, value)| format!("&{name}={}", in_a_query(value))).collect();
    let of = |name: &str| if name.is_empty() { String::new() } else { format!("as known at entry {name}") };
    let said = [asked.at.map_or(String::new(), |_| format!("as of {}", foot.at)), of(query.known.trim())];
    let said: Vec<String> = said.into_iter().filter(|one| !one.is_empty()).collect();
    let print = super::foot::print(&format!("{} {}", thing.kind(), thing.code()), &foot);
    let page_shown = TracePage {
        assets: Assets::new(),
        foot,
        address: format!("/trace/{}", in_a_path(&thing)),
        thing,
        direction,
        carried,
        at: query.at.trim().to_owned(),
        known: query.known.trim().to_owned(),
        asked: (!said.is_empty()).then(|| said.join(", ")),
        claim,
        shown,
        print,
    };
    page(StatusCode::OK, &page_shown)
}

pub(super) fn read_direction(text: &str) -> Result<Direction, Fault> {
    match text.trim() {
        "made_from" => Ok(Direction::MadeFrom),
        "went_into" => Ok(Direction::WentInto),
        other => Err(Fault::cannot_read(format!(
            "A trace goes to what something is made from (made_from) or to what it went into (went_into), not {}.",
            super::in_a_query(other)
        ))),
    }
}

fn form(text: &str) -> Result<Form, Fault> {
    match text.trim() {
        "" | "list" => Ok(Form::List),
        "sheet" => Ok(Form::Sheet),
        "csv" => Ok(Form::Csv),
        _ => Err(Fault::cannot_read("A trace is shown as a list, as a sheet, or as csv for a spreadsheet.")),
    }
}

pub(super) fn read_known(text: &str) -> Result<Option<u64>, Fault> {
    match text.trim() {
        "" => Ok(None),
        text => text
            .parse()
            .map(Some)
            .map_err(|_| Fault::cannot_read("As known at which entry? Write its number, such as 300.")),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Print {
    #[serde(default)]
    head: String,
    #[serde(default)]
    foot: String,
}

/// What stands on every sheet of paper: a style sheet can't take it from the page.
#[route("/print.css", method = "GET", method = "HEAD")]
pub(crate) async fn print_css(query: web::Query<Print>) -> Answer {
    // Each character by its number, so that none of them means anything to a style sheet.
    let text = |text: &str| text.chars().take(300).map(|c| format!("\\{:x} ", u32::from(c))).collect::<String>();
    let css = format!(
        "@page {{ @top-left {{ content: \"{}\" }} @bottom-left {{ content: \"{}\"; font-size: 7pt }} }}\n",
        text(&query.head),
        text(&query.foot)
    );
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "text/css; charset=utf-8"))
        .insert_header((header::CACHE_CONTROL, "public, max-age=3600"))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(css))
}

impl Item {
    /// `, entry 12`, `, entries 12, 14 and 3 more`.
    fn by_entries(&self) -> String {
        let numbers: Vec<String> = self.entries.iter().take(3).map(ToString::to_string).collect();
        let more = self.entries.len().saturating_sub(3);
        let more = if more == 0 { String::new() } else { format!(" and {more} more") };
        match self.entries.len() {
            0 => String::new(),
            1 => format!(", entry {}", numbers.concat()),
            _ => format!(", entries {}{more}", numbers.join(", ")),
        }
    }

    fn of_stages(&self) -> String {
        if self.stages.is_empty() { String::new() } else { format!(", {}", self.stages.join(", ")) }
    }
}
