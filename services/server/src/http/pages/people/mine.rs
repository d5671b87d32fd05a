//! What somebody looks after themselves: where they are signed in, and the addresses of the calendar that they made.

use super::super::{answer, assets::Assets, foot::Foot, page, see};
use crate::{
    http::{
        people::{end_own, offer, offered, own, revoke},
        problems::Fault,
        who::Who,
    },
    yard::Yard,
};
use actix_web::{
    HttpRequest, HttpResponse,
    http::{StatusCode, header},
    post, route, web,
};
use askama::Template;
use domain::{When, say::Say, view::View};
use serde::Deserialize;
use shared_types::{KnownBy, Stamp};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "sessions.html")]
struct SessionsPage {
    assets: Assets,
    foot: Foot,
    lines: Vec<SessionLine>,
    problem: Option<String>,
}

struct SessionLine {
    session: Uuid,
    this: bool,
    place: String,
    how: &'static str,
    begun: String,
    seen: String,
    ends: String,
}

#[derive(Deserialize)]
pub(crate) struct SessionForm {
    session: Uuid,
}

#[route("/sessions", method = "GET", method = "HEAD")]
pub(crate) async fn sessions_page(request: HttpRequest, yard: web::Data<Yard>, who: Who) -> HttpResponse {
    answer(&request, sessions(&yard, &who, StatusCode::OK, None))
}

#[post("/sessions")]
pub(crate) async fn post_sessions(
    request: HttpRequest,
    yard: web::Data<Yard>,
    who: Who,
    form: web::Form<SessionForm>,
) -> HttpResponse {
    let done = match end_own(&yard, &who, form.session) {
        Ok(()) => Ok(see("/sessions")),
        Err(fault) => sessions(&yard, &who, fault.status(), Some(fault.problem().detail.clone())),
    };
    answer(&request, done)
}

fn sessions(yard: &Yard, who: &Who, status: StatusCode, problem: Option<String>) -> Result<HttpResponse, Fault> {
    let (foot, words) = around(yard);
    let lines = own(yard, who)?.into_iter().map(|one| SessionLine {
        session: one.session,
        this: one.this,
        place: one.device.map_or_else(|| "a desk".to_owned(), |device| device.to_string()),
        how: match one.known {
            KnownBy::Badge => "badge",
            KnownBy::Token => "token",
            KnownBy::Claimed | KnownBy::Pin | KnownBy::Password => "password",
        },
        begun: words(one.begun_at),
        seen: words(one.seen_at),
        ends: words(one.ends_at),
    });
    page(status, &SessionsPage { assets: Assets::new(), foot, lines: lines.collect(), problem })
}

/// The foot, and how times read now.
fn around(yard: &Yard) -> (Foot, impl Fn(Stamp) -> String) {
    let when = When::now(yard.now());
    let book = yard.read();
    let view = View::new(&book, when.known);
    let (foot, say) = (Foot::of(yard, view, when), Say::of(view, when.now));
    (foot, move |stamp: Stamp| say.time(stamp.at, when.now))
}

#[derive(Template)]
#[template(path = "calendar.html")]
struct CalendarPage {
    assets: Assets,
    foot: Foot,
    /// Until the yard is set up the calendar is open.
    signs_in: bool,
    lines: Vec<FeedLine>,
    /// An address that was made just now, shown this once.
    made: Option<String>,
    problem: Option<String>,
}

struct FeedLine {
    feed: Uuid,
    name: String,
    made: String,
}

#[derive(Deserialize)]
pub(crate) struct CalendarForm {
    #[serde(default)]
    name: String,
    /// Which one is taken back.
    #[serde(default)]
    feed: Option<Uuid>,
}

#[route("/calendar", method = "GET", method = "HEAD")]
pub(crate) async fn calendar_page(request: HttpRequest, yard: web::Data<Yard>, who: Who) -> HttpResponse {
    answer(&request, calendar(&yard, &who, StatusCode::OK, None, None))
}

#[post("/calendar")]
pub(crate) async fn post_calendar(
    request: HttpRequest,
    yard: web::Data<Yard>,
    who: Who,
    form: web::Form<CalendarForm>,
) -> HttpResponse {
    let done = match form.feed {
        Some(feed) => revoke(&yard, &who, feed).await.map(|()| None),
        None => {
            offer(&yard, &who, &form.name).await.map(|made| Some(format!("{}{}", own_name(&request), made.address)))
        }
    };
    let shown = match done {
        Ok(made) => calendar(&yard, &who, StatusCode::OK, made, None),
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => calendar(&yard, &who, fault.status(), None, Some(fault.problem().detail.clone())),
    };
    answer(&request, shown)
}

/// What the browser called this server, which is one of its own names.
fn own_name(request: &HttpRequest) -> String {
    let scheme = if request.app_config().secure() { "https" } else { "http" };
    let host = request.headers().get(header::HOST).and_then(|host| host.to_str().ok());
    let host = host.or_else(|| request.uri().authority().map(|authority| authority.as_str())).unwrap_or_default();
    format!("{scheme}://{host}")
}

fn calendar(
    yard: &Yard,
    who: &Who,
    status: StatusCode,
    made: Option<String>,
    problem: Option<String>,
) -> Result<HttpResponse, Fault> {
    let (foot, words) = around(yard);
    let signs_in = !matches!(who, Who::Anybody);
    let lines = offered(yard, who)?.into_iter().map(|one| FeedLine {
        feed: one.feed,
        name: one.name,
        made: words(one.made_at),
    });
    let shown = CalendarPage { assets: Assets::new(), foot, signs_in, lines: lines.collect(), made, problem };
    page(status, &shown)
}
