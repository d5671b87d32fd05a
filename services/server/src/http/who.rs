//! Who asks. Before the yard is set up nobody is asked who they are; from then on a session, a device's token or a
//! program's token says it, and the log says what they may do.

pub(crate) use super::by::By;

use super::{
    cookies::Cookies,
    problems::{Fault, Kind},
};
use crate::{
    intake::{NewDecision, NewFact},
    people::{self, Session},
    yard::Yard,
};
use actix_web::{
    FromRequest, HttpMessage, HttpRequest, dev,
    http::{StatusCode, header},
};
use domain::{
    Book,
    standing::{self, Standing, Token},
};
use shared_types::{Code, Entry, Instant, KnownBy, Role, Scope, Second};
use std::{
    future::{Ready, ready},
    net::IpAddr,
    sync::Arc,
};
use uuid::Uuid;

/// Who asks.
#[derive(Clone, Debug)]
pub(crate) enum Who {
    /// Nobody is asked yet: the yard has no administrator.
    Anybody,
    /// It is not known, and why not, where something was shown.
    Nobody(Option<&'static str>),
    Person(Person),
    /// An enrolled device on which nobody is signed in.
    Device(Code),
    Program(Program),
}

/// Somebody who signed in.
#[derive(Clone, Debug)]
pub(crate) struct Person {
    pub(crate) session: Arc<Session>,
    /// What the session is asked for with.
    pub(crate) token: String,
}

/// Another program with a token.
#[derive(Clone, Debug)]
pub(crate) struct Program {
    pub(crate) name: String,
    pub(crate) badge: Code,
    pub(crate) scopes: Vec<Scope>,
}

const NOT_KNOWN: &str =
    "That token opens nothing here: it was mistyped, revoked, or its time is over. Ask an administrator for another.";
const REVOKED: &str = "This device was revoked, or never enrolled here. Ask an administrator to enrol it again; keep what it has not sent.";
const OVER: &str = "You are signed out: the session ended, or was ended. Sign in again.";
const OTHER_DEVICE: &str = "You signed in on another device. Sign in on this one.";

impl Who {
    /// Whoever this request shows itself to be. It looks nothing up on the disk.
    pub(crate) fn of(request: &HttpRequest, yard: &Yard) -> Who {
        let people = &yard.people;
        if !people.is_set_up() {
            return Who::Anybody;
        }
        let bearer = bearer(request);
        if let Some(token) = bearer.filter(|token| token.starts_with(people::PROGRAM)) {
            return program(token, yard).map_or(Who::Nobody(Some(NOT_KNOWN)), Who::Program);
        }
        let cookies = Cookies::of(request);
        let shown = bearer.or_else(|| cookies.device());
        let device = match shown.map(|token| device(token, yard)) {
            Some(None) if bearer.is_some_and(|token| !token.starts_with(people::DEVICE)) => {
                return Who::Nobody(Some(NOT_KNOWN));
            }
            // A browser that was enrolled once may still be a desk.
            Some(None) if bearer.is_some() || cookies.session().is_none() => return Who::Nobody(Some(REVOKED)),
            found => found.flatten(),
        };
        let Some(token) = cookies.session() else { return device.map_or(Who::Nobody(None), Who::Device) };
        match people.sessions.of(token, yard.now()) {
            None => device.map_or(Who::Nobody(Some(OVER)), Who::Device),
            Some(session) if session.device.is_some() && session.device != device => Who::Nobody(Some(OTHER_DEVICE)),
            Some(session) => Who::Person(Person { session, token: token.to_owned() }),
        }
    }

    /// Whether whoever began something long may still go on with it. It counts as no use of a session.
    pub(crate) fn still_may(&self, yard: &Yard) -> bool {
        match self {
            Who::Anybody => !yard.people.is_set_up(),
            Who::Nobody(_) => false,
            Who::Person(person) => {
                let device = person.session.device.as_ref();
                yard.people.sessions.stands(&person.token, yard.now())
                    && !roles(yard, &person.session.badge).is_empty()
                    && device.is_none_or(|code| standing::device(&yard.read(), code) == Standing::Enrolled)
            }
            Who::Device(code) => standing::device(&yard.read(), code) == Standing::Enrolled,
            Who::Program(program) => {
                let token = program.name.parse().ok().and_then(|id| holds(&yard.read(), &id, yard.now()));
                token.is_some_and(|token| token.scopes.contains(&Scope::Read))
            }
        }
    }

