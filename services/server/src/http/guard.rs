//! Lets through whoever may ask, by the one table (`needs.rs`), and says of every request who asks.

use super::{
    contract::Contract,
    devices::page_sent,
    needs::{self, Need},
    pages, path_of,
    problems::{Fault, Kind},
    read::Form,
    who::{self, Program, Who},
    written,
};
use crate::{people, yard::Yard};
use actix_web::{
    Error, HttpMessage, HttpRequest, HttpResponse,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{Method, StatusCode},
    middleware::Next,
    web,
};
use shared_types::{Role, Scope};
use std::{borrow::Cow, net::IpAddr};

/// An answer for whoever did not sign in: without names.
#[derive(Clone, Copy)]
pub(crate) struct WithoutNames;

/// Finds out who asks, and whether they may.
pub(crate) async fn known<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let Some(yard) = request.app_data::<web::Data<Yard>>().cloned() else {
        return Ok(next.call(request).await?.map_into_boxed_body());
    };
    if pages::is_for_people(request.request()) && has_badge(request.query_string()) {
        return Ok(request.into_response(pages::see("/sign-in")));
    }
    let who = Who::of(request.request(), &yard);
    if matches!(who, Who::Anybody) {
        request.extensions_mut().insert(who);
        return Ok(next.call(request).await?.map_into_boxed_body());
    }
    let need = needs::of(request.method(), path_of(request.request()));
    match allowed(request.request(), &yard, &who, need) {
        Ok(with_names) => {
            if !with_names {
                request.extensions_mut().insert(WithoutNames);
            }
            if let Some(device) = who.device() {
                let form = request.extensions().get::<Form>().map(|form| form.0.clone());
                form.iter().for_each(|form| page_sent(request.request(), device, form, yard.now()));
            }
            request.extensions_mut().insert(who);
            Ok(next.call(request).await?.map_into_boxed_body())
        }
        Err(refused) => {
            if let Some((asked, needs, scope)) = refused.right {
                written::right_refused(&yard, &who, &asked, needs, scope).await;
            }
            request.extensions_mut().insert(who);
            let answer = said(request.request(), &yard, refused.fault);
            Ok(request.into_response(answer))
        }
    }
}

/// What signs somebody in is not left standing in an address, on whichever page it was scanned.
fn has_badge(query: &str) -> bool {
    let pairs = serde_urlencoded::from_str::<Vec<(Cow<'_, str>, Cow<'_, str>)>>(query).unwrap_or_default();
    pairs.iter().any(|(_, value)| pages::scan::without_symbology(value).starts_with(people::BADGE))
}

struct Refused {
    fault: Fault,
    /// What was asked for without the right to it.
    right: Option<(String, Vec<Role>, Option<Scope>)>,
}

impl From<Fault> for Refused {
    fn from(fault: Fault) -> Refused {
        Refused { fault, right: None }
    }
}

/// Whether they may; the answer is whether names may be answered.
fn allowed(request: &HttpRequest, yard: &Yard, who: &Who, need: Need) -> Result<bool, Refused> {
    let asked = || operation(request);
    match (who, need) {
        (_, Need::Open) | (Who::Anybody, _) => Ok(true),
        (Who::Nobody(None), Need::Question) if yard.people.has_open_questions() && is_near(request) => Ok(false),
        (Who::Nobody(why), _) => Err(who::not_signed_in(*why).into()),
        (Who::Device(_), Need::Somebody(Scope::Read | Scope::Facts) | Need::Question) => Ok(true),
        (Who::Device(_), _) => {
            Err(who::not_signed_in(Some("Nobody is signed in on this device. Scan your badge, then go on.")).into())
        }
        (Who::Program(program), Need::Question) => scoped(yard, program, Scope::Read, asked),
        (Who::Program(program), Need::Somebody(scope)) => scoped(yard, program, scope, asked),
        (Who::Program(program), Need::Person | Need::Administrator) => {
            let detail =
                format!("This is for people. {} has a token for a program; sign in at /sign-in.", program.badge);
            let fault = Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail);
            Err(Refused { fault, right: Some((asked(), vec![Role::Administrator], None)) })
        }
        (Who::Person(person), need) => {
            let session = &person.session;
            let roles = who::roles(yard, &session.badge);
            if roles.is_empty() {
                let detail = format!("{} has no role here any more. Ask an administrator.", session.badge);
                return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail).into());
            }
            match need {
                Need::Administrator if !roles.contains(&Role::Administrator) => {
                    let detail = format!("{} is no administrator, and this is for administrators.", session.badge);
                    let fault = Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail)
                        .with("needs", [Role::Administrator]);
                    Err(Refused { fault, right: Some((asked(), vec![Role::Administrator], None)) })
                }
                Need::Administrator if !session.two_factors => Err(who::needs_two_factors().into()),
                _ => Ok(true),
            }
        }
    }
}

/// What was asked for, as it may be written down: the address as it is declared, so that what stands in a real one, a token or a
/// name, is written nowhere, and asking at many addresses is one operation.
fn operation(request: &HttpRequest) -> String {
    let declared = request.app_data::<web::Data<Contract>>().and_then(|contract| contract.declared(path_of(request)));
    format!("{} {}", request.method(), declared.unwrap_or("at no address of this server"))
}

/// What a token is for, and how often it may ask.
fn scoped(yard: &Yard, program: &Program, scope: Scope, asked: impl Fn() -> String) -> Result<bool, Refused> {
    if let Err(seconds) = yard.people.limits.ask(&program.name) {
        let detail = format!("This token asked too often. Ask again in {seconds} s, and less often then.");
        return Err(Fault::new(StatusCode::TOO_MANY_REQUESTS, Kind::QuotaExceeded, detail).retry_after(seconds).into());
    }
    if program.scopes.contains(&scope) {
        return Ok(true);
    }
    let detail = format!("This token is not for {}. Ask an administrator for one that is.", scope.word());
    let fault = Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail).with("scope", scope);
    Err(Refused { fault, right: Some((asked(), Vec::new(), Some(scope))) })
}

/// On the yard's own network, or on this machine.
fn is_near(request: &HttpRequest) -> bool {
    who::address(request).is_some_and(|address| match address.to_canonical() {
        IpAddr::V4(address) => address.is_loopback() || address.is_private() || address.is_link_local(),
        IpAddr::V6(address) => address.is_loopback() || address.is_unique_local() || address.is_unicast_link_local(),
    })
}

/// A person is led to where they sign in, and back from there, with what they entered.
fn said(request: &HttpRequest, yard: &Yard, fault: Fault) -> HttpResponse {
    let led = match (request.method(), fault.status() == StatusCode::UNAUTHORIZED && pages::is_for_people(request)) {
        (&Method::GET | &Method::HEAD, true) => Some(pages::sign_in_first(request)),
        (_, true) => pages::sign_in_to_send(request, yard, &fault).ok(),
        (_, false) => None,
    };
    led.unwrap_or_else(|| pages::or_problem(request, fault))
}
