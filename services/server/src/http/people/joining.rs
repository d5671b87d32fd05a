//! Beginning one's own sign-in with a code that is typed once: the first administrator with the set-up code, everybody else
//! with an invitation.

use super::{Said, changed, clear_name, code, no_such_code, wait};
use crate::{
    committer::Outcome,
    http::{
        ask::{beside, created, json},
        contract::{Joins, Tries},
        problems::{Answer, Fault},
        refusals::stored,
        who::{self, By},
        written,
    },
    people::{For, People, Waiting, one_time_address},
    yard::Yard,
};
use actix_web::{HttpRequest, route, web};
use domain::standing;
use serde::{Deserialize, Serialize};
use shared_types::{Body, Code, GrantRoles, KnownBy, Role};
use utoipa::ToSchema;

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct CodeShown {
    /// The code as it was given; hyphens and capitals don't matter.
    #[schema(example = "K3QF-7MWA-PZ2X-VH5N")]
    code: String,
}

/// What a code begins.
#[derive(Serialize, ToSchema)]
pub(crate) struct Begun {
    /// It makes an administrator: the first one, or one after everything was lost.
    pub(crate) sets_up: bool,
    /// Whose sign-in it is, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) badge: Option<String>,
    /// The name that the yard knows them by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) name: Option<String>,
    /// The role needs a one-time code.
    pub(crate) needs_one_time_code: bool,
    /// The secret of one-time codes, in base32: it is typed or scanned into the person's own device.
    pub(crate) one_time_secret: String,
    /// The same as an `otpauth:` address.
    pub(crate) one_time_address: String,
}

/// What somebody chooses.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Joining {
    #[schema(example = "K3QF-7MWA-PZ2X-VH5N")]
    pub(crate) code: String,
    /// With the set-up code: the administrator's badge.
    #[serde(default)]
    #[schema(example = "A-1")]
    pub(crate) badge: String,
    /// With the set-up code: the administrator's name. Otherwise only to correct it.
    #[serde(default)]
    #[schema(example = "Ana Example")]
    pub(crate) name: String,
    /// 12 to 200 characters; none of those that are tried first.
    #[schema(format = Password)]
    pub(crate) password: String,
    /// Six digits that the person's own device shows now.
    #[serde(default)]
    #[schema(example = "492039")]
    pub(crate) one_time_code: String,
}

/// Whose sign-in was begun.
#[derive(Serialize, ToSchema)]
pub(crate) struct Joined {
    #[schema(value_type = String)]
    pub(crate) badge: Code,
    roles: Vec<Role>,
    /// Whether a one-time code is asked for at each sign-in.
    one_time_code: bool,
}

/// The code as it waits, with its secret of one-time codes.
fn waiting(request: &HttpRequest, yard: &Yard, typed: &str) -> Result<Waiting, Fault> {
    let mut failed = None;
    let found =
        yard.people.try_code(who::address(request), || match yard.people.codes.begin(typed, yard.clock.as_ref()) {
            Ok(found) => found.filter(|waiting| !matches!(waiting.what, For::Device(_))),
            Err(error) => {
                failed = Some(Fault::went_wrong(error.to_string()));
                None
            }
        });
    let found = found.map_err(wait)?;
    failed.map_or(Ok(()), Err)?;
    found.ok_or_else(no_such_code)
}

/// What this code begins.
pub(crate) fn begun(request: &HttpRequest, yard: &Yard, typed: &str) -> Result<Begun, Fault> {
    let waiting = waiting(request, yard, typed)?;
    let badge = match &waiting.what {
        For::SignIn(badge) => Some(badge.clone()),
        For::SetUp | For::Device(_) => None,
    };
    let secret = waiting.one_time.unwrap_or_default();
    let kept = yard.people.kept();
    let name = badge.as_ref().and_then(|badge| kept.people.get(badge.as_str())).map(|person| person.name.clone());
    Ok(Begun {
        sets_up: badge.is_none(),
        needs_one_time_code: badge.as_ref().is_none_or(|badge| who::needs_one_time(yard, badge)),
        one_time_address: one_time_address(&secret, badge.as_ref().map_or("administrator", Code::as_str)),
        one_time_secret: secret,
        badge: badge.map(|badge| badge.to_string()),
        name: name.filter(|name| !name.is_empty()),
    })
}