    /// Whether they may do what administrators do, as the guard will ask of them.
    pub(crate) fn may_manage(&self, yard: &Yard) -> bool {
        match self {
            Who::Anybody => true,
            Who::Person(person) => {
                person.session.two_factors && roles(yard, &person.session.badge).contains(&Role::Administrator)
            }
            Who::Nobody(_) | Who::Device(_) | Who::Program(_) => false,
        }
    }

    /// The enrolled device that it comes from.
    pub(crate) fn device(&self) -> Option<&Code> {
        match self {
            Who::Person(person) => person.session.device.as_ref(),
            Who::Device(device) => Some(device),
            Who::Anybody | Who::Nobody(_) | Who::Program(_) => None,
        }
    }

    /// The person, if it is one, as pages write.
    pub(crate) fn person(&self) -> Option<By> {
        match self {
            Who::Person(person) => Some(person.by()),
            _ => None,
        }
    }

    /// A fact as this sender may send it: with how its badges and its device are known.
    pub(crate) fn vouch(&self, yard: &Yard, fact: NewFact) -> Result<NewFact, Fault> {
        let NewFact { entry, raw, .. } = match self {
            Who::Anybody => return Ok(fact),
            _ => fact,
        };
        let entry = self.known(yard, entry)?;
        NewFact::new(entry, raw).map_err(|_| Fault::went_wrong("The fact could not be written down."))
    }

    fn known(&self, yard: &Yard, mut entry: Entry) -> Result<Entry, Fault> {
        let now = yard.now();
        match self {
            Who::Anybody => {}
            Who::Nobody(why) => return Err(not_signed_in(*why)),
            Who::Program(program) => {
                own(&program.badge, &entry.by)?;
                entry.by_known = KnownBy::Token;
            }
            Who::Person(person) if person.session.device.is_none() => {
                own(&person.session.badge, &entry.by)?;
                entry.by_known = person.session.known;
                entry.second = entry.second.map(|second| person.beside(second, now)).transpose()?;
            }
            // What a device sends is kept as it says: a badge that did not sign in there is claimed.
            Who::Person(Person { session, .. }) => {
                let device = session.device.as_ref();
                known_on(yard, &mut entry, device, now);
                let sitting = session.sitting(now).filter(|_| entry.by == session.badge);
                if let (Some(second), Some(sitting)) = (&mut entry.second, sitting)
                    && second.by == sitting.badge
                {
                    second.by_known = sitting.known;
                }
            }
            Who::Device(device) => known_on(yard, &mut entry, Some(device), now),
        }
        Ok(entry)
    }

    /// A decision as this sender may ask for it.
    pub(crate) fn vouch_decision(&self, yard: &Yard, mut decision: NewDecision) -> Result<NewDecision, Fault> {
        let (wish, now) = (&mut decision.wish, yard.now());
        match self {
            Who::Anybody => {}
            Who::Nobody(why) => return Err(not_signed_in(*why)),
            Who::Device(_) => {
                return Err(not_signed_in(Some("A decision is somebody's: scan your badge on this device first.")));
            }
            Who::Program(program) => {
                own(&program.badge, &wish.by)?;
                wish.by_known = KnownBy::Token;
            }
            Who::Person(person) => {
                own(&person.session.badge, &wish.by)?;
                wish.by_known = person.session.known;
                wish.second = wish.second.take().map(|second| person.beside(second, now)).transpose()?;
                decision.device = person.session.device.clone();
            }
        }
        if let Some(instead) = wish.instead.take() {
            wish.instead = Some(self.known(yard, instead)?);
        }
        Ok(decision)
    }
}

/// By how the badge signed in on the device; the device itself showed its token.
fn known_on(yard: &Yard, entry: &mut Entry, device: Option<&Code>, now: Instant) {
    let Some(device) = device else { return };
    let signed_in = yard.people.sessions.is_on(device, &entry.by, now);
    entry.by_known = signed_in.unwrap_or_default();
    let own = entry.device.get_or_insert_with(|| device.clone());
    entry.device_known = Some(if own == device { KnownBy::Token } else { KnownBy::Claimed });
}

fn own(badge: &Code, by: &Code) -> Result<(), Fault> {
    if badge == by {
        return Ok(());
    }
    let detail = format!(
        "You are signed in as {badge}, and this is said to be by {by}. Everybody writes under their own badge."
    );
    Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail).field("/by", format!("{badge}, who is signed in")))
}

impl Person {
    pub(crate) fn by(&self) -> By {
        let session = &self.session;
        By { badge: session.badge.clone(), known: session.known, device: session.device.clone() }
    }

