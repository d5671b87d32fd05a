//! What an administrator looks after: who has which badge, who may begin a sign-in, whose sessions end.

use super::{Said, changed, clear_name, code, set_up_first};
use crate::{
    http::{
        ask::{NoParameters, json},
        contract::{Makes, Managed, Told},
        problems::{Answer, Fault},
        query::Query,
        who,
    },
    people::{For, INVITATION_MS, Kept},
    yard::Yard,
};
use actix_web::{route, web};
use domain::{
    Book,
    standing::{self, Standing},
};
use serde::{Deserialize, Serialize};
use shared_types::{Code, Role, Scope, Stamp};
use std::collections::BTreeSet;
use utoipa::ToSchema;
use uuid::Uuid;

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct BadgeNamed {
    #[schema(example = "B-17")]
    badge: String,
}

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct NameGiven {
    #[schema(example = "B-17")]
    badge: String,
    /// 1 to 80 characters. It stands in no entry, so it can be withdrawn.
    #[schema(example = "Rui Example")]
    name: String,
}

/// Somebody of the yard.
#[derive(Serialize, ToSchema)]
pub(crate) struct ListedPerson {
    #[schema(value_type = String)]
    pub(crate) badge: Code,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) name: Option<String>,
    pub(crate) roles: Vec<Role>,
    pub(crate) scopes: Vec<Scope>,
    /// There is a symbol for the badge.
    pub(crate) has_symbol: bool,
    pub(crate) has_password: bool,
    pub(crate) has_one_time_code: bool,
}

/// A device that was given a token.
#[derive(Serialize, ToSchema)]
pub(crate) struct ListedDevice {
    #[schema(value_type = String)]
    pub(crate) device: Code,
    /// The log has it enrolled now.
    pub(crate) enrolled: bool,
}

/// A program's token, as far as it may be seen again.
#[derive(Serialize, ToSchema)]
pub(crate) struct ListedToken {
    /// The id of the entry that issued it; revoking names this.
    pub(crate) token: Uuid,
    #[schema(value_type = String)]
    pub(crate) badge: Code,
    pub(crate) name: String,
    pub(crate) scopes: Vec<Scope>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) ends_at: Option<Stamp>,
    /// It may be used now.
    pub(crate) holds: bool,
}

/// Everybody who has a name, a role or a sign-in here, and every device and token.
#[derive(Serialize, ToSchema)]
pub(crate) struct Listed {
    pub(crate) people: Vec<ListedPerson>,
    pub(crate) devices: Vec<ListedDevice>,
    pub(crate) tokens: Vec<ListedToken>,
    pub(crate) as_of_seq: u64,
}

/// People, devices and tokens, from what is kept and from the log.
pub(crate) fn listed(yard: &Yard) -> Listed {
    let (book, kept, now) = (yard.read(), yard.people.kept(), yard.now());
    let devices = kept.devices.keys().filter_map(|device| Code::new(device).ok());
    let devices =
        devices.map(|device| ListedDevice { enrolled: standing::device(&book, &device) == Standing::Enrolled, device });
    let tokens = kept.programs.keys().filter_map(|name| name.parse::<Uuid>().ok());
    let tokens = tokens.filter_map(|token| {
        let said = standing::token(&book, &token)?;
        let holds = who::holds(&book, &token, now).is_some();
        let ends_at = said.ends_at.map(Stamp::utc);
        Some(ListedToken { token, badge: said.badge, name: said.name, scopes: said.scopes, ends_at, holds })
    });
    let people = badges(&book, &kept).into_iter().map(|badge| person(&book, &kept, badge)).collect();
    Listed { people, devices: devices.collect(), tokens: tokens.collect(), as_of_seq: book.last_seq() }
}

/// Every badge that somebody has.
fn badges(book: &Book, kept: &Kept) -> BTreeSet<Code> {
    let named = kept.people.keys().filter_map(|badge| Code::new(badge).ok());
    let granted = Role::ALL.iter().flat_map(|role| standing::who_has(book, *role)).map(|label| book.code(label));
    named.chain(granted).collect()
}

