//! Where a form came from: a page of another site may not write here.

use super::or_problem;
use crate::http::problems::{Fault, Kind};
use actix_web::{
    Error, HttpRequest,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{Method, StatusCode},
    middleware::Next,
};

/// Looks where a form came from before anything else is read of it, its fields included.
pub(crate) async fn own_forms_only<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let is_form = request.method() == Method::POST && !request.path().starts_with("/api/");
    match is_form.then(|| own_form(request.request())) {
        Some(Err(fault)) => {
            let answer = or_problem(request.request(), fault);
            Ok(request.into_response(answer))
        }
        _ => Ok(next.call(request).await?.map_into_boxed_body()),
    }
}

/// A form of this very site; another site's page may not write here.
fn own_form(request: &HttpRequest) -> Result<(), Fault> {
    let text = |name: &str| request.headers().get(name).and_then(|value| value.to_str().ok());
    let elsewhere = text("sec-fetch-site").is_some_and(|site| !matches!(site, "same-origin" | "none"));
    // A page that hides where it is from says `null`, which is no host either.
    let foreign = text("origin").is_some_and(|origin| origin.split_once("://").map(|(_, host)| host) != text("host"));
    match elsewhere || foreign {
        true => Err(Fault::new(
            StatusCode::FORBIDDEN,
            Kind::NotAllowed,
            "The form came from a page of another site, so nothing was written. Open the scan page of this server and scan again.",
        )),
        false => Ok(()),
    }
}