    /// A second person counts who showed who they are in this sitting.
    pub(crate) fn beside(&self, second: Second, now: Instant) -> Result<Second, Fault> {
        match self.session.sitting(now).filter(|sitting| sitting.badge == second.by) {
            Some(sitting) => Ok(Second { by_known: sitting.known, ..second }),
            None => {
                let detail = format!(
                    "{} has not shown that they stand beside you. Let them scan their badge at /sitting, or post it to /api/v1/sittings; it lasts 15 min.",
                    second.by
                );
                Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail)
                    .field("/second/by", "somebody of this sitting"))
            }
        }
    }
}

/// 401, and what to do.
pub(crate) fn not_signed_in(why: Option<&str>) -> Fault {
    let detail =
        why.unwrap_or("Nobody is signed in. Sign in at /sign-in; a program sends Authorization: Bearer and its token.");
    Fault::new(StatusCode::UNAUTHORIZED, Kind::NotSignedIn, detail)
}

fn program(token: &str, yard: &Yard) -> Option<Program> {
    let (name, _) = yard.people.program_of(token)?;
    let Token { badge, scopes, .. } = holds(&yard.read(), &name.parse().ok()?, yard.now())?;
    Some(Program { name, badge, scopes })
}

/// A token that may be used now, for what its badge may still do; nothing, where that is nothing.
pub(crate) fn holds(book: &Book, issued_by: &Uuid, now: Instant) -> Option<Token> {
    let mut token = standing::token(book, issued_by).filter(|token| token.holds(now))?;
    let granted = standing::roles_of(book, &token.badge).filter(|granted| granted.roles.contains(&Role::Integrator))?;
    token.scopes.retain(|scope| granted.scopes.contains(scope));
    (!token.scopes.is_empty()).then_some(token)
}

/// The device of this token, as long as the log has it enrolled.
fn device(token: &str, yard: &Yard) -> Option<Code> {
    let device = yard.people.device_of(token)?;
    (standing::device(&yard.read(), &device) == Standing::Enrolled).then_some(device)
}

/// Whether the log gives this badge a role, and which.
pub(crate) fn roles(yard: &Yard, badge: &Code) -> Vec<Role> {
    standing::roles_of(&yard.read(), badge).map(|granted| granted.roles.clone()).unwrap_or_default()
}

/// Whether anybody can sign in as an administrator.
pub(crate) fn has_administrator(yard: &Yard) -> bool {
    let (book, kept) = (yard.read(), yard.people.kept());
    let badges: Vec<Code> = standing::who_has(&book, Role::Administrator).map(|label| book.code(label)).collect();
    let can = |badge: &Code| {
        kept.people.get(badge.as_str()).is_some_and(|one| one.password.is_some() && one.one_time.is_some())
    };
    badges.iter().any(can)
}

/// Whoever has one of these roles shows a one-time code beside the password.
pub(crate) fn needs_one_time(yard: &Yard, badge: &Code) -> bool {
    roles(yard, badge).iter().any(|role| matches!(role, Role::Quality | Role::Administrator))
}

fn bearer(request: &HttpRequest) -> Option<&str> {
    let value = request.headers().get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

/// Where the request came from, as far as the connection says.
pub(crate) fn address(request: &HttpRequest) -> Option<IpAddr> {
    request.peer_addr().map(|address| address.ip())
}

impl FromRequest for Who {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    /// As the guard found it; without one nobody is known.
    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        ready(Ok(found(request)))
    }
}

/// Who asks, as the guard found it.
pub(crate) fn found(request: &HttpRequest) -> Who {
    request.extensions().get::<Who>().cloned().unwrap_or(Who::Nobody(None))
}

/// What is decided about people: before the yard is set up only the set-up code gives anybody a right, and after that a badge
/// alone is not enough.
pub(crate) fn about_people(who: &Who, decision: &NewDecision) -> Result<(), Fault> {
    use shared_types::Body::{DeviceEnrolled, DeviceRevoked, RolesGranted, TokenIssued, TokenRevoked};
    let body = &decision.wish.body;
    let gives_rights = matches!(body, RolesGranted(_) | TokenIssued(_) | TokenRevoked(_));
    let of_people = gives_rights || matches!(body, DeviceEnrolled(_) | DeviceRevoked(_));
    match who {
        Who::Anybody if gives_rights => {
            let detail = "The yard is not set up yet: nobody could know who decides this. Open /set-up with the code that \
                          the server gave at its start.";
            Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail))
        }
        Who::Person(person) if of_people && !person.session.two_factors => Err(needs_two_factors()),
        _ => Ok(()),
    }
}

/// A badge can be lost; what an administrator does takes more.
pub(crate) fn needs_two_factors() -> Fault {
    let detail = "This takes a password and a one-time code. Sign in with them at /sign-in, at a desk.";
    Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail)
}
