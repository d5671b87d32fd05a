//! The yard's own authority on a sheet of paper: what a device is told to believe, and the digits to compare first.

use super::{super::problems::Answer, answer, assets::Assets, foot::Foot, page};
use crate::{
    http::problems::Fault,
    private,
    tls::{AUTHORITY, fingerprint},
    yard::Yard,
};
use actix_web::{
    HttpRequest, HttpResponse,
    http::{StatusCode, header},
    route, web,
};
use askama::Template;
use domain::{When, view::View};

#[derive(Template)]
#[template(path = "authority.html")]
struct AuthorityPage {
    assets: Assets,
    foot: Foot,
    fingerprint: Option<String>,
}

/// The certificate in PEM, if this yard has an authority of its own.
fn kept(yard: &Yard) -> Result<Option<String>, Fault> {
    let read = private::read(&yard.private.join(AUTHORITY));
    let read = read.map_err(|error| Fault::went_wrong(format!("The authority could not be read: {error}.")))?;
    Ok(read.and_then(|pem| String::from_utf8(pem).ok()))
}

#[route("/authority", method = "GET", method = "HEAD")]
pub(crate) async fn authority_page(request: HttpRequest, yard: web::Data<Yard>) -> HttpResponse {
    let found = kept(&yard).and_then(|pem| {
        let when = When::now(yard.now());
        let foot = Foot::of(&yard, View::new(&yard.read(), when.known), when);
        let fingerprint = pem.as_deref().and_then(fingerprint);
        page(StatusCode::OK, &AuthorityPage { assets: Assets::new(), foot, fingerprint })
    });
    answer(&request, found)
}

#[route("/authority.pem", method = "GET", method = "HEAD")]
pub(crate) async fn authority_pem(yard: web::Data<Yard>) -> Answer {
    match kept(&yard)? {
        Some(pem) => Ok(HttpResponse::Ok()
            .insert_header((header::CONTENT_TYPE, "application/x-x509-ca-cert"))
            .insert_header((header::CONTENT_DISPOSITION, "attachment; filename=\"authority.pem\""))
            .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
            .body(pem)),
        None => Err(Fault::not_found("This server has no authority of its own: rimebook certify makes one.")),
    }
}