fn person(book: &Book, kept: &Kept, badge: Code) -> ListedPerson {
    let (granted, known) = (standing::roles_of(book, &badge), kept.people.get(badge.as_str()));
    ListedPerson {
        name: known.map(|known| known.name.clone()).filter(|name| !name.is_empty()),
        roles: granted.map(|granted| granted.roles.clone()).unwrap_or_default(),
        scopes: granted.map(|granted| granted.scopes.clone()).unwrap_or_default(),
        has_symbol: known.is_some_and(|known| known.badge.is_some()),
        has_password: known.is_some_and(|known| known.password.is_some()),
        has_one_time_code: known.is_some_and(|known| known.one_time.is_some()),
        badge,
    }
}

/// A badge that has a name or a role here.
fn somebody(yard: &Yard, text: &str) -> Result<Code, Fault> {
    set_up_first(yard)?;
    let badge = code(text, "/badge", "badge")?;
    match badges(&yard.read(), &yard.people.kept()).contains(&badge) {
        true => Ok(badge),
        false => Err(Fault::not_found(format!("Nobody has the badge {badge} here. Give it a name or a role first."))),
    }
}

/// Who is who?
///
/// Names, roles and how people sign in; devices and programs that were given a token. Secrets are never shown again.
#[utoipa::path(operation_id = "list_people", tag = "people", responses(
    (status = 200, description = "Everybody, every device and every token.", body = Listed), Told,
))]
#[route("/people", method = "GET", method = "HEAD")]
pub(crate) async fn list_people(yard: web::Data<Yard>, _: Query<NoParameters>) -> Answer {
    json(&listed(&yard))
}

/// Gives a badge a name.
pub(crate) async fn rename(yard: &web::Data<Yard>, badge: &str, name: &str) -> Result<Code, Fault> {
    set_up_first(yard)?;
    let (badge, name) = (code(badge, "/badge", "badge")?, clear_name(name)?);
    let of = badge.to_string();
    changed(yard, move |yard| yard.people.change(|kept| kept.people.entry(of).or_default().name = name)).await?;
    Ok(badge)
}

/// Name somebody.
///
/// Gives a badge a name, or another one. Roles are granted by the decision `grant_roles`.
#[utoipa::path(operation_id = "name_person", tag = "people",
    request_body(content = NameGiven, content_type = "application/json", description = "Badge and name.", examples(
        ("name" = (summary = "A name for a badge", value = json!({"badge": "B-17", "name": "Rui Example"})))
    )),
    responses((status = 200, description = "It is kept.", body = ListedPerson), Makes),
)]
#[route("/people/name", method = "POST")]
pub(crate) async fn name_person(yard: web::Data<Yard>, Said(NameGiven { badge, name }): Said<NameGiven>) -> Answer {
    let badge = rename(&yard, &badge, &name).await?;
    json(&person(&yard.read(), &yard.people.kept(), badge))
}

/// Withdraws a name and all that somebody signs in with.
pub(crate) async fn withdraw(yard: &web::Data<Yard>, badge: &str) -> Result<Code, Fault> {
    let badge = somebody(yard, badge)?;
    let of = badge.clone();
    changed(yard, move |yard| yard.people.withdraw(&of)).await?;
    Ok(badge)
}

/// Withdraw a name.
///
/// The name, the password and the badge's symbol are removed, and every session ends. The badge's code stays in the log. Roles are taken
/// away by the decision `grant_roles` without roles.
#[utoipa::path(operation_id = "withdraw_person", tag = "people",
    request_body(content = BadgeNamed, content_type = "application/json", description = "The badge.", examples(
        ("badge" = (summary = "Somebody who has left", value = json!({"badge": "B-17"})))
    )),
    responses((status = 200, description = "It is withdrawn.", body = ListedPerson), Managed),
)]
#[route("/people/withdraw", method = "POST")]
pub(crate) async fn withdraw_person(yard: web::Data<Yard>, Said(said): Said<BadgeNamed>) -> Answer {
    let badge = withdraw(&yard, &said.badge).await?;
    json(&person(&yard.read(), &yard.people.kept(), badge))
}

