//! Operations about people: signing in and out, a second person beside, and what an administrator looks after.

mod admin;
mod devices;
mod feeds;
mod joining;
mod mine;
mod session;
mod sitting;
mod tokens;

use super::{
    ask::{NoParameters, beside},
    problems::{Fault, Kind, out},
    query::Query,
    read::json_text,
    who::{self, Person, Who},
};
use crate::{intake, people::NotKept, yard::Yard};
use actix_web::{Error, FromRequest, HttpRequest, dev, http::StatusCode, web};
use futures_util::future::LocalBoxFuture;
use serde::de::DeserializeOwned;
use shared_types::{Code, clear_code, clear_text};

pub(crate) use admin::{
    Listed, end_sessions, invite, list_people, listed, make_badge, make_invitation, name_person, new_badge, rename,
    sign_out_person, withdraw, withdraw_person,
};
pub(crate) use devices::{DeviceAsked, decide, enrol, enrol_device, make_device_code, new_device_code, remember};
pub(crate) use feeds::{calendar_feed, list_feeds, make_feed, offer, offered, revoke, revoke_feed};
pub(crate) use joining::{Begun, Joining, begin_join, begun, join, joined};
pub(crate) use mine::{end_own, end_session, list_sessions, own};
pub(crate) use session::{begin, me, sign_in, sign_out};
pub(crate) use sitting::{sit, sittings};
pub(crate) use tokens::{TokenAsked, issue, issue_token};

/// So long is a name at most.
const LONGEST_NAME: usize = 80;

/// What is said in the body of a request that has no parameters, read so that the field that could not be read is pointed at.
pub(crate) struct Said<T>(T);

impl<T: DeserializeOwned> FromRequest for Said<T> {
    type Error = Error;
    type Future = LocalBoxFuture<'static, Result<Said<T>, Error>>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let nothing_more = Query::<NoParameters>::from_request(request, payload);
        let (body, request) = (web::Bytes::from_request(request, payload), request.clone());
        Box::pin(async move {
            nothing_more.await?;
            let body = body.await?;
            said(&request, &body).map(Said).map_err(|fault| out(&request, fault))
        })
    }
}

fn said<T: DeserializeOwned>(request: &HttpRequest, body: &[u8]) -> Result<T, Fault> {
    let text = json_text(request, body)?;
    if !text.trim_start().starts_with('{') {
        return Err(Fault::cannot_read("The body is one JSON object.").field("", "an object is expected here"));
    }
    serde_json::from_str(&text).map_err(|error| {
        let problem = intake::unread(&text, &error);
        Fault::cannot_read(format!("{}: {}", problem.pointer, problem.detail)).field(problem.pointer, problem.detail)
    })
}

/// The code of a badge or device that somebody types or scans.
pub(crate) fn code(text: &str, field: &str, what: &str) -> Result<Code, Fault> {
    let unread = |why: String| Fault::cannot_read(format!("That is no code of a {what}: {why}.")).field(field, why);
    let code = Code::new(text).map_err(|_| unread("it has 1 to 40 printable characters and no slash".to_owned()))?;
    clear_code(text).map_err(|why| unread(why.to_string()))?;
    Ok(code)
}

/// A name as it may be kept.
pub(crate) fn clear_name(text: &str) -> Result<String, Fault> {
    let name = text.trim();
    let count = name.chars().count();
    let why = match clear_text(name) {
        Err(why) => Some(why.to_string()),
        Ok(()) if !(1..=LONGEST_NAME).contains(&count) => Some(format!("a name has 1 to {LONGEST_NAME} characters")),
        Ok(()) => name.contains(['\n', '\r', '\t']).then(|| "a name stands on one line".to_owned()),
    };
    match why {
        None => Ok(name.to_owned()),
        Some(why) => Err(Fault::cannot_read(format!("That name can't be kept: {why}.")).field("/name", why)),
    }
}

/// Until the yard is set up nobody knows who gives somebody a way in, and it would still open something afterwards.
fn set_up_first(yard: &Yard) -> Result<(), Fault> {
    match yard.people.is_set_up() {
        true => Ok(()),
        false => {
            let detail = "The yard is not set up yet. Open /set-up with the code that the server gave at its start, then look after people.";
            Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail))
        }
    }
}

/// What is somebody's own is theirs who signed in.
fn person(who: &Who) -> Result<&Person, Fault> {
    match who {
        Who::Person(person) => Ok(person),
        Who::Anybody => {
            let detail =
                "Nobody signs in here yet: there are no sessions, and the calendar is open at /api/v1/warnings.ics.";
            Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail))
        }
        _ => Err(who::not_signed_in(None)),
    }
}

/// Changes what is kept of people, beside the workers.
pub(super) async fn changed<T: Send + 'static>(
    yard: &web::Data<Yard>,
    change: impl FnOnce(&Yard) -> Result<T, NotKept> + Send + 'static,
) -> Result<T, Fault> {
    let yard = yard.clone();
    beside(move || {
        change(&yard).map_err(|error| Fault::went_wrong(format!("It could not be kept: {error}. Nothing was changed.")))
    })
    .await
}

/// A typed code that opens nothing.
pub(super) fn no_such_code() -> Fault {
    let detail = "That code opens nothing: it was mistyped, used already, or its time is over. Ask an administrator for a new one; the first of all stands in people/set-up-code beside the server.";
    Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail).field("/code", "a code that waits to be used")
}

/// Too many wrong tries.
pub(super) fn wait(seconds: u64) -> Fault {
    let detail = format!("Too many wrong tries. Wait {seconds} s, then try again.");
    Fault::new(StatusCode::TOO_MANY_REQUESTS, Kind::TooManyTries, detail).retry_after(seconds)
}
