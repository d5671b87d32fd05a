//! The deliveries, newest first: what each note lists, against what was received.

use super::{answer, asked_then, assets::Assets, foot::Foot, in_a_query, page};
use crate::http::{
    ask::{AtKnown, ask_beside},
    fallback::in_a_path,
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::{say::Say, view::View};
use serde::Deserialize;
use shared_types::{Delivered, ThingName};

/// The moment it is asked for, and which page of it.
#[derive(Deserialize, Clone, Default)]
#[serde(deny_unknown_fields)]
pub(crate) struct DeliveriesQuery {
    #[serde(default)]
    at: String,
    #[serde(default)]
    known: Option<u64>,
    #[serde(default)]
    page: Option<usize>,
}

/// So many stand on one page.
const ON_A_PAGE: usize = 100;
/// So many missing rolls are named; the delivery's own page names all.
const NAMED: usize = 12;

#[derive(Template)]
#[template(path = "deliveries.html")]
struct DeliveriesPage {
    assets: Assets,
    foot: Foot,
    page: usize,
    lines: Vec<Line>,
    next: Option<String>,
    /// The moment that was asked for, as it stands in an address.
    moment: String,
}

struct Line {
    address: String,
    name: String,
    came: String,
    materials: String,
    noted: u64,
    received: usize,
    /// Of those received.
    before: usize,
    /// Address and name of each.
    missing: Vec<(String, String)>,
    more: usize,
    receive: String,
}

fn address(thing: &ThingName) -> String {
    format!("/thing/{}", in_a_path(thing))
}

fn line(thing: &ThingName, one: &Delivered, say: &Say, at: shared_types::Instant) -> Line {
    let missing = one.note.missing.iter().take(NAMED).map(|roll| (address(roll), roll.short().to_owned()));
    Line {
        address: address(thing),
        name: thing.short().to_owned(),
        came: say.past(one.arrived_at.at, at),
        materials: one.materials.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
        noted: one.note.noted,
        received: one.note.received.len(),
        before: one.note.received_before.len(),
        missing: missing.collect(),
        more: one.note.missing.len().saturating_sub(NAMED),
        receive: format!("/receive?note={}", in_a_query(thing.short())),
    }
}

#[route("/deliveries", method = "GET", method = "HEAD")]
pub(crate) async fn deliveries_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<DeliveriesQuery>,
) -> HttpResponse {
    answer(&request, shown(&yard, query.into_inner()).await)
}

async fn shown(yard: &web::Data<Yard>, query: DeliveriesQuery) -> Result<HttpResponse, Fault> {
    let which = query.page.unwrap_or(1).max(1);
    let asked = AtKnown { at: asked_then(yard, &query.at)?, known: query.known };
    let shared = yard.clone();
    let (foot, lines, more) = ask_beside(yard, move |book| {
        let when = asked.when(&shared, book)?;
        let view = View::new(book, when.known);
        let (say, all) = (Say::of(view, when.at), domain::deliveries::deliveries(book, when));
        let before = ON_A_PAGE.saturating_mul(which - 1);
        let these = all.iter().skip(before).take(ON_A_PAGE);
        let lines: Vec<Line> = these.map(|(thing, one)| line(thing, one, &say, when.at)).collect();
        Ok((Foot::of(&shared, view, when), lines, before.saturating_add(ON_A_PAGE) < all.len()))
    })
    .await?;
    let at = Some(&query.at).filter(|at| !at.is_empty()).map(|at| format!("at={}", in_a_query(at)));
    let known = query.known.map(|known| format!("known={known}"));
    let moment: Vec<String> = at.into_iter().chain(known).collect();
    let address = |first: Option<String>| {
        let query: Vec<String> = first.into_iter().chain(moment.iter().cloned()).collect();
        if query.is_empty() { String::new() } else { format!("?{}", query.join("&")) }
    };
    let next = more.then(|| format!("/deliveries{}", address(Some(format!("page={}", which.saturating_add(1))))));
    let moment = address(None);
    page(StatusCode::OK, &DeliveriesPage { assets: Assets::new(), foot, page: which, lines, next, moment })
}
