//! Signing in and out, and who one is.

use super::{Said, wait};
use crate::{
    http::{
        ask::{NoParameters, beside, json},
        contract::{Listed, SignedIn as SignedInProblems, SignsIn},
        cookies::{self, Cookies},
        problems::{Answer, Fault, Kind},
        query::Query,
        who::{self, By, Who},
        written,
    },
    people::{NotProven, Proven, Session, Shows},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, route, web};
use serde::{Deserialize, Serialize};
use shared_types::{Code, KnownBy, Role, Scope, Stamp};
use utoipa::ToSchema;

/// How somebody shows who they are: what the badge's symbol holds, or badge, password and one-time code.
#[derive(Deserialize, ToSchema, Default)]
#[serde(deny_unknown_fields)]
pub(crate) struct SignInAsked {
    /// What a scan of the badge's symbol gives. On an enrolled device it is enough.
    #[serde(default)]
    pub(crate) symbol: Option<String>,
    /// The badge's code, with `password`.
    #[serde(default)]
    #[schema(example = "Q-03")]
    pub(crate) badge: Option<String>,
    #[serde(default)]
    #[schema(format = Password)]
    pub(crate) password: Option<String>,
    /// Six digits (RFC 6238), for whoever has set them up; quality and administrators have to.
    #[serde(default)]
    #[schema(example = "492039")]
    pub(crate) one_time_code: Option<String>,
}

impl SignInAsked {
    pub(crate) fn shows(self) -> Result<Shows, Fault> {
        match self {
            SignInAsked { symbol: Some(symbol), badge: None, password: None, one_time_code: None } => {
                Ok(Shows::Badge(symbol))
            }
            SignInAsked { symbol: None, badge: Some(badge), password: Some(password), one_time_code } => {
                Ok(Shows::Password { badge, password, one_time: one_time_code.unwrap_or_default() })
            }
            _ => Err(Fault::cannot_read(
                "Show either `symbol`, or `badge` and `password` with a `one_time_code` where it is needed.",
            )
            .field("", "either symbol, or badge and password")),
        }
    }
}

/// Who somebody is.
#[derive(Serialize, ToSchema)]
pub(crate) struct Me {
    #[schema(value_type = String, example = "Q-03")]
    badge: Code,
    /// The name as the yard knows it; none of a program.
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    known: KnownBy,
    roles: Vec<Role>,
    /// What a program's token is for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    scopes: Vec<Scope>,
    /// The enrolled device.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>)]
    device: Option<Code>,
    /// The session ends then at the latest.
    #[serde(skip_serializing_if = "Option::is_none")]
    ends_at: Option<Stamp>,
    /// Who stands beside in this sitting, and until when.
    #[serde(skip_serializing_if = "Option::is_none")]
    second: Option<Beside>,
}

/// A second person of a sitting.
#[derive(Serialize, ToSchema)]
pub(crate) struct Beside {
    #[schema(value_type = String)]
    pub(super) badge: Code,
    pub(super) known: KnownBy,
    pub(super) until: Stamp,
}

/// A session that begins: its token goes into a cookie and nowhere else.
pub(crate) struct Begins {
    pub(crate) by: By,
    cookies: Vec<header::HeaderValue>,
    ends_at: Stamp,
}

impl Begins {
    /// Gives an answer the cookies.
    pub(crate) fn remember(self, answer: &mut HttpResponse) {
        self.cookies.into_iter().for_each(|cookie| answer.headers_mut().append(header::SET_COOKIE, cookie));
    }
}

/// Somebody shows who they are; if it is right, a session begins.
pub(crate) async fn begin(request: &HttpRequest, yard: &web::Data<Yard>, shows: Shows) -> Result<Begins, Fault> {
    if !yard.people.is_set_up() {
        let detail = "The yard is not set up yet, so nobody signs in. Open /set-up with the code that the server gave at its start.";
        return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail));
    }
    let device = match who::found(request) {
        Who::Device(device) => Some(device),
        Who::Person(person) => person.session.device.clone(),
        _ => None,
    };
    if matches!(shows, Shows::Badge(_)) && device.is_none() {
        let detail = "A badge alone signs in on an enrolled device. Here, give the badge's code and the password.";
        return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail));
    }
    let proven = prove(request, yard, shows).await?;
    let by = By { badge: proven.badge, known: proven.known, device };
    if who::roles(yard, &by.badge).is_empty() {
        let detail = format!("{} has no role here. Ask an administrator.", by.badge);
        return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail));
    }
    // Whoever signs in anew is not two people at once.
    if let Some(old) = Cookies::of(request).session() {
        yard.people.sessions.end(old);
    }
    let session = Session::new(by.badge.clone(), by.known, proven.two_factors, by.device.clone(), yard.clock.as_ref());
    let ends_at = session.ends_at();
    let token = yard
        .people
        .sessions
        .begin(session, yard.clock.as_ref())
        .map_err(|error| Fault::went_wrong(error.to_string()))?;
    written::signed_in(yard, &by).await;
    let seconds = ends_at.since(yard.now()) / 1_000;
    let mut cookies = vec![cookies::cookie(request, "session", &token, seconds)?];
    // A device that is in use stays one.
    if let Some(device) = Cookies::of(request).device().filter(|_| by.device.is_some()) {
        cookies.push(cookies::of_device(request, device)?);
    }
    Ok(Begins { by, cookies, ends_at: Stamp::utc(ends_at) })
}

