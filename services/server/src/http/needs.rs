//! The one table of who may ask what once the yard is set up. What stands in no row needs somebody, too; which role a
//! decision or a fact needs stands in the domain's own table.

use super::contract::fits;
use actix_web::http::Method;
use shared_types::Scope;

/// What an address asks of whoever asks there.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Need {
    /// Nothing: the way in, and what says nothing about the yard.
    Open,
    /// A person, an enrolled device, or a program whose token has the scope.
    Somebody(Scope),
    /// The same. The yard may let its own network ask it without signing in; then no names are answered.
    Question,
    /// A person who signed in.
    Person,
    /// An administrator who signed in with a password and a one-time code.
    Administrator,
}

use Need::{Administrator, Open, Person, Question, Somebody};

/// Methods, address, and what it needs. GET stands for HEAD too. What is asked most comes first.
pub(crate) const TABLE: &[(&str, &str, Need)] = &[
    ("GET", "/api/v1/things/{kind}/{code}/may-use", Question),
    ("GET", "/api/v1/things/part/{code}/may-install", Question),
    ("POST", "/api/v1/entries", Somebody(Scope::Facts)),
    ("POST", "/api/v1/decisions", Somebody(Scope::Decisions)),
    ("GET", "/healthz", Open),
    ("GET", "/readyz", Open),
    ("GET", "/api/v1/openapi.json", Open),
    // Whoever watches over the log compares it, and a device has to trust the yard's authority before it can be enrolled.
    ("GET", "/api/v1/checkpoint", Open),
    ("GET", "/authority", Open),
    ("GET", "/authority.pem", Open),
    ("POST", "/api/v1/join/begin", Open),
    ("POST", "/api/v1/join", Open),
    ("POST", "/api/v1/sign-in", Open),
    ("POST", "/api/v1/devices/enrol", Open),
    // The token in the address is what it asks for.
    ("GET", "/api/v1/feeds/{token}/warnings.ics", Open),
    ("GET", "/api/v1/feeds", Person),
    ("POST", "/api/v1/feeds", Person),
    ("POST", "/api/v1/feeds/revoke", Person),
    ("GET", "/api/v1/me/sessions", Person),
    ("POST", "/api/v1/me/sessions/end", Person),
    ("POST", "/api/v1/sign-out", Person),
    ("GET", "/api/v1/me", Somebody(Scope::Read)),
    ("POST", "/api/v1/sittings", Person),
    ("GET", "/api/v1/people", Administrator),
    ("POST", "/api/v1/people/name", Administrator),
    ("POST", "/api/v1/people/withdraw", Administrator),
    ("POST", "/api/v1/people/badge", Administrator),
    ("POST", "/api/v1/people/invitation", Administrator),
    ("POST", "/api/v1/people/sign-out", Administrator),
    ("POST", "/api/v1/devices/codes", Administrator),
    ("POST", "/api/v1/tokens", Administrator),
    ("POST", "/api/v1/devices/entries", Administrator),
    // The pages.
    ("GET", "/static/{name}", Open),
    ("GET", "/problems", Open),
    ("GET", "/problems/{name}", Open),
    ("GET", "/print.css", Open),
    ("GET", "/docs", Open),
    ("GET", "/docs/operations/{id}", Open),
    ("GET", "/docs/shapes/{name}", Open),
    ("GET", "/sign-in", Open),
    ("POST", "/sign-in", Open),
    ("GET", "/set-up", Open),
    ("POST", "/set-up", Open),
    ("GET", "/enrol", Open),
    ("POST", "/enrol", Open),
    ("POST", "/sign-out", Person),
    ("GET", "/sessions", Person),
    ("POST", "/sessions", Person),
    ("GET", "/calendar", Person),
    ("POST", "/calendar", Person),
    ("GET", "/sitting", Person),
    ("POST", "/sitting", Person),
    ("GET", "/people", Administrator),
    ("POST", "/people", Administrator),
    ("GET", "/devices/revoke", Administrator),
    ("POST", "/devices/revoke", Administrator),
    ("GET", "/devices/bring-in", Administrator),
    ("POST", "/devices/bring-in", Administrator),
];

/// What an address needs. Pages that write need a person; everything else that is read needs somebody.
pub(crate) fn of(method: &Method, path: &str) -> Need {
    let method = if method == Method::HEAD { &Method::GET } else { method };
    let row = TABLE.iter().find(|(own, template, _)| *own == method.as_str() && fits(template, path));
    match row {
        Some((.., need)) => *need,
        None if is_open(path) => Open,
        None if method == Method::GET => Somebody(Scope::Read),
        None if method == Method::POST => Person,
        // There is no other method: everybody hears that, and nothing else.
        None => Open,
    }
}

/// Whoever may ask there in another way hears that there is no such method.
fn is_open(path: &str) -> bool {
    TABLE.iter().any(|(_, template, need)| *need == Open && fits(template, path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_without_a_row_needs_somebody() {
        assert_eq!(of(&Method::GET, "/api/v1/rolls"), Somebody(Scope::Read));
        assert_eq!(of(&Method::HEAD, "/healthz"), Open);
        assert_eq!(of(&Method::POST, "/moves"), Person);
        assert_eq!(of(&Method::GET, "/nothing/here"), Somebody(Scope::Read));
        assert_eq!(of(&Method::DELETE, "/api/v1/entries"), Open);
        assert_eq!(of(&Method::POST, "/nothing/here"), Person);
        assert_eq!(of(&Method::POST, "/healthz"), Open);
        assert_eq!(of(&Method::GET, "/api/v1/join"), Open);
        assert_eq!(of(&Method::GET, "/api/v1/things/roll/R-42/may-use"), Question);
    }
}
