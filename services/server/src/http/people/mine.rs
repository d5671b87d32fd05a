//! Where somebody is signed in: their own sessions, and ending one of them.

use super::{Said, person, session::Nothing};
use crate::{
    http::{
        ask::{NoParameters, json},
        contract::{Managed, Told},
        problems::{Answer, Fault},
        query::Query,
        who::Who,
    },
    yard::Yard,
};
use actix_web::{route, web};
use serde::{Deserialize, Serialize};
use shared_types::{Code, KnownBy, Stamp};
use utoipa::ToSchema;
use uuid::Uuid;

/// A session of one's own.
#[derive(Serialize, ToSchema)]
pub(crate) struct OwnSession {
    /// What it is ended by; it opens nothing.
    pub(crate) session: Uuid,
    /// The one that asks.
    pub(crate) this: bool,
    pub(crate) known: KnownBy,
    /// The enrolled device; of a desk nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>)]
    pub(crate) device: Option<Code>,
    pub(crate) begun_at: Stamp,
    /// When it was used last.
    pub(crate) seen_at: Stamp,
    /// It ends then at the latest.
    pub(crate) ends_at: Stamp,
}

#[derive(Serialize, ToSchema)]
pub(crate) struct OwnSessions {
    sessions: Vec<OwnSession>,
}

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct SessionNamed {
    session: Uuid,
}

/// One's own sessions, the newest first.
pub(crate) fn own(yard: &Yard, who: &Who) -> Result<Vec<OwnSession>, Fault> {
    if matches!(who, Who::Anybody) {
        return Ok(Vec::new());
    }
    let mine = &person(who)?.session;
    let mut all = yard.people.sessions.of_badge(&mine.badge, yard.now());
    all.sort_by_key(|session| (std::cmp::Reverse(session.begun), session.id));
    let one = |session: &std::sync::Arc<crate::people::Session>| OwnSession {
        session: session.id,
        this: session.id == mine.id,
        known: session.known,
        device: session.device.clone(),
        begun_at: Stamp::utc(session.begun),
        seen_at: Stamp::utc(session.seen()),
        ends_at: Stamp::utc(session.ends_at()),
    };
    Ok(all.iter().map(one).collect())
}

/// Ends one of one's own.
pub(crate) fn end_own(yard: &Yard, who: &Who, id: Uuid) -> Result<(), Fault> {
    let badge = &person(who)?.session.badge;
    match yard.people.sessions.end_all(|session| session.id == id && session.badge == *badge) {
        0 => Err(Fault::not_found("You have no such session: it ended already, or was never yours.")),
        _ => Ok(()),
    }
}

/// Where am I signed in?
///
/// Your own sessions, the newest first.
#[utoipa::path(operation_id = "list_sessions", tag = "people", responses(
    (status = 200, description = "Your sessions that stand.", body = OwnSessions), Told,
))]
#[route("/me/sessions", method = "GET", method = "HEAD")]
pub(crate) async fn list_sessions(yard: web::Data<Yard>, who: Who, _: Query<NoParameters>) -> Answer {
    json(&OwnSessions { sessions: own(&yard, &who)? })
}

/// End one of your own sessions.
///
/// At once, wherever it is used; also the one that asks.
#[utoipa::path(operation_id = "end_session", tag = "people",
    request_body(content = SessionNamed, content_type = "application/json", description = "Which one.", examples(
        ("one" = (summary = "One of your sessions", value = json!({"session": "0197a1c2-0000-7000-8000-000000000011"})))
    )),
    responses((status = 200, description = "It opens nothing any more.", body = Nothing), Managed),
)]
#[route("/me/sessions/end", method = "POST")]
pub(crate) async fn end_session(yard: web::Data<Yard>, who: Who, Said(said): Said<SessionNamed>) -> Answer {
    end_own(&yard, &who, said.session)?;
    json(&Nothing {})
}
