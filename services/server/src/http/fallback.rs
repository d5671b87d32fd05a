//! What no operation answers: an address that is not there (404), or another method than it has (405 with `Allow`).

use super::{
    contract::Contract,
    pages, path_of,
    problems::{Answer, Fault, Kind},
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, web};
use shared_types::ThingName;

pub(crate) async fn fallback(request: HttpRequest, contract: web::Data<Contract>) -> Answer {
    let allowed = contract.methods_of(path_of(&request));
    if allowed.is_empty() {
        let detail = "There is nothing at this address. The operations are in /api/v1/openapi.json.";
        let fault = Fault::new(StatusCode::NOT_FOUND, Kind::NoSuchOperation, detail);
        return Ok(pages::no_such_page(&request, fault));
    }
    let allow = allowed.join(", ");
    let detail = format!("{} is not done here; use {allow}.", request.method());
    let fault = Fault::new(StatusCode::METHOD_NOT_ALLOWED, Kind::NoSuchOperation, detail).with("allow", allowed);
    let mut answer: HttpResponse = pages::no_such_page(&request, fault);
    if let Ok(allow) = header::HeaderValue::from_str(&allow) {
        answer.headers_mut().insert(header::ALLOW, allow);
    }
    Ok(answer)
}

/// `roll/R-42`, `batch/PM-101/B%20123`: a thing in an address.
pub(crate) fn in_a_path(thing: &ThingName) -> String {
    let mut path = format!("{}/", thing.kind());
    for byte in thing.code().bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => path.push(char::from(byte)),
            _ => path.push_str(&format!("%{byte:02X}")),
        }
    }
    path
}

#[cfg(test)]
mod tests {
    use super::in_a_path;

    #[test]
    fn a_thing_fits_into_an_address() {
        let path = |text: &str| in_a_path(&text.parse().unwrap());
        assert_eq!(path("roll/R-42"), "roll/R-42");
        assert_eq!(path("batch/PM-101/B 1"), "batch/PM-101/B%201");
        assert_eq!(path("roll/Ü?"), "roll/%C3%9C%3F");
    }
}
