//! A boat's trace: what is in it, as of now or then and as known now or then, to read and to print; on request with the
//! whole record of each part.

use super::{
    answer,
    assets::Assets,
    boat_record::{Record, Records},
    claim::claim,
    foot::{Foot, print},
    page,
};
use crate::http::{
    ask::{AtKnown, ask_beside, nobody},
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::sheet::Sheet;
use domain::view::View;
use serde::Deserialize;
use shared_types::{Code, Kind, ThingName};

#[derive(Template)]
#[template(path = "boat.html")]
struct BoatPage {
    assets: Assets,
    foot: Foot,
    boat: String,
    claim: Vec<String>,
    sheet: Sheet,
    /// `As of Sun 1 Mar 2026 12:00, as known at entry 300`, where that was asked.
    asked: Option<String>,
    /// The same question with the other choice of what is shown of each part.
    other: String,
    whole: bool,
    records: Vec<Record>,
    print: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BoatQuery {
    /// A time as people write it, in the yard's zone unless it says otherwise.
    #[serde(default)]
    at: String,
    #[serde(default)]
    known: Option<u64>,
    #[serde(default)]
    parts: Shown,
}

/// What is shown of each part.
#[derive(Deserialize, Default, Clone, Copy, PartialEq, Eq)]
#[serde(rename_all = "snake_case")]
enum Shown {
    /// Its rows in the sheet.
    #[default]
    Sheet,
    /// Who did what when, its limits at cure, what held it, what the screen had said.
    Whole,
}

#[route("/boat/{code}", method = "GET", method = "HEAD")]
pub(crate) async fn boat_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    query: web::Query<BoatQuery>,
) -> HttpResponse {
    answer(&request, one(&yard, &code, &query).await)
}

async fn one(yard: &web::Data<Yard>, code: &str, query: &BoatQuery) -> Result<HttpResponse, Fault> {
    let boat = boat(code)?;
    let (shared, named, parts) = (yard.clone(), boat.clone(), query.parts);
    let as_of = super::asked_then(yard, &query.at)?;
    let asked = AtKnown { at: as_of, known: query.known };
    let (sheet, records, foot) = ask_beside(yard, move |book| {
        let when = asked.when(&shared, book)?;
        let sheet = domain::build_sheet(book, &named, when).ok_or_else(|| nobody(&named))?;
        let names = sheet.parts.iter().filter(|_| parts == Shown::Whole).map(|part| part.name.as_str());
        let records = Records::of(book, names, when);
        Ok((sheet, records, Foot::of(&shared, View::new(book, when.known), when)))
    })
    .await?;
    let records = records.read(yard).await?;
    let at = as_of.map(|_| format!("As of {}", foot.at));
    let known = query.known.map(|known| match at.is_some() {
        true => format!("as known at entry {known}"),
        false => format!("As known at entry {known}"),
    });
    let asked: Vec<String> = at.into_iter().chain(known).collect();
    let shown = BoatPage {
        assets: Assets::new(),
        boat: boat.short().to_owned(),
        claim: claim(boat.short(), &sheet),
        sheet,
        asked: (!asked.is_empty()).then(|| asked.join(", ")),
        other: other(&boat, query),
        whole: parts == Shown::Whole,
        records,
        print: print(&format!("Boat {}", boat.short()), &foot),
        foot,
    };
    page(StatusCode::OK, &shown)
}

fn boat(code: &str) -> Result<ThingName, Fault> {
    let code = Code::new(code).map_err(|error| Fault::cannot_read(error.to_string()))?;
    Ok(ThingName::new(Kind::Boat, &code))
}

fn other(boat: &ThingName, query: &BoatQuery) -> String {
    let fields = [
        ("at", Some(query.at.trim()).filter(|at| !at.is_empty()).map(super::in_a_query)),
        ("known", query.known.map(|known| known.to_string())),
        ("parts", (query.parts == Shown::Sheet).then(|| "whole".to_owned())),
    ];
    let said: Vec<String> = fields.into_iter().filter_map(|(name, value)| Some(format!("{name}={}", value?))).collect();
    let address = format!("/{}", crate::http::in_a_path(boat));
    if said.is_empty() { address } else { format!("{address}?{}", said.join("&")) }
}