/// What a badge's symbol holds, shown this once.
#[derive(Serialize, ToSchema)]
pub(crate) struct BadgeMade {
    #[schema(value_type = String)]
    pub(crate) badge: Code,
    /// It is printed as a symbol on the badge. Whoever has it signs in with it on an enrolled device.
    pub(crate) symbol: String,
}

pub(crate) async fn make_badge(yard: &web::Data<Yard>, badge: &str) -> Result<BadgeMade, Fault> {
    let badge = somebody(yard, badge)?;
    let of = badge.clone();
    let symbol = changed(yard, move |yard| yard.people.new_badge(&of)).await?;
    Ok(BadgeMade { badge, symbol })
}

/// Make a badge's symbol.
///
/// The old symbol opens nothing any more, and sessions that it began end. This one is shown once; a page prints it.
#[utoipa::path(operation_id = "new_badge", tag = "people",
    request_body(content = BadgeNamed, content_type = "application/json", description = "The badge.", examples(
        ("badge" = (summary = "A new symbol for a badge", value = json!({"badge": "B-17"})))
    )),
    responses((status = 200, description = "The symbol, shown this once.", body = BadgeMade), Managed),
)]
#[route("/people/badge", method = "POST")]
pub(crate) async fn new_badge(yard: web::Data<Yard>, Said(said): Said<BadgeNamed>) -> Answer {
    json(&make_badge(&yard, &said.badge).await?)
}

/// A code with which somebody begins their sign-in.
#[derive(Serialize, ToSchema)]
pub(crate) struct Invited {
    #[schema(value_type = String)]
    pub(crate) badge: Code,
    pub(crate) code: String,
    pub(crate) ends_at: Stamp,
}

pub(crate) fn make_invitation(yard: &Yard, badge: &str) -> Result<Invited, Fault> {
    let badge = somebody(yard, badge)?;
    let what = For::SignIn(badge.clone());
    let code = yard.people.codes.make(what, Some(INVITATION_MS), yard.clock.as_ref());
    let code = code.map_err(|error| Fault::went_wrong(error.to_string()))?;
    Ok(Invited { badge, code, ends_at: Stamp::utc(yard.now().plus_ms(INVITATION_MS)) })
}

/// Invite somebody to sign in.
///
/// A code for 24 h, with which they choose their own password, once. It is the way back for whoever forgot theirs, too.
#[utoipa::path(operation_id = "invite", tag = "people",
    request_body(content = BadgeNamed, content_type = "application/json", description = "The badge.", examples(
        ("badge" = (summary = "Somebody who is to sign in at a desk", value = json!({"badge": "B-17"})))
    )),
    responses((status = 200, description = "The code, shown this once.", body = Invited), Managed),
)]
#[route("/people/invitation", method = "POST")]
pub(crate) async fn invite(yard: web::Data<Yard>, Said(said): Said<BadgeNamed>) -> Answer {
    json(&make_invitation(&yard, &said.badge)?)
}

/// How many sessions were ended.
#[derive(Serialize, ToSchema)]
pub(crate) struct Ended {
    #[schema(value_type = String)]
    pub(crate) badge: Code,
    pub(crate) ended: usize,
}

pub(crate) fn end_sessions(yard: &Yard, badge: &str) -> Result<Ended, Fault> {
    let badge = somebody(yard, badge)?;
    let ended = yard.people.end_sessions(&badge);
    Ok(Ended { badge, ended })
}

/// End somebody's sessions.
///
/// On every device and at every desk, at once.
#[utoipa::path(operation_id = "sign_out_person", tag = "people",
    request_body(content = BadgeNamed, content_type = "application/json", description = "The badge.", examples(
        ("badge" = (summary = "A badge that was lost", value = json!({"badge": "B-17"})))
    )),
    responses((status = 200, description = "How many there were.", body = Ended), Managed),
)]
#[route("/people/sign-out", method = "POST")]
pub(crate) async fn sign_out_person(yard: web::Data<Yard>, Said(said): Said<BadgeNamed>) -> Answer {
    json(&end_sessions(&yard, &said.badge)?)
}
