//! Signing in and out, and letting a second person stand beside.

use super::{
    super::{answer, assets::Assets, badge, page, see},
    held::Held,
    onward,
};
use crate::{
    http::{
        cookies,
        people::{begin, sit},
        problems::Fault,
        who::{self, Who},
    },
    people::Shows,
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, post, route, web};
use askama::Template;
use domain::{say::Say, view::View};
use serde::Deserialize;

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage {
    assets: Assets,
    /// The yard is set up, so that people sign in.
    set_up: bool,
    /// Who is signed in, and how they are called.
    who: Option<String>,
    /// The enrolled device, where badges are scanned.
    device: Option<String>,
    /// The second person signs in beside this one.
    beside: bool,
    then: String,
    /// What was entered while nobody was signed in.
    held: Vec<(String, String)>,
    badge: String,
    problem: Option<String>,
    /// What the scan strip does.
    address: &'static str,
}

#[derive(Deserialize, Default)]
pub(crate) struct SignInForm {
    /// What was scanned.
    #[serde(default)]
    code: String,
    #[serde(default)]
    badge: String,
    #[serde(default)]
    password: String,
    #[serde(default)]
    one_time: String,
    #[serde(default)]
    then: String,
}

impl SignInForm {
    fn shows(&self) -> Shows {
        match self.code.trim() {
            "" => Shows::Password {
                badge: self.badge.trim().to_owned(),
                password: self.password.clone(),
                one_time: self.one_time.clone(),
            },
            symbol => Shows::Badge(super::super::scan::without_symbology(symbol).to_owned()),
        }
    }
}

fn shown(
    request: &HttpRequest,
    yard: &Yard,
    form: &SignInForm,
    beside: bool,
    problem: Option<&Fault>,
    held: Option<&Held>,
) -> Result<HttpResponse, Fault> {
    let (who, device) = match who::found(request) {
        Who::Person(person) => (Some(person.session.badge.clone()), person.session.device.clone()),
        Who::Device(device) => (None, Some(device)),
        _ => (None, None),
    };
    let name = |badge: &shared_types::Code| {
        let kept = yard.people.kept();
        let name = kept.people.get(badge.as_str()).map(|person| person.name.clone()).unwrap_or_default();
        if name.is_empty() { badge.to_string() } else { format!("{name} ({badge})") }
    };
    let status = problem.map_or(StatusCode::OK, Fault::status);
    let template = SignInPage {
        assets: Assets::new(),
        set_up: yard.people.is_set_up(),
        who: who.as_ref().map(name),
        device: device.map(|device| device.to_string()),
        beside,
        then: form.then.clone(),
        held: held.map(Held::on_its_way).unwrap_or_default(),
        badge: form.badge.clone(),
        problem: problem.map(|fault| fault.problem().detail.clone()),
        address: if beside { "/sitting" } else { "/sign-in" },
    };
    let mut answer = page(status, &template)?;
    for (name, value) in problem.map(Fault::headers).unwrap_or_default() {
        if let Ok(value) = header::HeaderValue::from_str(&value) {
            answer.headers_mut().insert(name, value);
        }
    }
    Ok(answer)
}

#[route("/sign-in", method = "GET", method = "HEAD")]
pub(crate) async fn sign_in_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<SignInForm>,
) -> HttpResponse {
    // Only where to go on is read from an address; nothing that signs somebody in stands in one.
    let form = SignInForm { then: query.into_inner().then, ..SignInForm::default() };
    answer(&request, shown(&request, &yard, &form, false, None, None))
}

#[post("/sign-in")]
pub(crate) async fn post_sign_in(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Form<SignInForm>,
) -> HttpResponse {
    let (form, held) = (form.into_inner(), Held::carried(&request));
    let done = match begin(&request, &yard, form.shows()).await {
        Ok(begins) => {
            let then = match held {
                Some(held) => held.shown(begins.by.to_string()),
                None => Ok(see(&onward(&form.then))),
            };
            then.map(|mut answer| {
                begins.remember(&mut answer);
                answer
            })
        }
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => shown(&request, &yard, &form, false, Some(&fault), held.as_ref()),
    };
    answer(&request, done)
}

/// A form was sent while nobody was signed in: whoever signs in now sends what was entered with one press.
pub(crate) fn sign_in_to_send(request: &HttpRequest, yard: &Yard, fault: &Fault) -> Result<HttpResponse, Fault> {
    shown(request, yard, &SignInForm::default(), false, Some(fault), Held::refused(request).as_ref())
}

#[post("/sign-out")]
pub(crate) async fn post_sign_out(request: HttpRequest, yard: web::Data<Yard>, who: Who) -> HttpResponse {
    if let Who::Person(person) = &who {
        yard.people.sessions.end(&person.token);
    }
    let done = cookies::cookie(&request, "session", "", 0).map(|cookie| {
        let mut back = see("/sign-in");
        back.headers_mut().insert(header::SET_COOKIE, cookie);
        back
    });
    answer(&request, done)
}

#[route("/sitting", method = "GET", method = "HEAD")]
pub(crate) async fn sitting_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<SignInForm>,
) -> HttpResponse {
    let form = SignInForm { then: query.into_inner().then, ..SignInForm::default() };
    answer(&request, shown(&request, &yard, &form, true, None, None))
}

#[post("/sitting")]
pub(crate) async fn post_sitting(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Form<SignInForm>,
) -> HttpResponse {
    let form = form.into_inner();
    let Who::Person(person) = who::found(&request) else { return badge::first(&form.then) };
    let done = match sit(&request, &yard, &person, form.shows()).await {
        Ok(sitting) if form.then.is_empty() => said(&yard, &sitting),
        Ok(_) => Ok(see(&onward(&form.then))),
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => shown(&request, &yard, &form, true, Some(&fault), None),
    };
    answer(&request, done)
}

#[derive(Template)]
#[template(path = "beside.html")]
struct BesidePage {
    assets: Assets,
    second: String,
    until: String,
}

/// Nothing waits to be gone back to: the page says until when they stand beside.
fn said(yard: &Yard, sitting: &crate::people::Sitting) -> Result<HttpResponse, Fault> {
    let now = yard.now();
    let until = Say::of(View::new(&yard.read(), u64::MAX), now).time(sitting.until, now);
    page(StatusCode::OK, &BesidePage { assets: Assets::new(), second: sitting.badge.to_string(), until })
}
