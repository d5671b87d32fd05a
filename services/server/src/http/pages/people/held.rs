//! What somebody entered and sent when nobody was signed in any more: it goes along through the sign-in and is sent again from
//! there, so that nothing has to be typed twice.

use super::{
    super::{assets::Assets, page, scan::without_symbology},
    onward,
};
use crate::{
    http::{origin, path_of, problems::Fault, read::Form},
    people::BADGE,
};
use actix_web::{HttpMessage, HttpRequest, HttpResponse, http::StatusCode};
use askama::Template;

/// A form that is longer would not fit into that of the sign-in.
const LONGEST: usize = 8 * 1024;
/// How the fields are called on their way: where they go, and each under this before its own name.
const TO: &str = "held_to";
const FIELD: &str = "held.";
/// What is never carried: secrets, and what a script says of the moment.
const NEVER: &[&str] = &["password", "one_time", "device_time"];

/// What these write counts from the moment when it is sent: kept for later it would count too late, so it is pressed anew.
const FROM_NOW: &[&str] = &["/moves", "/lay", "/cut", "/oven", "/receive/scan"];

pub(super) struct Held {
    to: String,
    fields: Vec<(String, String)>,
}

impl Held {
    /// Of a form that was refused because nobody is signed in.
    pub(super) fn refused(request: &HttpRequest) -> Option<Held> {
        let is_kept = !FROM_NOW.contains(&path_of(request)) && !origin::is_foreign(request);
        let fields = pairs(request).filter(|_| is_kept)?;
        let is_secret = |value: &str| without_symbology(value.trim()).starts_with(BADGE);
        let kept = fields.into_iter().filter(|(name, value)| {
            !NEVER.contains(&name.as_str()) && !name.starts_with(FIELD) && !value.is_empty() && !is_secret(value)
        });
        Held::new(path_of(request).to_owned(), kept.collect())
    }

    /// As the form of a sign-in carries it.
    pub(super) fn carried(request: &HttpRequest) -> Option<Held> {
        let fields = pairs(request)?;
        let to = fields.iter().find(|(name, _)| name == TO).map(|(_, to)| onward(to))?;
        let own = |(name, value): (String, String)| Some((name.strip_prefix(FIELD)?.to_owned(), value));
        Held::new(to, fields.into_iter().filter_map(own).collect())
    }

    fn new(to: String, fields: Vec<(String, String)>) -> Option<Held> {
        (!fields.is_empty()).then_some(Held { to, fields })
    }

    /// As fields of the sign-in's form.
    pub(super) fn on_its_way(&self) -> Vec<(String, String)> {
        let fields = self.fields.iter().map(|(name, value)| (format!("{FIELD}{name}"), value.clone()));
        [(TO.to_owned(), self.to.clone())].into_iter().chain(fields).collect()
    }

    /// Whoever signed in sends it, with one press.
    pub(super) fn shown(self, who: String) -> Result<HttpResponse, Fault> {
        page(StatusCode::OK, &HeldPage { assets: Assets::new(), who, held: self })
    }
}

#[derive(Template)]
#[template(path = "held.html")]
struct HeldPage {
    assets: Assets,
    who: String,
    held: Held,
}

/// The fields of a form, as it was sent.
fn pairs(request: &HttpRequest) -> Option<Vec<(String, String)>> {
    let form = request.extensions().get::<Form>().map(|form| form.0.clone()).filter(|form| form.len() <= LONGEST)?;
    serde_urlencoded::from_bytes(&form).ok()
}