/// Whether it is they. Looking at passwords takes a while, so it is done beside the workers, two at a time.
pub(super) async fn prove(request: &HttpRequest, yard: &web::Data<Yard>, shows: Shows) -> Result<Proven, Fault> {
    let from = who::address(request);
    // Whoever scans a badge waits for nobody's password.
    let _turn = match shows {
        Shows::Badge(_) => None,
        Shows::Password { .. } => {
            let turn = yard.people.hashing.acquire().await;
            Some(turn.map_err(|_| Fault::went_wrong("The server is stopping. Ask again."))?)
        }
    };
    let shared = yard.clone();
    let proven =
        beside(move || Ok(shared.people.prove(&shows, from, |badge| who::needs_one_time(&shared, badge)))).await?;
    proven.map_err(|why| match why {
        NotProven::Wait(seconds) => wait(seconds),
        NotProven::Wrong => {
            let detail = "That is not right: the badge, the password or the one-time code. Look at them and try again.";
            Fault::new(StatusCode::UNAUTHORIZED, Kind::NotSignedIn, detail)
        }
        NotProven::NeedsOneTime => {
            let detail = "Your role needs a one-time code beside the password, and you have not set one up. Ask an administrator for an invitation.";
            Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail)
        }
    })
}

/// Sign in.
///
/// A session begins, for 10 h at most; it ends after 30 min without use on an enrolled device and 2 h at a desk. Its token comes in
/// a cookie (`__Host-session` over TLS, `session` on this machine). The answer is the same, and takes as long, whether or not
/// anybody has the badge; after 5 wrong tries of a badge or from an address it has to wait.
#[utoipa::path(operation_id = "sign_in", tag = "people",
    request_body(content = SignInAsked, content_type = "application/json", description = "A symbol, or a password.", examples(
        ("password" = (summary = "At a desk", value = json!({"badge": "A-1", "password": "a boat on a cold slip", "one_time_code": "492039"}))),
        ("badge" = (summary = "On an enrolled device", value = json!({"symbol": "RMB.ONEXAMPLEOFASYMBOLONABADGE"})))
    )),
    responses((status = 200, description = "Signed in; the session's cookie stands in `Set-Cookie`.", body = Me), SignsIn),
)]
#[route("/sign-in", method = "POST")]
pub(crate) async fn sign_in(request: HttpRequest, yard: web::Data<Yard>, Said(said): Said<SignInAsked>) -> Answer {
    let begins = begin(&request, &yard, said.shows()?).await?;
    let mut answer = json(&Me { ends_at: Some(begins.ends_at), ..of(&yard, begins.by.clone()) })?;
    begins.remember(&mut answer);
    Ok(answer)
}

fn of(yard: &Yard, by: By) -> Me {
    let name = yard.people.kept().people.get(by.badge.as_str()).map(|person| person.name.clone());
    Me {
        name: name.filter(|name| !name.is_empty()),
        roles: who::roles(yard, &by.badge),
        badge: by.badge,
        known: by.known,
        scopes: Vec::new(),
        device: by.device,
        ends_at: None,
        second: None,
    }
}

/// Sign out.
///
/// The session ends, and the cookie is taken away.
#[utoipa::path(operation_id = "sign_out", tag = "people",
    request_body(content = Nothing, content_type = "application/json", description = "Nothing more is said; it may be left out.", examples(
        ("nothing" = (summary = "Nothing more", value = json!({})))
    )), responses(
    (status = 200, description = "Signed out.", body = SignedOut), SignedInProblems,
))]
#[route("/sign-out", method = "POST")]
pub(crate) async fn sign_out(request: HttpRequest, yard: web::Data<Yard>, who: Who, _: Query<NoParameters>) -> Answer {
    if let Who::Person(person) = &who {
        yard.people.sessions.end(&person.token);
    }
    let mut answer = json(&SignedOut { signed_out: true })?;
    answer.headers_mut().insert(header::SET_COOKIE, cookies::cookie(&request, "session", "", 0)?);
    Ok(answer)
}

/// Nothing has to be said.
#[derive(Serialize, ToSchema)]
pub(crate) struct Nothing {}

/// That nobody is signed in any more.
#[derive(Serialize, ToSchema)]
pub(crate) struct SignedOut {
    signed_out: bool,
}

/// Who am I?
///
/// The badge that is signed in, or that a token acts for, its roles, and who stands beside. On a device on which nobody is
/// signed in, the device alone.
#[utoipa::path(operation_id = "me", tag = "people", responses(
    (status = 200, description = "Who asks.", body = Me), Listed,
))]
#[route("/me", method = "GET", method = "HEAD")]
pub(crate) async fn me(yard: web::Data<Yard>, who: Who, _: Query<NoParameters>) -> Answer {
    match who {
        Who::Person(person) => {
            let second = person.session.sitting(yard.now()).map(|sitting| Beside {
                badge: sitting.badge,
                known: sitting.known,
                until: Stamp::utc(sitting.until),
            });
            json(&Me { ends_at: Some(Stamp::utc(person.session.ends_at())), second, ..of(&yard, person.by()) })
        }
        Who::Program(program) => {
            let by = By { badge: program.badge, known: KnownBy::Token, device: None };
            json(&Me { scopes: program.scopes, name: None, ..of(&yard, by) })
        }
        Who::Device(device) => {
            let nobody = shared_types::ThingName::nobody().own_code();
            let by = By { badge: nobody, known: KnownBy::Claimed, device: Some(device) };
            json(&Me { name: None, ..of(&yard, by) })
        }
        Who::Anybody | Who::Nobody(_) => {
            let nobody = shared_types::ThingName::nobody().own_code();
            json(&of(&yard, By::claimed(nobody)))
        }
    }
}
