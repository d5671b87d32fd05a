//! Cookies: which session and which device a browser has.

use super::problems::Fault;
use actix_web::{HttpRequest, http::header};

/// The cookies that say who it is. Over TLS their names keep every other host, path and plain connection from setting them.
pub(crate) struct Cookies<'a> {
    text: &'a str,
    secure: bool,
}

impl<'a> Cookies<'a> {
    pub(crate) fn of(request: &'a HttpRequest) -> Cookies<'a> {
        let text = request.headers().get(header::COOKIE).and_then(|value| value.to_str().ok()).unwrap_or_default();
        Cookies { text, secure: request.app_config().secure() }
    }

    fn named(&self, name: &str) -> Option<&'a str> {
        self.text.split(';').find_map(|one| one.trim().strip_prefix(name)?.strip_prefix('='))
    }

    pub(crate) fn session(&self) -> Option<&'a str> {
        self.named(name(self.secure, "session"))
    }

    pub(crate) fn device(&self) -> Option<&'a str> {
        self.named(name(self.secure, "device"))
    }
}

fn name(secure: bool, what: &'static str) -> &'static str {
    match (secure, what) {
        (true, "session") => "__Host-session",
        (true, _) => "__Host-device",
        (false, what) => what,
    }
}

/// A browser keeps the token of its device for so long: 400 days, the most that browsers take.
const DEVICE_S: i64 = 400 * 24 * 60 * 60;

/// The cookie of a browser that is a device.
pub(crate) fn of_device(request: &HttpRequest, token: &str) -> Result<header::HeaderValue, Fault> {
    cookie(request, "device", token, DEVICE_S)
}

/// Sets a cookie for so many seconds; 0 takes it away.
pub(crate) fn cookie(
    request: &HttpRequest,
    what: &'static str,
    value: &str,
    seconds: i64,
) -> Result<header::HeaderValue, Fault> {
    let secure = request.app_config().secure();
    let only = if secure { "; Secure" } else { "" };
    let text = format!("{}={value}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Strict{only}", name(secure, what));
    header::HeaderValue::from_str(&text).map_err(|_| Fault::went_wrong("You could not be remembered. Try again."))
}
