//! Who it is: before the yard is set up a badge scanned once, claimed and remembered in a same-site cookie for a shift; from
//! then on whoever is signed in.

use super::{answer, assets::Assets, in_a_query, page, see};
use crate::http::{
    people::sit,
    problems::Fault,
    say::sentence,
    who::{self, By, Who},
};
use crate::{
    people::{self, Shows},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, post, route, web};
use askama::Template;
use serde::Deserialize;
use shared_types::{Code, KnownBy, Second, clear_code};

/// A shift and its overtime, in seconds.
const REMEMBERED_S: u32 = 12 * 60 * 60;

#[derive(Template)]
#[template(path = "badge.html")]
struct BadgePage {
    assets: Assets,
    badge: Option<String>,
    problem: Option<String>,
    then: String,
}

#[derive(Deserialize)]
pub(crate) struct BadgeForm {
    #[serde(default)]
    code: String,
    /// The thing to go back to, or the step of work.
    #[serde(default)]
    then: String,
}

/// Asks for a badge first; then it goes on where somebody was.
pub(super) fn first(then: &str) -> HttpResponse {
    see(&format!("/badge?then={}", in_a_query(then)))
}

#[route("/badge", method = "GET", method = "HEAD")]
pub(crate) async fn badge_page(request: HttpRequest, query: web::Query<BadgeForm>) -> HttpResponse {
    let form = query.into_inner();
    if signs_in(&request) {
        return see(&format!("/sign-in?then={}", in_a_query(&back_to(&form.then))));
    }
    let asked = BadgePage {
        assets: Assets::new(),
        badge: remembered(&request).map(|by| by.to_string()),
        problem: None,
        then: form.then,
    };
    answer(&request, page(StatusCode::OK, &asked))
}

#[post("/badge")]
pub(crate) async fn post_badge(request: HttpRequest, form: web::Form<BadgeForm>) -> HttpResponse {
    let BadgeForm { code, then } = form.into_inner();
    if signs_in(&request) {
        return see(&format!("/sign-in?then={}", in_a_query(&back_to(&then))));
    }
    answer(&request, sign_on(&code, then))
}

fn sign_on(code: &str, then: String) -> Result<HttpResponse, Fault> {
    let read = Code::new(code).map_err(|_| {
        "That is no badge code: it has 1 to 40 printable characters and no slash. Scan the badge again.".to_owned()
    });
    let clear = |badge| clear_code(code).map(|()| badge).map_err(|why| sentence(&why.to_string()));
    match read.and_then(clear) {
        Ok(badge) => {
            let mut back = see(&back_to(&then));
            back.headers_mut().insert(header::SET_COOKIE, cookie(&badge)?);
            Ok(back)
        }
        Err(problem) => {
            let asked = BadgePage { assets: Assets::new(), badge: None, problem: Some(problem), then };
            page(StatusCode::OK, &asked)
        }
    }
}

/// Pages that are gone back to whatever their address says more.
pub(super) fn is_step(then: &str) -> bool {
    STEPS.iter().any(|page| then.starts_with(page)) && then.bytes().all(|byte| byte.is_ascii_graphic())
}

/// Pages of work that ask for a badge and are gone back to.
const STEPS: &[&str] =
    &["/cut?", "/dispose?", "/lay?", "/oven?", "/install?", "/issue?", "/receive/scan?", "/receive/note?"];

/// Only ever an address of this server.
fn back_to(then: &str) -> String {
    match then {
        "" => "/".to_owned(),
        step if is_step(step) => step.to_owned(),
        thing => format!("/?thing={}", in_a_query(thing)),
    }
}

/// The code in hexadecimal, because a cookie takes few characters.
fn cookie(badge: &Code) -> Result<header::HeaderValue, Fault> {
    let hex: String = badge.as_str().bytes().map(|byte| format!("{byte:02x}")).collect();
    let cookie = format!("badge={hex}; Path=/; Max-Age={REMEMBERED_S}; HttpOnly; SameSite=Strict");
    header::HeaderValue::from_str(&cookie).map_err(|_| Fault::went_wrong("The badge could not be remembered."))
}

/// Who is signed in, or the badge that was scanned while nobody signs in.
pub(super) fn remembered(request: &HttpRequest) -> Option<By> {
    match who::found(request) {
        Who::Anybody => scanned(request).map(By::claimed),
        who => who.person(),
    }
}

/// Whether people sign in here.
pub(super) fn signs_in(request: &HttpRequest) -> bool {
    !matches!(who::found(request), Who::Anybody)
}

/// Who stands beside in this sitting.
pub(super) fn beside(request: &HttpRequest, yard: &Yard) -> Option<Second> {
    let Who::Person(person) = who::found(request) else { return None };
    let sitting = person.session.sitting(yard.now())?;
    Some(Second { by: sitting.badge, by_known: sitting.known })
}

/// The second person whose symbol was scanned into a form, or who sits there already.
pub(super) async fn stands_beside(request: &HttpRequest, yard: &web::Data<Yard>, typed: &str) -> Result<Second, Fault> {
    let Who::Person(person) = who::found(request) else { return Err(who::not_signed_in(None)) };
    if typed.starts_with(people::BADGE) {
        let sitting = sit(request, yard, &person, Shows::Badge(typed.to_owned())).await?;
        return Ok(Second { by: sitting.badge, by_known: sitting.known });
    }
    let named =
        Code::new(typed).map_err(|_| Fault::cannot_read("That is no badge. Scan the second person's badge again."))?;
    person.beside(Second { by: named, by_known: KnownBy::Claimed }, yard.now())
}

/// What a form shows again of a second person: never the symbol of a badge.
pub(super) fn typed_second(typed: &str) -> String {
    Some(typed.trim()).filter(|typed| !typed.starts_with(people::BADGE)).unwrap_or_default().to_owned()
}

/// Remembers the badge in an answer, as long as nobody signs in.
pub(super) fn remember(request: &HttpRequest, answer: &mut HttpResponse, badge: &Code) -> Result<(), Fault> {
    if !signs_in(request) {
        answer.headers_mut().insert(header::SET_COOKIE, cookie(badge)?);
    }
    Ok(())
}

fn scanned(request: &HttpRequest) -> Option<Code> {
    let all = request.headers().get(header::COOKIE)?.to_str().ok()?;
    let hex = all.split(';').find_map(|one| one.trim().strip_prefix("badge="))?;
    let digit = |at: usize| hex.get(at..at + 2).and_then(|pair| u8::from_str_radix(pair, 16).ok());
    let bytes: Option<Vec<u8>> = (0..hex.len()).step_by(2).map(digit).collect();
    Code::new(&String::from_utf8(bytes?).ok()?).ok()
}
