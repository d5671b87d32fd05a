//! Roles, devices and tokens: what of them can be granted, enrolled and revoked.

use crate::fact::Label;
use crate::refusal::Refusal;
use crate::standing::{self, Standing, device_by, granted, set_up, who_has};
use crate::view::View;
use crate::wish::Wish;
use shared_types::{GrantRoles, Instant, IssueToken, RevokeToken, Role};

fn cannot(pointer: &str, detail: String) -> Result<(), Refusal> {
    Err(Refusal::CannotRead { pointer: pointer.to_owned(), detail })
}

/// Somebody has to be left who can grant roles.
pub(super) fn grant_roles(view: View<'_>, wish: &Wish, grant: &GrantRoles) -> Result<(), Refusal> {
    let badge = view.book.label(&wish.thing);
    let others = || who_has(view.book, Role::Administrator).any(|other| Some(other) != badge);
    match grant.roles.contains(&Role::Administrator) || !set_up(view.book, view.known) || others() {
        true => Ok(()),
        false => {
            let short = wish.thing.short();
            cannot("/body/roles", format!("{short} is the only administrator. Make somebody else one first."))
        }
    }
}

fn stands(view: View<'_>, wish: &Wish) -> Standing {
    view.book.label(&wish.thing).map_or(Standing::NotEnrolled, |device| device_by(view.book, device, view.known))
}

pub(super) fn enrol_device(view: View<'_>, wish: &Wish) -> Result<(), Refusal> {
    let short = wish.thing.short();
    let say = match stands(view, wish) {
        Standing::NotEnrolled => return Ok(()),
        Standing::Enrolled => format!("{short} is enrolled already."),
        Standing::Revoked => {
            format!("{short} was revoked, and its name stays with what it sent. Enrol the device under a new name.")
        }
    };
    Err(Refusal::AlreadyThere { say })
}

pub(super) fn revoke_device(view: View<'_>, wish: &Wish) -> Result<(), Refusal> {
    let short = wish.thing.short();
    match stands(view, wish) {
        Standing::Enrolled => Ok(()),
        Standing::Revoked => Err(Refusal::AlreadyThere { say: format!("{short} is revoked already.") }),
        Standing::NotEnrolled => {
            Err(Refusal::NotFound { say: format!("Nobody has enrolled {short}. Look at the list of devices.") })
        }
    }
}

/// A token never does more than its badge may.
pub(super) fn issue_token(view: View<'_>, wish: &Wish, token: &IssueToken, at: Instant) -> Result<(), Refusal> {
    let short = wish.thing.short();
    let may = view.book.label(&wish.thing).and_then(|badge: Label| granted(view.book, badge, view.known));
    let Some(may) = may.filter(|may| may.roles.contains(&Role::Integrator)) else {
        let detail = format!("{short} is no integrator. Grant the role integrator with its scopes first.");
        return cannot("/thing", detail);
    };
    if let Some(scope) = token.scopes.iter().find(|scope| !may.scopes.contains(scope)) {
        let detail = format!("{short} has not the scope {}. Grant it first, or leave it out.", scope.word());
        return cannot("/body/scopes", detail);
    }
    match token.ends_at.is_some_and(|ends| ends.at <= at) {
        true => cannot("/body/ends_at", "That time has passed. Name a later one, or none.".to_owned()),
        false => Ok(()),
    }
}

pub(super) fn revoke_token(view: View<'_>, wish: &Wish, revoke: &RevokeToken) -> Result<(), Refusal> {
    let short = wish.thing.short();
    match standing::token(view.book, &revoke.token).filter(|token| token.badge == wish.thing.own_code()) {
        None => Err(Refusal::NotFound { say: format!("{short} has no token {}. Look at its tokens.", revoke.token) }),
        Some(token) if token.revoked => {
            Err(Refusal::AlreadyThere { say: format!("The token for {} is revoked already.", token.name) })
        }
        Some(_) => Ok(()),
    }
}
