//! A boat's trace: what is in it, as of now or then and as known now or then, to read and to print.

use super::{
    answer,
    assets::Assets,
    foot::root,
    page,
    sheet::{Sheet, sheet},
};
use crate::http::{
    ask::{AtKnown, ask_beside},
    problems::{Answer, Fault},
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, route, web};
use askama::Template;
use shared_types::{Code, Kind, ThingName};

#[derive(Template)]
#[template(path = "boat.html")]
struct BoatPage {
    assets: Assets,
    boat: String,
    sheet: Sheet,
    /// `As of Sun 1 Mar 2026 12:00, as known at entry 300`, where that was asked.
    asked: Option<String>,
    /// What the log's tree says about what was read.
    root: String,
}

#[route("/boat/{code}", method = "GET", method = "HEAD")]
pub(crate) async fn boat_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    query: web::Query<AtKnown>,
) -> HttpResponse {
    let found = async {
        let (boat, shared, query) = (boat(&code)?, yard.clone(), *query);
        let name = boat.short().to_owned();
        let sheet = ask_beside(&yard, move |book| sheet(book, &boat, query.when(&shared, book)?)).await?;
        let at = query.at.map(|_| format!("As of {}", sheet.at));
        let known = query.known.map(|known| match at.is_some() {
            true => format!("as known at entry {known}"),
            false => format!("As known at entry {known}"),
        });
        let asked: Vec<String> = at.into_iter().chain(known).collect();
        let asked = (!asked.is_empty()).then(|| asked.join(", "));
        let root = root(&yard, sheet.as_of_seq);
        page(StatusCode::OK, &BoatPage { assets: Assets::new(), boat: name, sheet, asked, root })
    };
    answer(&request, found.await)
}

fn boat(code: &str) -> Result<ThingName, Fault> {
    let code = Code::new(code).map_err(|error| Fault::cannot_read(error.to_string()))?;
    Ok(ThingName::new(Kind::Boat, &code))
}

/// What stands on every sheet of paper: a style sheet can't take it from the page.
#[route("/boat/{code}/print.css", method = "GET", method = "HEAD")]
pub(crate) async fn print_css(code: web::Path<String>) -> Answer {
    let boat = boat(&code)?;
    let name: String = boat.short().chars().map(|c| format!("\\{:x} ", u32::from(c))).collect();
    let css = format!("@page {{ @top-left {{ content: \"Boat {name}\" }} }}\n");
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "text/css; charset=utf-8"))
        .insert_header((header::CACHE_CONTROL, "public, max-age=3600"))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(css))
}
