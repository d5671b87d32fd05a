//! A boat's trace: what is in it, as known now or then, to read and to print.

use super::{
    answer,
    assets::Assets,
    page,
    sheet::{Sheet, sheet},
};
use crate::http::{
    ask::{AtKnown, ask_beside},
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use shared_types::{Code, Kind, ThingName};

#[derive(Template)]
#[template(path = "boat.html")]
struct BoatPage {
    assets: Assets,
    boat: String,
    sheet: Sheet,
    /// Asked as it was known at an earlier entry.
    known: bool,
}

impl BoatPage {
    fn rows(&self) -> usize {
        self.sheet.parts.iter().map(super::sheet::Part::rows).sum()
    }
}

#[route("/boat/{code}", method = "GET", method = "HEAD")]
pub(crate) async fn boat_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    code: web::Path<String>,
    query: web::Query<AtKnown>,
) -> HttpResponse {
    let found = async {
        let code = Code::new(&code).map_err(|error| Fault::cannot_read(error.to_string()))?;
        let (boat, shared, query) = (ThingName::new(Kind::Boat, &code), yard.clone(), *query);
        let name = boat.short().to_owned();
        let sheet = ask_beside(&yard, move |book| sheet(book, &boat, query.when(&shared, book)?)).await?;
        page(StatusCode::OK, &BoatPage { assets: Assets::new(), boat: name, sheet, known: query.known.is_some() })
    };
    answer(&request, found.await)
}