/// Keeps the sign-in, and makes the administrator where the code does that. Whoever fails may try again with the same code.
pub(crate) async fn joined(request: &HttpRequest, yard: &web::Data<Yard>, said: Joining) -> Result<Joined, Fault> {
    let waits = waiting(request, yard, &said.code)?;
    let (badge, sets_up) = match &waits.what {
        For::SignIn(badge) => (badge.clone(), false),
        For::SetUp | For::Device(_) => (code(&said.badge, "/badge", "badge")?, true),
    };
    if matches!(badge.as_str(), "LOG" | "?") {
        return Err(Fault::cannot_read(format!("{badge} is nobody's badge. Take another code."))
            .field("/badge", "nobody's badge"));
    }
    let known = yard.people.kept().people.get(badge.as_str()).map(|person| person.name.clone()).unwrap_or_default();
    let name = match (said.name.trim(), known.is_empty()) {
        ("", false) => known,
        (name, _) => clear_name(name)?,
    };
    let (password, of, named) = (said.password.clone(), badge.clone(), name.clone());
    if let Some(why) = beside(move || Ok(People::wrong_password(&password, &of, &named))).await? {
        return Err(Fault::cannot_read(why.clone()).field("/password", why));
    }
    let needs = sets_up || who::needs_one_time(yard, &badge);
    let secret = waits.one_time.clone().unwrap_or_default();
    let one_time = match said.one_time_code.trim() {
        "" if !needs => None,
        typed if yard.people.one_time_fits(&badge, &secret, typed) => Some(secret),
        _ => {
            let why = "That is not the one-time code of now. Type the six digits that your own device shows.";
            return Err(Fault::cannot_read(why).field("/one_time_code", why));
        }
    };
    let taken = yard.people.codes.take(&said.code, yard.now()).ok_or_else(no_such_code)?;
    let (has_one_time, of, password) = (one_time.is_some(), badge.clone(), said.password);
    let kept = changed(yard, move |yard| yard.people.keep_sign_in(&of, &name, &password, one_time)).await;
    let done = match (kept, sets_up) {
        (Ok(()), true) => make_administrator(yard, &badge).await,
        (kept, _) => kept,
    };
    if let Err(fault) = done {
        yard.people.codes.give_back(taken);
        return Err(fault);
    }
    Ok(Joined { roles: who::roles(yard, &badge), badge, one_time_code: has_one_time })
}

/// The set-up code stands for whoever looks after the server: it makes an administrator, and the log says so.
async fn make_administrator(yard: &web::Data<Yard>, badge: &Code) -> Result<(), Fault> {
    let mut grant = standing::roles_of(&yard.read(), badge)
        .cloned()
        .unwrap_or(GrantRoles { roles: Vec::new(), scopes: Vec::new() });
    if !grant.roles.contains(&Role::Administrator) {
        grant.roles.push(Role::Administrator);
    }
    let by = By { badge: badge.clone(), known: KnownBy::Password, device: None };
    match written::about(yard, &by, Body::RolesGranted(grant)).await {
        Outcome::Written(_) => {
            yard.people.set_up();
            // The code in memory is used up; one on the disk that could not be removed is tried again at the next start.
            changed(yard, |yard| yard.people.forget_set_up_code()).await
        }
        outcome => stored(outcome).map(|_| ()),
    }
}

/// Begin your own sign-in.
///
/// Says what a code is for, and gives the secret of one-time codes that belongs to it; nothing is kept yet.
#[utoipa::path(operation_id = "begin_join", tag = "people",
    request_body(content = CodeShown, content_type = "application/json", description = "The code.", examples(
        ("code" = (summary = "A code as it was given", value = json!({"code": "K3QF-7MWA-PZ2X-VH5N"})))
    )),
    responses((status = 200, description = "What it begins.", body = Begun), Tries),
)]
#[route("/join/begin", method = "POST")]
pub(crate) async fn begin_join(request: HttpRequest, yard: web::Data<Yard>, Said(said): Said<CodeShown>) -> Answer {
    json(&begun(&request, &yard, &said.code)?)
}

/// Choose your own password.
///
/// With the set-up code that the server gave at its start it makes the first administrator, and from then on every operation
/// needs somebody. With an invitation it begins the sign-in of whoever was invited. A code is used up by this.
#[utoipa::path(operation_id = "join", tag = "people",
    request_body(content = Joining, content_type = "application/json", description = "The code, and what was chosen.", examples(
        ("set up" = (summary = "The first administrator", value = json!({"code": "K3QF-7MWA-PZ2X-VH5N", "badge": "A-1",
            "name": "Ana Example", "password": "a boat on a cold slip", "one_time_code": "492039"}))),
        ("invited" = (summary = "Somebody who was invited", value = json!({"code": "K3QF-7MWA-PZ2X-VH5N",
            "password": "cold resin keeps its temper"})))
    )),
    responses((status = 201, description = "It is kept: sign in.", body = Joined), Joins),
)]
#[route("/join", method = "POST")]
pub(crate) async fn join(request: HttpRequest, yard: web::Data<Yard>, Said(said): Said<Joining>) -> Answer {
    created(&joined(&request, &yard, said).await?)
}
