//! Tokens for other programs: an administrator issues one for an integrator's badge, and it is shown once.

use super::{Said, changed, code, devices::decided};
use crate::{
    http::{
        ask::created,
        contract::Issues,
        problems::{Answer, Fault},
        who::{self, Who},
    },
    yard::Yard,
};
use actix_web::{route, web};
use serde::{Deserialize, Serialize};
use serde_json::json;
use shared_types::{Code, Kind, Scope, Stamp, ThingName};
use utoipa::ToSchema;
use uuid::Uuid;

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct TokenAsked {
    /// The integrator's badge: all that the program writes is by it.
    #[schema(example = "X-1")]
    pub(crate) badge: String,
    /// What it is for, in a word or two.
    #[schema(example = "planning")]
    pub(crate) name: String,
    /// What it may do; no more than the badge may.
    pub(crate) scopes: Vec<Scope>,
    /// It ends by itself then.
    #[serde(default)]
    pub(crate) ends_at: Option<Stamp>,
}

/// A token that was issued.
#[derive(Serialize, ToSchema)]
pub(crate) struct TokenIssued {
    /// Sent as `Authorization: Bearer` with every request; shown this once.
    pub(crate) token: String,
    /// The id of the entry that issued it: revoking names this.
    pub(crate) id: Uuid,
    /// The number of that entry.
    pub(crate) seq: u64,
}

pub(crate) async fn issue(yard: &web::Data<Yard>, who: &Who, asked: TokenAsked) -> Result<TokenIssued, Fault> {
    let Who::Person(person) = who else { return Err(who::not_signed_in(None)) };
    let badge: Code = code(&asked.badge, "/badge", "badge")?;
    let (id, by) = (yard.clock.new_id(), person.by());
    let thing = ThingName::new(Kind::Badge, &badge);
    let body = json!({ "name": asked.name, "scopes": asked.scopes, "ends_at": asked.ends_at });
    // The token first: it opens nothing before the log has it issued.
    let token = changed(yard, move |yard| yard.people.keep_program(&id.to_string(), &badge)).await?;
    let seq = decided(yard, "issue_token", &thing, &by.badge, by.known, &body, id).await;
    if seq.is_err() {
        changed(yard, move |yard| yard.people.change(|kept| drop(kept.programs.remove(&id.to_string())))).await?;
    }
    Ok(TokenIssued { token, id, seq: seq? })
}

/// Issue a token to a program.
///
/// For a badge whose role is integrator, within its scopes. It is revoked by the decision `revoke_token`.
#[utoipa::path(operation_id = "issue_token", tag = "people",
    request_body(content = TokenAsked, content_type = "application/json", description = "Whose, what for, and until when.", examples(
        ("planning" = (summary = "A program that reads and opens jobs", value = json!({"badge": "X-1", "name": "planning",
            "scopes": ["read", "decisions"], "ends_at": "2027-05-06T08:00:00.000+01:00"})))
    )),
    responses((status = 201, description = "The token, shown this once.", body = TokenIssued), Issues),
)]
#[route("/tokens", method = "POST")]
pub(crate) async fn issue_token(yard: web::Data<Yard>, who: Who, Said(said): Said<TokenAsked>) -> Answer {
    created(&issue(&yard, &who, said).await?)
}
