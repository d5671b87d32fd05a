//! The calendar for programs that can't sign in: somebody makes an address with a token of its own, sees it once, and takes it
//! back. The token may stand in an address because calendar programs know nothing else; it opens this calendar and nothing more.

use super::{Said, changed, clear_name, person, session::Nothing};
use crate::{
    http::{
        ask::{NoParameters, created, json},
        contract::{Fed, Makes, Managed, Told},
        problems::{Answer, Fault, Kind},
        query::Query,
        warnings::{self, FeedQuery},
        who::{self, Who},
    },
    people::MOST_FEEDS,
    yard::Yard,
};
use actix_web::{
    http::{StatusCode, header},
    route, web,
};
use serde::{Deserialize, Serialize};
use shared_types::Stamp;
use utoipa::ToSchema;
use uuid::Uuid;

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct FeedWanted {
    /// Where it will be used, in a word or two.
    #[schema(example = "office calendar")]
    name: String,
}

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct FeedNamed {
    feed: Uuid,
}

/// An address of the calendar that was made.
#[derive(Serialize, ToSchema)]
pub(crate) struct Made {
    pub(crate) feed: Uuid,
    /// Behind this server's own name; shown this once. Whoever has it reads the calendar.
    pub(crate) address: String,
}

/// An address of the calendar, as far as it may be seen again.
#[derive(Serialize, ToSchema)]
pub(crate) struct Offered {
    pub(crate) feed: Uuid,
    pub(crate) name: String,
    pub(crate) made_at: Stamp,
}

/// Those of whoever asks.
#[derive(Serialize, ToSchema)]
pub(crate) struct Feeds {
    feeds: Vec<Offered>,
}

pub(crate) async fn offer(yard: &web::Data<Yard>, who: &Who, name: &str) -> Result<Made, Fault> {
    let (badge, name) = (person(who)?.session.badge.clone(), clear_name(name)?);
    if MOST_FEEDS <= yard.people.feeds_of(&badge).len() {
        let detail = format!("You have {MOST_FEEDS} addresses, and that is the most. Take one back first.");
        return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail));
    }
    let feed = yard.clock.new_id();
    let token = changed(yard, move |yard| yard.people.keep_feed(feed, &badge, &name)).await?;
    Ok(Made { feed, address: format!("/api/v1/feeds/{token}/warnings.ics") })
}

pub(crate) fn offered(yard: &Yard, who: &Who) -> Result<Vec<Offered>, Fault> {
    if matches!(who, Who::Anybody) {
        return Ok(Vec::new());
    }
    let all = yard.people.feeds_of(&person(who)?.session.badge).into_iter();
    Ok(all.map(|(feed, kept)| Offered { feed, made_at: Stamp::utc(kept.made_at()), name: kept.name }).collect())
}

pub(crate) async fn revoke(yard: &web::Data<Yard>, who: &Who, feed: Uuid) -> Result<(), Fault> {
    let badge = person(who)?.session.badge.clone();
    match changed(yard, move |yard| yard.people.forget_feed(&feed, &badge)).await? {
        true => Ok(()),
        false => Err(Fault::not_found("You have no such address. Look at those that you have.")),
    }
}

/// Which addresses of the calendar did I make?
///
/// What they hold is never shown again.
#[utoipa::path(operation_id = "list_feeds", tag = "people", responses(
    (status = 200, description = "Your own, oldest first.", body = Feeds), Told,
))]
#[route("/feeds", method = "GET", method = "HEAD")]
pub(crate) async fn list_feeds(yard: web::Data<Yard>, who: Who, _: Query<NoParameters>) -> Answer {
    json(&Feeds { feeds: offered(&yard, &who)? })
}

/// Make an address for a calendar program.
///
/// A program that can't sign in subscribes to it. It is read only and opens that calendar alone, in which no name stands; it ends when
/// you take it back or have no role any more. Its token stands in the address, so give it to nobody else. 10 of a badge at most.
#[utoipa::path(operation_id = "make_feed", tag = "people",
    request_body(content = FeedWanted, content_type = "application/json", description = "Where it is used.", examples(
        ("office" = (summary = "For the office's calendar", value = json!({"name": "office calendar"})))
    )),
    responses((status = 201, description = "The address, shown this once.", body = Made), Makes),
)]
#[route("/feeds", method = "POST")]
pub(crate) async fn make_feed(yard: web::Data<Yard>, who: Who, Said(said): Said<FeedWanted>) -> Answer {
    created(&offer(&yard, &who, &said.name).await?)
}

/// Take an address of the calendar back.
///
/// One of your own. Whatever asks there finds no calendar from then on.
#[utoipa::path(operation_id = "revoke_feed", tag = "people",
    request_body(content = FeedNamed, content_type = "application/json", description = "Which one.", examples(
        ("one" = (summary = "One that you made", value = json!({"feed": "0197a1c2-0000-7000-8000-000000000010"})))
    )),
    responses((status = 200, description = "It opens nothing any more.", body = Nothing), Managed),
)]
#[route("/feeds/revoke", method = "POST")]
pub(crate) async fn revoke_feed(yard: web::Data<Yard>, who: Who, Said(said): Said<FeedNamed>) -> Answer {
    revoke(&yard, &who, said.feed).await?;
    json(&Nothing {})
}

#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Path)]
pub(crate) struct FeedPath {
    /// The token of an address that somebody made.
    #[param(example = "rmc_ONEXAMPLEOFATOKENINANADDRESSABCDEFGHIJKLMNOP")]
    token: String,
}

/// The calendar at an address of its own.
///
/// As `/api/v1/warnings.ics`, for programs that can't sign in: the token in the address is all they show. It is asked at most 6 times a
/// minute in the long run; every quarter of an hour is enough.
#[utoipa::path(operation_id = "calendar_feed", tag = "life", params(FeedPath, FeedQuery), responses(
    (status = 200, description = "A calendar.", body = String, content_type = "text/calendar"), Fed,
))]
#[route("/feeds/{token}/warnings.ics", method = "GET", method = "HEAD")]
pub(crate) async fn calendar_feed(yard: web::Data<Yard>, path: web::Path<FeedPath>, query: Query<FeedQuery>) -> Answer {
    let found = yard.people.feed_of(&path.token).filter(|(_, badge)| !who::roles(&yard, badge).is_empty());
    let Some((id, _)) = found else {
        let detail = "No calendar is at this address: it was mistyped, or taken back. Make another at /calendar.";
        return Err(Fault::not_found(detail));
    };
    if let Err(seconds) = yard.people.feed_limits.ask(&id) {
        let detail =
            format!("This address was asked too often. Ask again in {seconds} s, and every 15 min from then on.");
        return Err(Fault::new(StatusCode::TOO_MANY_REQUESTS, Kind::QuotaExceeded, detail).retry_after(seconds));
    }
    let mut answer = warnings::calendar(&yard, query.into_inner().into()).await?;
    // Whatever shows it tells nobody where it came from.
    answer.headers_mut().insert(header::REFERRER_POLICY, header::HeaderValue::from_static("no-referrer"));
    Ok(answer)
}
