//! A boat's list of structural parts: one part a line, what does not fit it, and what it would change before it is saved.

use super::answer;
use super::claim::{list, number};
use super::typed::{Said, Typed};
use super::wish::{self, Chosen, Draft, Field, WishPage};
use crate::http::{ask::ask, fallback::in_a_path, problems::Fault};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::fact::{Label, What};
use domain::{Book, When, trace::boat_of, view::View};
use serde_json::json;
use shared_types::{Code, Kind, ThingName};

#[route("/boat/{code}/list", method = "GET", method = "HEAD")]
pub(crate) async fn list_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    query: web::Query<Said>,
) -> HttpResponse {
    let done = async {
        let (shown, draft) = asked(&request, &yard, &code, &query)?;
        wish::show(&yard, shown, draft.map(Ok)).await
    };
    answer(&request, done.await)
}

#[post("/boat/{code}/list")]
pub(crate) async fn post_list(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    form: web::Form<Said>,
) -> HttpResponse {
    let done = async {
        match asked(&request, &yard, &code, &form)? {
            (shown, Some(draft)) => wish::save(&request, &yard, shown, Ok(draft)).await,
            (shown, None) => wish::show(&yard, shown, None).await,
        }
    };
    answer(&request, done.await)
}

/// The page, and what it asks for as far as it was entered and can be read.
fn asked(request: &HttpRequest, yard: &Yard, code: &str, said: &Said) -> Result<(WishPage, Option<Draft>), Fault> {
    let code =
        Code::new(code).map_err(|error| Fault::cannot_read(format!("{error}. Look the boat up in the list.")))?;
    let boat = ThingName::new(Kind::Boat, &code);
    let when = When::now(yard.now());
    let declared = ask(yard, |book| Ok(declared(book, &boat, when)))?;
    let mut typed = Typed::of(said);
    let entered = said.contains_key("parts");
    let parts = if entered { typed.read("parts", parts) } else { declared.clone() };
    let mut shown = WishPage::new(yard, request, Chosen::of(said));
    shown.asks = "The list";
    shown.title = format!("The list of parts of boat {code}");
    shown.address = format!("/{}/list", in_a_path(&boat));
    shown.then = Some(format!("/thing/{}", in_a_path(&boat)));
    shown.lead.push(match &declared {
        Some(parts) => format!("{} on its list now.", number(parts.len(), "part")),
        None => format!("Nobody has said yet which parts {code} has."),
    });
    if let Some(parts) = &parts {
        shown.lead.extend(ask(yard, |book| Ok(fits(book, &boat, parts, when)))?);
    }
    let lines = |parts: &[Code]| parts.iter().map(Code::to_string).collect::<Vec<_>>().join("\n");
    shown.areas.push(Field {
        name: "parts",
        label: "Its structural parts, one a line".to_owned(),
        value: if entered { typed.text("parts").to_owned() } else { lines(declared.as_deref().unwrap_or_default()) },
        like: "",
    });
    let draft = parts.filter(|_| entered && typed.is_right());
    shown.faults = typed.faults;
    let draft = draft.map(|parts| Draft { decide: "declare_boat", thing: boat, body: json!({ "parts": parts }) });
    Ok((shown, draft))
}

/// One part a line; empty lines are nothing.
fn parts(text: &str) -> Result<Vec<Code>, String> {
    let mut parts: Vec<(usize, Code)> = Vec::new();
    for (line, text) in (1..).zip(text.lines()).filter(|(_, text)| !text.trim().is_empty()) {
        let part = Code::new(text).map_err(|error| format!("Line {line}: {error}."))?;
        if let Some((first, _)) = parts.iter().find(|(_, other)| *other == part) {
            return Err(format!("{part} stands there twice, on lines {first} and {line}."));
        }
        parts.push((line, part));
    }
    match parts.is_empty() {
        true => Err("Name its parts, one a line.".to_owned()),
        false => Ok(parts.into_iter().map(|(_, part)| part).collect()),
    }
}

fn declared(book: &Book, boat: &ThingName, when: When) -> Option<Vec<Code>> {
    let view = View::new(book, when.known);
    let lists = view.facts(book.label(boat)?).filter_map(|fact| match &fact.what {
        What::BoatList(parts) => Some(parts),
        _ => None,
    });
    Some(lists.last()?.iter().map(|part| book.code(*part)).collect())
}

/// What does not fit a list: installed without standing on it, in another boat, no record.
fn fits(book: &Book, boat: &ThingName, parts: &[Code], when: When) -> Vec<String> {
    let view = View::new(book, when.known);
    let own = book.label(boat);
    let in_boat = |part: Label| boat_of(view, part, when.at).map(|(boat, _)| boat);
    let installed = book.in_order(Kind::Part, None).filter(|(_, part)| own.is_some() && in_boat(*part) == own);
    let strangers: Vec<Code> =
        installed.map(|(part, _)| part.own_code()).filter(|part| !parts.contains(part)).collect();
    let label = |part: &Code| book.label(&ThingName::new(Kind::Part, part));
    let laid = |part: Label| view.facts(part).any(|fact| matches!(&fact.what, What::Laid(laid) if laid.part == part));
    let nothing: Vec<Code> = parts.iter().filter(|part| !label(part).is_some_and(laid)).cloned().collect();
    let mut said = Vec::new();
    let mut tell = |parts: &[Code], one: &str, many: &str| {
        let names: Vec<&str> = parts.iter().map(Code::as_str).collect();
        if !names.is_empty() {
            let what = if names.len() == 1 { one } else { many };
            said.push(format!("{} {what}: {}.", number(names.len(), "part"), list(&names)));
        }
    };
    tell(&strangers, "is installed in it and not on this list", "are installed in it and not on this list");
    tell(&nothing, "on this list has no record of what was laid", "on this list have no record of what was laid");
    for part in parts {
        let elsewhere = label(part).and_then(in_boat).filter(|boat| Some(*boat) != own);
        said.extend(elsewhere.map(|boat| format!("{part} is in boat {}.", book.name(boat).short())));
    }
    said
}
