//! Where a request came from: a page of another site may not write here, neither with a form nor with a script.

use super::{
    pages, path_of,
    problems::{Fault, Kind},
};
use actix_web::{
    Error, HttpRequest,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{Method, StatusCode},
    middleware::Next,
};

/// Looks where a request that may write came from before anything else is read of it, its fields included.
pub(crate) async fn own_pages_only<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    if request.method() != Method::POST || !is_foreign(request.request()) {
        return Ok(next.call(request).await?.map_into_boxed_body());
    }
    let detail = match pages::for_programs(path_of(request.request())) {
        true => {
            "It came from a page of another site, so nothing was written. A program sends no Origin and no Sec-Fetch-Site."
        }
        false => {
            "The form came from a page of another site, so nothing was written. Open the scan page of this server and scan again."
        }
    };
    let fault = Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail);
    let answer = pages::or_problem(request.request(), fault);
    Ok(request.into_response(answer))
}

/// Browsers say where a request came from; other programs say nothing, and are not asked.
pub(super) fn is_foreign(request: &HttpRequest) -> bool {
    let text = |name: &str| request.headers().get(name).and_then(|value| value.to_str().ok());
    let elsewhere = text("sec-fetch-site").is_some_and(|site| !matches!(site, "same-origin" | "none"));
    // A page that hides where it is from says `null`, which is no host either.
    let foreign = text("origin").is_some_and(|origin| origin.split_once("://").map(|(_, host)| host) != text("host"));
    elsewhere || foreign
}
