//! What the log says of its own accord about people: that somebody signed in, and that somebody was refused.

use super::who::{By, Who};
use crate::{
    committer::{Outcome, own_entry},
    intake::NewFact,
    yard::Yard,
};
use domain::Refusal;
use shared_types::{Body, Code, Kind, KnownBy, RightRefused, Role, Scope, SignInBy, SignedIn, ThingName};

/// Of one badge, the device and the operation at most one a minute is written: nobody fills the log with it.
pub(crate) async fn signed_in(yard: &Yard, by: &By) {
    let how = match by.known {
        KnownBy::Badge => SignInBy::Badge,
        KnownBy::Token => SignInBy::Token,
        KnownBy::Claimed | KnownBy::Pin | KnownBy::Password => SignInBy::Password,
    };
    let on = by.device.as_ref().map(Code::to_string).unwrap_or_default();
    if yard.people.is_news(&by.badge, &format!("signed in by {} on {on}", how.word())) {
        // Where nothing can be written nothing can be done by this sign-in either, but asking.
        let _ = about(yard, by, Body::SignedIn(SignedIn { how, device: by.device.clone() })).await;
    }
}

/// A decision from a page that the book refused for want of a role.
pub(crate) async fn refused_by(yard: &Yard, by: &By, asked: &str, outcome: &Outcome) {
    if let Outcome::Refused(Refusal::NotAllowed { needs, .. }) = outcome {
        refused(yard, by, asked, needs.clone(), None).await;
    }
}

/// Somebody asked for what they have no right to. Who is not known is not written: anybody could.
pub(crate) async fn right_refused(yard: &Yard, who: &Who, asked: &str, needs: Vec<Role>, scope: Option<Scope>) {
    let by = match who {
        Who::Person(person) => person.by(),
        Who::Program(program) => By { badge: program.badge.clone(), known: KnownBy::Token, device: None },
        Who::Anybody | Who::Nobody(_) | Who::Device(_) => return,
    };
    refused(yard, &by, asked, needs, scope).await;
}

async fn refused(yard: &Yard, by: &By, asked: &str, needs: Vec<Role>, scope: Option<Scope>) {
    let asked: String = asked.chars().take(100).collect();
    if by.known != KnownBy::Claimed && yard.people.is_news(&by.badge, &asked) {
        let _ = about(yard, by, Body::RightRefused(RightRefused { asked, needs, scope })).await;
    }
}

/// The same of a decision that the book refused for want of a role.
pub(crate) async fn if_refused(yard: &Yard, who: &Who, asked: &str, outcome: &Outcome) {
    if let Outcome::Refused(Refusal::NotAllowed { needs, .. }) = outcome {
        right_refused(yard, who, asked, needs.clone(), None).await;
    }
}

/// Writes an entry of the log's own about a badge.
pub(crate) async fn about(yard: &Yard, by: &By, body: Body) -> Outcome {
    let made = own_entry(yard.clock.new_id(), yard.now(), body).ok().and_then(|mut entry| {
        entry.thing = ThingName::new(Kind::Badge, &by.badge);
        entry.by = by.badge.clone();
        entry.by_known = by.known;
        entry.device_known = by.device.as_ref().map(|_| KnownBy::Token);
        entry.device = by.device.clone();
        // Its place in the log is the committer's.
        entry.recorded_at = shared_types::Instant(0);
        NewFact::new(entry, None).ok()
    });
    match made {
        Some(fact) => yard.committer.submit(fact).await,
        None => Outcome::Panicked,
    }
}
